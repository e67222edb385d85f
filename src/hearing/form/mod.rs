//! From bars, chords and notes to sections that repeat.

pub(in crate::hearing) mod rows;
pub(in crate::hearing) mod search;
pub(in crate::hearing) mod sections;
pub(in crate::hearing) mod table;
