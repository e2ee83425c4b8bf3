//! Fleets with a known truth, to judge forecasts by.
//!
//! Each pack starts near its rated capacity and fades with use by a rate of its own; nine truths say how. A reading adds the
//! bias of its slot, noise and, rarely, a gross error. A pack that reads below the limit is retired and never read again: what
//! is seen of a pack hangs on what was seen before. The numbers are invented, not measured on any fleet.
//!
//! The same seed gives the same fleet, and a small fleet is the beginning of a larger one.
#![expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    reason = "days are drawn as floats of at most 400"
)]

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;

/// Standard deviation of a reading's noise, in mAh.
pub(crate) const NOISE_MAH: f64 = 15.0;
/// Standard deviation of the slots' biases, in mAh.
pub(crate) const BIAS_MAH: f64 = 12.0;
/// Mean capacity of new packs, in mAh.
pub(crate) const FRESH_MAH: f64 = 1050.0;
/// Standard deviation of new packs' capacity, in mAh.
pub(crate) const FRESH_SPREAD_MAH: f64 = 40.0;
/// A pack is retired below this share of the mean capacity of new ones.
pub(crate) const LIMIT_SHARE: f64 = 0.62;

/// Median fade of a make in the middle, in mAh per hundred cycles.
pub(crate) const FADE: f64 = 50.0;
/// What the logarithm of the fade gains by make.
pub(crate) const MAKES: [f64; 3] = [-0.20, 0.0, 0.20];
/// Standard deviation of the logarithm of the fade between the lots of a make.
pub(crate) const LOT_SPREAD: f64 = 0.12;
/// Standard deviation of the logarithm of the fade between the packs of a lot.
pub(crate) const PACK_SPREAD: f64 = 0.38;
const LOTS_OF_MAKE: u16 = 10;

const BENCHES: u16 = 24;
const SLOTS_OF_BENCH: u16 = 6;
/// Chance that a pack is read on its own bench rather than on any.
const HOME: f64 = 0.8;

/// Chance of a gross error in a reading.
pub(crate) const GROSS: f64 = 0.01;
/// Chance that a gross error is downwards.
pub(crate) const GROSS_DOWN: f64 = 0.6;
/// Size of a gross error, from and to, in mAh.
const GROSS_MAH: (f64, f64) = (80.0, 300.0);

/// Median use of a pack, in hundreds of cycles a day of loan.
const USE: f64 = 0.007;
/// Standard deviation of the logarithm of a pack's use.
const USE_SPREAD: f64 = 0.30;
/// Use of one loan beside the pack's own, from and to.
const LOAN_USE: (f64, f64) = (0.75, 1.25);
/// Readings of a pack that stays in service, from and to.
const READS: (usize, usize) = (4, 12);
/// Days in which packs arrive.
const ARRIVALS: i32 = 1500;
/// Days of a loan, from and to.
const LOAN_DAYS: (i32, i32) = (30, 180);
/// Mean and most days on the shelf after a loan.
const SHELF_DAYS: (f64, f64) = (90.0, 400.0);
/// Days from a pack's arrival to its last possible reading.
const SERVICE_DAYS: i32 = 2920;

/// Share of packs that bend, in truths where some do.
pub(crate) const BENDING: f64 = 0.3;
/// Where packs bend, mean and standard deviation: hundreds of cycles.
const BEND_USE: (f64, f64) = (5.5, 1.0);
/// Where packs bend, mean and standard deviation: mAh lost.
const BEND_FADE: (f64, f64) = (230.0, 30.0);
/// Where packs bend, mean and standard deviation: days since arrival.
const BEND_AGE: (f64, f64) = (700.0, 200.0);
/// What a bend adds to the fade, as a multiple of the pack's own.
const BEND_FACTOR: f64 = 2.0;
/// What an additive bend adds to the fade, in mAh per hundred cycles.
const BEND_ADDED: f64 = 70.0;
/// Loss by the square of the hundreds of cycles, as a share of the pack's own fade.
const SQUARE: f64 = 0.06;
/// Loss by the root of the hundreds of cycles, as a multiple of the pack's own fade.
pub(crate) const ROOT_OF_USE: f64 = 2.6;
/// Hundreds of cycles that make the same loss as the first two years, where packs fade by the root of age.
pub(crate) const ROOT_OF_AGE: f64 = 7.0;
/// The age of that loss, in days.
pub(crate) const ROOT_OF_AGE_DAYS: f64 = 730.0;
/// Chance of a round of reconditioning before a reading, for packs that had none.
const ROUND: f64 = 0.12;
/// What a round gives back, from and to, in mAh.
pub(crate) const ROUND_MAH: (f64, f64) = (20.0, 80.0);
/// Standard deviation of the logarithm of what a round does to the fade.
const ROUND_SPREAD: f64 = 0.5;

