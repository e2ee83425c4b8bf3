//! The roll call of a place: scan everything that is there, with as many desks as there are hands; what is missing and what does not
//! belong there comes out.
//!
//! A roll call lasts from its first scan until somebody says that all is scanned, and every desk adds to the same one. Expected is what
//! was last put into the place; what is put there meanwhile counts as seen. A player that is scanned shows the pack that rides
//! in it. At the end the packs that nobody saw count as missing, with where they were last seen.

mod report;

use std::collections::BTreeSet;

use crate::domain::command::Command;
use crate::domain::event::{Event, MusterBegan, MusterEnded, PackSeen};
use crate::domain::facts::{MusterFacts, PlaceFacts, PlayerFacts};
use crate::domain::finding::CAUTIONS;
use crate::domain::ids::{MusterId, PackId, PlaceId, PlayerId, ThingKind};
use crate::domain::moment::Moment;
use crate::domain::pack::PackFacts;
use crate::domain::tag::TagKind;
use crate::domain::verdict::{Step, Verdict};
use crate::ledger::{Ledger, LedgerError};

use super::answer::{Answer, count};
use super::error::AppError;
use super::intake::kind;
use super::judging::{self, Ask};
use super::lookup::{self, Scanned};
use super::session::{Amount, Code, Here, Work};
pub use report::{Missing, Report, Unexpected, latest, report};

/// Scans after which a desk counts anew what is still expected.
const RECOUNT: u32 = 25;

/// A session of a roll call.
#[derive(Debug, Clone)]
pub struct Muster {
    place: PlaceId,
    name: String,
    /// The roll call that this session scans for, once it is open.
    call: Option<MusterId>,
    /// Packs that are expected and were not seen, when they were last counted, and the scans since.
    counted: Option<(BTreeSet<PackId>, u32)>,
    /// ENTER was scanned: YES ends the roll call.
    asked: bool,
    /// The pack scanned last: a place that is scanned takes it.
    last: Option<PackId>,
}

/// The packs of a place: those seen since a moment, and those that were put there before and not seen since.
struct Standing {
    present: Vec<PackId>,
    missing: Vec<PackId>,
}

/// The roll call of a place that is open.
fn open_one(ledger: &mut Ledger, place: PlaceId) -> Result<Option<(MusterId, MusterFacts)>, LedgerError> {
    let mut open = None;
    for (thing, facts) in ledger.all(ThingKind::Muster)? {
        if let Ok(facts) = MusterFacts::try_from(facts)
            && facts.place == Some(place)
            && facts.began.is_some()
            && facts.ended.is_none()
        {
            open = Some((MusterId::new(thing.id), facts));
        }
    }
    Ok(open)
}

fn standing(ledger: &mut Ledger, place: PlaceId, began: Moment) -> Result<Standing, LedgerError> {
    let mut standing = Standing { present: Vec::new(), missing: Vec::new() };
    for pack in ledger.packs_of(place)? {
        let facts: PackFacts = ledger.facts(pack.into())?.unwrap_or_default();
        let Some((_, at)) = facts.place.filter(|(lies, _)| *lies == place) else { continue };
        if facts.joined.is_some() || facts.missing.is_some() || facts.written_off.is_some() {
            continue;
        }
        if at >= began { standing.present.push(pack) } else { standing.missing.push(pack) }
    }
    Ok(standing)
}

/// Finds a place by its tag or name.
///
/// # Errors
/// When there is no such place.
pub fn place(ledger: &mut Ledger, text: &str) -> Result<PlaceId, AppError> {
    let thing = lookup::find(ledger, text)?;
    thing.place().ok_or_else(|| {
        AppError::input(
            format!("`{text}` is {}, and a roll call is of a place", thing.kind.one()),
            "give the tag or name of a place; packmuster place list names them",
        )
    })
}

impl Muster {
    /// Begins to scan a place.
    ///
    /// # Errors
    /// When there is no such place.
    pub fn new(ledger: &mut Ledger, text: &str) -> Result<Self, AppError> {
        let place = place(ledger, text)?;
        Ok(Self {
            place,
            name: lookup::name_of(ledger, place.into())?,
            call: None,
            counted: None,
            asked: false,
            last: None,
        })
    }

    /// The open roll call, begun by this scan where none was.
    fn open(&mut self, here: &mut Here<'_>) -> Result<(MusterId, MusterFacts), AppError> {
        if let Some(ours) = self.call {
            let facts: MusterFacts = here.ledger.facts(ours.into())?.unwrap_or_default();
            if facts.ended.is_some() {
                (self.call, self.counted, self.asked) = (None, None, false);
                return Err(AppError::input(
                    format!("the roll call of {} was ended at another desk", self.name),
                    "scan again to begin another one; nothing is entered",
                ));
            }
            // Its beginning may have been taken back.
            if facts.began.is_some() {
                return Ok((ours, facts));
            }
        }
        if let Some(open) = open_one(here.ledger, self.place)? {
            self.call = Some(open.0);
            return Ok(open);
        }
        let at = here.desk.now();
        let muster = MusterId::draw(at, &mut here.desk.random);
        here.desk.record(here.ledger, vec![MusterBegan { muster, place: self.place, at }.into()])?;
        self.call = Some(muster);
        Ok((muster, MusterFacts { place: Some(self.place), began: Some(at), ..MusterFacts::default() }))
    }

