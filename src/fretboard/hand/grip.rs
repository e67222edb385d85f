//! Which finger presses which strings: all ways that a hand has, and the easiest of them.

use super::cost::press_cost;
use super::press::{Press, span_of};
use crate::fretboard::ease::EASE;
use crate::fretboard::neck::span_mm;

const NONE: Press = Press {
    fret: 0,
    from: 0,
    to: 0,
    thumb: false,
};

/// One way to hold a shape.
pub(super) struct Grip {
    pub(super) cost: f64,
    presses: [Press; 5],
    count: usize,
    /// The finger of each press; the thumb's says nothing.
    pub(super) fingers: [u8; 5],
    pub(super) stretch_mm: f64,
}

impl Grip {
    pub(super) fn presses(&self) -> &[Press] {
        &self.presses[..self.count]
    }
}

/// How strings are put under fingers.
#[derive(Clone, Copy)]
struct Way {
    /// One finger lies across the lowest fret.
    barre: bool,
    /// The thumb takes the lowest string.
    thumb: bool,
    /// Neighbors at one fret are under one finger wherever they can be.
    join_all: bool,
}

/// The easiest grip of pressed and open strings (at most twelve); none if no four fingers and thumb
/// can hold them.
pub(super) fn easiest(capo: u8, frets: &[Option<u8>]) -> Option<Grip> {
    let (mut notes, mut n) = ([NONE; 12], 0);
    for (s, f) in frets.iter().enumerate().take(12) {
        if let Some(fret) = f.filter(|f| *f > 0) {
            let string = s as u8;
            notes[n] = Press {
                fret,
                from: string,
                to: string,
                thumb: false,
            };
            n += 1;
        }
    }
    let notes = &notes[..n];
    let lowest = notes.iter().map(|p| p.fret).min().unwrap_or(0);
    let mut best: Option<Grip> = None;
    for barre in [false, true] {
        let mut before: Option<([Press; 5], usize)> = None;
        for (thumb, join_all) in [(false, false), (false, true), (true, false)] {
            let way = Way {
                barre,
                thumb,
                join_all,
            };
            let Some((presses, count)) = group(frets, notes, lowest, way) else {
                continue;
            };
            // joining often changes nothing
            if join_all && before.is_some_and(|(p, n)| p[..n] == presses[..count]) {
                continue;
            }
            before = Some((presses, count));
            let held = &presses[..count];
            let least = EASE.finger * count as f64 + span_of(capo, held) / EASE.mm_of_span;
            if best.as_ref().is_some_and(|b| least >= b.cost) {
                continue;
            }
            let Some((fingers, stretch_mm)) = assign(capo, held, barre) else {
                continue;
            };
            let cost = press_cost(capo, frets, held, lowest, stretch_mm);
            if best.as_ref().is_none_or(|b| cost < b.cost) {
                best = Some(Grip {
                    cost,
                    presses,
                    count,
                    fingers,
                    stretch_mm,
                });
            }
        }
    }
    best
}

/// Notes grouped under fingers: a barre at the lowest fret, the thumb, and,
/// as long as more than four fingers are needed, neighbors at one fret under one finger.
fn group(
    frets: &[Option<u8>],
    notes: &[Press],
    lowest: u8,
    way: Way,
) -> Option<([Press; 5], usize)> {
    let (mut presses, mut n) = ([NONE; 12], 0);
    let (mut rest, mut lowest) = (notes, lowest);
    if way.thumb {
        presses[0] = thumb(frets, notes)?;
        n = 1;
        rest = &notes[1..];
        lowest = rest.iter().map(|p| p.fret).min()?;
    }
    if way.barre {
        presses[n] = barre(frets, rest, lowest)?;
        n += 1;
    }
    for p in rest {
        if !(way.barre && p.fret == lowest) {
            presses[n] = *p;
            n += 1;
        }
    }
    let n = join(&mut presses, n, lowest, way)?;
    presses[usize::from(way.thumb)..n].sort_by_key(|p| (p.fret, p.from));
    let mut out = [presses[0]; 5];
    out[..n.min(5)].copy_from_slice(&presses[..n.min(5)]);
    (n <= 5).then_some((out, n))
}

