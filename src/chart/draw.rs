//! What lies on a page, taken apart once for every format that draws it.

use super::ChartError;
use super::font::{Fonts, Run};
use super::layout::{Ink, Item, Pen};

/// A place on a page, mm from its left and its top.
pub(super) type Point = (f64, f64);

/// From one dot of a line to the next, in widths of the line.
pub(super) const DOT_STEP: f64 = 1.9;
/// Control points of a quarter circle, as a part of the radius. From memory: 4/3·(√2 − 1).
const KAPPA: f64 = 0.552_284_75;

/// A page of a format; lengths in mm.
pub(super) trait Canvas {
    /// Characters of one face, of a font size, from their left end on their baseline.
    fn run(&mut self, run: &Run, place: Point, size: f64, ink: Ink);
    /// A straight line.
    fn line(&mut self, from: Point, to: Point, width: f64, pen: Pen);
    /// A black disc; with a line width a ring, white inside.
    fn circle(&mut self, center: Point, radius: f64, stroke: Option<f64>);
}

/// Draws an item.
///
/// # Errors
/// * [`ChartError::MissingGlyph`] for text that no face can draw.
pub(super) fn draw(item: &Item, fonts: &Fonts, on: &mut dyn Canvas) -> Result<(), ChartError> {
    match item {
        Item::Text {
            x,
            y,
            size,
            style,
            text,
            ink,
        } => {
            let mut left = *x;
            for run in fonts.runs(*style, text)? {
                on.run(&run, (left, *y), *size, *ink);
                left += fonts.run_width(&run) * size;
            }
        }
        Item::Line {
            from,
            to,
            width,
            pen,
        } => on.line(*from, *to, *width, *pen),
        Item::Circle {
            center,
            radius,
            stroke,
        } => on.circle(*center, *radius, *stroke),
    }
    Ok(())
}

/// A circle from its rightmost point on: two control points and the end of each quarter.
pub(super) fn quarters((x, y): Point, r: f64) -> [[Point; 3]; 4] {
    let k = KAPPA * r;
    [
        [(x + r, y + k), (x + k, y + r), (x, y + r)],
        [(x - k, y + r), (x - r, y + k), (x - r, y)],
        [(x - r, y - k), (x - k, y - r), (x, y - r)],
        [(x + k, y - r), (x + r, y - k), (x + r, y)],
    ]
}
