//! How many tags are read from hard pictures, what that costs, and whether anything brings the reader down.
//!
//! - `cargo bench --bench pictures` draws a small set and reads it
//! - `cargo bench --bench pictures -- draw FOLDER SEED SINGLES TRAYS` writes a set with its `truth.json`: so many pictures of each
//!   kind, for this reader and for others (`tests/compare` runs both)
//! - `cargo bench --bench pictures -- read FOLDER...` reads such sets
//! - `cargo bench --bench pictures -- texts TAGS SEED` reads easy and hard trays until so many tags were drawn, and counts wrong texts
//! - `cargo bench --bench pictures -- fuzz SECONDS SEED` reads arbitrary bytes and pixels

mod photos;

use std::path::Path;

use photos::scene::{self, SINGLES, TRAYS};
use photos::table::Table;
use photos::truth::{self, Shot};
use photos::{fuzz, scene::Trouble};
use rand::SeedableRng;
use rand_chacha::ChaCha12Rng;

type Outcome<T> = Result<T, Box<dyn std::error::Error>>;

/// What is done with a picture: its kind, its bytes, and the texts in it.
type Taker<'a> = dyn FnMut(&str, Vec<u8>, Vec<String>) -> Outcome<()> + 'a;

/// The trays that are drawn: columns and rows.
const SIZES: [(u32, u32); 3] = [(3, 2), (4, 3), (6, 5)];

fn main() -> Outcome<()> {
    let words: Vec<String> = std::env::args().skip(1).filter(|word| !word.starts_with('-')).collect();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    match words[..] {
        [] => {
            let mut table = Table::default();
            set(1, 4, 1, &mut |kind, bytes, texts| table.take(kind, &bytes, &texts))?;
            table.all_whole("easy")?;
            table.print()?;
            fuzz::run(10.0, 1)
        }
        ["draw", folder, seed, singles, trays] => {
            let mut writer = truth::Writer::new(Path::new(folder))?;
            set(seed.parse()?, singles.parse()?, trays.parse()?, &mut |kind, bytes, texts| {
                writer.add(kind, &bytes, texts)
            })?;
            writer.finish()
        }
        ["read", ref folders @ ..] => {
            let mut table = Table::default();
            for folder in folders {
                for Shot { file, kind, texts } in truth::read(Path::new(folder))? {
                    let bytes = std::fs::read(&file)?;
                    table
                        .take(&kind, &bytes, &texts)
                        .map_err(|error| format!("{}: {error}", file.display()))?;
                }
            }
            table.print()
        }
        ["texts", tags, seed] => wrong_texts(tags.parse()?, seed.parse()?),
        ["fuzz", seconds, seed] => fuzz::run(seconds.parse()?, seed.parse()?),
        // The size of the other benchmark's fleet.
        [number] if number.parse::<u64>().is_ok() => Ok(()),
        _ => Err("see the head of tests/bench/pictures.rs for what can be asked".into()),
    }
}

/// Draws a set: so many pictures of each kind.
fn set(seed: u64, singles: u32, trays: u32, take: &mut Taker<'_>) -> Outcome<()> {
    let mut random = ChaCha12Rng::seed_from_u64(seed);
    let mut empty = ChaCha12Rng::seed_from_u64(seed);
    for kind in scene::EMPTY {
        for _ in 0..singles.div_ceil(4) {
            take(&format!("none, {kind}"), scene::empty(kind, &mut empty)?, Vec::new())?;
        }
    }
    let mut draw = |name: &str, size: (u32, u32), trouble: &Trouble| {
        let (bytes, texts) = scene::picture(size, trouble, &mut random)?;
        take(name, bytes, texts)
    };
    for trouble in &SINGLES {
        for _ in 0..singles {
            draw(&format!("one, {}", trouble.name), (1, 1), trouble)?;
        }
    }
    for size in SIZES {
        for trouble in &TRAYS {
            for _ in 0..trays {
                draw(&format!("tray of {:2}, {}", size.0 * size.1, trouble.name), size, trouble)?;
            }
        }
    }
    Ok(())
}

/// Reads trays of thirty until so many tags were drawn.
fn wrong_texts(tags: usize, seed: u64) -> Outcome<()> {
    let mut random = ChaCha12Rng::seed_from_u64(seed);
    let mut table = Table::default();
    for trouble in TRAYS.iter().cycle() {
        if table.texts() >= tags {
            break;
        }
        let (bytes, texts) = scene::picture((6, 5), trouble, &mut random)?;
        table.take(trouble.name, &bytes, &texts)?;
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
