//! The streaming front: blocks of samples in, spectra, attacks and tuning out.
//!
//! It has two halves that know nothing of each other, so that a file's may run beside each
//! other: [`Tones`] (spectra and tuning) and [`Onsets`] (attacks).

use crate::hearing::acoustic::attack::{AttackStage, Attacks, FINE_HOP};
use crate::hearing::acoustic::rows;
use crate::hearing::acoustic::spectrum::{
    Align, Between, BetweenStage, HOP, Kernels, N_BETWEEN, N_FFT, Spectra, SpectrumStage, is_silent,
};
use crate::hearing::acoustic::tuning::TuningVotes;
use std::sync::Arc;

/// What one pass over the samples leaves: no sample is kept.
#[derive(Debug, Clone)]
pub(crate) struct Front {
    pub(crate) spectra: Spectra,
    pub(crate) attacks: Attacks,
    /// The short spectrum half-way between the frames.
    pub(crate) between: Between,
    /// Cents and concentration of the tuning votes.
    pub(crate) tuning: Option<(f64, f64)>,
    pub(crate) n_samples: usize,
    /// Share of samples at full scale.
    pub(crate) clipped_share: f64,
}

impl Front {
    /// Ends the take: the last frames of both halves are padded with silence.
    pub(crate) fn of(tones: Tones, onsets: Onsets) -> Self {
        Self::ended(tones.ended(), onsets.ended())
    }

    /// The same from two that shared the frames.
    pub(crate) fn of_both([first, second]: [Tones; 2], onsets: Onsets) -> Self {
        let tones = Tones::joined(first.ended(), second.ended());
        Self::ended(tones, onsets.ended())
    }

    /// Of halves that have ended.
    fn ended(tones: Tones, onsets: Onsets) -> Self {
        Self {
            tuning: tones.tuning(),
            clipped_share: tones.n_clipped as f64 / tones.n_samples.max(1) as f64,
            n_samples: tones.n_samples,
            spectra: tones.spectra,
            attacks: onsets.attacks,
            between: onsets.between.map_or_else(Between::default, |b| b.frames),
        }
    }
}

/// Samples of which frames are still to be read; it begins with the silence before the take.
struct Held {
    samples: Vec<f32>,
    /// Where the next frame begins.
    next: usize,
}

impl Held {
    fn starting_at(next: usize) -> Self {
        let samples = vec![0.0; N_FFT / 2];
        Self { samples, next }
    }

    /// Reads every whole frame of `length` samples, one each `hop`.
    fn read(&mut self, length: usize, hop: usize, mut each: impl FnMut(&[f32])) {
        while let Some(frame) = self.samples.get(self.next..self.next + length) {
            each(frame);
            self.next += hop;
        }
        let done = self.next.min(self.samples.len());
        if done > 1 << 16 {
            self.samples.drain(..done);
            self.next -= done;
        }
    }

    fn pad(&mut self) {
        self.samples.extend(std::iter::repeat_n(0.0, N_FFT / 2));
    }
}

/// Frames that each of two that share them reads at a time.
const SHARE: usize = rows::BLOCK;

/// Which frames are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Part {
    All,
    /// Every other `SHARE`: turn 0 or 1 of two.
    Turn(usize),
}

impl Part {
    fn has(self, frame: usize) -> bool {
        match self {
            Self::All => true,
            Self::Turn(turn) => frame / SHARE % 2 == turn,
        }
    }
}

/// The half that hears spectra and the tuning, of all frames or of every other few.
pub(crate) struct Tones {
    part: Part,
    n_frames: usize,
    stage: SpectrumStage,
    votes: TuningVotes,
    held: Held,
    spectra: Spectra,
    n_samples: usize,
    n_clipped: usize,
}

impl Tones {
    /// `samples` of every frame come, whichever of them are read.
    pub(crate) fn new(kernels: &Arc<Kernels>, part: Part) -> Self {
        Self {
            part,
            n_frames: 0,
            stage: SpectrumStage::new(Arc::clone(kernels)),
            votes: TuningVotes::new(),
            held: Held::starting_at(0),
            spectra: Spectra::default(),
            n_samples: 0,
            n_clipped: 0,
        }
    }

    /// Hears the next samples (22,050 Hz, mono).
    pub(crate) fn push(&mut self, samples: &[f32]) {
        self.n_samples += samples.len();
        self.n_clipped += samples.iter().filter(|s| s.abs() >= 0.999).count();
        self.held.samples.extend_from_slice(samples);
        self.advance();
    }

    fn advance(&mut self) {
        self.held.read(N_FFT, HOP, |frame| {
            match self.part.has(self.n_frames) {
                true if is_silent(frame) => self.spectra.push_silence(),
                true => {
                    self.stage.frame(frame, &mut self.spectra);
                    self.votes.frame(self.stage.transform());
                }
                false => {}
            }
            self.n_frames += 1;
        });
    }

    /// All frames, from the two that shared them.
    fn joined(mut first: Self, second: Self) -> Self {
        first.votes.add(&second.votes);
        first.spectra = Spectra::in_turns([first.spectra, second.spectra]);
        first
    }

    fn tuning(&self) -> Option<(f64, f64)> {
        self.votes.result()
    }

    fn ended(mut self) -> Self {
        self.held.pad();
        self.advance();
        self
    }
}

/// The half that hears attacks and, for a file, the short spectrum between frames.
pub(crate) struct Onsets {
    stage: AttackStage,
    held: Held,
    attacks: Attacks,
    between: Option<HalfWay>,
}

/// The frames half-way between those of [`Tones`].
struct HalfWay {
    stage: BetweenStage,
    held: Held,
    frames: Between,
}

