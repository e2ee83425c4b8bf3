//! Charts: curves, points and steps over two numbered axes, with marked levels; the same chart as SVG and on paper.
//!
//! A [`Chart`] says what is shown; [`Chart::draw`] puts it on a page of a [`Canvas`], [`Chart::svg`] makes a picture of its own. Axes
//! run to round numbers. Series are told apart by their strokes and signs and by their names at their ends, not by colour.
//!
//! ```
//! use packmuster::print::chart::{Chart, Look, Mark, Series};
//! let curve: Vec<(f64, f64)> = (0..=60).map(|m| (f64::from(m) / 60.0, 4.1 - 0.02 * f64::from(m))).collect();
//! let chart = Chart::new("Discharge of slot 3", "hours", "volts")
//!     .series(Series::new("P7K3", Look::Line, curve))
//!     .mark(Mark::Level { at: 3.0, label: "end voltage 3 V".to_owned() });
//! assert!(chart.svg(160.0, 90.0)?.contains("end voltage 3 V"));
//! # Ok::<(), packmuster::print::PrintError>(())
//! ```

mod scale;
mod svg;

use super::PrintError;
use super::canvas::{Area, Canvas, Ink, Place};
use super::text::{Align, Faces, Style};
use super::typeface::{Face, PT_PER_MM};

use scale::Scale;
use svg::Svg;

const TITLE: Style = Style::new(Face::Bold, 11.0, Ink::Black);
const LABEL: Style = Style::new(Face::Regular, 9.0, Ink::Grey);
const TICK: Style = Style::new(Face::Regular, 9.0, Ink::Grey).with_even_digits();
const NAME: Style = Style::new(Face::Regular, 9.0, Ink::Black);
const CURVE_MM: f32 = 0.4;
const HAIR_MM: f32 = 0.15;
const SIGN_MM: f32 = 1.4;
/// Dash and gap of a dashed line, mm.
const DASH_MM: (f32, f32) = (2.2, 1.4);

/// How a series is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Look {
    /// A line through the points.
    Line,
    /// A dashed line through the points.
    Dashed,
    /// A small dot at each point, for many of them.
    Dots,
    /// A cross at each point.
    Crosses,
}

/// Points that belong together.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    name: String,
    look: Look,
    points: Vec<(f64, f64)>,
}

impl Series {
    /// Points (across, up) with a name, which may be empty. Points that are no numbers break a line.
    pub fn new(name: impl Into<String>, look: Look, points: Vec<(f64, f64)>) -> Self {
        Self { name: name.into(), look, points }
    }
}

/// A line across the whole chart.
#[derive(Debug, Clone, PartialEq)]
pub enum Mark {
    /// At a height.
    Level {
        /// Where.
        at: f64,
        /// What it is.
        label: String,
    },
    /// At a place from left to right.
    Upright {
        /// Where.
        at: f64,
        /// What it is.
        label: String,
    },
}

/// What is shown.
#[derive(Debug, Clone, PartialEq)]
pub struct Chart {
    title: String,
    across: String,
    up: String,
    series: Vec<Series>,
    marks: Vec<Mark>,
    range: Option<(f64, f64)>,
}

/// What charts are drawn on.
trait Ground {
    fn faces(&self) -> &Faces;
    fn line(&mut self, places: &[Place], width_mm: f32, ink: Ink);
    fn fill(&mut self, area: &Area, ink: Ink);
    fn text(&mut self, place: Place, text: &str, style: Style, align: Align);
}

impl Ground for Canvas {
    fn faces(&self) -> &Faces {
        Self::faces(self)
    }

    fn line(&mut self, places: &[Place], width_mm: f32, ink: Ink) {
        Self::line(self, places, width_mm, ink);
    }

    fn fill(&mut self, area: &Area, ink: Ink) {
        Self::fill(self, area, ink);
    }

    fn text(&mut self, place: Place, text: &str, style: Style, align: Align) {
        Self::text(self, place, text, style, align);
    }
}

impl Chart {
    /// An empty chart: its title, and what the axes say, with units.
    pub fn new(title: impl Into<String>, across: impl Into<String>, up: impl Into<String>) -> Self {
        Self {
            title: title.into(),
            across: across.into(),
            up: up.into(),
            series: Vec::new(),
            marks: Vec::new(),
            range: None,
        }
    }

    /// Adds a series.
    #[must_use]
    pub fn series(mut self, series: Series) -> Self {
        self.series.push(series);
        self
    }

    /// Adds a mark.
    #[must_use]
    pub fn mark(mut self, mark: Mark) -> Self {
        self.marks.push(mark);
        self
    }

    /// Has the upright axis run from one value to another at least.
    #[must_use]
    pub fn upright(mut self, low: f64, high: f64) -> Self {
        self.range = Some((low, high));
        self
    }

    /// Draws the chart into an area of a page.
    pub fn draw(&self, canvas: &mut Canvas, area: &Area) {
        self.put(canvas, area);
    }

