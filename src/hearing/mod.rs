//! Samples to notes, beats and chord proposals. Pure: opens no file, reads no clock.

mod acoustic;
mod attack;
mod bars;
mod beat_numbers;
mod beats;
mod causal;
mod cells;
mod chords;
mod error;
mod evidence;
mod fit;
mod form_rows;
mod form_search;
mod grid;
mod harmony;
mod interpret;
mod live;
#[cfg(test)]
mod net_tests;
mod note_evidence;
mod note_judge;
#[cfg(test)]
mod note_tests;
mod notes;
mod plucks;
mod pulse;
mod reading;
mod reasons;
mod sections;
pub mod spectrum;
mod stage;
mod tuning;

pub use beats::BeatWeights;
pub use chords::ChordWeights;
pub use error::HearingError;
pub use evidence::{StretchEvidence, evidence_classes};
pub use fit::FitWeights;
pub use form_search::SectionWeights;
pub use interpret::{Sound, Weights, interpret};
pub use live::{Live, LiveAnswer};
pub use notes::{Note, NoteWeights};
pub use plucks::PluckWeights;
pub use reading::{Given, HeardSpan, Hearing, WhichBar};

/// Takes a take's samples block by block and hears them.
pub struct Listener {
    stage: stage::FrontStage,
}

impl Default for Listener {
    fn default() -> Self {
        Self::new()
    }
}

impl Listener {
    /// A listener that has heard nothing yet.
    pub fn new() -> Self {
        Self {
            stage: stage::FrontStage::new(spectrum::Align::Middle),
        }
    }

    /// Hears the next samples (mono, 22,050 Hz).
    pub fn push(&mut self, samples: &[f32]) {
        self.stage.push(samples);
    }

    /// Ends the take and runs the acoustic stage; `progress` is told the share done, 0 to 1.
    ///
    /// # Errors
    /// * [`HearingError::Empty`] if no sample came.
    /// * [`HearingError::Model`] if the built-in net cannot be used.
    pub fn finish(self, progress: &(dyn Fn(f64) + Sync)) -> Result<Sound, HearingError> {
        let front = self.stage.finish();
        if front.n_samples == 0 {
            return Err(HearingError::Empty);
        }
        let tuning = front.tuning.map_or(0.0, |t| t.0);
        let acoustic = acoustic::Net::built_in()?.hear(&front.spectra, tuning, progress)?;
        let strokes = cells::strokes(&front.attacks);
        Ok(Sound {
            front,
            acoustic,
            strokes,
        })
    }
}
