//! The lists of the review.

use crate::app::answer::count;
use crate::app::listed::Listed;
use crate::app::review::{LIVES_NOTE, Line, Review, Whereabouts};
use crate::app::slots::Trust;

use crate::print::consignment::mass;
use crate::print::document::Document;
use crate::print::table::{Column, Table};
use crate::print::{consignment, slots};

use super::{Cut, early};

fn number(value: Option<f64>) -> String {
    value.map(|value| format!("{value:.1}")).unwrap_or_default()
}

fn whole(value: Option<u32>) -> String {
    value.map(|value| value.to_string()).unwrap_or_default()
}

/// Adds every list.
pub(super) fn all(document: &mut Document, review: &Review) {
    near(document, review);
    at_risk(document, review);
    let lists = [
        ("To recondition", "Weak, and a round may bring them back.", &review.recondition),
        ("To recycle", "At their end, and not yet laid with the waste.", &review.recycle),
        ("To keep apart", "They may be dangerous.", &review.isolate),
    ];
    for (title, note, lines) in lists {
        list(document, review, (title, note), lines);
    }
    complaints(document, review);
    lives(document, review);
    slots_in_doubt(document, review);
    cartons(document, review);
    rounds(document, review);
    waste(document, review);
    rolls(document, review);
    lost(document, review);
    deeds(document, review);
    readings(document, review);
    odd(document, review);
}

fn place(line: &Line) -> String {
    match (line.place, line.due) {
        (Whereabouts::Out, Some(due)) => format!("due {due}"),
        (place, _) => place.words().to_owned(),
    }
}

fn why(line: &Line) -> String {
    let parts = [
        Some(line.found.clone()),
        line.limit.as_ref().map(|limit| format!("limit {limit}")),
        line.margin.clone(),
    ];
    parts.into_iter().flatten().collect::<Vec<_>>().join("; ")
}

fn near(document: &mut Document, review: &Review) {
    document.heading(format!("Nearing the end: {}", review.near_end.all()));
    document.note(
        "Expected by the model to fall below the limit within half a year, by month; then those within the policy's margin of a limit, \
         nearest first. In brackets the months before and after which it is unlikely (1 in 10 each).",
    );
    let mut table = Table::new(vec![
        Column::text("pack", 3.2),
        Column::text("make", 1.5),
        Column::number("h now", 0.8),
        Column::number("holds now, 90 %", 1.5),
        Column::text("expected", 1.8),
        Column::text("where", 1.4),
        Column::text("rule", 1.2),
        Column::text("found, limit, margin", 2.4),
    ]);
    let cut = Cut::of(&review.near_end, review);
    for line in cut.shown {
        let holds = line.coming.as_ref();
        table.row([
            line.pack.clone(),
            line.make.clone(),
            number(line.play_h),
            holds
                .map(|of| format!("{} ({} to {})", of.holds_mah, of.low_mah, of.high_mah))
                .unwrap_or_default(),
            holds.map(crate::app::review::Coming::words).unwrap_or_default(),
            place(line),
            line.rule.to_string(),
            why(line),
        ]);
    }
    document.table("Packs near their end", table);
    cut.note(document);
}

fn at_risk(document: &mut Document, review: &Review) {
    list(
        document,
        review,
        ("Out, and would not pass today", "By what they hold; soonest due first."),
        &review.out_at_risk,
    );
    let Some(ahead) = &review.ahead else { return };
    document.heading(format!("Out, and at risk until they are back: {}", ahead.at_risk.all()));
    document.note("By the model: too likely to hold less than the limit when the loan ends. Worst first.");
    let mut table = Table::new(vec![
        Column::text("pack", 2.8),
        Column::text("player", 2.8),
        Column::text("due", 1.4),
        Column::number("limit", 0.8),
        Column::number("at return, 90 %", 1.8),
        Column::number("h then", 0.8),
        Column::number("chance short, %", 1.2),
    ]);
    let cut = Cut::of(&ahead.at_risk, review);
    for line in cut.shown {
        table.row([
            line.pack.clone(),
            line.player.clone().unwrap_or_default(),
            line.due.to_string(),
            line.limit_mah.to_string(),
            format!("{} ({} to {})", line.expected_mah, line.low_mah, line.high_mah),
            number(line.play_h),
            format!("{:.0}", line.chance_percent),
        ]);
    }
    document.table("Packs with borrowers that will hardly keep the promise", table);
    cut.note(document);
}

