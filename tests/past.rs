//! Policies tried on the past, the risks of the one in force, and lives by lot.

use std::cell::Cell;
use std::fs;
use std::rc::Rc;

use jiff::civil::{Date, date};
use packmuster::app::desk::Desk;
use packmuster::app::foresight::Sight;
use packmuster::app::judging::{self, Ask};
use packmuster::app::past::{self, Asked, Limits, Trial};
use packmuster::app::review::{self, Alike, Month, Review};
use packmuster::app::risks;
use packmuster::app::setup::{self, Beginning};
use packmuster::domain::event::{
    Complained, Entrance, Event, LoanBegan, LoanEnded, LotReceived, Method, Origin, PackAdded, PlayerAdded,
    ReadingTaken,
};
use packmuster::domain::facts::Facts;
use packmuster::domain::ids::{LoanId, LotId, MakeId, PackId, PlayerId, PlayerMakeId, ThingKind};
use packmuster::domain::make::{Chemistry, PackMake, PlayerMake};
use packmuster::domain::moment::{Moment, day_after};
use packmuster::domain::units::{MilliampHours, Millivolts};
use packmuster::domain::verdict::{Step, Verdict};
use packmuster::ledger::{Access, Ledger};
use packmuster::policy::limits::{limit, thirstiest};
use packmuster::policy::rules::Policy;
use packmuster::policy::template::Answers;
use packmuster::stats::guard::global::{Part, Risks};
use packmuster::stats::guard::{Normal, Range};
use rand::SeedableRng;
use rand_chacha::ChaCha12Rng;
use serde_json::Value;

use crate::demo::demo;
use crate::sandbox::Sandbox;

const BEGUN: Date = date(2023, 1, 2);

/// So many days after the ledger was begun.
fn day(days: i64) -> Moment {
    Moment::start_of(BEGUN, &jiff::tz::TimeZone::UTC).plus_days(days)
}

fn policy(service: u32, rounds: u32) -> String {
    let answers = Answers {
        service: "a test".to_owned(),
        service_limit: format!("mAh = {service}"),
        new_limit: "mAh = 1000".to_owned(),
        new_percent: 0,
        service_percent: 0,
        sample: 6,
        rest: "cartons-word",
        rounds: (rounds, rounds),
    };
    answers.text()
}

/// A ledger whose entries are written as they are meant to stand.
struct Past {
    _folder: tempfile::TempDir,
    ledger: Ledger,
    desk: Desk,
    clock: Rc<Cell<Moment>>,
    make: MakeId,
    player: PlayerId,
}

