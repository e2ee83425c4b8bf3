//! The format word of a symbol: fifteen bits that say how strongly it is corrected and how it is masked, written twice.
//!
//! The decoder library needs one of the copies nearly whole. Where both are worn, the nearest legal word over the two
//! of them is put in their place. Words and places: ISO/IEC 18004, 7.9 and annex C (from memory).

/// Wrong bits of thirty up to which the nearest legal word is believed.
const MOST_WRONG: usize = 11;
/// How many legal words are tried, nearest first.
const WORDS: usize = 3;

/// The thirty-two legal words: five bits of data, ten of a BCH code with the generator 10100110111, masked.
fn words() -> impl Iterator<Item = u16> {
    (0..32_u16).map(|data| {
        let mut rest = data << 10;
        for bit in (0..5).rev() {
            if rest & (1 << (bit + 10)) != 0 {
                rest ^= 0x537 << bit;
            }
        }
        ((data << 10) | rest) ^ 0x5412
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

/// The square of modules with its format words mended, nearest legal word first; nothing when it is whole or beyond help.
pub(super) fn mended(dark: &[bool], n: usize) -> Vec<Vec<bool>> {
    let is = |(x, y): (usize, usize)| dark.get(y * n + x).copied().unwrap_or(false);
    let mut near: Vec<(usize, u16)> = words()
        .map(|word| (places(n).filter(|&(place, bit)| is(place) != (word >> bit & 1 == 1)).count(), word))
        .collect();
    near.sort_unstable();
    if near.first().is_some_and(|(wrong, _)| *wrong == 0) {
        return Vec::new();
    }
    near.into_iter()
        .take(WORDS)
        .take_while(|(wrong, _)| *wrong <= MOST_WRONG)
        .map(|(_, word)| {
            let mut mended = dark.to_vec();
            for ((x, y), bit) in places(n) {
                if let Some(module) = mended.get_mut(y * n + x) {
                    *module = word >> bit & 1 == 1;
                }
            }
            mended
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A symbol of another encoder: its format words are legal and are left alone, and worn ones are mended to what they were.
    #[test]
    fn worn_words_are_mended_to_what_another_encoder_wrote() {
        let code = qrcodegen::QrCode::encode_text("P7K3Q9M2DXWT8", qrcodegen::QrCodeEcc::Quartile).unwrap();
        let n = usize::try_from(code.size()).unwrap();
        let dark: Vec<bool> = (0..n * n)
            .map(|place| {
                let (x, y) = (place % n, place / n);
                code.get_module(i32::try_from(x).unwrap(), i32::try_from(y).unwrap())
            })
            .collect();
        assert!(mended(&dark, n).is_empty(), "a whole word is left alone");
        let mut worn = dark.clone();
        for ((x, y), bit) in places(n) {
            // Three bits of each copy, other ones in each.
            if (x == 8 && y < 8 && bit < 3) || (y == 8 && x > 8 && bit > 4) {
                worn[y * n + x] = !worn[y * n + x];
            }
        }
        assert_ne!(worn, dark);
        assert_eq!(mended(&worn, n)[0], dark);
    }

    /// ISO/IEC 18004, annex C: the word of level M and mask 101 is 100000011001110 (from memory).
    #[test]
    fn the_published_word_is_among_them() {
        assert_eq!(words().nth(0b00101), Some(0b100_0000_1100_1110));
    }
}
