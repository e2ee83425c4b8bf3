//! Roll calls through the binary: several desks, what is missing, what was not expected, players and pictures.

use serde_json::Value;

use packmuster::domain::tag::{Tag, TagKind};

use super::scan::synth;
use super::yard::{NICKEL, Yard, flat};

const SHELF: &str = "ready shelf";
const CALL: &[&str] = &["muster", SHELF];

/// A shelf with fit packs, put there on the second of November.
fn shelf(count: usize) -> (Yard, Vec<String>, String) {
    let yard = Yard::new();
    let place = yard.place(SHELF, Some("fit"));
    let packs = yard.fit(count);
    yard.put(&packs, &place);
    (yard, packs, place)
}

fn report(yard: &Yard, args: &[&str]) -> Value {
    yard.json(&[CALL, args].concat())["muster"].clone()
}

fn names(list: &Value) -> Vec<String> {
    let name = |item: &Value| item.as_str().or_else(|| item["pack"].as_str()).unwrap().to_owned();
    list.as_array().unwrap().iter().map(name).collect()
}

fn sorted(packs: &[&String]) -> Vec<String> {
    let mut packs: Vec<String> = packs.iter().map(|&pack| pack.clone()).collect();
    packs.sort_unstable();
    packs
}

#[test]
fn several_desks_call_one_roll_and_what_nobody_saw_is_missing() {
    let (yard, packs, place) = shelf(5);
    yard.sandbox.days(3);
    let late = yard.fit(1);
    let mut one = yard.sandbox.begin(&[&["--desk", "one"], CALL].concat());
    let mut two = yard.sandbox.begin(&[&["--desk", "two"], CALL].concat());
    one.say(&packs[0]);
    one.hear("4 packs expected here and not seen yet");
    two.say(&packs[1]);
    two.hear("3 packs expected here and not seen yet");
    // A repeat at the other desk, and one that is put there meanwhile.
    two.say(&packs[0]);
    two.hear(&format!("pack {} was seen already", packs[0]));
    yard.put(&late, &place);
    yard.scan(&["bench"], &[&packs[2], &place], &["lies in"]);
    one.say("enter");
    let said = flat(&one.hear("2 seen, 2 not seen"));
    assert!(packs[3..].iter().all(|pack| said.contains(pack)) && !said.contains(&packs[2]), "{said}");
    assert_eq!((one.end().code, two.end().code), (0, 0));
    let there = sorted(&[&packs[0], &packs[1], &packs[2], &late[0]]);
    let open = report(&yard, &["--look"]);
    assert!(open["ended"].is_null() && names(&open["missing"]).len() == 2, "{open}");
    assert_eq!(names(&open["present"]), there);

    let said = yard.sandbox.run(&[CALL, &["--done"]].concat());
    assert_eq!(said.code, 1, "{said:?}");
    let told = flat(&said.out);
    assert!(
        told.contains("roll call of ready shelf over: 4 there, 2 missing, 0 not expected there"),
        "{told}"
    );
    for pack in &packs[3..] {
        assert!(told.contains(&format!("{pack} {NICKEL} 2026-11-02 in ready shelf")), "{told}");
    }
    let ended = report(&yard, &["--look"]);
    assert_eq!(
        (names(&ended["present"]), names(&ended["missing"])),
        (there, sorted(&[&packs[3], &packs[4]]))
    );
    assert!(yard.done(&["waiting"]).contains("WHEREABOUTS UNKNOWN: 2"));
    for pack in &packs[3..] {
        assert!(yard.odd(pack)[0].contains("whereabouts unknown"), "{:?}", yard.odd(pack));
    }
    yard.refused(&[CALL, &["--done"]].concat(), "no roll call of ready shelf is open");

    // One turns up at the next roll call; the other, which is missing already, is not called again.
    yard.sandbox.days(1);
    yard.scan(CALL, &[&packs[3]], &[&format!("pack {}, FIT", packs[3]), "4 packs expected here"]);
    assert!(yard.done(&["waiting"]).contains("WHEREABOUTS UNKNOWN: 1"));
    yard.scan(CALL, &[&packs[0], &packs[1], &packs[2], &late[0]], &["0 packs expected here"]);
    let said = yard.scan(CALL, &["enter", "yes"], &["5 seen, 0 not seen", "5 there, 0 missing"]);
    assert_eq!(said.code, 0, "{said:?}");
    yard.sandbox.is_sound();
}

