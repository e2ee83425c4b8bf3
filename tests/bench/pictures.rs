//! How many tags are read from hard pictures, and what that costs.
//!
//! `cargo bench --bench pictures -- FOLDER...` reads the pictures of folders that hold a `truth.json`.

mod photos;

use std::path::Path;

use photos::table::Table;
use photos::truth;

type Outcome<T> = Result<T, Box<dyn std::error::Error>>;

fn main() -> Outcome<()> {
    let mut table = Table::default();
    for folder in std::env::args().skip(1).filter(|argument| !argument.starts_with('-')) {
        for shot in truth::read(Path::new(&folder))? {
            table.take(&shot)?;
        }
    }
    table.print()
}

/// Writes a line at once.
pub(crate) fn say(text: &str) -> Outcome<()> {
    use std::io::Write as _;
    let mut out = std::io::stdout().lock();
    writeln!(out, "{text}")?;
    out.flush()?;
    Ok(())
}
