//! The judge: one pure, total function from facts, policy and question to a verdict with reasons.
//!
//! Every rule is a function of its own and speaks or is silent. The verdict is the gravest of what was said. What the
//! statistics of the whole fleet say of a pack is handed in as its [`Foresight`].

mod ahead;
pub mod carton;
mod charge;

use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::domain::event::Origin;
use crate::domain::facts::{CartonFacts, NoticeFacts};
use crate::domain::finding::{CAUTIONS, Finding};
use crate::domain::ids::{PackId, PlayerId};
use crate::domain::make::{PackMake, PlayerMake};
use crate::domain::moment::{Moment, days_between, years_after};
use crate::domain::pack::{PackFacts, ReadingFact};
use crate::domain::units::MilliampHours;
use crate::domain::verdict::{Rule, Step, Verdict};

use super::foresight::Foresight;
use super::limits;
use super::notice::covers;
use super::reason::{Reason, Ruling};
use super::rules::Policy;

/// The player that a pack is to go into, or out with.
#[derive(Debug, Clone, Copy)]
pub struct Target<'a> {
    /// The player.
    pub player: PlayerId,
    /// Its make, if known.
    pub make: Option<&'a PlayerMake>,
    /// The pack that rides in it now.
    pub holds: Option<PackId>,
    /// It is out on a loan.
    pub lent: bool,
}

/// What the judge is asked about.
#[derive(Debug, Clone, Copy)]
pub struct Case<'a> {
    /// The pack.
    pub id: PackId,
    /// Its facts.
    pub pack: &'a PackFacts,
    /// Its make, if known.
    pub make: Option<&'a PackMake>,
    /// Its carton, if it came in one.
    pub carton: Option<&'a CartonFacts>,
    /// The safety notices in force.
    pub notices: &'a [NoticeFacts],
    /// Every make of player.
    pub players: &'a [PlayerMake],
    /// The player that it is meant for; none for a loose pack.
    pub target: Option<Target<'a>>,
    /// What is foreseen of it; none while the fleet has no model.
    pub foresight: Option<&'a dyn Foresight>,
}

/// What is asked, and when.
#[derive(Debug, Clone, Copy)]
pub struct Question<'a> {
    /// The step of the day.
    pub step: Step,
    /// Now.
    pub now: Moment,
    /// The workshop's time zone, for days.
    pub zone: &'a TimeZone,
    /// When the loan is due that it is to go out for.
    pub due: Option<Date>,
}

/// What the rules share: worked out once.
struct View<'a> {
    case: &'a Case<'a>,
    policy: &'a Policy,
    question: &'a Question<'a>,
    origin: Origin,
    player: Option<&'a PlayerMake>,
    limit: Option<MilliampHours>,
    reading: Option<&'a ReadingFact>,
    word: Option<String>,
}

/// Judges a case under a policy.
pub fn judge(case: &Case<'_>, policy: &Policy, question: &Question<'_>) -> Ruling {
    let view = View::new(case, policy, question);
    let reasons = said(&view);
    let verdict = reasons.first().map_or(Verdict::Fit, |reason| reason.verdict);
    let play = view.reading.zip(view.player).and_then(|(reading, player)| reading.capacity.play(player.draw));
    Ruling {
        verdict,
        basis: (verdict == Verdict::Fit).then(|| view.basis()).flatten(),
        play,
        capacity: view.reading.map(|reading| reading.capacity),
        limit: view.limit,
        keeps: (verdict == Verdict::Fit && question.step != Step::Dispatch)
            .then(|| ahead::keeps(&view))
            .flatten(),
        until: (verdict == Verdict::Fit && question.step != Step::Dispatch).then(|| view.until()).flatten(),
        reasons,
    }
}

/// The reasons of a ruling alone, gravest first: what a list of the whole fleet needs.
pub fn reasons(case: &Case<'_>, policy: &Policy, question: &Question<'_>) -> Vec<Reason> {
    said(&View::new(case, policy, question))
}