fn list(document: &mut Document, review: &Review, (title, note): (&str, &str), lines: &Listed<Line>) {
    document.heading(format!("{title}: {}", lines.all()));
    document.note(note);
    let mut table = Table::new(vec![
        Column::text("pack", 2.75),
        Column::text("make", 1.75),
        Column::number("play h", 0.95),
        Column::text("where", 2.0),
        Column::text("rule", 1.3),
        Column::text("found, limit, margin", 3.5),
    ]);
    let cut = Cut::of(lines, review);
    for line in cut.shown {
        table.row([
            line.pack.clone(),
            line.make.clone(),
            number(line.play_h),
            place(line),
            line.rule.to_string(),
            why(line),
        ]);
    }
    document.table(title, table);
    cut.note(document);
}

fn complaints(document: &mut Document, review: &Review) {
    document.heading(format!("Cut out early: {}", review.complaints.all()));
    document.note(
        "The rule of today's policy that would have kept the pack here, by what was known when it went out.",
    );
    let mut table = Table::new(vec![
        Column::text("day", 1.4),
        Column::text("pack", 2.9),
        Column::text("player", 2.9),
        Column::number("after h", 0.8),
        Column::text("sent", 1.4),
        Column::text("would have been caught by", 3.2),
    ])
    .or_else_say("no complaint in the month");
    let cut = Cut::of(&review.complaints, review);
    for line in cut.shown {
        table.row([
            line.day.to_string(),
            line.pack.clone(),
            line.player.clone().unwrap_or_default(),
            number(line.after_h),
            line.sent.map(|day| day.to_string()).unwrap_or_default(),
            line.why.clone(),
        ]);
    }
    document.table("Complaints of the month", table);
    cut.note(document);
}

/// How long packs last, and which lots die early.
fn lives(document: &mut Document, review: &Review) {
    document.heading("Lives by lot");
    let warnings = early(review);
    for warning in &warnings {
        document.callout(warning.as_str());
    }
    if warnings.is_empty() {
        document.note("No lot dies earlier than the others of its make.");
    }
    document.note(LIVES_NOTE);
    let mut table = Table::new(vec![
        Column::text("make", 1.8),
        Column::text("packs of", 2.1),
        Column::number("packs", 0.9),
        Column::number("failed", 1.0),
        Column::number("expected", 1.4),
        Column::number("p", 1.1),
        Column::number("median years", 2.4),
        Column::number("shape", 1.0),
    ]);
    let cut = Cut::first(&review.lives, review);
    for lives in cut.shown {
        table.row([
            lives.make.clone(),
            lives.label(),
            lives.packs.to_string(),
            lives.failed.to_string(),
            number(lives.expected_failures),
            lives.chance(),
            lives.median(),
            number(lives.shape),
        ]);
    }
    document.table("Lives of the packs by make and lot", table);
    cut.note(document);
}

