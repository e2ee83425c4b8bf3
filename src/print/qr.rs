//! QR symbols as vector drawings.
//!
//! A tag is always version 1 (21 x 21 modules), error correction Q, alphanumeric mode (ISO/IEC 18004): 16 characters
//! would fit, a tag has 13. Other texts take the smallest version that holds them. A symbol is drawn as one path
//! of rectangles, so that no hairline can appear between modules; its quiet zone of four modules is part of
//! its side and nothing else may be drawn there.

use qrcodegen::{QrCode, QrCodeEcc, QrSegment, Version};

use super::PrintError;
use super::canvas::{Canvas, Ink, Place};
use crate::domain::tag::Tag;

/// The quiet zone on each side, in modules (ISO/IEC 18004, 9.1; section number from memory).
pub const QUIET_MODULES: i16 = 4;

/// The side of a tag's symbol with its quiet zone, in modules.
pub const TAG_MODULES: i16 = 21 + 2 * QUIET_MODULES;

/// The smallest module that is printed, mm. Common practice, no source: cheap laser printers and scanners cope.
pub const LEAST_MODULE_MM: f32 = 0.30;

/// A symbol, ready to draw.
#[derive(Clone, PartialEq, Eq)]
pub struct Symbol(QrCode);

impl Symbol {
    /// The symbol of a tag.
    ///
    /// # Errors
    /// [`PrintError::Symbol`] if the text did not fit, which a valid tag always does.
    pub fn of_tag(tag: &Tag) -> Result<Self, PrintError> {
        let segment = QrSegment::make_alphanumeric(tag.text());
        Self::encode(tag.text(), &[segment], Version::new(1), Version::new(1))
    }

    /// The symbol of any text, at error correction Q.
    ///
    /// # Errors
    /// [`PrintError::Symbol`] when the text is too long for the largest version.
    pub fn of_text(text: &str) -> Result<Self, PrintError> {
        Self::encode(text, &QrSegment::make_segments(text), Version::MIN, Version::MAX)
    }

    fn encode(text: &str, segments: &[QrSegment], min: Version, max: Version) -> Result<Self, PrintError> {
        QrCode::encode_segments_advanced(segments, QrCodeEcc::Quartile, min, max, None, false)
            .map(Self)
            .map_err(|error| PrintError::Symbol { text: text.to_owned(), reason: error.to_string() })
    }

    /// The side without the quiet zone, in modules.
    pub fn modules(&self) -> i16 {
        i16::try_from(self.0.size()).unwrap_or(0)
    }

    /// The side with the quiet zone, mm.
    pub fn side_mm(&self, module_mm: f32) -> f32 {
        f32::from(self.modules() + 2 * QUIET_MODULES) * module_mm
    }

    /// True for a dark module; x to the right and y down from the first finder, without the quiet zone. False outside.
    pub fn is_dark(&self, x: i16, y: i16) -> bool {
        self.0.get_module(i32::from(x), i32::from(y))
    }

    /// The dark modules as rectangles (left, top, width, height) that do not overlap: runs along the rows, and runs that stand
    /// under each other as one.
    pub fn cells(&self) -> Vec<[i16; 4]> {
        let mut cells: Vec<[i16; 4]> = Vec::new();
        for y in 0..self.modules() {
            let mut x = 0;
            while x < self.modules() {
                let long =
                    (x..self.modules()).take_while(|&x| self.is_dark(x, y)).fold(0, |long, _| long + 1);
                let above = cells.iter_mut().rev().find(|[left, top, width, height]| {
                    (*left, *width) == (x, long) && top.saturating_add(*height) == y
                });
                match above {
                    _ if long == 0 => {}
                    Some([.., height]) => *height += 1,
                    None => cells.push([x, y, long, 1]),
                }
                x += long + 1;
            }
        }
        cells
    }

