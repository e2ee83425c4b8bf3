//! Which codes were printed when: so that no code is printed twice, and that lost tags can be printed again, exactly those.
//!
//! A fresh code is drawn again while the ledger knows it, bound or printed. A printing is known by its number, in the order in which
//! printings were entered.

use std::collections::{BTreeMap, HashSet};

use jiff::civil::Date;
use rand::Rng;
use serde::Serialize;

use crate::domain::event::TagsPrinted;
use crate::domain::facts::PrintingFacts;
use crate::domain::ids::{PrintingId, ThingKind};
use crate::domain::moment::Moment;
use crate::domain::tag::{Tag, TagKind};
use crate::ledger::query::Named;
use crate::ledger::{Ledger, LedgerError};

use super::error::AppError;
use super::lookup;
use super::session::Here;

/// One printing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Printing {
    /// Its number, from 1.
    pub number: usize,
    /// The day.
    pub printed: Date,
    /// What the tags are for.
    pub kind: TagKind,
    /// The sheet or roll.
    pub sheet: String,
    /// The first position used.
    pub start: u32,
    /// They had been printed before.
    pub again: bool,
    /// The codes, in the order of the positions.
    pub codes: Vec<String>,
    /// Those of them that name nothing yet.
    pub unused: Vec<String>,
}

fn facts(ledger: &mut Ledger) -> Result<Vec<PrintingFacts>, LedgerError> {
    let mut all = Vec::new();
    for (thing, facts) in ledger.all(ThingKind::Printing)? {
        if let Ok(facts) = PrintingFacts::try_from(facts)
            && facts.kind.is_some()
        {
            all.push((facts.printed, thing, facts));
        }
    }
    all.sort_by_key(|(printed, thing, _)| (*printed, *thing));
    Ok(all.into_iter().map(|(.., facts)| facts).collect())
}

/// Draws tags that the ledger knows nothing of, printed or bound.
///
/// # Errors
/// A fault of the ledger.
pub fn fresh(
    ledger: &mut Ledger,
    kind: TagKind,
    count: usize,
    random: &mut impl Rng,
) -> Result<Vec<Tag>, LedgerError> {
    let mut printed: HashSet<String> =
        facts(ledger)?.into_iter().flat_map(|printing| printing.codes).collect();
    let mut tags = Vec::with_capacity(count);
    while tags.len() < count {
        let tag = Tag::draw(kind, random);
        if printed.insert(tag.text().to_owned()) && ledger.resolve(tag.text())?.is_none() {
            tags.push(tag);
        }
    }
    Ok(tags)
}

/// Enters a printing; gives its number.
///
/// # Errors
/// A fault of the ledger.
pub fn enter(
    here: &mut Here<'_>,
    (kind, tags): (TagKind, &[Tag]),
    again: bool,
    (sheet, start): (&str, usize),
) -> Result<usize, AppError> {
    let at = here.desk.now();
    let printed = TagsPrinted {
        printing: PrintingId::draw(at, &mut here.desk.random),
        kind,
        codes: tags.iter().map(|tag| tag.text().to_owned()).collect(),
        again,
        sheet: sheet.to_owned(),
        start: u32::try_from(start).unwrap_or(u32::MAX),
        at,
    };
    here.desk.record(here.ledger, vec![printed.into()])?;
    Ok(facts(here.ledger)?.len())
}

/// Every printing, oldest first.
///
/// # Errors
/// A fault of the ledger.
pub fn all(ledger: &mut Ledger) -> Result<Vec<Printing>, LedgerError> {
    let zone = ledger.zone().clone();
    let mut printings = Vec::new();
    for (place, facts) in facts(ledger)?.into_iter().enumerate() {
        let mut unused = Vec::new();
        for code in &facts.codes {
            if ledger.resolve(code)?.is_none() {
                unused.push(code.clone());
            }
        }
        printings.push(Printing {
            number: place + 1,
            printed: facts.printed.unwrap_or(Moment::from_millis(0)).day(&zone),
            kind: facts.kind.unwrap_or(TagKind::Pack),
            sheet: facts.sheet,
            start: facts.start,
            again: facts.again,
            codes: facts.codes,
            unused,
        });
    }
    Ok(printings)
}

