//! Tag texts: a kind letter, eleven random characters and a check character, as printed, scanned or typed.
//!
//! The alphabet of the body is Crockford's base 32 (digits and capitals without I, L, O, U). The check character is
//! ISO/IEC 7064 MOD 37,36 over kind and body; a body whose check character would fall outside Crockford's alphabet is
//! never issued, so that a typed code can be normalised (case, hyphens, spaces, O for 0, I and L for 1) without harm.
//! As QR: version 1, error correction Q, alphanumeric mode.

use std::fmt;
use std::str::FromStr;

use rand::Rng;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use thiserror::Error;

/// Crockford's base 32, in value order.
const CROCKFORD: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
/// Kind letter, body, check character.
const LENGTH: usize = 13;

/// What kind of thing a tag is made for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum TagKind {
    /// A rechargeable pack.
    Pack,
    /// A player ("device").
    Player,
    /// A slot of the test bench.
    Slot,
    /// A shelf, tray or crate.
    Place,
    /// A person at the bench.
    Operator,
    /// A command on the command card.
    Command,
}

impl TagKind {
    /// Every kind, in the order of the printed help.
    pub const ALL: [Self; 6] =
        [Self::Pack, Self::Player, Self::Slot, Self::Place, Self::Operator, Self::Command];

    /// The first character of a tag of this kind.
    pub const fn letter(self) -> char {
        match self {
            Self::Pack => 'P',
            Self::Player => 'D',
            Self::Slot => 'S',
            Self::Place => 'T',
            Self::Operator => 'N',
            Self::Command => 'C',
        }
    }

    /// The word for people.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Pack => "pack",
            Self::Player => "player",
            Self::Slot => "slot",
            Self::Place => "place",
            Self::Operator => "operator",
            Self::Command => "command",
        }
    }

    fn from_letter(letter: u8) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| u8::try_from(kind.letter()) == Ok(letter))
    }
}

impl fmt::Display for TagKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// Why a text is not a tag of ours.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum TagError {
    /// It has not the length of a tag, or begins with no kind letter.
    #[error("`{0}` is not a tag of ours")]
    Foreign(String),
    /// It looks like a tag of ours, but a character is impossible.
    #[error("`{text}` has the character `{found}`, which no tag has")]
    Character {
        /// What was given.
        text: String,
        /// The first character that cannot be.
        found: char,
    },
    /// It looks like a tag of ours, but the check character does not fit: something was misread or mistyped.
    #[error("`{0}` is mistyped: its check character does not fit")]
    Check(String),
}

/// A valid tag text of ours.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Tag([u8; LENGTH]);

impl Tag {
    /// Characters of a tag's text.
    pub const LENGTH: usize = LENGTH;

    /// Draws a fresh tag of a kind. Two of a million tags collide with a chance of about 1 in 70,000 (55 random bits).
    pub fn draw(kind: TagKind, random: &mut impl Rng) -> Self {
        let mut text = [0_u8; LENGTH];
        loop {
            let mut bits = random.next_u64();
            for (place, slot) in text.iter_mut().enumerate() {
                let value = usize::try_from(bits & 31).unwrap_or(0);
                *slot = if place == 0 {
                    u8::try_from(kind.letter()).unwrap_or(b'P')
                } else {
                    bits >>= 5;
                    CROCKFORD.get(value).copied().unwrap_or(b'0')
                };
            }
            if let Some(tag) = Self::seal(text) {
                return tag;
            }
        }
    }

    /// Puts the check character in its place; `None` when it falls outside Crockford's alphabet.
    fn seal(mut text: [u8; LENGTH]) -> Option<Self> {
        let (check, body) = text.split_last_mut()?;
        *check = check_character(body.iter().copied())?;
        CROCKFORD.contains(check).then_some(Self(text))
    }

    /// The kind of thing that the tag is made for.
    pub fn kind(&self) -> TagKind {
        self.0.first().and_then(|&letter| TagKind::from_letter(letter)).unwrap_or(TagKind::Pack)
    }

    /// The text as it stands in the symbol: 13 characters, no hyphens.
    pub fn text(&self) -> &str {
        std::str::from_utf8(&self.0).unwrap_or_default()
    }
}

impl fmt::Display for Tag {
    /// Prints the text in groups for people: `P7K3-Q9M2-DXWT-8`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, character) in self.text().chars().enumerate() {
            if place > 0 && place % 4 == 0 {
                f.write_str("-")?;
            }
            write!(f, "{character}")?;
        }
        Ok(())
    }
}

impl fmt::Debug for Tag {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Tag({self})")
    }
}

impl FromStr for Tag {
    type Err = TagError;

