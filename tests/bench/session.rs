//! From an open ledger: verdicts, and acknowledged scans beside the disk's own sync.

use std::fs::File;
use std::io::Write;
use std::path::Path;
use std::time::{Duration, Instant};

use packmuster::app::bench::Bench;
use packmuster::app::judging::{self, Ask};
use packmuster::app::session::Session;
use packmuster::domain::verdict::Step;
use packmuster::ledger::{Access, Ledger};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;

use super::Outcome;
use super::figure::{Figure, quantile};
use super::fleet::{self, Fleet};

const VERDICTS: usize = 20_000;
const ACTS: u16 = 1000;

/// Verdicts of random packs.
pub(crate) fn verdicts(fleet: &Fleet) -> Outcome<Vec<Figure>> {
    let mut ledger = Ledger::open(&fleet.path, Access::Read)?;
    let mut random = ChaCha12Rng::seed_from_u64(5);
    let now = fleet::now()?;
    let mut times = Vec::with_capacity(VERDICTS);
    for turn in 0..VERDICTS + 2_000 {
        let pack = fleet.packs.get(random.random_range(0..fleet.packs.len())).ok_or("no packs")?.id;
        let start = Instant::now();
        judging::look(&mut ledger, Ask { pack, step: Step::Look, player: None, now })?;
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
