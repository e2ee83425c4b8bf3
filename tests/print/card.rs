//! The command card: every command is on it, and the scanner trial.

use std::io::Cursor;
use std::time::Duration;

use image::ImageFormat;
use packmuster::domain::command::{Command, TRIAL};
use packmuster::domain::finding::CAUTIONS;
use packmuster::print::PageSize;
use packmuster::print::card::command_card;
use packmuster::scan::picture::{Limits, read_bytes};

use super::poppler::{Pdf, Word};

/// Every command's symbol is read from the whole page, and the word that may be typed for it stands beside it.
fn everything_is_read(size: PageSize) {
    let pdf = Pdf::new(&command_card(size).unwrap());
    let words = pdf.words();
    for dpi in [300, 150] {
        let mut found = Vec::new();
        for (page, picture) in pdf.pictures(dpi).into_iter().enumerate() {
            let mut bytes = Vec::new();
            picture.write_to(&mut Cursor::new(&mut bytes), ImageFormat::Png).unwrap();
            let limits = Limits { budget: Duration::from_secs(60), ..Limits::default() };
            let read = read_bytes(&bytes, "card", &limits).unwrap();
            assert!(read.unread.is_empty(), "{size:?} at {dpi} dpi: {:?}", read.unread);
            found.extend(read.found.into_iter().map(|found| (page, found)));
        }
        let mm = |pixels: f32| f64::from(pixels) * 25.4 / f64::from(dpi);
        for command in Command::all() {
            let tag = command.tag().unwrap();
            let (page, symbol) = found
                .iter()
                .find(|(_, found)| found.text == tag.text())
                .unwrap_or_else(|| panic!("{command} was not read, {size:?} at {dpi} dpi"));
            let right = symbol.corners.iter().map(|corner| mm(corner.x)).fold(0.0, f64::max);
            let top = symbol.corners.iter().map(|corner| mm(corner.y)).fold(f64::MAX, f64::min);
            let beside = |word: &&Word| {
                let (left, above) = (f64::from(word.left_mm), f64::from(word.top_mm));
                word.page == *page
                    && word.text == command.word()
                    && left > right
                    && is_small(word)
                    && left < right + 12.0
                    && (above - top).abs() < 16.0
            };
            assert_eq!(words.iter().filter(beside).count(), 1, "{command}, {size:?}");
        }
        assert!(found.iter().any(|(_, found)| found.text == TRIAL), "the trial, {size:?} at {dpi} dpi");
        assert_eq!(found.len(), Command::all().count() + 1);
    }
}

/// True for the 10 pt of typed words, false for the 12.5 pt of labels: a line's box is 1.3 times its size.
fn is_small(word: &Word) -> bool {
    word.bottom_mm - word.top_mm < 11.0 * 1.3 / 72.0 * 25.4
}

#[test]
fn every_command_and_the_trial_are_read_from_a4() {
    everything_is_read(PageSize::A4);
}

#[test]
fn every_command_and_the_trial_are_read_from_letter() {
    everything_is_read(PageSize::Letter);
}

#[test]
fn labels_words_and_cautions_are_on_the_card_and_inside_the_page() {
    for size in [PageSize::A4, PageSize::Letter] {
        let bytes = command_card(size).unwrap();
        assert_eq!(bytes, command_card(size).unwrap());
        assert!(bytes.len() < 80_000, "{} bytes", bytes.len());
        let pdf = Pdf::new(&bytes);
        let text = pdf.pages().concat().replace('\n', " ");
        for command in Command::all() {
            let label = command.label().trim_start_matches("No result: ").to_lowercase();
            assert!(
                text.to_lowercase().contains(&format!("{label} {}", command.word())),
                "{label} in {text}"
            );
        }
        assert!(text.contains(CAUTIONS.get(1..).unwrap()), "{text}");
        for word in pdf.words() {
            assert!(word.left_mm > 5.0 && word.right_mm < size.width_mm() - 5.0, "{word:?}");
            assert!(word.top_mm > 5.0 && word.bottom_mm < size.height_mm() - 5.0, "{word:?}");
        }
    }
}
