//! Intake: a player comes back, its pack is taken out and judged, and a fit pack goes in.

use crate::domain::command::Command;
use crate::domain::event::{
    Basis, Entrance, Event, Installed, LoanEnded, Origin, PackAdded, PlayerAdded, Removed, TagBound, Use,
    UseCounted,
};
use crate::domain::facts::PlayerFacts;
use crate::domain::ids::{LoanId, PackId, PlayerId, RideId, ThingKind};
use crate::domain::moment::Moment;
use crate::domain::pack::{OpenRide, PackFacts};
use crate::domain::tag::{Tag, TagKind};
use crate::domain::units::PlayHours;
use crate::domain::verdict::{Step, Verdict};
use crate::ledger::{Ledger, LedgerError};

use super::answer::{Answer, Outcome};
use super::error::AppError;
use super::judging::{self, Ask};
use super::lookup::{self, Scanned};
use super::on_pack;
use super::session::{Amount, Code, Here, Work};

/// What adopted things are, when the ledger has more than one make.
#[derive(Debug, Clone, Default)]
pub struct Makes {
    /// The make of adopted packs.
    pub pack: Option<String>,
    /// The make of adopted players.
    pub player: Option<String>,
}

/// The player at the desk.
#[derive(Debug, Clone)]
struct Player {
    id: PlayerId,
    name: String,
    /// The pack that should be in it, with the ride.
    expected: Option<(RideId, PackId)>,
    loan: Option<(LoanId, PackId)>,
    hours: Option<PlayHours>,
    /// The pack that was taken out, with the ride that it ended.
    taken: Option<(PackId, Option<(RideId, Use)>)>,
    /// A pack was put in.
    fitted: bool,
    /// It came into the ledger by this scan: the pack scanned next is the one found in it.
    adopted: bool,
}

impl Player {
    /// Nothing was taken out of it or put into it yet.
    const fn is_untouched(&self) -> bool {
        self.taken.is_none() && !self.fitted
    }

    /// By all that is known, no pack is in it and none is due.
    const fn is_empty(&self) -> bool {
        self.expected.is_none() && self.loan.is_none() && self.taken.is_none() && !self.adopted
    }
}

/// An intake session.
#[derive(Debug, Clone, Default)]
pub struct Intake {
    makes: Makes,
    player: Option<Player>,
    pack: Option<PackId>,
    /// Another pack than expected was scanned; it waits for YES or NO.
    mismatch: Option<Code>,
}

impl Intake {
    /// Begins an intake.
    pub fn new(makes: Makes) -> Self {
        Self { makes, ..Self::default() }
    }

    /// The player whose pack is still to be scanned. One that should be empty may be left as it is.
    fn unfinished(&self) -> Option<&Player> {
        self.player.as_ref().filter(|player| player.is_untouched() && !player.is_empty())
    }

    fn scan_player(&mut self, here: &mut Here<'_>, code: &Code) -> Result<Answer, AppError> {
        if let Some(open) = self.unfinished() {
            return Ok(Answer::unclear(
                format!("the pack of player {} is not scanned yet", open.name),
                format!("scan the pack of {}, or NO to leave that player", open.name),
            ));
        }
        self.mismatch = None;
        self.pack = None;
        let (id, adopted) = match code.scanned {
            Scanned::Known(thing) => (PlayerId::new(thing.id), false),
            _ => (self.adopt_player(here, code)?, true),
        };
        let facts: PlayerFacts = here.ledger.facts(id.into())?.unwrap_or_default();
        let name = lookup::label(&facts.codes);
        let text = match (adopted, facts.loan, facts.ride) {
            (true, ..) => format!("player {name} is new to the ledger: adopted, history unknown"),
            (_, Some((_, _, since, due)), _) => {
                format!("player {name}, out since {}, due {due}", since.day(here.ledger.zone()))
            }
            (_, None, Some(_)) => format!("player {name}, not on a loan, with a pack in it"),
            (_, None, None) => format!("player {name}, not on a loan, empty"),
        };
        let mut answer = Answer::done(text);
        if let Some((_, pack)) = facts.ride {
            answer = answer.and(format!("should carry pack {}", lookup::pack_name(here.ledger, pack)?));
        }
        self.player = Some(Player {
            id,
            name,
            expected: facts.ride,
            loan: facts.loan.map(|(loan, pack, ..)| (loan, pack)),
            hours: None,
            taken: None,
            fitted: false,
            adopted,
        });
        Ok(answer)
    }

