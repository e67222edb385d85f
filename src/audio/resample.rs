//! Mono samples of any rate to the rate of hearing, block by block.

use audioadapter_buffers::direct::InterleavedSlice;
use rubato::{Fft, FixedSync, Indexing, Resampler};

/// Frames a call should handle at least; a compromise of speed and latency.
const CHUNK_FRAMES: usize = 1024;

/// A resampler that takes blocks of any length and gives what is ready.
///
/// The run-in of its filter is cut off: sample `n` of the output sounds at
/// `n / to` seconds of the input.
pub(super) struct Stream {
    fft: Option<Fft<f32>>,
    waiting: Vec<f32>,
    out: Vec<f32>,
    ratio: f64,
    taken: u64,
    given: u64,
    skip: usize,
}

impl Stream {
    /// Takes: both rates in Hz, over zero. Gives nothing if no resampler can be made for them.
    pub(super) fn new(from_hz: u32, to_hz: u32) -> Option<Self> {
        let fft = if from_hz == to_hz {
            None
        } else {
            Some(
                Fft::new(
                    from_hz as usize,
                    to_hz as usize,
                    CHUNK_FRAMES,
                    1,
                    FixedSync::Both,
                )
                .ok()?,
            )
        };
        Some(Self {
            skip: fft.as_ref().map_or(0, Resampler::output_delay),
            fft,
            waiting: Vec::new(),
            out: Vec::new(),
            ratio: f64::from(to_hz) / f64::from(from_hz),
            taken: 0,
            given: 0,
        })
    }

    /// Takes a block and hands on what is ready.
    pub(super) fn push(&mut self, block: &[f32], each: &mut dyn FnMut(&[f32])) {
        self.taken += block.len() as u64;
        if self.fft.is_none() {
            self.given += block.len() as u64;
            each(block);
            return;
        }
        self.waiting.extend_from_slice(block);
        let mut used = 0;
        while let Some(n) = self.step(used, None, each) {
            used += n;
        }
        self.waiting.drain(..used);
    }

    /// Hands on the rest, so that the output lasts as long as the input.
    pub(super) fn finish(&mut self, each: &mut dyn FnMut(&[f32])) {
        let wanted = (self.taken as f64 * self.ratio).ceil() as u64;
        let mut left = self.waiting.len();
        while self.fft.is_some() && self.given < wanted {
            let before = (self.given, self.skip);
            let room = wanted - self.given;
            let mut given = 0u64;
            self.step(0, Some(left), &mut |block| {
                let n = (block.len() as u64).min(room - given) as usize;
                given += n as u64;
                if n > 0 {
                    each(&block[..n]);
                }
            });
            left = 0;
            if (self.given, self.skip) == before {
                break;
            }
        }
    }

    /// One call of the resampler on what waits from `from` on; none if that is too little.
    fn step(
        &mut self,
        from: usize,
        partial: Option<usize>,
        each: &mut dyn FnMut(&[f32]),
    ) -> Option<usize> {
        let fft = self.fft.as_mut()?;
        let need = fft.input_frames_next();
        let input = match partial {
            Some(_) => {
                self.waiting.resize(need, 0.0);
                &self.waiting[..]
            }
            None => self.waiting.get(from..from + need)?,
        };
        self.out.resize(fft.output_frames_max(), 0.0);
        let frames = self.out.len();
        let indexing = partial.map(|n| Indexing::new().partial_len(n));
        let (n_in, n_out) = {
            let source = InterleavedSlice::new(input, 1, need).ok()?;
            let mut sink = InterleavedSlice::new_mut(&mut self.out, 1, frames).ok()?;
            fft.process_into_buffer(&source, &mut sink, indexing.as_ref())
                .ok()?
        };
        let cut = self.skip.min(n_out);
        self.skip -= cut;
        self.given += (n_out - cut) as u64;
        if n_out > cut {
            each(&self.out[cut..n_out]);
        }
        Some(n_in)
    }
}
