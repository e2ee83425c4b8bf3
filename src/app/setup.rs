//! Setting a ledger up: sites, makes, slots, places and the policy.

use std::path::Path;

use crate::domain::event::{
    Event, MakeDeclared, PlaceAdded, PlayerMakeDeclared, PolicyAdopted, SlotAdded, SlotTakes, TagBound,
};
use crate::domain::ids::{ActId, MakeId, PlaceId, PlayerMakeId, SiteId, SlotId, ThingKind, WriterId};
use crate::domain::make::{PackMake, PlayerMake};
use crate::domain::tag::TagKind;
use crate::domain::units::{Draw, MilliampHours, PlayHours};
use crate::domain::verdict::Verdict;
use crate::ledger::{Ledger, LedgerError};
use crate::policy::rules::Policy;

use super::answer::Answer;
use super::desk::Desk;
use super::error::AppError;
use super::lookup;
use super::people::fresh;
use super::session::Here;

/// What a new ledger begins with.
#[derive(Debug, Clone)]
pub struct Beginning {
    /// The first site.
    pub site: String,
    /// Its time zone, an IANA name.
    pub zone: String,
    /// The policy's text.
    pub policy: String,
    /// The first make of player.
    pub player: PlayerMake,
    /// The first make of pack.
    pub pack: PackMake,
}

/// Makes a ledger file with its first site, policy and makes. Nothing is left behind when it fails.
///
/// # Errors
/// When the file exists, or the policy, zone or a make is not valid.
pub fn begin(path: &Path, desk: &mut Desk, beginning: &Beginning) -> Result<Ledger, AppError> {
    let policy = parse(&beginning.policy)?;
    check_name("the site", &beginning.site)?;
    check_pack(&beginning.pack)?;
    check_player(&beginning.player)?;
    let mut ledger = Ledger::create(path)?;
    let filled = fill(&mut ledger, desk, beginning, &policy);
    if let Err(error) = filled {
        drop(ledger);
        for end in ["", "-wal", "-shm"] {
            let mut name = path.as_os_str().to_owned();
            name.push(end);
            // Best effort: the error that is being reported is the one that matters.
            let _gone = std::fs::remove_file(Path::new(&name));
        }
        return Err(error);
    }
    ledger.settle()?;
    Ok(ledger)
}

fn fill(
    ledger: &mut Ledger,
    desk: &mut Desk,
    beginning: &Beginning,
    policy: &Policy,
) -> Result<(), AppError> {
    open_site(ledger, desk, &beginning.site, &beginning.zone)?;
    let here = &mut Here { ledger, desk };
    adopt(here, &beginning.policy, policy)?;
    declare_player(here, beginning.player.clone())?;
    declare_pack(here, beginning.pack.clone())?;
    Ok(())
}

/// Opens a site with a chain of its own.
///
/// # Errors
/// When the name is taken or the zone is not known.
pub fn open_site(ledger: &mut Ledger, desk: &mut Desk, name: &str, zone: &str) -> Result<Answer, AppError> {
    check_name("the site", name)?;
    for (_, facts) in ledger.all(ThingKind::Site)? {
        if facts.name().is_some_and(|known| known.eq_ignore_ascii_case(name)) {
            return Err(AppError::input(format!("site `{name}` exists already"), "choose another name"));
        }
    }
    let now = desk.now();
    let random = &mut desk.random;
    let ids = (SiteId::draw(now, random), WriterId::draw(now, random), ActId::draw(now, random));
    ledger.open_site(ids, name, zone, now)?;
    Ok(Answer::done(format!("site {name}, {zone}")))
}

/// Reads a policy text.
///
/// # Errors
/// When it is no policy; names the key and value.
pub fn parse(text: &str) -> Result<Policy, AppError> {
    Policy::parse(text)
        .map_err(|error| AppError::input(error.to_string(), "mend the policy file; nothing was adopted"))
}

