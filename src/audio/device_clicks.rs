//! Counted bars before a recording: clicks on the output device.

use super::AudioError;
use super::device::{Quiet, words};
use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{SampleFormat, StreamConfig};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// Peak of a click: 18 dB under full scale, since it may come through headphones.
const CLICK_PEAK: f32 = 0.126;
/// Length of a click, s.
const CLICK_S: f32 = 0.03;
/// Pitch of the first beat's click and of the others, Hz.
const CLICK_HZ: [f32; 2] = [1760.0, 1320.0];

/// What is counted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CountIn {
    /// Bars.
    pub n_bars: u32,
    /// Beats in a bar.
    pub n_beats: u8,
    /// Beats a minute.
    pub tempo_bpm: f64,
}

impl CountIn {
    /// How long it lasts, s.
    pub fn seconds(&self) -> f64 {
        f64::from(self.n_bars) * f64::from(self.n_beats) * 60.0 / self.tempo_bpm
    }

    /// The click's sample at a frame; silence between clicks.
    fn sample(&self, frame: u64, rate_hz: u32) -> f32 {
        let beat_frames = 60.0 / self.tempo_bpm * f64::from(rate_hz);
        let beat = (frame as f64 / beat_frames).floor();
        if beat >= f64::from(self.n_bars) * f64::from(self.n_beats) {
            return 0.0;
        }
        let at_s = (frame as f64 - beat * beat_frames) as f32 / rate_hz as f32;
        if at_s >= CLICK_S {
            return 0.0;
        }
        let first = (beat as u64).is_multiple_of(u64::from(self.n_beats));
        let hz = CLICK_HZ[usize::from(!first)];
        let fade = (1.0 - at_s / CLICK_S).powi(2);
        CLICK_PEAK * fade * (std::f32::consts::TAU * hz * at_s).sin()
    }
}

/// Plays the count and returns at the beat after its last; `stop` ends it at once.
///
/// # Errors
/// * [`AudioError::Device`] if there is no output device, or it does not play.
pub fn count_in(count: CountIn, stop: &dyn Fn() -> bool) -> Result<(), AudioError> {
    let _quiet = Quiet::new();
    let failed = |e: cpal::Error| AudioError::Device {
        device: "sound output for the count-in".into(),
        reason: words(&e),
    };
    let device = cpal::default_host()
        .default_output_device()
        .ok_or_else(|| AudioError::Device {
            device: "sound output for the count-in".into(),
            reason: "the system has none".into(),
        })?;
    let usual = device.default_output_config().map_err(failed)?;
    let float = usual.sample_format() == SampleFormat::F32;
    let config: StreamConfig = usual.config();
    let (n_channels, rate_hz) = (usize::from(config.channels), config.sample_rate);
    let played = Arc::new(AtomicU64::new(0));
    let broken = Arc::new(AtomicBool::new(false));
    let (counter, flag) = (Arc::clone(&played), Arc::clone(&broken));
    let on_error = move |e: cpal::Error| {
        if e.kind() != cpal::ErrorKind::Xrun && e.kind() != cpal::ErrorKind::RealtimeDenied {
            flag.store(true, Ordering::Relaxed);
        }
    };
    let next = move |n_frames: usize| {
        let from = counter.fetch_add(n_frames as u64, Ordering::Relaxed);
        move |i: usize| count.sample(from + i as u64, rate_hz)
    };
    let stream = if float {
        device.build_output_stream::<f32, _, _>(
            config,
            move |out, _| {
                let click = next(out.len() / n_channels);
                for (i, frame) in out.chunks_mut(n_channels).enumerate() {
                    frame.fill(click(i));
                }
            },
            on_error,
            None,
        )
    } else {
        device.build_output_stream::<i16, _, _>(
            config,
            move |out, _| {
                let click = next(out.len() / n_channels);
                for (i, frame) in out.chunks_mut(n_channels).enumerate() {
                    frame.fill((click(i) * 32_767.0) as i16);
                }
            },
            on_error,
            None,
        )
    }
    .map_err(failed)?;
    stream.play().map_err(failed)?;
    // the device's own clock counts; it is given two seconds more than it needs
    let wanted = (count.seconds() * f64::from(rate_hz)) as u64;
    let patience = Duration::from_secs_f64(count.seconds() + 2.0);
    let start = Instant::now();
    while played.load(Ordering::Relaxed) < wanted && !stop() {
        if broken.load(Ordering::Relaxed) || start.elapsed() > patience {
            return Err(AudioError::Device {
                device: "sound output for the count-in".into(),
                reason: "it stopped playing".into(),
            });
        }
        std::thread::sleep(Duration::from_millis(2));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clicks_fall_on_the_beats_and_are_not_loud() {
        let count = CountIn {
            n_bars: 1,
            n_beats: 3,
            tempo_bpm: 120.0,
        };
        let samples: Vec<f32> = (0..96_000).map(|i| count.sample(i, 48_000)).collect();
        let sounds = |from: usize, to: usize| samples[from..to].iter().any(|x| x.abs() > 0.01);
        for beat in 0..3 {
            assert!(sounds(beat * 24_000, beat * 24_000 + 480), "beat {beat}");
            assert!(!sounds(beat * 24_000 + 2000, (beat + 1) * 24_000));
        }
        assert!(!sounds(72_000, 96_000));
        assert!(samples.iter().all(|x| x.abs() <= CLICK_PEAK));
        assert!((count.seconds() - 1.5).abs() < 1e-12);
    }
}
