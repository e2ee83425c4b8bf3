//! Which rounds bring how much: a linear model of what was measured after them.
//!
//! `rise = fleet + make + lot + a (age - mean) + b (depth - mean) + round + error of the forecast`. Every effect is drawn from a normal
//! about nothing, so that few rounds say little and many say what they say: makes and lots from normals whose variances are
//! learnt, the two slopes from fixed ones. That is ridge regression (Hoerl and Kennard, "Ridge regression: biased estimation for
//! nonorthogonal problems", Technometrics 12, 1970), here with priors that only rule out what would surprise anyone
//! (Gelman, Jakulin, Pittau and Su, "A weakly informative default prior distribution for logistic and other
//! regression models", Annals of Applied Statistics 2, 2008). The variances are those under which the rises are most likely, by
//! the fixed points of `MacKay`, "Bayesian interpolation", Neural Computation 4, 1992, each held by a few rounds' or makes' worth
//! of a prior of its own: with two makes there is hardly a variance to learn (Gelman, "Prior distributions for variance
//! parameters in hierarchical models", Bayesian Analysis 1, 2006). All from memory.
//!
//! Depth is what the forecast says, not what is true. Since the forecast is the mean of what can be true, its error hangs on nothing
//! that it says, and the slope needs no correction for it (Berkson, "Are there two regressions?", JASA 45, 1950).

use std::collections::BTreeMap;
use std::f64::consts::PI;

use nalgebra::{Cholesky, DMatrix};

use super::super::bend::{Bend, Lift, Rise};
use super::super::kernel::count;

/// What is known beforehand, as standard deviations in shares of the mean capacity: of the mean rise of all rounds, of makes about it, of
/// lots about their make, of rounds about those.
const MEAN: f64 = 0.042;
const MAKES: f64 = 0.03;
const LOTS: f64 = 0.015;
const ROUNDS: f64 = 0.03;
/// The same of what a year of age changes, and, in mAh, of what each mAh of depth does.
const YEAR: f64 = 0.01;
const DEPTH: f64 = 0.1;
/// How many rounds, makes and lots the variances known beforehand count as.
const WORTH: f64 = 3.0;
/// Steps towards the fixed point at most, and the relative change at which it is reached.
const STEPS: usize = 100;
const STILL: f64 = 1e-6;
/// The least variance of rounds, as a share of a reading's.
const LEAST: f64 = 0.1;

/// What was measured after a round.
#[derive(Debug, Clone, Copy)]
pub(super) struct Measured {
    /// The pack's group.
    pub(super) group: u16,
    /// Its age at the round, years.
    pub(super) years: f64,
    /// How far it stood below its group's start, mAh.
    pub(super) depth: f64,
    /// How far the reading lies above what was foretold, mAh.
    pub(super) rise: f64,
    /// The variance of that forecast and the reading, mAh^2.
    pub(super) own: f64,
}

/// Columns of the fleet and the two slopes; makes and lots that had rounds follow.
const FIXED: usize = 3;

/// What stands in which column.
struct Columns {
    /// The make of each group.
    makes: Vec<u16>,
    /// Column of a group's make, and of its lot where it is not the make's own group.
    of_make: BTreeMap<u16, usize>,
    of_lot: BTreeMap<u16, usize>,
}

impl Columns {
    fn new(makes: &[u16], measured: &[Measured]) -> Self {
        let mut columns = Self { makes: makes.to_vec(), of_make: BTreeMap::new(), of_lot: BTreeMap::new() };
        let mut next = FIXED;
        let mut column = |columns: &mut BTreeMap<u16, usize>, key: u16| {
            columns.entry(key).or_insert_with(|| {
                next += 1;
                next - 1
            });
        };
        for one in measured {
            let make = columns.make(one.group);
            column(&mut columns.of_make, make);
            if make != one.group {
                column(&mut columns.of_lot, one.group);
            }
        }
        columns
    }

    fn make(&self, group: u16) -> u16 {
        self.makes.get(usize::from(group)).copied().unwrap_or(group)
    }

    fn len(&self) -> usize {
        FIXED + self.of_make.len() + self.of_lot.len()
    }

    /// The columns in which one rise stands, with its value there.
    fn row(&self, one: &Measured, centre: [f64; 2]) -> Row {
        let mut row = vec![(0, 1.0), (1, one.years - centre[0]), (2, one.depth - centre[1])];
        let make = self.of_make.get(&self.make(one.group));
        row.extend(make.into_iter().chain(self.of_lot.get(&one.group)).map(|&column| (column, 1.0)));
        row
    }
}

