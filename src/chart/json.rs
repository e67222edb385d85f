//! The song as the project's own JSON, documented in `docs/chart-json.md`.
//!
//! The records here are a promise: a change of shape raises [`FORMAT_VERSION`].

use super::{ChartError, PERMISSION};
use crate::songlog::song::{Song, Span, State};
use crate::theory::roman;
use serde::Serialize;

/// What the document says it is.
pub const FORMAT_NAME: &str = "takebook-song";
/// Version of its shape.
pub const FORMAT_VERSION: u32 = 2;

#[derive(Serialize)]
struct Document<'a> {
    format: &'static str,
    version: u32,
    title: &'a str,
    credit: Option<&'a str>,
    permission: &'static str,
    duration_s: f64,
    tuning: Vec<u8>,
    tuning_name: String,
    capo: u8,
    key: Option<String>,
    tempo_bpm: Option<f64>,
    meter: Option<String>,
    n_open: usize,
    beats_s: Vec<f64>,
    bars: Vec<BarRecord>,
    key_changes: Vec<KeyChangeRecord>,
    sections: Vec<SectionRecord<'a>>,
    chords: Vec<ChordRecord<'a>>,
    lyrics: Vec<LyricRecord<'a>>,
    notes: &'a [String],
    warnings: &'a [String],
}

#[derive(Serialize)]
struct LyricRecord<'a> {
    start_s: f64,
    end_s: f64,
    text: &'a str,
}

#[derive(Serialize)]
struct KeyChangeRecord {
    at_s: f64,
    key: String,
}

#[derive(Serialize)]
struct BarRecord {
    number: u32,
    start_s: f64,
    end_s: f64,
    n_beats: u8,
}

#[derive(Serialize)]
struct SectionRecord<'a> {
    letter: &'a str,
    name: Option<&'a str>,
    first_bar: u32,
    last_bar: u32,
    differs: &'a str,
}

#[derive(Serialize)]
struct ChordRecord<'a> {
    start_s: f64,
    end_s: f64,
    label: String,
    symbol: String,
    /// Degree of the key; none without a key or a chord.
    degree: Option<String>,
    open: bool,
    certainty: Option<f64>,
    shapes: Vec<ShapeRecord>,
    candidates: Vec<CandidateRecord<'a>>,
    notes: &'a [String],
}

#[derive(Serialize)]
struct ShapeRecord {
    frets: String,
    decided: bool,
    /// MIDI note of each string, low string first, null where muted.
    midi: Vec<Option<u8>>,
}

#[derive(Serialize)]
struct CandidateRecord<'a> {
    label: String,
    symbol: String,
    probability: f64,
    reason: &'a str,
}

/// Rounds to microseconds, so that the text is short and the same everywhere.
pub(super) fn round6(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}

/// The document, with a final line end.
pub(super) fn write(song: &Song) -> Result<String, ChartError> {
    let document = Document {
        format: FORMAT_NAME,
        version: FORMAT_VERSION,
        title: &song.title,
        credit: song.credit.as_deref(),
        permission: PERMISSION,
        duration_s: round6(song.duration_s),
        tuning: song.instrument.tuning.open().to_vec(),
        tuning_name: song.instrument.tuning.text(),
        capo: song.instrument.capo,
        key: song.key.map(|k| k.label()),
        tempo_bpm: song.tempo_bpm.map(round6),
        meter: song.meter.map(|(n, d)| format!("{n}/{d}")),
        n_open: song.n_open(),
        beats_s: song.beats_s.iter().copied().map(round6).collect(),
        bars: song
            .bars
            .iter()
            .map(|b| BarRecord {
                number: b.number,
                start_s: round6(b.start_s),
                end_s: round6(b.end_s),
                n_beats: b.n_beats,
            })
            .collect(),
        key_changes: song
            .key_changes
            .iter()
            .map(|c| KeyChangeRecord {
                at_s: round6(c.at_s),
                key: c.key.label(),
            })
            .collect(),
        sections: song
            .sections
            .iter()
            .map(|s| SectionRecord {
                letter: &s.letter,
                name: s.name.as_deref(),
                first_bar: s.first_bar,
                last_bar: s.last_bar,
                differs: &s.differs,
            })
            .collect(),
        chords: song
            .spans
            .iter()
            .map(|span| chord_record(song, span))
            .collect(),
        lyrics: song
            .lyrics
            .iter()
            .map(|l| LyricRecord {
                start_s: round6(l.start_s),
                end_s: round6(l.end_s),
                text: &l.text,
            })
            .collect(),
        notes: &song.notes,
        warnings: &song.warnings,
    };
    let mut text = serde_json::to_string_pretty(&document).map_err(|e| ChartError::Unwritable {
        format: "JSON",
        reason: e.to_string(),
    })?;
    text.push('\n');
    Ok(text)
}

fn chord_record<'a>(song: &'a Song, span: &'a Span) -> ChordRecord<'a> {
    ChordRecord {
        start_s: round6(span.start_s),
        end_s: round6(span.end_s),
        label: span.label.label(),
        symbol: span.label.symbol(),
        degree: song
            .key_at(span.start_s)
            .zip(span.label.chord())
            .map(|(key, chord)| roman(chord, key)),
        open: span.state == State::Open,
        certainty: span.certainty.map(round6),
        shapes: span
            .shapes
            .iter()
            .enumerate()
            .map(|(i, shape)| ShapeRecord {
                frets: shape.text(),
                decided: i < span.n_decided_shapes,
                midi: song.instrument.sounding(shape),
            })
            .collect(),
        candidates: span
            .candidates
            .iter()
            .map(|c| CandidateRecord {
                label: c.label.label(),
                symbol: c.label.symbol(),
                probability: round6(c.probability),
                reason: &c.reason,
            })
            .collect(),
        notes: &span.notes,
    }
}
