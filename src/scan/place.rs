//! Where symbols lie: quadrilaterals, merging of what several stages found, and reading order.

use crate::domain::tag::Tag;

use super::picture::{Found, Point, Unread};

/// The middle of a symbol.
pub(super) fn centre(corners: &[Point; 4]) -> Point {
    let (x, y) = corners.iter().fold((0.0, 0.0), |(x, y), corner| (x + corner.x, y + corner.y));
    Point { x: x / 4.0, y: y / 4.0 }
}

/// The length of a symbol's side: the mean of its two diagonals, as the side of a square.
fn side(corners: &[Point; 4]) -> f32 {
    let [a, b, c, d] = corners;
    f32::midpoint(a.distance(*c), b.distance(*d)) * std::f32::consts::FRAC_1_SQRT_2
}

/// Whether a point lies in a symbol, or just outside it.
pub(super) fn covers(corners: &[Point; 4], point: Point) -> bool {
    const GROWN: f32 = 1.06;
    let middle = centre(corners);
    let grown = corners.map(|corner| Point {
        x: middle.x + (corner.x - middle.x) * GROWN,
        y: middle.y + (corner.y - middle.y) * GROWN,
    });
    let [a, b, c, d] = grown;
    let sides = [(a, b), (b, c), (c, d), (d, a)]
        .map(|(from, to)| (to.x - from.x) * (point.y - from.y) - (to.y - from.y) * (point.x - from.x));
    sides.iter().all(|&turn| turn >= 0.0) || sides.iter().all(|&turn| turn <= 0.0)
}

/// Whether two symbols are the same one: the middle of each lies in the other.
fn same_place(a: &[Point; 4], b: &[Point; 4]) -> bool {
    covers(a, centre(b)) && covers(b, centre(a))
}

/// What has been found so far.
#[derive(Debug, Default)]
pub(super) struct Finds {
    /// Read symbols, in the order of their finding.
    pub(super) found: Vec<Found>,
    /// Symbols that were located but not read.
    pub(super) unread: Vec<Unread>,
}

impl Finds {
    /// Adds a symbol that was read. At one place a valid tag of ours beats any other text, and the first one stays.
    pub(super) fn add(&mut self, new: Found) {
        match self.found.iter_mut().find(|old| same_place(&old.corners, &new.corners)) {
            Some(old) => {
                if old.text.parse::<Tag>().is_err() && new.text.parse::<Tag>().is_ok() {
                    *old = new;
                }
            }
            None => self.found.push(new),
        }
    }

    /// Adds a symbol that was located but not read.
    pub(super) fn add_unread(&mut self, new: Unread) {
        if !self.unread.iter().any(|old| same_place(&old.corners, &new.corners)) {
            self.unread.push(new);
        }
    }

    /// Whether a point lies in a symbol that was read.
    pub(super) fn is_read(&self, point: Point) -> bool {
        self.found.iter().any(|found| covers(&found.corners, point))
    }

    /// Drops unread symbols that a later stage read, or that were put together from parts of read ones; sorts the rest.
    pub(super) fn finish(mut self) -> Self {
        let found = self.found;
        self.unread.retain(|unread| {
            let middle = centre(&unread.corners);
            !found.iter().any(|read| {
                covers(&read.corners, middle)
                    || covers(&unread.corners, centre(&read.corners))
                    || unread.corners.iter().any(|&corner| covers(&read.corners, corner))
            })
        });
        self.found = in_reading_order(found, |found| &found.corners);
        self.unread = in_reading_order(self.unread, |unread| &unread.corners);
        self
    }
}

/// By how much the symbols are turned together, in radians within an eighth of a turn; zero when they lie every way.
fn common_turn<'a>(all: impl Iterator<Item = &'a [Point; 4]>) -> f32 {
    let (mut cos, mut sin, mut count) = (0.0_f32, 0.0_f32, 0.0_f32);
    for [from, to, _, _] in all {
        // Four times the angle: a quarter turn more or less makes the same rows.
        let turn = (to.y - from.y).atan2(to.x - from.x) * 4.0;
        cos += turn.cos();
        sin += turn.sin();
        count += 1.0;
    }
    if cos.hypot(sin) > 0.9 * count { sin.atan2(cos) / 4.0 } else { 0.0 }
}

