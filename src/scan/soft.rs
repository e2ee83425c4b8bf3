//! Reading by how sure each module is.
//!
//! Format words are weighed, codewords corrected block by block, and the decoder library is handed a square in which nothing is
//! wrong any more. Where plain dark and light do not do, the codewords that are doubted most are erased, ever more of them, until
//! the code is met (generalised minimum distance decoding: Forney, IEEE Transactions on Information Theory 12, 1966; from
//! memory); what comes out of that counts only when its text, encoded again, gives the very same codewords.

use super::filler;
use super::format;
use super::matrix::{self, Text};
use super::picture::Correction;
use super::solomon;

/// The most modules a side: version 5.
const MOST_MODULES: usize = 37;
/// How many format words are tried, likeliest first.
const WORDS: usize = 2;

/// Check codewords that must be left over to say that what came out is no accident: by chance, a word with `e` errors and `s`
/// erasures, of which `k` places are left to choose among, is met about once in 256^(check - s - e) / binomial(k, e) tries.
const SPARE: usize = 4;
/// How light or dark a module is taken for whose bit is settled: beyond doubt.
const SETTLED: f32 = 1e6;

/// How codewords are cut into blocks: check codewords of each, and data codewords of each.
struct Blocks {
    check: usize,
    data: &'static [usize],
}

/// Versions 1 to 5 at levels as they stand in the format word: M, L, H, Q (ISO/IEC 18004, table 9; from memory).
const fn blocks(version: usize, level: u16) -> Option<Blocks> {
    let (check, data): (usize, &'static [usize]) = match (version, level) {
        (1, 1) => (7, &[19]),
        (1, 0) => (10, &[16]),
        (1, 3) => (13, &[13]),
        (1, 2) => (17, &[9]),
        (2, 1) => (10, &[34]),
        (2, 0) => (16, &[28]),
        (2, 3) => (22, &[22]),
        (2, 2) => (28, &[16]),
        (3, 1) => (15, &[55]),
        (3, 0) => (26, &[44]),
        (3, 3) => (18, &[17, 17]),
        (3, 2) => (22, &[13, 13]),
        (4, 1) => (20, &[80]),
        (4, 0) => (18, &[32, 32]),
        (4, 3) => (26, &[24, 24]),
        (4, 2) => (16, &[9, 9, 9, 9]),
        (5, 1) => (26, &[108]),
        (5, 0) => (24, &[43, 43]),
        (5, 3) => (18, &[15, 15, 16, 16]),
        (5, 2) => (22, &[11, 11, 12, 12]),
        _ => return None,
    };
    Some(Blocks { check, data })
}

/// Where in the symbol the codewords of a block stand, counted in codewords.
fn places(blocks: &Blocks, block: usize) -> Vec<usize> {
    let mut places = Vec::new();
    let mut next = 0;
    let longest = blocks.data.iter().copied().max().unwrap_or(0);
    for column in 0..longest {
        for (other, &length) in blocks.data.iter().enumerate() {
            if column < length {
                if other == block {
                    places.push(next);
                }
                next += 1;
            }
        }
    }
    for _ in 0..blocks.check {
        for other in 0..blocks.data.len() {
            if other == block {
                places.push(next);
            }
            next += 1;
        }
    }
    places
}

/// Whether a module belongs to what every symbol of its size shows, or to the format words.
const fn is_fixed(n: usize, x: usize, y: usize) -> bool {
    let corner = (x < 9 && (y < 9 || y >= n - 8)) || (x >= n - 8 && y < 9);
    let aligned = n > 21 && x >= n - 9 && x < n - 4 && y >= n - 9 && y < n - 4;
    corner || aligned || x == 6 || y == 6
}

/// The data modules in the order in which they hold bits: two columns at a time from the right, up and down by turns
/// (ISO/IEC 18004, 7.7.3; from memory).
fn way(n: usize) -> Vec<(usize, usize)> {
    let mut way = Vec::with_capacity(n * n);
    let (mut right, mut up) = (n - 1, true);
    loop {
        for step in 0..n {
            let y = if up { n - 1 - step } else { step };
            way.extend([right, right - 1].map(|x| (x, y)).into_iter().filter(|&(x, y)| !is_fixed(n, x, y)));
        }
        up = !up;
        // The upright timing line is stepped over.
        right = match right {
            8 => 5,
            right if right > 2 => right - 2,
            _ => return way,
        };
    }
}

/// Whether a mask turns a module over (ISO/IEC 18004, table 10; from memory).
const fn is_masked(mask: u16, x: usize, y: usize) -> bool {
    match mask {
        0 => (x + y).is_multiple_of(2),
        1 => y.is_multiple_of(2),
        2 => x.is_multiple_of(3),
        3 => (x + y).is_multiple_of(3),
        4 => (y / 2 + x / 3).is_multiple_of(2),
        5 => (x * y) % 2 + (x * y) % 3 == 0,
        6 => ((x * y) % 2 + (x * y) % 3).is_multiple_of(2),
        _ => ((x + y) % 2 + (x * y) % 3).is_multiple_of(2),
    }
}

