//! Gathering a review from what was reckoned: which packs stand in which list, in which order. Only of those that are shown are the facts
//! read again, for the words of their lines.

use std::collections::{BTreeMap, HashMap, HashSet};

use jiff::civil::Date;
use uuid::Uuid;

use crate::app::listed::{Listed, Top};
use crate::app::reckon::{Counts, Ends, Frame, Near, Player, Raw, Reckoned};
use crate::app::{ahead, waste};
use crate::domain::event::Origin;
use crate::domain::facts::{Facts, LotFacts};
use crate::domain::ids::{CartonId, LotId, PackId, SlotId, ThingKind};
use crate::domain::pack::PackFacts;
use crate::domain::units::MilliampHours;
use crate::domain::verdict::{Rule, Verdict};
use crate::ledger::{Ledger, LedgerError};
use crate::policy::limits::{limit, thirstiest};

use super::deeds::Done;
use super::fleet::Read;
use super::lists::{self, Coming};
use super::lives::Gathered;
use super::{
    FANS, Fan, Figures, Line, Month, Odd, Review, Standing, Whereabouts, complaints, figures, lines,
};

/// The order of a list: soonest due first, then by rule and tag.
type Told = (Option<Date>, Rule, String, PackId);
/// Of what nears its end: what is foretold first, by month; then what is nearest to a limit.
type Nearing = (u8, Near, String, PackId, Option<Ends>);
/// Of what was done on a day of the month: the day, the tag, the pack, and which of its readings or rounds of the month.
type OnDay = (i8, String, PackId, usize);

/// What is gathered.
pub(super) struct Gather {
    near_end: Top<Nearing>,
    recondition: Top<Told>,
    recycle: Top<Told>,
    isolate: Top<Told>,
    out_at_risk: Top<Told>,
    lost: Top<(Option<Date>, String, PackId)>,
    readings: Top<OnDay>,
    rounds: Top<OnDay>,
    odd: Top<(Option<Date>, String, String)>,
    items: Top<(Date, String, PackId)>,
    waste: waste::Tally,
    lives: Gathered,
    /// Last readings by make, with what a pack must hold.
    read: BTreeMap<Raw, (Read, Option<u32>)>,
    /// Cartons of which a pack was read in the month.
    sampled: HashSet<CartonId>,
    ahead: ahead::Gather,
    at_risk: usize,
    isolate_out: usize,
}

impl Gather {
    pub(super) fn new(frame: &Frame, most: Option<usize>) -> Self {
        Self {
            near_end: Top::of(most),
            recondition: Top::of(most),
            recycle: Top::of(most),
            isolate: Top::of(most),
            out_at_risk: Top::of(most),
            lost: Top::of(most),
            readings: Top::of(most),
            rounds: Top::of(most),
            odd: Top::of(most),
            items: Top::of(most),
            waste: waste::Tally::new(&frame.settings, frame.today(), frame.zone.clone()),
            lives: Gathered::default(),
            read: BTreeMap::new(),
            sampled: HashSet::new(),
            ahead: ahead::Gather::new(frame, most),
            at_risk: 0,
            isolate_out: 0,
        }
    }

    pub(super) fn pack(&mut self, frame: &Frame, id: PackId, pack: &Reckoned) {
        self.ahead.take(id, pack);
        self.lives.take(pack);
        self.month(id, pack);
        if let Some(since) = pack.waste {
            self.waste.count(&frame.settings, pack.make.map(figures::make_id), since);
            self.items.push((since.0, pack.label.clone(), id));
        }
        let told = || Some((pack.due, pack.rule?, pack.label.clone(), id));
        if pack.verdict == Verdict::Isolate && (pack.place.active() || pack.place == Whereabouts::Waste) {
            self.isolate.extend(told());
            self.isolate_out += usize::from(pack.place == Whereabouts::Out);
        }
        if !pack.place.active() {
            return;
        }
        match pack.verdict {
            Verdict::Recondition => self.recondition.extend(told()),
            Verdict::Recycle => self.recycle.extend(told()),
            _ => {}
        }
        if pack.place == Whereabouts::Out {
            self.out_at_risk.extend(told());
            let falls = pack.rule.is_some_and(|rule| !matches!(rule, Rule::Notice | Rule::Finding));
            self.at_risk += usize::from(falls || pack.risk.is_some());
        }
        if let Some(near) = pack.near {
            let ends = Ends::of(&pack.foreseen).filter(|_| pack.in_service);
            let month = ends.map_or(u8::MAX, |ends| ends.expected);
            self.near_end.push((month, near, pack.label.clone(), id, ends));
        }
        if pack.lost {
            self.lost.push((pack.seen, pack.label.clone(), id));
        }
        self.capacity(frame, pack);
    }

