//! Learning the fleet's model through the real binary, and what it changes.

use std::fmt::Write as _;
use std::path::Path;
use std::process::Command;

use jiff::ToSpan as _;
use jiff::civil::date;
use packmuster::ledger::learnt::Learnt;

use crate::demo::demo;
use crate::sandbox::Sandbox;

const NOW: &str = "2026-10-29T18:00:00Z";

/// Runs the binary on a ledger of several sites; gives the exit code and what it said.
fn on(ledger: &Path, args: &[&str]) -> (i32, String) {
    let run = Command::new(env!("CARGO_BIN_EXE_packmuster"))
        .arg("--ledger")
        .arg(ledger)
        .args(["--site", "Skerrow"])
        .args(args)
        .env_clear()
        .env("PACKMUSTER_CLOCK", NOW)
        .env("PACKMUSTER_SEED", "7")
        .output()
        .unwrap();
    (run.status.code().unwrap(), String::from_utf8([run.stdout, run.stderr].concat()).unwrap())
}

/// A copy of the demo's ledger.
fn copied(folder: &Path, name: &str) -> std::path::PathBuf {
    let copy = folder.join(name);
    let (code, said) = on(&demo().join("skerrow.muster"), &["ledger", "backup", copy.to_str().unwrap()]);
    assert_eq!(code, 0, "{said}");
    copy
}

fn stored(ledger: &Path) -> String {
    use packmuster::domain::facts::ModelFacts;
    use packmuster::domain::ids::Thing;
    use packmuster::ledger::{Access, Ledger};
    let mut ledger = Ledger::open(ledger, Access::Read).unwrap();
    ledger.facts::<ModelFacts>(Thing::MODEL).unwrap().unwrap().text
}

#[test]
fn a_ledger_that_holds_too_little_says_so_and_enters_nothing() {
    let sandbox = Sandbox::started();
    let before = sandbox.run(&["ledger", "export"]).out;
    let said = sandbox.run(&["model", "learn"]);
    assert_eq!(said.code, 2, "{said:?}");
    assert!(said.err.contains("not enough data: 0 packs were read 3 times"), "{said:?}");
    assert_eq!(sandbox.run(&["ledger", "export"]).out, before);
    let said = sandbox.run(&["model", "show"]);
    assert_eq!((said.code, said.out.trim()), (1, "no model is learnt yet: packmuster model learn"));
}

