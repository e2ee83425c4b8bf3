//! The papers, judged by what other programs make of them: poppler draws and reads the PDFs, rqrr decodes the
//! pictures, Chromium with axe-core looks at the pages.

mod card;
mod charts;
mod consignments;
mod document;
mod geometries;
mod margins;
mod page;
mod papers;
mod poppler;
mod reading;
mod sheets;

use packmuster::domain::tag::{Tag, TagKind};
use packmuster::print::geometry::Geometry;
use packmuster::print::labels;
use rand::SeedableRng;

/// Tags of every kind but commands, the same ones in every run.
fn tags(count: usize) -> Vec<Tag> {
    let mut random = rand_chacha::ChaCha12Rng::seed_from_u64(2026);
    (0..count).map(|n| Tag::draw(TagKind::ALL[n % 5], &mut random)).collect()
}

fn geometry(name: &str) -> Geometry {
    Geometry::parse(labels::named(name).unwrap()).unwrap()
}
