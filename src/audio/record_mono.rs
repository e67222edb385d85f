//! What a device delivers, made ready for hearing: mono at 22,050 Hz.

use super::resample::Stream;
use super::{AudioError, DeviceError, HEARING_RATE};

/// Which channels of a device are used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Channels {
    /// All of them.
    #[default]
    All,
    /// One, from 0.
    One(u16),
}

impl Channels {
    /// How many are left of `n`.
    pub fn count(self, n: u16) -> u16 {
        match self {
            Self::All => n,
            Self::One(_) => 1,
        }
    }

    /// Picks the chosen channels out of interleaved frames of `n` channels.
    pub fn pick(self, n: u16, interleaved: &[f32], out: &mut Vec<f32>) {
        out.clear();
        match self {
            Self::All => out.extend_from_slice(interleaved),
            Self::One(c) => out.extend(
                interleaved
                    .chunks_exact(usize::from(n.max(1)))
                    .filter_map(|frame| frame.get(usize::from(c))),
            ),
        }
    }
}

/// Makes interleaved samples mono (the mean) and brings them to [`HEARING_RATE`].
pub struct ToHearing {
    stream: Stream,
    n_channels: usize,
    mono: Vec<f32>,
}

impl ToHearing {
    /// Takes: channels (at least 1) and rate in Hz of what will come.
    ///
    /// # Errors
    /// * [`DeviceError::Settings`] for a rate that cannot be resampled.
    pub fn new(n_channels: u16, rate_hz: u32) -> Result<Self, AudioError> {
        let stream = Stream::new(rate_hz, HEARING_RATE.0).ok_or_else(|| {
            AudioError::Device(DeviceError::Settings {
                device: "input".into(),
                asked: format!("usable rate of {rate_hz} Hz"),
                possible: "4000 to 768000 Hz".into(),
            })
        })?;
        Ok(Self {
            stream,
            n_channels: usize::from(n_channels.max(1)),
            mono: Vec::new(),
        })
    }

    /// Takes interleaved samples and hands on what is ready, mono at 22,050 Hz.
    pub fn push(&mut self, interleaved: &[f32], each: &mut dyn FnMut(&[f32])) {
        let share = 1.0 / self.n_channels as f32;
        self.mono.clear();
        self.mono
            .extend(interleaved.chunks_exact(self.n_channels).map(|frame| {
                share
                    * frame
                        .iter()
                        .map(|x| if x.is_finite() { *x } else { 0.0 })
                        .sum::<f32>()
            }));
        self.stream.push(&self.mono, each);
    }

    /// Hands on the rest.
    pub fn finish(&mut self, each: &mut dyn FnMut(&[f32])) {
        self.stream.finish(each);
    }
}
