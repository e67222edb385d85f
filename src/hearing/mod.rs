//! Samples to notes, beats and chord proposals. Pure: opens no file, reads no clock.

mod acoustic;
mod doubts;
mod error;
mod form;
mod harmony;
mod live;
mod notes;
mod pipeline;
mod reading;
mod rhythm;
mod small_net;
mod voicing;
mod weight_files;

pub use acoustic::listener::Listener;
pub use error::HearingError;
pub use form::search::SectionWeights;
pub use form::sections::Form;
pub use harmony::chords::ChordWeights;
pub use harmony::evidence::{StretchEvidence, evidence_classes};
pub use harmony::plucks::PluckWeights;
pub use live::session::{Live, LiveAnswer};
pub use notes::events::{Note, NoteWeights};
pub use pipeline::{Sound, Weights, interpret};
pub use reading::{Given, HeardSpan, Hearing, WhichBar};
pub use rhythm::beats::BeatWeights;
pub use rhythm::hypotheses::{Way, rank_weights};
pub use voicing::fit::FitWeights;
pub use voicing::strums::{OfStrum, Stray, StrumString, strum_evidence};
pub use weight_files::{WEIGHT_FILES, try_weights};

/// Spectra of a take, for programs that show or measure them.
pub use acoustic::spectrum;