impl Past {
    fn new(rounds: u32) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let clock = Rc::new(Cell::new(day(0)));
        let shown = Rc::clone(&clock);
        let mut desk = Desk::new("bench", ChaCha12Rng::seed_from_u64(5), Box::new(move || shown.get()));
        let beginning = Beginning {
            site: "North".to_owned(),
            zone: "UTC".to_owned(),
            policy: policy(650, rounds),
            player: PlayerMake {
                name: "Wren".to_owned(),
                draw: setup::draw("650 mAh in 16 h").unwrap(),
                form: "slim".to_owned(),
            },
            pack: PackMake {
                name: "Kestrel 1100".to_owned(),
                chemistry: Chemistry::NiMh,
                rated: MilliampHours::new(1100),
                nominal: Millivolts::new(3600),
                cells: 3,
                mass: None,
                end: Millivolts::new(3000),
                max_resistance: None,
                form: "slim".to_owned(),
            },
        };
        let mut ledger = setup::begin(&folder.path().join("x.muster"), &mut desk, &beginning).unwrap();
        let mut only = |kind| ledger.all(kind).unwrap()[0].0.id;
        let (make, made) =
            (MakeId::new(only(ThingKind::Make)), PlayerMakeId::new(only(ThingKind::PlayerMake)));
        let player = PlayerId::draw(day(0), &mut desk.random);
        let mut past = Self { _folder: folder, ledger, desk, clock, make, player };
        past.enter(PlayerAdded { player, make: made, entrance: Entrance::Adopted, at: day(0) });
        past
    }

    fn enter(&mut self, event: impl Into<Event>) {
        self.desk.record(&mut self.ledger, vec![event.into()]).unwrap();
    }

    fn pack(&mut self, lot: Option<LotId>, origin: Origin) -> PackId {
        let pack = PackId::draw(self.clock.get(), &mut self.desk.random);
        let (make, at) = (self.make, self.clock.get());
        let entrance = if origin == Origin::New { Entrance::Received } else { Entrance::Adopted };
        self.enter(PackAdded {
            pack,
            make,
            origin,
            entrance,
            lot,
            carton: None,
            made: None,
            serial: None,
            prior: None,
            at,
        });
        pack
    }

    fn lot(&mut self, name: &str, supplier_ref: &str) -> LotId {
        let lot = LotId::draw(self.clock.get(), &mut self.desk.random);
        let (make, at) = (self.make, self.clock.get());
        self.enter(LotReceived {
            lot,
            make,
            name: name.to_owned(),
            supplier_ref: supplier_ref.to_owned(),
            at,
        });
        lot
    }

    fn read(&mut self, pack: PackId, capacity: u32, on: i64) {
        self.clock.set(self.clock.get().max(day(on)));
        self.enter(ReadingTaken {
            pack,
            slot: None,
            run: None,
            carton: None,
            capacity: MilliampHours::new(capacity),
            method: Method::Discharge,
            resistance: None,
            temperature: None,
            took: None,
            at: day(on),
        });
    }

    /// A loan from one day to another; with a complaint, or not back yet.
    fn lend(&mut self, pack: PackId, from: i64, back: Option<i64>, complains: Option<i64>) {
        let (player, loan) = (self.player, LoanId::draw(day(from), &mut self.desk.random));
        let due = day_after(BEGUN, from + 56);
        self.enter(LoanBegan { loan, player, pack, due, at: day(from) });
        if let Some(on) = complains {
            self.enter(Complained { loan, player, pack, after: None, at: day(on) });
        }
        if let Some(back) = back {
            self.enter(LoanEnded { loan, player, pack, at: day(back) });
        }
    }

    fn tried(&mut self, text: &str, since: Option<Date>, limits: Limits) -> Trial {
        let asked = Asked { since, now: day(1500), limits };
        past::tried(&mut self.ledger, &Policy::parse(text).unwrap(), asked).unwrap()
    }

    fn review(&mut self) -> Review {
        let now = day(1500);
        let month = Month::of(now.day(&jiff::tz::TimeZone::UTC));
        let asked = review::Asked { month, now, all_lines: true, kept: None };
        review::review(&mut self.ledger, &asked, |_| ()).unwrap()
    }
}

/// One that cuts out, a good one nearly as weak, one that comes back short, and one that is still out.
fn four_loans() -> Past {
    let mut past = Past::new(2);
    let [a, b, c, d] = [(); 4].map(|()| past.pack(None, Origin::Service));
    past.read(a, 700, 1);
    past.lend(a, 2, Some(40), Some(20));
    past.read(a, 690, 42);
    past.read(b, 720, 50);
    past.lend(b, 51, Some(90), None);
    past.read(b, 710, 92);
    past.read(c, 900, 100);
    past.lend(c, 101, Some(150), None);
    past.read(c, 640, 152);
    past.read(d, 1000, 160);
    past.lend(d, 161, None, None);
    past
}

#[test]
fn a_stricter_policy_stops_the_loan_that_cut_out_and_a_good_pack_too() {
    let mut past = four_loans();
    let trial = past.tried(&policy(750, 2), None, Limits::Own);
    let loans = trial.loans;
    assert_eq!((loans.cut_out, loans.short, loans.kept, loans.unknown), (1, 1, 1, 1));
    assert_eq!((trial.packs_lent, trial.readings), (4, 7));
    assert_eq!(trial.in_force.stopped.all(), 0);
    assert_eq!(trial.in_force.let_through, loans);
    let (stopped, through) = (trial.tried.stopped, trial.tried.let_through);
    assert_eq!((stopped.cut_out, stopped.short, stopped.kept, stopped.unknown), (1, 0, 1, 0));
    assert_eq!((through.cut_out, through.short, through.kept, through.unknown), (0, 1, 0, 1));
    // Below 650: one of seven readings; below 750: five. A round takes three cycles of 16 h and the reading of 8 h after it.
    assert_eq!((trial.in_force.rounds, trial.in_force.bench_h), (1, 56));
    assert_eq!((trial.tried.rounds, trial.tried.bench_h), (5, 280));
    assert_eq!((trial.in_force.packs_recycled, trial.tried.packs_recycled), (0, 0));
    assert!(trial.beware[0].contains("kept here has no loan to count"));
}

