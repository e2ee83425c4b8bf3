//! Dispatch: a player and its pack go to a borrower, if the judge says FIT or somebody with the right overrules.

use jiff::civil::Date;

use crate::domain::command::Command;
use crate::domain::event::{Event, Installed, LoanBegan, Overruled};
use crate::domain::facts::PlayerFacts;
use crate::domain::ids::{LoanId, PackId, PlayerId, RideId, ThingKind};
use crate::domain::moment::days_between;
use crate::domain::pack::PackFacts;
use crate::domain::tag::TagKind;
use crate::domain::verdict::{Rule, Step, Verdict};
use crate::ledger::Ledger;
use crate::policy::reason::Ruling;

use super::answer::{Answer, Outcome};
use super::error::AppError;
use super::intake::kind;
use super::judging::{self, Ask};
use super::loan;
use super::lookup::{self, Scanned};
use super::pick::Sheet;
use super::session::{Amount, Code, Here, Work};

/// Longest reason for overruling, in characters.
const REASON: usize = 200;

/// A refusal that may be overruled.
#[derive(Debug, Clone)]
struct Refusal {
    pack: PackId,
    player: PlayerId,
    verdict: Verdict,
    /// Why it may not be overruled, if so.
    firm: Option<&'static str>,
    /// OVERRULE was scanned: a reason is awaited.
    asked: bool,
}

/// A dispatch session.
#[derive(Debug, Clone, Default)]
pub struct Dispatch {
    due: Option<Date>,
    pack: Option<PackId>,
    player: Option<PlayerId>,
    refusal: Option<Refusal>,
    /// The list that is worked off; it says when each loan is due.
    list: Option<Sheet>,
    /// The last pack that went out, with its player and loan.
    gone: Option<(PackId, PlayerId, LoanId)>,
}

impl Dispatch {
    /// Works a list off: the latest one, or the one of that name.
    ///
    /// # Errors
    /// When there is no such list.
    pub fn of_list(ledger: &mut Ledger, name: Option<&str>) -> Result<Self, AppError> {
        Ok(Self { list: Some(Sheet::find(ledger, name)?), ..Self::default() })
    }

    /// Takes the due date of a pack from the list; an answer where the pack is not on it.
    fn listed(&mut self, here: &mut Here<'_>, pack: PackId) -> Result<Option<Answer>, AppError> {
        let Some(list) = &self.list else { return Ok(None) };
        if let Some(line) = list.line(here.ledger, pack)? {
            let today = here.desk.now().day(here.ledger.zone());
            if line.due <= today {
                let text = format!("by list {} it is due {}, and today is {today}", list.name, line.due);
                return Ok(Some(Answer::no(text).next("make another list: packmuster pick --list")));
            }
            self.due = Some(line.due);
            return Ok(None);
        }
        let name = lookup::pack_name(here.ledger, pack)?;
        let (_, next) = list.progress(here.ledger)?;
        Ok(Some(
            Answer::no(format!("pack {name} is not on list {}; nothing is entered", list.name)).next(next),
        ))
    }

    /// Sets a due date, for all that follows. Asked again when it is past or beyond the policy's longest loan.
    ///
    /// # Errors
    /// A fault of the ledger.
    pub fn set_due(&mut self, here: &mut Here<'_>, due: Date) -> Result<Answer, AppError> {
        let today = here.desk.now().day(here.ledger.zone());
        let days = days_between(today, due);
        let longest = here.ledger.settings()?.policy.longest_loan_days;
        if days <= 0 {
            return Ok(Answer::no(format!("due {due} is not after today, {today}")).next("a later due date"));
        }
        if days > i64::from(longest) {
            return Ok(Answer::no(format!(
                "due {due} is {days} days away, and the longest loan is {longest} days"
            ))
            .next("an earlier due date"));
        }
        self.due = Some(due);
        match (self.pack, self.player) {
            (Some(pack), Some(player)) => self.send(here, pack, player),
            _ => Ok(Answer::done(format!("due {due}, {days} days"))),
        }
    }

