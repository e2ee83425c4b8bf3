//! Consignments: dead packs are packed into boxes, one chemistry and one condition in each, and leave together for a handler.
//!
//! A box takes packs of one chemistry, and never damaged ones with sound ones. Its number follows from what is packed already; the
//! command CARTON begins the next box of the kind packed last. What has left never comes back into use: see the rule `retired`.

mod manifest;

use std::collections::BTreeMap;

use crate::domain::command::Command;
use crate::domain::event::{ConsignmentLeft, ConsignmentOpened, PackConsigned, PackRetired, PackUnconsigned};
use crate::domain::facts::ConsignmentFacts;
use crate::domain::finding::{CAUTIONS, Finding};
use crate::domain::ids::{ConsignmentId, PackId, Thing, ThingKind};
use crate::domain::make::Chemistry;
use crate::domain::moment::Moment;
use crate::domain::pack::{Consigned, PackFacts};
use crate::domain::tag::TagKind;
use crate::domain::verdict::{Step, Verdict};
use crate::domain::waste::Condition;
use crate::ledger::{Ledger, LedgerError};

use super::answer::{Answer, Outcome, count};
use super::error::AppError;
use super::intake::kind;
use super::judging::{self, Ask};
use super::lookup::{self, Scanned};
use super::on_pack;
use super::session::{Amount, Code, Here, Work};
pub use manifest::{Container, Item, Manifest, Row, manifest};

/// Longest name of a consignment or handler, and longest number of a carrier, in characters.
const NAME: usize = 60;

/// Opens a consignment.
///
/// # Errors
/// When the name is taken or no name.
pub fn open(here: &mut Here<'_>, name: &str, handler: &str) -> Result<Answer, AppError> {
    let (name, handler) = (line("name", name)?, line("handler", handler)?);
    if here
        .ledger
        .all(ThingKind::Consignment)?
        .iter()
        .any(|(_, facts)| facts.name().is_some_and(|known| known.eq_ignore_ascii_case(&name)))
    {
        return Err(AppError::input(
            format!("a consignment is named `{name}` already"),
            "choose another name",
        ));
    }
    let at = here.desk.now();
    let consignment = ConsignmentId::draw(at, &mut here.desk.random);
    let event = ConsignmentOpened { consignment, name: name.clone(), handler: handler.clone(), at };
    here.desk.record(here.ledger, vec![event.into()])?;
    Ok(Answer::done(format!("consignment {name} for {handler} is open")))
}

fn line(what: &str, text: &str) -> Result<String, AppError> {
    let text = text.trim();
    if text.is_empty() || text.chars().count() > NAME || text.chars().any(char::is_control) {
        let hint = format!("give 1 to {NAME} characters on one line");
        return Err(AppError::input(format!("`{text}` is no {what}"), hint));
    }
    Ok(text.to_owned())
}

/// Finds a consignment by name, or the only one that has not left.
///
/// # Errors
/// When it is not clear which.
pub fn find(ledger: &mut Ledger, name: Option<&str>) -> Result<(ConsignmentId, ConsignmentFacts), AppError> {
    let mut all = Vec::new();
    for (thing, facts) in ledger.all(ThingKind::Consignment)? {
        all.extend(ConsignmentFacts::try_from(facts).ok().map(|facts| (ConsignmentId::new(thing.id), facts)));
    }
    let known: Vec<String> = all.iter().map(|(_, facts)| facts.name.clone()).collect();
    let mut fitting = all.into_iter().filter(|(_, facts)| match name {
        Some(name) => facts.name.eq_ignore_ascii_case(name.trim()),
        None => facts.left.is_none(),
    });
    match (fitting.next(), fitting.next(), name) {
        (Some(only), None, _) => Ok(only),
        (Some(_), Some(_), _) => Err(AppError::input(
            "several consignments are open",
            format!("name one; known: {}", known.join(", ")),
        )),
        (None, _, Some(name)) => Err(AppError::input(
            format!("no consignment is named `{name}`"),
            if known.is_empty() {
                "open one: packmuster consignment open".to_owned()
            } else {
                format!("known: {}", known.join(", "))
            },
        )),
        (None, _, None) => {
            Err(AppError::input("no consignment is open", "open one: packmuster consignment open"))
        }
    }
}

