//! Numbers as loggers write them, read quickly and to the last digit.

use super::super::mapping::Decimal;

/// Powers of ten that are exact.
const POWERS: [f64; 16] =
    [1.0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15];

/// Reads a number; `None` where the text is none.
///
/// Up to 15 digits make a whole number that a float holds exactly, and one division by an exact power of ten is rounded once:
/// the nearest float (Clinger 1990, from memory). Everything else goes to the standard library.
pub(super) fn number(text: &[u8], decimal: Decimal) -> Option<f64> {
    let mark = decimal.mark();
    let (negative, digits) = match text {
        [b'-', rest @ ..] => (true, rest),
        [b'+', rest @ ..] => (false, rest),
        _ => (false, text),
    };
    if digits.len() > 16 {
        return slow(text, mark);
    }
    let (mut whole, mut point) = (0_u64, digits.len());
    for (place, &byte) in digits.iter().enumerate() {
        let digit = byte.wrapping_sub(b'0');
        if digit < 10 {
            whole = whole * 10 + u64::from(digit);
        } else if byte == mark && point == digits.len() {
            point = place;
        } else {
            return slow(text, mark);
        }
    }
    let places = digits.len().saturating_sub(point + 1);
    let seen = digits.len() - usize::from(point < digits.len());
    if seen > 15 {
        return slow(text, mark);
    }
    let value = exact(whole) / POWERS.get(places)?;
    (seen > 0).then_some(if negative { -value } else { value })
}

/// A whole number below 2^53 as a float.
#[expect(
    clippy::as_conversions,
    reason = "there is no other way from u64 to f64, and fifteen digits are exact"
)]
fn exact(whole: u64) -> f64 {
    whole as f64
}

/// Exponents, and more digits than a float holds.
fn slow(text: &[u8], mark: u8) -> Option<f64> {
    let text = std::str::from_utf8(text).ok()?;
    let plain = |byte: u8| byte.is_ascii_digit() || matches!(byte, b'+' | b'-' | b'e' | b'E') || byte == mark;
    if !text.bytes().all(plain) {
        return None;
    }
    let value: f64 = if mark == b'.' { text.parse().ok()? } else { text.replace(',', ".").parse().ok()? };
    value.is_finite().then_some(value)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn loggers_numbers_read() {
        let read = |text: &str| number(text.as_bytes(), Decimal::Point);
        for (text, value) in
            [("4.19149", 4.191_49), ("-0.00148", -0.001_48), ("+7", 7.0), (".5", 0.5), ("5.", 5.0)]
        {
            assert_eq!(read(text), Some(value), "{text}");
        }
        assert_eq!(read("1.5e-3"), Some(0.0015));
        assert_eq!(read("3.141592653589793238"), Some(std::f64::consts::PI));
        for text in ["", "-", ".", "1,5", "1.2.3", "nan", "inf", "1e999", "0x1", "--1", "1_000", "12 V"] {
            assert_eq!(read(text), None, "{text}");
        }
        assert_eq!(number(b"3,25", Decimal::Comma), Some(3.25));
        assert_eq!(number(b"3.25", Decimal::Comma), None);
    }

    proptest! {
        /// To the last digit what the standard library reads.
        #[test]
        fn the_same_float_as_the_standard_library(text in "[+-]?[0-9]{1,12}(\\.[0-9]{0,12})?(e-?[0-9]{1,2})?") {
            prop_assert_eq!(number(text.as_bytes(), Decimal::Point), text.parse().ok());
        }
    }
}
