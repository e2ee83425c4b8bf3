//! What stands behind a text in a symbol.
//!
//! An encoder says first how the text is packed and how long it is, and fills what is left behind it with two codewords by turns
//! (ISO/IEC 18004, 7.4; from memory). So once the length is known, so is a part of the symbol, often a third of it, and
//! nothing there can be wrong any more. The length is not read from its own few modules alone: each length that there
//! could be is held against all modules that it would settle.

/// The two codewords by turns.
const FILLER: [u8; 2] = [0xEC, 0x11];
/// Share of the settled modules' clearness that must speak for a length.
const CERTAIN: f32 = 0.55;
/// Settled bits from which a length is believed: two codewords of filler beside mode and length.
const LEAST: usize = 28;

/// How characters are packed: the mode's four bits, how many bits hold the length (versions 1 to 9).
#[derive(Debug, Clone, Copy)]
enum Mode {
    Digits,
    Letters,
    Bytes,
}

impl Mode {
    const ALL: [Self; 3] = [Self::Digits, Self::Letters, Self::Bytes];

    const fn indicator(self) -> u16 {
        match self {
            Self::Digits => 1,
            Self::Letters => 2,
            Self::Bytes => 4,
        }
    }

    const fn length_bits(self) -> usize {
        match self {
            Self::Digits => 10,
            Self::Letters => 9,
            Self::Bytes => 8,
        }
    }

    /// Bits that so many characters take.
    const fn bits(self, characters: usize) -> usize {
        match self {
            Self::Digits => {
                let rest = match characters % 3 {
                    0 => 0,
                    1 => 4,
                    _ => 7,
                };
                characters / 3 * 10 + rest
            }
            Self::Letters => characters / 2 * 11 + characters % 2 * 6,
            Self::Bytes => characters * 8,
        }
    }
}

/// The bits that a text of a mode and length settles among `all`: place and value. `None` when it does not fit.
fn settled(mode: Mode, characters: usize, all: usize) -> Option<Vec<(usize, bool)>> {
    let head = 4 + mode.length_bits();
    let end = head + mode.bits(characters);
    if end > all {
        return None;
    }
    let word = usize::from(mode.indicator()) << mode.length_bits() | characters;
    let mut bits: Vec<(usize, bool)> =
        (0..head).map(|place| (place, word >> (head - 1 - place) & 1 == 1)).collect();
    // Up to four zeros end the text, more of them its last codeword.
    let filled = (end + 4).min(all).next_multiple_of(8).min(all);
    bits.extend((end..filled).map(|place| (place, false)));
    bits.extend((filled..all).map(|place| {
        let behind = place - filled;
        let codeword = FILLER.get(behind / 8 % 2).copied().unwrap_or(0);
        (place, codeword & (0x80 >> (behind % 8)) != 0)
    }));
    Some(bits)
}

/// The bits of a symbol's data that its mode and length settle, when they are plain enough: place and value. `light` is how
/// light the module of each bit is, below zero dark, which is one.
pub(super) fn find(light: &[f32]) -> Option<Vec<(usize, bool)>> {
    let mut best: Option<(f32, Vec<(usize, bool)>)> = None;
    for mode in Mode::ALL {
        for characters in 1..1_usize << mode.length_bits() {
            let Some(bits) = settled(mode, characters, light.len()) else { break };
            let speaks = |&(place, one): &(usize, bool)| {
                let light = light.get(place).copied().unwrap_or(0.0);
                if one { -light } else { light }
            };
            let sum: f32 = bits.iter().map(speaks).sum();
            if best.as_ref().is_none_or(|(old, _)| sum > *old) {
                best = Some((sum, bits));
            }
        }
    }
    let (sum, bits) = best?;
    let clear: f32 = bits.iter().filter_map(|&(place, _)| light.get(place)).map(|light| light.abs()).sum();
    (bits.len() >= LEAST && sum >= CERTAIN * clear).then_some(bits)
}

#[cfg(test)]
mod tests {
    use qrcodegen::{QrCode, QrCodeEcc, QrSegment, Version};

    use super::*;

    /// The data of version 2 at level M, 28 codewords: what an encoder makes of a text, as bits.
    fn data(segment: &QrSegment, codewords: usize) -> Vec<bool> {
        let mode = match segment.mode() {
            qrcodegen::QrSegmentMode::Numeric => Mode::Digits,
            qrcodegen::QrSegmentMode::Alphanumeric => Mode::Letters,
            _ => Mode::Bytes,
        };
        let mut bits: Vec<bool> = settled(mode, segment.num_chars(), 8 * codewords)
            .unwrap()
            .into_iter()
            .fold(vec![None; 8 * codewords], |mut all, (place, one)| {
                all[place] = Some(one);
                all
            })
            .into_iter()
            .scan(segment.data().iter(), |text, bit| {
                Some(bit.unwrap_or_else(|| text.next().copied().unwrap_or(false)))
            })
            .collect();
        bits.truncate(8 * codewords);
        bits
    }

    /// Mode, length, end and filler as another encoder writes them.
    #[test]
    fn what_is_settled_is_what_an_encoder_writes() {
        for segment in [
            QrSegment::make_numeric("12345678"),
            QrSegment::make_alphanumeric("P7K3Q9M2DXWT8"),
            QrSegment::make_bytes(b"a pack"),
        ] {
            let version = Version::new(2);
            let code = |segments: &[QrSegment]| {
                QrCode::encode_segments_advanced(segments, QrCodeEcc::Medium, version, version, None, false)
                    .unwrap()
            };
            let bits = data(&segment, 28);
            // Our bits behind the head, handed to the encoder as a text that fills the symbol to its end.
            let head = 4 + match segment.mode() {
                qrcodegen::QrSegmentMode::Numeric => 10,
                qrcodegen::QrSegmentMode::Alphanumeric => 9,
                _ => 8,
            };
            let rest = bits[head..].to_vec();
            let whole = QrSegment::new(segment.mode(), segment.num_chars(), rest);
            assert!(code(&[segment]) == code(&[whole]));
        }
    }

    #[test]
    fn a_length_is_found_though_its_own_modules_are_wrong() {
        let bits = data(&QrSegment::make_alphanumeric("P7K3Q9M2DXWT8"), 28);
        let mut light: Vec<f32> = bits.iter().map(|&one| if one { -40.0 } else { 40.0 }).collect();
        for place in [1, 6, 9, 12] {
            light[place] *= -1.0;
        }
        let found = find(&light).unwrap();
        assert!(found.len() > 28 * 8 - 13 * 6);
        assert!(found.iter().all(|&(place, one)| bits[place] == one));
    }

    #[test]
    fn no_length_is_believed_where_nothing_is_settled() {
        // A symbol that is full: thirteen codewords of data, and a text that takes them all.
        let bits = data(&QrSegment::make_bytes(b"a full one."), 13);
        let light: Vec<f32> = bits.iter().map(|&one| if one { -40.0 } else { 40.0 }).collect();
        assert_eq!(find(&light), None);
    }
}