    fn adopt_player(&self, here: &mut Here<'_>, code: &Code) -> Result<PlayerId, AppError> {
        let make = lookup::player_make(here.ledger, self.makes.player.as_deref())?;
        let now = here.desk.now();
        let player = PlayerId::draw(now, &mut here.desk.random);
        let events = vec![
            PlayerAdded { player, make, entrance: Entrance::Adopted, at: now }.into(),
            TagBound { code: code.text.clone(), thing: player.into() }.into(),
        ];
        here.desk.record(here.ledger, events)?;
        Ok(player)
    }

    fn scan_pack(&mut self, here: &mut Here<'_>, code: Code) -> Result<Answer, AppError> {
        let Some(player) = self.player.clone() else {
            return Ok(Answer::unclear("no player is scanned yet", "scan the player that this pack came in"));
        };
        let known = match code.scanned {
            Scanned::Known(thing) => thing.pack(),
            _ => None,
        };
        if player.taken.is_some() || player.fitted {
            return self.fit(here, &player, known);
        }
        let facts: Option<PackFacts> = match known {
            Some(pack) => here.ledger.facts(pack.into())?,
            None => None,
        };
        let elsewhere =
            facts.as_ref().and_then(|facts| facts.ride).is_some_and(|ride| ride.player != player.id);
        match player.expected {
            Some((_, expected)) if known == Some(expected) => self.take_in(here, &player, known, &code),
            Some((_, expected)) => {
                let name = lookup::pack_name(here.ledger, expected)?;
                self.mismatch = Some(code);
                Ok(Answer::no(format!(
                    "player {} should carry pack {name}, and this is another",
                    player.name
                ))
                .next("scan the pack that is in it, or YES if this one was in it"))
            }
            None if elsewhere => {
                self.mismatch = Some(code);
                Ok(Answer::no("this pack should be in another player")
                    .next("scan the pack that is in it, or YES if this one was in it"))
            }
            None if known.is_some() && player.is_empty() => self.fit(here, &player, known),
            None => self.take_in(here, &player, known, &code),
        }
    }

    /// Ends the ride and the loan, adopts what is new, and judges the pack: one act.
    fn take_in(
        &mut self,
        here: &mut Here<'_>,
        player: &Player,
        known: Option<PackId>,
        code: &Code,
    ) -> Result<Answer, AppError> {
        let now = here.desk.now();
        let mut events = Vec::new();
        let mut text = Vec::new();
        let pack = match known {
            Some(pack) => pack,
            None => self.adopt_pack(here, code, now, &mut events)?,
        };
        if known.is_none() {
            text.push("new to the ledger: adopted, origin service, history unknown".to_owned());
        }
        let mut ended = None;
        if let Some((ride, expected)) = player.expected.filter(|(_, expected)| *expected != pack) {
            let facts: PackFacts = here.ledger.facts(expected.into())?.unwrap_or_default();
            let open = OpenRide { ride, player: player.id, since: facts.ride.map_or(now, |open| open.since) };
            let lent = facts.loan.is_some();
            let used = usage(here.ledger, &facts, open, lent, None, now)?;
            events.push(
                Removed { ride, pack: expected, player: player.id, used, found: false, at: now }.into(),
            );
            text.push(format!(
                "pack {} was not in it: its whereabouts are unknown",
                lookup::label(&facts.codes)
            ));
        }
        let facts: PackFacts = here.ledger.facts(pack.into())?.unwrap_or_default();
        if let Some(open) = facts.ride {
            let hours = player.hours.filter(|_| open.player == player.id);
            let used = usage(here.ledger, &facts, open, facts.loan.is_some(), hours, now)?;
            let (ride, from) = (open.ride, open.player);
            events.push(Removed { ride, pack, player: from, used, found: true, at: now }.into());
            text.push(tell_use(used));
            ended = Some((ride, used));
        }
        if let Some((loan, lent)) = player.loan {
            events.push(LoanEnded { loan, player: player.id, pack: lent, at: now }.into());
            text.push(format!("the loan of player {} has ended", player.name));
        }
        let ask = Ask { pack, step: Step::Intake, player: None, now };
        let (ruling, told) = judging::with_verdict(here.ledger, ask, &mut events)?;
        here.desk.record(here.ledger, events)?;
        self.mismatch = None;
        self.pack = Some(pack);
        if let Some(player) = &mut self.player {
            player.taken = Some((pack, ended));
            player.expected = None;
            player.loan = None;
        }
        Ok(Answer::verdict(told, text, severity(ruling.verdict)))
    }

