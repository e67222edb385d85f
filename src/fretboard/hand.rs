//! Which fingers a shape takes, how far they reach, and how easy that is.
//!
//! Fingers are 1 (index) to 4 (little finger) and T (thumb, on the lowest
//! strings). The measure of ease is ours: a sum of small costs, lower is
//! easier. Their weights were fitted: they make what an open data set of guitar
//! fingerings files for a chord likely among all its shapes (npm package
//! @tombatossals/chords-db 0.5.1; every second of its suffixes in order of the
//! alphabet, the others check, `tests/it/chords_db.rs`), and put what every
//! beginner's book shows first in first place (common practice, no source).

use super::ease::EASE;
use super::fingering::with_usual_fingers;
use super::neck::span_mm;
use super::taught::with_taught_fingers;
use super::{Instrument, Shape, Tuning};

/// A span from here on is a wide stretch, mm: four frets at the first fret.
pub const WIDE_SPAN_MM: f64 = 98.0;

/// What takebook says beside a wide stretch.
pub const STRETCH_CAUTION: &str = "wide stretch: warm up first, try it higher on the neck, stop if it hurts; \
ask a teacher, and a physician about pain that stays";

/// A finger of the fretting hand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Finger {
    /// The thumb, over the edge of the neck.
    Thumb,
    /// Index (1) to little finger (4).
    Number(u8),
}

impl Finger {
    /// `T`, `1` … `4`.
    pub fn text(self) -> String {
        match self {
            Self::Thumb => "T".into(),
            Self::Number(n) => n.to_string(),
        }
    }
}

/// One finger laid across neighboring strings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Barre {
    /// Fret, from the capo.
    pub fret: u8,
    /// First string it presses, 0 = lowest.
    pub from: usize,
    /// Last string it presses.
    pub to: usize,
    /// The finger.
    pub finger: u8,
}

/// How a hand holds a shape.
#[derive(Debug, Clone, PartialEq)]
pub struct Hand {
    /// Finger of each string; `None` for open and muted strings.
    pub fingers: Vec<Option<Finger>>,
    /// Barres, lowest fret first.
    pub barres: Vec<Barre>,
    /// How many fingers press, the thumb counted.
    pub n_fingers: u8,
    /// From the lowest to the highest pressed fret, mm, on a 650 mm scale.
    pub span_mm: f64,
    /// How far the fingers must spread beyond what falls in place, mm.
    pub stretch_mm: f64,
    /// Muted strings between sounding ones.
    pub muted_inside: u8,
    /// Open strings.
    pub n_open: u8,
    /// The measure of ease; lower is easier.
    pub effort: f64,
}

impl Hand {
    /// Whether the caution about stretches belongs beside it.
    pub fn is_wide(&self) -> bool {
        self.span_mm >= WIDE_SPAN_MM
    }

    /// The measure in words: `3 fingers, span 67 mm, 1 string muted inside`.
    pub fn words(&self) -> String {
        let mut parts = vec![match self.n_fingers {
            1 => "1 finger".to_owned(),
            n => format!("{n} fingers"),
        }];
        if self.n_fingers > 0 {
            parts.push(format!("span {:.0} mm", self.span_mm));
        }
        for barre in &self.barres {
            parts.push(format!(
                "barre of {} strings at fret {}",
                barre.to - barre.from + 1,
                barre.fret
            ));
        }
        match self.muted_inside {
            0 => {}
            1 => parts.push("1 string muted inside".into()),
            n => parts.push(format!("{n} strings muted inside")),
        }
        match self.n_open {
            0 => {}
            1 => parts.push("1 open string".into()),
            n => parts.push(format!("{n} open strings")),
        }
        parts.join(", ")
    }
}

/// Strings one finger presses together.
#[derive(Clone, Copy, PartialEq)]
struct Press {
    fret: u8,
    from: u8,
    to: u8,
    thumb: bool,
}

/// One way to hold a shape.
struct Grip {
    cost: f64,
    presses: [Press; 5],
    count: usize,
    fingers: [u8; 5],
    stretch_mm: f64,
}

/// How a hand holds a shape best; `None` if no four fingers and thumb can.
///
/// Takes an instrument (its capo shortens the spans) and one of its shapes.
pub fn hold(instrument: &Instrument, shape: &Shape) -> Option<Hand> {
    let hand = hold_frets(instrument, shape.frets())?;
    if instrument.tuning != Tuning::standard() {
        return Some(with_usual_fingers(hand, shape.frets()));
    }
    Some(with_taught_fingers(hand, shape.frets()))
}

