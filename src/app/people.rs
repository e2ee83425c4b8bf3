//! Operators, further codes and replaced tags.

use crate::domain::event::{OperatorEnrolled, TagBound};
use crate::domain::facts::OperatorFacts;
use crate::domain::ids::{OperatorId, Thing, ThingKind};
use crate::domain::tag::{Tag, TagKind};
use crate::ledger::Ledger;

use super::answer::Answer;
use super::desk::Operator;
use super::error::AppError;
use super::lookup::{self, Scanned};
use super::session::{Here, retag};

/// Longest initials, in characters.
const INITIALS: usize = 8;
/// Longest foreign code, in bytes.
const CODE: usize = 128;

/// The operator with these initials.
///
/// # Errors
/// When nobody, or more than one person, has them.
pub fn operator(ledger: &mut Ledger, initials: &str) -> Result<Operator, AppError> {
    let thing = lookup::by_name(ledger, ThingKind::Operator, Some(initials), "operator")?;
    let facts: OperatorFacts = ledger.facts(thing)?.unwrap_or_default();
    Ok(Operator { id: OperatorId::new(thing.id), initials: facts.initials, may_overrule: facts.may_overrule })
}

/// Enrols an operator, or gives one that is there other rights and a further tag.
///
/// # Errors
/// When the initials are no initials, or the tag is not a fresh operator tag.
pub fn enrol(
    here: &mut Here<'_>,
    initials: &str,
    may_overrule: bool,
    tag: Option<&str>,
) -> Result<Answer, AppError> {
    let initials = initials.trim();
    if initials.is_empty() || initials.chars().count() > INITIALS || initials.contains(char::is_whitespace) {
        return Err(AppError::input(
            format!("`{initials}` are no initials"),
            format!("give 1 to {INITIALS} characters without spaces"),
        ));
    }
    let code = tag.map(|tag| fresh(here.ledger, tag, TagKind::Operator)).transpose()?;
    let known = here.ledger.named(ThingKind::Operator, initials)?.first().copied();
    let operator = match known {
        Some(thing) => OperatorId::new(thing.id),
        None => OperatorId::draw(here.desk.now(), &mut here.desk.random),
    };
    let mut events = vec![OperatorEnrolled { operator, initials: initials.to_owned(), may_overrule }.into()];
    events.extend(code.map(|code| TagBound { code, thing: operator.into() }.into()));
    here.desk.record(here.ledger, events)?;
    let right = if may_overrule { "may overrule" } else { "may not overrule" };
    Ok(Answer::done(format!("operator {initials}, {right}")))
}

/// Takes a tag that names nothing yet and is made for a kind; gives it as the ledger keeps it.
///
/// # Errors
/// When it is no tag, another kind's, or in use.
pub fn fresh(ledger: &mut Ledger, text: &str, kind: TagKind) -> Result<String, AppError> {
    let tag: Tag = text
        .parse()
        .map_err(|error: crate::domain::tag::TagError| AppError::input(error.to_string(), "scan it again"))?;
    if tag.kind() != kind {
        return Err(AppError::input(
            format!("{tag} is made for a {}", tag.kind()),
            format!("give a fresh {kind} tag"),
        ));
    }
    match lookup::scanned(ledger, tag.text())? {
        Scanned::Fresh(_) => Ok(tag.text().to_owned()),
        _ => Err(AppError::input(format!("{tag} is in use"), format!("give a fresh {kind} tag"))),
    }
}

/// Binds a further code to a thing.
///
/// # Errors
/// When the thing is not known, or the code is in use or made for another kind.
pub fn bind(here: &mut Here<'_>, thing: &str, code: &str) -> Result<Answer, AppError> {
    let thing = lookup::find(here.ledger, thing)?;
    let text = code.trim();
    let text = match lookup::scanned(here.ledger, text)? {
        Scanned::Fresh(tag) if lookup::kind_for(tag.kind()) == Some(thing.kind) => tag.text().to_owned(),
        Scanned::Fresh(tag) => {
            return Err(AppError::input(
                format!("{tag} is made for a {}", tag.kind()),
                "use a tag of the right kind",
            ));
        }
        Scanned::Unknown if !text.is_empty() && text.len() <= CODE => text.to_owned(),
        Scanned::Unknown => {
            return Err(AppError::input(
                "the code is empty or too long",
                format!("give 1 to {CODE} characters"),
            ));
        }
        Scanned::Known(other) | Scanned::Retired(other) => {
            let name = lookup::name_of(here.ledger, other)?;
            return Err(AppError::input(
                format!("`{text}` names the {} {name} already", other.kind),
                "nothing was bound",
            ));
        }
    };
    here.desk.record(here.ledger, vec![TagBound { code: text.clone(), thing }.into()])?;
    Ok(Answer::done(format!(
        "`{text}` now names the {} {}",
        thing.kind,
        lookup::name_of(here.ledger, thing)?
    )))
}

/// Replaces the worn tag of a thing by a fresh one.
///
/// # Errors
/// When the thing is not known, or the new tag is not a fresh one of its kind.
pub fn replace_tag(here: &mut Here<'_>, worn: &str, code: &str) -> Result<Answer, AppError> {
    let thing: Thing = lookup::find(here.ledger, worn)?;
    let kind = TagKind::ALL.into_iter().find(|&kind| lookup::kind_for(kind) == Some(thing.kind)).ok_or_else(
        || {
            AppError::input(
                format!("a {} wears no tag", thing.kind),
                "give the worn tag of a pack, player, slot or place",
            )
        },
    )?;
    let code = fresh(here.ledger, code, kind)?;
    let old = worn.parse::<Tag>().map_or_else(|_foreign| worn.to_owned(), |tag| tag.text().to_owned());
    retag(here, thing, &old, &code)?;
    Ok(Answer::done(format!("the {} now wears {}", thing.kind, lookup::name_of(here.ledger, thing)?))
        .and("peel the old tag off"))
}
