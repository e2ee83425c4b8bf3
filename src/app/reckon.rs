//! What reports of the whole fleet need of each pack and player, worked out from its facts alone: once, and kept until something about it
//! changes ([`kept`]).
//!
//! A pack is judged as of the end of a day, and what is to come of it is foretold as from the beginning of the month, or from its last
//! entry if that is later. So what is reckoned of a pack stays true until an entry touches it, the settings change, the month
//! ends, or a day comes on which the judge says something else without any news ([`Frame::pack_until`]).

mod counts;
mod course;
pub(crate) mod kept;
mod life;
mod near;
mod player;
mod risk;
mod time;

use std::collections::HashMap;

use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde::{Deserialize, Serialize};

use crate::domain::event::Origin;
use crate::domain::facts::CartonFacts;
use crate::domain::ids::{CartonId, MakeId, PackId, PlayerId, PlayerMakeId};
use crate::domain::make::PlayerMake;
use crate::domain::moment::{Moment, day_after, days_between};
use crate::domain::pack::{Oddity, PackFacts};
use crate::domain::units::MilliampHours;
use crate::domain::verdict::{Rule, Verdict};
use crate::ledger::settings::Settings;
use crate::policy::limits::{limit, thirstiest};
use crate::policy::reason::Reason;

use super::foresight::Sight;
use super::review::{Month, Whereabouts};
use super::{judging, lookup, waste};
pub(crate) use counts::{Counts, Sums};
pub(crate) use near::{Ends, Near};
pub(crate) use player::Player;
pub(crate) use time::{Look, MILLION, MONTHS, Share, TimeSums, Times, days_out};

/// An identity as it is kept.
pub(crate) type Raw = [u8; 16];

/// The value of a chance of one; chances are kept as 65,535ths.
pub(crate) const CERTAIN: f64 = 65_535.0;

/// What is to come of a pack.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) enum Foreseen {
    /// It is not asked about: waste, missing, at its end, of no known make, or nothing is foretold.
    Nothing,
    /// The chance of being below its limit at first and at the end of each month, in 65,535ths; no months where it is none.
    Course(u16, Vec<u16>),
    /// It was never read, and goes by the wear of its make: the day from which its age counts.
    Worn(i32),
    /// Nothing can be said.
    Unknown,
}

/// What reports need of one pack.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Reckoned {
    pub(crate) label: String,
    pub(crate) make: Option<Raw>,
    pub(crate) lot: Option<Raw>,
    /// The player that it rides in.
    pub(crate) player: Option<Raw>,
    /// Its carton, if it was read in the month.
    pub(crate) sampled: Option<Raw>,
    pub(crate) place: Whereabouts,
    pub(crate) verdict: Verdict,
    /// The gravest rule that speaks, if any.
    pub(crate) rule: Option<Rule>,
    pub(crate) due: Option<Date>,
    /// What its last reading gave, mAh.
    pub(crate) capacity: Option<u32>,
    /// Ages in days at entering and leaving, and whether it failed.
    pub(crate) life: Option<(u32, u32, bool)>,
    pub(crate) near: Option<Near>,
    /// It was lent before.
    pub(crate) in_service: bool,
    /// It is missing, or nobody saw it for long.
    pub(crate) lost: bool,
    pub(crate) seen: Option<Date>,
    /// Since when it is waste, whether it is packed, and whether it is damaged.
    pub(crate) waste: Option<(Date, bool, bool)>,
    /// The days of the month on which it was read, one for each reading.
    pub(crate) readings: Vec<i8>,
    /// The days of the month of its rounds.
    pub(crate) rounds: Vec<i8>,
    pub(crate) odd: Vec<(Date, Oddity)>,
    pub(crate) foreseen: Foreseen,
    /// The chance of falling short until it is back, where it is too high, in 65,535ths.
    pub(crate) risk: Option<u16>,
    pub(crate) times: Option<Times>,
    pub(crate) looks: Vec<Look>,
}

/// How far, and as from when, is foretold.
#[derive(Debug, Clone)]
pub(crate) struct Foretell {
    /// As from then, or a pack's last entry if that is later.
    pub(crate) from: Moment,
    /// The first days of the months that are looked at.
    pub(crate) months: Vec<Date>,
    /// The share of days that packs are out.
    pub(crate) share: Share,
}

