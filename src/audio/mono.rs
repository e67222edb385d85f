//! Many channels to one, and what the samples say about the recording.

/// A sample beyond this, in parts of full scale, is damage: sums of such leave
/// what a number can hold. Recorders that count in whole numbers stay far under it.
const LOUDEST: f32 = 1e6;
/// A sample at or over this is at full scale: the largest 16-bit value but three.
const FULL_SCALE: f32 = 0.9999;
/// So many samples at full scale in a row are clipping; a single one is a peak.
const CLIP_RUN: u32 = 3;
/// The mean of channels that do not agree has, by chance, this energy in parts
/// of the channels' summed energy over n²; clearly less is cancelling.
const CANCEL_RATIO: f64 = 0.3;
/// So much sound decides which channels to take, s.
const ENOUGH_SOUND_S: f64 = 20.0;
/// Below this mean square there is nothing to judge by (-70 dB).
const NOTHING: f64 = 1e-7;

/// Whether a sample is a number that a recording can have.
fn is_sound(x: f32) -> bool {
    x.abs() <= LOUDEST
}

/// Which signal is made of the channels.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Mix {
    /// The mean of all.
    Mean,
    /// One channel, from 0.
    One(usize),
}

/// Looks at the sounding parts of a take until it is clear which mix to take.
pub(super) struct MixScan {
    n_channels: usize,
    energy: Vec<f64>,
    mean_energy: f64,
    n_frames: u64,
    enough_frames: u64,
}

impl MixScan {
    pub(super) fn new(n_channels: usize, rate_hz: u32) -> Self {
        Self {
            n_channels,
            energy: vec![0.0; n_channels],
            mean_energy: 0.0,
            n_frames: 0,
            enough_frames: (ENOUGH_SOUND_S * f64::from(rate_hz)) as u64,
        }
    }

    /// Takes interleaved samples; gives whether that was enough.
    pub(super) fn push(&mut self, interleaved: &[f32]) -> bool {
        let n = self.n_channels;
        let frames = interleaved.len() / n;
        let mut energy = vec![0.0; n];
        let mut mean_energy = 0.0;
        for frame in interleaved.chunks_exact(n) {
            let mut sum = 0.0;
            for (e, x) in energy.iter_mut().zip(frame) {
                let x = if is_sound(*x) { f64::from(*x) } else { 0.0 };
                *e += x * x;
                sum += x;
            }
            let mean = sum / n as f64;
            mean_energy += mean * mean;
        }
        if energy.iter().sum::<f64>() > NOTHING * frames as f64 {
            for (all, e) in self.energy.iter_mut().zip(energy) {
                *all += e;
            }
            self.mean_energy += mean_energy;
            self.n_frames += frames as u64;
        }
        self.n_frames >= self.enough_frames
    }

    pub(super) fn mix(&self) -> Mix {
        let n = self.n_channels as f64;
        let by_chance = self.energy.iter().sum::<f64>() / (n * n);
        if by_chance > 0.0 && self.mean_energy < CANCEL_RATIO * by_chance {
            let loudest = (0..self.n_channels)
                .max_by(|a, b| self.energy[*a].total_cmp(&self.energy[*b]))
                .unwrap_or(0);
            Mix::One(loudest)
        } else {
            Mix::Mean
        }
    }
}

/// Mixes to mono and counts what is odd.
pub(super) struct Mixer {
    mix: Mix,
    n_channels: usize,
    runs: Vec<u32>,
    block: Vec<f32>,
    sum: f64,
    n_samples: u64,
    n_frames: u64,
    /// Samples in runs at full scale.
    pub(super) n_clipped: u64,
    /// Samples that are no number, or beyond [`LOUDEST`].
    pub(super) n_not_finite: u64,
    /// Highest absolute sample.
    pub(super) peak: f32,
}

impl Mixer {
    pub(super) fn new(n_channels: usize, mix: Mix) -> Self {
        Self {
            mix,
            n_channels,
            runs: vec![0; n_channels],
            block: Vec::new(),
            sum: 0.0,
            n_samples: 0,
            n_frames: 0,
            n_clipped: 0,
            n_not_finite: 0,
            peak: 0.0,
        }
    }

    /// Takes interleaved samples, gives mono ones.
    pub(super) fn push(&mut self, interleaved: &mut [f32]) -> &[f32] {
        // most blocks hold nothing odd, which is seen at once
        let plain = interleaved.chunks(64).all(|part| {
            part.iter()
                .fold(true, |all, x| all & (x.abs() < FULL_SCALE))
        });
        if !plain || self.runs.iter().any(|run| *run > 0) {
            self.count_odd(interleaved);
        } else {
            let height = interleaved.iter().fold(0.0, |top: f32, x| top.max(x.abs()));
            self.peak = self.peak.max(height);
        }
        self.block.clear();
        let share = 1.0 / self.n_channels as f32;
        let frames = interleaved.chunks_exact(self.n_channels);
        match (self.mix, self.n_channels) {
            (Mix::Mean, 2) => {
                let (pairs, _) = interleaved.as_chunks::<2>();
                self.block
                    .extend(pairs.iter().map(|[a, b]| (a + b) * share));
            }
            (Mix::Mean, _) => self
                .block
                .extend(frames.map(|f| f.iter().sum::<f32>() * share)),
            (Mix::One(channel), _) => self.block.extend(frames.map(|f| f[channel])),
        }
        self.sum += self.block.iter().map(|x| f64::from(*x)).sum::<f64>();
        self.n_frames += self.block.len() as u64;
        self.n_samples += (self.block.len() * self.n_channels) as u64;
        &self.block
    }

    /// Silences what is no sample; counts it, and what is clipped.
    fn count_odd(&mut self, interleaved: &mut [f32]) {
        for frame in interleaved.chunks_exact_mut(self.n_channels) {
            for (x, run) in frame.iter_mut().zip(&mut self.runs) {
                if !is_sound(*x) {
                    *x = 0.0;
                    self.n_not_finite += 1;
                }
                let height = x.abs();
                self.peak = self.peak.max(height);
                if height >= FULL_SCALE {
                    *run += 1;
                    self.n_clipped += match (*run).cmp(&CLIP_RUN) {
                        std::cmp::Ordering::Less => 0,
                        std::cmp::Ordering::Equal => u64::from(CLIP_RUN),
                        std::cmp::Ordering::Greater => 1,
                    };
                } else {
                    *run = 0;
                }
            }
        }
    }

    pub(super) fn n_frames(&self) -> u64 {
        self.n_frames
    }

    pub(super) fn clipped_share(&self) -> f64 {
        self.n_clipped as f64 / self.n_samples.max(1) as f64
    }

    /// Mean of the mono signal: what a recording should not have.
    pub(super) fn offset(&self) -> f64 {
        self.sum / self.n_frames.max(1) as f64
    }
}
