//! A chart of every kind, with as many points as are asked for.

use packmuster::print::chart::{Band, Bar, Chart, Look, Mark, Ridge, Series};

fn numbers(count: u32) -> impl Iterator<Item = f64> {
    (0..count).map(f64::from)
}

fn label(text: &str) -> String {
    text.to_owned()
}

/// Every kind of chart, each with this many points.
pub(super) fn kinds(count: u32) -> Vec<Chart> {
    vec![curves(count), fan(count), survival(count), bars(count), ridges(count)]
}

fn curves(count: u32) -> Chart {
    let curve = |fade: f64| {
        numbers(count).map(|n| (n / 12.0, 4.15 - fade * (n / 40.0).powi(2) - 0.006 * n)).collect()
    };
    Chart::new("Discharge at 1 A", "hours under load", "volts")
        .series(Series::new("P7K3: 2,412 mAh", Look::Line, curve(0.2)))
        .series(Series::new("P9Q2: 2,204 mAh", Look::Dashed, curve(0.35)))
        .series(Series::new("", Look::Crosses, curve(0.35).into_iter().last().into_iter().collect()))
        .mark(Mark::Level { at: 3.0, label: label("end voltage 3 V") })
        .reading("P7K3 holds out almost a quarter longer than P9Q2.")
}

fn fan(count: u32) -> Chart {
    let middle = |n: f64| 92.0 - 0.35 * n - 0.002 * n * n;
    let around = |wide: f64| {
        numbers(count)
            .map(|n| (20_700.0 + 10.0 * n, middle(n) - wide * n, middle(n) + 0.8 * wide * n))
            .collect()
    };
    let months =
        ["2026-09", "2026-10", "2026-11", "2026-12", "2027-01", "2027-02", "2027-03", "2027-04", "2027-05"];
    let ticks = numbers(9).zip(months).map(|(n, month)| (20_700.0 + 30.4 * n, label(month))).collect();
    Chart::new("Packs that keep their promise", "month", "per cent of the fleet")
        .band(Band::new("95 %", around(0.5)))
        .band(Band::new("80 %", around(0.3)))
        .band(Band::new("50 %", around(0.13)))
        .series(Series::new("median", Look::Line, numbers(count).map(|n| (20_700.0 + 10.0 * n, middle(n))).collect()))
        .mark(Mark::Level { at: 85.0, label: label("promise: 85 %") })
        .mark(Mark::Upright { at: 20_773.0, label: label("tender closes") })
        .ticks_across(ticks)
        .reading("Fewer than 85 in 100 packs will keep their promise from February on, and that is as good as sure by April.")
}

fn survival(count: u32) -> Chart {
    let makes = ["ABX 2018", "ABX 2021", "Corvo", "Corvo long", "Marlin", "Tern"];
    let mut chart = Chart::new("How long packs last", "cycles", "still good, of 100").upright(0.0, 100.0);
    for ((make, look), rate) in makes.into_iter().zip(Look::LINES).zip([1.0, 1.6, 2.4, 0.6, 3.3, 0.3]) {
        let curve: Vec<(f64, f64)> =
            numbers(count).map(|n| (25.0 * n, 100.0 * (-rate * n * n / 900.0).exp())).collect();
        let lost = curve.iter().skip(2).step_by(5).map(|point| point.0 + 8.0).collect();
        chart = chart.series(Series::new(make, look, curve).stepped(lost));
    }
    chart.reading("Half of all Marlin packs are gone after 350 cycles; Tern packs hardly age.")
}

fn bars(count: u32) -> Chart {
    let mut chart = Chart::new("Packs to buy", "month", "packs")
        .hatched("surely needed")
        .reading("Most packs are needed in spring; eleven must be ordered now.");
    for month in 0..count {
        let need = 12.0 + 9.0 * (f64::from(month) * 0.9).sin();
        let name = format!("{}-{:02}", 2026 + (month + 10) / 12, (month + 10) % 12 + 1);
        let bar = Bar::new(name, need.round()).between((need * 0.6).floor(), (need * 1.5).ceil());
        chart = chart.bar(if month < 4 { bar.marked((need * 0.5).floor()) } else { bar });
    }
    chart.mark(Mark::Level { at: 24.0, label: label("a carton: 24") })
}

fn ridges(count: u32) -> Chart {
    let mut chart = Chart::new("Capacity by make", "mAh", "make, and how many packs")
        .reading("One in eight Corvo packs reads below its limit; all other makes are well above theirs.");
    let makes = [
        ("ABX 2018", 1_900.0, 130.0, 1_600.0),
        ("Corvo", 2_150.0, 240.0, 1_900.0),
        ("Marlin long life", 2_600.0, 90.0, 2_200.0),
        ("Tern", 1_500.0, 160.0, 1_100.0),
    ];
    for (make, middle, wide, limit) in makes {
        let shape = |n: f64| {
            let low = 1_000.0 + 50.0 * n;
            (low, low + 50.0, (90.0 * (-0.5 * ((low + 25.0 - middle) / wide).powi(2)).exp()).round())
        };
        let bins: Vec<(f64, f64, f64)> = numbers(40).map(shape).filter(|bin| bin.2 > 0.0).collect();
        let bins = bins.into_iter().take(usize::try_from(count).unwrap()).collect();
        chart = chart.ridge(Ridge::new(make, bins).limit(limit, format!("limit {limit}")));
    }
    chart
}
