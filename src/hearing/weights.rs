//! The weights of all stages.

use crate::hearing::doubts::DoubtWeights;
use crate::hearing::form::sketch::SectionWeights;
use crate::hearing::harmony::chords::ChordWeights;
use crate::hearing::harmony::keys::KeyWeights;
use crate::hearing::harmony::plucks::PluckWeights;
use crate::hearing::harmony::segments::SegmentWeights;
use crate::hearing::harmony::song_level::SongWeights;
use crate::hearing::learned;
use crate::hearing::notes::events::NoteWeights;
use crate::hearing::rhythm::bar_pointer::PointerWeights;
use crate::hearing::rhythm::bars::numbers::BarWeights;
use crate::hearing::rhythm::beat_numbers::BeatNumbers;
use crate::hearing::rhythm::beats::BeatWeights;
use crate::hearing::rhythm::clock::ClockWeights;
use crate::hearing::rhythm::pulse::PulseWeights;
use crate::hearing::strum_window::StrumWindow;
use crate::hearing::voicing::fit::FitWeights;
use crate::hearing::weight_files::{self, CANDIDATES};

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
        let candidates: Candidates = learned::read(&CANDIDATES);
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

/// Lets files stand in for built-in ones of the same name, for the whole process.
///
/// Only for programs that try newly made weights; to be called before anything is heard.
/// Takes names of [`crate::hearing::WEIGHT_FILES`] with their contents.
///
/// # Errors
/// * a name that no file has, with those that are known
/// * a classifier that is not as long as the built-in one
/// * a file of numbers that lacks a field, or has one too many, and which
/// * weights that stand in already
pub fn try_weights(files: Vec<(String, Vec<u8>)>) -> Result<(), String> {
    for (name, bytes) in &files {
        fn check<T: serde::de::DeserializeOwned>(text: &[u8]) -> Result<(), String> {
            learned::parse::<T>(text).map(drop)
        }
        let fits = match name.as_str() {
            "beats.json" => check::<BeatNumbers>(bytes),
            "beat_search.json" => check::<BeatWeights>(bytes),
            "bar-pointer.json" => check::<PointerWeights>(bytes),
            "chords.json" => check::<ChordWeights>(bytes),
            "candidates.json" => check::<Candidates>(bytes),
            "notes.json" => check::<NoteWeights>(bytes),
            "plucks.json" => check::<PluckWeights>(bytes),
            "shapes.json" => check::<FitWeights>(bytes),
            "sections.json" => check::<SectionWeights>(bytes),
            "song-level.json" => check::<SongWeights>(bytes),
            "segments.json" => check::<SegmentWeights>(bytes),
            "keys.json" => check::<KeyWeights>(bytes),
            "clock.json" => check::<ClockWeights>(bytes),
            "bars.json" => check::<BarWeights>(bytes),
            "pulse.json" => check::<PulseWeights>(bytes),
            "strum-window.json" => check::<StrumWindow>(bytes),
            "doubts.json" => check::<DoubtWeights>(bytes),
            _ => Ok(()),
        };
        fits.map_err(|e| format!("{name}: {e}"))?;
    }
    weight_files::stand_in(files)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_that_do_not_fit_cannot_stand_in() {
        for (name, content, says) in [
            ("beets.json", "{}", "known: acoustic-front.onnx"),
            (
                "candidates.json",
                "{}",
                "candidates.json: missing field `temperature`",
            ),
            (
                "strums.bin",
                "short",
                "strums.bin has 5 bytes, expected 10232",
            ),
        ] {
            let files = vec![(name.to_owned(), content.as_bytes().to_vec())];
            let error = try_weights(files).err().unwrap_or_default();
            assert!(error.contains(says), "{error}");
        }
    }
}
