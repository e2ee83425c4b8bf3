//! The door: a picture in, the texts of its symbols out.
//!
//! Coordinates are pixels of the upright picture (a camera's orientation mark is honoured), from its upper left corner.
//! A picture in which nothing is found is no error: `found` is then empty, and `unread` says where a symbol was seen
//! that could not be read.

use std::fmt::{self, Write as _};
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;
use std::time::Duration;

use image::{GrayImage, RgbImage};
use serde::Serialize;
use sha2::{Digest, Sha256};
use thiserror::Error;

use super::fence::Deadline;
use super::{advice, kernel, load, stage};

/// How much one picture may cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// The most pixels a picture may have; checked from its header, before room is made for it.
    pub pixels: u64,
    /// The time for the search, after the picture has been decoded. When it is over, what was found so far is given.
    pub budget: Duration,
    /// What is asked for: the search ends once it is found.
    pub want: Want,
}

/// What is asked of a picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Want {
    /// Any one symbol.
    First,
    /// All that the picture seems to hold.
    All,
}

impl Default for Limits {
    /// 64 megapixels and four seconds.
    fn default() -> Self {
        Self { pixels: 64_000_000, budget: Duration::from_secs(4), want: Want::All }
    }
}

impl Limits {
    /// The longest file that is taken in, bytes: an uncompressed picture of the most pixels, and some room for marks.
    fn bytes(&self) -> u64 {
        self.pixels.saturating_mul(4).saturating_add(1 << 20)
    }
}

/// A place in the upright picture, pixels from its upper left corner; may lie a little outside.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Point {
    /// To the right.
    pub x: f32,
    /// Downwards.
    pub y: f32,
}

impl Point {
    /// The distance to another point, pixels.
    pub fn distance(self, other: Self) -> f32 {
        (self.x - other.x).hypot(self.y - other.y)
    }
}

/// In which view of the picture a symbol was read; the later ones are dearer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// As it is.
    Natural,
    /// Made smaller.
    Smaller,
    /// With steeper edges.
    Sharpened,
    /// Twice as large.
    Doubled,
    /// By one or two finder patterns: the others are hidden, or turned away, and were looked for beside them.
    Pairs,
    /// By the decoder library's own search.
    Library,
}

/// How much of a symbol had to be corrected: near the capacity it was read only just.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Correction {
    /// Codewords that were wrong.
    pub corrected: u32,
    /// Codewords that could have been wrong.
    pub capacity: u32,
}

/// A symbol that was read.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Found {
    /// What stands in it, as it stands there; never empty. Not necessarily a tag of ours.
    pub text: String,
    /// Its corners, clockwise from its own upper left one.
    pub corners: [Point; 4],
    /// Where it was read first.
    pub stage: Stage,
    /// How much was corrected; `None` for symbols larger than version 5, or packed in an unusual way.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub correction: Option<Correction>,
}

/// A symbol that was seen but could not be read.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Unread {
    /// Where it seems to lie, clockwise from its own upper left corner.
    pub corners: [Point; 4],
    /// How many modules a side it seems to have.
    pub modules: u8,
    /// What is wrong there, as measured; empty when nothing stands out.
    pub advice: Vec<Advice>,
}

/// What keeps a symbol from being read.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case", tag = "what")]
pub enum Advice {
    /// It has too few pixels.
    Small {
        /// Pixels a module, the shorter way across.
        pixels_a_module: f32,
    },
    /// The lightest of it is dark.
    Dark,
    /// Its edges are spread over more than a module.
    Blurred,
    /// A part of it is blown out.
    Glare,
}

impl fmt::Display for Advice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Small { pixels_a_module } => {
                write!(f, "too small ({pixels_a_module} pixels a module): go closer")
            }
            Self::Dark => f.write_str("too dark: more light"),
            Self::Blurred => f.write_str("blurred: hold still, or let the camera focus"),
            Self::Glare => f.write_str("glare on it: tilt the camera or move the lamp"),
        }
    }
}