    /// Reads a scanned or typed tag, forgiving case, hyphens, spaces, O for 0, and I or L for 1.
    fn from_str(given: &str) -> Result<Self, TagError> {
        let foreign = || TagError::Foreign(given.trim().to_owned());
        let plain = given.chars().filter(|c| !matches!(c, '-' | ' ' | '\t' | '\u{2010}'..='\u{2015}'));
        let mut text = [0_u8; LENGTH];
        let mut length = 0;
        let mut odd = None;
        for character in plain {
            let upper = character.to_ascii_uppercase();
            let byte = match upper {
                'O' => b'0',
                'I' | 'L' => b'1',
                _ => u8::try_from(upper).unwrap_or(b'?'),
            };
            if !CROCKFORD.contains(&byte) {
                odd = odd.or(Some(character));
            }
            *text.get_mut(length).ok_or_else(foreign)? = byte;
            length += 1;
        }
        if length != LENGTH || text.first().copied().and_then(TagKind::from_letter).is_none() {
            return Err(foreign());
        }
        if let Some(found) = odd {
            return Err(TagError::Character { text: given.trim().to_owned(), found });
        }
        match Self::seal(text) {
            Some(tag) if tag.0 == text => Ok(tag),
            _ => Err(TagError::Check(given.trim().to_owned())),
        }
    }
}

impl Serialize for Tag {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.text())
    }
}

impl<'de> Deserialize<'de> for Tag {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

/// The check character of ISO/IEC 7064 MOD 37,36 for a text of digits and capitals.
///
/// The hybrid recursion `P = ((P + a) mod 36, 36 for 0) * 2 mod 37` from `P = 36`; the check makes the last sum 1
/// modulo 36. Finds every single substitution, and all but a few swaps of neighbours. `None` when a character is
/// neither digit nor capital.
///
/// ```
/// use packmuster::domain::tag::check_character;
/// // ISO/IEC 7064 example as carried by public copies (python-stdnum): A12425GABC1234002 -> M.
/// assert_eq!(check_character(*b"A12425GABC1234002"), Some(b'M'));
/// ```
pub fn check_character(text: impl IntoIterator<Item = u8>) -> Option<u8> {
    let mut product = 36_u32;
    for byte in text {
        let value = match byte {
            b'0'..=b'9' => byte - b'0',
            b'A'..=b'Z' => byte - b'A' + 10,
            _ => return None,
        };
        let sum = (product + u32::from(value)) % 36;
        product = (if sum == 0 { 36 } else { sum }) * 2 % 37;
    }
    let value = u8::try_from((37 - product) % 36).ok()?;
    Some(if value < 10 { b'0' + value } else { b'A' + value - 10 })
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;

    fn tags(count: usize) -> Vec<Tag> {
        let mut random = rand_chacha::ChaCha12Rng::seed_from_u64(7);
        (0..count).map(|n| Tag::draw(TagKind::ALL[n % 6], &mut random)).collect()
    }

    /// ISO/IEC 7064 MOD 37,36: examples seen in public copies (python-stdnum doctest; a vendor's documentation).
    #[test]
    fn published_check_characters() {
        for (text, check) in [("A12425GABC1234002", 'M'), ("123AB", 'X'), ("DADPIDA3897722461", 'J')] {
            assert_eq!(check_character(text.bytes()).map(char::from), Some(check), "{text}");
        }
        assert_eq!(check_character(*b"a1"), None);
    }

    #[test]
    fn what_is_printed_reads_back_with_slips() {
        for tag in tags(600) {
            assert_eq!(tag.to_string().parse::<Tag>(), Ok(tag));
            let sloppy = tag.to_string().to_lowercase().replace('0', "o").replace('1', "l").replace('-', " ");
            assert_eq!(sloppy.parse::<Tag>(), Ok(tag), "{sloppy}");
        }
    }

    #[test]
    fn every_single_substitution_is_found() {
        for tag in tags(24) {
            for place in 1..LENGTH {
                for &other in CROCKFORD {
                    let mut text = tag.text().as_bytes().to_vec();
                    if text[place] != other {
                        text[place] = other;
                        let text = String::from_utf8(text).unwrap();
                        assert!(matches!(text.parse::<Tag>(), Err(TagError::Check(_))), "{text}");
                    }
                }
            }
        }
    }

    #[test]
    fn foreign_and_impossible_texts_are_named() {
        assert!(matches!("4006381333931".parse::<Tag>(), Err(TagError::Foreign(_))));
        assert!(matches!("".parse::<Tag>(), Err(TagError::Foreign(_))));
        assert!(matches!("P7K3-Q9M2-DXUT-8".parse::<Tag>(), Err(TagError::Character { found: 'U', .. })));
    }
}