/// How the packs of a fleet fade.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Truth {
    /// In proportion to use.
    Straight,
    /// Some packs three times as fast from some use on.
    Bending,
    /// Some packs faster by a fixed rate from some use on.
    BendAdded,
    /// Some packs three times as fast from some loss on.
    BendByFade,
    /// Some packs three times as fast from some age on.
    BendByAge,
    /// Some packs by the square of use besides.
    Quadratic,
    /// By the root of use.
    RootOfUse,
    /// By the root of age.
    RootOfAge,
    /// In proportion to use, but some packs once get capacity back and then go on at another rate.
    Reconditioned,
}

impl Truth {
    /// All truths.
    pub(crate) const ALL: [Self; 9] = [
        Self::Straight,
        Self::Bending,
        Self::BendAdded,
        Self::BendByFade,
        Self::BendByAge,
        Self::Quadratic,
        Self::RootOfUse,
        Self::RootOfAge,
        Self::Reconditioned,
    ];

    /// Its name in a table.
    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Straight => "straight",
            Self::Bending => "30 % bend by use",
            Self::BendAdded => "30 % bend, additive",
            Self::BendByFade => "30 % bend by fade",
            Self::BendByAge => "30 % bend by age",
            Self::Quadratic => "30 % quadratic",
            Self::RootOfUse => "root of use",
            Self::RootOfAge => "root of age",
            Self::Reconditioned => "reconditioned",
        }
    }

    /// Share of packs that leave the straight line.
    pub(crate) fn bending(self) -> f64 {
        match self {
            Self::Bending | Self::BendAdded | Self::BendByFade | Self::BendByAge | Self::Quadratic => BENDING,
            Self::Straight | Self::RootOfUse | Self::RootOfAge | Self::Reconditioned => 0.0,
        }
    }
}

/// A reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Read {
    /// The day, from the fleet's first.
    pub(crate) day: i32,
    /// Use so far, in hundreds of cycles.
    pub(crate) use_: f64,
    /// Where it was read.
    pub(crate) slot: u16,
    /// What was read, to 0.1 mAh.
    pub(crate) mah: f64,
}

/// A pack: what is seen of it, and what is true of it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Pack {
    /// Its make, from 0.
    pub(crate) make: u16,
    /// Its lot, from 0 over all makes.
    pub(crate) lot: u16,
    /// Its readings, in order of days.
    pub(crate) reads: Vec<Read>,
    /// Days of its rounds of reconditioning; the reading of that day is the first that shows it.
    pub(crate) rounds: Vec<i32>,
    /// Truth: its capacity when new, in mAh.
    pub(crate) fresh: f64,
    /// Truth: its own fade, in mAh per hundred cycles, before any bend or round.
    pub(crate) fade: f64,
    /// Truth: whether it leaves the straight line.
    pub(crate) bends: bool,
}

/// A fleet.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct World {
    /// Its packs.
    pub(crate) packs: Vec<Pack>,
    /// How many slots there are.
    pub(crate) slots: usize,
    /// Below this capacity packs are retired, in mAh.
    pub(crate) limit: f64,
    /// Truth: the bias of each slot, in mAh.
    pub(crate) biases: Vec<f64>,
}

