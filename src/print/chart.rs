//! Charts: curves, points, steps, bands, bars and ridges over two axes, with marked levels; the same chart as SVG and on paper.
//!
//! A [`Chart`] says what is shown; [`Chart::draw`] puts it on a page of a [`Canvas`], [`Chart::svg`] makes a picture of its own, and
//! [`super::paper::Paper::chart`] sets it into a report with what it says beneath. Axes run to round numbers, or have ticks that were
//! handed in. Things are told apart by their strokes, signs and hatches and by their names, never by colour alone. Texts are
//! measured: what is too long is shortened, and none stands on another. What is no number is not drawn; a chart in which
//! nothing is left says so. Areas below about 60 x 40 mm are too small to read.
//!
//! ```
//! use packmuster::print::chart::{Band, Chart, Look, Mark, Series};
//! let curve: Vec<(f64, f64)> = (0..=60).map(|m| (f64::from(m) / 60.0, 4.1 - 0.02 * f64::from(m))).collect();
//! let sure: Vec<(f64, f64, f64)> = curve.iter().map(|&(h, v)| (h, v - 0.1 * h, v + 0.1 * h)).collect();
//! let chart = Chart::new("Discharge of slot 3", "hours", "volts")
//!     .band(Band::new("80 %", sure))
//!     .series(Series::new("P7K3", Look::Line, curve))
//!     .mark(Mark::Level { at: 3.0, label: "end voltage 3 V".to_owned() })
//!     .reading("P7K3 reaches its end voltage within the hour.");
//! assert!(chart.svg(160.0, 90.0)?.contains("end voltage 3 V"));
//! # Ok::<(), packmuster::print::PrintError>(())
//! ```

mod band;
mod bars;
mod frame;
mod ground;
mod marks;
mod names;
mod ridges;
mod scale;
mod series;
mod svg;

use super::PrintError;
use super::canvas::{Area, Canvas, Ink, Place};
use super::text::{Align, Style};
use super::typeface::Face;

pub use band::Band;
pub use bars::Bar;
pub use marks::Mark;
pub use ridges::Ridge;
pub use series::{Look, Series};

use frame::{Frame, LABEL, THIN, Tick, steps_up};
use ground::{Ground, hatch};
use scale::{Scale, is_number};
use svg::Svg;

const TITLE: Style = Style::new(Face::Bold, 11.0, Ink::Black);
const NOTHING: &str = "nothing to draw yet";

/// What is shown.
#[derive(Debug, Clone, PartialEq)]
pub struct Chart {
    title: String,
    across: String,
    up: String,
    reading: String,
    hatched: String,
    bands: Vec<Band>,
    bars: Vec<Bar>,
    series: Vec<Series>,
    ridges: Vec<Ridge>,
    marks: Vec<Mark>,
    range: Option<(f64, f64)>,
    ticks: Option<Vec<Tick>>,
}

impl Chart {
    /// An empty chart: its title, and what the axes say, with units.
    pub fn new(title: impl Into<String>, across: impl Into<String>, up: impl Into<String>) -> Self {
        Self {
            title: title.into(),
            across: across.into(),
            up: up.into(),
            reading: String::new(),
            hatched: String::new(),
            bands: Vec::new(),
            bars: Vec::new(),
            series: Vec::new(),
            ridges: Vec::new(),
            marks: Vec::new(),
            range: None,
            ticks: None,
        }
    }

    /// Adds a series.
    #[must_use]
    pub fn series(mut self, series: Series) -> Self {
        self.series.push(series);
        self
    }

    /// Adds a band. Wide bands lie under narrow ones, whatever their order.
    #[must_use]
    pub fn band(mut self, band: Band) -> Self {
        self.bands.push(band);
        self
    }

    /// Adds a bar. With bars, categories go across: the middle of the first stands at 0, of the second at 1, and so on, also for
    /// series, bands and upright marks.
    #[must_use]
    pub fn bar(mut self, bar: Bar) -> Self {
        self.bars.push(bar);
        self
    }

