//! A whole day at the desks, from tag texts alone: what a person would scan, and what they would read.

use packmuster::domain::command::Command;
use packmuster::domain::finding::{Finding, NoResult, Reason};
use packmuster::domain::tag::{Tag, TagKind};

use crate::sandbox::{Running, Said, Sandbox};

/// The card's tag of a command.
pub(crate) fn card(command: Command) -> String {
    command.tag().unwrap().text().to_owned()
}

/// A number by the card's digits, with its unit.
pub(crate) fn number(digits: &str, unit: Command) -> Vec<String> {
    let digit = |c: char| match c {
        '.' => card(Command::Point),
        c => card(Command::Digit(u8::try_from(c.to_digit(10).unwrap()).unwrap())),
    };
    digits.chars().map(digit).chain([card(unit)]).collect()
}

/// A workshop with two operators, one of whom may overrule.
pub(crate) struct Day {
    pub(crate) sandbox: Sandbox,
    pub(crate) chief: Tag,
    pub(crate) helper: Tag,
}

impl Day {
    pub(crate) fn new() -> Self {
        let sandbox = Sandbox::started();
        let (chief, helper) = (sandbox.tag(TagKind::Operator), sandbox.tag(TagKind::Operator));
        let enrol = |initials: &str, tag: Tag, right: &[&str]| {
            let tag = tag.to_string();
            let said = sandbox.run(&[&["operator", "add", initials, "--tag", &tag], right].concat());
            assert_eq!(said.code, 0, "{said:?}");
        };
        enrol("EB", chief, &["--may-overrule"]);
        enrol("TO", helper, &[]);
        Self { sandbox, chief, helper }
    }

    fn scan(&self, session: &str, lines: &[String]) -> Said {
        let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
        self.sandbox.session(&[session], &lines)
    }

    /// Begins a session that goes on while others work.
    pub(crate) fn begin(&self, session: &str) -> Running {
        self.sandbox.begin(&[session])
    }

    /// Takes a player with a pack in it in; both are adopted.
    pub(crate) fn adopt(&self) -> (Tag, Tag) {
        let (player, pack) = (self.sandbox.tag(TagKind::Player), self.sandbox.tag(TagKind::Pack));
        let said = self.scan("intake", &[player.to_string(), pack.to_string()]);
        assert_eq!(said.code, 0, "{said:?}");
        assert!(said.out.contains(&format!("MEASURE {pack}")), "{}", said.out);
        (player, pack)
    }

    fn read(&self, slot: Tag, pack: Tag, mah: &str) -> Said {
        let said = self.scan("bench", &[slot.to_string(), pack.to_string()]);
        assert_eq!(said.code, 0, "{said:?}");
        self.scan("bench", &[vec![slot.to_string()], number(mah, Command::Mah)].concat())
    }

    pub(crate) fn entries(&self) -> usize {
        self.sandbox.run(&["ledger", "export"]).out.lines().count()
    }

    pub(crate) fn loans(&self) -> usize {
        let kind = |line: &str| serde_json::from_str::<serde_json::Value>(line).unwrap()["kind"] == "loan";
        self.sandbox.run(&["ledger", "export"]).out.lines().filter(|line| kind(line)).count()
    }
}

#[test]
fn a_day_from_tag_texts_alone() {
    let day = Day::new();
    let (player, pack) = day.adopt();
    let slot = day.sandbox.tag(TagKind::Slot);

    // The bench: a result by digits, and the verdict follows at once.
    let said = day.read(slot, pack, "812");
    assert_eq!(said.code, 0, "{said:?}");
    assert!(said.out.contains(&format!("FIT {pack} Kestrel 1100, 19.98 h of play")), "{}", said.out);
    assert!(said.out.contains("limit 650 mAh; 162 mAh to spare"), "{}", said.out);

    // Dispatch: operator, due date by digits, pack, player.
    let mut lines = vec![day.chief.text().to_owned()];
    lines.extend(number("8", Command::Weeks));
    lines.extend([pack.text().to_owned(), player.text().to_owned()]);
    let said = day.scan("dispatch", &lines);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(said.out.contains("operator EB, may overrule"), "{}", said.out);
    assert!(said.out.contains(&format!("goes out with player {player}, due 2026-12-28")), "{}", said.out);
    assert_eq!(day.loans(), 1);

    // It comes back with the player's hours, and a finding.
    day.sandbox.days(20);
    let mut lines = vec![player.to_string()];
    lines.extend(number("37.5", Command::PlayerHours));
    lines.extend([pack.to_string(), card(Command::Finding(Finding::CorrodedContacts)), card(Command::End)]);
    lines.push("after the end nothing is read".to_owned());
    let said = day.scan("intake", &lines);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(said.out.contains("1.385 cycles by the player's 37.5 h"), "{}", said.out);
    assert!(said.out.contains("corroded contacts"), "{}", said.out);
    assert!(said.out.contains("no reading since it came back"), "{}", said.out);
    assert!(!said.out.contains("after the end"));

    // Undo takes the finding back, then the return; the loan is open again.
    let said = day.scan("intake", &[card(Command::Undo), card(Command::Undo)]);
    assert_eq!(said.out.matches("taken back:").count(), 2, "{}", said.out);
    let shown = day.sandbox.run(&["show", player.text()]);
    assert!(shown.out.contains("out since 2026-11-0"), "{}", shown.out);
    day.sandbox.is_sound();
}

