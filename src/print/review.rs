//! The monthly review as a document, for paper and browsers: one page for whoever decides, then charts, then the lists.
//!
//! Lists are cut after the rows that the policy gives them, and say how many more there are: CSV and JSON hold all.

mod charts;
mod lists;

use crate::app::ahead::buying::Order;
use crate::app::listed::Listed;
use crate::app::review::{Figures, Lives, Review};
use crate::domain::finding::CAUTIONS;
use crate::domain::moment::day_after;
use crate::domain::verdict::Verdict;

use super::document::Document;
use super::table::{Column, Table};
use super::{PageSize, PrintError};

/// Prints a review as PDF.
///
/// # Errors
/// [`PrintError`] when the embedded typeface is damaged or the file cannot be made.
pub fn paper(review: &Review, size: PageSize) -> Result<Vec<u8>, PrintError> {
    document(review).paper(size)
}

/// Writes a review as one HTML page that needs nothing beside it.
///
/// # Errors
/// [`PrintError`] when the embedded typeface is damaged.
pub fn page(review: &Review) -> Result<String, PrintError> {
    document(review).page()
}

/// The review as a document.
pub fn document(review: &Review) -> Document {
    let subtitle = format!("{}, as of {}", review.month, review.as_of);
    let mut document = Document::new("Monthly review of the packs", subtitle);
    manager(&mut document, review);
    document.break_page();
    charts::all(&mut document, review);
    figures(&mut document, review);
    fleet(&mut document, review);
    lists::all(&mut document, review);
    sources(&mut document, review);
    document
}

/// Rows of each list of the first page: it has to stay one page.
const ROWS: usize = 8;
/// Orders within so many days stand in the figures, and within a year in the table.
const ORDER_DAYS: i64 = 92;
const YEAR_DAYS: i64 = 366;
/// Where nothing is wrong.
const NOTHING: &str = "Nothing that the record shows.";

/// What stands in a list at most, with what is said where that is not all.
pub(super) struct Cut<'a, T> {
    pub(super) shown: &'a [T],
    all: usize,
}

impl<'a, T> Cut<'a, T> {
    /// The first rows of a list.
    pub(super) fn of(list: &'a Listed<T>, review: &Review) -> Self {
        Self { all: list.all(), ..Self::first(list.lines(), review) }
    }

    /// The same of a list that is here as a whole.
    pub(super) fn first(list: &'a [T], review: &Review) -> Self {
        Self { shown: list.get(..review.rows).unwrap_or(list), all: list.len() }
    }

    /// Says how many more there are, if any.
    pub(super) fn note(&self, document: &mut Document) {
        let more = self.all - self.shown.len();
        if more > 0 {
            document.note(format!("... and {more} more: packmuster review --csv lists all."));
        }
    }
}

/// The page that a manager reads.
fn manager(document: &mut Document, review: &Review) {
    let count = |list: usize| list.to_string();
    document.figures(vec![
        ("players can go out today".to_owned(), review.can_go.to_string()),
        ("packs near their end".to_owned(), count(review.near_end.all())),
        ("packs to order in three months".to_owned(), to_buy(review)),
        ("out with borrowers, at risk".to_owned(), count(review.at_risk)),
    ]);
    document.heading("What can go out");
    let mut table = Table::new(vec![
        Column::text("player", 2.0),
        Column::number("here", 1.0),
        Column::number("fit packs that fit", 1.6),
        Column::number("can go out", 1.2),
    ])
    .or_else_say("no make of player is entered");
    for row in review.players.iter().take(ROWS) {
        table.row([
            row.player_make.clone(),
            row.players.to_string(),
            row.packs.to_string(),
            row.can_go.to_string(),
        ]);
    }
    document.table("Players here, and fit packs for them", table);
    more(document, review.players.len(), "makes of player", "packmuster review --csv");
    document.heading("What to buy, and by when");
    buying(document, review);
    document.heading("What is wrong");
    if !review.isolate.is_empty() || review.waste.damaged > 0 {
        document.callout(CAUTIONS);
    }
    let wrong: Vec<String> = review.wrong.iter().take(ROWS).map(|line| format!("- {line}.")).collect();
    document.paragraph(if wrong.is_empty() { NOTHING.to_owned() } else { wrong.join("\n") });
    more(document, review.wrong.len(), "things", "the lists");
}

