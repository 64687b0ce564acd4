//! The two embedded faces: measuring text, drawing it as outlines, and handing it to a page.
//!
//! No font of the machine is ever used, so a figure looks the same everywhere. The faces carry no layout features
//! but kerning pairs (see `data/fonts/README.md`): a text's width is the sum of its advances and pairs, here as in a browser.

use std::borrow::Cow;
use std::fmt::Write as _;
use std::sync::LazyLock;

use ab_glyph::{Font as _, FontRef, GlyphId, OutlineCurve, Point};

use super::words;

/// The regular face, as a TrueType file.
pub const REGULAR: &[u8] = include_bytes!("../../data/fonts/DejaVuSans-subset.ttf");
/// The bold face, as a TrueType file.
pub const BOLD: &[u8] = include_bytes!("../../data/fonts/DejaVuSans-Bold-subset.ttf");

/// The families to ask for, best first, where text stays text.
pub const FAMILY: &str = "'DejaVu Sans', Verdana, sans-serif";

/// Which of the two faces.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Weight {
    /// For reading.
    Regular,
    /// For titles.
    Bold,
}

/// One face, ready to measure and draw.
pub struct Face {
    font: FontRef<'static>,
    units_per_em: f32,
}

/// One glyph of a text: which, and how far from the start of the text, in units of the face.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placed {
    /// The glyph's number in its face.
    pub glyph: u16,
    /// The distance from the start of the text to the glyph's origin.
    pub x: f32,
}

/// The face of a weight. The file is read at the first call only.
pub fn face(weight: Weight) -> &'static Face {
    static REGULAR_FACE: LazyLock<Face> = LazyLock::new(|| Face::embedded(REGULAR));
    static BOLD_FACE: LazyLock<Face> = LazyLock::new(|| Face::embedded(BOLD));
    match weight {
        Weight::Regular => &REGULAR_FACE,
        Weight::Bold => &BOLD_FACE,
    }
}

impl Face {
    fn embedded(bytes: &'static [u8]) -> Self {
        // Impossible by construction: the bytes are part of the program, and a test reads both.
        let font = FontRef::try_from_slice(bytes).expect("the embedded faces are readable");
        let units_per_em = font.units_per_em().unwrap_or(2048.0);
        Self { font, units_per_em }
    }

    /// Units of the face to one em.
    pub fn units_per_em(&self) -> f64 {
        f64::from(self.units_per_em)
    }

    /// Whether the face can draw `c`.
    pub fn has(&self, c: char) -> bool {
        self.font.glyph_id(c) != GlyphId(0)
    }

    /// The glyphs of a text and where they stand, and the text's whole width, in units of the face.
    pub fn place(&self, text: &str) -> (Vec<Placed>, f32) {
        let mut placed = Vec::with_capacity(text.len());
        let mut x = 0.0;
        let mut before = None;
        for c in text.chars() {
            let id = self.font.glyph_id(c);
            if let Some(before) = before {
                x += self.font.kern_unscaled(before, id);
            }
            placed.push(Placed { glyph: id.0, x });
            x += self.font.h_advance_unscaled(id);
            before = Some(id);
        }
        (placed, x)
    }

    /// The width of a text of the given size, in the unit of the size.
    pub fn width(&self, text: &str, size: f64) -> f64 {
        f64::from(self.place(text).1) * size / self.units_per_em()
    }

    /// A glyph's outline as SVG path data in units of the face, y downwards; empty for a blank.
    pub fn outline(&self, glyph: u16) -> String {
        let mut path = String::new();
        let Some(outline) = self.font.outline(GlyphId(glyph)) else {
            return path;
        };
        let mut at: Option<Point> = None;
        for curve in &outline.curves {
            let (start, end) = match curve {
                OutlineCurve::Line(a, b)
                | OutlineCurve::Quad(a, _, b)
                | OutlineCurve::Cubic(a, _, _, b) => (*a, *b),
            };
            if at != Some(start) {
                push(&mut path, if at.is_some() { "ZM" } else { "M" }, &[start]);
            }
            match curve {
                OutlineCurve::Line(_, b) => push(&mut path, "L", &[*b]),
                OutlineCurve::Quad(_, c, b) => push(&mut path, "Q", &[*c, *b]),
                OutlineCurve::Cubic(_, c, d, b) => push(&mut path, "C", &[*c, *d, *b]),
            }
            at = Some(end);
        }
        if !path.is_empty() {
            path.push('Z');
        }
        path
    }
}

