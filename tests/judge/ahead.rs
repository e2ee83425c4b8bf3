//! What is foreseen of a pack, and what the judge makes of it.

use packmuster::domain::verdict::{Rule, Step, Verdict};
use packmuster::policy::foresight::{Chance, Lifted};
use packmuster::policy::reason::Keeps;

use super::{Foreseen, World, common_practice, date};

/// A pack that passed, and that is to go out for so many days.
fn leaving(sight: Foreseen, days: i8) -> World {
    let mut world = World::with(&common_practice(), &[700]);
    world.sight = Some(sight);
    world.step = Step::Dispatch;
    let today = world.now.day(&super::TimeZone::UTC);
    world.due = Some(today.checked_add(jiff::Span::new().days(days)).unwrap());
    world
}

const SOUND: Foreseen = Foreseen { now: 0, per_day: 0, lifted: None };

#[test]
fn a_pack_goes_out_for_as_long_as_it_is_likely_to_last() {
    // Ten days late in most cases: after 90 days, a chance of 100 000 millionths, which is the policy's 10 %.
    let sight = Foreseen { now: 0, per_day: 1_000, lifted: None };
    assert_eq!(leaving(sight, 90).says(), (Verdict::Fit, vec![]));
    let world = leaving(sight, 91);
    assert_eq!(world.says(), (Verdict::Wait, vec![Rule::Forecast]));
    let reason = world.ruling().reasons[0].to_string();
    assert!(reason.contains("the chance is 10 %") && reason.contains("limit 10 %"), "{reason}");
    let last = world.due.unwrap().yesterday().unwrap();
    assert!(reason.contains(&format!("Good for a loan until {last}.")), "{reason}");
    // Nothing is foretold of one that is not leaving, nor where the rule is off, nor without a model.
    let mut here = leaving(sight, 91);
    here.step = Step::Look;
    assert_eq!(here.says(), (Verdict::Fit, vec![]));
    let mut off = leaving(sight, 91);
    off.policy.rules.forecast = None;
    assert_eq!(off.says(), (Verdict::Fit, vec![]));
    let mut blind = leaving(sight, 91);
    blind.sight = None;
    assert_eq!(blind.says(), (Verdict::Fit, vec![]));
}

#[test]
fn one_that_lasts_no_loan_is_named() {
    let weak = Foreseen { now: 90_000, per_day: 1_000, lifted: None };
    let reason = leaving(weak, 14).ruling().reasons[0].to_string();
    assert!(reason.contains("Not good for any loan of a week"), "{reason}");
    let mut here = leaving(weak, 14);
    here.step = Step::Look;
    assert_eq!(here.ruling().keeps, Some(Keeps::NoLoan));
    here.sight = Some(Foreseen { now: 0, per_day: 1_000, lifted: None });
    let ninety = super::day(90).day(&super::TimeZone::UTC);
    assert_eq!(here.ruling().keeps, Some(Keeps::Until(ninety)));
    here.sight = Some(SOUND);
    let longest = super::day(here.policy.longest_loan_days.into()).day(&super::TimeZone::UTC);
    assert_eq!(here.ruling().keeps, Some(Keeps::Until(longest)), "no further than the longest loan");
    assert!(date(2026, 1, 1) < ninety);
}

#[test]
fn a_doubtful_reading_is_taken_again_and_no_more_than_that() {
    let doubtful = Foreseen { now: 251_000, per_day: 0, lifted: None };
    let mut world = World::with(&common_practice(), &[660]);
    world.sight = Some(Foreseen { now: 250_000, ..doubtful });
    assert_eq!(world.says(), (Verdict::Fit, vec![]), "the policy bears 25 %");
    world.sight = Some(doubtful);
    assert_eq!(world.says(), (Verdict::Measure, vec![Rule::Doubt]));
    // Three readings say what there is to say.
    let mut thrice = World::with(&common_practice(), &[660, 655, 660]);
    thrice.sight = Some(doubtful);
    assert_eq!(thrice.says(), (Verdict::Fit, vec![]));
    world.policy.rules.doubt = None;
    assert_eq!(world.says(), (Verdict::Fit, vec![]));
}

