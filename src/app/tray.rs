//! Looking at a picture: every tag in it with what the ledger knows of it, and nothing entered.

use std::path::Path;

use serde::Serialize;

use crate::domain::facts::PlayerFacts;
use crate::domain::ids::{Thing, ThingKind};
use crate::domain::moment::Moment;
use crate::domain::tag::Tag;
use crate::domain::verdict::Step;
use crate::ledger::Ledger;
use crate::scan::picture::{self, Advice, Correction, Found, Limits, Point, Stage};

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
    /// In which view of the picture it was read.
    pub stage: Stage,
    /// How much of it had to be corrected, where that is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub correction: Option<Correction>,
}

/// A symbol that was seen and could not be read.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Unread {
    /// In which part of the picture: "top left".
    pub part: &'static str,
    /// Where it seems to lie.
    pub corners: [Point; 4],
    /// What is wrong there, as measured.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub advice: Vec<Advice>,
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
    /// What is wrong with a picture in which nothing was seen, as measured.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub advice: Vec<Advice>,
    /// The time was over before everything had been tried.
    pub cut_short: bool,
    /// All that in a line.
    pub summary: String,
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
        seen.push(name(ledger, found, now)?);
    }
    let unread = read
        .unread
        .iter()
        .map(|unread| Unread {
            part: read.part(&unread.corners),
            corners: unread.corners,
            advice: unread.advice.clone(),
        })
        .collect();
    Ok(Tray {
        picture: path.display().to_string(),
        width_px: read.width,
        height_px: read.height,
        seen,
        unread,
        advice: read.advice.clone(),
        cut_short: read.cut_short,
        summary: format!("{}: {}", path.display(), read.summary()),
    })
}

fn name(ledger: &mut Ledger, found: &Found, now: Moment) -> Result<Seen, AppError> {
    let text = found.text.trim();
    let (corners, stage, correction) = (found.corners, found.stage, found.correction);
    let code = text.parse::<Tag>().map_or_else(|_foreign| text.to_owned(), |tag| tag.to_string());
    let plain = |kind, state: &str| Seen {
        code: code.clone(),
        kind,
        state: state.to_owned(),
        verdict: None,
        corners,
        stage,
        correction,
    };
    Ok(match lookup::scanned(ledger, text)? {
        Scanned::Unknown => plain(None, "a foreign code that names nothing"),
        Scanned::Fresh(tag) => plain(lookup::kind_for(tag.kind()), "a fresh tag"),
        Scanned::Retired(thing) => plain(Some(thing.kind), "a tag that was replaced"),
        Scanned::Known(thing) => match thing.pack() {
            Some(pack) => {
                let ask = Ask { pack, step: Step::Look, player: None, due: None, now };
                let (_, told) = judging::look(ledger, ask)?;
                let state = told.reasons.first().map(|reason| reason.text.clone());
                let state = state.or_else(|| told.basis.clone()).unwrap_or_default();
                Seen { code, kind: Some(thing.kind), state, verdict: Some(told), corners, stage, correction }
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
