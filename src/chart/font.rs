//! The page's fonts: widths, glyphs and outlines. DejaVu Sans Condensed, carried by the `dejavu` crate.
//!
//! A plain narrow face with real accidentals in every weight: a symbol of 20
//! points is read from a music stand and still fits its bar.
//!
//! Text is set character by character without kerning. Text that runs from
//! right to left is put in the order in which it is seen, Arabic letters in
//! their joined forms; what it lacks is taken from DejaVu Sans. A
//! character that neither has is an error, never a box.
//!
//! # Source
//! Unicode Standard Annex 9, the bidirectional algorithm (by `unicode-bidi`).

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
    /// For scripts that the narrow faces lack.
    Other,
}

/// All faces.
pub(super) const STYLES: [Style; 4] = [Style::Regular, Style::Bold, Style::Italic, Style::Other];

impl Style {
    /// The font file.
    pub(super) fn data(self) -> &'static [u8] {
        match self {
            Self::Regular => dejavu::sans_condensed::regular(),
            Self::Bold => dejavu::sans_condensed::bold(),
            Self::Italic => dejavu::sans_condensed::oblique(),
            Self::Other => dejavu::sans::regular(),
        }
    }

    /// Place in [`STYLES`].
    pub(super) fn index(self) -> usize {
        match self {
            Self::Regular => 0,
            Self::Bold => 1,
            Self::Italic => 2,
            Self::Other => 3,
        }
    }

    /// The font's own name without blanks, for files.
    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Regular => "DejaVuSansCondensed",
            Self::Bold => "DejaVuSansCondensed-Bold",
            Self::Italic => "DejaVuSansCondensed-Oblique",
            Self::Other => "DejaVuSans",
        }
    }
}

/// Characters of one face, as they stand beside each other on paper.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Run {
    pub(super) style: Style,
    pub(super) glyphs: Vec<(char, GlyphId)>,
}

/// The faces, read.
pub(super) struct Fonts {
    faces: [Face<'static>; 4],
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
            faces: [
                read(STYLES[0])?,
                read(STYLES[1])?,
                read(STYLES[2])?,
                read(STYLES[3])?,
            ],
        })
    }

    pub(super) fn face(&self, style: Style) -> &Face<'static> {
        &self.faces[style.index()]
    }

    /// A text as it is seen from left to right, in runs of one face.
    ///
    /// # Errors
    /// * [`ChartError::MissingGlyph`] for the first character that no face has.
    pub(super) fn runs(&self, style: Style, text: &str) -> Result<Vec<Run>, ChartError> {
        let mut runs: Vec<Run> = Vec::new();
        for c in seen(text).chars() {
            let found = [style, Style::Other]
                .into_iter()
                .find_map(|style| Some((style, self.face(style).glyph_index(c)?)));
            let Some((style, glyph)) = found else {
                return Err(ChartError::MissingGlyph {
                    character: c,
                    text: text.into(),
                });
            };
            match runs.last_mut().filter(|r| r.style == style) {
                Some(run) => run.glyphs.push((c, glyph)),
                None => runs.push(Run {
                    style,
                    glyphs: vec![(c, glyph)],
                }),
            }
        }
        Ok(runs)
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
        let runs = self.runs(style, text)?;
        Ok(runs.iter().map(|r| self.run_width(r) * size).sum())
    }

    /// Width of a run as a part of the font's size.
    pub(super) fn run_width(&self, run: &Run) -> f64 {
        let advances = run.glyphs.iter().map(|(_, g)| self.advance(run.style, *g));
        advances.sum()
    }

    /// Draws a glyph's outline in font units, y upwards.
    pub(super) fn draw(&self, style: Style, glyph: GlyphId, into: &mut dyn OutlineBuilder) {
        self.face(style).outline_glyph(glyph, into);
    }

    /// The outline as SVG path data in font units, y upwards; empty for a blank.
    pub(super) fn outline(&self, style: Style, glyph: GlyphId) -> String {
        let mut path = Path(String::new());
        self.face(style).outline_glyph(glyph, &mut path);
        path.0
    }
}

/// A line in the order in which its characters stand on paper, left to right.
fn seen(text: &str) -> std::borrow::Cow<'_, str> {
    // nothing below Hebrew runs from right to left, nor do signs such as ♯
    if text
        .chars()
        .all(|c| c < '\u{590}' || ('\u{2000}'..'\u{2066}').contains(&c) || is_sign(c))
    {
        return text.into();
    }
    let joined = ar_reshaper::reshape_line(text);
    let info = unicode_bidi::BidiInfo::new(&joined, None);
    let mut out = String::with_capacity(joined.len());
    for paragraph in &info.paragraphs {
        let (levels, runs) = info.visual_runs(paragraph, paragraph.range.clone());
        for run in runs {
            let part = &joined[run.clone()];
            if !levels[run.start].is_rtl() {
                out.push_str(part);
                continue;
            }
            // backwards, but a mark stays behind the letter it belongs to
            let mut clusters: Vec<String> = Vec::new();
            for c in part.chars() {
                match clusters.last_mut().filter(|_| is_mark(c)) {
                    Some(cluster) => cluster.push(c),
                    None => clusters.push(mirrored(c).to_string()),
                }
            }
            out.extend(clusters.into_iter().rev());
        }
    }
    out.into()
}

/// Arrows to musical signs: U+2190 to U+2BFF.
fn is_sign(c: char) -> bool {
    ('\u{2190}'..'\u{2c00}').contains(&c)
}

/// Whether a character is drawn onto the one before: accents, Hebrew points, Arabic vowels.
fn is_mark(c: char) -> bool {
    matches!(c, '\u{300}'..='\u{36f}' | '\u{591}'..='\u{5bd}' | '\u{5bf}' | '\u{5c1}' | '\u{5c2}'
        | '\u{5c4}' | '\u{5c5}' | '\u{5c7}' | '\u{64b}'..='\u{65f}' | '\u{670}')
}

/// The letters that a drawn character stands for, so that text in a file can be searched.
///
/// # Source
/// Unicode, Arabic Presentation Forms-B, U+FE80 to U+FEFC (from memory): forms
/// of one letter follow each other, two or four of them, then lam with alef.
pub(super) fn letters(drawn: char) -> Vec<char> {
    const TWO: [u32; 12] = [
        0x622, 0x623, 0x624, 0x625, 0x627, 0x629, 0x62f, 0x630, 0x631, 0x632, 0x648, 0x649,
    ];
    const ALEFS: [char; 4] = ['\u{622}', '\u{623}', '\u{625}', '\u{627}'];
    let at = u32::from(drawn);
    if (0xfef5..=0xfefc).contains(&at) {
        return vec!['\u{644}', ALEFS[((at - 0xfef5) / 2) as usize]];
    }
    if !(0xfe80..=0xfef4).contains(&at) {
        return vec![drawn];
    }
    let mut first = 0xfe80;
    for letter in (0x621..=0x63a).chain(0x641..=0x64a) {
        let n = match letter {
            0x621 => 1,
            l if TWO.contains(&l) => 2,
            _ => 4,
        };
        if at < first + n {
            return vec![char::from_u32(letter).unwrap_or(drawn)];
        }
        first += n;
    }
    vec![drawn]
}

/// The bracket that looks the other way.
fn mirrored(c: char) -> char {
    match c {
        '(' => ')',
        ')' => '(',
        '[' => ']',
        ']' => '[',
        '{' => '}',
        '}' => '{',
        '<' => '>',
        '>' => '<',
        '«' => '»',
        '»' => '«',
        c => c,
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