#[test]
fn only_loans_and_readings_of_the_time_count_and_recycling_moves() {
    let mut past = four_loans();
    let trial = past.tried(&policy(750, 0), Some(day_after(BEGUN, 95)), Limits::Own);
    assert_eq!((trial.loans.cut_out, trial.loans.kept, trial.loans.short, trial.loans.unknown), (0, 0, 1, 1));
    assert_eq!((trial.packs_lent, trial.readings), (2, 3));
    // Without rounds the weak ones go at once; two of the three went before the time.
    assert_eq!(trial.tried.packs_recycled, 1);
    assert_eq!((trial.recycling.packs_tried_only, trial.recycling.packs_in_force_only), (1, 0));
    let whole = past.tried(&policy(750, 0), None, Limits::Own);
    assert_eq!((whole.tried.packs_recycled, whole.recycling.packs_tried_only), (3, 3));
}

#[test]
fn the_curve_only_rises_and_goes_through_the_policy_itself() {
    let mut past = four_loans();
    let trial = past.tried(&policy(650, 2), None, Limits::Curve);
    let curve = &trial.curve;
    assert_eq!((curve[0].limit_percent, curve[16].limit_percent, curve.len()), (60, 140, 17));
    assert_eq!((curve[0].limits[0].limit_mah, curve[16].limits[0].limit_mah), (390, 910));
    assert_eq!(curve[8].limits[0].limit_h, Some(16.0));
    assert_eq!(curve[8].failures_stopped, trial.in_force.stopped.failed());
    assert_eq!((curve[16].failures_stopped, curve[16].kept_stopped), (2, 1));
    for pair in curve.windows(2) {
        assert!(pair[0].failures_stopped <= pair[1].failures_stopped, "{pair:?}");
        assert!(pair[0].kept_stopped <= pair[1].kept_stopped, "{pair:?}");
        assert!(pair[0].packs_recycled <= pair[1].packs_recycled, "{pair:?}");
    }
}

/// Runs a command on the demo's ledger.
fn on_demo(folder: &std::path::Path, args: &[&str]) -> (i32, String, String) {
    let run = std::process::Command::new(env!("CARGO_BIN_EXE_packmuster"))
        .args(["--ledger", "skerrow.muster", "--site", "Skerrow"])
        .args(args)
        .env_clear()
        .env("PACKMUSTER_CLOCK", "2026-10-29T18:00:00Z")
        .env("PACKMUSTER_SEED", "9")
        .env("COLUMNS", "80")
        .current_dir(folder)
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (run.status.code().unwrap(), text(run.stdout), text(run.stderr))
}

fn copied_demo() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for file in ["skerrow.muster", "skerrow.policy.toml"] {
        fs::copy(demo().join(file), folder.path().join(file)).unwrap();
    }
    folder
}

#[test]
fn on_the_demo_the_same_policy_gives_equal_columns_and_a_stricter_one_stops_more() {
    let folder = copied_demo();
    let own = fs::read_to_string(folder.path().join("skerrow.policy.toml")).unwrap();
    let strict = own.replace("percent_of_rated = 60", "percent_of_rated = 70");
    fs::write(folder.path().join("strict.toml"), strict).unwrap();
    let told = |args: &[&str]| {
        let (code, out, errors) = on_demo(folder.path(), args);
        assert_eq!(code, 0, "{errors}");
        out
    };
    let same: Value =
        serde_json::from_str(&told(&["policy", "try", "skerrow.policy.toml", "--json"])).unwrap();
    assert_eq!(same["format_version"], 1);
    assert_eq!(same["in_force"], same["tried"]);
    assert!(same["recycling"].as_object().unwrap().values().all(|count| *count == 0));
    let strict: Value =
        serde_json::from_str(&told(&["policy", "try", "strict.toml", "--curve", "--json"])).unwrap();
    let count = |policy: &str, what: &str| strict[policy]["stopped"][what].as_u64().unwrap();
    for what in ["cut_out", "short", "kept", "unknown"] {
        assert!(count("tried", what) >= count("in_force", what), "{what}: {strict}");
    }
    assert!(count("tried", "cut_out") + count("tried", "short") > 0, "{strict}");
    let curve = strict["curve"].as_array().unwrap();
    for key in ["failures_stopped", "kept_stopped", "packs_recycled"] {
        let counts: Vec<u64> = curve.iter().map(|point| point[key].as_u64().unwrap()).collect();
        assert!(counts.is_sorted(), "{key}: {counts:?}");
    }
    for line in told(&["policy", "try", "strict.toml", "--curve"]).lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
}

