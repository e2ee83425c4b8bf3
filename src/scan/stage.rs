//! Which sizes of a picture are looked at, by what, and when to stop.
//!
//! First the finder patterns of every size are fitted, from the natural size down, then at double size; then, if
//! something is left over or nothing was found, the decoder library's own search goes over the smaller sizes. All is
//! over when the finder patterns that are left cannot make a symbol, or when the time is.

use image::GrayImage;
use image::imageops::{self, FilterType};

use super::fence::Deadline;
use super::fit::{self, Symbol};
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
/// Radius of the surroundings for contrast, pixels: about three modules of a symbol of a good size.
const RADIUS: usize = 22;
/// A second radius, where blur has run the rings together.
const TIGHT_RADIUS: usize = 9;
/// Share of a finder pattern's width that must show it row by row to count as clear, so that the search goes on for its sake
/// (3/7 when it lies straight); and to be tried beside those of other sizes.
const CLEAR_ROWS: f64 = 0.3;
const HOPEFUL_ROWS: f64 = 0.2;
/// Longer side up to which the decoder library's own search is let loose, pixels: the largest of the sizes, or what is so near to
/// it that it was not brought there.
const LIBRARY_SIZE: u32 = 2000;

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

    fn natural_finder(&self, finder: &Finder) -> Finder {
        let Point { x, y } = self.place(finder);
        Finder { x, y, span: finder.span * self.scale, ..*finder }
    }

    fn place(&self, finder: &Finder) -> Point {
        Point { x: finder.x * self.scale, y: finder.y * self.scale }
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

    /// Finder patterns outside all symbols that were read.
    fn left_over(&self, finds: &Finds) -> Vec<Finder> {
        let mut finders = kernel::finders(&self.contrast);
        for tight in kernel::finders(&kernel::contrast(&self.grey, TIGHT_RADIUS)) {
            let known = |old: &Finder| (old.x - tight.x).hypot(old.y - tight.y) < 0.4 * old.span;
            if tight.span < 7.0 * 5.0 && !finders.iter().any(known) {
                finders.push(tight);
            }
        }
        finders.retain(|finder| !finds.is_read(self.place(finder)));
        finders
    }
}

/// Looks for symbols in a picture; what was found, and whether the time was over before all was tried.
pub(super) fn run(grey: &GrayImage, want: Want, deadline: Deadline) -> (Finds, bool) {
    let mut search = Progress {
        finds: Finds::default(),
        finders: 0,
        left_over: Vec::new(),
        all: Vec::new(),
        want,
        deadline,
    };
    let natural = View::of(grey.clone(), 1.0, Stage::Natural);
    let mut views = Vec::new();
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
    let dear = !search.is_noise() && (small || (natural.longer() <= HOPEFUL && search.has_clear(2)));
    if dear && search.is_open() {
        let sharp = natural.sharpened();
        search.fit(&sharp);
        views.push(sharp);
    }
    if dear && search.is_open() {
        let smooth = View::of(imageops::blur(&natural.grey, 1.0), 1.0, Stage::Sharpened);
        search.fit(&smooth);
        views.push(smooth);
    }
    if dear && search.is_open() {
        let double = natural.resized(natural.longer() * 2, Some(FilterType::CatmullRom));
        search.fit(&double);
        if search.is_open() {
            let sharp = double.sharpened();
            search.fit(&sharp);
            views.push(sharp);
        }
        views.push(double);
    }
    if dear && !search.is_done() {
        search.pool(&natural);
    }
    views.push(natural);
    views.extend(smaller);
    let hopeful = !search.is_noise() && (search.has_clear(3) || (small && search.finds.found.is_empty()));
    let finished = !hopeful || search.library(&views);
    let cut_short = !finished || deadline.is_over();
    (search.finds.finish(), cut_short)
}

/// The share of a finder pattern's width that shows it row by row.
fn shown(finder: &Finder) -> f64 {
    f64::from(finder.rows) / f64::from(finder.span)
}

/// What has been found, and what there may still be.
struct Progress {
    finds: Finds,
    /// How many finder patterns the natural size seems to show.
    finders: usize,
    /// Clear finder patterns outside the symbols read by then, for each size.
    left_over: Vec<Vec<Point>>,
    /// Clear finder patterns of all sizes so far, in the natural one.
    all: Vec<Finder>,
    want: Want,
    deadline: Deadline,
}

impl Progress {
    /// Whether there may be more: nothing was found, or the finder patterns that are left could make a symbol.
    fn is_open(&self) -> bool {
        !self.is_done() && (self.finds.found.is_empty() || self.has_clear(3))
    }

    /// Whether what was asked for is found, or the time is over.
    fn is_done(&self) -> bool {
        self.deadline.is_over() || (self.want == Want::First && !self.finds.found.is_empty())
    }

    /// Whether some size shows at least so many clear finder patterns outside all symbols that were read.
    fn has_clear(&self, least: usize) -> bool {
        let unread = |points: &Vec<Point>| points.iter().filter(|&&point| !self.finds.is_read(point)).count();
        self.left_over.iter().any(|points| unread(points) >= least)
    }

    /// Whether the picture is grain: it looks like finder patterns everywhere, hardly any of them clear, and nothing came of it.
    fn is_noise(&self) -> bool {
        let clear = self.left_over.first().map_or(0, Vec::len);
        self.finds.found.is_empty() && self.finders >= kernel::MOST && clear < self.finders / 10
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
        let mut finders = view.left_over(&self.finds);
        if view.stage == Stage::Natural {
            self.finders = finders.len();
        }
        for symbol in fit::symbols(view.views(), &finders, self.want, &self.deadline) {
            self.add(view, view.stage, symbol);
        }
        finders.retain(|finder| shown(finder) > HOPEFUL_ROWS);
        self.all.extend(finders.iter().map(|finder| view.natural_finder(finder)));
        finders.retain(|finder| shown(finder) > CLEAR_ROWS);
        self.left_over.push(finders.iter().map(|finder| view.place(finder)).collect());
    }

    /// Puts the finder patterns of all sizes together: one size may show what another does not. Reads what three of them give,
    /// then what pairs do.
    fn pool(&mut self, view: &View) {
        let mut pool: Vec<Finder> = Vec::new();
        for finder in std::mem::take(&mut self.all) {
            let known = |old: &Finder| (old.x - finder.x).hypot(old.y - finder.y) < 0.25 * old.span;
            if !self.finds.is_read(view.place(&finder)) && !pool.iter().any(known) {
                pool.push(finder);
            }
        }
        pool.truncate(kernel::MOST);
        for symbol in fit::symbols(view.views(), &pool, self.want, &self.deadline) {
            self.add(view, view.stage, symbol);
        }
        pool.retain(|finder| !self.finds.is_read(view.place(finder)));
        for symbol in pair::symbols(view.views(), &pool, &self.deadline) {
            self.add(view, Stage::Pairs, symbol);
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
