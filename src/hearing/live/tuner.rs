//! Which note a single string sounds, and how many cents it is off.
//!
//! The newest 186 ms are read. Their normalized autocorrelation finds the
//! period of a single note, and tells it from a chord: a single note repeats
//! itself nearly exactly. The first three partials' phases, in two halves of
//! that sound, then give the frequency to a fraction of a cent.
//!
//! # Source
//! Normalized square difference function: McLeod and Wyvill, "A smarter way to
//! find pitch", ICMC 2005. Frequency from the advance of the phase: Flanagan
//! and Golden, "Phase vocoder", Bell System Technical Journal 1966.

use crate::fretboard::Instrument;
use crate::hearing::acoustic::spectrum::RATE;
use crate::units::hz_to_midi;
use realfft::num_complex::Complex64;
use std::collections::VecDeque;
use std::f64::consts::TAU;

/// Samples that are read: 186 ms.
const WINDOW: usize = 4096;
/// Samples of each half whose phases are compared.
const HALF: usize = WINDOW / 2;
/// Longest and shortest period looked for: 40 to 1400 Hz.
const LAGS: (usize, usize) = (15, 551);
/// A peak this share of the highest is the period, not its multiple (McLeod and Wyvill).
const FIRST_SHARE: f64 = 0.93;
/// How nearly a sound repeats itself if it is one note, 0 to 1: ours.
const LEAST_CLARITY: f64 = 0.93;
/// Quieter than this is no note: RMS of full scale, -60 dB.
const LEAST_RMS: f64 = 1e-3;
/// Partials whose phases are read: higher ones of a stiff string are sharp.
const N_PARTIALS: usize = 3;
/// An open string counts as meant if it is no further off, cents.
const NEAR_CENTS: f64 = 100.0;

/// One note, measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TunedNote {
    /// Frequency, Hz.
    pub hz: f64,
    /// The note that is meant, MIDI: the open string's, else the nearest.
    pub midi: u8,
    /// How far it is from that note, cents; above 0 is sharp.
    pub cents: f64,
    /// Which string is open there, from the lowest (0); none for a fretted note.
    pub string_idx: Option<usize>,
    /// How nearly the sound repeats itself, 0 to 1.
    pub clarity: f64,
}

/// Measures the note that sounds, while samples come.
#[derive(Debug, Clone)]
pub struct Tuner {
    open: Vec<u8>,
    samples: VecDeque<f32>,
}

impl Tuner {
    /// For the open strings of an instrument, its capo included.
    pub fn new(instrument: &Instrument) -> Self {
        let open = instrument.tuning.open().iter();
        Self {
            open: open.map(|midi| midi + instrument.capo).collect(),
            samples: VecDeque::with_capacity(WINDOW),
        }
    }

    /// Takes the next samples (mono, 22,050 Hz).
    pub fn push(&mut self, samples: &[f32]) {
        let newest = &samples[samples.len().saturating_sub(WINDOW)..];
        let over = (self.samples.len() + newest.len()).saturating_sub(WINDOW);
        self.samples.drain(..over);
        self.samples.extend(newest);
    }

    /// The note of the newest 186 ms; none if nothing sounds or more than one note does.
    pub fn note(&self) -> Option<TunedNote> {
        if self.samples.len() < WINDOW {
            return None;
        }
        let sound: Vec<f64> = self.samples.iter().map(|x| f64::from(*x)).collect();
        let mean = sound.iter().sum::<f64>() / WINDOW as f64;
        let sound: Vec<f64> = sound.iter().map(|x| x - mean).collect();
        let energy: f64 = sound.iter().map(|x| x * x).sum();
        if (energy / WINDOW as f64).sqrt() < LEAST_RMS {
            return None;
        }
        let (lag, clarity) = period(&sound)?;
        if clarity < LEAST_CLARITY {
            return None;
        }
        let hz = refined(&sound, f64::from(RATE) / lag);
        let pitch = hz_to_midi(hz);
        let off = |midi: u8| 100.0 * (pitch - f64::from(midi));
        let string_idx = (0..self.open.len())
            .min_by(|a, b| {
                off(self.open[*a])
                    .abs()
                    .total_cmp(&off(self.open[*b]).abs())
            })
            .filter(|s| off(self.open[*s]).abs() <= NEAR_CENTS);
        let midi = match string_idx {
            Some(s) => self.open[s],
            None => pitch.round().clamp(0.0, 127.0) as u8,
        };
        Some(TunedNote {
            hz,
            midi,
            cents: off(midi),
            string_idx,
            clarity,
        })
    }
}

