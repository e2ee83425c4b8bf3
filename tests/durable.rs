//! What was acknowledged is on disk, and no act is half written.

use std::collections::HashMap;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::Duration;

use packmuster::domain::tag::{Tag, TagKind};

use crate::sandbox::Sandbox;

fn receiving(sandbox: &Sandbox) -> Child {
    sandbox
        .command()
        .args(["receive", "--lot", "L", "--json"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

/// Entries by act, and the codes that are bound.
fn entries(sandbox: &Sandbox) -> (HashMap<String, Vec<String>>, Vec<String>) {
    let said = sandbox.run(&["ledger", "export"]);
    assert_eq!(said.code, 0, "{said:?}");
    let mut acts: HashMap<String, Vec<String>> = HashMap::new();
    let mut codes = Vec::new();
    for line in said.out.lines() {
        let entry: serde_json::Value = serde_json::from_str(line).unwrap();
        acts.entry(entry["act"].as_str().unwrap().to_owned())
            .or_default()
            .push(entry["kind"].as_str().unwrap().to_owned());
        if entry["kind"] == "bind" {
            codes.push(entry["body"]["code"].as_str().unwrap().to_owned());
        }
    }
    (acts, codes)
}

/// 60 sessions are killed with SIGKILL: half of them while a scan is on its way, half right after an acknowledgement.
#[test]
fn no_kill_loses_an_acknowledged_scan_or_leaves_half_an_act() {
    let sandbox = Sandbox::started();
    let mut acknowledged: Vec<Tag> = Vec::new();
    let mut in_flight = 0;
    for round in 0_u64..60 {
        let mut child = receiving(&sandbox);
        let mut input = child.stdin.take().unwrap();
        let mut answers = BufReader::new(child.stdout.take().unwrap()).lines();
        answers.next().unwrap().unwrap(); // the lot
        for _ in 0..round % 4 {
            let tag = sandbox.tag(TagKind::Pack);
            writeln!(input, "{tag}").unwrap();
            let answer: serde_json::Value = serde_json::from_str(&answers.next().unwrap().unwrap()).unwrap();
            assert_eq!(answer["outcome"], "yes", "{answer}");
            acknowledged.push(tag);
        }
        if round % 2 == 0 {
            // The scan has arrived, and its answer has not: kill somewhere between, from 0 to about 6 ms on.
            writeln!(input, "{}", sandbox.tag(TagKind::Pack)).unwrap();
            input.flush().unwrap();
            sleep(Duration::from_micros(round * 100));
            in_flight += 1;
        }
        child.kill().unwrap();
        child.wait().unwrap();
    }
    assert_eq!(in_flight, 30);
    sandbox.is_sound();
    let (acts, codes) = entries(&sandbox);
    for tag in &acknowledged {
        assert!(codes.iter().any(|code| code == tag.text()), "{tag} was acknowledged and is gone");
    }
    let mut received = 0;
    for kinds in acts.values().filter(|kinds| kinds.iter().any(|kind| kind == "pack" || kind == "bind")) {
        assert_eq!(*kinds, ["pack", "bind", "verdict"], "half an act");
        received += 1;
    }
    assert!(received >= acknowledged.len() && received <= acknowledged.len() + in_flight, "{received} acts");
}

/// Traces the binary: for every answer, the log was synced after its last write and before the answer was written.
#[test]
fn the_log_is_synced_before_each_answer() {
    let sandbox = Sandbox::started();
    let trace = sandbox.path().join("trace");
    let lines: Vec<String> = (0..12).map(|_| sandbox.tag(TagKind::Pack).to_string()).collect();
    let plain = sandbox.command();
    let mut traced = Command::new("strace");
    traced
        .args(["-f", "-y", "-s", "300", "-e", "trace=write,pwrite64,pwritev,writev,fsync,fdatasync", "-o"])
        .arg(&trace);
    traced
        .arg(plain.get_program())
        .args(["receive", "--lot", "L", "--json"])
        .env_clear()
        .current_dir(sandbox.path());
    traced.env("PATH", std::env::var("PATH").unwrap()).env("PACKMUSTER_CLOCK", "2026-11-20T08:00:00Z");
    traced.stdin(Stdio::piped()).stdout(Stdio::piped());
    let mut child = traced.spawn().expect("strace is needed: tests/run installs it");
    let mut input = child.stdin.take().unwrap();
    for line in &lines {
        writeln!(input, "{line}").unwrap();
    }
    drop(input);
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success());
    let answers = check_trace(&trace);
    assert_eq!(answers, lines.len() + 1, "one for the lot, one for each scan");
}

/// Walks the trace; returns how many answers were written.
fn check_trace(trace: &Path) -> usize {
    let text = std::fs::read_to_string(trace).unwrap();
    let (mut dirty, mut synced, mut answers) = (false, 0, 0);
    for line in text.lines() {
        let log = line.contains("-wal>");
        if log && (line.contains("write") || line.contains("pwrite")) {
            dirty = true;
        } else if log && line.contains("sync(") {
            assert!(line.ends_with("= 0"), "{line}");
            dirty = false;
            synced += 1;
        } else if line.contains("write(1<") && line.contains("outcome") {
            assert!(!dirty, "an answer before the sync: {line}");
            answers += 1;
            assert!(synced >= answers, "an answer without a sync of its own: {line}");
        }
    }
    answers
}

#[test]
fn two_desks_write_at_once_and_nothing_is_lost() {
    let sandbox = Sandbox::started();
    let tags: Vec<Vec<String>> =
        (0..2).map(|_| (0..60).map(|_| sandbox.tag(TagKind::Pack).to_string()).collect()).collect();
    let mut desks = Vec::new();
    for (desk, tags) in tags.iter().enumerate() {
        let mut child = sandbox
            .command()
            .args(["receive", "--lot", &format!("L{desk}"), "--desk", &format!("desk {desk}")])
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        child.stdin.take().unwrap().write_all(tags.join("\n").as_bytes()).unwrap();
        desks.push(child);
    }
    for mut desk in desks {
        assert!(desk.wait().unwrap().success());
    }
    sandbox.is_sound();
    let (acts, codes) = entries(&sandbox);
    assert_eq!(acts.values().filter(|kinds| kinds.contains(&"pack".to_owned())).count(), 120);
    for tag in tags.concat() {
        let text = tag.parse::<Tag>().unwrap().text().to_owned();
        assert!(codes.contains(&text), "{tag}");
    }
}

#[test]
fn a_backup_is_taken_while_in_use_and_a_restored_copy_goes_on_in_a_chain_of_its_own() {
    let sandbox = Sandbox::started();
    let mut child = receiving(&sandbox);
    let mut input = child.stdin.take().unwrap();
    let mut answers = BufReader::new(child.stdout.take().unwrap()).lines();
    answers.next().unwrap().unwrap();
    for _ in 0..5 {
        writeln!(input, "{}", sandbox.tag(TagKind::Pack)).unwrap();
        answers.next().unwrap().unwrap();
    }
    let said = sandbox.run(&["ledger", "backup", "copy.bak"]);
    assert_eq!(said.code, 0, "{said:?}");
    writeln!(input, "{}", sandbox.tag(TagKind::Pack)).unwrap();
    answers.next().unwrap().unwrap();
    drop(input);
    child.wait().unwrap();
    assert_eq!(sandbox.run(&["ledger", "backup", "copy.bak"]).code, 2, "nothing is overwritten");

    let said = sandbox.run(&["ledger", "restore", "copy.bak", "second.muster"]);
    assert_eq!(said.code, 0, "{said:?}");
    let export = sandbox.run(&["--ledger", "second.muster", "ledger", "export"]);
    let entries: Vec<serde_json::Value> =
        export.out.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let opened: Vec<&serde_json::Value> = entries.iter().filter(|entry| entry["kind"] == "writer").collect();
    assert_eq!(opened.len(), 2);
    let successor = opened.iter().find(|entry| !entry["body"]["restored"].is_null()).unwrap();
    assert_eq!(successor["number"], 1, "the first entry of the new chain names the old head");
    let head = entries
        .iter()
        .filter(|entry| entry["writer"] != successor["writer"])
        .max_by_key(|entry| entry["number"].as_u64().unwrap());
    assert_eq!(successor["body"]["restored"]["hash"], head.unwrap()["hash"]);
    // Both go on, each in its own chain.
    for ledger in ["fleet.muster", "second.muster"] {
        let tag = sandbox.tag(TagKind::Pack).to_string();
        let said = sandbox.run(&["--ledger", ledger, "receive", "--lot", "L", &tag]);
        assert_eq!(said.code, 0, "{said:?}");
        assert_eq!(sandbox.run(&["--ledger", ledger, "ledger", "check"]).code, 0);
    }
    // What was half made is not left behind.
    let said = sandbox.run(&["ledger", "restore", "no-such-file", "third.muster"]);
    assert_eq!(said.code, 2);
    assert!(!sandbox.path().join("third.muster").exists());
}

/// A scan leaves the log behind instead of copying it back; many of them must not let it grow for ever.
#[test]
fn many_single_scans_leave_a_short_log() {
    let sandbox = Sandbox::started();
    let (player, pack) = (sandbox.tag(TagKind::Player), sandbox.tag(TagKind::Pack));
    assert_eq!(sandbox.run(&["intake", player.text(), pack.text()]).code, 0);
    let mut longest = 0;
    for _ in 0..60 {
        assert_eq!(sandbox.run(&["bench", pack.text(), "charged"]).code, 0);
        let log = std::fs::metadata(sandbox.path().join("fleet.muster-wal")).map_or(0, |log| log.len());
        longest = longest.max(log);
    }
    assert!(longest > 0 && longest < 600_000, "{longest} bytes");
    sandbox.is_sound();
}
