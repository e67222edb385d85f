//! A live answer for machines (docs/microphone.md), and where its notes are played.

use crate::audio::Level;
use crate::fretboard::{Instrument, Shape};
use crate::hearing::{LiveAnswer, Played};
use crate::theory::midi_name;
use serde_json::{Value, json};

/// How many shapes are offered.
const N_SHAPES: usize = 3;
/// How many candidates are told.
const N_CANDIDATES: usize = 3;

/// When and how loud an answer was heard.
#[derive(Debug, Clone, Copy)]
pub struct HeardAt {
    /// Sound heard so far, s.
    pub t_s: f64,
    /// The level.
    pub level: Level,
    /// Samples at full scale so far.
    pub n_clipped: u64,
    /// Whether nothing sounds now: the answer is that of before.
    pub is_held: bool,
}

/// An answer as JSON, version 1.
pub fn answer_json(answer: &LiveAnswer, instrument: &Instrument, heard: &HeardAt) -> Value {
    let candidates: Vec<_> = answer
        .chords()
        .iter()
        .take(N_CANDIDATES)
        .map(|(l, p)| json!({"label": l.label(), "symbol": l.symbol(), "probability": p}))
        .collect();
    let notes: Vec<_> = answer
        .notes
        .iter()
        .zip(places(answer, instrument))
        .map(|(midi, place)| {
            json!({
                "midi": midi,
                "name": midi_name(*midi),
                "string": place.map(|(s, _)| instrument.tuning.n_strings() - s),
                "fret": place.map(|(_, fret)| fret),
            })
        })
        .collect();
    let shapes: Vec<_> = answer
        .shapes
        .iter()
        .take(N_SHAPES)
        .map(|(s, fit)| json!({"shape": s.text(), "fit": fit}))
        .collect();
    let tuner = answer.tuned.map(|string| {
        json!({
            "midi": string.midi,
            "name": midi_name(string.midi),
            "string": string.string_idx.map(|s| instrument.tuning.n_strings() - s),
            "cents": string.cents,
            "hz": string.hz,
            "target_hz": string.target_hz(),
        })
    });
    json!({
        "version": 1,
        "t_s": heard.t_s,
        "at_s": answer.at_s,
        "since_s": answer.since_s,
        "delay_s": answer.delay_s,
        "played": match answer.played {
            Played::Nothing | Played::Unclear => "nothing",
            Played::Note(_) => "note",
            Played::DoubleStop(..) => "double stop",
            Played::Chord => "chord",
        },
        "candidates": candidates,
        "notes": notes,
        "shapes": shapes,
        "level_dbfs": heard.level.rms_dbfs,
        "peak_dbfs": heard.level.held_dbfs,
        "clipped_samples": heard.n_clipped,
        "tuning_cents": answer.tuning_cents,
        "held": heard.is_held,
        "tuner": tuner,
    })
}

/// What makes an answer worth sending again: how many strings, the chord and its probability
/// in whole percent, the notes of one or two strings, the first shape, whether it is held, and
/// whole cents of a single string.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Seen {
    chord: Option<(String, i64)>,
    notes: Vec<u8>,
    shape: Option<String>,
    is_held: bool,
    cents: Option<i64>,
}

impl Seen {
    /// Of an answer.
    pub fn of(answer: &LiveAnswer, heard: &HeardAt) -> Self {
        let first = answer.chords().first();
        Self {
            chord: first.map(|(label, p)| (label.label(), (p * 100.0).round() as i64)),
            notes: match answer.played {
                Played::Note(midi) => vec![midi],
                Played::DoubleStop(midi, _) => midi.to_vec(),
                _ => Vec::new(),
            },
            shape: answer.shapes.first().map(|(s, _)| s.text()),
            is_held: heard.is_held,
            cents: answer.tuned.map(|s| s.cents.round() as i64),
        }
    }

    /// The same for who is told of another chord or note, but not of its figures.
    #[must_use]
    pub fn without_figures(mut self) -> Self {
        self.chord = self.chord.map(|(label, _)| (label, 0));
        self.cents = None;
        self
    }
}

/// Where each note is likely played: as the first shape has it, else on the
/// free string where its fret lies nearest to the hand: string and fret.
pub fn places(answer: &LiveAnswer, instrument: &Instrument) -> Vec<Option<(usize, u8)>> {
    let shape = answer.shapes.first().map(|(s, _)| s);
    let sounding = shape.map_or_else(Vec::new, |s| instrument.sounding(s));
    let hand = shape.map_or(0, hand_fret);
    let mut used = vec![false; instrument.tuning.n_strings()];
    let mut found: Vec<Option<(usize, u8)>> = answer
        .notes
        .iter()
        .map(|midi| {
            let string = sounding.iter().position(|s| *s == Some(*midi))?;
            used[string] = true;
            Some((string, shape?.frets()[string]?))
        })
        .collect();
    for (place, midi) in found.iter_mut().zip(&answer.notes) {
        if place.is_some() {
            continue;
        }
        *place = (0..used.len())
            .filter(|s| !used[*s])
            .filter_map(|s| Some((s, fret_of(instrument, s, *midi)?)))
            .min_by_key(|(_, fret)| fret.abs_diff(hand));
        if let Some((string, _)) = place {
            used[*string] = true;
        }
    }
    found
}

fn hand_fret(shape: &Shape) -> u8 {
    shape
        .frets()
        .iter()
        .flatten()
        .copied()
        .filter(|f| *f > 0)
        .min()
        .unwrap_or(0)
}

fn fret_of(instrument: &Instrument, string: usize, midi: u8) -> Option<u8> {
    (0..=instrument.highest_fret).find(|fret| instrument.midi(string, *fret) == Some(midi))
}
