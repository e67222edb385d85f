//! Rows of bytes that change little from one to the next, kept in less than half the room.
//!
//! Of each block the first row is kept as it is, of every other the difference from the one before
//! it in a Rice code whose length fits the row. [`Reader`] gives back exactly what was put in.
//!
//! # Source
//! Rice and Plaunt, "Adaptive variable-length coding for efficient compression of spacecraft
//! television data", IEEE Trans. Communications 19 (1971); Golomb codes of powers of two.

use crate::hearing::acoustic::pages::Pages;

/// Rows in a block.
const BLOCK: usize = 64;
/// A quotient of so many stands for a difference that is written out.
const WRITTEN_OUT: u32 = 12;
/// Blocks that a reader keeps decoded: it may read a few places in turns.
const N_DECODED: usize = 4;

/// Rows of `W` bytes.
#[derive(Debug, Clone, Default)]
pub(crate) struct PackedRows<const W: usize> {
    /// Whole blocks.
    blocks: Pages,
    /// The block that is begun, as it is.
    last: Vec<u8>,
    /// Rows at the start of the first block that count no longer.
    forgotten: usize,
    /// A block that is being coded.
    coded: Vec<u8>,
}

impl<const W: usize> PackedRows<W> {
    /// Number of rows.
    #[cfg(test)]
    pub(crate) fn n_rows(&self) -> usize {
        self.blocks.n() * BLOCK + self.last.len() / W - self.forgotten
    }

    /// Adds the whole rows that `add` appends.
    pub(crate) fn push_with(&mut self, add: impl FnOnce(&mut Vec<u8>)) {
        if self.last.capacity() == 0 {
            self.last.reserve_exact(BLOCK * W);
        }
        add(&mut self.last);
        debug_assert_eq!(self.last.len() % W, 0);
        while self.last.len() >= BLOCK * W {
            self.coded.clear();
            encode::<W>(&self.last[..BLOCK * W], &mut self.coded);
            self.blocks.push(&self.coded);
            self.last.drain(..BLOCK * W);
        }
    }

    /// Adds rows that lie one after the other.
    pub(crate) fn push_all(&mut self, rows: &[u8]) {
        for row in rows.chunks_exact(W) {
            self.push_with(|last| last.extend_from_slice(row));
        }
    }

    /// Lets go of the first rows; those after them count from 0 again.
    pub(crate) fn forget(&mut self, n: usize) {
        self.forgotten = self.blocks.forget_rows(self.forgotten + n, BLOCK);
        if self.blocks.n() == 0 {
            self.last.drain(..self.forgotten * W);
            self.forgotten = 0;
        }
    }

    /// Reads them.
    pub(crate) fn reader(&self) -> Reader<'_, W> {
        Reader {
            rows: self,
            decoded: std::array::from_fn(|_| (None, Vec::new())),
        }
    }
}

/// Reads rows one after the other, or at a few places in turns.
pub(crate) struct Reader<'a, const W: usize> {
    rows: &'a PackedRows<W>,
    /// Number of each block that is decoded, and its rows.
    decoded: [(Option<usize>, Vec<u8>); N_DECODED],
}

impl<const W: usize> Reader<'_, W> {
    /// A row.
    ///
    /// # Panics
    /// If there are not so many.
    pub(crate) fn row(&mut self, row: usize) -> &[u8] {
        let row = row + self.rows.forgotten;
        let (block, at) = (row / BLOCK, row % BLOCK * W);
        let Some(coded) = self.rows.blocks.piece(block) else {
            let at = (row - self.rows.blocks.n() * BLOCK) * W;
            return &self.rows.last[at..at + W];
        };
        let (number, rows) = &mut self.decoded[block % N_DECODED];
        if *number != Some(block) {
            decode::<W>(coded, rows);
            *number = Some(block);
        }
        &rows[at..at + W]
    }
}

/// A difference as a number that is small if it is near 0.
fn folded(difference: u8) -> u8 {
    let sign = ((difference as i8) >> 7) as u8;
    (difference << 1) ^ sign
}

fn unfolded(number: u8) -> u8 {
    (number >> 1) ^ (number & 1).wrapping_neg()
}

/// Low bits of a number that are written out as they are, for a row with this sum of them.
fn low_bits<const W: usize>(sum: u32) -> u32 {
    // half of all quotients are 0 about there
    (sum / W as u32).checked_ilog2().unwrap_or(0).min(7)
}

fn encode<const W: usize>(rows: &[u8], out: &mut Vec<u8>) {
    out.extend_from_slice(&rows[..W]);
    let mut bits = Written { out, held: 0, n: 0 };
    for (before, row) in rows.chunks_exact(W).zip(rows[W..].chunks_exact(W)) {
        let each = before.iter().zip(row);
        let each = each.map(|(a, b)| u32::from(folded(b.wrapping_sub(*a))));
        let low = low_bits::<W>(each.clone().sum());
        bits.push(low, 3);
        for number in each {
            let quotient = number >> low;
            if quotient < WRITTEN_OUT {
                bits.push(1 << quotient, quotient + 1);
                bits.push(number & ((1 << low) - 1), low);
            } else {
                bits.push(1 << WRITTEN_OUT, WRITTEN_OUT + 1);
                bits.push(number, 8);
            }
        }
    }
    bits.end();
}

