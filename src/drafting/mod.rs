//! Joins sound, hearing and the log: a take or a kept moment in, what was heard out.
//!
//! `hearing` opens no file and `songlog` knows no sound; this room hands the
//! values of one to the other.
//!
//! Not here: which takes to hear and what to say about it (`cli`, `desk`).

mod error;
mod hear;
#[cfg(feature = "mic")]
mod listening;
#[cfg(feature = "mic")]
mod live_json;
#[cfg(feature = "mic")]
mod moments;

pub use error::DraftError;
pub use hear::{hear, hear_samples};
#[cfg(feature = "mic")]
pub use listening::{Listening, Tenth, ToListen};
#[cfg(feature = "mic")]
pub use live_json::{HeardAt, Seen, answer_json, places};
#[cfg(feature = "mic")]
pub use moments::{Moments, moments_beside};
