//! Packs proposed for loans: the judge has the last word, and weak packs go first.

use packmuster::app::judging::{Ask, look};
use packmuster::app::lookup;
use packmuster::domain::moment::Moment;
use packmuster::domain::verdict::{Step, Verdict};
use packmuster::ledger::{Access, Ledger};
use serde_json::Value;

use super::ahead::{learnt, packmuster};
use super::demo::demo;

const LOANS: [&str; 8] =
    ["--for", "Wren:56:6", "--for", "Lapwing:14:3", "--for", "Wren:180:4", "--for", "Lapwing:2027-02-01:2"];

fn pick(args: &[&str]) -> (i32, Value) {
    let (code, out, errors) = packmuster(learnt(), &[&["pick", "--json"], args].concat());
    assert!(code < 2, "{errors}");
    let answer: Value = serde_json::from_str(&out).unwrap();
    (code, answer["pick"].clone())
}

/// Every form of the demo has one make of player: a loose pack is judged for that.
#[test]
fn the_judge_lets_every_proposed_pack_out_for_its_loan() {
    let (_, picked) = pick(&LOANS);
    let mut ledger = Ledger::open(&learnt().join("skerrow.muster"), Access::Read).unwrap();
    let now = "2026-10-29T18:00:00Z".parse().map(Moment::from_timestamp).unwrap();
    let mut tags = std::collections::BTreeSet::new();
    for loan in picked["loans"].as_array().unwrap() {
        let Some(tag) = loan["pack"]["tag"].as_str() else { continue };
        assert!(tags.insert(tag.to_owned()), "{tag} is proposed twice");
        let pack = lookup::find(&mut ledger, tag).unwrap().pack().unwrap();
        let due = Some(loan["due"].as_str().unwrap().parse().unwrap());
        let ask = Ask { pack, step: Step::Dispatch, player: None, due, now };
        let (ruling, _) = look(&mut ledger, ask).unwrap();
        assert_eq!(ruling.verdict, Verdict::Fit, "{loan}: {:?}", ruling.reasons);
        assert!(loan["pack"]["at_return"]["chance_percent"].as_f64().unwrap() <= 10.0);
    }
    assert!(tags.len() > 10, "{}", tags.len());
}

#[test]
fn the_longest_loans_come_first_and_each_takes_the_weakest_that_keeps_it() {
    let (code, picked) = pick(&LOANS);
    assert_eq!(code, i32::from(picked["unserved"].as_u64().unwrap() > 0));
    let loans = picked["loans"].as_array().unwrap();
    assert_eq!(loans.len(), 15);
    let mut last = u64::MAX;
    for loan in loans {
        let days = loan["days"].as_u64().unwrap();
        assert!(days <= last);
        last = days;
    }
    // Alone, a short loan gets a pack at least as likely to fall short as any that it leaves.
    let (_, alone) = pick(&["--for", "Wren:14:5"]);
    let chance = |loan: &Value| loan["pack"]["at_return"]["chance_percent"].as_f64().unwrap();
    let chances: Vec<f64> = alone["loans"].as_array().unwrap().iter().map(chance).collect();
    assert!(chances.windows(2).all(|pair| pair[0] >= pair[1]), "{chances:?}");
    // The order of the wishes does not matter.
    let other = pick(&[
        "--for",
        "Wren:180:4",
        "--for",
        "Lapwing:2027-02-01:2",
        "--for",
        "Wren:56:6",
        "--for",
        "Lapwing:14:3",
    ]);
    assert_eq!(other.1, picked);
}

#[test]
fn what_cannot_be_served_is_named_with_the_reason() {
    let (code, out, _) = packmuster(learnt(), &["pick", "--for", "Lapwing:14:60"]);
    assert_eq!(code, 1);
    assert!(out.contains("NOT SERVED") && out.contains("Lapwing due 2026-11-12"), "{out}");
    assert!(out.lines().all(|line| line.chars().count() <= 80), "{out}");
    let (code, picked) = pick(&["--for", "Lapwing:14:60"]);
    let served = picked["loans"].as_array().unwrap().iter().filter(|loan| loan["pack"].is_object()).count();
    assert_eq!((code, u64::try_from(served).unwrap() + picked["unserved"].as_u64().unwrap()), (1, 60));
}

#[test]
fn without_a_model_it_goes_by_readings_and_says_so() {
    let (code, out, errors) = packmuster(demo(), &["pick", "--for", "Wren:56:2"]);
    assert_eq!(code, 0, "{errors}");
    assert!(out.contains("no model is learnt") && out.contains("unknown"), "{out}");
    assert!(out.lines().all(|line| line.chars().count() <= 80), "{out}");
}

#[test]
fn bad_wishes_are_named_with_a_way_on() {
    for (wish, names) in [
        ("Gull:14", "`Gull`"),
        ("Wren:0", "`0`"),
        ("Wren:2020-01-01", "`2020-01-01`"),
        ("Wren:500", "longest loan is 200"),
        ("Wren:soon", "`soon`"),
        ("Wren:14:0", "`0`"),
        ("Wren:14:10001", "`10001`"),
        ("Wren", "`Wren`"),
        ("Wren:1:2:3", "`Wren:1:2:3`"),
    ] {
        let (code, out, errors) = packmuster(learnt(), &["pick", "--for", wish]);
        assert_eq!((code, out.as_str()), (2, ""), "{wish}");
        assert!(errors.contains(names) && errors.contains("hint: "), "{wish}: {errors}");
    }
    assert_eq!(packmuster(learnt(), &["pick"]).0, 2);
}
