//! What goes wrong at the desks, one test for each: nothing is guessed, nothing is entered that cannot be, and there is a
//! way on.

use std::io::{BufRead as _, BufReader};
use std::process::Stdio;

use packmuster::domain::command::Command;
use packmuster::domain::event::{ActVoided, FindingSeen, SiteOpened};
use packmuster::domain::finding::{Finding, Reason};
use packmuster::domain::ids::{ActId, PackId, SiteId};
use packmuster::domain::moment::Moment;
use packmuster::domain::tag::{Tag, TagKind};
use packmuster::ledger::entry::Act;
use packmuster::ledger::{Access, Ledger};
use rusqlite::Connection;
use uuid::Uuid;

use crate::day::{Day, card, number};
use crate::scan::synth;

fn texts(tags: &[Tag]) -> Vec<&str> {
    tags.iter().map(Tag::text).collect()
}

fn act(id: u128, millis: i64) -> Act {
    Act {
        id: ActId::new(Uuid::from_u128(id)),
        now: Moment::from_millis(millis),
        desk: "other".to_owned(),
        operator: String::new(),
        events: Vec::new(),
    }
}

#[test]
fn a_carton_with_a_swollen_pack_is_measured_whole_and_does_not_wait() {
    let day = Day::new();
    let tags: Vec<Tag> = (0..6).map(|_| day.sandbox.tag(TagKind::Pack)).collect();
    let swollen = card(Command::Finding(Finding::Swollen));
    // As many packs as the sample wants, and one of them will never be read.
    let mut lines = texts(&tags);
    lines.push(&swollen);
    let said = day.sandbox.session(&["receive", "--lot", "A", "--cartons", "1", "--count", "6"], &lines);
    assert_eq!(said.code, 1, "the last one must be kept apart: {said:?}");
    assert!(said.out.contains(&format!("ISOLATE {}", tags[5])), "{}", said.out);
    let judged = day.sandbox.run(&["judge", tags[0].text()]).out;
    assert!(
        judged.starts_with("MEASURE") && judged.contains("a danger was seen on 1 of its packs"),
        "{judged}"
    );
    for tag in &tags[..5] {
        let said = day.sandbox.session(&["bench"], &[tag.text(), "1100"]);
        assert!(said.out.contains("FIT"), "{}", said.out);
    }
    day.sandbox.is_sound();
}

#[test]
fn what_is_fit_by_now_is_not_overruled() {
    let day = Day::new();
    let (player, pack) = day.adopt();
    let mut lines = vec![day.chief.text().to_owned()];
    lines.extend(number("6", Command::Weeks));
    lines.extend([pack.text().to_owned(), player.text().to_owned(), card(Command::Overrule)]);
    let mut dispatch = day.begin("dispatch");
    for line in &lines {
        dispatch.say(line);
    }
    // Meanwhile it is measured at the bench.
    let said = day.sandbox.session(&["bench"], &[pack.text(), "812"]);
    assert!(said.out.contains("FIT"), "{}", said.out);
    dispatch.say(&card(Command::Reason(Reason::ShortLoan)));
    let said = dispatch.end();
    assert!(said.out.contains("fit by now: nothing had to be overruled"), "{}", said.out);
    assert_eq!(day.loans(), 1);
    assert!(!day.sandbox.run(&["ledger", "export"]).out.contains("\"overrule\""));
    day.sandbox.is_sound();
}

#[test]
fn a_slot_whose_result_is_in_takes_no_pack_until_it_is_scanned() {
    let day = Day::new();
    let (_, pack) = day.adopt();
    let (_, other) = day.adopt();
    let slot = day.sandbox.tag(TagKind::Slot);
    day.sandbox.session(&["bench"], &[slot.text(), pack.text()]);
    let charged = card(Command::Charged);
    let said = day.sandbox.session(&["bench"], &[slot.text(), "812", other.text(), &charged]);
    assert!(said.out.contains(&format!("pack {other}\n")), "{}", said.out);
    let shown = day.sandbox.run(&["show", other.text()]).out;
    assert!(!shown.contains("into slot"), "{shown}");
    assert!(shown.contains("charged"), "{shown}");
    // Scanned again, it takes the next one.
    let said = day.sandbox.session(&["bench"], &[slot.text(), other.text()]);
    assert!(said.out.contains(&format!("pack {other} is in slot 1")), "{}", said.out);
    day.sandbox.is_sound();
}

