//! Looking at a picture: every tag in it with what the ledger knows of it, and nothing entered.

use std::path::Path;

use serde::Serialize;

use crate::domain::facts::PlayerFacts;
use crate::domain::ids::{Thing, ThingKind};
use crate::domain::moment::Moment;
use crate::domain::tag::Tag;
use crate::domain::verdict::Step;
use crate::ledger::Ledger;
use crate::scan::picture::{self, Limits, Point};

use super::answer::Told;
use super::error::AppError;
use super::judging::{self, Ask};
use super::lookup::{self, Scanned};

/// One symbol of a picture.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Seen {
    /// What stands in it, grouped for people if it is a tag of ours.
    pub code: String,
    /// What it names, or is made for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kind: Option<ThingKind>,
    /// In words: what the ledger knows of it.
    pub state: String,
    /// A pack's verdict now.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub verdict: Option<Told>,
    /// Its corners in pixels of the upright picture, clockwise from its own upper left one.
    pub corners: [Point; 4],
}

/// A symbol that was seen and could not be read.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Unread {
    /// In which part of the picture: "top left".
    pub part: &'static str,
    /// Where it seems to lie.
    pub corners: [Point; 4],
}

/// A picture, looked at.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Tray {
    /// The file.
    pub picture: String,
    /// Pixels from left to right, upright.
    pub width_px: u32,
    /// Pixels from top to bottom, upright.
    pub height_px: u32,
    /// Symbols that were read, in reading order.
    pub seen: Vec<Seen>,
    /// Symbols that were not.
    pub unread: Vec<Unread>,
    /// The time was over before everything had been tried.
    pub cut_short: bool,
}

impl Tray {
    /// "27 read, 1 seen but not read: top left".
    pub fn summary(&self) -> String {
        let parts: Vec<&str> = self.unread.iter().map(|unread| unread.part).collect();
        let parts = if parts.is_empty() { String::new() } else { format!(": {}", parts.join(", ")) };
        let short = if self.cut_short { "; the time was over before all of it was searched" } else { "" };
        let (read, unread) = (self.seen.len(), self.unread.len());
        format!("{}: {read} read, {unread} seen but not read{parts}{short}", self.picture)
    }
}

/// Reads a picture and looks up what it holds.
///
/// # Errors
/// When the picture cannot be read, or a fault of the ledger.
pub fn look(ledger: &mut Ledger, path: &Path, limits: &Limits, now: Moment) -> Result<Tray, AppError> {
    let read =
        picture::read(path, limits).map_err(|error| AppError::input(error.to_string(), error.hint()))?;
    let mut seen = Vec::new();
    for found in &read.found {
        seen.push(name(ledger, found.text.trim(), found.corners, now)?);
    }
    let unread = read
        .unread
        .iter()
        .map(|unread| Unread { part: read.part(&unread.corners), corners: unread.corners })
        .collect();
    Ok(Tray {
        picture: path.display().to_string(),
        width_px: read.width,
        height_px: read.height,
        seen,
        unread,
        cut_short: read.cut_short,
    })
}

fn name(ledger: &mut Ledger, text: &str, corners: [Point; 4], now: Moment) -> Result<Seen, AppError> {
    let code = text.parse::<Tag>().map_or_else(|_foreign| text.to_owned(), |tag| tag.to_string());
    let plain = |kind, state: &str| Seen {
        code: code.clone(),
        kind,
        state: state.to_owned(),
        verdict: None,
        corners,
    };
    Ok(match lookup::scanned(ledger, text)? {
        Scanned::Unknown => plain(None, "a foreign code that names nothing"),
        Scanned::Fresh(tag) => plain(lookup::kind_for(tag.kind()), "a fresh tag"),
        Scanned::Retired(thing) => plain(Some(thing.kind), "a tag that was replaced"),
        Scanned::Known(thing) => match thing.pack() {
            Some(pack) => {
                let ask = Ask { pack, step: Step::Look, player: None, now };
                let (_, told) = judging::look(ledger, ask)?;
                let state = told.reasons.first().map(|reason| reason.text.clone());
                let state = state.or_else(|| told.basis.clone()).unwrap_or_default();
                Seen { code, kind: Some(thing.kind), state, verdict: Some(told), corners }
            }
            None => plain(Some(thing.kind), &of_other(ledger, thing)?),
        },
    })
}

fn of_other(ledger: &mut Ledger, thing: Thing) -> Result<String, AppError> {
    if thing.kind == ThingKind::Player {
        let facts: PlayerFacts = ledger.facts(thing)?.unwrap_or_default();
        return Ok(match (facts.loan, facts.ride) {
            (Some((.., due)), _) => format!("on a loan, due {due}"),
            (None, Some((_, pack))) => format!("with pack {} in it", lookup::pack_name(ledger, pack)?),
            (None, None) => "empty".to_owned(),
        });
    }
    Ok(lookup::name_of(ledger, thing)?)
}
