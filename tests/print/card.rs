//! The command card: every command is on it, and the scanner trial.

use packmuster::domain::command::{Command, TRIAL};
use packmuster::domain::finding::CAUTIONS;
use packmuster::print::PageSize;
use packmuster::print::canvas::{Area, Place};
use packmuster::print::card::command_card;

use super::poppler::{Pdf, Word};
use super::reading::{cut, read_one};

/// Every command's symbol is read from the place beside the word that may be typed for it: the label belongs to the
/// symbol, and no other symbol is so near.
fn everything_is_read(size: PageSize) {
    let pdf = Pdf::new(&command_card(size).unwrap());
    let words = pdf.words();
    for dpi in [300, 150] {
        let pages = pdf.pictures(dpi);
        let beside = |word: &Word, side_mm: f32| {
            let corner = Place::new(word.left_mm - side_mm - 1.0, word.top_mm - side_mm);
            read_one(&cut(&pages[word.page], &Area::new(corner, side_mm + 12.0, side_mm * 1.8), dpi))
        };
        for command in Command::all() {
            let typed = |word: &&Word| {
                word.text == command.word() && is_small(word) && word.top_mm < size.height_mm() - 15.0
            };
            let [word] = words.iter().filter(typed).collect::<Vec<_>>()[..] else { panic!("{command}") };
            let tag = command.tag().unwrap();
            assert_eq!(beside(word, 17.0).as_deref(), Some(tag.text()), "{command}, {size:?} at {dpi} dpi");
        }
        let word =
            words.iter().find(|word| word.page == 1 && word.text == "Scan" && word.top_mm > 50.0).unwrap();
        assert_eq!(beside(word, 27.0).as_deref(), Some(TRIAL), "{size:?} at {dpi} dpi");
    }
}

/// True for the 10 pt of typed words, false for labels and other text: a line's box is 1.3 times its size.
fn is_small(word: &Word) -> bool {
    word.bottom_mm - word.top_mm < 10.5 * 1.3 / 72.0 * 25.4
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
        assert!(text.contains(CAUTIONS.trim_start_matches('D')), "{text}");
        for word in pdf.words() {
            assert!(word.left_mm > 5.0 && word.right_mm < size.width_mm() - 5.0, "{word:?}");
            assert!(word.top_mm > 5.0 && word.bottom_mm < size.height_mm() - 5.0, "{word:?}");
        }
    }
}
