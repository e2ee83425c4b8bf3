//! The bench: packs into slots, results out of them, rounds and charges.

use crate::domain::command::Command;
use crate::domain::event::{
    Event, Method, ReadingTaken, Removed, RoundDone, RunBegan, RunEnded, Service, SlotAdded, SlotServiced,
    TagBound,
};
use crate::domain::facts::{CartonFacts, SlotFacts};
use crate::domain::finding::NoResult;
use crate::domain::ids::{CartonId, PackId, RunId, SlotId, ThingKind};
use crate::domain::make::PackMake;
use crate::domain::moment::Moment;
use crate::domain::pack::{PackFacts, ReadingFact};
use crate::domain::tag::TagKind;
use crate::domain::units::MilliampHours;
use crate::domain::verdict::{Rule, Step, Verdict};
use crate::ledger::{Ledger, LedgerError};
use crate::policy::rules::Plausible;

use super::answer::{Answer, count};
use super::error::AppError;
use super::input::Measured;
use super::intake::{kind, severity, usage};
use super::judging::{self, Ask};
use super::lookup::{self, Scanned};
use super::on_pack;
use super::sampling;
use super::session::{Amount, Code, Here, Work};

/// A slot that was scanned.
#[derive(Debug, Clone)]
struct Slot {
    id: SlotId,
    name: String,
    run: Option<(RunId, PackId)>,
}

/// A session at the bench.
#[derive(Debug, Clone, Default)]
pub struct Bench {
    slot: Option<Slot>,
    pack: Option<PackId>,
    /// A reading that waits to be confirmed.
    doubtful: Option<Measured>,
}

impl Bench {
    fn scan_slot(&mut self, here: &mut Here<'_>, code: &Code) -> Result<Answer, AppError> {
        self.doubtful = None;
        self.pack = None;
        let id = match code.scanned {
            Scanned::Known(thing) => SlotId::new(thing.id),
            _ => add_slot(here, code)?,
        };
        let facts: SlotFacts = here.ledger.facts(id.into())?.unwrap_or_default();
        let run = facts.run.map(|(run, pack, _)| (run, pack));
        let text = match facts.run {
            Some((_, pack, since)) => {
                self.pack = Some(pack);
                let name = lookup::pack_name(here.ledger, pack)?;
                format!("{} holds pack {name} since {}", facts.name, since.local(here.ledger.zone()))
            }
            None => format!("{} is free", facts.name),
        };
        let closed = closed(here.ledger, &facts)?;
        self.slot = Some(Slot { id, name: facts.name, run });
        Ok(match closed {
            Some(why) => Answer::done(text).and(why).next("SERVICED once that is done; or another slot"),
            None => Answer::done(text),
        })
    }

    fn scan_pack(&mut self, here: &mut Here<'_>, code: &Code) -> Result<Answer, AppError> {
        let Scanned::Known(thing) = code.scanned else {
            return Ok(Answer::unclear(
                "this tag names no pack yet",
                "enter the pack first: `receive` for new stock, `intake` for a return",
            ));
        };
        let pack = PackId::new(thing.id);
        let facts: PackFacts = here.ledger.facts(thing)?.unwrap_or_default();
        self.doubtful = None;
        if let Some(run) = facts.run {
            let slot: SlotFacts = here.ledger.facts(run.slot.into())?.unwrap_or_default();
            self.pack = Some(pack);
            self.slot = Some(Slot { id: run.slot, name: slot.name.clone(), run: Some((run.run, pack)) });
            return Ok(Answer::done(format!("pack {} is in {}", lookup::label(&facts.codes), slot.name)));
        }
        match self.slot.clone() {
            None => {
                self.pack = Some(pack);
                Ok(Answer::done(format!("pack {}", lookup::label(&facts.codes))))
            }
            Some(Slot { name, run: Some((_, other)), .. }) => {
                let other = lookup::pack_name(here.ledger, other)?;
                Ok(Answer::no(format!("{name} still holds pack {other}"))
                    .next(format!("give the result of {other} first, or why there is none")))
            }
            Some(slot) => self.put(here, &slot, pack, &facts),
        }
    }

