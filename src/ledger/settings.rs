//! What every verdict needs: policy, makes, notices and trays, read once and kept until somebody changes them.

use std::collections::BTreeMap;

use crate::domain::facts::{Facts, ModelFacts, NoticeFacts, PlaceFacts, PolicyFacts};
use crate::domain::ids::{MakeId, PlaceId, PlayerMakeId, Thing, ThingKind};
use crate::domain::make::{PackMake, PlayerMake};
use crate::policy::rules::Policy;

use super::error::LedgerError;
use super::file::Ledger;
use super::learnt::{Learnt, Seer};

/// The settings in force at some moment.
#[derive(Debug, Clone)]
pub struct Settings {
    /// The policy.
    pub policy: Policy,
    /// Makes of pack.
    pub makes: BTreeMap<MakeId, PackMake>,
    /// Makes of player.
    pub player_makes: BTreeMap<PlayerMakeId, PlayerMake>,
    /// The same, as the judge wants them.
    pub players: Vec<PlayerMake>,
    /// Safety notices that are not lifted.
    pub notices: Vec<NoticeFacts>,
    /// Places, by identity.
    pub places: BTreeMap<PlaceId, PlaceFacts>,
    /// The fleet's model, if one is learnt.
    pub seer: Option<Seer>,
}

impl Ledger {
    /// The settings in force.
    ///
    /// # Errors
    /// A fault of the file, or when there is no policy yet.
    pub fn settings(&mut self) -> Result<&Settings, LedgerError> {
        if self.settings.is_none() {
            self.settings = Some(self.read_settings(i64::MAX)?);
        }
        self.settings.as_ref().ok_or(LedgerError::NoPolicy)
    }

    /// The settings as all entries up to a clock value gave them.
    ///
    /// # Errors
    /// A fault of the file, or when there was no policy yet.
    pub fn settings_until(&mut self, clock: i64) -> Result<Settings, LedgerError> {
        self.read_settings(clock)
    }

    /// Forgets the settings when a thing of this kind has changed.
    pub(crate) fn settings_changed(&mut self, kind: ThingKind) {
        if matches!(
            kind,
            ThingKind::Policy
                | ThingKind::Model
                | ThingKind::Make
                | ThingKind::PlayerMake
                | ThingKind::Notice
                | ThingKind::Place
        ) {
            self.settings = None;
        }
    }

    /// The model as it stood; one that a later packmuster wrote otherwise counts as none.
    fn read_seer(&mut self, clock: i64) -> Result<Option<Seer>, LedgerError> {
        let facts: Option<ModelFacts> = self.facts_until(Thing::MODEL, clock)?;
        let facts = facts.filter(|facts| !facts.text.is_empty());
        Ok(facts.and_then(|facts| Some(Learnt::parse(&facts.text).ok()?.ready(facts.learnt))))
    }

    fn read_settings(&mut self, clock: i64) -> Result<Settings, LedgerError> {
        let policy: PolicyFacts = self.facts_until(Thing::POLICY, clock)?.ok_or(LedgerError::NoPolicy)?;
        let mut settings = Settings {
            policy: Policy::parse(&policy.text)?,
            makes: BTreeMap::new(),
            player_makes: BTreeMap::new(),
            players: Vec::new(),
            notices: Vec::new(),
            places: BTreeMap::new(),
            seer: self.read_seer(clock)?,
        };
        for kind in [ThingKind::Make, ThingKind::PlayerMake, ThingKind::Notice, ThingKind::Place] {
            let mut things = Vec::new();
            self.each(kind, |thing, last, facts| {
                things.push((thing, last, facts));
                Ok::<(), LedgerError>(())
            })?;
            for (thing, last, facts) in things {
                let facts = if last <= clock {
                    Some(facts)
                } else {
                    self.fold_until(thing, clock)?.map(|(facts, _)| facts)
                };
                settings.take(thing, facts);
            }
        }
        settings.players = settings.player_makes.values().cloned().collect();
        Ok(settings)
    }
}

impl Settings {
    fn take(&mut self, thing: Thing, facts: Option<Facts>) {
        match facts {
            Some(Facts::Make(Some(spec))) => {
                self.makes.insert(MakeId::new(thing.id), spec);
            }
            Some(Facts::PlayerMake(Some(spec))) => {
                self.player_makes.insert(PlayerMakeId::new(thing.id), spec);
            }
            Some(Facts::Notice(notice)) if !notice.lifted && notice.verdict.is_some() => {
                self.notices.push(notice);
            }
            Some(Facts::Place(place)) if !place.name.is_empty() => {
                self.places.insert(PlaceId::new(thing.id), place);
            }
            _ => {}
        }
    }
}
