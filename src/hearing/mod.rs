//! Samples to notes, beats and chord proposals. Pure: opens no file, reads no clock.

mod acoustic;
mod doubts;
mod error;
mod fitting;
mod form;
mod harmony;
mod learned;
mod live;
mod notes;
mod outputs;
mod partials;
mod pipeline;
mod rhythm;
mod small_net;
mod strum_window;
mod voicing;
mod weight_files;
mod weights;

pub use acoustic::listener::Listener;
pub use acoustic::sound::Sound;
pub use error::HearingError;
pub use fitting::{
    COUNT_NUMBERS, CountSample, Way, count_samples, note_samples, rank_weights, strum_evidence,
};
pub use form::sections::Form;
pub use form::sketch::SectionWeights;
pub use harmony::chords::ChordWeights;
pub use harmony::evidence::{StretchEvidence, evidence_classes};
pub use harmony::plucks::PluckWeights;
pub use live::session::{Live, LiveAnswer};
pub use live::strings::Played;
pub use live::tuner::{TunedString, Tuner};
pub use notes::events::{NoteSample, NoteWeights};
pub use outputs::{Choice, Given, HeardSpan, Hearing, Note, Preset, Strum, WhichBar};
pub use pipeline::{interpret, interpret_once};
pub use rhythm::beats::BeatWeights;
pub use voicing::fit::FitWeights;
pub use voicing::strums::{OfStrum, Stray, StrumString};
pub use weight_files::WEIGHT_FILES;
pub use weights::{Weights, try_weights};

/// Spectra of a take, for programs that show or measure them.
pub use acoustic::spectrum;
