//! Asking the judge: gathers the case from the ledger, with what is about to be recorded folded in already.

use std::collections::HashMap;

use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::domain::event::{Event, VerdictGiven};
use crate::domain::facts::{CartonFacts, PlayerFacts};
use crate::domain::ids::{CartonId, PackId, PlayerId, Thing};
use crate::domain::make::PlayerMake;
use crate::domain::moment::Moment;
use crate::domain::pack::PackFacts;
use crate::domain::verdict::{Step, Verdict};
use crate::ledger::settings::Settings;
use crate::ledger::{Ledger, LedgerError};
use crate::policy::foresight::Foresight;
use crate::policy::judge::{self, Case, Question, Target, judge};
use crate::policy::limits::thirstiest;
use crate::policy::reason::{Reason, Ruling};

use super::answer::Told;
use super::foresight::Sight;
use super::lookup;

/// What is asked of the judge.
#[derive(Debug, Clone, Copy)]
pub struct Ask {
    /// The pack.
    pub pack: PackId,
    /// At which step.
    pub step: Step,
    /// The player that it is meant for; none for a loose pack.
    pub player: Option<PlayerId>,
    /// When the loan is due that it is to go out for, if one is meant.
    pub due: Option<Date>,
    /// Now.
    pub now: Moment,
}

/// Judges a pack as it stands.
///
/// # Errors
/// A fault of the ledger.
pub fn look(ledger: &mut Ledger, ask: Ask) -> Result<(Ruling, Told), LedgerError> {
    rule(ledger, ask, &[])
}

/// Judges a pack as it will stand after `events`, and adds the verdict to them.
///
/// # Errors
/// A fault of the ledger.
pub fn with_verdict(
    ledger: &mut Ledger,
    ask: Ask,
    events: &mut Vec<Event>,
) -> Result<(Ruling, Told), LedgerError> {
    let (ruling, told) = rule(ledger, ask, events)?;
    events.push(
        VerdictGiven {
            pack: ask.pack,
            step: ask.step,
            verdict: ruling.verdict,
            reasons: ruling.reasons.iter().map(|reason| (reason.rule, reason.verdict)).collect(),
            policy: told.policy.clone(),
            at: ask.now,
        }
        .into(),
    );
    Ok((ruling, told))
}

/// Judges a loose pack on settings and a carton that are at hand: for lists of the whole fleet.
pub(crate) fn loose(
    (id, pack): (PackId, &PackFacts),
    settings: &Settings,
    cartons: &HashMap<CartonId, CartonFacts>,
    (now, zone): (Moment, &TimeZone),
) -> Ruling {
    let sight = sight(settings, (id, pack), None, now);
    let case = loose_case((id, pack), settings, cartons, sight.as_ref());
    judge(&case, &settings.policy, &Question { step: Step::Look, now, zone, due: None })
}

/// The reasons why a loose pack may not go out, gravest first, on settings and a carton that are at hand.
pub(crate) fn reasons(
    (id, pack): (PackId, &PackFacts),
    (settings, cartons): (&Settings, &HashMap<CartonId, CartonFacts>),
    sight: Option<&Sight<'_>>,
    (now, zone): (Moment, &TimeZone),
) -> Vec<Reason> {
    let case = loose_case((id, pack), settings, cartons, sight);
    judge::reasons(&case, &settings.policy, &Question { step: Step::Look, now, zone, due: None })
}

fn loose_case<'a>(
    (id, pack): (PackId, &'a PackFacts),
    settings: &'a Settings,
    cartons: &'a HashMap<CartonId, CartonFacts>,
    sight: Option<&'a Sight<'_>>,
) -> Case<'a> {
    Case {
        id,
        pack,
        make: pack.make.and_then(|make| settings.makes.get(&make)),
        carton: pack.carton.and_then(|carton| cartons.get(&carton)),
        notices: &settings.notices,
        players: &settings.players,
        target: None,
        foresight: foresight(sight),
    }
}

