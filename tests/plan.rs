//! The bench plan through the binary.

use std::fmt::Write as _;
use std::path::Path;
use std::process::Command;

use packmuster::domain::tag::TagKind;
use serde_json::Value;

use super::demo::demo;
use super::sandbox::Sandbox;

fn planned(sandbox: &Sandbox, args: &[&str]) -> Value {
    let said = sandbox.run(&[&["plan", "--json"], args].concat());
    assert_eq!(said.code, 0, "{said:?}");
    serde_json::from_str::<Value>(&said.out).unwrap()["plan"].clone()
}

/// Packs in service with a first reading each; `None` for one that was never read.
fn fleet(sandbox: &Sandbox, readings: &[Option<(u32, &str)>]) -> Vec<String> {
    let tags: Vec<String> = readings.iter().map(|_| sandbox.tag(TagKind::Pack).to_string()).collect();
    let rows: String = tags.iter().fold("pack\n".to_owned(), |all, tag| format!("{all}{tag}\n"));
    std::fs::write(sandbox.path().join("packs.csv"), rows).unwrap();
    assert_eq!(sandbox.run(&["import", "packs", "packs.csv"]).code, 0);
    let mut rows = "pack,at,capacity\n".to_owned();
    for (tag, (mah, day)) in tags.iter().zip(readings).filter_map(|(tag, read)| Some((tag, (*read)?))) {
        let _infallible = writeln!(rows, "{tag},{day} 08:00,{mah}");
    }
    std::fs::write(sandbox.path().join("readings.csv"), rows).unwrap();
    let said = sandbox.run(&["import", "readings", "readings.csv"]);
    assert_eq!(said.code, 0, "{said:?}");
    tags
}

/// Two slots; a weak pack for a round of three cycles of 16 h, three that were never read, and one that only needs a charge. It is the
/// early morning of Monday, the second of November.
#[test]
fn tests_by_day_rounds_over_nights_and_no_slot_for_a_charge() {
    let sandbox = Sandbox::started();
    for name in ["slot 1", "slot 2"] {
        assert_eq!(sandbox.run(&["slot", "add", name]).code, 0);
    }
    let tags = fleet(&sandbox, &[Some((560, "2026-11-01")), None, None, None, Some((900, "2026-09-15"))]);
    let plan = planned(&sandbox, &[]);
    assert_eq!(plan["waiting"], serde_json::json!([3, 1]), "{plan}");
    assert_eq!(plan["charge"][0][0], Value::from(tags[4].as_str()));
    let steps: Vec<(String, String, String, String)> = plan["visits"]
        .as_array()
        .unwrap()
        .iter()
        .flat_map(|visit| {
            visit["steps"].as_array().unwrap().iter().map(|step| {
                let text = |key: &str| step[key].as_str().unwrap_or_default().to_owned();
                (visit["at"].as_str().unwrap().to_owned(), text("act"), text("pack"), text("work"))
            })
        })
        .collect();
    let of =
        |pack: &str, act: &str| steps.iter().find(|step| step.2 == pack && step.1 == act).cloned().unwrap();
    // Nobody is there before nine. Tests first: each is half of a chance a day; the round of 48 h and its test go in last.
    let attended = |at: &str| at.get(11..).is_some_and(|time| ("09:00".."17:00").contains(&time));
    assert!(steps.iter().all(|step| attended(&step.0)), "{steps:?}");
    let on_monday = tags[1..4].iter().filter(|test| of(test, "put_in").0 == "2026-11-02 09:00").count();
    assert_eq!(on_monday, 2, "{steps:?}");
    let round = of(&tags[0], "put_in");
    assert_eq!(round.3, "a round of 3 cycles");
    assert_eq!(of(&tags[0], "begin_next").3, "a test");
    assert!(tags[1..4].iter().all(|test| of(test, "put_in").0 <= round.0), "{steps:?}");
    assert_eq!(plan["done"], Value::from(of(&tags[0], "take_out").0), "{plan}");
    // A loan that needs more than stands ready calls for the likeliest.
    let plan = planned(&sandbox, &["--need", "Wren:1:2026-11-04"]);
    let need = &plan["needs"][0];
    assert_eq!((&need["packs"], &need["ready"]), (&Value::from(1), &Value::from(0)), "{plan}");
    assert!(need["expected"].as_f64().unwrap() > 0.9, "{plan}");
    let said = sandbox.run(&["plan", "--sheet", "plan.pdf"]);
    assert!(said.out.contains("only to be charged, in a player or charger: 1"), "{}", said.out);
    assert!(std::fs::metadata(sandbox.path().join("plan.pdf")).unwrap().len() > 1000);

    for (need, words) in [
        ("Wren:0:2026-11-04", "`0` in `Wren:0:2026-11-04` is no number of packs"),
        ("Wren:1:2026-11-02", "is no day to come"),
        ("Wren:1", "says no need"),
        ("Owl:1:2026-11-04", "no player make is named `Owl`"),
    ] {
        let said = sandbox.run(&["plan", "--need", need]);
        assert!(said.code == 2 && said.err.contains(words), "{need}: {said:?}");
    }
}