    fn scan_pack(&mut self, here: &mut Here<'_>, pack: PackId) -> Result<Answer, AppError> {
        if let Some((_, player, _)) = self.gone.filter(|(gone, ..)| *gone == pack) {
            let name = lookup::name_of(here.ledger, player.into())?;
            return Ok(Answer::done(format!("this pack went out with player {name} just now")));
        }
        self.refusal = None;
        if let Some(no) = self.listed(here, pack)? {
            return Ok(no);
        }
        self.pack = Some(pack);
        match self.player {
            Some(player) => self.send(here, pack, player),
            None => Ok(Answer::done(format!("pack {}", lookup::pack_name(here.ledger, pack)?))),
        }
    }

    fn scan_player(&mut self, here: &mut Here<'_>, player: PlayerId) -> Result<Answer, AppError> {
        let facts: PlayerFacts = here.ledger.facts(player.into())?.unwrap_or_default();
        let name = lookup::label(&facts.codes);
        if let Some(open) = self.player.filter(|&open| open != player && self.pack.is_none()) {
            let open = lookup::name_of(here.ledger, open.into())?;
            return Ok(Answer::unclear(
                format!("player {open} has no pack yet"),
                format!("scan a pack for {open}, or NO to leave it"),
            ));
        }
        self.refusal = None;
        if let (None, Some((_, pack))) = (self.pack, facts.ride)
            && let Some(no) = self.listed(here, pack)?
        {
            return Ok(no);
        }
        self.player = Some(player);
        match (self.pack, facts.ride) {
            (Some(pack), _) | (None, Some((_, pack))) => self.send(here, pack, player),
            (None, None) => Ok(Answer::done(format!("player {name}, empty"))),
        }
    }

    fn send(&mut self, here: &mut Here<'_>, pack: PackId, player: PlayerId) -> Result<Answer, AppError> {
        let Some(due) = self.due else {
            self.pack = Some(pack);
            return Ok(Answer::unclear(
                "no due date yet",
                "the length of the loan (digits, then WEEKS) or a date",
            ));
        };
        let now = here.desk.now();
        let ask = Ask { pack, step: Step::Dispatch, player: Some(player), due: Some(due), now };
        let mut events = Vec::new();
        let (ruling, told) = judging::with_verdict(here.ledger, ask, &mut events)?;
        self.pack = None;
        self.player = None;
        if ruling.verdict != Verdict::Fit {
            here.desk.record(here.ledger, events)?;
            let firm = firm(&ruling);
            self.refusal = Some(Refusal { pack, player, verdict: ruling.verdict, firm, asked: false });
            let text = vec!["must not go out; nothing is entered".to_owned()];
            return Ok(Answer::verdict(told, text, Outcome::No).next("another pack and this player"));
        }
        let mut text = self.enter(here, pack, player, due, events, None)?;
        let Some(list) = &self.list else { return Ok(Answer::verdict(told, text, Outcome::Yes)) };
        text.extend(list.other_player(here.ledger, pack, player)?);
        let (done, next) = list.progress(here.ledger)?;
        text.push(done);
        Ok(Answer::verdict(told, text, Outcome::Yes).next(next))
    }

    /// Enters the loan, and the ride where it is not open yet: one act.
    fn enter(
        &mut self,
        here: &mut Here<'_>,
        pack: PackId,
        player: PlayerId,
        due: Date,
        mut events: Vec<Event>,
        overruled: Option<(Verdict, String)>,
    ) -> Result<Vec<String>, AppError> {
        let now = here.desk.now();
        let facts: PackFacts = here.ledger.facts(pack.into())?.unwrap_or_default();
        if facts.ride.is_none() {
            let ride = RideId::draw(now, &mut here.desk.random);
            events.push(Installed { ride, pack, player, at: now }.into());
        }
        let loan = LoanId::draw(now, &mut here.desk.random);
        events.push(LoanBegan { loan, player, pack, due, at: now }.into());
        if let Some((verdict, reason)) = overruled {
            events.push(Overruled { pack, loan, verdict, reason, at: now }.into());
        }
        here.desk.record(here.ledger, events)?;
        self.gone = Some((pack, player, loan));
        let name = lookup::name_of(here.ledger, player.into())?;
        Ok(vec![format!("goes out with player {name}, due {due}")])
    }

