//! What is found out later: any entry of the past can be corrected, with all that was wrong with it, and not into what cannot be.

use packmuster::domain::event::{Basis, Event};
use packmuster::domain::facts::{PlayerFacts, SlotFacts};
use packmuster::domain::ids::Thing;
use packmuster::domain::pack::PackFacts;
use packmuster::domain::tag::{Tag, TagKind};
use packmuster::ledger::entry::Entry;
use packmuster::ledger::query::Named;
use packmuster::ledger::{Access, Ledger};

use crate::day::Day;
use crate::sandbox::Said;

impl Day {
    fn ledger(&self) -> Ledger {
        Ledger::open(&self.sandbox.path().join("fleet.muster"), Access::Read).unwrap()
    }

    fn thing(ledger: &mut Ledger, tag: &Tag) -> Thing {
        match ledger.resolve(tag.text()).unwrap() {
            Some(Named::Now(thing) | Named::Once(thing)) => thing,
            None => panic!("{tag} names nothing"),
        }
    }

    fn pack(&self, tag: &Tag) -> PackFacts {
        let mut ledger = self.ledger();
        let thing = Self::thing(&mut ledger, tag);
        ledger.facts(thing).unwrap().unwrap()
    }

    fn player(&self, tag: &Tag) -> PlayerFacts {
        let mut ledger = self.ledger();
        let thing = Self::thing(&mut ledger, tag);
        ledger.facts(thing).unwrap().unwrap()
    }

    fn slot(&self, tag: &Tag) -> SlotFacts {
        let mut ledger = self.ledger();
        let thing = Self::thing(&mut ledger, tag);
        ledger.facts(thing).unwrap().unwrap()
    }

    /// The last entry of a kind that counts for a thing.
    fn last(&self, tag: &Tag, kind: &str) -> Entry {
        let mut ledger = self.ledger();
        let thing = Self::thing(&mut ledger, tag);
        let history = ledger.history(thing).unwrap();
        let counts = |(entry, wrong): &(Entry, bool)| !wrong && entry.event.kind() == kind;
        let found = history.into_iter().rev().find(counts);
        found.map_or_else(|| panic!("{tag} has no {kind}"), |(entry, _)| entry)
    }

    fn correct(&self, tag: &Tag, kind: &str, right: &[&str]) -> Said {
        let number = self.last(tag, kind).position.number.to_string();
        let start = ["--operator", "EB", "correct", &number, "--reason", "found out later"];
        self.sandbox.run(&[&start, right].concat())
    }

    /// A pack that is measured and fit.
    fn fit(&self) -> (Tag, Tag) {
        let (player, pack) = self.adopt();
        let said = self.sandbox.session(&["bench"], &[pack.text(), "812"]);
        assert!(said.out.contains("FIT"), "{said:?}");
        (player, pack)
    }

    fn lend(&self, player: &Tag, pack: &Tag) {
        let said = self.sandbox.run(&["dispatch", "--for", "8 weeks", pack.text(), player.text()]);
        assert_eq!(said.code, 0, "{said:?}");
    }

    fn export(&self) -> String {
        self.sandbox.run(&["ledger", "export"]).out
    }

    /// A correction that must not be: nothing is written, and it says why and what to do.
    fn refuses(&self, said: &Said, why: &str, export: &str) {
        assert_eq!(said.code, 2, "{said:?}");
        let told = said.err.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(told.contains(why) && told.contains(" hint: "), "{said:?}");
        assert!(self.export() == export, "something was written");
    }
}

