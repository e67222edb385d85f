//! The same hearing, made causal: what sounds now, while more is coming.
//!
//! Samples come block by block. Each frame is heard once, by the net that
//! needs no frame to come ([`crate::hearing::live::causal`]), and the musical stage reads the
//! last six seconds: the same strokes, cells, search and shapes as for a file.
//! The answer is about the moment `look_ahead` frames before the newest that
//! the net speaks of: more look-ahead is surer and later (docs/microphone.md
//! says how much of both).
//!
//! Tuning is that of all that was heard so far, loudness that of what sounded in the last
//! minute: silence says nothing about how loud a guitar is. What is told of a moment depends only on the
//! sound up to the answer, so streaming a file gives what was told live.

use crate::fretboard::Shape;
use crate::hearing::acoustic::front::FrontStage;
use crate::hearing::acoustic::net::{Acoustic, LOWEST_MIDI, N_PITCHES, frame_peak_db, reference};
use crate::hearing::acoustic::spectrum::{Align, HOP, HOP_S};
use crate::hearing::acoustic::strokes::{Stroke, strokes};
use crate::hearing::error::HearingError;
use crate::hearing::harmony::chords::{KeyPrior, States, Stretches, decode, score_states};
use crate::hearing::harmony::keys::{estimate_key, key_prior};
use crate::hearing::harmony::labels::candidates;
use crate::hearing::harmony::segments::Cells;
use crate::hearing::live::causal::{CausalNet, LATE, moment_s};
use crate::hearing::live::strings::{Implied, Played, played};
use crate::hearing::live::tuner::{TunedString, Tuner};
use crate::hearing::notes::pitches::heard_pitches;
use crate::hearing::outputs::Given;
use crate::hearing::voicing::fit::{Heard, fit_shapes};
use crate::hearing::weights::Weights;
use crate::theory::{Key, Label};
use std::collections::VecDeque;

/// Frames that are read as music: 6 s.
const WINDOW: usize = 129;
/// Frames whose loudness sets the reference: a minute.
const LOUDNESS: usize = 1292;
/// A frame this far under the loudest is silence, dB; so is one under a level.
const SILENT_UNDER_DB: f32 = 30.0;
const SILENT_DB: f32 = -60.0;
/// Until so many frames sounded (half a second), a guitar is taken to be as loud as usual:
/// the level of the strongest partial of a strum in takes that peak at -6 dB FS. Ours.
const LOUDNESS_KNOWN: usize = 11;
const USUAL_DB: f32 = -25.0;
/// Least probability of a pitch that is told.
const SOUNDING: f32 = 0.5;
/// Fine frames of the attacks in a frame.
const FINE: usize = HOP / crate::hearing::acoustic::attack::FINE_HOP;
/// Temperature of the candidates where the weights give none: ours, not fitted;
/// benches/listen.rs shows that it says more than it knows.
const TEMPERATURE: f32 = 2.0;

/// What sounds at one moment.
#[derive(Debug, Clone, PartialEq)]
pub struct LiveAnswer {
    /// The moment it is about, s from the start.
    pub at_s: f64,
    /// How much later than that moment it can be given at the earliest, s.
    pub delay_s: f64,
    /// Since when this chord sounds, s (at most six seconds before `at_s`).
    pub since_s: f64,
    /// How many strings sound, and which if they are one or two.
    pub played: Played,
    /// The single string that sounds, measured; none for more, or if it has just been struck.
    pub tuned: Option<TunedString>,
    /// Chords that the notes fit, as if a chord were played: best first, never empty, with
    /// probabilities.
    pub candidates: Vec<(Label, f64)>,
    /// Fingerings of the first candidate that fit the notes heard, best first, with their fit;
    /// none of one or two strings.
    pub shapes: Vec<(Shape, f64)>,
    /// Pitches that sound, MIDI, ascending.
    pub notes: Vec<u8>,
    /// Offset from A4 = 440 Hz, cents; none before a pitch was heard.
    pub tuning_cents: Option<f64>,
}

impl LiveAnswer {
    /// The chords to be shown: none for a single note, those that a double stop may stand for.
    pub fn chords(&self) -> &[(Label, f64)] {
        match &self.played {
            Played::Note(_) => &[],
            Played::DoubleStop(_, implied) => implied,
            _ => &self.candidates,
        }
    }
}

