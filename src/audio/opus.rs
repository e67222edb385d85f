//! A take made small for a page that plays it: Opus in Ogg.
//!
//! # Source
//! IETF RFC 3533 (Ogg), section 6, and RFC 7845 (Ogg Opus), sections 4 and 5.

use super::resample::Stream;
use super::{AudioError, open};
use opus_rs::{Application, OpusEncoder};
use std::path::Path;

/// Opus always runs at this rate inside, Hz.
const RATE_HZ: u32 = 48_000;
/// A packet of 20 ms.
const PACKET_FRAMES: usize = 960;
/// The encoder's run-in, frames of 48 kHz: a player skips it.
const PRE_SKIP: u16 = 312;
/// Bits a second of one channel: at ease for a guitar and a voice (ours, by ear).
const BITS_PER_SECOND: i32 = 64_000;
/// Effort of the encoder, 0 to 10.
const COMPLEXITY: i32 = 9;
/// Packets on a page of the file: the largest ones still fit its table of 255 lengths.
const PACKETS_ON_PAGE: usize = 40;
/// The largest packet of one frame, bytes.
const MOST_BYTES: usize = 1275;
/// The number of the one stream in the file; always the same, so that files are.
const STREAM: u32 = 1;

/// A take as one channel of Opus in Ogg, about 8 kB a second.
///
/// # Errors
/// * As [`open`].
/// * [`AudioError::Encode`] if the encoder refuses a frame.
pub fn compress(path: &Path) -> Result<Vec<u8>, AudioError> {
    let failed = |reason: &str| AudioError::Encode {
        path: path.into(),
        reason: reason.into(),
    };
    let mut source = open(path)?;
    let rate_hz = source.facts().rate_hz;
    let mut stream = Stream::new(rate_hz, RATE_HZ).ok_or_else(|| AudioError::Rate {
        path: path.into(),
        rate_hz,
    })?;
    let mut writer = Writer::new().map_err(failed)?;
    let mut result = Ok(());
    let mut each = |block: &[f32]| {
        if result.is_ok() {
            result = writer.push(block);
        }
    };
    source.read_mono(&mut |block| stream.push(block, &mut each), &|_| {})?;
    stream.finish(&mut each);
    result.map_err(failed)?;
    writer.finish().map_err(failed)
}

/// Frames of 48 kHz to pages of Ogg.
struct Writer {
    encoder: OpusEncoder,
    waiting: Vec<f32>,
    n_frames: u64,
    n_encoded: u64,
    packets: Vec<Vec<u8>>,
    n_pages: u32,
    out: Vec<u8>,
}

impl Writer {
    fn new() -> Result<Self, &'static str> {
        let mut encoder = OpusEncoder::new(RATE_HZ as i32, 1, Application::Audio)?;
        encoder.bitrate_bps = BITS_PER_SECOND;
        encoder.complexity = COMPLEXITY;
        let mut writer = Self {
            encoder,
            waiting: Vec::new(),
            n_frames: 0,
            n_encoded: 0,
            packets: Vec::new(),
            n_pages: 0,
            out: Vec::new(),
        };
        // RFC 7845, 5.1: version 1, one channel, no gain, mapping 0
        let mut head = b"OpusHead\x01\x01".to_vec();
        head.extend(PRE_SKIP.to_le_bytes());
        head.extend(RATE_HZ.to_le_bytes());
        head.extend([0, 0, 0]);
        writer.packets.push(head);
        writer.page(FIRST, 0);
        // 5.2: who wrote it, no comments
        let mut tags = b"OpusTags".to_vec();
        tags.extend(8u32.to_le_bytes());
        tags.extend(b"takebook");
        tags.extend(0u32.to_le_bytes());
        writer.packets.push(tags);
        writer.page(0, 0);
        Ok(writer)
    }

    fn push(&mut self, block: &[f32]) -> Result<(), &'static str> {
        self.n_frames += block.len() as u64;
        self.waiting.extend_from_slice(block);
        let mut used = 0;
        while self.waiting.len() - used >= PACKET_FRAMES {
            // a page waits for the next packet, so that the last one can say that it is
            if self.packets.len() == PACKETS_ON_PAGE {
                self.page(0, self.n_encoded);
            }
            self.packet(used)?;
            used += PACKET_FRAMES;
        }
        self.waiting.drain(..used);
        Ok(())
    }

    /// Encodes the frames that wait from `from` on.
    fn packet(&mut self, from: usize) -> Result<(), &'static str> {
        let mut bytes = [0; MOST_BYTES];
        let frames = &self.waiting[from..from + PACKET_FRAMES];
        let n = self.encoder.encode(frames, PACKET_FRAMES, &mut bytes)?;
        self.packets.push(bytes[..n.min(MOST_BYTES)].to_vec());
        self.n_encoded += PACKET_FRAMES as u64;
        Ok(())
    }

    /// Encodes what is left, the run-in included, and closes the stream.
    fn finish(mut self) -> Result<Vec<u8>, &'static str> {
        let end = self.n_frames + u64::from(PRE_SKIP);
        let silence = (end - self.n_encoded).div_ceil(PACKET_FRAMES as u64) * PACKET_FRAMES as u64;
        let n_frames = self.n_frames;
        let missing = (self.n_encoded + silence).saturating_sub(n_frames) as usize;
        self.push(&vec![0.0; missing])?;
        self.page(LAST, end);
        Ok(self.out)
    }

    /// Writes the packets as a page; `granule` is the end of what they sound, frames.
    fn page(&mut self, flags: u8, granule: u64) {
        let mut page = b"OggS\0".to_vec();
        page.push(flags);
        page.extend(granule.to_le_bytes());
        page.extend(STREAM.to_le_bytes());
        page.extend(self.n_pages.to_le_bytes());
        page.extend([0; 4]);
        let lengths: Vec<u8> = self.packets.iter().flat_map(|p| lacing(p.len())).collect();
        page.push(lengths.len() as u8);
        page.extend(lengths);
        page.extend(self.packets.drain(..).flatten());
        let sum = checksum(&page);
        page[CHECKSUM_AT..CHECKSUM_AT + 4].copy_from_slice(&sum.to_le_bytes());
        self.out.extend(page);
        self.n_pages += 1;
    }
}

/// Flags of a page (RFC 3533, section 6).
const FIRST: u8 = 2;
const LAST: u8 = 4;
/// Where a page has its checksum, bytes from its start.
const CHECKSUM_AT: usize = 22;

/// A packet's length as Ogg counts it: 255 as long as it lasts, then the rest.
fn lacing(n: usize) -> impl Iterator<Item = u8> {
    std::iter::repeat_n(255, n / 255).chain([(n % 255) as u8])
}

/// RFC 3533, section 6: polynomial 0x04c11db7, no reflection, no final complement.
fn checksum(bytes: &[u8]) -> u32 {
    bytes.iter().fold(0, |sum, byte| {
        (0..8).fold(sum ^ u32::from(*byte) << 24, |sum, _| {
            (sum << 1) ^ if sum >> 31 == 1 { 0x04c1_1db7 } else { 0 }
        })
    })
}
