//! From an open ledger: verdicts, and acknowledged scans beside the disk's own sync.

use std::fs::File;
use std::io::Write;
use std::path::Path;
use std::time::{Duration, Instant};

use packmuster::app::bench::Bench;
use packmuster::app::correct::{self, Right};
use packmuster::app::judging::{self, Ask};
use packmuster::app::people;
use packmuster::app::session::{Here, Session};
use packmuster::domain::event::Event;
use packmuster::domain::units::MilliampHours;
use packmuster::domain::verdict::Step;
use packmuster::ledger::entry::Entry;
use packmuster::ledger::{Access, Ledger};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;

use super::Outcome;
use super::figure::{Figure, quantile};
use super::fleet::{self, Fleet};

const VERDICTS: usize = 20_000;
const ACTS: u16 = 1000;
const CORRECTIONS: usize = 200;

/// Verdicts of random packs.
pub(crate) fn verdicts(fleet: &Fleet) -> Outcome<Vec<Figure>> {
    let mut ledger = Ledger::open(&fleet.path, Access::Read)?;
    let mut random = ChaCha12Rng::seed_from_u64(5);
    let now = fleet::now()?;
    let mut times = Vec::with_capacity(VERDICTS);
    for turn in 0..VERDICTS + 2_000 {
        let pack = fleet.packs.get(random.random_range(0..fleet.packs.len())).ok_or("no packs")?.id;
        let start = Instant::now();
        judging::look(&mut ledger, Ask { pack, step: Step::Look, player: None, due: None, now })?;
        // The first ones warm the page cache of the process.
        if turn >= 2_000 {
            times.push(start.elapsed());
        }
    }
    Ok(vec![
        Figure::within(
            "verdict from an open ledger, p50",
            quantile(&mut times, 50),
            Duration::from_micros(50),
        ),
        Figure::within(
            "verdict from an open ledger, p99",
            quantile(&mut times, 99),
            Duration::from_micros(100),
        ),
    ])
}

/// Acts of one commit each, in turn with appending 4 KiB to a plain file and syncing it.
pub(crate) fn acts(fleet: &Fleet, folder: &Path) -> Outcome<Vec<Figure>> {
    let mut ledger = Ledger::open(&fleet.path, Access::Write(None))?;
    let mut desk = fleet::desk(6)?;
    let mut random = ChaCha12Rng::seed_from_u64(7);
    let mut plain = File::create(folder.join("floor"))?;
    let page = [7_u8; 4096];
    let (mut ours, mut floor) = (Vec::new(), Vec::new());
    for _ in 0..ACTS {
        let pack = fleet.packs.get(random.random_range(0..fleet.packs.len())).ok_or("no packs")?;
        let mut session = Session::new(Bench::default());
        session.scan(&mut ledger, &mut desk, pack.tag.text())?;
        let start = Instant::now();
        session.scan(&mut ledger, &mut desk, "charged")?;
        ours.push(start.elapsed());
        let start = Instant::now();
        plain.write_all(&page)?;
        plain.sync_data()?;
        floor.push(start.elapsed());
    }
    // Rates are counts over the whole time, so that what a checkpoint costs now and then is in them.
    let rate = |times: &[Duration]| 1.0 / (times.iter().sum::<Duration>().as_secs_f64() / f64::from(ACTS));
    let (ours_rate, floor_rate) = (rate(&ours), rate(&floor));
    let tail = (quantile(&mut ours, 99), quantile(&mut floor, 99));
    let (ours, floor) = (quantile(&mut ours, 50), quantile(&mut floor, 50));
    Ok(vec![
        Figure::beside("acknowledged scan, median", ours, ("write and fdatasync of 4 KiB", floor), Some(2.0)),
        Figure::beside("acknowledged scan, p99", tail.0, ("write and fdatasync of 4 KiB", tail.1), None),
        Figure::rate("acknowledged scans, over the whole time", ours_rate, ("syncs", floor_rate), "0.5x"),
    ])
}

/// Corrections of readings of random packs, each with its list of what stood on it: in the library, with the commit.
pub(crate) fn corrections(fleet: &Fleet) -> Outcome<Vec<Figure>> {
    let mut ledger = Ledger::open(&fleet.path, Access::Write(None))?;
    let mut desk = fleet::desk(8)?;
    let mut random = ChaCha12Rng::seed_from_u64(9);
    people::enrol(&mut Here { ledger: &mut ledger, desk: &mut desk }, "EB", true, None)?;
    desk.operator = Some(people::operator(&mut ledger, "EB")?);
    let right = Right { capacity: Some(MilliampHours::new(777)), ..Right::default() };
    let (mut times, mut stood) = (Vec::new(), 0);
    while times.len() < CORRECTIONS {
        let pack = fleet.packs.get(random.random_range(0..fleet.packs.len())).ok_or("no packs")?.id;
        let read = |(entry, wrong): (Entry, bool)| {
            (!wrong && matches!(entry.event, Event::ReadingTaken(_))).then_some(entry.position.number)
        };
        let Some(number) = ledger.history(pack.into())?.into_iter().find_map(read) else { continue };
        let start = Instant::now();
        let here = &mut Here { ledger: &mut ledger, desk: &mut desk };
        let corrected = correct::correct(here, &number.to_string(), &right, "mistyped")?;
        times.push(start.elapsed());
        stood += corrected.stood.len();
    }
    if stood == 0 {
        return Err("no verdict stood on any of the readings".into());
    }
    let aim = Duration::from_millis(20);
    Ok(vec![
        Figure::within("reading corrected, with what stood on it, p50", quantile(&mut times, 50), aim),
        Figure::within("reading corrected, with what stood on it, p99", quantile(&mut times, 99), aim),
    ])
}
