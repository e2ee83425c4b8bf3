//! One document in its two forms: both say the same.

use packmuster::print::chart::{Chart, Look, Mark, Series};
use packmuster::print::document::Document;
use packmuster::print::table::{Column, Table};
use packmuster::print::{PageSize, PrintError};

use super::poppler::Pdf;

/// A document with every kind of part, a long table, a wide one, an empty one, and texts that want to break out.
pub(super) fn rich() -> Document {
    let mut document = Document::new("Monthly review of the packs", "Skerrow Isles Listening Post, May 2026");
    document.figures(figures());
    document.paragraph("Of 412 packs 31 are near their end.\nBuy 48 before August.");
    document.chart(
        fleet().reading("The fleet shrinks by four packs a month, and reaches 380 in December."),
        60.0,
    );
    document.callout("three packs are to be kept apart. Do not charge them, and call <the post>.");
    document.break_page();
    document.heading("Packs near their end");
    document.note("Within the policy's margin of a limit, nearest first.");
    document.table("Packs near their end, nearest first", long(90));
    document.heading("Fleet & places");
    document.table("Where packs are, by verdict", wide());
    document.heading("Does not add up");
    document.table("What does not add up", long(0));
    document.heading("A long word");
    document.paragraph("W".repeat(200));
    document.table("", long(1));
    document.chart(Chart::new("", "", ""), 40.0);
    document.break_page();
    document
}

fn figures() -> Vec<(String, String)> {
    [
        ("packs", "412"),
        ("fit and here", "305"),
        ("nearing the end", "31 ± 6"),
        ("out, at risk", "7"),
        ("to buy", "48"),
    ]
    .map(|(label, value)| (label.to_owned(), value.to_owned()))
    .to_vec()
}

fn fleet() -> Chart {
    let points = |from: f64| (0..24).map(|month| (f64::from(month), from - 4.0 * f64::from(month))).collect();
    Chart::new("Packs in service", "months", "packs")
        .series(Series::new("likely", Look::Line, points(450.0)))
        .series(Series::new("at worst", Look::Dashed, points(430.0)))
        .series(Series::new("", Look::Crosses, points(440.0)))
        .mark(Mark::Level { at: 380.0, label: "needed".to_owned() })
        .mark(Mark::Upright { at: 20.0, label: "today".to_owned() })
}

fn long(rows: usize) -> Table {
    let mut table = Table::new(vec![
        Column::text("Pack", 2.75),
        Column::number("Capacity (mAh)", 1.5),
        Column::text("Where", 1.5),
        Column::text("Why", 4.0),
    ])
    .or_else_say("everything adds up");
    for row in 1..=rows {
        let pack = format!("P{row:03}-Q9M2-DXWT-8");
        table.row([
            pack,
            format!("{}", 1000 + row),
            "due 3 June".to_owned(),
            "will be below its limit before it is back".to_owned(),
        ]);
    }
    table
}

fn wide() -> Table {
    let heads = ["where", "fit", "short loans", "test", "recondition", "recycle", "isolate", "all"];
    let mut table = Table::new(
        heads
            .iter()
            .map(|head| if *head == "where" { Column::text(head, 2.2) } else { Column::number(head, 1.5) })
            .collect(),
    );
    table.row(["on the shelf", "305", "12", "4", "9", "3", "1", "334"]);
    table.row(["", "70", "", "", "", "", "", "70"]);
    table
}

/// The words of a page as a reader meets them, without the contents and the foot.
fn words_of_page(page: &str) -> Vec<String> {
    let main = page.split("<main").nth(1).unwrap().split("</main>").next().unwrap();
    let mut text = String::new();
    for piece in main.split_once('>').unwrap().1.split('<') {
        text.push(' ');
        text.push_str(piece.split_once('>').map_or(piece, |(_, text)| text));
    }
    let plain = text.replace("&lt;", "<").replace("&gt;", ">").replace("&#39;", "'").replace("&amp;", "&");
    plain.split_whitespace().map(str::to_owned).collect()
}

#[test]
fn both_forms_say_the_same_words() {
    let mut document = Document::new("Review", "May 2026");
    document.heading("First");
    document.paragraph("Words that <both> say, & no others.");
    document.callout("keep it apart.");
    document.note("From the bench's readings.");
    document.table("By capacity", long(3));
    document.table("None", long(0));
    let paper = Pdf::new(&document.paper(PageSize::A4).unwrap()).pages().concat();
    let mut on_paper: Vec<&str> = paper
        .strip_prefix("Review\nMay 2026\n")
        .unwrap()
        .trim_end()
        .strip_suffix("page 1 of 1")
        .unwrap()
        .split_whitespace()
        .collect();
    let page = document.page().unwrap();
    let mut on_page = words_of_page(&page);
    // Papers read out the lines of a row's cells in turn: the order of words differs there.
    on_paper.sort_unstable();
    on_page.sort_unstable();
    assert_eq!(on_paper, on_page);
}

#[test]
fn the_same_document_gives_the_same_bytes_and_a_break_gives_a_page_once() {
    assert_eq!(rich().page().unwrap(), rich().page().unwrap());
    assert_eq!(rich().paper(PageSize::A4).unwrap(), rich().paper(PageSize::A4).unwrap());
    let mut document = Document::new("Review", "May 2026");
    document.break_page();
    document.paragraph("For the manager.");
    document.break_page();
    document.break_page();
    document.paragraph("For the bench.");
    document.break_page();
    let pages = Pdf::new(&document.paper(PageSize::Letter).unwrap()).pages();
    assert_eq!(pages.len(), 2);
    assert!(pages[0].contains("For the manager.") && pages[1].contains("For the bench."));
    assert_eq!(document.page().unwrap().matches("<hr").count(), 1);
}

#[test]
fn a_row_with_too_few_cells_is_named_by_both() {
    let mut document = Document::new("Review", "May 2026");
    let mut table = long(1);
    table.row(["alone"]);
    document.table("Packs", table);
    let error = PrintError::Cells { row: 2, cells: 1, columns: 4 };
    assert_eq!(document.paper(PageSize::A4), Err(error.clone()));
    assert_eq!(document.page(), Err(error));
}
