//! The laid-out chart as a picture: gray, pages below each other.
//!
//! # Source
//! W3C, Portable Network Graphics, third edition: gray of eight bits.

use super::ChartError;
use super::font::{Fonts, Style};
use super::layout::{Group, Ink, Item, Laid};
use tiny_skia::{
    Color, FillRule, LineCap, Paint, Path, PathBuilder, Pixmap, Stroke, StrokeDash, Transform,
};
use ttf_parser::OutlineBuilder;

/// Dots an inch where none are asked for: letters are sharp on a tablet held at arm's length (ours).
pub(super) const USUAL_DPI: u16 = 200;
/// Between two pages, mm.
const PAGE_GAP: f64 = 6.0;
/// Between two pages, 0 for black to 255 for white.
const BETWEEN: u8 = 0xd0;
const MM_IN_INCH: f64 = 25.4;
/// How hard to pack, 0 to 10: a page is nearly white.
const LEVEL: u8 = 6;

/// The file.
///
/// # Errors
/// * [`ChartError::Unwritable`] if the picture is too large.
pub(super) fn write(laid: &Laid, dpi: u16) -> Result<Vec<u8>, ChartError> {
    let fonts = Fonts::new()?;
    let scale = f64::from(dpi) / MM_IN_INCH;
    let pixels = |mm: f64| (mm * scale).round() as u32;
    let (width, height) = (pixels(laid.size_mm.0), pixels(laid.size_mm.1));
    let mut gray: Vec<u8> = Vec::new();
    for (i, page) in laid.pages.iter().enumerate() {
        if i > 0 {
            let gap = width as usize * pixels(PAGE_GAP) as usize;
            gray.resize(gray.len() + gap, BETWEEN);
        }
        let mut picture =
            Pixmap::new(width, height).ok_or_else(|| unwritable("a page has no size"))?;
        picture.fill(Color::WHITE);
        let mut drawing = Drawing {
            picture,
            fonts: &fonts,
            scale: scale as f32,
        };
        for item in page.iter().flat_map(|g: &Group| &g.items) {
            drawing.item(item)?;
        }
        // red, green and blue are alike
        gray.extend(drawing.picture.data().chunks_exact(4).map(|p| p[0]));
    }
    encode(&gray, width, dpi)
}

fn unwritable(reason: impl Into<String>) -> ChartError {
    ChartError::Unwritable {
        format: "PNG",
        reason: reason.into(),
    }
}

fn encode(gray: &[u8], width: u32, dpi: u16) -> Result<Vec<u8>, ChartError> {
    let row = (width as usize).max(1);
    let height =
        u32::try_from(gray.len() / row).map_err(|_| unwritable("it has too many pages"))?;
    let mut header = Vec::new();
    header.extend(width.to_be_bytes());
    header.extend(height.to_be_bytes());
    // eight bits, gray, deflated, rows filtered each by its own, not interlaced
    header.extend([8, 0, 0, 0, 0]);
    let per_metre = (f64::from(dpi) / MM_IN_INCH * 1000.0).round() as u32;
    let mut size = per_metre.to_be_bytes().repeat(2);
    // in metres
    size.push(1);
    let mut rows = Vec::with_capacity(gray.len() + gray.len() / row);
    for row in gray.chunks(row) {
        rows.push(0);
        rows.extend(row);
    }
    let data = miniz_oxide::deflate::compress_to_vec_zlib(&rows, LEVEL);
    let mut out = b"\x89PNG\r\n\x1a\n".to_vec();
    for (name, data) in [
        (b"IHDR", &header),
        (b"pHYs", &size),
        (b"IDAT", &data),
        (b"IEND", &Vec::new()),
    ] {
        let length = u32::try_from(data.len()).map_err(|_| unwritable("it has too many pages"))?;
        out.extend(length.to_be_bytes());
        let begins = out.len();
        out.extend(name);
        out.extend(data);
        out.extend(checksum(&out[begins..]).to_be_bytes());
    }
    Ok(out)
}

/// The CRC of a chunk.
///
/// # Source
/// The standard's annex on CRC: polynomial of ISO 3309, bits in reverse.
fn checksum(bytes: &[u8]) -> u32 {
    let table: [u32; 256] = std::array::from_fn(|n| {
        (0..8).fold(n as u32, |c, _| match c & 1 {
            1 => 0xedb8_8320 ^ c >> 1,
            _ => c >> 1,
        })
    });
    !bytes.iter().fold(!0, |crc: u32, byte| {
        table[((crc ^ u32::from(*byte)) & 0xff) as usize] ^ crc >> 8
    })
}