/// A consignment leaves, with all that is packed into it.
///
/// # Errors
/// When it is empty or has left.
pub fn leave(here: &mut Here<'_>, name: Option<&str>, reference: Option<&str>) -> Result<Answer, AppError> {
    let desk = &mut *here.desk;
    // One transaction: nobody packs a pack between the look at what is in it and its leaving.
    here.ledger.transact(|ledger| send_off(&mut Here { ledger, desk }, name, reference))
}

fn send_off(here: &mut Here<'_>, name: Option<&str>, reference: Option<&str>) -> Result<Answer, AppError> {
    let (consignment, facts) = find(here.ledger, name)?;
    if let Some(left) = facts.left {
        let day = left.day(here.ledger.zone());
        return Err(AppError::input(
            format!("consignment {} left on {day}", facts.name),
            "look at it: packmuster consignment show",
        ));
    }
    if facts.packs.is_empty() {
        let hint = "pack it first: packmuster consignment pack";
        return Err(AppError::input(format!("consignment {} is empty", facts.name), hint));
    }
    let reference = reference.map(|number| line("number", number)).transpose()?;
    let at = here.desk.now();
    let worse = damaged_since(here.ledger, &facts, at)?;
    if !worse.is_empty() {
        return Err(AppError::input(
            format!("packed as sound, and may be dangerous by now: {}", worse.join(", ")),
            "scan each at `consignment pack`, NO, and scan it again: it goes into a box for damaged ones",
        ));
    }
    let packs: Vec<PackId> = facts.packs.keys().copied().collect();
    let text = format!("consignment {} has left with {}", facts.name, count(packs.len(), "pack", "packs"));
    here.desk.record(here.ledger, vec![ConsignmentLeft { consignment, packs, reference, at }.into()])?;
    Ok(Answer::done(text).and("what has left can never go out again"))
}

/// Packs that were packed as sound, and on which something was seen since, or that are isolated by now.
fn damaged_since(
    ledger: &mut Ledger,
    of: &ConsignmentFacts,
    now: Moment,
) -> Result<Vec<String>, LedgerError> {
    let mut worse = Vec::new();
    for (&pack, _) in of.packs.iter().filter(|(_, (condition, _))| *condition == Condition::Sound) {
        let facts: PackFacts = ledger.facts(pack.into())?.unwrap_or_default();
        let ask = Ask { pack, step: Step::Look, player: None, due: None, now };
        let (ruling, told) = judging::look(ledger, ask)?;
        let seen = facts.findings.iter().any(|(finding, _)| finding.is_dangerous());
        if seen || ruling.verdict == Verdict::Isolate {
            worse.push(told.pack);
        }
    }
    Ok(worse)
}

/// What one box may hold: packs of one chemistry, if it is known, in one condition.
type Kind = (Option<Chemistry>, Condition);

/// A session at an open consignment.
#[derive(Debug, Clone)]
pub struct Gather {
    consignment: ConsignmentId,
    name: String,
    /// The pack in hand, if it is in this consignment.
    last: Option<PackId>,
    /// What was packed last.
    kind: Option<Kind>,
    /// A pack that is not at its end, and waits for YES.
    doubt: Option<PackId>,
    /// Boxes that were begun and hold nothing yet.
    begun: BTreeMap<Kind, u32>,
}

impl Gather {
    /// Begins to pack a consignment.
    ///
    /// # Errors
    /// When it is not clear which, or it has left.
    pub fn new(ledger: &mut Ledger, name: Option<&str>) -> Result<Self, AppError> {
        let (consignment, facts) = find(ledger, name)?;
        if facts.left.is_some() {
            return Err(gone(&facts.name));
        }
        Ok(Self {
            consignment,
            name: facts.name,
            last: None,
            kind: None,
            doubt: None,
            begun: BTreeMap::new(),
        })
    }