    fn ask_overrule(&mut self, here: &Here<'_>) -> Answer {
        let Some(refusal) = &mut self.refusal else {
            return Answer::unclear("nothing was refused just now", self.prompt());
        };
        if let Some(firm) = refusal.firm {
            return Answer::no(format!("{} cannot be overruled: {firm}", refusal.verdict));
        }
        match &here.desk.operator {
            None => Answer::no("nobody is signed on").next("your operator tag, then OVERRULE again"),
            Some(operator) if !operator.may_overrule => {
                Answer::no(format!("{} may not overrule", operator.initials)).next("ask somebody who may")
            }
            Some(operator) => {
                refusal.asked = true;
                Answer::done(format!("{} overrules {}", operator.initials, refusal.verdict))
                    .next("the reason: scan one from the card, or type it (name no borrower)")
            }
        }
    }

    fn overrule(&mut self, here: &mut Here<'_>, reason: &str) -> Result<Answer, AppError> {
        let (Some(mut refusal), Some(due)) = (self.refusal.take_if(|refusal| refusal.asked), self.due) else {
            return Ok(Answer::unclear(format!("`{reason}` means nothing here"), self.prompt()));
        };
        // Somebody else may have signed on since OVERRULE, and the reason is given by whoever is there now.
        if !here.desk.operator.as_ref().is_some_and(|operator| operator.may_overrule) {
            refusal.asked = false;
            self.refusal = Some(refusal);
            return Ok(Answer::no("whoever is signed on now may not overrule").next("ask somebody who may"));
        }
        if reason.chars().count() > REASON {
            self.refusal = Some(refusal);
            return Ok(Answer::unclear(
                format!("a reason has at most {REASON} characters"),
                "a shorter reason",
            ));
        }
        // The facts may have changed at another desk since the refusal: ask again.
        let ask = Ask {
            pack: refusal.pack,
            step: Step::Dispatch,
            player: Some(refusal.player),
            due: Some(due),
            now: here.desk.now(),
        };
        let mut events = Vec::new();
        let (ruling, told) = judging::with_verdict(here.ledger, ask, &mut events)?;
        if let Some(firm) = firm(&ruling) {
            return Ok(Answer::verdict(told, vec![format!("cannot be overruled: {firm}")], Outcome::No));
        }
        if ruling.verdict == Verdict::Fit {
            let mut text = self.enter(here, refusal.pack, refusal.player, due, events, None)?;
            text.push("fit by now: nothing had to be overruled".to_owned());
            return Ok(Answer::verdict(told, text, Outcome::Yes));
        }
        let overruled = Some((ruling.verdict, reason.to_owned()));
        let mut text = self.enter(here, refusal.pack, refusal.player, due, events, overruled)?;
        let by = here.desk.operator.as_ref().map(|operator| operator.initials.clone()).unwrap_or_default();
        text.push(format!("overruled by {by}: {reason}; this stays in the record"));
        Ok(Answer { verdict: None, ..Answer::verdict(told, text, Outcome::Yes) })
    }
}

/// Why a refusal may not be overruled, if so.
fn firm(ruling: &Ruling) -> Option<&'static str> {
    if ruling.verdict == Verdict::Isolate {
        return Some("it may be dangerous");
    }
    ruling.reasons.iter().find_map(|reason| match reason.rule {
        Rule::Identity => Some("the ledger and the thing disagree"),
        Rule::Notice => Some("a safety notice covers it"),
        Rule::Retired => Some("it is waste"),
        _ => None,
    })
}

impl Work for Dispatch {
    fn code(&mut self, here: &mut Here<'_>, code: Code) -> Result<Answer, AppError> {
        match (kind(&code), code.scanned) {
            (Some(ThingKind::Pack), Scanned::Known(thing)) => self.scan_pack(here, PackId::new(thing.id)),
            (Some(ThingKind::Player), Scanned::Known(thing)) => {
                self.scan_player(here, PlayerId::new(thing.id))
            }
            (Some(kind @ (ThingKind::Pack | ThingKind::Player)), _) => Ok(Answer::no(format!(
                "this tag names no {kind} yet, and what is not in the ledger does not go out"
            ))
            .next("take it in first, with `intake` or `receive`")),
            (Some(other), _) => {
                Ok(Answer::unclear(format!("a {other} is not expected at dispatch"), self.prompt()))
            }
            (None, _) => Ok(Answer::unclear("nothing is known by this code", self.prompt())),
        }
    }

