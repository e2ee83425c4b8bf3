//! The format word of a symbol: fifteen bits that say how strongly it is corrected and how it is masked, written twice.
//!
//! The decoder library needs one of the copies nearly whole; here both are weighed together. Words and places: ISO/IEC 18004,
//! 7.9 and annex C (from memory).

/// What every word is turned over with, so that none is blank.
const MASK: u16 = 0x5412;

/// The thirty-two legal words: five bits of data, ten of a BCH code with the generator 10100110111, masked.
fn words() -> impl Iterator<Item = u16> {
    (0..32_u16).map(|data| {
        let mut rest = data << 10;
        for bit in (0..5).rev() {
            if rest & (1 << (bit + 10)) != 0 {
                rest ^= 0x537 << bit;
            }
        }
        ((data << 10) | rest) ^ MASK
    })
}

/// The modules of both copies, column and row, each with the bit that it holds.
fn places(n: usize) -> impl Iterator<Item = ((usize, usize), u16)> {
    (0..15_u16).flat_map(move |bit| {
        let i = usize::from(bit);
        let near = match i {
            0..=5 => (8, i),
            6 => (8, 7),
            7 => (8, 8),
            8 => (7, 8),
            _ => (14 - i, 8),
        };
        let far = if i < 8 { (n - 1 - i, 8) } else { (8, n - 15 + i) };
        [(near, bit), (far, bit)]
    })
}

/// Share of the best word's fit from which another one is worth a try.
const RIVAL: f32 = 0.7;

/// The legal words that may stand there, likeliest first, by how light each module is (below zero: dark, a one).
pub(super) fn likeliest(n: usize, light: impl Fn((usize, usize)) -> f32) -> Vec<u16> {
    let fits = |word: u16| {
        places(n).map(|(place, bit)| if word >> bit & 1 == 1 { -light(place) } else { light(place) }).sum()
    };
    let mut all: Vec<(f32, u16)> = words().map(|word| (fits(word), word)).collect();
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    let best = all.first().map_or(0.0, |&(fit, _)| fit);
    all.into_iter().filter(|&(fit, _)| fit >= RIVAL * best).map(|(_, word)| word).collect()
}

/// The level as it stands in a word, and the mask.
pub(super) const fn level_and_mask(word: u16) -> (u16, u16) {
    let data = (word ^ MASK) >> 10;
    (data >> 3, data & 7)
}

/// The modules of a word with what they hold: true for dark.
pub(super) fn written(n: usize, word: u16) -> impl Iterator<Item = ((usize, usize), bool)> {
    places(n).map(move |(place, bit)| (place, word >> bit & 1 == 1))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ISO/IEC 18004, annex C: the word of level M and mask 101 is 100000011001110 (from memory).
    #[test]
    fn the_published_word_is_among_them() {
        assert_eq!(words().nth(0b00101), Some(0b100_0000_1100_1110));
        assert_eq!(level_and_mask(0b100_0000_1100_1110), (0, 5));
    }
}
