//! The packmuster binary: parse, run, exit code.

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::from(packmuster::cli::run())
}
