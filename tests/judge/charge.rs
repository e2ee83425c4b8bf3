//! What is left of a charge on the shelf.

use packmuster::domain::make::Chemistry;
use packmuster::domain::verdict::{Rule, Verdict};
use packmuster::policy::rules::Policy;

use super::{World, common_practice, day};

/// A pack that was charged so many days ago, after it had read so much.
fn charged(days: i64, capacity: u32) -> World {
    let mut world = World::with(&common_practice(), &[capacity]);
    world.pack.charged = Some(day(-days));
    for reading in &mut world.pack.readings {
        reading.at = day(-days);
    }
    world.pack.returned = Some(day(-days - 1));
    world
}

/// IEC 61951-2: a nickel-metal hydride cell keeps at least 60 % of its charge for 28 days at 20 degrees (from memory). The root of
/// that for half the time; and one mAh either side of what 650 mAh need.
#[test]
fn a_share_is_left_after_28_days_and_its_root_after_half_of_them() {
    // 650 / 0.6 = 1083.3; 650 / sqrt(0.6) = 839.1; nothing is lost on the first day.
    for (days, enough) in [(28, 1084), (14, 840), (0, 650)] {
        assert_eq!(charged(days, enough).says(), (Verdict::Fit, vec![]), "{days} days");
        if days > 0 {
            let world = charged(days, enough - 1);
            assert_eq!(world.says(), (Verdict::Wait, vec![Rule::Charge]), "{days} days");
            let reason = world.ruling().reasons[0].to_string();
            assert!(reason.contains(&format!("charged {days} days ago")), "{reason}");
            assert!(reason.contains("about 649 mAh of") && reason.contains("1 mAh short"), "{reason}");
            assert!(reason.contains("in a player or charger, not in a slot"), "{reason}");
        }
    }
    // What does not hold its limit even when full is another rule's.
    assert_eq!(charged(0, 600).says().1, vec![Rule::Capacity]);
}

/// The day that a verdict names is the last one on which it holds.
#[test]
fn a_pack_is_fit_until_its_charge_no_longer_gives_the_promise() {
    for capacity in [651, 700, 800, 900, 1080] {
        let mut world = charged(0, capacity);
        let until = world.ruling().until.unwrap();
        let days = i64::from((until - world.now.day(&super::TimeZone::UTC)).get_days());
        world.now = day(days);
        assert_eq!(world.says(), (Verdict::Fit, vec![]), "{capacity}: day {days}");
        world.now = day(days + 1);
        assert_eq!(world.says(), (Verdict::Wait, vec![Rule::Charge]), "{capacity}: day {}", days + 1);
    }
    // 28 ln(700 / 650) / -ln 0.6 = 4.06 days.
    let until = charged(0, 700).ruling().until.unwrap();
    assert_eq!(until, day(4).day(&super::TimeZone::UTC));
}

#[test]
fn each_chemistry_keeps_its_own_share() {
    let fits = |chemistry: Chemistry, capacity: u32| {
        let mut world = charged(28, capacity);
        world.make.chemistry = chemistry;
        world.says().0 == Verdict::Fit
    };
    // 650 / 0.7 = 928.6 (IEC 61960-3, from memory); of lead-acid nothing is said.
    assert!(fits(Chemistry::LiIon, 929) && !fits(Chemistry::LiIon, 928));
    assert!(fits(Chemistry::NiCd, 1084) && !fits(Chemistry::NiCd, 1083));
    assert!(fits(Chemistry::LeadAcid, 650));
}

#[test]
fn a_policy_may_count_no_loss_and_an_older_one_does() {
    let older = common_practice()
        .lines()
        .filter(|line| !line.contains("keeps_percent"))
        .collect::<Vec<_>>()
        .join("\n");
    let mut world = charged(28, 650);
    world.policy = Policy::parse(&older).unwrap();
    assert_eq!(world.says(), (Verdict::Fit, vec![]));
    for wrong in ["0", "101"] {
        let text = common_practice()
            .replace("nickel_keeps_percent = 60", &format!("nickel_keeps_percent = {wrong}"));
        let error = Policy::parse(&text).unwrap_err().to_string();
        assert!(error.contains("rules.charge.nickel_keeps_percent") && error.contains(wrong), "{error}");
    }
}