    fn adopt_pack(
        &self,
        here: &mut Here<'_>,
        code: &Code,
        now: Moment,
        events: &mut Vec<Event>,
    ) -> Result<PackId, AppError> {
        let make = lookup::make(here.ledger, self.makes.pack.as_deref())?;
        let pack = PackId::draw(now, &mut here.desk.random);
        events.push(
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
        events.push(TagBound { code: code.text.clone(), thing: pack.into() }.into());
        Ok(pack)
    }

    /// Judges a pack for the player on the desk, and puts it in when it is fit.
    fn fit(
        &mut self,
        here: &mut Here<'_>,
        player: &Player,
        known: Option<PackId>,
    ) -> Result<Answer, AppError> {
        let Some(pack) = known else {
            return Ok(Answer::unclear(
                "this tag names no pack yet, and nothing goes into a player unmeasured",
                "scan a pack that is fit, or receive this one first",
            ));
        };
        if player.fitted {
            let text = format!("player {} has its pack", player.name);
            return Ok(Answer::unclear(text, "scan the next player, or UNDO"));
        }
        let now = here.desk.now();
        let ask = Ask { pack, step: Step::Fitting, player: Some(player.id), now };
        let mut events = Vec::new();
        let (ruling, told) = judging::with_verdict(here.ledger, ask, &mut events)?;
        self.pack = Some(pack);
        if ruling.verdict != Verdict::Fit {
            here.desk.record(here.ledger, events)?;
            return Ok(Answer::verdict(told, vec!["not put in".to_owned()], Outcome::No)
                .next(format!("scan another pack for player {}, or the next player", player.name)));
        }
        let facts: PackFacts = here.ledger.facts(pack.into())?.unwrap_or_default();
        if facts.ride.is_none() {
            let ride = RideId::draw(now, &mut here.desk.random);
            events.push(Installed { ride, pack, player: player.id, at: now }.into());
        }
        here.desk.record(here.ledger, events)?;
        if let Some(player) = &mut self.player {
            player.fitted = true;
        }
        Ok(Answer::verdict(told, vec![format!("now in player {}", player.name)], Outcome::Yes))
    }

    fn hours(&mut self, here: &mut Here<'_>, hours: PlayHours) -> Result<Answer, AppError> {
        let Some(player) = self.player.clone() else {
            return Ok(Answer::unclear(
                "hours of which player?",
                "scan the player, then its hours, then its pack",
            ));
        };
        let Some((pack, ride)) = player.taken else {
            if let Some(player) = &mut self.player {
                player.hours = Some(hours);
            }
            return Ok(Answer::done(format!("player {} counted {hours}", player.name)));
        };
        let Some((ride, was)) = ride else {
            return Ok(Answer::unclear("this pack ended no ride that is known", "go on scanning"));
        };
        let facts: PackFacts = here.ledger.facts(pack.into())?.unwrap_or_default();
        let used = counted(here.ledger, &facts, player.id, hours)?;
        here.desk.record(here.ledger, vec![UseCounted { ride, pack, was, used }.into()])?;
        if let Some(player) = &mut self.player {
            player.taken = Some((pack, Some((ride, used))));
        }
        Ok(Answer::done(tell_use(used)))
    }
}

impl Work for Intake {
    fn code(&mut self, here: &mut Here<'_>, code: Code) -> Result<Answer, AppError> {
        match kind(&code) {
            Some(ThingKind::Player) => self.scan_player(here, &code),
            Some(ThingKind::Pack) => self.scan_pack(here, code),
            Some(other) => Ok(Answer::unclear(format!("a {other} is not expected at intake"), self.prompt())),
            None => Ok(Answer::unclear("nothing is known by this code", self.prompt())),
        }
    }

    fn amount(&mut self, here: &mut Here<'_>, amount: Amount) -> Result<Answer, AppError> {
        match amount {
            Amount::Hours(hours) => self.hours(here, hours),
            Amount::Result(_) => {
                Ok(Answer::unclear("a reading belongs to the bench", "enter it with `bench`"))
            }
            Amount::Due(_) => {
                Ok(Answer::unclear("a due date belongs to dispatch", "enter it with `dispatch`"))
            }
        }
    }

    fn command(&mut self, here: &mut Here<'_>, command: Command) -> Result<Answer, AppError> {
        match command {
            Command::Finding(finding) => match self.pack {
                Some(pack) => on_pack::seen(here, pack, Step::Intake, finding),
                None => Ok(on_pack::none("scan the pack first")),
            },
            Command::Charged => match self.pack {
                Some(pack) => on_pack::charged(here, pack, Step::Intake),
                None => Ok(on_pack::none("scan the pack first")),
            },
            Command::Yes => match (self.mismatch.take(), self.player.clone()) {
                (Some(code), Some(player)) => {
                    let known = match code.scanned {
                        Scanned::Known(thing) => thing.pack(),
                        _ => None,
                    };
                    self.take_in(here, &player, known, &code)
                }
                _ => Ok(Answer::unclear("nothing waits for a yes", self.prompt())),
            },
            Command::No if self.mismatch.take().is_some() => Ok(Answer::done("dropped")),
            Command::No if self.player.as_ref().is_some_and(Player::is_untouched) => {
                let left = self.player.take();
                let name = left.map(|player| player.name).unwrap_or_default();
                Ok(Answer::done(format!("player {name} is left as it was")))
            }
            _ => Ok(Answer::unclear(format!("`{command}` means nothing here"), self.prompt())),
        }
    }

