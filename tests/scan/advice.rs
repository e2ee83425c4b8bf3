//! What is said of a picture is what was done to it, and nothing is said of a good one.

use image::{GrayImage, Luma};
use packmuster::scan::picture::{self, Advice, Limits, Picture, Stage, Want};

use super::synth;

fn read(image: &GrayImage) -> Picture {
    picture::read_grey(image, &synth::PATIENT)
}

/// A label on a table, so that something of it can be seen whatever is done to it.
fn table(module: u32) -> (String, GrayImage) {
    let tag = synth::tags(1, &mut synth::random(40)).remove(0);
    let label = synth::label(&tag, module);
    let mut table = synth::paper(label.width() + 160, label.height() + 120, 150);
    synth::lay(&mut table, &label, 70, 55);
    (tag, table)
}

/// Spoils the data of a label, so that it is seen and not read.
fn unreadable(image: &mut GrayImage, module: u32) {
    let mut random = synth::random(41);
    for row in 9..13 {
        for column in 0..21 {
            if row != 6 && column != 6 && synth::share(&mut random) < 0.5 {
                let at = |module_at: u32, margin: u32| margin + (4 + module_at) * module;
                for y in 0..module {
                    for x in 0..module {
                        let pixel = image.get_pixel_mut(at(column, 70) + x, at(row, 55) + y);
                        pixel.0[0] = 255 - pixel.0[0];
                    }
                }
            }
        }
    }
    for row in 14..20 {
        for column in 9..20 {
            let grey = if synth::share(&mut random) < 0.5 { 20 } else { 235 };
            for y in 0..module {
                for x in 0..module {
                    image.put_pixel(
                        70 + (4 + column) * module + x,
                        55 + (4 + row) * module + y,
                        Luma([grey]),
                    );
                }
            }
        }
    }
}

fn advice(picture: &Picture) -> Vec<&Advice> {
    assert_eq!((picture.found.len(), picture.unread.len()), (0, 1), "{picture:?}");
    picture.unread[0].advice.iter().collect()
}

#[test]
fn nothing_is_said_of_a_sharp_label_that_is_worn() {
    let (_, mut image) = table(6);
    unreadable(&mut image, 6);
    assert!(advice(&read(&image)).is_empty());
}

#[test]
fn a_small_symbol_is_measured() {
    let (_, mut image) = table(8);
    unreadable(&mut image, 8);
    let small = image::imageops::thumbnail(&image, image.width() * 9 / 40, image.height() * 9 / 40);
    let picture = read(&small);
    let said = advice(&picture);
    let [Advice::Small { pixels_a_module }] = said[..] else { panic!("{said:?}") };
    assert!((pixels_a_module - 1.8).abs() < 0.15, "{pixels_a_module}");
    assert!(picture.summary().contains("pixels a module): go closer"), "{}", picture.summary());
}

#[test]
fn a_blurred_symbol_is_said_to_be() {
    let (_, mut image) = table(8);
    unreadable(&mut image, 8);
    // Half a module of blur spreads an edge over 1.25 modules; a fifth of one over half a module.
    assert_eq!(advice(&read(&synth::blurred(&image, 4.4))), [&Advice::Blurred]);
    assert!(advice(&read(&synth::blurred(&image, 1.6))).is_empty());
}

#[test]
fn a_dark_symbol_is_said_to_be() {
    let (_, mut image) = table(6);
    unreadable(&mut image, 6);
    for pixel in image.pixels_mut() {
        pixel.0[0] /= 5;
    }
    assert_eq!(advice(&read(&image)), [&Advice::Dark]);
}

#[test]
fn glare_over_a_symbol_is_said_to_be() {
    let (_, mut image) = table(6);
    unreadable(&mut image, 6);
    for row in 9 * 6..16 * 6 {
        for column in 9 * 6..17 * 6 {
            image.put_pixel(70 + 24 + column, 55 + 24 + row, Luma([255]));
        }
    }
    assert_eq!(advice(&read(&image)), [&Advice::Glare]);
}

#[test]
fn a_picture_in_which_nothing_is_seen_says_why() {
    let (_, image) = table(6);
    let mut night = image.clone();
    for pixel in night.pixels_mut() {
        pixel.0[0] /= 120;
    }
    assert_eq!(read(&night).advice, [Advice::Dark]);
    assert_eq!(read(&synth::blurred(&image, 14.0)).advice, [Advice::Blurred]);
    assert!(read(&synth::paper(400, 300, 200)).advice.is_empty(), "plain paper is no fault");
    let seen = read(&image);
    assert!(seen.advice.is_empty() && seen.found.len() == 1);
}

#[test]
fn what_was_read_says_where_and_how_nearly() {
    let (tag, image) = table(6);
    let found = read(&image).found.remove(0);
    assert_eq!((found.text, found.stage), (tag, Stage::Natural));
    let correction = found.correction.unwrap();
    assert_eq!((correction.corrected, correction.capacity), (0, 6));
    // Two codewords of the lower right corner.
    let mut worn = image;
    for y in 0..24 {
        for x in 0..12 {
            let pixel = worn.get_pixel_mut(70 + (4 + 19) * 6 + x, 55 + (4 + 17) * 6 + y);
            pixel.0[0] = 255 - pixel.0[0];
        }
    }
    let correction = read(&worn).found.remove(0).correction.unwrap();
    assert_eq!(
        (correction.corrected, correction.capacity),
        (1, 6),
        "four rows of two modules are one codeword"
    );
}

#[test]
fn the_first_is_enough_when_one_is_asked_for() {
    let tags = synth::tags(6, &mut synth::random(42));
    let shelf = synth::shelf(&tags);
    assert_eq!(read(&shelf).found.len(), 6);
    let first = picture::read_grey(&shelf, &Limits { want: Want::First, ..synth::PATIENT });
    assert_eq!(first.found.len(), 1);
    assert!(tags.contains(&first.found[0].text) && !first.cut_short);
}
