//! Working a review out: each pack is judged as of its day, and put on the lists that it belongs to.

use std::collections::{BTreeMap, HashMap, HashSet};

use crate::app::ahead::Ends;
use crate::app::answer::hours;
use crate::app::{judging, lookup, waste};
use crate::domain::event::Origin;
use crate::domain::facts::{CartonFacts, Facts, LotFacts, PlayerFacts};
use crate::domain::ids::{CartonId, LotId, MakeId, PackId, PlayerMakeId, SlotId, Thing};
use crate::domain::moment::Moment;
use crate::domain::pack::{Oddity, PackFacts, ReadingFact};
use crate::domain::units::MilliampHours;
use crate::domain::verdict::{Rule, Verdict};
use crate::ledger::settings::Settings;
use crate::policy::limits::{limit, thirstiest};
use crate::policy::reason::{Reason, Ruling};

use super::fleet::{self, Read};
use super::lists::{self, RoundLine};
use super::lives::Gathered;
use super::{Line, Odd, ReadingLine, Review, Whereabouts};

/// A review in the making.
pub(super) struct Work {
    pub(super) review: Review,
    pub(super) settings: Settings,
    pub(super) zone: jiff::tz::TimeZone,
    pub(super) begin: Moment,
    pub(super) as_of: Moment,
    pub(super) cartons: HashMap<CartonId, CartonFacts>,
    pub(super) slots: HashMap<SlotId, String>,
    /// Which pack says that it rides in which player.
    pub(super) riding: HashMap<PackId, (Thing, String)>,
    pub(super) lives: Gathered,
    pub(super) lots: BTreeMap<LotId, LotFacts>,
    /// Last readings, by make.
    pub(super) read: BTreeMap<MakeId, Read>,
    /// Fit packs here, by make.
    pub(super) fit: BTreeMap<MakeId, u32>,
    /// When packs are expected to reach their end.
    pub(super) ends: HashMap<PackId, Ends>,
    /// Cartons of which a pack was read in the month.
    pub(super) sampled: HashSet<CartonId>,
    pub(super) waste: waste::Tally,
}

impl Work {
    pub(super) fn take(&mut self, id: PackId, pack: &PackFacts) {
        if pack.added.is_none() || pack.joined.is_some() {
            return; // its act was taken back, or it is told with the record that it belongs to
        }
        let place = Whereabouts::of(pack);
        self.waste.take(&self.settings, pack);
        let mut ruling = judging::loose((id, pack), &self.settings, &self.cartons, (self.as_of, &self.zone));
        self.lives.take(pack, self.limit_of(pack, Origin::Service), &ruling);
        if place == Whereabouts::Out {
            // Stale readings and old charges matter when a pack goes out, not while it is out.
            ruling.reasons.retain(|reason| !matches!(reason.rule, Rule::Stale | Rule::Charge));
            ruling.verdict = ruling.reasons.first().map_or(Verdict::Fit, |reason| reason.verdict);
        }
        if matches!(place, Whereabouts::WrittenOff | Whereabouts::Left | Whereabouts::Waste) {
            // It is in no list of the fleet: nobody can do anything with it, or it is told as waste.
            if place == Whereabouts::Waste
                && let Some(reason) =
                    ruling.reasons.first().filter(|reason| reason.verdict == Verdict::Isolate)
            {
                let line = self.line(pack, place, reason);
                self.review.isolate.push(line);
            }
            if let Some(standing) = self.review.fleet.iter_mut().find(|standing| standing.place == place) {
                *standing.counts.entry(ruling.verdict).or_default() += 1;
            }
            self.month(pack);
            return;
        }
        self.review.packs += 1;
        if ruling.verdict == Verdict::Fit && matches!(place, Whereabouts::InPlayer | Whereabouts::InWorkshop)
        {
            self.review.ready += 1;
            if let Some(make) = pack.make {
                *self.fit.entry(make).or_default() += 1;
            }
        }
        self.capacity(pack);
        self.review.lost.extend(lists::lost(self, pack));
        if let Some(standing) = self.review.fleet.iter_mut().find(|standing| standing.place == place) {
            *standing.counts.entry(ruling.verdict).or_default() += 1;
        }
        if let Some(ride) = pack.ride {
            self.riding.insert(id, (ride.player.into(), lookup::label(&pack.codes)));
        }
        self.list((id, pack), place, &ruling);
        self.month(pack);
    }

