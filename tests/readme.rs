//! The README as it stands: its commands run, in order, in an empty folder.

use std::fs;
use std::path::Path;
use std::process::Command;

const BINARY: &str = env!("CARGO_BIN_EXE_packmuster");

/// The shell blocks of the README, in order.
fn blocks() -> Vec<String> {
    let readme = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).unwrap();
    readme.split("```sh\n").skip(1).map(|rest| rest.split("```").next().unwrap().to_owned()).collect()
}

#[test]
fn the_first_day_runs_as_written() {
    let folder = tempfile::tempdir().unwrap();
    let path =
        format!("{}:{}", Path::new(BINARY).parent().unwrap().display(), std::env::var("PATH").unwrap());
    let blocks = blocks();
    assert!(blocks.len() >= 7, "the README lost its blocks");
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
    for expected in [
        "MEASURE P7K3-Q9M2-DXWT-8",
        "FIT P7K3-Q9M2-DXWT-8",
        "37 h",
        "taken back",
        "-> bench queue",
        "sound: ",
    ] {
        assert!(said.contains(expected), "`{expected}` is missing from\n{said}");
    }
    for file in ["packs.pdf", "players.pdf", "rulers.pdf", "card.pdf", "review.pdf", "skerrow-backup.db"] {
        assert!(folder.path().join(file).metadata().unwrap().len() > 1000, "{file}");
    }
}
