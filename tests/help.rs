//! Help, completions and man pages.

use std::process::Command;

fn packmuster(args: &[&str]) -> (i32, String) {
    let run = Command::new(env!("CARGO_BIN_EXE_packmuster"))
        .args(args)
        .env_clear()
        .env("COLUMNS", "80")
        .current_dir(std::env::temp_dir())
        .output()
        .unwrap();
    (run.status.code().unwrap(), String::from_utf8(run.stdout).unwrap())
}

/// Every command and subcommand, as the words that name it.
fn every_command() -> Vec<Vec<String>> {
    fn walk(command: &clap::Command, path: &[String], all: &mut Vec<Vec<String>>) {
        for sub in command.get_subcommands().filter(|sub| sub.get_name() != "help") {
            let mut path = path.to_vec();
            path.push(sub.get_name().to_owned());
            walk(sub, &path, all);
            all.push(path);
        }
    }
    let mut all = Vec::new();
    walk(&packmuster::cli::definition(), &[], &mut all);
    all
}

#[test]
fn the_help_of_every_command_has_an_example_that_fits_the_width() {
    let commands = every_command();
    assert!(commands.len() > 30, "only {} commands", commands.len());
    let mut long = Vec::new();
    for path in commands {
        let mut args: Vec<&str> = path.iter().map(String::as_str).collect();
        args.push("--help");
        let (code, help) = packmuster(&args);
        assert_eq!(code, 0, "{path:?}");
        let example =
            help.lines().find(|line| line.starts_with("Example: packmuster ")).unwrap_or_else(|| {
                panic!("no example in the help of {path:?}\n{help}");
            });
        assert!(example.contains(&path[0]), "{path:?}: {example}");
        long.extend(
            help.lines().filter(|line| line.chars().count() > 80).map(|line| format!("{path:?}: {line}")),
        );
    }
    assert!(long.is_empty(), "{}", long.join("\n"));
}

#[test]
fn completions_and_man_pages_are_generated_from_the_same_definition() {
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let (code, text) = packmuster(&["completions", shell]);
        assert_eq!(code, 0);
        assert!(text.contains("dispatch") && text.contains("review"), "{shell}");
    }
    let folder = tempfile::tempdir().unwrap();
    let (code, _) = packmuster(&["man", &folder.path().display().to_string()]);
    assert_eq!(code, 0);
    let page = std::fs::read_to_string(folder.path().join("packmuster-dispatch.1")).unwrap();
    assert!(page.contains("OVERRULE") && page.contains(".TH"));
}

#[test]
fn bad_usage_is_exit_code_2_with_a_way_on() {
    for args in [vec!["dispatch", "--for", "soon"], vec!["no-such-command"], vec!["review", "2026-13"]] {
        assert_eq!(packmuster(&args).0, 2, "{args:?}");
    }
}
