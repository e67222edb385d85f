//! The weights of all stages.

use crate::hearing::form::sketch::SectionWeights;
use crate::hearing::harmony::chords::ChordWeights;
use crate::hearing::harmony::plucks::PluckWeights;
use crate::hearing::learned;
use crate::hearing::notes::events::NoteWeights;
use crate::hearing::rhythm::beats::BeatWeights;
use crate::hearing::voicing::fit::FitWeights;

/// All weights of the musical stage; docs/hearing.md says what each was fitted on.
#[derive(Debug, Clone)]
pub struct Weights {
    /// Of the search for beats.
    pub beats: BeatWeights,
    /// Of the search for chords.
    pub chords: ChordWeights,
    /// Of the reading of notes.
    pub notes: NoteWeights,
    /// Of the reading of plucks.
    pub plucks: PluckWeights,
    /// Of the fit of shapes.
    pub fit: FitWeights,
    /// Of the search for sections.
    pub sections: SectionWeights,
    /// Of candidates: how far scores are flattened into probabilities.
    pub temperature: f32,
}

impl Default for Weights {
    fn default() -> Self {
        let text = include_str!("weights/candidates.json");
        let candidates: Candidates = learned::read("candidates.json", text);
        Self {
            beats: BeatWeights::default(),
            chords: ChordWeights::default(),
            notes: NoteWeights::default(),
            plucks: PluckWeights::default(),
            fit: FitWeights::default(),
            sections: SectionWeights::default(),
            temperature: candidates.temperature,
        }
    }
}

/// The file of what is fitted of candidates.
#[derive(Debug, serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct Candidates {
    temperature: f32,
}
