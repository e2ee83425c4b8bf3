//! The page that shows how far a printer's labels drift.
//!
//! For a sheet: every label's outline with crosses at its corners, rulers along two edges of the page, two gauges on
//! edges of the first and of the last label, and what to do. It is printed on plain paper and held against the light
//! with a label sheet behind it; the gauges are read where the cut edge shows through. For a roll: a frame two
//! millimetres inside the label with rulers, then the instructions, label after label.

use super::PrintError;
use super::canvas::{Area, Canvas, Ink, Place, count};
use super::geometry::{Geometry, Kind};
use super::label::Layout;
use super::labels::{Drift, about, check_on_page};
use super::text::{Align, Style};
use super::typeface::{CAP_HEIGHT, Face, PT_PER_MM};

const TEXT: Style = Style::new(Face::Regular, 10.5, Ink::Black);
const TITLE: Style = Style::new(Face::Bold, 14.0, Ink::Black);
const FIGURES: Style = Style::new(Face::Bold, 9.0, Ink::Black);
const SMALL: Style = Style::new(Face::Regular, 9.0, Ink::Black);
const SMALL_TITLE: Style = Style::new(Face::Bold, 10.0, Ink::Black);
const THIN_MM: f32 = 0.1;
const LINE_MM: f32 = 0.15;
/// A gauge shows so many millimetres either way.
const GAUGE_MM: i16 = 4;
/// The frame on a roll's label lies so far inside it.
const FRAME_MM: f32 = 2.0;

/// The direction of a ruler.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Axis {
    Across,
    Down,
}

impl Axis {
    /// A place `along` the ruler and `aside` from it (below or right of it), mm.
    fn place(self, from: Place, along_mm: f32, aside_mm: f32) -> Place {
        match self {
            Self::Across => from.by(along_mm, aside_mm),
            Self::Down => from.by(aside_mm, along_mm),
        }
    }
}

/// Prints the calibration page of a geometry, as it comes out with a drift that is already set.
///
/// # Errors
/// [`PrintError`] when the drift is impossible or the labels are too small to read.
pub fn calibration(geometry: &Geometry, drift: &Drift) -> Result<Vec<u8>, PrintError> {
    let mut canvas = Canvas::new(&format!("Calibration: {}", geometry.title()))?;
    let layout = Layout::new(geometry, canvas.faces(), false)?;
    check_on_page(geometry, drift, &layout)?;
    let (width_mm, height_mm) = geometry.page_mm();
    canvas.add_page(width_mm, height_mm);
    match geometry.kind() {
        Kind::Sheet => draw_sheet(&mut canvas, geometry, drift),
        Kind::Roll => draw_roll(&mut canvas, geometry, drift),
    }
    canvas.finish()
}

fn draw_sheet(canvas: &mut Canvas, geometry: &Geometry, drift: &Drift) {
    let (width_mm, height_mm) = geometry.page_mm();
    for position in 0..geometry.positions() {
        let label = drift.shifted(geometry, position);
        canvas.outline(&label, THIN_MM, Ink::Grey);
        for (x_mm, y_mm) in
            [(0.0, 0.0), (label.width_mm, 0.0), (0.0, label.height_mm), (label.width_mm, label.height_mm)]
        {
            cross(canvas, label.corner.by(x_mm, y_mm));
        }
    }
    let first = drift.shifted(geometry, 0);
    let last = drift.shifted(geometry, geometry.positions() - 1);
    gauge(canvas, Axis::Across, Place::new(first.right_mm(), middle_mm(&first).y_mm), "A");
    gauge(canvas, Axis::Down, Place::new(middle_mm(&first).x_mm, first.bottom_mm()), "B");
    gauge(canvas, Axis::Across, Place::new(last.corner.x_mm, middle_mm(&last).y_mm), "C");
    gauge(canvas, Axis::Down, Place::new(middle_mm(&last).x_mm, last.corner.y_mm), "D");

    axes(canvas, geometry);
    let steps = [
        "1. Print this page on plain paper at 100 %, without fitting to the page. The rulers must measure true."
            .to_owned(),
        "2. Lay it on a sheet of labels and hold both against the light.".to_owned(),
        "3. Read each gauge, in mm, where the cut edge of the label shows through: A and B at the first label, \
         C and D at the last. One small step is half a millimetre; the side marked + counts as more than 0, the \
         other as less."
            .to_owned(),
        "4. Give back: --shift-x A --shift-y B --grow-x (C - A) --grow-y (D - B).".to_owned(),
        already(drift),
        about(geometry),
    ];
    let room_mm = (width_mm - 60.0).min(118.0);
    let block_mm = steps.iter().map(|step| lines(canvas, step, TEXT, room_mm)).sum::<f32>() + 10.0;
    let down_mm = (height_mm - block_mm) / 2.0;
    let mut at = Place::new((width_mm - room_mm) / 2.0, down_mm + 5.0);
    if room_mm < 80.0 || down_mm < 40.0 {
        canvas.add_page(width_mm, height_mm);
        leaflet(canvas, geometry, &steps);
    } else {
        let ground = Area::new(at.by(-6.0, -8.0), room_mm + 12.0, block_mm + 6.0);
        canvas.fill(&ground, Ink::White);
        canvas.outline(&ground, 0.3, Ink::Black);
        canvas.text(at.by(0.0, 1.0), "Calibration", TITLE, Align::Left);
        at = at.by(0.0, 8.0);
        for step in &steps {
            at = at.by(0.0, canvas.block(at, step, TEXT, room_mm) + 1.0);
        }
    }
}