    fn put(
        &mut self,
        here: &mut Here<'_>,
        slot: &Slot,
        pack: PackId,
        facts: &PackFacts,
    ) -> Result<Answer, AppError> {
        if facts.loan.is_some() {
            return Ok(Answer::no(format!("pack {} is out on a loan", lookup::label(&facts.codes)))
                .next("take it in first, with `intake`"));
        }
        let holder: SlotFacts = here.ledger.facts(slot.id.into())?.unwrap_or_default();
        if let Some(why) = closed(here.ledger, &holder)? {
            return Ok(Answer::no(format!("{} is closed: {why}", slot.name))
                .next("another slot; or SERVICED once this one is mended"));
        }
        if facts.make.is_some_and(|make| !holder.takes.is_empty() && !holder.takes.contains(&make)) {
            let settings = here.ledger.settings()?;
            let name = |make| settings.makes.get(&make).map_or("another make", |make| make.name.as_str());
            let takes: Vec<&str> = holder.takes.iter().map(|&make| name(make)).collect();
            let own = facts.make.map_or("a pack of unknown make", name);
            let text = format!("{} takes {}, and this is {own}", slot.name, takes.join(" or "));
            return Ok(Answer::no(text).next("another slot"));
        }
        let now = here.desk.now();
        // One reading near the limit does not condemn, and a second one in the same slot confirms nothing.
        let ask = Ask { pack, step: Step::Look, player: None, due: None, now };
        let (ruling, _) = judging::look(here.ledger, ask)?;
        let near = ruling.verdict == Verdict::Measure
            && ruling.reasons.first().is_some_and(|reason| reason.rule == Rule::Capacity);
        let again = near && facts.readings.last().is_some_and(|reading| reading.slot == Some(slot.id));
        let mut events: Vec<Event> = Vec::new();
        let mut answer = Answer::done(format!("pack {} is in {}", lookup::label(&facts.codes), slot.name));
        if let Some(gone) = on_pack::gone(here, facts)? {
            answer = answer.and(format!("it {gone}, and is here: {}", on_pack::APART));
        }
        if again {
            answer = answer
                .and("its last reading is near the limit and was taken in this slot: another one tells more");
        }
        if let Some(ride) = facts.ride {
            let used = usage(here.ledger, facts, ride, false, None, now)?;
            let (ride, player) = (ride.ride, ride.player);
            events.push(Removed { ride, pack, player, used, found: true, at: now }.into());
            answer = answer.and("taken out of the player that it stood in");
        }
        let run = RunId::draw(now, &mut here.desk.random);
        events.push(RunBegan { run, slot: slot.id, pack, at: now }.into());
        here.desk.record(here.ledger, events)?;
        // The next scan is another slot: this one is done with until its result is there.
        self.pack = Some(pack);
        self.slot = Some(Slot { run: Some((run, pack)), ..slot.clone() });
        Ok(answer.next("the next slot"))
    }

    fn result(&mut self, here: &mut Here<'_>, measured: Measured) -> Result<Answer, AppError> {
        let Some(pack) = self.pack else {
            return Ok(Answer::unclear("a reading of which pack?", "scan the slot, then give its mAh"));
        };
        let facts: PackFacts = here.ledger.facts(pack.into())?.unwrap_or_default();
        if facts.loan.is_some() {
            let text =
                format!("pack {} is out on a loan: nobody can have measured it", lookup::label(&facts.codes));
            return Ok(
                Answer::no(text).next("take it in first, with `intake`; or scan the pack that was measured")
            );
        }
        let doubt = implausible(here.ledger, &facts, measured.capacity)?;
        let confirmed = self.doubtful.take() == Some(measured);
        match doubt {
            Some(doubt) if !confirmed => {
                self.doubtful = Some(measured);
                Ok(Answer::no(doubt).and("not counted yet").next("YES if it is right, or the right number"))
            }
            _ => self.enter(here, pack, measured),
        }
    }

