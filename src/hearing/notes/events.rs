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
use crate::hearing::partials::PARTIALS;
use crate::hearing::small_net::sigmoid;
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
    /// How the classifier and the song net decide together.
    pub joint: JointWeights,
}

/// Log odds of a note from what the note classifier and the song net say of it.
#[derive(Debug, Clone, serde::Deserialize, serde::Serialize)]
#[serde(deny_unknown_fields)]
pub struct JointWeights {
    /// Weight of the classifier's log odds.
    pub classifier: f32,
    /// Weight of the song net's.
    pub song: f32,
    /// Added.
    pub bias: f32,
    /// A note that the classifier gives at least this probability has partials that the song net
    /// may take for notes of their own.
    pub has_partials: f32,
    /// Notes so near begin together, s.
    pub together_s: f64,
}

impl JointWeights {
    fn probability(&self, sample: &NoteSample) -> f32 {
        let song = match sample.overtone {
            // it can only speak against what may be a partial
            true => log_odds(sample.song).min(0.0),
            false => log_odds(sample.song),
        };
        sigmoid(self.classifier * log_odds(sample.classifier) + self.song * song + self.bias)
    }
}

/// Log odds of a probability, within ±6.
fn log_odds(p: f32) -> f32 {
    let p = p.clamp(0.0025, 0.9975);
    (p / (1.0 - p)).ln()
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

/// A moment where a pitch may have been struck.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoteSample {
    /// s.
    pub time_s: f64,
    /// MIDI note number.
    pub midi: u8,
    /// Probability by the note classifier.
    pub classifier: f32,
    /// Probability by the song net.
    pub song: f32,
    /// Whether it is a partial of a note that begins with it.
    pub overtone: bool,
}

/// All moments where a pitch may have been struck, by pitch, then time.
pub(crate) fn possible(sound: &Sound, weights: &NoteWeights) -> Vec<Possible> {
    let judged = |s: NoteSample| Possible {
        time_s: s.time_s,
        pitch: usize::from(s.midi - LOWEST_MIDI),
        frame: (s.time_s / HOP_S).round().max(0.0) as usize,
        probability: weights.joint.probability(&s),
    };
    samples(sound, weights).into_iter().map(judged).collect()
}

/// What the note classifier and the song net say of each, by pitch, then time.
pub(in crate::hearing) fn samples(sound: &Sound, weights: &NoteWeights) -> Vec<NoteSample> {
    let of = |(candidate, probability): (Candidate, f32)| {
        let time_s = on_stroke(sound, f64::from(candidate.center) * HOP_S, weights.snap_s);
        NoteSample {
            time_s,
            midi: LOWEST_MIDI + candidate.pitch as u8,
            classifier: probability,
            song: sound.songs.struck_near(time_s, candidate.pitch),
            overtone: false,
        }
    };
    let mut all: Vec<NoteSample> = judged(sound).into_iter().map(of).collect();
    all.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    mark_overtones(&mut all, &weights.joint);
    all.sort_by(|a, b| a.midi.cmp(&b.midi).then(a.time_s.total_cmp(&b.time_s)));
    all
}

/// Marks what may be a partial of a note that begins with it; takes them in order of time.
fn mark_overtones(all: &mut [NoteSample], w: &JointWeights) {
    let mut from = 0;
    for i in 0..all.len() {
        let (time_s, midi) = (all[i].time_s, usize::from(all[i].midi));
        while all[from].time_s < time_s - w.together_s {
            from += 1;
        }
        let near = all[from..].iter();
        let mut near = near.take_while(|s| s.time_s <= time_s + w.together_s);
        all[i].overtone = near.any(|s| {
            let above = midi.checked_sub(usize::from(s.midi));
            s.classifier >= w.has_partials && above.is_some_and(|a| PARTIALS[1..].contains(&a))
        });
    }
}

/// The time of a stroke within `snap_s` of a time, or that time, s.
fn on_stroke(sound: &Sound, time_s: f64, snap_s: f64) -> f64 {
    let stroke = nearest(&sound.strokes, time_s).map(|s| s.time_s);
    stroke
        .filter(|s| (s - time_s).abs() <= snap_s)
        .unwrap_or(time_s)
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
