//! Lines that move by step through the chords: a walking bass, moving top notes.
//!
//! A line is worth showing where it goes on by half or whole steps in one
//! direction over three chords or more (ours). For the bass, a slash chord must
//! take part: a row of roots is read from the symbols already. For the top, the
//! shapes must be the user's, since a proposal's top note is nobody's word.

use super::print::played;
use crate::songlog::song::{Song, Span};
use crate::theory::{Key, Mode, PitchClass};

/// Fewest chords of a line.
const LEAST: usize = 3;

/// Spans in a walking bass, each with its note; `up` semitones are taken off, as off the symbols.
pub(super) fn basses(song: &Song, up: i32) -> Vec<(usize, String)> {
    let note = |span: &Span| {
        let chord = span.label.chord()?;
        Some(chord.bass_pitch_class().index() as i32)
    };
    // the way from one pitch class to the next that is nearer
    let step = |a: i32, b: i32| (b - a + 5).rem_euclid(12) - 5;
    runs(song, note, step)
        .into_iter()
        .filter(|run| {
            let slash = |i: &usize| {
                song.spans[*i]
                    .label
                    .chord()
                    .is_some_and(|c| c.bass.is_some())
            };
            run.iter().any(slash)
        })
        .flatten()
        .map(|i| {
            let label = played(&song.spans[i].label, up, song.key);
            let chord = label.chord();
            (i, chord.map_or_else(String::new, |c| c.bass_note().text()))
        })
        .collect()
}

/// Spans whose decided shapes make a moving top note, each with its note.
pub(super) fn tops(song: &Song, up: i32) -> Vec<(usize, String)> {
    let note = |span: &Span| {
        let shape = span.shapes.first().filter(|_| span.n_decided_shapes > 0)?;
        let sounding = song.instrument.sounding(shape);
        sounding.into_iter().flatten().max().map(i32::from)
    };
    let key = song
        .key
        .unwrap_or(Key::usual(PitchClass::new(0), Mode::Major));
    let key = match up {
        0 => key,
        _ => Key::usual(key.tonic.pitch_class().up(-up), key.mode),
    };
    runs(song, note, |a, b| b - a)
        .into_iter()
        .flatten()
        .filter_map(|i| {
            let midi = note(&song.spans[i])?;
            Some((i, key.spell(PitchClass::new(midi).up(-up)).text()))
        })
        .collect()
}

/// Runs of neighbors whose notes go on by one or two semitones in one direction.
fn runs(
    song: &Song,
    note: impl Fn(&Span) -> Option<i32>,
    step: impl Fn(i32, i32) -> i32,
) -> Vec<Vec<usize>> {
    let mut runs: Vec<Vec<usize>> = Vec::new();
    let mut run: Vec<usize> = Vec::new();
    let mut way = 0;
    let mut last: Option<i32> = None;
    for (i, span) in song.spans.iter().enumerate() {
        let here = note(span);
        let by = match (last, here) {
            (Some(a), Some(b)) => step(a, b),
            _ => 0,
        };
        let goes_on = (1..=2).contains(&by.abs()) && (way == 0 || by.signum() == way);
        if goes_on {
            way = by.signum();
            run.push(i);
        } else {
            runs.push(std::mem::take(&mut run));
            // a turn starts a line of its own with the note it turned on
            if (1..=2).contains(&by.abs()) {
                run.push(i - 1);
                way = by.signum();
            } else {
                way = 0;
            }
            run.push(i);
        }
        last = here;
    }
    runs.push(run);
    let mut long: Vec<Vec<usize>> = Vec::new();
    for run in runs.into_iter().filter(|r| r.len() >= LEAST) {
        // a note that two lines share is shown once
        match long.last_mut().filter(|l| l.last() == run.first()) {
            Some(line) => line.extend(&run[1..]),
            None => long.push(run),
        }
    }
    long
}
