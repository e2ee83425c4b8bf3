//! A copy of a picture with a mark on every tag: the verdict by shape, letter and word, and by colour besides.
//!
//! Each verdict has a shape of its own, so that nothing is told by colour alone; words stand on a plate of their own, in
//! the typeface for low vision. What was seen and not read gets a broken frame and a question mark.

use ab_glyph::{Font as _, FontRef, PxScale, ScaleFont as _};
use image::{Rgb, RgbImage};

use crate::app::tray::Tray;
use crate::domain::verdict::Verdict;
use crate::scan::picture::Point;

use super::PrintError;
use super::pixels::{self, Ink};
use super::typeface::Face;

const WHITE: Ink = Rgb([255, 255, 255]);
const BLACK: Ink = Rgb([0, 0, 0]);
/// For what is no pack, and what could not be read.
const GREY: Ink = Rgb([70, 70, 70]);

/// What a verdict looks like: corners of its shape, its letter and its colour. White letters have a contrast of at least
/// 4.5:1 on each colour.
const fn look(verdict: Verdict) -> (u32, char, Ink) {
    match verdict {
        // A disc.
        Verdict::Fit => (24, 'F', Rgb([0, 105, 60])),
        Verdict::Measure => (3, 'M', Rgb([0, 90, 160])),
        Verdict::Recondition => (5, 'R', Rgb([110, 60, 150])),
        Verdict::Wait => (6, 'W', Rgb([120, 80, 0])),
        Verdict::Recycle => (4, 'X', Rgb([90, 60, 50])),
        Verdict::Isolate => (8, '!', Rgb([170, 0, 30])),
    }
}

/// Draws the marks of a picture onto it.
///
/// # Errors
/// When the embedded typeface is damaged.
pub fn mark(picture: &mut RgbImage, tray: &Tray) -> Result<(), PrintError> {
    let font = FontRef::try_from_slice(Face::Bold.bytes())
        .map_err(|_damaged| PrintError::Typeface(Face::Bold.name()))?;
    for seen in &tray.seen {
        let (badge, word) = if let Some(told) = &seen.verdict {
            let (corners, letter, ink) = look(told.verdict);
            (Badge { corners, letter, ink }, told.verdict.word())
        } else {
            // The letter that the tag itself bears.
            let letter = seen.kind.and_then(|_ours| seen.code.chars().next()).unwrap_or('?');
            (Badge { corners: 4, letter, ink: GREY }, seen.kind.map_or("other code", |kind| kind.word()))
        };
        frame(picture, &seen.corners, badge.ink, false);
        label(picture, &font, &seen.corners, &badge, word);
    }
    for unread in &tray.unread {
        frame(picture, &unread.corners, BLACK, true);
        label(picture, &font, &unread.corners, &Badge { corners: 24, letter: '?', ink: BLACK }, "not read");
    }
    Ok(())
}

/// A shape with a letter on it.
struct Badge {
    corners: u32,
    letter: char,
    ink: Ink,
}

fn frame(picture: &mut RgbImage, corners: &[Point; 4], ink: Ink, broken: bool) {
    let side = corners[0].distance(corners[1]);
    let wide = (side / 18.0).max(2.0);
    for (from, to) in corners.iter().zip(corners.iter().cycle().skip(1)) {
        // White beneath, so that the frame stands out on any ground.
        pixels::line(picture, (*from, *to), wide + 2.0, WHITE, broken);
        pixels::line(picture, (*from, *to), wide, ink, broken);
    }
}

/// A badge over the middle of a symbol, and the word on a plate below it.
fn label(picture: &mut RgbImage, font: &FontRef<'_>, corners: &[Point; 4], badge: &Badge, word: &str) {
    let middle = Point {
        x: corners.iter().map(|corner| corner.x).sum::<f32>() / 4.0,
        y: corners.iter().map(|corner| corner.y).sum::<f32>() / 4.0,
    };
    let side = corners[0].distance(corners[1]);
    let radius = (side * 0.32).max(9.0);
    pixels::disc(picture, middle, radius + 3.0, badge.corners, WHITE);
    pixels::disc(picture, middle, radius, badge.corners, badge.ink);
    let size = (radius * 1.3).max(11.0);
    let letter = badge.letter.to_string();
    text(picture, font, middle, size, WHITE, &letter);
    let size = (side * 0.22).clamp(13.0, 60.0);
    let below = corners.iter().map(|corner| corner.y).fold(middle.y, f32::max) + size * 0.9;
    let at = Point { x: middle.x, y: below };
    let wide = width(font, size, word) + size * 0.6;
    pixels::plate(picture, at, (wide, size * 1.3), badge.ink);
    text(picture, font, at, size, WHITE, word);
}

fn width(font: &FontRef<'_>, size: f32, word: &str) -> f32 {
    let scaled = font.as_scaled(PxScale::from(size));
    word.chars().map(|c| scaled.h_advance(font.glyph_id(c))).sum()
}

/// Text centred on a point.
fn text(picture: &mut RgbImage, font: &FontRef<'_>, at: Point, size: f32, ink: Ink, word: &str) {
    let scaled = font.as_scaled(PxScale::from(size));
    let mut x = at.x - width(font, size, word) / 2.0;
    let base = at.y + f32::midpoint(scaled.ascent(), scaled.descent());
    for c in word.chars() {
        let glyph = font.glyph_id(c).with_scale_and_position(PxScale::from(size), ab_glyph::point(x, base));
        if let Some(outline) = font.outline_glyph(glyph) {
            let bounds = outline.px_bounds();
            outline.draw(|dx, dy, cover| {
                pixels::blend(picture, (bounds.min.x, bounds.min.y), (dx, dy), cover, ink);
            });
        }
        x += scaled.h_advance(font.glyph_id(c));
    }
}
