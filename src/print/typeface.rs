//! The embedded typeface: three faces of Atkinson Hyperlegible, chosen because its letters are hard to confuse.
//!
//! Widths are the advance widths of the font itself, without kerning, exactly as the PDF shows the text. Only the
//! tables that a PDF reader needs are embedded (outlines, metrics, character map): that takes about a third off the
//! bytes. Outlines of unused letters stay in. The licence (SIL Open Font License 1.1) stands beside the files in
//! `labels/typeface/`.

use printpdf::ParsedFont;

use super::PrintError;

/// Points per millimetre.
pub(crate) const PT_PER_MM: f32 = 72.0 / 25.4;

/// Height of capitals and digits over the size; the same in all three faces (`sCapHeight` 668 of 1000).
pub const CAP_HEIGHT: f32 = 0.668;

/// How far letters such as `p` reach below the baseline, over the size (measured on the outlines, rounded up).
pub const DESCENT: f32 = 0.23;

/// A face of the typeface.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Face {
    /// Running text.
    Regular,
    /// Headings, heads of tables, words on labels.
    Bold,
    /// Codes: every character has the same width, and 0 and O differ.
    Code,
}

impl Face {
    /// Every face.
    pub const ALL: [Self; 3] = [Self::Regular, Self::Bold, Self::Code];

    /// The PostScript name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Regular => "AtkinsonHyperlegibleNext-Regular",
            Self::Bold => "AtkinsonHyperlegibleNext-Bold",
            Self::Code => "AtkinsonHyperlegibleMono-Bold",
        }
    }

    pub(super) const fn bytes(self) -> &'static [u8] {
        match self {
            Self::Regular => include_bytes!("../../labels/typeface/AtkinsonHyperlegibleNext-Regular.ttf"),
            Self::Bold => include_bytes!("../../labels/typeface/AtkinsonHyperlegibleNext-Bold.ttf"),
            Self::Code => include_bytes!("../../labels/typeface/AtkinsonHyperlegibleMono-Bold.ttf"),
        }
    }

    /// Reads the face, for measuring and for embedding.
    ///
    /// # Errors
    /// [`PrintError::Typeface`] when the embedded bytes are damaged.
    pub fn load(self) -> Result<ParsedFont, PrintError> {
        let damaged = || PrintError::Typeface(self.name());
        let mut font = ParsedFont::from_bytes(self.bytes(), 0, &mut Vec::new()).ok_or_else(damaged)?;
        font.original_bytes = slim(self.bytes()).ok_or_else(damaged)?;
        font.font_name = Some(self.name().to_owned());
        Ok(font)
    }
}

/// The tables that a PDF reader uses of an embedded TrueType font (ISO 32000-1, 9.9), with the character map.
const KEPT: [&[u8; 4]; 10] =
    [b"OS/2", b"cmap", b"cvt ", b"fpgm", b"glyf", b"head", b"hhea", b"hmtx", b"loca", b"maxp"];

/// Copies a TrueType font with the kept tables only. `None` when the bytes are no such font.
fn slim(font: &[u8]) -> Option<Vec<u8>> {
    let count = usize::from(u16::from_be_bytes(font.get(4..6)?.try_into().ok()?));
    let mut kept = Vec::new();
    for record in font.get(12..12 + 16 * count)?.chunks_exact(16) {
        let (tag, rest) = record.split_at_checked(4)?;
        if KEPT.iter().any(|name| name.as_slice() == tag) || tag == b"prep" {
            let place = usize::try_from(u32::from_be_bytes(rest.get(4..8)?.try_into().ok()?)).ok()?;
            let length = usize::try_from(u32::from_be_bytes(rest.get(8..12)?.try_into().ok()?)).ok()?;
            kept.push((tag, rest.get(..4)?, font.get(place..place.checked_add(length)?)?));
        }
    }
    let count = u16::try_from(kept.len()).ok()?;
    let power = count.checked_ilog2()?;
    let range = 16 * (1_u16 << power);
    let mut slim = font.get(..4)?.to_vec();
    for word in [count, range, u16::try_from(power).ok()?, count * 16 - range] {
        slim.extend(word.to_be_bytes());
    }
    let mut place = 12 + 16 * kept.len();
    for (tag, checksum, table) in &kept {
        slim.extend(*tag);
        slim.extend(*checksum);
        slim.extend(u32::try_from(place).ok()?.to_be_bytes());
        slim.extend(u32::try_from(table.len()).ok()?.to_be_bytes());
        place += table.len().next_multiple_of(4);
    }
    for (_, _, table) in &kept {
        slim.extend(*table);
        slim.resize(slim.len().next_multiple_of(4), 0);
    }
    Some(slim)
}

