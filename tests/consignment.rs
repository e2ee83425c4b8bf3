//! Packs at their end, through the binary: boxes, what has left and never comes back, limits on waste, papers.

use packmuster::domain::tag::TagKind;
use serde_json::Value;

use super::yard::{LITHIUM, NICKEL, Yard, flat};

const PACK: &[&str] = &["consignment", "pack"];

fn opened() -> Yard {
    let yard = Yard::new();
    yard.done(&["consignment", "open", "autumn", "--handler", "Tarn Metals"]);
    yard
}

fn shown(yard: &Yard, name: &str) -> Value {
    yard.json(&["consignment", "show", name])["consignment"].clone()
}

/// Box and condition of each pack, in the order asked for.
fn boxes(yard: &Yard, packs: &[&String]) -> Vec<(u64, String)> {
    let manifest = shown(yard, "autumn");
    let items = manifest["packs"].as_array().unwrap();
    assert_eq!(items.len(), packs.len(), "{manifest}");
    let of = |pack: &&String| {
        let item = items.iter().find(|item| item["pack"] == pack.as_str()).unwrap();
        (item["box"].as_u64().unwrap(), item["condition"].as_str().unwrap().to_owned())
    };
    packs.iter().map(of).collect()
}

#[test]
fn a_box_holds_one_chemistry_in_one_condition() {
    let yard = opened();
    let (nickel, lithium) = (yard.dead(NICKEL, 5), yard.dead(LITHIUM, 2));
    let said = yard.scan(
        PACK,
        &[&nickel[0], &nickel[1], &lithium[0], &nickel[2], "swollen", "carton", &nickel[3]],
        &[
            &format!("pack {}, NiMH, sound -> box 1 tape its terminals", nickel[1]),
            &format!("pack {}, Li-ion, sound -> box 2", lithium[0]),
            &format!("pack {}, NiMH, damaged -> box 3", nickel[2]),
            "the next damaged pack of that kind goes into box 4",
            &format!("pack {}, NiMH, sound -> box 1", nickel[3]),
        ],
    );
    assert!(flat(&said.out).contains("Do not charge"), "{said:?}");
    // CARTON begins the next box of the kind packed last, and of no other.
    yard.scan(
        PACK,
        &[&nickel[3], "carton", &lithium[1], &nickel[4]],
        &[
            &format!("{}, Li-ion, sound -> box 2", lithium[1]),
            &format!("{}, NiMH, sound -> box 4", nickel[4]),
        ],
    );
    let all: Vec<&String> = nickel.iter().chain(&lithium).collect();
    let sound = |number| (number, "sound".to_owned());
    let damaged = (3, "damaged".to_owned());
    assert_eq!(
        boxes(&yard, &all),
        [sound(1), sound(1), damaged, sound(1), sound(4), sound(2), sound(2)],
        "the finding moved one"
    );
    yard.sandbox.is_sound();
}

#[test]
fn what_is_said_concerns_the_pack_in_hand_and_no_other() {
    let yard = opened();
    let (dead, fit) = (yard.dead(NICKEL, 1), yard.fit(3));
    let player = yard.carries(&fit[2]);
    // The fit pack is refused; then it is seen to be swollen: it is packed apart, and the one before is as it was.
    yard.scan(
        PACK,
        &[&dead[0], &fit[0], "swollen"],
        &["it is not at its end", &format!("pack {}, NiMH, damaged -> box 2", fit[0])],
    );
    assert_eq!(boxes(&yard, &[&dead[0], &fit[0]])[0], (1, "sound".to_owned()));
    // A pack that is refused takes no finding over to the one before, and NO does not take that one out.
    let riding = format!("pack {} is in player {player}", fit[2]);
    let said = yard.scan(PACK, &[&dead[0], &fit[2], "leaking", "no"], &[&riding, "no pack is scanned yet"]);
    assert_eq!(said.code, 2, "{said:?}");
    assert_eq!(boxes(&yard, &[&dead[0], &fit[0]])[0], (1, "sound".to_owned()));
    assert!(!yard.done(&["show", &dead[0]]).contains("leaking"));
    // A scratch on a pack that waits for YES is entered for it, and it still waits.
    yard.scan(PACK, &[&fit[1], "corroded", "yes"], &[&format!("pack {}, NiMH, sound -> box 1", fit[1])]);
}

