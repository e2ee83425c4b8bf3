//! What holds after any history: rebuilt projections equal live ones, the chain is sound, the past stays as it was, and no
//! sequence of scans leaves a pack in two players.

use std::cell::Cell;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::rc::Rc;

use packmuster::app::bench::{self, Bench};
use packmuster::app::correct::{self, Right};
use packmuster::app::desk::Desk;
use packmuster::app::dispatch::Dispatch;
use packmuster::app::error::AppError;
use packmuster::app::intake::{Intake, Makes};
use packmuster::app::receive::{Delivery, Receive};
use packmuster::app::session::{Here, Session, Work};
use packmuster::app::{join, loan, notice, people, setup};
use packmuster::domain::facts::{Facts, PlayerFacts, SlotFacts};
use packmuster::domain::finding::NoResult;
use packmuster::domain::ids::{Thing, ThingKind};
use packmuster::domain::make::{Chemistry, PackMake, PlayerMake};
use packmuster::domain::moment::{Moment, day_after};
use packmuster::domain::pack::PackFacts;
use packmuster::domain::tag::{Tag, TagKind};
use packmuster::domain::units::{Draw, MilliampHours, Millivolts};
use packmuster::domain::verdict::Verdict;
use packmuster::ledger::entry::clock_before;
use packmuster::ledger::{Ledger, LedgerError};
use packmuster::policy::template::Answers;
use proptest::prelude::{ProptestConfig, Strategy, any, prop_oneof, proptest};
use proptest::{collection, sample};
use rand::SeedableRng;
use rand_chacha::ChaCha12Rng;

use super::format;

const SITES: [&str; 3] = ["North", "South", "East"];