    /// Counts what its last reading gave.
    fn capacity(&mut self, frame: &Frame, pack: &Reckoned) {
        let (Some(make), Some(capacity)) = (pack.make, pack.capacity) else { return };
        let Some(spec) = frame.settings.makes.get(&figures::make_id(make)) else { return };
        let (read, must) = self.read.entry(make).or_insert_with(|| {
            let player = thirstiest(spec, &frame.settings.players);
            let must = limit(&frame.settings.policy, Origin::Service, spec, player);
            (Read::default(), must.map(MilliampHours::raw))
        });
        read.take(capacity, spec.rated, *must);
    }

    /// What the month brought to a pack.
    fn month(&mut self, id: PackId, pack: &Reckoned) {
        for (number, &day) in pack.readings.iter().enumerate() {
            self.readings.push((day, pack.label.clone(), id, number));
        }
        for (number, &day) in pack.rounds.iter().enumerate() {
            self.rounds.push((day, pack.label.clone(), id, number));
        }
        for (day, oddity) in &pack.odd {
            self.odd.push((Some(*day), format!("pack {}", pack.label), oddity.to_string()));
        }
        self.sampled.extend(pack.sampled.map(|carton| CartonId::new(Uuid::from_bytes(carton))));
    }

    /// A player that says it holds a pack which says otherwise does not add up.
    pub(super) fn player(&mut self, player: Player) {
        if let Some(odd) = player.odd {
            self.odd.push((None, format!("player {}", player.label), odd));
        }
    }
}

/// What the words of the lines are made from.
pub(super) struct Lines<'a> {
    pub(super) ledger: &'a mut Ledger,
    pub(super) frame: &'a Frame,
    pub(super) clock: i64,
    /// The names of slots.
    pub(super) slots: &'a HashMap<SlotId, String>,
    pub(super) most: Option<usize>,
}