fn slots_in_doubt(document: &mut Document, review: &Review) {
    let Some(check) = &review.slots else { return };
    let bad = |trust: Trust| matches!(trust, Trust::ReadsHigh | Trust::ReadsLow);
    let doubt = check.slots.iter().filter(|slot| bad(slot.trust)).count();
    document.heading(format!("Slots in doubt: {doubt} of {}", check.slots.len()));
    document.note(format!("{} They are looked at once a day, here on {}.", slots::by(check), check.as_of));
    let mut table = Table::new(vec![
        Column::text("slot", 1.5),
        Column::text("trust", 1.6),
        Column::text("since", 1.5),
        Column::number("readings", 1.3),
        Column::number("bias, mAh (95 %)", 2.1),
    ]);
    let cut = Cut::first(&check.slots, review);
    for slot in cut.shown {
        table.row([
            slot.slot.clone(),
            slot.trust.words().to_owned(),
            slots::since(slot),
            slot.watched.to_string(),
            slots::bias(slot.bias_mah, slot.bias_low_mah, slot.bias_high_mah),
        ]);
    }
    document.table("The slots of the bench", table);
    cut.note(document);
    if check.again.is_empty() {
        return;
    }
    let cut = Cut::first(&check.again, review);
    let table = slots::to_read_again(cut.shown);
    document.table("To be read again in another slot", table);
    cut.note(document);
}

fn cartons(document: &mut Document, review: &Review) {
    document.heading(format!("Cartons: {}", review.cartons.len()));
    let mut table = Table::new(vec![
        Column::text("carton", 2.0),
        Column::text("make", 2.0),
        Column::number("packs", 0.9),
        Column::number("read", 0.9),
        Column::number("bad", 0.9),
        Column::text("result", 3.0),
    ])
    .or_else_say("no carton was sampled, and no sample is owed");
    let cut = Cut::first(&review.cartons, review);
    for line in cut.shown {
        table.row([
            line.carton.clone(),
            line.make.clone(),
            line.packs.to_string(),
            line.read.to_string(),
            line.bad.to_string(),
            line.result.clone(),
        ]);
    }
    document.table("Cartons that were sampled in the month, or whose sample is owed", table);
    cut.note(document);
}

fn rounds(document: &mut Document, review: &Review) {
    document.heading(format!("Reconditioned: {}", review.round_lines.all()));
    let mut table = Table::new(vec![
        Column::text("day", 1.5),
        Column::text("pack", 2.6),
        Column::text("make", 1.9),
        Column::number("before, mAh", 1.2),
        Column::number("after, mAh", 1.2),
        Column::number("limit, mAh", 1.2),
        Column::text("came back", 1.3),
    ])
    .or_else_say("no round was done");
    let cut = Cut::of(&review.round_lines, review);
    for line in cut.shown {
        let back = match (line.after_mah, line.limit_mah) {
            (Some(after), Some(limit)) if after >= limit => "yes",
            (Some(_), Some(_)) => "no",
            _ => "not read yet",
        };
        table.row([
            line.day.to_string(),
            line.pack.clone(),
            line.make.clone(),
            whole(line.before_mah),
            whole(line.after_mah),
            whole(line.limit_mah),
            back.to_owned(),
        ]);
    }
    document.table("Rounds of the month", table);
    cut.note(document);
}

fn waste(document: &mut Document, review: &Review) {
    let waste = &review.waste;
    document.heading(format!("Waste on hand: {}", waste.packs));
    for warning in &waste.warnings {
        document.callout(warning.as_str());
    }
    let leave = match (waste.oldest, waste.leave_by) {
        (Some(oldest), Some(by)) => format!(" The oldest is waste since {oldest} and must leave by {by}."),
        _ => String::new(),
    };
    document.paragraph(format!(
        "{} kg of less than {} kg that may be kept.{leave}",
        mass(waste.mass_g, waste.without_mass),
        waste.limit_g / 1000
    ));
    document.note(format!("By {}. {}", waste.rules, consignment::DECIDES));
    let mut table = Table::new(vec![
        Column::text("waste since", 1.5),
        Column::text("pack", 2.6),
        Column::text("make", 2.0),
        Column::text("where", 2.6),
        Column::text("condition", 1.3),
    ])
    .or_else_say("no waste is on hand");
    let cut = Cut::of(&waste.items, review);
    for item in cut.shown {
        let damaged = if item.damaged { "damaged" } else { "sound" };
        table.row([
            item.since.to_string(),
            item.pack.clone(),
            item.make.clone(),
            item.place.clone(),
            damaged.to_owned(),
        ]);
    }
    document.table("Packs that wait for a recycler, oldest first", table);
    cut.note(document);
}

