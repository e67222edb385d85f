//! Counted bars before a recording: clicks on the output device.

use super::AudioError;
use super::device_out::Output;
use std::time::{Duration, Instant};

/// How often a silent count is looked at.
const LOOK: Duration = Duration::from_millis(5);

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
    pub(super) fn sample(&self, frame: u64, rate_hz: u32) -> f32 {
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

/// Counts and returns when the last beat is over: clicks on the system's output device, or in
/// silence.
///
/// `each` is told the beat again and again, from 1 for the first of all bars; if it says `true`,
/// counting ends at once.
///
/// # Errors
/// * [`super::DeviceError::NoOutput`] if clicks are wanted and there is no output device, or it
///   does not play.
pub fn count_in(
    count: CountIn,
    clicks: bool,
    each: &mut dyn FnMut(u32) -> bool,
) -> Result<(), AudioError> {
    let n_beats = count.n_bars * u32::from(count.n_beats);
    let beat = |seconds: f64| ((seconds * count.tempo_bpm / 60.0) as u32 + 1).min(n_beats);
    if !clicks {
        let began = Instant::now();
        while began.elapsed().as_secs_f64() < count.seconds() {
            if each(beat(began.elapsed().as_secs_f64())) {
                return Ok(());
            }
            std::thread::sleep(LOOK);
        }
        return Ok(());
    }
    let output = Output::find(None, None)?;
    let rate_hz = output.rate_hz();
    let mut frame = 0;
    let next = move || {
        let click = count.sample(frame, rate_hz);
        frame += 1;
        [click; 2]
    };
    // the device's own clock counts
    let n_frames = (count.seconds() * f64::from(rate_hz)).round() as u64;
    output.play(next, n_frames, &mut |handed| {
        each(beat(handed as f64 / f64::from(rate_hz)))
    })
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

    #[test]
    fn a_silent_count_needs_no_device_and_ends_when_told() {
        let count = CountIn {
            n_bars: 2,
            n_beats: 3,
            tempo_bpm: 1200.0,
        };
        let mut beats = Vec::new();
        let began = Instant::now();
        count_in(count, false, &mut |beat| {
            beats.push(beat);
            false
        })
        .expect("counted");
        assert!(began.elapsed().as_secs_f64() >= count.seconds());
        assert!(beats.is_sorted() && (beats.first(), beats.last()) == (Some(&1), Some(&6)));
        let mut n = 0;
        count_in(count, false, &mut |_| {
            n += 1;
            true
        })
        .expect("ended");
        assert_eq!(n, 1);
    }
}