    /// Counts what its last reading gave.
    fn capacity(&mut self, pack: &PackFacts) {
        let Some((id, make)) = pack.make.and_then(|id| Some((id, self.settings.makes.get(&id)?))) else {
            return;
        };
        let Some(reading) = pack.readings.last() else { return };
        let must = self.limit_of(pack, Origin::Service);
        self.read.entry(id).or_default().take(reading.capacity, make.rated, must);
    }

    fn list(&mut self, (id, pack): (PackId, &PackFacts), place: Whereabouts, ruling: &Ruling) {
        let grave = ruling.reasons.first();
        match (ruling.verdict, grave) {
            (Verdict::Recondition, Some(reason)) => {
                let line = self.line(pack, place, reason);
                self.review.recondition.push(line);
            }
            (Verdict::Recycle, Some(reason)) => {
                let line = self.line(pack, place, reason);
                self.review.recycle.push(line);
            }
            (Verdict::Isolate, Some(reason)) => {
                let line = self.line(pack, place, reason);
                self.review.isolate.push(line);
            }
            _ => {
                let near = self.near((id, pack), place);
                self.review.near_end.extend(near);
            }
        }
        if let (Whereabouts::Out, Some(reason)) = (place, grave) {
            let line = self.line(pack, place, reason);
            self.review.out_at_risk.push(line);
        }
    }

    pub(super) fn line(&self, pack: &PackFacts, place: Whereabouts, reason: &Reason) -> Line {
        Line {
            pack: lookup::label(&pack.codes),
            make: self.make_name(pack),
            place,
            rule: reason.rule,
            found: reason.found.clone(),
            limit: reason.limit.clone(),
            margin: reason.margin.clone(),
            play_h: self.play(pack, pack.readings.last()),
            due: pack.loan.map(|loan| loan.due),
            coming: None,
            id: PackId::new(uuid::Uuid::nil()),
            within_margin: false,
            nearness: 0,
        }
    }

    pub(super) fn make_name(&self, pack: &PackFacts) -> String {
        let make = pack.make.and_then(|make| self.settings.makes.get(&make));
        make.map_or_else(|| "unknown".to_owned(), |make| make.name.clone())
    }

    fn play(&self, pack: &PackFacts, reading: Option<&ReadingFact>) -> Option<f64> {
        let make = self.settings.makes.get(&pack.make?)?;
        let player = thirstiest(make, &self.settings.players)?;
        reading?.capacity.play(player.draw).map(hours)
    }

    pub(super) fn limit_of(&self, pack: &PackFacts, origin: Origin) -> Option<MilliampHours> {
        let make = self.settings.makes.get(&pack.make?)?;
        limit(&self.settings.policy, origin, make, thirstiest(make, &self.settings.players))
    }

