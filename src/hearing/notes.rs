//! Which notes were struck, when, and how long they sounded.
//!
//! Where the acoustic stage's "struck" probability of a pitch peaks, a small
//! fitted net judges whether a note begins: an overtone of a note struck at the
//! same time and a string that merely rings on while others are struck both
//! peak a little, but their own partials do not rise as a struck string's do.
//! A note's time is the peak's place between frames, drawn to a stroke if one
//! is near; it ends where the pitch is struck again or stays unheard.

use super::acoustic::{LOWEST_MIDI, N_PITCHES};
use super::cells::Stroke;
use super::interpret::Sound;
use super::note_numbers::{JUDGE, JUDGE_HIDDEN, JUDGE_OUT};
use super::spectrum::{HOP_S, SHORT_BINS, SHORT_MARGIN};

/// Weights of the reading.
#[derive(Debug, Clone)]
pub struct NoteWeights {
    /// Least probability of a note.
    pub struck: f32,
    /// Peaks of the acoustic stage under this are not looked at.
    pub floor: f32,
    /// Below this a pitch no longer sounds.
    pub silent: f32,
    /// A note this near a stroke begins with it, s.
    pub snap_s: f64,
}

impl Default for NoteWeights {
    fn default() -> Self {
        Self {
            struck: 0.45,
            floor: 0.12,
            silent: 0.3,
            snap_s: 0.02,
        }
    }
}

/// One note.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Note {
    /// When it was struck, s.
    pub start_s: f64,
    /// When it stopped sounding, s.
    pub end_s: f64,
    /// MIDI note number.
    pub midi: u8,
    /// How likely it was struck here, 0 to 1.
    pub probability: f32,
}

/// A moment where a pitch may have been struck, and what speaks for it.
#[derive(Debug, Clone)]
pub(crate) struct Possible {
    pub(crate) pitch: usize,
    pub(crate) frame: usize,
    pub(crate) time_s: f64,
    pub(crate) evidence: [f32; N_EVIDENCE],
}

/// How many numbers speak for a note.
pub(crate) const N_EVIDENCE: usize = 16;

/// Every local peak of a pitch's struck probability over a low floor.
pub(crate) fn possible(sound: &Sound, weights: &NoteWeights) -> Vec<Possible> {
    let acoustic = &sound.acoustic;
    let n = acoustic.n_frames();
    let tops: Vec<f32> = (0..n)
        .map(|t| sound.front.spectra.short_db(t).fold(f32::MIN, f32::max))
        .collect();
    let mut all = Vec::new();
    for pitch in 0..N_PITCHES {
        let at = |t: usize| acoustic.struck(t, pitch);
        for t in 0..n {
            let here = at(t);
            if here < weights.floor {
                continue;
            }
            let before = if t > 0 { at(t - 1) } else { 0.0 };
            let after = if t + 1 < n { at(t + 1) } else { 0.0 };
            if here < before || here <= after {
                continue;
            }
            // center of mass of the peak's three frames
            let offset = (after - before) / (before + here + after);
            let time_s = ((t as f64 + f64::from(offset)) * HOP_S).max(0.0);
            let stroke = nearest(&sound.strokes, time_s);
            let time_s = stroke
                .map(|s| s.time_s)
                .filter(|s| (s - time_s).abs() <= weights.snap_s)
                .unwrap_or(time_s);
            let strength = stroke
                .filter(|s| (s.time_s - time_s).abs() < 0.06)
                .map_or(0.0, |s| s.strength);
            all.push(Possible {
                pitch,
                frame: t,
                time_s,
                evidence: evidence(sound, &tops, pitch, t, strength),
            });
        }
    }
    all
}