/// Says how many rows this page has no room for.
fn more(document: &mut Document, all: usize, what: &str, place: &str) {
    if all > ROWS {
        document.note(format!("... and {} more {what}: see {place}.", all - ROWS));
    }
}

/// Packs to order within three months, or that it is not known.
fn to_buy(review: &Review) -> String {
    let Some(ahead) = &review.ahead else { return "not known".to_owned() };
    let until = day_after(review.as_of, ORDER_DAYS);
    let orders = ahead.buy.iter().flat_map(|buy| &buy.orders);
    orders.filter(|order| order.order_by <= until).map(|order| order.packs).sum::<u32>().to_string()
}

fn buying(document: &mut Document, review: &Review) {
    let Some(ahead) = &review.ahead else {
        document.paragraph(
            "Not known: no model of how the packs fade is learnt yet (packmuster model learn), so nothing is foretold.",
        );
        return;
    };
    let mut table = Table::new(vec![
        Column::text("make", 1.8),
        Column::number("packs", 0.8),
        Column::text("order by", 1.5),
        Column::text("needed in", 1.2),
    ])
    .or_else_say("nothing needs to be ordered within a year");
    let until = day_after(review.as_of, YEAR_DAYS);
    let mut orders: Vec<(&str, &Order)> = Vec::new();
    for buy in &ahead.buy {
        orders.extend(buy.orders.iter().map(|order| (buy.make.as_str(), order)));
    }
    orders.retain(|(_, order)| order.order_by <= until);
    orders.sort_by_key(|(make, order)| (order.order_by, *make));
    for (make, order) in orders.iter().take(ROWS) {
        let late = if order.late { " (late)" } else { "" };
        table.row([
            (*make).to_owned(),
            order.packs.to_string(),
            format!("{}{late}", order.order_by),
            order.needed_in.clone(),
        ]);
    }
    document.table("Orders of the year to come, soonest first", table);
    more(document, orders.len(), "orders", "packmuster ahead");
    document.note(format!("By the policy: {}.", ahead.buying));
}

/// The figures of this month beside those of the month before.
fn figures(document: &mut Document, review: &Review) {
    document.heading("Figures of the month, and of the month before");
    let before = review.before.as_ref();
    let name = before.map_or("before", |before| before.month.as_str());
    let mut table = Table::new(vec![
        Column::text("what", 3.0),
        Column::number(name, 1.2),
        Column::number(&review.figures.month, 1.2),
        Column::number("change", 1.0),
    ]);
    for figure in &review.figures.rows {
        let was = before.and_then(|before: &Figures| before.value(&figure.what));
        let change = was.and_then(|was| Some(i64::try_from(figure.value).ok()? - i64::try_from(was).ok()?));
        table.row([
            figure.what.clone(),
            was.map_or_else(|| "not known".to_owned(), |was| was.to_string()),
            figure.value.to_string(),
            change.map(|change| format!("{change:+}")).unwrap_or_default(),
        ]);
    }
    document.table("Two months side by side", table);
}

fn fleet(document: &mut Document, review: &Review) {
    document.heading("The fleet");
    let mut columns = vec![Column::text("where", 2.2)];
    columns.extend(Verdict::ALL.map(|verdict| Column::number(&verdict.word().to_lowercase(), 1.5)));
    columns.push(Column::number("all", 0.9));
    let mut table = Table::new(columns);
    for standing in &review.fleet {
        let counts = Verdict::ALL.map(|verdict| standing.counts.get(&verdict).copied().unwrap_or(0));
        let mut row = vec![standing.place.words().to_owned()];
        row.extend(counts.iter().map(ToString::to_string));
        row.push(counts.iter().sum::<u32>().to_string());
        table.row(row);
    }
    document.table("Packs by where they are and what the judge says", table);
}

/// Lots that die early, in sentences.
pub(super) fn early(review: &Review) -> Vec<String> {
    review.lives.iter().filter(|lives| lives.early).map(Lives::warning).collect()
}

fn sources(document: &mut Document, review: &Review) {
    document.heading("What this was made from");
    document.paragraph(format!("Policy {}. The last entry of each chain and its hash:", review.policy));
    for head in &review.heads {
        document.note(format!("entry {} of {}: {}", head.number, head.writer, head.hash));
    }
}
