//! Charts on pages: poppler has no complaint, texts are there and between the margins, charts and readings keep together.

use packmuster::print::PageSize;
use packmuster::print::paper::Paper;

use super::super::poppler::Pdf;
use super::samples;

#[test]
fn charts_of_0_1_and_many_points_are_on_their_pages() {
    for count in [0, 1, 24] {
        for (size, height_mm) in [(PageSize::A4, 75.0), (PageSize::Letter, 55.0)] {
            let charts = samples::kinds(count);
            let mut paper = Paper::new(size, "Monthly review", "Skerrow Isles, November 2026").unwrap();
            for chart in &charts {
                paper.chart(chart, height_mm);
            }
            let bytes = paper.finish().unwrap();
            let pdf = Pdf::new(&bytes);
            let text = pdf.pages().concat().replace('\n', " ");
            for chart in &charts {
                assert!(text.contains(chart.sentence()), "{}", chart.sentence());
            }
            for title in ["Discharge at 1 A", "Packs to buy", "How long packs last", "Capacity by make"] {
                assert!(text.contains(title), "{title}");
            }
            let empty = text.matches("nothing to draw yet").count();
            assert_eq!(empty, if count == 0 { 5 } else { 0 });
            if count == 24 {
                for name in
                    ["end voltage 3 V", "median", "95 %", "Marlin", "surely needed", "2026-11", "limit 1900"]
                {
                    assert!(text.contains(name), "{name}: {text}");
                }
            }
            for word in pdf.words() {
                assert!(word.left_mm > 19.9 && word.right_mm < size.width_mm() - 19.9, "{word:?}");
                assert!(word.top_mm > 9.0 && word.bottom_mm < size.height_mm() - 8.0, "{word:?}");
            }
        }
    }
}

/// The sentence stands on the page of its chart, right beneath it, wherever on a page the chart begins; the chart is as high as asked.
#[test]
fn a_reading_keeps_with_its_chart() {
    for before in (0_u8..44).map(|n| 5.0 * f32::from(n)) {
        let mut paper = Paper::new(PageSize::A4, "t", "s").unwrap();
        paper.drawing(before, |_, _| {});
        paper.chart(&samples::kinds(24)[4], 70.0);
        let pdf = Pdf::new(&paper.finish().unwrap());
        let words = pdf.words();
        let find = |text: &str| words.iter().rfind(|word| word.text == text).unwrap();
        let (title, axis, sentence) = (find("Capacity"), find("mAh"), find("One"));
        assert_eq!((title.page, axis.page), (sentence.page, sentence.page), "after {before} mm");
        assert!((axis.bottom_mm - title.top_mm - 70.0).abs() < 1.5, "after {before} mm");
        assert!((-0.5..3.0).contains(&(sentence.top_mm - axis.bottom_mm)), "after {before} mm");
    }
}

#[test]
fn a_reading_longer_than_a_page_leaves_room_for_its_chart() {
    let mut paper = Paper::new(PageSize::A4, "t", "s").unwrap();
    paper.chart(&samples::kinds(24)[0].clone().reading("Very long words. ".repeat(600)), 80.0);
    let pdf = Pdf::new(&paper.finish().unwrap());
    let words = pdf.words();
    let volts = words.iter().find(|word| word.text == "volts").unwrap();
    let hours = words.iter().find(|word| word.text == "hours").unwrap();
    assert_eq!(volts.page, hours.page);
    assert!(hours.bottom_mm - volts.top_mm > 30.0);
    assert_eq!(words.iter().filter(|word| word.text == "Very").count(), 600);
}