/// A pack in a slot is taken out when its test is done, and only then is the slot free; a slot for another make takes none of them.
#[test]
fn open_runs_and_adapters_are_heeded() {
    let sandbox = Sandbox::started();
    let slot = sandbox.tag(TagKind::Slot).to_string();
    assert_eq!(sandbox.run(&["slot", "add", "slot 1", "--tag", &slot]).code, 0);
    let tags = fleet(&sandbox, &[None, None]);
    assert_eq!(sandbox.session(&["bench"], &[&slot, &tags[0]]).code, 0);
    let plan = planned(&sandbox, &[]);
    let visits = plan["visits"].as_array().unwrap();
    assert_eq!(visits[0]["steps"][0]["act"], "take_out");
    assert_eq!(
        (&visits[0]["steps"][0]["pack"], &visits[0]["steps"][1]["pack"]),
        (&Value::from(tags[0].as_str()), &Value::from(tags[1].as_str()))
    );
    let said = sandbox.run(&[
        "make",
        "add",
        "Heron 1450",
        "--chemistry",
        "NiMH",
        "--rated",
        "1450 mAh",
        "--cells",
        "3",
    ]);
    assert_eq!(said.code, 0, "{said:?}");
    assert_eq!(sandbox.run(&["slot", "takes", "slot 1", "--make", "Heron 1450"]).code, 0);
    let plan = planned(&sandbox, &[]);
    assert_eq!(plan["left_over"][0], serde_json::json!([tags[1], "no slot takes its make"]));
}

/// The demo's queue on the day on which the packs of a closed post are unpacked (`demo/gannet.csv`): 31 of 72 are weak, and they came
/// first. The bar: a quarter more good packs by the end of a week than first come, first served.
#[test]
fn the_demos_queue_gives_more_good_packs_than_first_come_first_served() {
    let folder = tempfile::tempdir().unwrap();
    let ledger = folder.path().join("queue.muster");
    let file = ledger.to_str().unwrap();
    let run = |from: &Path, seed: &str, args: &[&str]| {
        let run = Command::new(env!("CARGO_BIN_EXE_packmuster"))
            .arg("--ledger")
            .arg(from)
            .args(["--site", "Skerrow"])
            .args(args)
            .env_clear()
            .env("PACKMUSTER_CLOCK", "2026-10-30T08:30:00Z")
            .env("PACKMUSTER_SEED", seed)
            .output()
            .unwrap();
        let said = String::from_utf8([run.stdout, run.stderr].concat()).unwrap();
        assert_eq!(run.status.code(), Some(0), "{args:?}: {said}");
        said
    };
    run(&demo().join("skerrow.muster"), "1", &["ledger", "backup", file]);
    let list = concat!(env!("CARGO_MANIFEST_DIR"), "/demo/gannet.csv");
    run(&ledger, "2", &["import", "packs", list]);
    run(&ledger, "3", &["import", "readings", list]);
    let plan: Value = serde_json::from_str(&run(&ledger, "4", &["plan", "--json"])).unwrap();
    let plan = &plan["plan"];
    let good = |key: &str| plan[key].as_f64().unwrap();
    let ratio = good("good_in_week") / good("good_in_week_by_arrival");
    // Measured: 72 tests and 31 rounds wait; 26.9 good packs in a week, 14.3 as they came, a ratio of 1.88.
    assert!(plan["waiting"][1].as_u64().unwrap() >= 25, "{}", plan["waiting"]);
    assert!(ratio >= 1.25, "{ratio}");
}

/// Two of three weak packs come back after a round, one is not read yet; by hand: 2 of 3 is 67 %, Wilson's interval 21 to 94 % (R 4.2,
/// `prop.test(2, 3, correct = FALSE)`).
#[test]
fn rounds_are_told_by_make_and_age_with_what_came_back() {
    let sandbox = Sandbox::started();
    let said = sandbox.run(&["rounds"]);
    assert_eq!((said.code, said.out.trim()), (0, "no round is entered yet"));
    let tags = fleet(&sandbox, &[Some((600, "2026-11-01")); 4]);
    for tag in &tags {
        assert!(sandbox.session(&["bench"], &[tag, "round"]).out.contains("a round of 3 cycles"));
    }
    for (tag, mah) in tags.iter().zip(["700 mAh", "652 mAh", "630 mAh"]) {
        sandbox.session(&["bench"], &[tag, mah]);
    }
    let said = sandbox.run(&["rounds", "--json"]);
    let group = serde_json::from_str::<Value>(&said.out).unwrap()["groups"][0].clone();
    let whole = |key: &str| group[key].as_u64().unwrap();
    assert_eq!(
        (whole("rounds"), whole("came_back"), whole("unread"), whole("age_years")),
        (3, 2, 1, 0),
        "{group}"
    );
    let value = |key: &str| group[key].as_f64().unwrap();
    assert!(
        (value("low_percent") - 20.77).abs() < 0.01 && (value("high_percent") - 93.85).abs() < 0.01,
        "{group}"
    );
    assert!((value("rise_mah") - (100.0 + 52.0 + 30.0) / 3.0).abs() < 1e-9, "{group}");
    let said = sandbox.run(&["rounds"]).out;
    assert!(said.contains("67 % (21 to 94)") && said.contains("0 to 1"), "{said}");
}