/// Adopts a policy, unless it is the one in force already.
///
/// # Errors
/// A fault of the ledger.
pub fn adopt(here: &mut Here<'_>, text: &str, policy: &Policy) -> Result<Answer, AppError> {
    match here.ledger.settings() {
        Ok(settings) if settings.policy.id == policy.id => {
            return Ok(Answer::done(format!("policy {} is in force already", policy.id)));
        }
        Ok(_) | Err(LedgerError::NoPolicy) => {}
        Err(error) => return Err(error.into()),
    }
    let at = here.desk.now();
    here.desk.record(here.ledger, vec![PolicyAdopted { text: text.to_owned(), at }.into()])?;
    Ok(Answer::done(format!("policy {} is in force", policy.id)))
}

/// Declares a make of pack, or new figures for one of that name.
///
/// # Errors
/// When a figure makes no sense.
pub fn declare_pack(here: &mut Here<'_>, spec: PackMake) -> Result<Answer, AppError> {
    check_pack(&spec)?;
    let make = match here.ledger.named(ThingKind::Make, &spec.name)?.first() {
        Some(thing) => MakeId::new(thing.id),
        None => MakeId::draw(here.desk.now(), &mut here.desk.random),
    };
    let text = format!("make {}: {}, {}, form {}", spec.name, spec.chemistry, spec.rated, spec.form);
    here.desk.record(here.ledger, vec![MakeDeclared { make, spec }.into()])?;
    Ok(Answer::done(text))
}

/// Declares a make of player, or new figures for one of that name.
///
/// # Errors
/// When a figure makes no sense.
pub fn declare_player(here: &mut Here<'_>, spec: PlayerMake) -> Result<Answer, AppError> {
    check_player(&spec)?;
    let make = match here.ledger.named(ThingKind::PlayerMake, &spec.name)?.first() {
        Some(thing) => PlayerMakeId::new(thing.id),
        None => PlayerMakeId::draw(here.desk.now(), &mut here.desk.random),
    };
    let text = format!("player make {}: draws {}, form {}", spec.name, spec.draw, spec.form);
    here.desk.record(here.ledger, vec![PlayerMakeDeclared { make, spec }.into()])?;
    Ok(Answer::done(text))
}

/// Adds a slot of the bench.
///
/// # Errors
/// When the name is taken or the tag is not a fresh slot tag.
pub fn add_slot(here: &mut Here<'_>, name: &str, tag: Option<&str>) -> Result<Answer, AppError> {
    let code = check_new(here, ThingKind::Slot, name, tag, TagKind::Slot)?;
    let slot = SlotId::draw(here.desk.now(), &mut here.desk.random);
    let mut events: Vec<Event> = vec![SlotAdded { slot, name: name.to_owned() }.into()];
    events.extend(code.map(|code| TagBound { code, thing: slot.into() }.into()));
    here.desk.record(here.ledger, events)?;
    Ok(Answer::done(format!("slot {name}")))
}

/// Says which makes a slot takes; none named means every make.
///
/// # Errors
/// When there is no such slot, or a make is not known.
pub fn slot_takes(here: &mut Here<'_>, slot: &str, makes: &[String]) -> Result<Answer, AppError> {
    let thing = lookup::find(here.ledger, slot)?;
    let Some(slot) = thing.slot() else {
        return Err(AppError::input(
            format!("`{slot}` is {}", thing.kind.one()),
            "give the tag or name of a slot",
        ));
    };
    let mut takes = Vec::new();
    for make in makes {
        takes.push(lookup::make(here.ledger, Some(make))?);
    }
    let name = lookup::name_of(here.ledger, thing)?;
    here.desk.record(here.ledger, vec![SlotTakes { slot, makes: takes }.into()])?;
    let what = if makes.is_empty() { "every make".to_owned() } else { makes.join(", ") };
    Ok(Answer::done(format!("{name} takes {what}")))
}

