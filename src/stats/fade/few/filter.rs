//! How likely the readings are under given parameters, and what they then say about the pack asked about.
//!
//! Each pack is filtered once (Kalman; the wandering is the only state, so gains are numbers) on three columns at once: readings
//! less the expected line, ones, and `x`. That gives `G = M' V^-1 M`, from which the pack's own line, `N(0, S)`, and then
//! the common line `m`, known beforehand to ten fades, are eliminated (Rauch, Tung and Striebel's and Henderson's algebra, from memory).

use std::f64::consts::TAU;

use nalgebra::{Matrix2, Matrix3, SVector, Vector2, Vector3};

use super::{Past, Reading};
use crate::stats::fade::kernel::count;

/// How many parameters there are, and the parameters as the search moves them: logarithms, but for the correlation.
pub(super) const PARAMETERS: usize = 7;
pub(super) type Point = SVector<f64, PARAMETERS>;

/// What is known of each parameter before any reading: standard deviations on the scale of [`Point`].
const PRIOR_SPREAD: [f64; PARAMETERS] = [1.0, 1.0, 0.7, 0.7, 0.4, 1.0, 0.7];
/// What is known of the common line: within so many fades.
const WIDE: f64 = 10.0;
/// The least independent error, as a share of the fade: readings that were rounded until they agree are not exact.
const LEAST_NOISE: f64 = 1e-3;

/// The parameters of the model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Parameters {
    /// Standard deviation of an independent error, in the unit of capacity.
    pub noise: f64,
    /// Standard deviation of packs' levels at clock zero, in the unit of capacity.
    pub levels: f64,
    /// Standard deviation of packs' slopes: capacity for one whole record.
    pub slopes: f64,
    /// How level and slope go together: the inverse hyperbolic tangent of their correlation.
    pub together: f64,
    /// The power `p` of the clock.
    pub power: f64,
    /// Standard deviation of the wandering, in the unit of capacity.
    pub wander: f64,
    /// The clock over which wandering is forgotten, to `1 / e`.
    pub memory: f64,
}

impl Parameters {
    fn point(&self) -> Point {
        let Self { noise, levels, slopes, together, power, wander, memory } = *self;
        Point::from([noise.ln(), levels.ln(), slopes.ln(), together, power.ln(), wander.ln(), memory.ln()])
    }

    /// Covariance of pack lines.
    fn lines(&self) -> Matrix2<f64> {
        let across = self.together.tanh() * self.levels * self.slopes;
        Matrix2::new(self.levels.powi(2), across, across, self.slopes.powi(2))
    }
}

/// A pack's readings, as the filter wants them.
#[derive(Debug, Clone)]
pub(super) struct Pack {
    /// The step from the reading before, `ln(clock / N)`, and the capacity.
    readings: Vec<[f64; 3]>,
    /// The last clock.
    pub(super) last: f64,
    /// How fast it fades against the learners.
    pub(super) rate: f64,
}

impl Pack {
    pub(super) fn new(readings: &[Reading], whole: f64, rate: f64) -> Self {
        let mut last = readings.first().map_or(0.0, |reading| reading.clock);
        let readings = readings.iter().map(|&Reading { clock, capacity }| {
            let step = clock - last;
            last = clock;
            [step, (clock / whole).ln(), capacity]
        });
        Self { readings: readings.collect(), last, rate }
    }
}

/// What the filter leaves of one pack.
#[derive(Debug, Clone, Copy)]
struct Filtered {
    /// `ln |V|`.
    logs: f64,
    /// `M' V^-1 M`.
    products: Matrix3<f64>,
    /// The wandering at the last reading: by column, and its variance.
    state: Vector3<f64>,
    variance: f64,
}

/// What readings say about the pack asked about, under given parameters.
#[derive(Debug, Clone)]
pub(super) struct Known {
    log_likelihood: f64,
    /// The common line less where it was expected, and its information (inverse covariance).
    pub(super) common: Vector2<f64>,
    pub(super) information: Matrix2<f64>,
    /// The pack's own line about the common one `m` is `own_covariance (own - own_by m)`, with that covariance.
    pub(super) own: Vector2<f64>,
    pub(super) own_by: Matrix2<f64>,
    pub(super) own_covariance: Matrix2<f64>,
    /// The wandering at the last reading is `state - state_by line`, with that variance.
    pub(super) state: f64,
    pub(super) state_by: Vector2<f64>,
    pub(super) state_variance: f64,
}

impl Past {
    /// The logarithm of the likelihood; `None` where it cannot be worked out.
    pub fn log_likelihood(&self, parameters: &Parameters) -> Option<f64> {
        self.known(parameters).map(|known| known.log_likelihood)
    }

