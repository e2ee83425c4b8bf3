//! What a pack will hold: the sum of what every way its readings could have come about foretells, with bends still to come.

use super::super::super::normal;
use super::posterior::{Item, Prepared, Track};
use super::{COMPONENTS, Component, Round, SHARPNESS};

/// Ways and bends less likely than this are not followed further.
const LEAST_WAY: f64 = 0.003;
const LEAST_SHARPNESS: f64 = 0.004;
const LEAST_BEND: f64 = 1e-9;

/// One normal of a forecast.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Normal {
    /// Its share.
    pub weight: f64,
    /// Its mean, mAh above the origin.
    pub mean: f64,
    /// Its variance, mAh^2.
    pub variance: f64,
}

/// What a pack will truly hold at a clock: a mixture of normals.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Outlook {
    /// The normals; their shares sum to one.
    pub normals: Vec<Normal>,
    /// What their means are counted from, mAh.
    pub origin: f64,
}

impl Outlook {
    /// Expected capacity, mAh.
    pub fn mean(&self) -> f64 {
        self.origin + self.normals.iter().map(|part| part.weight * part.mean).sum::<f64>()
    }

    /// The chance that the pack truly holds less than a capacity in mAh.
    pub fn below(&self, capacity: f64) -> f64 {
        let level = capacity - self.origin;
        let part = |part: &Normal| part.weight * normal::below((level - part.mean) / part.variance.sqrt());
        self.normals.iter().map(part).sum()
    }

    /// The capacity below which the pack is with a chance, mAh: by halving, to a hundredth of a mAh.
    pub fn quantile(&self, share: f64) -> f64 {
        let far = |sign: f64| {
            let ends = self.normals.iter().map(|part| part.mean + sign * 9.0 * part.variance.sqrt());
            ends.fold(None, |far: Option<f64>, end| {
                Some(far.map_or(end, |far| if sign < 0.0 { far.min(end) } else { far.max(end) }))
            })
        };
        let (Some(low), Some(high)) = (far(-1.0), far(1.0)) else { return f64::NAN };
        let (mut low, mut high) = (low + self.origin, high + self.origin);
        while high - low > 0.01 {
            let middle = 0.5 * (low + high);
            if self.below(middle) < share { low = middle } else { high = middle }
        }
        0.5 * (low + high)
    }
}

impl Prepared {
    /// Calls `each` with every normal of a forecast: share, mean, variance of what the pack truly holds at clock `x`, where the other measure
    /// will be `other`.
    pub fn foretell(
        &self,
        items: &[Item],
        track: &Track<'_>,
        (x, other): (f64, f64),
        mut each: impl FnMut(f64, f64, f64),
    ) {
        let last = track.clock.last().copied().unwrap_or(track.from).max(track.from);
        let (now, then) = (self.places_before(last), self.places_before(x));
        let mut tell = |item: &Item, weight: f64, g: f64| {
            let [v0, v1, v2] = item.spread;
            each(weight, item.mean[0] + item.mean[1] * g, v0 + 2.0 * v1 * g + v2 * g * g);
        };
        for item in items {
            if let Some((k, r)) = item.bend {
                tell(item, item.weight, bent(x, self.place(k), r));
                continue;
            }
            let mut straight = 1.0;
            if item.weight > LEAST_WAY && then > now {
                let along = |clock: f64| self.hazard_to(self.beyond(clock, track, item.mean[1], (x, other)));
                let half = 0.5 * self.model.step;
                let from = along(self.end_of(now));
                for k in now..then {
                    let place = self.place(k);
                    let (a, b) = (along(place - half), along(place + half));
                    if b - a < LEAST_BEND {
                        continue;
                    }
                    let bends = ((from - a).exp() * -(a - b).exp_m1()).clamp(0.0, straight);
                    straight -= bends;
                    for (r, share) in self.model.sharpness.iter().enumerate() {
                        if *share > LEAST_SHARPNESS {
                            tell(item, item.weight * bends * share, bent(x, place, r));
                        }
                    }
                }
            }
            tell(item, item.weight * straight, x);
        }
    }

    /// What a pack will truly hold at a clock.
    pub fn outlook(&self, items: &[Item], track: &Track<'_>, at: (f64, f64)) -> Outlook {
        let mut outlook = Outlook { normals: Vec::new(), origin: self.model.origin };
        self.foretell(items, track, at, |weight, mean, variance| {
            outlook.normals.push(Normal { weight, mean, variance });
        });
        let sum: f64 = outlook.normals.iter().map(|part| part.weight).sum();
        for part in &mut outlook.normals {
            part.weight /= sum;
        }
        outlook
    }