#[test]
fn what_is_out_with_a_borrower_has_no_reading() {
    let day = Day::new();
    let (player, pack) = day.adopt();
    day.sandbox.session(&["bench"], &[pack.text(), "812"]);
    let said = day.sandbox.run(&["dispatch", "--for", "6 weeks", pack.text(), player.text()]);
    assert_eq!(said.code, 0, "{said:?}");
    let before = day.entries();
    let said = day.sandbox.session(&["bench"], &[pack.text(), "700"]);
    assert_eq!(said.code, 1);
    assert!(said.out.contains("is out on a loan: nobody can have measured it"), "{}", said.out);
    assert_eq!(day.entries(), before);
}

#[test]
fn what_is_half_done_is_told_once() {
    let day = Day::new();
    for last in [Some("end"), None] {
        // A player that was never seen before: the pack in it is still to be scanned.
        let player = day.sandbox.tag(TagKind::Player);
        let lines: Vec<&str> = [player.text()].into_iter().chain(last).collect();
        let said = day.sandbox.session(&["intake"], &lines);
        assert_eq!(format!("{}{}", said.out, said.err).matches("was not scanned").count(), 1, "{said:?}");
    }
}

#[test]
fn a_second_player_waits_until_the_first_is_finished_and_an_empty_one_holds_nobody_up() {
    let day = Day::new();
    let (empty, _) = day.adopt();
    let (first, second) = (day.sandbox.tag(TagKind::Player), day.sandbox.tag(TagKind::Player));
    let said = day.sandbox.session(&["intake"], &[empty.text(), first.text(), second.text(), "no"]);
    assert!(said.out.contains("not on a loan, empty"), "{}", said.out);
    assert!(said.out.contains(&format!("the pack of player {first} is not scanned yet")), "{}", said.out);
    assert!(said.out.contains(&format!("player {first} is left as it was")), "{}", said.out);
    assert_eq!(day.sandbox.run(&["show", second.text()]).code, 2, "it was not taken in");
}

#[test]
fn no_drops_a_replacement_that_was_begun() {
    let day = Day::new();
    let (player, _) = day.adopt();
    let fresh = day.sandbox.tag(TagKind::Player);
    let said = day.sandbox.session(&["intake"], &[player.text(), "replace", "no", player.text()]);
    assert!(said.out.contains("dropped; no tag is replaced"), "{}", said.out);
    assert!(day.sandbox.run(&["show", player.text()]).code == 0);
    assert_eq!(day.sandbox.run(&["show", fresh.text()]).code, 2, "the fresh tag names nothing");
}

#[test]
fn a_lot_in_use_is_not_undone_and_an_unused_one_is() {
    let day = Day::new();
    let tag = day.sandbox.tag(TagKind::Pack);
    let receive = ["receive", "--lot", "A", "--cartons", "1", "--count", "8"];
    day.sandbox.session(&receive, &[tag.text()]);
    // Another desk measures the pack: its lot and carton are in use.
    day.sandbox.session(&["--desk", "two", "bench"], &[tag.text(), "1100"]);
    let said = day.sandbox.run(&["undo"]);
    assert_eq!(said.code, 1, "{said:?}");
    assert!(said.err.contains("two") || said.out.contains("two"), "{said:?}");
    assert_eq!(day.sandbox.run(&["--desk", "two", "undo"]).code, 0);
    assert_eq!(day.sandbox.run(&["undo"]).code, 0, "the pack");
    assert_eq!(day.sandbox.run(&["undo"]).code, 0, "the lot");
    day.sandbox.is_sound();
}