#[test]
fn the_wrong_pack_of_a_loan_takes_its_ride_and_loan_along() {
    let day = Day::new();
    let ((player, scanned), (_, meant)) = (day.fit(), day.fit());
    day.lend(&player, &scanned);
    day.sandbox.days(3);
    let said = day.correct(&player, "loan", &["--pack", meant.text()]);
    // The one that was not judged for it is out: it is told first of all.
    assert_eq!(said.code, 1, "{said:?}");
    assert!(said.out.contains("; with it "), "{}", said.out);
    assert!(said.out.contains("and is out now"), "{}", said.out);
    assert!(said.out.contains(&meant.to_string()), "{}", said.out);
    let (here, out) = (day.pack(&scanned), day.pack(&meant));
    assert!(here.ride.is_none() && here.loan.is_none() && here.loans == 0, "{here:?}");
    let loan = day.player(&player).loan.unwrap();
    assert_eq!(out.loan.map(|open| open.loan), Some(loan.0));
    assert!(day.sandbox.run(&["judge", scanned.text()]).out.starts_with("FIT"));
    // Its return is that of the pack that was meant.
    let said = day.sandbox.session(&["intake"], &[player.text(), meant.text()]);
    assert!(said.out.contains(&format!("MEASURE {meant}")), "{}", said.out);
    assert!(day.pack(&meant).oddities.is_empty());
    day.sandbox.is_sound();
}

#[test]
fn a_ride_of_long_ago_is_corrected_where_it_stood() {
    let day = Day::new();
    let ((player, scanned), (other, meant)) = (day.fit(), day.fit());
    day.lend(&player, &scanned);
    day.sandbox.days(20);
    day.sandbox.session(&["intake"], &[player.text(), scanned.text()]);
    day.sandbox.session(&["bench"], &[scanned.text(), "790"]);
    let cycles = day.pack(&scanned).estimated_cycles;
    assert!(day.pack(&meant).estimated_cycles.raw() == 0 && cycles.raw() > 0);
    // Since then both went out again, each with another player.
    day.lend(&other, &scanned);
    day.sandbox.days(1);
    let said = day.correct(&player, "remove", &["--pack", meant.text()]);
    assert!(said.code < 2, "{said:?}");
    let (now, then) = (day.pack(&scanned), day.pack(&meant));
    assert_eq!((now.loans, then.loans), (1, 1));
    assert_eq!((now.estimated_cycles.raw(), then.estimated_cycles), (0, cycles));
    assert!(now.loan.is_some() && then.loan.is_none(), "the ride of today goes on, that of then is over");
    assert!(day.player(&player).ride.is_none() && then.ride.is_none());
    // The reading of then was taken before it came back: another is due.
    assert!(day.sandbox.run(&["judge", meant.text()]).out.starts_with("MEASURE"));
    day.sandbox.is_sound();
}

#[test]
fn a_pack_is_not_corrected_into_two_players() {
    let day = Day::new();
    let ((player, one), (second, two)) = (day.fit(), day.fit());
    day.lend(&player, &one);
    day.lend(&second, &two);
    day.sandbox.days(1);
    let export = day.export();
    let two_players = day.correct(&player, "install", &["--pack", two.text()]);
    day.refuses(&two_players, &format!("pack {two} would have been in two players at once"), &export);
    let holds_two = day.correct(&second, "loan", &["--player", player.text()]);
    day.refuses(&holds_two, &format!("player {player} would have gone out while it was out"), &export);
    let away = day.correct(&one, "reading", &["--at", "2026-11-30"]);
    day.refuses(&away, "the date lies ahead", &export);
    // The wrong one of a pair of players: the ride, with its loan, moves over.
    let third = day.sandbox.tag(TagKind::Player);
    day.sandbox.session(&["intake"], &[third.text()]);
    let said = day.correct(&second, "loan", &["--player", third.text()]);
    assert_eq!(said.code, 1, "it is out: {said:?}");
    assert!(day.player(&second).loan.is_none() && day.player(&second).ride.is_none());
    assert!(day.player(&third).loan.is_some() && day.player(&third).ride.is_some());
    assert_eq!(day.pack(&two).ride.unwrap().ride, day.player(&third).ride.unwrap().0);
    day.sandbox.is_sound();
}

