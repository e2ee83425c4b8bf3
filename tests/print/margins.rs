//! Around the labels: a scale of true length, and marks to cut by that keep out of the labels.

use image::GrayImage;
use packmuster::print::canvas::{Area, Place};
use packmuster::print::geometry::{Geometry, Kind};
use packmuster::print::labels::{Drift, Label, Marks, SheetRequest, names, sheet};

use super::poppler::{Pdf, Word};
use super::reading::{cut, pixels, read_one};
use super::tags;

const PLAIN: Drift = Drift { x_mm: 0.0, y_mm: 0.0, grow_x_mm: 0.0, grow_y_mm: 0.0 };
const AWRY: Drift = Drift { x_mm: 0.8, y_mm: 0.3, grow_x_mm: -0.6, grow_y_mm: -0.5 };

fn print(geometry: &Geometry, drift: Drift, marks: Marks) -> Vec<u8> {
    let labels: Vec<Label<'_>> = tags(geometry.positions()).into_iter().map(Label::from).collect();
    sheet(&SheetRequest { geometry, labels: &labels, start: 1, drift, marks }).unwrap()
}

fn is_dark(page: &GrayImage, x_mm: f32, y_mm: f32, dpi: u32) -> bool {
    // A hairline is some dots wide and may lie a dot beside.
    let [x, y] = [x_mm, y_mm].map(|mm| pixels(mm, dpi));
    let near = |n: u32| n.saturating_sub(1)..=n + 1;
    near(x).any(|x| near(y).any(|y| x < page.width() && y < page.height() && page.get_pixel(x, y).0[0] < 128))
}

/// The longest dark run along the rows beside a word, in dots.
fn longest_run(page: &GrayImage, word: &Word, dpi: u32) -> u32 {
    let rows = pixels(word.top_mm, dpi)..pixels(word.bottom_mm, dpi);
    let run = |y: u32| {
        let (longest, _) = (0..pixels(word.left_mm, dpi)).fold((0, 0), |(longest, run), x| {
            let run = if page.get_pixel(x, y).0[0] < 128 { run + 1 } else { 0 };
            (run.max(longest), run)
        });
        longest
    };
    rows.map(run).max().unwrap()
}

/// The first word beside the scale.
fn beside_scale(words: &[Word]) -> Option<&Word> {
    words
        .windows(2)
        .find(|pair| pair[1].text.starts_with("mm") && pair[0].text.ends_with('0'))
        .map(|pair| &pair[0])
}

#[test]
fn the_scale_has_its_length_and_touches_nothing() {
    for name in names() {
        let geometry = super::geometry(name);
        for (drift, marks) in [(PLAIN, Marks::None), (AWRY, Marks::Cut)] {
            if drift != PLAIN && (name == "a4-40" || geometry.kind() == Kind::Roll) {
                continue;
            }
            let pdf = Pdf::new(&print(&geometry, drift, marks));
            let text = pdf.pages().concat();
            let has_room = geometry.kind() == Kind::Sheet && name != "a4-40";
            let advice = "50 mm: if this is not 50 mm long, print again at 100 %.";
            assert_eq!(text.contains(advice), has_room, "{name}: {text}");
            if !has_room {
                continue;
            }
            let (words, page) = (pdf.words(), &pdf.pictures(600)[0]);
            let word = words.iter().rfind(|word| word.text == "if").unwrap();
            let dots = longest_run(page, word, 600);
            // 50 mm are 1181.1 dots.
            assert!((1180..=1183).contains(&dots), "{name}: {dots} dots");
            let last = geometry.label(geometry.positions() - 1);
            let shift_mm = drift.y_mm + drift.grow_y_mm;
            let low_mm = last.bottom_mm() + shift_mm + if marks == Marks::Cut { 2.25 } else { 0.1 };
            let clear = Area::new(Place::new(6.0, low_mm), 60.0, if marks == Marks::Cut { 0.2 } else { 1.8 });
            let clear = cut(page, &clear, 600);
            assert!(clear.pixels().all(|pixel| pixel.0[0] > 200), "{name}: ink below the labels");
            // The line stands in the other margin.
            let caution = words.iter().find(|word| word.text == "vents").unwrap();
            assert!(caution.bottom_mm < geometry.label(0).corner.y_mm + 1.0, "{name}: {caution:?}");
            assert!(word.bottom_mm < geometry.page_mm().1 - 4.5, "{name}: {word:?}");
        }
    }
}