/// More acts than a session remembers: beyond them it starts afresh, and says nothing that is not so.
#[test]
fn undo_goes_back_further_than_a_session_remembers() {
    let day = Day::new();
    let (player, pack) = (day.sandbox.tag(TagKind::Player), day.sandbox.tag(TagKind::Pack));
    let before = day.entries();
    let (corroded, undo) = (card(Command::Finding(Finding::CorrodedContacts)), card(Command::Undo));
    let mut lines = vec![player.text(), pack.text()];
    lines.extend(std::iter::repeat_n(corroded.as_str(), 205));
    lines.extend(std::iter::repeat_n(undo.as_str(), 205));
    let said = day.sandbox.session(&["intake"], &lines);
    assert_eq!(said.out.matches("taken back:").count(), 205, "{}", said.out);
    let judged = day.sandbox.run(&["show", pack.text()]).out;
    // Each deed and its undoing stay in the record; none of them counts.
    assert!(day.entries() > before + 3 * 205);
    assert!(judged.matches("seen: corroded").count() >= 205, "{judged}");
    assert!(!day.sandbox.run(&["judge", pack.text()]).out.contains("corroded"));
    day.sandbox.is_sound();
}

#[test]
fn a_void_that_arrives_before_its_act_counts_live_and_after_a_rebuild() {
    let day = Day::new();
    let (_, pack) = day.adopt();
    let path = day.sandbox.path().join("fleet.muster");
    let mut ledger = Ledger::open(&path, Access::Write(None)).unwrap();
    let thing = ledger.resolve(pack.text()).unwrap().unwrap();
    let packmuster::ledger::query::Named::Now(thing) = thing else { panic!("{thing:?}") };
    let at = Moment::from_millis(1_793_700_000_000);
    let finding = FindingSeen { pack: PackId::new(thing.id), finding: Finding::Swollen, carton: None, at };
    let taken_back = act(1, 1_793_700_000_000);
    let void = ActVoided { act: taken_back.id, things: vec![thing] };
    ledger.record(&Act { events: vec![void.into()], ..act(2, 1_793_700_000_000) }).unwrap();
    ledger.record(&Act { events: vec![finding.clone().into()], ..taken_back }).unwrap();
    drop(ledger);
    let judged = || day.sandbox.run(&["judge", pack.text()]).out;
    assert!(judged().starts_with("MEASURE"), "{}", judged());
    day.sandbox.is_sound();
    assert_eq!(day.sandbox.run(&["ledger", "rebuild"]).code, 0);
    assert!(judged().starts_with("MEASURE"), "{}", judged());
    // The same finding in an act that nobody took back does count.
    let mut ledger = Ledger::open(&path, Access::Write(None)).unwrap();
    ledger.record(&Act { events: vec![finding.into()], ..act(3, 1_793_700_000_000) }).unwrap();
    drop(ledger);
    assert!(judged().starts_with("ISOLATE"), "{}", judged());
}

#[test]
fn a_site_with_a_zone_that_is_not_known_here_can_be_looked_at_and_not_written_for() {
    let day = Day::new();
    let (_, pack) = day.adopt();
    let mut ledger = Ledger::open(&day.sandbox.path().join("fleet.muster"), Access::Write(None)).unwrap();
    let site: SiteId = ledger.own().unwrap().site;
    let event = SiteOpened { site, name: "North".to_owned(), zone: "Mars/Olympus".to_owned() };
    ledger.record(&Act { events: vec![event.into()], ..act(9, 1_793_700_000_000) }).unwrap();
    drop(ledger);
    assert!(day.sandbox.run(&["judge", pack.text()]).out.starts_with("MEASURE"));
    day.sandbox.is_sound();
    let said = day.sandbox.session(&["bench"], &[pack.text(), "800"]);
    assert_eq!(said.code, 2, "{said:?}");
    assert!(said.err.contains("Mars/Olympus"), "{}", said.err);
}

