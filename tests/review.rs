//! The monthly review: the same numbers in every form, the month before beside it, and what stands behind its sentences.

use std::collections::BTreeMap;
use std::fs;
use std::process::Command;

use packmuster::domain::tag::TagKind;
use serde_json::Value;

use crate::demo::demo;
use crate::sandbox::Sandbox;

fn json(text: &str) -> Value {
    serde_json::from_str(text).unwrap()
}

fn plain(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn pdf_text(path: &std::path::Path) -> Vec<String> {
    let out = Command::new("pdftotext").args(["-raw"]).arg(path).arg("-").output().unwrap();
    assert!(out.status.success() && out.stderr.is_empty(), "{}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).unwrap().split('\u{c}').map(plain).collect()
}

/// The text of a page, without its tags.
fn page_text(page: &str) -> String {
    let body = page.split_once("<main").unwrap().1;
    let (mut text, mut tag) = (String::new(), true);
    for character in body.chars() {
        match character {
            '<' => tag = true,
            '>' => {
                tag = false;
                text.push(' ');
            }
            other if !tag => text.push(other),
            _ => {}
        }
    }
    plain(&text.replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&").replace("&quot;", "\""))
}

fn figures(of: &Value) -> BTreeMap<String, u64> {
    let rows = of["rows"].as_array().unwrap();
    rows.iter()
        .map(|row| (row["what"].as_str().unwrap().to_owned(), row["value"].as_u64().unwrap()))
        .collect()
}

#[test]
fn every_form_holds_the_same_figures_and_says_what_it_was_made_from() {
    let review = json(&fs::read_to_string(demo().join("review.json")).unwrap());
    let paper = pdf_text(&demo().join("review.pdf")).concat();
    let page = page_text(&fs::read_to_string(demo().join("review.html")).unwrap());
    let csv = fs::read_to_string(demo().join("review.csv")).unwrap();
    let (now, before) = (figures(&review["figures"]), figures(&review["before"]));
    assert_eq!(now.len(), before.len());
    for (what, value) in &now {
        let change = i64::try_from(*value).unwrap() - i64::try_from(before[what]).unwrap();
        let row = format!("{what} {} {value} {change:+}", before[what]);
        assert!(paper.contains(&row), "PDF: {row}");
        assert!(page.contains(&row), "page: {row}");
        let row = format!("figure,,,,,\"{what}\",,,,2026-10,,,{value}");
        let bare = format!("figure,,,,,{what},,,,2026-10,,,{value}");
        assert!(csv.contains(&row) || csv.contains(&bare), "CSV: {bare}");
    }
    for list in ["near_end", "recondition", "recycle", "isolate", "out_at_risk"] {
        let lines = review[list].as_array().unwrap();
        let rows = csv.lines().filter(|line| line.starts_with(&format!("{list},"))).count();
        assert_eq!(rows, lines.len(), "{list}");
        for line in lines {
            let pack = line["pack"].as_str().unwrap();
            assert!(paper.contains(pack) && page.contains(pack), "{list}: {pack}");
        }
    }
    for head in review["heads"].as_array().unwrap() {
        let (hash, number) = (head["hash"].as_str().unwrap(), head["number"].to_string());
        for (form, text) in [("PDF", &paper), ("page", &page)] {
            assert!(text.contains(&format!("entry {number} of")) && text.contains(hash), "{form}: {hash}");
        }
        assert!(csv.contains(hash), "{hash}");
    }
    for sentence in review["wrong"].as_array().unwrap() {
        let sentence = sentence.as_str().unwrap();
        assert!(paper.contains(sentence) && page.contains(sentence), "{sentence}");
    }
}

#[test]
fn the_first_page_is_one_page_and_the_month_before_is_its_own_review() {
    let pages = pdf_text(&demo().join("review.pdf"));
    for words in ["players can go out today", "What to buy, and by when", "What is wrong"] {
        assert!(pages[0].contains(words), "{words}: {}", pages[0]);
    }
    assert!(
        pages[1].contains("The fleet in pictures") && !pages[1].contains("What is wrong"),
        "{}",
        pages[1]
    );
    let review = json(&fs::read_to_string(demo().join("review.json")).unwrap());
    let run = |month: &str| {
        let out = Command::new(env!("CARGO_BIN_EXE_packmuster"))
            .args(["review", month, "--json"])
            .env_clear()
            .env("PACKMUSTER_CLOCK", "2026-10-31T08:00:00Z")
            .current_dir(demo())
            .output()
            .unwrap();
        json(&String::from_utf8(out.stdout).unwrap())
    };
    assert_eq!(review["before"]["rows"], run("2026-09")["figures"]["rows"]);
    // The first month of the ledger has none before it.
    assert_eq!(run("2023-03")["before"], Value::Null);
}

/// A Wren with a pack that was read at a capacity goes out, and comes back as one that cut out early.
struct Lent {
    sandbox: Sandbox,
    pack: String,
    player: String,
}

fn lent(capacity: &str) -> Lent {
    let sandbox = Sandbox::started();
    let (pack, player, slot) =
        (sandbox.tag(TagKind::Pack), sandbox.tag(TagKind::Player), sandbox.tag(TagKind::Slot));
    let [pack, player, slot] = [pack, player, slot].map(|tag| tag.to_string());
    assert_eq!(sandbox.run(&["intake", &player, &pack]).code, 0);
    assert_eq!(sandbox.run(&["bench", &slot, &pack]).code, 0);
    assert_eq!(sandbox.run(&["bench", &slot, capacity]).code, 0);
    let said = sandbox.run(&["dispatch", "--for", "2 weeks", &pack, &player]);
    assert_eq!(said.code, 0, "{said:?}");
    sandbox.days(7);
    Lent { sandbox, pack, player }
}

impl Lent {
    fn review(&self) -> Value {
        let said = self.sandbox.run(&["review", "--json"]);
        assert_eq!(said.code, 0, "{said:?}");
        json(&said.out)
    }

    fn adopt(&self, from: &str, to: &str) {
        let path = self.sandbox.path().join("fleet.policy.toml");
        let text = fs::read_to_string(&path).unwrap();
        assert!(text.contains(from), "{from}");
        fs::write(&path, text.replacen(from, to, 1)).unwrap();
        let said = self.sandbox.run(&["policy", "adopt"]);
        assert_eq!(said.code, 0, "{said:?}");
    }
}

#[test]
fn a_complaint_names_the_rule_of_today_that_would_have_kept_the_pack_here() {
    let lent = lent("700 mAh");
    let said = lent.sandbox.run(&["loan", "complaint", &lent.player, "--after", "5 h"]);
    assert_eq!(said.code, 0, "{said:?}");
    let none = &lent.review()["complaints"][0];
    assert_eq!(none["pack"], lent.pack.as_str());
    assert_eq!(none["player"], lent.player.as_str());
    assert_eq!(none["after_h"], 5.0);
    assert_eq!(none["rule"], Value::Null);
    assert!(none["why"].as_str().unwrap().starts_with("none: read 700 mAh"), "{none}");
    // With a stricter limit the same pack would not have gone.
    lent.adopt(
        "[limits.service]             # packs that were lent at least once\nmAh = 650",
        "[limits.service]\nmAh = 750",
    );
    let caught = &lent.review()["complaints"][0];
    assert_eq!(caught["rule"], "capacity", "{caught}");
    // It comes back, and that is seen on it at intake: one more, of the same loan.
    let said = lent.sandbox.run(&["intake", &lent.player, &lent.pack, "cutout"]);
    assert!(said.code < 2, "{said:?}");
    let review = lent.review();
    assert_eq!(review["complaints"].as_array().unwrap().len(), 2, "{}", review["complaints"]);
    let paper = lent.sandbox.path().join("r.pdf");
    assert_eq!(lent.sandbox.run(&["review", "--pdf", "r.pdf"]).code, 0);
    assert!(pdf_text(&paper).concat().contains("Cut out early: 2"));
}

#[test]
fn a_month_that_is_over_is_told_as_it_was_whatever_comes_later() {
    let lent = lent("700 mAh");
    assert_eq!(lent.sandbox.run(&["loan", "complaint", &lent.player, "--after", "5 h"]).code, 0);
    let month = lent.review()["month"].as_str().unwrap().to_owned();
    lent.sandbox.days(40);
    let told = || {
        let said = lent.sandbox.run(&["review", &month, "--json"]);
        assert_eq!(said.code, 0, "{said:?}");
        json(&said.out)
    };
    let before = told();
    assert_eq!(before["complaints"][0]["pack"], lent.pack.as_str());
    assert!(lent.sandbox.run(&["intake", &lent.player, &lent.pack, "cutout"]).code < 2);
    for (old, kind) in [(&lent.player, TagKind::Player), (&lent.pack, TagKind::Pack)] {
        let new = lent.sandbox.tag(kind).to_string();
        assert!(lent.sandbox.run(&["bind", old, &new, "--replace"]).code < 2);
        assert!(lent.sandbox.run(&["show", old]).out.contains(&new), "it wears another tag now");
    }
    assert_eq!(told(), before);
}

#[test]
fn packs_nobody_saw_for_long_are_listed_and_seeing_one_takes_it_off() {
    let sandbox = Sandbox::started();
    let (old, new) = (sandbox.tag(TagKind::Pack).to_string(), sandbox.tag(TagKind::Pack).to_string());
    assert_eq!(sandbox.run(&["intake", "--loose", &old]).code, 0);
    sandbox.days(150);
    assert_eq!(sandbox.run(&["intake", "--loose", &new]).code, 0);
    sandbox.days(29);
    assert_eq!(json(&sandbox.run(&["review", "--json"]).out)["lost"], Value::Array(Vec::new()));
    sandbox.days(2);
    let lost = json(&sandbox.run(&["review", "--json"]).out)["lost"].clone();
    assert_eq!(lost.as_array().unwrap().len(), 1, "{lost}");
    assert_eq!(lost[0]["pack"], old.as_str());
    assert_eq!(lost[0]["why"], "not seen for 181 days");
    assert_eq!(lost[0]["seen"], "2026-11-02");
    assert_eq!(sandbox.run(&["intake", "--loose", &old]).code, 0);
    assert_eq!(json(&sandbox.run(&["review", "--json"]).out)["lost"], Value::Array(Vec::new()));
}

#[test]
fn rounds_cartons_and_capacities_of_the_month_are_told() {
    let sandbox = Sandbox::started();
    let (place, slot) = (sandbox.tag(TagKind::Place).to_string(), sandbox.tag(TagKind::Slot).to_string());
    assert_eq!(sandbox.run(&["place", "add", "shelf", "--tag", &place]).code, 0);
    let packs: Vec<String> = (0..2).map(|_| sandbox.tag(TagKind::Pack).to_string()).collect();
    let mut args = vec!["receive", "--lot", "L1", "--cartons", "1", "--count", "2", "--ref", "PO-1"];
    args.extend(packs.iter().map(String::as_str));
    let said = sandbox.run(&args);
    assert!(said.code < 2, "{said:?}");
    let carton = json(&sandbox.run(&["review", "--json"]).out)["cartons"].clone();
    assert_eq!((carton[0]["read"].clone(), carton[0]["result"].as_str()), (0.into(), Some("2 more to read")));
    for (pack, mah) in [(&packs[0], "1080 mAh"), (&packs[1], "900 mAh")] {
        assert_eq!(sandbox.run(&["bench", &slot, pack]).code, 0);
        assert!(sandbox.run(&["bench", &slot, mah]).code < 2);
    }
    assert!(sandbox.run(&["bench", &packs[1], "round"]).code < 2);
    assert_eq!(sandbox.run(&["bench", &slot, &packs[1]]).code, 0);
    assert!(sandbox.run(&["bench", &slot, "1040 mAh"]).code < 2);
    let review = json(&sandbox.run(&["review", "--json"]).out);
    let carton = &review["cartons"][0];
    assert_eq!((carton["read"].clone(), carton["bad"].clone()), (2.into(), 1.into()), "{carton}");
    assert_eq!(carton["result"], "short");
    let round = &review["round_lines"][0];
    assert_eq!(
        (round["before_mah"].clone(), round["after_mah"].clone(), round["limit_mah"].clone()),
        (900.into(), 1040.into(), 1000.into()),
        "{round}"
    );
    let bins = review["capacities"][0]["bins"].as_array().unwrap();
    let held: u64 = bins.iter().map(|bin| bin["packs"].as_u64().unwrap()).sum();
    assert_eq!(held, 2, "{bins:?}");
    let last = bins.last().unwrap();
    assert!(last["from_mah"].as_u64().unwrap() <= 1080 && 1080 < last["to_mah"].as_u64().unwrap());
}

#[test]
fn long_lists_are_cut_on_paper_and_whole_in_csv() {
    let sandbox = Sandbox::started();
    let packs: Vec<String> = (0..7).map(|_| sandbox.tag(TagKind::Pack).to_string()).collect();
    for pack in &packs {
        assert!(sandbox.run(&["intake", "--loose", pack, "swollen"]).code < 2);
    }
    let path = sandbox.path().join("fleet.policy.toml");
    let text = fs::read_to_string(&path).unwrap();
    fs::write(&path, text.replacen("rows = 200 ", "rows = 3 ", 1)).unwrap();
    assert_eq!(sandbox.run(&["policy", "adopt"]).code, 0);
    let said = sandbox.run(&["review", "--pdf", "r.pdf", "--page", "r.html", "--csv"]);
    assert_eq!(said.code, 0, "{said:?}");
    let paper = pdf_text(&sandbox.path().join("r.pdf")).concat();
    let page = page_text(&fs::read_to_string(sandbox.path().join("r.html")).unwrap());
    for (form, text) in [("PDF", &paper), ("page", &page)] {
        assert!(text.contains("To keep apart: 7"), "{form}");
        assert!(text.contains("... and 4 more: packmuster review --csv lists all."), "{form}");
        assert_eq!(packs.iter().filter(|pack| text.contains(pack.as_str())).count(), 3, "{form}");
    }
    assert_eq!(said.out.lines().filter(|line| line.starts_with("isolate,")).count(), 7);
    // A file that is there is not written over.
    assert_eq!(sandbox.run(&["review", "--page", "r.html"]).code, 2);
}

/// Values of an attribute of the elements in a piece of SVG.
fn number(element: &str, name: &str) -> f64 {
    element.split(&format!(" {name}=\"")).nth(1).unwrap().split('"').next().unwrap().parse().unwrap()
}

/// The histograms of the page, read back from the picture: each bar stands over its own mAh, and is as high as its packs.
#[test]
fn what_is_drawn_of_the_fleet_is_what_was_counted() {
    let review = json(&fs::read_to_string(demo().join("review.json")).unwrap());
    let page = fs::read_to_string(demo().join("review.html")).unwrap();
    let svg = page.split("<svg").find(|part| part.contains("class=\"ridge\"")).unwrap();
    let ticks: Vec<(f64, f64)> = svg
        .split("<g class=\"tick across\">")
        .skip(1)
        .map(|tick| {
            let text = tick.split_once("<text").unwrap().1;
            let value = text.split('>').nth(1).unwrap().split('<').next().unwrap().replace(',', "");
            (number(text, "x"), value.parse().unwrap())
        })
        .collect();
    let (first, last) = (ticks[0], ticks[ticks.len() - 1]);
    let mah = |x: f64| first.1 + (x - first.0) / (last.0 - first.0) * (last.1 - first.1);
    let capacities = review["capacities"].as_array().unwrap();
    assert_eq!(capacities.len(), 2);
    for of in capacities {
        let make = of["make"].as_str().unwrap();
        let ridge = svg
            .split("<g class=\"ridge\"")
            .find(|part| part.contains(&format!("data-series=\"{make}\"")))
            .unwrap();
        let bars: Vec<(f64, f64, f64)> = ridge
            .split("<g class=\"bin")
            .skip(1)
            .map(|bin| {
                let (x, width) = (number(bin, "x"), number(bin, "width"));
                (mah(x), mah(x + width), number(bin, "height"))
            })
            .collect();
        let tallest = bars.iter().map(|bar| bar.2).fold(0.0, f64::max);
        let bins: Vec<(f64, f64, f64)> = of["bins"]
            .as_array()
            .unwrap()
            .iter()
            .map(|bin| ["from_mah", "to_mah", "packs"].map(|key| bin[key].as_f64().unwrap()))
            .map(|[from, to, packs]| (from, to, packs))
            .collect();
        let most = bins.iter().map(|bin| bin.2).fold(0.0, f64::max);
        for (from, to, packs) in bins {
            let within = bars.iter().filter(|bar| bar.0 > from - 1.0 && bar.1 < to + 1.0);
            let wide: f64 = within.clone().map(|bar| bar.1 - bar.0).sum();
            assert!((wide - if packs > 0.0 { to - from } else { 0.0 }).abs() < 2.0, "{make} {from}: {wide}");
            for bar in within {
                assert!(
                    (bar.2 / tallest * most - packs).abs() < 0.01,
                    "{make} {from}: {bar:?}, {packs} packs"
                );
            }
        }
    }
}
