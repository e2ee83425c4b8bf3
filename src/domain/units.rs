//! Quantities with their units: integers inside, the unit in the type, in the text and in the parse.
//!
//! Every quantity is kept in the finest step that the trade reads off an instrument, so that equality and limits are
//! exact. `Display` prints the unit and [`FromStr`] demands it; floats appear in `stats` and in ratios shown to people.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Why a text is not the quantity that was asked for.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum QuantityError {
    /// The text has no number, or something else than one number before the unit.
    #[error("`{text}` is not a number with the unit {unit}")]
    Shape {
        /// What was given.
        text: String,
        /// The unit that was expected.
        unit: &'static str,
    },
    /// The unit is missing or another one.
    #[error("`{text}` lacks the unit {unit}")]
    Unit {
        /// What was given.
        text: String,
        /// The unit that was expected.
        unit: &'static str,
    },
    /// The number does not fit: negative, too large, or finer than the step.
    #[error("`{text}` is out of range for {unit}")]
    Range {
        /// What was given.
        text: String,
        /// The unit that was expected.
        unit: &'static str,
    },
}

/// Reads a plain decimal number ("12", "12.5", "12,5") as an integer count of `10^-places`.
///
/// Digits beyond `places` must be zeros: a silent rounding would change what somebody read off an instrument.
/// Returns `None` when the text is no such number.
pub fn decimal(text: &str, places: u32) -> Option<i64> {
    let text = text.trim();
    let (negative, digits) = match text.strip_prefix('-') {
        Some(rest) => (true, rest),
        None => (false, text),
    };
    let (whole, fraction) = digits.split_once(['.', ',']).unwrap_or((digits, ""));
    if whole.is_empty() || !whole.bytes().chain(fraction.bytes()).all(|b| b.is_ascii_digit()) {
        return None;
    }
    let fraction = fraction.trim_end_matches('0');
    let given = u32::try_from(fraction.len()).ok()?;
    let missing = places.checked_sub(given)?;
    let joined: i64 = format!("{whole}{fraction}").parse().ok()?;
    let value = joined.checked_mul(10_i64.checked_pow(missing)?)?;
    Some(if negative { -value } else { value })
}

/// Writes an integer count of `10^-places` as a decimal number without trailing zeros.
///
/// # Errors
/// When the formatter does not take the text.
pub fn write_decimal(f: &mut fmt::Formatter<'_>, value: i64, places: u32) -> fmt::Result {
    let scale = 10_u64.pow(places);
    let magnitude = value.unsigned_abs();
    let sign = if value < 0 { "-" } else { "" };
    let (whole, fraction) = (magnitude / scale, magnitude % scale);
    if fraction == 0 {
        return write!(f, "{sign}{whole}");
    }
    let digits = format!("{fraction:0width$}", width = usize::try_from(places).unwrap_or(0));
    write!(f, "{sign}{whole}.{}", digits.trim_end_matches('0'))
}

/// Splits "812 mAh" into its number and its unit text.
fn split_unit(text: &str) -> (&str, &str) {
    let text = text.trim();
    let end = text
        .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',' | '-' | ' ')))
        .unwrap_or(text.len());
    let (number, unit) = text.split_at(end);
    (number.trim(), unit.trim())
}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $raw:ty, $unit:literal, places $places:literal, also [$($other:literal),*]) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name($raw);

        impl $name {
            /// The unit as it is printed.
            pub const UNIT: &'static str = $unit;

            #[doc = concat!("Makes the quantity from its raw count (unit ", $unit, ", decimal places ", $places, ").")]
            pub const fn new(raw: $raw) -> Self {
                Self(raw)
            }

            /// The raw count.
            pub const fn raw(self) -> $raw {
                self.0
            }

            /// Reads a bare number, for places where the unit is given by a column or a question.
            ///
            /// # Errors
            /// [`QuantityError`] when the text is no number, or one that does not fit.
            pub fn parse_bare(text: &str) -> Result<Self, QuantityError> {
                let shape = || QuantityError::Shape { text: text.trim().to_owned(), unit: $unit };
                let range = || QuantityError::Range { text: text.trim().to_owned(), unit: $unit };
                let plain = decimal(text, 18).is_some() || decimal(text, $places).is_some();
                let value = decimal(text, $places).ok_or_else(|| if plain { range() } else { shape() })?;
                <$raw>::try_from(value).map(Self).map_err(|_out_of_range| range())
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write_decimal(f, i64::from(self.0), $places)?;
                f.write_str(concat!(" ", $unit))
            }
        }

        impl FromStr for $name {
            type Err = QuantityError;

            fn from_str(text: &str) -> Result<Self, Self::Err> {
                let (number, unit) = split_unit(text);
                if unit.eq_ignore_ascii_case($unit) $(|| unit.eq_ignore_ascii_case($other))* {
                    Self::parse_bare(number)
                } else {
                    Err(QuantityError::Unit { text: text.trim().to_owned(), unit: $unit })
                }
            }
        }
    };
}

