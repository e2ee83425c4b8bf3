//! Whatever is handed in, an answer comes back.

use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

use image::{GrayImage, Luma};
use packmuster::scan::picture::{self, Limits, PictureError};
use proptest::prelude::{any, prop};
use proptest::{prop_assert, proptest};

use super::synth;

const HASTY: Limits = Limits { budget: Duration::from_millis(1500), ..synth::PATIENT };

fn sample() -> (String, GrayImage) {
    let tag = synth::tags(1, &mut synth::random(21)).remove(0);
    let image = synth::turned(&synth::label(&tag, 4), 20.0, 200);
    (tag, image)
}

#[test]
fn every_cut_of_a_file_is_named() {
    let (tag, image) = sample();
    for (name, bytes) in [("a.jpg", synth::jpeg(&image)), ("a.png", synth::png(&image))] {
        for cut in 0..bytes.len() {
            // Every place in the header, then every seventh.
            if cut > 700 && cut % 7 != 0 && cut + 20 < bytes.len() {
                continue;
            }
            match picture::read_bytes(&bytes[..cut], name, &HASTY) {
                Ok(picture) => {
                    // The pixels were all there, only closing marks are missing.
                    assert!(
                        name == "a.png" && cut + 20 > bytes.len(),
                        "{name} cut at {cut} of {}",
                        bytes.len()
                    );
                    assert_eq!(synth::texts(&picture), [&tag]);
                }
                Err(error) => {
                    assert!(error.to_string().contains(name), "{error}");
                    assert!(!error.hint().is_empty());
                    if cut > 700 {
                        assert!(
                            matches!(error, PictureError::Truncated { .. }),
                            "{name} cut at {cut}: {error}"
                        );
                    }
                }
            }
        }
    }
}

#[test]
fn other_files_are_told_apart() {
    let read = |bytes: &[u8]| picture::read_bytes(bytes, "x", &HASTY).unwrap_err();
    assert!(matches!(read(b""), PictureError::Empty { .. }));
    assert!(matches!(read(b"pack,capacity\n"), PictureError::NotAPicture { .. }));
    let heic = read(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic");
    assert_eq!(heic.to_string(), "`x` is a HEIC file, which cannot be read here");
    assert!(heic.hint().contains("share the picture as JPEG"));
    // A picture of a kind that is read here, and cut off behind its first bytes.
    assert!(matches!(
        read(b"RIFF\0\0\0\0WEBPVP8 "),
        PictureError::Truncated { .. } | PictureError::Damaged { .. }
    ));
    for (bytes, kind) in [(&b"%PDF-1.7"[..], "PDF"), (b"GIF89a..........", "GIF")] {
        assert_eq!(read(bytes).hint(), "send a JPEG instead");
        assert!(read(bytes).to_string().contains(kind), "{}", read(bytes));
    }
}

#[test]
fn a_missing_file_and_a_folder_are_told() {
    let folder = tempfile::tempdir().unwrap();
    for path in [folder.path().join("none.jpg").as_path(), folder.path()] {
        let error = picture::read(path, &HASTY).unwrap_err();
        assert!(matches!(error, PictureError::Io { .. }), "{error}");
        assert!(error.to_string().contains(&path.display().to_string()));
        assert_eq!(error.hint().contains("it is a folder"), path.is_dir(), "{}", error.hint());
    }
    let (tag, image) = sample();
    let path = folder.path().join("tag.png");
    fs::write(&path, synth::png(&image)).unwrap();
    assert_eq!(synth::texts(&picture::read(Path::new(&path), &HASTY).unwrap()), [&tag]);
    let short = Limits { pixels: 10, ..HASTY };
    fs::write(&path, vec![0_u8; 2_000_000]).unwrap();
    assert!(matches!(picture::read(&path, &short), Err(PictureError::TooLong { .. })));
}

/// Headers that claim 60,000 by 60,000 pixels end at once, without room being made for them.
#[test]
fn a_bomb_is_refused_by_its_header() {
    let (_, image) = sample();
    let mut jpeg = synth::jpeg(&image);
    let frame = jpeg.windows(2).position(|pair| pair == [0xFF, 0xC0]).unwrap();
    jpeg[frame + 5..frame + 9].copy_from_slice(&[0xEA, 0x60, 0xEA, 0x60]);
    let mut png = synth::png(&image);
    png[16..24].copy_from_slice(&[0, 0, 0xEA, 0x60, 0, 0, 0xEA, 0x60]);
    let checksum = crc32(&png[12..29]).to_be_bytes();
    png[29..33].copy_from_slice(&checksum);
    for bytes in [jpeg, png] {
        let start = Instant::now();
        let error = picture::read_bytes(&bytes, "bomb", &HASTY).unwrap_err();
        assert!(matches!(error, PictureError::TooLarge { width: 60_000, height: 60_000, .. }), "{error}");
        assert!(start.elapsed() < Duration::from_millis(500));
    }
}

/// The checksum of PNG chunks (PNG specification, annex D, bit by bit; from memory).
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, &byte| {
        (0..8).fold(crc ^ u32::from(byte), |crc, _| (crc >> 1) ^ if crc & 1 == 1 { 0xEDB8_8320 } else { 0 })
    })
}

