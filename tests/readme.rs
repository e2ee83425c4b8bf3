//! The README as it stands: its commands run, in order, in an empty folder.

use std::fs;
use std::path::Path;
use std::process::Command;

const BINARY: &str = env!("CARGO_BIN_EXE_packmuster");

/// The shell blocks of a section of the README, in order.
fn blocks(heading: &str) -> Vec<String> {
    let readme = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).unwrap();
    let section = readme.split(&format!("\n## {heading}\n")).nth(1).unwrap();
    let section = section.split("\n## ").next().unwrap();
    section.split("```sh\n").skip(1).map(|rest| rest.split("```").next().unwrap().to_owned()).collect()
}

/// Runs the blocks of a section in an empty folder, and checks what they say and make.
fn runs(heading: &str, least: usize, says: &[&str], makes: &[&str]) {
    let folder = tempfile::tempdir().unwrap();
    let path =
        format!("{}:{}", Path::new(BINARY).parent().unwrap().display(), std::env::var("PATH").unwrap());
    let blocks = blocks(heading);
    assert!(blocks.len() >= least, "the README lost its blocks");
    let mut said = String::new();
    for block in blocks {
        let run = Command::new("bash")
            .args(["-euc", &block])
            .current_dir(folder.path())
            .env_clear()
            .env("PATH", &path)
            .output()
            .unwrap();
        said.push_str(&String::from_utf8_lossy(&run.stdout));
        assert!(run.status.success(), "{block}\n{}{}", said, String::from_utf8_lossy(&run.stderr));
    }
    for expected in says {
        assert!(said.contains(expected), "`{expected}` is missing from\n{said}");
    }
    for file in makes {
        assert!(folder.path().join(file).metadata().unwrap().len() > 1000, "{file}");
    }
}

#[test]
fn the_first_day_runs_as_written() {
    runs(
        "A first day",
        7,
        &[
            "MEASURE P7K3-Q9M2-DXWT-8",
            "FIT P7K3-Q9M2-DXWT-8",
            "37 h",
            "taken back",
            "-> bench queue",
            "sound: ",
        ],
        &["packs.pdf", "players.pdf", "rulers.pdf", "card.pdf", "review.pdf", "skerrow-backup.db"],
    );
}

/// Nothing is known of the packs at first, and every screen says so.
#[test]
fn the_first_week_runs_as_written() {
    runs(
        "Your first week",
        6,
        &[
            "taken in alone",
            "TO MEASURE, longest waiting first: 2",
            "made         unknown",
            "earlier ones unknown",
            "goes out with player DB4E-1HWQ-7ZK0-E",
        ],
        &["packs.pdf", "players.pdf", "slots.pdf", "card.pdf", "library-friday.db"],
    );
}