impl Foretell {
    /// So many months, the one that `from` lies in among them.
    pub(crate) fn months(from: Moment, months: u32, share: Share, zone: &TimeZone) -> Self {
        let mut first = from.day(zone).first_of_month();
        let mut all = Vec::new();
        for _ in 0..months {
            all.push(first);
            first = Month::of(first).next();
        }
        Self { from, months: all, share }
    }
}

/// What all packs are reckoned by.
#[derive(Debug)]
pub(crate) struct Frame {
    pub(crate) settings: Settings,
    pub(crate) zone: TimeZone,
    /// The month.
    pub(crate) begin: Moment,
    /// Packs are judged as of then.
    pub(crate) as_of: Moment,
    /// None where nothing is foretold.
    pub(crate) foretell: Option<Foretell>,
    pub(crate) cartons: HashMap<CartonId, CartonFacts>,
    /// The makes of players that are out.
    pub(crate) players: HashMap<PlayerId, PlayerMakeId>,
}

/// The last moment of a day.
pub(crate) fn end_of(day: Date, zone: &TimeZone) -> Moment {
    Moment::start_of(day.tomorrow().unwrap_or(day), zone).plus_millis(-1)
}

/// Days from 1970 on.
pub(crate) fn number(day: Date) -> i32 {
    i32::try_from(days_between(Date::constant(1970, 1, 1), day)).unwrap_or(i32::MAX)
}

#[expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "held between nothing and certainty"
)]
fn kept_chance(chance: f64) -> u16 {
    (chance.clamp(0.0, 1.0) * CERTAIN).round() as u16
}

impl Frame {
    /// The day as of which packs are judged.
    pub(crate) fn today(&self) -> Date {
        self.as_of.day(&self.zone)
    }

    /// What a pack must hold in service, in the thirstiest player that it fits.
    pub(crate) fn limit_of(&self, pack: &PackFacts, origin: Origin) -> Option<MilliampHours> {
        let make = self.settings.makes.get(&pack.make?)?;
        limit(&self.settings.policy, origin, make, thirstiest(make, &self.settings.players))
    }

    /// Reckons a pack whose last entry has a clock value; none for one that counts for nothing, as its act was taken back or it is told
    /// with the record that it belongs to.
    pub(crate) fn pack(&self, id: PackId, last: i64, pack: &PackFacts) -> Option<Reckoned> {
        Some(self.one(id, last, pack)?.reckoned())
    }

    /// The same, with the last day of the month on which it is still true if nothing is entered.
    pub(crate) fn pack_until(&self, id: PackId, last: i64, pack: &PackFacts) -> Option<(Reckoned, Date)> {
        let one = self.one(id, last, pack)?;
        Some((one.reckoned(), one.until()))
    }

    fn one<'a>(&'a self, id: PackId, last: i64, pack: &'a PackFacts) -> Option<One<'a>> {
        if pack.added.is_none() || pack.joined.is_some() {
            return None;
        }
        let sight = judging::sight(&self.settings, (id, pack), None, self.as_of);
        Some(One { frame: self, id, last, pack, place: Whereabouts::of(pack), sight })
    }

    /// Why a pack may not go out, gravest first, as of the day.
    pub(crate) fn reasons(&self, id: PackId, pack: &PackFacts) -> Vec<Reason> {
        self.one(id, 0, pack).map_or_else(Vec::new, |one| one.reasons(self.as_of))
    }

    /// True for a pack that should be here and is missing, or was not seen for long.
    fn is_lost(&self, pack: &PackFacts, at: Moment) -> bool {
        let unseen = || {
            let days = pack.last_seen().map_or(0, |seen| at.days_since(seen));
            pack.loan.is_none() && days > i64::from(self.settings.policy.lost_after_days)
        };
        pack.missing.is_some() || unseen()
    }

    /// As from when is foretold of a pack whose last entry has a clock value.
    fn from(&self, last: i64) -> Option<Moment> {
        let from = self.foretell.as_ref()?.from;
        Some(from.max(crate::ledger::entry::moment_of(last)))
    }

