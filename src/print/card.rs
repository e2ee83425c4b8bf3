//! The command card: every command as a symbol with its words, in groups, and the scanner trial.
//!
//! Symbols stand four to a row, with more than a symbol's width of paper between neighbours, so that a hand scanner
//! sees one at a time (common practice, no source). Under each label stands the word that may be typed instead.

use super::canvas::{Area, Canvas, Ink, Place, count};
use super::qr::Symbol;
use super::text::{Align, Style};
use super::typeface::{CAP_HEIGHT, Face, PT_PER_MM};
use super::{PageSize, PrintError};
use crate::domain::command::{Command, TRIAL};
use crate::domain::finding::CAUTIONS;

const MODULE_MM: f32 = 0.55;
const ACROSS: usize = 4;
const SIDE_MM: f32 = 12.0;
const TOP_MM: f32 = 14.0;
const BOTTOM_MM: f32 = 14.0;
const GROUP_MM: f32 = 9.0;
const CAUTION_MM: f32 = 16.0;
const TITLE: Style = Style::new(Face::Bold, 18.0, Ink::Accent);
const HEADING: Style = Style::new(Face::Bold, 13.0, Ink::Accent);
const LABEL: Style = Style::new(Face::Bold, 12.5, Ink::Black);
const TYPED: Style = Style::new(Face::Regular, 10.0, Ink::Grey);
const TEXT: Style = Style::new(Face::Regular, 11.0, Ink::Black);
const FOOT: Style = Style::new(Face::Regular, 9.0, Ink::Grey);

/// The group of a command on the card, in its order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Group {
    Digits,
    Units,
    Answers,
    Session,
    Findings,
    NoResult,
    Reasons,
}

impl Group {
    const PAGES: [&'static [Self]; 2] = [
        &[Self::Digits, Self::Units, Self::Answers, Self::Session],
        &[Self::Findings, Self::NoResult, Self::Reasons],
    ];

    const fn heading(self) -> &'static str {
        match self {
            Self::Digits => "Numbers: digits first, then a unit or Enter",
            Self::Units => "Units",
            Self::Answers => "Answers and session",
            Self::Session => "Pack, carton and tag",
            Self::Findings => "Findings on the last pack",
            Self::NoResult => "The run ended without a reading; the slot",
            Self::Reasons => "Why a refusal is overruled",
        }
    }

    const fn of(command: Command) -> Self {
        match command {
            Command::Digit(_) | Command::Point | Command::Enter => Self::Digits,
            Command::Weeks | Command::Days | Command::PlayerHours | Command::Mah => Self::Units,
            Command::Yes | Command::No | Command::Undo | Command::End => Self::Answers,
            Command::Charged
            | Command::Round
            | Command::NextCarton
            | Command::Replace
            | Command::NoPack
            | Command::Unreadable
            | Command::Overrule => Self::Session,
            Command::Finding(_) => Self::Findings,
            Command::NoResult(_) | Command::Service(_) => Self::NoResult,
            Command::Reason(_) => Self::Reasons,
        }
    }

    fn commands(self) -> Vec<Command> {
        Command::all().filter(|&command| Self::of(command) == self).collect()
    }
}

/// Prints the command card, on two pages.
///
/// # Errors
/// [`PrintError`] when the typeface is damaged or the PDF cannot be written.
pub fn command_card(size: PageSize) -> Result<Vec<u8>, PrintError> {
    let mut card = Card { canvas: Canvas::new("Command card")?, size, used_mm: 0.0 };
    for groups in Group::PAGES {
        card.page(groups)?;
    }
    card.trial()?;
    card.number_pages();
    card.canvas.finish()
}

struct Card {
    canvas: Canvas,
    size: PageSize,
    used_mm: f32,
}

impl Card {
    fn width_mm(&self) -> f32 {
        self.size.width_mm() - 2.0 * SIDE_MM
    }

    /// Rows are as far apart as the fuller first page allows, on both pages.
    fn row_mm(&self) -> f32 {
        let [first, _] = Group::PAGES;
        let rows: usize = first.iter().map(|group| group.commands().len().div_ceil(ACROSS)).sum();
        let fixed_mm = TOP_MM + 12.0 + BOTTOM_MM + count(first.len()) * GROUP_MM;
        ((self.size.height_mm() - fixed_mm) / count(rows)).min(32.0)
    }

    fn page(&mut self, groups: &[Group]) -> Result<(), PrintError> {
        self.canvas.add_page(self.size.width_mm(), self.size.height_mm());
        let title = Place::new(SIDE_MM, TOP_MM + TITLE.size_pt * CAP_HEIGHT / PT_PER_MM);
        self.canvas.text(title, "Command card", TITLE, Align::Left);
        let hint = Place::new(self.size.width_mm() - SIDE_MM, title.y_mm);
        self.canvas.text(hint, "Scan a symbol, or type the word beside it.", TYPED, Align::Right);
        self.used_mm = TOP_MM + 9.0;
        for &group in groups {
            self.group(group)?;
        }
        Ok(())
    }

