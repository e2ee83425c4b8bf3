//! What is kept from one review to the next: the same as if all were worked out anew, whatever was entered in between and whatever day it is.

use std::fs;
use std::path::Path;
use std::process::Command;

use packmuster::domain::tag::{Tag, TagKind};
use rand::SeedableRng;
use rand_chacha::ChaCha12Rng;
use serde_json::Value;

use super::ahead::{copy, learnt};

/// A copy of the demo's ledger with its model, and the clock.
struct Desk {
    folder: tempfile::TempDir,
    clock: &'static str,
    acts: u32,
}

impl Desk {
    fn new() -> Self {
        Self { folder: copy(learnt()), clock: "2026-10-30T09:00:00Z", acts: 0 }
    }

    fn command(&self, ledger: &str, args: &[&str]) -> (Option<i32>, String) {
        let said = Command::new(env!("CARGO_BIN_EXE_packmuster"))
            .args(["--ledger", ledger])
            .args(args)
            .env_clear()
            .env("PACKMUSTER_CLOCK", self.clock)
            .env("PACKMUSTER_SEED", self.acts.to_string())
            .env("PACKMUSTER_SITE", "Skerrow")
            .env("COLUMNS", "200")
            .current_dir(self.folder.path())
            .output()
            .unwrap();
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
        (said.status.code(), text(said.stdout) + &text(said.stderr))
    }

    fn json(&self, args: &[&str]) -> Value {
        let (_, out) = self.command("skerrow.muster", args);
        serde_json::from_str(&out).unwrap_or_else(|_| panic!("{args:?}: {out}"))
    }

    /// The entry that `show` tells with some words.
    fn entry_of(&self, code: &str, words: &str) -> String {
        let (_, shown) = self.command("skerrow.muster", &["show", code]);
        let (before, _) = shown.split_once(words).unwrap_or_else(|| panic!("{words}: {shown}"));
        before.rsplit('#').next().unwrap().split_whitespace().next().unwrap().to_owned()
    }

    fn entries(&self) -> u64 {
        let brief = self.json(&["review", "--figures", "--json"]);
        brief["heads"].as_array().unwrap().iter().map(|head| head["number"].as_u64().unwrap()).sum()
    }

    /// Does something that must be entered, and compares.
    fn act(&mut self, args: &[&str]) {
        let before = self.entries();
        self.acts += 1;
        let (_, said) = self.command("skerrow.muster", args);
        assert!(self.entries() > before, "{args:?}: {said}");
        self.same(&format!("{args:?}"));
    }

    fn on(&mut self, clock: &'static str) {
        self.clock = clock;
        self.same(clock);
    }

    fn review(&self, ledger: &str) -> Value {
        let (code, out) = self.command(ledger, &["review", "--json"]);
        assert_eq!(code, Some(0), "{out}");
        let mut review: Value = serde_json::from_str(&out).unwrap();
        // The slots are looked at once a day.
        review["slots"] = Value::Null;
        review["wrong"]
            .as_array_mut()
            .unwrap()
            .retain(|line| !line.as_str().unwrap().starts_with("slots of"));
        review
    }

    /// What was kept says the same as a ledger beside which nothing is.
    fn same(&self, after: &str) -> Value {
        let kept = self.review("skerrow.muster");
        for end in ["", "-wal"] {
            let name = |of: &str| self.folder.path().join(format!("{of}.muster{end}"));
            if name("skerrow").exists() {
                fs::copy(name("skerrow"), name("copy")).unwrap();
            }
        }
        let anew = self.review("copy.muster");
        for (what, value) in anew.as_object().unwrap() {
            assert_eq!(&kept[what], value, "{what}, after {after}");
        }
        assert!(self.folder.path().join("copy.muster.kept").exists(), "each review keeps");
        for end in ["", "-wal", "-shm", ".kept", ".kept-wal", ".kept-shm"] {
            let _none = fs::remove_file(self.folder.path().join(format!("copy.muster{end}")));
        }
        let brief = self.json(&["review", "--figures", "--json"]);
        assert_eq!(brief["figures"], kept["figures"], "after {after}");
        assert_eq!(brief["before"], kept["before"], "after {after}");
        kept
    }
}

fn text(value: &Value) -> String {
    value.as_str().unwrap().to_owned()
}

/// The packs of a list that lie loose here.
fn loose(review: &Value, list: &str) -> Vec<String> {
    let here = |line: &&Value| line["where"] == "in_workshop";
    review[list].as_array().unwrap().iter().filter(here).map(|line| text(&line["pack"])).collect()
}

fn fresh(kind: TagKind, seed: u64) -> String {
    Tag::draw(kind, &mut ChaCha12Rng::seed_from_u64(seed)).to_string()
}

fn readings(folder: &Path, lines: &[(&str, &str, u32)]) {
    let rows = lines.iter().map(|(pack, at, mah)| format!("{pack},{at},{mah}"));
    let rows: Vec<String> = std::iter::once("pack,at,capacity".to_owned()).chain(rows).collect();
    fs::write(folder.join("readings.csv"), rows.join("\n")).unwrap();
}