/// Which tags to print again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Lost {
    /// Some of a printing, counted from 1 in its order.
    Labels(usize, Vec<usize>),
    /// Those of a printing that name nothing yet.
    Unused(usize),
    /// These.
    Codes(Vec<Tag>),
}

/// The tags that are meant, all of one kind.
///
/// # Errors
/// When there is no such printing or label, or a code was never printed here nor bound, or was replaced.
pub fn lost(ledger: &mut Ledger, lost: &Lost) -> Result<Vec<Tag>, AppError> {
    let printings = all(ledger)?;
    let of = |number: usize| {
        printings.get(number.wrapping_sub(1)).ok_or_else(|| {
            AppError::input(
                format!("there is no printing {number}"),
                match printings.len() {
                    0 => "nothing was printed yet: packmuster tags print".to_owned(),
                    last => format!("printings 1 to {last} are known: packmuster tags log"),
                },
            )
        })
    };
    let codes: Vec<String> = match lost {
        Lost::Unused(number) => of(*number)?.unused.clone(),
        Lost::Labels(number, labels) => {
            let printing = of(*number)?;
            let mut codes = Vec::new();
            for &label in labels {
                let code = printing.codes.get(label.wrapping_sub(1)).ok_or_else(|| {
                    AppError::input(
                        format!("printing {number} has no label {label}"),
                        format!("it has labels 1 to {}", printing.codes.len()),
                    )
                })?;
                codes.push(code.clone());
            }
            codes
        }
        Lost::Codes(tags) => {
            for tag in tags {
                let printed =
                    printings.iter().any(|printing| printing.codes.iter().any(|code| code == tag.text()));
                if !printed && ledger.resolve(tag.text())?.is_none() {
                    return Err(AppError::input(
                        format!("{tag} was never printed here, and names nothing"),
                        "print fresh ones: packmuster tags print",
                    ));
                }
            }
            let mut codes: Vec<String> = Vec::new();
            for tag in tags.iter().map(Tag::text) {
                if !codes.iter().any(|code| code == tag) {
                    codes.push(tag.to_owned());
                }
            }
            codes
        }
    };
    let tags: Vec<Tag> = codes.iter().filter_map(|code| code.parse().ok()).collect();
    for tag in &tags {
        if let Some(Named::Once(thing)) = ledger.resolve(tag.text())? {
            let worn = lookup::name_of(ledger, thing)?;
            return Err(AppError::input(
                format!("{tag} was replaced: the {} wears {worn} now", thing.kind),
                format!("print that one again: packmuster tags again {worn}"),
            ));
        }
    }
    let mut kinds: BTreeMap<TagKind, usize> = BTreeMap::new();
    for tag in &tags {
        *kinds.entry(tag.kind()).or_default() += 1;
    }
    if tags.is_empty() {
        return Err(AppError::input("no tag is left to print", "every tag of that printing is in use"));
    }
    if kinds.len() > 1 {
        return Err(AppError::input("these tags are of several kinds", "print each kind by itself"));
    }
    Ok(tags)
}

/// Reads "3", "41-65,70" as numbers in order, each once.
///
/// # Errors
/// When a part is no number or range.
pub fn numbers(text: &str) -> Result<Vec<usize>, AppError> {
    let wrong = |part: &str| {
        AppError::input(
            format!("`{part}` in `{text}` is no label"),
            "give numbers and ranges such as 41-65,70",
        )
    };
    let mut numbers = Vec::new();
    for part in text.split(',').map(str::trim) {
        let (first, last) = part.split_once('-').unwrap_or((part, part));
        let number =
            |of: &str| of.trim().parse::<usize>().ok().filter(|number| (1..=100_000).contains(number));
        let (Some(first), Some(last)) = (number(first), number(last)) else { return Err(wrong(part)) };
        if first > last {
            return Err(wrong(part));
        }
        numbers.extend((first..=last).filter(|number| !numbers.contains(number)).collect::<Vec<_>>());
    }
    Ok(numbers)
}