    fn number_pages(&mut self) {
        let foot = Place::new(self.size.width_mm() - SIDE_MM, self.size.height_mm() - 7.0);
        let pages = self.canvas.pages();
        for page in 0..pages {
            self.canvas.turn_to(page);
            self.canvas.text(foot, &format!("page {} of {pages}", page + 1), FOOT, Align::Right);
        }
    }

    fn heading(&mut self, text: &str) {
        let rule = Area::new(Place::new(SIDE_MM, self.used_mm), self.width_mm(), 0.3);
        self.canvas.fill(&rule, Ink::Hairline);
        self.canvas.text(Place::new(SIDE_MM, self.used_mm + 6.0), text, HEADING, Align::Left);
        self.used_mm += GROUP_MM;
    }

    fn group(&mut self, group: Group) -> Result<(), PrintError> {
        self.heading(group.heading());
        if group == Group::Findings {
            let place = Place::new(SIDE_MM, self.used_mm + 2.0);
            let width_mm = self.width_mm();
            let text = format!("A swollen, leaking, cracked or hot pack: {}", lower(CAUTIONS));
            self.canvas.block(place, &text, TEXT, width_mm);
            self.used_mm += CAUTION_MM;
        }
        let (row_mm, cell_mm) = (self.row_mm(), self.width_mm() / count(ACROSS));
        for row in group.commands().chunks(ACROSS) {
            for (column, &command) in row.iter().enumerate() {
                let corner = Place::new(SIDE_MM + count(column) * cell_mm, self.used_mm);
                self.command(command, Area::new(corner, cell_mm, row_mm))?;
            }
            self.used_mm += row_mm;
        }
        Ok(())
    }

    fn command(&mut self, command: Command, cell: Area) -> Result<(), PrintError> {
        let Some(tag) = command.tag() else { return Ok(()) };
        let symbol = Symbol::of_tag(&tag)?;
        let side_mm = symbol.side_mm(MODULE_MM);
        let corner = cell.corner.by(0.0, (cell.height_mm - side_mm) / 2.0);
        symbol.draw(&mut self.canvas, corner, MODULE_MM);
        let width_mm = cell.width_mm - side_mm - 1.0;
        let lines = self.canvas.faces().wrap(&label(command), LABEL, width_mm);
        let block_mm = count(lines.len() - 1) * LABEL.leading_mm()
            + TYPED.leading_mm()
            + LABEL.size_pt * CAP_HEIGHT / PT_PER_MM;
        let mut at = corner.by(side_mm, (side_mm - block_mm) / 2.0 + LABEL.size_pt * CAP_HEIGHT / PT_PER_MM);
        for line in &lines {
            self.canvas.text(at, line, LABEL, Align::Left);
            at = at.by(0.0, LABEL.leading_mm());
        }
        at = at.by(0.0, TYPED.leading_mm() - LABEL.leading_mm());
        self.canvas.text(at, command.word(), TYPED, Align::Left);
        Ok(())
    }

    fn trial(&mut self) -> Result<(), PrintError> {
        self.heading("Scanner trial");
        let symbol = Symbol::of_text(TRIAL)?;
        let corner = Place::new(SIDE_MM, self.used_mm);
        symbol.draw(&mut self.canvas, corner, MODULE_MM);
        let side_mm = symbol.side_mm(MODULE_MM);
        let text = "Scan this before the first session with a scanner: the answer names a wrong keyboard layout, \
                    Caps Lock, or a missing Enter.";
        let width_mm = self.width_mm() - side_mm - 2.0;
        let place = corner.by(side_mm + 2.0, side_mm / 2.0 - 2.0);
        self.canvas.block(place, text, TEXT, width_mm);
        Ok(())
    }
}

/// A sentence that goes on after a colon.
fn lower(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_lowercase().chain(letters).collect()).unwrap_or_default()
}

/// The label of a command, without what the heading of its group says already.
fn label(command: Command) -> String {
    let label = command.label();
    let Some(short) = label.strip_prefix("No result: ") else { return label.to_owned() };
    let mut letters = short.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_command_is_on_the_card_once_and_pages_hold_it() {
        let on_card: Vec<Command> =
            Group::PAGES.iter().flat_map(|groups| groups.iter()).flat_map(|group| group.commands()).collect();
        assert_eq!(on_card.len(), Command::all().count());
        assert!(Command::all().all(|command| on_card.contains(&command)));
    }

    /// Neighbours are at least a symbol's width apart, dark to dark.
    #[test]
    fn neighbours_are_a_symbol_apart() {
        for size in [PageSize::A4, PageSize::Letter] {
            let card = Card { canvas: Canvas::new("").unwrap(), size, used_mm: 0.0 };
            let symbol_mm = 21.0 * MODULE_MM;
            assert!(card.row_mm() >= 2.0 * symbol_mm, "{size:?}: rows {}", card.row_mm());
            assert!(card.width_mm() / count(ACROSS) >= 2.0 * symbol_mm);
        }
    }
}