#[test]
fn a_pack_that_is_not_at_its_end_is_retired_only_by_yes() {
    let yard = opened();
    let fit = yard.fit(2);
    let before = yard.entries();
    let said =
        yard.scan(PACK, &[&fit[0], "no"], &["it is not at its end; nothing is entered", "left as it is"]);
    assert_eq!((said.code, yard.entries()), (1, before));
    assert!(yard.done(&["judge", &fit[0]]).starts_with("FIT"));
    yard.scan(PACK, &[&fit[0], "yes"], &["-> box 1"]);
    let said = yard.sandbox.run(&["judge", &fit[0]]);
    assert!(said.out.starts_with("RECYCLE") && said.out.contains("box 1 of a consignment"), "{said:?}");
    // Taken out again it stays waste, and an undone YES is undone.
    yard.scan(PACK, &[&fit[0], "no"], &["is out of consignment autumn again, and stays retired"]);
    assert!(yard.sandbox.run(&["judge", &fit[0]]).out.contains("waits for the recycler"));
    yard.scan(PACK, &[&fit[1], "yes", "undo"], &["-> box 1", "taken back: retire, consign"]);
    assert!(yard.done(&["judge", &fit[1]]).starts_with("FIT"));
    yard.sandbox.is_sound();
}

#[test]
fn only_what_is_in_hand_and_known_is_packed() {
    let yard = opened();
    yard.done(&["consignment", "open", "winter", "--handler", "Tarn Metals"]);
    let pack = ["consignment", "pack", "--name", "autumn"];
    let (dead, fit) = (yard.dead(NICKEL, 2), yard.fit(3));
    let riding = yard.carries(&fit[0]);
    let out = yard.carries(&fit[1]);
    yard.lend(&fit[1], &out);
    yard.done(&["slot", "add", "slot 1"]);
    let slot = yard.sandbox.tag(TagKind::Slot).to_string();
    yard.scan(&["bench"], &[&slot, &fit[2]], &["is in slot"]);
    let unknown = yard.sandbox.tag(TagKind::Pack).to_string();
    let before = yard.entries();
    for (code, words, exit) in [
        (&fit[0], format!("is in player {riding}"), 1),
        (&fit[1], "is out on a loan".to_owned(), 1),
        (&fit[2], "is in slot".to_owned(), 1),
        (&unknown, "names no pack yet".to_owned(), 1),
        (&riding, "a player does not go into a consignment".to_owned(), 2),
        (&"4006381333931".to_owned(), "nothing is known by".to_owned(), 2),
    ] {
        assert_eq!(yard.scan(&pack, &[code], &[&words]).code, exit, "{code}");
    }
    assert_eq!(yard.entries(), before);
    // Scanned twice, and in two consignments.
    yard.scan(
        &pack,
        &[&dead[0], &dead[1], &dead[0]],
        &["-> box 1", &format!("pack {} is in box 1 of consignment autumn", dead[0])],
    );
    let said = yard.scan(
        &["consignment", "pack", "--name", "winter"],
        &[&dead[0]],
        &["is in box 1 of consignment autumn"],
    );
    assert_eq!(said.code, 1);
    assert_eq!(boxes(&yard, &[&dead[0], &dead[1]]).len(), 2);
    // NO empties it again.
    yard.scan(&pack, &[&dead[0], "no", &dead[1], "no"], &["is out of consignment autumn again"]);
    assert_eq!(shown(&yard, "autumn")["packs"], Value::Array(Vec::new()));
    yard.refused(&["consignment", "leave", "autumn"], "consignment autumn is empty");
    yard.refused(&["consignment", "show"], "several consignments are open");
    yard.refused(&["consignment", "pack", &dead[0]], "several consignments are open");
}

/// It was not in its player; at the consignment it turns up.
#[test]
fn a_missing_pack_turns_up_when_it_is_packed() {
    let yard = opened();
    let fit = yard.fit(1);
    let player = yard.carries(&fit[0]);
    yard.scan(&["intake"], &[&player, "nopack"], &["its whereabouts are unknown"]);
    assert!(yard.done(&["waiting"]).contains("WHEREABOUTS UNKNOWN: 1"));
    yard.scan(PACK, &[&fit[0], "yes"], &["-> box 1"]);
    assert!(!yard.done(&["waiting"]).contains("WHEREABOUTS UNKNOWN"));
}

