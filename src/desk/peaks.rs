//! The wave to draw: lowest and highest sample of each short stretch, of all channels.
//!
//! Filled from a thread while the take is decoded; what is not there yet is
//! told as missing, so that nobody waits for it.

use std::sync::{PoisonError, RwLock};

/// Frames in a stretch: at 44.1 kHz 5.8 ms, finer than a pixel of a bar. A
/// ten-minute take needs 103,000 of them, 400 kB.
const STRETCH: usize = 256;

/// Lowest and highest, as parts of 127.
type Pair = (i8, i8);

#[derive(Debug, Default)]
struct Filled {
    rate_hz: f64,
    pairs: Vec<Pair>,
    done: bool,
}

/// The wave of one take.
#[derive(Debug, Default)]
pub(super) struct Peaks {
    filled: RwLock<Filled>,
}

/// Takes samples and adds them to the wave.
pub(super) struct Filling<'a> {
    peaks: &'a Peaks,
    /// Samples in a stretch.
    length: usize,
    open: Vec<f32>,
}

impl Peaks {
    /// Begins anew, for interleaved samples of so many channels.
    pub(super) fn fill(&self, rate_hz: u32, n_channels: u16) -> Filling<'_> {
        let length = STRETCH * usize::from(n_channels.max(1));
        let mut filled = self.filled.write().unwrap_or_else(PoisonError::into_inner);
        filled.rate_hz = f64::from(rate_hz);
        filled.pairs.clear();
        Filling {
            peaks: self,
            length,
            open: Vec::with_capacity(length),
        }
    }

    /// Nothing more will come.
    pub(super) fn close(&self) {
        let mut filled = self.filled.write().unwrap_or_else(PoisonError::into_inner);
        filled.done = true;
    }

    /// Lowest and highest value (-1 to 1) in each of `n` equal columns between
    /// two times, none where nothing is known yet; and whether all is known.
    pub(super) fn columns(
        &self,
        from_s: f64,
        to_s: f64,
        n: usize,
    ) -> (Vec<Option<(f32, f32)>>, bool) {
        let filled = self.filled.read().unwrap_or_else(PoisonError::into_inner);
        let per_s = filled.rate_hz / STRETCH as f64;
        let edge = |i: usize| (from_s + (to_s - from_s) * i as f64 / n as f64) * per_s;
        let columns = (0..n)
            .map(|i| {
                let first = edge(i).floor() as usize;
                let last = (edge(i + 1).ceil() as usize).max(first + 1);
                let pairs = filled.pairs.get(first..last.min(filled.pairs.len()))?;
                let low = pairs.iter().map(|p| p.0).min()?;
                let high = pairs.iter().map(|p| p.1).max()?;
                // two decimals are a hundredth of the height
                let part = |x: i8| (f32::from(x) / 1.27).round() / 100.0;
                Some((part(low), part(high)))
            })
            .collect();
        (columns, filled.done)
    }
}

impl Filling<'_> {
    pub(super) fn push(&mut self, samples: &[f32]) {
        let mut fresh = Vec::new();
        let mut rest = samples;
        while self.open.len() + rest.len() >= self.length {
            let (now, later) = rest.split_at(self.length - self.open.len());
            self.open.extend_from_slice(now);
            fresh.push(pair(&self.open));
            self.open.clear();
            rest = later;
        }
        self.open.extend_from_slice(rest);
        self.add(&fresh);
    }

    pub(super) fn finish(mut self) {
        if !self.open.is_empty() {
            let last = pair(&self.open);
            self.open.clear();
            self.add(&[last]);
        }
    }

    fn add(&self, fresh: &[Pair]) {
        let mut filled = self
            .peaks
            .filled
            .write()
            .unwrap_or_else(PoisonError::into_inner);
        filled.pairs.extend_from_slice(fresh);
    }
}

fn pair(samples: &[f32]) -> Pair {
    let (low, high) = samples
        .iter()
        .fold((0f32, 0f32), |(low, high), x| (low.min(*x), high.max(*x)));
    let part = |x: f32| (x.clamp(-1.0, 1.0) * 127.0).round() as i8;
    (part(low), part(high))
}
