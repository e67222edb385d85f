//! Beats counted in bars, and the next best way to count them.

/// Beats with their places in bars of a meter.
#[derive(Debug, Clone, Default)]
pub(crate) struct Count {
    /// Beat times, s.
    pub(crate) beats_s: Vec<f64>,
    /// Place of each beat in its bar, from 1.
    pub(crate) places: Vec<u8>,
    /// Beats in a bar.
    pub(crate) per_bar: u8,
    /// Whether beats divide in three.
    pub(crate) compound: bool,
    /// The next best way to count, if it is really another one.
    pub(crate) other: Option<OtherWay>,
}

/// Another way to count the same take.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct OtherWay {
    /// How far it lies behind, in nats of its rank.
    pub(crate) behind: f32,
    /// Beats in a bar and note value of a beat.
    pub(crate) meter: (u8, u8),
    /// Beats a minute.
    pub(crate) tempo_bpm: f64,
    /// Its first downbeat, s.
    pub(crate) first_downbeat_s: f64,
}