/// Both rulers begin at one corner, clear of the gauges on the first label and of the instructions.
fn axes(canvas: &mut Canvas, geometry: &Geometry) {
    let (width_mm, height_mm) = geometry.page_mm();
    let zero = Place::new(width_mm / 8.0, height_mm / 4.0);
    ruler(canvas, Axis::Across, zero, width_mm - zero.x_mm - 10.0);
    ruler(canvas, Axis::Down, zero, height_mm - zero.y_mm - 10.0);
}

fn draw_roll(canvas: &mut Canvas, geometry: &Geometry, drift: &Drift) {
    let (width_mm, height_mm) = geometry.page_mm();
    let label = drift.shifted(geometry, 0);
    let corner = label.corner.by(FRAME_MM, FRAME_MM);
    let frame = Area::new(corner, width_mm - 2.0 * FRAME_MM, height_mm - 2.0 * FRAME_MM);
    canvas.outline(&frame, LINE_MM, Ink::Black);
    for (x_mm, y_mm) in
        [(0.0, 0.0), (frame.width_mm, 0.0), (0.0, frame.height_mm), (frame.width_mm, frame.height_mm)]
    {
        cross(canvas, corner.by(x_mm, y_mm));
    }
    ruler(canvas, Axis::Across, corner, frame.width_mm);
    ruler(canvas, Axis::Down, corner, frame.height_mm);
    let steps = [
        "1. Measure from the left edge of the first label to its frame, and from its upper edge.".to_owned(),
        "2. Both should be 2 mm. Give back: --shift-x (2 - left) --shift-y (2 - upper).".to_owned(),
        "3. The rulers must measure true.".to_owned(),
        already(drift),
        about(geometry),
    ];
    canvas.add_page(width_mm, height_mm);
    leaflet(canvas, geometry, &steps);
}

/// Instructions over as many pages of the label's size as they need.
fn leaflet(canvas: &mut Canvas, geometry: &Geometry, steps: &[String]) {
    let (width_mm, height_mm) = geometry.page_mm();
    let left_mm = 1.5;
    let top_mm = 1.5 + SMALL_TITLE.size_pt * CAP_HEIGHT / PT_PER_MM;
    canvas.text(Place::new(left_mm, top_mm), "Calibration", SMALL_TITLE, Align::Left);
    let mut down_mm = top_mm + SMALL.leading_mm();
    for step in steps {
        for line in canvas.faces().wrap(step, SMALL, width_mm - 2.0 * left_mm) {
            if down_mm > height_mm - 1.5 {
                canvas.add_page(width_mm, height_mm);
                down_mm = top_mm;
            }
            canvas.text(Place::new(left_mm, down_mm), &line, SMALL, Align::Left);
            down_mm += SMALL.leading_mm();
        }
    }
}