    fn enter(&mut self, here: &mut Here<'_>, pack: PackId, measured: Measured) -> Result<Answer, AppError> {
        let now = here.desk.now();
        let slot = self.slot.clone();
        let run = slot.as_ref().and_then(|slot| slot.run).map(|(run, _)| run);
        let mut events =
            vec![reading(here.ledger, pack, slot.as_ref().map(|slot| slot.id), run, measured, now)?];
        let carton = sampled(here.ledger, &events)?;
        let ask = Ask { pack, step: Step::Bench, player: None, due: None, now };
        let (ruling, told) = judging::with_verdict(here.ledger, ask, &mut events)?;
        here.desk.record(here.ledger, events)?;
        // The slot is done with: a pack that is scanned next goes nowhere until a slot is scanned.
        self.slot = None;
        let mut text = vec![format!("read {}", measured.capacity)];
        if let Some((carton, before)) = carton {
            text.extend(sampling::carton::decided(here.ledger, carton, &before)?);
        }
        Ok(Answer::verdict(told, text, severity(ruling.verdict))
            .next("the next slot, or ROUND, or a finding"))
    }

    fn no_result(&mut self, here: &mut Here<'_>, reason: NoResult) -> Result<Answer, AppError> {
        let Some(Slot { id, name, run: Some((run, pack)) }) = self.slot.clone() else {
            return Ok(Answer::unclear("no run is open in a scanned slot", "scan the slot first"));
        };
        let now = here.desk.now();
        let mut events = vec![RunEnded { run, slot: id, pack, reason, at: now }.into()];
        let ask = Ask { pack, step: Step::Bench, player: None, due: None, now };
        let (ruling, told) = judging::with_verdict(here.ledger, ask, &mut events)?;
        here.desk.record(here.ledger, events)?;
        // The slot is done with: a pack that is scanned next goes nowhere until a slot is scanned.
        self.slot = None;
        Ok(Answer::verdict(told, vec![format!("no result from {name}: {reason}")], severity(ruling.verdict)))
    }

    /// A slot was serviced, or has another adapter: what was known of it no longer holds.
    fn service(&mut self, here: &mut Here<'_>, work: Service) -> Result<Answer, AppError> {
        let Some(slot) = self.slot.clone() else {
            return Ok(Answer::unclear("which slot?", "scan the slot first"));
        };
        if slot.run.is_some() {
            return Ok(Answer::no(format!("{} holds a pack", slot.name))
                .next("its result, or why there is none, before anybody works on it"));
        }
        let at = here.desk.now();
        here.desk.record(here.ledger, vec![SlotServiced { slot: slot.id, work, at }.into()])?;
        let what = match work {
            Service::Serviced => "is serviced",
            Service::Adapter => "has another adapter",
        };
        Ok(Answer::done(format!("{} {what}: its record begins anew", slot.name)))
    }

    fn round(&mut self, here: &mut Here<'_>, pack: PackId) -> Result<Answer, AppError> {
        let origin = here.ledger.facts::<PackFacts>(pack.into())?.unwrap_or_default().origin();
        let cycles = here.ledger.settings()?.policy.limits(origin).cycles_per_round;
        let slot = self.slot.as_ref().map(|slot| slot.id);
        let event = RoundDone { pack, slot, cycles, at: here.desk.now() };
        let answer = on_pack::enter(here, pack, Step::Bench, event.into())?;
        Ok(answer.and(format!("a round of {cycles} cycles")))
    }

    /// What is said of the pack that was scanned, or lies in the slot that was.
    fn say(&mut self, here: &mut Here<'_>, command: Command) -> Result<Answer, AppError> {
        let Some(pack) = self.pack else {
            return Ok(on_pack::none("scan the pack, or the slot that it is in"));
        };
        match command {
            Command::Round => self.round(here, pack),
            Command::Charged => on_pack::charged(here, pack, Step::Bench),
            Command::Finding(finding) => on_pack::seen(here, pack, Step::Bench, finding),
            _ => Ok(Answer::unclear(format!("`{command}` means nothing here"), self.prompt())),
        }
    }
}

impl Work for Bench {
    fn code(&mut self, here: &mut Here<'_>, code: Code) -> Result<Answer, AppError> {
        match kind(&code) {
            Some(ThingKind::Slot) => self.scan_slot(here, &code),
            Some(ThingKind::Pack) => self.scan_pack(here, &code),
            Some(other) => {
                Ok(Answer::unclear(format!("a {other} is not expected at the bench"), self.prompt()))
            }
            None => Ok(Answer::unclear("nothing is known by this code", self.prompt())),
        }
    }

