//! The log of printed tags, through the binary: no code twice, lost ones again, and those only.

use std::collections::BTreeSet;
use std::path::Path;

use serde_json::Value;

use super::sandbox::Sandbox;
use super::yard::{Yard, flat, pdf};

fn printed(said: &str) -> (u64, Vec<String>) {
    let told: Value = serde_json::from_str(said).unwrap();
    let tags = told["tags"].as_array().unwrap().iter().map(|tag| tag.as_str().unwrap().to_owned());
    (told["printing"].as_u64().unwrap(), tags.collect())
}

fn print(yard: &Yard, kind: &str, count: &str) -> (u64, Vec<String>) {
    let out = format!("{kind}.pdf");
    let args = ["tags", "print", kind, "--sheet", "roll-50x25", "--count", count, "--out", &out, "--json"];
    printed(&yard.done(&args))
}

fn again(yard: &Yard, args: &[&str]) -> (u64, Vec<String>) {
    // A paper that is there already is not overwritten.
    let _not_there = std::fs::remove_file(yard.sandbox.path().join("again.pdf"));
    let start = ["tags", "again", "--sheet", "roll-50x25", "--out", "again.pdf", "--json"];
    printed(&yard.done(&[&start, args].concat()))
}

/// The codes on a paper, in its order. Labels bear them in three lines.
fn on_paper(folder: &Path, name: &str, codes: &[String]) -> Vec<String> {
    let text = pdf(folder, name);
    let mut found: Vec<(usize, String)> = codes
        .iter()
        .filter_map(|code| Some((text.find(&code.replacen('-', " ", 2))?, code.clone())))
        .collect();
    found.sort();
    found.into_iter().map(|(_, code)| code).collect()
}

/// The same randomness, twice: the second printing draws the codes of the first, and passes them over.
#[test]
fn no_code_is_printed_twice() {
    let yard = Yard::new();
    let mut all = BTreeSet::new();
    for number in 1..=3 {
        let output = yard
            .sandbox
            .command()
            .env("PACKMUSTER_SEED", "5")
            .args(["tags", "print", "pack", "--count", "30", "--json", "--out", &format!("{number}.pdf")])
            .output()
            .unwrap();
        let (printing, codes) = printed(&String::from_utf8(output.stdout).unwrap());
        assert_eq!((printing, codes.len()), (number, 30));
        all.extend(codes);
    }
    assert_eq!(all.len(), 90);
    let printings = yard.json(&["tags", "log"])["printings"].clone();
    assert_eq!(printings.as_array().unwrap().len(), 3);
    yard.sandbox.is_sound();
}

/// Without a log the pinned randomness gives the same codes: that is what the log is for.
#[test]
fn without_a_ledger_tags_are_printed_and_it_is_said() {
    let sandbox = Sandbox::empty();
    let args = ["tags", "print", "slot", "--sheet", "roll-50x25", "--count", "2", "--out"];
    let said = sandbox.run(&[&args[..], &["slots.pdf"]].concat());
    assert_eq!(said.code, 0, "{said:?}");
    assert!(
        flat(&said.out).contains("2 slot tags in slots.pdf; no ledger is here: these codes are in no log")
    );
    let print = |out: &str| {
        let mut command = sandbox.command();
        let output = command.env("PACKMUSTER_SEED", "5").args(args).args([out, "--json"]).output().unwrap();
        serde_json::from_slice::<Value>(&output.stdout).unwrap()
    };
    let (one, two) = (print("one.pdf"), print("two.pdf"));
    assert!(one["printing"].is_null() && one["tags"] == two["tags"], "{one} {two}");
    for args in [vec!["tags", "log"], vec!["tags", "again", "--of", "1", "--unused"]] {
        let said = sandbox.run(&args);
        assert!(said.code == 2 && said.err.contains("hint: "), "{said:?}");
    }
}

