//! The page for browsers, judged by a browser: axe-core in Chromium, at a desk, on a phone, in the dark and printed.

mod chromium;

use packmuster::print::chart::Chart;
use packmuster::print::document::Document;
use packmuster::print::table::{Column, Table};

use super::document::rich;
use super::poppler::Pdf;
use chromium::{Browser, View};

/// Nothing that axe-core knows is wrong, no contrast is left open, nothing overflows, no text is below 12 pt.
fn check(page: &str, view: View) -> serde_json::Value {
    let seen = Browser::new(page).look(view);
    assert_eq!(seen["violations"], serde_json::json!([]), "{view:?}");
    assert_eq!(seen["incomplete"], serde_json::json!([]), "{view:?}");
    assert_eq!(seen["drawn"], serde_json::json!([]), "{view:?}: a text of a chart is too pale");
    assert_eq!(seen["small"], serde_json::json!([]), "{view:?}: text below 12 pt");
    assert_eq!(seen["overflow"], 0, "{view:?}: the page is wider than its window");
    assert_eq!(seen["dark"], view == View::Dark, "{view:?}");
    assert_eq!(seen["faces"], 2, "the typeface of the page is not in use");
    assert_eq!(seen["loaded"], serde_json::json!([]), "something was loaded from elsewhere");
    assert!(seen["passes"].as_u64().unwrap() > 15, "{seen}");
    seen
}

#[test]
fn a_rich_page_is_accessible_at_a_desk_and_in_the_dark() {
    let page = rich().page().unwrap();
    check(&page, View::Desk);
    check(&page, View::Dark);
}

#[test]
fn the_review_of_the_demo_is_accessible_and_fits_a_phone() {
    let page = std::fs::read_to_string(crate::demo::demo().join("review.html")).unwrap();
    check(&page, View::Desk);
    check(&page, View::Phone(360));
}

#[test]
fn a_rich_page_fits_a_phone() {
    let page = rich().page().unwrap();
    check(&page, View::Phone(320));
    let scrolling = &check(&page, View::Phone(360))["scrolling"];
    assert!(scrolling.as_u64().unwrap() > 3, "wide tables and charts scroll in their frames: {scrolling}");
}

#[test]
fn a_page_with_nothing_on_it_is_accessible() {
    check_bare(&Document::new("Review", "").page().unwrap());
    let mut document = Document::new("Review", "May 2026");
    document.heading("One");
    document.heading("");
    document.figures(Vec::new());
    document.heading("Two");
    check_bare(&document.page().unwrap());
}

fn check_bare(page: &str) {
    let seen = Browser::new(page).look(View::Desk);
    assert_eq!(seen["violations"], serde_json::json!([]));
}

/// The check would see what is wrong: each of these changes is found by the rule that is meant for it.
#[test]
fn flaws_are_found() {
    let page = rich().page().unwrap();
    let flaws = [
        ("--grey: #54585c", "--grey: #9a9a9a", "color-contrast"),
        ("lang=\"en\"", "", "html-has-lang"),
        ("<h2 id=\"part-1\">", "<h4 id=\"part-1\">", "heading-order"),
        ("scope=\"col\"", "scope=\"up\"", "scope-attr-valid"),
        (
            "role=\"region\" tabindex=\"0\" aria-label=\"Where",
            "role=\"region\" aria-label=\"Packs near their end, nearest first\" x=\"",
            "landmark-unique",
        ),
    ];
    for (from, to, rule) in flaws {
        assert!(page.contains(from), "{from}");
        let seen = Browser::new(&page.replace(from, to)).look(View::Desk);
        let rules: Vec<&str> = seen["violations"]
            .as_array()
            .unwrap()
            .iter()
            .map(|found| found["id"].as_str().unwrap())
            .collect();
        assert!(rules.contains(&rule), "{to}: {rules:?}");
    }
    let pale = page.replace("fill=\"#54585c\"", "fill=\"#9a9a9a\"");
    let seen = Browser::new(&pale).look(View::Desk);
    assert!(!seen["drawn"].as_array().unwrap().is_empty());
    let small = page.replace(".note { color: var(--grey); font-size: 1rem", ".note { font-size: 0.9rem");
    assert_eq!(Browser::new(&small).look(View::Desk)["small"].as_array().unwrap().len(), 1);
    let wide = page.replace("<h1>", "<h1 style=\"white-space: nowrap; width: 900px\">");
    let seen = Browser::new(&wide).look(View::Phone(360));
    assert!(seen["overflow"].as_u64().unwrap() > 300, "{}", seen["overflow"]);
}

/// Nothing is lost, heads stand on every page of a table, all stays between the margins, and the manager's page ends.
#[test]
fn the_page_can_be_printed() {
    let bytes = Browser::new(&rich().page().unwrap()).print();
    let pdf = Pdf::new(&bytes);
    let (count, width_pt, _) = pdf.info();
    let pages = pdf.pages();
    assert_eq!(pages.len(), count);
    assert!(pages[0].contains("kept apart") && !pages[0].contains("Packs near their end"), "{}", pages[0]);
    assert!(!pages.concat().contains("Contents") && !pages.concat().contains("Back to the top"));
    let mut rows = 0;
    for (number, page) in pages.iter().enumerate() {
        assert!(page.contains(&format!("page {} of {count}", number + 1)), "{page}");
        let here = page.matches("-Q9M2-DXWT-8").count();
        assert!(here == 0 || page.contains("(mAh) Where Why"), "no heads: {page}");
        rows += here;
    }
    assert_eq!(rows, 91);
    assert!(pages.iter().filter(|page| page.contains("-Q9M2-DXWT-8")).count() > 2);
    for word in pdf.words() {
        let right_mm = width_pt / 72.0 * 25.4 - 19.5;
        assert!(word.left_mm > 19.5 && word.right_mm < right_mm, "{word:?}");
    }
}

#[test]
fn nothing_gets_out_of_its_text_and_nothing_is_asked_for() {
    let nasty = "</p></title></style><script>x</script>\"' onload=\"x&amp;\u{0}\u{202e}";
    let mut document = Document::new(nasty, nasty);
    for _ in 0..2 {
        document.heading(nasty);
        document.paragraph(nasty);
        document.note(nasty);
        document.callout(nasty);
    }
    document.figures(vec![(nasty.to_owned(), nasty.to_owned())]);
    let mut table = Table::new(vec![Column::text(nasty, 1.0), Column::number(nasty, 1.0)]);
    table.row([nasty, nasty]);
    document.table(nasty, table);
    document.chart(Chart::new(nasty, nasty, nasty).reading(nasty), 50.0);
    let page = document.page().unwrap();
    for out in ["<script", "\" onload", "\u{202e}", "\u{0}"] {
        assert!(!page.contains(out), "{out}");
    }
    assert_eq!(page.matches("</style>").count(), 1);
    for outside in [" src=", "http:", "https:", "@import"] {
        assert!(!page.contains(outside), "{outside}");
    }
    assert!(page.split("href=\"").skip(1).all(|link| link.starts_with('#')));
    assert!(page.split("url(").skip(1).all(|address| address.starts_with("data:font/ttf;base64,")));
    check(&page, View::Desk);
    check(&page, View::Phone(360));
}