/// As [`hold`], from bare frets (at most twelve strings).
pub(crate) fn hold_frets(instrument: &Instrument, frets: &[Option<u8>]) -> Option<Hand> {
    let mut best: Option<Grip> = None;
    let mut notes = [Press {
        fret: 0,
        from: 0,
        to: 0,
        thumb: false,
    }; 12];
    let mut n = 0;
    for (s, f) in frets.iter().enumerate().take(12) {
        if let Some(f) = f.filter(|f| *f > 0) {
            notes[n] = Press {
                fret: f,
                from: s as u8,
                to: s as u8,
                thumb: false,
            };
            n += 1;
        }
    }
    let lowest = notes[..n].iter().map(|p| p.fret).min().unwrap_or(0);
    for barre in [false, true] {
        let mut before: Option<([Press; 5], usize)> = None;
        for (thumb, join) in [(false, false), (false, true), (true, false)] {
            let grouped = group(frets, &notes[..n], lowest, barre, thumb, join);
            let Some((presses, count)) = grouped else {
                continue;
            };
            // joining often changes nothing
            if join && before.is_some_and(|(p, n)| p[..n] == presses[..count]) {
                continue;
            }
            before = Some((presses, count));
            let least = EASE.finger * count as f64
                + span_of(instrument.capo, &presses[..count]) / EASE.mm_of_span;
            if best.as_ref().is_some_and(|b| least >= b.cost) {
                continue;
            }
            let Some((fingers, stretch)) = assign(instrument.capo, &presses[..count], barre) else {
                continue;
            };
            let cost = press_cost(instrument.capo, frets, &presses[..count], lowest, stretch);
            if best.as_ref().is_none_or(|b| cost < b.cost) {
                best = Some(Grip {
                    cost,
                    presses,
                    count,
                    fingers,
                    stretch_mm: stretch,
                });
            }
        }
    }
    let Grip {
        cost,
        presses,
        count,
        fingers,
        stretch_mm,
    } = best?;
    let presses = &presses[..count];
    let mut hand = Hand {
        fingers: vec![None; frets.len()],
        barres: Vec::new(),
        n_fingers: count as u8,
        span_mm: span_of(instrument.capo, presses),
        stretch_mm,
        muted_inside: muted_inside(frets),
        n_open: frets.iter().filter(|f| **f == Some(0)).count() as u8,
        effort: 0.0,
    };
    for (press, number) in presses.iter().zip(fingers) {
        let finger = if press.thumb {
            Finger::Thumb
        } else {
            Finger::Number(number)
        };
        for s in press.from..=press.to {
            if frets[usize::from(s)] == Some(press.fret) {
                hand.fingers[usize::from(s)] = Some(finger);
            }
        }
        if press.to > press.from {
            hand.barres.push(Barre {
                fret: press.fret,
                from: usize::from(press.from),
                to: usize::from(press.to),
                finger: number,
            });
        }
    }
    hand.effort = cost + string_cost(frets, hand.muted_inside, lowest);
    Some(hand)
}

/// Muted strings between sounding ones.
pub(crate) fn muted_inside(frets: &[Option<u8>]) -> u8 {
    let first = frets.iter().position(Option::is_some).unwrap_or(0);
    let last = frets
        .iter()
        .rposition(Option::is_some)
        .map_or(0, |last| last + 1);
    frets
        .get(first..last)
        .unwrap_or_default()
        .iter()
        .filter(|f| f.is_none())
        .count() as u8
}

/// Notes grouped under fingers: a barre at the lowest fret, the thumb, and,
/// as long as more than four fingers are needed, neighbors at one fret under one finger.
fn group(
    frets: &[Option<u8>],
    notes: &[Press],
    lowest: u8,
    barre: bool,
    thumb: bool,
    join_all: bool,
) -> Option<([Press; 5], usize)> {
    let mut presses = [Press {
        fret: 0,
        from: 0,
        to: 0,
        thumb: false,
    }; 12];
    let mut n = 0;
    let mut rest = notes;
    if thumb {
        // over the edge of the neck only the lowest string is in reach
        let first = rest.first().filter(|p| p.from == 0 && frets.len() >= 6)?;
        let upper = rest[1..].iter().map(|p| p.fret).min()?;
        if first.fret > upper + 1 || rest.len() < 4 {
            return None;
        }
        presses[0] = Press {
            thumb: true,
            ..*first
        };
        n = 1;
        rest = &rest[1..];
    }
    let lowest = if thumb {
        rest.iter().map(|p| p.fret).min()?
    } else {
        lowest
    };
    if barre {
        let at: (u8, u8, usize) = rest
            .iter()
            .filter(|p| p.fret == lowest)
            .fold((u8::MAX, 0, 0), |(from, to, count), p| {
                (from.min(p.from), to.max(p.to), count + 1)
            });
        if at.2 < 2 {
            return None;
        }
        let under = &frets[usize::from(at.0)..=usize::from(at.1)];
        // an open string cannot sound under a finger
        if under.contains(&Some(0)) {
            return None;
        }
        presses[n] = Press {
            fret: lowest,
            from: at.0,
            to: at.1,
            thumb: false,
        };
        n += 1;
    }
    for p in rest {
        if !(barre && p.fret == lowest) {
            presses[n] = *p;
            n += 1;
        }
    }
    while n - usize::from(thumb) > 4 {
        // join two neighbors at one fret that are not part of the low barre
        let join = (1..n).rev().find(|i| {
            let (a, b) = (presses[i - 1], presses[*i]);
            !a.thumb && a.fret == b.fret && a.to + 1 == b.from && (!barre || a.fret > lowest)
        })?;
        presses[join - 1].to = presses[join].to;
        presses.copy_within(join + 1..n, join);
        n -= 1;
    }
    // a finger that already lies across takes the neighbor too
    let mut i = 1;
    while i < n {
        let (a, b) = (presses[i - 1], presses[i]);
        let wide = join_all || a.to > a.from || b.to > b.from;
        if !a.thumb && wide && a.fret == b.fret && a.to + 1 == b.from && (!barre || a.fret > lowest)
        {
            presses[i - 1].to = b.to;
            presses.copy_within(i + 1..n, i);
            n -= 1;
        } else {
            i += 1;
        }
    }
    presses[usize::from(thumb)..n].sort_by_key(|p| (p.fret, p.from));
    let mut out = [presses[0]; 5];
    out[..n.min(5)].copy_from_slice(&presses[..n.min(5)]);
    (n <= 5).then_some((out, n))
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

fn span_of(capo: u8, presses: &[Press]) -> f64 {
    let frets = || presses.iter().map(|p| p.fret + capo);
    match (frets().min(), frets().max()) {
        (Some(low), Some(high)) => span_mm(low, high),
        _ => 0.0,
    }
}

/// What pressing costs: fingers, reach, stretch, barres.
fn press_cost(
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
fn string_cost(frets: &[Option<u8>], muted_inside: u8, lowest: u8) -> f64 {
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
