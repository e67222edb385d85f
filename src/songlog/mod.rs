//! The log of a take: what was heard, what was decided, and the song they make.

pub mod heard;
pub mod song;