struct Drawing<'a> {
    picture: Pixmap,
    fonts: &'a Fonts,
    /// Pixels in a mm.
    scale: f32,
}

impl Drawing<'_> {
    fn item(&mut self, item: &Item) -> Result<(), ChartError> {
        match item {
            Item::Text {
                x,
                y,
                size,
                style,
                text,
                ink,
            } => self.text((*x, *y), *size, *style, text, *ink)?,
            Item::Line {
                from,
                to,
                width,
                dotted,
                round,
            } => {
                let mut path = PathBuilder::new();
                path.move_to(from.0 as f32, from.1 as f32);
                path.line_to(to.0 as f32, to.1 as f32);
                let stroke = Stroke {
                    width: *width as f32,
                    line_cap: if *round {
                        LineCap::Round
                    } else {
                        LineCap::Butt
                    },
                    dash: dotted
                        .then(|| StrokeDash::new(vec![0.0, *width as f32 * 1.9], 0.0))
                        .flatten(),
                    ..Stroke::default()
                };
                self.stroke(path.finish(), &stroke);
            }
            Item::Circle {
                center,
                radius,
                stroke,
            } => {
                let circle =
                    PathBuilder::from_circle(center.0 as f32, center.1 as f32, *radius as f32);
                let inside = if stroke.is_some() { 0xff } else { 0 };
                self.fill(circle.as_ref(), inside, self.to_pixels());
                if let Some(width) = stroke {
                    let stroke = Stroke {
                        width: *width as f32,
                        ..Stroke::default()
                    };
                    self.stroke(circle, &stroke);
                }
            }
        }
        Ok(())
    }

    /// A text from its left end on its baseline.
    fn text(
        &mut self,
        (left, baseline): (f64, f64),
        size: f64,
        style: Style,
        text: &str,
        ink: Ink,
    ) -> Result<(), ChartError> {
        let gray = match ink {
            Ink::Black => 0,
            Ink::Gray => 0x66,
            Ink::White => 0xff,
        };
        let mut left = left;
        for run in self.fonts.runs(style, text)? {
            let em = f64::from(self.fonts.face(run.style).units_per_em());
            let unit = (size / em) as f32;
            for (_, glyph) in &run.glyphs {
                let mut outline = Outline(PathBuilder::new());
                self.fonts.draw(run.style, *glyph, &mut outline);
                let path = outline.0.finish();
                let place =
                    Transform::from_row(unit, 0.0, 0.0, -unit, left as f32, baseline as f32);
                self.fill(path.as_ref(), gray, place.post_concat(self.to_pixels()));
                left += self.fonts.advance(run.style, *glyph) * size;
            }
        }
        Ok(())
    }

    fn to_pixels(&self) -> Transform {
        Transform::from_scale(self.scale, self.scale)
    }

    /// Fills a path; a blank has none.
    fn fill(&mut self, path: Option<&Path>, gray: u8, place: Transform) {
        if let Some(path) = path {
            let paint = paint(gray);
            self.picture
                .fill_path(path, &paint, FillRule::Winding, place, None);
        }
    }

    fn stroke(&mut self, path: Option<Path>, stroke: &Stroke) {
        if let Some(path) = path {
            let place = self.to_pixels();
            self.picture
                .stroke_path(&path, &paint(0), stroke, place, None);
        }
    }
}

fn paint(gray: u8) -> Paint<'static> {
    let mut paint = Paint::default();
    paint.set_color_rgba8(gray, gray, gray, 0xff);
    paint.anti_alias = true;
    paint
}

/// A glyph's outline as a path.
struct Outline(PathBuilder);

impl OutlineBuilder for Outline {
    fn move_to(&mut self, x: f32, y: f32) {
        self.0.move_to(x, y);
    }
    fn line_to(&mut self, x: f32, y: f32) {
        self.0.line_to(x, y);
    }
    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        self.0.quad_to(x1, y1, x, y);
    }
    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        self.0.cubic_to(x1, y1, x2, y2, x, y);
    }
    fn close(&mut self) {
        self.0.close();
    }
}

#[cfg(test)]
mod tests {
    /// The check value of this CRC (from memory): that of `123456789`.
    #[test]
    fn the_checksum_is_that_of_the_standard() {
        assert_eq!(super::checksum(b"123456789"), 0xcbf4_3926);
    }
}
