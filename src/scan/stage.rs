//! Which sizes of a picture are looked at, by what, and when to stop.
//!
//! First what looks like finder patterns in every size is measured and fitted, from the natural size down. Where some are left
//! over, or nothing was found, more of them are gathered: from a view with steeper edges, then beside those that are left; only
//! where nothing at all was read in a small picture, from a smooth one and at double size too. All fits are made in the natural size. Then pairs of
//! finder patterns are tried, and in the end the decoder library's own search. All is over when no clear finder pattern is left, or
//! when the time is.

use image::GrayImage;
use image::imageops::{self, FilterType};

use super::align::Starts;
use super::beside;
use super::fence::Deadline;
use super::fit::{self, Symbol};
use super::frame::{self, Frame};
use super::kernel::{self, Finder, Threshold};
use super::matrix::Text;
use super::model::Views;
use super::pair;
use super::picture::{Found, Point, Stage, Unread, Want};
use super::place::Finds;
use super::whole::{self, Search};

/// How much larger than the next a size must be for that to be worth a look.
const STEP: f32 = 1.25;
/// Longer sides to which a larger picture is brought, pixels.
const SIZES: [u32; 3] = [1600, 800, 400];
/// Longer side up to which a picture is also sharpened and looked at in double size, pixels: as a matter of course, and
/// where at least a pair of finder patterns is left over.
const SMALL: u32 = 1300;
const HOPEFUL: u32 = 2600;
/// How far apart two finder patterns of one symbol may lie, modules: those of version 10 across.
const REACH: f32 = 71.0;
/// Radius of the surroundings for contrast, pixels: about three modules of a symbol of a good size.
const RADIUS: usize = 22;
/// A second radius, where blur has run the rings together.
const TIGHT_RADIUS: usize = 9;
/// Longer side up to which the decoder library's own search is let loose, pixels: the largest of the sizes, or what is so near to
/// it that it was not brought there.
const LIBRARY_SIZE: u32 = 2000;

/// How many of the best shown finder patterns say whether a picture is grain; and after how many that are none it is.
const PROBE: usize = 100;
const GLIMPSE: usize = 40;

/// One size of the picture.
struct View {
    grey: GrayImage,
    contrast: GrayImage,
    /// Pixels of the natural picture to one of this.
    scale: f32,
    stage: Stage,
}

impl View {
    fn of(grey: GrayImage, scale: f32, stage: Stage) -> Self {
        let contrast = kernel::contrast(&grey, RADIUS);
        Self { grey, contrast, scale, stage }
    }

    /// This view with its edges made steeper: blur runs the rings of finder patterns together.
    fn sharpened(&self) -> Self {
        Self::of(imageops::unsharpen(&self.grey, 2.0, 0), self.scale, Stage::Sharpened)
    }

    fn longer(&self) -> u32 {
        self.grey.width().max(self.grey.height())
    }

    /// This view brought to another size.
    fn resized(&self, longer: u32, filter: Option<FilterType>) -> Self {
        let (width, height) = self.grey.dimensions();
        let side = |side: u32| {
            let scaled = u64::from(side) * u64::from(longer) / u64::from(self.longer());
            u32::try_from(scaled).unwrap_or(1).max(1)
        };
        let (w, h) = (side(width), side(height));
        let grey = match filter {
            Some(filter) => imageops::resize(&self.grey, w, h, filter),
            None => imageops::thumbnail(&self.grey, w, h),
        };
        let scale = self.scale * kernel::quotient(self.longer(), longer);
        let stage = if longer > self.longer() { Stage::Doubled } else { Stage::Smaller };
        Self::of(grey, scale, stage)
    }

    fn views(&self) -> Views<'_> {
        Views { grey: &self.grey, contrast: &self.contrast }
    }

    fn natural(&self, corners: [Point; 4]) -> [Point; 4] {
        corners.map(|corner| Point { x: corner.x * self.scale, y: corner.y * self.scale })
    }

    /// A copy with the symbols that were read painted over, so that they cost the library's search nothing.
    fn without_read(&self, image: &GrayImage, finds: &Finds) -> GrayImage {
        let mut copy = image.clone();
        for found in &finds.found {
            let small =
                found.corners.map(|corner| Point { x: corner.x / self.scale, y: corner.y / self.scale });
            kernel::paint_over(&mut copy, &small);
        }
        copy
    }

    /// What looks like a finder pattern along rows of pixels, outside all symbols that were read.
    fn finders(&self, finds: &Finds) -> Vec<Finder> {
        let mut finders = kernel::finders(&self.contrast);
        // Grain fills the first look, and a second would cost as much again.
        let full = finders.len() >= kernel::MOST;
        let closer =
            if full { Vec::new() } else { kernel::finders(&kernel::contrast(&self.grey, TIGHT_RADIUS)) };
        for tight in closer {
            let known = |old: &Finder| {
                (old.x - tight.x).powi(2) + (old.y - tight.y).powi(2) < (0.4 * old.span).powi(2)
            };
            if tight.span < 7.0 * 5.0 && !finders.iter().any(known) {
                finders.push(tight);
            }
        }
        finders.retain(|finder| !finds.is_read(Point { x: finder.x * self.scale, y: finder.y * self.scale }));
        finders
    }
}

