//! A list of picked packs that is kept: fetched shelf by shelf, and ticked off by scanning at dispatch.

use std::collections::BTreeSet;

use jiff::civil::Date;
use serde::Serialize;

use crate::domain::event::PickListed;
use crate::domain::facts::PickFacts;
use crate::domain::ids::{PackId, PickId, PlayerId, ThingKind};
use crate::domain::moment::Moment;
use crate::domain::pack::PackFacts;
use crate::domain::pick::PickLine;
use crate::domain::verdict::{Step, Verdict};
use crate::ledger::{Ledger, LedgerError};

use super::Picked;
use crate::app::answer::{Answer, count};
use crate::app::error::AppError;
use crate::app::judging::{self, Ask};
use crate::app::lookup;
use crate::app::session::Here;

/// Days for which a list keeps its packs from other lists.
const PROMISED_DAYS: i64 = 7;

/// A list of packs that are to go out.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct List {
    /// Its name.
    pub name: String,
    /// The day on which it was made.
    pub made: Date,
    /// Lines that are done.
    pub done: usize,
    /// Its lines, in the order in which they are fetched.
    pub lines: Vec<Line>,
}

/// One loan of a list, as things stand.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Line {
    /// Where the pack is.
    #[serde(rename = "where")]
    pub place: String,
    /// The pack's tag.
    pub pack: String,
    /// Its make.
    pub make: String,
    /// The verdict at dispatch now; none once it is out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub verdict: Option<Verdict>,
    /// What speaks for it, or why not.
    pub why: String,
    /// Hours of play by the reading that counts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub play_h: Option<f64>,
    /// The make of player.
    pub player_make: String,
    /// The player, if one was free.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub player: Option<String>,
    /// When the loan is due.
    pub due: Date,
    /// It has gone out.
    pub done: bool,
}

/// Keeps what was picked as a list, in the order of the shelves.
///
/// # Errors
/// When the name is taken, or nothing was picked.
pub fn enter(here: &mut Here<'_>, name: &str, picked: &Picked) -> Result<Answer, AppError> {
    let name = name.trim();
    if name.is_empty() || name.chars().count() > 60 || !here.ledger.named(ThingKind::Pick, name)?.is_empty() {
        return Err(AppError::input(
            format!("`{name}` is no name for a list, or one has it"),
            "choose another name",
        ));
    }
    let mut found = Vec::new();
    for loan in &picked.loans {
        let Some(pack) = &loan.pack else { continue };
        let line = PickLine { pack: pack.id, make: loan.make, player: pack.player_id, due: loan.due };
        found.push((shelf(&pack.place), pack.tag.clone(), line));
    }
    if found.is_empty() {
        return Err(AppError::input("no pack could be picked", "nothing to list; `pick` says why"));
    }
    found.sort_by(|a, b| (&a.0, &a.1).cmp(&(&b.0, &b.1)));
    let at = here.desk.now();
    let pick = PickId::draw(at, &mut here.desk.random);
    let lines: Vec<PickLine> = found.into_iter().map(|(.., line)| line).collect();
    let text = format!("list {name}: {}, in the order of the shelves", count(lines.len(), "loan", "loans"));
    here.desk.record(here.ledger, vec![PickListed { pick, name: name.to_owned(), lines, at }.into()])?;
    Ok(Answer::done(text).next(format!("fetch them, and scan: packmuster dispatch --list '{name}'")))
}

/// Places in the order in which people walk along them: numbers in names by their value.
fn shelf(place: &str) -> Vec<(String, u64)> {
    let mut parts = Vec::new();
    let (mut word, mut number) = (String::new(), String::new());
    for character in place.to_lowercase().chars().chain(['\u{0}']) {
        if character.is_ascii_digit() {
            number.push(character);
            continue;
        }
        if !number.is_empty() {
            parts.push((std::mem::take(&mut word), number.parse().unwrap_or(u64::MAX)));
            number.clear();
        }
        word.push(character);
    }
    parts.push((word, 0));
    parts
}

/// Tells how far a list is, by its name or the latest one.
///
/// # Errors
/// When there is none of that name.
pub fn show(ledger: &mut Ledger, name: Option<&str>, now: Moment) -> Result<List, AppError> {
    let sheet = Sheet::find(ledger, name)?;
    let made = sheet.made;
    let mut lines = Vec::new();
    for line in &sheet.lines {
        lines.push(tell(ledger, line, made, now)?);
    }
    Ok(List {
        name: sheet.name,
        made: made.day(ledger.zone()),
        done: lines.iter().filter(|line| line.done).count(),
        lines,
    })
}

fn tell(ledger: &mut Ledger, line: &PickLine, made: Moment, now: Moment) -> Result<Line, AppError> {
    let pack = ledger.joined_to(line.pack)?;
    let facts: PackFacts = ledger.facts(pack.into())?.unwrap_or_default();
    let done = is_done(&facts, line, made);
    let ask = Ask { pack, step: Step::Dispatch, player: line.player, due: Some(line.due), now };
    let (ruling, told) = judging::look(ledger, ask)?;
    let place = match (facts.ride, facts.place) {
        (Some(ride), Some((place, _))) => format!(
            "{}, in player {}",
            lookup::name_of(ledger, place.into())?,
            lookup::name_of(ledger, ride.player.into())?
        ),
        (Some(ride), None) => format!("in player {}", lookup::name_of(ledger, ride.player.into())?),
        (None, Some((place, _))) => lookup::name_of(ledger, place.into())?,
        (None, None) => "loose".to_owned(),
    };
    let player = line.player.map(|player| lookup::name_of(ledger, player.into())).transpose()?;
    let reason = ruling.reasons.first().map(ToString::to_string);
    let why = if done { "gone out".to_owned() } else { reason.or(ruling.basis).unwrap_or_default() };
    let settings = ledger.settings()?;
    let make = settings.player_makes.get(&line.make);
    Ok(Line {
        place: if done { "with the borrower".to_owned() } else { place },
        pack: lookup::label(&facts.codes),
        make: told.make,
        verdict: (!done).then_some(ruling.verdict),
        why,
        play_h: told.play_h,
        player_make: make.map_or_else(|| "unknown".to_owned(), |make| make.name.clone()),
        player,
        due: line.due,
        done,
    })
}

