//! What temperature adds to readings, where it was recorded.

use super::super::fleet::Fleet;
use super::super::kernel::count;
use super::super::model::Warmth;
use super::lines::{clock_of, single};
use super::{Clocks, FadeError, Lines};

/// Packs that it is learnt from, at most.
const SAMPLE: usize = 20_000;
/// The fewest readings with a temperature, and the least spread of temperatures in degrees, that tell anything.
const FEWEST: usize = 100;
const LEAST_SPREAD: f64 = 1.0;
/// How many standard errors off zero it must be.
const SURE: f64 = 3.0;
/// Rounds: packs' lines take up some of it at first.
const ROUNDS: usize = 4;

/// Learns it by regressing what is left over by the straight lines on temperature, in turn with the lines.
pub(super) fn learn(fleet: &Fleet, clocks: &Clocks, threads: usize) -> Result<Warmth, FadeError> {
    let (mut known, mut sum, mut square) = (0, 0.0, 0.0);
    for reading in fleet.iter().flat_map(|pack| pack.readings).filter(|reading| !reading.celsius.is_nan()) {
        let celsius = f64::from(reading.celsius);
        known += 1;
        sum += celsius;
        square += celsius * celsius;
    }
    let mean = sum / count(known.max(1));
    let spread = (square / count(known.max(1)) - mean * mean).max(0.0).sqrt();
    if known < FEWEST || spread < LEAST_SPREAD {
        return Ok(Warmth::NONE);
    }
    let sample = fleet.thinned(SAMPLE, i32::MAX);
    let mut warmth = Warmth { per_degree: 0.0, reference: mean };
    for _ in 0..ROUNDS {
        let lines = Lines::fit(&sample, clocks, warmth, threads)?;
        let (more, error) = left_over(&sample, &lines);
        warmth.per_degree += more;
        if warmth.per_degree.abs() < SURE * error {
            return Ok(Warmth::NONE);
        }
        if more.abs() < error {
            break;
        }
    }
    Ok(warmth)
}

/// The slope of residuals on temperature within packs, and its standard error.
fn left_over(fleet: &Fleet, lines: &Lines) -> (f64, f64) {
    let fit = &lines.robust.fit;
    let far = 9.0 * fit.residual;
    let (mut xx, mut xy) = (0.0, 0.0);
    for pack in fleet.iter() {
        let rows: Vec<_> = pack
            .first_line()
            .iter()
            .map(|reading| {
                let capacity = f64::from(reading.capacity) - lines.warmth.of(reading.celsius);
                (f64::from(single(clock_of(&lines.clocks, &pack, reading).0)), capacity, reading.slot, 1.0)
            })
            .collect();
        let own = fit.pack_line(pack.group, rows.iter().copied());
        let line: Vec<(f64, f64)> = rows
            .iter()
            .zip(pack.first_line())
            .filter(|(_, reading)| !reading.celsius.is_nan())
            .map(|(&(clock, capacity, slot, _), reading)| {
                let off = capacity - fit.expected(pack.group, slot, clock) - own.off.at(clock);
                (f64::from(reading.celsius), off)
            })
            .filter(|(_, off)| off * off < far)
            .collect();
        let mean = line.iter().map(|(celsius, _)| celsius).sum::<f64>() / count(line.len().max(1));
        for (celsius, off) in line {
            xx += (celsius - mean) * (celsius - mean);
            xy += (celsius - mean) * off;
        }
    }
    if xx > 0.0 { (xy / xx, (fit.residual / xx).sqrt()) } else { (0.0, f64::INFINITY) }
}
