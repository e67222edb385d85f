//! From activations and notes to beats, bars, meter and tempo.

pub(in crate::hearing) mod bar_pointer;
pub(in crate::hearing) mod bars;
pub(in crate::hearing) mod beat_numbers;
pub(in crate::hearing) mod beats;
pub(in crate::hearing) mod clock;
pub(in crate::hearing) mod count;
pub(in crate::hearing) mod count_choice;
pub(in crate::hearing) mod grid;
pub(in crate::hearing) mod pulse;
pub(in crate::hearing) mod stage;
pub(in crate::hearing) mod strum_events;
