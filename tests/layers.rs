//! The house: inner layers know nothing of outer ones.

use std::fs;
use std::path::{Path, PathBuf};

const OUTWARD: [&str; 10] =
    ["domain", "policy", "stats", "ledger", "scan", "exchange", "app", "print", "demo", "cli"];

fn sources(folder: &Path, all: &mut Vec<PathBuf>) {
    for item in fs::read_dir(folder).unwrap() {
        let path = item.unwrap().path();
        if path.is_dir() {
            sources(&path, all);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            all.push(path);
        }
    }
}

/// Source lines of a layer that are neither comments nor tests, with where they stand.
fn code(layer: &str) -> Vec<(String, String)> {
    let mut files = Vec::new();
    sources(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src").join(layer), &mut files);
    assert!(!files.is_empty(), "{layer}");
    let mut lines = Vec::new();
    for file in files {
        let text = fs::read_to_string(&file).unwrap();
        let text = text.split("#[cfg(test)]").next().unwrap().to_owned();
        for (number, line) in text.lines().enumerate() {
            if !line.trim_start().starts_with("//") {
                lines.push((format!("{}:{}", file.display(), number + 1), line.to_owned()));
            }
        }
    }
    lines
}

fn never(layer: &str, words: &[&str]) {
    for (place, line) in code(layer) {
        for word in words {
            assert!(!line.contains(word), "{place}: {layer} names {word}: {line}");
        }
    }
}

#[test]
fn the_inner_layers_name_no_machinery() {
    let machinery = [
        "rusqlite", "clap", "axum", "printpdf", "image::", "rqrr", "std::fs", "std::env", "std::io", "tokio",
    ];
    never("domain", &machinery);
    never("policy", &machinery);
    never("stats", &machinery);
    never("stats", &["crate::domain", "crate::policy"]);
}

#[test]
fn no_layer_names_an_outer_one() {
    for (place, layer) in OUTWARD.iter().enumerate() {
        let outer: Vec<String> =
            OUTWARD.iter().skip(place + 1).map(|outer| format!("crate::{outer}")).collect();
        let adapters = ["ledger", "scan", "exchange"];
        let own: Vec<&str> = outer.iter().map(String::as_str).collect();
        never(layer, &own);
        if adapters.contains(layer) {
            let siblings: Vec<String> = adapters
                .iter()
                .filter(|sibling| *sibling != layer)
                .map(|sibling| format!("crate::{sibling}"))
                .collect();
            never(layer, &siblings.iter().map(String::as_str).collect::<Vec<_>>());
        }
    }
}

#[test]
fn the_terminal_is_named_only_at_the_edge() {
    for layer in ["domain", "policy", "stats", "ledger", "scan", "exchange", "app", "print", "demo"] {
        never(layer, &["std::io::stdout", "std::io::stderr", "std::io::stdin", "println!", "std::env::"]);
    }
}
