//! Many small pieces of bytes in a few large pages.
//!
//! Pieces of memory of their own would stay behind between the large ones that the nets free, and
//! what is let go of would not go back. A piece that is like the one before it is kept once.

use std::collections::VecDeque;

/// Bytes of a page: large enough that the allocator takes it from the system and gives it back.
const PAGE: usize = 1 << 18;

/// Pieces, in the order in which they were added.
#[derive(Debug, Clone, Default)]
pub(crate) struct Pages {
    pages: VecDeque<Vec<u8>>,
    /// Pages that were let go of.
    n_gone: u32,
    /// Page, all counted, and place in it of each piece.
    places: VecDeque<(u32, u32)>,
    /// Bytes of the last piece.
    last: usize,
}

impl Pages {
    /// Number of pieces.
    pub(crate) fn n(&self) -> usize {
        self.places.len()
    }

    /// A piece and whatever lies behind it in its page; none if there are not so many.
    pub(crate) fn piece(&self, i: usize) -> Option<&[u8]> {
        let (page, from) = *self.places.get(i)?;
        self.pages[(page - self.n_gone) as usize].get(from as usize..)
    }

    /// Adds a piece.
    pub(crate) fn push(&mut self, bytes: &[u8]) {
        if let Some(before) = self.n().checked_sub(1)
            && self.last == bytes.len()
            && self.piece(before).is_some_and(|b| b.starts_with(bytes))
        {
            self.places.push_back(self.places[before]);
            return;
        }
        let has_room = |page: &Vec<u8>| page.capacity() - page.len() >= bytes.len();
        if !self.pages.back().is_some_and(has_room) {
            let bytes = PAGE.max(bytes.len());
            self.pages.push_back(Vec::with_capacity(bytes));
        }
        let number = self.n_gone + self.pages.len() as u32 - 1;
        if let Some(page) = self.pages.back_mut() {
            self.places.push_back((number, page.len() as u32));
            page.extend_from_slice(bytes);
            self.last = bytes.len();
        }
    }

    /// A piece of each in turns; neither has let go of pieces, nor takes any more.
    pub(crate) fn in_turns([first, second]: [Self; 2]) -> Self {
        let shift = first.pages.len() as u32;
        let mut places = VecDeque::with_capacity(first.n() + second.n());
        let second_places = second.places.iter().map(|(page, at)| (page + shift, *at));
        let mut second_places = second_places.collect::<Vec<_>>().into_iter();
        for place in first.places {
            places.push_back(place);
            places.extend(second_places.next());
        }
        places.extend(second_places);
        Self {
            pages: first.pages.into_iter().chain(second.pages).collect(),
            n_gone: 0,
            places,
            last: 0,
        }
    }

    /// Lets go of the pieces that hold nothing but the first `n` rows, of so many in a piece; gives
    /// how many rows of the first piece left count no longer.
    pub(crate) fn forget_rows(&mut self, n: usize, per_piece: usize) -> usize {
        let whole = (n / per_piece).min(self.n());
        self.forget(whole);
        n - whole * per_piece
    }

    /// Lets go of the first pieces; those after them count from 0 again.
    pub(crate) fn forget(&mut self, n: usize) {
        self.places.drain(..n);
        // of two whose blocks alternate, each has its own pages
        let needed = self.places.iter().take(2).map(|(page, _)| *page).min();
        let last = self.n_gone + self.pages.len().saturating_sub(1) as u32;
        while self.n_gone < needed.unwrap_or(last) {
            self.pages.pop_front();
            self.n_gone += 1;
        }
    }

    /// Bytes of all pages.
    #[cfg(test)]
    pub(crate) fn n_bytes(&self) -> usize {
        self.pages.iter().map(Vec::len).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_come_back_over_many_pages_and_pages_are_let_go_of() {
        let piece = |i: usize| vec![(i % 251) as u8; 1000 + i % 7];
        let mut kept = Pages::default();
        (0..2000).for_each(|i| kept.push(&piece(i)));
        assert!(kept.pages.len() > 5);
        let mut first = 0;
        for gone in [0, 3, 400, 1, 1200] {
            kept.forget(gone);
            first += gone;
            assert_eq!(kept.n(), 2000 - first);
            for i in first..2000 {
                let found = kept.piece(i - first).expect("a piece");
                assert!(found.starts_with(&piece(i)), "{i}");
            }
        }
        assert!(kept.pages.len() < 4);
        kept.forget(kept.n());
        assert!(kept.pages.len() <= 1 && kept.piece(0).is_none());
        kept.push(&piece(5));
        assert!(kept.piece(0).is_some_and(|p| *p == piece(5)));
    }
}