    fn scan_pack(&mut self, here: &mut Here<'_>, pack: PackId) -> Result<Answer, AppError> {
        self.asked = false;
        self.last = Some(pack);
        let facts: PackFacts = here.ledger.facts(pack.into())?.unwrap_or_default();
        let (muster, of) = self.open(here)?;
        let name = lookup::label(&facts.codes);
        if of.seen.contains_key(&pack) {
            return Ok(Answer::done(format!("pack {name} was seen already")));
        }
        self.see(here, (muster, &of), (pack, &facts), None)
    }

    /// A player shows the pack that rides in it.
    fn scan_player(&mut self, here: &mut Here<'_>, player: PlayerId) -> Result<Answer, AppError> {
        self.asked = false;
        self.last = None;
        let facts: PlayerFacts = here.ledger.facts(player.into())?.unwrap_or_default();
        let name = lookup::label(&facts.codes);
        let Some((_, pack)) = facts.ride else {
            return Ok(Answer::done(format!(
                "player {name} is empty by the record; packs are what is called"
            )));
        };
        let (muster, of) = self.open(here)?;
        if of.seen.contains_key(&pack) {
            return Ok(Answer::done(format!("player {name} and its pack were seen already")));
        }
        let of_pack: PackFacts = here.ledger.facts(pack.into())?.unwrap_or_default();
        self.see(here, (muster, &of), (pack, &of_pack), Some(player))
    }

    fn see(
        &mut self,
        here: &mut Here<'_>,
        (muster, of): (MusterId, &MusterFacts),
        (pack, facts): (PackId, &PackFacts),
        player: Option<PlayerId>,
    ) -> Result<Answer, AppError> {
        let name = lookup::label(&facts.codes);
        let lay = facts.place.map(|(place, _)| place);
        let why = report::unexpected(here.ledger, facts, player)?;
        let expected = why.is_none() && lay == Some(self.place);
        let at = here.desk.now();
        let seen = PackSeen { muster, place: self.place, pack, player, expected, at };
        here.desk.record(here.ledger, vec![seen.into()])?;
        let began = of.began.unwrap_or(at);
        let left = self.left(here.ledger, pack, began)?;
        let to_go = format!("{} expected here and not seen yet", count(left, "pack", "packs"));
        if let Some((text, next)) = why {
            return Ok(Answer::no(format!("pack {name}: {text}")).next(next));
        }
        let (ruling, told) =
            judging::look(here.ledger, Ask { pack, step: Step::Look, player: None, due: None, now: at })?;
        let tray: PlaceFacts = here.ledger.facts(self.place.into())?.unwrap_or_default();
        // What lies in the wrong tray is seen there, and said.
        if let Some(takes) = tray.tray.filter(|takes| *takes != ruling.verdict) {
            let to = told.tray.clone().unwrap_or_else(|| format!("a tray for {}", ruling.verdict));
            let text = format!("pack {name} is {}, and {} takes {takes}", ruling.verdict, self.name);
            let mut answer = Answer::no(text);
            if ruling.verdict == Verdict::Isolate {
                answer = answer.and(CAUTIONS);
            }
            return Ok(answer.and(to_go).next(format!("carry it to {to}, and scan it there")));
        }
        let text = match (expected, lay) {
            (true, _) => format!("pack {name}, {}", ruling.verdict),
            (false, Some(lay)) => {
                format!(
                    "pack {name}, {}, was last in {}",
                    ruling.verdict,
                    lookup::name_of(here.ledger, lay.into())?
                )
            }
            (false, None) => format!("pack {name}, {}, lay in no place until now", ruling.verdict),
        };
        Ok(match ruling.verdict {
            Verdict::Isolate => Answer::no(text).and(CAUTIONS).and(to_go),
            _ => Answer::done(text).and(to_go),
        })
    }

    /// How many packs are expected and not seen yet. To count them is to go through all that was ever put there, so it is done anew
    /// only now and then: what other desks saw in between is left out by the next count.
    fn left(&mut self, ledger: &mut Ledger, seen: PackId, began: Moment) -> Result<usize, LedgerError> {
        let (mut missing, scans) = match self.counted.take() {
            Some((missing, scans)) if scans < RECOUNT => (missing, scans + 1),
            _ => (standing(ledger, self.place, began)?.missing.into_iter().collect(), 0),
        };
        missing.remove(&seen);
        let left = missing.len();
        self.counted = Some((missing, scans));
        Ok(left)
    }