/// What a picture holds.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Picture {
    /// Pixels from left to right, upright.
    pub width: u32,
    /// Pixels from top to bottom, upright.
    pub height: u32,
    /// The symbols that were read, each place once, in reading order (rows from top to bottom, left to right).
    pub found: Vec<Found>,
    /// The symbols that were seen but not read, in reading order.
    pub unread: Vec<Unread>,
    /// What is wrong with a picture in which nothing was seen, as measured.
    pub advice: Vec<Advice>,
    /// Whether the time was over before everything had been tried.
    pub cut_short: bool,
}

impl Picture {
    /// "27 read, 1 seen but not read: top left (blurred: hold still, or let the camera focus)".
    pub fn summary(&self) -> String {
        let (read, unread) = (self.found.len(), self.unread.len());
        let mut text = format!("{read} read, {unread} seen but not read");
        for (place, unread) in self.unread.iter().enumerate() {
            let before = if place == 0 { ": " } else { ", " };
            let _infallible = write!(text, "{before}{}", self.part(&unread.corners));
            for advice in &unread.advice {
                let _infallible = write!(text, " ({advice})");
            }
        }
        for advice in &self.advice {
            let _infallible = write!(text, "; {advice}");
        }
        if self.found.is_empty() && self.unread.is_empty() && self.advice.is_empty() && !self.cut_short {
            text.push_str("; nothing in it looks like a tag: go closer");
        }
        if self.cut_short {
            text.push_str("; the time was over before all of it was searched");
        }
        text
    }

    /// In which of nine parts of the picture the middle of a symbol lies: "top left".
    pub fn part(&self, corners: &[Point; 4]) -> &'static str {
        let middle = |of: fn(&Point) -> f32| corners.iter().map(of).sum::<f32>() / 4.0;
        let third = |at: f32, whole: u32| {
            let whole = kernel::quotient(whole, 1);
            if at < whole / 3.0 {
                0
            } else if at < whole * 2.0 / 3.0 {
                1
            } else {
                2
            }
        };
        match (third(middle(|p| p.y), self.height), third(middle(|p| p.x), self.width)) {
            (0, 0) => "top left",
            (0, 1) => "top",
            (0, _) => "top right",
            (1, 0) => "left",
            (1, 1) => "middle",
            (1, _) => "right",
            (_, 0) => "bottom left",
            (_, 1) => "bottom",
            _ => "bottom right",
        }
    }
}

/// Why a picture could not be looked at.
#[derive(Debug, Error)]
pub enum PictureError {
    /// The file could not be opened or read.
    #[error("cannot read `{file}`")]
    Io {
        /// The picture's name.
        file: String,
        /// What the system said.
        source: io::Error,
    },
    /// There is nothing in the file.
    #[error("`{file}` is empty")]
    Empty {
        /// The picture's name.
        file: String,
    },
    /// The file is no picture.
    #[error("`{file}` is not a picture")]
    NotAPicture {
        /// The picture's name.
        file: String,
    },
    /// It is a picture of a kind that is not read here.
    #[error("`{file}` is a {kind} file, which cannot be read here")]
    Unsupported {
        /// The picture's name.
        file: String,
        /// The kind, for people.
        kind: String,
    },
    /// The picture ends too early.
    #[error("`{file}` is cut off: its end is missing")]
    Truncated {
        /// The picture's name.
        file: String,
    },
    /// The picture's inside contradicts itself.
    #[error("`{file}` is damaged: {detail}")]
    Damaged {
        /// The picture's name.
        file: String,
        /// What the decoder said.
        detail: String,
    },
    /// The picture has too many pixels.
    #[error("`{file}` is too large: {width} x {height} pixels, the limit is {limit} pixels")]
    TooLarge {
        /// The picture's name.
        file: String,
        /// Pixels from left to right, by its header.
        width: u32,
        /// Pixels from top to bottom, by its header.
        height: u32,
        /// The most pixels.
        limit: u64,
    },
    /// The file is longer than any picture within the limit.
    #[error("`{file}` is too long: the limit is {limit} bytes")]
    TooLong {
        /// The picture's name.
        file: String,
        /// The most bytes.
        limit: u64,
    },
}

