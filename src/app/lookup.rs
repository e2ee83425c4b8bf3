//! From a code to the thing it names, and from a thing to the words that people know it by.

use crate::domain::facts::{
    CartonFacts, ConsignmentFacts, LotFacts, OperatorFacts, PickFacts, PlaceFacts, PlayerFacts, SlotFacts,
};
use crate::domain::ids::{MakeId, PackId, PlayerMakeId, Thing, ThingKind};
use crate::domain::pack::PackFacts;
use crate::domain::tag::{Tag, TagKind};
use crate::domain::verdict::Verdict;
use crate::ledger::query::Named;
use crate::ledger::settings::Settings;
use crate::ledger::{Ledger, LedgerError};

use super::error::AppError;

/// A scanned code, looked up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scanned {
    /// It names a thing.
    Known(Thing),
    /// It named a thing until it was replaced.
    Retired(Thing),
    /// A tag of ours that names nothing yet.
    Fresh(Tag),
    /// A foreign code that names nothing.
    Unknown,
}

/// Looks a code up.
///
/// # Errors
/// A fault of the ledger.
pub fn scanned(ledger: &mut Ledger, text: &str) -> Result<Scanned, LedgerError> {
    let tag = text.parse::<Tag>().ok();
    let code = tag.as_ref().map_or(text, Tag::text);
    Ok(match (ledger.resolve(code)?, tag) {
        (Some(Named::Now(thing)), _) => Scanned::Known(thing),
        (Some(Named::Once(thing)), _) => Scanned::Retired(thing),
        (None, Some(tag)) => Scanned::Fresh(tag),
        (None, None) => Scanned::Unknown,
    })
}

/// Finds the thing that a code or, for kinds with names, a name means.
///
/// # Errors
/// When it means nothing or more than one thing, with what to do.
pub fn find(ledger: &mut Ledger, text: &str) -> Result<Thing, AppError> {
    match scanned(ledger, text)? {
        Scanned::Known(thing) | Scanned::Retired(thing) => return Ok(thing),
        Scanned::Fresh(tag) => {
            return Err(AppError::input(
                format!("{tag} is a fresh {} tag: it names nothing yet", tag.kind()),
                "stick it on and scan it in with `receive` or `intake`",
            ));
        }
        Scanned::Unknown => {}
    }
    let mut found = Vec::new();
    for kind in ThingKind::ALL {
        found.extend(ledger.named(kind, text)?);
    }
    match found.as_slice() {
        [only] => Ok(*only),
        [] => Err(AppError::input(
            format!("nothing is known by `{text}`"),
            "scan its tag, or type the code printed under it; a name must be written as it was entered",
        )),
        _ => Err(AppError::input(format!("`{text}` names several things"), "use a tag instead of the name")),
    }
}

/// Finds the one thing of a kind by name, or the only one there is.
///
/// # Errors
/// When there is none of that name, or several and none was named.
pub fn by_name(
    ledger: &mut Ledger,
    kind: ThingKind,
    name: Option<&str>,
    option: &str,
) -> Result<Thing, AppError> {
    let all = ledger.all(kind)?;
    let names = || all.iter().filter_map(|(_, facts)| facts.name()).collect::<Vec<_>>().join(", ");
    match name {
        Some(name) => {
            let mut matching = all
                .iter()
                .filter(|(_, facts)| facts.name().is_some_and(|known| known.eq_ignore_ascii_case(name)));
            match (matching.next(), matching.next()) {
                (Some((thing, _)), None) => Ok(*thing),
                (Some(_), Some(_)) => {
                    Err(AppError::input(format!("several {kind}s are named `{name}`"), "rename one of them"))
                }
                (None, _) => Err(AppError::input(
                    format!("no {kind} is named `{name}`"),
                    format!("known: {}", names()),
                )),
            }
        }
        None => match all.as_slice() {
            [(only, _)] => Ok(*only),
            [] => Err(AppError::input(
                format!("the ledger has no {kind} yet"),
                format!("add one: packmuster {option} add"),
            )),
            _ => Err(AppError::input(
                format!("the ledger has several {kind}s, and none was named"),
                format!("give --{option}; known: {}", names()),
            )),
        },
    }
}

