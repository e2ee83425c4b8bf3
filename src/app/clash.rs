//! What cannot have been: two players for one pack, a return before the loan. Neither a correction nor a join may bring it into a
//! story.

use std::collections::BTreeMap;

use crate::domain::event::Event;
use crate::domain::facts::{PlayerFacts, SlotFacts};
use crate::domain::ids::{LoanId, PackId, PlayerId, RideId, RunId, SlotId, Thing, ThingKind};
use crate::domain::moment::Moment;
use crate::domain::pack::PackFacts;
use crate::ledger::{Ledger, LedgerError};

use super::lookup;

/// One thing that cannot have been.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Clash {
    /// A pack in two players at once.
    TwoPlayers,
    /// A pack taken out of a player in which it was not.
    NotInIt,
    /// Sent out while it was out.
    OutTwice,
    /// A pack sent out with a player in which it was not.
    OutElsewhere,
    /// A pack in two slots at once.
    TwoSlots,
    /// A pack in a player and in a slot at once.
    PlayerAndSlot,
    /// A pack at the bench or in a tray while a borrower had it.
    AwayAndHere,
    /// A player or slot that held two packs at once.
    HoldsTwo,
    /// A player that came back without having gone.
    NotOut,
    /// Something ended before it began.
    Backwards,
    /// A loan that was changed while it did not run.
    NoSuchLoan,
    /// A pack, and the player or slot that it is in, disagree.
    Halves,
}

impl Clash {
    /// What would have been, of a thing.
    pub(super) const fn words(self) -> &'static str {
        match self {
            Self::TwoPlayers => "would have been in two players at once",
            Self::NotInIt => "would have been taken out of a player in which it was not",
            Self::OutTwice => "would have gone out while it was out",
            Self::OutElsewhere => "would have gone out with a player in which it was not",
            Self::TwoSlots => "would have been in two slots at once",
            Self::PlayerAndSlot => "would have been in a player and in a slot at once",
            Self::AwayAndHere => "would have been with a borrower while it was in hand here",
            Self::HoldsTwo => "would have held two packs at once",
            Self::NotOut => "would have come back without having gone out",
            Self::Backwards => "would have ended something before it began",
            Self::NoSuchLoan => "would have been changed while it did not run",
            Self::Halves => "would not be where the other entries say",
        }
    }
}

/// How often each clash is in the stories of some things.
pub(super) type Clashes = BTreeMap<(Thing, Clash), usize>;

/// The clashes in the stories of some things, and between those as they stand now.
pub(super) fn of(ledger: &mut Ledger, things: &[Thing]) -> Result<Clashes, LedgerError> {
    let mut clashes = Clashes::new();
    for &thing in things {
        let mut walk = Walk::new(thing);
        match thing.kind {
            ThingKind::Pack | ThingKind::Player | ThingKind::Slot | ThingKind::Loan => {
                for (entry, wrong) in ledger.history(thing)? {
                    if !wrong {
                        walk.step(&entry.event);
                    }
                }
            }
            _ => {}
        }
        let halves = !agrees(ledger, thing)?;
        for clash in walk.found.into_iter().chain(halves.then_some(Clash::Halves)) {
            *clashes.entry((thing, clash)).or_default() += 1;
        }
    }
    Ok(clashes)
}

/// Some things, with the records that the packs among them belong to, and the players, slots and loans that hold those now.
pub(super) fn with_holders(ledger: &mut Ledger, things: &[Thing]) -> Result<Vec<Thing>, LedgerError> {
    let mut all = things.to_vec();
    for pack in things.iter().filter_map(|thing| thing.pack()) {
        let keep = ledger.joined_to(pack)?;
        all.push(keep.into());
        let facts: PackFacts = ledger.facts(keep.into())?.unwrap_or_default();
        all.extend(facts.ride.map(|ride| Thing::from(ride.player)));
        all.extend(facts.loan.map(|loan| Thing::from(loan.loan)));
        all.extend(facts.run.map(|run| Thing::from(run.slot)));
    }
    all.sort_unstable();
    all.dedup();
    Ok(all)
}

/// The first clash that there are more of than before.
pub(super) fn new_one(before: &Clashes, after: &Clashes) -> Option<(Thing, Clash)> {
    let more = |key: &(Thing, Clash), count: usize| count > before.get(key).copied().unwrap_or(0);
    after.iter().find(|&(key, &count)| more(key, count)).map(|(&key, _)| key)
}

/// A thing's name with its kind, for a sentence.
pub(super) fn name(ledger: &mut Ledger, thing: Thing) -> Result<String, LedgerError> {
    Ok(match thing.kind {
        ThingKind::Loan => "the loan".to_owned(),
        kind => format!("{kind} {}", lookup::name_of(ledger, thing)?),
    })
}

/// One walk along a story.
struct Walk {
    thing: Thing,
    ride: Option<(RideId, PlayerId, Moment)>,
    loan: Option<(LoanId, Moment)>,
    run: Option<(RunId, Moment)>,
    found: Vec<Clash>,
}

impl Walk {
    const fn new(thing: Thing) -> Self {
        Self { thing, ride: None, loan: None, run: None, found: Vec::new() }
    }

