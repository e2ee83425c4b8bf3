//! Paged reports: nothing overflows, nothing is lost, pages are numbered.

use packmuster::print::paper::Paper;
use packmuster::print::table::{Column, Table};
use packmuster::print::{PageSize, PrintError};

use super::poppler::Pdf;

const LONG: &str = "will fall below its limit in about seven weeks, well before the due date of the loan";

fn table(rows: usize) -> Table {
    let mut table = Table::new(vec![
        Column::number("No", 1.0),
        Column::text("Pack", 2.5),
        Column::number("Capacity (mAh)", 1.5),
        Column::text("Why", 4.0),
    ])
    .or_else_say("No pack is near its end.");
    for row in 1..=rows {
        let why = if row % 7 == 0 { LONG } else { "forecast" };
        table.row([
            format!("r{row}"),
            "P7K3-Q9M2-DXWT-8".to_owned(),
            format!("{}", 1111 * (row % 9)),
            why.to_owned(),
        ]);
    }
    table
}

fn paper(size: PageSize, table: &Table) -> Vec<u8> {
    let mut paper = Paper::new(size, "Monthly review", "Skerrow Isles Listening Post, May 2026").unwrap();
    paper.figures(&[("packs in service", "412"), ("near their end", "31 ± 6"), ("to buy", "48")]);
    paper.heading("Packs near their end");
    paper.paragraph(&"These packs are expected to miss their promise before the end of August. ".repeat(4));
    paper.table(table);
    paper.note("Source: readings of the bench.");
    paper.finish().unwrap()
}

/// All words lie between the margins, every page has its number, and heads are repeated above the rows.
pub(super) fn check(pdf: &Pdf, size: PageSize) -> Vec<String> {
    let (count, width_pt, _) = pdf.info();
    assert!((width_pt - size.width_mm() / 25.4 * 72.0).abs() < 0.01);
    let pages = pdf.pages();
    assert_eq!(pages.len(), count);
    for (page, text) in pages.iter().enumerate() {
        assert!(text.ends_with(&format!("page {} of {count}\n", page + 1)), "{text}");
    }
    for word in pdf.words() {
        assert!(word.left_mm > 19.9 && word.right_mm < size.width_mm() - 19.9, "{word:?}");
        assert!(word.top_mm > 9.0 && word.bottom_mm < size.height_mm() - 8.0, "{word:?}");
        // Between the last row and the page number nothing may stand.
        let foot_mm = size.height_mm() - 20.0;
        assert!(word.bottom_mm < foot_mm + 1.0 || word.top_mm > foot_mm + 4.0, "{word:?}");
    }
    pages
}

#[test]
fn tables_of_0_1_and_5000_rows_keep_every_row_in_its_place() {
    for (size, rows) in
        [(PageSize::A4, 0), (PageSize::Letter, 1), (PageSize::A4, 5000), (PageSize::Letter, 5000)]
    {
        let bytes = paper(size, &table(rows));
        let pages = check(&Pdf::new(&bytes), size);
        let seen: Vec<usize> = pages
            .iter()
            .flat_map(|page| page.split_whitespace())
            .filter_map(|word| word.strip_prefix('r')?.parse().ok())
            .collect();
        assert_eq!(seen, (1..=rows).collect::<Vec<_>>(), "{rows} rows");
        assert_eq!(pages.concat().contains("No pack is near its end."), rows == 0);
        for page in &pages {
            assert!(page.contains("Capacity") && page.contains("Why"), "no heads: {page}");
        }
        let why = pages.concat().replace('\n', " ").matches(LONG).count();
        assert_eq!(why, rows / 7);
        assert!(bytes.len() < 40_000 + 100 * rows, "{} bytes for {rows} rows", bytes.len());
        assert_eq!(bytes, paper(size, &table(rows)));
    }
}

/// The right edges of a column of numbers are one line, and digits of one count stand under each other.
#[test]
fn numbers_stand_under_each_other() {
    let words = Pdf::new(&paper(PageSize::A4, &table(9))).words();
    let numbers: Vec<_> = words
        .iter()
        .filter(|word| word.text.len() == 4 && word.text.parse::<u16>().is_ok_and(|n| n % 1111 == 0))
        .collect();
    assert_eq!(numbers.len(), 8);
    for number in &numbers {
        assert!((number.right_mm - numbers[0].right_mm).abs() < 0.01, "{number:?}");
        assert!((number.left_mm - numbers[0].left_mm).abs() < 0.01, "{number:?}");
    }
}

#[test]
fn a_cell_taller_than_a_page_goes_on_and_loses_nothing() {
    let mut table =
        Table::new(vec![Column::text("Short", 1.0), Column::text("Very long head in a narrow column", 0.4)]);
    let words: Vec<String> = (0..900).map(|n| format!("w{n}")).collect();
    table.row(["before".to_owned(), "x".to_owned()]);
    table.row(["tall".to_owned(), words.join(" ")]);
    table.row(["after".to_owned(), "W".repeat(300)]);
    let pages = check(&Pdf::new(&paper(PageSize::A4, &table)), PageSize::A4);
    assert!(pages.len() > 3);
    let text = pages.concat();
    let seen: Vec<&str> = text
        .split_whitespace()
        .filter(|word| word.strip_prefix('w').is_some_and(|number| number.parse::<u16>().is_ok()))
        .collect();
    assert_eq!(seen, words);
    assert_eq!(text.matches('W').count(), 300);
}

#[test]
fn long_titles_figures_and_texts_stay_between_the_margins() {
    for size in [PageSize::A4, PageSize::Letter] {
        let title = "A review with a title that is far too long for one line of a page ".repeat(3);
        let mut paper = Paper::new(size, &title, &"Subtitle ".repeat(60)).unwrap();
        paper.figures(&[
            ("label ".repeat(20).as_str(), "123,456,789 ± 1,000 mAh"),
            ("b", "1"),
            ("c", "2"),
            ("d", "3"),
            ("e", "4"),
        ]);
        for part in 0..30 {
            paper.heading(&format!("Part {part}"));
            paper.paragraph(&"Words of a paragraph that fills some lines. ".repeat(20));
            paper.callout(&"Do not charge it. ".repeat(30));
        }
        paper.callout(&"Longer than a page. ".repeat(900));
        paper.drawing(60.0, |canvas, area| {
            canvas.outline(area, 0.2, packmuster::print::canvas::Ink::Accent);
        });
        let pages = check(&Pdf::new(&paper.finish().unwrap()), size);
        for part in 0..30 {
            let page = pages.iter().find(|page| page.contains(&format!("Part {part}\n"))).unwrap();
            assert!(
                page.split(&format!("Part {part}\n")).nth(1).unwrap().starts_with("Words"),
                "lonely heading"
            );
        }
    }
}

#[test]
fn a_row_with_too_few_cells_is_named() {
    let mut table = Table::new(vec![Column::text("a", 1.0), Column::text("b", 1.0)]);
    table.row(["1", "2"]);
    table.row(["1"]);
    let mut paper = Paper::new(PageSize::A4, "t", "s").unwrap();
    paper.table(&table);
    assert_eq!(paper.finish(), Err(PrintError::Cells { row: 2, cells: 1, columns: 2 }));
}