quantity!(/** Electric charge: what a pack holds. */
    MilliampHours, u32, "mAh", places 0, also []);
quantity!(/** Mean current that a player draws, kept in microamperes so that a known pair such as 650 mAh in 16 h is exact. */
    Draw, u32, "mA", places 3, also []);
quantity!(/** Electric potential. */
    Millivolts, u32, "mV", places 0, also []);
quantity!(/** Internal resistance, in steps of a hundredth of a milliohm. */
    Milliohms, u32, "mOhm", places 2, also ["mΩ", "mohms"]);
quantity!(/** A stretch of time at the bench. */
    Minutes, u32, "min", places 0, also ["minutes"]);
quantity!(/** Mass. */
    Grams, u32, "g", places 0, also []);
quantity!(/** Energy, in thousandths of a watt-hour. */
    WattHours, u32, "Wh", places 3, also []);
quantity!(/** Temperature, in tenths of a degree Celsius. */
    Celsius, i32, "C", places 1, also ["°C"]);
quantity!(/** Hours of play, in hundredths of an hour. */
    PlayHours, u32, "h", places 2, also ["hours", "hour"]);
quantity!(/** Equivalent full cycles, in thousandths: the charge that went through a pack, over its rated capacity. */
    Cycles, u32, "cycles", places 3, also ["cycle"]);

impl MilliampHours {
    /// Hours of play that this charge gives at a mean draw, rounded down to a hundredth of an hour.
    ///
    /// `t = Q / I`, the definition of the ampere-hour. `None` for a draw of zero.
    ///
    /// ```
    /// use packmuster::domain::units::{Draw, MilliampHours};
    /// let draw = Draw::new(40_625); // 650 mAh in 16 h
    /// assert_eq!(MilliampHours::new(650).play(draw).map(|h| h.to_string()), Some("16 h".into()));
    /// ```
    pub fn play(self, draw: Draw) -> Option<PlayHours> {
        let hundredths = u64::from(self.0).checked_mul(100_000)?.checked_div(u64::from(draw.raw()))?;
        u32::try_from(hundredths).ok().map(PlayHours::new)
    }

    /// This charge as a share of a rated capacity, in tenths of a per cent, rounded to nearest: the state of health.
    ///
    /// `SoH = Q / Q_rated`. `None` for a rated capacity of zero.
    pub fn per_mille_of(self, rated: Self) -> Option<u32> {
        let half = u64::from(rated.0) / 2;
        let value = (u64::from(self.0) * 1000 + half).checked_div(u64::from(rated.0))?;
        u32::try_from(value).ok()
    }

    /// `percent` per cent of this capacity, rounded up: a limit must not be lower than what it says.
    #[must_use]
    pub fn percent(self, percent: u32) -> Self {
        let value = (u64::from(self.0) * u64::from(percent)).div_ceil(100);
        Self(u32::try_from(value).unwrap_or(u32::MAX))
    }
}

impl PlayHours {
    /// The charge that gives these hours at a mean draw, rounded up: `Q = t I`.
    pub fn charge(self, draw: Draw) -> MilliampHours {
        let value = (u64::from(self.0) * u64::from(draw.raw())).div_ceil(100_000);
        MilliampHours(u32::try_from(value).unwrap_or(u32::MAX))
    }

