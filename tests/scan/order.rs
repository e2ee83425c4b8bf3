//! What is found, where, and in which order.

use image::{GrayImage, Rgba, RgbaImage};
use packmuster::scan::picture;

use super::synth;

#[test]
fn several_tags_come_in_reading_order() {
    let tags = synth::tags(6, &mut synth::random(11));
    let shelf = synth::shelf(&tags);
    for degrees in [-12.0, 0.0, 9.0] {
        let picture = synth::photographed(&synth::turned(&shelf, degrees, 180));
        assert_eq!(synth::texts(&picture), tags, "turned by {degrees}");
        assert!(picture.unread.is_empty());
    }
}

#[test]
fn corners_lie_where_the_symbol_was_drawn() {
    let tags = synth::tags(1, &mut synth::random(12));
    let mut table = synth::paper(400, 300, 180);
    synth::lay(&mut table, &synth::label(&tags[0], 5), 100, 50);
    let picture = synth::photographed(&table);
    assert_eq!((picture.width, picture.height), (400, 300));
    // Twenty pixels of quiet zone, then 21 modules of five pixels.
    let wanted = [(120.0, 70.0), (225.0, 70.0), (225.0, 175.0), (120.0, 175.0)];
    for (corner, (x, y)) in picture.found[0].corners.iter().zip(wanted) {
        assert!((corner.x - x).hypot(corner.y - y) < 3.0, "{corner:?} is not ({x}, {y})");
    }
}

#[test]
fn the_same_tag_twice_is_two_symbols() {
    let tag = synth::tags(1, &mut synth::random(13)).remove(0);
    let picture = synth::photographed(&synth::shelf(&[tag.clone(), tag.clone()]));
    assert_eq!(synth::texts(&picture), [&tag, &tag]);
}

#[test]
fn a_spoiled_symbol_is_seen_but_unread() {
    let tags = synth::tags(2, &mut synth::random(14));
    let mut shelf = synth::shelf(&tags);
    // A blot over the second symbol's data, beyond what error correction can mend; the finder patterns stay.
    synth::lay(&mut shelf, &synth::paper(60, 60, 235), 270 + 20 + 8 * 5 - 3, 47 + 20 + 8 * 5);
    let picture = synth::photographed(&shelf);
    assert_eq!(synth::texts(&picture), [&tags[0]]);
    assert_eq!(picture.unread.len(), 1, "{:?}", picture.unread);
    let corner = picture.unread[0].corners[0];
    assert!((corner.x - 290.0).hypot(corner.y - 67.0) < 5.0, "{corner:?}");
}

#[test]
fn a_symbol_on_a_clear_background_is_read() {
    let tag = synth::tags(1, &mut synth::random(15)).remove(0);
    let label = synth::label(&tag, 6);
    let clear = RgbaImage::from_fn(label.width(), label.height(), |x, y| {
        Rgba([0, 0, 0, if label.get_pixel(x, y).0[0] < 128 { 255 } else { 0 }])
    });
    let mut bytes = std::io::Cursor::new(Vec::new());
    clear.write_to(&mut bytes, image::ImageFormat::Png).unwrap();
    let picture = picture::read_bytes(&bytes.into_inner(), "clear.png", &synth::PATIENT).unwrap();
    assert_eq!(synth::texts(&picture), [&tag]);
}

/// A JPEG with an Exif mark that says: turn a quarter to the right to see it upright (orientation 6; Exif 2.3, tag
/// 0x0112, from memory).
#[test]
fn the_camera_s_orientation_mark_is_honoured() {
    let tags = synth::tags(6, &mut synth::random(16));
    let upright = synth::shelf(&tags);
    let stored = image::imageops::rotate270(&upright);
    let mut bytes = synth::jpeg(&stored);
    let tiff: &[u8] = b"Exif\0\0MM\0\x2A\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0\x06\0\0\0\0\0\0";
    let mut segment = vec![0xFF, 0xE1];
    segment.extend(u16::try_from(tiff.len() + 2).unwrap().to_be_bytes());
    segment.extend(tiff);
    bytes.splice(2..2, segment);
    let picture = picture::read_bytes(&bytes, "camera.jpg", &synth::PATIENT).unwrap();
    assert_eq!((picture.width, picture.height), upright.dimensions());
    assert_eq!(synth::texts(&picture), tags);
    let first = picture.found[0].corners[0];
    assert!((first.x - 50.0).hypot(first.y - 50.0) < 3.0, "{first:?}");
}

#[test]
fn foreign_and_larger_symbols_are_read_too() {
    for text in
        ["4006381333931", "HTTPS://EXAMPLE.ORG/SHELF/17?ROOM=NORTH&BOX=0042", &"long text ".repeat(20)]
    {
        let code = qrcodegen::QrCode::encode_text(text, qrcodegen::QrCodeEcc::Medium).unwrap();
        let side = u32::try_from(code.size() + 8).unwrap();
        let at = |v: u32| i32::try_from(v / 4).unwrap() - 4;
        let image = GrayImage::from_fn(side * 4, side * 4, |x, y| {
            image::Luma([if code.get_module(at(x), at(y)) { 10 } else { 240 }])
        });
        let picture = synth::photographed(&synth::turned(&image, 8.0, 200));
        assert_eq!(synth::texts(&picture), [text]);
    }
}

/// Two of a tag's finder patterns are enough, whichever is hidden.
#[test]
fn a_tag_with_one_finder_pattern_hidden_is_read() {
    let tags = synth::tags(1, &mut synth::random(15));
    // Quiet zone of twenty pixels, modules of five, finder patterns of seven modules; most of one lies under tape.
    let far = 20 + 14 * 5;
    for (x, y) in [(20, 20), (far, 20), (20, far)] {
        let mut table = synth::shelf(&tags);
        synth::lay(&mut table, &synth::paper(28, 28, 200), 30 + x + 3, 30 + y + 3);
        let picture = synth::photographed(&table);
        assert_eq!(synth::texts(&picture), tags, "hidden at {x}, {y}");
    }
}

/// A label on a round pack: its rows are arcs in the picture.
#[test]
fn a_bowed_tag_is_read() {
    let tags = synth::tags(1, &mut synth::random(16));
    let mut table = synth::paper(400, 300, 180);
    synth::lay(&mut table, &synth::label(&tags[0], 5), 100, 60);
    for modules in [0.0, 1.0, 2.0] {
        for degrees in [0.0, 20.0] {
            let bowed = synth::turned(&synth::bowed(&table, modules * 5.0, 172.0, 52.0), degrees, 180);
            let picture = synth::photographed(&bowed);
            assert_eq!(synth::texts(&picture), tags, "bowed by {modules} modules, turned by {degrees}");
        }
    }
}
