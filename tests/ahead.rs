//! What is to come: on the demo's ledger, once a model is learnt.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use serde_json::Value;

use super::demo::demo;
use super::sandbox::Sandbox;

pub(crate) fn packmuster(folder: &Path, args: &[&str]) -> (i32, String, String) {
    // Another seed for each command: two acts of one moment must not bear one name.
    let run = Command::new(env!("CARGO_BIN_EXE_packmuster"))
        .args(args)
        .env_clear()
        .env("PACKMUSTER_CLOCK", "2026-10-29T18:00:00Z")
        .env("PACKMUSTER_SEED", args.join(" ").len().to_string())
        .env("PACKMUSTER_SITE", "Skerrow")
        .env("COLUMNS", "80")
        .current_dir(folder)
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (run.status.code().unwrap(), text(run.stdout), text(run.stderr))
}

/// The demo's ledger with a learnt model, alone in a folder.
pub(crate) fn learnt() -> &'static Path {
    static MADE: OnceLock<(tempfile::TempDir, PathBuf)> = OnceLock::new();
    let (_, path) = MADE.get_or_init(|| {
        let folder = copy(demo());
        let (code, _, errors) = packmuster(folder.path(), &["model", "learn"]);
        assert_eq!(code, 0, "{errors}");
        let path = folder.path().to_owned();
        (folder, path)
    });
    path
}

pub(crate) fn copy(from: &Path) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    // The latest entries may still lie in the log beside it.
    for end in ["", "-wal"] {
        let name = format!("skerrow.muster{end}");
        if from.join(&name).exists() {
            fs::copy(from.join(&name), folder.path().join(&name)).unwrap();
        }
    }
    folder
}

fn ahead(folder: &Path, args: &[&str]) -> Value {
    let (code, out, errors) = packmuster(folder, &[&["ahead", "--json"], args].concat());
    assert_eq!(code, 0, "{errors}");
    let answer: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(answer["format_version"], 1);
    answer["ahead"].clone()
}

/// The demo's policy with a table of buying, adopted on a copy of the ledger.
fn with_buying(lines: &str) -> tempfile::TempDir {
    let folder = copy(learnt());
    let policy = fs::read_to_string(demo().join("skerrow.policy.toml")).unwrap();
    fs::write(folder.path().join("new.toml"), format!("{policy}\n[buying]\n{lines}\n")).unwrap();
    let (code, _, errors) = packmuster(folder.path(), &["policy", "adopt", "new.toml"]);
    assert_eq!(code, 0, "{errors}");
    folder
}

fn close(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-6 * (1.0 + a.abs())
}

#[test]
fn retirements_are_conserved_and_lie_in_their_bands() {
    let found = ahead(learnt(), &[]);
    let number = |value: &Value| value.as_f64().unwrap_or_else(|| panic!("{value} is no number"));
    let all = &found["all"];
    assert_eq!(all["months"].as_array().unwrap().len(), 24);
    assert_eq!(all["months"][0]["month"], "2026-10");
    let makes = found["makes"].as_array().unwrap();
    assert_eq!(makes.len(), 2);
    for of in makes.iter().chain([all]) {
        let (mut sum, mut before) = (0.0, number(&of["below_now_expected"]));
        for month in of["months"].as_array().unwrap() {
            let expected = number(&month["expected"]);
            sum += expected;
            let by_end = number(&month["below_by_end_expected"]);
            assert!(expected >= 0.0 && by_end >= before, "{month}");
            assert!(
                close(by_end - before, expected),
                "what falls in a month is what more are below: {month}"
            );
            before = by_end;
            let within = |band: &Value, mean: f64| {
                let (low, high) = (number(&band["low"]), number(&band["high"]));
                assert!(low - 1.0 < mean && mean < high + 1.0, "{month}");
                (low, high)
            };
            let inner = within(&month["band_50"], expected);
            let outer = within(&month["band_90"], expected);
            assert!(outer.0 <= inner.0 && inner.1 <= outer.1, "{month}");
            within(&month["below_by_end_90"], by_end);
        }
        assert!(close(sum, number(&of["expected"])));
        assert!(close(before, number(&of["below_now_expected"]) + sum));
        assert!(before <= number(&of["packs"]), "no more than there are");
    }
    for key in ["packs", "fit_here", "not_enough_data", "below_now_expected", "expected"] {
        let of_makes: f64 = makes.iter().map(|make| number(&make[key])).sum();
        assert!(close(of_makes, number(&all[key])), "{key}");
    }
    assert!(number(&all["packs"]) > 200.0 && number(&all["expected"]) > 1.0);
}

#[test]
fn packs_at_risk_come_worst_first_and_are_out() {
    let found = ahead(learnt(), &["--months", "3"]);
    let risks = found["at_risk"].as_array().unwrap();
    assert!(!risks.is_empty());
    let above = found["at_risk_above_percent"].as_f64().unwrap();
    let mut last = 100.0;
    for risk in risks {
        let chance = risk["chance_percent"].as_f64().unwrap();
        assert!(chance <= last && chance >= above - 0.01, "{risk}");
        last = chance;
        assert!(risk["low_mah"].as_u64() <= risk["expected_mah"].as_u64());
        let (_, shown, _) = packmuster(learnt(), &["show", risk["pack"].as_str().unwrap()]);
        assert!(shown.contains(risk["due"].as_str().unwrap()), "it is out till then\n{shown}");
    }
}

#[test]
fn more_growth_and_more_ready_packs_mean_more_to_buy() {
    let bought = |lines: &str| -> u64 {
        let found = ahead(with_buying(lines).path(), &[]);
        let buys = found["buy"].as_array().unwrap().clone();
        let orders = buys.iter().flat_map(|buy| buy["orders"].as_array().unwrap().clone());
        orders.map(|order| order["packs"].as_u64().unwrap()).sum()
    };
    let by_growth: Vec<u64> =
        [0, 30, 90].map(|growth| bought(&format!("growth_percent_per_year = {growth}"))).to_vec();
    assert!(by_growth[0] <= by_growth[1] && by_growth[1] < by_growth[2], "{by_growth:?}");
    assert!(bought("ready_stock = 200") > bought("ready_stock = 100"));
    assert!(
        bought("ready_stock = 200\nservice_level_percent = 99")
            >= bought("ready_stock = 200\nservice_level_percent = 50")
    );
    let found = ahead(with_buying("ready_stock = 200\nlead_days = 1000").path(), &[]);
    let order = &found["buy"][0]["orders"][0];
    assert_eq!((&order["late"], &order["order_by"]), (&Value::Bool(true), &Value::from("2026-10-29")));
}

#[test]
fn it_reads_well_at_80_columns_and_is_the_same_every_time() {
    let (code, text, _) = packmuster(learnt(), &["ahead"]);
    assert_eq!(code, 0);
    for part in
        ["RETIREMENTS, all makes", "RETIREMENTS, Kestrel 1100", "TO BUY", "OUT AND AT RISK", "2028-09"]
    {
        assert!(text.contains(part), "{part}\n{text}");
    }
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    assert_eq!(packmuster(learnt(), &["ahead"]).1, text);
}

#[test]
fn without_a_model_it_says_how_to_learn_one() {
    let sandbox = Sandbox::started();
    let said = sandbox.run(&["ahead"]);
    assert_eq!(said.code, 1);
    assert!(said.err.contains("packmuster model learn"), "{}", said.err);
    for months in ["0", "121", "x"] {
        assert_eq!(sandbox.run(&["ahead", "--months", months]).code, 2);
    }
}