/// Variances: of makes, of lots, of rounds.
#[derive(Debug, Clone, Copy)]
struct Variances {
    makes: f64,
    lots: f64,
    rounds: f64,
}

impl Variances {
    fn prior(origin: f64) -> Self {
        let square = |share: f64| (share * origin).powi(2);
        Self { makes: square(MAKES), lots: square(LOTS), rounds: square(ROUNDS) }
    }

    /// How much one set differs from another, at most.
    fn change(self, other: Self) -> f64 {
        let off = |a: f64, b: f64| (a / b - 1.0).abs();
        off(self.makes, other.makes).max(off(self.lots, other.lots)).max(off(self.rounds, other.rounds))
    }
}

/// The effects under given variances: their mean and covariance.
struct Effects {
    mean: DMatrix<f64>,
    spread: DMatrix<f64>,
}

/// The columns in which one rise stands, with its value there.
type Row = Vec<(usize, f64)>;

/// Learns from rises what a round brings each group; `makes` says of which make each group is. The slope after a round is left at nothing.
pub(super) fn fit(measured: &[Measured], makes: &[u16], bend: &Bend) -> Lift {
    let n = count(measured.len());
    let mean = |of: fn(&Measured) -> f64| measured.iter().map(of).sum::<f64>() / n;
    let centre = [mean(|one| one.years), mean(|one| one.depth)];
    let columns = Columns::new(makes, measured);
    let rows: Vec<Row> = measured.iter().map(|one| columns.row(one, centre)).collect();
    let mut sound = vec![1.0; measured.len()];
    let mut variances = Variances::prior(bend.origin);
    let mut effects = solve(&columns, (measured, &rows), (&sound, variances), bend.origin);
    for _ in 0..STEPS {
        let Some(now) = &effects else { break };
        let squares: Vec<(f64, f64)> =
            measured.iter().zip(&rows).map(|(one, row)| now.left(one, row)).collect();
        for ((sound, one), &(off, _)) in sound.iter_mut().zip(measured).zip(&squares) {
            *sound = not_gross(off, variances.rounds + one.own, bend);
        }
        let next = Variances {
            makes: now.variance(columns.of_make.values(), variances.makes, (MAKES * bend.origin).powi(2)),
            lots: now.variance(columns.of_lot.values(), variances.lots, (LOTS * bend.origin).powi(2)),
            rounds: of_rounds(measured, &squares, &sound, variances.rounds, bend),
        };
        let still = next.change(variances) < STILL;
        variances = next;
        effects = solve(&columns, (measured, &rows), (&sound, variances), bend.origin);
        if still {
            break;
        }
    }
    let mut lift = Lift { centre, variance: variances.rounds, ..Lift::unknown(0.0) };
    lift.rounds = u32::try_from(measured.len()).unwrap_or(u32::MAX);
    let of_make = |make: u16| measured.iter().filter(|one| columns.make(one.group) == make).count();
    lift.groups = (0..makes.len())
        .filter_map(|group| {
            let group = u16::try_from(group).ok()?;
            let rounds = u32::try_from(of_make(columns.make(group))).unwrap_or(u32::MAX);
            Some(Rise { rounds, ..effects.as_ref()?.of_group(&columns, group, variances) })
        })
        .collect();
    lift
}

/// The effects under some variances; none when they cannot be told, which a prior rules out but for numbers that are none.
fn solve(
    columns: &Columns,
    (measured, rows): (&[Measured], &[Row]),
    (sound, variances): (&[f64], Variances),
    origin: f64,
) -> Option<Effects> {
    let size = columns.len();
    let mut precision: DMatrix<f64> = DMatrix::zeros(size, size);
    let mut right: DMatrix<f64> = DMatrix::zeros(size, 1);
    let slopes =
        [(0, MEAN * origin), (1, YEAR * origin), (2, DEPTH)].map(|(column, off)| (column, off * off));
    let makes = columns.of_make.values().map(|&column| (column, variances.makes));
    let lots = columns.of_lot.values().map(|&column| (column, variances.lots));
    for (column, variance) in slopes.into_iter().chain(makes).chain(lots) {
        add(&mut precision, (column, column), 1.0 / variance);
    }
    for ((one, row), sound) in measured.iter().zip(rows).zip(sound) {
        let weight = sound / (variances.rounds + one.own);
        for &(i, x) in row {
            add(&mut right, (i, 0), weight * x * one.rise);
            for &(j, z) in row {
                add(&mut precision, (i, j), weight * x * z);
            }
        }
    }
    let spread = Cholesky::new(precision)?.inverse();
    Some(Effects { mean: &spread * right, spread })
}

