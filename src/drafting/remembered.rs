//! The last minutes of sound, so that they can be kept after the fact.
//!
//! A sample takes the three bytes that it has in the WAV file it may be kept in, and no more: an
//! hour at 48 kHz is 518 MB. Blocks are let go of as a whole, and nothing is moved when it grows.

use std::collections::VecDeque;

/// Samples in a block: 1.4 s at 48 kHz.
const BLOCK: usize = 1 << 16;
/// Bytes of a sample.
const BYTES: usize = 3;
/// What 1 is as a sample of 24 bits.
const FULL_SCALE: f32 = 8_388_608.0;

/// Mono samples of 24 bits, the latest so many.
pub(super) struct Remembered {
    /// The most that are remembered.
    most: usize,
    blocks: VecDeque<Vec<u8>>,
    /// Samples at the start of the first block that count no longer.
    gone: usize,
}

impl Remembered {
    /// Nothing yet, and at most so many samples.
    pub(super) fn new(most: usize) -> Self {
        Self {
            most,
            blocks: VecDeque::new(),
            gone: 0,
        }
    }

    /// Number of samples.
    pub(super) fn len(&self) -> usize {
        let last = self.blocks.back().map_or(0, |b| b.len() / BYTES);
        self.blocks.len().saturating_sub(1) * BLOCK + last - self.gone
    }

    /// Remembers one more; 1 is full scale, and what is beyond is clipped.
    pub(super) fn push(&mut self, x: f32) {
        let is_full = |block: &Vec<u8>| block.len() == BLOCK * BYTES;
        if self.blocks.back().is_none_or(is_full) {
            self.blocks.push_back(Vec::with_capacity(BLOCK * BYTES));
        }
        if let Some(last) = self.blocks.back_mut() {
            let [a, b, c, _] = as_24_bits(x).to_le_bytes();
            last.extend([a, b, c]);
        }
        if self.len() > self.most {
            self.gone += 1;
            if self.gone == BLOCK {
                self.blocks.pop_front();
                self.gone = 0;
            }
        }
    }

    /// The latest so many (or all), the oldest first.
    pub(super) fn latest(&self, n: usize) -> impl ExactSizeIterator<Item = i32> + '_ {
        let n = n.min(self.len());
        let first = self.gone + self.len() - n;
        Latest {
            of: self,
            at: first,
            end: first + n,
        }
    }
}

struct Latest<'a> {
    of: &'a Remembered,
    at: usize,
    end: usize,
}

impl Iterator for Latest<'_> {
    type Item = i32;

    fn next(&mut self) -> Option<i32> {
        if self.at == self.end {
            return None;
        }
        let block = self.of.blocks.get(self.at / BLOCK)?;
        let from = self.at % BLOCK * BYTES;
        let bytes = block.get(from..from + BYTES)?;
        self.at += 1;
        // the highest byte carries the sign
        Some(i32::from_le_bytes([0, bytes[0], bytes[1], bytes[2]]) >> 8)
    }

    fn size_hint(&self) -> (usize, Option<usize>) {
        (self.end - self.at, Some(self.end - self.at))
    }
}

impl ExactSizeIterator for Latest<'_> {}

fn as_24_bits(x: f32) -> i32 {
    (x * FULL_SCALE)
        .round()
        .clamp(-FULL_SCALE, FULL_SCALE - 1.0) as i32
}

/// A sample of 24 bits, 1 at full scale; exact.
pub(super) fn as_share(sample: i32) -> f32 {
    sample as f32 / FULL_SCALE
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_latest_samples_come_back_to_the_bit_and_no_more_is_kept_than_asked_for() {
        let most = 2 * BLOCK + 1234;
        let sample = |i: usize| ((i * 7919) % 16_777_216) as i32 - 8_388_608;
        let mut kept = Remembered::new(most);
        assert_eq!((kept.len(), kept.latest(5).count()), (0, 0));
        for i in 0..5 * BLOCK + 77 {
            kept.push(as_share(sample(i)));
            assert_eq!(kept.len(), (i + 1).min(most));
        }
        let end = 5 * BLOCK + 77;
        for n in [0, 1, BLOCK, most, most + 9] {
            let expected = (end - n.min(most)..end).map(sample);
            assert!(kept.latest(n).eq(expected), "{n}");
        }
        let bytes: usize = kept.blocks.iter().map(Vec::capacity).sum();
        assert!(bytes <= BYTES * (most + 2 * BLOCK), "{bytes}");
    }

    #[test]
    fn what_is_too_loud_is_clipped() {
        let mut kept = Remembered::new(4);
        for x in [1.5, -1.5, f32::NAN, -0.5] {
            kept.push(x);
        }
        let expected = [8_388_607, -8_388_608, 0, -4_194_304];
        assert!(kept.latest(4).eq(expected));
    }
}
