//! Pictures to texts.

use std::panic::{AssertUnwindSafe, catch_unwind};

use image::GrayImage;
use image::imageops::{FilterType, crop_imm, resize};
use packmuster::print::canvas::Area;

pub(super) fn pixels(mm: f32, dpi: u32) -> u32 {
    let dots = (f64::from(mm) / 25.4 * f64::from(dpi)).round();
    (0..20_000).find(|&n| f64::from(n) >= dots).unwrap()
}

/// A part of a page; what lies beyond the page is left out.
pub(super) fn cut(page: &GrayImage, area: &Area, dpi: u32) -> GrayImage {
    let [left, top] = [area.corner.x_mm, area.corner.y_mm].map(|mm| pixels(mm, dpi));
    let right = pixels(area.right_mm(), dpi).min(page.width());
    let bottom = pixels(area.bottom_mm(), dpi).min(page.height());
    crop_imm(page, left, top, right - left, bottom - top).to_image()
}

/// The text of the one symbol in a picture, as a patient reader gets it: enlarged and made black and white in several
/// ways, until one can be read. At 150 dpi a module of 0.3 mm has under two dots, and no single way reads them all.
pub(super) fn read_one(picture: &GrayImage) -> Option<String> {
    let filters = [FilterType::CatmullRom, FilterType::Lanczos3, FilterType::Gaussian];
    [4, 6, 10, 5, 3].into_iter().find_map(|enlarge| {
        filters.into_iter().find_map(|filter| {
            let large = resize(picture, picture.width() * enlarge, picture.height() * enlarge, filter);
            [128, 108, 148].into_iter().find_map(|threshold| {
                let mut sharp = large.clone();
                sharp
                    .pixels_mut()
                    .for_each(|pixel| pixel.0[0] = if pixel.0[0] < threshold { 0 } else { 255 });
                read(&sharp).pop()
            })
        })
    })
}

/// Every symbol that can be read in a picture. The reader may panic on some pictures, which counts as not read.
fn read(picture: &GrayImage) -> Vec<String> {
    let [wide, high] = [picture.width(), picture.height()].map(|side| usize::try_from(side).unwrap());
    catch_unwind(AssertUnwindSafe(|| {
        let mut prepared =
            rqrr::PreparedImage::prepare_from_greyscale(wide, high, |x, y| picture.as_raw()[y * wide + x]);
        let grids = prepared.detect_grids();
        grids.iter().filter_map(|grid| grid.decode().ok()).map(|(_, text)| text).collect()
    }))
    .unwrap_or_default()
}
