//! Charts: what is drawn is what was computed, texts keep apart and within the picture, and pages have them too.

mod pages;
mod picture;
mod samples;
mod sweep;

use packmuster::print::chart::{Band, Bar, Chart, Look, Mark, Ridge, Series};

use picture::Picture;

/// An axis may be off by so much of its length.
const CLOSE: f64 = 0.002;

/// Values as they are computed: nothing about them is round.
fn computed(number: i32) -> Vec<(f64, f64)> {
    (0..number).map(f64::from).map(|n| (0.37 * n + 1.3, 41.7 + 13.1 * (0.7 * n).sin())).collect()
}

fn close(drawn: &[(f64, f64)], computed: &[(f64, f64)], picture: &Picture) {
    assert_eq!(drawn.len(), computed.len(), "{drawn:?} for {computed:?}");
    let (across, up) = (picture.axis("across"), picture.axis("up"));
    for (one, other) in drawn.iter().zip(computed) {
        assert!((one.0 - other.0).abs() <= CLOSE * across.span(), "{one:?} for {other:?}");
        assert!((one.1 - other.1).abs() <= CLOSE * up.span(), "{one:?} for {other:?}");
    }
}

fn chart() -> Chart {
    Chart::new("A chart", "hours", "volts")
}

#[test]
fn curves_go_through_their_points() {
    for look in Look::LINES {
        let points = computed(40);
        let picture = Picture::of(&chart().series(Series::new("a", look, points.clone())));
        let lines = picture.lines("series", "a");
        assert_eq!(lines.len(), 1);
        close(&picture.values(&lines[0]), &points, &picture);
    }
    let strokes = Look::LINES.map(|look| {
        let svg = chart().series(Series::new("a", look, computed(3))).svg(160.0, 90.0).unwrap();
        let line = svg.lines().find(|line| line.contains("stroke-width=\"0.4\"")).unwrap();
        line.split_once("dasharray").map(|(_, dashes)| dashes.to_owned())
    });
    assert_eq!(strokes.iter().collect::<std::collections::BTreeSet<_>>().len(), 6, "{strokes:?}");
}

#[test]
fn dots_and_crosses_stand_at_their_points() {
    let points = computed(25);
    let dots = Series::new("dots", Look::Dots, points.clone());
    let crosses = Series::new("crosses", Look::Crosses, points.clone());
    let picture = Picture::of(&chart().series(dots).series(crosses));
    let centres: Vec<_> =
        picture.rects("series", "dots").iter().map(|r| (r.x + r.width / 2.0, r.y + r.height / 2.0)).collect();
    close(&picture.values(&centres), &points, &picture);
    let centres: Vec<_> = picture
        .lines("series", "crosses")
        .iter()
        .step_by(2)
        .map(|arm| (arm[0].0.midpoint(arm[1].0), arm[0].1.midpoint(arm[1].1)))
        .collect();
    close(&picture.values(&centres), &points, &picture);
}

#[test]
fn bands_lie_between_their_edges_and_wide_ones_come_first() {
    let around = |wide: f64| -> Vec<(f64, f64, f64)> {
        computed(20).into_iter().map(|(x, y)| (x, y - wide, y + 1.7 * wide)).collect()
    };
    let narrow = Band::new("50 %", around(2.1));
    let wide = Band::new("95 %", around(9.3));
    let picture = Picture::of(&chart().band(narrow).band(wide));
    for (name, wide) in [("50 %", 2.1), ("95 %", 9.3)] {
        let edges = around(wide);
        let low: Vec<_> = edges.iter().map(|&(x, low, _)| (x, low)).collect();
        let high: Vec<_> = edges.iter().map(|&(x, _, high)| (x, high)).collect();
        let lines = picture.lines("band", name);
        close(&picture.values(&lines[0]), &low, &picture);
        close(&picture.values(&lines[1]), &high, &picture);
        let around: Vec<_> = low.iter().chain(high.iter().rev()).copied().collect();
        close(&picture.values(&picture.shapes("band", name)[0]), &around, &picture);
    }
    assert!(picture.first("band", "95 %") < picture.first("band", "50 %"));
    assert_ne!(picture.fills("band", "95 %"), picture.fills("band", "50 %"));
}

