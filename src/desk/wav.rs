//! 16-bit WAV: sounds for a browser.

use crate::units::SampleRate;

/// Bytes before the samples.
pub(super) const HEAD_BYTES: usize = 44;

/// The head of a WAV file with so many bytes of 16-bit samples.
///
/// # Source
/// "Multimedia Programming Interface and Data Specifications 1.0" (IBM and
/// Microsoft, 1991), RIFF WAVE; `from memory`.
pub(super) fn head(n_bytes: u32, n_channels: u16, rate: SampleRate) -> [u8; HEAD_BYTES] {
    let mut head = [0; HEAD_BYTES];
    let frame_bytes = 2 * n_channels;
    let parts: [&[u8]; 13] = [
        b"RIFF",
        &(n_bytes + HEAD_BYTES as u32 - 8).to_le_bytes(),
        b"WAVE",
        b"fmt ",
        &16u32.to_le_bytes(),
        &1u16.to_le_bytes(),
        &n_channels.to_le_bytes(),
        &rate.0.to_le_bytes(),
        &(rate.0 * u32::from(frame_bytes)).to_le_bytes(),
        &frame_bytes.to_le_bytes(),
        &16u16.to_le_bytes(),
        b"data",
        &n_bytes.to_le_bytes(),
    ];
    let mut at = 0;
    for part in parts {
        head[at..at + part.len()].copy_from_slice(part);
        at += part.len();
    }
    head
}

/// Samples as 16 bits, little-endian.
pub(super) fn sixteen(samples: &[f32], into: &mut Vec<u8>) {
    for x in samples {
        let x = (x.clamp(-1.0, 1.0) * 32767.0).round() as i16;
        into.extend_from_slice(&x.to_le_bytes());
    }
}

/// A whole mono WAV file.
pub(super) fn mono(samples: &[f32], rate: SampleRate) -> Vec<u8> {
    let n_bytes = 2 * samples.len();
    let mut bytes = Vec::with_capacity(HEAD_BYTES + n_bytes);
    bytes.extend_from_slice(&head(n_bytes as u32, 1, rate));
    sixteen(samples, &mut bytes);
    bytes
}