#[test]
fn a_return_that_never_was_opens_the_loan_again() {
    let day = Day::new();
    let (player, pack) = day.fit();
    day.lend(&player, &pack);
    day.sandbox.days(10);
    let loan = day.player(&player).loan;
    day.sandbox.session(&["intake"], &[player.text(), pack.text()]);
    day.sandbox.days(1);
    let said = day.correct(&player, "return", &["--nothing"]);
    assert!(said.out.contains("it no longer counts; with it"), "{said:?}");
    assert_eq!(day.player(&player).loan, loan);
    assert!(day.player(&player).arrived.is_none());
    let open = day.pack(&pack);
    assert!(open.ride.is_some() && open.loan.is_some() && open.returned.is_none(), "{open:?}");
    // That it never went out at all: its use goes with it.
    let said = day.correct(&player, "loan", &["--nothing"]);
    assert!(said.code < 2, "{said:?}");
    let here = day.pack(&pack);
    assert!(here.loan.is_none() && here.ride.is_some() && here.loans == 0, "{here:?}");
    // Once it was measured since, a return cannot be taken away from under it.
    day.lend(&player, &pack);
    day.sandbox.session(&["intake"], &[player.text(), pack.text()]);
    day.sandbox.session(&["bench"], &[pack.text(), "790"]);
    let export = day.export();
    let said = day.correct(&player, "return", &["--nothing"]);
    day.refuses(&said, "would have been with a borrower while it was in hand here", &export);
    day.sandbox.is_sound();
}

#[test]
fn the_dates_of_a_loan_carry_the_estimate_of_its_use() {
    let day = Day::new();
    let (player, pack) = day.fit();
    day.lend(&player, &pack);
    day.sandbox.days(30);
    day.sandbox.session(&["intake"], &[player.text(), pack.text()]);
    let used = |day: &Day| match day.last(&pack, "remove").event {
        Event::Removed(e) => e.used,
        other => panic!("{other:?}"),
    };
    let before = used(&day);
    assert!(matches!(before.basis, Basis::Estimated { days: 30 }), "{before:?}");
    let went = "2026-11-12 10:00";
    assert!(day.correct(&player, "loan", &["--at", went]).code < 2);
    let after = used(&day);
    let Basis::Estimated { days } = after.basis else { panic!("{after:?}") };
    assert!(days < 30 && days > 0);
    assert_eq!(after.cycles.raw(), (before.cycles.raw() * days + 15) / 30, "in proportion to the days");
    assert_eq!(day.pack(&pack).estimated_cycles, after.cycles);
    let export = day.export();
    let said = day.correct(&player, "return", &["--at", "2026-11-10"]);
    day.refuses(&said, "would have ended something before it began", &export);
    day.sandbox.is_sound();
}

#[test]
fn the_wrong_pack_of_a_run_takes_its_slot_and_reading_along() {
    let day = Day::new();
    let ((_, scanned), (_, meant)) = (day.fit(), day.fit());
    let slot = day.sandbox.tag(TagKind::Slot);
    day.sandbox.session(&["bench"], &[slot.text(), scanned.text()]);
    let said = day.correct(&slot, "run", &["--pack", meant.text()]);
    assert!(said.code < 2, "{said:?}");
    assert!(day.pack(&scanned).run.is_none() && day.pack(&meant).run.is_some());
    let said = day.sandbox.session(&["bench"], &[slot.text(), "640"]);
    assert!(said.out.contains(&meant.to_string()), "the slot knows what it holds: {said:?}");
    // The run is over: its reading goes to the pack that is named, and the slot stays free.
    let said = day.correct(&slot, "reading", &["--pack", scanned.text()]);
    assert!(said.out.contains("; with it"), "{said:?}");
    let readings = |tag: &Tag| day.pack(tag).readings.iter().map(|r| r.capacity.raw()).collect::<Vec<_>>();
    assert_eq!((readings(&scanned), readings(&meant)), (vec![812, 640], vec![812]));
    assert!(day.slot(&slot).run.is_none() && day.pack(&scanned).run.is_none());
    assert_eq!(day.slot(&slot).readings, 1);
    // A reading that never was: the run ended without a result.
    assert!(day.correct(&slot, "reading", &["--nothing"]).code < 2);
    assert_eq!(readings(&scanned), [812]);
    assert!(day.pack(&scanned).run.is_none());
    assert_eq!((day.slot(&slot).readings, day.slot(&slot).no_results), (0, 1));
    day.sandbox.is_sound();
}

