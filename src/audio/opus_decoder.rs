//! Opus sound to samples: voice messages of telephones, and what browsers record.
//!
//! The containers (Ogg, WebM, MP4) and their packets are read elsewhere; here are the header that
//! they hand on and the packets' sound. One or two channels; more are another mapping, which no
//! telephone writes.
//!
//! # Source
//! IETF RFC 6716 (the packets, by the crate `opus-rs`); RFC 7845, section 5.1 (the header);
//! Encapsulation of Opus in ISO Base Media File Format, 4.3.2 (an MP4's header; from memory).

use symphonia::core::audio::{
    AsGenericAudioBufferRef, AudioBuffer, AudioMut, AudioSpec, Channels, GenericAudioBufferRef,
    Position,
};
use symphonia::core::codecs::CodecInfo;
use symphonia::core::codecs::audio::well_known::CODEC_ID_OPUS;
use symphonia::core::codecs::audio::{AudioCodecParameters, AudioDecoder, FinalizeResult};
use symphonia::core::errors::{Result, decode_error, unsupported_error};
use symphonia::core::packet::PacketRef;

/// Opus is decoded at this rate, whatever was recorded, Hz.
const RATE_HZ: u32 = 48_000;
/// The longest packet, 120 ms, in frames.
const LONGEST_FRAMES: usize = 5760;
/// How the header begins.
const MAGIC: &[u8] = b"OpusHead";

static INFO: CodecInfo = CodecInfo {
    short_name: "opus",
    long_name: "Opus",
    profiles: &[],
};

/// What the header says.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Head {
    n_channels: usize,
    /// Frames before the sound begins.
    pre_skip: usize,
    /// What samples are multiplied by.
    gain: f32,
}

impl Head {
    /// Reads it; none if it is cut off, of a later version, or of more than two channels.
    fn read(bytes: &[u8]) -> Option<Self> {
        let head = bytes.strip_prefix(MAGIC)?;
        // a later minor version can be read (the low half of the byte), a later major one cannot
        let (version, n_channels, mapping) = (*head.first()?, *head.get(1)?, *head.get(10)?);
        // an MP4's header is of version 0, and its numbers begin with the high byte
        let two = |at: usize| {
            let (low, high) = if version == 0 {
                (at + 1, at)
            } else {
                (at, at + 1)
            };
            Some(u16::from_le_bytes([*head.get(low)?, *head.get(high)?]))
        };
        if version > 15 || mapping != 0 || !(1..=2).contains(&n_channels) {
            return None;
        }
        let gain_db = f32::from(two(8)?.cast_signed()) / 256.0;
        Some(Self {
            n_channels: n_channels.into(),
            pre_skip: two(2)?.into(),
            gain: 10f32.powf(gain_db / 20.0),
        })
    }
}

/// Frames of a track that its decoder leaves out at the start; 0 if it is of another coding.
pub(super) fn run_in(params: &AudioCodecParameters) -> u64 {
    let head = params.extra_data.as_deref().and_then(Head::read);
    match head {
        Some(head) if params.codec == CODEC_ID_OPUS => head.pre_skip as u64,
        _ => 0,
    }
}

/// Decodes the packets of one track.
pub(super) struct OpusDecoder {
    decoder: opus_rs::OpusDecoder,
    params: AudioCodecParameters,
    head: Head,
    /// Frames still to skip.
    skip: usize,
    samples: Vec<f32>,
    buffer: AudioBuffer<f32>,
}

impl OpusDecoder {
    /// A decoder for a track with these parameters.
    ///
    /// # Errors
    /// * `Unsupported` for more than two channels, or a header that cannot be read.
    pub(super) fn new(params: &AudioCodecParameters) -> Result<Self> {
        let head = params.extra_data.as_deref().and_then(Head::read);
        let Some(head) = head else {
            return unsupported_error("opus: the header is damaged, or of more than two channels");
        };
        let Ok(decoder) = opus_rs::OpusDecoder::new(RATE_HZ as i32, head.n_channels) else {
            return unsupported_error("opus: the decoder does not start");
        };
        let channels = Channels::Positioned(match head.n_channels {
            1 => Position::FRONT_LEFT,
            _ => Position::FRONT_LEFT | Position::FRONT_RIGHT,
        });
        Ok(Self {
            decoder,
            params: params.clone(),
            head,
            skip: head.pre_skip,
            samples: vec![0.0; LONGEST_FRAMES * head.n_channels],
            buffer: AudioBuffer::new(AudioSpec::new(RATE_HZ, channels), LONGEST_FRAMES),
        })
    }
}

impl AudioDecoder for OpusDecoder {
    fn reset(&mut self) {}

    fn codec_info(&self) -> &CodecInfo {
        &INFO
    }

    fn codec_params(&self) -> &AudioCodecParameters {
        &self.params
    }

    fn decode_ref(&mut self, packet: &PacketRef<'_>) -> Result<GenericAudioBufferRef<'_>> {
        self.buffer.clear();
        if packet.data.is_empty() {
            return decode_error("opus: an empty packet");
        }
        let decoded = self
            .decoder
            .decode(packet.data, LONGEST_FRAMES, &mut self.samples);
        let Ok(n_frames) = decoded else {
            return decode_error("opus: a damaged packet");
        };
        let n_channels = self.head.n_channels;
        self.buffer.render_uninit(Some(n_frames));
        for channel in 0..n_channels {
            let samples = self.samples.iter().skip(channel).step_by(n_channels);
            let plane = self.buffer.plane_mut(channel).unwrap_or_default();
            for (to, sample) in plane.iter_mut().zip(samples) {
                *to = sample * self.head.gain;
            }
        }
        let skipped = self.skip.min(n_frames);
        self.skip -= skipped;
        let padding = packet.trim_end.get() as usize;
        self.buffer.trim(skipped, padding.min(n_frames - skipped));
        Ok(self.buffer.as_generic_audio_buffer_ref())
    }

    fn finalize(&mut self) -> FinalizeResult {
        FinalizeResult::default()
    }

    fn last_decoded(&self) -> GenericAudioBufferRef<'_> {
        self.buffer.as_generic_audio_buffer_ref()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The header of RFC 7845, section 5.1: 312 frames of run-in, -6.02 dB.
    fn head(version: u8, n_channels: u8, mapping: u8) -> Vec<u8> {
        let mut bytes = MAGIC.to_vec();
        bytes.extend([version, n_channels]);
        bytes.extend(312u16.to_le_bytes());
        bytes.extend(16_000u32.to_le_bytes());
        bytes.extend((-1541i16).to_le_bytes());
        bytes.push(mapping);
        bytes
    }

    #[test]
    fn the_header_says_channels_run_in_and_gain() {
        let read = Head::read(&head(1, 2, 0)).expect("read");
        assert_eq!((read.n_channels, read.pre_skip), (2, 312));
        assert!((read.gain - 0.5).abs() < 1e-3, "{}", read.gain);
        assert!(
            Head::read(&head(2, 1, 0)).is_some(),
            "a later minor version"
        );
        // the same numbers as an MP4 has them: high byte first
        let mut mp4 = head(0, 2, 0);
        mp4[10..12].reverse();
        mp4[16..18].reverse();
        assert_eq!(Head::read(&mp4), Some(read));
        for refused in [head(16, 2, 0), head(1, 6, 1), head(1, 0, 0), head(1, 3, 0)] {
            assert_eq!(Head::read(&refused), None);
        }
        let whole = head(1, 1, 0);
        for n in 0..whole.len() {
            assert_eq!(Head::read(&whole[..n]), None, "{n} bytes");
        }
    }
}
