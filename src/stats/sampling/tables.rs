//! The plans of MIL-STD-105E (1989), which ISO 2859-1 took over for general use: code letters, normal, tightened and reduced
//! inspection, single and double samples, and when to switch.
//!
//! The master tables run along diagonals: one letter on and one acceptance quality better is the same acceptance number. So they are
//! worked out from one row of numbers for each severity, and held against the printed tables in `tests/stats/sampling.rs`. Where
//! a cell holds an arrow, the first plan in its direction counts, with that plan's own sample.

use super::SamplingError;
use super::plan::{Double, Plan, Single};

/// Acceptance qualities, per cent bad (or bad ones in a hundred, above 10).
pub const QUALITIES: [f64; 26] = [
    0.010, 0.015, 0.025, 0.040, 0.065, 0.10, 0.15, 0.25, 0.40, 0.65, 1.0, 1.5, 2.5, 4.0, 6.5, 10.0, 15.0,
    25.0, 40.0, 65.0, 100.0, 150.0, 250.0, 400.0, 650.0, 1000.0,
];
/// The code letters: no I and no O.
const LETTERS: [char; 16] = ['A', 'B', 'C', 'D', 'E', 'F', 'G', 'H', 'J', 'K', 'L', 'M', 'N', 'P', 'Q', 'R'];
/// Sample of each letter in normal and tightened inspection, and in reduced.
const SAMPLES: [u32; 16] = [2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000];
const REDUCED_SAMPLES: [u32; 16] = [2, 2, 2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800];
/// The largest lot of each row of the table of code letters; the last has no end.
const LOTS: [u32; 15] =
    [8, 15, 25, 50, 90, 150, 280, 500, 1200, 3200, 10_000, 35_000, 150_000, 500_000, u32::MAX];
/// The diagonal (letter and quality, both counted from nought) on which acceptance number nought stands in normal inspection.
const FIRST_DIAGONAL: usize = 14;
/// The letters whose numbers go beyond 21 (18 when tightened): up to E.
const HIGH_LETTERS: usize = 5;

/// How severely a lot is inspected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Severity {
    /// As a matter of course.
    Normal,
    /// After bad lots.
    Tightened,
    /// After many good ones.
    Reduced,
}

/// How large a sample is for its lot.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Level {
    /// Special levels, for tests that cost much: small samples, large risks.
    S1,
    /// Special.
    S2,
    /// Special.
    S3,
    /// Special.
    S4,
    /// Less than usual.
    I,
    /// As usual.
    II,
    /// More than usual.
    III,
}

impl Level {
    /// The letters of the rows of lot sizes.
    const fn letters(self) -> &'static [u8; 15] {
        match self {
            Self::S1 => b"AAAABBBBCCCCDDD",
            Self::S2 => b"AAABBBCCCDDDEEE",
            Self::S3 => b"AABBCCDDEEFFGGH",
            Self::S4 => b"AABCCDEEFGGHJJK",
            Self::I => b"AABCCDEFGHJKLMN",
            Self::II => b"ABCDEFGHJKLMNPQ",
            Self::III => b"BCDEFGHJKLMNPQR",
        }
    }
}

/// The code letter of a lot (Table I), counted from nought.
fn letter(lot: u32, level: Level) -> Result<usize, SamplingError> {
    if lot < 2 {
        return Err(SamplingError::Lot);
    }
    let row = LOTS.iter().position(|most| lot <= *most).unwrap_or(LOTS.len() - 1);
    let letter = level.letters().get(row).copied().map_or('A', char::from);
    LETTERS.iter().position(|known| *known == letter).ok_or(SamplingError::Lot)
}

/// The code letter of a lot (Table I).
///
/// # Errors
/// For a lot of fewer than two.
pub fn code_letter(lot: u32, level: Level) -> Result<char, SamplingError> {
    Ok(LETTERS.get(letter(lot, level)?).copied().unwrap_or('A'))
}

/// What stands in a cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Cell {
    /// A plan's numbers: accepted up to, rejected from.
    Numbers(u32, u32),
    /// The first plan below counts.
    Down,
    /// The first plan above counts.
    Up,
}

