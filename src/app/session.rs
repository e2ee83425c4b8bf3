//! What every session shares: operators, the number pad, undo, worn tags, repeated scans, and the scanner trial.
//!
//! Each scan is handled in one transaction: what it reads to judge cannot change under it, and what it answers is on disk.

mod picture;
mod scanner;
mod tags;

use std::collections::VecDeque;

use jiff::civil::Date;

use crate::domain::command::Command;
use crate::domain::facts::OperatorFacts;
use crate::domain::ids::{OperatorId, PackId, Thing, ThingKind};
use crate::domain::moment::day_after;
use crate::domain::tag::{Tag, TagKind};
use crate::domain::twist::Twist;
use crate::domain::units::{MilliampHours, PlayHours};
use crate::ledger::{Ledger, LedgerError};

use super::answer::Answer;
use super::desk::{Desk, Operator};
use super::error::AppError;
use super::input::{Input, Measured};
use super::lookup::{self, Scanned};
use super::on_pack;
pub use tags::retag;

/// Steps of a session that `undo` can go back.
const REMEMBERED: usize = 200;

/// An amount that was scanned or typed, with what its unit says it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Amount {
    /// A result of the bench.
    Result(Measured),
    /// Hours on the player.
    Hours(PlayHours),
    /// A due date.
    Due(Date),
}

/// A code that was scanned, looked up.
#[derive(Debug, Clone)]
pub struct Code {
    /// As the ledger keeps it.
    pub text: String,
    /// What it names.
    pub scanned: Scanned,
}

/// The ledger and the desk, as a session's work sees them.
pub struct Here<'a> {
    /// The ledger.
    pub ledger: &'a mut Ledger,
    /// The desk.
    pub desk: &'a mut Desk,
}

