//! How many packs of a make to order, and by when: whole numbers only.
//!
//! Packs in use (all of the make but the fit ones that lie here) grow by the policy's rate, and beside them the policy wants some
//! ready. What is there at a month's end is what there is now less those that retire till then, which stay below a bound with the
//! policy's service level. What is missing must have come, and so been ordered, before that month begins.

use jiff::civil::Date;
use serde::Serialize;

use crate::domain::moment::day_after;
use crate::policy::rules::Buying;

/// What is known of a make.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stock {
    /// Packs that live.
    pub packs: u32,
    /// Of those, fit and here.
    pub fit_here: u32,
    /// For each month: its first day, and how many retire from now to its end at most, with the policy's service level.
    pub retired: Vec<(Date, u32)>,
}

/// Packs to order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Order {
    /// The last day on which they may be ordered.
    pub order_by: Date,
    /// The month for which they are needed.
    pub needed_in: String,
    /// How many.
    pub packs: u32,
    /// How many are ordered by then in all.
    pub packs_so_far: u32,
    /// They should have been ordered already.
    pub late: bool,
}

/// Packs that are to serve after months: `ceil(in use x (1 + growth x months / 12)) + ready`.
pub fn wanted(in_use: u32, rules: Buying, months: u32) -> u64 {
    let growth = u64::from(in_use) * u64::from(rules.growth_percent_per_year) * u64::from(months);
    u64::from(in_use) + growth.div_ceil(1200) + u64::from(rules.ready_stock)
}

/// The orders, first first: `missing = wanted - (packs - retired)`, each time for what is missing more than before. Orders that
/// are late are one, of today.
pub fn orders(stock: &Stock, rules: Buying, today: Date) -> Vec<Order> {
    let in_use = stock.packs.saturating_sub(stock.fit_here);
    let mut orders: Vec<Order> = Vec::new();
    let mut so_far = 0;
    for (place, (month, retired)) in stock.retired.iter().enumerate() {
        let months = u32::try_from(place + 1).unwrap_or(u32::MAX);
        let there = u64::from(stock.packs.saturating_sub(*retired));
        let missing = wanted(in_use, rules, months).saturating_sub(there);
        let missing = u32::try_from(missing).unwrap_or(u32::MAX);
        if missing <= so_far {
            continue;
        }
        let packs = missing - so_far;
        so_far = missing;
        let by = day_after(*month, -i64::from(rules.lead_days));
        let late = by < today;
        let order_by = by.max(today);
        match orders.last_mut().filter(|last| last.order_by == order_by) {
            Some(last) => {
                last.packs = last.packs.saturating_add(packs);
                last.packs_so_far = so_far;
            }
            None => orders.push(Order {
                order_by,
                needed_in: month.strftime("%Y-%m").to_string(),
                packs,
                packs_so_far: so_far,
                late,
            }),
        }
    }
    orders
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    const RULES: Buying =
        Buying { lead_days: 30, growth_percent_per_year: 0, service_level_percent: 95, ready_stock: 5 };

    fn stock(retired: &[u32]) -> Stock {
        let months = [date(2026, 10, 1), date(2026, 11, 1), date(2026, 12, 1), date(2027, 1, 1)];
        Stock { packs: 100, fit_here: 15, retired: months.into_iter().zip(retired.iter().copied()).collect() }
    }

    #[test]
    fn fit_packs_here_beyond_the_ready_stock_are_used_up_first() {
        // 85 in use and 5 ready of 100: ten may retire before one is missing.
        assert_eq!(orders(&stock(&[4, 8, 10, 10]), RULES, date(2026, 10, 10)), []);
        let found = orders(&stock(&[4, 8, 10, 13]), RULES, date(2026, 10, 10));
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].packs, found[0].order_by, found[0].late), (3, date(2026, 12, 2), false));
        assert_eq!(found[0].needed_in, "2027-01");
    }

    #[test]
    fn what_should_have_been_ordered_is_one_order_of_today() {
        let found = orders(&stock(&[12, 14, 14, 20]), RULES, date(2026, 10, 10));
        assert_eq!(found.len(), 2);
        assert_eq!((found[0].packs, found[0].order_by, found[0].late), (4, date(2026, 10, 10), true));
        assert_eq!((found[1].packs, found[1].packs_so_far), (6, 10));
    }

    #[test]
    fn growth_and_ready_stock_only_add() {
        assert_eq!(wanted(85, RULES, 12), 90);
        assert_eq!(wanted(85, Buying { growth_percent_per_year: 10, ..RULES }, 12), 99);
        assert_eq!(wanted(85, Buying { growth_percent_per_year: 10, ..RULES }, 1), 91);
        let all = |rules| {
            orders(&stock(&[4, 8, 10, 13]), rules, date(2026, 10, 10)).iter().map(|o| o.packs).sum::<u32>()
        };
        let mut last = 0;
        for growth in [0, 5, 20, 100, 1000] {
            let now = all(Buying { growth_percent_per_year: growth, ..RULES });
            assert!(now >= last);
            last = now;
        }
        assert_eq!(all(Buying { ready_stock: 0, ..RULES }) + 3, all(RULES));
        assert_eq!(last, 85 + 284 + 5 - 87, "a thousand per cent in four months");
    }
}
