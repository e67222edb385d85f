//! The page's fonts: widths, glyphs and outlines. DejaVu Serif Condensed, carried by the `dejavu` crate.
//!
//! Text is set character by character, left to right, without kerning. A
//! character that the font lacks is an error, never a box.

use super::ChartError;
use ttf_parser::{Face, GlyphId, OutlineBuilder};

/// A face of the page.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Style {
    /// Upright.
    Regular,
    /// Bold, for headings.
    Bold,
    /// Italic, for remarks.
    Italic,
}

/// All faces.
pub(super) const STYLES: [Style; 3] = [Style::Regular, Style::Bold, Style::Italic];

impl Style {
    /// The font file.
    pub(super) fn data(self) -> &'static [u8] {
        match self {
            Self::Regular => dejavu::serif_condensed::regular(),
            Self::Bold => dejavu::serif_condensed::bold(),
            Self::Italic => dejavu::serif_condensed::italic(),
        }
    }

    /// Place in [`STYLES`].
    pub(super) fn index(self) -> usize {
        match self {
            Self::Regular => 0,
            Self::Bold => 1,
            Self::Italic => 2,
        }
    }

    /// The font's own name without blanks, for files.
    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Regular => "DejaVuSerifCondensed",
            Self::Bold => "DejaVuSerifCondensed-Bold",
            Self::Italic => "DejaVuSerifCondensed-Italic",
        }
    }
}

/// The three faces, read.
pub(super) struct Fonts {
    faces: [Face<'static>; 3],
}

impl Fonts {
    /// Reads the fonts inside the program.
    pub(super) fn new() -> Result<Self, ChartError> {
        let read = |style: Style| {
            Face::parse(style.data(), 0).map_err(|e| ChartError::Font {
                reason: e.to_string(),
            })
        };
        Ok(Self {
            faces: [read(STYLES[0])?, read(STYLES[1])?, read(STYLES[2])?],
        })
    }

    pub(super) fn face(&self, style: Style) -> &Face<'static> {
        &self.faces[style.index()]
    }

    /// Glyphs of a text.
    ///
    /// # Errors
    /// * [`ChartError::MissingGlyph`] for the first character the font lacks.
    pub(super) fn glyphs(
        &self,
        style: Style,
        text: &str,
    ) -> Result<Vec<(char, GlyphId)>, ChartError> {
        text.chars()
            .map(|c| {
                self.face(style)
                    .glyph_index(c)
                    .map(|g| (c, g))
                    .ok_or_else(|| ChartError::MissingGlyph {
                        character: c,
                        text: text.into(),
                    })
            })
            .collect()
    }

    /// Advance of a glyph as a part of the font's size.
    pub(super) fn advance(&self, style: Style, glyph: GlyphId) -> f64 {
        let face = self.face(style);
        f64::from(face.glyph_hor_advance(glyph).unwrap_or(0)) / f64::from(face.units_per_em())
    }

    /// Width of a text at a size, in the size's unit.
    ///
    /// # Errors
    /// * [`ChartError::MissingGlyph`].
    pub(super) fn width(&self, style: Style, size: f64, text: &str) -> Result<f64, ChartError> {
        Ok(self
            .glyphs(style, text)?
            .into_iter()
            .map(|(_, g)| self.advance(style, g) * size)
            .sum())
    }

    /// The outline as SVG path data in font units, y upwards; empty for a blank.
    pub(super) fn outline(&self, style: Style, glyph: GlyphId) -> String {
        let mut path = Path(String::new());
        self.face(style).outline_glyph(glyph, &mut path);
        path.0
    }
}

struct Path(String);

impl Path {
    fn push(&mut self, op: char, numbers: &[f32]) {
        self.0.push(op);
        for (i, n) in numbers.iter().enumerate() {
            if i > 0 {
                self.0.push(' ');
            }
            self.0.push_str(&super::layout::number(f64::from(*n)));
        }
    }
}

impl OutlineBuilder for Path {
    fn move_to(&mut self, x: f32, y: f32) {
        self.push('M', &[x, y]);
    }
    fn line_to(&mut self, x: f32, y: f32) {
        self.push('L', &[x, y]);
    }
    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        self.push('Q', &[x1, y1, x, y]);
    }
    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        self.push('C', &[x1, y1, x2, y2, x, y]);
    }
    fn close(&mut self) {
        self.0.push('Z');
    }
}
