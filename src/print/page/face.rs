//! The typeface, carried in the page.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;

use super::super::typeface::Face;

/// The rule that brings a face in. Browsers want the whole file: the digits of one width are among what a PDF leaves out.
pub(super) fn rule(face: Face, weight: u16) -> String {
    format!(
        "/* {}, SIL Open Font License 1.1 */\n@font-face {{ font-family: \"Hyperlegible\"; font-weight: {weight}; \
         src: url(data:font/ttf;base64,{}) format(\"truetype\"); }}",
        face.name(),
        STANDARD.encode(face.bytes())
    )
}
