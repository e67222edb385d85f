//! What the hand plucks: notes of fragments, of picked bars and of lines of single notes as
//! tablature, strokes as counting.
//!
//! Only what was heard is shown, at one place where it can be played (`places`).

use super::bars::{all_bars, beats_into};
use super::places::places;
use super::{Block, Measure, Pattern};
use crate::songlog::song::{Bar, Song, Span};

/// A note of the tablature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TabNote {
    /// Beats from the bar's start, on a grid of quarters (sixths, where beats are dotted).
    pub at: f64,
    /// String, 0 for the lowest.
    pub string: usize,
    /// Fret, counted from the capo.
    pub fret: u8,
}

/// A stroke this little before the bar line belongs to the bar, s.
const EARLY_S: f64 = 0.05;
/// Notes struck this close together are one stroke, s.
const TOGETHER_S: f64 = 0.06;
/// More notes than this at once are a strum.
const STRUM: usize = 3;
/// A bar is picked from this many strokes on, most of them of one or two notes.
const LEAST_PICKED: usize = 4;
/// Part of a section's bars in which a stroke must be heard to be part of its pattern.
const USUAL: f64 = 0.6;

/// One stroke: when, and which pitches.
struct Stroke {
    at_s: f64,
    midi: Vec<u8>,
}

fn strokes_of(spans: &[&Span], bar: &Bar) -> Vec<Stroke> {
    let mut struck: Vec<(f64, u8)> = spans
        .iter()
        .flat_map(|s| &s.struck)
        .map(|(midi, at_s)| (*at_s, *midi))
        .filter(|(t, _)| *t >= bar.start_s - EARLY_S && *t < bar.end_s - EARLY_S)
        .collect();
    struck.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let mut strokes: Vec<Stroke> = Vec::new();
    for (at_s, midi) in struck {
        match strokes.last_mut().filter(|s| at_s - s.at_s <= TOGETHER_S) {
            Some(stroke) if stroke.midi.contains(&midi) => {}
            Some(stroke) => stroke.midi.push(midi),
            None => strokes.push(Stroke {
                at_s,
                midi: vec![midi],
            }),
        }
    }
    strokes
}

/// When strings were struck in a chord, and which pitches, s and MIDI.
pub(in crate::chart) fn strikes(span: &Span) -> Vec<(f64, Vec<u8>)> {
    let whole = Bar {
        number: 0,
        start_s: span.start_s,
        end_s: span.end_s + EARLY_S,
        n_beats: 1,
    };
    let all = strokes_of(&[span], &whole).into_iter();
    all.map(|s| (s.at_s, s.midi)).collect()
}

/// Whether beats are divided in three.
fn dotted(song: &Song, bar: &Bar) -> bool {
    song.meter
        .is_some_and(|(n, value)| value == 8 && bar.n_beats * 3 == n)
}

/// Puts tablature into bars with fragments or a line of single notes, and into picked bars where
/// their pattern is new.
pub(super) fn tab(song: &Song, measures: &mut [Measure]) {
    let bars = all_bars(song);
    let starts: Vec<u32> = song.sections.iter().map(|s| s.first_bar).collect();
    // after the start of a section the next picked bar shows the pattern
    let mut wanted = true;
    let mut near = None;
    for (measure, bar) in measures.iter_mut().zip(&bars) {
        wanted |= starts.contains(&bar.number);
        let spans: Vec<&Span> = song.spans_in(bar).collect();
        let fragment = spans
            .iter()
            .any(|s| s.fragment && s.label.chord().is_some());
        let strokes = strokes_of(&spans, bar);
        let few = strokes.iter().filter(|s| s.midi.len() <= 2).count();
        let picked = strokes.len() >= LEAST_PICKED && few * 5 >= strokes.len() * 4;
        let lined = spans.iter().any(|s| s.is_line());
        if !(fragment || lined || picked && wanted) {
            continue;
        }
        wanted &= fragment || lined;
        measure.in_line = lined;
        for span in &spans {
            if !(span.is_line() || fragment_or(span, picked)) {
                continue;
            }
            let mine = strokes_of(&[span], bar);
            let plucked = || mine.iter().filter(|s| s.midi.len() <= STRUM);
            let pitches: Vec<&[u8]> = plucked().map(|s| &s.midi[..]).collect();
            let places = places(&song.instrument, span, &pitches, &mut near);
            for stroke in plucked() {
                let grid = if dotted(song, bar) { 6.0 } else { 4.0 };
                let at = (beats_into(song, bar, stroke.at_s) * grid).round() / grid;
                let last = f64::from(bar.n_beats.max(1)) - 1.0 / grid;
                for midi in &stroke.midi {
                    let Some((_, string, fret)) = places.iter().find(|p| p.0 == *midi) else {
                        continue;
                    };
                    let note = TabNote {
                        at: at.clamp(0.0, last),
                        string: *string,
                        fret: *fret,
                    };
                    let taken = |t: &TabNote| t.at == note.at && t.string == note.string;
                    if !measure.tab.iter().any(taken) {
                        measure.tab.push(note);
                    }
                }
            }
        }
        measure
            .tab
            .sort_by(|a, b| a.at.total_cmp(&b.at).then(a.string.cmp(&b.string)));
    }
}

