//! Lists of what goes out, through the binary: kept, fetched shelf by shelf, ticked off by scanning.

use serde_json::Value;

use super::yard::{Yard, flat};

/// Fit packs on two shelves, one in a player, one lying loose; two empty players.
struct Ferry {
    yard: Yard,
    far: Vec<String>,
    near: Vec<String>,
    riding: String,
    player: String,
    empty: Vec<String>,
}

fn ferry() -> Ferry {
    let yard = Yard::new();
    let (tenth, second) = (yard.place("shelf 10", None), yard.place("Shelf 2", None));
    let (far, near, riding) = (yard.fit(1), yard.fit(2), yard.fit(1).remove(0));
    yard.put(&far, &tenth);
    yard.put(&near, &second);
    let player = yard.carries(&riding);
    let mut empty = vec![yard.player(), yard.player()];
    empty.sort();
    Ferry { yard, far, near, riding, player, empty }
}

impl Ferry {
    fn pick(&self, wish: &str) -> String {
        let said = self.yard.sandbox.run(&["pick", "--for", wish, "--list", "ferry", "--sheet", "ferry.pdf"]);
        assert_eq!(said.code, 0, "{said:?}");
        flat(&said.out)
    }

    fn list(&self) -> Value {
        self.yard.json(&["pick", "--list", "ferry"])["list"].clone()
    }

    fn line(&self, pack: &str) -> Value {
        let list = self.list();
        let lines = list["lines"].as_array().unwrap();
        lines.iter().find(|line| line["pack"] == pack).unwrap_or_else(|| panic!("{pack}: {list}")).clone()
    }

    /// The player that a pack is to go into.
    fn seat(&self, pack: &str) -> String {
        self.line(pack)["player"].as_str().unwrap().to_owned()
    }
}

const DISPATCH: &[&str] = &["dispatch", "--list", "ferry"];

#[test]
fn a_list_goes_from_shelf_to_shelf_and_packs_in_players_keep_them() {
    let ferry = ferry();
    let said = ferry.pick("Wren:56:4");
    assert!(said.contains("list ferry: 4 loans, in the order of the shelves"), "{said}");
    assert!(said.contains("LIST ferry, made 2026-11-02: 0 of 4 are out"), "{said}");
    let list = ferry.list();
    let lines = list["lines"].as_array().unwrap();
    let text = |line: &Value, key: &str| line[key].as_str().unwrap_or_default().to_owned();
    // By the number of the shelf, not by its digits; what lies nowhere else is in a player.
    let places: Vec<String> = lines.iter().map(|line| text(line, "where")).collect();
    assert_eq!(
        places,
        [format!("in player {}", ferry.player), "Shelf 2".into(), "Shelf 2".into(), "shelf 10".into()]
    );
    let packs: Vec<String> = lines.iter().map(|line| text(line, "pack")).collect();
    let mut near = ferry.near.clone();
    near.sort();
    assert_eq!(packs, [vec![ferry.riding.clone()], near, ferry.far.clone()].concat());
    assert_eq!(ferry.seat(&ferry.riding), ferry.player);
    // Two players are free for three packs: one goes without.
    let mut seats: Vec<String> = lines[1..].iter().map(|line| text(line, "player")).collect();
    seats.sort();
    assert_eq!(seats, [vec![String::new()], ferry.empty.clone()].concat());
    assert!(lines.iter().all(|line| line["verdict"] == "fit" && line["due"] == "2026-12-28"), "{list}");

    let paper = ferry.yard.pdf("ferry.pdf");
    assert!(paper.contains("Dispatch: ferry") && paper.contains("0 of 4 are out"), "{paper}");
    let found: Vec<usize> = packs
        .iter()
        .map(|pack| paper.find(pack.as_str()).unwrap_or_else(|| panic!("{pack}: {paper}")))
        .collect();
    assert!(found.is_sorted(), "{paper}");
    assert!(paper.contains("any free Wren") && paper.matches("[ ]").count() == 4, "{paper}");

    assert_eq!(paper.matches("2026-12-28").count(), 4, "no date is broken: {paper}");

    // Names, and what cannot be listed.
    let yard = &ferry.yard;
    yard.refused(
        &["pick", "--for", "Wren:56", "--list", "train", "--sheet", "ferry.pdf"],
        "ferry.pdf exists already",
    );
    for name in ["ferry", " ", &"x".repeat(61)] {
        yard.refused(&["pick", "--for", "Wren:56", "--list", name], "is no name for a list, or one has it");
    }
    yard.refused(&["pick", "--list", "train"], "no list is named `train`");
    yard.refused(&["dispatch", "--list", "train"], "no list is named `train`");
    yard.refused(&["pick", "--list", "train", "--for", "Gull:56"], "`Gull`");
    yard.make("Tern", "NiMH", "1000 mAh", &["--cells", "3", "--form", "wide"]);
    yard.done(&["player-make", "add", "Lapwing", "--draw", "50 mA", "--form", "wide"]);
    yard.refused(&["pick", "--list", "train", "--for", "Lapwing:56"], "no pack could be picked");
    yard.sandbox.is_sound();
}