impl Lines<'_> {
    /// Puts a review together.
    pub(super) fn review(
        mut self,
        gather: Gather,
        (counts, done): (&Counts, &Done),
        month: Month,
    ) -> Result<Review, LedgerError> {
        let frame = self.frame;
        let settings = &frame.settings;
        let mut lots: BTreeMap<LotId, LotFacts> = BTreeMap::new();
        self.ledger.each_until(ThingKind::Lot, self.clock, |thing, _, facts| {
            if let Facts::Lot(lot) = facts {
                lots.insert(LotId::new(thing.id), lot);
            }
            Ok::<(), LedgerError>(())
        })?;
        let cartons = lists::cartons(settings, (&frame.cartons, &lots), &gather.sampled);
        let complaints =
            complaints::of(self.ledger, (settings, &frame.cartons), done, (self.clock, self.most))?;
        let ahead = gather.ahead.finish(self.ledger, frame, self.clock)?;
        let share = ahead.as_ref().map_or(1.0, |ahead| ahead.days_out_percent / 100.0);
        let (near_end, fans) = self.near(gather.near_end, share)?;
        let items = gather.items.listed(|(since, _, id)| {
            Ok::<_, LedgerError>(self.facts(*id)?.map(|pack| waste::item(settings, &pack, *since)))
        })?;
        let odd = gather.odd.listed(|(day, thing, text)| {
            Ok::<_, LedgerError>(Some(Odd { day: *day, thing: thing.clone(), text: text.clone() }))
        })?;
        let names = settings.makes.iter().map(|(&make, spec)| (make, spec.name.clone())).collect();
        let mut capacities = Vec::new();
        for (make, (read, _)) in gather.read {
            if let Some(make) = settings.makes.get(&figures::make_id(make)) {
                capacities.push(read.finish(make.name.clone(), make.rated));
            }
        }
        capacities.sort_by(|a, b| a.make.cmp(&b.make));
        let players = figures::can_go(settings, counts);
        Ok(Review {
            month: month.text(),
            as_of: frame.today(),
            policy: settings.policy.id.clone(),
            heads: super::heads(self.ledger, self.clock)?,
            packs: counts.packs,
            ready: counts.ready(),
            fleet: Whereabouts::ALL.map(|place| standing(counts, place)).to_vec(),
            near_end,
            recondition: self.told(gather.recondition)?,
            recycle: self.told(gather.recycle)?,
            isolate: self.told(gather.isolate)?,
            out_at_risk: self.told(gather.out_at_risk)?,
            readings: gather.readings.listed(|(.., id, number)| self.reading(*id, *number))?,
            odd,
            rounds: counts.rounds,
            deeds: done.count(),
            lives: gather.lives.finish(&names, &lots),
            can_go: players.iter().map(|row| row.can_go).sum(),
            players,
            figures: Figures::of(month, settings, counts, done),
            before: None,
            wrong: Vec::new(),
            ahead,
            slots: None,
            capacities,
            fans,
            round_lines: gather.rounds.listed(|(.., id, number)| {
                Ok::<_, LedgerError>(self.facts(*id)?.and_then(|pack| lines::round(frame, &pack, *number)))
            })?,
            cartons,
            complaints,
            rolls: lists::rolls(self.ledger, done)?,
            lost: gather.lost.listed(|(.., id)| {
                Ok::<_, LedgerError>(self.facts(*id)?.map(|pack| lists::lost(frame, &pack)))
            })?,
            waste: gather.waste.finish_with(items),
            at_risk: gather.at_risk,
            isolate_out: gather.isolate_out,
            rows: usize::try_from(settings.policy.review_rows).unwrap_or(usize::MAX),
        })
    }

    fn facts(&mut self, id: PackId) -> Result<Option<PackFacts>, LedgerError> {
        self.ledger.facts_until(id.into(), self.clock)
    }

    fn told(&mut self, list: Top<Told>) -> Result<Listed<Line>, LedgerError> {
        list.listed(|(.., id)| {
            let Some(pack) = self.facts(*id)? else { return Ok(None) };
            let place = Whereabouts::of(&pack);
            let reasons = self.frame.reasons(*id, &pack);
            Ok(reasons.first().map(|reason| lines::line(self.frame, &pack, place, reason)))
        })
    }

    /// What nears its end, and the fans of the first.
    fn near(&mut self, list: Top<Nearing>, share: f64) -> Result<(Listed<Line>, Vec<Fan>), LedgerError> {
        let frame = self.frame;
        let months = frame.foretell.as_ref().map(|foretell| foretell.months.as_slice()).unwrap_or_default();
        let mut fans = Vec::new();
        let lines = list.listed(|(.., id, ends)| {
            let Some((pack, last)) = self.ledger.facts_and_last::<PackFacts>((*id).into(), self.clock)?
            else {
                return Ok(None);
            };
            let Some((_, reason)) = frame.near(&pack, *ends) else { return Ok(None) };
            let holds = ends.and_then(|_| frame.holds(*id, &pack, last));
            let coming = ends.zip(holds).and_then(|(ends, holds)| Coming::of(ends, holds, months));
            if coming.is_some() && fans.len() < FANS {
                let must = frame.limit_of(&pack, Origin::Service).map(MilliampHours::raw);
                let now = (frame.as_of, &frame.zone);
                fans.extend(lists::fan(&frame.settings, (*id, &pack), must, share, now));
            }
            let line = lines::line(frame, &pack, Whereabouts::of(&pack), &reason);
            Ok::<_, LedgerError>(Some(Line { coming, ..line }))
        })?;
        Ok((lines, fans))
    }

    fn reading(&mut self, id: PackId, number: usize) -> Result<Option<super::ReadingLine>, LedgerError> {
        let slots = self.slots;
        let name = |reading: &crate::domain::pack::ReadingFact| slots.get(&reading.slot?).cloned();
        Ok(self.facts(id)?.and_then(|pack| lines::reading(self.frame, &pack, number, name)))
    }
}

/// One row of the table of the fleet.
fn standing(counts: &Counts, place: Whereabouts) -> Standing {
    let of = |verdict| counts.fleet.get(&(place, verdict)).map(|&many| (verdict, many));
    Standing { place, counts: Verdict::ALL.into_iter().filter_map(of).collect() }
}
