//! `packmuster scan`: what it says of a picture, and the marked copy.

use image::{GrayImage, Rgb, RgbImage};
use packmuster::domain::tag::{Tag, TagKind};
use serde_json::Value;

use super::synth;
use crate::day::Day;

/// Six places of a shelf, as `synth::shelf` lays them: the middle of each symbol.
fn middle(n: u32) -> (u32, u32) {
    let wave = 17 * (n % 3);
    (30 + 240 * (n % 3) + 20 + 52, 30 + 230 * (n / 3) + wave + 20 + 52)
}

fn save(picture: &GrayImage, day: &Day, name: &str) {
    picture.save(day.sandbox.path().join(name)).unwrap();
}

/// Share of pixels of a colour within a square around a point.
fn share(picture: &RgbImage, (x, y): (u32, u32), half: u32, ink: Rgb<u8>) -> f32 {
    let (mut hits, mut all) = (0_u16, 0_u16);
    for y in y - half..y + half {
        for x in x - half..x + half {
            all += 1;
            hits += u16::from(*picture.get_pixel(x, y) == ink);
        }
    }
    f32::from(hits) / f32::from(all)
}

#[test]
fn every_pack_of_a_picture_gets_its_verdict_and_nothing_is_entered() {
    let day = Day::new();
    let (player, fit) = day.adopt();
    let (_, weak) = day.adopt();
    day.sandbox.session(&["bench"], &[fit.text(), "812"]);
    let swollen = day.sandbox.tag(TagKind::Pack);
    let said = day.sandbox.run(&["intake", "--loose", swollen.text(), "swollen"]);
    assert_eq!(said.code, 1, "{said:?}");
    let fresh = day.sandbox.tag(TagKind::Pack);
    let codes = [&fit, &weak, &swollen, &player, &fresh].map(|tag: &Tag| tag.text().to_owned());
    let before = day.entries();
    let mut shelf = synth::shelf(&codes);
    // A sixth symbol with a blot on it: seen, and not read.
    synth::lay(&mut shelf, &synth::label("PMKW3VQSPB0Y8", 5), 510, 294);
    synth::lay(&mut shelf, &synth::paper(60, 60, 235), 510 + 20 + 8 * 5 - 3, 294 + 20 + 8 * 5);
    save(&shelf, &day, "tray.png");
    let said = day.sandbox.run(&["scan", "tray.png", "--mark", "marked", "--json"]);
    assert_eq!(said.code, 2, "one was not read: {said:?}");
    let told: Value = serde_json::from_str(&said.out).unwrap();
    let seen = told["tray"]["seen"].as_array().unwrap();
    let verdicts: Vec<Option<&str>> = seen.iter().map(|seen| seen["verdict"]["verdict"].as_str()).collect();
    assert_eq!(verdicts, [Some("fit"), Some("measure"), Some("isolate"), None, None], "{}", said.out);
    assert_eq!((&seen[3]["kind"], &seen[4]["state"]), (&Value::from("player"), &Value::from("a fresh tag")));
    assert_eq!(told["tray"]["unread"][0]["part"], "bottom right");
    assert_eq!(day.entries(), before, "looking enters nothing");

    // The copy bears a mark on each symbol, each verdict another shape; the picture itself is as it was.
    let copy = image::open(day.sandbox.path().join("marked/tray-marked.png")).unwrap().into_rgb8();
    assert_eq!(copy.dimensions(), shelf.dimensions());
    let inks = [[0, 105, 60], [0, 90, 160], [170, 0, 30], [70, 70, 70], [0, 90, 160], [0, 0, 0]];
    for (n, ink) in (0_u32..).zip(inks).filter(|(n, _)| *n != 4) {
        assert!(share(&copy, middle(n), 20, Rgb(ink)) > 0.3, "mark {n}");
    }
    // A disc and a triangle of one radius do not cover the same: shape tells them apart without colour.
    let disc = share(&copy, middle(0), 33, Rgb([0, 105, 60]));
    let triangle = share(&copy, middle(1), 33, Rgb([0, 90, 160]));
    assert!(triangle < 0.6 * disc, "{triangle} {disc}");
    assert_eq!(image::open(day.sandbox.path().join("tray.png")).unwrap().into_luma8(), shelf);
}

#[test]
fn a_tray_at_dispatch_has_one_line_for_each_pack_and_sends_nothing() {
    let day = Day::new();
    let (_, fit) = day.adopt();
    let (_, weak) = day.adopt();
    day.sandbox.session(&["bench"], &[fit.text(), "812"]);
    let before = day.entries();
    save(&synth::shelf(&[fit.text().to_owned(), weak.text().to_owned()]), &day, "tray.png");
    let said = day.sandbox.run(&["dispatch", "--for", "6 weeks", "tray.png"]);
    assert_eq!(said.code, 1, "{said:?}");
    assert!(said.out.contains(&format!("FIT {fit}: read 812 mAh")), "{}", said.out);
    assert!(said.out.contains(&format!("MEASURE {weak}: unmeasured: no reading yet")), "{}", said.out);
    assert_eq!(day.entries(), before);
    // All of them fit: yes.
    day.sandbox.session(&["bench"], &[weak.text(), "900"]);
    assert_eq!(day.sandbox.run(&["dispatch", "--for", "6 weeks", "tray.png"]).code, 0);
}

