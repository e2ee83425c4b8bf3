//! Which packs to send out for a list of loans: for each the weakest pack here that still keeps it.
//!
//! Loans are served longest first, each by the weakest free pack for which the judge says FIT at dispatch for that make of player and
//! that due date. What keeps a long loan keeps every shorter one too, so a loan that goes without could not have been
//! served by serving the others otherwise; and the strongest packs stay here for the longest loans still to come.
//!
//! Weak is what has the higher chance of being below its limit at return, or without a model the lower reading. Nothing is entered.

mod list;
mod seats;

use std::collections::{BTreeMap, BTreeSet, HashMap};

use jiff::civil::Date;
use serde::Serialize;

use crate::domain::facts::{CartonFacts, Facts, PlayerFacts};
use crate::domain::ids::{CartonId, PackId, PlaceId, PlayerId, PlayerMakeId, ThingKind};
use crate::domain::make::PlayerMake;
use crate::domain::moment::{Moment, day_after, days_between};
use crate::domain::pack::PackFacts;
use crate::domain::verdict::{Rule, Verdict};
use crate::ledger::settings::Settings;
use crate::ledger::{Ledger, LedgerError};
use crate::policy::foresight::{Foresight as _, Holding};
use crate::policy::judge::Target;

use super::answer::{count, hours};
use super::error::AppError;
use super::review::Whereabouts;
use super::{ahead, input, judging, lookup};

pub(crate) use list::Sheet;
pub use list::{Line, List, enter, show};

/// Loans of one kind at most: a slip of the keyboard must not ask for millions.
const MOST: u32 = 10_000;

/// Loans of one kind: so many players of a make, due on a day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wish {
    make: PlayerMakeId,
    player: PlayerMake,
    days: u32,
    due: Date,
    count: u32,
}

/// One loan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Loan {
    /// The make of player.
    pub player_make: String,
    #[serde(skip)]
    make: PlayerMakeId,
    /// Its length.
    pub days: u32,
    /// When it is due.
    pub due: Date,
    /// The pack; none when it could not be served.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pack: Option<Proposal>,
    /// Why it could not be served.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unserved: Option<String>,
}

/// A pack for a loan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Proposal {
    #[serde(skip)]
    id: PackId,
    #[serde(skip)]
    rides_in: Option<PlayerId>,
    /// Its tag.
    pub tag: String,
    /// Where it is: a place, or the player that it rides in.
    #[serde(rename = "where")]
    pub place: String,
    /// The player that it goes out in: its own, or an empty one here; none where no more are free.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub player: Option<String>,
    #[serde(skip)]
    player_id: Option<PlayerId>,
    /// What the reading that counts gave.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub capacity_mah: Option<u32>,
    /// Hours of play by that reading in this make of player: capacity over draw.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub play_h: Option<f64>,
    /// What it will hold at return, by the model.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at_return: Option<AtReturn>,
}

/// What a pack will hold when it comes back, as late as most loans do.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct AtReturn {
    /// The mean.
    pub expected_mah: u32,
    /// The lower end of the 90 % interval.
    pub low_mah: u32,
    /// The upper end.
    pub high_mah: u32,
    /// The chance of holding less than its limit, in per cent.
    pub chance_percent: f64,
}

/// What is proposed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Picked {
    /// The day of dispatch.
    pub as_of: Date,
    /// True when the fleet's model was asked; else readings alone decide.
    pub by_model: bool,
    /// The loans, longest first.
    pub loans: Vec<Loan>,
    /// Loans that could not be served.
    pub unserved: u32,
}

/// Reads a wish: `MAKE:LENGTH` or `MAKE:LENGTH:COUNT`, where the length is a number of days, "8 weeks", or a due date.
///
/// # Errors
/// When a part makes no sense, naming it.
pub fn wish(ledger: &mut Ledger, text: &str, today: Date) -> Result<Wish, AppError> {
    const HINT: &str = "give MAKE:DAYS or MAKE:DAYS:COUNT, such as Wren:56:3; 8weeks or a date do for days";
    let parts: Vec<&str> = text.split(':').map(str::trim).collect();
    let (name, length, number) = match parts[..] {
        [name, length] => (name, length, "1"),
        [name, length, number] => (name, length, number),
        _ => return Err(AppError::input(format!("`{text}` is no loan"), HINT)),
    };
    let no_length = || AppError::input(format!("`{length}` in `{text}` is no length of a loan"), HINT);
    let days = match (length.parse::<u32>(), length.parse::<Date>()) {
        (Ok(days), _) => i64::from(days),
        (_, Ok(due)) => days_between(today, due),
        _ => i64::from(input::length(length).ok_or_else(no_length)?),
    };
    let settings = ledger.settings()?;
    let longest = settings.policy.longest_loan_days;
    if days < 1 {
        return Err(AppError::input(
            format!("`{length}` in `{text}` is due today or earlier"),
            "a loan is a day long or longer",
        ));
    }
    let days = u32::try_from(days).ok().filter(|&days| days <= longest).ok_or_else(|| {
        AppError::input(
            format!("`{length}` in `{text}` is {days} days, and the longest loan is {longest} days"),
            "give a shorter loan; the policy's loans.longest_days says how long they may be",
        )
    })?;
    let number = number.parse().ok().filter(|number| (1..=MOST).contains(number)).ok_or_else(|| {
        AppError::input(format!("`{number}` in `{text}` is no number of loans"), "give 1 to 10000")
    })?;
    let make = lookup::player_make(ledger, Some(name))?;
    let player = ledger.settings()?.player_makes.get(&make).cloned();
    let player = player.ok_or_else(|| AppError::input(format!("no player make `{name}`"), HINT))?;
    Ok(Wish { make, player, days, due: day_after(today, i64::from(days)), count: number })
}

