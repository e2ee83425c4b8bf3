//! What a roll call found: who was there, who was missing and where they were last seen, and what did not belong there.

use jiff::civil::Date;
use serde::Serialize;

use crate::domain::facts::MusterFacts;
use crate::domain::ids::{MusterId, PlaceId, PlayerId, ThingKind};
use crate::domain::moment::Moment;
use crate::domain::pack::PackFacts;
use crate::ledger::entry::clock_before;
use crate::ledger::{Ledger, LedgerError};

use crate::app::error::AppError;
use crate::app::lookup;

/// Packs that are named in one answer at most.
pub(super) const NAMED: usize = 12;

/// A roll call.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Report {
    /// The place.
    pub place: String,
    /// When it began, local time.
    pub began: String,
    /// When it ended; none while it goes on.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ended: Option<String>,
    /// Packs that are there.
    pub present: Vec<String>,
    /// Packs that should have been there, longest unseen first.
    pub missing: Vec<Missing>,
    /// Packs that were there and not expected.
    pub unexpected: Vec<Unexpected>,
}

/// A pack that should have been there.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Missing {
    /// Its tag.
    pub pack: String,
    /// Its make.
    pub make: String,
    /// When it was last seen before that.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub seen: Option<Date>,
    /// Where that was.
    #[serde(rename = "where")]
    pub place: String,
}

impl Missing {
    /// When and where it was last seen, in words.
    pub fn last_seen(&self) -> String {
        match self.seen {
            Some(day) => format!("on {day}, {}", self.place),
            None => format!("never before that; now {}", self.place),
        }
    }
}

/// A pack that was not expected.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Unexpected {
    /// Its tag.
    pub pack: String,
    /// What speaks against it, or where it had been.
    pub why: String,
    /// What to do, if anything.
    pub todo: String,
}

impl Report {
    /// All of it in a line.
    pub fn summary(&self) -> String {
        let state = if self.ended.is_some() { "over" } else { "goes on" };
        format!(
            "roll call of {} {state}: {} there, {} missing, {} not expected there",
            self.place,
            self.present.len(),
            self.missing.len(),
            self.unexpected.len()
        )
    }
}

/// Why a pack cannot be in a place by the record, and what to do; none where it may well be.
pub(super) fn unexpected(
    ledger: &mut Ledger,
    pack: &PackFacts,
    player: Option<PlayerId>,
) -> Result<Option<(String, String)>, LedgerError> {
    if let Some(left) = pack.left() {
        let day = left.day(ledger.zone());
        return Ok(Some((
            format!("it left with a consignment on {day}"),
            "keep it apart, and ask whoever sent that consignment".to_owned(),
        )));
    }
    if let Some(loan) = pack.loan {
        let due = loan.due;
        return Ok(Some((
            format!("it is out on a loan, due {due}"),
            "take it in, with `intake`: it came back without being scanned".to_owned(),
        )));
    }
    if let Some(run) = pack.run {
        let slot = lookup::name_of(ledger, run.slot.into())?;
        return Ok(Some((
            format!("it should be in {slot}"),
            "give the result of its run, with `bench`: the slot, then what it read".to_owned(),
        )));
    }
    if let Some(ride) = pack.ride.filter(|ride| Some(ride.player) != player) {
        let player = lookup::name_of(ledger, ride.player.into())?;
        return Ok(Some((
            format!("it should be in player {player}"),
            "scan that player at `intake`, then the pack: something was taken out without being scanned"
                .to_owned(),
        )));
    }
    if let Some(consigned) = pack.consigned {
        return Ok(Some((
            format!("it is packed into box {} of a consignment", consigned.number),
            "put it back into its box, or take it out with `consignment pack`".to_owned(),
        )));
    }
    Ok(None)
}

/// Where a pack was last seen, in words.
fn last_place(
    ledger: &mut Ledger,
    pack: &PackFacts,
    before: Moment,
) -> Result<(Option<Date>, String), LedgerError> {
    let seen = pack.last_seen().filter(|&at| at < before).map(|at| at.day(ledger.zone()));
    let place = match (pack.place, pack.ride) {
        (Some((place, _)), Some(ride)) => format!(
            "in player {} in {}",
            lookup::name_of(ledger, ride.player.into())?,
            lookup::name_of(ledger, place.into())?
        ),
        (Some((place, _)), None) => format!("in {}", lookup::name_of(ledger, place.into())?),
        (None, _) => "in no place".to_owned(),
    };
    Ok((seen, place))
}