/// The period in samples, and how nearly the sound repeats itself with it.
fn period(sound: &[f64]) -> Option<(f64, f64)> {
    let n = sound.len();
    let similarity = |lag: usize| -> f64 {
        let (mut product, mut power) = (0.0, 0.0);
        for (a, b) in sound[..n - lag].iter().zip(&sound[lag..]) {
            product += a * b;
            power += a * a + b * b;
        }
        if power > 0.0 {
            2.0 * product / power
        } else {
            0.0
        }
    };
    let all: Vec<f64> = (0..=LAGS.1 + 1).map(similarity).collect();
    // the peak around lag 0 is no period
    let first = (1..all.len()).find(|lag| all[*lag] < 0.0)?.max(LAGS.0);
    let peaks: Vec<usize> = (first.max(1)..=LAGS.1)
        .filter(|k| all[*k] > 0.0 && all[*k] >= all[k - 1] && all[*k] > all[k + 1])
        .collect();
    let highest = peaks.iter().map(|k| all[*k]).fold(0.0, f64::max);
    let k = *peaks.iter().find(|k| all[**k] >= FIRST_SHARE * highest)?;
    let (a, b, c) = (all[k - 1], all[k], all[k + 1]);
    let bend = a - 2.0 * b + c;
    let offset = if bend < 0.0 {
        0.5 * (a - c) / bend
    } else {
        0.0
    };
    Some((k as f64 + offset, (b - 0.25 * (a - c) * offset).min(1.0)))
}

/// The frequency by the phases of the first partials, Hz.
fn refined(sound: &[f64], rough_hz: f64) -> f64 {
    let rate = f64::from(RATE);
    let (mut sum, mut weights) = (0.0, 0.0);
    let mut near_hz = rough_hz;
    for partial in 1..=N_PARTIALS {
        let h = partial as f64;
        let step = TAU * near_hz * h / rate;
        let [first, second] = [0, HALF].map(|from| {
            (0..HALF)
                .map(|i| {
                    // Hann
                    let window = 0.5 - 0.5 * (TAU * (i as f64 + 0.5) / HALF as f64).cos();
                    let angle = -step * (from + i) as f64;
                    Complex64::from_polar(window * sound[from + i], angle)
                })
                .sum::<Complex64>()
        });
        // what the phase advances beyond the guess
        let off = (second * first.conj()).arg();
        let hz = near_hz + off * rate / (TAU * HALF as f64) / h;
        let weight = first.norm().min(second.norm());
        sum += weight * hz;
        weights += weight;
        near_hz = if weights > 0.0 {
            sum / weights
        } else {
            rough_hz
        };
    }
    near_hz
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fretboard::Tuning;
    use crate::units::midi_to_hz;

    /// A plucked string of eight partials that ring away, a little stiff.
    fn string(hz: f64, seconds: f64, level: f64) -> Vec<f32> {
        (0..(seconds * f64::from(RATE)) as usize)
            .map(|i| {
                let t = i as f64 / f64::from(RATE);
                let partials = 1..=8;
                let sum: f64 = partials
                    .map(|k| {
                        let k = f64::from(k);
                        let stiff = (1.0 + 3e-5 * k * k).sqrt();
                        (TAU * hz * k * stiff * t).sin() * (-t * (0.5 + 0.4 * k)).exp() / k
                    })
                    .sum();
                (level * sum) as f32
            })
            .collect()
    }

    fn heard(tuning: &str, sound: &[f32]) -> Option<TunedNote> {
        let instrument = Instrument {
            tuning: tuning.parse().expect("a tuning"),
            ..Instrument::default()
        };
        let mut tuner = Tuner::new(&instrument);
        tuner.push(sound);
        tuner.note()
    }

    #[test]
    fn every_string_of_every_tuning_is_measured_to_a_cent() {
        for name in ["standard", "half-down", "drop-d", "open-g", "dadgad"] {
            let tuning: Tuning = name.parse().expect("a tuning");
            for (s, midi) in tuning.open().iter().enumerate() {
                for off in [-45.0, -30.0, -7.0, -1.0, 0.0, 1.0, 12.0, 30.0, 45.0] {
                    let hz = midi_to_hz(f64::from(*midi) + off / 100.0);
                    // 0.3 s after the pluck
                    let note = heard(name, &string(hz, 0.3, 0.2)).expect("a note");
                    assert_eq!((note.string_idx, note.midi), (Some(s), *midi), "{name}");
                    assert!((note.cents - off).abs() < 1.0, "{name} {s} {off}: {note:?}");
                }
            }
        }
    }

    #[test]
    fn a_fretted_note_is_named_by_itself() {
        let note = heard("standard", &string(midi_to_hz(61.1), 0.3, 0.2)).expect("a note");
        assert_eq!((note.string_idx, note.midi), (None, 61));
        assert!((note.cents - 10.0).abs() < 1.0, "{note:?}");
    }

    #[test]
    fn neither_silence_nor_two_strings_nor_a_chord_is_a_note() {
        assert_eq!(heard("standard", &vec![0.0; WINDOW]), None);
        assert_eq!(heard("standard", &string(110.0, 0.3, 1e-5)), None);
        for chord in [
            &[55u8, 59][..],
            &[40, 55],
            &[48, 52, 55],
            &[40, 47, 52, 56, 59, 64],
        ] {
            let mut sum = vec![0f32; (0.3 * f64::from(RATE)) as usize];
            for midi in chord {
                let one = string(midi_to_hz(f64::from(*midi)), 0.3, 0.1);
                sum.iter_mut().zip(one).for_each(|(a, b)| *a += b);
            }
            assert_eq!(heard("standard", &sum), None, "{chord:?}");
        }
    }
}