/// Adds to one cell.
fn add(matrix: &mut DMatrix<f64>, cell: (usize, usize), value: f64) {
    if let Some(cell) = matrix.get_mut(cell) {
        *cell += value;
    }
}

impl Effects {
    /// The mean of one effect.
    fn effect(&self, column: usize) -> f64 {
        self.mean.get(column).copied().unwrap_or(0.0)
    }

    /// The covariance of two.
    fn across(&self, one: usize, other: usize) -> f64 {
        self.spread.get((one, other)).copied().unwrap_or(0.0)
    }

    /// What is left of a rise, and the variance of what was taken off.
    fn left(&self, one: &Measured, row: &[(usize, f64)]) -> (f64, f64) {
        let mean: f64 = row.iter().map(|&(i, x)| x * self.effect(i)).sum();
        let across =
            |&(i, x): &(usize, f64)| row.iter().map(|&(j, z)| x * z * self.across(i, j)).sum::<f64>();
        (one.rise - mean, row.iter().map(across).sum())
    }

    /// The next variance of the effects in some columns: their squares by how many of them the data tell.
    fn variance<'a>(&self, columns: impl ExactSizeIterator<Item = &'a usize>, now: f64, prior: f64) -> f64 {
        let n = count(columns.len());
        let (mut squares, mut unknown) = (WORTH * prior, 0.0);
        for &column in columns {
            squares += self.effect(column).powi(2);
            unknown += self.across(column, column) / now;
        }
        squares / (n + WORTH - unknown)
    }

    /// What they say of one group: a make or lot without rounds is as likely above the others as below.
    fn of_group(&self, columns: &Columns, group: u16, variances: Variances) -> Rise {
        let make = columns.make(group);
        let (of_make, of_lot) = (columns.of_make.get(&make), columns.of_lot.get(&group));
        let levels: Vec<usize> = [0].into_iter().chain(of_make.copied()).chain(of_lot.copied()).collect();
        let level: f64 = levels.iter().map(|&i| self.effect(i)).sum();
        let across = |j: usize| levels.iter().map(|&i| self.across(i, j)).sum::<f64>();
        let mut variance: f64 = levels.iter().map(|&j| across(j)).sum();
        if of_make.is_none() {
            variance += variances.makes;
        }
        if make != group && of_lot.is_none() {
            variance += variances.lots;
        }
        Rise {
            mean: [level, self.effect(1), self.effect(2)],
            spread: [variance, across(1), across(2), self.across(1, 1), self.across(1, 2), self.across(2, 2)],
            rounds: 0,
        }
    }
}

/// The next variance of rounds: what spreads beyond the forecasts' own variances, each rise weighed by how much it can tell of it.
fn of_rounds(measured: &[Measured], squares: &[(f64, f64)], sound: &[f64], now: f64, bend: &Bend) -> f64 {
    let (mut beyond, mut weights, mut rounds) = (0.0, 0.0, 0.0);
    for ((one, (off, unknown)), sound) in measured.iter().zip(squares).zip(sound) {
        let weight = sound / (now + one.own).powi(2);
        beyond += weight * (off * off + unknown - one.own);
        weights += weight;
        rounds += sound;
    }
    let found = if weights > 0.0 { beyond / weights } else { 0.0 };
    let prior = (ROUNDS * bend.origin).powi(2);
    ((rounds * found + WORTH * prior) / (rounds + WORTH)).max(LEAST * bend.residual)
}

/// The chance that a reading which lies so far off, where a variance is expected, is no gross error.
fn not_gross(off: f64, variance: f64, bend: &Bend) -> f64 {
    let log = |off: f64, variance: f64| -0.5 * (off * off / variance + (2.0 * PI * variance).ln());
    let clean = (1.0 - bend.gross).ln() + log(off, variance);
    let gross = bend.tails.iter().map(|tail| {
        let log = log(off - tail.mean, variance + tail.spread * tail.spread);
        ((bend.gross * tail.share).ln() + log - clean).exp()
    });
    1.0 / (1.0 + gross.sum::<f64>())
}