    /// The consignment as it is now; an error once another desk has sent it off.
    fn open(&self, ledger: &mut Ledger) -> Result<ConsignmentFacts, AppError> {
        let facts: ConsignmentFacts = ledger.facts(self.consignment.into())?.unwrap_or_default();
        if facts.left.is_some() { Err(gone(&self.name)) } else { Ok(facts) }
    }

    fn scan(&mut self, here: &mut Here<'_>, pack: PackId) -> Result<Answer, AppError> {
        // What is said next is said of this pack, never of the one before.
        (self.doubt, self.last) = (None, None);
        let facts: PackFacts = here.ledger.facts(pack.into())?.unwrap_or_default();
        let name = lookup::label(&facts.codes);
        if let Some(answer) = on_pack::back(here, pack, &facts)? {
            return Ok(answer);
        }
        if let Some(consigned) = facts.consigned {
            let of = lookup::name_of(here.ledger, consigned.consignment.into())?;
            let text = format!("pack {name} is in box {} of consignment {of}", consigned.number);
            if consigned.consignment != self.consignment {
                return Ok(Answer::no(text).next(format!("pack consignment {of}, scan it there, and NO")));
            }
            self.last = Some(pack);
            self.kind = Some((chemistry(here.ledger, &facts)?, consigned.condition));
            return Ok(Answer::done(text).next("NO takes it out again; or the next pack"));
        }
        if let Some(elsewhere) = on_pack::elsewhere(here, &facts)? {
            return Ok(Answer::no(format!("pack {name} is {elsewhere}"))
                .next("take it in first, with `intake`, or give the result of its run"));
        }
        let now = here.desk.now();
        let ask = Ask { pack, step: Step::Look, player: None, due: None, now };
        let (ruling, told) = judging::look(here.ledger, ask)?;
        if !matches!(ruling.verdict, Verdict::Recycle | Verdict::Isolate) {
            self.doubt = Some(pack);
            let text = vec!["it is not at its end; nothing is entered".to_owned()];
            return Ok(
                Answer::verdict(told, text, Outcome::No).next("YES retires it all the same; or another pack")
            );
        }
        self.pack(here, pack, ruling.verdict)
    }

    /// Packs it into its box, and retires it where it was not yet; out of another box first, where it lies in one.
    fn pack(&mut self, here: &mut Here<'_>, pack: PackId, verdict: Verdict) -> Result<Answer, AppError> {
        let facts: PackFacts = here.ledger.facts(pack.into())?.unwrap_or_default();
        let of = self.open(here.ledger)?;
        let dangerous = facts.findings.iter().any(|(finding, _)| finding.is_dangerous());
        let condition =
            if dangerous || verdict == Verdict::Isolate { Condition::Damaged } else { Condition::Sound };
        let chemistry = chemistry(here.ledger, &facts)?;
        let number = self.number(here.ledger, &of, (chemistry, condition))?;
        let at = here.desk.now();
        let mut events = Vec::new();
        if facts.consigned.is_some() {
            events.push(PackUnconsigned { consignment: self.consignment, pack, at }.into());
        }
        if facts.retired.is_none() {
            events.push(PackRetired { pack, at }.into());
        }
        let consignment = self.consignment;
        events.push(PackConsigned { consignment, pack, condition, number, at }.into());
        here.desk.record(here.ledger, events)?;
        self.begun.remove(&(chemistry, condition));
        (self.last, self.kind) = (Some(pack), Some((chemistry, condition)));
        let kind =
            chemistry.map_or_else(|| "chemistry unknown".to_owned(), |chemistry| chemistry.to_string());
        let answer = Answer::done(format!(
            "pack {}, {kind}, {condition} -> box {number}",
            lookup::label(&facts.codes)
        ));
        Ok(match condition {
            Condition::Sound => answer.and("tape its terminals"),
            Condition::Damaged => answer.and(CAUTIONS),
        })
    }