/// One thing that somebody does.
#[derive(Debug, Clone)]
enum Deed {
    /// A line scanned in one of the sessions.
    Scan(Room, String),
    /// A session is begun anew.
    Leave(Room),
    /// Hours go by.
    Later(i64),
    /// The next deeds are another site's.
    Site(usize),
    /// The next deeds are another desk's.
    Desk(usize),
    /// A safety notice on the make, or its end.
    Notice(bool),
    /// A loan that is out changes: renewed, mended, complained of, given up.
    Loan(u8, usize),
    /// Two records turn out to be one pack.
    Join(usize, usize),
    /// An entry, so many before the last, was wrong.
    Correct(u64, u8),
    /// The power was off.
    PowerCut,
    /// A raw event, whatever it says.
    Raw(usize),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Room {
    Intake,
    Bench,
    Dispatch,
    Receive,
}

/// The tags that histories play with: few, so that they meet.
fn tags(kind: TagKind) -> Vec<String> {
    let mut random = ChaCha12Rng::seed_from_u64(u64::from(u32::from(kind.letter())));
    (0..5).map(|_| Tag::draw(kind, &mut random).text().to_owned()).collect()
}

fn some_deeds() -> impl Strategy<Value = Vec<Deed>> {
    let room = sample::select(vec![Room::Intake, Room::Bench, Room::Dispatch, Room::Receive]);
    let code = |kind| sample::select(tags(kind));
    let words = sample::select(vec![
        "undo",
        "yes",
        "no",
        "end",
        "enter",
        "charged",
        "round",
        "carton",
        "replace",
        "overrule",
        "swollen",
        "leaking",
        "corroded",
        "cutout",
        "powercut",
        "takenout",
        "sloterror",
        "refused",
        "nopack",
        "unreadable",
        "serviced",
        "adapter",
        "8 weeks",
        "20 h",
        "2026-12-24",
        "7",
        "mah",
        "noother",
        "junk",
        "4006381333931",
    ]);
    let line = prop_oneof![
        6 => code(TagKind::Pack),
        4 => code(TagKind::Player),
        3 => code(TagKind::Slot),
        1 => code(TagKind::Operator),
        1 => code(TagKind::Place),
        4 => words.prop_map(str::to_owned),
        3 => (100_u32..1600).prop_map(|mah| format!("{mah} mAh")),
        1 => (code(TagKind::Pack), code(TagKind::Player)).prop_map(|(one, other)| one + &other),
    ];
    let deed = prop_oneof![
        30 => (room.clone(), line).prop_map(|(room, line)| Deed::Scan(room, line)),
        2 => room.prop_map(Deed::Leave),
        4 => (1_i64..3000).prop_map(Deed::Later),
        1 => (0_usize..3).prop_map(Deed::Site),
        1 => (0_usize..2).prop_map(Deed::Desk),
        1 => any::<bool>().prop_map(Deed::Notice),
        2 => (0_u8..4, 0_usize..5).prop_map(|(what, player)| Deed::Loan(what, player)),
        1 => (0_usize..5, 0_usize..5).prop_map(|(one, other)| Deed::Join(one, other)),
        3 => (0_u64..40, 0_u8..7).prop_map(|(back, what)| Deed::Correct(back, what)),
        1 => (0_u8..1).prop_map(|_| Deed::PowerCut),
    ];
    // Somebody who sees a weak pack through: read, reconditioned, read again.
    let weak = code(TagKind::Pack).prop_map(|pack| {
        let lines = [pack.as_str(), "420 mAh", "yes", "round", "430 mAh", "yes"];
        let scans = lines.map(|line| Deed::Scan(Room::Bench, line.to_owned()));
        [Deed::Leave(Room::Bench)].into_iter().chain(scans).collect()
    });
    // One that is read, goes out with a player, and comes back, often with another.
    let scans = |room, lines: &[&str]| -> Vec<Deed> {
        lines.iter().map(|line| Deed::Scan(room, (*line).to_owned())).collect()
    };
    let fresh = |room| vec![Deed::Later(1), Deed::Leave(room)];
    let lent = (code(TagKind::Pack), code(TagKind::Player)).prop_map(move |(pack, player)| {
        let (read, out) = ([pack.as_str(), "900 mAh", "yes"], ["8 weeks", pack.as_str(), player.as_str()]);
        let bench = scans(Room::Bench, &read);
        [fresh(Room::Bench), bench, fresh(Room::Dispatch), scans(Room::Dispatch, &out)].concat()
    });
    let back = (code(TagKind::Player), code(TagKind::Pack)).prop_map(move |(player, pack)| {
        [fresh(Room::Intake), scans(Room::Intake, &[player.as_str(), pack.as_str(), "yes"])].concat()
    });
    prop_oneof![40 => deed.prop_map(|deed| vec![deed]), 1 => weak, 4 => lent, 2 => back]
}

fn deeds() -> impl Strategy<Value = Vec<Deed>> {
    collection::vec(some_deeds(), 1..100).prop_map(|deeds: Vec<Vec<Deed>>| deeds.concat())
}

/// A day that works out, before anything else happens: so that histories get somewhere.
fn opening() -> Vec<Deed> {
    let (packs, players, slots) = (tags(TagKind::Pack), tags(TagKind::Player), tags(TagKind::Slot));
    let scan = |room, line: &str| Deed::Scan(room, line.to_owned());
    vec![
        scan(Room::Intake, &players[0]),
        scan(Room::Intake, &packs[0]),
        Deed::Later(1),
        scan(Room::Bench, &slots[0]),
        scan(Room::Bench, &packs[0]),
        scan(Room::Bench, "900 mAh"),
        scan(Room::Dispatch, "8 weeks"),
        scan(Room::Dispatch, &packs[0]),
        scan(Room::Dispatch, &players[0]),
        Deed::Later(700),
    ]
}

struct World {
    ledger: Ledger,
    desks: Vec<Desk>,
    desk: usize,
    clock: Rc<Cell<Moment>>,
    intake: Session<Intake>,
    bench: Session<Bench>,
    dispatch: Session<Dispatch>,
    receive: Session<Receive>,
    /// Verdicts that were given.
    verdicts: BTreeSet<Verdict>,
    /// Kinds of entries that were corrected.
    corrected: BTreeSet<&'static str>,
}

fn intake() -> Session<Intake> {
    Session::new(Intake::new(Makes::default()))
}

impl World {
    fn begin(folder: &Path) -> Self {
        let clock = Rc::new(Cell::new(Moment::from_millis(1_793_600_000_000)));
        let mut desks: Vec<Desk> = (0..2_u64)
            .map(|number| {
                let looks = Rc::clone(&clock);
                let random = ChaCha12Rng::seed_from_u64(number);
                Desk::new(format!("desk {number}"), random, Box::new(move || looks.get()))
            })
            .collect();
        let answers =
            Answers { rest: "cartons-word", sample: 2, rounds: (1, 1), ..Answers::for_promise("x", "16") };
        let beginning = setup::Beginning {
            site: SITES[0].into(),
            zone: "UTC".into(),
            policy: answers.text(),
            player: PlayerMake { name: "Wren".into(), draw: Draw::new(40_625), form: "slim".into() },
            pack: PackMake {
                name: "Kestrel 1100".into(),
                chemistry: Chemistry::NiMh,
                rated: MilliampHours::new(1100),
                nominal: Millivolts::new(3600),
                cells: 3,
                mass: None,
                end: Millivolts::new(3000),
                max_resistance: None,
                form: "slim".into(),
            },
        };
        let mut ledger = setup::begin(&folder.join("l.muster"), &mut desks[0], &beginning).unwrap();
        for site in &SITES[1..] {
            setup::open_site(&mut ledger, &mut desks[0], site, "UTC").unwrap();
        }
        ledger.write_for(Some(SITES[0])).unwrap();
        for (number, desk) in desks.iter_mut().enumerate() {
            let initials = format!("O{number}");
            let mut here = Here { ledger: &mut ledger, desk };
            people::enrol(&mut here, &initials, number == 0, None).unwrap();
            desk.operator = Some(people::operator(&mut ledger, &initials).unwrap());
        }
        for (code, tray) in tags(TagKind::Place).iter().zip([Verdict::Fit, Verdict::Measure]) {
            let mut here = Here { ledger: &mut ledger, desk: &mut desks[0] };
            setup::add_place(&mut here, &format!("tray {tray}"), Some(tray), Some(code)).unwrap();
        }
        let delivery = Delivery {
            make: None,
            lot: "L".into(),
            supplier_ref: String::new(),
            cartons: 2,
            count: 3,
            made: None,
        };
        let (receive, _) =
            Receive::begin(&mut Here { ledger: &mut ledger, desk: &mut desks[0] }, &delivery).unwrap();
        Self {
            ledger,
            desks,
            desk: 0,
            clock,
            intake: intake(),
            bench: Session::new(Bench::default()),
            dispatch: Session::new(Dispatch::default()),
            receive: Session::new(receive),
            verdicts: BTreeSet::new(),
            corrected: BTreeSet::new(),
        }
    }

