//! A song simplified for a beginner: open shapes, each simplification said.
//!
//! A chord that an open shape plays is kept. Else notes are left out of it, the
//! bass after the slash first, then degrees, as few as needed. A triad without an
//! open shape gets its seventh where the key has that note and an open shape plays
//! it (Bm7 for Bm, Fmaj7 for F), else a small shape for three fingers (xx3211).
//! What none of these can stand for is kept and named.

use crate::fretboard::{Finger, Instrument, Limits, Shape, hold, taught_over_capo, usual_voicings};
use crate::songlog::song::Song;
use crate::theory::{Chord, Degree, Key, Label, QUALITIES, Quality};
use std::collections::HashMap;

/// Highest fret of an open shape (common practice, no source).
const HIGHEST_FRET: u8 = 4;
/// Widest from the lowest to the highest pressed fret, frets.
const REACH: u8 = 2;
/// A finger may lie across so many strings.
const BARRE: usize = 2;
/// A small shape sounds so many strings and takes so many fingers at most.
const SMALL_STRINGS: usize = 4;
/// See [`SMALL_STRINGS`].
const SMALL_FINGERS: u8 = 3;
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
    let key = song.key.filter(|_| song.key_changes.is_empty());
    let mut made: HashMap<String, Option<Simple>> = HashMap::new();
    let mut said: Vec<String> = Vec::new();
    let mut kept: Vec<Chord> = Vec::new();
    for span in &mut song.spans {
        let Some(chord) = span.label.chord().cloned() else {
            continue;
        };
        // a shape the song has already may be easy enough
        let usual = |s: &Shape| is_usual(&instrument, &chord, s);
        let own = span.shapes.iter().enumerate().position(|(at, s)| {
            let fits = at < span.n_decided_shapes || usual(s);
            fits && kind_of(&instrument, s).is_some()
        });
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
            .or_insert_with(|| simple(&instrument, &chord, key))
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
                changed(&chord, &found.chord)
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

/// Which shapes a beginner is shown.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    /// A string rings open.
    Open,
    /// The four highest strings at most, none of them open, three fingers.
    Small,
}

/// Whether a beginner's hand holds a shape at the nut or capo: open, or small.
fn kind_of(instrument: &Instrument, shape: &Shape) -> Option<Kind> {
    let frets = shape.frets();
    let pressed = || frets.iter().flatten().copied().filter(|f| *f > 0);
    let (low, high) = (pressed().min().unwrap_or(0), pressed().max().unwrap_or(0));
    let sounding: Vec<usize> = (0..frets.len()).filter(|s| frets[*s].is_some()).collect();
    // no string between two that sound has to be kept quiet
    let together = match (sounding.first(), sounding.last()) {
        (Some(a), Some(b)) => b - a + 1 == sounding.len(),
        _ => false,
    };
    if high > HIGHEST_FRET || high - low > REACH || !together {
        return None;
    }
    let hand = hold(instrument, shape)?;
    let barre = hand.barres.iter().any(|b| b.to - b.from >= BARRE);
    if barre || hand.is_wide() || hand.fingers.contains(&Some(Finger::Thumb)) {
        return None;
    }
    if frets.contains(&Some(0)) {
        Some(Kind::Open)
    } else if sounding.len() <= SMALL_STRINGS && hand.n_fingers <= SMALL_FINGERS {
        Some(Kind::Small)
    } else {
        None
    }
}

/// Whether a shape is taught for a chord, or none is.
fn is_usual(instrument: &Instrument, chord: &Chord, shape: &Shape) -> bool {
    let taught = taught_over_capo(instrument, chord);
    taught.is_empty() || taught.contains(shape)
}

/// The chord that is nearest to this one and easy to hold.
fn simple(instrument: &Instrument, chord: &Chord, key: Option<Key>) -> Option<Simple> {
    let mut plain = chord.clone();
    plain.bass = None;
    let seventh = key.and_then(|key| with_seventh(&plain, key));
    if let (Some(seventh), None) = (&seventh, chord.bass) {
        // rather a taught shape of the seventh than a makeshift one of the triad
        let usual = |chord: &Chord| {
            let shape = easy_shape(instrument, chord, Kind::Open)?;
            let chord = chord.clone();
            is_usual(instrument, &chord, &shape).then_some(Simple { chord, shape })
        };
        if let Some(found) = usual(chord).or_else(|| usual(seventh)) {
            return Some(found);
        }
    }
    let mut tries = vec![chord.clone(), plain];
    tries.extend(with_less(chord));
    tries.extend(seventh);
    let first = |kind: Kind| {
        tries.iter().find_map(|chord| {
            let shape = easy_shape(instrument, chord, kind)?;
            Some(Simple {
                chord: chord.clone(),
                shape,
            })
        })
    };
    first(Kind::Open).or_else(|| first(Kind::Small))
}

/// Chords on the root whose tones are all in this one, as few left out as can be.
fn with_less(chord: &Chord) -> Vec<Chord> {
    let whole = chord.degrees();
    let has_third = whole.iter().any(|d| d.number() == 3);
    let mut rows: Vec<&Quality> = QUALITIES
        .iter()
        .filter(|q| {
            let third = q.degrees.iter().any(|d| (2..=4).contains(&d.number()));
            q.degrees.iter().all(|d| whole.contains(d)) && (third || !has_third)
        })
        .filter(|q| q.degrees.len() >= 2 && q.degrees.len() < whole.len())
        .collect();
    // of equals the plainer name
    rows.sort_by_key(|q| std::cmp::Reverse(q.degrees.len()));
    rows.into_iter()
        .map(|q| Chord::new(chord.root, q))
        .collect()
}

/// A plain triad with its seventh, where the key has that note: minor with the minor
/// seventh, major with the major one (common practice, no source).
fn with_seventh(chord: &Chord, key: Key) -> Option<Chord> {
    let (seventh, harte) = match chord.quality.harte {
        "min" => (Degree::new(7, -1), "min7"),
        "maj" => (Degree::new(7, 0), "maj7"),
        _ => return None,
    };
    let note = seventh.over(chord.root.pitch_class());
    let in_key = key.scale().iter().any(|n| n.pitch_class() == note);
    let plain = chord.added.is_empty() && chord.omitted.is_empty();
    let quality = Quality::by_harte(harte).filter(|_| in_key && plain)?;
    Some(Chord::new(chord.root, quality))
}

/// The most usual shape of a kind.
fn easy_shape(instrument: &Instrument, chord: &Chord, kind: Kind) -> Option<Shape> {
    let limits = Limits {
        highest_fret: HIGHEST_FRET,
        muted_inside: 0,
        min_strings: 4,
        max_fingers: 4,
        ..Limits::default()
    };
    usual_voicings(instrument, chord, &limits)
        .into_iter()
        .map(|v| v.shape)
        .find(|shape| kind_of(instrument, shape) == Some(kind))
}

/// `9 and the bass E left out`, `♭7 added`.
fn changed(whole: &Chord, simple: &Chord) -> String {
    let there = simple.degrees();
    let more: Vec<String> = there
        .iter()
        .filter(|d| !whole.degrees().contains(d))
        .map(|d| d.text())
        .collect();
    if !more.is_empty() {
        return format!("{} added", more.join(" and "));
    }
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
        let hard = |c: &&&Chord| easy_shape(&instrument, c, Kind::Open).is_none();
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
