//! Intake: a player comes back, its pack is taken out and judged, and a fit pack goes in.

mod take;
mod usage;

use crate::domain::command::Command;
use crate::domain::event::{Entrance, Installed, PlayerAdded, PlayerArrived, TagBound, Use, UseCounted};
use crate::domain::facts::PlayerFacts;
use crate::domain::ids::{LoanId, PackId, PlayerId, RideId, ThingKind};
use crate::domain::pack::PackFacts;
use crate::domain::tag::{Tag, TagKind};
use crate::domain::units::PlayHours;
use crate::domain::verdict::{Step, Verdict};

use super::answer::{Answer, Outcome};
use super::error::AppError;
use super::judging::{self, Ask};
use super::lookup::{self, Scanned};
use super::on_pack;
use super::session::{Amount, Code, Here, Work};
use usage::tell_use;
pub(crate) use usage::{counted, estimated, usage};

/// A ride that ended, and what it cost.
type Ended = (RideId, Use);

/// A pack that lies on the desk.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Found {
    /// It is in the ledger.
    Known(PackId),
    /// A fresh tag, or a code that names nothing, is on it.
    Fresh(String),
}

impl Found {
    fn of(code: &Code) -> Self {
        match code.scanned {
            Scanned::Known(thing) => thing.pack().map_or_else(|| Self::Fresh(code.text.clone()), Self::Known),
            _ => Self::Fresh(code.text.clone()),
        }
    }

    const fn known(&self) -> Option<PackId> {
        match self {
            Self::Known(pack) => Some(*pack),
            Self::Fresh(_) => None,
        }
    }
}

/// What waits for YES or NO.
#[derive(Debug, Clone)]
enum Doubt {
    /// Another pack than expected was in the player.
    Other(Found),
    /// The tag on the pack cannot be read; by its last ride it is this one.
    Unread(PackId),
    /// A pack came without a player.
    Alone(Found),
}

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
    taken: Option<(PackId, Option<Ended>)>,
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
    loose: bool,
    player: Option<Player>,
    pack: Option<PackId>,
    doubt: Option<Doubt>,
}

impl Intake {
    /// Begins an intake.
    pub fn new(makes: Makes) -> Self {
        Self { makes, ..Self::default() }
    }