/// What one kind of session does with scans.
pub trait Work: Clone {
    /// A tag or foreign code that names a thing, or a fresh tag of ours for one.
    ///
    /// # Errors
    /// A fault of the ledger.
    fn code(&mut self, here: &mut Here<'_>, code: Code) -> Result<Answer, AppError>;

    /// An amount with its unit.
    ///
    /// # Errors
    /// A fault of the ledger.
    fn amount(&mut self, here: &mut Here<'_>, amount: Amount) -> Result<Answer, AppError>;

    /// A command that the session itself does not handle.
    ///
    /// # Errors
    /// A fault of the ledger.
    fn command(&mut self, here: &mut Here<'_>, command: Command) -> Result<Answer, AppError>;

    /// Words or a foreign code that name nothing.
    ///
    /// # Errors
    /// A fault of the ledger.
    fn other(&mut self, here: &mut Here<'_>, text: &str) -> Result<Answer, AppError>;

    /// What a number without a unit means here, if anything.
    fn bare(&self, number: &str) -> Option<Amount>;

    /// What to scan next.
    fn prompt(&self) -> String;

    /// In which order the tags of one picture are taken, lowest first.
    fn picture_order(kind: TagKind) -> u8;

    /// One pack of a picture that shows several and nothing that holds them; `None` where it is a scan like any other.
    ///
    /// # Errors
    /// A fault of the ledger.
    fn of_tray(&mut self, _here: &mut Here<'_>, _pack: PackId) -> Result<Option<Answer>, AppError> {
        Ok(None)
    }

    /// The pack that lies on the desk: a place that is scanned takes it, and REPLACE means its tag.
    fn at_hand(&self) -> Option<PackId> {
        None
    }

    /// Called when the session ends, to say what is left half done.
    fn left_over(&self) -> Option<String> {
        None
    }
}

/// A stream of scans.
pub struct Session<W> {
    work: W,
    fresh: W,
    before: VecDeque<W>,
    pad: String,
    /// The thing scanned just now: its tag again is a repeat.
    repeat: Option<Thing>,
    /// The last thing scanned, for a tag that replaces its own.
    last: Option<(String, Thing)>,
    replacing: Option<(String, Thing)>,
    /// How this desk's scanner twists what it types, once it was looked up.
    twist: Option<Twist>,
}

impl<W: Work> Session<W> {
    /// Begins a session.
    pub fn new(work: W) -> Self {
        let fresh = work.clone();
        let (before, pad) = (VecDeque::new(), String::new());
        Self { work, fresh, before, pad, repeat: None, last: None, replacing: None, twist: None }
    }

    /// What to scan next.
    pub fn prompt(&self) -> String {
        if self.pad.is_empty() {
            self.work.prompt()
        } else {
            format!("{}_ (a unit closes the number)", self.pad)
        }
    }

    /// What is left half done.
    pub fn left_over(&self) -> Option<String> {
        self.work.left_over()
    }

    /// Answers one line.
    ///
    /// # Errors
    /// A fault of the ledger; nothing was written then.
    pub fn scan(&mut self, ledger: &mut Ledger, desk: &mut Desk, line: &str) -> Result<Answer, AppError> {
        let trial = Twist::of(line);
        let input = self.understand(ledger, desk, line)?;
        if input == Input::Blank && trial.is_none() {
            return Ok(Answer::done("").next(self.prompt()));
        }
        let (work, acts) = (self.work.clone(), desk.acts());
        let answer = ledger.transact(|ledger| {
            let here = &mut Here { ledger, desk };
            match trial {
                Some(twist) => self.trial(here, &twist),
                None => self.handle(here, input),
            }
        });
        match answer {
            Ok(mut answer) => {
                if desk.acts() > acts {
                    if self.before.len() >= REMEMBERED {
                        self.before.pop_front();
                    }
                    self.before.push_back(work);
                }
                if answer.next.is_empty() && !answer.ends {
                    answer.next = self.prompt();
                }
                Ok(answer)
            }
            Err(error) => {
                self.work = work;
                Err(error)
            }
        }
    }

    fn handle(&mut self, here: &mut Here<'_>, input: Input) -> Result<Answer, AppError> {
        if matches!(
            input,
            Input::Command(_) | Input::Result(_) | Input::Hours(_) | Input::Day(_) | Input::Length(_)
        ) {
            // Something was said in between: the same tag again is meant.
            self.repeat = None;
        }
        match input {
            Input::Tag(tag) => self.code(here, tag.text()),
            Input::Several(tags) => {
                let tags: Vec<String> = tags.iter().map(Tag::to_string).collect();
                Ok(Answer::unclear(
                    format!("{} tags came in one line: {}; nothing is entered", tags.len(), tags.join(", ")),
                    "scan them one by one; if this happens again, scan the trial on the command card",
                ))
            }
            Input::Other(text) => self.other(here, &text),
            Input::Slip(text) => {
                Ok(Answer::unclear(text, "scan it again, or type it as it is printed; nothing was written"))
            }
            Input::Number(number) => {
                // A run of digits may be somebody's own code: what is bound comes first.
                if matches!(lookup::scanned(here.ledger, &number)?, Scanned::Known(_)) {
                    return self.code(here, &number);
                }
                self.number(here, &number, None)
            }
            Input::Result(measured) => self.work.amount(here, Amount::Result(measured)),
            Input::Hours(hours) => self.work.amount(here, Amount::Hours(hours)),
            Input::Day(day) => self.work.amount(here, Amount::Due(day)),
            Input::Length(days) => self.work.amount(here, Amount::Due(due(here, days))),
            Input::Command(command) => self.command(here, command),
            Input::Blank => Ok(Answer::done("")),
        }
    }

    fn command(&mut self, here: &mut Here<'_>, command: Command) -> Result<Answer, AppError> {
        match command {
            Command::Digit(digit) => {
                self.pad.push_str(&digit.to_string());
                Ok(Answer::done(format!("{}_", self.pad)))
            }
            Command::Point => {
                self.pad.push('.');
                Ok(Answer::done(format!("{}_", self.pad)))
            }
            Command::Mah | Command::PlayerHours | Command::Weeks | Command::Days => {
                let number = std::mem::take(&mut self.pad);
                if number.is_empty() {
                    return Ok(Answer::unclear(
                        "a unit without a number",
                        "scan the digits first, then the unit",
                    ));
                }
                self.number(here, &number, Some(command))
            }
            Command::Enter if !self.pad.is_empty() => {
                let number = std::mem::take(&mut self.pad);
                self.number(here, &number, None)
            }
            Command::No if !self.pad.is_empty() => {
                self.pad.clear();
                Ok(Answer::done("the number is dropped"))
            }
            Command::No if self.replacing.take().is_some() => Ok(Answer::done("dropped; no tag is replaced")),
            Command::Undo => self.undo(here),
            Command::End => {
                let text = self.left_over().map_or_else(|| "end".to_owned(), |left| format!("end; {left}"));
                Ok(Answer { ends: true, ..Answer::done(text) })
            }
            Command::Replace => Ok(self.begin_replacing()),
            _ => {
                let lay = self.work.at_hand();
                let answer = self.work.command(here, command)?;
                if self.work.at_hand() != lay {
                    // Another pack lies on the desk now, though nobody scanned its tag.
                    self.last = None;
                }
                Ok(answer)
            }
        }
    }

    fn number(
        &mut self,
        here: &mut Here<'_>,
        number: &str,
        unit: Option<Command>,
    ) -> Result<Answer, AppError> {
        self.repeat = None;
        let amount = match unit {
            Some(Command::Mah) => {
                MilliampHours::parse_bare(number).ok().map(|c| Amount::Result(Measured::capacity(c)))
            }
            Some(Command::PlayerHours) => PlayHours::parse_bare(number).ok().map(Amount::Hours),
            Some(Command::Weeks) => {
                number.parse::<u32>().ok().map(|n| Amount::Due(due(here, n.saturating_mul(7))))
            }
            Some(Command::Days) => number.parse::<u32>().ok().map(|n| Amount::Due(due(here, n))),
            _ => self.work.bare(number),
        };
        match amount {
            Some(amount) => self.work.amount(here, amount),
            None => Ok(Answer::unclear(
                format!("`{number}` is not a number that is expected here"),
                self.work.prompt(),
            )),
        }
    }

    fn code(&mut self, here: &mut Here<'_>, text: &str) -> Result<Answer, AppError> {
        if !self.pad.is_empty() {
            let pad = std::mem::take(&mut self.pad);
            let next = "scan the digits again with their unit, then this tag";
            return Ok(Answer::unclear(format!("the number {pad} had no unit yet; it is dropped"), next));
        }
        let scanned = lookup::scanned(here.ledger, text)?;
        if let Some(worn) = self.replacing.take() {
            return self.replace(here, worn, text, scanned);
        }
        match scanned {
            Scanned::Known(thing) if thing.kind == ThingKind::Operator => sign_on(here, thing),
            Scanned::Known(thing) if thing.kind == ThingKind::Place => self.place(here, thing),
            Scanned::Known(thing) if self.repeat == Some(thing) => {
                Ok(Answer::done(format!("the same {} again; nothing new is written", thing.kind)))
            }
            Scanned::Retired(thing) => {
                let name = lookup::name_of(here.ledger, thing)?;
                Ok(Answer::unclear(
                    format!("this tag was replaced: the {} now wears {name}", thing.kind),
                    "peel it off; scan the new tag",
                ))
            }
            Scanned::Fresh(tag) if lookup::kind_for(tag.kind()) == Some(ThingKind::Operator) => {
                Ok(Answer::unclear(
                    "this operator tag is nobody's yet",
                    "enrol its owner first: packmuster operator add",
                ))
            }
            _ => {
                let answer = self.work.code(here, Code { text: text.to_owned(), scanned })?;
                // What was adopted by this very scan is known now.
                let known = lookup::scanned(here.ledger, text)?;
                self.last = match (known, answer.outcome) {
                    (Scanned::Known(thing), super::answer::Outcome::Yes | super::answer::Outcome::No) => {
                        Some((text.to_owned(), thing))
                    }
                    _ => None,
                };
                self.repeat = self.last.as_ref().map(|(_, thing)| *thing);
                Ok(answer)
            }
        }
    }

    fn other(&mut self, here: &mut Here<'_>, text: &str) -> Result<Answer, AppError> {
        if !matches!(lookup::scanned(here.ledger, text)?, Scanned::Unknown) {
            return self.code(here, text);
        }
        // Where no tag can be read, the maker's serial tells which pack it is.
        match here.ledger.named(ThingKind::Pack, text)?.as_slice() {
            [] => self.work.other(here, text),
            [only] => {
                let code = Code { text: text.to_owned(), scanned: Scanned::Known(*only) };
                self.repeat = None;
                self.last = Some((String::new(), *only));
                self.work.code(here, code)
            }
            several => Ok(Answer::unclear(
                format!("{} packs have the serial {text}", several.len()),
                "scan a tag; if none can be read, adopt it anew with a fresh tag",
            )),
        }
    }

    /// A place after a pack: the pack is put there.
    fn place(&mut self, here: &mut Here<'_>, thing: Thing) -> Result<Answer, AppError> {
        match (self.work.at_hand(), thing.place()) {
            (Some(pack), Some(place)) => on_pack::put(here, pack, place),
            _ => Ok(Answer::unclear("no pack is scanned yet", "scan a pack, then the place that it goes to")),
        }
    }

    fn undo(&mut self, here: &mut Here<'_>) -> Result<Answer, AppError> {
        self.pad.clear();
        self.last = None;
        self.replacing = None;
        let act = here.desk.act(Vec::new());
        match here.ledger.undo(act) {
            Ok(entries) => {
                // The state before the act that was taken back; a session begun since starts afresh.
                self.work = self.before.pop_back().unwrap_or_else(|| self.fresh.clone());
                let kinds: Vec<&str> = entries.iter().map(|entry| entry.event.kind()).collect();
                Ok(Answer::done(format!("taken back: {}", kinds.join(", "))))
            }
            Err(
                error @ (LedgerError::NothingToUndo(_)
                | LedgerError::Overtaken { .. }
                | LedgerError::Final(_)),
            ) => Ok(Answer::no(error.to_string()).next("look at the pack with `show`, or go on scanning")),
            Err(error) => Err(error.into()),
        }
    }
}

fn due(here: &Here<'_>, days: u32) -> Date {
    day_after(here.desk.now().day(here.ledger.zone()), i64::from(days))
}

fn sign_on(here: &mut Here<'_>, thing: Thing) -> Result<Answer, AppError> {
    let facts: OperatorFacts = here.ledger.facts(thing)?.unwrap_or_default();
    let right = if facts.may_overrule { ", may overrule" } else { "" };
    let text = format!("operator {}{right}", facts.initials);
    here.desk.operator = Some(Operator {
        id: OperatorId::new(thing.id),
        initials: facts.initials,
        may_overrule: facts.may_overrule,
    });
    Ok(Answer::done(text))
}
