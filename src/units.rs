//! Quantities as types: seconds, hertz, sample rate; and a bar in seconds.
//!
//! A bare number in a public signature carries its unit in its name instead
//! (`hop_samples`, `bend_cents`). Pitch is a MIDI note number (A4 = 69).

/// An instant or a span of time, in seconds from the start of the take.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
pub struct Seconds(pub f64);

/// Samples a second.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SampleRate(pub u32);

impl SampleRate {
    /// How many whole samples a span lasts, rounded to the nearest.
    pub fn samples(self, span: Seconds) -> usize {
        (span.0 * f64::from(self.0)).round().max(0.0) as usize
    }

    /// How long `n_samples` last.
    pub fn seconds(self, n_samples: usize) -> Seconds {
        Seconds(n_samples as f64 / f64::from(self.0))
    }
}

/// One bar of a take: as it was heard, as a file has it, or as it is counted after decisions.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bar {
    /// From 1; a pickup is 0.
    pub number: u32,
    /// Its downbeat (a pickup: its first beat), s.
    pub start_s: f64,
    /// The next downbeat, s.
    pub end_s: f64,
    /// Beats in it.
    pub n_beats: u8,
}

/// Tempos that are taken for one, bpm, whoever says them: the user, a file, a log (ours).
pub const TEMPOS_BPM: std::ops::RangeInclusive<f64> = 10.0..=600.0;

/// Where no chord sounds, so many sure notes a second are a line of single notes, no noise (ours).
pub const LINE_NOTES_A_S: f64 = 1.0;

/// Concert pitch: A4 is 440 Hz (ISO 16:1975).
pub const A4_HZ: f64 = 440.0;

/// Frequency of a MIDI note number (fractions allowed) in equal temperament, Hz.
///
/// # Example
/// ```
/// assert!((takebook::units::midi_to_hz(40.0) - 82.407).abs() < 0.001); // E2
/// ```
pub fn midi_to_hz(midi: f64) -> f64 {
    A4_HZ * ((midi - 69.0) / 12.0).exp2()
}

/// MIDI note number (with its fraction) of a frequency in Hz, for `hz > 0`.
pub fn hz_to_midi(hz: f64) -> f64 {
    69.0 + 12.0 * (hz / A4_HZ).log2()
}
