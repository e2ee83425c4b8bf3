//! Discharge logs through the binary: any columns and units, what is wrong with them, drawn, entered.

use std::fmt::Write as _;
use std::process::Command;

use packmuster::domain::tag::TagKind;
use serde_json::Value;

use super::sandbox::Sandbox;

/// A log of 1 V an hour down from 4 V at `current` A, a row a minute: 3 V comes after an hour.
fn rows(name: &str, current: f64, minutes: u32) -> String {
    let mut text = String::new();
    for minute in 0..=minutes {
        let time = f64::from(minute);
        let _infallible = writeln!(text, "{name},{},{:.5},{current}", 60.0 * time, 4.0 - (time - 0.5) / 60.0);
    }
    text
}

fn measured(sandbox: &Sandbox, args: &[&str]) -> Value {
    let said = sandbox.run(&[&["discharge", "--json", "log.csv"], args].concat());
    assert_eq!(said.code, 0, "{said:?}");
    serde_json::from_str(&said.out).unwrap()
}

fn write(sandbox: &Sandbox, name: &str, text: &str) {
    std::fs::write(sandbox.path().join(name), text).unwrap();
}

/// The same hour of 0.5 A in our own columns, and as another logger writes it; by hand: 4 V + 1/120 V falls by 1/60 V a minute, so that
/// 3 V comes after 60.5 minutes: 504 1/6 mAh. To the sample after it: 61 minutes, 508 1/3 mAh.
#[test]
fn any_columns_and_units() {
    let sandbox = Sandbox::empty();
    write(&sandbox, "log.csv", &format!("log,time,voltage,current\n{}", rows("a", 0.5, 70)));
    let plain = measured(&sandbox, &["--end", "3000 mV"]);
    let near = |value: &Value, expected: f64, digits: f64| {
        assert!((value.as_f64().unwrap() - expected).abs() < digits, "{value} for {expected}");
    };
    let found = &plain["logs"][0]["discharge"];
    near(&found["capacity_mah"], 500.0 + 25.0 / 6.0, 1e-2);
    near(&found["first_sample_mah"], 500.0 + 25.0 / 3.0, 1e-9);
    near(&found["time_s"], 3630.0, 0.1);
    let sample = measured(&sandbox, &["--end", "3000 mV", "--first-sample"]);
    near(&sample["logs"][0]["discharge"]["capacity_mah"], 500.0 + 25.0 / 3.0, 1e-9);

    let mut other = "made by a logger\n\nMode;I/mA;U/mV;T/F;Clock\n".to_owned();
    for minute in 0..=70_u32 {
        let _infallible = writeln!(
            other,
            "DIS;-500,0;{:.2};77,0;{}:{:02}:00,0",
            4000.0 - (f64::from(minute) - 0.5) / 0.06,
            minute / 60,
            minute % 60
        );
    }
    write(&sandbox, "log.csv", &other.replace("00.", "00,").replace('.', ","));
    let map = "delimiter = ';'\ndecimal = ','\nheading_line = 2\ndischarge = 'negative'\n[columns]\ntime = 'clock'\n\
        voltage = 'u/mv'\ncurrent = 'I/mA'\ntemperature = 'T/F'\n[units]\ntime = 'clock'\nvoltage = 'mV'\ncurrent = 'mA'\n\
        temperature = 'F'\n";
    write(&sandbox, "map.toml", map);
    let theirs = measured(&sandbox, &["--end", "3000 mV", "--map", "map.toml"]);
    let there = &theirs["logs"][0]["discharge"];
    near(&there["capacity_mah"], found["capacity_mah"].as_f64().unwrap(), 1e-2);
    near(&there["temperature_c"], 25.0, 1e-9);
    assert_eq!(theirs["unread_columns"][0], "Mode");
}

/// Two channels that a logger writes row by row in turn are two logs.
#[test]
fn logs_may_take_turns() {
    let sandbox = Sandbox::empty();
    let (one, two) = (rows("a", 0.5, 70), rows("b", 1.0, 70));
    let mixed: Vec<&str> = one.lines().zip(two.lines()).flat_map(|(a, b)| [a, b]).collect();
    write(&sandbox, "log.csv", &format!("slot,time,voltage,current\n{}\n", mixed.join("\n")));
    let found = measured(&sandbox, &["--end", "3000 mV"]);
    let figure = |log: usize| found["logs"][log]["discharge"]["first_sample_mah"].as_f64().unwrap();
    assert!((figure(0) - 508.333).abs() < 1e-3 && (figure(1) - 1016.667).abs() < 1e-3, "{found}");
    assert_eq!((&found["logs"][1]["slot"], &found["logs"][1]["line"]), (&Value::from("b"), &Value::from(3)));
}