    /// The chance that the next reading, in any slot, is below a capacity in mAh.
    pub fn reads_below(&self, items: &[Item], track: &Track<'_>, at: (f64, f64), capacity: f64) -> f64 {
        let model = &self.model;
        let level = capacity - model.origin;
        let noise = model.residual + model.slot;
        let mut sum = 0.0;
        self.foretell(items, track, at, |weight, mean, variance| {
            let z = level - mean;
            let mut chance = (1.0 - model.gross) * normal::below(z / (variance + noise).sqrt());
            for tail in &model.tails {
                let spread = (variance + model.slot + tail.spread * tail.spread).sqrt();
                chance += model.gross * tail.share * normal::below((z - tail.mean) / spread);
            }
            sum += weight * chance;
        });
        sum
    }

    /// Where the hazard's coordinate will be: beyond the last reading, the other measure goes straight to what is foreseen.
    fn beyond(&self, clock: f64, track: &Track<'_>, slope: f64, (x, other): (f64, f64)) -> f64 {
        match (self.model.along, track.clock.last(), track.other.last()) {
            (super::Along::Other, Some(&last), Some(&was)) if clock > last => {
                was + (clock - last) * (other - was) / (x - last).max(1e-9)
            }
            _ => self.coordinate(clock, track, slope),
        }
    }

    /// How far a pack stood below its group's mean level at the start when a round began, mAh: by its readings so far, as if it did not
    /// bend after the last of them.
    pub fn depth(&self, items: &[Item], round: Round) -> f64 {
        let group = self.model.groups.get(round.group).or(self.model.groups.first());
        let start: f64 = group.map_or(0.0, |group| group.iter().map(|part| part.weight * part.mean[0]).sum());
        let level = |item: &Item| {
            let g = item.bend.map_or(round.clock, |(k, r)| bent(round.clock, self.place(k), r));
            item.weight * (item.mean[0] + g * item.mean[1])
        };
        start - items.iter().map(level).sum::<f64>()
    }

    /// What a line that a round ended says of the next one: the mixture that the next one's readings start from.
    /// A slope that changes turns the line about the clock of the round.
    pub fn after_round(&self, items: &[Item], round: Round) -> [Component; COMPONENTS] {
        let at = round.clock;
        let of_slope = self.model.lift.slope;
        let (lift, doubt) = self.model.lift.of(round.group, round.years, self.depth(items, round));
        let mut next = [Component { weight: 0.0, mean: [0.0; 2], spread: [1.0, 0.0, 1.0] }; COMPONENTS];
        let mut weights = [0.0; COMPONENTS];
        let mut means = [[0.0; 2]; COMPONENTS];
        let mut squares = [[0.0; 3]; COMPONENTS];
        for item in items {
            // A bent line goes on as the straight line it has become.
            let (back, turn) = item.bend.map_or((0.0, 1.0), |(k, r)| {
                let sharp = SHARPNESS.get(r).copied().unwrap_or(0.0);
                (-sharp * self.place(k), 1.0 + sharp)
            });
            let mean = [item.mean[0] + back * item.mean[1], turn * item.mean[1]];
            let [v0, v1, v2] = item.spread;
            let spread = [v0 + 2.0 * back * v1 + back * back * v2, turn * (v1 + back * v2), turn * turn * v2];
            let c = item.component;
            let (Some(weight), Some(sum), Some(square)) =
                (weights.get_mut(c), means.get_mut(c), squares.get_mut(c))
            else {
                continue;
            };
            *weight += item.weight;
            for (sum, mean) in sum.iter_mut().zip(mean) {
                *sum += item.weight * mean;
            }
            let outer = [mean[0] * mean[0], mean[0] * mean[1], mean[1] * mean[1]];
            for ((square, spread), outer) in square.iter_mut().zip(spread).zip(outer) {
                *square += item.weight * (spread + outer);
            }
        }
        for (((component, weight), sum), square) in next.iter_mut().zip(weights).zip(means).zip(squares) {
            if weight > 1e-6 {
                component.weight = weight;
                let mean = sum.map(|sum| sum / weight);
                let slope = (of_slope * mean[1] * mean[1]).max(0.0);
                component.mean = [mean[0] + lift, mean[1]];
                component.spread = [
                    square[0] / weight - mean[0] * mean[0] + doubt + slope * at * at,
                    square[1] / weight - mean[0] * mean[1] - slope * at,
                    square[2] / weight - mean[1] * mean[1] + slope,
                ];
            }
        }
        next
    }
}

/// The clock of a line that bent.
fn bent(x: f64, place: f64, sharp: usize) -> f64 {
    x + SHARPNESS.get(sharp).copied().unwrap_or(0.0) * (x - place).max(0.0)
}
