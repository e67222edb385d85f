//! Samples to notes, beats and chord proposals. Pure: opens no file, reads no clock.

mod acoustic;
mod attack;
mod bars;
mod beat_numbers;
mod beats;
mod causal;
mod cells;
mod chords;
mod clock;
mod error;
mod evidence;
mod fit;
mod form_rows;
mod form_search;
mod form_table;
mod grid;
mod halves;
mod harmony;
mod interpret;
mod live;
mod low_end;
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
mod stacked;
mod stage;
mod tuning;
mod ways;

use std::sync::mpsc::SyncSender;
use std::thread::JoinHandle;

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
pub use sections::Form;
pub use ways::{Way, rank_weights};

/// Takes a take's samples block by block and hears them.
///
/// Where rayon's pool has more than one thread, the spectra are made on a thread
/// of their own while the caller decodes what comes next.
pub struct Listener {
    front: Running,
    /// Samples not handed on yet.
    waiting: Vec<f32>,
}

enum Running {
    Here(Box<stage::FrontStage>),
    Beside(SyncSender<Vec<f32>>, JoinHandle<stage::Front>),
}

/// Samples handed on at a time: few enough to keep little, many enough that handing on costs nothing.
const BLOCK: usize = 1 << 14;
/// Blocks that may wait for the spectra before the caller has to.
const MOST_WAITING: usize = 8;

impl Default for Listener {
    fn default() -> Self {
        Self::new()
    }
}

impl Listener {
    /// A listener that has heard nothing yet.
    pub fn new() -> Self {
        let mut stage = stage::FrontStage::new(spectrum::Align::Middle);
        if rayon::current_num_threads() < 2 {
            return Self {
                front: Running::Here(Box::new(stage)),
                waiting: Vec::new(),
            };
        }
        let (sender, blocks) = std::sync::mpsc::sync_channel::<Vec<f32>>(MOST_WAITING);
        let work = std::thread::spawn(move || {
            for block in blocks {
                stage.push(&block);
            }
            stage.finish()
        });
        Self {
            front: Running::Beside(sender, work),
            waiting: Vec::with_capacity(BLOCK),
        }
    }

    /// Hears the next samples (mono, 22,050 Hz).
    pub fn push(&mut self, samples: &[f32]) {
        match &mut self.front {
            Running::Here(stage) => stage.push(samples),
            Running::Beside(sender, _) => {
                self.waiting.extend_from_slice(samples);
                if self.waiting.len() >= BLOCK {
                    let block = std::mem::replace(&mut self.waiting, Vec::with_capacity(BLOCK));
                    // fails only if the other thread panicked, which `finish` passes on
                    let _ = sender.send(block);
                }
            }
        }
    }

    /// Ends the take and runs the acoustic stage; `progress` is told the share done, 0 to 1.
    ///
    /// # Errors
    /// * [`HearingError::Empty`] if no sample came.
    /// * [`HearingError::Model`] if the built-in net cannot be used.
    pub fn finish(self, progress: &(dyn Fn(f64) + Sync)) -> Result<Sound, HearingError> {
        let front = match self.front {
            Running::Here(stage) => stage.finish(),
            Running::Beside(sender, work) => {
                let _ = sender.send(self.waiting);
                drop(sender);
                work.join()
                    .unwrap_or_else(|panic| std::panic::resume_unwind(panic))
            }
        };
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