#[test]
fn a_refusal_enters_no_loan_and_can_be_overruled_only_by_right_and_with_a_reason() {
    let day = Day::new();
    let (player, pack) = day.adopt();
    let due = number("6", Command::Weeks);
    let pair = vec![pack.text().to_owned(), player.text().to_owned()];

    let said = day.scan("dispatch", &[due.clone(), pair.clone()].concat());
    assert_eq!(said.code, 1, "{said:?}");
    assert!(
        said.out.contains(&format!("MEASURE {pack}")) && said.out.contains("must not go out"),
        "{}",
        said.out
    );
    assert_eq!(day.loans(), 0);

    // Nobody, and somebody without the right.
    let overrule = vec![card(Command::Overrule), card(Command::Reason(Reason::ShortLoan))];
    let said = day.scan("dispatch", &[due.clone(), pair.clone(), overrule.clone()].concat());
    assert!(said.out.contains("nobody is signed on"), "{}", said.out);
    let helper = vec![day.helper.text().to_owned()];
    let said = day.scan("dispatch", &[helper, due.clone(), pair.clone(), overrule.clone()].concat());
    assert!(said.out.contains("TO may not overrule"), "{}", said.out);
    assert_eq!(day.loans(), 0);

    let chief = vec![day.chief.text().to_owned()];
    let said = day.scan("dispatch", &[chief.clone(), due.clone(), pair, overrule].concat());
    assert!(said.out.contains("overruled by EB: short loan; this stays in the record"), "{}", said.out);
    assert_eq!(day.loans(), 1);
    let shown = day.sandbox.run(&["show", pack.text()]);
    assert!(shown.out.contains("MEASURE overruled: short loan [EB]"), "{}", shown.out);

    // A typed reason stays in the record as well; a dangerous pack stays here whoever asks.
    let (player, pack) = day.adopt();
    let pair = vec![pack.text().to_owned(), player.text().to_owned()];
    let typed = vec!["overrule".to_owned(), "the ferry leaves in ten minutes".to_owned(), "undo".to_owned()];
    let said = day.scan("dispatch", &[chief.clone(), due.clone(), pair.clone(), typed].concat());
    assert!(said.out.contains("overruled by EB: the ferry leaves in ten minutes"), "{}", said.out);
    assert!(said.out.contains("taken back:"), "{}", said.out);

    let found = day.scan("bench", &[pack.text().to_owned(), card(Command::Finding(Finding::Swollen))]);
    assert_eq!(found.code, 1, "{found:?}");
    assert!(found.out.contains("ISOLATE") && found.out.contains("Do not charge"), "{}", found.out);
    let said = day.scan("dispatch", &[chief, due, pair, vec![card(Command::Overrule)]].concat());
    assert!(said.out.contains("ISOLATE cannot be overruled: it may be dangerous"), "{}", said.out);
    assert_eq!(day.loans(), 2, "two were ever entered, one of them taken back");
    day.sandbox.is_sound();
}