#[test]
fn names_masses_and_leaving() {
    let yard = opened();
    yard.refused(
        &["consignment", "open", "autumn", "--handler", "B"],
        "a consignment is named `autumn` already",
    );
    std::fs::write(yard.sandbox.path().join("here.pdf"), "").unwrap();
    yard.refused(&["consignment", "open", "  ", "--handler", "B"], "is no name");
    yard.refused(&["consignment", "open", "b", "--handler", &"x".repeat(61)], "is no handler");
    yard.refused(&["consignment", "show", "spring"], "no consignment is named `spring`");
    let (nickel, lithium) = (yard.dead(NICKEL, 2), yard.dead(LITHIUM, 1));
    yard.scan(PACK, &[&nickel[0], &nickel[1], &lithium[0]], &["-> box 2"]);
    // The mass of the nickel make is not known: it is counted, never taken for nothing.
    let told = flat(&yard.done(&["consignment", "show"]));
    assert!(told.contains("NiMH sound 2 unknown"), "{told}");
    assert!(told.contains("Li-ion sound 1 0.09 "), "{told}");
    let manifest = shown(&yard, "autumn");
    assert_eq!(
        manifest["rows"][0]["without_mass"].as_u64().max(manifest["rows"][1]["without_mass"].as_u64()),
        Some(2)
    );
    let told = flat(&yard.done(&["waste"]));
    assert!(told.contains("NiMH 2 unknown Li-ion 1 0.09"), "{told}");
    assert!(told.contains("3 packs, 3 of them packed; 0.09 kg and 2 packs of unknown mass, and"), "{told}");
    // It does not leave when its papers cannot be written.
    yard.refused(&["consignment", "leave", "--sheet", "here.pdf"], "here.pdf exists already");
    let said = yard.done(&["consignment", "leave", "--reference", "W-2290", "--sheet", "gone.pdf"]);
    assert!(
        flat(&said).contains("consignment autumn has left with 3 packs what has left can never go out again"),
        "{said}"
    );
    assert!(yard.pdf("gone.pdf").contains("left on 2026-11-02 under W-2290"));
    yard.refused(&["consignment", "leave", "autumn"], "consignment autumn left on 2026-11-02");
    yard.refused(&["consignment", "leave"], "no consignment is open");
    yard.refused(&["consignment", "pack", "--name", "autumn", &nickel[0]], "consignment autumn has left");
    assert!(flat(&yard.done(&["waste"])).contains("0 packs, 0 of them packed"));
    let list = flat(&yard.done(&["consignment", "list"]));
    assert!(list.contains("autumn Tarn Metals 3 2026-11-02 2026-11-02"), "{list}");
    yard.sandbox.is_sound();
}

/// One desk packs while another sends the consignment off.
#[test]
fn what_has_left_is_neither_packed_nor_emptied_by_a_session_that_is_still_open() {
    for last in ["no", "carton", "swollen", "the other"] {
        let yard = opened();
        let dead = yard.dead(NICKEL, 2);
        let mut running = yard.sandbox.begin(PACK);
        running.say(&dead[0]);
        running.hear("tape its terminals");
        yard.done(&["--desk", "two", "consignment", "leave"]);
        running.say(if last == "the other" { &dead[1] } else { last });
        let said = running.end();
        assert!(said.code == 2 && said.out.contains("consignment autumn has left"), "{last}: {said:?}");
        let manifest = shown(&yard, "autumn");
        assert_eq!(manifest["packs"].as_array().unwrap().len(), 1, "{last}: {manifest}");
        assert!(yard.sandbox.run(&["judge", &dead[0]]).out.contains("it left with a consignment"));
        yard.sandbox.is_sound();
    }
}

/// A pack that waits for YES at one desk, and is packed or taken out at another.
#[test]
fn what_another_desk_did_meanwhile_counts() {
    let yard = opened();
    let fit = yard.fit(1);
    yard.done(&["consignment", "open", "winter", "--handler", "Tarn Metals"]);
    let mut running = yard.sandbox.begin(&["consignment", "pack", "--name", "autumn"]);
    running.say(&fit[0]);
    running.hear("YES retires it all the same");
    yard.scan(
        &["--desk", "two", "consignment", "pack", "--name", "winter"],
        &[&fit[0], "yes"],
        &["-> box 1"],
    );
    running.say("yes");
    let said = flat(&running.hear("NO\n"));
    assert!(said.contains("is in box 1 of consignment winter"), "{said}");
    assert_eq!(running.end().code, 1);
    assert_eq!(shown(&yard, "autumn")["packs"], Value::Array(Vec::new()));

    let mut running = yard.sandbox.begin(&["consignment", "pack", "--name", "winter"]);
    running.say(&fit[0]);
    running.hear("next pack");
    yard.scan(
        &["--desk", "two", "consignment", "pack", "--name", "winter"],
        &[&fit[0], "no"],
        &["is out of"],
    );
    running.say("no");
    running.hear("another desk has taken it out already");
    assert_eq!(running.end().code, 2);
    yard.sandbox.is_sound();
}