/// Hears while samples come.
pub struct Live {
    stage: FrontStage,
    tuner: Tuner,
    implied: Implied,
    net: Option<CausalNet>,
    given: Given,
    weights: Weights,
    states: States,
    look_ahead: usize,
    /// What the net said of the frames that are held.
    acoustic: Acoustic,
    /// Frames no longer held.
    forgotten: usize,
    /// Highest level of each of the last frames, dB.
    peaks_db: VecDeque<f32>,
}

impl Live {
    /// Nothing heard yet. `look_ahead` is in frames of 46.4 ms.
    pub fn new(given: Given, weights: Weights, look_ahead: usize) -> Self {
        Self {
            stage: FrontStage::new(Align::End),
            tuner: Tuner::new(&given.instrument),
            implied: Implied::default(),
            net: None,
            states: States::new(&weights.chords, &given.instrument),
            given,
            weights,
            look_ahead,
            acoustic: Acoustic::default(),
            forgotten: 0,
            peaks_db: VecDeque::new(),
        }
    }

    /// Hears the next samples (mono, 22,050 Hz); an answer comes with every
    /// frame (46 ms of sound), of a longer block the one for its end.
    ///
    /// The first answer needs the look-ahead and one frame more.
    ///
    /// # Errors
    /// * [`HearingError::Model`] if the built-in net cannot be used.
    pub fn push(&mut self, samples: &[f32]) -> Result<Option<LiveAnswer>, HearingError> {
        self.stage.push(samples);
        self.tuner.push(samples);
        if !self.hear()? || self.acoustic.n_frames() <= self.look_ahead {
            return Ok(None);
        }
        self.forget();
        self.answer().map(Some)
    }

    /// Lets the net hear the frames that are new; gives whether there were any.
    fn hear(&mut self) -> Result<bool, HearingError> {
        let spectra = self.stage.spectra();
        let n = spectra.n_frames();
        if n == 0 {
            return Ok(false);
        }
        let net = match &mut self.net {
            Some(net) => net,
            none => none.insert(CausalNet::new()?),
        };
        let tuning = self.stage.tuning().map_or(0.0, |t| t.0);
        for t in 0..n {
            self.peaks_db.push_back(frame_peak_db(spectra, t));
            if self.peaks_db.len() > LOUDNESS {
                self.peaks_db.pop_front();
            }
            // one by one: what is told must not depend on how the sound was cut
            let peak = loudness(&self.peaks_db);
            net.hear(spectra, t, t + 1, tuning, peak, &mut self.acoustic)?;
        }
        self.stage.forget(n, 0);
        Ok(true)
    }

    /// Lets go of what no later answer needs.
    fn forget(&mut self) {
        let n = self
            .acoustic
            .n_frames()
            .saturating_sub(WINDOW + self.look_ahead);
        if n > 0 {
            self.acoustic.forget(n);
            self.stage.forget(0, n * FINE);
            self.forgotten += n;
        }
    }