/// Judges a pack that may go out in a make of player until a day, on what is at hand. It is judged for its own player where it rides
/// in one of that make, else for any player of the make that is free.
pub(crate) fn for_loan(
    (id, pack): (PackId, &PackFacts),
    (settings, cartons): (&Settings, &HashMap<CartonId, CartonFacts>),
    (target, sight): (Target<'_>, Option<&Sight<'_>>),
    (now, zone, due): (Moment, &TimeZone, Option<Date>),
) -> Ruling {
    let case = Case {
        id,
        pack,
        make: pack.make.and_then(|make| settings.makes.get(&make)),
        carton: pack.carton.and_then(|carton| cartons.get(&carton)),
        notices: &settings.notices,
        players: &settings.players,
        target: Some(target),
        foresight: foresight(sight),
    };
    judge(&case, &settings.policy, &Question { step: Step::Dispatch, now, zone, due })
}

/// What the model foresees of a pack in a player, or in the thirstiest that it fits.
pub(crate) fn sight<'a>(
    settings: &'a Settings,
    (id, pack): (PackId, &PackFacts),
    player: Option<&PlayerMake>,
    now: Moment,
) -> Option<Sight<'a>> {
    let make = pack.make.and_then(|make| settings.makes.get(&make));
    let player = player.or_else(|| make.and_then(|make| thirstiest(make, &settings.players)));
    Sight::of(settings.seer.as_ref()?, (id, pack), (make, player), &settings.policy, now)
}

/// A sight as the judge takes it.
pub(crate) fn foresight<'a>(sight: Option<&'a Sight<'_>>) -> Option<&'a dyn Foresight> {
    sight.map(|sight| -> &dyn Foresight { sight })
}

fn rule(ledger: &mut Ledger, ask: Ask, coming: &[Event]) -> Result<(Ruling, Told), LedgerError> {
    let mut pack: PackFacts = ledger.facts(ask.pack.into())?.unwrap_or_default();
    let touches = |event: &&Event, thing: Thing| event.things().contains(&thing);
    for event in coming.iter().filter(|event| touches(event, ask.pack.into())) {
        pack.apply(ask.pack, event);
    }
    let carton = match pack.carton {
        None => None,
        Some(carton) => {
            let thing = Thing::from(carton);
            let facts: CartonFacts = ledger.facts(thing)?.unwrap_or_default();
            let mut facts = crate::domain::facts::Facts::Carton(facts);
            for event in coming.iter().filter(|event| touches(event, thing)) {
                facts.apply(thing, event);
            }
            CartonFacts::try_from(facts).ok()
        }
    };
    let player = match ask.player {
        None => None,
        Some(player) => {
            let mut facts =
                crate::domain::facts::Facts::Player(ledger.facts(player.into())?.unwrap_or_default());
            for event in coming.iter().filter(|event| touches(event, player.into())) {
                facts.apply(player.into(), event);
            }
            PlayerFacts::try_from(facts).ok().map(|facts| (player, facts))
        }
    };
    let zone = ledger.zone().clone();
    let settings = ledger.settings()?;
    let target = player.as_ref().map(|(player, facts)| Target {
        player: *player,
        make: facts.make.and_then(|make| settings.player_makes.get(&make)),
        holds: facts.ride.map(|(_, pack)| pack),
        lent: facts.loan.is_some(),
    });
    let sight = sight(settings, (ask.pack, &pack), target.and_then(|target| target.make), ask.now);
    let case = Case {
        id: ask.pack,
        pack: &pack,
        make: pack.make.and_then(|make| settings.makes.get(&make)),
        carton: carton.as_ref(),
        notices: &settings.notices,
        players: &settings.players,
        target,
        foresight: foresight(sight.as_ref()),
    };
    let question = Question { step: ask.step, now: ask.now, zone: &zone, due: ask.due };
    let ruling = judge(&case, &settings.policy, &question);
    let make = case.make.map_or_else(|| "make unknown".to_owned(), |make| make.name.clone());
    // A fit pack that is on its way into a player goes to no tray.
    let leaving = matches!(ask.step, Step::Fitting | Step::Dispatch) && ruling.verdict == Verdict::Fit;
    let tray = if leaving { None } else { lookup::tray(settings, ruling.verdict) };
    let told = Told::new(&ruling, lookup::label(&pack.codes), make, tray, &settings.policy.id);
    Ok((ruling, told))
}