#[test]
fn a_narrow_page_has_a_shorter_scale_and_fewer_words() {
    let narrow = |width_mm: f32, margin_top_mm: f32| {
        let text = format!(
            "kind = 'sheet'\ntitle = 'Narrow'\npage_width_mm = {width_mm}\npage_height_mm = 100\ncolumns = 1\nrows = 2\n\
             label_width_mm = 38\nlabel_height_mm = 21\npitch_x_mm = 38\npitch_y_mm = 25\nmargin_left_mm = 8\n\
             margin_top_mm = {margin_top_mm}\nmodule_mm = 0.55"
        );
        Pdf::new(&print(&Geometry::parse(&text).unwrap(), PLAIN, Marks::None))
    };
    for (width_mm, margin_top_mm, length, says) in [
        (60.0, 20.0, "20", None),
        (84.0, 20.0, "50", None),
        // The line has no room above and stands below: then the scale finds no room.
        (84.0, 3.0, "", Some("vents")),
        // The labels lie low: no room below, and the line is above.
        (84.0, 54.0, "", Some("vents")),
    ] {
        let pdf = narrow(width_mm, margin_top_mm);
        let (words, pages) = (pdf.words(), pdf.pictures(600));
        let word = beside_scale(&words);
        assert_eq!(
            word.map_or("", |word| word.text.as_str()),
            length,
            "{width_mm} {margin_top_mm}: {words:?}"
        );
        if let Some(word) = word {
            let dots = longest_run(&pages[0], word, 600);
            let expected = pixels(length.parse().unwrap(), 600);
            assert!(dots.abs_diff(expected) <= 2, "{width_mm}: {dots} dots");
            assert!(!pdf.pages().concat().contains("print again"));
        }
        assert!(says.is_none_or(|says| words.iter().any(|word| word.text == says)), "{words:?}");
    }
}

#[test]
fn marks_to_cut_by_stand_at_every_edge_and_never_in_a_label() {
    for name in names() {
        let geometry = super::geometry(name);
        let (plain, marked) = (print(&geometry, PLAIN, Marks::None), print(&geometry, PLAIN, Marks::Cut));
        if geometry.kind() == Kind::Roll || name == "a4-40" {
            assert_eq!(plain, marked, "{name} has no margin");
            continue;
        }
        let pictures = [plain, marked].map(|bytes| Pdf::new(&bytes).pictures(300).swap_remove(0));
        for position in 0..geometry.positions() {
            let [before, after] = pictures.each_ref().map(|page| cut(page, &geometry.label(position), 300));
            assert!(before == after, "{name}: ink in label {}", position + 1);
        }
        let [_, page] = &pictures;
        let (first, last) = (geometry.label(0), geometry.label(geometry.positions() - 1));
        for position in 0..geometry.positions() {
            let label = geometry.label(position);
            for x_mm in [label.corner.x_mm, label.right_mm()] {
                assert!(is_dark(page, x_mm, first.corner.y_mm - 1.2, 300), "{name}: no mark above at {x_mm}");
                assert!(is_dark(page, x_mm, last.bottom_mm() + 1.2, 300), "{name}: no mark below at {x_mm}");
            }
            for y_mm in [label.corner.y_mm, label.bottom_mm()] {
                assert!(is_dark(page, first.corner.x_mm - 1.2, y_mm, 300), "{name}: no mark left at {y_mm}");
                assert!(is_dark(page, last.right_mm() + 1.2, y_mm, 300), "{name}: no mark right at {y_mm}");
            }
        }
        // A gutter of 3.15 mm between the columns has marks too.
        if name == "letter-30" {
            assert!(is_dark(page, first.right_mm() + 0.8, first.bottom_mm(), 300));
            assert!(is_dark(page, first.right_mm() + 2.4, first.bottom_mm(), 300));
        }
    }
}

#[test]
fn marks_move_with_the_drift_and_every_tag_is_read_beside_them() {
    let (geometry, dpi) = (super::geometry("a4-65"), 300);
    let page = &Pdf::new(&print(&geometry, AWRY, Marks::Cut)).pictures(dpi)[0];
    for (position, x_mm, y_mm) in [(0, 0.8, 0.3), (64, 0.2, -0.2)] {
        let label = geometry.label(position);
        let at_mm = label.corner.x_mm + x_mm;
        let beyond_mm = if position == 0 { label.corner.y_mm - 1.2 } else { label.bottom_mm() + 1.2 };
        assert!(is_dark(page, at_mm, beyond_mm + y_mm, dpi), "label {}", position + 1);
        assert!(!is_dark(page, at_mm - 0.5, beyond_mm + y_mm, dpi), "label {}", position + 1);
    }
    for (position, tag) in tags(65).iter().enumerate() {
        let label = geometry.label(position);
        let corner = label.corner.by(-1.0, -1.0);
        let around = Area::new(corner, geometry.symbol_mm() + 4.0, label.height_mm + 2.0);
        assert_eq!(read_one(&cut(page, &around, dpi)).as_deref(), Some(tag.text()), "label {}", position + 1);
    }
}
