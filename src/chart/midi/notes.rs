//! Which notes sound when: strums where strums were heard, plucked notes and lines as plucked, else
//! held chords.

use crate::chart::sheet::strikes;
use crate::songlog::song::{Song, Span};
use crate::theory::{Chord, Label};

/// From one string of a strum to the next, s (ours: a relaxed hand).
const STRING_S: f64 = 0.012;
/// At most so many notes together are plucked, not strummed.
const PLUCKED: usize = 2;
/// How hard: a strum on the beat, others, plucks (ours).
const ON_BEAT: u8 = 84;
const OFF_BEAT: u8 = 68;
const PLUCK: u8 = 76;
const HELD: u8 = 80;

/// A note in the take's time.
pub(super) struct Note {
    pub(super) start_s: f64,
    pub(super) end_s: f64,
    pub(super) midi: u8,
    pub(super) velocity: u8,
}

/// The notes of a chord up to `end_s`.
pub(super) fn notes(song: &Song, span: &Span, end_s: f64) -> Vec<Note> {
    let chord = pitches(song, span);
    let strikes = strikes(span);
    if chord.is_empty() && !span.is_line() || strikes.is_empty() {
        return chord
            .into_iter()
            .map(|midi| Note {
                start_s: span.start_s,
                end_s,
                midi,
                velocity: HELD,
            })
            .collect();
    }
    let mut out: Vec<Note> = Vec::new();
    for (i, (at_s, struck)) in strikes.iter().enumerate() {
        let at_s = at_s.max(span.start_s);
        let next_s = strikes.get(i + 1).map_or(end_s, |next| next.0).min(end_s);
        if at_s >= next_s {
            continue;
        }
        let plucked = struck.len() <= PLUCKED || chord.is_empty();
        let down = is_on_beat(song, at_s);
        let mut sounding = if plucked {
            struck.clone()
        } else {
            chord.clone()
        };
        // a hand on its way up meets the highest string first
        if !plucked && !down {
            sounding.reverse();
        }
        for (string, midi) in sounding.into_iter().enumerate() {
            let late_s = if plucked {
                0.0
            } else {
                STRING_S * string as f64
            };
            let start_s = (at_s + late_s).min((at_s + next_s) / 2.0);
            out.push(Note {
                start_s,
                end_s: next_s,
                midi,
                velocity: match (plucked, down) {
                    (true, _) => PLUCK,
                    (_, true) => ON_BEAT,
                    _ => OFF_BEAT,
                },
            });
        }
    }
    out
}

/// Whether a moment is nearer to a beat than to the middle between two.
fn is_on_beat(song: &Song, at_s: f64) -> bool {
    let after = song.beats_s.partition_point(|t| *t <= at_s);
    let (Some(before), Some(next)) = (
        after.checked_sub(1).map(|i| song.beats_s[i]),
        song.beats_s.get(after),
    ) else {
        return true;
    };
    let part = (at_s - before) / (next - before).max(1e-6);
    !(0.25..0.75).contains(&part)
}

/// What sounds: the first shape, else the chord's tones above its bass.
fn pitches(song: &Song, span: &Span) -> Vec<u8> {
    match (&span.label, span.shapes.first()) {
        (Label::Chord(_), Some(shape)) => song
            .instrument
            .sounding(shape)
            .into_iter()
            .flatten()
            .collect(),
        (Label::Chord(chord), None) => stacked(chord),
        _ => Vec::new(),
    }
}

/// Bass from E2 upwards, the other tones above it in order.
fn stacked(chord: &Chord) -> Vec<u8> {
    const LOWEST: i32 = 40;
    let bass = chord.bass_pitch_class();
    let low = LOWEST + (bass.index() as i32 - LOWEST).rem_euclid(12);
    let mut above: Vec<i32> = chord
        .pitch_classes()
        .iter()
        .filter(|p| *p != bass)
        .map(|p| low + 12 + p.above(bass))
        .collect();
    above.sort_unstable();
    std::iter::once(low)
        .chain(above)
        .filter_map(|m| u8::try_from(m).ok())
        .collect()
}
