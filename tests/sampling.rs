//! Sampling plans as the person at the bench asks for them.

use std::collections::BTreeSet;

use packmuster::app::sampling::drawn;
use packmuster::domain::ids::CartonId;
use packmuster::domain::tag::{Tag, TagKind};
use serde_json::Value;
use uuid::Uuid;

use super::sandbox::Sandbox;

fn study(sandbox: &Sandbox, args: &[&str]) -> Value {
    let said = sandbox.run(&[&["sampling", "--json"], args].concat());
    assert_eq!(said.code, 0, "{said:?}");
    let answer: Value = serde_json::from_str(&said.out).unwrap();
    answer["sampling"].clone()
}

fn accepted(study: &Value, bad: u64) -> f64 {
    let curve = study["curve"].as_array().unwrap();
    let point = curve.iter().find(|point| point["bad"] == bad).unwrap();
    point["accepted_percent"].as_f64().unwrap()
}

/// Six of a carton of 48: `C(48 - D, 6) / C(48, 6)` in whole fractions. No ledger is there.
#[test]
fn six_of_a_carton_in_plain_words() {
    let sandbox = Sandbox::empty();
    let found = study(&sandbox, &["48", "--take", "6"]);
    for (bad, expected) in [(0, 1.0), (1, 7.0 / 8.0), (2, 287.0 / 376.0), (4, 3731.0 / 6486.0)] {
        assert!((accepted(&found, bad) - 100.0 * expected).abs() < 1e-9, "{bad}");
    }
    let said = sandbox.run(&["sampling", "48", "--take", "6"]).out;
    assert!(said.contains("accept the carton when none is bad"), "{said}");
    assert!(
        said.contains("With 4 bad packs among 48, the carton is accepted all the same 58 times in 100."),
        "{said}"
    );
    // All of them: nothing is left to chance.
    let said = sandbox.run(&["sampling", "48", "--take", "48"]).out;
    assert!(said.contains("read all 48") && !said.contains("times in 100"), "{said}");
}

/// MIL-STD-105E: 48 packs are letter D, whose cell at 4.0 has an arrow to E: 13, none or 1 (seen in public copies).
#[test]
fn the_standards_plan_by_its_arrows() {
    let sandbox = Sandbox::empty();
    let found = study(&sandbox, &["48", "--quality", "4"]);
    assert_eq!(found["plan"][0], "MIL-STD-105E (ISO 2859-1), code letter D, by the arrows to letter E");
    assert_eq!(found["plan"][1], "read 13 packs, drawn at random; accept the carton when at most 1 is bad");
    let double = study(&sandbox, &["48", "--quality", "4", "--double"]);
    assert!(double["plan"][1].as_str().unwrap().starts_with("read 8 packs"), "{double}");
    let tightened = study(&sandbox, &["48", "--quality", "4", "--severity", "tightened"]);
    assert_eq!(
        tightened["plan"][1],
        "read 20 packs, drawn at random; accept the carton when at most 1 is bad"
    );
    // Two samples spare some, and tightened inspection accepts less.
    let read =
        double["curve"].as_array().unwrap().iter().map(|point| point["read_on_average"].as_f64().unwrap());
    assert!(read.fold(0.0, f64::max) < 13.0);
    assert!(accepted(&tightened, 4) < accepted(&found, 4));
}

#[test]
fn a_plan_for_two_risks_says_what_counting_capacities_would_spare() {
    let sandbox = Sandbox::empty();
    let found = study(&sandbox, &["500", "--good", "2", "--bad", "10"]);
    assert!(accepted(&found, 10) >= 95.0 && accepted(&found, 50) <= 10.0, "{found}");
    let plan = found["plan"].to_string();
    assert!(plan.contains("by what each holds") && plan.contains("28 fewer"), "{plan}");
}

#[test]
fn without_a_plan_the_policys_is_taken() {
    let sandbox = Sandbox::started();
    let found = study(&sandbox, &["48"]);
    assert_eq!(found, study(&sandbox, &["48", "--take", "6"]));
}