#[test]
fn identity_and_safety_notices_cannot_be_overruled() {
    let day = Day::new();
    let (player, pack) = day.adopt();
    let slot = day.sandbox.tag(TagKind::Slot);
    day.read(slot, pack, "812");
    let chief = vec![day.chief.text().to_owned()];
    let due = number("6", Command::Weeks);
    let pair = |player: Tag| vec![pack.text().to_owned(), player.text().to_owned()];
    let overrule = vec![card(Command::Overrule)];

    let issued = day.sandbox.run(&["notice", "issue", "--make", "Kestrel 1100", "cells may leak"]);
    assert_eq!(issued.code, 0, "{issued:?}");
    let said = day.scan("dispatch", &[chief.clone(), due.clone(), pair(player), overrule.clone()].concat());
    assert!(said.out.contains("under a safety notice: cells may leak"), "{}", said.out);
    assert!(said.out.contains("cannot be overruled"), "{}", said.out);
    let listed = day.sandbox.run(&["notice", "list", "--json"]);
    let listed: serde_json::Value = serde_json::from_str(&listed.out).unwrap();
    let notice = listed["notices"][0]["notice"].as_str().unwrap().to_owned();
    assert_eq!(day.sandbox.run(&["notice", "lift", &notice]).code, 0);

    // A player of another form.
    let made = day.sandbox.run(&["player-make", "add", "Lapwing", "--draw", "50 mA", "--form", "wide"]);
    assert_eq!(made.code, 0);
    let other = day.sandbox.tag(TagKind::Player);
    let said = day.sandbox.session(&["intake", "--player-make", "Lapwing"], &[other.text()]);
    assert_eq!(said.code, 0, "{said:?}");
    let said = day.scan("dispatch", &[chief, due, pair(other), overrule].concat());
    assert!(said.out.contains("WAIT") && said.out.contains("Lapwing takes wide"), "{}", said.out);
    assert!(said.out.contains("cannot be overruled: the ledger and the thing disagree"), "{}", said.out);
    assert_eq!(day.loans(), 0);
}

#[test]
fn every_slip_has_a_clear_answer_and_a_way_on() {
    let day = Day::new();
    let (player, pack) = day.adopt();
    let fresh = day.sandbox.tag(TagKind::Pack);
    let before = day.entries();
    let answers = |session: &str, lines: &[String], expected: &[&str]| {
        let said = day.scan(session, lines);
        for text in expected {
            assert!(said.out.contains(text), "`{text}` is missing from\n{}", said.out);
        }
        said
    };
    // The same tag twice, a wrong kind, an unknown code, a mistyped one, a unit without a number.
    let mut typo = player.text().to_owned();
    typo.replace_range(5..6, if typo.as_bytes()[5] == b'2' { "3" } else { "2" });
    let said = answers(
        "intake",
        &[
            player.text().to_owned(),
            player.text().to_owned(),
            day.sandbox.tag(TagKind::Slot).to_string(),
            "4006381333931".to_owned(),
            typo.clone(),
            card(Command::Weeks),
            card(Command::No),
        ],
        &[
            "the same player again",
            "a slot is not expected at intake",
            "nothing is known by `4006381333931`",
            &format!("`{typo}` is mistyped"),
            "a unit without a number",
            "is left as it was",
        ],
    );
    assert_eq!(said.code, 2);
    assert_eq!(day.entries(), before, "nothing was written");

    // A worn tag is replaced; the old one says so from then on.
    let lines =
        [pack.text().to_owned(), card(Command::Replace), fresh.text().to_owned(), pack.text().to_owned()];
    answers("bench", &lines, &[&format!("the pack now wears {fresh}"), "this tag was replaced"]);
    assert!(day.sandbox.run(&["show", fresh.text()]).out.contains("retired"));

    // An implausible reading is asked for again before it counts.
    let slot = day.sandbox.tag(TagKind::Slot);
    let said = day.read(slot, fresh, "8120");
    assert_eq!(said.code, 1);
    assert!(said.out.contains("8120 mAh is over 130 % of the rated 1100 mAh"), "{}", said.out);
    assert!(said.err.contains("was not confirmed"), "{}", said.err);
    let lines = [vec![slot.text().to_owned()], number("20", Command::Mah), vec![card(Command::Yes)]].concat();
    answers("bench", &lines, &["under 5 % of the rated", "read 20 mAh", "RECONDITION"]);

    // A slot that is taken, a run without a result, a round, a charge.
    let (_, other) = day.adopt();
    let lines =
        [slot.text().to_owned(), fresh.text().to_owned(), slot.text().to_owned(), other.text().to_owned()];
    answers("bench", &lines, &["still holds pack"]);
    let lines = [slot.text().to_owned(), card(Command::NoResult(NoResult::PowerCut)), card(Command::Round)];
    answers("bench", &lines, &["no result from slot 1: power cut", "a round of 3 cycles"]);
    answers("bench", &[fresh.text().to_owned(), card(Command::Charged)], &["no reading since the round"]);

    // A due date in the past, and one too far away.
    answers(
        "dispatch",
        &["2020-01-01".to_owned(), "2099-01-01".to_owned()],
        &["is not after today", "longest loan"],
    );
    // Undo at a desk that has done nothing.
    let said = day.sandbox.run(&["undo", "--desk", "another"]);
    assert_eq!(said.code, 1, "{said:?}");
    day.sandbox.is_sound();
}