#[test]
fn survival_steps_down_at_each_end_and_lost_lives_are_ticked() {
    let curve = vec![(0.0, 1.0), (113.0, 0.83), (207.0, 0.83), (291.0, 0.41)];
    let steps = Series::new("ABX", Look::Dashed, curve).stepped(vec![57.0, 113.0, 350.0]);
    let picture = Picture::of(&chart().series(steps));
    let corners =
        [(0.0, 1.0), (113.0, 1.0), (113.0, 0.83), (207.0, 0.83), (291.0, 0.83), (291.0, 0.41), (350.0, 0.41)];
    close(&picture.values(&picture.lines("series", "ABX")[0]), &corners, &picture);
    let ticks: Vec<_> = picture
        .lines("censored", "ABX")
        .iter()
        .map(|tick| (tick[0].0, tick[0].1.midpoint(tick[1].1)))
        .collect();
    close(&picture.values(&ticks), &[(57.0, 1.0), (113.0, 0.83), (350.0, 0.41)], &picture);
}

#[test]
fn bars_whiskers_and_marked_parts_are_as_high_as_their_numbers() {
    let counts = [13.0, 7.4, 0.0, 29.3];
    let mut chart = Chart::new("To buy", "month", "packs").hatched("already ordered");
    for (month, count) in (9..).zip(counts) {
        let bar = Bar::new(format!("2026-{month:02}"), count).between(0.7 * count, 1.3 * count);
        chart = chart.bar(if month == 10 { bar.marked(3.1) } else { bar });
    }
    let picture = Picture::of(&chart);
    let up = picture.axis("up");
    let near = |one: f64, other: f64| {
        assert!((one - other).abs() <= CLOSE * up.span(), "{one} for {other}");
    };
    for (month, count) in (9..).zip(counts) {
        let name = format!("2026-{month:02}");
        let bar = picture.rects("bar", &name)[0];
        near(up.value(bar.y), count);
        near(up.value(bar.y + bar.height), 0.0);
        let whisker = &picture.lines("whisker", &name)[0];
        near(up.value(whisker[0].1), 0.7 * count);
        near(up.value(whisker[1].1), 1.3 * count);
        let tick = picture.texts().into_iter().find(|text| text.words == name).unwrap();
        assert!((tick.middle() - bar.x - bar.width / 2.0).abs() < 0.01, "{name}");
    }
    let marked = picture.rects("marked", "2026-10");
    near(up.value(marked[0].y), 3.1);
    assert!(picture.texts().iter().any(|text| text.words == "already ordered"));
    assert!(picture.rects("marked", "2026-09").is_empty());
}

