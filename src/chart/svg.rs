//! The laid-out chart as one SVG, pages below each other.
//!
//! Text is drawn as outlines, so that it looks the same without the font; each
//! group carries its words as a label. Lengths in mm.
//!
//! # Source
//! W3C, Scalable Vector Graphics 1.1, second edition.

use super::ChartError;
use super::font::{Fonts, Style};
use super::layout::{Group, Ink, Item, Laid, Role, number};
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
    let mut glyphs: BTreeMap<(Style, u16), String> = BTreeMap::new();
    let mut body = String::new();
    // writing to a string cannot fail
    for (i, page) in laid.pages.iter().enumerate() {
        let top = (h + PAGE_GAP) * i as f64;
        let _ = writeln!(
            body,
            "<g transform=\"translate(0 {})\">\n<rect width=\"{}\" height=\"{}\" fill=\"#fff\"/>",
            number(top),
            number(w),
            number(h)
        );
        for group in page {
            write_group(&mut body, group, &fonts, &mut glyphs)?;
        }
        body.push_str("</g>\n");
    }
    let mut out = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <svg xmlns=\"http://www.w3.org/2000/svg\" xmlns:xlink=\"http://www.w3.org/1999/xlink\" version=\"1.1\" \
         width=\"{0}mm\" height=\"{1}mm\" viewBox=\"0 0 {0} {1}\" fill=\"#000\">\n<title>{2}</title>\n<defs>\n",
        number(w),
        number(total),
        escape(&laid.title)
    );
    for ((style, glyph), path) in &glyphs {
        let _ = writeln!(out, "<path id=\"{}\" d=\"{path}\"/>", id(*style, *glyph));
    }
    out.push_str("</defs>\n");
    out.push_str(&body);
    out.push_str("</svg>\n");
    Ok(out)
}

fn id(style: Style, glyph: u16) -> String {
    format!("g{}-{glyph}", style.index())
}

fn write_group(
    out: &mut String,
    group: &Group,
    fonts: &Fonts,
    glyphs: &mut BTreeMap<(Style, u16), String>,
) -> Result<(), ChartError> {
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
    let _ = writeln!(out, "<g role=\"img\" aria-label=\"{}\">", escape(&label));
    for item in &group.items {
        match item {
            Item::Text {
                x,
                y,
                size,
                style,
                text,
                ink,
            } => {
                let place = (*x, *y);
                write_text(out, (text, *style, *size, *ink), place, fonts, glyphs)?;
            }
            _ => write_shape(out, item),
        }
    }
    out.push_str("</g>\n");
    Ok(())
}

/// A text as outlines, from its left end on its baseline.
fn write_text(
    out: &mut String,
    (text, style, size, ink): (&str, Style, f64, Ink),
    (x, y): (f64, f64),
    fonts: &Fonts,
    glyphs: &mut BTreeMap<(Style, u16), String>,
) -> Result<(), ChartError> {
    let fill = match ink {
        Ink::Black => "",
        Ink::Gray => " fill=\"#666\"",
        Ink::White => " fill=\"#fff\"",
    };
    let mut left = x;
    for run in fonts.runs(style, text)? {
        let em = f64::from(fonts.face(run.style).units_per_em());
        let _ = write!(
            out,
            "<g transform=\"translate({} {}) scale({s:.6} -{s:.6})\"{fill}>",
            number(left),
            number(y),
            s = size / em
        );
        let mut pen = 0.0;
        for (_, glyph) in &run.glyphs {
            let path = glyphs
                .entry((run.style, glyph.0))
                .or_insert_with(|| fonts.outline(run.style, *glyph));
            if !path.is_empty() {
                let at = if pen > 0.0 {
                    format!(" x=\"{}\"", number(pen))
                } else {
                    String::new()
                };
                let id = id(run.style, glyph.0);
                let _ = write!(out, "<use xlink:href=\"#{id}\"{at}/>");
            }
            pen += fonts.advance(run.style, *glyph) * em;
        }
        out.push_str("</g>\n");
        left += fonts.run_width(&run) * size;
    }
    Ok(())
}

/// A line or a circle.
fn write_shape(out: &mut String, item: &Item) {
    match item {
        Item::Text { .. } => {}
        Item::Line {
            from,
            to,
            width,
            dotted,
            round,
        } => {
            let dash = if *dotted {
                format!(" stroke-dasharray=\"0 {}\"", number(width * 1.9))
            } else {
                String::new()
            };
            let cap = if *round {
                " stroke-linecap=\"round\""
            } else {
                ""
            };
            let _ = writeln!(
                out,
                "<line x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\" stroke=\"#000\" stroke-width=\"{}\"{dash}{cap}/>",
                number(from.0),
                number(from.1),
                number(to.0),
                number(to.1),
                number(*width)
            );
        }
        Item::Circle {
            center,
            radius,
            stroke,
        } => {
            let paint = match stroke {
                Some(w) => format!(
                    " fill=\"#fff\" stroke=\"#000\" stroke-width=\"{}\"",
                    number(*w)
                ),
                None => String::new(),
            };
            let _ = writeln!(
                out,
                "<circle cx=\"{}\" cy=\"{}\" r=\"{}\"{paint}/>",
                number(center.0),
                number(center.1),
                number(*radius)
            );
        }
    }
}
