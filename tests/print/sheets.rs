//! Label sheets: what is printed can be read, lies where it should, and is small.

use packmuster::domain::tag::Tag;
use packmuster::print::PrintError;
use packmuster::print::calibration::calibration;
use packmuster::print::canvas::{Area, Place};
use packmuster::print::geometry::{Geometry, Kind};
use packmuster::print::labels::{CAUTION, Drift, Label, Marks, SheetRequest, names, sheet, takes_captions};
use packmuster::print::qr::Symbol;

use super::poppler::{Pdf, Word};
use super::reading::{cut, pixels, read_one};
use super::{geometry, tags};

fn print(geometry: &Geometry, tags: &[Tag], start: usize, drift: Drift) -> Vec<u8> {
    let labels: Vec<Label<'_>> = tags.iter().copied().map(Label::from).collect();
    sheet(&SheetRequest { geometry, labels: &labels, start, drift, marks: Marks::None }).unwrap()
}

/// The place of a code's first group on a sheet.
fn place(words: &[Word], tag: &Tag) -> (usize, f32, f32) {
    let group = tag.to_string().split('-').next().unwrap().to_owned();
    let word = words.iter().find(|word| word.text.starts_with(&group)).unwrap();
    (word.page, word.left_mm, word.top_mm)
}

fn every_tag_is_read(name: &str) {
    let geometry = geometry(name);
    let tags = tags(geometry.positions().max(5));
    let pdf = Pdf::new(&print(&geometry, &tags, 1, Drift::default()));
    for dpi in [300, 150] {
        let pages = pdf.pictures(dpi);
        for (count, tag) in tags.iter().enumerate() {
            let page = &pages[count / geometry.positions()];
            // The symbol and the beginning of the text beside it.
            let width_mm = geometry.symbol_mm() + 3.0;
            let label = cut(page, &Area { width_mm, ..geometry.label(count) }, dpi);
            assert_eq!(
                read_one(&label).as_deref(),
                Some(tag.text()),
                "{name} at {dpi} dpi, label {}",
                count + 1
            );
        }
    }
}

#[test]
fn every_tag_of_a4_21_is_read() {
    every_tag_is_read("a4-21");
}

#[test]
fn every_tag_of_a4_40_is_read() {
    every_tag_is_read("a4-40");
}

#[test]
fn every_tag_of_a4_65_is_read() {
    every_tag_is_read("a4-65");
}

#[test]
fn every_tag_of_a4_189_is_read() {
    every_tag_is_read("a4-189");
}

#[test]
fn every_tag_of_letter_30_is_read() {
    every_tag_is_read("letter-30");
}

#[test]
fn every_tag_of_letter_80_is_read() {
    every_tag_is_read("letter-80");
}

#[test]
fn every_tag_of_the_rolls_is_read() {
    every_tag_is_read("roll-30x15");
    every_tag_is_read("roll-50x25");
    assert_eq!(names().count(), 8, "a geometry has no reading test");
}

/// The four modules around every symbol stay white, and its finder's corner is where the geometry says.
#[test]
fn quiet_zones_are_white_and_modules_have_their_size() {
    let dpi = 600;
    for name in ["a4-65", "a4-189", "roll-30x15"] {
        let geometry = geometry(name);
        let (module_mm, side_mm) = (geometry.module_mm(), geometry.symbol_mm());
        let page = &Pdf::new(&print(&geometry, &tags(1), 1, Drift::default())).pictures(dpi)[0];
        let label = geometry.label(0);
        let left_mm = label.corner.x_mm + if name == "a4-65" { 1.0 } else { 0.0 };
        let corner = Place::new(left_mm, label.corner.y_mm + (label.height_mm - side_mm) / 2.0);
        let dark = |x_mm: f32, y_mm: f32| {
            let place = corner.by(x_mm, y_mm);
            page.get_pixel(pixels(place.x_mm, dpi), pixels(place.y_mm, dpi)).0[0] < 128
        };
        let step_mm = 25.4 / 600.0;
        let quiet_mm = 4.0 * module_mm;
        let steps = pixels(side_mm, dpi) - 1;
        for (x, y) in (1..steps).flat_map(|y| (1..steps).map(move |x| (x, y))) {
            let [x_mm, y_mm] = [x, y].map(|n| f32::from(u16::try_from(n).unwrap()) * step_mm);
            let within = |mm: f32| mm > quiet_mm - step_mm && mm < side_mm - quiet_mm + step_mm;
            assert!(within(x_mm) && within(y_mm) || !dark(x_mm, y_mm), "{name}: ink at {x_mm}, {y_mm}");
        }
        // The upper edge of the first finder: seven dark modules, then a light one.
        let row_mm = quiet_mm + module_mm / 2.0;
        for module in 0..8_u8 {
            let x_mm = quiet_mm + (f32::from(module) + 0.5) * module_mm;
            assert_eq!(dark(x_mm, row_mm), module < 7, "{name}: module {module}");
        }
        assert!(!dark(quiet_mm - step_mm, row_mm) && dark(quiet_mm + step_mm, row_mm), "{name}");
    }
}

