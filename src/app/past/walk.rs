//! The walk through the stories of all packs.

use std::collections::{BTreeMap, HashMap};

use jiff::tz::TimeZone;

use crate::domain::event::{Event, LoanBegan, Origin};
use crate::domain::facts::{CartonFacts, Facts};
use crate::domain::finding::Finding;
use crate::domain::ids::{CartonId, LoanId, MakeId, PackId, PlayerId, PlayerMakeId, Thing, ThingKind};
use crate::domain::make::PlayerMake;
use crate::domain::moment::Moment;
use crate::domain::pack::PackFacts;
use crate::domain::position::Position;
use crate::domain::units::MilliampHours;
use crate::domain::verdict::{Step, Verdict};
use crate::ledger::settings::Settings;
use crate::ledger::{Ledger, LedgerError};
use crate::policy::judge::{Case, Question, Target, judge};
use crate::policy::limits::limit;
use crate::policy::rules::Policy;

use super::tally::{Change, Tally, Truth, Truths};

/// A walk, with what it counted so far.
pub(super) struct Walk<'a> {
    settings: &'a Settings,
    /// The one in force, the tried one, and any more.
    policies: &'a [Policy],
    zone: TimeZone,
    since: Moment,
    players: HashMap<PlayerId, PlayerMakeId>,
    tallies: Vec<Tally>,
    loans: Truths,
    readings: u32,
    packs_lent: u32,
    change: Change,
    /// Loans of each make.
    lent: BTreeMap<MakeId, u32>,
}

/// What was counted.
pub(super) struct Done {
    /// One for each policy.
    pub(super) tallies: Vec<Tally>,
    pub(super) loans: Truths,
    pub(super) readings: u32,
    pub(super) packs_lent: u32,
    pub(super) change: Change,
    /// Makes that were lent, the most lent first.
    pub(super) makes: Vec<MakeId>,
}

/// Entries that count, in the order of the fold, with where they stand.
type Story = Vec<(Position, Event)>;

/// A loan whose truth is not settled yet.
struct Open {
    loan: LoanId,
    within: bool,
    /// Which policies stop it.
    stopped: Vec<bool>,
    /// What its pack must hold.
    limit: Option<MilliampHours>,
    ended: Option<Moment>,
    cut_out: bool,
    /// What the return's first reading says; settled as unknown by a round before it.
    read: Option<Truth>,
}

/// One pack on the walk.
struct Pack<'a> {
    id: PackId,
    facts: PackFacts,
    carton: Option<&'a Story>,
    open: Option<Open>,
    /// When each policy first said RECYCLE.
    recycled: Vec<Option<Moment>>,
    lent: bool,
}

impl<'a> Walk<'a> {
    pub(super) fn new(
        ledger: &mut Ledger,
        settings: &'a Settings,
        policies: &'a [Policy],
        since: Moment,
    ) -> Result<Self, LedgerError> {
        let mut players = HashMap::new();
        ledger.each(ThingKind::Player, |thing, _last, facts| {
            if let Facts::Player(player) = facts
                && let Some(make) = player.make
            {
                players.insert(PlayerId::new(thing.id), make);
            }
            Ok::<(), LedgerError>(())
        })?;
        Ok(Self {
            settings,
            policies,
            zone: ledger.zone().clone(),
            since,
            players,
            tallies: vec![Tally::default(); policies.len()],
            loans: Truths::default(),
            readings: 0,
            packs_lent: 0,
            change: Change::default(),
            lent: BTreeMap::new(),
        })
    }

