//! From chords and notes to strings and frets, and the strings of each strum.

pub(in crate::hearing) mod fit;
pub(in crate::hearing) mod habits;
pub(in crate::hearing) mod strums;