fn said(view: &View<'_>) -> Vec<Reason> {
    let mut reasons = Vec::new();
    finding(view, &mut reasons);
    notice(view, &mut reasons);
    identity(view, &mut reasons);
    reasons.extend(carton::carton(view));
    reasons.extend(unmeasured(view));
    reasons.extend(stale(view));
    reasons.extend(capacity(view));
    reasons.extend(ahead::doubt(view));
    reasons.extend(ahead::forecast(view));
    reasons.extend(cycles(view));
    reasons.extend(age(view));
    reasons.extend(resistance(view));
    reasons.extend(reported(view));
    reasons.extend(refused(view));
    reasons.extend(retired(view));
    if reasons.is_empty() {
        reasons.extend(charge::charge(view));
    }
    // A stable sort keeps rules of equal gravity in the order in which they were asked.
    reasons.sort_by_key(|reason| std::cmp::Reverse(reason.verdict));
    reasons
}

impl<'a> View<'a> {
    fn new(case: &'a Case<'a>, policy: &'a Policy, question: &'a Question<'a>) -> Self {
        let origin = case.pack.origin();
        let player = match case.target {
            Some(target) => target.make,
            None => case.make.and_then(|make| limits::thirstiest(make, case.players)),
        };
        let limit = case.make.and_then(|make| limits::limit(policy, origin, make, player));
        let reading = case.pack.counting().next_back();
        let mut view = Self { case, policy, question, origin, player, limit, reading, word: None };
        view.word = carton::word(&view);
        view
    }

    fn day(&self, at: Moment) -> Date {
        at.day(self.question.zone)
    }

    fn new_carton(&self) -> Option<&'a CartonFacts> {
        (self.origin == Origin::New).then_some(self.case.carton).flatten()
    }

    fn basis(&self) -> Option<String> {
        let Some(reading) = self.reading else { return self.word.clone() };
        let day = self.day(reading.at);
        let limit = self.limit?;
        let spare = reading.capacity.raw().saturating_sub(limit.raw());
        Some(format!("read {} on {day}; limit {limit}; {spare} mAh to spare", reading.capacity))
    }

    /// The last day before a reading grows stale, a charge too old, or the pack itself.
    fn until(&self) -> Option<Date> {
        let rules = &self.policy.rules;
        let last = |from: Option<Moment>, days: Option<u32>| Some(from?.plus_days(i64::from(days?)));
        let stale = last(self.reading.map(|reading| reading.at), rules.stale_days);
        let charge = charge::until(self);
        let age = self.case.pack.made.zip(rules.age_years).map(|(made, most)| years_after(made, most));
        [stale, charge].into_iter().flatten().map(|at| self.day(at)).chain(age).min()
    }
}

fn finding(view: &View<'_>, reasons: &mut Vec<Reason>) {
    for &(finding, at) in &view.case.pack.findings {
        if finding == Finding::CutOutEarly {
            continue;
        }
        // Total even for a policy that lost its line for a finding: such a pack is kept apart.
        let verdict = view.policy.rules.finding.get(&finding).copied().unwrap_or(Verdict::Isolate);
        let read_since = view.case.pack.readings.iter().any(|reading| reading.at > at);
        if read_since && verdict <= Verdict::Recondition {
            continue;
        }
        let reason = Reason::new(Rule::Finding, verdict, format!("{finding}, seen on {}", view.day(at)));
        reasons.push(if finding.is_dangerous() {
            reason.advice(CAUTIONS)
        } else if finding == Finding::CorrodedContacts {
            reason.advice("Clean the contacts first.")
        } else {
            reason
        });
    }
}

fn notice(view: &View<'_>, reasons: &mut Vec<Reason>) {
    if !view.policy.rules.notice {
        return;
    }
    for notice in
        view.case.notices.iter().filter(|notice| !notice.lifted && covers(&notice.scope, view.case.pack))
    {
        let verdict = notice.verdict.unwrap_or(Verdict::Isolate);
        // A notice gives at least its verdict, and FIT is what a pack has anyway: it must not hush the rule `charge`.
        if verdict == Verdict::Fit {
            continue;
        }
        reasons.push(
            Reason::new(Rule::Notice, verdict, format!("under a safety notice: {}", notice.text))
                .advice(CAUTIONS),
        );
    }
}