    fn amount(&mut self, here: &mut Here<'_>, amount: Amount) -> Result<Answer, AppError> {
        match amount {
            Amount::Due(due) => self.set_due(here, due),
            Amount::Result(_) => {
                Ok(Answer::unclear("a reading belongs to the bench", "enter it with `bench`"))
            }
            Amount::Hours(_) => {
                Ok(Answer::unclear("hours belong to intake", "for the loan, give weeks, days or a date"))
            }
        }
    }

    fn command(&mut self, here: &mut Here<'_>, command: Command) -> Result<Answer, AppError> {
        match command {
            Command::Overrule => Ok(self.ask_overrule(here)),
            Command::Reason(reason) => self.overrule(here, &reason.to_string()),
            Command::No if self.refusal.take().is_some() => Ok(Answer::done("the refusal stands")),
            Command::No if self.pack.is_some() || self.player.is_some() => {
                (self.pack, self.player) = (None, None);
                Ok(Answer::done("dropped; nothing was entered"))
            }
            _ => Ok(Answer::unclear(format!("`{command}` means nothing here"), self.prompt())),
        }
    }

    fn other(&mut self, here: &mut Here<'_>, text: &str) -> Result<Answer, AppError> {
        if self.refusal.as_ref().is_some_and(|refusal| refusal.asked) {
            return self.overrule(here, text);
        }
        if let Some(reference) = text.strip_prefix("ref ").map(str::trim) {
            return match self.gone {
                Some((_, player, loan)) => loan::note(here, loan, player, reference),
                None => Ok(Answer::unclear("nothing went out yet", "send a player out, then its reference")),
            };
        }
        Ok(Answer::unclear(format!("nothing is known by `{text}`"), self.prompt()))
    }

    /// A tray of packs that are to go out: one line for each, and nothing is entered.
    fn of_tray(&mut self, here: &mut Here<'_>, pack: PackId) -> Result<Option<Answer>, AppError> {
        let now = here.desk.now();
        let (_, told) =
            judging::look(here.ledger, Ask { pack, step: Step::Look, player: None, due: None, now })?;
        let why = told.reasons.first().map(|reason| reason.text.clone()).or(told.basis).unwrap_or_default();
        let line = format!("{} {}: {why}", told.verdict, told.pack);
        Ok(Some(if told.verdict == Verdict::Fit { Answer::done(line) } else { Answer::no(line) }))
    }

    fn bare(&self, _number: &str) -> Option<Amount> {
        None
    }

    /// The pack first: what is in the picture is held against what the ledger knows of the player.
    fn picture_order(kind: TagKind) -> u8 {
        match kind {
            TagKind::Pack => 1,
            TagKind::Player => 2,
            _ => 3,
        }
    }

    fn prompt(&self) -> String {
        match (self.due, self.pack, self.player, &self.refusal) {
            (_, _, _, Some(refusal)) if refusal.asked => "the reason".to_owned(),
            _ if self.list.is_some() && self.pack.is_none() && self.player.is_none() => {
                "a pack of the list, or a player with one in it".to_owned()
            }
            (None, None, None, _) => "the length of the loan (digits, then WEEKS), or a pack".to_owned(),
            (None, ..) => "the length of the loan (digits, then WEEKS) or a date".to_owned(),
            (Some(_), Some(_), None, _) => "the player that it goes into".to_owned(),
            (Some(_), None, Some(_), _) => "a pack for this player".to_owned(),
            (Some(_), ..) => "a pack, or a player with its pack in it".to_owned(),
        }
    }

    fn left_over(&self) -> Option<String> {
        (self.pack.is_some() || self.player.is_some())
            .then(|| "the last pair was not complete; nothing went out".to_owned())
    }
}
