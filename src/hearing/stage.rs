//! The streaming front: blocks of samples in, spectra, attacks and tuning out.

use super::attack::{AttackStage, Attacks, FINE_HOP};
use super::spectrum::{Align, HOP, Kernels, N_FFT, Spectra, SpectrumStage};
use super::tuning::TuningVotes;
use std::sync::Arc;

/// What one pass over the samples leaves: no sample is kept.
#[derive(Debug, Clone)]
pub(crate) struct Front {
    pub(crate) spectra: Spectra,
    pub(crate) attacks: Attacks,
    /// Cents and concentration of the tuning votes.
    pub(crate) tuning: Option<(f64, f64)>,
    pub(crate) n_samples: usize,
    /// Share of samples at full scale.
    pub(crate) clipped_share: f64,
}

/// Takes samples in blocks of any size.
pub(crate) struct FrontStage {
    spectrum: SpectrumStage,
    attack: AttackStage,
    votes: TuningVotes,
    front: Front,
    /// Samples not yet left behind; starts with the silence before the take.
    held: Vec<f32>,
    /// Place in `held` where the next frame of each kind begins.
    next_frame: usize,
    next_fine: usize,
    n_clipped: usize,
}

impl FrontStage {
    pub(crate) fn new(align: Align) -> Self {
        let lead = N_FFT / 2;
        Self {
            spectrum: SpectrumStage::new(Arc::new(Kernels::new(align))),
            attack: AttackStage::new(),
            votes: TuningVotes::new(),
            front: Front {
                spectra: Spectra::default(),
                attacks: Attacks::default(),
                tuning: None,
                n_samples: 0,
                clipped_share: 0.0,
            },
            held: vec![0.0; lead],
            next_frame: 0,
            next_fine: lead - AttackStage::N / 2,
            n_clipped: 0,
        }
    }

    /// Hears the next samples (22,050 Hz, mono).
    pub(crate) fn push(&mut self, samples: &[f32]) {
        self.front.n_samples += samples.len();
        self.n_clipped += samples.iter().filter(|s| s.abs() >= 0.999).count();
        self.held.extend_from_slice(samples);
        self.advance();
    }

    fn advance(&mut self) {
        while self.next_frame + N_FFT <= self.held.len() {
            let frame = &self.held[self.next_frame..self.next_frame + N_FFT];
            self.spectrum.frame(frame, &mut self.front.spectra);
            self.votes.frame(self.spectrum.transform());
            self.next_frame += HOP;
        }
        while self.next_fine + AttackStage::N <= self.held.len() {
            let frame = &self.held[self.next_fine..self.next_fine + AttackStage::N];
            self.attack.frame(frame, &mut self.front.attacks);
            self.next_fine += FINE_HOP;
        }
        let done = self.next_frame.min(self.next_fine);
        if done > 1 << 16 {
            self.held.drain(..done);
            self.next_frame -= done;
            self.next_fine -= done;
        }
    }

    /// What was heard so far; its tuning comes from [`Self::tuning`].
    pub(crate) fn front(&self) -> &Front {
        &self.front
    }

    /// Cents and concentration of the tuning votes so far.
    pub(crate) fn tuning(&self) -> Option<(f64, f64)> {
        self.votes.result()
    }

    /// Lets go of the first frames and the first values of the attacks.
    pub(crate) fn forget(&mut self, n_frames: usize, n_fine: usize) {
        self.front.spectra.forget(n_frames);
        let attacks = &mut self.front.attacks;
        for values in [
            &mut attacks.flux,
            &mut attacks.low,
            &mut attacks.high,
            &mut attacks.power,
        ] {
            values.drain(..n_fine.min(values.len()));
        }
    }

    /// Ends the take: pads the last frames with silence.
    pub(crate) fn finish(mut self) -> Front {
        let n = self.front.n_samples;
        self.held.extend(std::iter::repeat_n(0.0, N_FFT / 2));
        self.advance();
        let front = &mut self.front;
        front.tuning = self.votes.result();
        front.clipped_share = self.n_clipped as f64 / n.max(1) as f64;
        self.front
    }
}
