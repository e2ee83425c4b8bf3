//! `packmuster completions` and `packmuster man`.

use std::path::PathBuf;

use super::Exit;
use super::context::Context;
use super::error::CliError;
use super::output;

/// Print completions for a shell
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: packmuster completions bash > ~/.local/share/bash-completion/completions/packmuster"
)]
pub(super) struct Completions {
    /// The shell
    shell: clap_complete::Shell,
}

/// Write the man pages into a folder
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: packmuster man ~/.local/share/man/man1")]
pub(super) struct Man {
    /// The folder; made if it is not there
    folder: PathBuf,
}

pub(super) fn completions(_context: &mut Context, args: &Completions) -> Result<Exit, CliError> {
    let mut bytes = Vec::new();
    clap_complete::generate(args.shell, &mut super::definition(), "packmuster", &mut bytes);
    output::line(String::from_utf8_lossy(&bytes).trim_end())?;
    Ok(Exit::Yes)
}

pub(super) fn man(_context: &mut Context, args: &Man) -> Result<Exit, CliError> {
    let error = |error: std::io::Error| CliError::file(&args.folder, &error);
    std::fs::create_dir_all(&args.folder).map_err(error)?;
    clap_mangen::generate_to(super::definition(), &args.folder).map_err(error)?;
    Ok(Exit::Yes)
}