    /// The chart as an SVG picture of a size in mm.
    ///
    /// # Errors
    /// [`PrintError::Typeface`] when the embedded typeface, with which texts are measured, is damaged.
    pub fn svg(&self, width_mm: f32, height_mm: f32) -> Result<String, PrintError> {
        let mut svg = Svg::new(width_mm, height_mm, &self.title)?;
        self.put(&mut svg, &Area::new(Place::new(4.0, 4.0), width_mm - 8.0, height_mm - 8.0));
        Ok(svg.finish())
    }

    pub(super) fn title(&self) -> &str {
        &self.title
    }

    fn put(&self, ground: &mut impl Ground, area: &Area) {
        let points = || self.series.iter().flat_map(|series| series.points.iter().copied());
        let at = |upright: bool| {
            self.marks.iter().filter_map(move |mark| match mark {
                Mark::Level { at, .. } if upright => Some(*at),
                Mark::Upright { at, .. } if !upright => Some(*at),
                _ => None,
            })
        };
        let range = self.range.into_iter().flat_map(|(low, high)| [low, high]);
        let across = Scale::over(points().map(|(x, _)| x).chain(at(false)), 8);
        let up = Scale::over(points().map(|(_, y)| y).chain(at(true)).chain(range), 6);
        let widest = |texts: &[String], style: Style| {
            texts.iter().map(|text| ground.faces().width_mm(text, style)).fold(0.0, f32::max)
        };
        let ticks: Vec<String> = up.ticks().map(|value| up.text(value)).collect();
        let names: Vec<String> = self.series.iter().map(|series| series.name.clone()).collect();
        let (left_mm, name_mm) = (widest(&ticks, TICK) + 2.0, widest(&names, NAME).min(0.3 * area.width_mm));
        let right_mm = if name_mm > 0.0 { name_mm + 3.0 } else { 3.0 };
        let (top_mm, foot_mm) =
            (TITLE.leading_mm() + LABEL.leading_mm() + 1.0, 2.0 * TICK.leading_mm() + 1.0);
        let plot = Area::new(
            area.corner.by(left_mm, top_mm),
            (area.width_mm - left_mm - right_mm).max(10.0),
            (area.height_mm - top_mm - foot_mm).max(10.0),
        );
        let frame = Frame { plot, across, up };
        let capital = |style: Style| style.leading_mm() * 0.72;
        ground.text(area.corner.by(0.0, capital(TITLE)), &self.title, TITLE, Align::Left);
        ground.text(area.corner.by(0.0, TITLE.leading_mm() + capital(LABEL)), &self.up, LABEL, Align::Left);
        frame.grid(ground);
        let foot = Place::new(plot.right_mm(), plot.bottom_mm() + TICK.leading_mm() + capital(LABEL));
        ground.text(foot, &self.across, LABEL, Align::Right);
        for mark in &self.marks {
            frame.mark(ground, mark);
        }
        for series in &self.series {
            frame.series(ground, series);
        }
        frame.names(ground, &self.series, right_mm - 3.0);
    }
}

/// The ground of a chart with its two scales.
struct Frame {
    plot: Area,
    across: Scale,
    up: Scale,
}

impl Frame {
    fn place(&self, (x, y): (f64, f64)) -> Option<Place> {
        let (right, down) = (self.across.share(x)?, 1.0 - self.up.share(y)?);
        Some(self.plot.corner.by(right * self.plot.width_mm, down * self.plot.height_mm))
    }

    fn grid(&self, ground: &mut impl Ground) {
        let (left, bottom) = (self.plot.corner.x_mm, self.plot.bottom_mm());
        for value in self.up.ticks() {
            let Some(share) = self.up.share(value) else { continue };
            let down = bottom - share * self.plot.height_mm;
            ground.line(
                &[Place::new(left, down), Place::new(self.plot.right_mm(), down)],
                HAIR_MM,
                Ink::Hairline,
            );
            let half = TICK.size_pt * 0.35 / PT_PER_MM;
            ground.text(Place::new(left - 1.5, down + half), &self.up.text(value), TICK, Align::Right);
        }
        for value in self.across.ticks() {
            let Some(share) = self.across.share(value) else { continue };
            let right = left + share * self.plot.width_mm;
            ground.line(&[Place::new(right, bottom), Place::new(right, bottom + 1.0)], HAIR_MM, Ink::Grey);
            let under = Place::new(right, bottom + TICK.leading_mm());
            ground.text(under, &self.across.text(value), TICK, Align::Centre);
        }
        ground.line(
            &[Place::new(left, bottom), Place::new(self.plot.right_mm(), bottom)],
            HAIR_MM,
            Ink::Grey,
        );
    }

