//! The bias of a slot: the mean of what its readings were off, and how sure that is.
//!
//! Normal theory: differences are taken as independent. A bias that is looked at because a chart alarmed tends to be estimated too
//! large while readings since the shift are few, and the limits do not allow for that:
//! at the alarm itself, a shift of one spread came out as 1.34 of them on average in simulated slots, and limits of 95 % held it in 93 %.

use std::cmp::Ordering;

use crate::stats::control::cusum::count;
use crate::stats::control::laws;
use crate::stats::interval::Interval;
use crate::stats::normal;

/// So many readings, and none is set aside.
const TOO_FEW_TO_SET_ASIDE: usize = 4;

/// One reading of a slot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SlotReading {
    /// What the slot read.
    pub reading_mah: f64,
    /// What was foretold of that pack.
    pub foretold_mah: f64,
    /// The standard deviation of the difference in a good slot: above 0.
    pub spread_mah: f64,
    /// How far off a slot may be before that counts for the charts, mAh: 0 to see the least bias.
    pub tolerated_mah: f64,
}

/// Whether the spreads are known, or only their ratios to each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Spread {
    /// They are known: the interval rests on the normal law.
    Known,
    /// They are known up to one factor, which is taken from the readings themselves: the interval rests on Student's t.
    Uncertain,
}

/// How far a slot reads off.
#[derive(Debug, Clone, PartialEq)]
pub struct Bias {
    /// The mean difference in mAh, weighted with one over the squared spread.
    pub mah: f64,
    /// Its limits in mAh; none for an uncertain spread of fewer than two readings or of readings all alike.
    pub limits_mah: Option<Interval>,
    /// The mean difference in spreads, beyond what is tolerated.
    pub shift: f64,
    /// How many readings it rests on.
    pub used: usize,
    /// Readings, from 0, that lie further than the cap from the middle one, and were left out.
    pub set_aside: Vec<usize>,
}

impl SlotReading {
    /// The difference beyond what is tolerated, in spreads.
    pub fn z(&self) -> f64 {
        let off = self.off_mah();
        (off - off.clamp(-self.tolerated_mah, self.tolerated_mah)) / self.spread_mah
    }

    /// The difference in mAh.
    pub fn off_mah(&self) -> f64 {
        self.reading_mah - self.foretold_mah
    }

    fn weight(&self) -> f64 {
        self.spread_mah.powi(-2)
    }
}

impl Bias {
    /// Weighs all readings from one on: `sum(w off) / sum(w)` with `w = 1 / spread^2`, and its limits at a level, for known spreads
    /// `-+ z / sqrt(sum w)`, else `-+ t sqrt(sum(w (off - mean)^2) / ((n - 1) sum w))` with `n - 1` degrees of freedom (weighted least
    /// squares; Bevington, "Data Reduction and Error Analysis", chapter 4; from memory).
    ///
    /// Readings further than `cap` spreads from the middle one are left out, if there are more than four. None without a reading.
    pub fn since(
        readings: &[SlotReading],
        first: usize,
        spread: Spread,
        cap: f64,
        level: f64,
    ) -> Option<Self> {
        let (kept, set_aside) = sift(readings, first, cap);
        let used = kept.len();
        if used == 0 {
            return None;
        }
        let weights: f64 = kept.iter().map(SlotReading::weight).sum();
        let mah = kept.iter().map(|reading| reading.weight() * reading.off_mah()).sum::<f64>() / weights;
        let shift = kept.iter().map(SlotReading::z).sum::<f64>() / count(used);
        let outside = 1.0 - level;
        let reach = match spread {
            Spread::Known => Some(-normal::quantile(0.5 * outside) / weights.sqrt()),
            Spread::Uncertain => scatter(&kept, mah)
                .map(|squares| (squares / weights).sqrt() * laws::t_for(outside, count(used) - 1.0)),
        };
        let limits_mah = reach.map(|reach| Interval::around(mah, reach));
        Some(Self { mah, limits_mah, shift, used, set_aside })
    }
}

/// The weighted mean square about a mean, `sum(w (off - mean)^2) / (n - 1)`; none for one reading, or when all differ alike.
fn scatter(readings: &[SlotReading], mean_mah: f64) -> Option<f64> {
    let square = |reading: &SlotReading| reading.weight() * (reading.off_mah() - mean_mah).powi(2);
    let differ = readings.windows(2).any(
        |pair| matches!(pair, [one, other] if one.off_mah().total_cmp(&other.off_mah()) != Ordering::Equal),
    );
    differ.then(|| readings.iter().map(square).sum::<f64>() / (count(readings.len()) - 1.0))
}

/// Parts readings from one on into those that the bias rests on, and the places of those that lie too far from the middle one.
fn sift(readings: &[SlotReading], first: usize, cap: f64) -> (Vec<SlotReading>, Vec<usize>) {
    let mut offs: Vec<f64> = readings.iter().skip(first).map(SlotReading::off_mah).collect();
    offs.sort_by(f64::total_cmp);
    let middle = offs.get(offs.len() / 2).copied().unwrap_or_default();
    let is_wild = |reading: &SlotReading| {
        offs.len() > TOO_FEW_TO_SET_ASIDE && (reading.off_mah() - middle).abs() > cap * reading.spread_mah
    };
    let mut kept = Vec::new();
    let mut set_aside = Vec::new();
    for (index, reading) in readings.iter().enumerate().skip(first) {
        if is_wild(reading) { set_aside.push(index) } else { kept.push(*reading) }
    }
    (kept, set_aside)
}
