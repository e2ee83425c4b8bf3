//! Importing a fleet and its past readings from CSV: what is taken, what is refused and in which words, all or nothing.

use packmuster::domain::tag::TagKind;

use crate::sandbox::{Said, Sandbox};

fn write(sandbox: &Sandbox, name: &str, text: impl AsRef<[u8]>) {
    std::fs::write(sandbox.path().join(name), text).unwrap();
}

fn entries(sandbox: &Sandbox) -> String {
    sandbox.run(&["ledger", "export"]).out
}

/// A sandbox at a moment some weeks into November.
fn ready() -> Sandbox {
    let sandbox = Sandbox::started();
    sandbox.days(20);
    sandbox
}

/// Imports a file that must be refused: nothing is written, and each of these lines is said.
fn refused(sandbox: &Sandbox, args: &[&str], expected: &[&str]) -> Said {
    let before = entries(sandbox);
    let said = sandbox.run(&[&["import"], args].concat());
    assert_eq!(said.code, 2, "{said:?}");
    for line in expected {
        assert!(said.err.contains(line), "`{line}` is missing from\n{}", said.err);
    }
    assert_eq!(entries(sandbox), before, "something was written");
    said
}

#[test]
fn a_fleet_and_its_readings_come_in_with_their_own_headings_dates_and_commas() {
    let sandbox = ready();
    let tag = sandbox.tag(TagKind::Pack);
    let fleet = format!(
        "\u{feff}Barcode;Typ;Kauf;Zyklen;Los\r\n\
         4006381333931;Kestrel 1100;03.02.2024;12,5;2024-02\r\n\
         \"A;7\";kestrel 1100;;;2024-02\r\n\
         {tag};Kestrel 1100;1.3.2025;0;\r\n"
    );
    write(&sandbox, "fleet.csv", fleet);
    write(
        &sandbox,
        "fleet.toml",
        "delimiter = ';'\ndecimal = ','\ndates = 'dmy'\n[columns]\npack = 'Barcode'\nmake = 'Typ'\nadded = 'Kauf'\n\
         prior_cycles = 'Zyklen'\nlot = 'Los'\n",
    );
    let said = sandbox.run(&["import", "packs", "fleet.csv", "--map", "fleet.toml"]);
    assert_eq!(said.code, 0, "{said:?}");
    let shown = sandbox.run(&["show", "4006381333931"]).out;
    assert!(shown.contains("12.5 cycles") && shown.contains("2024-02"), "{shown}");
    assert!(sandbox.run(&["show", "A;7"]).out.contains("earlier ones unknown"), "unknown is not zero");
    assert!(sandbox.run(&["judge", tag.text()]).out.starts_with("MEASURE"));

    write(
        &sandbox,
        "past.csv",
        format!(
            "pack,at,capacity,resistance\n4006381333931,2026-11-10,812,95.5\n{tag},2026-11-12 14:30,640,\n"
        ),
    );
    let said = sandbox.run(&["import", "readings", "past.csv"]);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(sandbox.run(&["judge", "4006381333931"]).out.starts_with("FIT"));
    assert!(sandbox.run(&["judge", tag.text()]).out.starts_with("RECONDITION"));
    sandbox.is_sound();
    // One act: it is taken back as a whole.
    assert_eq!(sandbox.run(&["undo"]).code, 0);
    assert!(sandbox.run(&["judge", "4006381333931"]).out.starts_with("MEASURE"));
}

#[test]
fn every_bad_row_is_named_with_file_line_field_and_value_and_nothing_is_written() {
    let sandbox = ready();
    let slot = sandbox.tag(TagKind::Slot);
    write(
        &sandbox,
        "bad.csv",
        format!(
            "pack,make,made,prior_cycles\nX1,Heron,,\nX2,Kestrel 1100,2026-13-01,\nX3,Kestrel 1100,,many\n\
             X4,Kestrel 1100,2031-01-01,\nX5,Kestrel 1100,,\nX5,Kestrel 1100,,\n{slot},Kestrel 1100,,\n\
             P7K3-Q9M2-DXWT-9,Kestrel 1100,,\n,Kestrel 1100,,\n"
        ),
    );
    refused(
        &sandbox,
        &["packs", "bad.csv"],
        &[
            "bad.csv:2: make is `Heron`",
            "bad.csv:3: made is `2026-13-01`",
            "bad.csv:4: prior_cycles is `many`",
            "bad.csv:5: made is `2031-01-01`",
            "bad.csv:7: pack is `X5`",
            "bad.csv:8: pack is",
            "bad.csv:9: pack is `P7K3-Q9M2-DXWT-9`",
            "bad.csv:10: pack is",
        ],
    );
    refused(&sandbox, &["packs", "bad.csv", "--column", "pack=Barcode"], &["Barcode"]);
    refused(&sandbox, &["packs", "bad.csv", "--column", "colour=Barcode"], &["colour"]);
    refused(&sandbox, &["packs", "nowhere.csv"], &["nowhere.csv"]);
}