/// The thumb on the lowest string: over the edge of the neck only that is in reach.
fn thumb(frets: &[Option<u8>], notes: &[Press]) -> Option<Press> {
    let first = notes.first().filter(|p| p.from == 0 && frets.len() >= 6)?;
    let upper = notes[1..].iter().map(|p| p.fret).min()?;
    (first.fret <= upper + 1 && notes.len() >= 4).then_some(Press {
        thumb: true,
        ..*first
    })
}

/// One finger across all that is pressed at the lowest fret.
fn barre(frets: &[Option<u8>], notes: &[Press], lowest: u8) -> Option<Press> {
    let at_lowest = || notes.iter().filter(|p| p.fret == lowest);
    if at_lowest().count() < 2 {
        return None;
    }
    let from = at_lowest().map(|p| p.from).min()?;
    let to = at_lowest().map(|p| p.to).max()?;
    // an open string cannot sound under a finger
    let under = &frets[usize::from(from)..=usize::from(to)];
    (!under.contains(&Some(0))).then_some(Press {
        fret: lowest,
        from,
        to,
        thumb: false,
    })
}

/// Puts neighbors at one fret under one finger, where four fingers are too few or one lies across
/// already; gives how many presses are left, none where they stay too many.
fn join(presses: &mut [Press; 12], mut n: usize, lowest: u8, way: Way) -> Option<usize> {
    let beside = |a: Press, b: Press| {
        let low_barre = way.barre && a.fret <= lowest;
        !a.thumb && a.fret == b.fret && a.to + 1 == b.from && !low_barre
    };
    while n - usize::from(way.thumb) > 4 {
        let at = (1..n).rev().find(|i| beside(presses[i - 1], presses[*i]))?;
        presses[at - 1].to = presses[at].to;
        presses.copy_within(at + 1..n, at);
        n -= 1;
    }
    // a finger that already lies across takes the neighbor too
    let mut i = 1;
    while i < n {
        let (a, b) = (presses[i - 1], presses[i]);
        let wide = way.join_all || a.to > a.from || b.to > b.from;
        if wide && beside(a, b) {
            presses[i - 1].to = b.to;
            presses.copy_within(i + 1..n, i);
            n -= 1;
        } else {
            i += 1;
        }
    }
    Some(n)
}

/// Fingers in order of fret, then string; gives them and what they must spread, mm.
fn assign(capo: u8, presses: &[Press], barre: bool) -> Option<([u8; 5], f64)> {
    let thumb = usize::from(presses.first().is_some_and(|p| p.thumb));
    let pressed = &presses[thumb..];
    let n = pressed.len();
    if n > 4 {
        return None;
    }
    let mut best: Option<(f64, [u8; 5], f64)> = None;
    for mask in 0u8..16 {
        if mask.count_ones() as usize != n || (barre && mask & 1 == 0) {
            continue;
        }
        let mut fingers = [0u8; 5];
        let mut at = thumb;
        for finger in 1..=4 {
            if mask >> (finger - 1) & 1 == 1 {
                fingers[at] = finger;
                at += 1;
            }
        }
        let (mut odd, mut stretch) = (0.0, 0.0f64);
        for i in 0..n {
            let finger = fingers[thumb + i];
            let natural = pressed[i].fret - pressed[0].fret + 1;
            odd += (f64::from(finger) - f64::from(natural)).abs();
            for j in 0..i {
                let apart = span_mm(pressed[j].fret + capo, pressed[i].fret + capo);
                stretch = stretch.max(apart - easy_mm(fingers[thumb + j], finger));
            }
        }
        let cost = odd + stretch / EASE.mm_of_odd_finger;
        // behind a barre the stronger hold: third and little finger
        if best.is_none_or(|b| cost < b.0 || barre && cost == b.0) {
            best = Some((cost, fingers, stretch));
        }
    }
    best.map(|(_, fingers, stretch)| (fingers, stretch))
}

/// How far two fingers lie apart without spreading, mm.
fn easy_mm(lower: u8, higher: u8) -> f64 {
    let easy = &EASE.easy_mm;
    match (lower, higher) {
        (1, 2) => easy.index_to_middle,
        (1, 3) => easy.index_to_ring,
        (1, _) => easy.index_to_little,
        (2, 4) => easy.middle_to_little,
        _ => easy.neighbors,
    }
}