    /// Draws the symbol; `corner` is the top left corner of its quiet zone.
    pub fn draw(&self, canvas: &mut Canvas, corner: Place, module_mm: f32) {
        let quiet_mm = f32::from(QUIET_MODULES) * module_mm;
        canvas.fill_cells(corner.by(quiet_mm, quiet_mm), module_mm, &self.cells(), Ink::Black);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::command::{Command, TRIAL};
    use qrcodegen::Mask;

    fn medium(segment: QrSegment, mask: Option<u8>) -> Symbol {
        let one = Version::new(1);
        let mask = mask.map(Mask::new);
        Symbol(
            QrCode::encode_segments_advanced(&[segment], QrCodeEcc::Medium, one, one, mask, false).unwrap(),
        )
    }

    /// Reads all codewords of a version 1 symbol back: unmasks, then walks the column pairs from the right.
    fn codewords(symbol: &Symbol) -> Vec<u8> {
        let masked = |x: i16, y: i16| match symbol.0.mask().value() {
            0 => (x + y) % 2 == 0,
            1 => y % 2 == 0,
            2 => x % 3 == 0,
            3 => (x + y) % 3 == 0,
            4 => (x / 3 + y / 2) % 2 == 0,
            5 => x * y % 2 + x * y % 3 == 0,
            6 => (x * y % 2 + x * y % 3) % 2 == 0,
            _ => ((x + y) % 2 + x * y % 3) % 2 == 0,
        };
        let taken =
            |x: i16, y: i16| x == 6 || y == 6 || (x < 9 && y < 9) || (x > 12 && y < 9) || (x < 9 && y > 12);
        let mut bits = Vec::new();
        for (pair, right) in [20, 18, 16, 14, 12, 10, 8, 5, 3, 1].into_iter().enumerate() {
            for step in 0..21 {
                let y = if pair % 2 == 0 { 20 - step } else { step };
                for x in [right, right - 1] {
                    if !taken(x, y) {
                        bits.push(symbol.is_dark(x, y) != masked(x, y));
                    }
                }
            }
        }
        bits.chunks_exact(8).map(|byte| byte.iter().fold(0, |sum, &bit| sum * 2 + u8::from(bit))).collect()
    }

    /// ISO/IEC 18004:2015 Annex I (2000: Annex G), "01234567" at 1-M, mask 010: codewords and matrix as seen in public
    /// copies of the worked example.
    #[test]
    fn iso_worked_example() {
        let symbol = medium(QrSegment::make_numeric("01234567"), Some(2));
        let matrix = [
            "111111100101101111111",
            "100000100111101000001",
            "101110101000001011101",
            "101110101100001011101",
            "101110101011101011101",
            "100000101000101000001",
            "111111101010101111111",
            "000000001001100000000",
            "101111100100101111100",
            "000101011010100101100",
            "001000110101010011111",
            "000010000100000111100",
            "000111111001010010000",
            "000000001011111001100",
            "111111100110101100000",
            "100000101011111000101",
            "101110101000100101100",
            "101110101100100100000",
            "101110101011010010100",
            "100000100000000110110",
            "111111101111010010100",
        ];
        for (y, row) in (0..).zip(matrix) {
            let seen: String = (0..21).map(|x| if symbol.is_dark(x, y) { '1' } else { '0' }).collect();
            assert_eq!(seen, row, "row {y}");
        }
        let data = [16, 32, 12, 86, 97, 128, 236, 17, 236, 17, 236, 17, 236, 17, 236, 17];
        let correction = [165, 36, 212, 193, 237, 54, 199, 135, 44, 85];
        assert_eq!(codewords(&symbol), [data.as_slice(), correction.as_slice()].concat());
    }

    /// "HELLO WORLD" at 1-M: codewords of a public tutorial's worked example (Thonky), as seen in a public test.
    #[test]
    fn hello_world_codewords() {
        let symbol = medium(QrSegment::make_alphanumeric("HELLO WORLD"), None);
        let data = [32, 91, 11, 120, 209, 114, 220, 77, 67, 64, 236, 17, 236, 17, 236, 17];
        let correction = [196, 35, 39, 119, 235, 215, 231, 226, 93, 23];
        assert_eq!(codewords(&symbol), [data.as_slice(), correction.as_slice()].concat());
    }

    /// ISO/IEC 18004 Table 7: alphanumeric capacity at level Q, versions 1 to 4 (counts from memory, boundaries tested
    /// in another encoder). The longest text stays in its version, one more character takes the next.
    #[test]
    fn alphanumeric_capacities_at_q() {
        for (version, most) in [(1, 16), (2, 29), (3, 47), (4, 67)] {
            let modules = |length: usize| Symbol::of_text(&"A".repeat(length)).unwrap().modules();
            assert_eq!(modules(most), 17 + 4 * version);
            assert_eq!(modules(most + 1), 17 + 4 * (version + 1));
        }
    }

    #[test]
    fn tags_are_version_one_at_q_and_the_trial_is_larger() {
        for tag in Command::all().filter_map(Command::tag) {
            let symbol = Symbol::of_tag(&tag).unwrap();
            assert_eq!(symbol.modules(), 21);
            assert_eq!(symbol.0.error_correction_level(), QrCodeEcc::Quartile);
            // Mode indicator 0010, then the count 13 in nine bits: ISO/IEC 18004 Tables 2 and 3.
            assert_eq!(codewords(&symbol)[0], 0b0010_0000);
            assert_eq!(codewords(&symbol)[1] >> 3, 0b01101);
        }
        assert!(Symbol::of_text(TRIAL).unwrap().modules() > 21);
        assert!(matches!(Symbol::of_text(&"x".repeat(3000)), Err(PrintError::Symbol { .. })));
    }

    #[test]
    fn cells_cover_each_dark_module_once_and_nothing_else() {
        for tag in Command::all().filter_map(Command::tag) {
            let symbol = Symbol::of_tag(&tag).unwrap();
            let cells = symbol.cells();
            let covers = |&[left, top, width, height]: &[i16; 4], x, y| {
                (left..left + width).contains(&x) && (top..top + height).contains(&y)
            };
            for (x, y) in (-1..22).flat_map(|y| (-1..22).map(move |x| (x, y))) {
                let times = cells.iter().filter(|cell| covers(cell, x, y)).count();
                assert_eq!(times, usize::from(symbol.is_dark(x, y)), "{tag} at {x}, {y}");
            }
            // Rows alone would need some 120.
            assert!(cells.len() < 100, "{tag}: {} cells", cells.len());
        }
    }
}
