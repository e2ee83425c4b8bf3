//! Charts at random: whatever is drawn, no text leaves the picture, is too small, or stands on another.

use packmuster::print::chart::{Band, Bar, Chart, Look, Mark, Ridge, Series};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;

use super::picture::{Picture, Text};
use super::samples;

const WORDS: [&str; 9] = [
    "packs",
    "2026-11",
    "Unbreakablylongnamethatnobodywouldeverhavechosen",
    "of the fleet",
    "5 < 6 & \"7\"",
    "猫→µF",
    "limit",
    "",
    "i",
];

fn words(random: &mut ChaCha12Rng, most: usize) -> String {
    let number = random.random_range(0..=most);
    let words: Vec<&str> = (0..number).map(|_| WORDS[random.random_range(0..WORDS.len())]).collect();
    words.join(" ")
}

/// Mostly plain values of one size; now and then one that is no number, or very far off.
fn value(random: &mut ChaCha12Rng, size: f64) -> f64 {
    match random.random_range(0..60) {
        0 => f64::NAN,
        1 => f64::INFINITY,
        2 => f64::MIN,
        3 => 0.0,
        4 => 1e12,
        5 => -1e-9,
        _ => size * random.random_range(-0.4..1.0),
    }
}

fn points(random: &mut ChaCha12Rng, size: f64) -> Vec<(f64, f64)> {
    let number = [0, 1, 2, 5, 40, 400][random.random_range(0..6)];
    let flat = random.random_bool(0.2);
    (0..number).map(f64::from).map(|n| (n * size, if flat { size } else { value(random, size) })).collect()
}

fn chart(random: &mut ChaCha12Rng) -> Chart {
    let size = [1e-9, 0.37, 1.0, 812.0, 45_000.0, 1e12][random.random_range(0..6)];
    let mut chart =
        Chart::new(words(random, 30), words(random, 12), words(random, 12)).reading(words(random, 9));
    let kind = random.random_range(0..4);
    if kind == 0 {
        for _ in 0..random.random_range(0..30) {
            let number = random.random_range(0..60);
            let bins = (0..number)
                .map(f64::from)
                .map(|n| (n * size, (n + 1.0) * size, value(random, 50.0)))
                .collect();
            let ridge = Ridge::new(words(random, 4), bins);
            let at = value(random, 40.0 * size);
            chart =
                chart.ridge(if random.random_bool(0.7) { ridge.limit(at, words(random, 5)) } else { ridge });
        }
        return chart.hatched(words(random, 8));
    }
    if kind == 1 {
        for _ in 0..random.random_range(0..40) {
            let bar = Bar::new(words(random, 3), value(random, size))
                .between(value(random, size), value(random, size));
            chart = chart.bar(bar.marked(value(random, size)));
        }
        chart = chart.hatched(words(random, 8));
    }
    for _ in 0..random.random_range(0..12) {
        let look = [Look::Line, Look::DashDot, Look::Dots, Look::Crosses][random.random_range(0..4)];
        let series = Series::new(words(random, 4), look, points(random, size));
        chart = chart.series(if random.random_bool(0.3) {
            series.stepped(vec![value(random, size)])
        } else {
            series
        });
    }
    for _ in 0..random.random_range(0..4) {
        let edges = points(random, size).into_iter().map(|(x, y)| (x, y - value(random, size), y)).collect();
        chart = chart.band(Band::new(words(random, 2), edges));
    }
    for _ in 0..random.random_range(0..8) {
        let (at, label) = (value(random, size), words(random, 6));
        chart = chart.mark(if random.random_bool(0.5) {
            Mark::Level { at, label }
        } else {
            Mark::Upright { at, label }
        });
    }
    if kind == 2 {
        let ticks =
            (0..random.random_range(0..60)).map(|_| (value(random, 40.0 * size), words(random, 2))).collect();
        chart = chart.ticks_across(ticks);
    }
    chart
}

fn apart(one: &Text, other: &Text) -> bool {
    let gap = |a: f64, a_long: f64, b: f64, b_long: f64| a + a_long <= b + 0.01 || b + b_long <= a + 0.01;
    gap(one.area.x, one.area.width, other.area.x, other.area.width)
        || gap(one.area.y, one.area.height, other.area.y, other.area.height)
}

fn check(chart: &Chart, width_mm: f32, height_mm: f32) {
    let picture = Picture::sized(chart, width_mm, height_mm);
    let (width, height) = picture.size;
    let texts = picture.texts();
    for (number, text) in texts.iter().enumerate() {
        let area = text.area;
        assert!(text.size_pt > 8.99, "{text:?}");
        assert!(
            area.x >= 3.98 && area.x + area.width <= width - 3.98,
            "{text:?} leaves {width} x {height}: {chart:?}"
        );
        assert!(
            area.y >= 3.98 && area.y + area.height <= height - 3.98,
            "{text:?} leaves {width} x {height}: {chart:?}"
        );
        for other in &texts[..number] {
            assert!(apart(text, other), "{text:?} and {other:?} at {width} x {height}: {chart:?}");
        }
    }
    for (x, y) in picture.reach() {
        assert!((2.0..=width - 2.0).contains(&x) && (2.0..=height - 2.0).contains(&y), "{x} {y}: {chart:?}");
    }
}

#[test]
fn no_text_leaves_the_picture_or_stands_on_another() {
    let mut random = ChaCha12Rng::seed_from_u64(2026);
    for number in 0..200 {
        let chart = chart(&mut random);
        let size = (random.random_range(60.0..200.0), random.random_range(40.0..140.0));
        check(&chart, size.0, size.1);
        if number % 20 == 0 {
            assert_eq!(chart.svg(size.0, size.1), chart.svg(size.0, size.1));
        }
    }
}

#[test]
fn samples_of_every_size_keep_their_texts_apart() {
    for count in [0, 1, 2, 3, 12, 24, 90] {
        for chart in samples::kinds(count) {
            for (width_mm, height_mm) in [(60.0, 40.0), (90.0, 60.0), (160.0, 90.0), (190.0, 140.0)] {
                check(&chart, width_mm, height_mm);
            }
        }
    }
}
