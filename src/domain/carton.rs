//! Cartons: how each is sampled, and which of its packs are the sample.

use std::collections::BTreeMap;
use std::fmt;

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use uuid::Uuid;

use super::ids::PackId;

/// How severely new cartons of a make are sampled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// As long as nothing speaks for another.
    #[default]
    Normal,
    /// After cartons fell short.
    Tightened,
    /// After many good ones.
    Reduced,
}

impl fmt::Display for Severity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Normal => "normal",
            Self::Tightened => "tightened",
            Self::Reduced => "reduced",
        })
    }
}

/// One sample: so many are read; with so many bad ones at most the carton is accepted, from so many on it falls short.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct SampleStep {
    /// Packs to read.
    pub take: u32,
    /// Bad ones that are borne; of a second sample, those of both.
    pub accept: u32,
    /// Bad ones from which it falls short.
    pub reject: u32,
}

/// How a carton is sampled, as it was settled when it was opened.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct SamplePlan {
    /// The sample.
    pub first: SampleStep,
    /// A second one, read when the first decides nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub second: Option<SampleStep>,
    /// How severely the carton is sampled, by a plan of the standard.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub severity: Option<Severity>,
    /// By what its packs hold: so many thousandths of their standard deviation must the mean of the sample lie above the limit, and how
    /// many are bad does not matter.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub k_thousandths: Option<u32>,
}

impl SamplePlan {
    /// The house rule: so many, and so many bad ones at most.
    pub const fn house(take: u32, accept: u32) -> Self {
        let first = SampleStep { take, accept, reject: accept.saturating_add(1) };
        Self { first, second: None, severity: None, k_thousandths: None }
    }
}

/// The places of a carton, from 1, in the order in which they are drawn as its sample: at random, and the same for ever, by the
/// SHA-256 of the carton's identity and the place.
pub fn drawn(carton: Uuid, size: u32) -> Vec<u32> {
    let digest = |place: u32| {
        Sha256::new().chain_update(carton.as_bytes()).chain_update(place.to_be_bytes()).finalize()
    };
    let mut places: Vec<_> = (1..=size).map(|place| (digest(place), place)).collect();
    places.sort_unstable();
    places.into_iter().map(|(_, place)| place).collect()
}

/// The packs of a carton in the order in which they are drawn, of those that are in; nothing at places that are still to come.
pub fn drawn_packs(carton: Uuid, holds: u32, places: &BTreeMap<PackId, u32>) -> Vec<Option<PackId>> {
    let at: BTreeMap<u32, PackId> = places.iter().map(|(pack, place)| (*place, *pack)).collect();
    drawn(carton, holds).into_iter().map(|place| at.get(&place).copied()).collect()
}