    /// Equivalent full cycles that playing for these hours costs a pack: `t I / Q_rated`, rounded to nearest.
    ///
    /// Zero for a rated capacity of zero.
    pub fn cycles(self, draw: Draw, rated: MilliampHours) -> Cycles {
        let used = u64::from(self.0) * u64::from(draw.raw());
        let scale = u64::from(rated.raw()) * 100;
        let value = (used + scale / 2).checked_div(scale).unwrap_or(0);
        Cycles(u32::try_from(value).unwrap_or(u32::MAX))
    }
}

impl Draw {
    /// The mean draw that empties `charge` in `hours`: `I = Q / t`, rounded to the nearest microampere.
    ///
    /// `None` for zero hours.
    pub fn from_pair(charge: MilliampHours, hours: PlayHours) -> Option<Self> {
        let hours = u64::from(hours.raw());
        let value = (u64::from(charge.raw()) * 100_000 + hours / 2).checked_div(hours)?;
        u32::try_from(value).ok().map(Self)
    }
}

impl Cycles {
    /// The sum, held at the largest value when it would not fit.
    #[must_use]
    pub const fn plus(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }

    /// The difference, held at zero.
    #[must_use]
    pub const fn minus(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quantity_demands_its_unit() {
        assert_eq!("812 mAh".parse::<MilliampHours>().unwrap().raw(), 812);
        assert_eq!("812mah".parse::<MilliampHours>().unwrap().raw(), 812);
        assert!(matches!("812".parse::<MilliampHours>(), Err(QuantityError::Unit { .. })));
        assert!(matches!("812 mA".parse::<MilliampHours>(), Err(QuantityError::Unit { .. })));
        assert!(matches!("-3 mAh".parse::<MilliampHours>(), Err(QuantityError::Range { .. })));
        assert!(matches!("8.5 mAh".parse::<MilliampHours>(), Err(QuantityError::Range { .. })));
        assert!(matches!("x mAh".parse::<MilliampHours>(), Err(QuantityError::Unit { .. })));
    }

    #[test]
    fn decimals_take_a_point_or_a_comma() {
        assert_eq!("40,625 mA".parse::<Draw>().unwrap().raw(), 40_625);
        assert_eq!("23.5 C".parse::<Celsius>().unwrap().to_string(), "23.5 C");
        assert_eq!("-4 °C".parse::<Celsius>().unwrap().raw(), -40);
        assert_eq!(Cycles::new(12_340).to_string(), "12.34 cycles");
    }

    /// Common practice, no source: a service pack passes at 650 mAh for about 16 h of play, a new one at 1000 mAh for
    /// about 24 h. Both are within 3 % of one common draw.
    #[test]
    fn the_common_pairs_share_one_draw() {
        let common = Draw::new(41_000);
        for (mah, hours) in [(650, 16), (1000, 24)] {
            let play = MilliampHours::new(mah).play(common).unwrap().raw();
            let off = (f64::from(play) / (f64::from(hours) * 100.0) - 1.0).abs();
            assert!(off < 0.03, "{mah} mAh is {play}/100 h");
            let pair = Draw::from_pair(MilliampHours::new(mah), PlayHours::new(hours * 100)).unwrap();
            assert!((f64::from(pair.raw()) / f64::from(common.raw()) - 1.0).abs() < 0.03);
        }
    }

    #[test]
    fn a_limit_from_hours_is_rounded_up() {
        let draw = Draw::from_pair(MilliampHours::new(650), PlayHours::new(1600)).unwrap();
        assert_eq!(PlayHours::new(1600).charge(draw).raw(), 650);
        assert_eq!(PlayHours::new(1601).charge(draw).raw(), 651);
        assert_eq!(MilliampHours::new(1001).percent(60).raw(), 601);
    }

    #[test]
    fn cycles_are_charge_over_rated() {
        let cycles = PlayHours::new(10_000).cycles(Draw::new(40_000), MilliampHours::new(1000));
        assert_eq!(cycles.to_string(), "4 cycles");
        assert_eq!(PlayHours::new(1).cycles(Draw::new(1), MilliampHours::new(0)).raw(), 0);
    }
}
