//! A workshop with two makes of pack, players, places, and somebody who may overrule.

use std::fmt::Write as _;
use std::path::Path;
use std::process::Command;

use packmuster::domain::tag::TagKind;
use serde_json::Value;

use super::sandbox::{Said, Sandbox};

/// A nickel-metal hydride make whose mass is not known.
pub(crate) const NICKEL: &str = "Kestrel 1100";
/// A lithium ion make of 14.4 Wh and 90 g.
pub(crate) const LITHIUM: &str = "Osprey 2000";

/// The workshop.
pub(crate) struct Yard {
    pub(crate) sandbox: Sandbox,
}

/// Text without the breaks of lines.
pub(crate) fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

impl Yard {
    pub(crate) fn new() -> Self {
        let yard = Self { sandbox: Sandbox::started() };
        yard.make(LITHIUM, "Li-ion", "2000 mAh", &["--cells", "2", "--nominal", "7200 mV", "--mass", "90 g"]);
        yard.done(&["operator", "add", "EB", "--may-overrule"]);
        yard
    }

    pub(crate) fn make(&self, name: &str, chemistry: &str, rated: &str, more: &[&str]) {
        self.done(&[&["make", "add", name, "--chemistry", chemistry, "--rated", rated], more].concat());
    }

    /// Runs what must be done without a word against it.
    pub(crate) fn done(&self, args: &[&str]) -> String {
        let said = self.sandbox.run(args);
        assert_eq!(said.code, 0, "{args:?}: {said:?}");
        said.out
    }

    /// Runs what is refused as bad input, and what it says.
    pub(crate) fn refused(&self, args: &[&str], words: &str) {
        let before = self.entries();
        let said = self.sandbox.run(args);
        let told = flat(&said.err);
        assert!(said.code == 2 && told.contains(words) && told.contains("hint: "), "`{words}`: {said:?}");
        assert_eq!(self.entries(), before, "{args:?} wrote something");
    }

    /// Scans lines in a session; each of the words must be in what is said.
    pub(crate) fn scan(&self, args: &[&str], lines: &[&str], words: &[&str]) -> Said {
        let said = self.sandbox.session(args, lines);
        let told = flat(&said.out);
        for word in words {
            assert!(told.contains(word), "`{word}` is not in what {lines:?} gave: {said:?}");
        }
        said
    }

    pub(crate) fn json(&self, args: &[&str]) -> Value {
        let said = self.sandbox.run(&[args, &["--json"]].concat());
        assert!(said.code <= 1, "{said:?}");
        serde_json::from_str(&said.out).unwrap()
    }

    fn import(&self, what: &str, rows: &str) {
        std::fs::write(self.sandbox.path().join("rows.csv"), rows).unwrap();
        self.done(&["import", what, "rows.csv"]);
    }

    /// Packs at their end: they have more cycles behind them than the policy allows.
    pub(crate) fn dead(&self, make: &str, count: usize) -> Vec<String> {
        self.packs(make, count, "600")
    }

    fn packs(&self, make: &str, count: usize, cycles: &str) -> Vec<String> {
        let tags: Vec<String> = (0..count).map(|_| self.sandbox.tag(TagKind::Pack).to_string()).collect();
        let rows = tags.iter().fold("pack,make,prior_cycles\n".to_owned(), |mut all, tag| {
            let _infallible = writeln!(all, "{tag},{make},{cycles}");
            all
        });
        self.import("packs", &rows);
        tags
    }

    /// Packs of the nickel make that are fit.
    pub(crate) fn fit(&self, count: usize) -> Vec<String> {
        let tags = self.packs(NICKEL, count, "10");
        let rows = tags.iter().fold("pack,at,capacity\n".to_owned(), |mut all, tag| {
            let _infallible = writeln!(all, "{tag},2026-11-01 10:00,900");
            all
        });
        self.import("readings", &rows);
        tags
    }

    /// A player without a pack.
    pub(crate) fn player(&self) -> String {
        let player = self.sandbox.tag(TagKind::Player).to_string();
        self.scan(&["intake"], &[&player, "nopack"], &["is new to the ledger"]);
        player
    }

    /// A player into which a pack is put.
    pub(crate) fn carries(&self, pack: &str) -> String {
        let player = self.player();
        self.scan(&["intake"], &[&player, pack], &[&format!("now in player {player}")]);
        player
    }

    pub(crate) fn lend(&self, pack: &str, player: &str) {
        self.scan(&["dispatch", "--for", "8 weeks"], &[pack, player], &["goes out with player"]);
    }

    /// A place, perhaps a tray for one verdict; its tag.
    pub(crate) fn place(&self, name: &str, tray: Option<&str>) -> String {
        let tag = self.sandbox.tag(TagKind::Place).to_string();
        let mut args = vec!["place", "add", name, "--tag", &tag];
        args.extend(tray.into_iter().flat_map(|tray| ["--tray", tray]));
        self.done(&args);
        tag
    }

    pub(crate) fn put(&self, packs: &[String], place: &str) {
        for pack in packs {
            self.scan(&["bench"], &[pack, place], &["lies in"]);
        }
    }

    pub(crate) fn entries(&self) -> usize {
        self.sandbox.run(&["ledger", "export"]).out.lines().count()
    }

    /// The number of the last entry of a kind of a thing.
    pub(crate) fn entry(&self, code: &str, kind: &str) -> String {
        use packmuster::app::lookup;
        use packmuster::ledger::{Access, Ledger};
        let mut ledger = Ledger::open(&self.sandbox.path().join("fleet.muster"), Access::Read).unwrap();
        let thing = lookup::find(&mut ledger, code).unwrap();
        let history = ledger.history(thing).unwrap();
        let found = history.iter().rev().find(|(entry, wrong)| !wrong && entry.event.kind() == kind);
        found.unwrap_or_else(|| panic!("{code} has no {kind}")).0.position.number.to_string()
    }

    /// Puts the policy in force with some changes.
    pub(crate) fn adopt(&self, changes: &[(&str, &str)]) {
        let mut text = self.done(&["policy", "show"]);
        for (from, to) in changes {
            assert!(text.contains(from), "{from}: {text}");
            text = text.replacen(from, to, 1);
        }
        std::fs::write(self.sandbox.path().join("new.toml"), text).unwrap();
        self.done(&["policy", "adopt", "new.toml"]);
    }

    /// What the review of the month says does not add up of a pack.
    pub(crate) fn odd(&self, pack: &str) -> Vec<String> {
        let review = self.json(&["review", "2026-11"]);
        let odd = review["odd"].as_array().unwrap();
        odd.iter().map(ToString::to_string).filter(|odd| odd.contains(pack)).collect()
    }

    pub(crate) fn pdf(&self, name: &str) -> String {
        pdf(self.sandbox.path(), name)
    }
}

/// The text of a paper in the order of drawing; poppler must have nothing to complain of.
pub(crate) fn pdf(folder: &Path, name: &str) -> String {
    let output = Command::new("pdftotext").args(["-raw", name, "-"]).current_dir(folder).output().unwrap();
    let complaint = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success() && complaint.is_empty(), "{complaint}");
    flat(&String::from_utf8(output.stdout).unwrap())
}