impl World {
    /// Draws a fleet.
    pub(crate) fn simulate(truth: Truth, packs: usize, seed: u64) -> Self {
        let mut dice = Dice { random: ChaCha12Rng::seed_from_u64(seed), spare: None };
        let benches = (0..BENCHES).map(|_| std::array::from_fn(|_| BIAS_MAH * dice.normal())).collect();
        let makes = MAKES
            .map(|make| (0..LOTS_OF_MAKE).map(|_| make + LOT_SPREAD * dice.normal()).collect::<Vec<_>>());
        let design = Design { truth, limit: LIMIT_SHARE * FRESH_MAH, benches, lots: makes.concat() };
        Self {
            packs: (0..packs).map(|_| design.pack(&mut dice)).collect(),
            slots: usize::from(BENCHES * SLOTS_OF_BENCH),
            limit: design.limit,
            biases: design.benches.into_iter().flatten().collect(),
        }
    }
}

/// What the packs of a fleet share.
struct Design {
    truth: Truth,
    limit: f64,
    /// Biases of slots, by bench.
    benches: Vec<[f64; SLOTS_OF_BENCH as usize]>,
    /// What the logarithm of the fade gains, by lot.
    lots: Vec<f64>,
}

impl Design {
    fn pack(&self, dice: &mut Dice) -> Pack {
        let (lot, gain) = pick(dice, &self.lots);
        let fresh = FRESH_MAH + FRESH_SPREAD_MAH * dice.normal();
        let fade = FADE * (gain + PACK_SPREAD * dice.normal()).exp();
        let use_of_day = USE * (USE_SPREAD * dice.normal()).exp();
        let home = pick(dice, &self.benches);
        let bend = dice.happens(self.truth.bending()).then(|| dice.normal());
        let mut wear = Wear { truth: self.truth, fade, bend, bent: None, round: None, before: (0.0, 0.0) };
        let mut pack = Pack {
            make: lot / LOTS_OF_MAKE,
            lot,
            reads: Vec::with_capacity(READS.1),
            rounds: Vec::new(),
            fresh,
            fade,
            bends: bend.is_some(),
        };
        let arrival = dice.random.random_range(0..ARRIVALS);
        let (mut day, mut use_) = (arrival, 0.0);
        for read in 0..dice.random.random_range(READS.0..=READS.1) {
            if read > 0 {
                let loan = dice.random.random_range(LOAN_DAYS.0..=LOAN_DAYS.1);
                day += loan + dice.shelf_days();
                if day > arrival + SERVICE_DAYS {
                    break;
                }
                use_ = rounded(use_ + f64::from(loan) * use_of_day * dice.between(LOAN_USE), 1e4);
                if wear.reconditions(use_, dice) {
                    pack.rounds.push(day);
                }
            }
            let lost = wear.lost(use_, f64::from(day - arrival));
            let (bench, slots) = if dice.happens(HOME) { home } else { pick(dice, &self.benches) };
            let (slot, bias) = pick(dice, &slots);
            let mah = fresh - lost + bias + NOISE_MAH * dice.normal() + dice.gross_error();
            let mah = rounded(mah.max(0.0), 10.0);
            pack.reads.push(Read { day, use_, slot: bench * SLOTS_OF_BENCH + slot, mah });
            if mah < self.limit {
                break;
            }
        }
        pack
    }
}

/// What a round of reconditioning did.
struct Round {
    use_: f64,
    given: f64,
    factor: f64,
}

/// The wear of one pack as its use and age go on.
struct Wear {
    truth: Truth,
    /// In mAh per hundred cycles.
    fade: f64,
    /// Where it bends, in standard deviations from where packs do in the mean; none if it does not.
    bend: Option<f64>,
    /// The use at which it bent by age.
    bent: Option<f64>,
    round: Option<Round>,
    /// Use and age in days when last asked.
    before: (f64, f64),
}

impl Wear {
    /// Whether a round happens now; at most one does.
    fn reconditions(&mut self, use_: f64, dice: &mut Dice) -> bool {
        let now = self.truth == Truth::Reconditioned && self.round.is_none() && dice.happens(ROUND);
        if now {
            let given = dice.between(ROUND_MAH);
            self.round = Some(Round { use_, given, factor: (ROUND_SPREAD * dice.normal()).exp() });
        }
        now
    }

