//! Taking packs in: the expected one, another one, one that came alone, and none at all.

use crate::domain::event::{
    Entrance, Event, LoanEnded, Origin, PackAdded, PackFound, Removed, RunEnded, TagBound,
};
use crate::domain::facts::PlayerFacts;
use crate::domain::finding::NoResult;
use crate::domain::ids::{PackId, PlayerId, RideId};
use crate::domain::moment::Moment;
use crate::domain::pack::{OpenRide, PackFacts};
use crate::domain::units::PlayHours;
use crate::domain::verdict::Step;

use super::usage::{tell_use, usage};
use super::{Found, Intake, Player, severity};
use crate::app::answer::Answer;
use crate::app::error::AppError;
use crate::app::judging::{self, Ask};
use crate::app::lookup;
use crate::app::session::Here;

/// An act in the making: its events, and what it tells.
#[derive(Default)]
struct Taking {
    events: Vec<Event>,
    text: Vec<String>,
}

impl Intake {
    /// Ends the ride and the loan, adopts what is new, and judges the pack: one act.
    pub(super) fn take_in(
        &mut self,
        here: &mut Here<'_>,
        player: &Player,
        found: &Found,
    ) -> Result<Answer, AppError> {
        let now = here.desk.now();
        let mut taking = Taking::default();
        let pack = self.identify(here, found, now, &mut taking)?;
        if let Some((ride, expected)) = player.expected.filter(|(_, expected)| *expected != pack) {
            taking.lose(here, (ride, player.id), expected, now)?;
        }
        let ended = taking.end_stay(here, pack, Some((player.id, player.hours)), now)?;
        taking.end_loan(player, now);
        let answer = self.judge(here, pack, taking, now)?;
        if let Some(player) = &mut self.player {
            player.taken = Some((pack, ended));
            player.expected = None;
            player.loan = None;
        }
        Ok(answer)
    }

    /// A pack that nobody saw coming out of a player.
    ///
    /// Its open ride ends; nothing is assumed about the player that it should have been in.
    pub(super) fn take_alone(&mut self, here: &mut Here<'_>, found: &Found) -> Result<Answer, AppError> {
        let now = here.desk.now();
        let mut taking = Taking::default();
        let pack = self.identify(here, found, now, &mut taking)?;
        if let Found::Known(_) = found {
            taking.events.push(PackFound { pack, at: now }.into());
        }
        taking.end_stay(here, pack, None, now)?;
        taking.text.push("taken in alone".to_owned());
        self.judge(here, pack, taking, now)
    }

    /// A player that came without a pack: the expected one's whereabouts are unknown.
    pub(super) fn take_empty(&mut self, here: &mut Here<'_>, player: &Player) -> Result<Answer, AppError> {
        let now = here.desk.now();
        let mut taking = Taking::default();
        if let Some((ride, expected)) = player.expected {
            taking.lose(here, (ride, player.id), expected, now)?;
        }
        taking.end_loan(player, now);
        if taking.events.is_empty() {
            return Ok(Answer::done(format!("no pack was expected in player {}", player.name)));
        }
        here.desk.record(here.ledger, taking.events)?;
        self.doubt = None;
        if let Some(player) = &mut self.player {
            player.expected = None;
            player.loan = None;
        }
        let text = taking.text.join("; ");
        Ok(Answer::done(format!("player {} came without a pack; {text}", player.name)))
    }

    fn identify(
        &self,
        here: &mut Here<'_>,
        found: &Found,
        now: Moment,
        taking: &mut Taking,
    ) -> Result<PackId, AppError> {
        let code = match found {
            Found::Known(pack) => return Ok(*pack),
            Found::Fresh(code) => code,
        };
        let make = lookup::make(here.ledger, self.makes.pack.as_deref())?;
        let pack = PackId::draw(now, &mut here.desk.random);
        taking.events.push(
            PackAdded {
                pack,
                make,
                origin: Origin::Service,
                entrance: Entrance::Adopted,
                lot: None,
                carton: None,
                made: None,
                serial: None,
                prior: None,
                at: now,
            }
            .into(),
        );
        taking.events.push(TagBound { code: code.clone(), thing: pack.into() }.into());
        taking.text.push("new to the ledger: adopted, origin service, history unknown".to_owned());
        Ok(pack)
    }

    fn judge(
        &mut self,
        here: &mut Here<'_>,
        pack: PackId,
        mut taking: Taking,
        now: Moment,
    ) -> Result<Answer, AppError> {
        let ask = Ask { pack, step: Step::Intake, player: None, due: None, now };
        let (ruling, told) = judging::with_verdict(here.ledger, ask, &mut taking.events)?;
        here.desk.record(here.ledger, taking.events)?;
        self.doubt = None;
        self.pack = Some(pack);
        Ok(Answer::verdict(told, taking.text, severity(ruling.verdict)))
    }
}

impl Taking {
    /// The pack that should have been in a player is not: its ride ends, and nobody knows where it is.
    fn lose(
        &mut self,
        here: &mut Here<'_>,
        (ride, player): (RideId, PlayerId),
        pack: PackId,
        now: Moment,
    ) -> Result<(), AppError> {
        let facts: PackFacts = here.ledger.facts(pack.into())?.unwrap_or_default();
        let open = OpenRide { ride, player, since: facts.ride.map_or(now, |open| open.since) };
        let used = usage(here.ledger, &facts, open, facts.loan.is_some(), None, now)?;
        self.events.push(Removed { ride, pack, player, used, found: false, at: now }.into());
        let name = lookup::label(&facts.codes);
        self.text.push(format!("pack {name} was not in it: its whereabouts are unknown"));
        Ok(())
    }

    /// Ends the ride that a pack is on and the run that it is in; returns the ride with what it cost.
    fn end_stay(
        &mut self,
        here: &mut Here<'_>,
        pack: PackId,
        player: Option<(PlayerId, Option<PlayHours>)>,
        now: Moment,
    ) -> Result<Option<super::Ended>, AppError> {
        let facts: PackFacts = here.ledger.facts(pack.into())?.unwrap_or_default();
        if let Some(run) = facts.run {
            let (run, slot) = (run.run, run.slot);
            self.events.push(RunEnded { run, slot, pack, reason: NoResult::TakenOut, at: now }.into());
            let name = lookup::name_of(here.ledger, slot.into())?;
            self.text.push(format!("it should have been in {name}: that run has no result"));
        }
        let Some(open) = facts.ride else { return Ok(None) };
        let here_now = player.filter(|(player, _)| *player == open.player);
        let hours = here_now.and_then(|(_, hours)| hours);
        let used = usage(here.ledger, &facts, open, facts.loan.is_some(), hours, now)?;
        self.events
            .push(Removed { ride: open.ride, pack, player: open.player, used, found: true, at: now }.into());
        self.text.push(tell_use(used));
        if here_now.is_none() {
            let other: PlayerFacts = here.ledger.facts(open.player.into())?.unwrap_or_default();
            let name = lookup::label(&other.codes);
            self.text.push(format!("it should have been in player {name}, of which nothing is assumed"));
        }
        Ok(Some((open.ride, used)))
    }

    fn end_loan(&mut self, player: &Player, now: Moment) {
        if let Some((loan, pack)) = player.loan {
            self.events.push(LoanEnded { loan, player: player.id, pack, at: now }.into());
            self.text.push(format!("the loan of player {} has ended", player.name));
        }
    }
}