/// Looks for symbols in a picture; what was found, and whether the time was over before all was tried.
pub(super) fn run(grey: &GrayImage, want: Want, deadline: Deadline) -> (Finds, bool) {
    let natural = View::of(grey.clone(), 1.0, Stage::Natural);
    let mut search = Progress {
        finds: Finds::default(),
        left_over: Vec::new(),
        is_noise: false,
        is_grain: false,
        starts: Starts::default(),
        want,
        deadline,
    };
    let mut smaller = Vec::new();
    search.fit(&natural);
    for size in SIZES {
        let above = smaller.last().unwrap_or(&natural);
        if kernel::quotient(above.longer(), size) > STEP && !search.is_done() {
            let view = above.resized(size, None);
            search.fit(&view);
            smaller.push(view);
        }
    }
    let small = natural.longer() <= SMALL;
    let dear = !search.is_noise && (small || (natural.longer() <= HOPEFUL && search.is_hopeful()));
    let mut views = Vec::new();
    if dear {
        let smooth = || View::of(imageops::blur(&natural.grey, 1.0), 1.0, Stage::Sharpened);
        let double = || natural.resized(natural.longer() * 2, Some(FilterType::CatmullRom));
        views.extend(search.gather(&natural, Stage::Sharpened, || natural.sharpened()));
        search.complete(&natural);
        if small && search.finds.found.is_empty() {
            views.extend(search.gather(&natural, Stage::Sharpened, smooth));
            views.extend(search.gather(&natural, Stage::Doubled, double));
            views.extend(search.gather(&natural, Stage::Doubled, || double().sharpened()));
        }
        search.pairs(&natural);
    }
    let hopeful = !search.is_noise && (search.unread() >= 3 || (small && search.finds.found.is_empty()));
    views.push(natural);
    views.extend(smaller);
    let finished = !hopeful || search.library(&views);
    let cut_short = !finished || deadline.is_over();
    (search.finds.finish(), cut_short)
}

/// What has been found, and what there may still be.
struct Progress {
    finds: Finds,
    /// Finder patterns outside the symbols read by then, of all sizes, in the natural one.
    left_over: Vec<Frame>,
    /// Whether the picture is grain: it looks like finder patterns everywhere, and hardly any of them is one.
    is_noise: bool,
    /// Whether the last size looked at was.
    is_grain: bool,
    /// What has been tried in the natural size.
    starts: Starts,
    want: Want,
    deadline: Deadline,
}

impl Progress {
    /// Whether there may be more: nothing was found, or finder patterns are left.
    fn is_open(&self) -> bool {
        !self.is_done() && (self.finds.found.is_empty() || self.unread() > 0)
    }

    /// Whether what was asked for is found, or the time is over.
    fn is_done(&self) -> bool {
        self.deadline.is_over() || (self.want == Want::First && !self.finds.found.is_empty())
    }

    /// The clear finder patterns outside all symbols that were read.
    fn open(&self) -> impl Iterator<Item = &Frame> {
        self.left_over.iter().filter(|frame| frame.agreed >= frame::CLEAR && !self.finds.is_read(frame.at))
    }

    /// How many those are.
    fn unread(&self) -> usize {
        self.open().count()
    }

    /// Whether finder patterns are left that make a dear look at a large picture worth it: two, which must lie near enough for one symbol
    /// where nothing was read, for letters on a page of print look like some.
    fn is_hopeful(&self) -> bool {
        let open: Vec<&Frame> = self.open().collect();
        let near =
            |one: &Frame, two: &Frame| one.at.distance(two.at) < REACH * one.module().max(two.module());
        let others = |place: usize| open.iter().skip(place + 1);
        if self.finds.found.is_empty() {
            open.iter().enumerate().any(|(place, one)| others(place).any(|two| near(one, two)))
        } else {
            open.len() >= 2
        }
    }

    fn add(&mut self, view: &View, stage: Stage, symbol: Symbol) {
        let (corners, modules) = (view.natural(symbol.corners), symbol.modules);
        match symbol.text {
            Some(Text { text, correction }) => {
                self.finds.add(Found { text, corners, stage, correction });
            }
            None => self.finds.add_unread(Unread { corners, modules, advice: Vec::new() }),
        }
    }