/// Rows from top to bottom, each from left to right; rows follow a sheet that lies askew.
fn in_reading_order<T>(items: Vec<T>, corners: impl Fn(&T) -> &[Point; 4]) -> Vec<T> {
    let (sin, cos) = common_turn(items.iter().map(&corners)).sin_cos();
    let mut placed: Vec<(f32, f32, f32, T)> = items
        .into_iter()
        .map(|item| {
            let (middle, side) = (centre(corners(&item)), side(corners(&item)));
            (middle.x * cos + middle.y * sin, middle.y * cos - middle.x * sin, side, item)
        })
        .collect();
    placed.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut rows: Vec<Vec<(f32, f32, f32, T)>> = Vec::new();
    for one in placed {
        match rows.last_mut() {
            Some(row) if row.last().is_some_and(|last| one.1 - last.1 < 0.5 * one.2.min(last.2)) => {
                row.push(one);
            }
            _ => rows.push(vec![one]),
        }
    }
    rows.into_iter()
        .flat_map(|mut row| {
            row.sort_by(|a, b| a.0.total_cmp(&b.0));
            row.into_iter().map(|(_, _, _, item)| item)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scan::picture::Stage;

    fn at(text: &str, x: f32, y: f32, turn: f32) -> Found {
        let (sin, cos) = turn.sin_cos();
        let corner = |u: f32, v: f32| Point { x: x + u * cos - v * sin, y: y + u * sin + v * cos };
        let corners = [corner(-10.0, -10.0), corner(10.0, -10.0), corner(10.0, 10.0), corner(-10.0, 10.0)];
        Found { text: text.to_owned(), corners, stage: Stage::Natural, correction: None }
    }

    fn order(finds: Vec<Found>) -> String {
        let mut all = Finds::default();
        for found in finds {
            all.add(found);
        }
        all.finish().found.into_iter().map(|found| found.text).collect()
    }

    #[test]
    fn rows_are_read_as_people_read_them() {
        let straight = vec![
            at("D", 60.0, 64.0, 0.0),
            at("B", 61.0, 8.0, 0.3),
            at("C", 20.0, 60.0, 0.0),
            at("A", 20.0, 10.0, 1.0),
        ];
        assert_eq!(order(straight), "ABCD");
    }

    #[test]
    fn rows_of_a_sheet_askew_follow_the_sheet() {
        let turn = 0.2_f32;
        let (sin, cos) = turn.sin_cos();
        let mut sheet = Vec::new();
        for (n, letter) in ('A'..='O').enumerate() {
            let (u, v) = (
                30.0 * f32::from(u8::try_from(n % 5).unwrap()),
                30.0 * f32::from(u8::try_from(n / 5).unwrap()),
            );
            sheet.push(at(&letter.to_string(), 100.0 + u * cos - v * sin, u * sin + v * cos, turn));
        }
        sheet.reverse();
        assert_eq!(order(sheet), "ABCDEFGHIJKLMNO");
    }

    #[test]
    fn one_place_gives_one_text_and_a_tag_wins() {
        let tag = valid_tag();
        assert_eq!(order(vec![at("misread", 20.0, 20.0, 0.0), at(&tag, 21.0, 20.0, 0.0)]), tag);
        assert_eq!(order(vec![at(&tag, 20.0, 20.0, 0.0), at("misread", 21.0, 20.0, 0.0)]), tag);
        assert_eq!(order(vec![at("X", 20.0, 20.0, 0.0), at("X", 60.0, 20.0, 0.0)]), "XX");
    }

    fn valid_tag() -> String {
        use rand::SeedableRng;
        let mut random = rand_chacha::ChaCha12Rng::seed_from_u64(1);
        Tag::draw(crate::domain::tag::TagKind::Pack, &mut random).text().to_owned()
    }

    #[test]
    fn what_was_read_is_not_unread() {
        let mut all = Finds::default();
        all.add_unread(Unread { corners: at("", 20.0, 20.0, 0.0).corners, modules: 21, advice: Vec::new() });
        all.add_unread(Unread { corners: at("", 90.0, 20.0, 0.0).corners, modules: 21, advice: Vec::new() });
        all.add_unread(Unread { corners: at("", 91.0, 20.0, 0.0).corners, modules: 21, advice: Vec::new() });
        all.add(at("A", 21.0, 21.0, 0.0));
        assert_eq!(all.finish().unread.len(), 1);
    }
}
