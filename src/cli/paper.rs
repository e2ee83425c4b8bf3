//! Paper sizes and writing PDF files.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use super::error::CliError;

/// A paper size.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum Paper {
    /// 210 x 297 mm (ISO 216)
    A4,
    /// 8.5 x 11 inches
    Letter,
}

/// What is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Drawn {
    /// SVG.
    Picture,
    /// PDF.
    Paper,
}

/// What a file is to be, by its ending.
pub(super) fn drawn_as(path: &Path) -> Result<Drawn, CliError> {
    let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default();
    match ending.to_ascii_lowercase().as_str() {
        "svg" => Ok(Drawn::Picture),
        "pdf" => Ok(Drawn::Paper),
        _ => Err(CliError::bad(
            format!("{} ends neither in .svg nor in .pdf", path.display()),
            "name the picture or paper so that its kind is clear",
        )),
    }
}

/// Says so when a file is there already: before anything is entered that the file is to tell of.
pub(super) fn must_be_free(path: &Path) -> Result<(), CliError> {
    if path.exists() {
        return Err(CliError::bad(format!("{} exists already", path.display()), "choose another name"));
    }
    Ok(())
}

/// A file that is written whole, and does not have its name yet; dropped before that, it is gone.
pub(super) struct Staged<'a> {
    path: &'a Path,
    part: Option<PathBuf>,
}

/// Writes a file beside its name. An existing file is not overwritten.
pub(super) fn stage<'a>(path: &'a Path, bytes: &[u8]) -> Result<Staged<'a>, CliError> {
    let error = |error: std::io::Error| CliError::file(path, &error);
    must_be_free(path)?;
    let mut name = path.as_os_str().to_owned();
    name.push(".part");
    let part = PathBuf::from(name);
    let mut file = std::fs::File::create(&part).map_err(error)?;
    let staged = Staged { path, part: Some(part) };
    file.write_all(bytes).map_err(error)?;
    file.sync_all().map_err(error)?;
    Ok(staged)
}

impl Staged<'_> {
    /// Gives it its name.
    pub(super) fn place(mut self) -> Result<(), CliError> {
        match self.part.take() {
            Some(part) => std::fs::rename(part, self.path).map_err(|error| CliError::file(self.path, &error)),
            None => Ok(()),
        }
    }
}

impl Drop for Staged<'_> {
    fn drop(&mut self) {
        if let Some(part) = self.part.take() {
            // Best effort: the error that is being reported is the one that matters.
            let _gone = std::fs::remove_file(part);
        }
    }
}

/// Writes a file whole: a half-written one never has the name. An existing file is not overwritten.
pub(super) fn write(path: &Path, bytes: &[u8]) -> Result<(), CliError> {
    stage(path, bytes)?.place()
}

impl From<Paper> for crate::print::PageSize {
    fn from(paper: Paper) -> Self {
        match paper {
            Paper::A4 => Self::A4,
            Paper::Letter => Self::Letter,
        }
    }
}
