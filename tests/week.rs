//! One week in the demo's workshop, with everything that comes back wrong, gets lost, or is found out later: driven through the
//! binary by tag texts, and counted by the review at its end.

use std::cell::Cell;
use std::fs;
use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};

use packmuster::domain::command::{Command as Card, TRIAL};
use packmuster::domain::event::Service;
use packmuster::domain::facts::{Facts, PlaceFacts, PlayerFacts, SlotFacts};
use packmuster::domain::finding::NoResult;
use packmuster::domain::ids::ThingKind;
use packmuster::domain::moment::Moment;
use packmuster::domain::pack::PackFacts;
use packmuster::domain::tag::{Tag, TagKind};
use packmuster::domain::verdict::Verdict;
use packmuster::ledger::{Access, Ledger};
use rand::SeedableRng;
use rand_chacha::ChaCha12Rng;
use serde_json::Value;

use crate::demo::demo;
use crate::sandbox::Said;

/// A copy of the demo's ledger, and a clock that goes on by a minute with each run.
struct Week {
    folder: tempfile::TempDir,
    minutes: Cell<i64>,
    random: std::cell::RefCell<ChaCha12Rng>,
}

/// A player that is out, with its pack.
#[derive(Clone)]
struct Out {
    player: String,
    pack: String,
}

fn card(command: Card) -> String {
    command.tag().unwrap().text().to_owned()
}

impl Week {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        fs::copy(demo().join("skerrow.muster"), folder.path().join("skerrow.muster")).unwrap();
        // Monday, 2 November 2026.
        Self { folder, minutes: Cell::new(0), random: ChaCha12Rng::seed_from_u64(11).into() }
    }

    fn path(&self) -> &Path {
        self.folder.path()
    }

    fn ledger(&self) -> Ledger {
        Ledger::open(&self.path().join("skerrow.muster"), Access::Read).unwrap()
    }

    /// The clock goes to nine in the morning of the week's day, Monday being 0.
    fn day(&self, day: i64) {
        self.minutes.set(day * 24 * 60);
    }

    fn fresh(&self, kind: TagKind) -> String {
        Tag::draw(kind, &mut *self.random.borrow_mut()).text().to_owned()
    }

    fn command(&self, args: &[&str]) -> Command {
        let minutes = self.minutes.get();
        self.minutes.set(minutes + 1);
        let monday: Moment = Moment::from_millis(1_793_610_000_000 + minutes * 60_000);
        let mut command = Command::new(env!("CARGO_BIN_EXE_packmuster"));
        command
            .args(["--site", "Skerrow"])
            .args(args)
            .env_clear()
            .env("PACKMUSTER_CLOCK", monday.timestamp().to_string())
            .env("PACKMUSTER_SEED", minutes.to_string())
            .env("COLUMNS", "400")
            .current_dir(self.path());
        command
    }

    fn run(&self, args: &[&str]) -> Said {
        let output = self.command(args).stdin(Stdio::null()).output().unwrap();
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
        Said { code: output.status.code().unwrap(), out: text(output.stdout), err: text(output.stderr) }
    }

    /// Runs a session with scans as lines.
    fn scan(&self, args: &[&str], lines: &[&str]) -> Said {
        let mut child = self
            .command(args)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        child.stdin.take().unwrap().write_all((lines.join("\n") + "\n").as_bytes()).unwrap();
        let output = child.wait_with_output().unwrap();
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
        Said { code: output.status.code().unwrap(), out: text(output.stdout), err: text(output.stderr) }
    }

    fn pack(&self, code: &str) -> PackFacts {
        let mut ledger = self.ledger();
        let thing = packmuster::app::lookup::find(&mut ledger, code).unwrap();
        ledger.facts(thing).unwrap().unwrap()
    }

    fn player(&self, code: &str) -> PlayerFacts {
        let mut ledger = self.ledger();
        let thing = packmuster::app::lookup::find(&mut ledger, code).unwrap();
        ledger.facts(thing).unwrap().unwrap()
    }

    /// Players that are out with their pack, soonest due first; a pack under a notice would only get in the way.
    fn out(&self) -> Vec<Out> {
        let mut ledger = self.ledger();
        let notices = ledger.settings().unwrap().notices.clone();
        let mut out = Vec::new();
        for (_, facts) in ledger.all(ThingKind::Player).unwrap() {
            let Facts::Player(player) = facts else { continue };
            let (Some((_, id)), Some((.., due))) = (player.ride, player.loan) else { continue };
            let pack: PackFacts = ledger.facts(id.into()).unwrap().unwrap();
            if !notices.iter().any(|notice| packmuster::policy::notice::covers(&notice.scope, &pack)) {
                let (player, pack) = (player.codes[0].clone(), pack.codes[0].clone());
                out.push((due, Out { player, pack }));
            }
        }
        out.sort_by(|a, b| (a.0, &a.1.player).cmp(&(b.0, &b.1.player)));
        out.into_iter().map(|(_, out)| out).collect()
    }

    /// Loose packs of a verdict, with their make's name.
    fn loose(&self, verdict: &str) -> Vec<String> {
        let told = self.run(&["waiting", "--json"]);
        let waiting: Value = serde_json::from_str(&told.out).unwrap();
        let items = waiting["waiting"][verdict].as_array().unwrap();
        items.iter().map(|item| item["what"].as_str().unwrap().to_owned()).collect()
    }

    fn slots(&self) -> Vec<(String, String)> {
        let mut ledger = self.ledger();
        let all = ledger.all(ThingKind::Slot).unwrap();
        let mut slots: Vec<(String, String)> = all
            .into_iter()
            .filter_map(|(_, facts)| SlotFacts::try_from(facts).ok())
            .filter(|slot| slot.name.starts_with("Skerrow"))
            .map(|slot| (slot.name, slot.codes[0].clone()))
            .collect();
        slots.sort();
        slots
    }

    fn tray(&self, verdict: Verdict) -> String {
        let mut ledger = self.ledger();
        let places = ledger.all(ThingKind::Place).unwrap();
        places
            .into_iter()
            .filter_map(|(_, facts)| PlaceFacts::try_from(facts).ok())
            .find(|place| place.tray == Some(verdict))
            .unwrap()
            .codes[0]
            .clone()
    }

    /// The number of the latest entry of a kind in a thing's life.
    fn entry(&self, code: &str, kind: &str) -> String {
        let shown: Value = serde_json::from_str(&self.run(&["show", code, "--json"]).out).unwrap();
        let history = shown["life"]["history"].as_array().unwrap();
        let found = history.iter().rev().find(|line| line["kind"] == kind && line["taken_back"] == false);
        found.unwrap()["entry"].as_str().unwrap().to_owned()
    }
}