/// Between two dark modules the ink has no seam, at resolutions that no module fits.
#[test]
fn no_hairline_runs_between_modules() {
    let (geometry, tags) = (geometry("a4-65"), tags(10));
    let pdf = Pdf::new(&print(&geometry, &tags, 1, Drift::default()));
    for (dpi, page) in
        [211, 307].into_iter().flat_map(|dpi| [(dpi, pdf.pictures(dpi)), (dpi, pdf.cairo_pictures(dpi))])
    {
        let page = &page[0];
        for (position, tag) in tags.iter().enumerate() {
            let symbol = Symbol::of_tag(tag).unwrap();
            let label = geometry.label(position);
            let above_mm = (label.height_mm - geometry.symbol_mm()) / 2.0;
            let corner = label.corner.by(above_mm.min(1.0), above_mm);
            let ink = |x: f32, y: f32| {
                let dot = |mm: f32| pixels(mm - 12.7 / f32::from(u16::try_from(dpi).unwrap()), dpi);
                let place = corner.by((x + 4.0) * geometry.module_mm(), (y + 4.0) * geometry.module_mm());
                page.get_pixel(dot(place.x_mm), dot(place.y_mm)).0[0]
            };
            for (x, y) in (0..21_i16).flat_map(|y| (0..21_i16).map(move |x| (x, y))) {
                if !symbol.is_dark(x, y) {
                    continue;
                }
                let middle = |n: i16| f32::from(n) + 0.5;
                if symbol.is_dark(x + 1, y) {
                    assert_eq!(ink(f32::from(x + 1), middle(y)), 0, "{tag} at {dpi} dpi, right of {x}, {y}");
                }
                if symbol.is_dark(x, y + 1) {
                    assert_eq!(ink(middle(x), f32::from(y + 1)), 0, "{tag} at {dpi} dpi, below {x}, {y}");
                }
            }
        }
    }
}

#[test]
fn a_further_tag_costs_under_200_bytes() {
    for name in ["a4-65", "a4-189", "letter-80"] {
        let geometry = geometry(name);
        let [few, many] = [1, 11].map(|pages| {
            let tags = tags(pages * geometry.positions());
            print(&geometry, &tags, 1, Drift::default()).len()
        });
        let each = (many - few) / (10 * geometry.positions());
        assert!((60..200).contains(&each), "{name}: {each} bytes");
    }
}

#[test]
fn drift_moves_text_and_symbols_as_asked() {
    let (geometry, tags) = (geometry("a4-65"), tags(65));
    let drift = Drift { x_mm: 0.8, y_mm: -0.6, grow_x_mm: 1.2, grow_y_mm: -0.4 };
    let straight = Pdf::new(&print(&geometry, &tags, 1, Drift::default()));
    let moved = Pdf::new(&print(&geometry, &tags, 1, drift));
    let (before, after) = (straight.words(), moved.words());
    // First label, last of the first row, the middle one, first of the last row, last of all.
    for (position, x_mm, y_mm) in
        [(0, 0.8, -0.6), (4, 2.0, -0.6), (32, 1.4, -0.8), (60, 0.8, -1.0), (64, 2.0, -1.0)]
    {
        let (_, from_x, from_y) = place(&before, &tags[position]);
        let (_, to_x, to_y) = place(&after, &tags[position]);
        let seen = (to_x - from_x, to_y - from_y);
        assert!((seen.0 - x_mm).abs() < 0.01 && (seen.1 - y_mm).abs() < 0.01, "label {position}: {seen:?}");
    }
    // The ink of the last label's symbol: the first dark column and row of its left part.
    let ink = |pdf: &Pdf| {
        let label = geometry.label(64);
        let part = cut(&pdf.pictures(300)[0], &Area { width_mm: geometry.symbol_mm(), ..label }, 300);
        let dark: Vec<_> = part.enumerate_pixels().filter(|(_, _, pixel)| pixel.0[0] < 128).collect();
        let first =
            |axis: fn(&(u32, u32, &image::Luma<u8>)) -> u32| i64::from(dark.iter().map(axis).min().unwrap());
        (first(|pixel| pixel.0), first(|pixel| pixel.1))
    };
    let (from, to) = (ink(&straight), ink(&moved));
    // 2.0 mm are 23.6 dots at 300 dpi, 1.0 mm are 11.8.
    assert!((to.0 - from.0 - 24).abs() <= 1 && (to.1 - from.1 + 12).abs() <= 1, "{from:?} {to:?}");
}

#[test]
fn a_half_used_sheet_goes_on_at_its_first_free_position() {
    let (geometry, tags) = (geometry("a4-65"), tags(3));
    let whole = Pdf::new(&print(&geometry, &super::tags(65), 1, Drift::default())).words();
    let pdf = Pdf::new(&print(&geometry, &tags, 64, Drift::default()));
    assert_eq!(pdf.info().0, 2);
    let words = pdf.words();
    for (tag, page, position) in [(0, 0, 63), (1, 0, 64), (2, 1, 0)] {
        let (_, x_mm, y_mm) = place(&whole, &super::tags(65)[position]);
        let seen = place(&words, &tags[tag]);
        assert!(seen.0 == page && (seen.1 - x_mm).abs() < 0.01 && (seen.2 - y_mm).abs() < 0.01, "{seen:?}");
    }
}

