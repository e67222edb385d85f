//! A take as a stream of mono samples, or whole.

use super::AudioError;
use super::decode::{Step, Track};
use super::facts::{Facts, FingerprintMeter};
use super::mono::{Mix, MixScan, Mixer};
use super::resample::Stream;
use crate::units::{SampleRate, Seconds};
use std::path::Path;

/// The rate that hearing works at: keeps all below 11 kHz, far above a guitar's notes.
pub const HEARING_RATE: SampleRate = SampleRate(22_050);

/// The longest take that is read: 12 hours. A few bytes of a lossless file can
/// claim to be a year of silence.
pub const LONGEST_S: u32 = 43_200;

/// Peaks below this are silence (-70 dB under full scale).
const SILENT_PEAK: f32 = 3.2e-4;
/// More than this share at full scale is worth a word.
const CLIPPED_SHARE: f64 = 1e-4;
/// A constant part over this is worth a word, 1 is full scale.
const OFFSET: f64 = 0.02;

/// A sound file that can be read as mono, any number of times.
#[derive(Debug, Clone)]
pub struct Source {
    facts: Facts,
}

/// A whole take in memory, mono, at its own rate.
#[derive(Debug, Clone)]
pub struct Decoded {
    /// Mono samples, 1 is full scale.
    pub samples: Vec<f32>,
    /// Their rate.
    pub rate: SampleRate,
    /// What is known about it.
    pub facts: Facts,
}

/// Opens a sound file and reads its first samples.
///
/// # Errors
/// * [`AudioError::Open`], [`AudioError::Folder`], [`AudioError::Empty`]: no file to read.
/// * [`AudioError::NotAudio`], [`AudioError::Unsupported`]: not a kind known here.
/// * [`AudioError::Rate`], [`AudioError::Nothing`]: a damaged file without sound.
pub fn open(path: &Path) -> Result<Source, AudioError> {
    let track = Track::open(path)?;
    let bytes = std::fs::metadata(path).map_or(0, |m| m.len());
    Ok(Source {
        facts: Facts {
            path: path.into(),
            kind: track.kind.clone(),
            rate_hz: track.rate_hz,
            channels: u16::try_from(track.n_channels).unwrap_or(u16::MAX),
            bytes,
            duration_s: track.n_frames.map(|n| n as f64 / f64::from(track.rate_hz)),
            clipped_share: 0.0,
            n_not_finite: 0,
            peak: 0.0,
            warnings: Vec::new(),
            fingerprint: None,
            tags: track.tags.clone(),
        },
    })
}

/// Reads a whole take as mono at its own rate.
///
/// # Errors
/// As [`open`].
pub fn decode(path: &Path) -> Result<Decoded, AudioError> {
    let mut source = open(path)?;
    let mut samples = Vec::new();
    source.read_mono(&mut |block| samples.extend_from_slice(block), &|_| {})?;
    Ok(Decoded {
        samples,
        rate: SampleRate(source.facts.rate_hz),
        facts: source.facts,
    })
}

impl Source {
    /// What is known: from the header once opened, from the samples once read.
    pub fn facts(&self) -> &Facts {
        &self.facts
    }

    /// Streams the take as mono at 22 050 Hz.
    ///
    /// Takes: `each`, called with blocks of at least one sample; sample `n` of
    /// all blocks together sounds at `n / 22050` seconds. `progress`, called
    /// with 0 to 1 where the length is known. Memory does not grow with the
    /// take but for its fingerprint (8 bytes for each tenth of a second).
    ///
    /// # Errors
    /// As [`open`], and [`AudioError::TooLong`] after [`LONGEST_S`]; damage after the first samples is a warning in [`Source::facts`].
    pub fn read_mono_22050(
        &mut self,
        each: &mut dyn FnMut(&[f32]),
        progress: &dyn Fn(f64),
    ) -> Result<(), AudioError> {
        let mut stream =
            Stream::new(self.facts.rate_hz, HEARING_RATE.0).ok_or_else(|| AudioError::Rate {
                path: self.facts.path.clone(),
                rate_hz: self.facts.rate_hz,
            })?;
        let mut meter = FingerprintMeter::new(HEARING_RATE.0);
        let mut on = |block: &[f32]| {
            meter.push(block);
            each(block);
        };
        self.read_mono(&mut |block| stream.push(block, &mut on), progress)?;
        stream.finish(&mut on);
        self.facts.fingerprint = Some(meter.finish());
        Ok(())
    }