    /// Adds a row of bins. With ridges, nothing else is shown.
    #[must_use]
    pub fn ridge(mut self, ridge: Ridge) -> Self {
        self.ridges.push(ridge);
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

    /// Gives the axis across its ticks, for dates: where each stands, and its text. The axis then reaches exactly over
    /// what is shown, and ticks beyond that are left out. Has no effect beside bars or ridges.
    #[must_use]
    pub fn ticks_across(mut self, ticks: Vec<(f64, String)>) -> Self {
        self.ticks = Some(ticks.into_iter().map(|(at, text)| Tick { at, text }).collect());
        self
    }

    /// Says what the hatched parts of bars or ridges are.
    #[must_use]
    pub fn hatched(mut self, meaning: impl Into<String>) -> Self {
        self.hatched = meaning.into();
        self
    }

    /// Says what the chart shows, in one sentence.
    #[must_use]
    pub fn reading(mut self, sentence: impl Into<String>) -> Self {
        self.reading = sentence.into();
        self
    }

    /// What the chart shows, in one sentence; empty when nobody said.
    pub fn sentence(&self) -> &str {
        self.reading.trim()
    }

    /// Draws the chart into an area of a page, without its sentence.
    pub fn draw(&self, canvas: &mut Canvas, area: &Area) {
        self.put(canvas, area);
    }

    /// The chart as an SVG picture of a size in mm.
    ///
    /// # Errors
    /// [`PrintError::Typeface`] when the embedded typeface, with which texts are measured, is damaged.
    pub fn svg(&self, width_mm: f32, height_mm: f32) -> Result<String, PrintError> {
        let mut svg = Svg::new(width_mm, height_mm, &self.title, self.sentence())?;
        self.put(&mut svg, &Area::new(Place::new(4.0, 4.0), width_mm - 8.0, height_mm - 8.0));
        Ok(svg.finish())
    }

    pub(super) fn title(&self) -> &str {
        &self.title
    }

    fn put(&self, ground: &mut dyn Ground, area: &Area) {
        let area = self.head(ground, area);
        if self.is_empty() {
            nothing(ground, &area);
        } else if self.ridges.is_empty() {
            self.plot(ground, &area);
        } else {
            ridges::draw(ground, &area, &self.ridges, &self.across);
        }
    }

    fn points(&self) -> impl Iterator<Item = (f64, f64)> {
        let series = self.series.iter().flat_map(Series::corners);
        series.chain(self.bands.iter().flat_map(Band::corners))
    }

    fn is_empty(&self) -> bool {
        if !self.ridges.is_empty() {
            return self.ridges.iter().all(Ridge::is_empty);
        }
        !self.points().any(|(x, y)| is_number(x) && is_number(y))
            && !self.bars.iter().flat_map(Bar::values).any(is_number)
    }

    /// Writes the title, what the axis up says, and what hatches mean; gives the area that is left.
    fn head(&self, ground: &mut dyn Ground, area: &Area) -> Area {
        let mut lines = ground.faces().wrap(&self.title, TITLE, area.width_mm);
        let most = if area.height_mm < 45.0 { 1 } else { 2 };
        if lines.len() > most {
            let rest = lines.split_off(most - 1).join(" ");
            lines.push(ground.faces().shorten(&rest, TITLE, area.width_mm));
        }
        let capital = |style: Style| style.leading_mm() * 0.72;
        let mut down = 0.0;
        for line in &lines {
            ground.text(area.corner.by(0.0, down + capital(TITLE)), line, TITLE, Align::Left);
            down += TITLE.leading_mm();
        }
        let base = area.corner.by(0.0, down + capital(LABEL));
        let key_mm = self.key(ground, base, area.width_mm);
        let up = ground.faces().shorten(&self.up, LABEL, area.width_mm - key_mm);
        ground.text(base, &up, LABEL, Align::Left);
        down += LABEL.leading_mm() + 1.5;
        Area::new(area.corner.by(0.0, down), area.width_mm, (area.height_mm - down).max(1.0))
    }

    /// Shows what hatches mean, at the right end of a line; gives the width that it takes, mm.
    fn key(&self, ground: &mut dyn Ground, base: Place, width_mm: f32) -> f32 {
        let meaning = match self.hatched.trim() {
            "" if self.ridges.iter().any(Ridge::is_limited) => "below the limit",
            meaning => meaning,
        };
        if meaning.is_empty() || self.is_empty() {
            return 0.0;
        }
        let meaning = ground.faces().shorten(meaning, LABEL, width_mm / 2.0);
        let text_mm = ground.faces().width_mm(&meaning, LABEL);
        let sample = Area::new(base.by(width_mm - text_mm - 6.5, -2.4), 5.0, 2.7);
        ground.open("key", "");
        ground.fill(&sample, Ink::Mid);
        hatch(ground, &sample, Ink::Accent);
        outline(ground, &sample);
        ground.text(base.by(width_mm - text_mm, 0.0), &meaning, LABEL, Align::Left);
        ground.close();
        text_mm + 9.0
    }

    /// The axis across, with its ticks.
    fn axis_across(&self) -> (Scale, Vec<Tick>) {
        let uprights = self.marks.iter().filter_map(|mark| match mark {
            Mark::Upright { at, .. } => Some(*at),
            Mark::Level { .. } => None,
        });
        let values = self.points().map(|(x, _)| x).chain(uprights);
        if !self.bars.is_empty() {
            return bars::axis(&self.bars, values);
        }
        if let Some(ticks) = &self.ticks {
            return (Scale::exact(values), ticks.clone());
        }
        let scale = Scale::over(values, 8);
        (scale, Tick::all(&scale))
    }

    /// The axis up, with its ticks.
    fn axis_up(&self, height_mm: f32) -> (Scale, Vec<Tick>) {
        let levels = self.marks.iter().filter_map(|mark| match mark {
            Mark::Level { at, .. } => Some(*at),
            Mark::Upright { .. } => None,
        });
        let range = self.range.into_iter().flat_map(|(low, high)| [low, high]);
        // Bars stand on zero.
        let bars = self.bars.iter().flat_map(|bar| bar.values().chain([0.0]));
        let values = self.points().map(|(_, y)| y).chain(levels).chain(range).chain(bars);
        let scale = Scale::over(values, steps_up(height_mm));
        (scale, Tick::all(&scale))
    }

    fn plot(&self, ground: &mut dyn Ground, area: &Area) {
        let names = self.series.iter().map(|series| series.name.as_str());
        let names = names.chain(self.bands.iter().map(|band| band.name.as_str()));
        let column_mm = names::column_mm(&*ground, names, area.width_mm);
        let up = self.axis_up(area.height_mm - frame::FOOT_MM);
        let frame = Frame::fit(&*ground, area, self.axis_across(), up, column_mm);
        frame.grid_up(ground);
        band::draw(ground, &frame, &self.bands);
        bars::draw(ground, &frame, &self.bars);
        frame.grid_across(ground, 0.0, &self.across);
        for mark in &self.marks {
            mark.draw(ground, &frame);
        }
        for series in &self.series {
            series.draw(ground, &frame);
        }
        names::draw(ground, &frame, column_mm, self.named(&frame));
        marks::names(ground, &frame, &self.marks, &self.lines(&frame));
    }

    /// The names of series and bands, with the places where these end.
    fn named(&self, frame: &Frame) -> Vec<(Place, &str)> {
        let series = self
            .series
            .iter()
            .filter_map(|series| Some((*series.runs(frame).last()?.last()?, series.name.as_str())));
        let bands = self
            .bands
            .iter()
            .filter_map(|band| Some((*band.runs(frame).last()?.1.last()?, band.name.as_str())));
        series.chain(bands).filter(|(_, name)| !name.trim().is_empty()).collect()
    }

    /// All that is drawn as straight pieces, which names had better not cross.
    fn lines(&self, frame: &Frame) -> Vec<[Place; 2]> {
        let bands = self.bands.iter().flat_map(|band| band.runs(frame)).flat_map(|(low, high)| [low, high]);
        let runs = self.series.iter().flat_map(|series| series.runs(frame)).chain(bands);
        let pieces = runs.flat_map(|run| match run.as_slice() {
            &[alone] => vec![[alone, alone]],
            run => run.windows(2).filter_map(|pair| <[Place; 2]>::try_from(pair).ok()).collect(),
        });
        let marks = self.marks.iter().filter_map(|mark| mark.ends(frame));
        pieces.chain(marks).chain(bars::outlines(frame, &self.bars)).collect()
    }
}

fn outline(ground: &mut dyn Ground, area: &Area) {
    let corners = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0), (0.0, 0.0)];
    let corners = corners.map(|(x, y)| area.corner.by(x * area.width_mm, y * area.height_mm));
    ground.line(&corners, THIN);
}

/// A frame that says that there is nothing in it.
fn nothing(ground: &mut dyn Ground, area: &Area) {
    outline(ground, area);
    let middle = area.corner.by(area.width_mm / 2.0, area.height_mm / 2.0 + 1.1);
    let text = ground.faces().shorten(NOTHING, LABEL, area.width_mm);
    ground.text(middle, &text, LABEL, Align::Centre);
}