#[test]
fn what_is_wrong_is_said_with_its_line() {
    let sandbox = Sandbox::empty();
    let good = rows("a", 0.5, 70);
    let broken = |name: &str, line: usize, change: &dyn Fn(&str) -> String| {
        let mut lines: Vec<String> = good.lines().map(|row| row.replace("a,", &format!("{name},"))).collect();
        lines[line] = change(&lines[line]);
        lines.join("\n")
    };
    let text = [
        "log,time,voltage,current".to_owned(),
        broken("back", 30, &|row| row.replace("1800", "1200")),
        broken("word", 20, &|row| row.replace("0.5", "half")),
        broken("charge", 10, &|row| row.replace("0.5", "-0.5")),
        broken("short", 5, &|row| row.rsplit_once(',').unwrap().0.to_owned()),
        good.lines().take(60).map(|row| row.replace("a,", "early,")).collect::<Vec<_>>().join("\n"),
        good.lines()
            .filter(|row| !row.contains(",6") || row.contains(",60"))
            .map(|row| row.replace("a,", "fine,"))
            .collect::<Vec<_>>()
            .join("\n"),
    ];
    write(&sandbox, "log.csv", &(text.join("\n") + "\n"));
    let said = sandbox.run(&["discharge", "log.csv", "--end", "3000 mV"]);
    assert_eq!(said.code, 2, "{said:?}");
    for words in [
        "log.csv:32: back: the time goes back by 540 s",
        "log.csv:93: word: current is `half`: expected a number with a decimal point",
        "log.csv:154: charge: the pack is charged with 0.500 A before its end voltage is reached",
        "log.csv:220: short: row is `short,300,3.92500`: expected 4 fields as in the heading, found 3",
        "log.csv:345: early: the log never reaches the end voltage of 3.000 V: 3.025 V is the lowest under load, after 0.4917 Ah",
    ] {
        assert!(said.err.contains(words), "{words}\n{}", said.err);
    }
    assert!(said.out.contains("1 of 6 logs measured"), "{said:?}");
    // Nothing is drawn over a file that is there, and a gap is said.
    let gap: String = good.lines().filter(|row| !row.contains(",12") && !row.contains(",14")).fold(
        String::new(),
        |mut all, row| {
            if !(1000.0..1700.0).contains(&row.split(',').nth(1).unwrap().parse::<f64>().unwrap()) {
                all.push_str(row);
                all.push('\n');
            }
            all
        },
    );
    write(&sandbox, "log.csv", &format!("log,time,voltage,current\n{gap}"));
    let said = sandbox.run(&["discharge", "log.csv", "--end", "3000 mV"]);
    assert!(said.err.contains("pass without a sample, and 300 s are the most"), "{said:?}");
    // A map that makes no sense names the key.
    for (map, words) in [
        ("[units]\ntime = 'parsec'", "parsec"),
        ("longest_gap_s = 0", "`longest_gap_s` is 0"),
        ("[columns]\nvolt = 'U'", "`volt` is no field of logs"),
        ("[columns]\nvoltage = 'U'", "no column `U` (for voltage)"),
    ] {
        write(&sandbox, "map.toml", map);
        let said = sandbox.run(&["discharge", "log.csv", "--map", "map.toml", "--end", "3000 mV"]);
        assert!(said.code == 2 && said.err.contains(words), "{map}: {said:?}");
    }
}

#[test]
fn curves_are_drawn_as_picture_and_paper() {
    let sandbox = Sandbox::empty();
    write(&sandbox, "log.csv", &format!("log,time,voltage,current\n{}", rows("a<1>", 0.5, 70)));
    let draw = |name: &str| sandbox.run(&["discharge", "log.csv", "--end", "3000 mV", "--plot", name]);
    assert_eq!(draw("curve.svg").code, 0);
    let svg = std::fs::read_to_string(sandbox.path().join("curve.svg")).unwrap();
    assert!(svg.contains("end voltage 3 V") && svg.contains("a&lt;1&gt;: 504 mAh"), "{svg}");
    assert_eq!(draw("curve.pdf").code, 0);
    let text = Command::new("pdftotext")
        .args(["-layout", "curve.pdf", "-"])
        .current_dir(sandbox.path())
        .output()
        .unwrap();
    let text = String::from_utf8(text.stdout).unwrap();
    assert!(text.contains("504.2") && text.contains("508.3") && text.contains("end voltage 3 V"), "{text}");
    let said = draw("curve.svg");
    assert!(said.code == 2 && said.err.contains("exists already"), "{said:?}");
    let said = draw("curve.png");
    assert!(said.code == 2 && said.err.contains("neither in .svg nor in .pdf"), "{said:?}");
}

