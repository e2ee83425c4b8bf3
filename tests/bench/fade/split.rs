//! A fleet cut at a day: what was known before it, and each pack's next reading as the case to forecast.
//!
//! A method learns from what was known, and is told of a case its pack, day and use. The capacity of a case is there to score
//! by; a forecast that looks at it is a fraud. Rehearsals are the same game played within what was known.

use super::world::{Read, World};

/// The day at which fleets are cut: the last packs have just arrived.
pub(crate) const CUT_DAY: i32 = 1500;
/// Rehearsals reach this many days back from the cut.
pub(crate) const REHEARSED_DAYS: i32 = 400;

/// What was known of a pack.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Known<'a> {
    /// Its make.
    pub(crate) make: u16,
    /// Its lot.
    pub(crate) lot: u16,
    /// Its readings; at least one.
    pub(crate) reads: &'a [Read],
    /// Days of its rounds of reconditioning.
    pub(crate) rounds: &'a [i32],
}

impl Known<'_> {
    /// What was known before a day.
    fn before(self, day: i32) -> Self {
        let reads = self.reads.partition_point(|read| read.day < day);
        let rounds = self.rounds.partition_point(|round| *round < day);
        Self {
            reads: self.reads.get(..reads).unwrap_or_default(),
            rounds: self.rounds.get(..rounds).unwrap_or_default(),
            ..self
        }
    }

    /// The case of the first reading after what was known, of a pack that was not yet below the limit.
    fn case(self, pack: usize, next: &Read, limit: f64) -> Option<Case> {
        let last = self.reads.last()?;
        (last.mah >= limit).then_some(Case {
            pack,
            day: next.day,
            use_: next.use_,
            slot: next.slot,
            mah: next.mah,
            event: next.mah < limit,
        })
    }
}

/// A reading to forecast.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Case {
    /// The place of its pack in [`Split::known`].
    pub(crate) pack: usize,
    /// Its day.
    pub(crate) day: i32,
    /// The pack's use by then, in hundreds of cycles.
    pub(crate) use_: f64,
    /// Its slot; not known before the reading.
    pub(crate) slot: u16,
    /// Its capacity in mAh; not known before the reading.
    pub(crate) mah: f64,
    /// Whether it is below the limit; not known before the reading.
    pub(crate) event: bool,
}

/// A fleet that was cut.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Split<'a> {
    /// Packs that were read before the cut.
    pub(crate) known: Vec<Known<'a>>,
    /// The next reading of each pack that was known, not below the limit, and read again.
    pub(crate) cases: Vec<Case>,
    /// The day of the cut.
    pub(crate) cut: i32,
    /// How many slots there are.
    pub(crate) slots: usize,
    /// Below this capacity packs are retired, in mAh.
    pub(crate) limit: f64,
}

impl<'a> Split<'a> {
    /// Cuts a fleet: a reading of the day of the cut was not known.
    pub(crate) fn at(world: &'a World, cut: i32) -> Self {
        let (mut known, mut cases) = (Vec::with_capacity(world.packs.len()), Vec::new());
        for pack in &world.packs {
            let all = Known { make: pack.make, lot: pack.lot, reads: &pack.reads, rounds: &pack.rounds };
            let before = all.before(cut);
            if before.reads.is_empty() {
                continue;
            }
            let next = pack.reads.get(before.reads.len());
            cases.extend(next.and_then(|next| before.case(known.len(), next, world.limit)));
            known.push(before);
        }
        Self { known, cases, cut, slots: world.slots, limit: world.limit }
    }

    /// What was known of the pack of a case, or of a rehearsal, before its day.
    pub(crate) fn before(&self, case: &Case) -> Option<Known<'a>> {
        self.known.get(case.pack).map(|known| known.before(case.day))
    }

    /// The readings of the last days before the cut as cases, each to be forecast from what was known before it.
    ///
    /// All of them rather than the last of each pack: whether a reading was a pack's last hangs on what it was.
    pub(crate) fn rehearsals(&self, days: i32) -> Vec<Case> {
        let mut cases = Vec::new();
        for (pack, known) in self.known.iter().enumerate() {
            let recent = known.reads.iter().filter(|read| read.day >= self.cut - days);
            cases.extend(recent.filter_map(|read| known.before(read.day).case(pack, read, self.limit)));
        }
        cases
    }
}

/// The outcomes of cases.
pub(crate) fn events(cases: &[Case]) -> Vec<bool> {
    cases.iter().map(|case| case.event).collect()
}