    /// Minus the logarithm of likelihood times prior, without the prior's constants; `None` where it cannot be worked out.
    pub fn objective(&self, parameters: &Parameters) -> Option<f64> {
        self.height(&parameters.point())
    }

    /// [`Past::objective`] of a point.
    pub(super) fn height(&self, point: &Point) -> Option<f64> {
        let off = (point - self.expected()).component_div(&Self::spread());
        let height = 0.5 * off.norm_squared() - self.log_likelihood(&self.parameters(point))?;
        height.is_finite().then_some(height)
    }

    /// The parameters at a point.
    pub(super) fn parameters(&self, point: &Point) -> Parameters {
        let [noise, levels, slopes, together, power, wander, memory] = point.data.0[0];
        Parameters {
            noise: noise.exp().max(LEAST_NOISE * self.fade),
            levels: levels.exp(),
            slopes: slopes.exp(),
            together,
            power: power.exp(),
            wander: wander.exp(),
            memory: memory.exp(),
        }
    }

    /// The parameters that are expected before any reading.
    pub(super) fn expected(&self) -> Point {
        let (fade, memory) = (self.fade, 6.0 * self.step);
        Parameters {
            noise: 0.01 * fade,
            levels: 0.2 * fade,
            slopes: 0.4 * fade,
            together: 0.0,
            power: 1.0,
            wander: 0.05 * fade,
            memory,
        }
        .point()
    }

    /// How far off the expected ones they may be: standard deviations.
    pub(super) fn spread() -> Point {
        Point::from(PRIOR_SPREAD)
    }

    /// The line that is expected before any reading.
    pub(super) fn line(&self) -> Vector2<f64> {
        Vector2::new(self.start, -self.fade)
    }

    pub(super) fn known(&self, parameters: &Parameters) -> Option<Known> {
        let lines = parameters.lines();
        let inverse = lines.try_inverse()?;
        let wide = (WIDE * self.fade).powi(-2);
        let mut information = Matrix2::from_diagonal_element(wide);
        let (mut towards, mut log_likelihood) = (Vector2::zeros(), wide.ln());
        let mut target = None;
        for pack in &self.packs {
            let filtered = pack.filtered(self.line(), parameters);
            let products = filtered.products;
            let data = Vector2::new(products.m12, products.m13);
            let columns = Matrix2::new(products.m22, products.m23, products.m23, products.m33);
            let system = columns + inverse;
            let covariance = system.try_inverse()?;
            let rest = products.m11 - data.dot(&(covariance * data));
            information += columns - columns * covariance * columns;
            towards += data - columns * (covariance * data);
            log_likelihood -= 0.5
                * (filtered.logs
                    + (lines.determinant() * system.determinant()).ln()
                    + rest
                    + count(pack.readings.len()) * TAU.ln());
            target = target.or(Some((filtered, data, columns, covariance)));
        }
        let common = information.try_inverse()? * towards;
        log_likelihood += 0.5 * (towards.dot(&common) - information.determinant().ln());
        let (filtered, own, own_by, own_covariance) = target?;
        let state_by = Vector2::new(filtered.state.y, filtered.state.z);
        log_likelihood.is_finite().then_some(Known {
            log_likelihood,
            common,
            information,
            own,
            own_by,
            own_covariance,
            state: filtered.state.x,
            state_by,
            state_variance: filtered.variance,
        })
    }
}

impl Pack {
    fn filtered(&self, line: Vector2<f64>, parameters: &Parameters) -> Filtered {
        let Parameters { power, memory, .. } = *parameters;
        let (noise, wander) = (parameters.noise.powi(2), (parameters.wander * self.rate).powi(2));
        let mut end =
            Filtered { logs: 0.0, products: Matrix3::zeros(), state: Vector3::zeros(), variance: wander };
        let (mut step_before, mut kept) = (0.0, 1.0);
        for &[step, log_x, capacity] in &self.readings {
            // Steps are mostly all alike. A pack starts with a step of zero, in the midst of its wandering.
            if (step - step_before).abs() > 0.0 {
                (step_before, kept) = (step, (-step / memory).exp());
            }
            let variance = wander + kept * kept * (end.variance - wander);
            let total = variance + noise;
            let x = (power * log_x).exp();
            let state = end.state * kept;
            let off = Vector3::new(capacity - line.x - line.y * x, 1.0, x) - state;
            end.logs += total.ln();
            end.products += off * off.transpose() / total;
            end.state = state + off * (variance / total);
            end.variance = variance * noise / total;
        }
        end
    }
}
