//! Which notes were struck, when, and how long they sounded.
//!
//! Where the acoustic stage's "struck" probability of a pitch peaks, two small
//! fitted nets ([`crate::hearing::notes::classifier`]) judge whether a note begins: an overtone
//! of a note struck at the same time and a string that merely rings on while
//! others are struck both peak a little, but their own partials do not rise as
//! a struck string's do.
//! A note's time is the peak's place between frames, drawn to a stroke if one
//! is near; it ends where the pitch is struck again or stays unheard.

use crate::hearing::acoustic::net::{LOWEST_MIDI, N_PITCHES};
use crate::hearing::acoustic::sound::Sound;
use crate::hearing::acoustic::spectrum::HOP_S;
use crate::hearing::acoustic::strokes::Stroke;
use crate::hearing::learned;
use crate::hearing::notes::classifier::judged;
use crate::hearing::notes::evidence::Candidate;
use crate::hearing::outputs::Note;
use crate::hearing::weight_files::NOTES;

/// Weights of the reading.
#[derive(Debug, Clone, serde::Deserialize, serde::Serialize)]
#[serde(deny_unknown_fields)]
pub struct NoteWeights {
    /// Least probability of a note.
    pub struck: f32,
    /// Below this a pitch no longer sounds.
    pub silent: f32,
    /// A note this near a stroke begins with it, s.
    pub snap_s: f64,
}

impl Default for NoteWeights {
    fn default() -> Self {
        learned::read(&NOTES)
    }
}

/// A moment where a pitch may have been struck, with its probability.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Possible {
    pub(crate) time_s: f64,
    /// 0 = MIDI 28.
    pub(crate) pitch: usize,
    frame: usize,
    pub(crate) probability: f32,
}

impl Possible {
    /// A note that left no trace; none beyond the pitches that are told apart.
    pub(crate) fn at(time_s: f64, midi: u8, probability: f32) -> Option<Self> {
        let pitch = usize::from(midi.checked_sub(LOWEST_MIDI)?);
        (pitch < N_PITCHES).then_some(Self {
            time_s,
            pitch,
            frame: (time_s / HOP_S).round().max(0.0) as usize,
            probability,
        })
    }

    /// MIDI note number.
    pub(crate) fn midi(&self) -> u8 {
        LOWEST_MIDI + self.pitch as u8
    }
}

/// All moments where a pitch may have been struck, by pitch, then time.
pub(crate) fn possible(sound: &Sound, weights: &NoteWeights) -> Vec<Possible> {
    let timed = |(candidate, probability): (Candidate, f32)| {
        let time_s = f64::from(candidate.center) * HOP_S;
        let stroke = nearest(&sound.strokes, time_s).map(|s| s.time_s);
        Possible {
            time_s: stroke
                .filter(|s| (s - time_s).abs() <= weights.snap_s)
                .unwrap_or(time_s),
            pitch: candidate.pitch,
            frame: candidate.frame,
            probability,
        }
    };
    judged(sound).into_iter().map(timed).collect()
}

/// Those of them that are likely enough, as notes in order of time; takes them in any order.
pub(crate) fn notes(sound: &Sound, possible: &[Possible], weights: &NoteWeights) -> Vec<Note> {
    let acoustic = &sound.acoustic;
    let n = acoustic.n_frames();
    let duration_s = sound.duration_s();
    let mut all = Vec::new();
    let likely = |p: &&Possible| p.probability >= weights.struck;
    let mut struck: Vec<&Possible> = possible.iter().filter(likely).collect();
    struck.sort_by(|a, b| a.pitch.cmp(&b.pitch).then(a.time_s.total_cmp(&b.time_s)));
    for (i, note) in struck.iter().enumerate() {
        let next = struck
            .get(i + 1)
            .filter(|p| p.pitch == note.pitch)
            .map_or(n, |p| p.frame);
        // ended after two frames in which it is not heard
        let silent = |t: usize| t >= n || acoustic.sounding(t, note.pitch) < weights.silent;
        let end = (note.frame + 1..next)
            .find(|t| silent(*t) && silent(t + 1))
            .unwrap_or(next);
        let least = note.time_s + 0.03;
        all.push(Note {
            start_s: note.time_s,
            end_s: (end as f64 * HOP_S).clamp(least, duration_s.max(least)),
            midi: LOWEST_MIDI + note.pitch as u8,
            probability: note.probability,
        });
    }
    all.sort_by(|a, b| a.start_s.total_cmp(&b.start_s).then(a.midi.cmp(&b.midi)));
    all
}

/// The stroke nearest to `time_s`.
pub(crate) fn nearest(strokes: &[Stroke], time_s: f64) -> Option<&Stroke> {
    let after = strokes.partition_point(|s| s.time_s < time_s);
    let candidates = [after.checked_sub(1), Some(after)];
    candidates
        .into_iter()
        .flatten()
        .filter_map(|i| strokes.get(i))
        .min_by(|a, b| {
            (a.time_s - time_s)
                .abs()
                .total_cmp(&(b.time_s - time_s).abs())
        })
}