/// The glyph of `zero.tf`, the first of the ten digits of one width; the same in both text faces.
const FIRST_EVEN_DIGIT: u16 = 375;

/// The glyph of a digit that is as wide as the other digits. `None` for other characters, and in the code face, where
/// everything is of one width.
pub(crate) fn even_digit(face: Face, character: char) -> Option<u16> {
    let digit = u16::try_from(character.to_digit(10)?).ok()?;
    (face != Face::Code).then_some(FIRST_EVEN_DIGIT + digit)
}

/// What is printed for a character that the face lacks, where a plain one says the same.
pub(crate) const fn stand_in(character: char) -> &'static str {
    match character {
        '\u{00a0}' | '\u{202f}' | '\u{2009}' | '\t' | '\n' | '\r' => " ",
        '\u{2010}' | '\u{2011}' => "-",
        '→' => "->",
        '←' => "<-",
        'µ' | 'μ' => "u",
        '\u{200b}'..='\u{200f}' | '\u{feff}' | '\u{00ad}' => "",
        _ => "?",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slim_faces_keep_their_metrics_and_lose_bytes() {
        for face in Face::ALL {
            let full = ParsedFont::from_bytes(face.bytes(), 0, &mut Vec::new()).unwrap();
            let font = face.load().unwrap();
            assert!(font.original_bytes.len() * 5 < face.bytes().len() * 4, "{face:?}");
            let slim = ParsedFont::from_bytes(&font.original_bytes, 0, &mut Vec::new()).unwrap();
            assert_eq!(slim.glyph_widths, full.glyph_widths);
            assert_eq!(slim.codepoint_to_glyph, full.codepoint_to_glyph);
            assert_eq!(slim.units_per_em, 1000);
        }
    }

    /// The glyph names of a `post` table of format 2: an index per glyph, then the names as counted strings.
    fn glyph_names(font: &[u8]) -> Vec<String> {
        let record = font[12..].chunks_exact(16).find(|record| &record[..4] == b"post").unwrap();
        let word = |at: usize| u32::from_be_bytes(record[at..at + 4].try_into().unwrap());
        let [place, length] = [word(8), word(12)].map(|word| usize::try_from(word).unwrap());
        let post = &font[place..place + length];
        let indices = post[34..].chunks_exact(2).map(|pair| u16::from_be_bytes([pair[0], pair[1]]));
        let indices: Vec<u16> = indices.take(usize::from(u16::from_be_bytes([post[32], post[33]]))).collect();
        let mut strings = Vec::new();
        let mut rest = &post[34 + 2 * indices.len()..];
        while let Some((&length, tail)) = rest.split_first() {
            let (name, tail) = tail.split_at(usize::from(length));
            strings.push(String::from_utf8(name.to_vec()).unwrap());
            rest = tail;
        }
        let name = |index: u16| index.checked_sub(258).map(|own| strings[usize::from(own)].clone());
        indices.into_iter().map(|index| name(index).unwrap_or_default()).collect()
    }

    #[test]
    fn even_digits_are_what_the_font_says() {
        let names = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"];
        for face in [Face::Regular, Face::Bold] {
            let font = face.load().unwrap();
            let known = glyph_names(face.bytes());
            for (digit, name) in ('0'..='9').zip(names) {
                let glyph = even_digit(face, digit).unwrap();
                assert_eq!(known[usize::from(glyph)], format!("{name}.tf"));
                assert_eq!(font.glyph_widths[&glyph], font.glyph_widths[&FIRST_EVEN_DIGIT]);
            }
        }
    }

    #[test]
    fn broken_fonts_are_refused() {
        let font = Face::Bold.bytes();
        assert_eq!(slim(&font[..300]), None);
        assert_eq!(slim(b""), None);
    }

    #[test]
    fn every_printed_sign_of_the_trade_is_in_the_typeface() {
        for face in Face::ALL {
            let font = face.load().unwrap();
            for sign in "±×–—…°Ω≤≥≈·•“”‘’€£½²§−".chars() {
                assert!(font.lookup_glyph_index(u32::from(sign)).is_some(), "{face:?} lacks {sign}");
            }
        }
    }
}