#[test]
#[expect(clippy::print_stdout, reason = "measured times are shown to whoever runs the tests by hand")]
fn pictures_without_tags_give_nothing_in_time() {
    let mut random = synth::random(22);
    let board = |square: u32, side: u32| {
        GrayImage::from_fn(side, side, |x, y| {
            Luma([if (x / square + y / square).is_multiple_of(2) { 0 } else { 255 }])
        })
    };
    let rings = |pitch: u32| {
        GrayImage::from_fn(900, 900, |x, y| {
            let ring = (x % pitch / 4).abs_diff(4).max((y % pitch / 4).abs_diff(4));
            Luma([if matches!(ring, 0 | 1 | 3) { 10 } else { 245 }])
        })
    };
    let stripes = GrayImage::from_fn(1000, 700, |x, y| Luma([if (x * 3 + y) % 11 < 5 { 0 } else { 255 }]));
    let pictures = [
        ("one pixel", synth::paper(1, 1, 0)),
        ("a line", synth::paper(5000, 1, 90)),
        ("a column", synth::paper(1, 5000, 90)),
        ("white", synth::paper(3000, 2000, 255)),
        ("black", synth::paper(500, 500, 0)),
        ("small noise", synth::noisy(&synth::paper(300, 200, 128), 120.0, &mut random)),
        ("noise", synth::noisy(&synth::paper(1800, 1200, 128), 120.0, &mut random)),
        (
            "blurred noise",
            synth::blurred(&synth::noisy(&synth::paper(1200, 900, 128), 120.0, &mut random), 1.5),
        ),
        ("fine chessboard", board(1, 800)),
        ("chessboard", board(7, 1200)),
        ("coarse chessboard", board(60, 1200)),
        ("stripes", stripes),
        ("finder patterns side by side", rings(36)),
        ("finder patterns in pairs of symbols' distance", rings(56)),
    ];
    for (name, image) in pictures {
        let start = Instant::now();
        let picture = picture::read_bytes(&synth::png(&image), name, &HASTY).unwrap();
        let spent = start.elapsed();
        println!("{name}: {spent:.0?}, {} unread, cut short: {}", picture.unread.len(), picture.cut_short);
        assert!(picture.found.is_empty(), "{name}: {:?}", picture.found);
        assert!(picture.unread.is_empty(), "{name}: {} symbols seen", picture.unread.len());
        // That it ends, beside whatever else the machine does; how soon is for the benchmark.
        assert!(spent < HASTY.budget + Duration::from_secs(60), "{name}: {spent:?}");
    }
}

#[test]
fn no_time_gives_an_empty_answer_that_says_so() {
    let (_, image) = sample();
    let none = Limits { budget: Duration::ZERO, ..HASTY };
    let picture = picture::read_bytes(&synth::png(&image), "a", &none).unwrap();
    assert!(picture.found.is_empty() && picture.cut_short);
}

proptest! {
    #[test]
    fn random_bytes_never_panic(bytes in prop::collection::vec(any::<u8>(), 0..400), start in 0..4_usize) {
        let heads: [&[u8]; 4] = [b"", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", b"\xFF\xD8\xFF\xE0", b"\0\0\0\x18ftyp"];
        let whole = [heads[start], &bytes].concat();
        prop_assert!(picture::read_bytes(&whole, "x", &HASTY).is_err());
    }

    #[test]
    fn a_file_with_broken_bytes_never_invents_a_tag(
        places in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12),
        kind in any::<bool>(),
    ) {
        let (tag, image) = sample();
        let mut bytes = if kind { synth::jpeg(&image) } else { synth::png(&image) };
        for (place, byte) in places {
            let index = place.index(bytes.len());
            bytes[index] = byte;
        }
        let hasty = Limits { pixels: 4_000_000, budget: Duration::from_millis(100), ..HASTY };
        if let Ok(picture) = picture::read_bytes(&bytes, "x", &hasty) {
            synth::assert_no_invention(&picture, &[tag]);
        }
    }
}