fn identity(view: &View<'_>, reasons: &mut Vec<Reason>) {
    let mut say = |found: String, advice: &str| {
        reasons.push(Reason::new(Rule::Identity, Verdict::Wait, found).advice(advice));
    };
    let pack = view.case.pack;
    let Some(make) = view.case.make else {
        return say("its make is not known".to_owned(), "Enter the make first.");
    };
    let leaving = matches!(view.question.step, Step::Fitting | Step::Dispatch);
    match view.case.target {
        None if view.player.is_none() => {
            say(format!("no make of player takes the form {}", make.form), "Enter the player make first.");
        }
        Some(target) => {
            match target.make {
                None => say("the make of the player is not known".to_owned(), "Enter the player first."),
                Some(player) if player.form != make.form => say(
                    format!("{} has form {}, {} takes {}", make.name, make.form, player.name, player.form),
                    "Choose a pack that fits.",
                ),
                Some(_) => {}
            }
            if target.holds.is_some_and(|other| other != view.case.id) {
                say("the player holds another pack".to_owned(), "Take that pack in first.");
            }
            if target.lent {
                say("the player is out on a loan".to_owned(), "Take the player in first.");
            }
            if pack.ride.is_some_and(|ride| ride.player != target.player) {
                say("it rides in another player".to_owned(), "Take it in from that player first.");
            }
        }
        None => {}
    }
    if leaving && pack.loan.is_some() {
        say("it is out on a loan".to_owned(), "Take it in first.");
    }
    if leaving && pack.run.is_some() {
        say("it is in a slot of the bench".to_owned(), "Enter the result of its run first.");
    }
}

fn unmeasured(view: &View<'_>) -> Option<Reason> {
    if !view.policy.rules.unmeasured || view.reading.is_some() || view.word.is_some() {
        return None;
    }
    let pack = view.case.pack;
    let found = match pack.counts_from() {
        None => "no reading yet".to_owned(),
        Some(from) if pack.returned == Some(from) => {
            format!("no reading since it came back on {}", view.day(from))
        }
        Some(from) => format!("no reading since the round on {}", view.day(from)),
    };
    Some(Reason::new(Rule::Unmeasured, Verdict::Measure, found))
}

fn stale(view: &View<'_>) -> Option<Reason> {
    let most = view.policy.rules.stale_days?;
    let reading = view.reading?;
    let days = view.question.now.days_since(reading.at);
    let over = days - i64::from(most);
    (over > 0).then(|| {
        Reason::new(Rule::Stale, Verdict::Measure, format!("last read {days} days ago"))
            .limit(format!("{most} days"))
            .margin(format!("{over} days over"))
    })
}

fn capacity(view: &View<'_>) -> Option<Reason> {
    let near = view.policy.rules.capacity?;
    let reading = view.reading?;
    let (limit, make) = (view.limit?, view.case.make?);
    let short = limit.raw().saturating_sub(reading.capacity.raw());
    if short == 0 {
        return None;
    }
    let limits = view.policy.limits(view.origin);
    let done = u32::try_from(view.case.pack.rounds_since_return()).unwrap_or(u32::MAX);
    let gains = make.chemistry.gains_from_reconditioning();
    let say = |verdict| {
        Reason::new(Rule::Capacity, verdict, format!("read {} on {}", reading.capacity, view.day(reading.at)))
            .limit(format!("{limit} ({})", view.origin))
            .margin(format!("{short} mAh short"))
    };
    if let Some(chance) = ahead::wrongly_failed(view, limit) {
        let advice = format!("It may hold its limit ({chance}): measure it again, in another slot.");
        return Some(say(Verdict::Measure).advice(advice));
    }
    if gains && done < limits.rounds {
        if let Some(reason) = ahead::not_worth_a_round(view, limit, limits.cycles_per_round) {
            return Some(say(Verdict::Recycle).advice(reason));
        }
        let lifted = view.case.foresight.and_then(|sight| sight.lifted_to(limit));
        let mut advice =
            format!("Round {} of {}: {} cycles.", done + 1, limits.rounds, limits.cycles_per_round);
        if let Some(chance) = lifted {
            advice = format!("{advice} Chance that it lifts the pack over its limit: {chance}.");
        }
        return Some(say(Verdict::Recondition).advice(advice));
    }
    let narrow = u64::from(short) * 100 <= u64::from(limit.raw()) * u64::from(near);
    if narrow && !confirmed(view, limit) {
        return Some(say(Verdict::Measure).advice("Near the limit: measure it again, in another slot."));
    }
    let advice = match (gains, done) {
        (false, _) => format!("{} gains nothing from rounds.", make.chemistry),
        (true, 0) => "The policy gives it no rounds.".to_owned(),
        (true, done) => format!("{done} of {} rounds did not bring it back.", limits.rounds),
    };
    Some(say(Verdict::Recycle).advice(advice))
}