    /// The number of the box for packs of a kind: the last one begun for it, or a new one.
    fn number(&self, ledger: &mut Ledger, of: &ConsignmentFacts, kind: Kind) -> Result<u32, AppError> {
        // Another desk may have begun a box of the same number for another kind meanwhile.
        if let Some(number) = self.begun.get(&kind)
            && !of.packs.values().any(|(_, taken)| taken == number)
        {
            return Ok(*number);
        }
        // One pack tells of its whole box.
        let mut boxes: BTreeMap<u32, (PackId, Condition)> = BTreeMap::new();
        for (&pack, &(condition, number)) in &of.packs {
            boxes.entry(number).or_insert((pack, condition));
        }
        let mut of_kind = None;
        for (number, (pack, condition)) in boxes {
            let packed: PackFacts = ledger.facts(pack.into())?.unwrap_or_default();
            if (chemistry(ledger, &packed)?, condition) == kind {
                of_kind = of_kind.max(Some(number));
            }
        }
        Ok(of_kind.unwrap_or_else(|| self.next_number(of)))
    }

    /// Takes the last pack out again.
    fn take_out(&mut self, here: &mut Here<'_>) -> Result<Answer, AppError> {
        let Some(pack) = self.last.take() else {
            return Ok(Answer::unclear("no pack was scanned just now", self.prompt()));
        };
        if !self.open(here.ledger)?.packs.contains_key(&pack) {
            return Ok(Answer::unclear("another desk has taken it out already", self.prompt()));
        }
        let at = here.desk.now();
        here.desk
            .record(here.ledger, vec![PackUnconsigned { consignment: self.consignment, pack, at }.into()])?;
        let name = lookup::pack_name(here.ledger, pack)?;
        Ok(Answer::done(format!("pack {name} is out of consignment {} again, and stays retired", self.name)))
    }

    /// Something was seen on the pack in hand: a damaged one goes into a box of its own kind, whether it was packed or waits for YES.
    fn seen(&mut self, here: &mut Here<'_>, finding: Finding) -> Result<Answer, AppError> {
        let Some(pack) = self.doubt.or(self.last) else {
            return Ok(on_pack::none("a pack, then what you see on it"));
        };
        let answer = on_pack::seen(here, pack, Step::Look, finding)?;
        let facts: PackFacts = here.ledger.facts(pack.into())?.unwrap_or_default();
        let of_another = |consigned: Consigned| consigned.consignment != self.consignment;
        let apart = facts
            .consigned
            .is_some_and(|consigned| consigned.condition == Condition::Damaged || of_another(consigned));
        if !finding.is_dangerous() || apart {
            return Ok(answer);
        }
        self.doubt = None;
        let packed = self.pack(here, pack, Verdict::Isolate)?;
        // The verdict brings the cautions already.
        Ok(Answer { text: packed.text.into_iter().take(1).collect(), ..answer })
    }

    /// The number behind those of all boxes, packed or begun.
    fn next_number(&self, of: &ConsignmentFacts) -> u32 {
        let packed = of.packs.values().map(|&(_, number)| number);
        packed.chain(self.begun.values().copied()).max().unwrap_or(0).saturating_add(1)
    }

    fn next_box(&mut self, here: &mut Here<'_>) -> Result<Answer, AppError> {
        let Some(kind) = self.kind else {
            return Ok(on_pack::none("a pack first: boxes are numbered by what goes into them"));
        };
        self.begun.remove(&kind);
        let number = self.next_number(&self.open(here.ledger)?);
        self.begun.insert(kind, number);
        Ok(Answer::done(format!("the next {} pack of that kind goes into box {number}", kind.1)))
    }
}

