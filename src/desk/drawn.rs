//! A shape as a page draws it.

use crate::fretboard::{Finger, Instrument, STRETCH_CAUTION, Shape, hold};
use serde_json::{Value, json};

/// A chord box shows at least so many frets (common practice, no source).
const LEAST_ROWS: u8 = 4;

/// Frets, fingers, barres, the first fret of the box, and the reach in words.
pub(super) fn shape(instrument: &Instrument, shape: &Shape, decided: bool) -> Value {
    let hand = hold(instrument, shape);
    let (first_fret, n_rows) = window(shape);
    let reach = hand.as_ref().map_or_else(
        || "no hand position of four fingers and thumb was found".into(),
        |h| h.words(),
    );
    let caution = hand
        .as_ref()
        .filter(|h| h.is_wide())
        .map(|_| STRETCH_CAUTION);
    json!({
        "text": shape.text(),
        "frets": shape.frets(),
        "fingers": hand.as_ref().map(|h| {
            h.fingers.iter().map(|f| f.map(Finger::text)).collect::<Vec<_>>()
        }),
        "barres": hand.iter().flat_map(|h| &h.barres).map(|b| json!({
            "fret": b.fret, "from": b.from, "to": b.to, "finger": b.finger,
        })).collect::<Vec<_>>(),
        "first_fret": first_fret,
        "n_rows": n_rows,
        "midi": instrument.sounding(shape),
        "reach_words": reach,
        "caution": caution,
        "decided": decided,
    })
}

/// First fret of the box and how many it shows.
fn window(shape: &Shape) -> (u8, u8) {
    let pressed = || shape.frets().iter().flatten().copied().filter(|f| *f > 0);
    let (low, high) = (pressed().min().unwrap_or(1), pressed().max().unwrap_or(1));
    let first = if high <= LEAST_ROWS + 1 { 1 } else { low };
    (first, (high + 1 - first).max(LEAST_ROWS))
}
