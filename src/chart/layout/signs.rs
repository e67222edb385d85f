//! Segno and coda as lines and circles: no font at hand has them.

use super::{Item, Pen, line};
use std::f64::consts::PI;

/// Height of a sign, and how much of it its lines are wide.
const STROKE: f64 = 0.11;

/// Width of a sign as a share of its height.
pub(super) const WIDTH: f64 = 0.9;

/// The S with a stroke through it and two dots, around a point, `size` mm high.
pub(super) fn segno((x, y): (f64, f64), size: f64) -> Vec<Item> {
    let at = |(dx, dy): (f64, f64)| (x + dx * size, y + dy * size);
    let mut items = Vec::new();
    for pair in letter_s().windows(2) {
        items.push(stroke(at(pair[0]), at(pair[1]), STROKE * size));
    }
    let width = 0.7 * STROKE * size;
    items.push(stroke(at((-0.4, 0.5)), at((0.4, -0.5)), width));
    for dot in [(-0.4, 0.1), (0.4, -0.1)] {
        items.push(Item::Circle {
            center: at(dot),
            radius: 0.07 * size,
            stroke: None,
        });
    }
    items
}

/// The ring with a cross, around a point, `size` mm high.
pub(super) fn coda((x, y): (f64, f64), size: f64) -> Vec<Item> {
    let (arm, width) = (size / 2.0, 0.8 * STROKE * size);
    vec![
        Item::Circle {
            center: (x, y),
            radius: 0.3 * size,
            stroke: Some(STROKE * size),
        },
        line((x - arm, y), (x + arm, y), width),
        line((x, y - arm), (x, y + arm), width),
    ]
}

/// An S as two arcs, from its upper end to its lower one; 1 high, y downwards.
fn letter_s() -> Vec<(f64, f64)> {
    const STEPS: usize = 12;
    const RADIUS: f64 = 0.21;
    let arc = |center: f64, from: f64, to: f64| {
        (0..=STEPS).map(move |k| {
            let turn = (from + (to - from) * k as f64 / STEPS as f64) * PI / 180.0;
            (RADIUS * turn.cos(), center + RADIUS * turn.sin())
        })
    };
    arc(-RADIUS, -15.0, -270.0)
        .chain(arc(RADIUS, -90.0, 165.0))
        .collect()
}

fn stroke(from: (f64, f64), to: (f64, f64), width: f64) -> Item {
    Item::Line {
        from,
        to,
        width,
        pen: Pen::Round,
    }
}