#[test]
fn bad_readings_are_refused_and_implausible_ones_want_a_word() {
    let sandbox = ready();
    write(&sandbox, "fleet.csv", "pack\nX1\nX2\n");
    assert_eq!(sandbox.run(&["import", "packs", "fleet.csv"]).code, 0);
    write(
        &sandbox,
        "bad.csv",
        "pack,at,capacity\nX9,2026-11-10,800\nX1,2031-01-01,800\nX1,2026-11-10,8000\nX1,2026-11-10,eighty\n\
         X2,2026-11-10,800\nX2,2026-11-10,800\n",
    );
    refused(
        &sandbox,
        &["readings", "bad.csv"],
        &[
            "bad.csv:2: pack is `X9`",
            "bad.csv:3: at is `2031-01-01`",
            "bad.csv:4: capacity is `8000`",
            "bad.csv:5: capacity is `eighty`",
            "bad.csv:7:",
        ],
    );
    write(&sandbox, "odd.csv", "pack,at,capacity\nX1,2026-11-10,1500\n");
    refused(&sandbox, &["readings", "odd.csv"], &["odd.csv:2: capacity is `1500`"]);
    let said = sandbox.run(&["import", "readings", "odd.csv", "--accept-implausible"]);
    assert_eq!(said.code, 0, "{said:?}");
    refused(&sandbox, &["readings", "odd.csv", "--accept-implausible"], &["odd.csv:2:"]);
}

#[test]
fn the_good_rows_can_be_kept_and_the_bad_ones_stand_in_a_file_beside() {
    let sandbox = ready();
    write(&sandbox, "mixed.csv", "pack,make\nX1,Kestrel 1100\nX2,Heron\nX3,Kestrel 1100\n");
    let said = sandbox.run(&["import", "packs", "mixed.csv", "--keep-good"]);
    assert_eq!(said.code, 2, "{said:?}");
    assert_eq!(sandbox.run(&["show", "X1"]).code, 0);
    assert_eq!(sandbox.run(&["show", "X3"]).code, 0);
    assert_eq!(sandbox.run(&["show", "X2"]).code, 2);
    let bad = std::fs::read_to_string(sandbox.path().join("mixed.csv.bad.csv")).unwrap();
    assert!(bad.starts_with("pack,make,") && bad.contains("X2,Heron,") && !bad.contains("X1"), "{bad}");
    // The file of bad rows is never overwritten.
    write(&sandbox, "mixed.csv", "pack,make\nX4,Kestrel 1100\nX5,Heron\n");
    let said = sandbox.run(&["import", "packs", "mixed.csv", "--keep-good"]);
    assert_eq!(said.code, 2);
    assert_eq!(std::fs::read_to_string(sandbox.path().join("mixed.csv.bad.csv")).unwrap(), bad);
    sandbox.is_sound();
}

#[test]
fn a_dry_run_writes_nothing() {
    let sandbox = ready();
    write(&sandbox, "fleet.csv", "pack\nX1\n");
    let before = entries(&sandbox);
    let said = sandbox.run(&["import", "packs", "fleet.csv", "--dry-run"]);
    assert_eq!(said.code, 0, "{said:?}");
    assert_eq!(entries(&sandbox), before);
}

#[test]
fn results_of_the_bench_settle_its_open_runs() {
    let sandbox = ready();
    write(&sandbox, "fleet.csv", "pack\nX1\n");
    sandbox.run(&["import", "packs", "fleet.csv"]);
    let slot = sandbox.tag(TagKind::Slot);
    assert_eq!(sandbox.session(&["bench"], &[slot.text(), "X1"]).code, 0);
    sandbox.days(1);
    write(&sandbox, "results.csv", format!("slot,at,capacity\n{slot},2026-11-22 20:00,790\n"));
    let said = sandbox.run(&["import", "readings", "results.csv"]);
    assert_eq!(said.code, 0, "{said:?}");
    assert!(sandbox.run(&["slot", "list"]).out.contains("free"));
    assert!(sandbox.run(&["judge", "X1"]).out.starts_with("FIT"));
    sandbox.is_sound();
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig { cases: 24, ..Default::default() })]

    #[test]
    fn no_bytes_bring_the_import_down(bytes in proptest::collection::vec(proptest::prelude::any::<u8>(), 0..300)) {
        let sandbox = Sandbox::started();
        for (kind, heading) in [("packs", "pack,make,made\n"), ("readings", "pack,at,capacity\n")] {
            write(&sandbox, "noise.csv", [heading.as_bytes(), &bytes].concat());
            let said = sandbox.run(&["import", kind, "noise.csv"]);
            assert!(matches!(said.code, 0 | 2), "{said:?}");
        }
        sandbox.is_sound();
    }
}
