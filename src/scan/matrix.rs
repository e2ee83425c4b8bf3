//! A square of modules -> the text in it, and how much of it had to be corrected.
//!
//! The decoder library corrects and judges; it does not say how much it corrected. So the text is encoded again the same way,
//! and the codewords are compared: at the same size, level and mask there is one matrix for a text, as long as its
//! characters were packed in the usual way. Where they were not, nothing is claimed.

use qrcodegen::{Mask, QrCode, QrCodeEcc, QrSegment, Version};

use super::fence;
use super::picture::Correction;

/// What stands in a square of modules.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Text {
    pub(super) text: String,
    pub(super) correction: Option<Correction>,
}

/// Codewords that can be corrected, versions 1 to 5 at levels L, M, Q, H: half of the correction codewords of each block, less
/// those that guard against misreading (ISO/IEC 18004, table 9; from memory).
const CAPACITY: [[u32; 4]; 5] =
    [[2, 4, 6, 8], [4, 8, 11, 14], [7, 13, 18, 22], [10, 18, 26, 32], [13, 24, 36, 44]];

/// Reads a square of `n` modules a side; `None` when the library does not accept it, or gives up.
pub(super) fn read(dark: &[bool], n: usize) -> Option<Text> {
    fence::quietly(|| text_of(&grid(n, |x, y| dark.get(y * n + x) == Some(&true)))).flatten()
}

/// Reads a grid of the library's. May panic: call it inside the fence.
pub(super) fn text_of(grid: &rqrr::Grid<impl rqrr::BitGrid>) -> Option<Text> {
    let (meta, text) = grid.decode().ok()?;
    (!text.is_empty()).then(|| Text { correction: correction(grid, meta, &text), text })
}

fn grid(n: usize, dark: impl Fn(usize, usize) -> bool) -> rqrr::Grid<rqrr::SimpleGrid> {
    rqrr::Grid::new(rqrr::SimpleGrid::from_func(n, dark))
}

/// How many codewords of a square differ from those of its text.
fn correction(seen: &rqrr::Grid<impl rqrr::BitGrid>, meta: rqrr::MetaData, text: &str) -> Option<Correction> {
    // The library counts levels as they stand in the format word.
    let (level, place) = match meta.ecc_level {
        0 => (QrCodeEcc::Medium, 1),
        1 => (QrCodeEcc::Low, 0),
        2 => (QrCodeEcc::High, 3),
        3 => (QrCodeEcc::Quartile, 2),
        _ => return None,
    };
    let capacity = *CAPACITY.get(meta.version.0.checked_sub(1)?)?.get(place)?;
    let version = Version::new(u8::try_from(meta.version.0).ok()?);
    let mask = Mask::new(u8::try_from(meta.mask).ok()?);
    let segments = QrSegment::make_segments(text);
    let again =
        QrCode::encode_segments_advanced(&segments, level, version, version, Some(mask), false).ok()?;
    let at = |place: usize| i32::try_from(place).unwrap_or(i32::MAX);
    let meant = grid(usize::try_from(again.size()).ok()?, |x, y| again.get_module(at(x), at(y)));
    let (_, seen) = seen.get_raw_data().ok()?;
    let (_, meant) = meant.get_raw_data().ok()?;
    let codewords = |raw: &rqrr::RawData| raw.data.iter().take(raw.len / 8).copied().collect::<Vec<u8>>();
    let (seen, meant) = (codewords(&seen), codewords(&meant));
    let wrong = seen.iter().zip(&meant).filter(|(one, other)| one != other).count();
    let corrected = u32::try_from(wrong).ok()?;
    (seen.len() == meant.len() && corrected <= capacity).then_some(Correction { corrected, capacity })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn modules(code: &QrCode) -> (Vec<bool>, usize) {
        let n = usize::try_from(code.size()).unwrap();
        let at = |place: usize| i32::try_from(place).unwrap();
        ((0..n * n).map(|place| code.get_module(at(place % n), at(place / n))).collect(), n)
    }

    /// The places of the data modules, two columns at a time from the right, up and down by turns (ISO/IEC 18004, 7.7.3; from
    /// memory), for version 1, which has no alignment pattern.
    fn way() -> Vec<(usize, usize)> {
        let mut way = Vec::new();
        for (turn, right) in [20, 18, 16, 14, 12, 10, 8, 5, 3, 1].into_iter().enumerate() {
            for step in 0..21 {
                let y = if turn % 2 == 0 { 20 - step } else { step };
                for x in [right, right - 1] {
                    let finder = (x < 9 && !(9..13).contains(&y)) || (x > 12 && y < 9);
                    if !finder && x != 6 && y != 6 {
                        way.push((x, y));
                    }
                }
            }
        }
        way
    }

    /// As many spoiled codewords as the level corrects are counted one by one; one more, and there is no text.
    #[test]
    fn corrected_codewords_are_counted_up_to_what_the_level_bears() {
        let levels =
            [(QrCodeEcc::Low, 2), (QrCodeEcc::Medium, 4), (QrCodeEcc::Quartile, 6), (QrCodeEcc::High, 8)];
        let way = way();
        assert_eq!(way.len(), 208, "26 codewords");
        for (level, capacity) in levels {
            let text = if level == QrCodeEcc::High { "P7K3Q9M2DX" } else { "P7K3Q9M2DXWT8" };
            let code = QrCode::encode_segments_advanced(
                &QrSegment::make_segments(text),
                level,
                Version::new(1),
                Version::new(1),
                None,
                false,
            )
            .unwrap();
            let (whole, n) = modules(&code);
            for spoiled in 0..=capacity {
                let mut dark = whole.clone();
                for word in 0..spoiled {
                    let (x, y) = way[8 * (2 * word + 1) + 3];
                    dark[y * n + x] = !dark[y * n + x];
                }
                let read = read(&dark, n).unwrap();
                let [corrected, capacity] = [spoiled, capacity].map(|count| u32::try_from(count).unwrap());
                assert_eq!(read.text, text);
                assert_eq!(read.correction, Some(Correction { corrected, capacity }));
            }
        }
    }

    #[test]
    fn nothing_is_claimed_of_characters_packed_another_way() {
        // Digits as bytes: a shorter way exists.
        let segments = [QrSegment::make_bytes(b"12345")];
        let code = QrCode::encode_segments(&segments, QrCodeEcc::Quartile).unwrap();
        let (dark, n) = modules(&code);
        let read = read(&dark, n).unwrap();
        assert_eq!((read.text.as_str(), read.correction), ("12345", None));
    }
}
