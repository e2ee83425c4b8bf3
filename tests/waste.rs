//! Waste on hand against its limits, and the figures of the rules that the first policy starts from.

use packmuster::app::setup;
use packmuster::domain::make::Chemistry;
use packmuster::domain::units::{Grams, WattHours};
use packmuster::policy::template::Answers;
use packmuster::policy::waste::WasteRule;

use super::yard::{NICKEL, Yard, flat};

fn first_rule() -> WasteRule {
    setup::parse(&Answers::for_promise("Testing", "16").text()).unwrap().waste
}

/// 40 CFR 273.35 (seen in a public copy): a large handler keeps universal waste no longer than one year from the day on which it was
/// generated or received. 40 CFR 273.15 (from memory, the parallel text): so does a small one.
#[test]
fn waste_is_kept_for_a_year_at_most() {
    // Never more than a year, leap years or not.
    assert_eq!(first_rule().accumulate_days, 365);
}

/// 40 CFR 273.9 (seen in a public guide, not in the text of the rule): a small handler has less than 5,000 kg of all universal waste at
/// any time.
#[test]
fn a_small_handler_keeps_less_than_5000_kg() {
    assert_eq!(first_rule().handler_limit, Grams::new(5_000_000));
}

/// 40 CFR 273.14(a) (seen in pages that quote it): each battery or its container bears one of these three.
#[test]
fn boxes_bear_one_of_the_three_wordings() {
    let wordings = ["Universal Waste-Battery(ies)", "Waste Battery(ies)", "Used Battery(ies)"];
    assert!(wordings.contains(&first_rule().label.as_str()));
}

/// UN3496 for nickel-metal hydride with the remark on vessels: seen in a public copy. UN3480 for lithium ion and UN2800 for lead-acid
/// that cannot spill: from memory. That sealed nickel-cadmium has none of its own: from memory.
#[test]
fn un_numbers_by_chemistry() {
    let rule = first_rule();
    assert_eq!(rule.un(Chemistry::NiMh), Some("UN3496"));
    assert_eq!(rule.un(Chemistry::LiIon), Some("UN3480"));
    assert_eq!(rule.un(Chemistry::LeadAcid), Some("UN2800"));
    assert_eq!(rule.un(Chemistry::NiCd), None);
}

/// 49 CFR 173.185(c) (20 and 100 Wh seen in public letters of interpretation): the lighter rules hold up to 20 Wh a lithium ion cell and
/// 100 Wh a battery, with the watt-hours marked outside.
#[test]
fn lithium_up_to_20_wh_a_cell_and_100_wh_a_pack_goes_by_the_lighter_rules() {
    let rule = first_rule();
    assert_eq!((rule.cell, rule.battery), (WattHours::new(20_000), WattHours::new(100_000)));
    let (within, above) = ("within 20 Wh a cell and 100 Wh a pack", "above 20 Wh a cell or 100 Wh a pack");
    for (rated, nominal, cells, expected) in [
        ("5000 mAh", "4000 mV", "1", within),  // 20 Wh a cell
        ("5025 mAh", "4000 mV", "1", above),   // 20.1 Wh a cell
        ("5000 mAh", "20000 mV", "5", within), // 20 Wh a cell, 100 Wh
        ("5001 mAh", "20000 mV", "6", above),  // 16.67 Wh a cell, 100.02 Wh
        ("5001 mAh", "11999 mV", "3", above),  // 20.002 Wh a cell, 60.007 Wh
    ] {
        let yard = Yard::new();
        yard.make("Tern", "Li-ion", rated, &["--nominal", nominal, "--cells", cells]);
        yard.done(&["consignment", "open", "autumn", "--handler", "Tarn Metals"]);
        let dead = yard.dead("Tern", 1);
        yard.scan(&["consignment", "pack"], &[&dead[0]], &["Li-ion, sound -> box 1"]);
        let told = flat(&yard.done(&["consignment", "show"]));
        assert!(told.contains(&format!("Li-ion: {expected}")), "{rated} {nominal} {cells}: {told}");
        assert_eq!(told.contains("mark the watt-hours outside"), expected == within, "{told}");
        assert!(told.contains("UN3480") && !told.contains("173.185(f)"), "{told}");
    }
}

