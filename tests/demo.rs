//! The demo: made twice it is the same; its pictures were read by the sessions; one number of its policy changes the
//! verdicts that it should.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use packmuster::domain::facts::Facts;
use packmuster::domain::ids::ThingKind;
use packmuster::domain::units::MilliampHours;
use packmuster::domain::verdict::Verdict;
use packmuster::ledger::{Access, Ledger, LedgerError};

fn packmuster(folder: &Path, args: &[&str]) -> (i32, String, String) {
    let run = Command::new(env!("CARGO_BIN_EXE_packmuster"))
        .args(args)
        .env_clear()
        .env("PACKMUSTER_CLOCK", "2026-10-29T18:00:00Z")
        .env("COLUMNS", "80")
        .current_dir(folder)
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (run.status.code().unwrap(), text(run.stdout), text(run.stderr))
}

/// One demo for all tests of this file.
pub(crate) fn demo() -> &'static Path {
    static MADE: OnceLock<(tempfile::TempDir, PathBuf)> = OnceLock::new();
    let (_, path) = MADE.get_or_init(|| {
        let folder = tempfile::tempdir().unwrap();
        let (code, _, errors) = packmuster(folder.path(), &["demo"]);
        assert_eq!(code, 0, "{errors}");
        let path = folder.path().join("skerrow-demo");
        (folder, path)
    });
    path
}

#[test]
fn the_demo_is_the_same_every_time() {
    let again = tempfile::tempdir().unwrap();
    assert_eq!(packmuster(again.path(), &["demo"]).0, 0);
    let again = again.path().join("skerrow-demo");
    let files =
        ["review.json", "review.pdf", "sessions/intake.txt", "sheets/packs.pdf", "pictures/intake-05.png"];
    for file in files {
        let (one, two) = (fs::read(demo().join(file)).unwrap(), fs::read(again.join(file)).unwrap());
        assert!(one == two, "{file} differs");
    }
}

#[test]
fn the_ledger_of_the_demo_is_sound_and_holds_what_it_says() {
    let (code, text, _) = packmuster(demo(), &["ledger", "check"]);
    assert_eq!(code, 0, "{text}");
    assert!(text.contains("in 3 chains"), "{text}");
    let review: serde_json::Value =
        serde_json::from_slice(&fs::read(demo().join("review.json")).unwrap()).unwrap();
    let packs = review["packs"].as_u64().unwrap();
    assert!((200..1000).contains(&packs), "some hundreds of packs, not {packs}");
    assert!(
        !review["near_end"].as_array().unwrap().is_empty()
            && !review["readings"].as_array().unwrap().is_empty()
    );
    // The notice of the day covers packs with borrowers: they would not pass today.
    let out = review["out_at_risk"].as_array().unwrap();
    assert!(out.iter().any(|line| line["rule"] == "notice"), "{out:?}");
    let (_, makes, _) = packmuster(demo(), &["make", "list"]);
    assert!(makes.contains("Kestrel 1100") && makes.contains("Heron 1450"), "{makes}");
}

#[test]
fn the_sessions_were_scanned_from_the_pictures() {
    let intake = fs::read_to_string(demo().join("sessions/intake.txt")).unwrap();
    assert_eq!(intake.matches("2 read, 0 seen but not read").count(), 11, "{intake}");
    assert!(intake.contains("intake-11.png: 1 read, 1 seen but not read"), "{intake}");
    let recovered = intake
        .split("> pictures/intake-11.png")
        .nth(1)
        .unwrap()
        .split("> pictures/intake-12")
        .next()
        .unwrap();
    assert!(recovered.contains("the loan of player"), "the session recovers\n{recovered}");
    let dispatch = fs::read_to_string(demo().join("sessions/dispatch.txt")).unwrap();
    assert_eq!(dispatch.matches("goes out with player").count(), 6, "{dispatch}");
    assert_eq!(dispatch.matches("must not go out; nothing is entered").count(), 2, "{dispatch}");
}

/// What people read fits a terminal of 80 columns, and says all it says without colour.
#[test]
fn all_that_is_told_is_readable_at_80_columns() {
    let pack = packmuster(demo(), &["review", "2026-10", "--json"]).1;
    let review: serde_json::Value = serde_json::from_str(&pack).unwrap();
    let pack = review["out_at_risk"][0]["pack"].as_str().unwrap().to_owned();
    let mut told = vec![("review.txt".to_owned(), fs::read_to_string(demo().join("review.txt")).unwrap())];
    let commands: [&[&str]; 15] = [
        &["show", &pack],
        &["show", "Skerrow 1"],
        &["show", "K-2025-10"],
        &["show", "EB"],
        &["judge", &pack],
        &["review", "2024-02"],
        &["make", "list"],
        &["player-make", "list"],
        &["operator", "list"],
        &["slot", "list"],
        &["place", "list"],
        &["notice", "list"],
        &["waiting"],
        &["waiting", "--all"],
        &["ledger", "check"],
    ];
    for args in commands {
        let (code, out, errors) = packmuster(demo(), args);
        assert!(code < 2 && !out.is_empty(), "{args:?}: {errors}");
        told.push((args.join(" "), out));
    }
    for bad in [&["judge", "P7K3"][..], &["show", "nobody"], &["dispatch", "--for", "ever"], &["undo", "now"]]
    {
        told.push((bad.join(" "), packmuster(demo(), bad).2));
    }
    for (what, text) in told {
        assert!(!text.contains('\u{1b}'), "{what} has colour");
        for line in text.lines() {
            assert!(line.chars().count() <= 80, "{what}: {line}");
        }
    }
}

