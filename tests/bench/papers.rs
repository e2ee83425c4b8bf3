//! What papers cost: time, bytes in the file and peak memory, each beside its bar.
//!
//! `cargo bench --bench papers` makes each job in a process of its own, five times, so that the peak of its memory is that of the
//! job alone. The middle of the five is told.

use std::error::Error;
use std::io::Write;
use std::process::Command;
use std::time::Instant;

use packmuster::domain::tag::{Tag, TagKind};
use packmuster::print::geometry::Geometry;
use packmuster::print::labels::{Drift, Label, Marks, SheetRequest, named, sheet};
use rand::SeedableRng;

const RUNS: usize = 5;

type Outcome<T> = Result<T, Box<dyn Error>>;

/// One paper to make, and what it may cost.
struct Job {
    name: &'static str,
    what: &'static str,
    /// What the bytes of the file are divided by.
    pieces: u32,
    make: fn(u32) -> Outcome<Vec<u8>>,
    most_s: f64,
    most_bytes_a_piece: f64,
    most_mb: f64,
}

const JOBS: [Job; 1] = [Job {
    name: "tags",
    what: "10,000 tags on sheets a4-65",
    pieces: 10_000,
    make: tags,
    most_s: 2.5,
    most_bytes_a_piece: 200.0,
    most_mb: 300.0,
}];

/// Takes a figure from what a run cost and the number of pieces.
type Of = fn(&Cost, f64) -> f64;

/// What one run cost.
struct Cost {
    took_s: f64,
    bytes: f64,
    peak_mb: f64,
}

fn main() -> Outcome<()> {
    let asked = std::env::args().nth(1).unwrap_or_default();
    let mut out = std::io::stdout().lock();
    if let Some(job) = JOBS.iter().find(|job| job.name == asked) {
        let begin = Instant::now();
        let bytes = (job.make)(job.pieces)?.len();
        let took_s = begin.elapsed().as_secs_f64();
        writeln!(out, "{took_s} {bytes} {}", peak_kb()?)?;
        return Ok(());
    }
    for job in &JOBS {
        let costs = (0..RUNS).map(|_| run(job)).collect::<Outcome<Vec<Cost>>>()?;
        let pieces = f64::from(job.pieces);
        writeln!(out, "{}, middle of {RUNS} runs", job.what)?;
        let figures: [(&str, &str, f64, Of); 3] = [
            ("time", "s", job.most_s, |cost, _| cost.took_s),
            ("file, for each", "bytes", job.most_bytes_a_piece, |cost, pieces| cost.bytes / pieces),
            ("peak memory", "MB", job.most_mb, |cost, _| cost.peak_mb),
        ];
        for (name, unit, most, of) in figures {
            let mut values: Vec<f64> = costs.iter().map(|cost| of(cost, pieces)).collect();
            values.sort_by(f64::total_cmp);
            let middle = values.get(RUNS / 2).copied().unwrap_or(f64::NAN);
            let ratio = middle / most;
            writeln!(out, "  {name:15} {middle:8.2} {unit:5}  bar {most:6.1}  {ratio:5.2} of the bar")?;
        }
    }
    Ok(())
}

/// Makes a paper in a process of its own.
fn run(job: &Job) -> Outcome<Cost> {
    let said = Command::new(std::env::current_exe()?).arg(job.name).output()?;
    let text = String::from_utf8(said.stdout)?;
    let numbers: Vec<f64> = text.split_whitespace().filter_map(|word| word.parse().ok()).collect();
    let &[took_s, bytes, peak_kb] = numbers.as_slice() else {
        return Err(format!("{} said {text} {}", job.name, String::from_utf8_lossy(&said.stderr)).into());
    };
    Ok(Cost { took_s, bytes, peak_mb: peak_kb / 1000.0 })
}

/// The largest memory that this process ever had, kB, as Linux tells it.
fn peak_kb() -> Outcome<u64> {
    let status = std::fs::read_to_string("/proc/self/status")?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).ok_or("no VmHWM")?;
    Ok(line.trim().trim_end_matches(" kB").parse()?)
}

fn tags(count: u32) -> Outcome<Vec<u8>> {
    let geometry = Geometry::parse(named("a4-65").ok_or("no such sheet")?)?;
    let mut random = rand_chacha::ChaCha12Rng::seed_from_u64(2026);
    let labels: Vec<Label<'_>> =
        (0..count).map(|_| Label::from(Tag::draw(TagKind::Pack, &mut random))).collect();
    let request = SheetRequest {
        geometry: &geometry,
        labels: &labels,
        start: 1,
        drift: Drift::default(),
        marks: Marks::None,
    };
    Ok(sheet(&request)?)
}