#[test]
fn the_same_past_gives_the_same_model_and_it_foretells() {
    let folder = tempfile::tempdir().unwrap();
    let (one, two) = (copied(folder.path(), "one.muster"), copied(folder.path(), "two.muster"));
    let (_, before) = on(&one, &["review"]);
    for (ledger, threads) in [(&one, "1"), (&two, "2")] {
        let (code, said) = on(ledger, &["model", "learn", "--threads", threads]);
        assert_eq!(code, 0, "{said}");
        assert!(said.contains("readings of 342 packs") && said.contains("slots differ by"), "{said}");
    }
    assert_eq!(stored(&one), stored(&two), "whatever the number of threads");
    let learnt = Learnt::parse(&stored(&one)).unwrap();
    assert_eq!(Learnt::parse(&learnt.text().unwrap()).unwrap(), learnt);
    let (_, shown) = on(&one, &["model", "show"]);
    assert!(shown.starts_with("learnt on 2026-10-29"), "{shown}");
    assert!(shown.contains("what a round of reconditioning brings"), "{shown}");

    // Every pack that was read says what it will hold, and the longer the loan the likelier it falls below its limit.
    let (_, fleet) = on(&one, &["review", "--json"]);
    let fleet: serde_json::Value = serde_json::from_str(&fleet).unwrap();
    let pack = fleet["near_end"][0]["pack"].as_str().unwrap();
    let (_, shown) = on(&one, &["show", pack]);
    // Lines may break anywhere.
    let shown = shown.split_whitespace().collect::<Vec<_>>().join(" ");
    let said = |words: &str| shown.matches(words).count();
    assert_eq!((said("; below "), said(" h of play; below ")), (4, 4), "{shown}");
    assert!(shown.contains("holds in 360 days about"), "{shown}");
    // For the end of a loan: later than it is due, as most loans are, and the later the less.
    let until = |due: &str| {
        let (_, said) = on(&one, &["judge", pack, "--due", due, "--json"]);
        let said: serde_json::Value = serde_json::from_str(&said).unwrap();
        said["at_return"].clone()
    };
    let (soon, late) = (until("2026-11-05"), until("2027-06-01"));
    assert!(soon["back"].as_str().unwrap() >= "2026-11-05" && late["back"].as_str().unwrap() >= "2027-06-01");
    let of = |what: &serde_json::Value, key: &str| what[key].as_f64().unwrap();
    assert!(of(&late, "expected_mah") < of(&soon, "expected_mah"), "{soon} {late}");
    assert!(of(&late, "expected_hours") < of(&soon, "expected_hours"), "{soon} {late}");
    assert!(of(&late, "below_percent") >= of(&soon, "below_percent"), "{soon} {late}");
    let inside =
        of(&soon, "low_mah") < of(&soon, "expected_mah") && of(&soon, "expected_mah") < of(&soon, "high_mah");
    assert!(inside, "{soon}");
    let (code, said) = on(&one, &["judge", pack, "--due", "2026-10-01"]);
    assert_eq!(code, 2, "{said}");
    let (code, check) = on(&one, &["ledger", "check"]);
    assert_eq!(code, 0, "{check}");
    // A past month stays as it was printed: the model came later.
    let (_, after) = on(&one, &["review", "--month", "2026-09"]);
    let (_, untouched) = on(&demo().join("skerrow.muster"), &["review", "--month", "2026-09"]);
    assert_eq!(after, untouched);
    assert!(before.starts_with("REVIEW 2026-10"), "{before}");
}

/// NASA Ames Prognostics Center, "Battery Data Set" (Saha and Goebel, 2007): four cells, a discharge a day, each read more than a hundred times.
#[test]
fn a_few_packs_that_are_read_often_are_foretold_from_each_other() {
    let sandbox = Sandbox::started();
    let cell = ["make", "add", "Cell 2000", "--chemistry", "Li-ion", "--rated", "2000 mAh", "--cells", "1"];
    let said = sandbox.run(&[&cell[..], &["--form", "slim"]].concat());
    assert_eq!(said.code, 0, "{said:?}");
    let mut packs = "pack,make,added,prior_cycles\n".to_owned();
    let mut readings = "pack,at,capacity\n".to_owned();
    let mut seen: Vec<&str> = Vec::new();
    for line in include_str!("stats/data/nasa_capacity_4.csv").lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let (name, number) = (cells[0], cells[1].parse::<i64>().unwrap());
        if !seen.contains(&name) {
            seen.push(name);
            writeln!(packs, "{name},Cell 2000,2026-01-01,0").unwrap();
        }
        // Of one cell only the first half.
        if name == "B0007" && number > 84 {
            continue;
        }
        let day = date(2026, 1, 1).checked_add(number.days()).unwrap();
        let mah = (1000.0 * cells[5].parse::<f64>().unwrap()).round();
        writeln!(readings, "{name},{day},{mah}").unwrap();
    }
    std::fs::write(sandbox.path().join("packs.csv"), packs).unwrap();
    std::fs::write(sandbox.path().join("readings.csv"), readings).unwrap();
    for (what, file) in [("packs", "packs.csv"), ("readings", "readings.csv")] {
        let said = sandbox.run(&["import", what, file]);
        assert_eq!(said.code, 0, "{said:?}");
    }
    let said = sandbox.run(&["model", "learn"]);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(said.out.contains("few packs, read often: each is foretold from all others"), "{said:?}");
    let shown = sandbox.run(&["show", "B0007"]).out;
    assert!(shown.contains("holds now about") && shown.contains("holds in 360 days"), "{shown}");
    assert_eq!(sandbox.run(&["show", "B0007"]).out, shown, "the same facts, the same figures");
}