    fn other(&mut self, _here: &mut Here<'_>, text: &str) -> Result<Answer, AppError> {
        Ok(Answer::unclear(format!("nothing is known by `{text}`"), self.prompt()))
    }

    fn bare(&self, number: &str) -> Option<Amount> {
        PlayHours::parse_bare(number).ok().map(Amount::Hours)
    }

    fn picture_order(kind: TagKind) -> u8 {
        match kind {
            TagKind::Player => 1,
            TagKind::Pack => 2,
            _ => 3,
        }
    }

    fn prompt(&self) -> String {
        match (&self.mismatch, &self.player) {
            (Some(_), _) => "YES, NO, or the pack that is in it".to_owned(),
            (None, None) => "a player".to_owned(),
            (None, Some(player)) if player.fitted => "the next player".to_owned(),
            (None, Some(player)) if player.is_empty() => {
                format!("a fit pack for {}, or the next player", player.name)
            }
            (None, Some(player)) if player.taken.is_some() => {
                format!("a finding, a fit pack for {}, or the next player", player.name)
            }
            (None, Some(player)) => {
                format!("the pack in {} (its hours first, if it counts them)", player.name)
            }
        }
    }

    fn left_over(&self) -> Option<String> {
        self.unfinished().map(|player| format!("the pack of player {} was not scanned", player.name))
    }
}

/// The kind of thing that a code names, or is made for.
pub(crate) fn kind(code: &Code) -> Option<ThingKind> {
    match code.scanned {
        Scanned::Known(thing) | Scanned::Retired(thing) => Some(thing.kind),
        Scanned::Fresh(tag) => lookup::kind_for(Tag::kind(&tag)),
        Scanned::Unknown => None,
    }
}

/// The outcome that a verdict alone gives: only what may be dangerous says no before dispatch.
pub(crate) const fn severity(verdict: Verdict) -> Outcome {
    match verdict {
        Verdict::Isolate => Outcome::No,
        _ => Outcome::Yes,
    }
}

fn tell_use(used: Use) -> String {
    match used.basis {
        Basis::Counted(hours) => format!("{} by the player's {hours}", used.cycles),
        Basis::Unused => "no use: it stood on the shelf".to_owned(),
        Basis::Estimated { days } => format!("{} estimated from {days} days out", used.cycles),
    }
}

/// What a ride cost: by the player's hours if they are known, else estimated from the days out.
///
/// A ride that was never lent costs nothing.
pub(crate) fn usage(
    ledger: &mut Ledger,
    facts: &PackFacts,
    ride: OpenRide,
    lent: bool,
    hours: Option<PlayHours>,
    now: Moment,
) -> Result<Use, LedgerError> {
    if let Some(hours) = hours {
        return counted(ledger, facts, ride.player, hours);
    }
    if !lent {
        return Ok(Use { cycles: crate::domain::units::Cycles::default(), basis: Basis::Unused });
    }
    let since = facts.loan.map_or(ride.since, |loan| loan.since);
    let days = u32::try_from(now.days_since(since).max(0)).unwrap_or(u32::MAX);
    let per_day = ledger.settings()?.policy.hours_per_day;
    let hours = PlayHours::new(per_day.raw().saturating_mul(days));
    let used = counted(ledger, facts, ride.player, hours)?;
    Ok(Use { cycles: used.cycles, basis: Basis::Estimated { days } })
}

fn counted(
    ledger: &mut Ledger,
    facts: &PackFacts,
    player: PlayerId,
    hours: PlayHours,
) -> Result<Use, LedgerError> {
    let player: PlayerFacts = ledger.facts(player.into())?.unwrap_or_default();
    let settings = ledger.settings()?;
    let draw = player.make.and_then(|make| settings.player_makes.get(&make)).map(|make| make.draw);
    let rated = facts.make.and_then(|make| settings.makes.get(&make)).map(|make| make.rated);
    let cycles = draw.zip(rated).map(|(draw, rated)| hours.cycles(draw, rated)).unwrap_or_default();
    Ok(Use { cycles, basis: Basis::Counted(hours) })
}
