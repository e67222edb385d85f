//! A chord box as numbers: which window of the neck, dots, barres, open and muted strings.

use super::sheet::ShapeBox;
use crate::fretboard::{Finger, Shape};

/// Fewest frets shown.
const LEAST_ROWS: u8 = 4;

/// A chord box in grid units: column 0 is the leftmost string, row 1 the first fret shown.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Diagram {
    /// Columns.
    pub(super) n_strings: usize,
    /// Fret of row 1; 1 means the nut (or capo) is drawn.
    pub(super) first_fret: u8,
    /// Rows.
    pub(super) n_rows: u8,
    /// Column, row and finger of each pressed string.
    pub(super) dots: Vec<(usize, u8, Option<String>)>,
    /// Row, left and right column of each finger laid across.
    pub(super) barres: Vec<(u8, usize, usize)>,
    /// Column and whether it rings (else it is muted), above the box.
    pub(super) tops: Vec<(usize, bool)>,
}

/// Frets that a box must show: from and to.
fn window(shape: &Shape) -> (u8, u8) {
    let pressed = || shape.frets().iter().flatten().copied().filter(|f| *f > 0);
    let (low, high) = (pressed().min().unwrap_or(1), pressed().max().unwrap_or(1));
    let first = if high <= LEAST_ROWS + 1 { 1 } else { low };
    // boxes beside each other are of one height; only a wider stretch needs more
    (first, high.max(first + LEAST_ROWS - 1))
}

/// The box of a shape; `left_handed` mirrors it.
pub(super) fn diagram(shape_box: &ShapeBox, left_handed: bool) -> Diagram {
    let frets = shape_box.shape.frets();
    let n = frets.len();
    let column = |s: usize| if left_handed { n - 1 - s } else { s };
    let (first, last) = window(&shape_box.shape);
    let hand = shape_box.hand.as_ref();
    let mut made = Diagram {
        n_strings: n,
        first_fret: first,
        n_rows: last - first + 1,
        dots: Vec::new(),
        barres: Vec::new(),
        tops: Vec::new(),
    };
    for (s, fret) in frets.iter().enumerate() {
        match fret {
            Some(f) if *f > 0 => {
                let finger = hand
                    .and_then(|h| h.fingers.get(s).copied().flatten())
                    .map(Finger::text);
                made.dots.push((column(s), f - first + 1, finger));
            }
            ring => made.tops.push((column(s), ring.is_some())),
        }
    }
    for barre in hand.iter().flat_map(|h| &h.barres) {
        let (a, b) = (column(barre.from), column(barre.to));
        let row = barre.fret - first + 1;
        made.barres.push((row, a.min(b), a.max(b)));
        // one finger is one digit: that of its lowest string
        let low = a;
        made.dots.retain(|(column, r, _)| {
            *r != row || *column == low || !(a.min(b)..=a.max(b)).contains(column)
        });
    }
    made
}