fn gone(name: &str) -> AppError {
    AppError::input(format!("consignment {name} has left"), "open another: packmuster consignment open")
}

fn chemistry(ledger: &mut Ledger, pack: &PackFacts) -> Result<Option<Chemistry>, LedgerError> {
    let settings = ledger.settings()?;
    Ok(pack.make.and_then(|make| settings.makes.get(&make)).map(|make| make.chemistry))
}

impl Work for Gather {
    fn code(&mut self, here: &mut Here<'_>, code: Code) -> Result<Answer, AppError> {
        match (kind(&code), code.scanned) {
            (Some(ThingKind::Pack), Scanned::Known(thing)) => self.scan(here, PackId::new(thing.id)),
            (Some(ThingKind::Pack), _) => Ok(Answer::no("this tag names no pack yet")
                .next("take it in first, with `intake --loose`: what leaves must be known")),
            (Some(other), _) => {
                Ok(Answer::unclear(format!("a {other} does not go into a consignment"), self.prompt()))
            }
            (None, _) => Ok(Answer::unclear("nothing is known by this code", self.prompt())),
        }
    }

    fn amount(&mut self, _here: &mut Here<'_>, _amount: Amount) -> Result<Answer, AppError> {
        Ok(Answer::unclear("a number means nothing here", self.prompt()))
    }

    fn command(&mut self, here: &mut Here<'_>, command: Command) -> Result<Answer, AppError> {
        match command {
            Command::Yes if self.doubt.is_some() => {
                let Some(pack) = self.doubt.take() else { return Ok(on_pack::none("a pack")) };
                let facts: PackFacts = here.ledger.facts(pack.into())?.unwrap_or_default();
                if facts.consigned.is_some() || on_pack::elsewhere(here, &facts)?.is_some() {
                    // Another desk was quicker.
                    return self.scan(here, pack);
                }
                self.pack(here, pack, Verdict::Recycle)
            }
            Command::No if self.doubt.take().is_some() => Ok(Answer::done("it is left as it is")),
            Command::No => self.take_out(here),
            Command::NextCarton => self.next_box(here),
            Command::Finding(finding) => self.seen(here, finding),
            _ => Ok(Answer::unclear(format!("`{command}` means nothing here"), self.prompt())),
        }
    }

    fn other(&mut self, _here: &mut Here<'_>, text: &str) -> Result<Answer, AppError> {
        Ok(Answer::unclear(format!("nothing is known by `{text}`"), self.prompt()))
    }

    fn bare(&self, _number: &str) -> Option<Amount> {
        None
    }

    fn prompt(&self) -> String {
        if self.doubt.is_some() {
            return "YES to retire it, or another pack".to_owned();
        }
        let more = if self.last.is_some() { ", or what you see on this one; NO takes it out" } else { "" };
        format!("a pack for consignment {}{more}; CARTON begins the next box", self.name)
    }

    fn picture_order(kind: TagKind) -> u8 {
        u8::from(kind != TagKind::Pack)
    }

    fn at_hand(&self) -> Option<PackId> {
        self.doubt.or(self.last)
    }

    /// A tray of dead packs: each is packed, but none that is not at its end.
    fn of_tray(&mut self, here: &mut Here<'_>, pack: PackId) -> Result<Option<Answer>, AppError> {
        let answer = self.scan(here, pack)?;
        self.doubt = None;
        Ok(Some(answer))
    }
}

/// The things of all consignments, newest first, with their facts.
///
/// # Errors
/// A fault of the ledger.
pub fn all(ledger: &mut Ledger) -> Result<Vec<(Thing, ConsignmentFacts)>, LedgerError> {
    let mut all = Vec::new();
    for (thing, facts) in ledger.all(ThingKind::Consignment)? {
        all.extend(ConsignmentFacts::try_from(facts).ok().map(|facts| (thing, facts)));
    }
    all.sort_by_key(|(thing, facts)| (std::cmp::Reverse(facts.opened), *thing));
    Ok(all)
}