fn push(path: &mut String, command: &str, points: &[Point]) {
    path.push_str(command);
    for (i, point) in points.iter().enumerate() {
        let gap = if i > 0 { " " } else { "" };
        // Writing to a String cannot fail. Adding zero turns −0 into 0.
        let _ = write!(path, "{gap}{} {}", point.x, 0.0 - point.y);
    }
}

/// The text with everything that could not be seen written out: hidden characters, and characters that the faces lack.
///
/// Names come from the user's files. Written out as `\u{5236}` two names stay two names, where a blank or one
/// replacement sign for all would make them look alike.
pub fn printable(text: &str) -> Cow<'_, str> {
    let text = words::visible(text);
    let (regular, bold) = (face(Weight::Regular), face(Weight::Bold));
    let lacking = |c: char| !regular.has(c) || !bold.has(c);
    if !text.chars().any(lacking) {
        return text;
    }
    let mut out = String::with_capacity(text.len() * 2);
    for c in text.chars() {
        if lacking(c) {
            out.extend(c.escape_unicode());
        } else {
            out.push(c);
        }
    }
    Cow::Owned(out)
}

/// Style rules that give both faces to a page, once for all its figures.
pub fn css() -> &'static str {
    static CSS: LazyLock<String> = LazyLock::new(|| {
        let mut css = String::new();
        for (weight, bytes) in [(400, REGULAR), (700, BOLD)] {
            let _ = write!(
                css,
                "@font-face{{font-family:'DejaVu Sans';font-weight:{weight};src:url(data:font/ttf;base64,{}) format('truetype')}}",
                base64(bytes)
            );
        }
        css
    });
    &CSS
}

/// Standard base 64 with padding (RFC 4648, section 4, 2006).
pub(super) fn base64(bytes: &[u8]) -> String {
    const SIGNS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for chunk in bytes.chunks(3) {
        let group =
            chunk.iter().fold(0_u32, |n, b| n << 8 | u32::from(*b)) << (8 * (3 - chunk.len()));
        for i in 0..4 {
            if i <= chunk.len() {
                out.push(char::from(SIGNS[(group >> (18 - 6 * i)) as usize & 63]));
            } else {
                out.push('=');
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_faces_hold_every_sign_that_reports_use() {
        for weight in [Weight::Regular, Weight::Bold] {
            for c in "AZaz09 °±×−–—·²³≤≥ηβΔµΩ→…ÄöéßñŁčЖя⁻⁹“”‘’¼½≈∞€ρφ".chars()
            {
                assert!(face(weight).has(c), "{c} in {weight:?}");
            }
            assert_eq!(face(weight).units_per_em(), 2048.0);
        }
    }

    #[test]
    fn widths_are_those_of_the_face() {
        // Advances of "0" and "A" and the pair "AV" as fontTools 4.68 prints them from the same files: 1303, 1401 and −131.
        let regular = face(Weight::Regular);
        assert_eq!(regular.width("0", 2048.0), 1303.0);
        assert_eq!(regular.width("A", 2048.0), 1401.0);
        assert_eq!(regular.width("AV", 2048.0), 2.0 * 1401.0 - 131.0);
        assert_eq!(regular.width("", 12.0), 0.0);
    }

    #[test]
    fn outlines_are_closed_and_blank_is_empty() {
        let regular = face(Weight::Regular);
        let (glyphs, _) = regular.place("0 ");
        let zero = regular.outline(glyphs[0].glyph);
        assert!(zero.starts_with('M') && zero.ends_with('Z'));
        assert_eq!(
            zero.matches('M').count(),
            2,
            "a zero has an outer and an inner contour: {zero}"
        );
        assert_eq!(zero.matches('Z').count(), 2);
        assert!(!zero.contains("-0 ") && !zero.contains("NaN"));
        assert_eq!(regular.outline(glyphs[1].glyph), "");
    }

    #[test]
    fn lacking_characters_are_written_out_and_stay_apart() {
        assert_eq!(printable("Kühl 35 °C"), "Kühl 35 °C");
        assert_eq!(printable("制冷"), "\\u{5236}\\u{51b7}");
        assert_ne!(printable("制"), printable("冷"));
        assert_eq!(printable("a\u{0}"), "a\\u{0}");
    }

    #[test]
    fn base64_matches_the_published_vectors() {
        // RFC 4648, section 10, 2006.
        for (plain, coded) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
        assert!(css().len() < 170_000);
    }
}