#[test]
fn what_cannot_be_tried_is_named() {
    let sandbox = Sandbox::started();
    let said = sandbox.run(&["policy", "try", "none.toml"]);
    assert_eq!(said.code, 2);
    assert!(said.err.contains("none.toml"), "{}", said.err);
    let own = sandbox.run(&["policy", "show"]).out;
    let write = |text: String| fs::write(sandbox.path().join("new.toml"), text).unwrap();
    write(own.replacen("rounds =", "ronds =", 1));
    let said = sandbox.run(&["policy", "try", "new.toml"]);
    assert_eq!(said.code, 2);
    assert!(said.err.contains("line 10") && said.err.contains("ronds"), "{}", said.err);
    write(own.replace("mAh = 650", "mAh = 0"));
    let said = sandbox.run(&["policy", "try", "new.toml"]);
    assert_eq!(said.code, 2);
    assert!(said.err.contains("line 14") && said.err.contains("`limits.service.mAh` is 0"), "{}", said.err);
    write(own);
    let said = sandbox.run(&["policy", "try", "new.toml", "--since", "2027-01-01"]);
    assert_eq!(said.code, 2);
    assert!(said.err.contains("2027-01-01 lies ahead"), "{}", said.err);
    let said = sandbox.run(&["policy", "try", "new.toml"]);
    assert_eq!(said.code, 0, "a ledger without a loan: {}", said.err);
    assert!(said.out.contains("0 loans of 0 packs"), "{}", said.out);
    let said = sandbox.run(&["policy", "risks"]);
    assert_eq!(said.code, 1);
    assert!(said.err.contains("packmuster model learn"), "{}", said.err);
}

#[test]
fn risks_are_those_of_the_statistics_on_the_fleets_outlooks() {
    let folder = copied_demo();
    let (code, _, errors) = on_demo(folder.path(), &["model", "learn"]);
    assert_eq!(code, 0, "{errors}");
    let (code, out, errors) = on_demo(folder.path(), &["policy", "risks"]);
    assert_eq!(code, 0, "{errors}");
    assert!(out.lines().all(|line| line.chars().count() <= 80), "{out}");
    let now: Moment = "2026-10-29T18:00:00Z".parse().map(Moment::from_timestamp).unwrap();
    let mut ledger = Ledger::open(&folder.path().join("skerrow.muster"), Access::Read).unwrap();
    let found = risks::risks(&mut ledger, now).unwrap().unwrap();
    let settings = ledger.settings().unwrap().clone();
    let seer = settings.seer.as_ref().unwrap();
    let uncertainty = seer.predictor.model().reading_variance(false).sqrt();
    assert!((found.uncertainty_mah - uncertainty).abs() < 0.051);
    assert!(found.risks.len() >= 2, "{found:?}");
    for group in &found.risks {
        let (_, make) = settings.makes.iter().find(|(_, make)| make.name == group.make).unwrap();
        let player = thirstiest(make, &settings.players);
        let most = limit(&settings.policy, group.origin, make, player).unwrap();
        assert_eq!(group.limit_mah, most.raw());
        let mut fleet = Vec::new();
        for (thing, facts) in ledger.all(ThingKind::Pack).unwrap() {
            let Facts::Pack(pack) = facts else { continue };
            let own =
                pack.make.and_then(|make| settings.makes.get(&make)).is_some_and(|own| own.name == make.name);
            if !own || pack.origin() != group.origin || pack.joined.is_some() || pack.written_off.is_some() {
                continue;
            }
            let ask = Ask { pack: thing.pack().unwrap(), step: Step::Look, player: None, due: None, now };
            let (ruling, _) = judging::look(&mut ledger, ask).unwrap();
            if matches!(ruling.verdict, Verdict::Recycle | Verdict::Isolate) {
                continue;
            }
            let Some(sight) =
                Sight::of(seer, (thing.pack().unwrap(), &pack), (Some(make), player), &settings.policy, now)
            else {
                continue;
            };
            let outlook = sight.outlook(0);
            let mean = outlook.mean();
            let square: f64 = outlook
                .normals
                .iter()
                .map(|n| n.weight * (n.variance + (outlook.origin + n.mean - mean).powi(2)))
                .sum();
            fleet.push(Part { weight: 1.0, values: Normal::new(mean, square.sqrt()).unwrap() });
        }
        assert_eq!(fleet.len(), usize::try_from(group.packs).unwrap());
        let held = Range::at_least(f64::from(most.raw())).unwrap();
        let risks = Risks::of(&fleet, uncertainty, held, held).unwrap();
        assert!((group.consumer_percent - 100.0 * risks.consumer).abs() < 1e-3, "{group:?} {risks:?}");
        assert!((group.producer_percent - 100.0 * risks.producer).abs() < 1e-3, "{group:?} {risks:?}");
        // Never more than there is to get wrong, and second readings leave less.
        assert!(group.consumer_percent <= group.below_limit_percent + 1e-3);
        assert!(group.producer_percent <= 100.0 - group.below_limit_percent + 1e-3);
        let doubt = group.doubt.as_ref().unwrap();
        assert!(doubt.consumer_at_once_percent <= group.consumer_percent);
        assert!(doubt.producer_at_once_percent <= group.producer_percent);
        assert!(
            doubt.again_from_mah < f64::from(group.limit_mah)
                && f64::from(group.limit_mah) < doubt.passes_from_mah
        );
    }
}