#[test]
fn impossible_requests_are_refused_with_the_value() {
    let geometry = geometry("a4-65");
    let labels: Vec<Label<'_>> = tags(2).into_iter().map(Label::from).collect();
    let ask = |labels, start, drift| {
        sheet(&SheetRequest { geometry: &geometry, labels, start, drift, marks: Marks::None })
    };
    for start in [0, 66, usize::MAX] {
        assert_eq!(ask(&labels, start, Drift::default()), Err(PrintError::Start { start, positions: 65 }));
    }
    assert_eq!(ask(&[], 1, Drift::default()), Err(PrintError::Nothing));
    for (x_mm, grow_y_mm, says) in [
        (f32::NAN, 0.0, "drift x of NaN mm"),
        (7.5, 0.0, "drift x of 7.5 mm"),
        (0.0, -9.0, "drift grow y of -9 mm"),
    ] {
        let drift = Drift { x_mm, grow_y_mm, ..Drift::default() };
        let error = ask(&labels, 1, drift).unwrap_err().to_string();
        assert!(error.contains(says), "{error}");
    }
    let full = super::geometry("a4-40");
    let drift = Drift { x_mm: -4.5, ..Drift::default() };
    let request = SheetRequest { geometry: &full, labels: &labels, start: 1, drift, marks: Marks::None };
    assert!(matches!(sheet(&request), Err(PrintError::Drift { field: "x", .. })));
}

#[test]
fn the_margin_tells_what_the_sheet_is_and_calibration_always_does() {
    for name in names() {
        let geometry = geometry(name);
        let text = Pdf::new(&print(&geometry, &tags(1), 1, Drift::default())).pages().concat();
        let has_margin = geometry.kind() == Kind::Sheet && geometry.label(0).corner.y_mm > 5.0;
        assert_eq!(text.contains(CAUTION), has_margin, "{name}");
        assert_eq!(text.contains(geometry.title()), has_margin, "{name}");
        let drift = Drift { x_mm: 0.25, ..Drift::default() };
        for drift in [Drift::default(), drift] {
            let calibration = Pdf::new(&calibration(&geometry, &drift).unwrap());
            let text = calibration.pages().concat().replace('\n', " ");
            let side = format!("Symbol {:.1} mm", 21.0 * geometry.module_mm());
            assert!(text.contains(CAUTION) && text.contains(&side), "{name}: {text}");
            assert_eq!(text.contains("printed with x 0.25, y 0,"), drift.x_mm > 0.0, "{name}: {text}");
        }
    }
}

#[test]
fn kind_code_and_caption_are_text_in_reading_order() {
    let geometry = geometry("a4-21");
    let tags = tags(21);
    let labels: Vec<Label<'_>> =
        tags.iter().map(|&tag| Label { tag, caption: Some("Slot 4, long bench") }).collect();
    let request = SheetRequest {
        geometry: &geometry,
        labels: &labels,
        start: 1,
        drift: Drift::default(),
        marks: Marks::None,
    };
    let text = Pdf::new(&sheet(&request).unwrap()).pages().concat();
    let mut rest = text.as_str();
    for tag in &tags {
        let code = tag.to_string();
        let (first, second) = code.split_at(9);
        let second = second.trim_start_matches('-');
        let kind = tag.kind().word();
        let expected = format!("{first}\n{second}\nSlot 4, long bench\n");
        let (before, after) =
            rest.split_once(&expected).unwrap_or_else(|| panic!("{expected} is not in {rest}"));
        assert_eq!(before.lines().last().unwrap().to_lowercase(), kind);
        rest = after;
        assert_eq!(format!("{first}{second}").parse::<Tag>(), Ok(*tag));
    }
    assert!(takes_captions(&geometry).unwrap());
    assert!(!takes_captions(&super::geometry("a4-189")).unwrap());
}

#[test]
fn sheets_are_small_and_the_same_every_time() {
    for name in names() {
        let geometry = geometry(name);
        let tags = tags(geometry.positions());
        let first = print(&geometry, &tags, 1, Drift::default());
        assert!(first.len() < 110_000, "{name}: {} bytes", first.len());
        assert_eq!(first, print(&geometry, &tags, 1, Drift::default()), "{name}");
        let (pages, width_pt, height_pt) = Pdf::new(&first).info();
        let (width_mm, height_mm) = geometry.page_mm();
        assert_eq!(pages, 1);
        assert!((width_pt - width_mm / 25.4 * 72.0).abs() < 0.01, "{name}: {width_pt}");
        assert!((height_pt - height_mm / 25.4 * 72.0).abs() < 0.01, "{name}: {height_pt}");
    }
}