/// The make to use for adopted packs: the one named, or the only one.
///
/// # Errors
/// When it is not clear.
pub fn make(ledger: &mut Ledger, name: Option<&str>) -> Result<MakeId, AppError> {
    by_name(ledger, ThingKind::Make, name, "make").map(|thing| MakeId::new(thing.id))
}

/// The make to use for adopted players: the one named, or the only one.
///
/// # Errors
/// When it is not clear.
pub fn player_make(ledger: &mut Ledger, name: Option<&str>) -> Result<PlayerMakeId, AppError> {
    by_name(ledger, ThingKind::PlayerMake, name, "player-make").map(|thing| PlayerMakeId::new(thing.id))
}

/// The code by which people know a thing: its newest tag of ours in groups, else its newest foreign code.
pub fn label(codes: &[String]) -> String {
    let tag = codes.iter().rev().find_map(|code| code.parse::<Tag>().ok());
    match (tag, codes.last()) {
        (Some(tag), _) => tag.to_string(),
        (None, Some(code)) => code.clone(),
        (None, None) => "(no tag)".to_owned(),
    }
}

/// The code or name by which people know any thing.
///
/// # Errors
/// A fault of the ledger.
pub fn name_of(ledger: &mut Ledger, thing: Thing) -> Result<String, LedgerError> {
    let (name, codes) = match thing.kind {
        ThingKind::Pack => (None, ledger.facts::<PackFacts>(thing)?.map(|facts| facts.codes)),
        ThingKind::Player => (None, ledger.facts::<PlayerFacts>(thing)?.map(|facts| facts.codes)),
        ThingKind::Slot => (ledger.facts::<SlotFacts>(thing)?.map(|facts| facts.name), None),
        ThingKind::Place => (ledger.facts::<PlaceFacts>(thing)?.map(|facts| facts.name), None),
        ThingKind::Operator => (ledger.facts::<OperatorFacts>(thing)?.map(|facts| facts.initials), None),
        ThingKind::Lot => (ledger.facts::<LotFacts>(thing)?.map(|facts| facts.name), None),
        ThingKind::Carton => (ledger.facts::<CartonFacts>(thing)?.map(|facts| facts.name), None),
        ThingKind::Consignment => (ledger.facts::<ConsignmentFacts>(thing)?.map(|facts| facts.name), None),
        ThingKind::Pick => (ledger.facts::<PickFacts>(thing)?.map(|facts| facts.name), None),
        _ => (None, None),
    };
    Ok(name
        .filter(|name| !name.is_empty())
        .or(codes.map(|codes| label(&codes)))
        .unwrap_or_else(|| thing.kind.to_string()))
}

/// A pack by its tag, for messages.
///
/// # Errors
/// A fault of the ledger.
pub fn pack_name(ledger: &mut Ledger, pack: PackId) -> Result<String, LedgerError> {
    name_of(ledger, pack.into())
}

/// The tray for a verdict: the first place by name that takes it.
pub fn tray(settings: &Settings, verdict: Verdict) -> Option<String> {
    let mut names: Vec<&str> = settings
        .places
        .values()
        .filter(|place| place.tray == Some(verdict))
        .map(|place| place.name.as_str())
        .collect();
    names.sort_unstable();
    names.first().map(|name| (*name).to_owned())
}

/// The kind of thing that a kind of tag is for; none for commands.
pub const fn kind_for(tag: TagKind) -> Option<ThingKind> {
    match tag {
        TagKind::Pack => Some(ThingKind::Pack),
        TagKind::Player => Some(ThingKind::Player),
        TagKind::Slot => Some(ThingKind::Slot),
        TagKind::Place => Some(ThingKind::Place),
        TagKind::Operator => Some(ThingKind::Operator),
        TagKind::Command => None,
    }
}