    /// Streams the take as mono at its own rate; else as [`Source::read_mono_22050`].
    ///
    /// # Errors
    /// As [`open`].
    pub fn read_mono(
        &mut self,
        each: &mut dyn FnMut(&[f32]),
        progress: &dyn Fn(f64),
    ) -> Result<(), AudioError> {
        let mix = self.choose_mix()?;
        let mut track = Track::open(&self.facts.path)?;
        let mut mixer = Mixer::new(track.n_channels, mix);
        let mut block = Vec::new();
        let most = u64::from(LONGEST_S) * u64::from(track.rate_hz);
        let broken = loop {
            match track.next_block(&mut block) {
                Step::Samples => {
                    if mixer.n_frames() > most {
                        return Err(AudioError::TooLong {
                            path: self.facts.path.clone(),
                            longest_s: LONGEST_S,
                        });
                    }
                    let mono = mixer.push(&mut block);
                    if !mono.is_empty() {
                        each(mono);
                    }
                    if let Some(n) = track.n_frames.filter(|n| *n > 0) {
                        progress((mixer.n_frames() as f64 / n as f64).min(1.0));
                    }
                }
                Step::End => break None,
                Step::Broken(reason) => break Some(reason),
            }
        };
        if mixer.n_frames() == 0 {
            return Err(AudioError::Nothing {
                path: self.facts.path.clone(),
                reason: broken.unwrap_or_else(|| "it has no samples".into()),
            });
        }
        self.note(&track, &mixer, mix, broken);
        progress(1.0);
        Ok(())
    }

    /// The part of the take between two moments as mono at its own rate, as far
    /// as the take goes.
    ///
    /// # Errors
    /// As [`open`]; what follows a damaged place is left out.
    pub fn mono_between(&self, from: Seconds, to: Seconds) -> Result<Vec<f32>, AudioError> {
        let mix = self.choose_mix()?;
        let mut track = Track::open(&self.facts.path)?;
        let mut mixer = Mixer::new(track.n_channels, mix);
        let rate = SampleRate(track.rate_hz);
        let (first, last) = (rate.samples(from), rate.samples(to));
        let (mut part, mut block, mut at) = (Vec::new(), Vec::new(), 0);
        while at < last
            && let Step::Samples = track.next_block(&mut block)
        {
            let mono = mixer.push(&mut block);
            let begin = first.saturating_sub(at).min(mono.len());
            let end = (last - at).min(mono.len());
            part.extend_from_slice(mono.get(begin..end).unwrap_or_default());
            at += mono.len();
        }
        Ok(part)
    }

    /// Streams the take as it is: all channels, interleaved, at its own rate.
    ///
    /// # Errors
    /// As [`open`]; what follows a damaged place is left out.
    pub fn read_frames(&self, each: &mut dyn FnMut(&[f32])) -> Result<(), AudioError> {
        let mut track = Track::open(&self.facts.path)?;
        let mut block = Vec::new();
        while let Step::Samples = track.next_block(&mut block) {
            each(&block);
        }
        Ok(())
    }

    /// Whether the mean of the channels may be taken, by the first sounding part.
    fn choose_mix(&self) -> Result<Mix, AudioError> {
        if self.facts.channels < 2 {
            return Ok(Mix::Mean);
        }
        let mut track = Track::open(&self.facts.path)?;
        let mut scan = MixScan::new(track.n_channels, track.rate_hz);
        let mut block = Vec::new();
        while let Step::Samples = track.next_block(&mut block) {
            if scan.push(&block) {
                break;
            }
        }
        Ok(scan.mix())
    }

    fn note(&mut self, track: &Track, mixer: &Mixer, mix: Mix, broken: Option<String>) {
        let duration_s = mixer.n_frames() as f64 / f64::from(track.rate_hz);
        let facts = &mut self.facts;
        facts.duration_s = Some(duration_s);
        facts.clipped_share = mixer.clipped_share();
        facts.n_not_finite = mixer.n_not_finite;
        facts.peak = mixer.peak;
        let mut warnings = Vec::new();
        let promised_s = track
            .n_frames
            .map(|n| n as f64 / f64::from(track.rate_hz))
            .filter(|s| *s > duration_s + 0.1);
        match (broken, promised_s) {
            (Some(reason), _) => warnings.push(format!(
                "the file breaks off after {duration_s:.1} s ({reason}); heard up to there"
            )),
            (None, Some(promised_s)) => warnings.push(format!(
                "the file breaks off after {duration_s:.1} s of {promised_s:.1} s; heard up to there"
            )),
            (None, None) => {}
        }
        if track.n_damaged > 0 {
            warnings.push(format!(
                "{} damaged places in the file are heard as silence",
                track.n_damaged
            ));
        }
        if mixer.n_not_finite > 0 {
            warnings.push(format!(
                "{} samples are no numbers, or far beyond full scale, and are heard as silence",
                mixer.n_not_finite
            ));
        }
        if let Mix::One(channel) = mix {
            warnings.push(format!(
                "the channels cancel each other (out of phase); only channel {} is heard",
                channel + 1
            ));
        }
        if mixer.peak < SILENT_PEAK {
            warnings.push("the take is silent".into());
        }
        if facts.clipped_share > CLIPPED_SHARE {
            warnings.push(format!(
                "{:.1} % of the samples are clipped (recorded too loud); chords may be heard wrong",
                facts.clipped_share * 100.0
            ));
        }
        if mixer.offset().abs() > OFFSET {
            warnings.push(format!(
                "the recording has a constant offset of {:.0} % of full scale (a fault of the input)",
                mixer.offset() * 100.0
            ));
        }
        facts.warnings = warnings;
    }
}