/// What to do with readings from a page that was printed with a drift.
fn already(drift: &Drift) -> String {
    if *drift == Drift::default() {
        return "This page was printed without a drift.".to_owned();
    }
    let Drift { x_mm, y_mm, grow_x_mm, grow_y_mm } = drift;
    format!(
        "This page was printed with x {x_mm}, y {y_mm}, grow x {grow_x_mm}, grow y {grow_y_mm} mm: add the new values \
         to these."
    )
}

fn lines(canvas: &Canvas, text: &str, style: Style, width_mm: f32) -> f32 {
    count(canvas.faces().wrap(text, style, width_mm).len()) * style.leading_mm() + 1.0
}

fn middle_mm(area: &Area) -> Place {
    area.corner.by(area.width_mm / 2.0, area.height_mm / 2.0)
}

fn cross(canvas: &mut Canvas, at: Place) {
    canvas.line(&[at.by(-1.2, 0.0), at.by(1.2, 0.0)], LINE_MM, Ink::Black);
    canvas.line(&[at.by(0.0, -1.2), at.by(0.0, 1.2)], LINE_MM, Ink::Black);
}

/// A scale across a label's edge, 0 on the edge, with steps of half a millimetre.
fn gauge(canvas: &mut Canvas, axis: Axis, zero: Place, name: &str) {
    for half in -2 * GAUGE_MM..=2 * GAUGE_MM {
        let along_mm = f32::from(half) / 2.0;
        let tick_mm = match half {
            0 => 2.5,
            _ if half % 2 == 0 => 1.6,
            _ => 0.8,
        };
        let ends = [axis.place(zero, along_mm, -tick_mm), axis.place(zero, along_mm, 0.0)];
        canvas.line(&ends, LINE_MM, Ink::Black);
    }
    let reach_mm = f32::from(GAUGE_MM);
    canvas.line(&[axis.place(zero, -reach_mm, 0.0), axis.place(zero, reach_mm, 0.0)], LINE_MM, Ink::Black);
    let capital_mm = FIGURES.size_pt * CAP_HEIGHT / PT_PER_MM;
    let (plus, title) = match axis {
        Axis::Across => (zero.by(reach_mm + 0.5, capital_mm / 2.0), zero.by(0.4, capital_mm + 0.6)),
        Axis::Down => (zero.by(-1.0, reach_mm + capital_mm + 0.2), zero.by(0.6, capital_mm + 0.4)),
    };
    canvas.text(plus, "+", FIGURES, Align::Left);
    figure(canvas, title, name, Align::Left);
}

/// A figure on a patch of white, so that no outline runs through it.
fn figure(canvas: &mut Canvas, place: Place, text: &str, align: Align) {
    let capital_mm = FIGURES.size_pt * CAP_HEIGHT / PT_PER_MM;
    let width_mm = canvas.faces().width_mm(text, FIGURES);
    let left_mm = if align == Align::Centre { -width_mm / 2.0 } else { 0.0 };
    let patch = Area::new(place.by(left_mm - 0.2, -capital_mm - 0.3), width_mm + 0.4, capital_mm + 0.6);
    canvas.fill(&patch, Ink::White);
    canvas.text(place, text, FIGURES, align);
}

/// A ruler with steps of one millimetre and figures every ten.
fn ruler(canvas: &mut Canvas, axis: Axis, zero: Place, length_mm: f32) {
    canvas.line(&[zero, axis.place(zero, length_mm, 0.0)], LINE_MM, Ink::Black);
    let mut step = 0_i16;
    while f32::from(step) <= length_mm {
        let tick_mm = match step {
            _ if step % 10 == 0 => 2.6,
            _ if step % 5 == 0 => 1.9,
            _ => 1.2,
        };
        let along_mm = f32::from(step);
        canvas.line(
            &[axis.place(zero, along_mm, 0.0), axis.place(zero, along_mm, tick_mm)],
            THIN_MM,
            Ink::Black,
        );
        if step % 10 == 0 && step > 0 && along_mm + 3.0 < length_mm {
            let capital_mm = FIGURES.size_pt * CAP_HEIGHT / PT_PER_MM;
            let (place, align) = match axis {
                Axis::Across => (zero.by(along_mm, 3.0 + capital_mm), Align::Centre),
                Axis::Down => (zero.by(3.0, along_mm + capital_mm / 2.0), Align::Left),
            };
            figure(canvas, place, &step.to_string(), align);
        }
        step += 1;
    }
}
