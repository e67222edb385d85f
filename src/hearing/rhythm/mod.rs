//! From activations and notes to beats, bars, meter and tempo.

pub(in crate::hearing) mod bars;
pub(in crate::hearing) mod beat_numbers;
pub(in crate::hearing) mod beats;
pub(in crate::hearing) mod clock;
pub(in crate::hearing) mod grid;
pub(in crate::hearing) mod hypotheses;
pub(in crate::hearing) mod pulse;
