//! The monthly review: what a month's end looked like, worked out from the entries recorded by then.
//!
//! A past month prints the same again: facts, settings and heads are taken as all entries up to its end gave them, and what was
//! entered or taken back later does not change it. What is reckoned of the current month can be kept (`app::reckon`), so that the next
//! review reckons only what changed since.

mod complaints;
pub(crate) mod deeds;
mod figures;
mod fleet;
mod gather;
mod lines;
mod lists;
mod lives;
mod report;

use std::collections::HashMap;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use crate::domain::facts::SlotFacts;
use crate::domain::ids::{SlotId, ThingKind};
use crate::domain::moment::Moment;
use crate::ledger::entry::clock_before;
use crate::ledger::kept::Kept;
use crate::ledger::{Ledger, LedgerError};

use super::ahead;
use super::error::AppError;
use super::reckon::kept::Need;
use super::reckon::{self, Counts, Foretell, Frame, Share, Sums};
use super::slots::{self, Check, Trust};
pub use complaints::Complaint;
pub use deeds::Deed;
use deeds::Done;
pub use figures::{Figure, Figures};
pub use fleet::{Bin, CanGo, Capacity};
use gather::Gather;
pub use lists::{CartonLine, Coming, Fan, Lost, RollLine, RoundLine};
pub use lives::{Alike, LIVES_NOTE, Lives};
pub use report::{Brief, Head, Line, Odd, ReadingLine, Review, Standing, Whereabouts};

/// A month, by its first day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Month(Date);

impl Month {
    /// The month that a day lies in.
    pub fn of(day: Date) -> Self {
        Self(day.first_of_month())
    }

    /// Reads "2026-11".
    ///
    /// # Errors
    /// When it is no month.
    pub fn parse(text: &str) -> Result<Self, AppError> {
        format!("{}-01", text.trim()).parse().map(Self).map_err(|_no_date| {
            AppError::input(format!("`{text}` is no month"), "give a month such as 2026-11")
        })
    }

    /// The month before.
    #[must_use]
    pub fn before(self) -> Self {
        self.0.yesterday().map_or(self, Self::of)
    }

    /// The first day of the next month.
    pub fn next(self) -> Date {
        self.0.last_of_month().tomorrow().unwrap_or(self.0)
    }

    /// "2026-11".
    pub fn text(self) -> String {
        self.0.strftime("%Y-%m").to_string()
    }
}

/// Months that are looked ahead.
const MONTHS: u32 = 24;
/// Packs that are drawn with what is foreseen of them, at most.
const FANS: usize = 4;
/// Slots in doubt that are named in one sentence, at most.
const SLOTS_NAMED: usize = 12;
/// The name of the note that holds what the slots were found to be.
const SLOTS: &str = "slots";

/// What a review is asked for.
pub struct Asked<'a> {
    /// The month.
    pub month: Month,
    /// Now.
    pub now: Moment,
    /// All lines of every list; else only as many as the policy has them on paper.
    pub all_lines: bool,
    /// Where what is reckoned of the current month is kept; none where all is to be reckoned anew.
    pub kept: Option<&'a Kept>,
}

/// A month as it is looked at.
struct Look {
    frame: Frame,
    /// Entries up to this clock value count.
    clock: i64,
    /// It is not over.
    current: bool,
}

impl Look {
    /// A month that is over as of its last moment, by what was entered until then; the current one as of the end of today, by all
    /// that is entered.
    fn at(ledger: &mut Ledger, month: Month, now: Moment) -> Result<Self, AppError> {
        let zone = ledger.zone().clone();
        let begin = Moment::start_of(month.0, &zone);
        if begin > now {
            return Err(AppError::input(
                format!("{} lies ahead", month.text()),
                "give a month that has begun",
            ));
        }
        let current = month == Month::of(now.day(&zone));
        let last = if current { now.day(&zone) } else { month.0.last_of_month() };
        let clock = if current { i64::MAX } else { clock_before(Moment::start_of(month.next(), &zone)) };
        let settings = match ledger.settings_until(clock) {
            Ok(settings) => settings,
            Err(LedgerError::NoPolicy) => {
                return Err(AppError::input(
                    format!("the ledger had no policy in {}", month.text()),
                    "give a month after the ledger was begun",
                ));
            }
            Err(error) => return Err(error.into()),
        };
        let foretell = settings.seer.is_some();
        let foretell = foretell.then(|| Foretell::months(begin, MONTHS, Share::default(), &zone));
        let frame = Frame {
            begin,
            as_of: reckon::end_of(last, &zone),
            foretell,
            cartons: HashMap::new(),
            players: HashMap::new(),
            settings,
            zone,
        };
        Ok(Self { frame, clock, current })
    }