    fn answer(&mut self) -> Result<LiveAnswer, HearingError> {
        let tuned = self.tuner.read();
        let acoustic = &self.acoustic;
        let n = acoustic.n_frames();
        let from_s = moment_s(self.forgotten);
        let length_s = n as f64 * HOP_S;
        let edge_s = (n - self.look_ahead) as f64 * HOP_S;
        let cells = Cells::new(acoustic, &self.strokes(length_s), length_s);
        let chords = &self.weights.chords;
        let starts = vec![chords.on_beat; cells.n_bounds()];
        let all = vec![0; cells.n_bounds()];
        let segments = |prior: &[KeyPrior]| {
            let stretches = Stretches::new(&cells, &self.states, chords, (prior, &all));
            decode(&stretches, &self.states, &starts)
        };
        let key = self.given.key.or_else(|| {
            let segments = segments(&[key_prior(None, chords.key)]);
            let length = |from: usize, to: usize| cells.bounds_s[to] - cells.bounds_s[from];
            let lengths: Vec<_> = segments
                .iter()
                .map(|s| (*s, length(s.from, s.to)))
                .collect();
            estimate_key(&lengths)
        });
        let prior = [key_prior(key, chords.key)];
        let segments = segments(&prior);
        let at_edge = segments
            .iter()
            .find(|s| cells.bounds_s[s.to] >= edge_s - 1e-9)
            .map_or((0, 1), |s| (s.from, s.to));
        let from = at_edge.0;
        let candidates = self.candidates(&cells, at_edge, key, &prior[0]);
        // what was said of the key is meant: six seconds alone are no key
        let read = |notes| self.implied.read(notes, self.given.key);
        let played = match played(acoustic, tuned.as_ref(), read) {
            Played::Unclear if tuned.is_none() && candidates[0].0 == Label::NoChord => {
                Played::Nothing
            }
            played => played,
        };
        let since_s = cells.bounds_s[from];
        let heard = Heard {
            label: &candidates[0].0,
            pitches: heard_pitches(acoustic, since_s, length_s),
            seconds: length_s - since_s,
        };
        let shapes = fit_shapes(&self.given.instrument, &[heard], &self.weights.fit);
        Ok(LiveAnswer {
            at_s: from_s + edge_s,
            delay_s: (self.look_ahead + LATE) as f64 * HOP_S,
            since_s: from_s + since_s,
            tuned: tuned.filter(|_| matches!(played, Played::Note(_))),
            shapes: match played {
                Played::Note(_) | Played::DoubleStop(..) => Vec::new(),
                _ => shapes.into_iter().next().unwrap_or_default(),
            },
            notes: match &played {
                Played::Note(midi) => vec![*midi],
                Played::DoubleStop(midi, _) => midi.to_vec(),
                _ => sounding(acoustic),
            },
            played,
            candidates,
            tuning_cents: self.stage.tuning().map(|t| t.0),
        })
    }

    /// What may sound in a stretch of cells, best first, with probabilities.
    fn candidates(
        &self,
        cells: &Cells,
        (from, to): (usize, usize),
        key: Option<Key>,
        prior: &KeyPrior,
    ) -> Vec<(Label, f64)> {
        let chords = &self.weights.chords;
        let mut scores = Vec::new();
        score_states(cells, from, to, &self.states, chords, prior, &mut scores);
        let temperature = match self.weights.temperature {
            t if t > 0.0 => t,
            _ => TEMPERATURE,
        };
        let found = candidates(&self.states, &scores, key, temperature);
        found.into_iter().map(|(label, p, _)| (label, p)).collect()
    }

    /// Strokes within the window, s from its start.
    fn strokes(&self, length_s: f64) -> Vec<Stroke> {
        // attacks count from the first held frame's number, the net speaks later
        let shift_s = moment_s(0);
        strokes(self.stage.attacks())
            .into_iter()
            .map(|s| Stroke {
                time_s: s.time_s - shift_s,
                ..s
            })
            .filter(|s| s.time_s > 0.0 && s.time_s < length_s)
            .collect()
    }
}

/// The magnitude that levels are read against: the 97th percentile of the frames that sound.
fn loudness(peaks_db: &VecDeque<f32>) -> f32 {
    let loudest = peaks_db.iter().copied().fold(f32::MIN, f32::max);
    let least = SILENT_DB.max(loudest - SILENT_UNDER_DB);
    let mut sounding: Vec<f32> = peaks_db.iter().copied().filter(|p| *p > least).collect();
    let peak = reference(&mut sounding);
    if sounding.len() < LOUDNESS_KNOWN {
        peak.max(10f32.powf(USUAL_DB / 20.0))
    } else {
        peak
    }
}

