//! From the table to what it says of the bench: variances, their shares, the classes that it tells apart, and each operator's bias.

use super::anova::{Anova, Line, Means};
use super::study::{Crossed, Design, GaugeError};
use crate::stats::control::cusum::count;
use crate::stats::control::laws;
use crate::stats::interval::Interval;

/// Standard deviations of parts per gauge's that make one class: the square root of 2, as AIAG rounds it (from memory).
const CLASS: f64 = 1.41;

/// Whether the interaction of part and operator is kept apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Model {
    /// It shows, and has a variance of its own.
    WithInteraction,
    /// It does not, and is pooled with repeatability.
    Pooled,
}

/// Variances, in the square of the readings' unit; none below 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Components {
    /// Of the same part by the same operator.
    pub repeatability: f64,
    /// Between operators, for all parts alike.
    pub operators: f64,
    /// Between operators, for each part otherwise; 0 when pooled.
    pub interaction: f64,
    /// Between parts.
    pub parts: f64,
}

/// Shares of the total in percent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shares {
    /// Of the gauge: repeatability and reproducibility.
    pub gauge: f64,
    /// Of repeatability.
    pub repeatability: f64,
    /// Of reproducibility: operators and interaction.
    pub reproducibility: f64,
    /// Of parts.
    pub parts: f64,
}

/// How far an operator reads from the mean of all of them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OperatorBias {
    /// The operator, from 0.
    pub operator: usize,
    /// The operator's mean less the grand mean, in the unit of the readings.
    pub bias: f64,
    /// Its limits, which hold for all operators at once.
    pub limits: Interval,
}

/// What a study says.
#[derive(Debug, Clone, PartialEq)]
pub struct Gauge {
    /// The table.
    pub anova: Anova,
    /// Variances with the interaction kept apart.
    pub full: Components,
    /// Variances with the interaction pooled.
    pub pooled: Components,
    /// Which of the two the study asks for.
    pub model: Model,
    design: Design,
    mean: f64,
    operators: Vec<f64>,
}

impl Crossed {
    /// Judges the gauge. The interaction is pooled when its chance is above `alpha`; 0.25 and 0.05 are both in use.
    ///
    /// Where there is none, letting the data choose makes repeatability come out a little too small: by 3.5 % with 0.25, in the simulated
    /// studies of the tests.
    ///
    /// ```
    /// use packmuster::stats::control::gauge::study::{Crossed, Design};
    /// // Three packs in two slots, twice each: mAh. The second slot reads low.
    /// let values = [
    ///     1985.0, 1991.0, 1950.0, 1946.0,
    ///     2105.0, 2099.0, 2060.0, 2066.0,
    ///     1890.0, 1894.0, 1852.0, 1850.0,
    /// ];
    /// let gauge = Crossed::new(Design { parts: 3, operators: 2, repeats: 2 }, &values)?.judge(0.25)?;
    /// let bias = &gauge.biases(0.95)[1];
    /// assert!((bias.bias + 20.0).abs() < 1e-9 && bias.limits.high < 0.0);
    /// assert_eq!(gauge.components().categories(), 5.0);
    /// # Ok::<(), packmuster::stats::control::gauge::study::GaugeError>(())
    /// ```
    ///
    /// # Errors
    /// [`GaugeError::Chance`] for an alpha that is none, [`GaugeError::NoVariation`] when all readings are alike.
    pub fn judge(&self, alpha: f64) -> Result<Gauge, GaugeError> {
        if !(0.0..=1.0).contains(&alpha) {
            return Err(GaugeError::Chance { name: "alpha", value: alpha });
        }
        let means = Means::of(self);
        let anova = Anova::of(self, &means);
        if anova.total().squares <= 0.0 {
            return Err(GaugeError::NoVariation);
        }
        let shows = anova.interaction.against(&anova.repeatability).is_some_and(|test| test.p <= alpha);
        Ok(Gauge {
            anova,
            full: Components::full(&anova, self.design()),
            pooled: Components::pooled(&anova, self.design()),
            model: if shows { Model::WithInteraction } else { Model::Pooled },
            design: self.design(),
            mean: means.all,
            operators: means.operators,
        })
    }
}