/// True when readings in two different slots (or two whose slots are unknown) are below the limit.
fn confirmed(view: &View<'_>, limit: MilliampHours) -> bool {
    let mut below = view.case.pack.counting().filter(|reading| reading.capacity < limit);
    let Some(first) = below.next() else { return false };
    below.any(|other| other.slot != first.slot || other.slot.is_none())
}

fn cycles(view: &View<'_>) -> Option<Reason> {
    let most = view.policy.rules.cycles?;
    let pack = view.case.pack;
    let cycles = pack.cycles();
    let over = cycles.raw().saturating_sub(most.saturating_mul(1000));
    (over > 0).then(|| {
        let how = if pack.cycles_estimated() { ", partly estimated" } else { "" };
        Reason::new(Rule::Cycles, Verdict::Recycle, format!("{cycles}{how}"))
            .limit(format!("{most} cycles"))
            .margin(format!("{} over", crate::domain::units::Cycles::new(over)))
    })
}

fn age(view: &View<'_>) -> Option<Reason> {
    let most = view.policy.rules.age_years?;
    let made = view.case.pack.made?;
    let end = years_after(made, most);
    let over = days_between(end, view.day(view.question.now));
    (over > 0).then(|| {
        Reason::new(Rule::Age, Verdict::Recycle, format!("made on {made}"))
            .limit(format!("{most} years, until {end}"))
            .margin(format!("{over} days over"))
    })
}

fn resistance(view: &View<'_>) -> Option<Reason> {
    let percent = view.policy.rules.resistance_percent?;
    let most = view.case.make?.max_resistance?;
    let found = view.reading?.resistance?;
    let limit = u64::from(most.raw()) * u64::from(percent) / 100;
    let over = u64::from(found.raw()).saturating_sub(limit);
    (over > 0).then(|| {
        let show = |raw: u64| {
            crate::domain::units::Milliohms::new(u32::try_from(raw).unwrap_or(u32::MAX)).to_string()
        };
        Reason::new(Rule::Resistance, Verdict::Recycle, format!("internal resistance {found}"))
            .limit(show(limit))
            .margin(format!("{} over", show(over)))
    })
}

fn reported(view: &View<'_>) -> Option<Reason> {
    if !view.policy.rules.reported {
        return None;
    }
    let pack = view.case.pack;
    let (_, at) = pack.findings.iter().rev().find(|(finding, _)| *finding == Finding::CutOutEarly)?;
    let read_since = pack.readings.iter().any(|reading| reading.at > *at);
    (!read_since).then(|| {
        let found = format!("cut out early on its last loan, entered on {}; no reading since", view.day(*at));
        Reason::new(Rule::Reported, Verdict::Measure, found)
    })
}

/// One slot may be broken; several that give no result with the same pack speak against the pack.
fn refused(view: &View<'_>) -> Option<Reason> {
    let most = view.policy.rules.refused?;
    let slots = u32::try_from(view.case.pack.refused_by.len()).unwrap_or(u32::MAX);
    (slots >= most).then(|| {
        Reason::new(Rule::Refused, Verdict::Recycle, format!("no result in {slots} different slots"))
            .limit(format!("{most} slots"))
    })
}

/// What is waste stays waste; this rule cannot be switched off.
fn retired(view: &View<'_>) -> Option<Reason> {
    let pack = view.case.pack;
    let found = match (pack.left(), pack.consigned, pack.retired) {
        (Some(left), ..) => format!("it left with a consignment on {}", view.day(left)),
        (None, Some(consigned), _) => format!("it is packed into box {} of a consignment", consigned.number),
        (None, None, Some(retired)) => format!("retired on {}: it waits for the recycler", view.day(retired)),
        (None, None, None) => return None,
    };
    Some(Reason::new(Rule::Retired, Verdict::Recycle, found))
}
