//! Which notes were struck, when, and how long they sounded.
//!
//! A note begins where the acoustic stage's "struck" probability of its pitch
//! peaks; its time is the peak's place between frames, drawn to the nearest
//! stroke if one is near. It ends where the pitch is struck again or its
//! "sounding" probability stays low. A string that rings over from the chord
//! before sounds without being struck, so it makes no new note.

use super::acoustic::{Acoustic, LOWEST_MIDI, N_PITCHES};
use super::cells::Stroke;
use super::spectrum::HOP_S;

/// Weights of the reading.
#[derive(Debug, Clone)]
pub struct NoteWeights {
    /// Least struck probability of a note.
    pub struck: f32,
    /// Below this a pitch no longer sounds.
    pub silent: f32,
    /// A note this near a stroke begins with it, s.
    pub snap_s: f64,
    /// Seconds added to the time between frames.
    pub lag_s: f64,
}

impl Default for NoteWeights {
    fn default() -> Self {
        Self {
            struck: 0.4,
            silent: 0.3,
            snap_s: 0.035,
            lag_s: 0.0,
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

/// Notes in order of time.
pub(crate) fn notes(
    acoustic: &Acoustic,
    strokes: &[Stroke],
    weights: &NoteWeights,
    duration_s: f64,
) -> Vec<Note> {
    let n = acoustic.n_frames();
    let mut all = Vec::new();
    for pitch in 0..N_PITCHES {
        let at = |t: usize| acoustic.struck(t, pitch);
        let mut starts: Vec<(f64, f32, usize)> = Vec::new();
        for t in 0..n {
            let here = at(t);
            if here < weights.struck {
                continue;
            }
            let before = if t > 0 { at(t - 1) } else { 0.0 };
            let after = if t + 1 < n { at(t + 1) } else { 0.0 };
            if here < before || here <= after {
                continue;
            }
            // center of mass of the peak's three frames
            let offset = (after - before) / (before + here + after);
            let time_s = ((t as f64 + f64::from(offset)) * HOP_S + weights.lag_s).max(0.0);
            let time_s = nearest(strokes, time_s)
                .filter(|s| (s - time_s).abs() <= weights.snap_s)
                .unwrap_or(time_s);
            starts.push((time_s, here, t));
        }
        for (i, (start_s, probability, frame)) in starts.iter().enumerate() {
            let next = starts.get(i + 1).map_or(n, |s| s.2);
            // ended after two frames in which it is not heard
            let end = (frame + 1..next)
                .find(|t| {
                    acoustic.sounding(*t, pitch) < weights.silent
                        && (*t + 1 >= n || acoustic.sounding(t + 1, pitch) < weights.silent)
                })
                .unwrap_or(next);
            let end_s = (end as f64 * HOP_S).clamp(start_s + 0.03, duration_s.max(start_s + 0.03));
            all.push(Note {
                start_s: *start_s,
                end_s,
                midi: LOWEST_MIDI + pitch as u8,
                probability: *probability,
            });
        }
    }
    all.sort_by(|a, b| a.start_s.total_cmp(&b.start_s).then(a.midi.cmp(&b.midi)));
    all
}

/// Time of the stroke nearest to `time_s`.
pub(crate) fn nearest(strokes: &[Stroke], time_s: f64) -> Option<f64> {
    let after = strokes.partition_point(|s| s.time_s < time_s);
    let candidates = [after.checked_sub(1), Some(after)];
    candidates
        .into_iter()
        .flatten()
        .filter_map(|i| strokes.get(i))
        .map(|s| s.time_s)
        .min_by(|a, b| (a - time_s).abs().total_cmp(&(b - time_s).abs()))
}