impl Gauge {
    /// The variances of the model that the study asks for.
    pub fn components(&self) -> Components {
        match self.model {
            Model::WithInteraction => self.full,
            Model::Pooled => self.pooled,
        }
    }

    /// The line on which operators are judged: the interaction where it is kept apart, else the pooled error.
    pub fn error(&self) -> Line {
        match self.model {
            Model::WithInteraction => self.anova.interaction,
            Model::Pooled => self.anova.pooled(),
        }
    }

    /// Each operator's mean less the grand mean, with limits that hold for all operators at once at a level such as 0.95.
    ///
    /// `bias -+ t sqrt(MS (o - 1) / (o p r))`, where `MS` and the degrees of freedom of `t` are those of [`Gauge::error`], and `t` leaves
    /// `(1 - level) / o` outside (Bonferroni). They are the slots that there are, not a sample of slots; a bias that all of them share
    /// does not show. A level outside of 0 to 1 is taken as the nearer of the two.
    pub fn biases(&self, level: f64) -> Vec<OperatorBias> {
        let [p, o, r] = [self.design.parts, self.design.operators, self.design.repeats].map(count);
        let error = self.error();
        let t = laws::t_for((1.0 - level.clamp(0.0, 1.0)) / o, error.freedom);
        let reach = t * (error.mean_square() * (o - 1.0) / (o * p * r)).sqrt();
        let bias = |(operator, mean): (usize, &f64)| {
            let bias = mean - self.mean;
            OperatorBias { operator, bias, limits: Interval::around(bias, reach) }
        };
        self.operators.iter().enumerate().map(bias).collect()
    }

    /// The mean of all readings.
    pub fn mean(&self) -> f64 {
        self.mean
    }
}

impl Components {
    /// `interaction = (MS_po - MS_e) / r`, `operators = (MS_o - MS_po) / (p r)`, `parts = (MS_p - MS_po) / (o r)`.
    fn full(anova: &Anova, design: Design) -> Self {
        let (error, inner) = (anova.repeatability.mean_square(), anova.interaction.mean_square());
        let interaction = ((inner - error) / count(design.repeats)).max(0.0);
        Self { interaction, repeatability: error, ..Self::above(anova, design, inner) }
    }

    /// The same with the pooled mean square in place of both.
    fn pooled(anova: &Anova, design: Design) -> Self {
        Self::above(anova, design, anova.pooled().mean_square())
    }

    fn above(anova: &Anova, design: Design, error: f64) -> Self {
        let [p, o, r] = [design.parts, design.operators, design.repeats].map(count);
        Self {
            repeatability: error,
            operators: ((anova.operators.mean_square() - error) / (p * r)).max(0.0),
            interaction: 0.0,
            parts: ((anova.parts.mean_square() - error) / (o * r)).max(0.0),
        }
    }

    /// Of different operators: operators and interaction.
    pub fn reproducibility(&self) -> f64 {
        self.operators + self.interaction
    }

    /// Of the gauge: repeatability and reproducibility.
    pub fn gauge(&self) -> f64 {
        self.repeatability + self.reproducibility()
    }

    /// Of all.
    pub fn total(&self) -> f64 {
        self.gauge() + self.parts
    }

    /// Percent contribution: shares of the total variance, which add up.
    pub fn contribution(&self) -> Shares {
        let share = |variance: f64| 100.0 * variance / self.total();
        self.shares(share)
    }

    /// Percent study variation: shares of the total standard deviation, which do not add up.
    pub fn study_variation(&self) -> Shares {
        let share = |variance: f64| 100.0 * (variance / self.total()).sqrt();
        self.shares(share)
    }

    /// Distinct categories: classes of parts that the gauge tells apart, `1.41 sd_parts / sd_gauge`, cut to a whole number.
    ///
    /// 0 and 1 both say that it tells none apart; infinite for a gauge without any spread.
    pub fn categories(&self) -> f64 {
        (CLASS * (self.parts / self.gauge()).sqrt()).trunc()
    }

    fn shares(&self, share: impl Fn(f64) -> f64) -> Shares {
        Shares {
            gauge: share(self.gauge()),
            repeatability: share(self.repeatability),
            reproducibility: share(self.reproducibility()),
            parts: share(self.parts),
        }
    }
}
