//! An axis: from one round number to another, or exactly as far as it must reach.

/// What is larger counts as no number: nothing that is drawn here comes near it, and differences of such values overflow.
const MOST: f64 = 1e100;

/// An axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scale {
    low: f64,
    span: f64,
    step: f64,
    steps: u32,
}

impl Scale {
    /// An axis that holds all values, in steps of 1, 2 or 5 times a power of ten, about `most` of them.
    pub(super) fn over(values: impl Iterator<Item = f64>, most: u32) -> Self {
        let (mut low, mut high) = range(values).unwrap_or((0.0, 1.0));
        let size = low.abs().max(high.abs());
        if high - low <= 1e-9 * size.max(1e-9) {
            let around = if size == 0.0 { 1.0 } else { 0.1 * size };
            (low, high) = (low - around, high + around);
        }
        let raw = (high - low) / f64::from(most.max(1));
        let power = 10_f64.powf(raw.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0]
            .into_iter()
            .map(|factor| factor * power)
            .find(|step| *step >= raw * (1.0 - 1e-9))
            .unwrap_or(10.0 * power);
        let first = (low / step + 1e-9).floor();
        let last = (high / step - 1e-9).ceil();
        let steps = (0..=4 * most).find(|&count| first + f64::from(count) >= last).unwrap_or(most).max(1);
        Self { low: first * step, span: step * f64::from(steps), step, steps }
    }

    /// An axis that reaches exactly over all values, and a little further where they are all the same. Its ticks come from elsewhere.
    pub(super) fn exact(values: impl Iterator<Item = f64>) -> Self {
        let (mut low, mut high) = range(values).unwrap_or((0.0, 1.0));
        let size = low.abs().max(high.abs());
        if high - low <= 1e-9 * size.max(1e-9) {
            let around = 1e-6_f64.mul_add(size, 1.0);
            (low, high) = (low - around, high + around);
        }
        Self { low, span: high - low, step: high - low, steps: 1 }
    }

    /// Where a value stands, from 0 to 1; nothing for what is no number or lies outside.
    pub(super) fn share(&self, value: f64) -> Option<f32> {
        let share = (value - self.low) / self.span;
        (share.is_finite() && (-1e-6..=1.0 + 1e-6).contains(&share)).then(|| narrow(share.clamp(0.0, 1.0)))
    }

    /// The values at the ticks.
    pub(super) fn ticks(&self) -> impl Iterator<Item = f64> + use<> {
        let Self { low, step, steps, .. } = *self;
        (0..=steps).map(move |count| low + f64::from(count) * step)
    }

    /// A value at a tick as text, with as many decimals as the step has. Very large and very small ones are told with a power of
    /// ten, one for the whole axis: `2.5e12`.
    pub(super) fn text(&self, value: f64) -> String {
        let size = self.low.abs().max((self.low + self.span).abs());
        let power = if (1e-3..1e7).contains(&size) { 0 } else { power_of(size) };
        let unit = 10_f64.powi(power);
        let places = decimals(self.step / unit);
        let text = format!("{:.*}", places, value / unit);
        if text.trim_start_matches('-').chars().all(|c| matches!(c, '0' | '.')) {
            let zero = text.trim_start_matches('-');
            return if power == 0 { zero.to_owned() } else { "0".to_owned() };
        }
        match power {
            0 if size >= 10_000.0 => grouped(&text),
            0 => text,
            power => format!("{text}e{power}"),
        }
    }
}

/// The least and the greatest of what are numbers; nothing without any.
fn range(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    values.filter(|&value| is_number(value)).fold(None, |range, value| match range {
        None => Some((value, value)),
        Some((low, high)) => Some((value.min(low), value.max(high))),
    })
}

/// Whether a value can be drawn.
pub(super) fn is_number(value: f64) -> bool {
    value.abs() <= MOST
}

/// The power of ten at or below a size.
fn power_of(size: f64) -> i32 {
    (-100..=100).rev().find(|&power| size >= 10_f64.powi(power) * (1.0 - 1e-9)).unwrap_or(0)
}

/// How many decimals a step has, at most 12.
fn decimals(step: f64) -> usize {
    let whole = |places: u16| {
        let scaled = step * 10_f64.powi(i32::from(places));
        (scaled - scaled.round()).abs() < 1e-6 * scaled
    };
    usize::from((0..12_u16).find(|&places| whole(places)).unwrap_or(12))
}

/// A number with its thousands set apart: `12,500`.
pub(super) fn grouped(text: &str) -> String {
    let (sign, rest) = text.strip_prefix('-').map_or(("", text), |rest| ("-", rest));
    let (whole, part) = rest.split_once('.').map_or((rest, None), |(whole, part)| (whole, Some(part)));
    let length = whole.chars().count();
    let mut out = sign.to_owned();
    for (place, digit) in whole.chars().enumerate() {
        if place > 0 && (length - place).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    part.map_or_else(|| out.clone(), |part| format!("{out}.{part}"))
}

/// A share as the drawing takes it.
#[expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    reason = "between 0 and 1; drawing is in f32"
)]
pub(super) fn narrow(share: f64) -> f32 {
    share as f32
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(values: &[f64], most: u32) -> Vec<String> {
        let scale = Scale::over(values.iter().copied(), most);
        scale.ticks().map(|value| scale.text(value)).collect()
    }

    #[test]
    fn axes_run_to_round_numbers() {
        assert_eq!(texts(&[2.7, 4.19], 6), ["2.5", "3.0", "3.5", "4.0", "4.5"]);
        assert_eq!(texts(&[0.0, 0.93], 8), ["0.0", "0.2", "0.4", "0.6", "0.8", "1.0"]);
        assert_eq!(texts(&[-40.0, 25.0], 6), ["-40", "-20", "0", "20", "40"]);
        assert_eq!(texts(&[0.0, 48.0], 8), ["0", "10", "20", "30", "40", "50"]);
        assert_eq!(texts(&[f64::NAN], 4), ["0.0", "0.5", "1.0"]);
        // One value only, and zero only.
        assert!(texts(&[812.0], 6).len() > 2 && texts(&[0.0], 6).len() > 2);
    }

    #[test]
    fn very_large_and_very_small_numbers_stay_short() {
        assert_eq!(texts(&[0.0, 2e12], 4), ["0", "0.5e12", "1.0e12", "1.5e12", "2.0e12"]);
        assert_eq!(texts(&[1e-9, 2e-9], 2), ["1.0e-9", "1.5e-9", "2.0e-9"]);
        assert_eq!(texts(&[0.0, 40_000.0], 4), ["0", "10,000", "20,000", "30,000", "40,000"]);
        assert_eq!(texts(&[-1e300, 0.0, f64::MAX, 1.0], 1), ["0", "1"]);
        assert!(texts(&[1e12, 1e12 + 1e4], 4).iter().all(|text| text.len() < 16));
        assert_eq!(grouped("-1234567.5"), "-1,234,567.5");
    }

    #[test]
    fn shares_are_within_the_axis() {
        let scale = Scale::over([2.7, 4.19].into_iter(), 6);
        assert_eq!((scale.share(2.5), scale.share(4.5), scale.share(3.5)), (Some(0.0), Some(1.0), Some(0.5)));
        assert_eq!((scale.share(4.6), scale.share(f64::NAN)), (None, None));
        let scale = Scale::exact([20_000.0, 20_050.0].into_iter());
        assert_eq!((scale.share(20_000.0), scale.share(20_025.0)), (Some(0.0), Some(0.5)));
    }
}
