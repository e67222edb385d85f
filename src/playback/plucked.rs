//! Chords as the project's own plucked strings.

use super::PlaybackError;
use crate::fretboard::{Instrument, Limits, Shape, usual_voicings};
use crate::songlog::song::Song;
use crate::theory::{Chord, Label};
use crate::units::{SampleRate, Seconds};
use crate::voice::{Strike, Stroke, perform, strum};

/// Rate of a chord that is plucked by itself.
pub const RATE: SampleRate = SampleRate(44_100);
/// Time from string to string of an easy downstroke, s (ours).
const APART_S: f64 = 0.018;
const VELOCITY: f64 = 0.6;
const BRIGHTNESS: f64 = 0.5;
/// A chord that is shown for less than this is not struck, s.
const SHORTEST_S: f64 = 0.05;

/// String (0 the lowest) and pitch (MIDI) of each note of a chord: in `shape`,
/// else in the shape that the song has for it, else in the easiest there is.
///
/// # Errors
/// * [`PlaybackError::NoNotes`] if it is no chord and there is no shape.
/// * [`PlaybackError::Strings`], [`PlaybackError::AllMuted`] for a shape that
///   is none for this instrument.
pub fn chord_notes(
    label: &Label,
    shape: Option<&Shape>,
    song: &Song,
) -> Result<Vec<(usize, u8)>, PlaybackError> {
    let instrument = &song.instrument;
    let n_strings = instrument.tuning.n_strings();
    let shape = match (shape, label) {
        (Some(shape), _) => Some(shape.clone()),
        (None, Label::Chord(chord)) => shape_of(chord, label, song),
        (None, _) => {
            return Err(PlaybackError::NoNotes {
                symbol: label.symbol(),
            });
        }
    };
    let found = match (&shape, label.chord()) {
        (Some(shape), _) if shape.frets().len() == n_strings => sounding(instrument, shape),
        (Some(shape), _) => {
            return Err(PlaybackError::Strings {
                shape: shape.to_string(),
                n_strings,
            });
        }
        (None, Some(chord)) => stacked(chord),
        (None, None) => Vec::new(),
    };
    if found.is_empty() {
        return Err(PlaybackError::AllMuted);
    }
    Ok(found)
}

/// One chord strummed once, `seconds` long: mono samples at [`RATE`].
///
/// # Errors
/// As [`chord_notes`].
pub fn plucked(
    label: &Label,
    shape: Option<&Shape>,
    seconds: f64,
    song: &Song,
) -> Result<Vec<f32>, PlaybackError> {
    let notes = chord_notes(label, shape, song)?;
    let strikes = strum(&notes, Stroke::Down, 0.0, seconds, APART_S, VELOCITY);
    Ok(perform(&strikes, BRIGHTNESS, Seconds(seconds), RATE))
}

/// The chords that the song shows from `from_s` to `to_s`, strummed where each
/// begins and again at each bar, `slower` times as slow: mono samples at `rate`.
/// Where there is no chord it is silent.
pub fn plucked_song(
    song: &Song,
    from_s: f64,
    to_s: f64,
    slower: f64,
    rate: SampleRate,
) -> Vec<f32> {
    let mut strikes: Vec<Strike> = Vec::new();
    for span in &song.spans {
        let (start, end) = (span.start_s.max(from_s), span.end_s.min(to_s));
        if end - start < SHORTEST_S {
            continue;
        }
        let Ok(notes) = chord_notes(&span.label, span.shapes.first(), song) else {
            continue; // no chord: nothing is plucked
        };
        let inside = |s: &f64| *s > start + SHORTEST_S && *s < end - SHORTEST_S;
        let bar_lines = song.bars.iter().map(|b| b.start_s).filter(inside);
        let mut times: Vec<f64> = std::iter::once(start).chain(bar_lines).collect();
        times.push(end);
        for pair in times.windows(2) {
            let at = |s: f64| (s - from_s) * slower;
            let (on, off) = (at(pair[0]), at(pair[1]));
            strikes.extend(strum(&notes, Stroke::Down, on, off, APART_S, VELOCITY));
        }
    }
    perform(
        &strikes,
        BRIGHTNESS,
        Seconds((to_s - from_s) * slower),
        rate,
    )
}

fn sounding(instrument: &Instrument, shape: &Shape) -> Vec<(usize, u8)> {
    instrument
        .sounding(shape)
        .into_iter()
        .enumerate()
        .filter_map(|(string, midi)| Some((string, midi?)))
        .collect()
}

/// The shape that the song has for this chord, else the most usual there is.
fn shape_of(chord: &Chord, label: &Label, song: &Song) -> Option<Shape> {
    let known = song
        .spans
        .iter()
        .filter(|s| s.label == *label)
        .max_by_key(|s| s.n_decided_shapes)
        .and_then(|s| s.shapes.first().cloned());
    known.or_else(|| {
        let limits = Limits::default();
        let found = usual_voicings(&song.instrument, chord, &limits);
        found.into_iter().next().map(|v| v.shape)
    })
}

/// A chord that no hand reaches: its bass in the third octave, its tones above.
fn stacked(chord: &Chord) -> Vec<(usize, u8)> {
    let bass = 36 + chord.bass_pitch_class().index() as u8;
    let tones = chord.pitch_classes();
    let mut above: Vec<u8> = tones.iter().map(|pc| 48 + pc.index() as u8).collect();
    above.sort_unstable();
    std::iter::once(bass).chain(above).enumerate().collect()
}