#[test]
fn a_projection_that_does_not_read_is_named_and_mended_by_a_rebuild() {
    let day = Day::new();
    let (_, pack) = day.adopt();
    let file = Connection::open(day.sandbox.path().join("fleet.muster")).unwrap();
    assert!(file.execute("UPDATE thing SET state = '{' WHERE kind = 1", []).unwrap() > 0);
    drop(file);
    let said = day.sandbox.run(&["ledger", "check"]);
    assert_eq!(said.code, 1, "{said:?}");
    assert!(said.out.contains("the facts of pack"), "{}", said.out);
    assert_eq!(day.sandbox.run(&["ledger", "rebuild"]).code, 0);
    day.sandbox.is_sound();
    assert!(day.sandbox.run(&["judge", pack.text()]).out.starts_with("MEASURE"));
}

#[test]
fn a_reader_that_goes_away_is_no_fault() {
    let day = Day::new();
    for _ in 0..40 {
        day.adopt();
    }
    let mut child = day
        .sandbox
        .command()
        .args(["ledger", "export"])
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut first = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut first).unwrap();
    assert!(first.starts_with('{'), "{first}");
    let ended = child.wait_with_output().unwrap();
    assert_eq!(String::from_utf8_lossy(&ended.stderr), "");
}

/// Pictures in which it is not known what belongs to what: nothing of them is entered.
#[test]
fn nothing_in_a_picture_is_paired_by_guess() {
    let day = Day::new();
    let (one, two) = (day.sandbox.tag(TagKind::Player), day.sandbox.tag(TagKind::Player));
    let (pack, other) = (day.sandbox.tag(TagKind::Pack), day.sandbox.tag(TagKind::Pack));
    let slot = day.sandbox.tag(TagKind::Slot);
    let before = day.entries();
    let cases: [(&str, &[Tag], &str); 4] = [
        ("intake", &[one, pack, two, other], "2 players and 2 packs in one picture"),
        ("intake", &[one, pack, other], "a player and 2 packs in one picture"),
        ("dispatch", &[one, two, pack], "2 players and a pack in one picture"),
        ("bench", &[slot, pack, other], "a slot and 2 packs in one picture"),
    ];
    for (session, tags, told) in cases {
        let texts: Vec<String> = tags.iter().map(|tag| tag.text().to_owned()).collect();
        synth::shelf(&texts).save(day.sandbox.path().join("tray.png")).unwrap();
        let said = day.sandbox.run(&[session, "tray.png"]);
        assert_eq!(said.code, 2, "{said:?}");
        assert!(said.out.contains(told), "{}", said.out);
        assert_eq!(day.entries(), before, "{told}");
    }
    // A pair alone is a pair; packs alone are packs.
    synth::shelf(&[one.text().to_owned(), pack.text().to_owned()])
        .save(day.sandbox.path().join("pair.png"))
        .unwrap();
    let said = day.sandbox.run(&["intake", "pair.png"]);
    assert!(said.out.contains(&format!("MEASURE {pack}")), "{}", said.out);
    // A tag that is seen and not read may be another pack's.
    let mut spoiled = synth::shelf(&[two.text().to_owned(), other.text().to_owned(), pack.text().to_owned()]);
    synth::lay(&mut spoiled, &synth::paper(60, 60, 235), 510 + 20 + 8 * 5 - 3, 64 + 20 + 8 * 5);
    spoiled.save(day.sandbox.path().join("spoiled.png")).unwrap();
    let said = day.sandbox.run(&["intake", "spoiled.png"]);
    assert!(said.out.contains("a player, a pack and 1 tag that cannot be read"), "{}", said.out);
}