#[test]
fn each_unexpected_pack_has_its_way_on() {
    let (yard, _, _) = shelf(1);
    let room = yard.place("back room", None);
    let slot = yard.sandbox.tag(TagKind::Slot).to_string();
    let fit = yard.fit(7);
    let [lent, riding, at_bench, elsewhere, nowhere, boxed, left] = &fit[..] else { panic!("{fit:?}") };
    let out = yard.carries(lent);
    yard.lend(lent, &out);
    let player = yard.carries(riding);
    yard.done(&["slot", "add", "slot 9", "--tag", &slot]);
    yard.scan(&["bench"], &[&slot, at_bench], &["is in slot 9"]);
    yard.scan(&["bench"], &[elsewhere, &room], &["lies in back room"]);
    yard.done(&["consignment", "open", "autumn", "--handler", "Tarn Metals"]);
    yard.scan(&["consignment", "pack"], &[left, "yes"], &["-> box 1"]);
    yard.done(&["consignment", "leave"]);
    yard.done(&["consignment", "open", "winter", "--handler", "Tarn Metals"]);
    yard.scan(&["consignment", "pack"], &[boxed, "yes"], &["-> box 1"]);

    for (pack, words, exit) in [
        (lent, "it is out on a loan, due 2026-12-28", 1),
        (riding, "it should be in player", 1),
        (at_bench, "it should be in slot 9", 1),
        (elsewhere, "FIT, was last in back room", 0),
        (nowhere, "FIT, lay in no place until now", 0),
        (boxed, "it is packed into box 1 of a consignment", 1),
        (left, "it left with a consignment on 2026-11-02", 1),
    ] {
        assert_eq!(yard.scan(CALL, &[pack], &[words]).code, exit, "{pack}");
    }
    // Fresh tags, codes of others and things that are not called.
    let fresh = [TagKind::Pack, TagKind::Player].map(|kind| yard.sandbox.tag(kind).to_string());
    let before = yard.entries();
    for (code, words, exit) in [
        (fresh[0].as_str(), "this tag names no pack yet", 1),
        (&fresh[1], "this tag names no player yet", 1),
        ("4006381333931", "nothing is known by", 2),
        (&slot, "a slot is not called at a roll call", 2),
        ("900 mAh", "a number means nothing here", 2),
    ] {
        assert_eq!(yard.scan(CALL, &[code], &[words]).code, exit, "{code}");
    }
    assert_eq!(yard.entries(), before);
    assert_eq!(yard.sandbox.run(&[CALL, &["--done"]].concat()).code, 1);
    let report = report(&yard, &["--look"]);
    let todo = |pack: &String| {
        let lines = report["unexpected"].as_array().unwrap();
        let line = lines.iter().find(|line| line["pack"] == pack.as_str());
        line.unwrap_or_else(|| panic!("{report}"))["todo"].as_str().unwrap().to_owned()
    };
    for (pack, words) in [
        (lent, "with `intake`: it came back"),
        (riding, "scan that player at `intake`"),
        (at_bench, "give the result of its run"),
        (elsewhere, "it is entered as being here"),
        (nowhere, "it is entered as being here"),
        (boxed, "put it back into its box"),
        (left, "ask whoever sent that consignment"),
    ] {
        assert!(todo(pack).contains(words), "{pack}: {}", todo(pack));
    }
    assert_eq!(report["unexpected"].as_array().unwrap().len(), 7);
    // What cannot be there is not called next time; what was only elsewhere is.
    yard.scan(CALL, &[nowhere], &["1 pack expected here"]);
    let said = yard.json(&["muster", SHELF, "--done"])["muster"].clone();
    assert_eq!(names(&said["missing"]), sorted(&[elsewhere]), "{said}");
    assert!(yard.odd(left)[0].contains("seen here after it had left"));
    for pack in [lent, riding, at_bench] {
        assert!(yard.odd(pack)[0].contains("seen in a place while"), "{:?}", yard.odd(pack));
    }
    let riding_in = flat(&yard.done(&["show", riding]));
    assert!(riding_in.contains(&player), "{riding_in}");
    yard.sandbox.is_sound();
}

