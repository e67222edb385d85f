//! A row of bytes for each frame, kept small over hours.
//!
//! [`Rows`] keeps them in blocks, and a block that is like the one before only once: hours of
//! digital silence cost next to nothing. [`SparseRows`] keeps of each row only what is not 0 as
//! well: of 64 pitches few are struck at a time. Both give back exactly what was put in.
//! Rows that change little are kept in [`crate::hearing::acoustic::packed_rows`].

use crate::hearing::acoustic::pages::Pages;

/// Rows in a block.
pub(crate) const BLOCK: usize = 16;

/// Rows of `W` bytes.
#[derive(Debug, Clone, Default)]
pub(crate) struct Rows<const W: usize> {
    /// Whole blocks.
    blocks: Pages,
    /// The block that is begun.
    last: Vec<u8>,
    /// Rows at the start of the first block that count no longer.
    forgotten: usize,
}

impl<const W: usize> PartialEq for Rows<W> {
    fn eq(&self, other: &Self) -> bool {
        let n = self.n_rows();
        n == other.n_rows() && (0..n).all(|i| self.row(i) == other.row(i))
    }
}

impl<const W: usize> Eq for Rows<W> {}

impl<const W: usize> Rows<W> {
    /// Number of rows.
    pub(crate) fn n_rows(&self) -> usize {
        self.blocks.n() * BLOCK + self.last.len() / W - self.forgotten
    }

    /// A row.
    ///
    /// # Panics
    /// If there are not so many.
    pub(crate) fn row(&self, row: usize) -> &[u8] {
        let row = row + self.forgotten;
        let at = row % BLOCK * W;
        match self.blocks.piece(row / BLOCK) {
            Some(block) => &block[at..at + W],
            None => {
                let at = (row - self.blocks.n() * BLOCK) * W;
                &self.last[at..at + W]
            }
        }
    }

    /// Adds whole rows.
    pub(crate) fn push(&mut self, bytes: impl IntoIterator<Item = u8>) {
        self.push_with(|last| last.extend(bytes));
    }

    /// Adds the whole rows that `add` appends.
    pub(crate) fn push_with(&mut self, add: impl FnOnce(&mut Vec<u8>)) {
        if self.last.capacity() == 0 {
            self.last.reserve_exact(BLOCK * W);
        }
        add(&mut self.last);
        debug_assert_eq!(self.last.len() % W, 0);
        while self.last.len() >= BLOCK * W {
            self.blocks.push(&self.last[..BLOCK * W]);
            self.last.drain(..BLOCK * W);
        }
    }

    /// Adds rows that lie one after the other.
    pub(crate) fn push_all(&mut self, rows: &[u8]) {
        for row in rows.chunks_exact(W) {
            self.push_with(|last| last.extend_from_slice(row));
        }
    }