#[test]
fn a_correction_is_taken_back_later_and_what_it_corrected_counts_again() {
    let day = Day::new();
    let (_, pack) = day.fit();
    let slot = day.sandbox.tag(TagKind::Slot);
    day.sandbox.session(&["bench"], &[slot.text(), pack.text()]);
    day.sandbox.session(&["bench"], &[slot.text(), "700"]);
    assert!(day.correct(&pack, "reading", &["--mah", "900"]).code < 2);
    assert!(day.correct(&pack, "reading", &["--mah", "910"]).code < 2);
    let capacity = || day.pack(&pack).readings.last().unwrap().capacity.raw();
    assert_eq!(capacity(), 910);
    // A later scan by the desk: undo would take that back.
    day.adopt();
    assert!(day.correct(&pack, "correct", &["--mah", "5"]).err.contains("by the entry that it put in place"));
    assert!(day.correct(&pack, "correct", &["--nothing"]).code < 2);
    assert_eq!(capacity(), 900);
    assert!(day.correct(&pack, "correct", &["--nothing"]).code < 2, "a correction of a correction is one");
    assert_eq!(capacity(), 910, "the second correction counts again");
    assert_eq!(day.slot(&slot).readings, 1);
    day.sandbox.is_sound();
}

#[test]
fn a_join_that_was_wrong_is_taken_apart() {
    let day = Day::new();
    let ((_, one), (_, two)) = (day.fit(), day.fit());
    day.sandbox.session(&["bench"], &[two.text(), "700"]);
    assert_eq!(day.sandbox.run(&["join", one.text(), two.text()]).code, 0);
    assert_eq!(day.pack(&one).readings.len(), 3);
    day.adopt();
    let said = day.correct(&one, "join", &["--nothing"]);
    assert!(said.code < 2, "{said:?}");
    assert_eq!((day.pack(&one).readings.len(), day.pack(&two).readings.len()), (1, 2));
    assert!(day.pack(&two).joined.is_none() && day.pack(&two).codes == [two.text()]);
    day.sandbox.is_sound();
}

#[test]
fn a_make_entered_wrong_is_corrected_and_verdicts_follow() {
    let day = Day::new();
    let add = ["make", "add", "Merlin 1600", "--chemistry", "NiMH", "--rated", "1600 mAh"];
    let more = ["--cells", "3", "--form", "slim"];
    let said = day.sandbox.run(&[&add[..], &more[..]].concat());
    assert_eq!(said.code, 0, "{said:?}");
    let player = day.sandbox.tag(TagKind::Player);
    let pack = day.sandbox.tag(TagKind::Pack);
    let said = day.sandbox.session(&["intake", "--make", "Kestrel 1100"], &[player.text(), pack.text()]);
    assert_eq!(said.code, 0, "{said:?}");
    let said = day.correct(&pack, "pack", &["--make", "Merlin 1600"]);
    assert!(said.code < 2, "{said:?}");
    assert!(day.sandbox.run(&["judge", pack.text()]).out.contains("Merlin 1600"));
    let unknown = day.correct(&pack, "pack", &["--make", "Osprey"]);
    assert!(unknown.code == 2 && unknown.err.contains("Osprey"), "{unknown:?}");
    let stays = day.correct(&pack, "pack", &["--nothing"]);
    assert!(stays.code == 2 && stays.err.contains("packmuster join"), "{stays:?}");
    day.sandbox.is_sound();
}

#[test]
fn what_is_not_corrected_says_what_is_done_instead() {
    let day = Day::new();
    let (player, pack) = day.fit();
    day.lend(&player, &pack);
    let export = day.export();
    for (tag, kind, way) in [
        (pack, "verdict", "correct what it stood on"),
        (pack, "bind", "REPLACE"),
        (day.chief, "operator", "enter it anew"),
    ] {
        let said = day.correct(&tag, kind, &["--nothing"]);
        day.refuses(&said, way, &export);
    }
    day.refuses(&day.correct(&pack, "reading", &["--player", player.text()]), "has no other player", &export);
    day.refuses(&day.correct(&pack, "loan", &["--mah", "900"]), "has no capacity", &export);
    let both = day.correct(&pack, "loan", &["--nothing", "--pack", pack.text()]);
    day.refuses(&both, "give either what is right, or --nothing", &export);
}