/// A finding turns a fit pack into one for another tray; a shelf's own code of somebody else names a pack as well as a tag.
#[test]
fn a_pack_in_the_wrong_tray_is_seen_there_and_carried_on() {
    let (yard, packs, _) = shelf(2);
    let red = yard.place("red tray", Some("isolate"));
    yard.done(&["bind", &packs[0], "4006381333931"]);
    yard.scan(&["bench"], &[&packs[1], "cracked"], &["ISOLATE"]);
    yard.scan(CALL, &["4006381333931"], &[&format!("pack {}, FIT", packs[0])]);
    let said = yard.scan(
        CALL,
        &[&packs[1], &red],
        &[
            &format!("pack {} is ISOLATE, and ready shelf takes FIT", packs[1]),
            "carry it to red tray, and scan it there",
            "ISOLATE, lies in red tray",
        ],
    );
    assert_eq!(said.code, 1);
    assert_eq!(yard.sandbox.run(&[CALL, &["--done"]].concat()).code, 0);
}

#[test]
fn a_player_shows_the_pack_that_rides_in_it() {
    let (yard, packs, _) = shelf(1);
    let fit = yard.fit(2);
    let (first, second) = (yard.carries(&fit[0]), yard.carries(&fit[1]));
    let empty = yard.player();
    yard.scan(
        CALL,
        &[&first, &fit[0], &second, &first, &empty, &packs[0]],
        &[
            &format!("pack {}, FIT, lay in no place until now", fit[0]),
            &format!("player {first} and its pack were seen already"),
            &format!("pack {} was seen already", fit[0]),
            &format!("player {empty} is empty by the record"),
        ],
    );
    yard.sandbox.run(&[CALL, &["--done"]].concat());
    // The next one misses a player that did not go out, and not one that did.
    yard.lend(&fit[1], &second);
    yard.scan(CALL, &[&packs[0]], &["1 pack expected here"]);
    let said = yard.sandbox.run(&[CALL, &["--done"]].concat());
    let told = flat(&said.out);
    assert!(told.contains("1 there, 1 missing, 0 not expected"), "{told}");
    assert!(
        told.contains(&format!("{} {NICKEL} 2026-11-02 in player {first} in ready shelf", fit[0])),
        "{told}"
    );
    yard.scan(CALL, &[&second], &["it is out on a loan"]);
    yard.sandbox.is_sound();
}

#[test]
fn a_picture_of_the_shelf_calls_all_that_it_shows() {
    let (yard, packs, place) = shelf(4);
    let codes: Vec<String> =
        packs[..3].iter().map(|pack| pack.parse::<Tag>().unwrap().text().to_owned()).collect();
    synth::shelf(&codes).save(yard.sandbox.path().join("shelf.png")).unwrap();
    // A place after it takes none of them: many lie there.
    let said = yard.scan(
        &["muster", SHELF, "shelf.png", &place],
        &[],
        &["shelf.png: 3 read, 0 seen but not read", "1 pack expected here", "no pack is scanned yet"],
    );
    assert_eq!(said.code, 2);
    let said = yard.sandbox.run(&[CALL, &["shelf.png", "--done", "--json"]].concat());
    assert_eq!((said.code, flat(&said.out).matches("was seen already").count()), (1, 3), "{said:?}");
    let said = report(&yard, &["--look"]);
    assert_eq!(names(&said["missing"]), sorted(&[&packs[3]]), "{said}");
    assert_eq!(names(&said["present"]), sorted(&[&packs[0], &packs[1], &packs[2]]));
}