/// What a pack offers for a wish.
#[derive(Debug, Clone, Copy)]
struct Offer {
    holds: Option<(Holding, u32)>,
    capacity: Option<u32>,
    play: Option<f64>,
}

impl Offer {
    /// The weakest sorts first.
    fn strength(&self) -> (std::cmp::Reverse<u32>, u32, u32) {
        let (expected, chance) = self.holds.map_or((0, 0), |(holds, chance)| (holds.expected.raw(), chance));
        (std::cmp::Reverse(chance), expected, self.capacity.unwrap_or(0))
    }
}

/// A pack that is fit for one of the wishes at least.
struct Candidate {
    id: PackId,
    codes: Vec<String>,
    place: Option<PlaceId>,
    rides_in: Option<PlayerId>,
    offers: Vec<Option<Offer>>,
}

/// The packs here, held against the wishes.
struct Work<'a> {
    settings: &'a Settings,
    zone: &'a jiff::tz::TimeZone,
    now: Moment,
    cartons: HashMap<CartonId, CartonFacts>,
    /// Makes of the players that hold a pack and are not out.
    players: HashMap<PlayerId, Option<PlayerMakeId>>,
    wishes: &'a [Wish],
    candidates: Vec<Candidate>,
    /// For each wish: packs of its form that are here and not fit for it, by the gravest reason.
    held_back: Vec<BTreeMap<Rule, u32>>,
}

/// Proposes packs for wishes, served longest first.
///
/// # Errors
/// A fault of the ledger.
pub fn pick(ledger: &mut Ledger, wishes: &[Wish], now: Moment) -> Result<Picked, LedgerError> {
    let settings = ledger.settings()?.clone();
    let zone = ledger.zone().clone();
    let mut wishes = wishes.to_vec();
    // The strictest first among loans of one length, so that the pick does not hang on the order of the wishes.
    wishes.sort_by(|a, b| {
        (b.days, b.player.draw, &a.player.name).cmp(&(a.days, a.player.draw, &b.player.name))
    });
    let mut work = Work {
        settings: &settings,
        zone: &zone,
        now,
        cartons: ahead::cartons(ledger)?,
        players: players(ledger)?,
        wishes: &wishes,
        candidates: Vec::new(),
        held_back: vec![BTreeMap::new(); wishes.len()],
    };
    ledger.each(ThingKind::Pack, |thing, _, facts| {
        if let Facts::Pack(pack) = facts {
            work.pack(PackId::new(thing.id), &pack);
        }
        Ok::<(), LedgerError>(())
    })?;
    let mut loans = Vec::new();
    let mut taken: BTreeSet<PackId> = list::promised(ledger, now)?;
    for (place, wish) in wishes.iter().enumerate() {
        let offers = work.offers(place);
        let mut free = offers.iter().filter(|(_, candidate)| !taken.contains(&candidate.id));
        let mut chosen = Vec::new();
        for _ in 0..wish.count {
            let pack = free.next().map(|(offer, candidate)| (candidate.id, *offer, *candidate));
            let unserved = pack.is_none().then(|| work.why(place, offers.len()));
            let proposal = pack.map(|(id, offer, candidate)| {
                chosen.push(id);
                (offer, candidate)
            });
            let proposal = proposal.map(|(offer, candidate)| work.proposal(ledger, offer, candidate));
            loans.push(Loan {
                player_make: wish.player.name.clone(),
                make: wish.make,
                days: wish.days,
                due: wish.due,
                pack: proposal.transpose()?,
                unserved,
            });
        }
        taken.extend(chosen);
    }
    seats::assign(ledger, &mut loans)?;
    let unserved = loans.iter().filter(|loan| loan.pack.is_none()).count();
    Ok(Picked {
        as_of: now.day(&zone),
        by_model: settings.seer.is_some(),
        loans,
        unserved: u32::try_from(unserved).unwrap_or(u32::MAX),
    })
}