impl HalfWay {
    fn new() -> Self {
        Self {
            stage: BetweenStage::new(),
            held: Held::starting_at((N_FFT + HOP - N_BETWEEN) / 2),
            frames: Between::default(),
        }
    }

    fn advance(&mut self) {
        self.held.read(N_BETWEEN, HOP, |frame| {
            self.stage.frame(frame, &mut self.frames);
        });
    }
}

impl Onsets {
    pub(crate) fn new() -> Self {
        Self {
            stage: AttackStage::new(),
            held: Held::starting_at((N_FFT - AttackStage::N) / 2),
            attacks: Attacks::default(),
            between: None,
        }
    }

    /// The same with the frames between, for a file.
    pub(crate) fn of_file() -> Self {
        Self {
            between: Some(HalfWay::new()),
            ..Self::new()
        }
    }

    /// Hears the next samples (22,050 Hz, mono).
    pub(crate) fn push(&mut self, samples: &[f32]) {
        self.held.samples.extend_from_slice(samples);
        if let Some(between) = &mut self.between {
            between.held.samples.extend_from_slice(samples);
        }
        self.advance();
    }

    fn advance(&mut self) {
        if let Some(between) = &mut self.between {
            between.advance();
        }
        self.held.read(AttackStage::N, FINE_HOP, |frame| {
            self.stage.frame(frame, &mut self.attacks);
        });
    }

    fn ended(mut self) -> Self {
        self.held.pad();
        if let Some(between) = &mut self.between {
            between.held.pad();
        }
        self.advance();
        self
    }
}

/// Both halves on one thread; takes samples in blocks of any size.
pub(crate) struct FrontStage {
    tones: Tones,
    onsets: Onsets,
}

impl FrontStage {
    pub(crate) fn new(align: Align) -> Self {
        Self {
            tones: Tones::new(&Arc::new(Kernels::new(align)), Part::All),
            onsets: match align {
                Align::Middle => Onsets::of_file(),
                Align::End => Onsets::new(),
            },
        }
    }

    /// Hears the next samples (22,050 Hz, mono).
    pub(crate) fn push(&mut self, samples: &[f32]) {
        self.tones.push(samples);
        self.onsets.push(samples);
    }

    /// The spectra heard so far.
    pub(crate) fn spectra(&self) -> &Spectra {
        &self.tones.spectra
    }

    /// The attacks heard so far.
    pub(crate) fn attacks(&self) -> &Attacks {
        &self.onsets.attacks
    }

    /// Cents and concentration of the tuning votes so far.
    pub(crate) fn tuning(&self) -> Option<(f64, f64)> {
        self.tones.tuning()
    }

    /// Lets go of the first frames and the first values of the attacks.
    pub(crate) fn forget(&mut self, n_frames: usize, n_fine: usize) {
        self.tones.spectra.forget(n_frames);
        let attacks = &mut self.onsets.attacks;
        for values in [&mut attacks.flux, &mut attacks.low, &mut attacks.high] {
            values.drain(..n_fine.min(values.len()));
        }
    }

    /// Ends the take: pads the last frames with silence.
    pub(crate) fn finish(self) -> Front {
        Front::of(self.tones, self.onsets)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_that_share_the_frames_hear_what_one_hears() {
        let kernels = Arc::new(Kernels::new(Align::Middle));
        let tones = |part| {
            let mut tones = Tones::new(&kernels, part);
            // 45 frames and a rest, in uneven blocks; two strings a little sharp
            let sample = |i: usize| {
                let t = i as f32 / 22_050.0 * std::f32::consts::TAU;
                0.3 * (t * 111.0).sin() + 0.2 * (t * 331.5).sin()
            };
            let samples: Vec<f32> = (0..45 * HOP + 77).map(sample).collect();
            samples.chunks(5000).for_each(|block| tones.push(block));
            tones
        };
        let one = Front::of(tones(Part::All), Onsets::new());
        let both = [Part::Turn(0), Part::Turn(1)].map(tones);
        assert!(both.iter().all(|t| t.spectra.n_frames() > SHARE / 2));
        let both = Front::of_both(both, Onsets::new());
        assert!(one.spectra.n_frames() > 2 * SHARE);
        assert!(one.spectra == both.spectra);
        assert!(one.tuning.is_some());
        assert_eq!(one.tuning, both.tuning);
        assert_eq!(one.n_samples, both.n_samples);
    }

    #[test]
    fn frames_between_hear_what_whole_frames_there_would() {
        let sample = |i: usize| {
            let t = i as f32 / 22_050.0 * std::f32::consts::TAU;
            let swell = (i as f32 / 3000.0).sin();
            0.3 * swell * (t * 111.0).sin() + 0.2 * (t * 331.5).sin()
        };
        let samples: Vec<f32> = (0..40 * HOP).map(sample).collect();
        let mut onsets = Onsets::of_file();
        samples.chunks(777).for_each(|block| onsets.push(block));
        let between = onsets.ended().between.expect("asked for").frames;
        let mut tones = Tones::new(&Arc::new(Kernels::new(Align::Middle)), Part::All);
        tones.push(&samples[HOP / 2..]);
        let spectra = tones.ended().spectra;
        for t in 8..30 {
            for (bin, (a, b)) in between.short_db(t).zip(spectra.short_db(t)).enumerate() {
                // kernels over half as many points drop other small parts
                let near = (a - b).abs() < 1.5 || a.max(b) < -50.0;
                assert!(near, "frame {t}, bin {bin}: {a} and {b} dB");
            }
        }
    }
}
