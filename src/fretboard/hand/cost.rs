//! What a hold costs: fingers, reach, stretch, barres, and what the strings do.

use super::press::{Press, span_of};
use crate::fretboard::ease::EASE;

/// What pressing costs: fingers, reach, stretch, barres.
pub(super) fn press_cost(
    capo: u8,
    frets: &[Option<u8>],
    presses: &[Press],
    lowest: u8,
    stretch_mm: f64,
) -> f64 {
    let w = &*EASE;
    let mut cost = w.finger * presses.len() as f64
        + span_of(capo, presses) / w.mm_of_span
        + stretch_mm / w.mm_of_stretch;
    cost += match presses.iter().map(|p| p.fret - lowest).max() {
        Some(4..) => w.four_frets,
        Some(3) => w.three_frets,
        _ => 0.0,
    };
    // two fingers laid across, neither of them the first, hinder each other
    let across = presses
        .iter()
        .filter(|p| p.to > p.from && p.fret > lowest)
        .count();
    cost += w.second_across * across.saturating_sub(1) as f64;
    for p in presses {
        if p.thumb {
            cost += w.thumb;
        }
        // two fingers at one fret with higher ones between them cross the hand
        let crossed = presses.iter().any(|q| {
            q.fret == p.fret
                && q.from > p.to + 2
                && presses
                    .iter()
                    .any(|m| m.fret > p.fret && m.from > p.to && m.to < q.from)
        });
        if crossed && p.fret == lowest {
            cost += w.crossed;
        }
        let width = p.to - p.from + 1;
        if width < 2 {
            continue;
        }
        // strings that must sound above a barre which is not the lowest
        let above = frets
            .get(usize::from(p.to) + 1..)
            .unwrap_or_default()
            .iter()
            .any(Option::is_some);
        cost += match (p.fret == lowest, width) {
            (true, 2) => w.first_barre[0],
            (true, 3) => w.first_barre[1],
            (true, _) => w.first_barre[2],
            (false, 2) => w.other_barre[0],
            (false, _) => w.other_barre[1],
        };
        if p.fret > lowest && above {
            cost += w.sounds_above;
        }
        // across at the lowest fret, but not with the first finger
        if p.fret == lowest && presses.iter().filter(|q| q.fret == lowest).count() > 1 {
            cost += w.barre_beside;
        }
        // a string muted under a barre has to be choked with a finger tip
        let choked = frets[usize::from(p.from)..=usize::from(p.to)]
            .iter()
            .filter(|f| f.is_none())
            .count();
        cost += w.choked * choked as f64;
    }
    cost
}

/// Whether the lowest string is pressed and the one above it muted, the next
/// sounding, as in 2x0232 (common practice, no source).
fn bass_finger_mutes(frets: &[Option<u8>]) -> bool {
    matches!(frets, [Some(pressed), None, Some(_), ..] if *pressed > 0)
}

/// What the strings cost: mutes, thin sound, height on the neck, open strings far from the hand.
pub(super) fn string_cost(frets: &[Option<u8>], muted_inside: u8, lowest: u8) -> f64 {
    let w = &*EASE;
    let sounding = frets.iter().flatten().count() as f64;
    // the lowest strings are often left alone; without the highest a shape sounds thin
    let above = frets.iter().rev().take_while(|f| f.is_none()).count() as f64;
    let below = frets.len() as f64 - sounding - f64::from(muted_inside) - above;
    let thin = if sounding < 4.0 { w.thin } else { 0.0 };
    let open = frets.iter().filter(|f| **f == Some(0)).count() as f64;
    // an open string between pressed ones must be cleared by arched fingers
    let between = frets
        .windows(3)
        .filter(|w| w[1] == Some(0) && [w[0], w[2]].iter().all(|f| f.is_some_and(|f| f > 0)))
        .count() as f64;
    let place = match lowest {
        0 | 1 => 0,
        2..=3 => 1,
        4..=5 => 2,
        _ => 3,
    };
    let strings = w.open[place] * open + w.open_between[place] * between;
    // and beside a hand that has left the first frets it sounds of another place
    let beside = if open > 0.0 && lowest >= 3 {
        w.open_beside
    } else {
        0.0
    };
    // the finger on the lowest string quiets the next one with its tip
    let touched = f64::from(u8::from(bass_finger_mutes(frets)));
    w.muted * (f64::from(muted_inside) - touched)
        + w.touched * touched
        + w.left_below * below
        + w.left_above * above
        + thin
        + w.fret * f64::from(lowest.saturating_sub(1))
        + strings
        + beside
        - w.string * (sounding - 3.0)
}