#[test]
fn ridges_are_scaled_to_their_own_tallest_bin_and_split_at_their_limit() {
    let ridge = |name: &str, scale: f64| {
        let bins =
            (0..12).map(f64::from).map(|n| (900.0 + 50.0 * n, 950.0 + 50.0 * n, scale * (n + 0.3))).collect();
        Ridge::new(name, bins)
    };
    let chart = Chart::new("Capacity by make", "mAh", "make, and how many")
        .ridge(ridge("ABX 18", 3.0).limit(1_130.0, "limit 1,130"))
        .ridge(ridge("Corvo", 40.0));
    let picture = Picture::of(&chart);
    let across = picture.axis("across");
    for (name, scale) in [("ABX 18", 3.0), ("Corvo", 40.0)] {
        let bins = picture.rects("bin", name);
        let tallest = bins.iter().map(|bin| bin.height).fold(0.0, f64::max);
        for bin in &bins {
            let (low, high) = (across.value(bin.x), across.value(bin.x + bin.width));
            let n = (low.midpoint(high) - 900.0).div_euclid(50.0);
            assert!((bin.height / tallest - (n + 0.3) / 11.3).abs() < CLOSE, "{name}: {bin:?}");
            let from_limit = bins.len() == 13 && (n - 4.0).abs() < 0.1;
            let ends = if !from_limit {
                (0.0, 50.0)
            } else if low < 1_115.0 {
                (0.0, 30.0)
            } else {
                (30.0, 50.0)
            };
            assert!((low - 900.0 - 50.0 * n - ends.0).abs() <= CLOSE * across.span(), "{low} {n}");
            assert!((high - 900.0 - 50.0 * n - ends.1).abs() <= CLOSE * across.span(), "{high} {n}");
        }
        let sum: f64 = (0..12).map(f64::from).map(|n| scale * (n + 0.3)).sum();
        let number = format!("{sum:.0}");
        assert!(picture.texts().iter().any(|text| text.words == number), "{number}");
    }
    assert_eq!(picture.rects("bin below", "ABX 18").len(), 5);
    assert!(picture.rects("bin below", "Corvo").is_empty());
    let limit = &picture.lines("limit", "ABX 18")[0];
    assert!((across.value(limit[0].0) - 1_130.0).abs() <= CLOSE * across.span());
    let row = picture.rects("bin", "Corvo");
    assert!(row.iter().all(|bin| bin.y > limit[1].1), "the limit stays in its own row");
}

#[test]
fn marks_stand_at_their_values_and_dates_at_their_days() {
    let days =
        vec![(20_000.0, "2024-10".to_owned()), (20_031.0, "2024-11".to_owned()), (99.0, "lost".to_owned())];
    let points = vec![(19_990.0, 3.0), (20_050.0, 4.0)];
    let chart = chart()
        .series(Series::new("", Look::Line, points.clone()))
        .mark(Mark::Level { at: 3.3, label: "level".to_owned() })
        .mark(Mark::Upright { at: 20_017.0, label: "today".to_owned() })
        .ticks_across(days);
    let picture = Picture::of(&chart);
    let places: Vec<f64> =
        picture.texts().iter().filter(|t| t.words.starts_with("2024-")).map(picture::Text::middle).collect();
    let day = |x: f64| 20_000.0 + 31.0 * (x - places[0]) / (places[1] - places[0]);
    let line = &picture.lines("series", "")[0];
    for (drawn, (x, _)) in line.iter().zip(points) {
        assert!((day(drawn.0) - x).abs() < CLOSE * 60.0, "{drawn:?}");
    }
    assert!((day(picture.lines("mark", "today")[0][0].0) - 20_017.0).abs() < CLOSE * 60.0);
    let level = picture.axis("up").value(picture.lines("mark", "level")[0][0].1);
    assert!((level - 3.3).abs() < CLOSE, "{level}");
    assert!(!picture.texts().iter().any(|text| text.words == "lost"));
}

#[test]
fn a_chart_without_a_point_says_so() {
    let nan = Series::new("none", Look::Line, vec![(f64::NAN, 1.0), (1.0, f64::INFINITY)]);
    let mark = Mark::Level { at: 3.0, label: "limit".to_owned() };
    let empty = Ridge::new("make", vec![(1.0, 1.0, 4.0), (2.0, 3.0, 0.0)]).limit(2.0, "limit");
    for chart in [
        chart(),
        chart().series(nan).mark(mark).upright(0.0, 9.0),
        chart().bar(Bar::new("2026-11", f64::NAN)),
        chart().band(Band::new("80 %", vec![(1.0, f64::NAN, 2.0)])),
        chart().ridge(empty),
    ] {
        let picture = Picture::of(&chart);
        let texts: Vec<String> = picture.texts().into_iter().map(|text| text.words).collect();
        assert_eq!(texts, ["A chart", "volts", "nothing to draw yet"]);
    }
}