    /// Says what is not seen yet, and asks whether that is all.
    fn ask(&mut self, here: &mut Here<'_>) -> Result<Answer, AppError> {
        // A place may be bare: then nothing was scanned that could have begun it.
        let (_, of) = self.open(here)?;
        self.asked = true;
        self.counted = None;
        let standing = standing(here.ledger, self.place, of.began.unwrap_or_default())?;
        let mut text = format!("{} seen, {} not seen", of.seen.len(), standing.missing.len());
        let mut names = Vec::new();
        for &pack in standing.missing.iter().take(report::NAMED) {
            names.push(lookup::pack_name(here.ledger, pack)?);
        }
        if !names.is_empty() {
            text = format!("{text}: {}", names.join(", "));
            if standing.missing.len() > names.len() {
                text.push_str(", ...");
            }
        }
        Ok(Answer::done(text)
            .next("YES when all is scanned: what was not seen is missing; or go on scanning"))
    }
}

/// Ends the roll call of a place: what was not seen is missing.
///
/// # Errors
/// When none is open, or a fault of the ledger.
pub fn end(here: &mut Here<'_>, place: PlaceId) -> Result<Report, AppError> {
    let desk = &mut *here.desk;
    here.ledger.transact(|ledger| close(&mut Here { ledger, desk }, place))
}

fn close(here: &mut Here<'_>, place: PlaceId) -> Result<Report, AppError> {
    let name = lookup::name_of(here.ledger, place.into())?;
    let Some((muster, of)) = open_one(here.ledger, place)? else {
        return Err(AppError::input(
            format!("no roll call of {name} is open"),
            "begin one: packmuster muster, and scan what is there; ENTER and YES where nothing is",
        ));
    };
    let standing = standing(here.ledger, place, of.began.unwrap_or_default())?;
    let at = here.desk.now();
    // What was put there meanwhile counts as seen.
    let put = standing.present.iter().filter(|pack| !of.seen.contains_key(pack));
    let seen = |&pack| PackSeen { muster, place, pack, player: None, expected: true, at }.into();
    let mut events: Vec<Event> = put.map(seen).collect();
    let ended = MusterEnded {
        muster,
        place,
        present: u32::try_from(standing.present.len()).unwrap_or(u32::MAX),
        missing: standing.missing,
        at,
    };
    events.push(ended.into());
    here.desk.record(here.ledger, events)?;
    report(here.ledger, muster)
}

impl Work for Muster {
    fn code(&mut self, here: &mut Here<'_>, code: Code) -> Result<Answer, AppError> {
        match (kind(&code), code.scanned) {
            (Some(ThingKind::Pack), Scanned::Known(thing)) => self.scan_pack(here, PackId::new(thing.id)),
            (Some(ThingKind::Player), Scanned::Known(thing)) => {
                self.scan_player(here, PlayerId::new(thing.id))
            }
            (Some(kind @ (ThingKind::Pack | ThingKind::Player)), _) => {
                Ok(Answer::no(format!("this tag names no {kind} yet: the record knows nothing of it"))
                    .next("put it aside and take it in, with `intake` or `intake --loose`"))
            }
            (Some(other), _) => {
                Ok(Answer::unclear(format!("a {other} is not called at a roll call"), self.prompt()))
            }
            (None, _) => Ok(Answer::unclear("nothing is known by this code", self.prompt())),
        }
    }

    fn amount(&mut self, _here: &mut Here<'_>, _amount: Amount) -> Result<Answer, AppError> {
        Ok(Answer::unclear("a number means nothing here", self.prompt()))
    }

    fn command(&mut self, here: &mut Here<'_>, command: Command) -> Result<Answer, AppError> {
        match command {
            Command::Enter => self.ask(here),
            Command::Yes if self.asked => {
                self.asked = false;
                self.open(here)?;
                let report = end(here, self.place)?;
                (self.call, self.counted) = (None, None);
                let answer = Answer::done(report.summary());
                Ok(report.missing.iter().take(report::NAMED).fold(answer, |answer, missing| {
                    answer.and(format!("missing: {}, last seen {}", missing.pack, missing.last_seen()))
                }))
            }
            Command::No if self.asked => {
                self.asked = false;
                Ok(Answer::done("it goes on"))
            }
            _ => Ok(Answer::unclear(format!("`{command}` means nothing here"), self.prompt())),
        }
    }

    fn other(&mut self, _here: &mut Here<'_>, text: &str) -> Result<Answer, AppError> {
        Ok(Answer::unclear(format!("nothing is known by `{text}`"), self.prompt()))
    }

    fn bare(&self, _number: &str) -> Option<Amount> {
        None
    }

    fn prompt(&self) -> String {
        if self.asked {
            return "YES to end the roll call, or go on scanning".to_owned();
        }
        format!("a pack or player in {} (ENTER when all is scanned)", self.name)
    }

    fn at_hand(&self) -> Option<PackId> {
        self.last
    }

    fn picture_order(kind: TagKind) -> u8 {
        u8::from(kind != TagKind::Pack)
    }

    fn of_tray(&mut self, here: &mut Here<'_>, pack: PackId) -> Result<Option<Answer>, AppError> {
        let answer = self.scan_pack(here, pack)?;
        // Many lie there: none of them is the one in hand.
        self.last = None;
        Ok(Some(answer))
    }
}
