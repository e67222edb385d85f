//! Which single string sounds, and how many cents it is off.
//!
//! The newest 186 ms are read. Their normalized autocorrelation gives the period: a single
//! string repeats itself nearly exactly, a chord does not. The advance of the phase of each of
//! the partials 1 to 6 then gives its frequency to a fraction of a cent.
//!
//! **Which partials, and why.** No partial alone tells the pitch of a real guitar. The first
//! lies near resonances of the body, which pull it by up to 12 cents; of a low string it is
//! often the weakest, and small microphones lose it. Higher ones are sharp, since a string is
//! stiff (3 cents at the sixth of a usual string), and soon fade. So each of the six counts
//! alike if it is less than 35 dB under the strongest, the usual stiffness is taken off, and
//! the one or two that contradict the others lose their weight. The pitch is that of the first
//! partial of a string without a body.
//!
//! Two strings an octave (or a twelfth) apart repeat themselves like the lower alone: they are
//! reported as that.
//!
//! # Source
//! Normalized square difference function: McLeod and Wyvill, "A smarter way to find pitch",
//! ICMC 2005. Frequency from the advance of the phase: Flanagan and Golden, "Phase vocoder",
//! Bell System Technical Journal 1966. Partials of a stiff string, k f (1 + B k²)^½: Fletcher,
//! Blackham and Stratton, "Quality of piano tones", JASA 1962. Robust mean: Huber, "Robust
//! estimation of a location parameter", Annals of Mathematical Statistics 1964.

use crate::fretboard::Instrument;
use crate::hearing::acoustic::spectrum::RATE;
use crate::units::{hz_to_midi, midi_to_hz};
use realfft::num_complex::{Complex32, Complex64};
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use std::collections::VecDeque;
use std::f64::consts::TAU;
use std::sync::Arc;

/// Samples that are read: 186 ms, nearly eight periods of a bass's low E.
const WINDOW: usize = 4096;
/// Samples of each part whose phase is read.
const PART: usize = WINDOW / 2;
/// Where the parts begin: near ones tell a rough guess apart, far ones are exact.
const PARTS_AT: [usize; 3] = [0, PART / 8, PART];
/// How far below its lowest open string an instrument may be out of tune, semitones.
const BELOW: f64 = 3.0;
/// Frets above the highest open string.
const ABOVE: f64 = 24.0;
/// A peak this share of the highest is the period, not its multiple (McLeod and Wyvill).
const FIRST_SHARE: f64 = 0.9;
/// How nearly a sound repeats itself if it is one string, 0 to 1: ours.
const LEAST_CLARITY: f64 = 0.9;
/// Quieter than this is no string: RMS of full scale, -60 dB.
const LEAST_RMS: f64 = 1e-3;
/// The first quarter of what is read holds at least this share of the loudest quarter's
/// energy, or the string was struck within it.
const RINGING_SHARE: f64 = 0.3;
/// Partials that are read, up to a frequency; of high notes at least two.
const N_PARTIALS: usize = 6;
const HIGHEST_HZ: f64 = 1500.0;
/// A partial counts fully from this share of the strongest on: -35 dB.
const FULL_SHARE: f64 = 0.018;
/// Stiffness of a guitar's string in the middle of plain and wound ones, B: ours.
const STIFFNESS: f64 = 5e-5;
/// Partials further from the middle of all than this lose weight, cents.
const AGREE_CENTS: f64 = 2.0;
/// A partial further from the period than this is another sound, cents.
const OTHER_CENTS: f64 = 40.0;
/// An open string is meant if it is no further off, cents.
const NEAR_CENTS: f64 = 100.0;
/// Answers whose median is given: what one wave of a beating string pulls is left out.
const N_RECENT: usize = 5;
/// Further apart, two answers are about two notes, cents.
const SAME_CENTS: f64 = 50.0;

/// The string that sounds, measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TunedString {
    /// Frequency, Hz.
    pub hz: f64,
    /// The note that is meant, MIDI: the open string's, else the nearest.
    pub midi: u8,
    /// How far it is from that note, cents; above 0 is sharp.
    pub cents: f64,
    /// Which string is meant, from the lowest (0); none for a fretted note.
    pub string_idx: Option<usize>,
}

impl TunedString {
    /// Frequency that it should have, Hz.
    pub fn target_hz(&self) -> f64 {
        midi_to_hz(f64::from(self.midi))
    }
}

/// Measures the string that sounds, while samples come.
pub struct Tuner {
    open: Vec<u8>,
    /// Shortest and longest period that is looked for, samples.
    lags: (usize, usize),
    forward: Arc<dyn RealToComplex<f32>>,
    inverse: Arc<dyn ComplexToReal<f32>>,
    /// Hann, over a part.
    taper: Vec<f64>,
    samples: VecDeque<f32>,
    recent_hz: VecDeque<f64>,
}

