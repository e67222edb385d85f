//! What is known about a take, gathered while it streams by.

pub use crate::take::{Fingerprint, Tags};
use std::path::PathBuf;

/// What is known about a take's sound.
#[derive(Debug, Clone, PartialEq)]
pub struct Facts {
    /// Where it came from.
    pub path: PathBuf,
    /// Container and coding in words: "WAV, 16-bit".
    pub kind: String,
    /// Its own sample rate, Hz.
    pub rate_hz: u32,
    /// Channels in the file.
    pub channels: u16,
    /// Size of the file, bytes.
    pub bytes: u64,
    /// Length, s: as the file says before it was read (if it says), as decoded after.
    pub duration_s: Option<f64>,
    /// Share of the samples in runs at full scale, 0 to 1; known once read.
    pub clipped_share: f64,
    /// Samples that were no number or far beyond full scale (10⁶ times), heard as silence; known once read.
    pub n_not_finite: u64,
    /// Highest absolute sample, 1 is full scale; known once read.
    pub peak: f32,
    /// What a listener should know: damage, clipping, silence, channels.
    pub warnings: Vec<String>,
    /// The take's fingerprint; known once it was read at the rate of hearing.
    pub fingerprint: Option<Fingerprint>,
    /// What its tags say.
    pub tags: Tags,
}

/// How many parts a take is cut into for its fingerprint.
const N_PARTS: usize = 32;

/// Gathers a fingerprint from samples at the rate of hearing.
pub(super) struct FingerprintMeter {
    rate_hz: f64,
    frame_len: usize,
    // energy and crossings of each finished tenth of a second
    frames: Vec<(f32, u32)>,
    energy: f64,
    crossings: u32,
    in_frame: usize,
    last: f32,
    n: u64,
}

impl FingerprintMeter {
    pub(super) fn new(rate_hz: u32) -> Self {
        Self {
            rate_hz: f64::from(rate_hz),
            frame_len: (rate_hz as usize / 10).max(1),
            frames: Vec::new(),
            energy: 0.0,
            crossings: 0,
            in_frame: 0,
            last: 0.0,
            n: 0,
        }
    }

    pub(super) fn push(&mut self, block: &[f32]) {
        self.n += block.len() as u64;
        for x in block {
            self.energy += f64::from(x * x);
            if (*x >= 0.0) != (self.last >= 0.0) {
                self.crossings += 1;
            }
            self.last = *x;
            self.in_frame += 1;
            if self.in_frame == self.frame_len {
                self.close();
            }
        }
    }

    fn close(&mut self) {
        let mean = self.energy / self.in_frame.max(1) as f64;
        self.frames.push((mean as f32, self.crossings));
        self.energy = 0.0;
        self.crossings = 0;
        self.in_frame = 0;
    }

    pub(super) fn finish(mut self) -> Fingerprint {
        if self.in_frame > 0 {
            self.close();
        }
        let n = self.frames.len();
        let (mut levels_db, mut crossings) = (Vec::new(), Vec::new());
        for part in 0..N_PARTS {
            let (from, to) = (part * n / N_PARTS, (part + 1) * n / N_PARTS);
            let frames = &self.frames[from..to.max(from)];
            let count = frames.len().max(1) as f64;
            let mean = frames.iter().map(|f| f64::from(f.0)).sum::<f64>() / count;
            levels_db.push((10.0 * mean.max(1e-12).log10()).round() as i16);
            let total: u32 = frames.iter().map(|f| f.1).sum();
            crossings.push((f64::from(total) / (count * 0.1)).round() as u32);
        }
        Fingerprint {
            duration_s: self.n as f64 / self.rate_hz,
            levels_db,
            crossings,
        }
    }
}
