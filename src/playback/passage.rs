//! A stretch of the take and its chords, ready to be played.

use super::PlaybackError;
use super::plucked::{RATE, plucked_song};
use crate::audio::{self, stretch};
use crate::songlog::song::Song;
use crate::units::{SampleRate, Seconds};
use std::path::Path;

/// No sample is over this: 9 dB under full scale, since it may come through headphones.
pub const MOST_PEAK: f32 = 0.355;
/// Level that both the take and the chords are brought to, RMS: 26 dB under full scale.
const LEVEL: f64 = 0.05;
/// A quiet take is not raised by more than this (20 dB), or its noise would be.
const MOST_GAIN: f64 = 10.0;
/// Rest between what is heard one after another, s.
const REST_S: f64 = 0.5;
/// Fade at both ends of a stretch, s: a cut in ringing strings would click.
const FADE_S: f64 = 0.005;
/// Steps of a 24-bit sample to full scale.
const FULL_24: f64 = 8_388_608.0;

/// How the song's chords are heard with the take.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Beside {
    /// The take alone.
    #[default]
    TakeAlone,
    /// First the take, then the chords.
    After,
    /// Together: the take left, the chords right.
    Together,
    /// The chords alone.
    ChordsAlone,
}

/// What is to be heard.
#[derive(Debug, Clone, PartialEq)]
pub struct ToHear {
    /// Stretches of the take in order, from and to in s.
    pub stretches_s: Vec<(f64, f64)>,
    /// Speed as a part of the played one, 0.125 to 1.
    pub speed: f64,
    /// The chords beside it.
    pub beside: Beside,
    /// How often, at least once.
    pub n_times: u32,
}

/// Sound that is ready to be played or written.
#[derive(Debug, Clone, PartialEq)]
pub struct Passage {
    /// Left and right. Each sample is a whole step of 24 bits, so that a file
    /// holds the very samples that are played.
    pub frames: Vec<[f32; 2]>,
    /// Frames a second.
    pub rate: SampleRate,
}

impl Passage {
    /// How long it is, s.
    pub fn seconds(&self) -> f64 {
        self.rate.seconds(self.frames.len()).0
    }
}

/// Makes a passage of a song and its take.
///
/// # Errors
/// * [`PlaybackError::Take`] if the take is needed and cannot be read.
/// * [`PlaybackError::NotInTake`] if it ends before a stretch begins.
pub fn passage(song: &Song, take: &Path, wanted: &ToHear) -> Result<Passage, PlaybackError> {
    let speed = if wanted.speed.is_finite() {
        wanted.speed.clamp(0.125, 1.0)
    } else {
        1.0
    };
    let slower = 1.0 / speed;
    let source = match wanted.beside {
        Beside::ChordsAlone => None,
        _ => Some(audio::open(take).map_err(PlaybackError::Take)?),
    };
    let rate = source
        .as_ref()
        .map_or(RATE, |s| SampleRate(s.facts().rate_hz));
    let mut frames: Vec<[f32; 2]> = Vec::new();
    for (from_s, to_s) in &wanted.stretches_s {
        rest(&mut frames, rate);
        let mut chords = Vec::new();
        if wanted.beside != Beside::TakeAlone {
            chords = plucked_song(song, *from_s, *to_s, slower, rate);
            ready(&mut chords, rate);
        }
        let mut played = Vec::new();
        if let Some(source) = &source {
            played = source
                .mono_between(Seconds(*from_s), Seconds(*to_s))
                .map_err(PlaybackError::Take)?;
            if played.is_empty() {
                return Err(PlaybackError::NotInTake {
                    path: take.into(),
                    start_s: *from_s,
                });
            }
            played = stretch(&played, rate, slower, &attacks(song, *from_s, *to_s));
            ready(&mut played, rate);
        }
        match wanted.beside {
            Beside::Together => {
                let n = played.len().max(chords.len());
                let at = |side: &[f32], i| side.get(i).copied().unwrap_or(0.0);
                frames.extend((0..n).map(|i| [at(&played, i), at(&chords, i)]));
            }
            _ => {
                frames.extend(played.iter().map(|x| [*x; 2]));
                if !played.is_empty() && !chords.is_empty() {
                    rest(&mut frames, rate);
                }
                frames.extend(chords.iter().map(|x| [*x; 2]));
            }
        }
    }
    let once = frames.clone();
    for _ in 1..wanted.n_times {
        rest(&mut frames, rate);
        frames.extend_from_slice(&once);
    }
    Ok(Passage { frames, rate })
}

fn rest(frames: &mut Vec<[f32; 2]>, rate: SampleRate) {
    if !frames.is_empty() {
        let n = frames.len() + rate.samples(Seconds(REST_S));
        frames.resize(n, [0.0; 2]);
    }
}

/// When strings are struck in a stretch, s from its start.
fn attacks(song: &Song, from_s: f64, to_s: f64) -> Vec<f64> {
    let mut found: Vec<f64> = song
        .spans
        .iter()
        .flat_map(|s| &s.struck)
        .map(|(_, at_s)| at_s - from_s)
        .filter(|s| (0.0..to_s - from_s).contains(s))
        .collect();
    found.sort_by(f64::total_cmp);
    found
}

/// Brings samples to the usual level, fades their ends, and cuts them to 24 bits (toward
/// zero, so that none passes the peak).
fn ready(samples: &mut [f32], rate: SampleRate) {
    let power: f64 = samples.iter().map(|x| f64::from(*x).powi(2)).sum();
    let rms = (power / samples.len().max(1) as f64).sqrt();
    let peak = samples.iter().fold(0.0f32, |p, x| p.max(x.abs()));
    if peak <= 0.0 {
        return;
    }
    let gain = (LEVEL / rms)
        .min(f64::from(MOST_PEAK) / f64::from(peak))
        .min(MOST_GAIN);
    let n_fade = rate.samples(Seconds(FADE_S)).min(samples.len() / 2).max(1);
    let n = samples.len();
    for (i, x) in samples.iter_mut().enumerate() {
        let near = i.min(n - 1 - i) as f64 / n_fade as f64;
        let fade = 0.5 - 0.5 * (std::f64::consts::PI * near.min(1.0)).cos();
        *x = ((f64::from(*x) * gain * fade * FULL_24).trunc() / FULL_24) as f32;
    }
}