#[test]
fn the_formats_of_phones_are_read_and_heic_is_told_how_to_become_one() {
    let day = Day::new();
    let tag = day.sandbox.tag(TagKind::Pack);
    let shelf = synth::shelf(&[tag.text().to_owned()]);
    for name in ["tray.png", "tray.jpg", "tray.webp"] {
        save(&shelf, &day, name);
        let said = day.sandbox.run(&["scan", name]);
        assert_eq!(said.code, 0, "{said:?}");
        assert!(said.out.contains(&format!("pack {tag}: a fresh tag")), "{}", said.out);
    }
    std::fs::write(day.sandbox.path().join("tray.heic"), b"\0\0\0\x18ftypheic\0\0\0\0heicmif1").unwrap();
    let said = day.sandbox.run(&["scan", "tray.heic"]);
    assert_eq!(said.code, 2);
    assert!(said.err.contains("HEIC") && said.err.contains("most compatible"), "{}", said.err);
}

#[test]
fn a_broken_picture_does_not_keep_the_others_from_being_told() {
    let day = Day::new();
    let [one, other] = [day.sandbox.tag(TagKind::Pack), day.sandbox.tag(TagKind::Pack)];
    for (folder, tag) in [("left", &one), ("right", &other)] {
        std::fs::create_dir(day.sandbox.path().join(folder)).unwrap();
        save(&synth::shelf(&[tag.text().to_owned()]), &day, &format!("{folder}/tray.png"));
    }
    std::fs::write(day.sandbox.path().join("broken.png"), b"no picture").unwrap();
    save(&GrayImage::from_pixel(300, 300, image::Luma([200])), &day, "bare.png");
    let args = ["scan", "left/tray.png", "broken.png", "bare.png", "right/tray.png", "--mark", "marked"];
    let said = day.sandbox.run(&args);
    assert_eq!(said.code, 2, "{said:?}");
    assert!(said.err.contains("`broken.png` is not a picture"), "{}", said.err);
    assert!(said.out.contains("bare.png: 0 read"), "{}", said.out);
    assert!(
        said.out.replace("\n ", "").contains("nothing in it looks like a tag: go closer"),
        "{}",
        said.out
    );
    for (tag, copy) in [(&one, "tray-marked.png"), (&other, "tray-marked-2.png")] {
        assert!(said.out.contains(&format!("pack {tag}: a fresh tag")), "{}", said.out);
        assert!(day.sandbox.path().join("marked").join(copy).exists(), "{copy}");
    }
}

/// Pictures that arrive in a folder: a partly written one is waited for, each is taken in once, also after a restart.
#[test]
fn a_watched_folder_takes_each_picture_in_once() {
    let day = Day::new();
    let folder = day.sandbox.path().join("phone");
    std::fs::create_dir(&folder).unwrap();
    let pair = || [day.sandbox.tag(TagKind::Player), day.sandbox.tag(TagKind::Pack)];
    let picture = |tags: &[Tag; 2]| {
        let mut bytes = std::io::Cursor::new(Vec::new());
        let shelf = synth::shelf(&tags.map(|tag| tag.text().to_owned()));
        shelf.write_to(&mut bytes, image::ImageFormat::Png).unwrap();
        bytes.into_inner()
    };
    let (first, second, third) = (pair(), pair(), pair());
    std::fs::write(folder.join("1.png"), picture(&first)).unwrap();
    // A picture of which only the half is there yet.
    let whole = picture(&second);
    std::fs::write(folder.join("2.png"), &whole[..whole.len() / 2]).unwrap();
    let args = ["intake", "--watch", "phone"];
    let mut watching = day.sandbox.begin(&args);
    watching.hear(&format!("MEASURE {}", first[1]));
    // The network is slow: the rest comes after several looks at the folder.
    std::thread::sleep(std::time::Duration::from_millis(1500));
    std::fs::write(folder.join("2.png"), &whole).unwrap();
    let heard = watching.hear(&format!("MEASURE {}", second[1]));
    assert!(!heard.contains("cut off"), "{heard}");
    watching.kill();
    let entries = day.entries();
    // After a restart only what is new is taken in, though the old pictures are still there, one under another name.
    std::fs::rename(folder.join("1.png"), folder.join("again.png")).unwrap();
    let mut watching = day.sandbox.begin(&args);
    std::fs::write(folder.join("3.png"), picture(&third)).unwrap();
    let heard = watching.hear(&format!("MEASURE {}", third[1]));
    watching.kill();
    assert!(!heard.contains(&first[1].to_string()) && !heard.contains(&second[1].to_string()), "{heard}");
    let each = entries - entries / 2;
    assert!(day.entries() > entries && day.entries() < entries + each, "one more pair");
    day.sandbox.is_sound();
}
