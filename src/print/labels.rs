//! Sheets and rolls of labels.
//!
//! A half-used sheet can be fed again: printing begins at any position. A printer that feeds askew by a fraction of a
//! millimetre is corrected with a [`Drift`], read off the page that [`super::calibration`] prints. In one margin stands a
//! line that tells what the sheet is, in the other a scale of exactly 50 mm (20 mm on narrow pages): a ruler shows at once if the
//! printer scaled. Where no margin has room, as on a sheet that is full to its edges and on rolls, the calibration page alone has that
//! line, and rulers in the scale's stead.

use super::canvas::{Area, Canvas};
use super::geometry::Geometry;
use super::label::Layout;
use super::qr::Symbol;
use super::{PrintError, margin};
use crate::app::share::share_out;
use crate::domain::tag::Tag;

/// The warning that goes with every sheet.
pub const CAUTION: &str = "Do not stick over vents or contacts.";

/// So few symbols are not worth a thread.
const LEAST_SHARE: usize = 500;
/// The drift beyond which something else is wrong, mm.
const MOST_DRIFT_MM: f32 = 5.0;

macro_rules! shipped {
    ($($name:literal),* $(,)?) => {
        &[$(($name, include_str!(concat!("../../labels/", $name, ".toml")))),*]
    };
}

const SHIPPED: &[(&str, &str)] =
    shipped!["a4-21", "a4-40", "a4-65", "a4-189", "letter-30", "letter-80", "roll-30x15", "roll-50x25",];

/// The names of the geometries that come with the program: the stems of the files in `labels/`.
pub fn names() -> impl Iterator<Item = &'static str> {
    SHIPPED.iter().map(|(name, _)| *name)
}

/// The text of a geometry that comes with the program.
///
/// ```
/// use packmuster::print::{geometry::Geometry, labels};
/// let text = labels::named("a4-65").ok_or("no such sheet")?;
/// assert_eq!(Geometry::parse(text)?.positions(), 65);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn named(name: &str) -> Option<&'static str> {
    SHIPPED.iter().find(|(known, _)| *known == name).map(|(_, text)| *text)
}

/// How far the labels on the sheet lie from where the printer puts them.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Drift {
    /// Shift of every label to the right, mm.
    pub x_mm: f32,
    /// Shift of every label down, mm.
    pub y_mm: f32,
    /// Further shift of the last column to the right, mm; columns between shift in proportion.
    pub grow_x_mm: f32,
    /// Further shift of the last row down, mm; rows between shift in proportion.
    pub grow_y_mm: f32,
}

impl Drift {
    fn fields(&self) -> [(&'static str, f32); 4] {
        [("x", self.x_mm), ("y", self.y_mm), ("grow x", self.grow_x_mm), ("grow y", self.grow_y_mm)]
    }

    fn check(&self) -> Result<(), PrintError> {
        for (field, value_mm) in self.fields() {
            if !value_mm.is_finite() || value_mm.abs() > MOST_DRIFT_MM {
                let expected = format!("at most {MOST_DRIFT_MM} mm either way");
                return Err(PrintError::Drift { field, value_mm, expected });
            }
        }
        Ok(())
    }

    /// Where a label lies, with the drift.
    pub(super) fn shifted(&self, geometry: &Geometry, position: usize) -> Area {
        let label = geometry.label(position);
        let [first, last] = [0, geometry.positions() - 1].map(|position| geometry.label(position).corner);
        let share = |at: f32, from: f32, to: f32| if to > from { (at - from) / (to - from) } else { 0.0 };
        let right = share(label.corner.x_mm, first.x_mm, last.x_mm);
        let down = share(label.corner.y_mm, first.y_mm, last.y_mm);
        let corner = label.corner.by(self.x_mm + self.grow_x_mm * right, self.y_mm + self.grow_y_mm * down);
        Area { corner, ..label }
    }
}

/// One label to print.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Label<'a> {
    /// The tag.
    pub tag: Tag,
    /// A line under the code, such as "Slot 4" or the make. Shortened to the label; left out where it has no room
    /// (see [`takes_captions`]).
    pub caption: Option<&'a str>,
}