#[test]
fn what_is_kept_is_what_is_worked_out_anew() {
    let mut desk = Desk::new();
    let first = desk.same("nothing");
    let risk = &first["ahead"]["at_risk"][0];
    let (out, player) = (text(&risk["pack"]), text(&risk["player"]));
    let near = loose(&first, "near_end");
    let [one, two, three] = [0, 1, 2].map(|place| near[place].as_str());

    // Back from a loan, with a finding; taken back; in again.
    desk.act(&["intake", &player, &out, "SWOLLEN"]);
    desk.act(&["undo"]);
    desk.act(&["intake", &player, &out]);
    // Weak readings, and one that is corrected.
    readings(
        desk.folder.path(),
        &[(one, "2026-10-30", 560), (two, "2026-10-29", 705), (&out, "2026-10-30", 790)],
    );
    desk.act(&["import", "readings", "readings.csv", "--accept-implausible"]);
    let entry = desk.entry_of(one, &format!("{one} read 560 mAh"));
    desk.act(&["--operator", "EB", "correct", &entry, "--mah", "650", "--reason", "a slip"]);
    // A carton, whose first readings decide about all of its packs.
    let new = [1, 2].map(|seed| fresh(TagKind::Pack, seed));
    desk.act(&[
        "receive",
        "--make",
        "Kestrel 1100",
        "--lot",
        "L9",
        "--cartons",
        "1",
        "--count",
        "2",
        &new[0],
        &new[1],
    ]);
    for (pack, mah) in [(&new[0], 1090), (&new[1], 700)] {
        readings(desk.folder.path(), &[(pack, "2026-10-30 08:30", mah)]);
        desk.act(&["import", "readings", "readings.csv", "--accept-implausible"]);
    }
    desk.act(&["notice", "issue", "--make", "Heron 1450", "--verdict", "wait", "cells run hot"]);
    // Time passes: verdicts change without news.
    desk.on("2026-10-31T09:00:00Z");
    let notices = desk.json(&["notice", "list", "--json"]);
    let notice = text(&notices["notices"].as_array().unwrap().last().unwrap()["notice"]);
    desk.act(&["notice", "lift", &notice]);
    desk.on("2026-11-01T09:00:00Z");
    let room = fresh(TagKind::Place, 3);
    desk.act(&["place", "add", "back room", "--tag", &room]);
    desk.act(&["intake", "--loose", three, &room]);
    desk.on("2026-11-12T09:00:00Z");
    desk.act(&["muster", "back room", "--done", two]);
    desk.on("2026-11-13T09:00:00Z");
    desk.act(&["join", one, three]);
    desk.on("2026-11-29T09:00:00Z");
    // Another policy, and the model learnt anew.
    let path = desk.folder.path().join("new.toml");
    let policy = fs::read_to_string(super::demo::demo().join("skerrow.policy.toml")).unwrap();
    assert!(policy.contains("near_percent = 12"));
    fs::write(&path, policy.replace("near_percent = 12", "near_percent = 9\nlost_after_days = 300")).unwrap();
    desk.act(&["policy", "adopt", "new.toml"]);
    desk.act(&["model", "learn"]);
    desk.on("2026-12-30T09:00:00Z");
    desk.on("2027-02-03T09:00:00Z");
}

#[test]
fn a_kept_file_that_is_damaged_or_cannot_be_made_hinders_nobody() {
    let desk = Desk::new();
    let right = desk.review("skerrow.muster");
    let kept = desk.folder.path().join("skerrow.muster.kept");
    let forget = || {
        for end in ["", "-wal", "-shm"] {
            let _none = fs::remove_file(desk.folder.path().join(format!("skerrow.muster.kept{end}")));
        }
    };
    forget();
    fs::write(&kept, "this is no file of ours ".repeat(100)).unwrap();
    assert_eq!(desk.review("skerrow.muster"), right);
    assert!(fs::read(&kept).unwrap().starts_with(b"SQLite format 3"), "it was made anew");
    // One of another layout, as an earlier packmuster may have left it.
    let other = rusqlite::Connection::open(&kept).unwrap();
    other.execute_batch("PRAGMA user_version = 1; ALTER TABLE note RENAME COLUMN body TO text").unwrap();
    drop(other);
    assert_eq!(desk.review("skerrow.muster"), right);
    forget();
    fs::create_dir(&kept).unwrap();
    let (code, out) = desk.command("skerrow.muster", &["review", "2026-10"]);
    assert_eq!(code, Some(0));
    assert!(out.contains("cannot be kept") && out.contains("REVIEW 2026-10"), "{out}");
}

/// A backup has the chains as they were: what was kept of a later state is not told of it.
#[test]
fn an_earlier_state_of_the_ledger_is_not_told_what_was_kept_of_a_later_one() {
    let mut desk = Desk::new();
    let first = desk.same("nothing");
    let near = loose(&first, "near_end");
    let (code, said) = desk.command("skerrow.muster", &["ledger", "backup", "before"]);
    assert_eq!(code, Some(0), "{said}");
    readings(desk.folder.path(), &[(&near[0], "2026-10-30", 560)]);
    desk.act(&["import", "readings", "readings.csv", "--accept-implausible"]);
    let later = desk.same("a reading");
    assert_ne!(later["figures"], first["figures"]);
    for end in ["-wal", "-shm"] {
        let _none = fs::remove_file(desk.folder.path().join(format!("skerrow.muster{end}")));
    }
    fs::copy(desk.folder.path().join("before"), desk.folder.path().join("skerrow.muster")).unwrap();
    assert_eq!(desk.same("the backup"), first);
}
