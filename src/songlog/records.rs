//! The log as it is written: plain records, apart from the values in memory.
//!
//! A stored name is a promise: change one only with the version. Unknown
//! fields are refused, so that nothing is dropped in silence. Times in
//! seconds, rounded to 0.1 ms; labels in published syntax; docs/log-format.md
//! describes each field.

use super::decided::Act;
use super::heard::Choice;
use serde::{Deserialize, Serialize};

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct LogRecord {
    pub(super) format: String,
    pub(super) version: u64,
    pub(super) take: TakeRecord,
    pub(super) drafted: String,
    pub(super) heard: HeardRecord,
    pub(super) decided: Vec<DecisionRecord>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TakeRecord {
    pub(super) file: String,
    pub(super) kind: String,
    pub(super) rate_hz: u32,
    pub(super) channels: u16,
    pub(super) bytes: u64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) fingerprint: Option<FingerprintRecord>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) title: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) composer: Option<String>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct FingerprintRecord {
    pub(super) duration_s: f64,
    pub(super) levels_db: Vec<i16>,
    pub(super) crossings: Vec<u32>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct HeardRecord {
    pub(super) by_version: String,
    pub(super) settings: Vec<String>,
    pub(super) duration_s: f64,
    pub(super) tuning_cents: f64,
    pub(super) instrument: InstrumentRecord,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) tempo_bpm: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) meter: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) key: Option<String>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(super) key_changes: Vec<KeyChangeRecord>,
    pub(super) beats: Vec<BeatRecord>,
    pub(super) bars: Vec<BarRecord>,
    pub(super) sections: Vec<SectionRecord>,
    pub(super) chords: Vec<ChordRecord>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(super) detail: Vec<ChordRecord>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(super) strums: Vec<StrumRecord>,
    pub(super) notes: Vec<NoteRecord>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(super) choices: Vec<Choice>,
    pub(super) warnings: Vec<String>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct KeyChangeRecord {
    pub(super) at_s: f64,
    pub(super) key: String,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct InstrumentRecord {
    pub(super) open_midi: Vec<u8>,
    pub(super) capo: u8,
    pub(super) highest_fret: u8,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct BeatRecord {
    pub(super) time_s: f64,
    pub(super) place: u8,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct BarRecord {
    pub(super) number: u32,
    pub(super) start_s: f64,
    pub(super) end_s: f64,
    pub(super) n_beats: u8,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SectionRecord {
    pub(super) letter: String,
    pub(super) first_bar: u32,
    pub(super) last_bar: u32,
    pub(super) differs: String,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ChordRecord {
    pub(super) start_s: f64,
    pub(super) end_s: f64,
    pub(super) candidates: Vec<CandidateRecord>,
    pub(super) shapes: Vec<ShapeRecord>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) bass_midi: Option<u8>,
    pub(super) chroma: [f64; 12],
    pub(super) fragment: bool,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct CandidateRecord {
    pub(super) label: String,
    pub(super) probability: f64,
    pub(super) reason: String,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ShapeRecord {
    pub(super) frets: String,
    pub(super) fit: f64,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct StrumRecord {
    pub(super) time_s: f64,
    pub(super) direction: DirectionRecord,
    pub(super) probability: f64,
}

#[derive(Serialize, Deserialize, Clone, Copy, PartialEq, Eq)]
#[serde(rename_all = "snake_case")]
pub(super) enum DirectionRecord {
    Down,
    Up,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct NoteRecord {
    pub(super) start_s: f64,
    pub(super) end_s: f64,
    pub(super) midi: u8,
    pub(super) probability: f64,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct DecisionRecord {
    pub(super) id: u32,
    pub(super) at: String,
    pub(super) acts: Vec<Act>,
}
