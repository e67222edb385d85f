//! From samples to what the net hears in each frame: spectra, attacks, tuning, the net.

pub(in crate::hearing) mod attack;
pub(in crate::hearing) mod frames;
pub(in crate::hearing) mod front;
pub(in crate::hearing) mod in_order;
pub(in crate::hearing) mod listener;
pub(in crate::hearing) mod low_end;
pub(in crate::hearing) mod net;
#[cfg(test)]
pub(in crate::hearing) mod net_tests;
pub(in crate::hearing) mod nets;
pub(in crate::hearing) mod packed_rows;
pub(in crate::hearing) mod pages;
pub(in crate::hearing) mod rows;
pub(in crate::hearing) mod songs;
pub(in crate::hearing) mod sound;
pub mod spectrum;
pub(in crate::hearing) mod split_model;
pub(in crate::hearing) mod stacked;
pub(in crate::hearing) mod strokes;
pub(in crate::hearing) mod tuning;