    /// Reads what the finder patterns of one size give.
    fn fit(&mut self, view: &View) {
        let finders = view.finders(&self.finds);
        let framed = |part: &[Finder]| -> Vec<Frame> {
            part.iter().filter_map(|finder| frame::fit(&view.grey, finder)).collect()
        };
        // Grain looks like finder patterns everywhere; where hardly any of the best shown is one, the rest is not asked.
        let suspected = finders.len() >= kernel::MOST || (self.is_grain && finders.len() > PROBE);
        let mut frames = Vec::new();
        let mut asked = 0;
        let mut grain = false;
        if suspected {
            for (until, least) in [(GLIMPSE, 1), (PROBE, PROBE / 10)] {
                frames.extend(framed(finders.get(asked..until).unwrap_or_default()));
                asked = until;
                grain = frames.len() < least;
                if grain {
                    break;
                }
            }
        }
        if !grain {
            frames.extend(framed(finders.get(asked..).unwrap_or_default()));
        }
        self.is_grain = grain;
        if view.stage == Stage::Natural {
            self.is_noise = grain;
        }
        self.read(view, view.stage, &frames);
        for frame in frames {
            self.keep(frame.scaled(view.scale));
        }
    }

    /// Looks for finder patterns that only another view shows, and reads what they give with those that are left.
    fn gather(&mut self, natural: &View, stage: Stage, view: impl FnOnce() -> View) -> Option<View> {
        if !self.is_open() {
            return None;
        }
        let view = view();
        let mut more = false;
        for finder in view.finders(&self.finds) {
            let (x, y, span) = (finder.x * view.scale, finder.y * view.scale, finder.span * view.scale);
            if let Some(frame) = frame::fit(&natural.grey, &Finder { x, y, span, ..finder }) {
                more |= self.keep(frame);
            }
        }
        if more {
            self.left_over.retain(|frame| !self.finds.is_read(frame.at));
            let frames = self.left_over.clone();
            self.read(natural, stage, &frames);
        }
        Some(view)
    }

    /// Looks beside the finder patterns that are left for those that no view shows, and reads what they give.
    fn complete(&mut self, natural: &View) {
        if !self.is_open() {
            return;
        }
        self.left_over.retain(|frame| !self.finds.is_read(frame.at));
        let mut more = false;
        for frame in self.left_over.clone() {
            if self.is_done() {
                return;
            }
            for new in beside::beside(&natural.grey, &frame) {
                more |= !self.finds.is_read(new.at) && self.keep(new);
            }
        }
        if more {
            let frames = self.left_over.clone();
            self.read(natural, Stage::Pairs, &frames);
        }
    }

    /// Keeps a finder pattern that is not known yet.
    fn keep(&mut self, new: Frame) -> bool {
        let same = |old: &&mut Frame| old.at.distance(new.at) < 2.0 * old.module();
        match self.left_over.iter_mut().find(same) {
            Some(old) if old.agreed >= new.agreed => false,
            Some(old) => {
                *old = new;
                true
            }
            None => {
                self.left_over.push(new);
                true
            }
        }
    }

    fn read(&mut self, view: &View, stage: Stage, frames: &[Frame]) {
        let mut own = Starts::default();
        let starts = if view.stage == Stage::Natural { &mut self.starts } else { &mut own };
        for symbol in fit::symbols(view.views(), frames, starts, self.want, &self.deadline) {
            self.add(view, stage, symbol);
        }
    }

    /// Reads what pairs of finder patterns give.
    fn pairs(&mut self, natural: &View) {
        if !self.is_open() {
            return;
        }
        self.left_over.retain(|frame| !self.finds.is_read(frame.at));
        for symbol in pair::symbols(natural.views(), &self.left_over, &mut self.starts, &self.deadline) {
            self.add(natural, Stage::Pairs, symbol);
        }
    }

    /// Lets the decoder library search for itself; `false` when it did not end in time.
    fn library(&mut self, views: &[View]) -> bool {
        for view in views.iter().filter(|view| view.longer() <= LIBRARY_SIZE) {
            for (threshold, image) in
                [(Threshold::Contrast, &view.contrast), (Threshold::Library, &view.grey)]
            {
                if !self.is_open() {
                    return true;
                }
                let image = view.without_read(image, &self.finds);
                let Search::Done(symbols) = whole::search(image, threshold, self.deadline.left()) else {
                    return false;
                };
                for (modules, corners, text) in symbols {
                    let symbol = match text {
                        Some(text) => {
                            let modules = u8::try_from(modules).unwrap_or(u8::MAX);
                            Some(Symbol { corners, modules, text: Some(text) })
                        }
                        None => fit::again(view.views(), modules, corners),
                    };
                    if let Some(symbol) = symbol {
                        self.add(view, Stage::Library, symbol);
                    }
                }
            }
        }
        true
    }
}
