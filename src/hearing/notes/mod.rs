//! From activations and spectra to note events with probabilities.

pub(in crate::hearing) mod classifier;
#[cfg(test)]
pub(in crate::hearing) mod classifier_tests;
pub(in crate::hearing) mod events;
pub(in crate::hearing) mod evidence;