/// The end voltage is that of the pack's make; a log of a pack in a slot settles its run; what cannot be is not entered.
#[test]
fn logs_are_entered_as_readings() {
    let sandbox = Sandbox::started();
    let (pack, other, slot) =
        (sandbox.tag(TagKind::Pack), sandbox.tag(TagKind::Pack), sandbox.tag(TagKind::Slot));
    let (pack, other, slot) = (pack.to_string(), other.to_string(), slot.to_string());
    for pack in [&pack, &other] {
        let player = sandbox.tag(TagKind::Player).to_string();
        let said = sandbox.session(&["intake"], &[&player, pack]);
        assert_eq!(said.code, 0, "{said:?}");
    }
    assert_eq!(sandbox.session(&["bench"], &[&slot, &pack]).code, 0);
    // Three cells of NiMH: 3 V.
    let log = rows(&pack, 0.8, 70);
    write(&sandbox, "log.csv", &format!("pack,time,voltage,current\n{log}{}", rows("nobody", 0.8, 70)));
    let said = sandbox.run(&["discharge", "log.csv", "--enter"]);
    assert_eq!(said.code, 2, "{said:?}");
    assert!(
        said.err.contains(
            "log.csv:73: log is `nobody`: expected a whole discharge: nothing is known by `nobody`"
        ),
        "{said:?}"
    );
    assert!(said.out.contains("written   nothing"), "{said:?}");
    let held = sandbox.run(&["show", &slot]).out;
    let said = sandbox.run(&["discharge", "log.csv", "--enter", "--keep-good"]);
    assert!(said.out.contains("written   1 reading of 1 pack, 1 run settled"), "{said:?}");
    assert_ne!(held, sandbox.run(&["show", &slot]).out);
    let shown = sandbox.run(&["show", &pack]).out;
    assert!(shown.contains("807 mAh"), "{shown}");
    // The same again at a stated time is another reading; one before the pack came is refused whole.
    let said = sandbox.run(&["discharge", "log.csv", "--enter", "--keep-good", "--at", "2027-01-01 12:00"]);
    assert!(
        said.err.contains("log.csv:2: at is `2027-01-01 12:00:00`: expected a time not after now"),
        "{said:?}"
    );
    // Dates in the log itself: it ended when it says.
    let mut dated = "pack,time,voltage,current\n".to_owned();
    for minute in 0..=70_u32 {
        let (hour, rest) = (5 + minute / 60, minute % 60);
        let volts = 4.0 - (f64::from(minute) - 0.5) / 60.0;
        let _infallible = writeln!(dated, "{other},2026-11-01 {hour:02}:{rest:02}:00,{volts},0.8");
    }
    write(&sandbox, "log.csv", &dated);
    write(&sandbox, "map.toml", "[units]\ntime = 'date'");
    let said = sandbox.run(&["discharge", "log.csv", "--map", "map.toml", "--json"]);
    let answer: Value = serde_json::from_str(&said.out).unwrap();
    assert_eq!(
        answer["logs"][0]["discharge"]["ended"].as_str().unwrap().get(..16),
        Some("2026-11-01T06:00"),
        "{answer}"
    );
}

/// A row whose fields cannot be told apart may be of any log: none that is open is measured across it, and none is made of it.
#[test]
fn a_broken_row_spoils_every_open_log() {
    let sandbox = Sandbox::empty();
    let (one, two, three) = (rows("a", 0.5, 70), rows("b", 0.5, 70), rows("c", 0.5, 70));
    let mut mixed: Vec<String> =
        one.lines().zip(two.lines()).flat_map(|(a, b)| [a.to_owned(), b.to_owned()]).collect();
    mixed.insert(40, "a,1200,3,675,0,5".to_owned());
    write(&sandbox, "log.csv", &format!("log,time,voltage,current\n{}\n{three}", mixed.join("\n")));
    let said = sandbox.run(&["discharge", "log.csv", "--end", "3000 mV", "--json"]);
    assert_eq!(said.code, 2);
    let answer: Value = serde_json::from_str(&said.out).unwrap();
    let logs = answer["logs"].as_array().unwrap();
    let bad: Vec<bool> = logs.iter().map(|log| log["discharge"].is_null()).collect();
    assert_eq!(bad, [true, true, false], "{answer}");
    assert!(said.err.contains("log.csv:42: a: row is `a,1200,3,675,0,5`"), "{}", said.err);
    // A heading that is beyond the file is no heading.
    write(&sandbox, "map.toml", "heading_line = 9000000000000");
    let said = sandbox.run(&["discharge", "log.csv", "--map", "map.toml", "--end", "3000 mV"]);
    assert!(said.code == 2 && said.err.contains("is empty"), "{said:?}");
}