/// Pitches that sound in the last frames, MIDI.
fn sounding(acoustic: &Acoustic) -> Vec<u8> {
    let n = acoustic.n_frames();
    let mean = |pitch: usize| {
        let last = n.saturating_sub(3)..n;
        let count = last.len().max(1) as f32;
        last.map(|t| acoustic.sounding(t, pitch)).sum::<f32>() / count
    };
    (0..N_PITCHES)
        .filter(|p| mean(*p) >= SOUNDING)
        .map(|p| LOWEST_MIDI + p as u8)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hearing::acoustic::spectrum::RATE;
    use crate::units::{SampleRate, Seconds};

    /// Three chords of two seconds each, then two more: ten seconds.
    fn take() -> Vec<f32> {
        let chords: [&[(usize, u8)]; 5] = [
            &[(1, 48), (2, 52), (3, 55), (4, 60), (5, 64)],
            &[(0, 43), (1, 47), (2, 50), (3, 55), (4, 59), (5, 67)],
            &[(1, 45), (2, 52), (3, 57), (4, 60), (5, 64)],
            &[(2, 50), (3, 57), (4, 62), (5, 66)],
            &[(0, 40), (1, 47), (2, 52), (3, 55), (4, 59), (5, 64)],
        ];
        // a few decaying partials a note: enough for a net, and of no guitar
        let mut samples = vec![0f32; RATE as usize * 10];
        for (i, chord) in chords.iter().enumerate() {
            for (_, midi) in chord.iter() {
                let hz = crate::units::midi_to_hz(f64::from(*midi));
                let from = SampleRate(RATE).samples(Seconds(2.0 * i as f64));
                for (n, x) in samples[from..from + 2 * RATE as usize]
                    .iter_mut()
                    .enumerate()
                {
                    let t = n as f64 / f64::from(RATE);
                    for partial in 1..8 {
                        let h = f64::from(partial);
                        let level = 0.05 / h * (-t * (0.6 + 0.5 * h)).exp();
                        *x += (level * (std::f64::consts::TAU * hz * h * t).sin()) as f32;
                    }
                }
            }
        }
        samples
    }

    fn all(blocks: &mut dyn Iterator<Item = &[f32]>, look_ahead: usize) -> Vec<LiveAnswer> {
        let mut live = Live::new(Given::default(), Weights::default(), look_ahead);
        blocks
            .filter_map(|b| live.push(b).expect("the net runs"))
            .collect()
    }

    #[test]
    fn a_frame_is_heard_the_same_alone_or_with_others() {
        let mut file = FrontStage::new(Align::End);
        file.push(&take());
        let spectra = file.spectra();
        let n = spectra.n_frames();
        let (mut at_once, mut one_by_one) = (Acoustic::default(), Acoustic::default());
        let mut net = CausalNet::new().expect("a net");
        net.hear(spectra, 0, n, 0.0, 0.1, &mut at_once)
            .expect("heard");
        let mut net = CausalNet::new().expect("a net");
        for t in 0..n {
            net.hear(spectra, t, t + 1, 0.0, 0.1, &mut one_by_one)
                .expect("heard");
        }
        assert_eq!(at_once.n_frames(), n);
        assert_eq!(one_by_one.n_frames(), n);
        let (mut first, mut second) = (at_once.chords(), one_by_one.chords());
        for t in 0..n {
            for (class, (a, b)) in first.all(t).zip(second.all(t)).enumerate() {
                assert!((a - b).abs() < 0.17, "frame {t} class {class}: {a} and {b}");
            }
            for pitch in 0..N_PITCHES {
                let (a, b) = (at_once.sounding(t, pitch), one_by_one.sounding(t, pitch));
                assert!((a - b).abs() < 0.01, "frame {t} pitch {pitch}: {a} and {b}");
            }
        }
    }

    #[test]
    fn answers_do_not_depend_on_how_the_sound_was_cut_into_blocks() {
        let samples = take();
        let even = all(&mut samples.chunks(HOP), 4);
        let odd = all(&mut samples.chunks(333), 4);
        assert!(even.len() > 40, "{}", even.len());
        assert_eq!(even.len(), odd.len());
        for (a, b) in even.iter().zip(&odd) {
            // later blocks may have moved the tuning by a hair
            assert_eq!((a.at_s, &a.candidates[0].0), (b.at_s, &b.candidates[0].0));
        }
        let chord_at = |s: f64| {
            let answer = even.iter().find(|a| a.at_s >= s).expect("an answer");
            answer.candidates[0].0.label()
        };
        assert_eq!(chord_at(1.5), "C:maj");
        assert_eq!(chord_at(3.5), "G:maj");
        assert_eq!(chord_at(9.0), "E:min");
    }

    #[test]
    fn memory_does_not_grow() {
        let mut live = Live::new(Given::default(), Weights::default(), 4);
        let noise: Vec<f32> = (0..RATE).map(|i| (i * i % 97) as f32 / 970.0).collect();
        for _ in 0..30 {
            live.push(&noise).expect("the net runs");
            assert!(live.acoustic.n_frames() <= WINDOW + 4);
            assert!(live.stage.spectra().n_frames() == 0);
            assert!(live.stage.attacks().flux.len() <= (WINDOW + 10) * FINE);
        }
    }
}
