//! An axis from one round number to another.

/// A numbered axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scale {
    low: f64,
    step: f64,
    steps: u32,
}

impl Scale {
    /// An axis that holds all values, in steps of 1, 2 or 5 times a power of ten, about `most` of them.
    pub(super) fn over(values: impl Iterator<Item = f64>, most: u32) -> Self {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for value in values.filter(|value| value.is_finite()) {
            (low, high) = (low.min(value), high.max(value));
        }
        if low > high {
            (low, high) = (0.0, 1.0);
        }
        if high - low <= 1e-9 * high.abs().max(1e-9) {
            let around = if high == 0.0 { 1.0 } else { 0.1 * high.abs() };
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
        let steps = (0..=4 * most).find(|&count| first + f64::from(count) >= last).unwrap_or(most);
        Self { low: first * step, step, steps: steps.max(1) }
    }

    /// Where a value stands, from 0 to 1; nothing for what is no number or lies outside.
    pub(super) fn share(&self, value: f64) -> Option<f32> {
        let share = (value - self.low) / (self.step * f64::from(self.steps));
        (share.is_finite() && (-1e-6..=1.0 + 1e-6).contains(&share)).then(|| narrow(share.clamp(0.0, 1.0)))
    }

    /// The values at the ticks.
    pub(super) fn ticks(&self) -> impl Iterator<Item = f64> + use<> {
        let Self { low, step, steps } = *self;
        (0..=steps).map(move |count| low + f64::from(count) * step)
    }

    /// A value at a tick as text, with as many decimals as the step has.
    pub(super) fn text(&self, value: f64) -> String {
        let places = (0..6_u16)
            .find(|&places| {
                let scaled = self.step * 10_f64.powi(i32::from(places));
                (scaled - scaled.round()).abs() < 1e-6 * scaled
            })
            .unwrap_or(6);
        let text = format!("{value:.0$}", usize::from(places));
        if text.trim_start_matches('-').chars().all(|c| matches!(c, '0' | '.')) {
            text.trim_start_matches('-').to_owned()
        } else {
            text
        }
    }
}

/// A share as the drawing takes it.
#[expect(
    clippy::as_conversions,
    clippy::cast_possible_truncation,
    reason = "between 0 and 1; drawing is in f32"
)]
fn narrow(share: f64) -> f32 {
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
    fn shares_are_within_the_axis() {
        let scale = Scale::over([2.7, 4.19].into_iter(), 6);
        assert_eq!((scale.share(2.5), scale.share(4.5), scale.share(3.5)), (Some(0.0), Some(1.0), Some(0.5)));
        assert_eq!((scale.share(4.6), scale.share(f64::NAN)), (None, None));
    }
}