/// Makes of the players that hold a pack and are not out.
fn players(ledger: &mut Ledger) -> Result<HashMap<PlayerId, Option<PlayerMakeId>>, LedgerError> {
    let mut players = HashMap::new();
    ledger.each(ThingKind::Player, |thing, _, facts| {
        if let Ok(player) = PlayerFacts::try_from(facts)
            && player.ride.is_some()
            && player.loan.is_none()
            && player.written_off.is_none()
        {
            players.insert(PlayerId::new(thing.id), player.make);
        }
        Ok::<(), LedgerError>(())
    })?;
    Ok(players)
}

impl Work<'_> {
    fn pack(&mut self, id: PackId, pack: &PackFacts) {
        let place = Whereabouts::of(pack);
        if pack.added.is_none()
            || pack.joined.is_some()
            || !matches!(place, Whereabouts::InPlayer | Whereabouts::InWorkshop)
        {
            return;
        }
        let Some(make) = pack.make.and_then(|make| self.settings.makes.get(&make)) else { return };
        let rides_in = pack.ride.map(|ride| ride.player);
        let (settings, wishes) = (self.settings, self.wishes);
        let mut offers = Vec::with_capacity(wishes.len());
        for (wish, held_back) in wishes.iter().zip(&mut self.held_back) {
            if wish.player.form != make.form {
                offers.push(None);
                continue;
            }
            let own = rides_in.filter(|own| self.players.get(own) == Some(&Some(wish.make)));
            let target = Target {
                player: own.unwrap_or(PlayerId::new(uuid::Uuid::nil())),
                make: Some(&wish.player),
                holds: own.map(|_| id),
                lent: false,
            };
            let sight = judging::sight(settings, (id, pack), Some(&wish.player), self.now);
            let ruling = judging::for_loan(
                (id, pack),
                (settings, &self.cartons),
                (target, sight.as_ref()),
                (self.now, self.zone, Some(wish.due)),
            );
            if ruling.verdict != Verdict::Fit {
                if let Some(reason) = ruling.reasons.first() {
                    *held_back.entry(reason.rule).or_default() += 1;
                }
                offers.push(None);
                continue;
            }
            let holds = sight.zip(ruling.limit).map(|(sight, limit)| {
                let back = wish.days.saturating_add(sight.overrun());
                (sight.holds(back), sight.below(limit, back).raw())
            });
            let capacity = ruling.capacity.map(crate::domain::units::MilliampHours::raw);
            offers.push(Some(Offer { holds, capacity, play: ruling.play.map(hours) }));
        }
        if offers.iter().any(Option::is_some) {
            let (codes, place) = (pack.codes.clone(), pack.place.map(|(place, _)| place));
            self.candidates.push(Candidate { id, codes, place, rides_in, offers });
        }
    }

    /// What is fit for a wish, weakest first; of equal ones the oldest in the ledger.
    fn offers(&self, wish: usize) -> Vec<(Offer, &Candidate)> {
        let offer = |candidate: &Candidate| candidate.offers.get(wish).copied().flatten();
        let mut offers: Vec<(Offer, &Candidate)> = self
            .candidates
            .iter()
            .filter_map(|candidate| offer(candidate).map(|offer| (offer, candidate)))
            .collect();
        offers.sort_by_key(|(offer, candidate)| (offer.strength(), candidate.id));
        offers
    }

    /// Why a wish could not be served.
    fn why(&self, wish: usize, fit: usize) -> String {
        if fit > 0 {
            return format!(
                "{} here would keep it, and {} proposed for other loans",
                count(fit, "pack", "packs"),
                if fit == 1 { "is" } else { "all are" }
            );
        }
        let held = self.held_back.get(wish);
        let mut rules: Vec<(&Rule, &u32)> = held.into_iter().flatten().collect();
        rules.sort_by_key(|&(rule, packs)| (std::cmp::Reverse(packs), rule));
        if rules.is_empty() {
            return "no pack that fits is here".to_owned();
        }
        let named: Vec<String> = rules.iter().map(|(rule, packs)| format!("{packs} by {rule}")).collect();
        format!("every pack here that fits is held back: {}", named.join(", "))
    }

    fn proposal(
        &self,
        ledger: &mut Ledger,
        offer: Offer,
        candidate: &Candidate,
    ) -> Result<Proposal, LedgerError> {
        let place = candidate.place.and_then(|place| self.settings.places.get(&place));
        let place = match (candidate.rides_in, place) {
            (Some(player), _) => format!("in player {}", lookup::name_of(ledger, player.into())?),
            (None, Some(place)) => place.name.clone(),
            (None, None) => "loose".to_owned(),
        };
        Ok(Proposal {
            id: candidate.id,
            rides_in: candidate.rides_in,
            tag: lookup::label(&candidate.codes),
            place,
            player: None,
            player_id: None,
            capacity_mah: offer.capacity,
            play_h: offer.play,
            at_return: offer.holds.map(|(holds, chance)| AtReturn {
                expected_mah: holds.expected.raw(),
                low_mah: holds.low.raw(),
                high_mah: holds.high.raw(),
                chance_percent: f64::from(chance) / 1e4,
            }),
        })
    }
}