#[test]
fn what_makes_no_sense_is_said() {
    let sandbox = Sandbox::empty();
    for (args, says) in [
        (vec!["1", "--take", "1"], "a carton of 1"),
        (vec!["48", "--take", "60"], "60 of a carton of 48"),
        (vec!["48", "--take", "6", "--accept", "6"], "6 bad ones borne"),
        (vec!["48", "--take", "0"], "0 read"),
        (vec!["48", "--quality", "3"], "an acceptance quality of 3"),
        (vec!["48", "--good", "10", "--bad", "5"], "the good share must be below the bad one"),
        (vec!["2", "--good", "1", "--bad", "3"], "read all of them"),
        (vec!["48"], "there is no ledger"),
    ] {
        let said = sandbox.run(&[vec!["sampling"], args.clone()].concat());
        assert_eq!(said.code, 2, "{args:?}: {said:?}");
        assert!(said.err.contains(says) && said.err.contains("hint: "), "{args:?}: {said:?}");
    }
}

/// Every place is drawn as often as any other: Pearson's chi-square over 4,000 cartons stays below what one in a thousand exceeds (82.7 for
/// 47 degrees of freedom; by R 4.2, `qchisq(0.999, 47)`), and pairs beside each other are as frequent as they should be.
#[test]
fn every_pack_of_a_carton_is_as_likely_to_be_drawn() {
    let (size, sample, cartons) = (48_u32, 6_u32, 4_000_u32);
    let (mut counts, mut pairs) = ([0.0_f64; 48], 0.0);
    for carton in 0..cartons {
        let places = drawn(CartonId::new(Uuid::from_u128(u128::from(carton) << 64 | 7)), size, sample);
        assert_eq!(places.len(), 6);
        for place in &places {
            counts[usize::try_from(place - 1).unwrap()] += 1.0;
            pairs += f64::from(u8::from(places.contains(&(place + 1))));
        }
    }
    let expected = f64::from(cartons * sample) / f64::from(size);
    // What is left over after six were taken spreads less than if each were drawn by itself.
    let spread = expected * f64::from(size - sample) / f64::from(size - 1);
    let square: f64 = counts.iter().map(|count| (count - expected).powi(2) / spread).sum();
    assert!(square < 82.7, "{square}");
    // 47 neighbours, each pair together with 6 * 5 / (48 * 47).
    let neighbours = f64::from(cartons) * 47.0 * 30.0 / (48.0 * 47.0);
    assert!((pairs - neighbours).abs() < 4.0 * neighbours.sqrt(), "{pairs} for {neighbours}");
    assert_eq!(
        drawn(CartonId::new(Uuid::nil()), 4, 6),
        BTreeSet::from([1, 2, 3, 4]),
        "a small carton is read whole"
    );
}

#[test]
fn the_sample_is_told_at_the_carton_and_named_again() {
    let sandbox = Sandbox::started();
    let tags: Vec<Tag> = (0..12).map(|_| sandbox.tag(TagKind::Pack)).collect();
    let lines: Vec<&str> = tags.iter().map(Tag::text).collect();
    let receive = ["receive", "--lot", "A", "--cartons", "1", "--count", "12", "--ref", "PO"];
    let said = sandbox.session(&[&receive[..], &["--json"]].concat(), &lines);
    assert_eq!(said.code, 0, "{said:?}");
    let told: Vec<&str> = said
        .out
        .lines()
        .zip(0..)
        .filter(|(line, _)| line.contains("of the sample: put it with those to be measured"))
        .map(|(line, _)| line)
        .collect();
    assert_eq!(told.len(), 6, "{}", said.out);
    let named = || sandbox.run(&["sampling", "--json", "--carton", "A/1"]);
    let sample: Value = serde_json::from_str(&named().out).unwrap();
    let packs = sample["sample"]["packs"].as_array().unwrap().clone();
    assert_eq!((packs.len(), sample["sample"]["missing"].as_u64()), (6, Some(0)));
    for pack in &packs {
        let name = pack[0].as_str().unwrap();
        assert!(told.iter().any(|line| line.contains(name)), "{name} was not told: {told:?}");
        assert!(pack[1].is_null());
    }
    // What was read is told, and the sample stays what it was.
    let first = packs[0][0].as_str().unwrap();
    let _said = sandbox.session(&["bench"], &[first, "1100"]);
    let said = sandbox.run(&["sampling", "--carton", "A/1"]).out;
    assert!(said.contains("read 1100 mAh") && said.matches("not read yet").count() == 5, "{said}");
    let unknown = sandbox.run(&["sampling", "--carton", "nowhere"]);
    assert!(unknown.code == 2 && unknown.err.contains("no carton is named `nowhere`"), "{unknown:?}");
}