    /// Reckons everything that was not reckoned before, and says what was done in the month, with the sums over all.
    fn reckon(
        &mut self,
        ledger: &mut Ledger,
        (kept, need): (&Kept, Need),
        seen: impl FnMut(u64),
    ) -> Result<(Done, Sums), LedgerError> {
        if self.current {
            return reckon::kept::refresh(ledger, (kept, need), &mut self.frame, seen);
        }
        let sums = reckon::kept::all(ledger, kept, &mut self.frame, self.clock, seen)?;
        Ok((deeds::read(ledger, clock_before(self.frame.begin), self.clock)?, sums))
    }
}

/// Works the review of a month out. `seen` is told how many packs were looked at, where it is all of them.
///
/// A month that is not over is judged as of the end of today.
///
/// # Errors
/// When the month lies ahead, there was no policy yet, or a fault of a file.
pub fn review(ledger: &mut Ledger, asked: &Asked<'_>, mut seen: impl FnMut(u64)) -> Result<Review, AppError> {
    let mut look = Look::at(ledger, asked.month, asked.now)?;
    let scratch = Kept::scratch()?;
    let kept = asked.kept.filter(|_| look.current).unwrap_or(&scratch);
    let mut review = kept.transact(|kept| {
        let (done, sums) = look.reckon(ledger, (kept, Need::All), &mut seen)?;
        whole(ledger, kept, &mut look, (&sums.counts(), &done), asked)
    })?;
    review.before = before(ledger, asked, &mut seen)?;
    Ok(review)
}

/// The figures of the current month, and of the one before.
///
/// # Errors
/// As for [`review`].
pub fn brief(
    ledger: &mut Ledger,
    now: Moment,
    kept: &Kept,
    mut seen: impl FnMut(u64),
) -> Result<Brief, AppError> {
    let month = Month::of(now.day(ledger.zone()));
    let mut look = Look::at(ledger, month, now)?;
    let figures = kept.transact(|kept| {
        let (done, sums) = look.reckon(ledger, (kept, Need::Counts), &mut seen)?;
        Ok::<_, LedgerError>(Figures::of(month, &look.frame.settings, &sums.counts(), &done))
    })?;
    let asked = Asked { month, now, all_lines: false, kept: Some(kept) };
    let before = before(ledger, &asked, &mut seen)?;
    Ok(Brief { as_of: look.frame.today(), heads: heads(ledger, look.clock)?, figures, before })
}

/// The figures of the month before; none where the ledger is younger.
fn before(
    ledger: &mut Ledger,
    asked: &Asked<'_>,
    seen: impl FnMut(u64),
) -> Result<Option<Figures>, AppError> {
    /// Figures, and what they were made from.
    #[derive(Serialize, Deserialize)]
    struct Noted {
        heads: Vec<Head>,
        figures: Figures,
    }
    let month = asked.month.before();
    let zone = ledger.zone().clone();
    let name = format!("figures {} {}", reckon::kept::FORM, month.text());
    let heads = heads(ledger, clock_before(Moment::start_of(month.next(), &zone)))?;
    if let Some(text) = asked.kept.map(|kept| kept.note(&name)).transpose()?.flatten()
        && let Ok(noted) = serde_json::from_slice::<Noted>(&text)
        && noted.heads == heads
    {
        return Ok(Some(noted.figures));
    }
    let mut look = match Look::at(ledger, month, asked.now) {
        Ok(look) => look,
        Err(AppError::Input { .. }) => return Ok(None), // the ledger is younger than that
        Err(error) => return Err(error),
    };
    look.frame.foretell = None;
    let scratch = Kept::scratch()?;
    let (done, sums) = scratch.transact(|kept| look.reckon(ledger, (kept, Need::Counts), seen))?;
    let figures = Figures::of(month, &look.frame.settings, &sums.counts(), &done);
    let noted = Noted { heads, figures };
    if let (Some(kept), Ok(text)) = (asked.kept, serde_json::to_vec(&noted)) {
        kept.set_note(&name, &text)?;
    }
    Ok(Some(noted.figures))
}

