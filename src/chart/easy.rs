//! A song simplified for a beginner: open shapes, each simplification said.
//!
//! A chord that an open shape plays is kept. Else notes are left out of it, the
//! bass after the slash first, then degrees, as few as needed; none is ever
//! changed. What no open shape can stand for is kept and named.

use crate::fretboard::{Hand, Instrument, Limits, Shape, Wanted, hold, voicings};
use crate::songlog::song::Song;
use crate::theory::{Chord, Label, QUALITIES};
use std::collections::HashMap;

/// Highest fret of an open shape (common practice, no source).
const HIGHEST_FRET: u8 = 4;
/// Widest from the lowest to the highest pressed fret, frets.
const REACH: u8 = 2;
/// A finger may lie across so many strings.
const BARRE: usize = 2;
/// Capos that are tried when chords are left without an open shape.
const CAPOS: std::ops::RangeInclusive<u8> = 1..=7;

/// What a chord becomes.
#[derive(Clone)]
struct Simple {
    chord: Chord,
    shape: Shape,
}

/// Simplifies the song; its notes say each simplification, and what was kept.
pub(super) fn simplify(song: &mut Song) {
    let instrument = song.instrument.clone();
    let mut made: HashMap<String, Option<Simple>> = HashMap::new();
    let mut said: Vec<String> = Vec::new();
    let mut kept: Vec<Chord> = Vec::new();
    for span in &mut song.spans {
        let Some(chord) = span.label.chord().cloned() else {
            continue;
        };
        // a shape the song has already may be easy enough
        let own = span.shapes.iter().position(|s| is_open(&instrument, s));
        if let Some(at) = own {
            let shape = span.shapes[at].clone();
            let decided = at < span.n_decided_shapes;
            if at > 0 {
                push_once(&mut said, format!("{} is played {shape}", chord.symbol()));
            }
            span.shapes = vec![shape];
            span.n_decided_shapes = usize::from(decided);
            continue;
        }
        let found = made
            .entry(chord.label())
            .or_insert_with(|| simple(&instrument, &chord))
            .clone();
        let Some(found) = found else {
            if !kept.contains(&chord) {
                kept.push(chord);
            }
            continue;
        };
        let text = if found.chord == chord {
            format!("{} is played {}", chord.symbol(), found.shape)
        } else {
            format!(
                "{} is played as {} {} ({})",
                chord.symbol(),
                found.chord.symbol(),
                found.shape,
                left_out(&chord, &found.chord)
            )
        };
        push_once(&mut said, text);
        span.label = Label::Chord(found.chord);
        span.shapes = vec![found.shape];
        span.n_decided_shapes = 0;
    }
    for text in said {
        song.notes.push(format!("Simplified: {text}."));
    }
    if !kept.is_empty() {
        let names: Vec<String> = kept.iter().map(Chord::symbol).collect();
        let mut text = format!("No open shape: {}", names.join(", "));
        if let Some(hint) = capo_hint(song, kept.len()) {
            text.push_str(&hint);
        }
        song.notes.push(text + ".");
    }
}

fn push_once(list: &mut Vec<String>, text: String) {
    if !list.contains(&text) {
        list.push(text);
    }
}

/// Whether a string rings open in it and a beginner's hand holds it at the nut or capo.
fn is_open(instrument: &Instrument, shape: &Shape) -> bool {
    let pressed = || shape.frets().iter().flatten().copied().filter(|f| *f > 0);
    let (low, high) = (pressed().min().unwrap_or(0), pressed().max().unwrap_or(0));
    let easy = |hand: Hand| !hand.is_wide() && hand.barres.iter().all(|b| b.to - b.from < BARRE);
    let sounding: Vec<usize> = (0..shape.frets().len())
        .filter(|s| shape.frets()[*s].is_some())
        .collect();
    // no string between two that sound has to be kept quiet
    let together = match (sounding.first(), sounding.last()) {
        (Some(a), Some(b)) => b - a + 1 == sounding.len(),
        _ => false,
    };
    shape.frets().contains(&Some(0))
        && high <= HIGHEST_FRET
        && high - low <= REACH
        && together
        && hold(instrument, shape).is_some_and(easy)
}

/// The fullest chord within this one that an open shape plays.
fn simple(instrument: &Instrument, chord: &Chord) -> Option<Simple> {
    let whole = chord.degrees();
    let mut plain = chord.clone();
    plain.bass = None;
    let mut tries = vec![chord.clone(), plain.clone()];
    let mut rows: Vec<_> = QUALITIES
        .iter()
        .filter(|q| {
            let third = q.degrees.iter().any(|d| (2..=4).contains(&d.number()));
            let has_third = whole.iter().any(|d| d.number() == 3);
            q.degrees.iter().all(|d| whole.contains(d)) && (third || !has_third)
        })
        .filter(|q| q.degrees.len() >= 2 && q.degrees.len() < whole.len())
        .collect();
    // as few notes left out as can be; of equals the plainer name
    rows.sort_by_key(|q| std::cmp::Reverse(q.degrees.len()));
    tries.extend(rows.into_iter().map(|q| Chord::new(chord.root, q)));
    tries.into_iter().find_map(|chord| {
        let shape = open_shape(instrument, &chord)?;
        Some(Simple { chord, shape })
    })
}

fn open_shape(instrument: &Instrument, chord: &Chord) -> Option<Shape> {
    let limits = Limits {
        highest_fret: HIGHEST_FRET,
        muted_inside: 0,
        min_strings: 4,
        max_fingers: 4,
        ..Limits::default()
    };
    voicings(instrument, Wanted::chord(chord), &limits)
        .into_iter()
        .map(|v| v.shape)
        .find(|shape| is_open(instrument, shape))
}

/// `9 and the bass E left out`.
fn left_out(whole: &Chord, simple: &Chord) -> String {
    let there = simple.degrees();
    let mut parts: Vec<String> = whole
        .degrees()
        .iter()
        .filter(|d| !there.contains(d))
        .map(|d| d.text())
        .collect();
    if whole.bass.is_some() && simple.bass.is_none() {
        parts.push(format!("the bass {}", whole.bass_note().text()));
    }
    format!("{} left out", parts.join(" and "))
}

/// A capo with which more chords have open shapes.
fn capo_hint(song: &Song, n_kept: usize) -> Option<String> {
    let mut chords: Vec<&Chord> = Vec::new();
    for chord in song.spans.iter().filter_map(|s| s.label.chord()) {
        if !chords.contains(&chord) {
            chords.push(chord);
        }
    }
    let without = |capo: u8| {
        let instrument = Instrument {
            capo,
            ..song.instrument.clone()
        };
        let hard = |c: &&&Chord| open_shape(&instrument, c).is_none();
        chords.iter().filter(hard).count()
    };
    CAPOS
        .filter(|capo| *capo != song.instrument.capo)
        .map(|capo| (without(capo), capo))
        .min()
        .filter(|(n, _)| *n < n_kept)
        .map(|(n, capo)| match n {
            0 => format!(" (with --capo {capo} every chord has one)"),
            n => format!(" (with --capo {capo} only {n} lack one)"),
        })
}
