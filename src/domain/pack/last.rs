//! The end of a pack's life, when it is waste and leaves, and where it was last seen.

use serde::{Deserialize, Serialize};

use super::{Oddity, PackFacts};
use crate::domain::event::Event;
use crate::domain::ids::{ConsignmentId, PackId};
use crate::domain::moment::Moment;
use crate::domain::waste::Condition;

/// A pack's place in a consignment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Consigned {
    /// The consignment.
    pub consignment: ConsignmentId,
    /// Its condition.
    pub condition: Condition,
    /// The number of its box.
    pub number: u32,
    /// When the consignment left.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left: Option<Moment>,
}

impl PackFacts {
    /// When it left with a consignment, if it did.
    pub fn left(&self) -> Option<Moment> {
        self.consigned.and_then(|consigned| consigned.left)
    }

    /// When somebody last had it in hand here, by all that was entered.
    pub fn last_seen(&self) -> Option<Moment> {
        let moments = [
            self.added,
            self.found,
            self.returned,
            self.charged,
            self.place.map(|(_, at)| at),
            self.ride.map(|ride| ride.since),
            self.run.map(|run| run.since),
            self.loan.map(|loan| loan.since),
            self.readings.last().map(|reading| reading.at),
            self.rounds.last().copied(),
            self.findings.last().map(|&(_, at)| at),
            self.retired,
        ];
        moments.into_iter().flatten().max()
    }
}

/// Folds one event of pack `id` in, if it concerns its end or a roll call; false for any other.
pub(super) fn apply(facts: &mut PackFacts, id: PackId, event: &Event) -> bool {
    match event {
        Event::PackRetired(e) => {
            facts.retired = facts.retired.or(Some(e.at));
            facts.turn_up();
        }
        // What has left stays gone, whatever another ledger that is merged later says of it.
        Event::PackConsigned(_) | Event::PackUnconsigned(_) if facts.left().is_some() => {}
        Event::PackConsigned(e) => {
            facts.turn_up();
            facts.place = None;
            facts.consigned = Some(Consigned {
                consignment: e.consignment,
                condition: e.condition,
                number: e.number,
                left: None,
            });
        }
        Event::PackUnconsigned(e) => {
            facts.consigned = facts.consigned.filter(|consigned| consigned.consignment != e.consignment);
        }
        Event::ConsignmentLeft(e) if e.packs.contains(&id) => {
            if let Some(consigned) = &mut facts.consigned {
                consigned.left = Some(e.at);
            }
        }
        Event::PackSeen(e) => {
            facts.turn_up();
            let elsewhere = facts.loan.is_some()
                || facts.run.is_some()
                || facts.ride.is_some_and(|ride| Some(ride.player) != e.player);
            if elsewhere {
                facts.odd(Oddity::SeenElsewhere, e.at);
            } else if facts.consigned.is_none() {
                facts.place = Some((e.place, e.at));
            }
        }
        Event::MusterEnded(e) if e.missing.contains(&id) => {
            facts.missing = Some(e.at);
            facts.odd(Oddity::Missing, e.at);
        }
        _ => return false,
    }
    true
}

/// When an event says that somebody had the pack in hand here.
pub(super) fn in_hand(event: &Event) -> Option<Moment> {
    match event {
        Event::Installed(e) => Some(e.at),
        Event::RunBegan(e) => Some(e.at),
        Event::ReadingTaken(e) => Some(e.at),
        Event::PackPlaced(e) => Some(e.at),
        Event::PackFound(e) => Some(e.at),
        Event::PackConsigned(e) => Some(e.at),
        Event::PackSeen(e) => Some(e.at),
        Event::FindingSeen(e) => Some(e.at),
        _ => None,
    }
}