/// Two fit packs that were packed and have left, with a player for them.
fn gone() -> (Yard, Vec<String>, String) {
    let yard = opened();
    let packs = yard.fit(2);
    let player = yard.player();
    yard.scan(PACK, &[&packs[0], "yes", &packs[1], "yes"], &["-> box 1"]);
    yard.done(&["--desk", "two", "consignment", "leave"]);
    (yard, packs, player)
}

/// Nobody gets it out: what is asked for is refused, and no loan is entered.
fn stays(yard: &Yard, pack: &str, player: &str) {
    let lines = ["overrule", "no other pack", pack, player, "overrule", "noother", "the ferry leaves"];
    let said = yard.scan(
        &["--operator", "EB", "dispatch", "--for", "6 weeks"],
        &lines,
        &[
            "it left with a consignment on 2026-11-02",
            "must not go out",
            "RECYCLE cannot be overruled: it is waste",
        ],
    );
    assert!(said.code >= 1 && !said.out.contains("goes out"), "{said:?}");
    assert!(!yard.sandbox.run(&["ledger", "export"]).out.contains("\"loan\""));
}

#[test]
fn what_has_left_never_goes_out_again() {
    let (yard, packs, player) = gone();
    stays(&yard, &packs[0], &player);
    assert!(yard.odd(&packs[0]).is_empty(), "nobody had it in hand");

    // It comes back alone, is measured and read to be as good as ever, and is put into a player.
    let left = "it left with a consignment on 2026-11-02";
    yard.scan(&["intake"], &[&packs[0], "yes"], &["RECYCLE", left]);
    let slot = yard.sandbox.tag(TagKind::Slot).to_string();
    yard.scan(
        &["bench"],
        &[&slot, &packs[0]],
        &["it left with consignment autumn on 2026-11-02, and is here: keep it apart"],
    );
    yard.scan(&["bench"], &[&slot, "1090 mAh"], &["RECYCLE", left]);
    yard.scan(&["intake"], &[&player, &packs[0]], &["RECYCLE", left, "not put in"]);
    stays(&yard, &packs[0], &player);
    let odd = yard.odd(&packs[0]);
    assert!(!odd.is_empty() && odd.iter().all(|odd| odd.contains("seen here after it had left")), "{odd:?}");

    // At a consignment and at a place it is told, and entered as seen.
    yard.done(&["consignment", "open", "winter", "--handler", "Tarn Metals"]);
    let told = format!("pack {} left with consignment autumn on 2026-11-02, and is here", packs[1]);
    assert_eq!(yard.scan(PACK, &[&packs[1], "yes", "no"], &[&told]).code, 2);
    assert!(yard.odd(&packs[1])[0].contains("seen here after it had left"));
    let shelf = yard.place("ready shelf", Some("fit"));
    assert_eq!(yard.scan(&["bench"], &[&packs[1], &shelf], &[&told]).code, 1);
    stays(&yard, &packs[1], &player);
    assert_eq!(shown(&yard, "winter")["packs"], Value::Array(Vec::new()));
    let fleet = yard.json(&["review", "2026-11"]);
    let row = fleet["fleet"].as_array().unwrap().iter().find(|row| row["where"] == "left").unwrap();
    assert_eq!(row["counts"]["recycle"], Value::from(2), "{row}");
    yard.sandbox.is_sound();
}

#[test]
fn neither_a_correction_nor_another_desks_undo_brings_back_what_has_left() {
    let (yard, packs, player) = gone();
    // The desk that packed them cannot take the packing back: another one has sent them off.
    let before = yard.entries();
    let said = yard.sandbox.run(&["undo"]);
    assert!(said.code == 1 && flat(&said.err).contains("at desk two"), "{said:?}");
    let said = yard.scan(&["bench"], &["undo"], &["at desk two"]);
    assert_eq!((said.code, yard.entries()), (1, before), "{said:?}");
    for kind in ["consignment_left", "consign"] {
        let number = yard.entry(&packs[0], kind);
        let args = ["--operator", "EB", "correct", &number, "--nothing", "--reason", "a slip"];
        yard.refused(&args, &format!("a {kind} entry is not corrected"));
    }
    // That it was retired may be taken out: it has left all the same.
    let number = yard.entry(&packs[0], "retire");
    let args = ["--operator", "EB", "correct", &number, "--nothing", "--reason", "a slip"];
    assert!(yard.sandbox.run(&args).code <= 1);
    stays(&yard, &packs[0], &player);
    stays(&yard, &packs[1], &player);
    yard.sandbox.is_sound();
}

