//! Drawings of the page: chord boxes and tablature as inline SVG.

use super::write_symbol;
use crate::chart::Options;
use crate::chart::diagram::{Diagram, diagram};
use crate::chart::sheet::{Entry, Measure, ShapeBox};
use crate::chart::xml::escape;
use std::fmt::Write;

/// Between strings and between frets of a diagram.
const DX: f64 = 9.0;
const DY: f64 = 11.0;

/// A chord with its shapes.
pub(in crate::chart) fn write_entry(out: &mut String, entry: &Entry, options: &Options) {
    out.push_str("<figure><figcaption>");
    write_symbol(out, &entry.symbol, entry.open);
    if let Some(variant) = entry.variant {
        let _ = write!(out, " ({variant})");
    }
    if let Some(held_as) = &entry.held_as {
        let _ = write!(out, "<br><span class=\"as\">{}</span>", escape(held_as));
    }
    out.push_str("</figcaption><div class=\"boxes\">");
    for (i, shape_box) in entry.boxes.iter().enumerate() {
        if i > 0 {
            out.push_str("<span class=\"or\">or</span>");
        }
        out.push_str("<div>");
        write_box(out, shape_box, options);
        let _ = write!(
            out,
            "<span class=\"frets\">{}</span></div>",
            shape_box.shape
        );
    }
    out.push_str("</div></figure>\n");
}

fn write_box(out: &mut String, shape_box: &ShapeBox, options: &Options) {
    const LEFT: f64 = 16.0;
    const TOP: f64 = 14.0;
    let left_handed = options.left_handed;
    let d: Diagram = diagram(shape_box, left_handed);
    let (disc, number, barre) = match options.save_ink {
        true => (
            " fill=\"#fff\" stroke=\"#111\" stroke-width=\".8\"",
            "#111",
            1.4,
        ),
        false => ("", "#fff", 7.4),
    };
    let width = DX * (d.n_strings - 1) as f64;
    let height = DY * f64::from(d.n_rows);
    let x = |column: usize| LEFT + DX * column as f64;
    let y = |row: u8| TOP + DY * (f64::from(row) - 0.5);
    let side = if left_handed { ", left-handed" } else { "" };
    let _ = write!(
        out,
        "<svg role=\"img\" aria-label=\"frets {}, low string first{side}\" viewBox=\"0 0 {} {}\"><g stroke=\"#111\" fill=\"none\">",
        shape_box.shape,
        LEFT + width + 8.0,
        TOP + height + 4.0
    );
    write_grid(out, &d, (LEFT, TOP), (width, height));
    for (column, rings) in &d.tops {
        let (cx, cy) = (x(*column), TOP - 6.5);
        if *rings {
            let _ = write!(out, "<circle cx=\"{cx}\" cy=\"{cy}\" r=\"2.5\"/>");
        } else {
            let _ = write!(out, "<path d=\"M{} {}l5 5m0-5l-5 5\"/>", cx - 2.5, cy - 2.5);
        }
    }
    for (row, a, b) in &d.barres {
        let _ = write!(
            out,
            "<path d=\"M{} {}H{}\" stroke-width=\"{barre}\" stroke-linecap=\"round\"/>",
            x(*a),
            y(*row),
            x(*b)
        );
    }
    out.push_str("</g><g font-size=\"6.6\" text-anchor=\"middle\">");
    for (column, row, finger) in &d.dots {
        let (cx, cy) = (x(*column), y(*row));
        let _ = write!(out, "<circle cx=\"{cx}\" cy=\"{cy}\" r=\"3.9\"{disc}/>");
        if let Some(finger) = finger {
            let _ = write!(
                out,
                "<text x=\"{cx}\" y=\"{}\" fill=\"{number}\">{}</text>",
                cy + 2.3,
                escape(finger)
            );
        }
    }
    if d.first_fret > 1 {
        let _ = write!(
            out,
            "<text x=\"{}\" y=\"{}\" font-size=\"9\" text-anchor=\"end\">{}</text>",
            LEFT - 5.0,
            y(1) + 3.0,
            d.first_fret
        );
    }
    out.push_str("</g></svg>");
}

/// Strings and frets, with the nut where the first fret is.
fn write_grid(out: &mut String, d: &Diagram, (left, top): (f64, f64), (width, height): (f64, f64)) {
    out.push_str("<path d=\"");
    for column in 0..d.n_strings {
        let _ = write!(out, "M{} {top}v{height}", left + DX * column as f64);
    }
    for row in 0..=d.n_rows {
        let _ = write!(out, "M{left} {}h{width}", top + DY * f64::from(row));
    }
    out.push_str("\" stroke-width=\".8\"/>");
    if d.first_fret == 1 {
        let _ = write!(
            out,
            "<path d=\"M{} {}h{}\" stroke-width=\"2.6\"/>",
            left - 0.4,
            top - 1.0,
            width + 0.8
        );
    }
}

/// The tablature of one bar.
pub(super) fn write_tab(out: &mut String, measure: &Measure, n_strings: usize) {
    const WIDTH: f64 = 160.0;
    const GAP: f64 = 9.0;
    let height = GAP * (n_strings - 1) as f64;
    let words = format!("tablature of bar {}", measure.number);
    let _ = write!(
        out,
        "<svg class=\"tab\" role=\"img\" aria-label=\"{words}\" viewBox=\"0 -5 {WIDTH} {}\" preserveAspectRatio=\"none\"><path d=\"",
        height + 10.0
    );
    for string in 0..n_strings {
        let _ = write!(out, "M0 {}H{WIDTH}", GAP * string as f64);
    }
    let _ = write!(
        out,
        "M.4 0V{height}M{} 0V{height}\" stroke=\"#111\" stroke-width=\".8\" fill=\"none\"/>",
        WIDTH - 0.4
    );
    for note in &measure.tab {
        let x = 8.0 + (WIDTH - 14.0) * note.at / f64::from(measure.n_beats.max(1));
        let y = GAP * (n_strings - 1 - note.string.min(n_strings - 1)) as f64;
        let _ = write!(
            out,
            "<text x=\"{x:.1}\" y=\"{}\" font-size=\"9.5\" stroke=\"#fff\" stroke-width=\"3\" paint-order=\"stroke\">{}</text>",
            y + 3.3,
            note.fret
        );
    }
    out.push_str("</svg>");
}
