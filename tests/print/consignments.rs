//! The papers of a consignment: every pack in its list, a label for each box, nothing beyond the page.

use packmuster::app::consignment::{Container, Item, Manifest, Row};
use packmuster::domain::make::Chemistry;
use packmuster::domain::waste::Condition;
use packmuster::print::PageSize;
use packmuster::print::consignment::paper;

use super::papers::check;
use super::poppler::Pdf;

/// A manifest of so many packs, every tenth of them damaged, fifty to a box.
fn manifest(count: usize) -> Manifest {
    let day = jiff::civil::date(2026, 11, 2);
    let condition = |n: usize| if n % 10 == 9 { Condition::Damaged } else { Condition::Sound };
    let kinds = [Condition::Sound, Condition::Damaged];
    let numbered = |n: usize, of: Condition| {
        let ahead = (0..n).filter(|&other| condition(other) == of).count();
        // Damaged ones lie in boxes from 1001.
        u32::try_from(ahead / 50 + if of == Condition::Damaged { 1001 } else { 1 }).unwrap()
    };
    let packs: Vec<Item> = (0..count)
        .map(|n| Item {
            pack: format!("p{n}"),
            make: "Kestrel 1100 with a long name".to_owned(),
            chemistry: (n % 3 > 0).then_some(Chemistry::LiIon),
            condition: condition(n),
            number: numbered(n, condition(n)),
            since: day,
            mass_g: (n % 2 > 0).then_some(60),
            energy_wh: (n % 3 > 0).then_some(3.96),
            seen: if condition(n) == Condition::Damaged {
                "swollen, leaking".to_owned()
            } else {
                String::new()
            },
        })
        .collect();
    let of = |kind: Condition| packs.iter().filter(move |item| item.condition == kind).count();
    let rows = kinds.into_iter().filter(|&kind| of(kind) > 0).map(|kind| Row {
        chemistry: Some(Chemistry::LiIon),
        condition: kind,
        packs: u32::try_from(of(kind)).unwrap(),
        mass_g: 123_450,
        without_mass: 7,
        energy_wh: 12_345.6,
        largest_wh: 99.99,
        un: Some("UN3480".to_owned()),
        notes: vec!["above 20 Wh a cell or 100 Wh a pack: the full rules for lithium hold".repeat(2)],
    });
    let mut numbers: Vec<(u32, Condition)> = packs.iter().map(|item| (item.number, item.condition)).collect();
    numbers.sort_unstable();
    numbers.dedup();
    let boxes = numbers.into_iter().map(|(number, kind)| Container {
        number,
        chemistry: Some(Chemistry::LiIon),
        condition: kind,
        packs: u32::try_from(packs.iter().filter(|item| item.number == number).count()).unwrap(),
        mass_g: 3000,
        without_mass: 0,
        energy_wh: 198.0,
        un: Some("UN3480".to_owned()),
        since: day,
    });
    Manifest {
        name: "autumn ferry".to_owned(),
        handler: "Tarn Metals".to_owned(),
        opened: day,
        left: None,
        reference: None,
        rules: "40 CFR 273 (universal waste, USA)".to_owned(),
        label: "Universal Waste-Battery(ies)".to_owned(),
        rows: rows.collect(),
        boxes: boxes.collect(),
        packs,
    }
}

/// The words of some pages that are packs.
fn packs(pages: &[String]) -> Vec<usize> {
    let words = pages.iter().flat_map(|page| page.split_whitespace());
    words.filter_map(|word| word.strip_prefix('p')?.parse().ok()).collect()
}

#[test]
fn papers_of_0_1_and_5000_packs_hold_each_once_and_a_label_for_each_box() {
    for (size, count, all) in [
        (PageSize::A4, 0, 0),
        (PageSize::Letter, 1, 1),
        (PageSize::A4, 5000, 90 + 10),
        (PageSize::Letter, 5000, 90 + 10),
    ] {
        let manifest = manifest(count);
        let pages = check(&Pdf::new(&paper(&manifest, size).unwrap()), size);
        // Sound packs first, damaged ones on pages of their own, each in the order of the manifest.
        let (damaged, sound): (Vec<usize>, Vec<usize>) = (0..count).partition(|n| n % 10 == 9);
        assert_eq!(packs(&pages), [sound, damaged].concat(), "{count} packs");
        let heading = |words: &str| pages.iter().position(|page| page.contains(words));
        let apart = heading("Damaged packs: ");
        assert_eq!(apart.is_some(), count >= 10, "{count} packs");
        if let Some(apart) = apart {
            let page = &pages[apart];
            assert_eq!(page.lines().nth(1), Some("Damaged packs: 500"), "it begins a page: {page}");
            assert!(page.contains("Do not charge"), "{page}");
        }
        let cautions = heading("Cautions for everybody who handles these boxes").unwrap();
        let labels = &pages[cautions + 1..];
        let per_page: Vec<usize> =
            labels.iter().map(|page| page.matches("consignment autumn ferry").count()).collect();
        assert_eq!(manifest.boxes.len(), all);
        assert_eq!(per_page.iter().sum::<usize>(), all, "{per_page:?}");
        assert!(per_page.iter().rev().skip(1).all(|&here| here == 2), "two to a page: {per_page:?}");
        for (place, of) in manifest.boxes.iter().enumerate() {
            let page = &labels[place / 2];
            assert!(
                page.contains(&format!("box {} of {all}, consignment autumn ferry", of.number)),
                "{page}"
            );
            assert!(page.contains("Universal Waste-Battery(ies)"), "{page}");
        }
        let shouted = labels.iter().map(|page| page.matches("Li-ion - DAMAGED").count()).sum::<usize>();
        assert_eq!(shouted, manifest.boxes.iter().filter(|of| of.condition == Condition::Damaged).count());
        assert_eq!(pages.concat().contains("nothing is packed yet"), count == 0);
    }
}

#[test]
fn long_names_and_wordings_stay_within_the_page_and_the_label() {
    for size in [PageSize::A4, PageSize::Letter] {
        let long = Manifest {
            name: "W".repeat(60),
            handler: "Handlers and carriers of the northern isles, with branches ".to_owned(),
            label: "Waste Battery(ies) ".repeat(4).trim().to_owned(),
            left: Some(jiff::civil::date(2026, 12, 24)),
            reference: Some("R".repeat(60)),
            ..manifest(30)
        };
        let pages = check(&Pdf::new(&paper(&long, size).unwrap()), size);
        let last = pages.last().unwrap();
        assert_eq!(
            pages.concat().matches("Terminals taped. Keep dry, cool and closed.").count(),
            1,
            "{last}"
        );
        let flat = pages.concat().split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains("left on 2026-12-24 under"), "{flat}");
    }
}
