//! What the fleet's model says of one pack, in the judge's units.

mod among_few;

use std::rc::Rc;

use crate::domain::ids::PackId;
use crate::domain::make::{PackMake, PlayerMake};
use crate::domain::moment::Moment;
use crate::domain::pack::PackFacts;
use crate::domain::units::{MilliampHours, PlayHours};
use crate::ledger::learnt::{Seer, day};
use crate::policy::foresight::{Chance, Foresight, Holding, Lifted};
use crate::policy::rules::Policy;
use crate::stats::fade::bend::Outlook;
use crate::stats::fade::learning::dense;
use crate::stats::fade::model::{Seen, When};

/// Chances of the ends of what is said of a capacity: a 90 % interval.
const ENDS: [f64; 2] = [0.05, 0.95];

/// A model that has taken in one pack's past.
#[derive(Debug)]
pub struct Sight<'a> {
    seer: &'a Seer,
    seen: Rc<Seen>,
    now: When,
    /// Cycles of a day on loan.
    pace: f64,
    /// Where the fleet is of few packs that are read often.
    few: Option<among_few::Among>,
}

impl<'a> Sight<'a> {
    /// Takes in a pack; none when it was never read, or its make is not known to the model.
    pub fn of(
        seer: &'a Seer,
        (id, pack): (PackId, &PackFacts),
        (make, player): (Option<&PackMake>, Option<&PlayerMake>),
        policy: &Policy,
        now: Moment,
    ) -> Option<Self> {
        let history = seer.history(pack)?;
        if history.readings.is_empty() {
            return None;
        }
        let mut seen = Seen::default();
        seer.predictor.see(&history.pack(), &mut seen);
        let pace = pace(policy, make?, player);
        let now = When { day: day(now), cycles: f64::from(pack.cycles().raw()) / 1000.0 };
        let few = seer.few.as_ref().and_then(|few| {
            let target = dense::series(seer.predictor.model(), &history.pack());
            let measure = seer.predictor.model().clocks.of(history.group).measure;
            among_few::Among::new(few, id, target, (measure, now, history.born, pace))
        });
        Some(Self { seer, seen: Rc::new(seen), now, pace, few })
    }

    /// The same pack as of another moment, in a player or in the thirstiest that it fits, without taking its past in again.
    pub(crate) fn on(
        &self,
        (id, pack): (PackId, &PackFacts),
        (make, player): (Option<&PackMake>, Option<&PlayerMake>),
        policy: &Policy,
        now: Moment,
    ) -> Option<Self> {
        if self.few.is_some() {
            return Self::of(self.seer, (id, pack), (make, player), policy, now);
        }
        let now = When { day: day(now), ..self.now };
        Some(Self {
            seer: self.seer,
            seen: Rc::clone(&self.seen),
            now,
            pace: pace(policy, make?, player),
            few: None,
        })
    }

    /// What the pack will truly hold after days on loan.
    pub fn outlook(&self, days: u32) -> Outlook {
        self.seer.predictor.outlook(&self.seen, self.after(days))
    }

    /// The chance that the pack truly holds less than a limit after days, when so many more cycles went through it.
    pub fn chance_then(&self, limit: MilliampHours, days: u32, cycles: f64) -> f64 {
        let outlook = self.outlook_then(days, cycles);
        self.seer.predictor.chance_below(&outlook, f64::from(limit.raw()))
    }

    /// What it will truly hold then.
    pub fn holds_then(&self, days: u32, cycles: f64) -> Holding {
        holding(&self.outlook_then(days, cycles))
    }

    /// Cycles of a day on loan.
    pub const fn pace(&self) -> f64 {
        self.pace
    }

    fn outlook_then(&self, days: u32, cycles: f64) -> Outlook {
        let later = i32::try_from(days).unwrap_or(i32::MAX);
        let when = When { day: self.now.day.saturating_add(later), cycles: self.now.cycles + cycles };
        self.seer.predictor.outlook(&self.seen, when)
    }

    fn after(&self, days: u32) -> When {
        let later = i32::try_from(days).unwrap_or(i32::MAX);
        When {
            day: self.now.day.saturating_add(later),
            cycles: self.now.cycles + self.pace * f64::from(days),
        }
    }
}

/// Cycles that a day on loan costs a pack: the policy's hours of play at the player's draw.
pub fn pace(policy: &Policy, make: &PackMake, player: Option<&PlayerMake>) -> f64 {
    const DAYS: u32 = 1000;
    let hours = PlayHours::new(policy.hours_per_day.raw().saturating_mul(DAYS));
    player.map_or(0.0, |player| {
        f64::from(hours.cycles(player.draw, make.rated).raw()) / 1000.0 / f64::from(DAYS)
    })
}

fn holding(outlook: &Outlook) -> Holding {
    let [low, high] = ENDS.map(|share| whole(outlook.quantile(share)));
    Holding { expected: whole(outlook.mean()), low, high }
}

impl Foresight for Sight<'_> {
    fn holds(&self, days: u32) -> Holding {
        if let Some(level) = self.few.as_ref().and_then(|few| few.level(0, days)) {
            return Holding { expected: whole(level.median), low: whole(level.low), high: whole(level.high) };
        }
        holding(&self.outlook(days))
    }

    fn below(&self, limit: MilliampHours, days: u32) -> Chance {
        if let Some(level) = self.few.as_ref().and_then(|few| few.level(limit.raw(), days)) {
            return chance(level.below);
        }
        let outlook = self.outlook(days);
        chance(self.seer.predictor.chance_below(&outlook, f64::from(limit.raw())))
    }

    fn lifted_to(&self, limit: MilliampHours) -> Option<Lifted> {
        let outlook = self.seer.predictor.after_round(&self.seen, self.now);
        let (of_make, of_fleet) = self.seer.predictor.rounds_known(&self.seen);
        Some(Lifted { chance: chance(1.0 - outlook.below(f64::from(limit.raw()))), of_make, of_fleet })
    }

    fn overrun(&self) -> u32 {
        self.seer.overrun
    }

    fn worth_doubting(&self) -> Chance {
        Chance::millionths(self.seer.worth_doubting)
    }
}

#[expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "held within what the unit takes"
)]
fn whole(capacity: f64) -> MilliampHours {
    MilliampHours::new(capacity.round().clamp(0.0, f64::from(u32::MAX)) as u32)
}

#[expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "held between nothing and certainty"
)]
fn chance(chance: f64) -> Chance {
    Chance::millionths((chance.clamp(0.0, 1.0) * 1e6).round() as u32)
}