    fn when(&mut self, happens: bool, clash: Clash) {
        if happens {
            self.found.push(clash);
        }
    }

    fn is(&self, kind: ThingKind) -> bool {
        self.thing.kind == kind
    }

    fn step(&mut self, event: &Event) {
        let pack = self.is(ThingKind::Pack);
        match event {
            Event::Installed(e) => {
                let clash = if pack { Clash::TwoPlayers } else { Clash::HoldsTwo };
                self.when(self.ride.is_some(), clash);
                self.ride = Some((e.ride, e.player, e.at));
            }
            Event::Removed(e) => match self.ride.filter(|(ride, ..)| *ride == e.ride) {
                Some((_, _, since)) => {
                    self.when(e.at < since, Clash::Backwards);
                    self.ride = None;
                    if pack {
                        self.loan = None;
                    }
                }
                None => self.when(pack, Clash::NotInIt),
            },
            Event::LoanBegan(e) => {
                self.when(self.loan.is_some(), Clash::OutTwice);
                let elsewhere = self.ride.is_none_or(|(_, player, _)| player != e.player);
                self.when(pack && elsewhere, Clash::OutElsewhere);
                self.loan = Some((e.loan, e.at));
            }
            Event::LoanEnded(e) => match self.loan.filter(|(loan, _)| *loan == e.loan) {
                Some((_, since)) => {
                    self.when(e.at < since, Clash::Backwards);
                    self.loan = None;
                }
                None => self.when(self.is(ThingKind::Player), Clash::NotOut),
            },
            Event::LoanMoved(_) | Event::Complained(_) | Event::LoanWrittenOff(_) => {
                self.when(self.is(ThingKind::Loan) && self.loan.is_none(), Clash::NoSuchLoan);
            }
            _ => self.bench(event),
        }
    }

    fn bench(&mut self, event: &Event) {
        let pack = self.is(ThingKind::Pack);
        let ends = match event {
            Event::RunBegan(e) => {
                let clash = if pack { Clash::TwoSlots } else { Clash::HoldsTwo };
                self.when(self.run.is_some(), clash);
                self.when(pack && self.ride.is_some(), Clash::PlayerAndSlot);
                self.run = Some((e.run, e.at));
                None
            }
            Event::RunEnded(e) => Some((e.run, e.at)),
            Event::ReadingTaken(e) => e.run.map(|run| (run, e.at)),
            Event::RoundDone(_) | Event::Charged(_) | Event::PackPlaced(_) => None,
            _ => return,
        };
        self.when(pack && self.loan.is_some(), Clash::AwayAndHere);
        if let (Some((ended, at)), Some((run, since))) = (ends, self.run)
            && ended == run
        {
            self.when(at < since, Clash::Backwards);
            self.run = None;
        }
    }
}

/// True when a thing and those that it is in, or holds, say the same.
fn agrees(ledger: &mut Ledger, thing: Thing) -> Result<bool, LedgerError> {
    if let Some(pack) = thing.pack() {
        return pack_agrees(ledger, pack);
    }
    if let Some(id) = thing.player() {
        let player: PlayerFacts = ledger.facts(thing)?.unwrap_or_default();
        if let Some((ride, pack)) = player.ride {
            let pack: PackFacts = ledger.facts(pack.into())?.unwrap_or_default();
            if pack.joined.is_some() || pack.ride.is_none_or(|open| open.ride != ride || open.player != id) {
                return Ok(false);
            }
        }
        if let Some((loan, pack, ..)) = player.loan {
            let pack: PackFacts = ledger.facts(pack.into())?.unwrap_or_default();
            let rides = pack.ride.is_some_and(|open| open.player == id);
            return Ok(pack.loan.is_some_and(|open| open.loan == loan) || !rides);
        }
    }
    if thing.slot().is_some() {
        let slot: SlotFacts = ledger.facts(thing)?.unwrap_or_default();
        if let Some((run, pack, _)) = slot.run {
            let pack: PackFacts = ledger.facts(pack.into())?.unwrap_or_default();
            return Ok(pack.joined.is_none() && pack.run.is_some_and(|open| open.run == run));
        }
    }
    Ok(true)
}

fn pack_agrees(ledger: &mut Ledger, pack: PackId) -> Result<bool, LedgerError> {
    let facts: PackFacts = ledger.facts(pack.into())?.unwrap_or_default();
    if facts.joined.is_some() {
        return Ok(true);
    }
    if let Some(open) = facts.ride {
        let player: PlayerFacts = ledger.facts(open.player.into())?.unwrap_or_default();
        if player.ride != Some((open.ride, pack)) {
            return Ok(false);
        }
        if let Some(loan) = facts.loan
            && player.loan.is_none_or(|(id, ..)| id != loan.loan)
        {
            return Ok(false);
        }
    } else if facts.loan.is_some() {
        return Ok(false);
    }
    let Some(open) = facts.run else { return Ok(true) };
    let slot: SlotFacts = ledger.facts(SlotId::into(open.slot))?.unwrap_or_default();
    Ok(slot.run.is_some_and(|(run, of, _)| run == open.run && of == pack))
}
