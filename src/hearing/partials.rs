//! Where a string's partials lie.

/// Semitones above a pitch of its partials 1 to 8, to the nearest semitone of equal temperament:
/// 12 log2 of 1 to 8 (the harmonic series; the seventh is 31 cents flat of it).
pub(in crate::hearing) const PARTIALS: [usize; 8] = [0, 12, 19, 24, 28, 31, 34, 36];
