//! The invented world behind the demo: packs that fade, players that come and go. The ledger never sees it, only the scans.

use std::collections::VecDeque;

use jiff::civil::Date;
use rand::{Rng, RngExt};
use rand_chacha::ChaCha12Rng;

use crate::domain::moment::days_between;
use crate::domain::tag::Tag;

/// A pack as it really is.
#[derive(Debug, Clone)]
pub struct Pack {
    /// Its tag.
    pub tag: Tag,
    /// Which make.
    pub make: usize,
    /// Capacity when made, mAh.
    base_mah: i64,
    /// Loss by age, thousandths of a mAh a day.
    daily: i64,
    /// Loss by use, thousandths of a mAh a cycle.
    cyclic: i64,
    /// Loss by disuse that a round brings back, mAh.
    rest_mah: i64,
    /// Cycles so far, thousandths.
    cycles: i64,
    made: Date,
}

impl Pack {
    /// Draws a pack of a make with a rated capacity, from a lot that ages at `fade` per cent of the usual.
    pub fn draw(
        random: &mut ChaCha12Rng,
        tag: Tag,
        make: usize,
        rated_mah: i64,
        made: Date,
        fade: i64,
    ) -> Self {
        let spread = bell(random, 28);
        // Most packs age alike; some age two or four times as fast.
        let luck = match random.random_range(0..100) {
            0..70 => 100,
            70..90 => 190,
            _ => 340,
        };
        Self {
            tag,
            make,
            base_mah: rated_mah * 1045 / 1000 + spread * rated_mah / 1100,
            daily: 95 * fade * luck / 10_000,
            cyclic: 700 * fade * luck / 10_000,
            rest_mah: 0,
            cycles: 0,
            made,
        }
    }

    /// What it holds on a day, mAh.
    pub fn capacity_mah(&self, day: Date) -> i64 {
        let aged = self.daily * days_between(self.made, day) / 1000;
        let used = self.cyclic * (self.cycles / 1000) / 1000;
        (self.base_mah - aged - used - self.rest_mah).max(60)
    }

    /// A loan of so many days at so many hundredths of an hour a day.
    pub fn use_up(&mut self, random: &mut ChaCha12Rng, hundredths: i64, draw_ua: i64, rated_mah: i64) {
        self.cycles += hundredths * draw_ua / 100 / rated_mah.max(1);
        self.rest_mah += random.random_range(0..14);
    }

    /// A round brings most of what disuse took back.
    pub fn round(&mut self) {
        self.rest_mah = self.rest_mah * 15 / 100;
        self.cycles += 3000;
    }

    /// What a slot reads: capacity with its bias and the noise of a test.
    pub fn read(&self, random: &mut ChaCha12Rng, day: Date, bias_per_mille: i64) -> i64 {
        let capacity = self.capacity_mah(day);
        (capacity + capacity * bias_per_mille / 1000 + bell(random, 9)).max(60)
    }

    /// Internal resistance, hundredths of a milliohm: grows as the capacity goes.
    pub fn resistance(&self, random: &mut ChaCha12Rng, day: Date) -> i64 {
        let lost = (self.base_mah - self.capacity_mah(day)).max(0);
        9_500 + lost * 18 + bell(random, 250)
    }
}

/// A player.
#[derive(Debug, Clone)]
pub struct Player {
    /// Its tag.
    pub tag: Tag,
    /// Which make.
    pub make: usize,
    /// The pack in it.
    pub pack: Option<usize>,
    /// When it really comes back, and since when it is out.
    pub out: Option<(Date, Date)>,
    /// It is not in the ledger yet.
    pub unlabelled: bool,
}

/// A slot of a bench.
#[derive(Debug, Clone)]
pub struct Slot {
    /// Its tag.
    pub tag: Tag,
    /// How far off it reads, per mille.
    pub bias: i64,
    /// The pack in it, and whether a round comes first.
    pub holds: Option<(usize, bool)>,
}

/// A workshop with its trays.
#[derive(Debug, Clone, Default)]
pub struct Workshop {
    /// Its slots.
    pub slots: Vec<Slot>,
    /// Its players.
    pub players: Vec<Player>,
    /// Packs to measure.
    pub measure: VecDeque<usize>,
    /// Packs to recondition.
    pub recondition: VecDeque<usize>,
    /// Fit packs.
    pub fit: Vec<usize>,
    /// Packs that wait.
    pub waiting: Vec<usize>,
}

/// A bell-shaped draw with about this standard deviation: the sum of twelve uniform ones (Irwin-Hall).
pub fn bell(random: &mut impl Rng, deviation: i64) -> i64 {
    let sum: i64 = (0..12).map(|_| random.random_range(0..=1000_i64)).sum();
    (sum - 6000) * deviation / 1000
}