#[test]
fn a_past_month_prints_the_same_again() {
    let before = packmuster(demo(), &["review", "2025-06", "--json"]);
    assert_eq!(before.0, 0);
    let copy = tempfile::tempdir().unwrap();
    fs::copy(demo().join("skerrow.muster"), copy.path().join("skerrow.muster")).unwrap();
    let site = ["--site", "Skerrow", "--desk", "Skerrow desk"];
    let with = |args: &[&str]| packmuster(copy.path(), &[args, &site[..]].concat());
    // Later entries, among them a void and another policy, do not change it.
    assert_eq!(with(&["undo"]).0, 0);
    let policy = fs::read_to_string(demo().join("skerrow.policy.toml")).unwrap();
    let policy = policy.replace("percent_of_rated = 60", "percent_of_rated = 75");
    fs::write(copy.path().join("new.toml"), policy).unwrap();
    assert_eq!(with(&["policy", "adopt", "new.toml"]).0, 0);
    assert_eq!(packmuster(copy.path(), &["review", "2025-06", "--json"]).1, before.1);
}

/// The verdict of every pack of a ledger, by its first code, and the latest reading that counts.
fn verdicts(folder: &Path) -> BTreeMap<String, (Verdict, Option<MilliampHours>)> {
    let mut ledger = Ledger::open(&folder.join("skerrow.muster"), Access::Read).unwrap();
    let mut packs = Vec::new();
    ledger
        .each(ThingKind::Pack, |thing, _, facts| {
            if let Facts::Pack(pack) = facts {
                packs.push((thing, pack));
            }
            Ok::<(), LedgerError>(())
        })
        .unwrap();
    let now = "2026-10-29T18:00:00Z".parse().map(packmuster::domain::moment::Moment::from_timestamp).unwrap();
    let mut all = BTreeMap::new();
    for (thing, pack) in packs {
        let step = packmuster::domain::verdict::Step::Look;
        let ask =
            packmuster::app::judging::Ask { pack: thing.pack().unwrap(), step, player: None, due: None, now };
        let (ruling, _) = packmuster::app::judging::look(&mut ledger, ask).unwrap();
        let reading = pack.counting().next_back().map(|reading| reading.capacity);
        all.insert(pack.codes[0].clone(), (ruling.verdict, reading));
    }
    all
}

#[test]
fn one_number_of_the_policy_changes_the_verdicts_that_it_should() {
    let before = verdicts(demo());
    let copy = tempfile::tempdir().unwrap();
    fs::copy(demo().join("skerrow.muster"), copy.path().join("skerrow.muster")).unwrap();
    let policy = fs::read_to_string(demo().join("skerrow.policy.toml")).unwrap();
    assert_eq!(policy.matches("percent_of_rated = 60").count(), 1);
    fs::write(copy.path().join("new.toml"), policy.replace("percent_of_rated = 60", "percent_of_rated = 70"))
        .unwrap();
    let (code, _, errors) = packmuster(copy.path(), &["policy", "adopt", "new.toml", "--site", "Tarvay"]);
    assert_eq!(code, 0, "{errors}");
    let after = verdicts(copy.path());
    assert_eq!(before.len(), after.len());
    // 60 % and 70 % of the rated 1100 mAh and 1450 mAh: what lies between changes, and nothing else does.
    let between = |capacity: u32| (660..770).contains(&capacity) || (870..1015).contains(&capacity);
    let (mut changed, mut named) = (0, 0);
    for (code, (verdict, reading)) in &before {
        let (now, _) = after[code];
        let within = reading.is_some_and(|reading| between(reading.raw()));
        if now != *verdict {
            changed += 1;
            assert!(within, "{code}: {verdict} became {now} with {reading:?}");
        }
        if *verdict == Verdict::Fit && reading.is_some_and(|reading| (660..770).contains(&reading.raw())) {
            named += 1;
            assert!(
                matches!(now, Verdict::Recondition | Verdict::Recycle | Verdict::Measure | Verdict::Fit),
                "{now}"
            );
        }
    }
    assert!(changed > 3, "only {changed} verdicts changed");
    assert!(named > 0);
}
