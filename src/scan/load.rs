//! Bytes of a file -> an upright grey picture.
//!
//! The header is judged before room is made for the pixels. A JPEG without its end mark is refused: the decoder would
//! fill what is missing with grey, and a roll call over half a picture is worse than none.

use std::io::{Cursor, ErrorKind};

use image::metadata::Orientation;
use image::{DynamicImage, GrayImage, ImageDecoder, ImageError, ImageFormat, ImageReader, Limits, RgbImage};

use super::fence;
use super::kernel;
use super::picture::PictureError;

/// Decodes a PNG, JPEG or WebP picture, turned upright, transparent parts as white paper.
///
/// # Errors
///
/// When the bytes are no whole picture of at most `pixels` pixels.
pub(super) fn upright_grey(bytes: &[u8], name: &str, pixels: u64) -> Result<GrayImage, PictureError> {
    let format = format_of(bytes, name)?;
    // The format decoders are foreign code too: a fault there is a damaged picture, not the end of the program.
    let decoded = fence::quietly(|| decode(bytes, name, format, pixels));
    let (image, orientation) = decoded.unwrap_or_else(|| Err(gave_up(name)))?;
    let grey = if image.color().has_alpha() {
        kernel::on_white(&image.into_luma_alpha8())
    } else {
        image.into_luma8()
    };
    let mut upright = DynamicImage::ImageLuma8(grey);
    upright.apply_orientation(orientation);
    Ok(upright.into_luma8())
}

/// Decodes a picture in colour, turned upright, for a marked copy.
///
/// # Errors
///
/// When the bytes are no whole picture of at most `pixels` pixels.
pub(super) fn upright_colour(bytes: &[u8], name: &str, pixels: u64) -> Result<RgbImage, PictureError> {
    let format = format_of(bytes, name)?;
    let decoded = fence::quietly(|| decode(bytes, name, format, pixels));
    let (image, orientation) = decoded.unwrap_or_else(|| Err(gave_up(name)))?;
    let mut upright = DynamicImage::ImageRgb8(image.into_rgb8());
    upright.apply_orientation(orientation);
    Ok(upright.into_rgb8())
}

/// The format of a picture that can be read here.
fn format_of(bytes: &[u8], name: &str) -> Result<ImageFormat, PictureError> {
    let file = || name.to_owned();
    if bytes.is_empty() {
        return Err(PictureError::Empty { file: file() });
    }
    match image::guess_format(bytes).ok() {
        Some(format @ (ImageFormat::Png | ImageFormat::Jpeg | ImageFormat::WebP)) => Ok(format),
        guess => Err(match foreign_kind(bytes, guess) {
            Some(kind) => PictureError::Unsupported { file: file(), kind },
            None => PictureError::NotAPicture { file: file() },
        }),
    }
}

fn gave_up(name: &str) -> PictureError {
    PictureError::Damaged { file: name.to_owned(), detail: "the decoder gave up".to_owned() }
}

/// The pixels as they stand in the file, and how they are to be turned.
fn decode(
    bytes: &[u8],
    name: &str,
    format: ImageFormat,
    pixels: u64,
) -> Result<(DynamicImage, Orientation), PictureError> {
    let fault = |error| explain(error, name);
    let mut limits = Limits::no_limits();
    // Sixteen bits in four channels.
    limits.max_alloc = Some(pixels.saturating_mul(8));
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(fault)?;
    let (width, height) = decoder.dimensions();
    if u64::from(width) * u64::from(height) > pixels {
        return Err(PictureError::TooLarge { file: name.to_owned(), width, height, limit: pixels });
    }
    if format == ImageFormat::Jpeg && !jpeg_has_end(bytes) {
        return Err(PictureError::Truncated { file: name.to_owned() });
    }
    // A camera's mark that makes no sense is no reason to refuse the picture.
    let orientation = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    let image = DynamicImage::from_decoder(decoder).map_err(fault)?;
    Ok((image, orientation))
}

fn explain(error: ImageError, name: &str) -> PictureError {
    let file = name.to_owned();
    match error {
        ImageError::IoError(error) if error.kind() == ErrorKind::UnexpectedEof => {
            PictureError::Truncated { file }
        }
        ImageError::Unsupported(error) => PictureError::Unsupported { file, kind: format!("rare ({error})") },
        other => PictureError::Damaged { file, detail: other.to_string() },
    }
}

/// The name of a kind of file that people send by mistake.
fn foreign_kind(bytes: &[u8], guess: Option<ImageFormat>) -> Option<String> {
    if bytes.starts_with(b"%PDF") {
        return Some("PDF".to_owned());
    }
    // ISO base media: a length, `ftyp`, then the brand.
    if bytes.get(4..8) == Some(b"ftyp") {
        let kind = match bytes.get(8..12) {
            Some(b"heic" | b"heix" | b"heim" | b"heis" | b"hevc" | b"hevx" | b"mif1" | b"msf1") => "HEIC",
            Some(b"avif" | b"avis") => "AVIF",
            _ => "video",
        };
        return Some(kind.to_owned());
    }
    let known = guess?.extensions_str().first()?;
    Some(known.to_uppercase())
}

/// Whether a JPEG's end mark follows its last header segment. Thumbnails, which have end marks of their own, lie inside
/// header segments and are stepped over.
fn jpeg_has_end(bytes: &[u8]) -> bool {
    let mut at = 2;
    loop {
        match (bytes.get(at), bytes.get(at + 1)) {
            (Some(0xFF), Some(0xFF)) => at += 1,
            // Start of scan: pixel data, in which a 0xFF is always followed by zero or a restart mark.
            (Some(0xFF), Some(0xDA)) => {
                return bytes.get(at..).is_some_and(|rest| rest.windows(2).any(|pair| pair == [0xFF, 0xD9]));
            }
            (Some(0xFF), Some(0x01 | 0xD0..=0xD8)) => at += 2,
            (Some(0xFF), Some(_)) => {
                let (Some(&high), Some(&low)) = (bytes.get(at + 2), bytes.get(at + 3)) else { return false };
                at += 2 + usize::from(u16::from_be_bytes([high, low]));
            }
            // Stray bytes between segments are met in the wild.
            (Some(_), Some(_)) => at += 1,
            _ => return false,
        }
    }
}
