//! Safety notices: issue and lift.

use jiff::civil::Date;
use serde::Serialize;

use crate::domain::event::{NoticeIssued, NoticeLifted, Scope};
use crate::domain::facts::{Facts, NoticeFacts};
use crate::domain::ids::{LotId, MakeId, NoticeId, Thing, ThingKind};
use crate::domain::verdict::Verdict;
use crate::ledger::{Ledger, LedgerError};
use crate::policy::notice::covers;

use super::answer::Answer;
use super::error::AppError;
use super::lookup;
use super::review::Whereabouts;
use super::session::Here;

/// What a notice covers, by names.
#[derive(Debug, Clone, Default)]
pub struct Named {
    /// A make.
    pub make: Option<String>,
    /// A lot.
    pub lot: Option<String>,
    /// First and last serial.
    pub serials: Option<(String, String)>,
}

/// Issues a notice. From now on it bites at every scan of a pack that it covers.
///
/// # Errors
/// When it covers nothing in particular, or a name is not known.
pub fn issue(here: &mut Here<'_>, covers: &Named, verdict: Verdict, text: &str) -> Result<Answer, AppError> {
    let ledger = &mut *here.ledger;
    let make = match &covers.make {
        Some(name) => Some(MakeId::new(lookup::by_name(ledger, ThingKind::Make, Some(name), "make")?.id)),
        None => None,
    };
    let lot = match &covers.lot {
        Some(name) => Some(LotId::new(lookup::by_name(ledger, ThingKind::Lot, Some(name), "lot")?.id)),
        None => None,
    };
    if make.is_none() && lot.is_none() && covers.serials.is_none() {
        return Err(AppError::input("a notice on nothing", "give a make, a lot or a range of serials"));
    }
    if text.trim().is_empty() {
        return Err(AppError::input("a notice without words", "say in a few words what is wrong"));
    }
    if verdict < Verdict::Wait {
        return Err(AppError::input(format!("a notice cannot give {verdict}"), "give wait or isolate"));
    }
    let at = here.desk.now();
    let notice = NoticeId::draw(at, &mut here.desk.random);
    let scope = Scope { make, lot, serials: covers.serials.clone() };
    let event = NoticeIssued { notice, scope, verdict, text: text.trim().to_owned(), at };
    here.desk.record(here.ledger, vec![event.into()])?;
    Ok(Answer::done(format!("notice {notice} is in force: {verdict} {}", text.trim())))
}

/// Lifts a notice.
///
/// # Errors
/// When it is not known or lifted already.
pub fn lift(here: &mut Here<'_>, notice: &str) -> Result<Answer, AppError> {
    let known = list(here.ledger)?;
    let found = known.iter().find(|(id, facts)| id.to_string() == notice && !facts.lifted);
    let Some((id, facts)) = found else {
        return Err(AppError::input(
            format!("no notice `{notice}` is in force"),
            "see `packmuster notice list`",
        ));
    };
    let at = here.desk.now();
    here.desk.record(here.ledger, vec![NoticeLifted { notice: *id, at }.into()])?;
    Ok(Answer::done(format!("lifted: {}", facts.text)))
}

/// A pack that a notice covers.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Covered {
    /// Its tag.
    pub pack: String,
    /// Where it is.
    #[serde(rename = "where")]
    pub place: Whereabouts,
    /// When it is due back, if it is with a borrower.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub due: Option<Date>,
}

/// The packs that a notice covers, those with borrowers first, soonest due first.
///
/// # Errors
/// A fault of the ledger.
pub fn packs(ledger: &mut Ledger, notice: &NoticeFacts) -> Result<Vec<Covered>, LedgerError> {
    let mut covered = Vec::new();
    ledger.each(ThingKind::Pack, |_, _, facts| {
        if let Facts::Pack(pack) = facts
            && pack.joined.is_none()
            && covers(&notice.scope, &pack)
        {
            covered.push(Covered {
                pack: lookup::label(&pack.codes),
                place: Whereabouts::of(&pack),
                due: pack.loan.map(|loan| loan.due),
            });
        }
        Ok::<(), LedgerError>(())
    })?;
    covered.sort_by(|a, b| (a.place, a.due, &a.pack).cmp(&(b.place, b.due, &b.pack)));
    Ok(covered)
}

/// Every notice, lifted or not.
///
/// # Errors
/// A fault of the ledger.
pub fn list(ledger: &mut Ledger) -> Result<Vec<(NoticeId, NoticeFacts)>, LedgerError> {
    let take =
        |(thing, facts): (Thing, Facts)| Some((NoticeId::new(thing.id), NoticeFacts::try_from(facts).ok()?));
    let all: Vec<_> = ledger.all(ThingKind::Notice)?.into_iter().filter_map(take).collect();
    Ok(all.into_iter().filter(|(_, facts)| facts.verdict.is_some()).collect())
}
