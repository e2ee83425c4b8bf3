//! The review as rows of one CSV: the list's name first, then what it tells.

use crate::app::review::{Line, Review};

use super::CliError;

/// Heads of the table.
const HEADS: [&str; 13] = [
    "list",
    "pack",
    "make",
    "where",
    "rule",
    "found",
    "limit",
    "margin",
    "play_h",
    "day",
    "holds_mah",
    "expected",
    "value",
];

/// One row, with the columns that it fills.
#[derive(Default)]
struct Row {
    list: &'static str,
    pack: String,
    make: String,
    place: String,
    rule: String,
    found: String,
    limit: String,
    margin: String,
    play_h: String,
    day: String,
    holds: String,
    expected: String,
    value: String,
}

impl Row {
    fn of(list: &'static str) -> Self {
        Self { list, ..Self::default() }
    }
}

fn text<T: ToString>(value: Option<T>) -> String {
    value.map(|value| value.to_string()).unwrap_or_default()
}

fn mah(value: Option<u32>) -> String {
    value.map(|value| format!("{value} mAh")).unwrap_or_default()
}

/// All of the review as one CSV.
pub(in crate::cli) fn csv(review: &Review) -> Result<String, CliError> {
    let mut rows = figures(review);
    for (list, lines) in [
        ("near_end", &review.near_end),
        ("recondition", &review.recondition),
        ("recycle", &review.recycle),
        ("isolate", &review.isolate),
        ("out_at_risk", &review.out_at_risk),
    ] {
        rows.extend(lines.iter().map(|line| of_line(list, line)));
    }
    rows.extend(ahead(review));
    rows.extend(month(review));
    rows.extend(things(review));
    let mut out = csv::Writer::from_writer(Vec::new());
    let fault = |error: csv::Error| CliError::fault(error.to_string());
    out.write_record(HEADS).map_err(fault)?;
    for row in rows {
        out.write_record([
            row.list,
            &row.pack,
            &row.make,
            &row.place,
            &row.rule,
            &row.found,
            &row.limit,
            &row.margin,
            &row.play_h,
            &row.day,
            &row.holds,
            &row.expected,
            &row.value,
        ])
        .map_err(fault)?;
    }
    let bytes = out.into_inner().map_err(|error| CliError::fault(error.to_string()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

fn of_line(list: &'static str, line: &Line) -> Row {
    Row {
        pack: line.pack.clone(),
        make: line.make.clone(),
        place: line.place.words().to_owned(),
        rule: line.rule.name().to_owned(),
        found: line.found.clone(),
        limit: text(line.limit.as_ref()),
        margin: text(line.margin.as_ref()),
        play_h: text(line.play_h),
        day: text(line.due),
        holds: text(line.coming.as_ref().map(|coming| coming.holds_mah)),
        expected: text(line.coming.as_ref().map(crate::app::review::Coming::words)),
        ..Row::of(list)
    }
}

fn figures(review: &Review) -> Vec<Row> {
    let mut rows = Vec::new();
    for figures in std::iter::once(&review.figures).chain(&review.before) {
        rows.extend(figures.rows.iter().map(|figure| Row {
            found: figure.what.clone(),
            day: figures.month.clone(),
            value: figure.value.to_string(),
            ..Row::of("figure")
        }));
    }
    for head in &review.heads {
        let (found, value) = (format!("{} {}", head.writer, head.hash), head.number.to_string());
        rows.push(Row { found, value, ..Row::of("made_from") });
    }
    rows.extend(review.wrong.iter().map(|line| Row { found: line.clone(), ..Row::of("wrong") }));
    rows.extend(review.players.iter().map(|row| Row {
        make: row.player_make.clone(),
        found: format!("{} here, {} fit packs", row.players, row.packs),
        value: row.can_go.to_string(),
        ..Row::of("can_go")
    }));
    for standing in &review.fleet {
        rows.extend(standing.counts.iter().map(|(verdict, count)| Row {
            place: standing.place.words().to_owned(),
            rule: verdict.word().to_owned(),
            found: count.to_string(),
            value: count.to_string(),
            ..Row::of("fleet")
        }));
    }
    for of in &review.capacities {
        rows.extend(of.bins.iter().map(|bin| Row {
            make: of.make.clone(),
            found: format!("{} to {} mAh", bin.from_mah, bin.to_mah),
            limit: mah(of.limit_mah),
            value: bin.packs.to_string(),
            ..Row::of("capacity")
        }));
    }
    rows
}

fn ahead(review: &Review) -> Vec<Row> {
    let Some(ahead) = &review.ahead else { return Vec::new() };
    let mut rows = Vec::new();
    for month in &ahead.all.months {
        rows.push(Row {
            day: month.month.clone(),
            found: format!("90 %: {} to {}", month.band_90.low, month.band_90.high),
            value: format!("{:.2}", month.expected),
            ..Row::of("retire")
        });
    }
    for buy in &ahead.buy {
        rows.extend(buy.orders.iter().map(|order| Row {
            make: buy.make.clone(),
            day: order.order_by.to_string(),
            expected: order.needed_in.clone(),
            found: if order.late { "late" } else { "" }.to_owned(),
            value: order.packs.to_string(),
            ..Row::of("buy")
        }));
    }
    rows.extend(ahead.at_risk.iter().map(|line| Row {
        pack: line.pack.clone(),
        place: text(line.player.as_ref()),
        limit: mah(Some(line.limit_mah)),
        found: format!("{} to {} mAh at return", line.low_mah, line.high_mah),
        play_h: text(line.play_h),
        day: line.due.to_string(),
        holds: line.expected_mah.to_string(),
        value: line.chance_percent.to_string(),
        ..Row::of("will_fall_short")
    }));
    rows
}

/// What the month brought.
fn month(review: &Review) -> Vec<Row> {
    let mut rows = Vec::new();
    rows.extend(review.readings.iter().map(|line| Row {
        pack: line.pack.clone(),
        make: line.make.clone(),
        place: text(line.slot.as_ref()),
        found: format!("{} mAh", line.capacity_mah),
        limit: mah(line.limit_mah),
        play_h: text(line.play_h),
        day: line.day.to_string(),
        value: line.capacity_mah.to_string(),
        ..Row::of("reading")
    }));
    rows.extend(review.round_lines.iter().map(|line| Row {
        pack: line.pack.clone(),
        make: line.make.clone(),
        found: format!("{} before", text(line.before_mah)),
        limit: mah(line.limit_mah),
        day: line.day.to_string(),
        value: text(line.after_mah),
        ..Row::of("round")
    }));
    rows.extend(review.complaints.iter().map(|line| Row {
        pack: line.pack.clone(),
        place: text(line.player.as_ref()),
        rule: text(line.rule),
        found: line.why.clone(),
        play_h: text(line.after_h),
        day: line.day.to_string(),
        ..Row::of("complaint")
    }));
    rows.extend(review.rolls.iter().map(|line| Row {
        place: line.place.clone(),
        found: format!("{} there, {} not expected", line.present, line.unexpected),
        day: line.ended.clone(),
        value: line.missing.to_string(),
        ..Row::of("roll_call")
    }));
    rows.extend(review.deeds.iter().map(|deed| Row {
        found: deed.what.clone(),
        value: deed.count.to_string(),
        ..Row::of("done")
    }));
    rows
}

fn things(review: &Review) -> Vec<Row> {
    let mut rows = Vec::new();
    for lives in &review.lives {
        let p = lives.probability.map(|p| format!("p {p}"));
        let median = Some(lives.median()).filter(|median| !median.is_empty());
        let margin = [p, median.map(|median| format!("median {median} years"))];
        rows.push(Row {
            pack: lives.label(),
            make: lives.make.clone(),
            rule: if lives.early { "early" } else { "" }.to_owned(),
            found: format!("{} of {} failed", lives.failed, lives.packs),
            limit: lives.expected_failures.map(|failures| format!("{failures} expected")).unwrap_or_default(),
            margin: margin.into_iter().flatten().collect::<Vec<_>>().join("; "),
            ..Row::of("lives")
        });
    }
    rows.extend(review.slots.iter().flat_map(|check| &check.slots).map(|slot| Row {
        place: slot.slot.clone(),
        found: slot.trust.words().to_owned(),
        day: text(slot.since),
        value: text(slot.bias_mah.map(|bias| format!("{bias:.1}"))),
        ..Row::of("slot")
    }));
    rows.extend(review.slots.iter().flat_map(|check| &check.again).map(|line| Row {
        pack: line.pack.clone(),
        place: line.slot.clone(),
        found: line.why.clone(),
        limit: mah(Some(line.limit_mah)),
        margin: format!("freed of the bias {} mAh", line.corrected_mah),
        day: line.day.to_string(),
        value: line.read_mah.to_string(),
        ..Row::of("read_again")
    }));
    rows.extend(review.cartons.iter().map(|line| Row {
        pack: line.carton.clone(),
        make: line.make.clone(),
        found: format!("{} read, {} bad", line.read, line.bad),
        margin: line.result.clone(),
        value: line.packs.to_string(),
        ..Row::of("carton")
    }));
    rows.extend(review.waste.items.iter().map(|item| Row {
        pack: item.pack.clone(),
        make: item.make.clone(),
        place: item.place.clone(),
        found: if item.damaged { "damaged" } else { "sound" }.to_owned(),
        day: item.since.to_string(),
        ..Row::of("waste")
    }));
    rows.extend(review.lost.iter().map(|line| Row {
        pack: line.pack.clone(),
        make: line.make.clone(),
        place: line.place.clone(),
        found: line.why.clone(),
        day: text(line.seen),
        ..Row::of("lost")
    }));
    rows.extend(review.odd.iter().map(|odd| Row {
        pack: odd.thing.clone(),
        found: odd.text.clone(),
        day: text(odd.day),
        ..Row::of("odd")
    }));
    rows
}