/// 49 CFR 173.185(f) (seen in a public letter of interpretation): damaged, defective or recalled lithium batteries that may give off
/// heat, burn or short go by it alone.
#[test]
fn damaged_lithium_goes_by_its_own_rule() {
    let yard = Yard::new();
    yard.done(&["consignment", "open", "autumn", "--handler", "Tarn Metals"]);
    let dead = yard.dead(super::yard::LITHIUM, 2);
    yard.scan(&["consignment", "pack"], &[&dead[0], &dead[1], "hot"], &["Li-ion, damaged -> box 2"]);
    let told = flat(&yard.done(&["consignment", "show", "--sheet", "autumn.pdf"]));
    let rule = "damaged, defective or recalled lithium: 49 CFR 173.185(f)";
    assert_eq!(told.matches(rule).count(), 1, "{told}");
    let paper = yard.pdf("autumn.pdf");
    // On the manifest, and again on the sheet of the damaged ones.
    assert_eq!(paper.matches("49 CFR 173.185(f)").count(), 2, "{paper}");
}

/// 40 CFR 273.13(a) (seen in a public copy of 2002): what leaks or is damaged goes into a closed, sound container that suits it.
#[test]
fn a_damaged_nickel_pack_goes_into_a_container_that_suits_it() {
    let yard = Yard::new();
    yard.done(&["consignment", "open", "autumn", "--handler", "Tarn Metals"]);
    let dead = yard.dead(NICKEL, 1);
    let told = |yard: &Yard| flat(&yard.done(&["consignment", "show"]));
    yard.scan(&["consignment", "pack"], &[&dead[0]], &["-> box 1"]);
    assert!(!told(&yard).contains("273.13(a)"));
    yard.scan(&["consignment", "pack"], &[&dead[0], "leaking"], &["NiMH, damaged -> box 2"]);
    let told = told(&yard);
    assert!(told.contains("closed, sound container that suits it (40 CFR 273.13(a))"), "{told}");
    assert!(told.contains("UN3496 holds by vessel, in certain quantities"), "{told}");
}

/// What `waste` says of its limits, with its exit code; `waiting` must say the same.
fn limits(yard: &Yard) -> (i32, Vec<String>) {
    let said = yard.sandbox.run(&["waste", "--json"]);
    let waste: serde_json::Value =
        serde_json::from_str::<serde_json::Value>(&said.out).unwrap()["waste"].clone();
    let warnings: Vec<String> =
        waste["warnings"].as_array().unwrap().iter().map(|word| word.as_str().unwrap().to_owned()).collect();
    let waiting = yard.json(&["waiting"])["waiting"]["waste"].clone();
    let waits: Vec<&str> =
        waiting.as_array().unwrap().iter().map(|item| item["why"].as_str().unwrap()).collect();
    assert_eq!(waits, warnings);
    let said = yard.sandbox.run(&["waste"]);
    for warning in &warnings {
        assert!(flat(&said.out).contains(&format!("NOW: {warning}")), "{said:?}");
    }
    assert_eq!(flat(&yard.done(&["waiting"])).contains("WASTE THAT MUST LEAVE"), !warnings.is_empty());
    (said.code, warnings)
}

#[test]
fn it_is_told_30_days_before_the_year_is_over_and_ever_after() {
    let yard = Yard::new();
    let (first, later) = (yard.dead(NICKEL, 1), yard.dead(NICKEL, 1));
    let tray = yard.place("scrap crate", Some("recycle"));
    yard.put(&first, &tray);
    yard.sandbox.days(100);
    yard.put(&later, &tray);
    assert_eq!(limits(&yard), (0, Vec::new()));
    // 2027-10-02: 31 days to go.
    yard.sandbox.days(234);
    assert_eq!(limits(&yard), (0, Vec::new()));
    assert!(flat(&yard.done(&["waste"])).contains("it must leave by 2027-11-02, 31 days to go"));
    let since = "the oldest pack became waste on 2026-11-02 and";
    yard.sandbox.days(1);
    assert_eq!(limits(&yard), (1, vec![format!("{since} must have left by 2027-11-02: 30 days to go")]));
    yard.sandbox.days(29);
    assert_eq!(limits(&yard), (1, vec![format!("{since} must have left by 2027-11-02: 1 day to go")]));
    yard.sandbox.days(2);
    assert_eq!(limits(&yard), (1, vec![format!("{since} should have left by 2027-11-02: 1 day over")]));
    // Packed it is still here; once it has left, the next oldest counts.
    yard.done(&["consignment", "open", "autumn", "--handler", "Tarn Metals"]);
    yard.scan(&["consignment", "pack"], &[&first[0]], &["-> box 1"]);
    assert_eq!(limits(&yard).0, 1);
    yard.done(&["consignment", "leave"]);
    assert_eq!(limits(&yard), (0, Vec::new()));
    assert!(flat(&yard.done(&["waste"])).contains("the oldest since 2027-02-10"));
}