#[test]
fn lost_tags_are_printed_again_exactly_those() {
    let yard = Yard::new();
    let (first, codes) = print(&yard, "pack", "6");
    assert_eq!(first, 1);
    assert_eq!(on_paper(yard.sandbox.path(), "pack.pdf", &codes), codes);
    // Labels, in the order asked for.
    let (second, tags) = again(&yard, &["--of", "1", "--labels", "2-3,6"]);
    assert_eq!((second, &tags), (2, &vec![codes[1].clone(), codes[2].clone(), codes[5].clone()]));
    assert_eq!(on_paper(yard.sandbox.path(), "again.pdf", &codes), tags);
    // Those that were never scanned in.
    yard.scan(&["intake", "--loose", "--make", "Kestrel 1100"], &[&codes[0], &codes[3]], &["MEASURE"]);
    let (_, tags) = again(&yard, &["--of", "1", "--unused"]);
    assert_eq!(tags, [&codes[1..3], &codes[4..]].concat());
    // By code, whether it is in use or not; twice is once.
    let (_, tags) = again(&yard, &[&codes[3], &codes[4], &codes[3]]);
    assert_eq!(tags, codes[3..5]);
    let log = flat(&yard.done(&["tags", "log", "--codes"]));
    assert!(log.contains("1 2026-11-02 pack roll-50x25 1 6 4") && log.contains("pack, again"), "{log}");
    assert!(log.contains(&format!("printing 1, label 4: {} printing", codes[3])), "{log}");
    assert!(log.contains(&format!("printing 1, label 5: {}, not in use", codes[4])), "{log}");
    // A tag that was never printed here, and is in use: that can be lost too.
    let own = yard.fit(1);
    assert_eq!(again(&yard, &[&own[0]]).1, own);
    yard.sandbox.is_sound();
}

#[test]
fn what_is_unknown_or_out_of_range_is_refused_and_nothing_is_written() {
    let yard = Yard::new();
    let (_, packs) = print(&yard, "pack", "3");
    let (_, players) = print(&yard, "player", "1");
    let worn = yard.fit(1).remove(0);
    yard.scan(&["bench"], &[&worn, "replace", &packs[0]], &["now wears"]);
    let strange = yard.sandbox.tag(packmuster::domain::tag::TagKind::Pack).to_string();
    let card = packmuster::domain::command::Command::Yes.tag().unwrap().to_string();
    for (args, words) in [
        (vec![strange.as_str()], "was never printed here, and names nothing"),
        (vec![&packs[1], &strange], "was never printed here, and names nothing"),
        (vec![&card], "was never printed here, and names nothing"),
        (vec![&worn], "was replaced: the pack wears"),
        (vec![&packs[1], &players[0]], "these tags are of several kinds"),
        (vec!["--of", "3", "--unused"], "there is no printing 3"),
        (vec!["--of", "0", "--unused"], "there is no printing 0"),
        (vec!["--of", "1", "--labels", "4"], "printing 1 has no label 4"),
        (vec!["--of", "1", "--labels", "2-9"], "printing 1 has no label 4"),
        (vec!["--of", "1", "--labels", "0"], "`0` in `0` is no label"),
        (vec!["--of", "1", "--labels", "3-1"], "`3-1` in `3-1` is no label"),
        (vec!["--of", "1", "--labels", "two"], "`two` in `two` is no label"),
        (vec!["--of", "1", "--labels", "1,,2"], "is no label"),
        (vec!["--of", "1"], "it is not said which tags were lost"),
        (vec![], "it is not said which tags were lost"),
    ] {
        yard.refused(&[&["tags", "again", "--out", "again.pdf"], args.as_slice()].concat(), words);
        assert!(!yard.sandbox.path().join("again.pdf").exists(), "{args:?}");
    }
    yard.scan(&["bench"], &[&packs[0], "replace", &packs[2]], &["now wears"]);
    let label = ["tags", "again", "--out", "again.pdf", "--of", "1", "--labels", "1"];
    yard.refused(&label, "was replaced: the pack wears");
    // A start beyond the sheet, and a folder that is not there: no paper, so nothing in the log.
    for more in [["--start", "66", "--out", "again.pdf"], ["--start", "1", "--out", "nowhere/again.pdf"]] {
        let before = yard.entries();
        let args = ["tags", "print", "pack", "--sheet", "a4-65", "--count", "2"];
        let said = yard.sandbox.run(&[&args[..], &more[..]].concat());
        assert!(said.code >= 2 && yard.entries() == before, "{said:?}");
    }
    // Every tag of a printing in use: none is left.
    yard.scan(&["intake"], &[&players[0], "nopack"], &["is new to the ledger"]);
    yard.refused(&["tags", "again", "--of", "2", "--unused"], "no tag is left to print");
}

#[test]
fn what_is_printed_is_in_the_log_and_stays_there() {
    let yard = Yard::new();
    let said = yard.sandbox.run(&["--operator", "ZZ", "tags", "print", "pack", "--out", "zz.pdf"]);
    assert!(said.code == 2 && !yard.sandbox.path().join("zz.pdf").exists(), "{said:?}");
    print(&yard, "pack", "3");
    let said = yard.sandbox.run(&["undo"]);
    assert!(said.code == 1 && said.err.contains("on paper"), "{said:?}");
}
