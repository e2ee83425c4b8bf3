//! How many of the drawn tags are read back from spoiled pictures. Each test prints its rate (`--nocapture`) and holds a
//! floor somewhat under the rate that was measured when it was written.

use std::time::Instant;

use image::GrayImage;

use super::synth;

struct Tally {
    name: &'static str,
    drawn: usize,
    read: usize,
    pictures: u32,
    unread: usize,
    start: Instant,
}

impl Tally {
    fn new(name: &'static str) -> Self {
        Self { name, drawn: 0, read: 0, pictures: 0, unread: 0, start: Instant::now() }
    }

    fn take(&mut self, image: &GrayImage, drawn: &[String]) {
        let picture = synth::photographed(image);
        synth::assert_no_invention(&picture, drawn);
        let texts = synth::texts(&picture);
        self.drawn += drawn.len();
        self.read += drawn.iter().filter(|tag| texts.contains(&tag.as_str())).count();
        self.unread += picture.unread.len();
        self.pictures += 1;
    }

    #[expect(clippy::print_stdout, reason = "measured rates are shown to whoever runs the tests by hand")]
    fn at_least(self, percent: usize) {
        let each = self.start.elapsed() / self.pictures.max(1);
        let Self { name, drawn, read, pictures, unread, .. } = self;
        println!(
            "{name}: {read} of {drawn} tags read in {pictures} pictures, {unread} seen unread, {each:.0?} each"
        );
        assert!(read * 100 >= percent * drawn, "{name}: only {read} of {drawn} read");
    }
}

/// A label of its own in the midst of a greyish table.
fn single(text: &str, module: u32, degrees: f32) -> GrayImage {
    let label = synth::turned(&synth::label(text, module), degrees, 150);
    let mut table = synth::paper(label.width() + 160, label.height() + 120, 150);
    synth::lay(&mut table, &label, 70, 55);
    table
}

#[test]
fn turned_by_any_angle() {
    let mut random = synth::random(1);
    let mut tally = Tally::new("turned");
    for (n, tag) in synth::tags(90, &mut random).into_iter().enumerate() {
        let degrees = 4.0 * f32::from(u8::try_from(n).unwrap());
        let image = single(&tag, 3 + u32::try_from(n % 5).unwrap(), degrees);
        tally.take(&image, &[tag]);
    }
    tally.at_least(99);
}

#[test]
fn blurred_turned_noisy() {
    let mut random = synth::random(2);
    let mut tally = Tally::new("blurred by 0.2 to 0.5 modules");
    for (n, tag) in synth::tags(80, &mut random).into_iter().enumerate() {
        let module = 3 + u8::try_from(n % 6).unwrap();
        let sigma = f32::from(module) * (0.2 + 0.3 * synth::share(&mut random));
        let image = single(&tag, u32::from(module), 360.0 * synth::share(&mut random));
        tally.take(&synth::noisy(&synth::blurred(&image, sigma), 4.0, &mut random), &[tag]);
    }
    tally.at_least(96);
}

#[test]
fn badly_blurred() {
    let mut random = synth::random(3);
    let mut tally = Tally::new("blurred by 0.5 to 0.8 modules");
    for (n, tag) in synth::tags(40, &mut random).into_iter().enumerate() {
        let module = 4 + u8::try_from(n % 5).unwrap();
        let sigma = f32::from(module) * (0.5 + 0.3 * synth::share(&mut random));
        let image = single(&tag, u32::from(module), 360.0 * synth::share(&mut random));
        tally.take(&synth::noisy(&synth::blurred(&image, sigma), 4.0, &mut random), &[tag]);
    }
    tally.at_least(25);
}

#[test]
fn tiny_modules() {
    let mut random = synth::random(8);
    let mut tally = Tally::new("two pixels a module");
    for tag in synth::tags(40, &mut random) {
        let image = single(&tag, 2, 360.0 * synth::share(&mut random));
        tally.take(&synth::noisy(&synth::blurred(&image, 0.6), 4.0, &mut random), &[tag]);
    }
    tally.at_least(95);
}

#[test]
fn steeply_aslant() {
    let mut random = synth::random(9);
    let mut tally = Tally::new("steeply aslant");
    for tag in synth::tags(40, &mut random) {
        let label = synth::turned(&synth::label(&tag, 6), 360.0 * synth::share(&mut random), 150);
        let image = synth::aslant(&label, 0.3 + 0.3 * synth::share(&mut random), 150);
        tally.take(&synth::blurred(&image, 1.0), &[tag]);
    }
    tally.at_least(95);
}

#[test]
fn shadowed_and_aslant() {
    let mut random = synth::random(4);
    let mut tally = Tally::new("shadowed, aslant");
    for tag in synth::tags(60, &mut random) {
        let image = single(&tag, 5, 360.0 * synth::share(&mut random));
        let image = synth::aslant(&image, 0.3 * synth::share(&mut random), 150);
        let image = synth::shadowed(&image, 0.4, 0.3 + 0.4 * synth::share(&mut random));
        tally.take(&synth::noisy(&synth::blurred(&image, 1.0), 4.0, &mut random), &[tag]);
    }
    tally.at_least(96);
}

#[test]
fn large_photos_with_one_small_tag() {
    let mut random = synth::random(5);
    let mut tally = Tally::new("one tag in 12 megapixels");
    for (n, tag) in synth::tags(8, &mut random).into_iter().enumerate() {
        let mut table = synth::paper(4000, 3000, 120);
        let module = 4 + 4 * u32::try_from(n).unwrap();
        let label = synth::turned(&synth::label(&tag, module), 360.0 * synth::share(&mut random), 120);
        synth::lay(&mut table, &label, 900, 700);
        tally.take(&synth::shadowed(&synth::blurred(&table, 1.5), 0.6, 0.45), &[tag]);
    }
    tally.at_least(96);
}

/// Labels of 12 mm with the symbol alone (29 modules with its quiet zone), on A4 at the usual resolutions.
#[test]
fn sheets_of_labels() {
    let mut random = synth::random(6);
    for (name, dots_per_inch, module) in
        [("sheet at 150 dpi", 150_u32, 2_u32), ("sheet at 200 dpi", 200, 3), ("sheet at 300 dpi", 300, 5)]
    {
        let mut tally = Tally::new(name);
        let millimetres = |length: u32| length * dots_per_inch * 10 / 254;
        let tags = synth::tags(65, &mut random);
        let mut sheet = synth::paper(millimetres(210), millimetres(297), 255);
        for (n, tag) in (0_u32..).zip(&tags) {
            let (x, y) = (millimetres(10 + 38 * (n % 5)), millimetres(15 + 21 * (n / 5)));
            synth::lay(&mut sheet, &synth::label(tag, module), x, y);
        }
        tally.take(&sheet, &tags);
        tally.at_least(100);
    }
}

#[test]
fn trays_of_tags_every_way_round() {
    let mut random = synth::random(7);
    let mut tally = Tally::new("trays of 24");
    for _ in 0..6 {
        let tags = synth::tags(24, &mut random);
        let mut tray = synth::paper(1700, 1200, 110);
        for (n, tag) in (0_u32..).zip(&tags) {
            let label = synth::turned(&synth::label(tag, 5), 360.0 * synth::share(&mut random), 110);
            synth::lay(&mut tray, &label, 40 + 270 * (n % 6), 40 + 280 * (n / 6));
        }
        let tray = synth::shadowed(&synth::blurred(&synth::aslant(&tray, 0.15, 110), 1.2), 0.5, 0.6);
        tally.take(&synth::noisy(&tray, 4.0, &mut random), &tags);
    }
    tally.at_least(96);
}