/// The tag came off, somebody took it for an unknown pack and measured it; or an old record turns out to be this pack.
#[test]
fn a_record_that_is_joined_to_one_that_has_left_has_left_too() {
    for younger_first in [true, false] {
        let yard = opened();
        let old = yard.fit(1).remove(0);
        let pack = yard.fit(1).remove(0);
        let player = yard.player();
        yard.scan(PACK, &[&pack, "yes"], &["-> box 1"]);
        yard.done(&["consignment", "leave"]);
        let other = if younger_first {
            // Entered after it had left.
            let fresh = yard.sandbox.tag(TagKind::Pack).to_string();
            yard.scan(&["intake", "--loose", "--make", NICKEL], &[&fresh], &["MEASURE"]);
            yard.scan(&["bench"], &[&fresh, "950 mAh"], &["FIT"]);
            fresh
        } else {
            old
        };
        assert!(yard.done(&["judge", &other]).starts_with("FIT"));
        yard.done(&["join", &other, &pack]);
        stays(&yard, &other, &player);
        stays(&yard, &pack, &player);
        assert_eq!(shown(&yard, "autumn")["packs"].as_array().unwrap().len(), 1);
        yard.sandbox.is_sound();
    }
}

/// A record that is joined while it is packed: the consignment holds the one pack, and NO takes that one out.
#[test]
fn a_packed_record_that_is_joined_leaves_or_is_taken_out_as_one() {
    let yard = opened();
    let (old, packed) = (yard.fit(1).remove(0), yard.fit(1).remove(0));
    yard.scan(PACK, &[&packed, "yes"], &["-> box 1"]);
    yard.done(&["join", &old, &packed]);
    assert_eq!(shown(&yard, "autumn")["packs"].as_array().unwrap().len(), 1);
    yard.scan(PACK, &[&old, "no"], &["is out of consignment autumn again"]);
    assert_eq!(shown(&yard, "autumn")["packs"], Value::Array(Vec::new()));
    yard.scan(PACK, &[&old], &["-> box 1"]);
    yard.done(&["consignment", "leave"]);
    assert!(yard.sandbox.run(&["judge", &packed]).out.contains("it left with a consignment"));
    yard.sandbox.is_sound();
}

/// Two desks pack one consignment: each takes its own last scan back.
#[test]
fn desks_that_pack_together_undo_only_their_own() {
    let yard = opened();
    let dead = yard.dead(NICKEL, 2);
    yard.scan(&["--desk", "one", "consignment", "pack"], &[&dead[0]], &["-> box 1"]);
    yard.scan(&["--desk", "two", "consignment", "pack"], &[&dead[1]], &["-> box 1"]);
    yard.done(&["--desk", "one", "undo"]);
    assert_eq!(boxes(&yard, &[&dead[1]]), [(1, "sound".to_owned())]);
    // What was opened is not taken back under the hands of others.
    yard.done(&["--desk", "three", "consignment", "open", "winter", "--handler", "B"]);
    yard.scan(&["--desk", "two", "consignment", "pack", "--name", "winter"], &[&dead[0]], &["-> box 1"]);
    assert_eq!(yard.sandbox.run(&["--desk", "three", "undo"]).code, 1);
    yard.sandbox.is_sound();
}