#[test]
fn it_is_told_when_the_mass_reaches_the_limit() {
    let yard = Yard::new();
    yard.adopt(&[("handler_limit_kg = 5000", "handler_limit_kg = 1")]);
    yard.make("Tern", "lead-acid", "1000 mAh", &["--cells", "3", "--mass", "500 g"]);
    yard.make("Knot", "lead-acid", "1000 mAh", &["--cells", "3", "--mass", "499 g"]);
    let (half, less) = (yard.dead("Tern", 2), yard.dead("Knot", 1));
    let tray = yard.place("scrap crate", Some("recycle"));
    yard.put(&half[..1], &tray);
    yard.put(&less, &tray);
    assert_eq!(limits(&yard), (0, Vec::new()), "999 g");
    yard.done(&["consignment", "open", "autumn", "--handler", "Tarn Metals"]);
    yard.scan(&["consignment", "pack"], &[&less[0]], &["-> box 1"]);
    yard.done(&["consignment", "leave"]);
    yard.put(&half[1..], &tray);
    assert_eq!(limits(&yard), (1, vec!["1 kg are on hand, and less than 1 kg may be kept".to_owned()]));
}

#[test]
fn another_rule_set_stands_on_the_paper() {
    let yard = Yard::new();
    yard.adopt(&[
        ("rules = \"40 CFR 273 (universal waste, USA)\"", "rules = \"Skerrow waste order 12\""),
        ("accumulate_days = 365", "accumulate_days = 10"),
        ("warn_days = 30", "warn_days = 2"),
        ("handler_limit_kg = 5000", "handler_limit_kg = 70"),
        ("label = \"Universal Waste-Battery(ies)\"", "label = \"Old batteries, keep out\""),
        ("nimh = \"UN3496\"", "nimh = \"\""),
    ]);
    yard.done(&["consignment", "open", "autumn", "--handler", "Tarn Metals"]);
    let dead = yard.dead(NICKEL, 1);
    yard.scan(&["consignment", "pack"], &[&dead[0]], &["-> box 1"]);
    let told = flat(&yard.done(&["waste"]));
    assert!(
        told.contains("less than 70 kg may be kept") && told.contains("By Skerrow waste order 12."),
        "{told}"
    );
    assert!(told.contains("it must leave by 2026-11-12"), "{told}");
    yard.sandbox.days(8);
    assert_eq!(limits(&yard).0, 1);
    yard.done(&["consignment", "show", "--sheet", "autumn.pdf"]);
    let paper = yard.pdf("autumn.pdf");
    assert!(
        paper.contains("By Skerrow waste order 12.") && paper.contains("Old batteries, keep out"),
        "{paper}"
    );
    assert!(
        !paper.contains("40 CFR 273 (universal waste, USA)") && !paper.contains("Universal Waste"),
        "{paper}"
    );
    for (from, to) in [
        ("label = \"Old batteries, keep out\"", "label = \"\""),
        ("accumulate_days = 10", "accumulate_days = 0"),
        ("warn_days = 2", "warn_days = 11"),
        ("li_ion = \"UN3480\"", "li_ion = \"3480\""),
    ] {
        let text = yard.done(&["policy", "show"]).replacen(from, to, 1);
        std::fs::write(yard.sandbox.path().join("bad.toml"), text).unwrap();
        let key = from.split(' ').next().unwrap().replace("li_ion", "un");
        yard.refused(&["policy", "adopt", "bad.toml"], &format!("waste.{key}"));
    }
}
