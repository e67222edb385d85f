//! Joins sound, hearing and the log: a take or a kept moment in, what was heard out.
//!
//! `hearing` opens no file and `songlog` knows no sound; this room hands the
//! values of one to the other.
//!
//! [`analyse()`] is the whole workflow of a draft and [`reanalyse()`] the same for
//! the take of a log, for the command line and the desk alike.
//!
//! Not here: which takes to analyse and what to print about it (`cli`, `desk`).

mod analyse;
mod error;
mod given;
mod hear;
mod imported;
#[cfg(feature = "mic")]
mod listening;
#[cfg(feature = "mic")]
mod live_json;
#[cfg(feature = "mic")]
mod moments;
#[cfg(feature = "mic")]
mod remembered;

pub use analyse::{Analysed, Watch, analyse, can_reanalyse, check_settings, kind_of, reanalyse};
pub use error::DraftError;
pub use hear::{hear, hear_samples, hear_stretches};
pub use imported::read_import;
#[cfg(feature = "mic")]
pub use listening::{Listening, Tenth, ToListen};
#[cfg(feature = "mic")]
pub use live_json::{HeardAt, Seen, answer_json, places};
#[cfg(feature = "mic")]
pub use moments::{Moments, REMEMBERED_S, moments_beside};