/// Nothing can be scanned where nothing lies: ENTER and YES say so.
#[test]
fn a_bare_place_is_called_with_enter_and_yes() {
    let (yard, packs, _) = shelf(2);
    yard.place("empty crate", None);
    yard.refused(&[CALL, &["--look"]].concat(), "there was no roll call of ready shelf yet");
    yard.refused(&[CALL, &["--done"]].concat(), "no roll call of ready shelf is open");
    let said =
        yard.scan(&["muster", "empty crate"], &["enter", "yes"], &["0 there, 0 missing, 0 not expected"]);
    assert_eq!(said.code, 0);
    yard.scan(CALL, &["enter", "no"], &["0 seen, 2 not seen", "it goes on"]);
    assert!(!yard.done(&["waiting"]).contains("WHEREABOUTS UNKNOWN"));
    yard.scan(CALL, &["yes", "enter", "yes"], &["`yes` means nothing here", "0 there, 2 missing"]);
    assert!(yard.done(&["waiting"]).contains("WHEREABOUTS UNKNOWN: 2"));
    yard.refused(&["muster", &packs[0]], "is a pack, and a roll call is of a place");
    yard.refused(&["muster", "attic"], "`attic`");
    yard.sandbox.is_sound();
}

/// Two desks at one shelf: each takes back its own last scan, and the pack counts as it did before.
#[test]
fn a_desk_takes_its_own_scan_of_a_shared_roll_call_back() {
    let (yard, packs, _) = shelf(2);
    yard.scan(&[&["--desk", "one"], CALL].concat(), &[&packs[0]], &["FIT"]);
    yard.scan(&[&["--desk", "two"], CALL].concat(), &[&packs[1]], &["0 packs expected here"]);
    yard.done(&["--desk", "one", "undo"]);
    assert_eq!(names(&report(&yard, &["--look"])["missing"]), [packs[0].clone()]);
    yard.sandbox.is_sound();
}

#[test]
fn yes_ends_the_roll_call_that_was_asked_about_and_no_later_one() {
    let (yard, packs, _) = shelf(3);
    let mut one = yard.sandbox.begin(&["--desk", "one", "muster", SHELF]);
    for pack in &packs {
        one.say(pack);
    }
    one.say("enter");
    one.hear("3 seen, 0 not seen");
    // Another desk ends it, and begins the next one.
    yard.sandbox.run(&["--desk", "two", "muster", SHELF, "--done"]);
    yard.sandbox.run(&["--desk", "two", "muster", SHELF, &packs[0]]);
    one.say("yes");
    let said = one.end();
    assert!(said.out.contains("was ended at another desk"), "{said:?}");
    let still = report(&yard, &["--look"]);
    assert_eq!(still["ended"], Value::Null, "{still}");
}

#[test]
fn a_missing_pack_that_goes_out_is_with_the_borrower() {
    let yard = Yard::new();
    let pack = yard.fit(1).remove(0);
    let player = yard.carries(&pack);
    let shelf = yard.place("shelf", None);
    yard.sandbox.run(&["muster", &shelf, &player, "--done"]);
    yard.sandbox.run(&["muster", &shelf, "enter"]);
    yard.sandbox.session(&["muster", &shelf], &["enter", "yes"]);
    let lost = |yard: &Yard| yard.json(&["review"])["lost"].as_array().unwrap().len();
    assert_eq!(lost(&yard), 1);
    yard.lend(&pack, &player);
    assert_eq!(lost(&yard), 0);
    let fleet = yard.json(&["review"])["fleet"].clone();
    let out = fleet.as_array().unwrap().iter().find(|row| row["where"] == "out").unwrap();
    assert_eq!(out["counts"].as_object().unwrap().values().map(|n| n.as_u64().unwrap()).sum::<u64>(), 1);
}