/// Adds a place.
///
/// # Errors
/// When the name is taken or the tag is not a fresh place tag.
pub fn add_place(
    here: &mut Here<'_>,
    name: &str,
    tray: Option<Verdict>,
    tag: Option<&str>,
) -> Result<Answer, AppError> {
    let code = check_new(here, ThingKind::Place, name, tag, TagKind::Place)?;
    let place = PlaceId::draw(here.desk.now(), &mut here.desk.random);
    let mut events: Vec<Event> = vec![PlaceAdded { place, name: name.to_owned(), tray }.into()];
    events.extend(code.map(|code| TagBound { code, thing: place.into() }.into()));
    here.desk.record(here.ledger, events)?;
    let takes = tray.map(|verdict| format!(", takes {verdict}")).unwrap_or_default();
    Ok(Answer::done(format!("place {name}{takes}")))
}

fn check_new(
    here: &mut Here<'_>,
    kind: ThingKind,
    name: &str,
    tag: Option<&str>,
    tag_kind: TagKind,
) -> Result<Option<String>, AppError> {
    check_name(kind.word(), name)?;
    if !here.ledger.named(kind, name)?.is_empty() {
        return Err(AppError::input(format!("{kind} `{name}` exists already"), "choose another name"));
    }
    tag.map(|tag| fresh(here.ledger, tag, tag_kind)).transpose()
}

fn check_name(what: &str, name: &str) -> Result<(), AppError> {
    let sound = !name.trim().is_empty() && name.trim() == name && name.chars().count() <= 60;
    if sound && !name.chars().any(char::is_control) {
        return Ok(());
    }
    Err(AppError::input(
        format!("`{name}` cannot be the name of {what}"),
        "give 1 to 60 characters without spaces at the ends",
    ))
}

fn check_pack(spec: &PackMake) -> Result<(), AppError> {
    check_name("a make", &spec.name)?;
    check_name("a form", &spec.form)?;
    if !(50..=100_000).contains(&spec.rated.raw()) {
        return Err(AppError::input(
            format!("the rated capacity of {} is {}", spec.name, spec.rated),
            "give 50 to 100000 mAh",
        ));
    }
    if !(1..=100).contains(&spec.cells) {
        return Err(AppError::input(format!("{} has {} cells", spec.name, spec.cells), "give 1 to 100"));
    }
    if spec.end >= spec.nominal {
        return Err(AppError::input(
            format!(
                "the end voltage of {} is {} and its nominal voltage {}",
                spec.name, spec.end, spec.nominal
            ),
            "the end voltage lies below the nominal one",
        ));
    }
    Ok(())
}

fn check_player(spec: &PlayerMake) -> Result<(), AppError> {
    check_name("a player make", &spec.name)?;
    check_name("a form", &spec.form)?;
    if (100..=10_000_000).contains(&spec.draw.raw()) {
        return Ok(());
    }
    Err(AppError::input(format!("{} draws {}", spec.name, spec.draw), "give 0.1 to 10000 mA"))
}

/// Reads a draw: a current ("41 mA"), or a known pair of charge and hours ("650 mAh in 16 h", "650mAh/16h").
///
/// # Errors
/// When it is neither.
pub fn draw(text: &str) -> Result<Draw, AppError> {
    let bad = || {
        AppError::input(
            format!("`{text}` is no draw"),
            "give a current such as '41 mA', or a known pair such as '650 mAh in 16 h'",
        )
    };
    if let Ok(draw) = text.parse::<Draw>() {
        return Ok(draw);
    }
    let (charge, hours) = text.split_once(" in ").or_else(|| text.split_once('/')).ok_or_else(bad)?;
    let charge: MilliampHours = charge.parse().map_err(|_not_a_charge| bad())?;
    let hours: PlayHours = hours.parse().map_err(|_not_hours| bad())?;
    Draw::from_pair(charge, hours).ok_or_else(bad)
}
