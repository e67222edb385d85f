//! From the device's callback to the program: a ring without locks.
//!
//! The callback must neither wait nor allocate (a device that is kept waiting
//! drops samples), so it only converts into a ring of many seconds and counts.
//! A slow disk fills the ring; only when it is full are samples lost, and told.

use rtrb::{Consumer, Producer, RingBuffer};
use std::sync::Arc;
use std::sync::atomic::{AtomicU8, AtomicU64, Ordering};

/// Counts that both sides see.
#[derive(Debug, Default)]
pub(super) struct Shared {
    /// Frames that found the ring full.
    pub(super) lost_frames: AtomicU64,
    /// Times that the device said it lost some.
    pub(super) n_dropouts: AtomicU64,
    /// Frames that went in before the first loss; its value counts only after a loss.
    pub(super) first_lost_at: AtomicU64,
    /// Why the device ended: 0 not at all, 1 gone, 2 another reason.
    pub(super) ended: AtomicU8,
}

/// The callback's side.
pub(super) struct RingIn {
    producer: Producer<f32>,
    shared: Arc<Shared>,
    n_channels: usize,
    taken_frames: u64,
}

/// The program's side.
pub(super) struct RingOut {
    consumer: Consumer<f32>,
    pub(super) shared: Arc<Shared>,
}

/// A ring for so many frames.
pub(super) fn ring(n_channels: u16, n_frames: usize) -> (RingIn, RingOut) {
    let n_channels = usize::from(n_channels.max(1));
    let (producer, consumer) = RingBuffer::new(n_channels * n_frames);
    let shared = Arc::new(Shared::default());
    let input = RingIn {
        producer,
        shared: Arc::clone(&shared),
        n_channels,
        taken_frames: 0,
    };
    (input, RingOut { consumer, shared })
}

impl RingIn {
    /// Takes interleaved samples of any kind. Never waits, never allocates.
    ///
    /// A block that does not fit whole is cut after its last frame that does.
    pub(super) fn push<T: Copy>(&mut self, samples: &[T], as_f32: impl Fn(T) -> f32) {
        let n = self.n_channels;
        let room = self.producer.slots() / n * n;
        let fits = samples.len().min(room);
        if let Ok(chunk) = self.producer.write_chunk_uninit(fits) {
            chunk.fill_from_iter(samples[..fits].iter().map(|s| as_f32(*s)));
        }
        self.taken_frames += (fits / n) as u64;
        let lost = (samples.len() - fits) / n;
        if lost > 0 {
            if self.shared.lost_frames.load(Ordering::Relaxed) == 0 {
                self.shared
                    .first_lost_at
                    .store(self.taken_frames, Ordering::Relaxed);
            }
            self.shared
                .lost_frames
                .fetch_add(lost as u64, Ordering::Release);
        }
    }
}

impl RingOut {
    /// Appends what is there to `out`, at most `most` samples; gives how many came.
    pub(super) fn pull(&mut self, most: usize, out: &mut Vec<f32>) -> usize {
        let n = self.consumer.slots().min(most);
        let Ok(chunk) = self.consumer.read_chunk(n) else {
            return 0;
        };
        let (first, second) = chunk.as_slices();
        out.extend_from_slice(first);
        out.extend_from_slice(second);
        chunk.commit_all();
        n
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_lost_until_the_ring_is_full_and_then_it_is_counted() {
        let (mut input, mut output) = ring(2, 100);
        let frames: Vec<f32> = (0..160).map(|i| i as f32).collect();
        input.push(&frames, |x| x);
        input.push(&frames, |x| x);
        assert_eq!(output.shared.lost_frames.load(Ordering::Relaxed), 60);
        let mut got = Vec::new();
        assert_eq!(output.pull(usize::MAX, &mut got), 200);
        assert_eq!(got[..160], frames);
        assert_eq!(got[160..], frames[..40]);
        assert_eq!(output.shared.first_lost_at.load(Ordering::Relaxed), 100);
        input.push(&[1i16, -1], f32::from);
        assert_eq!(output.pull(1000, &mut got), 2);
    }
}
