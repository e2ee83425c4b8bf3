//! A folder of pictures with a list of what is in each.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::Outcome;

/// The name of the list.
const LIST: &str = "truth.json";

/// One picture, and what is in it.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(crate) struct Shot {
    /// The file, beside the list.
    pub(crate) file: PathBuf,
    /// What kind of picture it is.
    pub(crate) kind: String,
    /// The texts in it.
    pub(crate) texts: Vec<String>,
}

/// The pictures of a folder.
pub(crate) fn read(folder: &Path) -> Outcome<Vec<Shot>> {
    let list = folder.join(LIST);
    let text = std::fs::read_to_string(&list).map_err(|error| format!("{}: {error}", list.display()))?;
    let mut shots: Vec<Shot> = serde_json::from_str(&text)?;
    for shot in &mut shots {
        shot.file = folder.join(&shot.file);
    }
    Ok(shots)
}

/// Writes a folder of pictures with its list.
pub(crate) struct Writer {
    folder: PathBuf,
    shots: Vec<Shot>,
}

impl Writer {
    /// Makes the folder.
    pub(crate) fn new(folder: &Path) -> Outcome<Self> {
        std::fs::create_dir_all(folder)?;
        Ok(Self { folder: folder.to_owned(), shots: Vec::new() })
    }

    /// Adds a picture.
    pub(crate) fn add(&mut self, kind: &str, bytes: &[u8], texts: Vec<String>) -> Outcome<()> {
        let file = PathBuf::from(format!("{:05}.jpg", self.shots.len()));
        std::fs::write(self.folder.join(&file), bytes)?;
        self.shots.push(Shot { file, kind: kind.to_owned(), texts });
        Ok(())
    }

    /// Writes the list.
    pub(crate) fn finish(self) -> Outcome<()> {
        std::fs::write(self.folder.join(LIST), serde_json::to_string(&self.shots)?)?;
        Ok(())
    }
}