#[test]
fn a_pack_that_was_scanned_again_elsewhere_is_not_undone() {
    let day = Day::new();
    let (_, pack) = day.adopt();
    let said = day.sandbox.session(&["bench", "--desk", "two"], &[pack.text(), "charged"]);
    assert_eq!(said.code, 0);
    let said = day.sandbox.run(&["undo"]);
    assert_eq!(said.code, 1, "{said:?}");
    let told = said.err.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(told.contains("pack was scanned again since, at desk two"), "{told}");
}

#[test]
fn a_mismatch_is_asked_about_and_never_guessed() {
    let day = Day::new();
    let (player, pack) = day.adopt();
    let (other_player, other) = day.adopt();
    let slot = day.sandbox.tag(TagKind::Slot);
    for (player, pack) in [(player, pack), (other_player, other)] {
        day.read(slot, pack, "900");
        let said = day.sandbox.run(&["dispatch", "--for", "8 weeks", pack.text(), player.text()]);
        assert_eq!(said.code, 0, "{said:?}");
    }
    day.sandbox.days(5);
    let said = day.scan("intake", &[player.text().to_owned(), other.text().to_owned()]);
    assert_eq!(said.code, 1, "{said:?}");
    assert!(said.out.contains(&format!("should carry pack {pack}, and this is another")), "{}", said.out);
    let lines = [player.text().to_owned(), other.text().to_owned(), card(Command::Yes)];
    let said = day.scan("intake", &lines);
    assert!(
        said.out.contains(&format!("pack {pack} was not in it: its whereabouts are unknown")),
        "{}",
        said.out
    );
    let shown = day.sandbox.run(&["show", pack.text()]).out;
    assert!(shown.contains("missing since"), "{shown}");
    // Nothing is assumed about the other player: its loan is open, and its pack is here.
    let shown = day.sandbox.run(&["show", other_player.text()]).out;
    assert!(shown.contains("out since"), "{shown}");
    let review = day.sandbox.run(&["review"]).out;
    assert!(review.contains("whereabouts unknown"), "{review}");
    day.sandbox.is_sound();
}

#[test]
fn a_carton_waits_for_its_sample_and_one_short_pack_has_all_measured() {
    let day = Day::new();
    let tags: Vec<Tag> = (0..8).map(|_| day.sandbox.tag(TagKind::Pack)).collect();
    let mut lines: Vec<String> = tags.iter().map(|tag| tag.text().to_owned()).collect();
    lines.insert(1, "4006381333931".to_owned());
    let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
    let said = day
        .sandbox
        .session(&["receive", "--lot", "A", "--cartons", "1", "--count", "8", "--ref", "PO"], &lines);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(said.out.contains("`4006381333931` is bound to pack"), "{}", said.out);
    assert!(said.out.contains("0 of 6 sample packs read. Measure 6 packs more of its"), "{}", said.out);
    assert!(day.sandbox.run(&["judge", "4006381333931"]).out.starts_with("WAIT"));
    let read = |tag: Tag, mah: &str| day.sandbox.session(&["bench"], &[tag.text(), mah]).out;
    for tag in &tags[..5] {
        assert!(read(*tag, "1100").contains("WAIT"));
    }
    let last = read(tags[5], "1100");
    assert!(last.contains("FIT"), "{last}");
    assert!(day.sandbox.run(&["judge", tags[0].text()]).out.starts_with("FIT"));
    // The policy wants a reading each: the unread ones are measured.
    assert!(day.sandbox.run(&["judge", tags[6].text()]).out.starts_with("MEASURE"));
    // One of a further carton falls short: every pack of it is measured.
    let more: Vec<Tag> = (0..8).map(|_| day.sandbox.tag(TagKind::Pack)).collect();
    let lines: Vec<&str> = more.iter().map(Tag::text).collect();
    day.sandbox.session(&["receive", "--lot", "B", "--cartons", "1", "--count", "8"], &lines);
    read(more[0], "999");
    let said = day.sandbox.run(&["judge", more[1].text()]).out;
    assert!(
        said.starts_with("MEASURE") && said.contains("fell short: 1 of 1 read are below 1000 mAh"),
        "{said}"
    );
    day.sandbox.is_sound();
}