#[test]
fn lines_are_ticked_off_by_scanning() {
    let ferry = ferry();
    let yard = &ferry.yard;
    let off = yard.fit(1).remove(0);
    ferry.pick("Wren:56:4");
    // The weakest first, of equal ones the oldest: the late one is not listed.
    let said =
        yard.scan(DISPATCH, &[&off], &[&format!("pack {off} is not on list ferry; nothing is entered")]);
    assert_eq!(said.code, 1);
    let other = yard.player();
    let taken = ferry.list()["lines"].as_array().unwrap()[1]["pack"].as_str().unwrap().to_owned();
    // The player of the pack that rides is enough; another player than the listed one is told, and goes.
    let said = yard.scan(
        DISPATCH,
        &[&ferry.player],
        &[
            "goes out with player",
            "due 2026-12-28",
            "1 of 4 of list ferry are out",
            &format!("Shelf 2: pack {taken}"),
        ],
    );
    assert_eq!(said.code, 0, "{said:?}");
    let seat = ferry.line(&taken)["player"].as_str().map(str::to_owned);
    let says = seat.map_or_else(|| "2 of 4".to_owned(), |seat| format!("the list says player {seat}"));
    yard.scan(DISPATCH, &[&taken, &other], &[&says, "2 of 4 of list ferry are out"]);
    let line = ferry.line(&taken);
    assert_eq!((&line["done"], &line["where"]), (&Value::Bool(true), &Value::from("with the borrower")));
    assert!(line["verdict"].is_null(), "{line}");
    // Gone is gone, and a repeat sends nothing.
    let said = yard.scan(DISPATCH, &[&taken, &other], &["out on a loan"]);
    assert_eq!(said.code, 1);
    yard.done(&["pick", "--list", "ferry", "--sheet", "later.pdf"]);
    let paper = yard.pdf("later.pdf");
    assert!(paper.contains("2 of 4 are out") && paper.matches("[x]").count() == 2, "{paper}");
    // Any other way out ticks a line too.
    let mut seats = ferry.empty.clone();
    for pack in ferry.near.iter().chain(&ferry.far).filter(|pack| **pack != taken) {
        yard.lend(pack, &seats.remove(0));
    }
    assert_eq!(ferry.list()["done"], Value::from(4));
    // Back from its loan it stays ticked.
    yard.sandbox.days(3);
    yard.scan(&["intake"], &[&ferry.player, &ferry.riding], &["MEASURE"]);
    assert_eq!(ferry.list()["done"], Value::from(4));
    yard.sandbox.is_sound();
}

#[test]
fn the_judge_has_the_last_word_on_what_is_listed() {
    let ferry = ferry();
    let yard = &ferry.yard;
    ferry.pick("Wren:56:4");
    let pack = &ferry.far[0];
    yard.scan(&["bench"], &[pack, "swollen"], &["ISOLATE"]);
    let line = ferry.line(pack);
    assert!(line["verdict"] == "isolate" && line["why"].as_str().unwrap().contains("swollen"), "{line}");
    let player = &ferry.empty[0];
    let said = yard.scan(DISPATCH, &[pack, player], &["ISOLATE", "must not go out"]);
    assert_eq!(said.code, 1, "{said:?}");
    // One that is packed for the recycler is no longer where the list says, and does not go out either.
    yard.done(&["consignment", "open", "autumn", "--handler", "Tarn Metals"]);
    yard.scan(&["consignment", "pack"], &[&ferry.near[0], "yes"], &["-> box 1"]);
    yard.scan(DISPATCH, &[&ferry.near[0], player], &["RECYCLE", "must not go out"]);
    assert_eq!(ferry.list()["done"], Value::from(0));
    // What is waste is not picked again.
    let said = yard.sandbox.run(&["pick", "--for", "Wren:56:4", "--json"]);
    assert!(said.code == 1 && !said.out.contains(&ferry.near[0]), "{said:?}");
}

/// A list that was left lying: nothing goes out that would be due already.
#[test]
fn a_list_whose_loans_are_due_by_now_sends_nothing() {
    let ferry = ferry();
    ferry.pick("Wren:5:4");
    ferry.yard.sandbox.days(4);
    ferry.yard.scan(DISPATCH, &[&ferry.player], &["due 2026-11-07"]);
    ferry.yard.sandbox.days(1);
    let words = "by list ferry it is due 2026-11-07, and today is 2026-11-07";
    for lines in [vec![ferry.far[0].as_str()], vec![ferry.empty[0].as_str(), &ferry.far[0]]] {
        let said = ferry.yard.scan(DISPATCH, &lines, &[words]);
        assert!(said.code == 1 && !said.out.contains("goes out"), "{said:?}");
    }
    assert_eq!(ferry.list()["done"], Value::from(1));
}

/// A pack that waits on one list is not picked for another.
#[test]
fn two_lists_share_no_pack() {
    let yard = Yard::new();
    let packs = yard.fit(3);
    for pack in &packs {
        yard.carries(pack);
    }
    let of = |name: &str, wish: &str| -> Vec<String> {
        let said = yard.sandbox.run(&["pick", "--for", wish, "--list", name, "--json"]);
        assert!(said.code <= 1, "{said:?}");
        let list: Value = serde_json::from_str(&said.out).unwrap();
        let lines = list["list"]["lines"].as_array().unwrap();
        lines.iter().map(|line| line["pack"].as_str().unwrap().to_owned()).collect()
    };
    let (one, two) = (of("one", "Wren:56:2"), of("two", "Wren:28:2"));
    assert_eq!((one.len(), two.len()), (2, 1));
    assert!(!one.contains(&two[0]), "{one:?} {two:?}");
}