/// Puts a review together from what was reckoned.
fn whole(
    ledger: &mut Ledger,
    kept: &Kept,
    look: &mut Look,
    (counts, done): (&Counts, &Done),
    asked: &Asked<'_>,
) -> Result<Review, AppError> {
    let clock = look.clock;
    look.frame.cartons = ahead::cartons_until(ledger, clock)?;
    let mut slots = HashMap::new();
    ledger.each_until(ThingKind::Slot, clock, |thing, _, facts| {
        slots.extend(SlotFacts::try_from(facts).ok().map(|slot| (SlotId::new(thing.id), slot.name)));
        Ok::<(), LedgerError>(())
    })?;
    let rows = usize::try_from(look.frame.settings.policy.review_rows).unwrap_or(usize::MAX);
    let most = Some(rows).filter(|_| !asked.all_lines);
    let mut gather = Gather::new(&look.frame, most);
    reckon::kept::each_pack(kept, |id, pack| gather.pack(&look.frame, id, &pack))?;
    reckon::kept::each_player(kept, |player| gather.player(player))?;
    let check = checked(ledger, kept, look, asked.now)?;
    let lines = gather::Lines { ledger, frame: &look.frame, clock, slots: &slots, most };
    let mut review = lines.review(gather, (counts, done), asked.month)?;
    review.slots = Some(check).filter(|check| !check.slots.is_empty());
    review.wrong = wrong(&review);
    Ok(review)
}

/// The slots of the bench: those of the current month as they were found at the first look of the day.
fn checked(ledger: &mut Ledger, kept: &Kept, look: &Look, now: Moment) -> Result<Check, AppError> {
    let today = look.frame.today();
    if let Some(text) = kept.note(SLOTS)?
        && let Ok(check) = serde_json::from_slice::<Check>(&text)
        && check.as_of == today
    {
        return Ok(check);
    }
    let at = look.frame.as_of.min(now);
    let check = slots::check_until(ledger, &look.frame.settings, (at, look.clock))?;
    if let Ok(text) = serde_json::to_vec(&check) {
        kept.set_note(SLOTS, &text)?;
    }
    Ok(check)
}

/// What is wrong, in sentences, gravest first.
fn wrong(review: &Review) -> Vec<String> {
    let mut wrong = Vec::new();
    let mut say = |many: usize, one: &str, several: &str| match many {
        0 => {}
        1 => wrong.push(format!("1 {one}")),
        many => wrong.push(format!("{many} {several}")),
    };
    say(
        review.isolate.all(),
        "pack may be dangerous: keep it apart",
        "packs may be dangerous: keep them apart",
    );
    say(
        review.isolate_out,
        "of them is with a borrower: call it back",
        "of them are with borrowers: call them back",
    );
    say(
        review.at_risk,
        "pack is with a borrower and will hardly keep the promise until it is back",
        "packs are with borrowers and will hardly keep the promise until they are back",
    );
    say(review.complaints.all(), "pack cut out early in the month", "packs cut out early in the month");
    say(
        review.lost.all(),
        "pack is missing or was not seen for long",
        "packs are missing or were not seen for long",
    );
    say(review.odd.all(), "entry does not add up", "entries do not add up");
    wrong.extend(review.waste.warnings.iter().cloned());
    wrong.extend(review.lives.iter().filter(|lives| lives.early).map(Lives::warning));
    let mut slots: Vec<String> = review
        .slots
        .iter()
        .flat_map(|check| &check.slots)
        .filter(|slot| matches!(slot.trust, Trust::ReadsHigh | Trust::ReadsLow))
        .map(|slot| format!("{} {}", slot.slot, slot.trust.words()))
        .collect();
    let more = slots.len().saturating_sub(SLOTS_NAMED);
    if more > 0 {
        slots.truncate(SLOTS_NAMED);
        slots.push(format!("{more} more"));
    }
    if !slots.is_empty() {
        wrong.push(format!("slots of the bench: {}; have them serviced", slots.join(", ")));
    }
    wrong
}

fn heads(ledger: &Ledger, clock: i64) -> Result<Vec<Head>, LedgerError> {
    let heads = ledger.heads_until(clock)?;
    Ok(heads.into_iter().map(|(writer, number, hash)| Head { writer, number, hash }).collect())
}