/// Acceptance and rejection numbers along the diagonals of a severity, from the one with nought on: Tables II-A and II-B (seen in
/// public copies, the second from memory), and II-C (from memory).
fn diagonal(severity: Severity, from_first: usize) -> Cell {
    const NORMAL: [u32; 10] = [1, 2, 3, 5, 7, 10, 14, 21, 30, 44];
    const TIGHTENED: [u32; 9] = [1, 2, 3, 5, 8, 12, 18, 27, 41];
    const REDUCED: [(u32, u32); 10] =
        [(0, 2), (1, 3), (1, 4), (2, 5), (3, 6), (5, 8), (7, 10), (10, 13), (14, 17), (21, 24)];
    let numbers = |found: Option<&u32>| found.map_or(Cell::Up, |&accept| Cell::Numbers(accept, accept + 1));
    match (severity, from_first) {
        (Severity::Normal | Severity::Reduced, 0) | (Severity::Tightened, 1) => Cell::Numbers(0, 1),
        (Severity::Normal | Severity::Reduced, 1) => Cell::Up,
        (Severity::Normal | Severity::Reduced, 2) | (Severity::Tightened, 0 | 2 | 3) => Cell::Down,
        (Severity::Normal, on) => numbers(NORMAL.get(on - 3)),
        (Severity::Tightened, on) => numbers(TIGHTENED.get(on - 4)),
        (Severity::Reduced, on) => {
            REDUCED.get(on - 3).map_or(Cell::Up, |&(accept, reject)| Cell::Numbers(accept, reject))
        }
    }
}

fn cell(severity: Severity, letter: usize, quality: usize) -> Cell {
    let Some(from_first) = (letter + quality).checked_sub(FIRST_DIAGONAL) else { return Cell::Down };
    let highest = match severity {
        Severity::Normal => 21,
        Severity::Tightened => 18,
        Severity::Reduced => 10,
    };
    match diagonal(severity, from_first) {
        Cell::Numbers(accept, _) if letter >= HIGH_LETTERS && accept > highest => Cell::Up,
        cell => cell,
    }
}

/// A plan as it is looked up: the letter whose sample is taken may be another than the lot's, by the arrows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Found {
    /// The letter whose plan counts.
    pub letter: char,
    /// The plan. A sample as large as the lot means that all are read.
    pub plan: Plan,
}

/// The place of an acceptance quality, per cent.
fn place(quality: f64) -> Result<usize, SamplingError> {
    let is = |known: &f64| (known / quality - 1.0).abs() < 1e-6;
    QUALITIES.iter().position(is).ok_or(SamplingError::Quality(quality))
}

/// The letter and numbers that count for a letter and quality, by the arrows.
fn resolved(severity: Severity, letter: usize, quality: usize) -> Result<(usize, u32, u32), SamplingError> {
    let mut at = letter;
    // Arrows lead one way only, and end within the table.
    for _ in 0..LETTERS.len() {
        match cell(severity, at, quality) {
            Cell::Numbers(accept, reject) => return Ok((at, accept, reject)),
            Cell::Down if at + 1 < LETTERS.len() => at += 1,
            Cell::Up if at > 0 => at -= 1,
            Cell::Down | Cell::Up => break,
        }
    }
    Err(SamplingError::Quality(QUALITIES.get(quality).copied().unwrap_or_default()))
}

/// The single plan for a lot: Tables II-A, II-B and II-C.
///
/// # Errors
/// For a lot of fewer than two, and for a quality that the standard does not have.
pub fn single(lot: u32, level: Level, quality: f64, severity: Severity) -> Result<Found, SamplingError> {
    single_of(letter(lot, level)?, place(quality)?, severity)
}

/// The single plan of a code letter.
///
/// # Errors
/// For a letter or quality that the standard does not have.
pub fn single_of_letter(letter: char, quality: f64, severity: Severity) -> Result<Found, SamplingError> {
    let letter = LETTERS.iter().position(|known| *known == letter).ok_or(SamplingError::Lot)?;
    single_of(letter, place(quality)?, severity)
}

