//! How fast discharge logs are measured, beside the csv crate that only parses the same fields, and pandas doing the same work.
//!
//! `cargo bench --bench logs` repeats NASA's logs to four million rows, `-- ROWS` to another number. With `PACKMUSTER_PANDAS` as a
//! Python that has pandas, that one is asked too; its own time without its start is told. Medians of five runs each, taken in turn.

use std::error::Error;
use std::fs::File;
use std::io::{BufReader, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

use packmuster::app::discharge::{Job, measure};
use packmuster::domain::units::Millivolts;
use packmuster::exchange::log::LogMapping;
use packmuster::stats::discharge::End;

const SAMPLE: &str = include_str!("../stats/data/nasa_discharge_sample.csv");
const PANDAS: &str = include_str!("logs.py");
const RUNS: usize = 5;

type Outcome<T> = Result<T, Box<dyn Error>>;

fn main() -> Outcome<()> {
    let asked = std::env::args().skip(1).find_map(|arg| arg.parse::<usize>().ok());
    let path = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("logs.csv");
    let (rows, capacity) = write(&path, asked.unwrap_or(4_000_000))?;
    let mut out = std::io::stdout().lock();
    let python = std::env::var_os("PACKMUSTER_PANDAS");
    let mut times = [Vec::new(), Vec::new(), Vec::new()];
    for _ in 0..RUNS {
        let begin = Instant::now();
        let found = ours(&path)?;
        times[0].push(begin.elapsed().as_secs_f64());
        if (found - capacity).abs() > 1e-3 {
            return Err(format!("measured {found} mAh in all, and {capacity} stand in the logs").into());
        }
        let begin = Instant::now();
        parsed(&path)?;
        times[1].push(begin.elapsed().as_secs_f64());
        if let Some(python) = &python {
            let said = Command::new(python).args(["-c", PANDAS]).arg(&path).output()?;
            let text = String::from_utf8(said.stdout)?;
            let numbers: Vec<f64> = text.split_whitespace().filter_map(|word| word.parse().ok()).collect();
            let &[took, theirs] = numbers.as_slice() else {
                return Err(format!("pandas said {text}").into());
            };
            // It counts what flows at rest before the load, too.
            if (theirs / capacity - 1.0).abs() > 1e-5 {
                return Err(format!("pandas found {theirs} mAh, and {capacity} stand in the logs").into());
            }
            times[2].push(took);
        }
    }
    let names =
        ["logs measured", "csv crate, every field parsed, nothing measured", "pandas, read and measured"];
    for (name, times) in names.iter().zip(&mut times) {
        times.sort_by(f64::total_cmp);
        if let Some(median) = times.get(RUNS / 2) {
            let speed = f64::from(u32::try_from(rows)?) / median / 1e6;
            writeln!(out, "{name:50} {median:6.2} s {speed:6.2} million rows/s")?;
        }
    }
    if python.is_none() {
        writeln!(out, "pandas not asked: PACKMUSTER_PANDAS names no Python")?;
    }
    Ok(())
}

/// Repeats the sample under other names; gives rows, and the sum of all capacities in mAh.
fn write(path: &Path, least: usize) -> Outcome<(usize, f64)> {
    let (heading, body) = SAMPLE.split_once('\n').ok_or("no heading")?;
    let mut file = BufWriter::new(File::create(path)?);
    writeln!(file, "{heading}")?;
    let (mut rows, mut copies) = (0, 0_u32);
    while rows < least {
        file.write_all(body.replace("B00", &format!("{copies}-")).as_bytes())?;
        rows += body.lines().count();
        copies += 1;
    }
    file.flush()?;
    let once = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("logs-once.csv");
    std::fs::write(&once, SAMPLE)?;
    Ok((rows, f64::from(copies) * ours(&once)?))
}

fn ours(path: &Path) -> Outcome<f64> {
    let text = "discharge = 'negative'\nrest_ma = 1000\n[columns]\ntime = 't_s'\nvoltage = 'v'\ncurrent = 'i'\n\
        temperature = 'temp_c'\nlog = ['battery', 'discharge_no']";
    let job = Job {
        file: "logs.csv",
        mapping: LogMapping::parse(text)?,
        end: End::FirstSample,
        end_voltage: Some(Millivolts::new(2700)),
        pack: None,
        slot: None,
        points: 0,
    };
    let input = BufReader::with_capacity(1 << 18, File::open(path)?);
    let report = measure(None, &job, input, |_rows| {})?;
    let capacities = report.logs.iter().filter_map(|log| Some(log.discharge.as_ref()?.capacity_mah));
    Ok(capacities.sum())
}

fn parsed(path: &Path) -> Outcome<f64> {
    let mut reader = csv::Reader::from_reader(BufReader::with_capacity(1 << 18, File::open(path)?));
    let mut record = csv::ByteRecord::new();
    let mut sum = 0.0;
    while reader.read_byte_record(&mut record)? {
        for cell in record.iter().skip(2) {
            sum += std::str::from_utf8(cell)?.parse::<f64>()?;
        }
    }
    Ok(std::hint::black_box(sum))
}