/// Three lots of forty; of each, packs fail one after another from a day on. Two lots share a reference.
fn lots(first_failures: [i64; 3]) -> Past {
    let mut past = Past::new(0);
    let mut packs = Vec::new();
    for (name, supplier) in [("A", "Maker one"), ("B", "Maker one"), ("C", "Maker two")] {
        let lot = past.lot(name, supplier);
        packs.push([(); 40].map(|()| past.pack(Some(lot), Origin::New)));
    }
    for (lot, first) in packs.iter().zip(first_failures) {
        for (&pack, place) in lot.iter().zip(0_i64..) {
            past.read(pack, 1100, 2);
            let fails = first + 15 * place;
            past.read(pack, 900, (fails - 60).max(10));
            past.read(pack, if fails < 1400 { 400 } else { 800 }, fails.min(1400));
        }
    }
    past
}

#[test]
fn a_lot_that_dies_early_is_named_in_the_review() {
    let review = lots([900, 300, 900]).review();
    let early: Vec<_> = review.lives.iter().filter(|lives| lives.early).collect();
    assert_eq!(early.len(), 1, "{:?}", review.lives);
    let bad = early[0];
    assert_eq!((bad.alike, bad.name.as_str(), bad.packs, bad.failed), (Alike::Lot, "B", 40, 40));
    assert!(bad.expected_failures.unwrap() < 25.0 && bad.probability.unwrap() < 0.001, "{bad:?}");
    // Half of forty, 15 days apart from day 300 on: gone on day 585.
    assert!((bad.median_years.unwrap() - 585.0 / 365.25).abs() < 0.002, "{bad:?}");
    assert!(
        bad.warning().starts_with("lot B (Kestrel 1100) dies early: 40 of 40 failed"),
        "{}",
        bad.warning()
    );
    let line = |alike, name: &str| {
        review.lives.iter().find(|lives| (lives.alike, lives.name.as_str()) == (alike, name))
    };
    assert_eq!(line(Alike::Make, "").unwrap().packs, 120);
    assert_eq!(line(Alike::Reference, "Maker one").unwrap().packs, 80);
    assert!(line(Alike::Reference, "Maker two").is_none(), "one lot is no supplier's record");
    let paper = packmuster::print::review::paper(&review, packmuster::print::PageSize::A4).unwrap();
    assert!(paper.starts_with(b"%PDF"));
}

#[test]
fn lots_that_last_alike_are_not_named() {
    let review = lots([900, 900, 900]).review();
    assert_eq!(review.lives.iter().filter(|lives| lives.alike == Alike::Lot).count(), 3);
    assert!(review.lives.iter().all(|lives| !lives.early), "{:?}", review.lives);
    // One week is chance.
    assert!(lots([900, 893, 900]).review().lives.iter().all(|lives| !lives.early));
}

#[test]
fn the_demos_review_tells_of_lives_in_every_form() {
    let text = fs::read_to_string(demo().join("review.txt")).unwrap();
    let csv = fs::read_to_string(demo().join("review.csv")).unwrap();
    let json: Value = serde_json::from_str(&fs::read_to_string(demo().join("review.json")).unwrap()).unwrap();
    let lives = json["lives"].as_array().unwrap();
    assert!(
        lives.iter().any(|lives| lives["alike"] == "make")
            && lives.iter().any(|lives| lives["alike"] == "lot")
    );
    assert!(text.contains("LIVES BY LOT: "), "{text}");
    assert_eq!(csv.lines().filter(|line| line.starts_with("lives,")).count(), lives.len());
    for lives in lives.iter().filter(|lives| lives["early"] == true) {
        assert!(text.contains(&format!("lot {} (", lives["name"].as_str().unwrap())), "{text}");
    }
}