fn single_of(letter: usize, quality: usize, severity: Severity) -> Result<Found, SamplingError> {
    let (at, accept, reject) = resolved(severity, letter, quality)?;
    let samples = if severity == Severity::Reduced { &REDUCED_SAMPLES } else { &SAMPLES };
    let sample = samples.get(at).copied().unwrap_or_default();
    let letter = LETTERS.get(at).copied().unwrap_or('A');
    Ok(Found { letter, plan: Plan::Single(Single { sample, accept, reject }) })
}

/// The double plan for a lot in normal or tightened inspection: Tables III-A and III-B (from memory). Where the single plan accepts with no
/// bad one there is none, and the single one is given, as the tables ask.
///
/// # Errors
/// For a lot of fewer than two, and for a quality that the standard does not have.
pub fn double(lot: u32, level: Level, quality: f64, severity: Severity) -> Result<Found, SamplingError> {
    // Accepted up to and rejected from, of the first sample and of both, by the single plan's number.
    const NUMBERS: [(u32, [u32; 4]); 12] = [
        (1, [0, 2, 1, 2]),
        (2, [0, 3, 3, 4]),
        (3, [1, 4, 4, 5]),
        (5, [2, 5, 6, 7]),
        (7, [3, 7, 8, 9]),
        (8, [3, 7, 11, 12]),
        (10, [5, 9, 12, 13]),
        (12, [6, 10, 15, 16]),
        (14, [7, 11, 18, 19]),
        (18, [9, 14, 23, 24]),
        (21, [11, 16, 26, 27]),
        (30, [17, 22, 37, 38]),
    ];
    let found = single(lot, level, quality, severity)?;
    let Plan::Single(Single { accept, .. }) = found.plan else { return Ok(found) };
    let at = LETTERS.iter().position(|known| *known == found.letter).unwrap_or(0);
    let (Some(&(_, [accept, reject, accept_both, reject_both])), Some(&sample)) = (
        NUMBERS.iter().find(|(single, _)| *single == accept && severity != Severity::Reduced),
        at.checked_sub(1).and_then(|at| SAMPLES.get(at)),
    ) else {
        return Ok(found);
    };
    let first = Single { sample, accept, reject };
    let second = Single { sample, accept: accept_both, reject: reject_both };
    Ok(Found { plan: Plan::Double(Double { first, second }), ..found })
}

/// How the lots of a supplier went, latest last; and how severely the next one is inspected (MIL-STD-105E, 4.7).
///
/// Tightened after two rejected of five lots in a row or fewer; normal again after five accepted in a row; reduced after ten
/// accepted in normal inspection; normal again after one that is rejected, or that lies in the gap of a reduced plan. After ten lots that
/// stay tightened, inspection is to stop until the supplier mends what is wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Switching {
    severity: Severity,
    /// Lots since the severity changed, latest last: whether each was accepted outright.
    since: Vec<bool>,
}

/// Lots that must stay tightened for inspection to stop.
const STOP: usize = 10;

impl Default for Switching {
    fn default() -> Self {
        Self { severity: Severity::Normal, since: Vec::new() }
    }
}

impl Switching {
    /// How severely the next lot is inspected.
    pub const fn severity(&self) -> Severity {
        self.severity
    }

    /// True when inspection is to stop: the supplier has to act first.
    pub const fn is_stopped(&self) -> bool {
        matches!(self.severity, Severity::Tightened) && self.since.len() >= STOP
    }

    /// Takes in a lot, by how many bad ones its sample held.
    pub fn enter(&mut self, plan: Single, bad: u32) {
        self.since.push(bad <= plan.accept);
        let latest = |lots: usize| self.since.iter().rev().take(lots);
        let all_good = |lots: usize| self.since.len() >= lots && latest(lots).all(|good| *good);
        let next = match self.severity {
            Severity::Normal if latest(5).filter(|good| !**good).count() >= 2 => Severity::Tightened,
            Severity::Normal if all_good(10) => Severity::Reduced,
            Severity::Tightened if all_good(5) => Severity::Normal,
            Severity::Reduced if !all_good(1) => Severity::Normal,
            same => same,
        };
        if next != self.severity {
            self.severity = next;
            self.since.clear();
        }
    }
}