/// True when a pack has gone out for this line since the list was made.
fn is_done(pack: &PackFacts, line: &PickLine, made: Moment) -> bool {
    match pack.loan {
        Some(loan) => loan.since >= made && loan.due == line.due,
        None => pack.returned.is_some_and(|at| at > made),
    }
}

/// Packs that wait on other lists of the last days to go out: they are promised.
///
/// # Errors
/// A fault of the ledger.
pub(super) fn promised(ledger: &mut Ledger, now: Moment) -> Result<BTreeSet<PackId>, LedgerError> {
    let mut packs = BTreeSet::new();
    for (_, facts) in ledger.all(ThingKind::Pick)? {
        let Ok(list) = PickFacts::try_from(facts) else { continue };
        let Some(made) = list.made.filter(|made| now.days_since(*made) < PROMISED_DAYS) else { continue };
        for line in list.lines {
            let pack = ledger.joined_to(line.pack)?;
            let facts: PackFacts = ledger.facts(pack.into())?.unwrap_or_default();
            if !is_done(&facts, &line, made) {
                packs.insert(pack);
            }
        }
    }
    Ok(packs)
}

/// A list as dispatch uses it.
#[derive(Debug, Clone)]
pub(crate) struct Sheet {
    pub(crate) name: String,
    made: Moment,
    lines: Vec<PickLine>,
}

impl Sheet {
    /// Finds a list by name, or the latest one.
    pub(crate) fn find(ledger: &mut Ledger, name: Option<&str>) -> Result<Self, AppError> {
        let mut lists = Vec::new();
        for (_, facts) in ledger.all(ThingKind::Pick)? {
            lists.extend(PickFacts::try_from(facts).ok());
        }
        lists.sort_by_key(|list| list.made);
        let known: Vec<String> = lists.iter().map(|list| list.name.clone()).collect();
        let exact = name.filter(|name| lists.iter().any(|list| list.name == name.trim()));
        let found = lists.into_iter().rev().find(|list| match (exact, name) {
            (Some(exact), _) => list.name == exact.trim(),
            (None, Some(name)) => list.name.eq_ignore_ascii_case(name.trim()),
            (None, None) => true,
        });
        let list = found.ok_or_else(|| {
            let known = if known.is_empty() {
                "make one: packmuster pick --list".to_owned()
            } else {
                format!("known: {}", known.join(", "))
            };
            AppError::input(format!("no list is named `{}`", name.unwrap_or_default()), known)
        })?;
        Ok(Self { name: list.name, made: list.made.unwrap_or_default(), lines: list.lines })
    }

    /// The line of a pack.
    pub(crate) fn line(&self, ledger: &mut Ledger, pack: PackId) -> Result<Option<PickLine>, LedgerError> {
        for line in &self.lines {
            if ledger.joined_to(line.pack)? == pack {
                return Ok(Some(*line));
            }
        }
        Ok(None)
    }

    /// How far it is: "7 of 40 of list ferry are out; next: ready shelf, pack ..., into player ...".
    pub(crate) fn progress(&self, ledger: &mut Ledger) -> Result<(String, String), LedgerError> {
        let (mut done, mut next) = (0, None);
        for line in &self.lines {
            let pack = ledger.joined_to(line.pack)?;
            let facts: PackFacts = ledger.facts(pack.into())?.unwrap_or_default();
            if is_done(&facts, line, self.made) {
                done += 1;
            } else if next.is_none() {
                next = Some((facts, line.player));
            }
        }
        let said = format!("{done} of {} of list {} are out", self.lines.len(), self.name);
        let Some((facts, player)) = next else { return Ok((said, "the list is done".to_owned())) };
        let place = match facts.place {
            Some((place, _)) => format!("{}: ", lookup::name_of(ledger, place.into())?),
            None => String::new(),
        };
        let into = match (player, facts.ride) {
            (Some(player), Some(ride)) if ride.player == player => {
                format!("in player {}", lookup::name_of(ledger, player.into())?)
            }
            (Some(player), _) => format!("into player {}", lookup::name_of(ledger, player.into())?),
            (None, _) => "into any free player that it fits".to_owned(),
        };
        Ok((said, format!("{place}pack {}, {into}", lookup::label(&facts.codes))))
    }

    /// What to say where another player was scanned than the list names.
    pub(crate) fn other_player(
        &self,
        ledger: &mut Ledger,
        pack: PackId,
        player: PlayerId,
    ) -> Result<Option<String>, LedgerError> {
        let listed = self.line(ledger, pack)?.and_then(|line| line.player).filter(|&listed| listed != player);
        listed
            .map(|listed| Ok(format!("the list says player {}", lookup::name_of(ledger, listed.into())?)))
            .transpose()
    }
}
