//! How surely each pitch was heard in a stretch of time.

use crate::hearing::acoustic::frames::frames_in;
use crate::hearing::acoustic::net::{Acoustic, N_PITCHES};
use crate::hearing::acoustic::spectrum::HOP_S;
use crate::hearing::notes::events::Possible;
use crate::hearing::strum_window::strum_window;

/// Frames in which the strings of one strum are struck: 0.19 s.
const STRUM: usize = 4;

/// What was heard of a chord's notes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Pitches {
    /// How surely each pitch (0 = MIDI 28) was heard: the strongest of its
    /// struck probabilities and of its sounding share.
    pub(crate) heard: [f32; N_PITCHES],
    /// How much of that its sounding alone says.
    pub(crate) ringing: [f32; N_PITCHES],
    /// The largest part of them that was struck at once, 0 to 1.
    pub(crate) together: f32,
}

/// What was heard between two times, by the acoustic stage alone.
pub(crate) fn heard_pitches(acoustic: &Acoustic, start_s: f64, end_s: f64) -> Pitches {
    let mut struck = [0f32; N_PITCHES];
    let mut most_at_once = 0f32;
    let mut last: [[f32; N_PITCHES]; STRUM] = [[0.0; N_PITCHES]; STRUM];
    for (i, (frame, weight)) in frames_in(start_s, end_s, acoustic.n_frames()).enumerate() {
        for p in 0..N_PITCHES {
            let now = acoustic.struck(frame, p) * weight.min(1.0);
            last[i % STRUM][p] = now;
            struck[p] = struck[p].max(now);
        }
        let at_once: f32 = (0..N_PITCHES)
            .map(|p| last.iter().map(|f| f[p]).fold(0.0, f32::max))
            .sum();
        most_at_once = most_at_once.max(at_once);
    }
    Pitches::new(&struck, sounding(acoustic, start_s, end_s), most_at_once)
}

/// The same with what the note classifier says was struck (in order of time), of which
/// `judged_share` (0 to 1) is taken.
pub(crate) fn heard_notes(
    acoustic: &Acoustic,
    possible: &[Possible],
    (start_s, end_s): (f64, f64),
    judged_share: f64,
) -> Pitches {
    // a stroke begins a span: its notes lie a little around it
    let early_s = strum_window().early_s;
    let alone = heard_pitches(acoustic, start_s, end_s);
    let before = |time_s: f64| possible.partition_point(|p| p.time_s < time_s - early_s);
    let inside = &possible[before(start_s)..before(end_s).max(before(start_s))];
    let most = |notes: &[Possible]| {
        let mut most = [0f32; N_PITCHES];
        for note in notes {
            most[note.pitch] = most[note.pitch].max(note.probability);
        }
        most
    };
    let mut most_at_once = 0f32;
    for (i, note) in inside.iter().enumerate() {
        let strum_s = STRUM as f64 * HOP_S;
        let n = inside[i..].partition_point(|p| p.time_s < note.time_s + strum_s);
        most_at_once = most_at_once.max(most(&inside[i..i + n]).iter().sum());
    }
    let judged = Pitches::new(
        &most(inside),
        sounding(acoustic, start_s, end_s),
        most_at_once,
    );
    let share = judged_share as f32;
    let mix = |judged: f32, alone: f32| share * judged + (1.0 - share) * alone;
    Pitches {
        heard: std::array::from_fn(|p| mix(judged.heard[p], alone.heard[p])),
        ringing: std::array::from_fn(|p| mix(judged.ringing[p], alone.ringing[p])),
        together: mix(judged.together, alone.together),
    }
}

/// How many frames each pitch sounds between two times, and how many there are.
fn sounding(acoustic: &Acoustic, start_s: f64, end_s: f64) -> ([f32; N_PITCHES], f32) {
    let mut sounding = [0f32; N_PITCHES];
    let mut frames = 0.0f32;
    for (frame, weight) in frames_in(start_s, end_s, acoustic.n_frames()) {
        frames += weight;
        for (p, sum) in sounding.iter_mut().enumerate() {
            *sum += weight * acoustic.sounding(frame, p);
        }
    }
    (sounding, frames)
}

impl Pitches {
    /// From how surely each pitch was struck, in how many frames it sounds of how
    /// many, and how many notes at most were struck at once.
    fn new(
        struck: &[f32; N_PITCHES],
        (sounding, frames): ([f32; N_PITCHES], f32),
        most_at_once: f32,
    ) -> Self {
        let all: f32 = struck.iter().sum();
        let heard: [f32; N_PITCHES] = std::array::from_fn(|p| {
            let share = sounding[p] / frames.max(1e-3);
            (0.5 * (struck[p] + share)).max(0.9 * struck[p] * sounding[p].min(1.0))
        });
        Self {
            ringing: std::array::from_fn(|p| {
                heard[p] - (0.5 * struck[p]).max(0.9 * struck[p] * sounding[p].min(1.0))
            }),
            heard,
            together: most_at_once / all.max(1e-3),
        }
    }
}