#[test]
fn a_pack_that_may_have_failed_wrongly_is_measured_before_it_is_given_up() {
    let mut world = World::with(&common_practice(), &[620]);
    let sure = Foreseen { now: 750_000, per_day: 0, lifted: None };
    world.sight = Some(sure);
    assert_eq!(world.says().0, Verdict::Recondition);
    world.sight = Some(Foreseen { now: 749_000, ..sure });
    assert_eq!(world.says(), (Verdict::Measure, vec![Rule::Capacity]));
    let text = world.ruling().reasons[0].to_string();
    assert!(text.contains("30 mAh short") && text.contains("in another slot"), "{text}");
}

#[test]
fn a_round_is_done_where_it_is_worth_its_hours() {
    let mut world = World::with(&common_practice(), &[500]);
    let sure = Foreseen { now: 999_000, per_day: 0, lifted: Some(400_000) };
    world.sight = Some(sure);
    let text = world.ruling().reasons[0].to_string();
    assert!(text.contains("lifts the pack over its limit: 40 % (from 12 rounds of its make)."), "{text}");
    // A round of 3 cycles of 16 h at 20 hundredths costs 9.60; at 12 a pack it must succeed with 80 %.
    let on = common_practice();
    let (before, after) = on.split_once("[rules.worth]").unwrap();
    let on = format!("{before}[rules.worth]{}", after.replacen("on = false", "on = true", 1));
    let mut world = World::with(&on, &[500]);
    world.sight = Some(Foreseen { lifted: Some(800_000), ..sure });
    assert_eq!(world.says().0, Verdict::Recondition);
    world.sight = Some(Foreseen { lifted: Some(799_000), ..sure });
    assert_eq!(world.says(), (Verdict::Recycle, vec![Rule::Capacity]));
    let text = world.ruling().reasons[0].to_string();
    assert!(text.contains("A round of 48 h") && text.contains("not worth the hours"), "{text}");
    world.sight = Some(Foreseen { lifted: None, ..sure });
    assert_eq!(world.says().0, Verdict::Recondition, "nothing known is no reason to give up");
}

#[test]
fn a_chance_says_how_few_rounds_it_rests_on() {
    for (of_make, of_fleet, words) in [
        (0, 0, "40 % (a guess: no round was measured yet)"),
        (0, 1, "40 % (a guess by 1 round of other makes)"),
        (0, 50, "40 % (a guess by 50 rounds of other makes)"),
        (3, 9, "40 % (nearly a guess: 9 rounds measured, 3 of its make)"),
        (3, 10, "40 % (leaning on the fleet: 3 of 10 rounds are of its make)"),
        (9, 50, "40 % (leaning on the fleet: 9 of 50 rounds are of its make)"),
        (10, 10, "40 % (from 10 rounds of its make)"),
    ] {
        let lifted = Lifted { chance: Chance::percent(40), of_make, of_fleet };
        assert_eq!(lifted.to_string(), words);
    }
}

#[test]
fn the_keys_of_these_rules_are_checked() {
    for (key, from, to) in [
        ("rules.doubt.wrong_pass_percent", "wrong_pass_percent = 25", "wrong_pass_percent = 0"),
        ("rules.doubt.wrong_fail_percent", "wrong_fail_percent = 25", "wrong_fail_percent = 100"),
        ("rules.forecast.chance_percent", "chance_percent = 10", "chance_percent = 0"),
        ("rules.worth.price", "price = 12", "price = 0"),
    ] {
        let text =
            common_practice().replacen(from, to, 1).replacen("on = false\nprice", "on = true\nprice", 1);
        let text = text.replace("[rules.worth]                # is a round worth its hours, or is a new pack the better buy\non = false", "[rules.worth]\non = true");
        let error = packmuster::policy::rules::Policy::parse(&text).unwrap_err().to_string();
        assert!(error.contains(key), "{error}");
    }
}
