//! What a scanner or a person gives, in one line: three ways to scan come down to the same thing here.

use jiff::civil::Date;

use crate::domain::command::Command;
use crate::domain::tag::{Tag, TagError};
use crate::domain::units::{Celsius, MilliampHours, Milliohms, Minutes, PlayHours};

/// One line, understood as far as that needs no ledger.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Input {
    /// A tag of ours.
    Tag(Tag),
    /// A command, scanned or typed.
    Command(Command),
    /// Digits without a unit.
    Number(String),
    /// A result of the bench.
    Result(Measured),
    /// Hours on the player.
    Hours(PlayHours),
    /// A length of loan in days.
    Length(u32),
    /// A day.
    Day(Date),
    /// Several tags of ours in one line.
    Several(Vec<Tag>),
    /// A tag of ours that was misread or mistyped, with what is wrong.
    Slip(String),
    /// Anything else: a foreign code or words.
    Other(String),
    /// Nothing.
    Blank,
}

/// A result of the bench: a capacity, and what else was read off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Measured {
    /// Capacity.
    pub capacity: MilliampHours,
    /// Internal resistance.
    pub resistance: Option<Milliohms>,
    /// Temperature.
    pub temperature: Option<Celsius>,
    /// How long it took.
    pub took: Option<Minutes>,
}

impl Measured {
    /// A capacity alone.
    pub const fn capacity(capacity: MilliampHours) -> Self {
        Self { capacity, resistance: None, temperature: None, took: None }
    }
}

impl Input {
    /// Reads one line. Never fails: what is not understood is [`Input::Other`].
    pub fn read(line: &str) -> Self {
        let text = line.trim_matches(|c: char| c.is_whitespace() || c.is_control());
        if text.is_empty() {
            return Self::Blank;
        }
        if let Some(command) = Command::from_word(text) {
            return Self::Command(command);
        }
        match text.parse::<Tag>() {
            Ok(tag) => return Command::from_tag(tag).map_or(Self::Tag(tag), Self::Command),
            Err(_) if several(text).is_some() => return Self::Several(several(text).unwrap_or_default()),
            Err(error @ (TagError::Check(_) | TagError::Character { .. })) => {
                return Self::Slip(error.to_string());
            }
            Err(TagError::Foreign(_)) => {}
        }
        quantity(text).unwrap_or_else(|| Self::Other(text.to_owned()))
    }
}

/// Tags that run together, as from a scanner that sends no Enter.
fn several(text: &str) -> Option<Vec<Tag>> {
    let plain: Vec<char> = text.chars().filter(char::is_ascii_alphanumeric).collect();
    if plain.len() <= Tag::LENGTH || !plain.len().is_multiple_of(Tag::LENGTH) {
        return None;
    }
    plain.chunks(Tag::LENGTH).map(|part| part.iter().collect::<String>().parse().ok()).collect()
}

fn quantity(text: &str) -> Option<Input> {
    // A longer run of digits is a foreign code: nobody reads a million off a bench.
    let number = text.len() <= 6 && text.bytes().all(|b| b.is_ascii_digit() || matches!(b, b'.' | b','));
    if number && text.bytes().any(|b| b.is_ascii_digit()) {
        return Some(Input::Number(text.to_owned()));
    }
    if let Ok(day) = text.parse::<Date>() {
        return Some(Input::Day(day));
    }
    if let Ok(hours) = text.parse::<PlayHours>() {
        return Some(Input::Hours(hours));
    }
    if let Some(days) = length(text) {
        return Some(Input::Length(days));
    }
    result(text).map(Input::Result)
}

/// Reads a length of loan: "8 weeks", "10 days", "8w", "10d".
pub fn length(text: &str) -> Option<u32> {
    let text = text.trim().to_lowercase();
    let split = text.find(|c: char| !c.is_ascii_digit())?;
    let (number, unit) = text.split_at(split);
    let number: u32 = number.parse().ok()?;
    match unit.trim() {
        "w" | "week" | "weeks" => number.checked_mul(7),
        "d" | "day" | "days" => Some(number),
        _ => None,
    }
}

/// Reads a result: a capacity with its unit, then in any order resistance, temperature and duration with theirs.
fn result(text: &str) -> Option<Measured> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let mut parts: Vec<String> = Vec::new();
    for word in words {
        let has_number = word.bytes().next().is_some_and(|b| b.is_ascii_digit() || b == b'-');
        match parts.last_mut() {
            Some(last) if !has_number => {
                last.push(' ');
                last.push_str(word);
            }
            _ => parts.push(word.to_owned()),
        }
    }
    let (first, rest) = parts.split_first()?;
    let mut measured = Measured::capacity(first.parse().ok()?);
    for part in rest {
        match (part.parse(), part.parse(), part.parse()) {
            (Ok(resistance), ..) => measured.resistance = Some(resistance),
            (_, Ok(temperature), _) => measured.temperature = Some(temperature),
            (.., Ok(took)) => measured.took = Some(took),
            _ => return None,
        }
    }
    Some(measured)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_understood() {
        assert_eq!(Input::read("  650 "), Input::Number("650".into()));
        assert_eq!(Input::read("12 weeks"), Input::Length(84));
        assert_eq!(Input::read("10d"), Input::Length(10));
        assert_eq!(Input::read("2026-12-24"), Input::Day(jiff::civil::date(2026, 12, 24)));
        assert_eq!(Input::read("UNDO"), Input::Command(Command::Undo));
        assert_eq!(Input::read("37,5 h"), Input::Hours(PlayHours::new(3750)));
        assert_eq!(Input::read("4006381333931"), Input::Other("4006381333931".into()));
        assert_eq!(Input::read("\r\n"), Input::Blank);
        let full = Measured {
            capacity: MilliampHours::new(812),
            resistance: Some(Milliohms::new(9500)),
            temperature: Some(Celsius::new(231)),
            took: Some(Minutes::new(410)),
        };
        assert_eq!(Input::read("812 mAh 95 mOhm 23.1 C 410 min"), Input::Result(full));
        assert!(matches!(Input::read("812 mAh 95"), Input::Other(_)));
    }
}