    fn do_it(&mut self, deed: &Deed) {
        self.clock.set(self.clock.get().plus_millis(1500));
        let desk = &mut self.desks[self.desk];
        let ledger = &mut self.ledger;
        match deed {
            Deed::Scan(room, line) => {
                fn one<W: Work>(
                    session: &mut Session<W>,
                    ledger: &mut Ledger,
                    desk: &mut Desk,
                    line: &str,
                ) -> Option<Verdict> {
                    match session.scan(ledger, desk, line) {
                        Ok(answer) => {
                            let silent = answer.text.iter().all(String::is_empty) && answer.verdict.is_none();
                            assert!(
                                answer.ends || !answer.next.is_empty(),
                                "no way on after {line}: {answer:?}"
                            );
                            assert!(!silent, "no answer to {line}");
                            answer.verdict.map(|told| told.verdict)
                        }
                        Err(AppError::Input { hint, .. }) => {
                            assert!(!hint.is_empty());
                            None
                        }
                        Err(error) => panic!("{line}: {error}"),
                    }
                }
                let verdict = match room {
                    Room::Intake => one(&mut self.intake, ledger, desk, line),
                    Room::Bench => one(&mut self.bench, ledger, desk, line),
                    Room::Dispatch => one(&mut self.dispatch, ledger, desk, line),
                    Room::Receive => one(&mut self.receive, ledger, desk, line),
                };
                self.verdicts.extend(verdict);
            }
            Deed::Leave(Room::Intake) => self.intake = intake(),
            Deed::Leave(Room::Bench) => self.bench = Session::new(Bench::default()),
            Deed::Leave(_) => self.dispatch = Session::new(Dispatch::default()),
            Deed::Later(hours) => self.clock.set(self.clock.get().plus_millis(hours * 3_600_000)),
            Deed::Site(site) => ledger.write_for(Some(SITES[*site])).unwrap(),
            Deed::Desk(desk) => self.desk = *desk,
            Deed::Notice(issue) => {
                let mut here = Here { ledger, desk };
                if *issue {
                    let covers =
                        notice::Named { make: Some("Kestrel 1100".into()), ..notice::Named::default() };
                    notice::issue(&mut here, &covers, Verdict::Wait, "a notice").unwrap();
                } else {
                    for (id, facts) in notice::list(here.ledger).unwrap() {
                        if !facts.lifted {
                            notice::lift(&mut here, &id.to_string()).unwrap();
                        }
                    }
                }
            }
            Deed::Loan(what, player) => {
                let player = &tags(TagKind::Player)[*player];
                let today = desk.now().day(ledger.zone());
                let mut here = Here { ledger, desk };
                refused(match what {
                    0 => loan::due(&mut here, player, day_after(today, 40), true),
                    1 => loan::due(&mut here, player, day_after(today, 2), false),
                    2 => loan::complain(&mut here, player, None),
                    _ => loan::write_off(&mut here, player),
                });
            }
            Deed::Join(one, other) => {
                let packs = tags(TagKind::Pack);
                refused(join::join(&mut Here { ledger, desk }, &packs[*one], &packs[*other]));
            }
            Deed::Correct(back, what) => {
                let writer = ledger.own().unwrap().writer.to_string();
                let heads = ledger.heads_until(i64::MAX).unwrap();
                let head =
                    heads.into_iter().find(|(name, ..)| *name == writer).map_or(0, |(_, number, _)| number);
                let code = |kind| tags(kind)[usize::from(*what) % 5].clone();
                let pack = correct::pack(ledger, &code(TagKind::Pack)).ok();
                let player = correct::player(ledger, &code(TagKind::Player)).ok();
                let right = match what {
                    0 => Right { nothing: true, ..Right::default() },
                    1 => Right { capacity: Some(MilliampHours::new(555)), ..Right::default() },
                    2 => Right { at: Some(desk.now().plus_days(-3)), ..Right::default() },
                    3 | 4 => Right { pack, ..Right::default() },
                    5 => Right { player, ..Right::default() },
                    _ => Right { make: Some("Kestrel 1100".into()), ..Right::default() },
                };
                // Half of the time the ride or loan that lies so far back, else the entry.
                let own = ledger.own().unwrap().writer;
                let lent = |number: &u64| {
                    let entry = ledger.entry_at(own, *number).unwrap();
                    let kinds =
                        ["install", "remove", "use", "loan", "return", "due", "complaint", "write_off"];
                    entry.is_some_and(|entry| kinds.contains(&entry.event.kind()))
                };
                let ride = (head.saturating_sub(300)..head)
                    .rev()
                    .filter(lent)
                    .nth(usize::try_from(back / 2).unwrap());
                let entry = ride.filter(|_| back % 2 == 0).unwrap_or(head.saturating_sub(*back)).to_string();
                match correct::correct(&mut Here { ledger, desk }, &entry, &right, "mistyped") {
                    Ok(done) => self.corrected.extend(done.entries.iter().map(|mended| mended.kind)),
                    refusal => refused(refusal),
                }
            }
            Deed::PowerCut => {
                refused(bench::end_all(&mut Here { ledger, desk }, NoResult::PowerCut));
            }
            Deed::Raw(number) => {
                let examples = format::examples();
                let event = examples[number % examples.len()].clone();
                // What the settings need must stay readable: a raw policy or site would end the history.
                if !matches!(event.kind(), "policy" | "site" | "writer" | "void") {
                    desk.record(ledger, vec![event]).unwrap();
                }
            }
        }
    }

