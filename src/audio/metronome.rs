//! A metronome that goes on while a microphone is heard: beats by the clock, clicks if asked for.

use super::device_clicks::CountIn;
use super::device_out::Output;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Instant;

/// Beats that go on until it is dropped.
pub struct Metronome {
    n_beats: u8,
    tempo_bpm: f64,
    since: Instant,
    clicks: Option<Clicks>,
}

/// Clicks on a thread of their own.
struct Clicks {
    shared: Arc<Shared>,
    thread: Option<std::thread::JoinHandle<()>>,
}

#[derive(Default)]
struct Shared {
    ends: AtomicBool,
    /// Frames handed to the output device, and how many it takes in a second.
    handed: AtomicU64,
    rate_hz: AtomicU64,
    /// Why nothing clicks.
    trouble: Mutex<Option<String>>,
}

impl Metronome {
    /// Starts with the first beat of a bar of `n_beats`. With `clicks` it is heard too, on the
    /// system's own output device; what goes wrong there is said by [`Metronome::trouble`].
    pub fn start(n_beats: u8, tempo_bpm: f64, clicks: bool) -> Self {
        Self {
            n_beats: n_beats.max(1),
            tempo_bpm,
            since: Instant::now(),
            clicks: clicks.then(|| Clicks::start(n_beats.max(1), tempo_bpm)),
        }
    }

    /// Beats in a bar.
    pub fn n_beats(&self) -> u8 {
        self.n_beats
    }

    /// Beats a minute.
    pub fn tempo_bpm(&self) -> f64 {
        self.tempo_bpm
    }

    /// Which beat of the bar it is now, from 1.
    pub fn beat(&self) -> u8 {
        // what clicks counts by the clock of its device, so that both stay together for hours
        let clicked_s = self.clicks.as_ref().and_then(Clicks::seconds);
        let seconds = clicked_s.unwrap_or_else(|| self.since.elapsed().as_secs_f64());
        beat_at(seconds, self.n_beats, self.tempo_bpm)
    }

    /// Why nothing clicks although it should.
    pub fn trouble(&self) -> Option<String> {
        let trouble = &self.clicks.as_ref()?.shared.trouble;
        let trouble = trouble.lock().unwrap_or_else(PoisonError::into_inner);
        trouble.clone()
    }
}

/// Which beat of the bar it is after so many seconds, from 1.
fn beat_at(seconds: f64, n_beats: u8, tempo_bpm: f64) -> u8 {
    let beats = (seconds * tempo_bpm / 60.0).floor() as u64;
    (beats % u64::from(n_beats)) as u8 + 1
}

impl Clicks {
    fn start(n_beats: u8, tempo_bpm: f64) -> Self {
        let shared = Arc::new(Shared::default());
        let theirs = Arc::clone(&shared);
        let count = CountIn {
            n_bars: u32::MAX,
            n_beats,
            tempo_bpm,
        };
        let thread = std::thread::spawn(move || {
            if let Err(error) = theirs.play(count) {
                let mut trouble = theirs
                    .trouble
                    .lock()
                    .unwrap_or_else(PoisonError::into_inner);
                *trouble = Some(error.to_string());
            }
        });
        Self {
            shared,
            thread: Some(thread),
        }
    }

    /// How long it has clicked, s; none before it began.
    fn seconds(&self) -> Option<f64> {
        let rate_hz = self.shared.rate_hz.load(Ordering::Relaxed);
        let handed = self.shared.handed.load(Ordering::Relaxed);
        (rate_hz > 0).then(|| handed as f64 / rate_hz as f64)
    }
}

impl Shared {
    fn play(&self, count: CountIn) -> Result<(), super::AudioError> {
        let output = Output::find(None, None)?;
        let rate_hz = output.rate_hz();
        self.rate_hz.store(rate_hz.into(), Ordering::Relaxed);
        let mut frame = 0;
        let next = move || {
            let click = count.sample(frame, rate_hz);
            frame += 1;
            [click; 2]
        };
        let played = output.play(next, u64::MAX / 2, &mut |handed| {
            self.handed.store(handed, Ordering::Relaxed);
            self.ends.load(Ordering::Relaxed)
        });
        // the beats go on by the clock
        self.rate_hz.store(0, Ordering::Relaxed);
        played
    }
}

impl Drop for Clicks {
    fn drop(&mut self) {
        self.shared.ends.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            // it panics only if the sound system does, and then nothing clicks
            let _ = thread.join();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn beats_are_counted_by_the_bar() {
        let beats: Vec<u8> = (0..8)
            .map(|i| beat_at(0.01 + 0.5 * f64::from(i), 3, 120.0))
            .collect();
        assert_eq!(beats, [1, 2, 3, 1, 2, 3, 1, 2]);
        assert_eq!(beat_at(0.999, 4, 60.0), 1);
        // after ten hours still on the beat: 36,000 s at 96 bpm are 57,600 beats
        assert_eq!(beat_at(36_000.01, 4, 96.0), 1);
    }

    #[test]
    fn without_clicks_it_needs_no_device() {
        let metronome = Metronome::start(4, 96.0, false);
        assert_eq!((metronome.n_beats(), metronome.beat()), (4, 1));
        assert_eq!(metronome.trouble(), None);
    }
}