/// Reads a square of `n` modules a side from how light each is: below zero dark, and the further from zero the surer. What is
/// doubtful is erased only if `hard`.
pub(super) fn read(light: &[f32], n: usize, hard: bool) -> Option<Text> {
    if !(21..=MOST_MODULES).contains(&n) || n % 4 != 1 {
        return None;
    }
    let at = |(x, y): (usize, usize)| light.get(y * n + x).copied().unwrap_or(0.0);
    let way = way(n);
    for word in format::likeliest(n, at).into_iter().take(WORDS) {
        let (level, mask) = format::level_and_mask(word);
        let blocks = blocks((n - 17) / 4, level)?;
        let bits: Vec<f32> =
            way.iter().map(|&(x, y)| if is_masked(mask, x, y) { -at((x, y)) } else { at((x, y)) }).collect();
        let plain = mended(&bits, &[], &blocks, hard);
        let settled = if hard && plain.is_none() { filler::find(&data(&bits, &blocks)) } else { None };
        let Some((codewords, doubted)) =
            plain.or_else(|| settled.and_then(|settled| mended(&bits, &settled, &blocks, hard)))
        else {
            continue;
        };
        // The library reads what is mended: format words and data modules are all that it looks at.
        let mut dark: Vec<bool> = light.iter().map(|&value| value < 0.0).collect();
        for ((x, y), bit) in format::written(n, word) {
            if let Some(module) = dark.get_mut(y * n + x) {
                *module = bit;
            }
        }
        for (place, &(x, y)) in way.iter().enumerate() {
            let bit = codewords.get(place / 8).is_some_and(|word| word & (0x80 >> (place % 8)) != 0);
            if let Some(module) = dark.get_mut(y * n + x) {
                *module = bit != is_masked(mask, x, y);
            }
        }
        let Some(mut text) = matrix::read(&dark, n) else { continue };
        let wrong = bits.chunks_exact(8).zip(&codewords).filter(|(seen, meant)| codeword(seen) != **meant);
        let wrong = u32::try_from(wrong.count()).unwrap_or(u32::MAX);
        let exact = text.correction.filter(|exact| exact.corrected == 0);
        text.correction = exact.map(|exact| Correction { corrected: wrong, ..exact });
        if doubted && exact.is_none() {
            continue;
        }
        return Some(text);
    }
    None
}

/// Eight modules as a codeword: dark is one.
fn codeword(bits: &[f32]) -> u8 {
    bits.iter().fold(0, |word, &bit| (word << 1) | u8::from(bit < 0.0))
}

/// Where the data codewords stand, in the order in which they hold the text.
fn data_places(blocks: &Blocks) -> Vec<usize> {
    let of_block = |(block, &length): (usize, &usize)| places(blocks, block).into_iter().take(length);
    blocks.data.iter().enumerate().flat_map(of_block).collect()
}

/// How light the modules of the data are, in the order in which they hold the text.
fn data(bits: &[f32], blocks: &Blocks) -> Vec<f32> {
    let codeword = |place: usize| bits.get(8 * place..8 * place + 8).unwrap_or_default().iter().copied();
    data_places(blocks).into_iter().flat_map(codeword).collect()
}

/// All codewords of a symbol, corrected block by block, and whether that took more than plain dark and light: some were erased, or
/// bits of the data `settled` beforehand.
fn mended(bits: &[f32], settled: &[(usize, bool)], blocks: &Blocks, hard: bool) -> Option<(Vec<u8>, bool)> {
    let usual =
        bits.iter().map(|bit| bit.abs()).sum::<f32>() / 2.0 / f32::from(u16::try_from(bits.len()).ok()?);
    let mut bits = bits.to_vec();
    let order = data_places(blocks);
    for &(bit, one) in settled {
        if let Some(light) = order.get(bit / 8).and_then(|place| bits.get_mut(8 * place + bit % 8)) {
            *light = if one { -SETTLED } else { SETTLED };
        }
    }
    let doubt = |bit: &f32| (-bit.abs() / usual.max(1e-3)).exp();
    let mut all: Vec<u8> = bits.chunks_exact(8).map(codeword).collect();
    let doubts: Vec<f32> = bits.chunks_exact(8).map(|bits| bits.iter().map(doubt).sum()).collect();
    let mut any = !settled.is_empty();
    for block in 0..blocks.data.len() {
        let places = places(blocks, block);
        let seen: Vec<u8> = places.iter().filter_map(|&place| all.get(place).copied()).collect();
        let of = |k: usize| places.get(k).and_then(|&place| doubts.get(place)).copied().unwrap_or(0.0);
        let mut doubted: Vec<usize> = (0..places.len()).collect();
        doubted.sort_by(|&a, &b| of(b).total_cmp(&of(a)));
        let mut done = None;
        let most = if hard { blocks.check.saturating_sub(SPARE) } else { 0 };
        for erased in (0..=most).step_by(2) {
            let mut word = seen.clone();
            let erasures = doubted.get(..erased).unwrap_or_default();
            let corrected = solomon::correct(&mut word, blocks.check, erasures);
            let is_error = |place: &usize| seen.get(*place) != word.get(*place) && !erasures.contains(place);
            let errors = (0..word.len()).filter(is_error).count();
            if corrected && erased + errors + SPARE <= blocks.check {
                (done, any) = (Some(word), any || erased > 0);
                break;
            }
        }
        for (&place, codeword) in places.iter().zip(done?) {
            if let Some(slot) = all.get_mut(place) {
                *slot = codeword;
            }
        }
    }
    Some((all, any))
}

