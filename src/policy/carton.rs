//! What a policy says of new cartons.

use serde::Deserialize;

use super::rules::{CartonRule, IfShort, Level, PointsRule, PolicyError, Rest, SettledRule, StandardRule};

/// The acceptance qualities of the standard that are per cent bad, in thousandths of a per cent.
const QUALITIES: [u32; 16] =
    [10, 15, 25, 40, 65, 100, 150, 250, 400, 650, 1000, 1500, 2500, 4000, 6500, 10_000];

/// By which rule a carton is sampled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Sampling {
    #[default]
    House,
    Standard,
    Points,
    Variables,
}

/// What is not there came with a later packmuster.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct CartonTable {
    on: bool,
    sample: u32,
    #[serde(default)]
    accept: u32,
    rest: Rest,
    #[serde(default)]
    only_drawn: bool,
    #[serde(default)]
    plan: Sampling,
    #[serde(default = "quality")]
    quality_percent: f64,
    #[serde(default = "level")]
    level: Level,
    #[serde(default)]
    double: bool,
    #[serde(default = "good")]
    good_percent: f64,
    #[serde(default = "bad")]
    bad_percent: f64,
    #[serde(default = "producer")]
    producer_percent: f64,
    #[serde(default = "consumer")]
    consumer_percent: f64,
    #[serde(default)]
    if_short: IfShort,
}

const fn quality() -> f64 {
    4.0
}

const fn good() -> f64 {
    2.0
}

const fn bad() -> f64 {
    15.0
}

const fn producer() -> f64 {
    5.0
}

const fn consumer() -> f64 {
    10.0
}

const fn level() -> Level {
    Level::II
}

impl CartonTable {
    /// Checks the table; nothing where the rule is off.
    pub(super) fn validate(&self) -> Result<Option<CartonRule>, PolicyError> {
        if !self.on {
            return Ok(None);
        }
        let wrong = |key: &str, value: String, expected| {
            Err(PolicyError::Value { key: format!("rules.carton.{key}"), value, expected })
        };
        if self.sample == 0 {
            return wrong(
                "sample",
                "0".to_owned(),
                "expected at least 1; switch the rule off with on = false",
            );
        }
        if self.accept >= self.sample {
            let expected = "expected fewer bad ones than are read";
            return wrong("accept", self.accept.to_string(), expected);
        }
        let of = |thousandths: &u32| (f64::from(*thousandths) / 1000.0 - self.quality_percent).abs() < 1e-9;
        let Some(quality_thousandths) = QUALITIES.into_iter().find(of) else {
            let expected =
                "expected a quality of the standard: 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10 or a smaller one";
            return wrong("quality_percent", self.quality_percent.to_string(), expected);
        };
        let points = self.points()?;
        let standard = StandardRule { quality_thousandths, level: self.level, double: self.double };
        Ok(Some(CartonRule {
            sample: self.sample,
            accept: self.accept,
            // By readings as they come along, a carton would be judged anew at each: what is settled by a number of bad ones, or sent
            // back, is settled by its sample alone.
            only_drawn: self.only_drawn || self.accept > 0 || self.if_short == IfShort::SendBack,
            settled: match self.plan {
                Sampling::House => None,
                Sampling::Standard => Some(SettledRule::Standard(standard)),
                Sampling::Points => Some(SettledRule::Points(points)),
                Sampling::Variables => Some(SettledRule::Variables(points)),
            },
            if_short: self.if_short,
            rest: self.rest,
        }))
    }

    /// The two points, in hundredths of a per cent.
    fn points(&self) -> Result<PointsRule, PolicyError> {
        let mut found = [0; 4];
        let given = [
            ("good_percent", self.good_percent),
            ("producer_percent", self.producer_percent),
            ("bad_percent", self.bad_percent),
            ("consumer_percent", self.consumer_percent),
        ];
        for (to, (key, percent)) in found.iter_mut().zip(given) {
            let Some(hundredths) = (1..5000).find(|part| (f64::from(*part) / 100.0 - percent).abs() < 1e-9)
            else {
                return Err(PolicyError::Value {
                    key: format!("rules.carton.{key}"),
                    value: percent.to_string(),
                    expected: "expected 0.01 to 49.99 per cent",
                });
            };
            *to = hundredths;
        }
        let [good, producer, bad, consumer] = found;
        if good >= bad {
            return Err(PolicyError::Value {
                key: "rules.carton.good_percent".to_owned(),
                value: self.good_percent.to_string(),
                expected: "expected less than bad_percent",
            });
        }
        Ok(PointsRule { good, producer, bad, consumer })
    }
}