    fn mark(&self, ground: &mut impl Ground, mark: &Mark) {
        match mark {
            Mark::Level { at, label } => {
                let Some(share) = self.up.share(*at) else { return };
                let down = self.plot.bottom_mm() - share * self.plot.height_mm;
                let from = Place::new(self.plot.corner.x_mm, down);
                let to = Place::new(self.plot.right_mm(), down);
                dashed(ground, &[from, to], CURVE_MM * 0.75, Ink::Accent);
                // Under the line where it is high, above it where it is low: the name stays within the chart.
                let off = if share > 0.5 { NAME.leading_mm() * 0.85 } else { -1.0 };
                let style = Style { ink: Ink::Accent, ..NAME };
                ground.text(from.by(1.5, off), label, style, Align::Left);
            }
            Mark::Upright { at, label } => {
                let Some(share) = self.across.share(*at) else { return };
                let right = self.plot.corner.x_mm + share * self.plot.width_mm;
                let from = Place::new(right, self.plot.corner.y_mm);
                dashed(
                    ground,
                    &[from, Place::new(right, self.plot.bottom_mm())],
                    CURVE_MM * 0.75,
                    Ink::Accent,
                );
                let style = Style { ink: Ink::Accent, ..NAME };
                let (off, align) = if share > 0.6 { (-1.0, Align::Right) } else { (1.0, Align::Left) };
                ground.text(from.by(off, NAME.leading_mm() * 0.8), label, style, align);
            }
        }
    }

    fn series(&self, ground: &mut impl Ground, series: &Series) {
        let places: Vec<Option<Place>> = series.points.iter().map(|&point| self.place(point)).collect();
        match series.look {
            Look::Line | Look::Dashed => {
                for run in places.split(Option::is_none) {
                    let run: Vec<Place> = run.iter().copied().flatten().collect();
                    if run.len() < 2 {
                        continue;
                    }
                    if series.look == Look::Line {
                        ground.line(&run, CURVE_MM, Ink::Black);
                    } else {
                        dashed(ground, &run, CURVE_MM, Ink::Black);
                    }
                }
            }
            Look::Dots => {
                for place in places.into_iter().flatten() {
                    let side = SIGN_MM * 0.5;
                    ground.fill(&Area::new(place.by(-side / 2.0, -side / 2.0), side, side), Ink::Grey);
                }
            }
            Look::Crosses => {
                for place in places.into_iter().flatten() {
                    let arm = SIGN_MM * 0.7;
                    ground.line(&[place.by(-arm, -arm), place.by(arm, arm)], CURVE_MM, Ink::Accent);
                    ground.line(&[place.by(-arm, arm), place.by(arm, -arm)], CURVE_MM, Ink::Accent);
                }
            }
        }
    }

    /// The names right of the chart, at the heights where their series end, moved apart where they would touch.
    fn names(&self, ground: &mut impl Ground, series: &[Series], width_mm: f32) {
        let mut named: Vec<(f32, Place, String)> = series
            .iter()
            .filter(|series| !series.name.is_empty())
            .filter_map(|series| {
                let end = series.points.iter().rev().find_map(|&point| self.place(point))?;
                Some((end.y_mm, end, ground.faces().shorten(&series.name, NAME, width_mm)))
            })
            .collect();
        named.sort_by(|a, b| a.0.total_cmp(&b.0));
        let step = NAME.leading_mm();
        let bottom = self.plot.bottom_mm();
        let mut free = self.plot.corner.y_mm;
        for (height, ..) in &mut named {
            *height = height.max(free);
            free = *height + step;
        }
        // What was pushed below the foot goes up again, as one pile.
        let mut most = bottom;
        for (height, ..) in named.iter_mut().rev() {
            *height = height.min(most);
            most = *height - step;
        }
        for (height, end, name) in named {
            let from = self.plot.right_mm() + 2.0;
            ground.line(&[end, Place::new(from - 0.5, height)], HAIR_MM, Ink::Hairline);
            ground.text(Place::new(from, height + 1.0), &name, NAME, Align::Left);
        }
    }
}

/// A line with gaps.
fn dashed(ground: &mut impl Ground, places: &[Place], width_mm: f32, ink: Ink) {
    let (mut left, mut drawing) = (DASH_MM.0, true);
    let mut dash: Vec<Place> = places.first().copied().into_iter().collect();
    for pair in places.windows(2) {
        let &[from, to] = pair else { continue };
        let (dx, dy) = (to.x_mm - from.x_mm, to.y_mm - from.y_mm);
        let length = dx.hypot(dy);
        let mut gone = 0.0;
        while length - gone > left {
            gone += left;
            let place = from.by(dx * gone / length, dy * gone / length);
            if drawing {
                dash.push(place);
                ground.line(&dash, width_mm, ink);
            }
            dash = vec![place];
            drawing = !drawing;
            left = if drawing { DASH_MM.0 } else { DASH_MM.1 };
        }
        left -= length - gone;
        if drawing {
            dash.push(to);
        }
    }
    if drawing && dash.len() > 1 {
        ground.line(&dash, width_mm, ink);
    }
}
