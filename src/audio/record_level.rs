//! How loud it is: peak, level and clipping of what comes in.
//!
//! # Source
//! Level in dB FS as in AES17-2020, 3.12: a sine whose peaks just reach full
//! scale is 0 dB FS, so that the level of a signal is its root mean square
//! relative to that sine's (3.01 dB over the square of full scale). Hold time
//! of the peak: 1.5 s, common practice, no source.

/// How long a peak is held, s.
const HOLD_S: f64 = 1.5;
/// Fall of the peak after that, dB a second.
const FALL_DB: f64 = 20.0;
/// So many samples at full scale in a row are clipping; a single one is a peak.
const CLIP_RUN: u32 = 3;
/// At full scale: the largest 16-bit value but three.
const FULL_SCALE: f32 = 0.9999;
/// Shown where nothing sounds.
pub(crate) const SILENCE_DB: f64 = -120.0;

/// What the meter shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Root mean square of the last block, dB FS (a full-scale sine is 0).
    pub rms_dbfs: f64,
    /// Highest sample of the last block, dB under full scale.
    pub peak_dbfs: f64,
    /// Highest sample lately, held and then falling, dB under full scale.
    pub held_dbfs: f64,
    /// Whether the last block clipped.
    pub clipping: bool,
}

/// Measures interleaved samples, all channels together.
#[derive(Debug, Clone)]
pub struct LevelMeter {
    n_channels: usize,
    rate_hz: f64,
    held_db: f64,
    since_held_s: f64,
    runs: Vec<u32>,
    highest: f32,
    n_clipped: u64,
}

impl LevelMeter {
    /// A meter for so many channels (at least 1) at so many frames a second.
    pub fn new(n_channels: u16, rate_hz: u32) -> Self {
        let n_channels = usize::from(n_channels.max(1));
        Self {
            n_channels,
            rate_hz: f64::from(rate_hz.max(1)),
            held_db: SILENCE_DB,
            since_held_s: 0.0,
            runs: vec![0; n_channels],
            highest: 0.0,
            n_clipped: 0,
        }
    }

    /// Measures a block. The level is that of its loudest channel.
    pub fn push(&mut self, interleaved: &[f32]) -> Level {
        let frames = interleaved.len() / self.n_channels;
        let mut squares = vec![0f64; self.n_channels];
        let mut peak = 0f32;
        let before = self.n_clipped;
        for frame in interleaved.chunks_exact(self.n_channels) {
            for ((x, sum), run) in frame.iter().zip(&mut squares).zip(&mut self.runs) {
                let height = x.abs();
                peak = peak.max(height);
                *sum += f64::from(*x) * f64::from(*x);
                *run = if height >= FULL_SCALE { *run + 1 } else { 0 };
                self.n_clipped += match (*run).cmp(&CLIP_RUN) {
                    std::cmp::Ordering::Less => 0,
                    std::cmp::Ordering::Equal => u64::from(CLIP_RUN),
                    std::cmp::Ordering::Greater => 1,
                };
            }
        }
        self.highest = self.highest.max(peak);
        let loudest = squares.iter().copied().fold(0.0, f64::max);
        let peak_db = decibels(f64::from(peak));
        self.hold(peak_db, frames as f64 / self.rate_hz);
        Level {
            rms_dbfs: decibels((2.0 * loudest / frames.max(1) as f64).sqrt()),
            peak_dbfs: peak_db,
            held_dbfs: self.held_db,
            clipping: self.n_clipped > before,
        }
    }

    fn hold(&mut self, peak_db: f64, block_s: f64) {
        self.since_held_s += block_s;
        if self.since_held_s > HOLD_S {
            self.held_db = (self.held_db - FALL_DB * block_s).max(SILENCE_DB);
        }
        if peak_db >= self.held_db {
            self.held_db = peak_db;
            self.since_held_s = 0.0;
        }
    }

    /// Highest sample of all, dB under full scale.
    pub fn highest_dbfs(&self) -> f64 {
        decibels(f64::from(self.highest))
    }

    /// Samples that clipped so far: at full scale, three or more in a row.
    pub fn n_clipped(&self) -> u64 {
        self.n_clipped
    }
}

fn decibels(amplitude: f64) -> f64 {
    (20.0 * amplitude.log10()).max(SILENCE_DB)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sine(amplitude: f64, hz: f64) -> Vec<f32> {
        (0..48_000)
            .map(|i| {
                (amplitude * (std::f64::consts::TAU * hz * f64::from(i) / 48_000.0).sin()) as f32
            })
            .collect()
    }

    // AES17-2020: 997 Hz, full-scale sine is 0 dB FS; -20 dB FS and -60 dB FS by definition
    #[test]
    fn the_level_of_a_full_scale_sine_is_zero() {
        for db in [0.0, -20.0, -60.0] {
            let mut meter = LevelMeter::new(1, 48_000);
            let level = meter.push(&sine(10f64.powf(db / 20.0), 997.0));
            assert!((level.rms_dbfs - db).abs() < 0.01, "{level:?} at {db}");
            assert!((level.peak_dbfs - db).abs() < 0.01, "{level:?} at {db}");
        }
    }

    #[test]
    fn a_square_wave_at_full_scale_is_three_decibels_more_and_clips() {
        let mut meter = LevelMeter::new(1, 48_000);
        let square: Vec<f32> = (0..4800)
            .map(|i| if i / 50 % 2 == 0 { 1.0 } else { -1.0 })
            .collect();
        let level = meter.push(&square);
        assert!((level.rms_dbfs - 3.0103).abs() < 0.001, "{level:?}");
        assert!(level.clipping && meter.n_clipped() == 4800);
    }

    #[test]
    fn a_peak_is_held_and_then_falls() {
        let mut meter = LevelMeter::new(2, 1000);
        meter.push(&[0.5, 0.0]);
        let quiet = vec![0.0; 2000];
        let held = meter.push(&quiet).held_dbfs;
        assert!((held + 6.02).abs() < 0.01, "{held}");
        let later = meter.push(&quiet).held_dbfs;
        assert!((later + 26.02).abs() < 0.1, "{later}");
        assert!(meter.push(&[]).rms_dbfs <= SILENCE_DB);
    }
}