#[track_caller]
fn says(said: &Said, text: &str) {
    assert!(said.out.contains(text), "`{text}` is missing from\n{}{}", said.out, said.err);
}

#[test]
fn a_week_as_it_really_goes() {
    let week = Week::new();
    let out = week.out();
    let [a, b, c, d, e, f, g, ..] = out.as_slice() else { panic!("too few players are out") };

    // Monday: intake that does not match.
    let said = week.scan(&["intake"], &[&a.player, &card(Card::NoPack)]);
    says(&said, "came without a pack");
    says(&said, "its whereabouts are unknown");
    assert!(week.pack(&a.pack).missing.is_some() && week.player(&a.player).loan.is_none());

    let said = week.scan(&["intake"], &[&b.pack, &card(Card::Yes)]);
    says(&said, "did pack");
    says(&said, "of which nothing is assumed");
    assert!(week.pack(&b.pack).ride.is_none() && week.player(&b.player).loan.is_some());

    let said = week.scan(&["intake"], &[&c.player, &d.pack, &card(Card::Yes)]);
    says(&said, "and this is another");
    says(&said, "of which nothing is assumed");
    assert!(week.pack(&c.pack).missing.is_some() && week.pack(&d.pack).ride.is_none());
    assert!(week.player(&d.player).loan.is_some(), "nothing is assumed about the other player");

    let fresh = week.fresh(TagKind::Pack);
    let unreadable = [&e.player, &card(Card::Unreadable), &card(Card::Yes), &card(Card::Replace), &fresh];
    let said = week.scan(&["intake"], &unreadable.map(String::as_str));
    says(&said, "by its last ride this is pack");
    says(&said, "now wears");
    assert_eq!(week.pack(&fresh).codes, vec![fresh.clone()]);

    let adopted = week.fresh(TagKind::Pack);
    let make = ["intake", "--make", "Kestrel 1100"];
    let said = week.scan(&make, &[&f.player, &adopted, &card(Card::Yes)]);
    says(&said, "adopted, origin service, history unknown");
    assert!(week.pack(&f.pack).missing.is_some());

    let run_together = format!("{}{}", g.player, g.pack);
    let said = week.scan(&["intake"], &[&run_together]);
    assert_eq!(said.code, 2);
    says(&said, "2 tags came in one line");

    // A session is left half done, and somebody else takes it up.
    let said = week.scan(&["intake"], &[&g.player]);
    assert!(said.err.contains("was not scanned"), "{}", said.err);
    says(&week.run(&["waiting"]), "INTAKES NOT FINISHED: 1");
    let said = week.scan(&["--desk", "two", "intake"], &[&g.player, &g.pack]);
    says(&said, "its intake was begun on 2026-11-02");
    says(&said, "the loan of player");
    assert!(!week.run(&["waiting"]).out.contains("INTAKES NOT FINISHED"));

    // The old tag turns up after all: two records, one pack.
    let said = week.run(&["join", &adopted, &f.pack]);
    says(&said, "one pack from now on");
    let (one, other) = (week.pack(&adopted), week.pack(&f.pack));
    assert_eq!(one, other);
    assert!(one.missing.is_none() && one.codes.len() == 2 && !one.readings.is_empty());

    // Tuesday: the bench at night.
    week.day(1);
    let slots = week.slots();
    let slot = |n: usize| slots[n].1.as_str();
    let said = week.run(&["bench", "--end-all", "powercut"]);
    says(&said, "8 runs ended without a result: power cut");
    assert!(!week.run(&["waiting"]).out.contains("Skerrow 1"));
    let queue = week.loose("measure");
    let fault = card(Card::NoResult(NoResult::SlotError));
    for pack in &queue[..3] {
        let said = week.scan(&["bench"], &[slot(0), pack, slot(0), &fault]);
        says(&said, "no result from Skerrow 1: slot error");
    }
    let said = week.scan(&["bench"], &[slot(0), &queue[3]]);
    assert_eq!(said.code, 1);
    says(&said, "Skerrow 1 is closed: 3 runs in a row gave no result");
    says(&week.run(&["waiting"]), "SLOTS CLOSED: 1");
    let said = week.scan(&["bench"], &[slot(0), &card(Card::Service(Service::Serviced)), slot(0), &queue[3]]);
    says(&said, "its record begins anew");
    says(&said, "is in Skerrow 1");
    // One of those packs gives no result in a second slot either: it is the pack.
    let said =
        week.scan(&["bench"], &[slot(1), &queue[0], slot(1), &card(Card::NoResult(NoResult::Refused))]);
    says(&said, "RECYCLE");
    says(&said, "no result in 2 different slots");
    assert_eq!(week.run(&["slot", "takes", "Skerrow 3", "--make", "Heron 1450"]).code, 0);
    let kestrel = queue[4..].iter().find(|pack| week.run(&["judge", pack]).out.contains("Kestrel")).unwrap();
    let said = week.scan(&["bench"], &[slot(2), kestrel]);
    says(&said, "Skerrow 3 takes Heron 1450, and this is Kestrel 1100");

    // Wednesday: found out later. A fit reading sends a pack out; then somebody sees that it was another number.
    week.day(2);
    let empty = {
        let mut ledger = week.ledger();
        let wren = ledger.settings().unwrap().player_makes.iter().find(|(_, make)| make.name == "Wren");
        let wren = *wren.unwrap().0;
        let players = ledger.all(ThingKind::Player).unwrap();
        let free = players.into_iter().filter_map(|(_, facts)| PlayerFacts::try_from(facts).ok());
        let free =
            free.filter(|player| player.make == Some(wren) && player.loan.is_none() && player.ride.is_none());
        free.map(|player| player.codes[0].clone()).take(3).collect::<Vec<_>>()
    };
    let pack = kestrel.as_str();
    says(&week.scan(&["bench"], &[slot(3), pack, slot(3), "912", "yes"]), "read 912 mAh");
    let said = week.run(&["dispatch", "--for", "6 weeks", pack, &empty[0]]);
    assert_eq!(said.code, 0, "{said:?}");
    let reading = week.entry(pack, "reading");
    let entries = |week: &Week| week.run(&["ledger", "export"]).out.lines().count();
    let before = entries(&week);
    let said = week.run(&["correct", &reading, "--mah", "512", "--reason", "read 9 for 5"]);
    assert_eq!((said.code, entries(&week)), (2, before), "a correction bears initials: {}", said.err);
    let correct = ["--operator", "EB", "correct", &reading, "--mah", "512", "--reason", "read 9 for 5"];
    let said = week.run(&correct);
    assert_eq!(said.code, 1, "a pack that is out stood on it: {said:?}");
    says(&said, "2 verdicts and 1 dispatch stood on it");
    says(&said, "and is out now");
    says(&said, "RECONDITION");
    let first =
        said.out.lines().find(|line| line.contains(" dispatch ") || line.contains(" verdict ")).unwrap();
    assert!(first.contains("dispatch"), "packs that are out come first: {first}");
    assert_eq!(week.run(&correct).code, 2, "an entry is corrected once");
    let shown = week.run(&["show", pack]).out;
    assert!(shown.contains("read 912 mAh") && shown.contains("(no longer counts)"), "{shown}");
    // Taking the correction back brings the old number back.
    assert_eq!(week.run(&["undo"]).code, 0);
    assert!(week.run(&["judge", pack]).out.starts_with("FIT"));
    assert_eq!(week.run(&correct).code, 1);
    // The wrong pack, and a reading that never was.
    let rest: Vec<&String> = queue[4..].iter().filter(|code| *code != kestrel).collect();
    let other = rest[0].as_str();
    says(&week.scan(&["bench"], &[other, "905", "yes"]), "read 905 mAh");
    let reading = week.entry(other, "reading");
    let wrong =
        week.run(&["--operator", "EB", "correct", &reading, "--pack", rest[1], "--reason", "neighbour"]);
    assert!(wrong.code < 2, "{wrong:?}");
    assert_eq!(week.pack(rest[1]).readings.last().unwrap().capacity.raw(), 905);
    let reading = week.entry(rest[1], "reading");
    let said = week.run(&["--operator", "EB", "correct", &reading, "--nothing", "--reason", "a dry run"]);
    says(&said, "it no longer counts");
    assert!(week.run(&["judge", rest[1]]).out.starts_with("MEASURE"));

    // Thursday: loans change.
    week.day(3);
    let lent = empty[0].as_str();
    says(&week.run(&["loan", "refer", lent, "L-20817"]), "is known as L-20817");
    let due = |week: &Week| week.player(lent).loan.unwrap().3.to_string();
    says(&week.run(&["loan", "renew", "L-20817", "--for", "9 weeks"]), "renewed, due 2027-01-07");
    assert_eq!(due(&week), "2027-01-07");
    for (bad, why) in [("2026-11-05", "is not after today"), ("2029-01-01", "the longest loan is")] {
        let said = week.run(&["loan", "due", "L-20817", bad]);
        assert_eq!(said.code, 2);
        assert!(said.err.contains(why), "{}", said.err);
    }
    says(&week.run(&["loan", "due", pack, "2026-12-24"]), "corrected, due 2026-12-24 instead of 2027-01-07");
    says(&week.run(&["loan", "complaint", lent, "--after", "6 h"]), "stops after 6 h");
    says(&week.run(&["waiting"]), "COMPLAINTS, still out: 1");
    // The reference is in a file of its own, and nowhere in the ledger.
    assert!(!week.run(&["ledger", "export"]).out.contains("L-20817"));
    assert_eq!(week.run(&["loan", "write-off", lent]).code, 2, "it is not overdue");
    let (h, i) = (&out[7], &out[8]);
    for late in [h, i] {
        says(&week.run(&["loan", "write-off", &late.player]), "are written off");
        assert!(
            week.pack(&late.pack).written_off.is_some() && week.player(&late.player).written_off.is_some()
        );
    }
    // What is given up is on no list; what comes back after all is taken in as ever, and both records are open again.
    assert!(!week.run(&["waiting", "--all"]).out.contains(&Tag::from_text(&i.player).to_string()));
    let said = week.scan(&["intake"], &[&h.player, &h.pack]);
    says(&said, "written off on 2026-11-05: it is back");
    says(&said, "the loan of player");
    assert!(week.pack(&h.pack).written_off.is_none() && week.player(&h.player).written_off.is_none());

    // Friday: a safety notice, trays, and a new scanner.
    week.day(4);
    let listed: Value = serde_json::from_str(&week.run(&["notice", "list", "--json"]).out).unwrap();
    let old = listed["notices"][0]["notice"].as_str().unwrap().to_owned();
    let said = week.run(&["notice", "show", &old]);
    says(&said, "of them with borrowers: the maker writes");
    says(&said, "Do not charge, press or open it");
    let rows: Vec<&str> = said.out.lines().filter(|line| line.starts_with(" P")).collect();
    let last_out = rows.iter().rposition(|line| line.contains("with borrowers")).unwrap();
    assert!(rows[..last_out].iter().all(|line| line.contains("with borrowers")), "{}", said.out);
    assert_eq!(week.run(&["notice", "lift", &old]).code, 0);
    let said =
        week.run(&["notice", "issue", "--make", "Kestrel 1100", "--verdict", "wait", "ask the maker first"]);
    says(&said, "is in force");
    let fit = rest[2].as_str();
    let listed: Value = serde_json::from_str(&week.run(&["notice", "list", "--json"]).out).unwrap();
    let notices = listed["notices"].as_array().unwrap();
    let new = notices.iter().find(|notice| notice["lifted"] == false).unwrap()["notice"].as_str().unwrap();
    assert!(week.run(&["judge", pack]).out.contains("under a safety notice"));
    assert_eq!(week.run(&["notice", "lift", new]).code, 0);

    let (queue_tray, shelf) = (week.tray(Verdict::Measure), week.tray(Verdict::Fit));
    let said = week.scan(&["bench"], &[fit, &shelf]);
    assert_eq!(said.code, 1);
    says(&said, "takes FIT, and pack");
    says(&week.scan(&["bench"], &[fit, &queue_tray]), "lies in bench queue");
    // It is read where it lies: now it is in the wrong tray, and another lies nowhere.
    let rated = if week.run(&["judge", fit]).out.contains("Heron") { "1400" } else { "1000" };
    says(&week.scan(&["bench"], &[fit, rated, "yes"]), "FIT");
    let waiting = week.run(&["waiting", "--all"]).out;
    assert!(
        waiting.contains("IN THE WRONG TRAY: 1") && waiting.contains("FIT in a tray for MEASURE"),
        "{waiting}"
    );
    assert!(waiting.contains("FIT, AND IN NO PLACE"), "{waiting}");
    says(&week.scan(&["bench"], &[fit, &shelf]), "lies in ready shelf");
    assert!(!week.run(&["waiting"]).out.contains("IN THE WRONG TRAY"));

    // A scanner set to a German keyboard types Z for Y: its trial is named, and undone for its desk.
    let german = |text: &str| {
        let swap = |c| match c {
            'Y' => 'Z',
            'Z' => 'Y',
            'y' => 'z',
            'z' => 'y',
            '-' => '\u{df}',
            other => other,
        };
        text.chars().map(swap).collect::<String>()
    };
    let said = week.scan(&["--desk", "two", "bench"], &[&german(TRIAL)]);
    assert_eq!(said.code, 1);
    says(&said, "Y and Z are exchanged");
    says(&said, "it is undone for desk `two`");
    let twisted = queue.iter().find(|code| german(code) != **code && code.contains(['Y', 'Z'])).unwrap();
    let typed = german(twisted);
    says(&week.scan(&["--desk", "two", "bench"], &[&typed]), &format!("pack {}", Tag::from_text(twisted)));
    assert_eq!(week.scan(&["--desk", "three", "bench"], &[&typed]).code, 2, "only for that desk");
    let said = week.scan(&["--desk", "two", "bench"], &[TRIAL]);
    says(&said, "the scanner types every character right");

    // Saturday: the review counts each of them right.
    week.day(5);
    let said = week.run(&["ledger", "check"]);
    assert_eq!(said.code, 0, "{}", said.out);
    let review: Value = serde_json::from_str(&week.run(&["review", "2026-11", "--json"]).out).unwrap();
    let deed = |what: &str| {
        let deeds = review["deeds"].as_array().unwrap();
        deeds.iter().find(|deed| deed["what"] == what).map_or(0, |deed| deed["count"].as_u64().unwrap())
    };
    for (what, count) in [
        ("players come back", 6),
        ("players sent out", 1),
        ("packs not found in their player", 3),
        ("packs that came alone", 1),
        ("packs entered", 1),
        ("records joined", 1),
        ("runs without a result", 8 + 3 + 1),
        ("slots serviced", 1),
        ("entries corrected", 3),
        ("loans renewed", 1),
        ("due dates corrected", 1),
        ("complaints", 1),
        ("loans written off", 2),
        ("safety notices issued", 1),
        ("safety notices lifted", 2),
    ] {
        assert_eq!(deed(what), count, "{what}: {}", review["deeds"]);
    }
    // Two packs are missing: the third was joined to the one in somebody's hand.
    let odd = review["odd"].as_array().unwrap();
    let missing =
        odd.iter().filter(|odd| odd["text"].as_str().unwrap().contains("whereabouts unknown")).count();
    assert_eq!(missing, 2, "{odd:?}");
    let fleet = review["fleet"].as_array().unwrap();
    let written_off = fleet.iter().find(|row| row["where"] == "written_off").unwrap();
    let written_off: u64 =
        written_off["counts"].as_object().unwrap().values().map(|n| n.as_u64().unwrap()).sum();
    assert_eq!(written_off, 1, "the other came back");
    let risk = review["out_at_risk"].as_array().unwrap();
    let lent = Tag::from_text(pack).to_string();
    assert!(risk.iter().any(|line| line["pack"] == lent.as_str()), "{risk:?}");
}

/// A tag from its text, for the way people see it.
trait FromText {
    fn from_text(text: &str) -> Self;
}

impl FromText for Tag {
    fn from_text(text: &str) -> Self {
        text.parse().unwrap()
    }
}