impl PictureError {
    /// What to do about it, in a few words.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Io { source, .. } if source.kind() == io::ErrorKind::IsADirectory => {
                "it is a folder: name the pictures in it, or let `intake --watch` take them in"
            }
            Self::Io { .. } => "check the name, and that the file may be read",
            Self::Empty { .. } | Self::Truncated { .. } | Self::Damaged { .. } => {
                "copy it from the camera again, or take it anew"
            }
            Self::NotAPicture { .. } => "send a JPEG, PNG or WebP picture",
            Self::Unsupported { kind, .. } if kind == "HEIC" => {
                "set the phone's camera to \"most compatible\" (JPEG), or share the picture as JPEG, and send that"
            }
            Self::Unsupported { .. } => "send a JPEG instead",
            Self::TooLarge { .. } | Self::TooLong { .. } => "send a smaller picture",
        }
    }
}

/// Reads a picture file.
///
/// # Errors
///
/// When the file cannot be read, or is no whole JPEG, PNG or WebP picture within the limits.
pub fn read(path: &Path, limits: &Limits) -> Result<Picture, PictureError> {
    read_bytes(&bytes_of(path, limits)?, &path.display().to_string(), limits)
}

/// The picture itself, upright and in colour, for a marked copy.
///
/// # Errors
///
/// When the file cannot be read, or is no whole picture within the limits.
pub fn colour(path: &Path, limits: &Limits) -> Result<RgbImage, PictureError> {
    load::upright_colour(&bytes_of(path, limits)?, &path.display().to_string(), limits.pixels)
}

/// The SHA-256 of a picture's bytes, in hex.
///
/// # Errors
///
/// When the file cannot be read, is cut off, or is no picture that can be read here.
pub fn digest(path: &Path, limits: &Limits) -> Result<String, PictureError> {
    let bytes = bytes_of(path, limits)?;
    load::upright_grey(&bytes, &path.display().to_string(), limits.pixels)?;
    let mut text = String::with_capacity(64);
    for byte in Sha256::digest(&bytes) {
        let _infallible = write!(text, "{byte:02x}");
    }
    Ok(text)
}

fn bytes_of(path: &Path, limits: &Limits) -> Result<Vec<u8>, PictureError> {
    let file = || path.display().to_string();
    let fault = |source| PictureError::Io { file: file(), source };
    let mut bytes = Vec::new();
    let limit = limits.bytes();
    File::open(path)
        .and_then(|opened| opened.take(limit.saturating_add(1)).read_to_end(&mut bytes))
        .map_err(fault)?;
    if u64::try_from(bytes.len()).unwrap_or(u64::MAX) > limit {
        return Err(PictureError::TooLong { file: file(), limit });
    }
    Ok(bytes)
}

/// Reads a picture that is already in memory; `name` is what errors call it.
///
/// # Errors
///
/// When it is no whole JPEG, PNG or WebP picture within the limits.
pub fn read_bytes(bytes: &[u8], name: &str, limits: &Limits) -> Result<Picture, PictureError> {
    Ok(read_grey(&load::upright_grey(bytes, name, limits.pixels)?, limits))
}

/// Reads a grey picture that is upright already: a camera's frame.
pub fn read_grey(grey: &GrayImage, limits: &Limits) -> Picture {
    let (width, height) = grey.dimensions();
    let (mut finds, cut_short) = stage::run(grey, limits.want, Deadline::start(limits.budget));
    for unread in &mut finds.unread {
        unread.advice = advice::of_symbol(grey, &unread.corners, unread.modules);
    }
    let nothing = finds.found.is_empty() && finds.unread.is_empty();
    let advice = if nothing { advice::of_picture(grey) } else { Vec::new() };
    Picture { width, height, found: finds.found, unread: finds.unread, advice, cut_short }
}