#[test]
fn a_dead_pack_is_retired_by_laying_it_with_the_others() {
    let yard = Yard::new();
    let (dead, fit) = (yard.dead(NICKEL, 1), yard.fit(1));
    let (tray, shelf) = (yard.place("scrap crate", Some("recycle")), yard.place("bench end", None));
    let said = yard.scan(&["bench"], &[&fit[0], &tray], &["scrap crate takes RECYCLE, and pack"]);
    assert_eq!(said.code, 1);
    yard.scan(&["bench"], &[&dead[0], &shelf], &["lies in bench end"]);
    assert!(flat(&yard.done(&["waste"])).contains("0 packs"), "a shelf retires nothing");
    yard.scan(&["bench"], &[&dead[0], &tray], &["lies in scrap crate", "retired: it waits for the recycler"]);
    let told = flat(&yard.done(&["waste", "--all"]));
    assert!(told.contains("1 pack, 0 of them packed"), "{told}");
    assert!(told.contains(&format!("2026-11-02 {} {NICKEL} scrap crate", dead[0])), "{told}");
    assert!(yard.sandbox.run(&["judge", &dead[0]]).out.contains("retired on 2026-11-02"));
    yard.done(&["consignment", "open", "autumn", "--handler", "Tarn Metals"]);
    yard.scan(PACK, &[&dead[0]], &["-> box 1"]);
    let shown = |yard: &Yard| flat(&yard.done(&["show", &dead[0]]));
    assert!(shown(&yard).contains("where in box 1 of consignment autumn"), "{}", shown(&yard));
    // In its box it is in no tray.
    let said = yard.scan(
        &["bench"],
        &[&dead[0], &tray],
        &["is in box 1 of consignment autumn next: it stays there"],
    );
    assert_eq!(said.code, 1);
    yard.done(&["consignment", "leave"]);
    assert!(shown(&yard).contains("where left with consignment autumn on 2026-11-02"), "{}", shown(&yard));
    yard.sandbox.is_sound();
}

#[test]
fn the_desk_that_sent_it_off_cannot_take_that_back_either() {
    let yard = opened();
    let fit = yard.fit(1);
    yard.scan(PACK, &[&fit[0], "yes"], &["-> box 1"]);
    yard.done(&["consignment", "leave"]);
    let before = yard.entries();
    let said = yard.sandbox.run(&["undo"]);
    assert!(said.code == 1 && flat(&said.err).contains("what has left stays gone"), "{said:?}");
    assert_eq!(yard.entries(), before);
    let said = yard.sandbox.run(&["judge", &fit[0]]);
    assert!(said.out.starts_with("RECYCLE"), "{said:?}");
}

#[test]
fn a_box_begun_at_one_desk_is_not_filled_with_another_kind_at_another() {
    let yard = opened();
    let (nickel, lithium) = (yard.dead(NICKEL, 2), yard.dead(LITHIUM, 1));
    let mut one = yard.sandbox.begin(&["--desk", "one", "consignment", "pack"]);
    one.say(&nickel[0]);
    one.say("carton");
    one.hear("goes into box 2");
    yard.scan(&["--desk", "two", "consignment", "pack"], &[&lithium[0]], &["-> box 2"]);
    one.say(&nickel[1]);
    one.end();
    let all: Vec<&String> = nickel.iter().chain(&lithium).collect();
    let found = boxes(&yard, &all);
    assert_eq!(found[2].0, 2);
    assert!(found[0].0 != 2 && found[1].0 != 2, "{found:?}");
}

#[test]
fn what_was_damaged_after_it_was_packed_does_not_leave_as_sound() {
    let yard = opened();
    let dead = yard.dead(LITHIUM, 2);
    yard.scan(PACK, &[&dead[0], &dead[1]], &["sound -> box 1"]);
    let said = yard.sandbox.session(&["bench"], &[&dead[0], "swollen"]);
    assert!(said.code < 3, "{said:?}");
    yard.refused(&["consignment", "leave"], "may be dangerous by now");
    yard.scan(PACK, &[&dead[0], "no", &dead[0]], &["damaged -> box 2", "Do not charge"]);
    yard.done(&["consignment", "leave"]);
}

#[test]
fn names_that_differ_in_case_are_one_name() {
    let yard = opened();
    yard.refused(&["consignment", "open", "Autumn", "--handler", "X"], "is named `Autumn` already");
}

#[test]
fn damaged_waste_shows_in_the_review_with_its_cautions() {
    let yard = opened();
    let fit = yard.fit(1);
    yard.scan(PACK, &[&fit[0], "yes", "swollen"], &["damaged -> box"]);
    let review = yard.json(&["review"]);
    assert_eq!(review["isolate"].as_array().unwrap().len(), 1, "{}", review["isolate"]);
    assert!(review["wrong"].to_string().contains("may be dangerous"), "{}", review["wrong"]);
    yard.done(&["review", "--pdf", "r.pdf"]);
    assert!(yard.pdf("r.pdf").contains("Do not charge, press or open it."));
    assert!(flat(&yard.done(&["review"])).contains("Do not charge, press or open it."));
}