/// The wrong day of a reading: once it lies before the return, it no longer counts.
#[test]
fn a_reading_that_was_taken_before_the_return_does_not_count() {
    let day = Day::new();
    let (player, pack) = day.adopt();
    day.sandbox.session(&["bench"], &[pack.text(), "812"]);
    let said = day.sandbox.run(&["dispatch", "--for", "4 weeks", pack.text(), player.text()]);
    assert_eq!(said.code, 0, "{said:?}");
    day.sandbox.days(20);
    day.sandbox.session(&["intake"], &[player.text(), pack.text()]);
    day.sandbox.session(&["bench"], &[pack.text(), "790"]);
    assert!(day.sandbox.run(&["judge", pack.text()]).out.starts_with("FIT"));
    let shown = day.sandbox.run(&["show", pack.text(), "--json"]).out;
    let shown: serde_json::Value = serde_json::from_str(&shown).unwrap();
    let history = shown["life"]["history"].as_array().unwrap();
    let reading = history.iter().find(|line| line["capacity_mah"] == 790).unwrap();
    let number = reading["entry"].as_str().unwrap();
    let correct = |args: &[&str]| {
        let start = ["--operator", "EB", "correct", number];
        day.sandbox.run(&[&start, args, &["--reason", "the paper said so"]].concat())
    };
    let ahead = correct(&["--at", "2027-01-01"]);
    assert!(ahead.code == 2 && ahead.err.contains("the date lies ahead"), "{ahead:?}");
    let misfit = correct(&["--finding", "hot"]);
    assert!(misfit.code == 2 && misfit.err.contains("has no finding"), "{misfit:?}");
    assert!(correct(&[]).err.contains("nothing would change"));
    // It was read a week before the return, on its last day in the workshop.
    let said = correct(&["--at", "2026-11-02 01:00"]);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(said.out.contains("1 verdict stood on it"), "{}", said.out);
    assert!(said.out.contains(&format!("MEASURE {pack}")), "{}", said.out);
    assert!(day.sandbox.run(&["judge", pack.text()]).out.contains("no reading since it came back"));
    assert!(correct(&["--nothing"]).err.contains("corrected already"));
    day.sandbox.is_sound();
}

/// A reading of a sampled pack speaks for the unread ones of its carton: correcting it lists what stood on it there too.
#[test]
fn a_corrected_reading_of_a_sample_lists_what_its_carton_mates_stood_on() {
    let day = Day::new();
    let policy = day.sandbox.path().join("fleet.policy.toml");
    let text = std::fs::read_to_string(&policy).unwrap();
    let text = text
        .replace("rest = \"reading-each\"", "rest = \"cartons-word\"")
        .replace("sample = 6", "sample = 2");
    std::fs::write(&policy, text).unwrap();
    assert_eq!(day.sandbox.run(&["policy", "adopt"]).code, 0);
    let tags: Vec<Tag> = (0..4).map(|_| day.sandbox.tag(TagKind::Pack)).collect();
    day.sandbox.session(&["receive", "--lot", "A", "--cartons", "1", "--count", "4"], &texts(&tags));
    for tag in &tags[..2] {
        day.sandbox.session(&["bench"], &[tag.text(), "1100"]);
    }
    // An unread pack goes out on the carton's word.
    let (player, _) = day.adopt();
    day.sandbox.session(&["bench"], &[tags[3].text(), "charged"]);
    let said = day.sandbox.run(&["dispatch", "--for", "6 weeks", tags[3].text(), player.text()]);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(said.out.contains("on the word of carton A/1"), "{}", said.out);
    let shown = day.sandbox.run(&["show", tags[0].text(), "--json"]).out;
    let shown: serde_json::Value = serde_json::from_str(&shown).unwrap();
    let history = shown["life"]["history"].as_array().unwrap();
    let reading = history.iter().find(|line| line["capacity_mah"] == 1100).unwrap();
    let number = reading["entry"].as_str().unwrap();
    let args = ["--operator", "EB", "correct", number, "--mah", "900", "--reason", "misread", "--json"];
    let said = day.sandbox.run(&args);
    assert_eq!(said.code, 1, "a pack that is out stood on it: {said:?}");
    let told: serde_json::Value = serde_json::from_str(&said.out).unwrap();
    let stood = told["correction"]["stood"].as_array().unwrap();
    assert_eq!((&stood[0]["what"], &stood[0]["out_now"]), (&"dispatch".into(), &true.into()), "{}", said.out);
    assert_eq!(stood[0]["pack"], tags[3].to_string());
    assert!(stood.iter().any(|line| line["pack"] == tags[0].to_string()), "its own verdict too");
    assert!(day.sandbox.run(&["judge", tags[2].text()]).out.contains("carton A/1 fell short"));
    day.sandbox.is_sound();
}