/// Tells of a roll call.
///
/// # Errors
/// A fault of the ledger.
pub fn report(ledger: &mut Ledger, muster: MusterId) -> Result<Report, AppError> {
    let of: MusterFacts = ledger.facts(muster.into())?.unwrap_or_default();
    let place = of.place.unwrap_or(PlaceId::new(uuid::Uuid::nil()));
    let began = of.began.unwrap_or_default();
    let zone = ledger.zone().clone();
    // What was put there meanwhile is there too; when it is over, it is among those seen.
    let (missing, put) = if of.ended.is_some() {
        (of.missing.clone(), Vec::new())
    } else {
        let standing = super::standing(ledger, place, began)?;
        (standing.missing, standing.present)
    };
    let mut lines = Vec::new();
    for pack in missing {
        let keep = ledger.joined_to(pack)?;
        let facts: PackFacts = ledger.facts(keep.into())?.unwrap_or_default();
        let until = of.ended.unwrap_or(Moment::from_millis(i64::MAX));
        // What was known when it ended: a pack may have turned up since.
        let then = match of.ended {
            Some(at) => ledger.facts_until::<PackFacts>(keep.into(), clock_before(at))?.unwrap_or_default(),
            None => facts.clone(),
        };
        let (seen, place) = last_place(ledger, &then, until)?;
        let settings = ledger.settings()?;
        let make = facts.make.and_then(|make| settings.makes.get(&make));
        let make = make.map_or_else(|| "unknown".to_owned(), |make| make.name.clone());
        lines.push(Missing { pack: lookup::label(&facts.codes), make, seen, place });
    }
    lines.sort_by(|a, b| (a.seen, &a.pack).cmp(&(b.seen, &b.pack)));
    let (mut present, mut unexpected_lines) = (Vec::new(), Vec::new());
    for (&pack, &expected) in &of.seen {
        let keep = ledger.joined_to(pack)?;
        let facts: PackFacts = ledger.facts(keep.into())?.unwrap_or_default();
        let name = lookup::label(&facts.codes);
        if !expected {
            let player = facts.ride.map(|ride| ride.player).filter(|_| facts.place.is_some());
            let why = unexpected(ledger, &facts, player)?;
            let (why, todo) = why.unwrap_or_else(|| {
                let todo = "nothing, if it may stay: it is entered as being here";
                ("it was last in another place, or in none".to_owned(), todo.to_owned())
            });
            unexpected_lines.push(Unexpected { pack: name.clone(), why, todo });
        }
        present.push(name);
    }
    for pack in put.into_iter().filter(|pack| !of.seen.contains_key(pack)) {
        present.push(lookup::pack_name(ledger, pack)?);
    }
    present.sort_unstable();
    unexpected_lines.sort_by(|a, b| a.pack.cmp(&b.pack));
    Ok(Report {
        place: lookup::name_of(ledger, place.into())?,
        began: began.local(&zone),
        ended: of.ended.map(|at| at.local(&zone)),
        present,
        missing: lines,
        unexpected: unexpected_lines,
    })
}

/// The latest roll call of a place.
///
/// # Errors
/// When there was none, or a fault of the ledger.
pub fn latest(ledger: &mut Ledger, place: PlaceId) -> Result<Report, AppError> {
    let mut found: Option<(Option<Moment>, MusterId)> = None;
    for (thing, facts) in ledger.all(ThingKind::Muster)? {
        if let Ok(facts) = MusterFacts::try_from(facts)
            && facts.place == Some(place)
        {
            found = found.max(Some((facts.began, MusterId::new(thing.id))));
        }
    }
    let Some((_, muster)) = found else {
        let name = lookup::name_of(ledger, place.into())?;
        return Err(AppError::input(
            format!("there was no roll call of {name} yet"),
            "begin one: packmuster muster, and scan what is there",
        ));
    };
    report(ledger, muster)
}
