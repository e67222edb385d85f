//! Where on the neck plucked notes can be played.
//!
//! A pitch can be played at several places; a shape that sounds all of them
//! says which, else the places where the hand reaches and moves least.

use crate::fretboard::Instrument;
use crate::songlog::song::Span;

/// Pitches that are placed together; a hand that plucks more than these moves on.
const AT_ONCE: usize = 6;
/// Places of each pitch that are tried, the lowest frets first.
const TRIED: usize = 4;
/// Highest fret of tablature, from the capo.
const HIGHEST: u8 = 17;
/// Weights of what a row of places costs (ours): a fret of reach within a stroke, within
/// the hand's four frets, and beyond them; a string left out within a stroke, a string that
/// two pitches share, a higher pitch on a lower string; a fret of way from where the hand
/// was and the most that way costs; a fret above the fourth.
const REACH: f64 = 2.0;
const IN_HAND: f64 = 0.4;
const HAND: u8 = 3;
const LEFT_OUT: f64 = 1.0;
const SHARED: f64 = 0.4;
const CROSSED: f64 = 0.5;
const WAY: f64 = 0.4;
const LONGEST_WAY: f64 = 1.2;
const HEIGHT: f64 = 0.3;

/// A pitch with its string and fret.
pub(super) type Placed = (u8, usize, u8);

/// Where each pitch of some strokes is played, as far as it can be.
///
/// Takes the pitches of each stroke: what is struck at once lies on strings of
/// its own, what follows may take a string again. `near` is the fret where the hand
/// was, and is where it is afterwards.
pub(super) fn places(
    instrument: &Instrument,
    span: &Span,
    strokes: &[&[u8]],
    near: &mut Option<f64>,
) -> Vec<Placed> {
    let mut pitches: Vec<u8> = strokes.iter().copied().flatten().copied().collect();
    pitches.sort_unstable();
    pitches.dedup();
    let by_shape = span.shapes.iter().take(4).find_map(|shape| {
        let sounding = instrument.sounding(shape);
        let all = pitches
            .iter()
            .map(|m| {
                let string = sounding.iter().position(|s| *s == Some(*m))?;
                Some((*m, string, shape.frets()[string]?))
            })
            .collect::<Option<Vec<_>>>();
        all.filter(|_| !span.fragment || span.n_decided_shapes > 0)
    });
    let found = by_shape.unwrap_or_else(|| least_reach(instrument, &pitches, strokes, *near));
    *near = mean_fret(&found).or(*near);
    found
}

/// Mean of the pressed frets; an open string needs no hand.
fn mean_fret(row: &[Placed]) -> Option<f64> {
    let pressed = row.iter().filter(|p| p.2 > 0);
    let (n, sum) = pressed.fold((0.0, 0.0), |(n, sum), p| (n + 1.0, sum + f64::from(p.2)));
    (n > 0.0).then(|| sum / n)
}

/// The places that cost least together; pitches beyond [`AT_ONCE`] lie as low as they can.
fn least_reach(
    instrument: &Instrument,
    pitches: &[u8],
    strokes: &[&[u8]],
    near: Option<f64>,
) -> Vec<Placed> {
    let n = instrument.tuning.n_strings();
    let neck = instrument.highest_fret.saturating_sub(instrument.capo);
    let frets_of = |midi: u8| {
        let fret_on =
            |string| (0..=neck.min(HIGHEST)).find(|f| instrument.midi(string, *f) == Some(midi));
        let mut found: Vec<Placed> = (0..n)
            .rev()
            .filter_map(|string| Some((midi, string, fret_on(string)?)))
            .collect();
        found.sort_by_key(|p| p.2);
        found
    };
    // a single note can be struck anywhere, and a stroke that comes again says nothing new
    let mut strokes: Vec<&[u8]> = strokes.iter().copied().filter(|s| s.len() > 1).collect();
    strokes.sort_unstable();
    strokes.dedup();
    let together = |a: u8, b: u8| strokes.iter().any(|s| s.contains(&a) && s.contains(&b));
    let mut rows: Vec<Vec<Placed>> = vec![Vec::new()];
    for midi in pitches.iter().take(AT_ONCE) {
        let mut longer = Vec::new();
        let tried = frets_of(*midi);
        for row in &rows {
            for place in tried.iter().copied().take(TRIED) {
                // a lower pitch of the same stroke lies on a lower string
                if row.iter().all(|p| p.1 < place.1 || !together(p.0, place.0)) {
                    let mut row = row.clone();
                    row.push(place);
                    longer.push(row);
                }
            }
        }
        if !longer.is_empty() {
            rows = longer;
        }
    }
    let mut best = rows
        .into_iter()
        .map(|row| (cost(&row, &strokes, near), row))
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map_or_else(Vec::new, |(_, row)| row);
    let more = pitches.iter().skip(AT_ONCE);
    best.extend(more.filter_map(|midi| frets_of(*midi).first().copied()));
    best
}

fn cost(row: &[Placed], strokes: &[&[u8]], near: Option<f64>) -> f64 {
    let crossed = row.windows(2).filter(|w| w[1].1 < w[0].1).count();
    let shared = (1..row.len()).filter(|i| row[..*i].iter().any(|p| p.1 == row[*i].1));
    let of_strokes = strokes.iter().map(|stroke| {
        let mine = || row.iter().filter(|p| stroke.contains(&p.0));
        let (first, last) = (mine().map(|p| p.1).min(), mine().map(|p| p.1).max());
        let inside = first.zip(last).map_or(0, |(a, b)| b - a + 1);
        let left_out = inside.saturating_sub(mine().count());
        REACH * f64::from(reach(mine())) + LEFT_OUT * left_out as f64
    });
    let all = reach(row.iter());
    let hand = mean_fret(row).map_or(0.0, |mean| {
        let way = near.map_or(0.0, |near| (WAY * (mean - near).abs()).min(LONGEST_WAY));
        way + HEIGHT * (mean - 4.0).max(0.0)
    });
    of_strokes.fold(0.0, f64::max)
        + IN_HAND * f64::from(all.min(HAND))
        + REACH * f64::from(all.saturating_sub(HAND))
        + SHARED * shared.count() as f64
        + CROSSED * crossed as f64
        + hand
}

/// Frets from the lowest pressed to the highest.
fn reach<'a>(row: impl Iterator<Item = &'a Placed>) -> u8 {
    let pressed = row.map(|p| p.2).filter(|f| *f > 0);
    let (low, high) = pressed.fold((u8::MAX, 0), |(l, h), f| (l.min(f), h.max(f)));
    high.saturating_sub(low)
}
