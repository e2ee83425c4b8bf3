//! Complaints of the month: packs that cut out early, and which rule of today would have kept them here.
//!
//! Each is judged again as it stood when it went out, under the policy of the month's end and without the model, which has learnt from
//! what came later. Cartons count as they stand at the month's end.

use std::collections::HashMap;

use jiff::civil::Date;
use serde::Serialize;

use crate::app::answer::hours;
use crate::app::listed::{Listed, Top};
use crate::app::{judging, lookup};
use crate::domain::event::{Event, LoanBegan};
use crate::domain::facts::{CartonFacts, PlayerFacts};
use crate::domain::ids::{CartonId, PackId, PlayerId};
use crate::domain::pack::PackFacts;
use crate::domain::verdict::{Rule, Verdict};
use crate::ledger::entry::Entry;
use crate::ledger::settings::Settings;
use crate::ledger::{Ledger, LedgerError};
use crate::policy::judge::Target;

use super::deeds::Done;

/// A pack that cut out early.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Complaint {
    /// The day on which it was said or seen.
    pub day: Date,
    /// The pack's tag.
    pub pack: String,
    /// The player's, if known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub player: Option<String>,
    /// After how many hours it stopped, if that was said.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub after_h: Option<f64>,
    /// When it had gone out; none when no loan is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sent: Option<Date>,
    /// The rule that would have kept it here.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rule: Option<Rule>,
    /// What that rule says, or what spoke for the pack.
    pub why: String,
}

/// The complaints of a month, by what was entered up to a clock value: so many of them at most, where a number is given.
pub(super) fn of(
    ledger: &mut Ledger,
    (settings, cartons): (&Settings, &HashMap<CartonId, CartonFacts>),
    done: &Done,
    (clock, most): (i64, Option<usize>),
) -> Result<Listed<Complaint>, LedgerError> {
    let mut all = Vec::new();
    for entry in done.complaints(ledger)? {
        let (pack, after, at) = match &entry.event {
            Event::Complained(e) => (e.pack, e.after.map(hours), e.at),
            Event::FindingSeen(e) => (e.pack, None, e.at),
            _ => continue,
        };
        let pack = ledger.joined_to(pack)?;
        let facts: PackFacts = ledger.facts_until(pack.into(), clock)?.unwrap_or_default();
        let name = lookup::label(&facts.codes);
        all.push((at.day(ledger.zone()), name, entry.position, (pack, after, entry)));
    }
    all.sort_by(|a, b| (a.0, &a.1, a.2).cmp(&(b.0, &b.1, b.2)));
    let mut top = Top::of(most);
    top.extend(0..all.len());
    top.listed(|&place| {
        let Some((day, name, _, (pack, after, entry))) = all.get(place) else { return Ok(None) };
        let found = match loan_before(ledger, *pack, entry, clock)? {
            Some((began, loan)) => Some(judged(ledger, (settings, cartons, clock), (*pack, &began, &loan))?),
            None => None,
        };
        let (player, sent, rule, why) = match found {
            Some((player, sent, rule, why)) => (Some(player), Some(sent), rule, why),
            None => (None, None, None, "no loan of it is known".to_owned()),
        };
        Ok(Some(Complaint { day: *day, pack: name.clone(), player, after_h: *after, sent, rule, why }))
    })
}

/// The last loan of a pack that began before an entry.
fn loan_before(
    ledger: &mut Ledger,
    pack: PackId,
    entry: &Entry,
    clock: i64,
) -> Result<Option<(Entry, LoanBegan)>, LedgerError> {
    let mut last = None;
    for (told, wrong) in ledger.history_until(pack.into(), clock)? {
        // The story tells corrections where they stand: what was entered later may come before.
        if told.position >= entry.position {
            continue;
        }
        if let (Event::LoanBegan(e), false) = (&told.event, wrong) {
            let loan = e.clone();
            last = Some((told, loan));
        }
    }
    Ok(last)
}

type Judged = (String, Date, Option<Rule>, String);

fn judged(
    ledger: &mut Ledger,
    (settings, cartons, clock): (&Settings, &HashMap<CartonId, CartonFacts>, i64),
    (pack, began, loan): (PackId, &Entry, &LoanBegan),
) -> Result<Judged, LedgerError> {
    // Before the whole act: it may have put the pack into its player first.
    let first = ledger.entries_of_act(began.act)?.first().map_or(began.position, |first| first.position);
    let facts: PackFacts = ledger.facts_until(pack.into(), first.clock - 1)?.unwrap_or_default();
    let player: PlayerFacts = ledger.facts_until(loan.player.into(), clock)?.unwrap_or_default();
    let zone = ledger.zone().clone();
    let target = Target {
        player: PlayerId::new(loan.player.uuid()),
        make: player.make.and_then(|make| settings.player_makes.get(&make)),
        holds: facts.ride.filter(|ride| ride.player == loan.player).map(|_| pack),
        lent: false,
    };
    let ruling = judging::for_loan(
        (pack, &facts),
        (settings, cartons),
        (target, None),
        (loan.at, &zone, Some(loan.due)),
    );
    let stopped = (ruling.verdict != Verdict::Fit).then(|| ruling.reasons.first()).flatten();
    let why = match stopped {
        Some(reason) => reason.to_string(),
        None => format!("none: {}", ruling.basis.unwrap_or_else(|| "it passed".to_owned())),
    };
    let name = lookup::label(&player.codes);
    Ok((name, loan.at.day(&zone), stopped.map(|reason| reason.rule), why))
}