    /// Everybody leaves; the next scans are other people's.
    fn leave(&mut self) {
        self.do_it(&Deed::Leave(Room::Intake));
        self.do_it(&Deed::Leave(Room::Bench));
        self.do_it(&Deed::Leave(Room::Dispatch));
    }

    fn everything(&mut self) -> BTreeMap<(ThingKind, u128), Facts> {
        let mut all = BTreeMap::new();
        for kind in ThingKind::ALL {
            for (thing, facts) in self.ledger.all(kind).unwrap() {
                all.insert((kind, thing.id.as_u128()), facts);
            }
        }
        all
    }

    /// Live equals rebuilt, and the check says so.
    fn is_sound(&mut self) {
        let report = self.ledger.check(|_| {}).unwrap();
        assert!(report.is_sound(), "{:?}", report.faults);
        let live = self.everything();
        self.ledger.rebuild(|_| {}).unwrap();
        assert_eq!(live, self.everything());
        let report = self.ledger.check(|_| {}).unwrap();
        assert!(report.is_sound(), "{:?}", report.faults);
    }

    /// No pack rides in two players, no player holds two packs, no loan is open without its player.
    fn adds_up(&mut self) {
        let mut holders: BTreeMap<Thing, Thing> = BTreeMap::new();
        let mut lent = BTreeSet::new();
        let mut running = BTreeMap::new();
        for (thing, facts) in self.ledger.all(ThingKind::Player).unwrap() {
            let player = PlayerFacts::try_from(facts).unwrap();
            if let Some((_, pack)) = player.ride {
                assert!(holders.insert(pack.into(), thing).is_none(), "a pack in two players");
            }
            lent.extend(player.loan.map(|(loan, ..)| loan));
        }
        for (thing, facts) in self.ledger.all(ThingKind::Pack).unwrap() {
            let pack = PackFacts::try_from(facts).unwrap();
            if pack.joined.is_some() {
                assert!(!holders.contains_key(&thing), "a player holds a record that belongs to another");
                continue;
            }
            assert_eq!(pack.ride.map(|ride| Thing::from(ride.player)), holders.get(&thing).copied());
            if let Some(loan) = pack.loan {
                assert!(lent.contains(&loan.loan), "an open loan without a player");
            }
            if let Some(run) = pack.run {
                assert!(running.insert((run.run, thing), run.slot).is_none());
            }
        }
        for (thing, facts) in self.ledger.all(ThingKind::Slot).unwrap() {
            let slot = SlotFacts::try_from(facts).unwrap();
            let Some((run, pack, _)) = slot.run else { continue };
            let pack = self.ledger.joined_to(pack).unwrap();
            assert_eq!(
                running.remove(&(run, pack.into())).map(Thing::from),
                Some(thing),
                "a slot without its pack"
            );
        }
        assert!(running.is_empty(), "a pack in a slot that does not hold it");
    }
}

/// What cannot be done is refused in words, with a way on.
fn refused<T>(done: Result<T, AppError>) {
    match done {
        Ok(_) => {}
        Err(AppError::Input { text, hint }) => assert!(!text.is_empty() && !hint.is_empty()),
        Err(error) => panic!("{error}"),
    }
}

/// Ten thousand sequences of scans, one after the other on ledgers that go on, over tags of all kinds.
#[test]
fn no_sequence_of_scans_leaves_what_cannot_be() {
    use proptest::strategy::ValueTree as _;
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let strategy = collection::vec(some_deeds(), 1..10).prop_map(|deeds| deeds.concat());
    let (mut joined, mut corrected) = (0, BTreeSet::new());
    for _ in 0..100 {
        let folder = tempfile::tempdir().unwrap();
        let mut world = World::begin(folder.path());
        world.ledger.gather().unwrap();
        for _ in 0..100 {
            for deed in strategy.new_tree(&mut runner).unwrap().current() {
                world.do_it(&deed);
            }
            world.adds_up();
            world.leave();
        }
        let packs = world.ledger.all(ThingKind::Pack).unwrap();
        joined += packs
            .into_iter()
            .filter(|(_, facts)| matches!(facts, Facts::Pack(pack) if pack.joined.is_some()))
            .count();
        world.ledger.release().unwrap();
        world.is_sound();
        corrected.extend(world.corrected);
    }
    for kind in ["reading", "run", "install", "remove", "loan", "return", "correct", "join", "pack"] {
        assert!(corrected.contains(kind), "no {kind} was ever corrected: {corrected:?}");
    }
    assert!(joined > 0, "no records were ever joined");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, max_shrink_iters: 400, ..ProptestConfig::default() })]

    #[test]
    fn any_sequence_of_scans_leaves_a_sound_ledger_that_adds_up(deeds in deeds()) {
        let folder = tempfile::tempdir().unwrap();
        let mut world = World::begin(folder.path());
        world.ledger.gather().unwrap();
        for deed in opening().iter().chain(&deeds) {
            world.do_it(deed);
        }
        world.ledger.release().unwrap();
        world.adds_up();
        world.is_sound();
    }

    #[test]
    fn folds_are_total_over_any_events_in_any_order(
        numbers in collection::vec(0_usize..40, 1..60), deeds in collection::vec(0_usize..40, 0..10),
    ) {
        let folder = tempfile::tempdir().unwrap();
        let mut world = World::begin(folder.path());
        world.ledger.gather().unwrap();
        for number in numbers {
            world.do_it(&Deed::Raw(number));
            if deeds.contains(&number) {
                world.do_it(&Deed::Scan(Room::Bench, "undo".to_owned()));
            }
        }
        world.ledger.release().unwrap();
        world.is_sound();
    }

    #[test]
    fn the_past_stays_as_it_was(before in deeds(), after in deeds()) {
        let folder = tempfile::tempdir().unwrap();
        let mut world = World::begin(folder.path());
        world.ledger.gather().unwrap();
        for deed in opening().iter().chain(&before) {
            world.do_it(deed);
        }
        let then = world.everything();
        world.clock.set(world.clock.get().plus_millis(5000));
        let clock = clock_before(world.clock.get());
        for deed in &after {
            world.do_it(deed);
        }
        world.ledger.release().unwrap();
        for ((kind, id), facts) in then {
            let thing = Thing { kind, id: uuid::Uuid::from_u128(id) };
            let as_of: Facts = world.ledger.facts_until(thing, clock).unwrap().unwrap();
            assert_eq!(as_of, facts, "{kind}");
        }
    }
}

/// The generator reaches every verdict through sessions alone.
#[test]
fn the_histories_reach_every_verdict() {
    use proptest::strategy::ValueTree as _;
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let strategy = deeds();
    let mut reached = BTreeSet::new();
    for _ in 0..120 {
        let folder = tempfile::tempdir().unwrap();
        let mut world = World::begin(folder.path());
        world.ledger.gather().unwrap();
        for deed in opening().iter().chain(&strategy.new_tree(&mut runner).unwrap().current()) {
            world.do_it(deed);
        }
        world.ledger.release().unwrap();
        reached.extend(world.verdicts);
    }
    assert_eq!(reached.into_iter().collect::<Vec<_>>(), Verdict::ALL);
}

#[test]
fn an_act_that_fails_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let mut world = World::begin(folder.path());
    let before = world.everything();
    let events = format::examples();
    let failed = world.ledger.transact(|ledger| {
        world.desks[0].record(ledger, events)?;
        Err::<(), LedgerError>(LedgerError::NoPolicy)
    });
    assert!(failed.is_err());
    assert_eq!(world.everything(), before);
    world.is_sound();
}