impl From<Tag> for Label<'_> {
    fn from(tag: Tag) -> Self {
        Self { tag, caption: None }
    }
}

/// Marks for plain paper that is cut by hand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Marks {
    /// None, for paper that is cut already.
    #[default]
    None,
    /// Ticks in margins and gutters that go on from the edges of the labels. Rolls take none.
    Cut,
}

/// What to print.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SheetRequest<'a> {
    /// Where the labels lie.
    pub geometry: &'a Geometry,
    /// The labels, in the order of the positions.
    pub labels: &'a [Label<'a>],
    /// The first free position of the first sheet, from 1.
    pub start: usize,
    /// The printer's drift.
    pub drift: Drift,
    /// Marks to cut by.
    pub marks: Marks,
}

/// Whether labels of a geometry have room for a caption.
///
/// # Errors
/// [`PrintError::LabelTooSmall`] when they have none even for the code.
pub fn takes_captions(geometry: &Geometry) -> Result<bool, PrintError> {
    let canvas = Canvas::new("")?;
    Ok(Layout::new(geometry, canvas.faces(), true)?.has_caption())
}

/// Prints labels, over as many sheets as they need, and gives the PDF.
///
/// # Errors
/// [`PrintError`]: nothing to print, a first position that the sheet has not, a drift that is impossible or moves print
/// off the page, or labels too small to read.
pub fn sheet(request: &SheetRequest<'_>) -> Result<Vec<u8>, PrintError> {
    let geometry = request.geometry;
    let positions = geometry.positions();
    if !(1..=positions).contains(&request.start) {
        return Err(PrintError::Start { start: request.start, positions });
    }
    if request.labels.is_empty() {
        return Err(PrintError::Nothing);
    }
    let mut canvas = Canvas::new(geometry.title())?;
    let captions = request.labels.iter().any(|label| label.caption.is_some());
    let layout = Layout::new(geometry, canvas.faces(), captions)?;
    check_on_page(geometry, &request.drift, &layout)?;
    let (width_mm, height_mm) = geometry.page_mm();
    for (count, (label, symbol)) in request.labels.iter().zip(symbols(request.labels)?).enumerate() {
        let position = (request.start - 1 + count) % positions;
        if count == 0 || position == 0 {
            canvas.add_page(width_mm, height_mm);
            margin::draw(&mut canvas, geometry, &request.drift, request.marks);
        }
        layout.draw(&mut canvas, request.drift.shifted(geometry, position).corner, label, &symbol);
    }
    canvas.finish()
}

/// The symbols of all labels. To choose the mask of each costs a third of the time of a large print.
fn symbols(labels: &[Label<'_>]) -> Result<Vec<Symbol>, PrintError> {
    share_out(labels.iter().collect(), LEAST_SHARE, |label| Symbol::of_tag(&label.tag)).into_iter().collect()
}

/// Refuses a drift that moves symbols or text off the page.
pub(super) fn check_on_page(geometry: &Geometry, drift: &Drift, layout: &Layout) -> Result<(), PrintError> {
    drift.check()?;
    let (width_mm, height_mm) = geometry.page_mm();
    for position in [0, geometry.positions() - 1] {
        let printed = layout.printed(&drift.shifted(geometry, position));
        let expected = || "the print must stay on the page".to_owned();
        if printed.corner.x_mm < 0.0 || printed.right_mm() > width_mm {
            let value_mm = drift.x_mm + if position == 0 { 0.0 } else { drift.grow_x_mm };
            return Err(PrintError::Drift { field: "x", value_mm, expected: expected() });
        }
        if printed.corner.y_mm < 0.0 || printed.bottom_mm() > height_mm {
            let value_mm = drift.y_mm + if position == 0 { 0.0 } else { drift.grow_y_mm };
            return Err(PrintError::Drift { field: "y", value_mm, expected: expected() });
        }
    }
    Ok(())
}

/// What the margin says of a sheet.
pub(super) fn about(geometry: &Geometry) -> String {
    let side_mm = 21.0 * geometry.module_mm();
    format!("{}. Symbol {side_mm:.1} mm, module {:.2} mm. {CAUTION}", geometry.title(), geometry.module_mm())
}
