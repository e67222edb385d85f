//! From activations, notes and bars to chord segments, candidates and keys.

pub(in crate::hearing) mod basses;
pub(in crate::hearing) mod chords;
pub(in crate::hearing) mod evidence;
pub(in crate::hearing) mod keys;
pub(in crate::hearing) mod labels;
pub(in crate::hearing) mod plucks;
pub(in crate::hearing) mod reasons;
pub(in crate::hearing) mod segments;
pub(in crate::hearing) mod sparse;
