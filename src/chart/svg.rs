//! The laid-out chart as one SVG, pages below each other.
//!
//! Text is drawn as outlines, so that it looks the same without the font; each
//! group carries its words as a label. Lengths in mm.
//!
//! # Source
//! W3C, Scalable Vector Graphics 1.1, second edition.

use super::ChartError;
use super::draw::{Canvas, DOT_STEP, Point, draw};
use super::font::{Fonts, Run, Style};
use super::layout::{Group, Ink, Item, Laid, Pen, Role, number};
use super::xml::escape;
use std::collections::BTreeMap;
use std::fmt::Write;

/// Between two pages, mm.
const PAGE_GAP: f64 = 6.0;

/// The document.
pub(super) fn write(laid: &Laid) -> Result<String, ChartError> {
    let fonts = Fonts::new()?;
    let (w, h) = laid.size_mm;
    let n = laid.pages.len() as f64;
    let total = h * n + PAGE_GAP * (n - 1.0);
    let mut drawing = Drawing {
        body: String::new(),
        glyphs: BTreeMap::new(),
        fonts: &fonts,
    };
    // writing to a string cannot fail
    for (i, page) in laid.pages.iter().enumerate() {
        let top = (h + PAGE_GAP) * i as f64;
        let _ = writeln!(
            drawing.body,
            "<g transform=\"translate(0 {})\">\n<rect width=\"{}\" height=\"{}\" fill=\"#fff\"/>",
            number(top),
            number(w),
            number(h)
        );
        for group in page {
            drawing.group(group)?;
        }
        drawing.body.push_str("</g>\n");
    }
    let mut out = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <svg xmlns=\"http://www.w3.org/2000/svg\" xmlns:xlink=\"http://www.w3.org/1999/xlink\" version=\"1.1\" \
         width=\"{0}mm\" height=\"{1}mm\" viewBox=\"0 0 {0} {1}\" fill=\"#000\">\n<title>{2}</title>\n<defs>\n",
        number(w),
        number(total),
        escape(&laid.title)
    );
    for ((style, glyph), path) in &drawing.glyphs {
        let _ = writeln!(out, "<path id=\"{}\" d=\"{path}\"/>", id(*style, *glyph));
    }
    out.push_str("</defs>\n");
    out.push_str(&drawing.body);
    out.push_str("</svg>\n");
    Ok(out)
}

fn id(style: Style, glyph: u16) -> String {
    format!("g{}-{glyph}", style.index())
}

/// Pages that are drawn on.
struct Drawing<'a> {
    body: String,
    /// Outlines of the glyphs that were drawn.
    glyphs: BTreeMap<(Style, u16), String>,
    fonts: &'a Fonts,
}

impl Drawing<'_> {
    fn group(&mut self, group: &Group) -> Result<(), ChartError> {
        let label = match &group.role {
            Role::Figure(words) | Role::Row(words) => words.clone(),
            _ => {
                let texts = group.items.iter().filter_map(|i| match i {
                    Item::Text { text, .. } => Some(text.as_str()),
                    _ => None,
                });
                texts.collect::<Vec<_>>().join(" ")
            }
        };
        let _ = writeln!(
            self.body,
            "<g role=\"img\" aria-label=\"{}\">",
            escape(&label)
        );
        for item in &group.items {
            draw(item, self.fonts, self)?;
        }
        self.body.push_str("</g>\n");
        Ok(())
    }
}

impl Canvas for Drawing<'_> {
    fn run(&mut self, run: &Run, (x, y): Point, size: f64, ink: Ink) {
        let fill = match ink.level() {
            0 => String::new(),
            level => format!(" fill=\"#{level:02x}{level:02x}{level:02x}\""),
        };
        let em = f64::from(self.fonts.face(run.style).units_per_em());
        let _ = write!(
            self.body,
            "<g transform=\"translate({} {}) scale({s:.6} -{s:.6})\"{fill}>",
            number(x),
            number(y),
            s = size / em
        );
        let mut pen = 0.0;
        for (_, glyph) in &run.glyphs {
            let path = self
                .glyphs
                .entry((run.style, glyph.0))
                .or_insert_with(|| self.fonts.outline(run.style, *glyph));
            if !path.is_empty() {
                let at = if pen > 0.0 {
                    format!(" x=\"{}\"", number(pen))
                } else {
                    String::new()
                };
                let id = id(run.style, glyph.0);
                let _ = write!(self.body, "<use xlink:href=\"#{id}\"{at}/>");
            }
            pen += self.fonts.advance(run.style, *glyph) * em;
        }
        self.body.push_str("</g>\n");
    }

    fn line(&mut self, from: Point, to: Point, width: f64, pen: Pen) {
        let dash = match pen {
            Pen::Dots => format!(" stroke-dasharray=\"0 {}\"", number(width * DOT_STEP)),
            _ => String::new(),
        };
        let cap = match pen {
            Pen::Flat => "",
            _ => " stroke-linecap=\"round\"",
        };
        let _ = writeln!(
            self.body,
            "<line x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\" stroke=\"#000\" stroke-width=\"{}\"{dash}{cap}/>",
            number(from.0),
            number(from.1),
            number(to.0),
            number(to.1),
            number(width)
        );
    }

    fn circle(&mut self, center: Point, radius: f64, stroke: Option<f64>) {
        let paint = stroke.map_or_else(String::new, |w| {
            format!(
                " fill=\"#fff\" stroke=\"#000\" stroke-width=\"{}\"",
                number(w)
            )
        });
        let _ = writeln!(
            self.body,
            "<circle cx=\"{}\" cy=\"{}\" r=\"{}\"{paint}/>",
            number(center.0),
            number(center.1),
            number(radius)
        );
    }
}