    /// The capacity lost at a use in hundreds of cycles and an age in days, in mAh; to be asked in their order.
    fn lost(&mut self, use_: f64, age: f64) -> f64 {
        let straight = self.fade * use_;
        let lost = match (self.truth, self.bend) {
            (Truth::RootOfUse, _) => ROOT_OF_USE * self.fade * use_.sqrt(),
            (Truth::RootOfAge, _) => ROOT_OF_AGE * self.fade * (age / ROOT_OF_AGE_DAYS).sqrt(),
            (Truth::Reconditioned, _) => self.round.as_ref().map_or(straight, |round| {
                self.fade * (round.use_ + round.factor * (use_ - round.use_)) - round.given
            }),
            (Truth::Straight, _) | (_, None) => straight,
            (Truth::Bending, Some(bend)) => {
                straight + BEND_FACTOR * self.fade * (use_ - place(BEND_USE, bend)).max(0.0)
            }
            (Truth::BendAdded, Some(bend)) => straight + BEND_ADDED * (use_ - place(BEND_USE, bend)).max(0.0),
            (Truth::BendByFade, Some(bend)) => {
                straight + BEND_FACTOR * (straight - place(BEND_FADE, bend)).max(0.0)
            }
            (Truth::BendByAge, Some(bend)) => {
                let past = age - place(BEND_AGE, bend);
                let since = if past > 0.0 { use_ - self.bent_at(use_, age, past) } else { 0.0 };
                straight + BEND_FACTOR * self.fade * since
            }
            (Truth::Quadratic, Some(_)) => straight + SQUARE * straight * use_,
        };
        self.before = (use_, age);
        lost
    }

    /// The use at which the pack was as old as it bends, `past` days ago: in between as if it had been used evenly.
    fn bent_at(&mut self, use_: f64, age: f64, past: f64) -> f64 {
        let (use_before, age_before) = self.before;
        *self
            .bent
            .get_or_insert_with(|| use_ - (use_ - use_before) * (past / (age - age_before).max(1.0)).min(1.0))
    }
}

fn place((mean, spread): (f64, f64), deviations: f64) -> f64 {
    mean + spread * deviations
}

fn rounded(value: f64, parts: f64) -> f64 {
    (value * parts).round() / parts
}

/// One of several, with its number.
fn pick<T: Copy + Default>(dice: &mut Dice, among: &[T]) -> (u16, T) {
    let number = dice.random.random_range(0..u16::try_from(among.len()).unwrap_or(u16::MAX));
    (number, among.get(usize::from(number)).copied().unwrap_or_default())
}

/// Draws from distributions.
struct Dice {
    random: ChaCha12Rng,
    /// The second of a pair of normal variates.
    spare: Option<f64>,
}

impl Dice {
    fn happens(&mut self, chance: f64) -> bool {
        self.random.random::<f64>() < chance
    }

    fn between(&mut self, (low, high): (f64, f64)) -> f64 {
        self.random.random_range(low..high)
    }

    /// A standard normal variate, by the polar method of Marsaglia and Bray (SIAM Review 6, 1964, 260).
    fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        loop {
            let (u, v) = (self.between((-1.0, 1.0)), self.between((-1.0, 1.0)));
            let s = u * u + v * v;
            if s > 0.0 && s < 1.0 {
                let scale = (-2.0 * s.ln() / s).sqrt();
                self.spare = Some(v * scale);
                return u * scale;
            }
        }
    }

    /// Whole days on the shelf: exponential, but never longer than the most.
    fn shelf_days(&mut self) -> i32 {
        let (mean, most) = SHELF_DAYS;
        (-(1.0 - self.random.random::<f64>()).ln() * mean).min(most) as i32
    }

    /// Mostly 0.
    fn gross_error(&mut self) -> f64 {
        if !self.happens(GROSS) {
            return 0.0;
        }
        let size = self.between(GROSS_MAH);
        if self.happens(GROSS_DOWN) { -size } else { size }
    }
}