    fn amount(&mut self, here: &mut Here<'_>, amount: Amount) -> Result<Answer, AppError> {
        match amount {
            Amount::Result(measured) => self.result(here, measured),
            Amount::Hours(_) => Ok(Answer::unclear("hours belong to intake", "at the bench, give mAh")),
            Amount::Due(_) => Ok(Answer::unclear("a due date belongs to dispatch", "at the bench, give mAh")),
        }
    }

    fn command(&mut self, here: &mut Here<'_>, command: Command) -> Result<Answer, AppError> {
        match command {
            Command::Yes | Command::Enter if self.doubtful.is_some() => match self.doubtful {
                Some(measured) => self.result(here, measured),
                None => Ok(Answer::unclear("nothing waits for a yes", self.prompt())),
            },
            Command::No if self.doubtful.take().is_some() => {
                Ok(Answer::done("dropped; give the right number"))
            }
            Command::NoResult(reason) => self.no_result(here, reason),
            Command::Service(work) => self.service(here, work),
            Command::Round | Command::Charged | Command::Finding(_) => self.say(here, command),
            _ => Ok(Answer::unclear(format!("`{command}` means nothing here"), self.prompt())),
        }
    }

    fn other(&mut self, _here: &mut Here<'_>, text: &str) -> Result<Answer, AppError> {
        Ok(Answer::unclear(format!("nothing is known by `{text}`"), self.prompt()))
    }

    fn bare(&self, number: &str) -> Option<Amount> {
        MilliampHours::parse_bare(number).ok().map(|capacity| Amount::Result(Measured::capacity(capacity)))
    }

    fn picture_order(kind: TagKind) -> u8 {
        match kind {
            TagKind::Slot => 1,
            TagKind::Pack => 2,
            _ => 3,
        }
    }

    fn prompt(&self) -> String {
        match (&self.doubtful, &self.slot, self.pack) {
            (Some(_), ..) => "YES if the reading is right, or the right number".to_owned(),
            (None, Some(slot), _) if slot.run.is_some() => {
                format!("the mAh of {}, or the next slot", slot.name)
            }
            (None, Some(slot), _) => format!("a pack for {}, or another slot", slot.name),
            (None, None, Some(_)) => "CHARGED, ROUND, a finding or mAh; or a slot".to_owned(),
            (None, None, None) => "a slot, or a pack".to_owned(),
        }
    }

    fn at_hand(&self) -> Option<PackId> {
        self.pack
    }

    fn left_over(&self) -> Option<String> {
        self.doubtful
            .map(|measured| format!("the reading {} was not confirmed and does not count", measured.capacity))
    }
}

/// Why a slot takes no more packs, if so.
fn closed(ledger: &mut Ledger, slot: &SlotFacts) -> Result<Option<String>, LedgerError> {
    let most = ledger.settings()?.policy.bench.close_slot_after;
    let count = slot.failures;
    Ok((count >= most).then(|| format!("{count} runs in a row gave no result; it must be serviced")))
}

/// Ends every open run of this site without a result, as after a power cut.
///
/// # Errors
/// A fault of the ledger.
pub fn end_all(here: &mut Here<'_>, reason: NoResult) -> Result<Answer, AppError> {
    let now = here.desk.now();
    let own = here.ledger.own().map(|own| own.writer);
    let mut events: Vec<Event> = Vec::new();
    let mut packs = Vec::new();
    let mut names = Vec::new();
    let mut slots = Vec::new();
    for (thing, facts) in here.ledger.all(ThingKind::Slot)? {
        slots.extend(SlotFacts::try_from(facts).map(|facts| (thing, facts)));
    }
    // In the order in which they stand on the bench.
    slots.sort_by(|(_, a), (_, b)| (a.name.len(), &a.name).cmp(&(b.name.len(), &b.name)));
    for (thing, facts) in slots {
        // The benches of other sites are not in the dark.
        let (Some((run, pack, _)), true) = (facts.run, here.ledger.home_of(thing)? == own) else { continue };
        events.push(RunEnded { run, slot: SlotId::new(thing.id), pack, reason, at: now }.into());
        names.push(format!("{}: pack {}", facts.name, lookup::pack_name(here.ledger, pack)?));
        packs.push(pack);
    }
    if packs.is_empty() {
        return Ok(Answer::done("no run is open here"));
    }
    for pack in &packs {
        let ask = Ask { pack: *pack, step: Step::Bench, player: None, due: None, now };
        judging::with_verdict(here.ledger, ask, &mut events)?;
    }
    here.desk.record(here.ledger, events)?;
    let mut answer =
        Answer::done(format!("{} ended without a result: {reason}", count(packs.len(), "run", "runs")));
    answer.text.extend(names);
    Ok(answer.next("begin them again: scan each slot, then its pack"))
}