impl Tuner {
    /// For the open strings of an instrument, its capo included.
    pub fn new(instrument: &Instrument) -> Self {
        let open = instrument.tuning.open().iter();
        let open: Vec<u8> = open.map(|midi| midi + instrument.capo).collect();
        let lowest = f64::from(open.iter().copied().min().unwrap_or(40));
        let highest = f64::from(open.iter().copied().max().unwrap_or(64));
        let lag = |midi: f64| f64::from(RATE) / midi_to_hz(midi);
        let mut planner = RealFftPlanner::new();
        Self {
            lags: (
                (lag(highest + ABOVE).floor() as usize).max(2),
                (lag(lowest - BELOW).ceil() as usize).min(PART),
            ),
            open,
            forward: planner.plan_fft_forward(2 * WINDOW),
            inverse: planner.plan_fft_inverse(2 * WINDOW),
            taper: (0..PART)
                .map(|i| 0.5 - 0.5 * (TAU * (i as f64 + 0.5) / PART as f64).cos())
                .collect(),
            samples: VecDeque::with_capacity(WINDOW),
            recent_hz: VecDeque::with_capacity(N_RECENT),
        }
    }

    /// Takes the next samples (mono, 22,050 Hz).
    pub fn push(&mut self, samples: &[f32]) {
        let newest = &samples[samples.len().saturating_sub(WINDOW)..];
        let over = (self.samples.len() + newest.len()).saturating_sub(WINDOW);
        self.samples.drain(..over);
        self.samples.extend(newest);
    }

    /// The string that sounds now; none if nothing does, or more than one.
    ///
    /// Asked every 46 ms, it gives the median of the last answers about the same note.
    pub fn read(&mut self) -> Option<TunedString> {
        let Some(hz) = self.newest_hz() else {
            self.recent_hz.clear();
            return None;
        };
        let apart = |a: f64, b: f64| 1200.0 * (a / b).log2().abs();
        if self
            .recent_hz
            .back()
            .is_some_and(|last| apart(hz, *last) > SAME_CENTS)
        {
            self.recent_hz.clear();
        }
        if self.recent_hz.len() == N_RECENT {
            self.recent_hz.pop_front();
        }
        self.recent_hz.push_back(hz);
        let mut sorted: Vec<f64> = self.recent_hz.iter().copied().collect();
        sorted.sort_by(f64::total_cmp);
        Some(self.named(sorted[sorted.len() / 2]))
    }

    /// The string and note that a frequency is meant to be.
    fn named(&self, hz: f64) -> TunedString {
        let pitch = hz_to_midi(hz);
        let off = |midi: u8| 100.0 * (pitch - f64::from(midi));
        let string_idx = (0..self.open.len())
            .min_by(|a, b| {
                let [a, b] = [a, b].map(|s| off(self.open[*s]).abs());
                a.total_cmp(&b)
            })
            .filter(|s| off(self.open[*s]).abs() <= NEAR_CENTS);
        let midi = match string_idx {
            Some(s) => self.open[s],
            None => pitch.round().clamp(0.0, 127.0) as u8,
        };
        TunedString {
            hz,
            midi,
            cents: off(midi),
            string_idx,
        }
    }

    /// The frequency in the newest 186 ms alone, Hz.
    fn newest_hz(&self) -> Option<f64> {
        if self.samples.len() < WINDOW {
            return None;
        }
        let mean = self.samples.iter().sum::<f32>() / WINDOW as f32;
        let sound: Vec<f64> = self.samples.iter().map(|x| f64::from(x - mean)).collect();
        let energy = |part: &[f64]| part.iter().map(|x| x * x).sum::<f64>();
        if (energy(&sound) / WINDOW as f64).sqrt() < LEAST_RMS {
            return None;
        }
        let quarters: Vec<f64> = sound.chunks(WINDOW / 4).map(energy).collect();
        let loudest = quarters.iter().copied().fold(0.0, f64::max);
        if quarters[0] < RINGING_SHARE * loudest {
            return None;
        }
        let (lag, clarity) = self.period(&sound)?;
        if clarity < LEAST_CLARITY {
            return None;
        }
        self.refined(&sound, f64::from(RATE) / lag)
    }