    /// Walks every pack, in the order of their cartons: a carton's story is read once.
    pub(super) fn all(&mut self, ledger: &mut Ledger) -> Result<(), LedgerError> {
        let mut packs: Vec<(Option<CartonId>, PackId)> = Vec::new();
        ledger.each(ThingKind::Pack, |thing, _last, facts| {
            if let Facts::Pack(pack) = facts
                && pack.added.is_some()
                && pack.joined.is_none()
            {
                packs.push((pack.carton, PackId::new(thing.id)));
            }
            Ok::<(), LedgerError>(())
        })?;
        packs.sort_unstable();
        let mut carton: Option<(CartonId, Story)> = None;
        for (from, id) in packs {
            if let Some(from) = from.filter(|from| carton.as_ref().is_none_or(|(known, _)| known != from)) {
                carton = Some((from, story(ledger, from.into())?));
            }
            let carton = from.and(carton.as_ref()).map(|(_, story)| story);
            let story = story(ledger, id.into())?;
            self.pack(id, &story, carton);
        }
        Ok(())
    }

    pub(super) fn done(self) -> Done {
        let mut makes: Vec<(MakeId, u32)> = self.lent.into_iter().collect();
        makes.sort_by_key(|&(make, loans)| (std::cmp::Reverse(loans), make));
        Done {
            tallies: self.tallies,
            loans: self.loans,
            readings: self.readings,
            packs_lent: self.packs_lent,
            change: self.change,
            makes: makes.into_iter().map(|(make, _)| make).collect(),
        }
    }

    fn pack(&mut self, id: PackId, story: &Story, carton: Option<&Story>) {
        let mut pack = Pack {
            id,
            facts: PackFacts::default(),
            carton,
            open: None,
            recycled: vec![None; self.policies.len()],
            lent: false,
        };
        for (stands, event) in story {
            if let Event::LoanBegan(e) = event {
                self.settle(&mut pack);
                self.dispatch(&mut pack, *stands, e);
            }
            pack.facts.apply(id, event);
            pack.hear(event);
            if let Event::ReadingTaken(e) = event
                && e.pack == id
            {
                self.reading(&mut pack, *stands, e.at);
            }
        }
        self.settle(&mut pack);
        self.packs_lent += u32::from(pack.lent);
        let within = |at: &Option<Moment>| at.is_some_and(|at| at >= self.since);
        for (tally, at) in self.tallies.iter_mut().zip(&pack.recycled) {
            tally.recycled += u32::from(within(at));
        }
        if let [in_force, tried, ..] = pack.recycled.as_slice()
            && (within(in_force) || within(tried))
        {
            self.change.add(*in_force, *tried);
        }
    }

    /// A pack goes out: each policy is asked on what was known just before.
    fn dispatch(&mut self, pack: &mut Pack<'_>, stands: Position, e: &LoanBegan) {
        let settings = self.settings;
        let player = self.players.get(&e.player).and_then(|make| settings.player_makes.get(make));
        let target = Target { player: e.player, make: player, holds: None, lent: false };
        let question = Question { step: Step::Dispatch, now: e.at, zone: &self.zone, due: Some(e.due) };
        let verdicts = self.verdicts(pack, stands, Some(target), &question);
        pack.recycles(&verdicts, e.at);
        let within = e.at >= self.since;
        if within {
            pack.lent = true;
            if let Some(make) = pack.facts.make {
                *self.lent.entry(make).or_default() += 1;
            }
        }
        pack.open = Some(Open {
            loan: e.loan,
            within,
            stopped: verdicts.iter().map(|&verdict| verdict != Verdict::Fit).collect(),
            limit: self.promise(&pack.facts, player),
            ended: None,
            cut_out: false,
            read: None,
        });
    }

    /// A reading was entered: each policy is asked what it makes of it.
    fn reading(&mut self, pack: &mut Pack<'_>, stands: Position, at: Moment) {
        let question = Question { step: Step::Bench, now: at, zone: &self.zone, due: None };
        let verdicts = self.verdicts(pack, stands, None, &question);
        pack.recycles(&verdicts, at);
        if at < self.since {
            return;
        }
        self.readings += 1;
        for (tally, verdict) in self.tallies.iter_mut().zip(verdicts) {
            match verdict {
                Verdict::Recondition => tally.rounds += 1,
                Verdict::Measure => tally.again += 1,
                _ => {}
            }
        }
    }