    /// The make of the player that a pack is out with, as far as it is known.
    fn player_of(&self, pack: &PackFacts) -> Option<&PlayerMake> {
        let player = self.players.get(&pack.loan.and(pack.ride)?.player)?;
        self.settings.player_makes.get(player)
    }

    /// What a pack must hold in service: in the player that it is out with, or in the thirstiest that it fits.
    fn service_limit(&self, pack: &PackFacts) -> Option<MilliampHours> {
        let make = self.settings.makes.get(&pack.make?)?;
        let player = self.player_of(pack).or_else(|| thirstiest(make, &self.settings.players));
        limit(&self.settings.policy, Origin::Service, make, player)
    }
}

/// A pack while it is reckoned.
pub(crate) struct One<'a> {
    frame: &'a Frame,
    id: PackId,
    /// The clock of its last entry.
    last: i64,
    pack: &'a PackFacts,
    place: Whereabouts,
    /// What the model says of it, as of the day.
    sight: Option<Sight<'a>>,
}

/// What the judge says, as far as lists tell it apart.
type Said = (Vec<(Rule, Verdict)>, bool);

impl One<'_> {
    fn reckoned(&self) -> Reckoned {
        let (frame, pack, place) = (self.frame, self.pack, self.place);
        let reasons = self.reasons(frame.as_of);
        let life = frame.limit_of(pack, Origin::Service).and_then(|limit| life::life(pack, limit, &reasons));
        let verdict = reasons.first().map_or(Verdict::Fit, |reason| reason.verdict);
        let from = frame.from(self.last);
        let sight = from.and_then(|from| self.sight_from(from));
        let foreseen = self.foreseen(&reasons, from.zip(sight.as_ref()), from);
        let risk = from.zip(sight.as_ref()).filter(|_| foreseen != Foreseen::Nothing);
        let risk = risk.and_then(|(from, sight)| frame.risk(pack, from, sight));
        let ends = Ends::of(&foreseen).filter(|_| pack.origin() == Origin::Service);
        let listed = matches!(verdict, Verdict::Recondition | Verdict::Recycle | Verdict::Isolate);
        let near =
            if listed || !place.active() { None } else { frame.near(pack, ends).map(|(near, _)| near) };
        let within = |at: Moment| at >= frame.begin && at <= frame.as_of;
        let days = |moments: &mut dyn Iterator<Item = Moment>| -> Vec<i8> {
            moments.filter(|&at| within(at)).map(|at| at.day(&frame.zone).day()).collect()
        };
        let readings = days(&mut pack.readings.iter().map(|reading| reading.at));
        let odd = pack.oddities.iter().filter(|(oddity, at)| match oddity {
            Oddity::Missing => pack.missing.is_some(), // else it was found again
            _ => within(*at),
        });
        Reckoned {
            label: lookup::label(&pack.codes),
            make: pack.make.map(|make| make.uuid().into_bytes()),
            lot: pack.lot.map(|lot| lot.uuid().into_bytes()),
            player: pack.ride.map(|ride| ride.player.uuid().into_bytes()),
            sampled: pack.carton.filter(|_| !readings.is_empty()).map(|carton| carton.uuid().into_bytes()),
            place,
            verdict,
            rule: reasons.first().map(|reason| reason.rule),
            due: pack.loan.map(|loan| loan.due),
            capacity: pack.readings.last().map(|reading| reading.capacity.raw()),
            life,
            near,
            in_service: pack.origin() == Origin::Service,
            lost: place.active() && frame.is_lost(pack, frame.as_of),
            seen: pack.last_seen().map(|at| at.day(&frame.zone)),
            waste: pack
                .retired
                .filter(|_| pack.left().is_none())
                .map(|at| (at.day(&frame.zone), pack.consigned.is_some(), waste::is_damaged(pack))),
            readings,
            rounds: days(&mut pack.rounds.iter().copied()),
            odd: odd.map(|&(oddity, at)| (at.day(&frame.zone), oddity)).collect(),
            foreseen,
            risk: risk.map(|risk| kept_chance(risk.chance)),
            times: time::times(pack, place),
            looks: frame.looks(pack),
        }
    }

    /// The last day of the month on which what was reckoned is still true if nothing is entered.
    ///
    /// As time passes, reasons are only added or grow graver: what is said today and again on the last day is said all the time between,
    /// and where the two differ there is one day from which the difference shows.
    fn until(&self) -> Date {
        let (today, last) = (self.frame.today(), self.frame.today().last_of_month());
        let now = self.said(self.frame.as_of);
        let same = |day: Date| self.said(end_of(day, &self.frame.zone)) == now;
        if today >= last || same(last) {
            return last;
        }
        let (mut good, mut bad) = (today, last);
        loop {
            let middle = day_after(good, days_between(good, bad) / 2);
            if middle <= good {
                return good;
            }
            if same(middle) { good = middle } else { bad = middle }
        }
    }

    fn said(&self, at: Moment) -> Said {
        let reasons = self.reasons(at);
        let said = reasons.iter().map(|reason| (reason.rule, reason.verdict)).collect();
        (said, self.frame.is_lost(self.pack, at))
    }

    /// Why the pack may not go out, gravest first, as of a moment.
    fn reasons(&self, at: Moment) -> Vec<Reason> {
        let frame = self.frame;
        let sight = self.sight_on(at, None);
        let by = (&frame.settings, &frame.cartons);
        let mut reasons = judging::reasons((self.id, self.pack), by, sight.as_ref(), (at, &frame.zone));
        if self.place == Whereabouts::Out {
            // Stale readings and old charges matter when a pack goes out, not while it is out.
            reasons.retain(|reason| !matches!(reason.rule, Rule::Stale | Rule::Charge));
        }
        reasons
    }

    /// What the model says as of a moment, in a player or in the thirstiest that the pack fits.
    fn sight_on(&self, at: Moment, player: Option<&PlayerMake>) -> Option<Sight<'_>> {
        let settings = &self.frame.settings;
        let make = settings.makes.get(&self.pack.make?)?;
        let player = player.or_else(|| thirstiest(make, &settings.players));
        self.sight.as_ref()?.on((self.id, self.pack), (Some(make), player), &settings.policy, at)
    }

    /// What the model says as from a moment, in the player that the pack is out with.
    fn sight_from(&self, from: Moment) -> Option<Sight<'_>> {
        self.sight_on(from, self.frame.player_of(self.pack))
    }

    fn foreseen(
        &self,
        reasons: &[Reason],
        sight: Option<(Moment, &Sight<'_>)>,
        from: Option<Moment>,
    ) -> Foreseen {
        let (frame, pack) = (self.frame, self.pack);
        let known = |make: &MakeId| frame.settings.makes.contains_key(make);
        let ends = |reason: &Reason| matches!(reason.verdict, Verdict::Recycle | Verdict::Isolate);
        let Some(foretell) = frame.foretell.as_ref().filter(|_| from.is_some()) else {
            return Foreseen::Nothing;
        };
        if !self.place.in_use() || !pack.make.as_ref().is_some_and(known) || reasons.iter().any(ends) {
            return Foreseen::Nothing;
        }
        let Some(limit) = frame.service_limit(pack) else { return Foreseen::Unknown };
        let Some((from, sight)) = sight else {
            return time::born(pack).map_or(Foreseen::Unknown, Foreseen::Worn);
        };
        let (lag, pace) = (time::lag(pack, sight.pace(), from), frame.pace(pack, sight.pace(), from));
        let chance = |days: u32| sight.chance_then(limit, days, lag + pace * f64::from(days)).clamp(0.0, 1.0);
        let day = from.day(&frame.zone);
        let ends = foretell
            .months
            .iter()
            .map(|&first| u32::try_from(days_between(day, Month::of(first).next())).unwrap_or(0));
        let (now, months) = course::along(&ends.collect::<Vec<u32>>(), chance);
        let months: Vec<u16> = months.into_iter().map(kept_chance).collect();
        let nothing = months.iter().all(|&chance| chance == 0);
        Foreseen::Course(kept_chance(now), if nothing { Vec::new() } else { months })
    }
}

impl Reckoned {
    /// It may go out, and is here.
    pub(crate) fn fit_here(&self) -> bool {
        self.verdict == Verdict::Fit && matches!(self.place, Whereabouts::InPlayer | Whereabouts::InWorkshop)
    }
}
