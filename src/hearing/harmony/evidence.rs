//! Evidence for others to weigh: what the acoustic stage says of each stretch
//! between two possible changes, without a decision.

use crate::hearing::acoustic::frames::frames_in;
use crate::hearing::acoustic::net::{LOWEST_MIDI, N_BASSES, N_CLASSES, N_PITCHES};
use crate::hearing::acoustic::sound::Sound;
use crate::hearing::acoustic::strokes::Stroke;
use crate::hearing::harmony::segments::Cells;
use crate::theory::{PitchClass, Quality};

/// Stretches longer than this are cut even where nothing is struck, s.
const LONGEST_S: f64 = 0.4;

/// One stretch between two strokes.
#[derive(Debug, Clone, PartialEq)]
pub struct StretchEvidence {
    /// From, s.
    pub start_s: f64,
    /// To, s.
    pub end_s: f64,
    /// How strong the stroke is that starts it; 0 if none does.
    pub stroke: f32,
    /// Frames of 46 ms in it.
    pub n_frames: f32,
    /// Sum over its frames of ln p of each class of [`evidence_classes`]; the last is "no chord".
    pub ln_chords: Vec<f32>,
    /// The same of each bass pitch class; the last is "none".
    pub ln_basses: Vec<f32>,
    /// Notes that sound: MIDI and the greatest probability in the stretch.
    pub sounding: Vec<(u8, f32)>,
}

/// Root and quality of each chord class; "no chord" follows them.
pub fn evidence_classes() -> Vec<(PitchClass, &'static Quality)> {
    Quality::of_net()
        .into_iter()
        .flat_map(|quality| PitchClass::all().map(move |root| (root, quality)))
        .collect()
}

impl Sound {
    /// The take as stretches with their evidence, in order and without gap.
    pub fn evidence(&self) -> Vec<StretchEvidence> {
        /// A note less likely than this is not listed.
        const LEAST: f32 = 0.2;
        let duration_s = self.duration_s();
        let mut cuts: Vec<Stroke> = Vec::new();
        let mut last_s = 0.0;
        let end = Stroke {
            time_s: duration_s,
            strength: 0.0,
        };
        for stroke in self.strokes.iter().chain([&end]) {
            let gap_s = stroke.time_s - last_s;
            let n = (gap_s / LONGEST_S).ceil().max(1.0);
            for k in 1..n as usize {
                cuts.push(Stroke {
                    time_s: last_s + gap_s * k as f64 / n,
                    strength: 0.0,
                });
            }
            cuts.push(*stroke);
            last_s = stroke.time_s;
        }
        let cells = Cells::new(&self.acoustic, &cuts, duration_s);
        (1..cells.n_bounds())
            .map(|k| {
                let (start_s, end_s) = (cells.bounds_s[k - 1], cells.bounds_s[k]);
                let mut most = [0f32; N_PITCHES];
                for (frame, share) in frames_in(start_s, end_s, self.acoustic.n_frames()) {
                    for (p, best) in most.iter_mut().enumerate() {
                        *best = best.max(share * self.acoustic.sounding(frame, p));
                    }
                }
                StretchEvidence {
                    start_s,
                    end_s,
                    stroke: cells.strength[k - 1],
                    n_frames: cells.frames(k - 1, k),
                    ln_chords: (0..N_CLASSES).map(|c| cells.chord(k - 1, k, c)).collect(),
                    ln_basses: (0..N_BASSES).map(|b| cells.bass(k - 1, k, b)).collect(),
                    sounding: most
                        .iter()
                        .enumerate()
                        .filter(|(_, p)| **p >= LEAST)
                        .map(|(p, likely)| (p as u8 + LOWEST_MIDI, *likely))
                        .collect(),
                }
            })
            .collect()
    }
}