    /// What came of the loan that was open.
    fn settle(&mut self, pack: &mut Pack<'_>) {
        let Some(open) = pack.open.take().filter(|open| open.within) else { return };
        let truth = if open.cut_out { Truth::CutOut } else { open.read.unwrap_or(Truth::Unknown) };
        self.loans.add(truth);
        for (tally, stopped) in self.tallies.iter_mut().zip(open.stopped) {
            if stopped {
                tally.stopped.add(truth);
            }
        }
    }

    fn verdicts(
        &self,
        pack: &Pack<'_>,
        stands: Position,
        target: Option<Target<'_>>,
        question: &Question<'_>,
    ) -> Vec<Verdict> {
        let carton = pack.carton.filter(|_| pack.facts.origin() == Origin::New);
        let carton = carton.map(|story| carton_before(story, &pack.facts, stands));
        let case = Case {
            id: pack.id,
            pack: &pack.facts,
            make: pack.facts.make.and_then(|make| self.settings.makes.get(&make)),
            carton: carton.as_ref(),
            notices: &[],
            players: &self.settings.players,
            target,
            foresight: None,
        };
        self.policies.iter().map(|policy| judge(&case, policy, question).verdict).collect()
    }

    /// What a pack must hold to have kept its promise: the service limit in force, in the player that it went out with.
    fn promise(&self, pack: &PackFacts, player: Option<&PlayerMake>) -> Option<MilliampHours> {
        let make = self.settings.makes.get(&pack.make?)?;
        limit(&self.settings.policy, Origin::Service, make, player)
    }
}

impl Pack<'_> {
    /// What an event tells of the loan that is open.
    fn hear(&mut self, event: &Event) {
        let Some(open) = self.open.as_mut() else { return };
        match event {
            Event::Complained(e) if e.loan == open.loan => open.cut_out = true,
            Event::FindingSeen(e) if e.finding == Finding::CutOutEarly => open.cut_out = true,
            Event::LoanEnded(e) if e.loan == open.loan => open.ended = Some(e.at),
            Event::RoundDone(e) if open.ended.is_some_and(|ended| e.at > ended) => {
                open.read.get_or_insert(Truth::Unknown);
            }
            Event::ReadingTaken(e) if e.pack == self.id && open.ended.is_some_and(|ended| e.at > ended) => {
                let truth = match open.limit {
                    None => Truth::Unknown,
                    Some(limit) if e.capacity < limit => Truth::Short,
                    Some(_) => Truth::Kept,
                };
                open.read.get_or_insert(truth);
            }
            _ => {}
        }
    }

    fn recycles(&mut self, verdicts: &[Verdict], at: Moment) {
        for (first, verdict) in self.recycled.iter_mut().zip(verdicts) {
            if *verdict == Verdict::Recycle {
                first.get_or_insert(at);
            }
        }
    }
}

/// The story of a thing, as far as it counts. What replaces a corrected entry was entered later than it stands: it counts as
/// standing no later than what follows it.
fn story(ledger: &mut Ledger, thing: Thing) -> Result<Story, LedgerError> {
    let mut story: Story = Vec::new();
    let mut next: Option<Position> = None;
    for (entry, wrong) in ledger.history(thing)?.into_iter().rev() {
        let stands = next.map_or(entry.position, |next| entry.position.min(next));
        next = Some(stands);
        if !wrong {
            story.push((stands, entry.event));
        }
    }
    story.reverse();
    Ok(story)
}

/// A carton as it stood when an entry was made, that entry told.
fn carton_before(story: &Story, pack: &PackFacts, stands: Position) -> CartonFacts {
    let mut facts = Facts::Carton(CartonFacts::default());
    if let Some(carton) = pack.carton {
        for (_, event) in story.iter().take_while(|(at, _)| *at <= stands) {
            facts.apply(carton.into(), event);
        }
    }
    CartonFacts::try_from(facts).unwrap_or_default()
}