fn rolls(document: &mut Document, review: &Review) {
    document.heading(format!("Roll calls: {}", review.rolls.len()));
    let mut table = Table::new(vec![
        Column::text("place", 2.4),
        Column::text("ended", 2.0),
        Column::number("there", 1.0),
        Column::number("missing", 1.0),
        Column::number("not expected", 1.2),
    ])
    .or_else_say("no roll call was held");
    let cut = Cut::first(&review.rolls, review);
    for line in cut.shown {
        table.row([
            line.place.clone(),
            line.ended.clone(),
            line.present.to_string(),
            line.missing.to_string(),
            line.unexpected.to_string(),
        ]);
    }
    document.table("Roll calls of the month", table);
    cut.note(document);
}

fn lost(document: &mut Document, review: &Review) {
    document.heading(format!("Lost, or not seen for long: {}", review.lost.all()));
    let mut table = Table::new(vec![
        Column::text("pack", 2.6),
        Column::text("make", 2.0),
        Column::text("last seen", 1.5),
        Column::text("where", 1.8),
        Column::text("why", 2.6),
    ])
    .or_else_say("every pack that should be here was seen");
    let cut = Cut::of(&review.lost, review);
    for line in cut.shown {
        table.row([
            line.pack.clone(),
            line.make.clone(),
            line.seen.map(|day| day.to_string()).unwrap_or_default(),
            line.place.clone(),
            line.why.clone(),
        ]);
    }
    document.table("Packs that should be here, longest unseen first", table);
    cut.note(document);
}

/// What else was done in the month.
fn deeds(document: &mut Document, review: &Review) {
    document.heading("Done in the month");
    let mut table = Table::new(vec![Column::text("what", 6.0), Column::number("how often", 2.0)])
        .or_else_say("nothing else was done");
    for deed in &review.deeds {
        table.row(vec![deed.what.clone(), deed.count.to_string()]);
    }
    document.table("What was done, and how often", table);
}

fn readings(document: &mut Document, review: &Review) {
    document.heading(format!("Readings of the month: {}", review.readings.all()));
    let mut table = Table::new(vec![
        Column::text("day", 1.6),
        Column::text("pack", 2.8),
        Column::text("make", 1.7),
        Column::number("mAh", 0.9),
        Column::number("limit", 0.9),
        Column::number("play h", 1.0),
        Column::number("% of rated", 1.2),
        Column::text("slot", 1.2),
    ]);
    let cut = Cut::of(&review.readings, review);
    for line in cut.shown {
        table.row([
            line.day.to_string(),
            line.pack.clone(),
            line.make.clone(),
            line.capacity_mah.to_string(),
            whole(line.limit_mah),
            number(line.play_h),
            number(line.health_percent),
            line.slot.clone().unwrap_or_default(),
        ]);
    }
    document.table(count(review.readings.all(), "reading", "readings"), table);
    cut.note(document);
}

fn odd(document: &mut Document, review: &Review) {
    document.heading(format!("Does not add up: {}", review.odd.all()));
    let mut table =
        Table::new(vec![Column::text("day", 1.2), Column::text("what", 2.4), Column::text("in words", 5.0)])
            .or_else_say("everything adds up");
    let cut = Cut::of(&review.odd, review);
    for odd in cut.shown {
        let day = odd.day.map(|day| day.to_string()).unwrap_or_default();
        table.row([day, odd.thing.clone(), odd.text.clone()]);
    }
    document.table("What the record says, and cannot have been", table);
    cut.note(document);
}