    /// The period in samples, and how nearly the sound repeats itself with it.
    fn period(&self, sound: &[f64]) -> Option<(f64, f64)> {
        // single precision does: the phases refine what is found here
        let mut padded: Vec<f32> = sound.iter().map(|x| *x as f32).collect();
        padded.resize(2 * WINDOW, 0.0);
        let mut spectrum = self.forward.make_output_vec();
        self.forward.process(&mut padded, &mut spectrum).ok()?;
        for x in &mut spectrum {
            *x = Complex32::new(x.norm_sqr() / (2 * WINDOW) as f32, 0.0);
        }
        let mut products = padded;
        self.inverse.process(&mut spectrum, &mut products).ok()?;
        // twice the products over the energies of both parts, by lag
        let longest = self.lags.1 + 1;
        let mut power = 2.0 * sound.iter().map(|x| x * x).sum::<f64>();
        let mut all = Vec::with_capacity(longest + 1);
        for lag in 0..=longest {
            all.push(2.0 * f64::from(products[lag]) / power.max(1e-12));
            power -= sound[lag].powi(2) + sound[WINDOW - 1 - lag].powi(2);
        }
        // the peak around lag 0 is no period
        let first = (1..all.len()).find(|lag| all[*lag] < 0.0)?.max(self.lags.0);
        let peaks: Vec<usize> = (first..longest)
            .filter(|k| all[*k] > 0.0 && all[*k] >= all[k - 1] && all[*k] > all[k + 1])
            .collect();
        let highest = peaks.iter().map(|k| all[*k]).fold(0.0, f64::max);
        let k = *peaks.iter().find(|k| all[**k] >= FIRST_SHARE * highest)?;
        let (a, b, c) = (all[k - 1], all[k], all[k + 1]);
        let bend = a - 2.0 * b + c;
        let offset = match bend {
            bend if bend < 0.0 => 0.5 * (a - c) / bend,
            _ => 0.0,
        };
        Some((k as f64 + offset, (b - 0.25 * (a - c) * offset).min(1.0)))
    }

    /// The frequency by the phases of the partials, Hz; none if the partials are those of
    /// several strings, whose common period the rough one is.
    fn refined(&self, sound: &[f64], rough_hz: f64) -> Option<f64> {
        let partials: Vec<(usize, f64, f64)> = (1..=N_PARTIALS)
            .take_while(|k| *k <= 2 || *k as f64 * rough_hz <= HIGHEST_HZ)
            .map(|k| {
                let (hz, size) = self.partial(sound, rough_hz * k as f64);
                let cents = 1200.0 * (hz / (rough_hz * k as f64)).log2();
                (k, cents - stiff_cents(k), size)
            })
            .collect();
        let strongest = partials.iter().map(|p| p.2).fold(0.0, f64::max);
        // strings a fourth, a fifth or a third apart share a period that is a partial of none:
        // its first and fifth partials are missing
        let is_own = |(k, _, size): &(usize, f64, f64)| {
            matches!(k, 1 | 5) && *size >= FULL_SHARE * strongest
        };
        if !partials.iter().any(is_own) {
            return None;
        }
        let weighted: Vec<(f64, f64)> = partials
            .iter()
            .filter(|(_, cents, _)| cents.abs() < OTHER_CENTS)
            .map(|(_, cents, size)| (*cents, (size / (FULL_SHARE * strongest)).min(1.0)))
            .collect();
        let cents = robust_mean(&weighted)?;
        Some(rough_hz * (cents / 1200.0).exp2())
    }

    /// Frequency and size of the partial near a guess, Hz.
    fn partial(&self, sound: &[f64], guess_hz: f64) -> (f64, f64) {
        let rate = f64::from(RATE);
        let step = Complex64::from_polar(1.0, -TAU * guess_hz / rate);
        let [first, near, far] = PARTS_AT.map(|at| {
            let mut turn = Complex64::from_polar(1.0, -TAU * guess_hz / rate * at as f64);
            let mut sum = Complex64::default();
            for (x, w) in sound[at..at + PART].iter().zip(&self.taper) {
                sum += turn * (x * w);
                turn *= step;
            }
            sum
        });
        // radians a sample beyond the guess, first roughly, then exactly
        let rough = (near * first.conj()).arg() / PARTS_AT[1] as f64;
        let whole = rough * PARTS_AT[2] as f64;
        let exact = (far * first.conj() * Complex64::from_polar(1.0, -whole)).arg() + whole;
        let hz = guess_hz + exact / PARTS_AT[2] as f64 * rate / TAU;
        (hz.max(1.0), first.norm().min(far.norm()))
    }
}

/// How sharp a partial of a usual string is against its first, cents.
fn stiff_cents(partial: usize) -> f64 {
    let squared = (partial * partial) as f64;
    600.0 * ((1.0 + STIFFNESS * squared) / (1.0 + STIFFNESS)).log2()
}

/// The mean of values with weights in which those far from the middle count less.
fn robust_mean(weighted: &[(f64, f64)]) -> Option<f64> {
    let mut sorted = weighted.to_vec();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let half = 0.5 * sorted.iter().map(|v| v.1).sum::<f64>();
    let mut below = 0.0;
    let median = sorted.iter().find(|(_, weight)| {
        below += weight;
        below >= half
    })?;
    let mut mean = median.0;
    for _ in 0..10 {
        let (mut sum, mut weights) = (0.0, 0.0);
        for (value, weight) in weighted {
            let weight = weight / ((value - mean).abs() / AGREE_CENTS).max(1.0);
            sum += weight * value;
            weights += weight;
        }
        mean = sum / weights.max(1e-12);
    }
    Some(mean)
}