    /// A block of each in turns; neither has let go of rows.
    pub(crate) fn in_turns([first, second]: [Self; 2]) -> Self {
        let last = match first.last.is_empty() {
            true => second.last,
            false => first.last,
        };
        Self {
            blocks: Pages::in_turns([first.blocks, second.blocks]),
            last,
            forgotten: 0,
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
}

/// Rows of 64 bytes that are mostly 0.
#[derive(Debug, Clone, Default)]
pub(crate) struct SparseRows {
    /// Whole blocks: the [`Head`] of each row, then the bytes of all.
    blocks: Pages,
    /// The block that is begun.
    last: Vec<Head>,
    last_bytes: Vec<u8>,
    /// Rows at the start of the first block that count no longer.
    forgotten: usize,
}

/// What stands before the bytes of a row.
#[derive(Debug, Clone, Copy)]
struct Head {
    /// Which bytes are not 0, the first in the lowest bit.
    filled: u64,
    /// Where they begin among those of the block.
    start: u16,
}

impl Head {
    const BYTES: usize = 10;

    fn to_bytes(self) -> [u8; Self::BYTES] {
        let mut bytes = [0; Self::BYTES];
        bytes[..8].copy_from_slice(&self.filled.to_le_bytes());
        bytes[8..].copy_from_slice(&self.start.to_le_bytes());
        bytes
    }

    fn of_bytes(bytes: [u8; Self::BYTES]) -> Self {
        let [a, b, c, d, e, f, g, h, low, high] = bytes;
        Self {
            filled: u64::from_le_bytes([a, b, c, d, e, f, g, h]),
            start: u16::from_le_bytes([low, high]),
        }
    }
}

impl SparseRows {
    /// Number of rows.
    pub(crate) fn n_rows(&self) -> usize {
        self.blocks.n() * BLOCK + self.last.len() - self.forgotten
    }

    /// Which bytes of a row are not 0, and the bytes from the first of them on.
    fn row(&self, row: usize) -> (u64, &[u8]) {
        let row = row + self.forgotten;
        let (head, bytes) = match self.blocks.piece(row / BLOCK) {
            Some(block) => {
                let (heads, bytes) = block.split_at(BLOCK * Head::BYTES);
                let (heads, _) = heads.as_chunks();
                (Head::of_bytes(heads[row % BLOCK]), bytes)
            }
            None => {
                let head = self.last[row - self.blocks.n() * BLOCK];
                (head, &self.last_bytes[..])
            }
        };
        (head.filled, &bytes[usize::from(head.start)..])
    }

    /// A byte of a row, 0 to 63.
    pub(crate) fn at(&self, row: usize, place: usize) -> u8 {
        let (filled, bytes) = self.row(row);
        match filled >> place & 1 {
            0 => 0,
            _ => bytes[(filled & ((1 << place) - 1)).count_ones() as usize],
        }
    }

    /// The bytes of a row that are not 0, with their places.
    pub(crate) fn filled(&self, row: usize) -> impl Iterator<Item = (usize, u8)> + '_ {
        let (mut left, bytes) = self.row(row);
        let bytes = bytes.iter().take(left.count_ones() as usize);
        bytes.map(move |byte| {
            let place = left.trailing_zeros() as usize;
            left &= left - 1;
            (place, *byte)
        })
    }

    /// Adds a row of at most 64 bytes.
    pub(crate) fn push(&mut self, row: impl IntoIterator<Item = u8>) {
        let start = self.last_bytes.len() as u16;
        let mut filled = 0;
        for (place, byte) in row.into_iter().enumerate() {
            if byte != 0 {
                filled |= 1 << place;
                self.last_bytes.push(byte);
            }
        }
        self.last.push(Head { filled, start });
        if self.last.len() == BLOCK {
            let heads = self.last.drain(..).flat_map(Head::to_bytes);
            let block: Vec<u8> = heads.chain(self.last_bytes.drain(..)).collect();
            self.blocks.push(&block);
        }
    }

    /// Adds rows of `W` bytes that lie one after the other.
    pub(crate) fn push_all<const W: usize>(&mut self, rows: &[u8]) {
        for row in rows.chunks_exact(W) {
            self.push(row.iter().copied());
        }
    }

    /// Lets go of the first rows; those after them count from 0 again.
    pub(crate) fn forget(&mut self, n: usize) {
        self.forgotten = self.blocks.forget_rows(self.forgotten + n, BLOCK);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A row that no other is like.
    fn row(i: usize) -> [u8; 3] {
        [i as u8, (i / 7) as u8, 255]
    }

    fn rows(which: impl IntoIterator<Item = usize>) -> Rows<3> {
        let mut rows = Rows::default();
        which.into_iter().for_each(|i| rows.push(row(i)));
        rows
    }

    #[test]
    fn rows_come_back_as_they_were_put_in_and_count_from_0_when_some_are_let_go() {
        for n in [0, 1, 15, 16, 17, 100] {
            let mut kept = rows(0..n);
            let mut first = 0;
            for gone in [0, 1, 14, 3, 16, 40] {
                let gone = gone.min(n - first);
                kept.forget(gone);
                first += gone;
                assert_eq!(kept.n_rows(), n - first);
                assert!((first..n).all(|i| kept.row(i - first) == row(i)));
            }
            kept.push(row(9));
            assert_eq!(kept.row(n - first), row(9));
        }
    }

    #[test]
    fn blocks_of_two_in_turns_are_the_rows_of_one() {
        for n in [0, 5, 16, 20, 32, 40, 48, 70] {
            let part = |turn: usize| rows((0..n).filter(move |i| i / BLOCK % 2 == turn));
            assert!(Rows::in_turns([part(0), part(1)]) == rows(0..n), "{n} rows");
        }
    }

    #[test]
    fn rows_that_stay_the_same_are_kept_once() {
        let mut kept = rows(0..10);
        (0..100_000).for_each(|_| kept.push([0; 3]));
        (0..40).for_each(|i| kept.push(row(i)));
        assert!(kept.blocks.n_bytes() <= 5 * BLOCK * 3);
        assert_eq!(kept.n_rows(), 100_050);
        assert_eq!(kept.row(70_000), [0; 3]);
        assert_eq!(kept.row(100_010 + 39), row(39));
    }

    #[test]
    fn sparse_rows_come_back_as_they_were_put_in() {
        let byte = |row: usize, place: usize| match (row * 64 + place) * 31 % 11 {
            0 if row != 4 => (row + place + 1) as u8,
            _ => 0,
        };
        let mut kept = SparseRows::default();
        (0..20).for_each(|r| kept.push((0..64).map(|p| byte(r, p))));
        for gone in [0, 3, 8, 6] {
            let first = 20 - kept.n_rows() + gone;
            kept.forget(gone);
            for r in first..20 {
                for p in 0..64 {
                    assert_eq!(kept.at(r - first, p), byte(r, p), "row {r}, place {p}");
                }
                let all: Vec<_> = kept.filled(r - first).collect();
                let expected = (0..64).map(|p| (p, byte(r, p))).filter(|(_, b)| *b != 0);
                assert_eq!(all, expected.collect::<Vec<_>>());
            }
        }
        kept.forget(3);
        assert_eq!(kept.n_rows(), 0);
        kept.push([0, 7]);
        assert_eq!((kept.at(0, 0), kept.at(0, 1)), (0, 7));
        (0..10_000).for_each(|_| kept.push([0, 7]));
        assert!(kept.blocks.n_bytes() < 1000);
    }
}