/// The carton that a reading counts for, as it stands before.
fn sampled(ledger: &mut Ledger, events: &[Event]) -> Result<Option<(CartonId, CartonFacts)>, LedgerError> {
    let carton = events.iter().find_map(|event| match event {
        Event::ReadingTaken(reading) => reading.carton,
        _ => None,
    });
    let Some(carton) = carton else { return Ok(None) };
    Ok(Some((carton, ledger.facts(carton.into())?.unwrap_or_default())))
}

fn add_slot(here: &mut Here<'_>, code: &Code) -> Result<SlotId, AppError> {
    let now = here.desk.now();
    let slot = SlotId::draw(now, &mut here.desk.random);
    let number = here.ledger.all(ThingKind::Slot)?.len() + 1;
    let events = vec![
        SlotAdded { slot, name: format!("slot {number}") }.into(),
        TagBound { code: code.text.clone(), thing: slot.into() }.into(),
    ];
    here.desk.record(here.ledger, events)?;
    Ok(slot)
}

/// The reading as an event; it counts for the pack's carton while the pack is new.
pub(crate) fn reading(
    ledger: &mut Ledger,
    pack: PackId,
    slot: Option<SlotId>,
    run: Option<RunId>,
    measured: Measured,
    at: Moment,
) -> Result<Event, LedgerError> {
    let facts: PackFacts = ledger.facts(pack.into())?.unwrap_or_default();
    Ok(ReadingTaken {
        pack,
        slot,
        run,
        carton: facts.sampled_carton(),
        capacity: measured.capacity,
        method: Method::Discharge,
        resistance: measured.resistance,
        temperature: measured.temperature,
        took: measured.took,
        at,
    }
    .into())
}

/// What is odd about a reading, if anything: against the rated capacity, or against the pack's last reading.
fn implausible(
    ledger: &mut Ledger,
    facts: &PackFacts,
    capacity: MilliampHours,
) -> Result<Option<String>, LedgerError> {
    // What is read at the bench now lies behind all that was read before.
    let at = Moment::from_millis(i64::MAX);
    let settings = ledger.settings()?;
    let make = facts.make.and_then(|make| settings.makes.get(&make));
    Ok(make.and_then(|make| odd(&settings.policy.plausible, make, facts, capacity, at)))
}

/// What is odd about a reading taken at a moment: against the rated capacity, or against the readings before and after it.
pub(crate) fn odd(
    rule: &Plausible,
    make: &PackMake,
    facts: &PackFacts,
    capacity: MilliampHours,
    at: Moment,
) -> Option<String> {
    let rated = make.rated;
    if capacity > rated.percent(rule.above_rated_percent) {
        return Some(format!("{capacity} is over {} % of the rated {rated}", rule.above_rated_percent));
    }
    if capacity < rated.percent(rule.below_rated_percent) {
        return Some(format!("{capacity} is under {} % of the rated {rated}", rule.below_rated_percent));
    }
    let (before, after) = facts.readings.split_at(facts.readings.partition_point(|reading| reading.at <= at));
    let jump = |other: &ReadingFact, (from, to): (Moment, Moment), rise: bool| {
        let jump = MilliampHours::new(capacity.raw().abs_diff(other.capacity.raw()));
        // A round is meant to lift a pack: a jump after it is no surprise.
        let rested = rise && facts.rounds.iter().any(|&round| from < round && round <= to);
        (jump > rated.percent(rule.jump_percent) && !rested).then_some(jump)
    };
    if let Some(last) = before.last()
        && let Some(jump) = jump(last, (last.at, at), capacity > last.capacity)
    {
        return Some(format!("{capacity} is {jump} from its last reading of {}", last.capacity));
    }
    let next = after.first()?;
    let jump = jump(next, (at, next.at), next.capacity > capacity)?;
    Some(format!("{capacity} is {jump} from its next reading of {}", next.capacity))
}
