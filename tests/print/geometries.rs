//! Geometry files: what is wrong is named, and nothing makes the reader fall over.

use packmuster::print::geometry::{Geometry, GeometryError};
use packmuster::print::labels::{Drift, Label, Marks, SheetRequest, named, names, sheet};
use proptest::prelude::*;

use super::tags;

const GOOD: &str = "kind = 'sheet'\ntitle = 'Ours'\npage_width_mm = 210\npage_height_mm = 297\ncolumns = 5\nrows = 13\n\
    label_width_mm = 38.1\nlabel_height_mm = 21.2\npitch_x_mm = 38.1\npitch_y_mm = 21.2\nmargin_left_mm = 9.75\n\
    margin_top_mm = 10.7\nmodule_mm = 0.55\n";

/// A line of the good text replaced.
fn with(field: &str, line: &str) -> String {
    let lines = GOOD.lines().map(|old| if old.starts_with(&format!("{field} ")) { line } else { old });
    lines.collect::<Vec<_>>().join("\n")
}

#[test]
fn the_files_of_the_program_are_all_known_and_all_good() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/labels");
    let mut stems: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "toml"))
        .map(|path| path.file_stem().unwrap().to_str().unwrap().to_owned())
        .collect();
    stems.sort();
    let mut known: Vec<&str> = names().collect();
    known.sort_unstable();
    assert_eq!(stems, known);
    for name in known {
        let geometry = Geometry::parse(named(name).unwrap()).unwrap();
        let count = name.rsplit('-').next().unwrap().parse().unwrap_or(1);
        assert_eq!(geometry.positions(), count, "{name}");
    }
    assert_eq!(named("a4-66"), None);
}

#[test]
fn errors_name_the_field_and_the_value() {
    Geometry::parse(GOOD).unwrap();
    for (field, line, says) in [
        ("kind", "kind = 'fan'", "`kind` is `fan`"),
        ("kind", "kind = 3", "`kind` is 3"),
        ("kind", "", "`kind` is missing"),
        ("title", "title = ''", "`title` is ``"),
        ("rows", "rows = 0", "`rows` is 0"),
        ("rows", "rows = 2.5", "`rows` is 2.5"),
        ("rows", "rows = 14", "`rows` is 14 on a page of 297 mm: the last row would end at 307.50 mm"),
        (
            "columns",
            "columns = 6",
            "`columns` is 6 on a page of 210 mm: the last column would end at 238.35 mm",
        ),
        ("columns", "", "`columns` is missing"),
        ("pitch_x_mm", "pitch_x_mm = 30", "`pitch_x_mm` is 30: a length of 38.1 to 1000 mm"),
        ("pitch_y_mm", "pitch_y_mm = 'wide'", "`pitch_y_mm` is \"wide\""),
        ("margin_left_mm", "margin_left_mm = -1.0", "`margin_left_mm` is -1"),
        ("margin_top_mm", "margin_top_mm = nan", "`margin_top_mm` is nan"),
        ("page_height_mm", "page_height_mm = inf", "`page_height_mm` is inf"),
        ("label_width_mm", "label_width_mm = 3", "`label_width_mm` is 3"),
        ("module_mm", "module_mm = 0.29", "`module_mm` is 0.29: a length of 0.3 to 1000 mm"),
        (
            "module_mm",
            "module_mm = 0.74",
            "`module_mm` is 0.74: 29 modules (symbol and quiet zone) make 21.46 mm",
        ),
        ("module_mm", "module_mm = 0.5\nmodul_mm = 0.6", "`modul_mm` (value 0.6) is not known"),
    ] {
        let error = Geometry::parse(&with(field, line)).unwrap_err();
        assert!(error.to_string().contains(says), "{line}: {error}");
    }
    assert!(matches!(Geometry::parse("kind = "), Err(GeometryError::Toml(_))));
}

/// A value that somebody might write behind a field, good or bad.
fn value() -> impl Strategy<Value = String> {
    prop_oneof![
        any::<f64>().prop_map(|n| format!("{n:?}").replace("inf", "1e999").replace("NaN", "nan")),
        (0.0_f64..300.0).prop_map(|n| format!("{n:.2}")),
        any::<i64>().prop_map(|n| n.to_string()),
        (0_u8..40).prop_map(|n| n.to_string()),
        Just("'sheet'".to_owned()),
        Just("'roll'".to_owned()),
        Just("[1, 2]".to_owned()),
        "'[a-zA-Z0-9 ]{0,70}'",
    ]
}

proptest! {
    #[test]
    fn no_text_makes_the_reader_panic(text in "\\PC{0,200}") {
        let _ = Geometry::parse(&text);
    }

    #[test]
    fn a_geometry_that_is_read_can_be_printed(changes in prop::collection::vec((0..13_usize, value()), 0..4)) {
        let mut lines: Vec<String> = GOOD.lines().map(str::to_owned).collect();
        for (line, value) in changes {
            let field = lines[line].split(' ').next().unwrap().to_owned();
            lines[line] = format!("{field} = {value}");
        }
        if let Ok(geometry) = Geometry::parse(&lines.join("\n")) {
            for position in 0..geometry.positions() {
                let label = geometry.label(position);
                let (width_mm, height_mm) = geometry.page_mm();
                prop_assert!(label.corner.x_mm >= 0.0 && label.right_mm() <= width_mm + 0.02);
                prop_assert!(label.corner.y_mm >= 0.0 && label.bottom_mm() <= height_mm + 0.02);
            }
            let labels: Vec<Label<'_>> = tags(2).into_iter().map(Label::from).collect();
            let request = SheetRequest { geometry: &geometry, labels: &labels, start: 1, drift: Drift::default(), marks: Marks::None };
            let _ = sheet(&request);
        }
    }
}