fn fragment_or(span: &Span, picked: bool) -> bool {
    span.label.chord().is_some() && (span.fragment || picked)
}

/// Says of each section on what the hand was heard to strike, if most of its bars agree.
pub(super) fn strokes(song: &Song, blocks: &mut [Block]) {
    let bars = all_bars(song);
    for block in blocks {
        let numbers: Vec<u32> = block
            .measures()
            .map(|m| m.number)
            .filter(|n| *n > 0)
            .collect();
        let mine: Vec<&Bar> = bars
            .iter()
            .filter(|b| numbers.contains(&b.number))
            .collect();
        let Some(first) = mine.first() else { continue };
        // a line has no pattern
        let in_line = |b: &Bar| song.spans_in(b).any(Span::is_line);
        let alike = mine.iter().filter(|b| b.n_beats == first.n_beats);
        let alike: Vec<&&Bar> = alike.filter(|b| !in_line(b)).collect();
        // a rhythm needs bars to be heard in
        if alike.len() < 2 {
            continue;
        }
        let per_beat = if dotted(song, first) { 3 } else { 2 };
        let n_slots = usize::from(first.n_beats.max(1)) * per_beat;
        let mut hits = vec![0usize; n_slots];
        let (mut n_strums, mut n_picks) = (0, 0);
        for bar in &alike {
            let spans: Vec<&Span> = song.spans_in(bar).collect();
            let mut seen = vec![false; n_slots];
            for stroke in strokes_of(&spans, bar) {
                match stroke.midi.len() {
                    0..=2 => n_picks += 1,
                    _ => n_strums += 1,
                }
                let at = beats_into(song, bar, stroke.at_s) * per_beat as f64;
                // what lies between the slots is no stroke of this grid
                if (at - at.round()).abs() <= 0.3 {
                    seen[(at.round() as usize).min(n_slots - 1)] = true;
                }
            }
            for (count, seen) in hits.iter_mut().zip(seen) {
                *count += usize::from(seen);
            }
        }
        let usual: Vec<bool> = hits
            .iter()
            .map(|n| *n as f64 >= USUAL * alike.len() as f64)
            .collect();
        if usual.iter().filter(|u| **u).count() < 2 || n_strums + n_picks == 0 {
            continue;
        }
        let strummed = n_strums >= n_picks;
        let word = if strummed { "strums" } else { "plucks" };
        block.strokes = format!("{word} on {}", counting(&usual, per_beat));
        block.pattern = Some(Pattern {
            hits: usual,
            per_beat,
            strummed,
        });
    }
}

/// `1 · 2 & · & 4 &`: numbers and halves of beats, a dot where nothing is struck.
fn counting(usual: &[bool], per_beat: usize) -> String {
    let words: Vec<String> = usual
        .iter()
        .enumerate()
        .map(|(i, on)| match (on, per_beat, i % per_beat) {
            (false, ..) => "·".into(),
            // eighths of dotted beats are counted through
            (true, 3, _) => (i + 1).to_string(),
            (true, _, 0) => (i / per_beat + 1).to_string(),
            _ => "&".into(),
        })
        .collect();
    words.join(" ")
}