/// The loop through the real thing: a roll of tags is printed, rasterised by poppler, and the picture files are scanned where a
/// code could stand.
#[test]
fn printed_tags_are_scanned_from_picture_files() {
    let day = Day::new();
    let sandbox = &day.sandbox;
    let mut codes = Vec::new();
    for kind in ["player", "pack"] {
        let out = format!("{kind}.pdf");
        let args = ["tags", "print", kind, "--sheet", "roll-50x25", "--count", "1", "--out", &out, "--json"];
        let said = sandbox.run(&args);
        assert_eq!(said.code, 0, "{said:?}");
        let printed: serde_json::Value = serde_json::from_str(&said.out).unwrap();
        codes.push(printed["tags"][0].as_str().unwrap().to_owned());
        let raster = std::process::Command::new("pdftoppm")
            .args(["-r", "200", "-png", "-singlefile", &out, kind])
            .current_dir(sandbox.path())
            .status()
            .expect("poppler is needed: tests/run installs it");
        assert!(raster.success());
    }
    let said = sandbox.run(&["intake", "player.png", "pack.png"]);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(said.out.contains("player.png: 1 read, 0 seen but not read"), "{}", said.out);
    assert!(said.out.contains(&format!("player {} is new", codes[0])), "{}", said.out);
    assert!(said.out.contains(&format!("MEASURE {}", codes[1])), "{}", said.out);
    // A file that is no picture is an answer, not an end.
    std::fs::write(sandbox.path().join("broken.png"), "no picture").unwrap();
    let said = sandbox.run(&["intake", "broken.png", codes[0].as_str(), "no"]);
    assert_eq!(said.code, 2);
    assert!(said.out.contains("is left as it was"), "{}", said.out);
}

#[test]
fn a_player_whose_pack_is_known_goes_out_by_its_own_tag() {
    let day = Day::new();
    let (player, pack) = day.adopt();
    day.read(day.sandbox.tag(TagKind::Slot), pack, "900");
    // The fit pack goes back into the player at intake, and is judged before it goes in.
    let said = day.scan("intake", &[player.text().to_owned(), pack.text().to_owned()]);
    assert!(said.out.contains(&format!("now in player {player}")), "{}", said.out);
    let said = day.sandbox.run(&["dispatch", "--due", "2026-12-20", player.text()]);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(said.out.contains(&format!("FIT {pack}")) && said.out.contains("due 2026-12-20"), "{}", said.out);
    // Out is out: a second dispatch says why not.
    let said = day.sandbox.run(&["dispatch", "--due", "2026-12-20", player.text()]);
    assert_eq!(said.code, 1);
    assert!(said.out.contains("out on a loan"), "{}", said.out);
    assert_eq!(day.loans(), 1);
}

/// Somebody with the right scans OVERRULE; whoever gives the reason must have it too.
#[test]
fn the_right_to_overrule_is_asked_for_again_when_the_reason_is_given() {
    let day = Day::new();
    let (player, pack) = day.adopt();
    let mut lines = vec![day.chief.text().to_owned()];
    lines.extend(number("6", Command::Weeks));
    lines.extend([pack.text().to_owned(), player.text().to_owned(), card(Command::Overrule)]);
    lines.extend([day.helper.text().to_owned(), card(Command::Reason(Reason::ShortLoan))]);
    let said = day.scan("dispatch", &lines);
    assert_eq!(day.loans(), 0, "{}", said.out);
    assert!(said.out.contains("whoever is signed on now may not overrule"), "{}", said.out);
}

/// A carton that came short is sampled by what it holds: it does not wait for packs that never came.
#[test]
fn a_carton_that_came_short_does_not_wait_for_ever() {
    let day = Day::new();
    let tags: Vec<Tag> = (0..4).map(|_| day.sandbox.tag(TagKind::Pack)).collect();
    let carton = card(Command::NextCarton);
    let mut lines: Vec<&str> = tags.iter().map(Tag::text).collect();
    lines.push(&carton);
    let said = day.sandbox.session(&["receive", "--lot", "A", "--cartons", "1", "--count", "48"], &lines);
    assert_eq!(said.code, 0, "{said:?}");
    for tag in &tags {
        day.sandbox.session(&["bench"], &[tag.text(), "1100"]);
    }
    for tag in &tags {
        assert!(day.sandbox.run(&["judge", tag.text()]).out.starts_with("FIT"));
    }
    day.sandbox.is_sound();
}