    /// Packs come without players: each is taken in alone, without being asked for.
    #[must_use]
    pub const fn loose(mut self, loose: bool) -> Self {
        self.loose = loose;
        self
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
        self.doubt = None;
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
        if let Some(off) = facts.written_off {
            answer = answer.and(format!("written off on {}: it is back", off.day(here.ledger.zone())));
        }
        match &facts.arrived {
            Some((at, desk)) if !adopted => {
                let at = at.local(here.ledger.zone());
                answer =
                    answer.and(format!("its intake was begun on {at} at {desk} and not finished: go on"));
            }
            None if facts.loan.is_some() => {
                let arrived = PlayerArrived { player: id, desk: here.desk.name.clone(), at: here.desk.now() };
                here.desk.record(here.ledger, vec![arrived.into()])?;
            }
            _ => {}
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

    fn scan_pack(&mut self, here: &mut Here<'_>, code: &Code) -> Result<Answer, AppError> {
        let found = Found::of(code);
        let Some(player) = self.player.clone() else {
            return if self.loose { self.take_alone(here, &found) } else { self.ask_alone(here, found) };
        };
        if player.taken.is_some() || player.fitted {
            return self.fit(here, &player, found.known());
        }
        let facts: Option<PackFacts> = match found.known() {
            Some(pack) => here.ledger.facts(pack.into())?,
            None => None,
        };
        let elsewhere =
            facts.as_ref().and_then(|facts| facts.ride).is_some_and(|ride| ride.player != player.id);
        let next = "scan the pack that is in it, or YES if this one was in it";
        match player.expected {
            Some((_, expected)) if found.known() == Some(expected) => self.take_in(here, &player, &found),
            Some((_, expected)) => {
                let name = lookup::pack_name(here.ledger, expected)?;
                self.doubt = Some(Doubt::Other(found));
                let text = format!("player {} should carry pack {name}, and this is another", player.name);
                Ok(Answer::no(text).next(next))
            }
            None if elsewhere => {
                self.doubt = Some(Doubt::Other(found));
                Ok(Answer::no("this pack should be in another player").next(next))
            }
            None if found.known().is_some() && player.is_empty() => self.fit(here, &player, found.known()),
            None => self.take_in(here, &player, &found),
        }
    }

    /// A pack, and no player: a forgotten scan, or a pack that came alone.
    fn ask_alone(&mut self, here: &mut Here<'_>, found: Found) -> Result<Answer, AppError> {
        let name = match &found {
            Found::Known(pack) => lookup::pack_name(here.ledger, *pack)?,
            Found::Fresh(_) => "with this tag".to_owned(),
        };
        self.doubt = Some(Doubt::Alone(found));
        Ok(Answer::unclear(
            format!("no player is scanned yet: did pack {name} come without one?"),
            "YES if it came alone; else the player that it came in, then the pack",
        ))
    }

    /// The tag cannot be read: the player's last ride says which pack it should be.
    fn ask_unread(&mut self, here: &mut Here<'_>) -> Result<Answer, AppError> {
        let Some((_, expected)) = self.player.as_ref().and_then(|player| player.expected) else {
            return Ok(Answer::unclear(
                "no pack is expected here, so the last ride does not tell which one this is",
                "type the maker's serial; or stick a fresh tag on and scan it, and join the two records later",
            ));
        };
        let facts: PackFacts = here.ledger.facts(expected.into())?.unwrap_or_default();
        let settings = here.ledger.settings()?;
        let make = facts.make.and_then(|make| settings.makes.get(&make)).map(|make| make.name.clone());
        let mut known = vec![make.unwrap_or_else(|| "make unknown".to_owned())];
        known.extend(facts.made.map(|made| format!("made {made}")));
        known.extend(facts.serial.clone().map(|serial| format!("serial {serial}")));
        self.doubt = Some(Doubt::Unread(expected));
        let name = lookup::label(&facts.codes);
        Ok(Answer::no(format!("by its last ride this is pack {name}: {}", known.join(", "))).next(
            "YES if what is printed on it agrees, then REPLACE and a fresh tag; or NO, and a fresh tag to adopt it",
        ))
    }

    fn answer_doubt(&mut self, here: &mut Here<'_>) -> Result<Answer, AppError> {
        match (self.doubt.take(), self.player.clone()) {
            (Some(Doubt::Other(found)), Some(player)) => self.take_in(here, &player, &found),
            (Some(Doubt::Unread(pack)), Some(player)) => {
                let answer = self.take_in(here, &player, &Found::Known(pack))?;
                Ok(answer.next("REPLACE, then a fresh tag on it"))
            }
            (Some(Doubt::Alone(found)), _) => self.take_alone(here, &found),
            _ => Ok(Answer::unclear("nothing waits for a yes", self.prompt())),
        }
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
        let ask = Ask { pack, step: Step::Fitting, player: Some(player.id), due: None, now };
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
            Some(ThingKind::Pack) => self.scan_pack(here, &code),
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
            Command::Yes => self.answer_doubt(here),
            Command::No if self.doubt.take().is_some() => Ok(Answer::done("dropped")),
            Command::No if self.player.as_ref().is_some_and(|player| !player.is_untouched()) => {
                let done = self.player.take();
                self.pack = None;
                let name = done.map(|player| player.name).unwrap_or_default();
                Ok(Answer::done(format!("player {name} is done with")))
            }
            Command::NoPack => match self.player.clone().filter(Player::is_untouched) {
                Some(player) => self.take_empty(here, &player),
                None => Ok(Answer::unclear("no player waits for its pack", self.prompt())),
            },
            Command::Unreadable => self.ask_unread(here),
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
        match (&self.doubt, &self.player) {
            (Some(Doubt::Alone(_)), _) => "YES if it came alone, or the player that it came in".to_owned(),
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

    fn at_hand(&self) -> Option<PackId> {
        self.pack
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