    /// What the month brought to a pack.
    fn month(&mut self, pack: &PackFacts) {
        let (begin, end) = (self.begin, self.as_of);
        let within = move |at: Moment| at >= begin && at <= end;
        let label = lookup::label(&pack.codes);
        let limit = self.limit_of(pack, pack.origin());
        let rated = pack.make.and_then(|make| self.settings.makes.get(&make)).map(|make| make.rated);
        for reading in pack.readings.iter().filter(|reading| within(reading.at)) {
            let health = rated.and_then(|rated| reading.capacity.per_mille_of(rated));
            self.review.readings.push(ReadingLine {
                day: reading.at.day(&self.zone),
                pack: label.clone(),
                make: self.make_name(pack),
                capacity_mah: reading.capacity.raw(),
                limit_mah: limit.map(MilliampHours::raw),
                play_h: self.play(pack, Some(reading)),
                health_percent: health.map(|per_mille| f64::from(per_mille) / 10.0),
                slot: reading.slot.and_then(|slot| self.slots.get(&slot).cloned()),
            });
        }
        if let Some(carton) = pack.carton.filter(|_| pack.readings.iter().any(|reading| within(reading.at))) {
            self.sampled.insert(carton);
        }
        for (place, &at) in pack.rounds.iter().enumerate().filter(|(_, at)| within(**at)) {
            self.review.rounds = self.review.rounds.saturating_add(1);
            let next = pack.rounds.get(place + 1).copied();
            let before = pack.readings.iter().rev().find(|reading| reading.at <= at);
            let after = pack
                .readings
                .iter()
                .find(|reading| reading.at > at && next.is_none_or(|next| reading.at <= next));
            self.review.round_lines.push(RoundLine {
                day: at.day(&self.zone),
                pack: label.clone(),
                make: self.make_name(pack),
                before_mah: before.map(|reading| reading.capacity.raw()),
                after_mah: after.map(|reading| reading.capacity.raw()),
                limit_mah: limit.map(MilliampHours::raw),
            });
        }
        for (oddity, at) in
            pack.oddities.iter().filter(|(oddity, at)| within(*at) || *oddity == Oddity::Missing)
        {
            if *oddity == Oddity::Missing && pack.missing.is_none() {
                continue; // it was found again
            }
            self.review.odd.push(Odd {
                day: Some(at.day(&self.zone)),
                thing: format!("pack {label}"),
                text: oddity.to_string(),
            });
        }
    }

    /// A player that says it holds a pack which says otherwise does not add up.
    pub(super) fn compare_players(&mut self, players: Vec<(Thing, Facts)>) {
        let mut here: BTreeMap<PlayerMakeId, u32> = BTreeMap::new();
        for (thing, facts) in players {
            let Ok(player) = PlayerFacts::try_from(facts) else { continue };
            if let Some(make) = player.make.filter(|_| fleet::is_here(&player)) {
                *here.entry(make).or_default() += 1;
            }
            let Some((_, pack)) = player.ride else { continue };
            let label = lookup::label(&player.codes);
            let text = match self.riding.get(&pack) {
                Some((other, _)) if *other == thing => continue,
                Some((_, pack)) => format!("pack {pack} should be in it, and rides in another player"),
                None => "a pack should be in it that rides in no player".to_owned(),
            };
            self.review.odd.push(Odd { day: None, thing: format!("player {label}"), text });
        }
        self.review.players = fleet::can_go(&self.settings, &self.fit, &here);
        self.review.can_go = self.review.players.iter().map(|row| row.can_go).sum();
    }

    pub(super) fn finish(mut self) -> Review {
        let review = &mut self.review;
        // What the model foretells comes first, by month; then what is near a limit.
        let soon = |line: &Line| {
            line.coming.as_ref().map_or_else(|| "9999".to_owned(), |coming| coming.month.clone())
        };
        review.near_end.sort_by_cached_key(|line| (soon(line), line.nearness, line.pack.clone()));
        review.lost.sort_by(|a, b| (a.seen, &a.pack).cmp(&(b.seen, &b.pack)));
        review.round_lines.sort_by(|a, b| (a.day, &a.pack).cmp(&(b.day, &b.pack)));
        review.cartons = lists::cartons(&self.settings, (&self.cartons, &self.lots), &self.sampled);
        for (id, read) in std::mem::take(&mut self.read) {
            if let Some(make) = self.settings.makes.get(&id) {
                review.capacities.push(read.finish(make.name.clone(), make.rated));
            }
        }
        review.capacities.sort_by(|a, b| a.make.cmp(&b.make));
        review.waste = self.waste.finish();
        for list in
            [&mut review.recondition, &mut review.recycle, &mut review.isolate, &mut review.out_at_risk]
        {
            list.sort_by(|a, b| (a.due, a.rule, &a.pack).cmp(&(b.due, b.rule, &b.pack)));
        }
        review.readings.sort_by(|a, b| (a.day, &a.pack).cmp(&(b.day, &b.pack)));
        review.odd.sort_by(|a, b| (a.day, &a.thing, &a.text).cmp(&(b.day, &b.thing, &b.text)));
        let names = self.settings.makes.iter().map(|(&make, spec)| (make, spec.name.clone())).collect();
        review.lives = self.lives.finish(&names, &self.lots);
        self.review
    }
}
