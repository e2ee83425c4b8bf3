//! The decoder library's own search over a whole picture, fenced.
//!
//! It finds what `fit` does not look for (larger symbols, mirrored ones), but it is slow where much looks like a finder
//! pattern: it copies the picture for every three of them. So it sees small pictures only, and has a thread and a time.

use std::time::Duration;

use image::GrayImage;

use super::fence;
use super::kernel::{self, Threshold};
use super::matrix::Text;
use super::picture::Point;

/// What came of one search.
pub(super) enum Search {
    /// Symbols: modules a side, corners, and the text if it was read.
    Done(Vec<(usize, [Point; 4], Option<Text>)>),
    /// The time was over; the search may still be running.
    Over,
}

/// Searches a picture for at most `limit`. A fault of the decoder counts as nothing found.
pub(super) fn search(image: GrayImage, threshold: Threshold, limit: Duration) -> Search {
    let run = move || fence::quietly(|| kernel::search(&image, threshold)).unwrap_or_default();
    let Some(grids) = fence::within(limit, run) else { return Search::Over };
    let symbols = grids.into_iter().map(|grid| {
        let corners = grid.corners.map(|(x, y)| Point { x, y });
        (grid.modules, corners, grid.text)
    });
    Search::Done(symbols.collect())
}