/// What speaks for a pitch struck at a frame: its own probabilities, how much
/// its partials rise, what the notes do whose overtone it could be.
fn evidence(
    sound: &Sound,
    tops: &[f32],
    pitch: usize,
    t: usize,
    strength: f32,
) -> [f32; N_EVIDENCE] {
    let acoustic = &sound.acoustic;
    let n = acoustic.n_frames();
    let logit = |p: f32| {
        let p = p.clamp(0.004, 0.996);
        (p / (1.0 - p)).ln()
    };
    let sounding = |pitch: usize, from: usize, to: usize| {
        let (from, to) = (from.min(n - 1), to.min(n).max(from.min(n - 1) + 1));
        (from..to).map(|f| acoustic.sounding(f, pitch)).sum::<f32>() / (to - from) as f32
    };
    let struck_about = |pitch: usize| {
        (t.saturating_sub(1)..(t + 2).min(n))
            .map(|f| acoustic.struck(f, pitch))
            .fold(0.0, f32::max)
    };
    // MIDI 28 is four semitones above C1, bin 0 of the short spectrum
    let bin = |partial: usize| pitch + 4 + SHORT_MARGIN + partial;
    let level = |f: usize, b: usize| sound.front.spectra.short_db(f).nth(b).unwrap_or(-100.0);
    let rise = |b: usize| {
        if b >= SHORT_BINS + 2 * SHORT_MARGIN {
            return 0.0;
        }
        let after = level((t + 1).min(n - 1), b).max(level((t + 2).min(n - 1), b));
        let before = level(t.saturating_sub(1), b).max(level(t.saturating_sub(2), b));
        ((after - before) / 10.0).clamp(-2.0, 3.0)
    };
    let below = |step: usize| pitch.checked_sub(step);
    let octave = below(12).map_or(0.0, struck_about);
    let twelfth = below(19).map_or(0.0, struck_about);
    let double = below(24).map_or(0.0, struck_about);
    let others: f32 = (0..N_PITCHES)
        .filter(|p| *p != pitch)
        .map(|p| acoustic.struck(t, p))
        .sum();
    let own = level((t + 1).min(n - 1), bin(0)) - tops[(t + 1).min(n - 1)];
    [
        logit(acoustic.struck(t, pitch)),
        logit(sounding(pitch, t, t + 4)),
        logit(sounding(pitch, t.saturating_sub(4), t.saturating_sub(1))),
        rise(bin(0)),
        rise(bin(12)),
        rise(bin(19)),
        octave,
        twelfth,
        double,
        below(12).map_or(0.0, |p| sounding(p, t, t + 4)),
        below(19).map_or(0.0, |p| sounding(p, t, t + 4)),
        below(24).map_or(0.0, |p| sounding(p, t, t + 4)),
        (own / 20.0).max(-3.0),
        strength,
        others.min(6.0),
        pitch as f32 / 32.0 - 1.0,
    ]
}

/// Notes in order of time.
pub(crate) fn notes(sound: &Sound, weights: &NoteWeights) -> Vec<Note> {
    let acoustic = &sound.acoustic;
    let n = acoustic.n_frames();
    let duration_s = sound.duration_s();
    let mut all = Vec::new();
    let struck: Vec<(Possible, f32)> = possible(sound, weights)
        .into_iter()
        .map(|p| {
            let probability = judge(&p.evidence);
            (p, probability)
        })
        .filter(|(_, probability)| *probability >= weights.struck)
        .collect();
    for (i, (note, probability)) in struck.iter().enumerate() {
        let next = struck
            .get(i + 1)
            .filter(|(p, _)| p.pitch == note.pitch)
            .map_or(n, |(p, _)| p.frame);
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
            probability: *probability,
        });
    }
    all.sort_by(|a, b| a.start_s.total_cmp(&b.start_s).then(a.midi.cmp(&b.midi)));
    all
}

/// How likely a possible note is one, by a small fitted net (docs/hearing.md).
fn judge(evidence: &[f32; N_EVIDENCE]) -> f32 {
    let mut out = JUDGE_OUT[JUDGE_HIDDEN];
    for (row, weight) in JUDGE.iter().zip(&JUDGE_OUT) {
        let sum: f32 = row[..N_EVIDENCE]
            .iter()
            .zip(evidence)
            .map(|(w, x)| w * x)
            .sum::<f32>()
            + row[N_EVIDENCE];
        out += weight * sum.tanh();
    }
    1.0 / (1.0 + (-out).exp())
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