#[cfg(test)]
mod tests {
    use qrcodegen::{Mask, QrCode, QrCodeEcc, QrSegment, Version};

    use super::*;

    const TEXT: &str = "P7K3Q9M2DXWT8";

    /// A symbol of another encoder, every module sure.
    fn light(version: u8, level: QrCodeEcc, mask: u8) -> (Vec<f32>, usize) {
        let version = Version::new(version);
        let (segments, mask) = (QrSegment::make_segments(TEXT), Some(Mask::new(mask)));
        let code = QrCode::encode_segments_advanced(&segments, level, version, version, mask, false).unwrap();
        let n = usize::try_from(code.size()).unwrap();
        let at = |place: usize| i32::try_from(place).unwrap();
        let module = |place: usize| if code.get_module(at(place % n), at(place / n)) { -90.0 } else { 90.0 };
        ((0..n * n).map(module).collect(), n)
    }

    /// Blocks, interleaving, masks and format words against those of another encoder.
    #[test]
    fn every_size_level_and_mask_is_read() {
        for version in 1..=5 {
            for level in [QrCodeEcc::Low, QrCodeEcc::Medium, QrCodeEcc::Quartile] {
                for mask in 0..8 {
                    let (light, n) = light(version, level, mask);
                    let read = read(&light, n, false).unwrap();
                    assert_eq!(read.text, TEXT);
                    assert_eq!(read.correction.unwrap().corrected, 0);
                }
            }
        }
    }

    /// Turns over one module in each of the last codewords, and says how sure it is of them.
    fn spoil(light: &mut [f32], n: usize, codewords: usize, sure: f32) {
        for (x, y) in way(n).into_iter().step_by(8).rev().take(codewords) {
            light[y * n + x] *= -sure;
        }
    }

    #[test]
    fn more_is_corrected_where_doubt_says_where() {
        // Level Q of version 1 corrects six codewords of unknown place.
        for (codewords, sure, plain, hard) in
            [(6, 1.0, true, true), (8, 1.0, false, false), (9, 0.1, false, true), (10, 0.1, false, false)]
        {
            let (mut light, n) = light(1, QrCodeEcc::Quartile, 3);
            spoil(&mut light, n, codewords, sure);
            assert_eq!(read(&light, n, false).is_some(), plain, "{codewords} at {sure}");
            let read = read(&light, n, true);
            assert_eq!(read.as_ref().is_some(), hard, "{codewords} at {sure}");
            if let Some(read) = read {
                assert_eq!(read.text, TEXT);
                assert_eq!(read.correction.unwrap().corrected, u32::try_from(codewords).unwrap());
            }
        }
    }

    /// One copy of the format word is worn away; the other has three wrong bits.
    #[test]
    fn worn_format_words_are_weighed_together() {
        let (mut light, n) = light(1, QrCodeEcc::Quartile, 5);
        for (place, ((x, y), _)) in format::written(n, 0).enumerate() {
            if place % 2 == 0 {
                light[y * n + x] = 1.0;
            } else if place < 6 {
                light[y * n + x] *= -1.0;
            }
        }
        assert_eq!(read(&light, n, false).unwrap().text, TEXT);
    }

    /// Nothing comes out of noise, however much is erased.
    #[test]
    fn nothing_is_read_from_noise() {
        use rand::{RngExt, SeedableRng};
        let mut random = rand_chacha::ChaCha12Rng::seed_from_u64(9);
        for n in [21, 25, 29, 33, 37] {
            for _ in 0..400 {
                let light: Vec<f32> = (0..n * n).map(|_| random.random_range(-90.0..90.0)).collect();
                assert_eq!(read(&light, n, true), None);
            }
        }
    }
}
