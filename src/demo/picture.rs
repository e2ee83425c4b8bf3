//! Pictures as a phone would take them: the labels of the printed sheets on a bench top, some turned, shadowed or blurred.

use std::path::Path;

use image::GrayImage;

use crate::domain::tag::Tag;
use crate::print::PrintError;
use crate::print::geometry::Geometry;
use crate::print::qr::Symbol;

use super::error::DemoError;
use super::kernel::{self, Patch};

/// Pixels in a millimetre.
const SCALE: f32 = 9.0;
/// White around a symbol, modules (ISO/IEC 18004: four).
const QUIET: f32 = 4.0;

/// What is wrong with a picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Trouble {
    /// Nothing.
    None,
    /// Everything lies turned, by radians.
    Turned(f32),
    /// A shadow falls across it.
    Shadowed,
    /// It is out of focus.
    Blurred,
    /// The second tag is smudged beyond reading.
    Smudged,
}

/// Takes a picture of labels that lie side by side, and saves it.
pub(super) fn take(
    path: &Path,
    geometry: &Geometry,
    tags: &[Tag],
    trouble: Trouble,
) -> Result<(), DemoError> {
    let picture = compose(geometry, tags, trouble)?;
    picture.save(path).map_err(|source| DemoError::Picture { path: path.to_owned(), source })
}

fn compose(geometry: &Geometry, tags: &[Tag], trouble: Trouble) -> Result<GrayImage, PrintError> {
    let (width, height) = geometry.label_mm();
    let module = geometry.module_mm();
    let mut picture = kernel::bench_top(1000, 640);
    let turned = if let Trouble::Turned(angle) = trouble { angle } else { 0.03 };
    let places = [(290.0, 250.0), (700.0, 400.0), (300.0, 500.0), (700.0, 140.0)];
    for (tag, middle) in tags.iter().zip(places) {
        let symbol = Symbol::of_tag(tag)?;
        // The symbol stands at the label's left edge, centred, with its quiet zone.
        let left = QUIET * module;
        let top = (height - geometry.symbol_mm()) / 2.0 + QUIET * module;
        let dark = move |across: f32, down: f32| {
            let (x, y) = ((across - left) / module, (down - top) / module);
            index(x).zip(index(y)).is_some_and(|(x, y)| symbol.is_dark(x, y))
        };
        kernel::lay(
            &mut picture,
            &Patch { dark: &dark, size_mm: (width, height), middle, turned, scale: SCALE },
        );
    }
    match trouble {
        Trouble::Shadowed => kernel::shadow(&mut picture, 0.22),
        Trouble::Smudged => {
            let symbol = geometry.symbol_mm() * SCALE;
            let (x, y) = places.get(1).copied().unwrap_or_default();
            // Over the middle and the corner without a finder: the symbol is seen, and cannot be read.
            let middle = x - width * SCALE / 2.0 + symbol * 0.6;
            kernel::smudge(&mut picture, (middle, y + symbol * 0.08), symbol * 0.26);
        }
        Trouble::Blurred => return Ok(image::imageops::blur(&picture, 2.2)),
        Trouble::None | Trouble::Turned(_) => {}
    }
    Ok(picture)
}

/// The module that a place lies in, if it lies within a symbol's reach.
fn index(place: f32) -> Option<i16> {
    (0..21_i16).find(|&module| place >= f32::from(module) && place < f32::from(module) + 1.0)
}