fn decode<const W: usize>(coded: &[u8], rows: &mut Vec<u8>) {
    rows.clear();
    rows.extend_from_slice(&coded[..W]);
    let mut bits = Bits {
        bytes: &coded[W..],
        held: 0,
        n: 0,
    };
    for row in 1..BLOCK {
        let low = bits.take(3);
        for i in (row - 1) * W..row * W {
            let number = match bits.quotient() {
                WRITTEN_OUT => bits.take(8),
                quotient => quotient << low | bits.take(low),
            };
            rows.push(rows[i].wrapping_add(unfolded(number as u8)));
        }
    }
}

/// Bits that are written, the lowest first.
struct Written<'a> {
    out: &'a mut Vec<u8>,
    held: u64,
    n: u32,
}

impl Written<'_> {
    /// Adds the `n` low bits of a number that has no others.
    fn push(&mut self, bits: u32, n: u32) {
        self.held |= u64::from(bits) << self.n;
        self.n += n;
        while self.n >= 8 {
            self.out.push(self.held as u8);
            self.held >>= 8;
            self.n -= 8;
        }
    }

    fn end(self) {
        if self.n > 0 {
            self.out.push(self.held as u8);
        }
    }
}

/// Bits that are read, the lowest first; zeros behind the end.
struct Bits<'a> {
    bytes: &'a [u8],
    held: u64,
    n: u32,
}

impl Bits<'_> {
    /// Holds at least as many bits as one number can take.
    fn fill(&mut self) {
        if self.n >= 32 {
            return;
        }
        if let Some((word, rest)) = self.bytes.split_first_chunk::<4>() {
            self.held |= u64::from(u32::from_le_bytes(*word)) << self.n;
            (self.bytes, self.n) = (rest, self.n + 32);
            return;
        }
        while self.n < 32 {
            let (byte, rest) = match self.bytes {
                [first, rest @ ..] => (*first, rest),
                [] => (0, self.bytes),
            };
            self.held |= u64::from(byte) << self.n;
            (self.bytes, self.n) = (rest, self.n + 8);
        }
    }

    fn drop(&mut self, n: u32) {
        self.held >>= n;
        self.n -= n;
    }

    fn take(&mut self, n: u32) -> u32 {
        self.fill();
        let bits = self.held as u32 & ((1 << n) - 1);
        self.drop(n);
        bits
    }

    /// Zeros before the next one.
    fn quotient(&mut self) -> u32 {
        self.fill();
        let zeros = self.held.trailing_zeros().min(WRITTEN_OUT);
        self.drop(zeros + 1);
        zeros
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rows that drift, with a leap now and then.
    fn byte(row: usize, place: usize) -> u8 {
        let drift = (row * (place % 5)) / 7 + place * 31;
        let leap = if (row * 13 + place).is_multiple_of(97) {
            row * 101
        } else {
            0
        };
        (drift + leap) as u8
    }

    fn row(i: usize) -> Vec<u8> {
        (0..301).map(|p| byte(i, p)).collect()
    }

    #[test]
    fn numbers_near_0_are_small_and_all_come_back() {
        assert_eq!([0, 255, 1, 254].map(folded), [0, 1, 2, 3]);
        assert!((0..=255).all(|d| unfolded(folded(d)) == d));
    }

    #[test]
    fn rows_come_back_as_they_were_put_in_and_take_less_room() {
        let n = 700;
        let mut kept = PackedRows::<301>::default();
        for i in 0..n {
            kept.push_with(|last| last.extend(row(i)));
        }
        assert!(kept.blocks.n_bytes() < n * 301 * 6 / 10);
        let mut first = 0;
        for gone in [0, 1, 63, 64, 100, 400] {
            kept.forget(gone);
            first += gone;
            assert_eq!(kept.n_rows(), n - first);
            let mut reader = kept.reader();
            assert!((first..n).all(|i| reader.row(i - first) == row(i)));
            // backwards, and at two places in turns
            assert!((first..n).rev().all(|i| reader.row(i - first) == row(i)));
            let other = |i: usize| first + (i * 37) % (n - first);
            assert!((0..200).all(|i| reader.row(other(i) - first) == row(other(i))));
        }
        kept.forget(kept.n_rows());
        kept.push_all(&row(3));
        assert_eq!(kept.reader().row(0), row(3));
    }

    #[test]
    fn noise_comes_back_and_silence_is_kept_once() {
        let noise = |i: usize| (i * i * 7919 / 13 + i) as u8;
        let mut kept = PackedRows::<13>::default();
        let bytes: Vec<u8> = (0..13 * 500).map(noise).collect();
        kept.push_all(&bytes);
        let before = kept.blocks.n_bytes();
        for _ in 0..100_000 {
            kept.push_with(|last| last.extend([9; 13]));
        }
        assert!(kept.blocks.n_bytes() < before + 2000);
        let mut reader = kept.reader();
        assert!(
            bytes
                .chunks(13)
                .enumerate()
                .all(|(i, row)| reader.row(i) == row)
        );
        assert_eq!(reader.row(90_000), [9; 13]);
    }
}
