//! JAMS: chords, beats, sections and key as annotations.
//!
//! # Source
//! Humphrey et al., "JAMS: A JSON annotated music specification for
//! reproducible MIR research", ISMIR 2014; namespaces `chord`, `beat`,
//! `segment_open` and `key_mode` of its schema.

use super::json::round6;
use super::sheet::all_bars;
use super::{ChartError, PERMISSION};
use crate::songlog::song::{Bar, Song, Span, State};
use crate::theory::{KeyChange, roman};
use serde_json::{Value, json};

/// The document, with a final line end.
pub(super) fn write(song: &Song) -> Result<String, ChartError> {
    let mut annotations = Vec::new();
    let chords = song
        .spans
        .iter()
        .map(|s| {
            let confidence = match s.state {
                State::Decided => Some(1.0),
                State::Open => s.certainty,
            };
            observation(s.start_s, s.end_s, json!(s.label.label()), confidence)
        })
        .collect();
    let mut chords = annotation(song, "chord", chords);
    chords["sandbox"] = json!({ "degrees": degrees(song), "reasons": reasons(song) });
    annotations.push(chords);
    let bars = all_bars(song);
    let beats: Vec<Value> = song
        .beats_s
        .iter()
        .map(|t| {
            // place in the bar, from 1
            let place = bars.iter().rposition(|b| b.start_s <= t + 0.02).map(|b| {
                let since = song
                    .beats_s
                    .iter()
                    .filter(|u| **u + 0.02 >= bars[b].start_s && *u <= t);
                since.count()
            });
            observation(*t, *t, json!(place), None)
        })
        .collect();
    if !beats.is_empty() {
        annotations.push(annotation(song, "beat", beats));
    }
    let sections = section_observations(song, &bars);
    if !sections.is_empty() {
        annotations.push(annotation(song, "segment_open", sections));
    }
    let keys = key_observations(song);
    if !keys.is_empty() {
        annotations.push(annotation(song, "key_mode", keys));
    }
    let document = json!({
        "annotations": annotations,
        "file_metadata": {
            "title": song.title,
            "artist": "",
            "release": "",
            "duration": round6(song.duration_s),
            "identifiers": {},
            "jams_version": "0.3.4",
        },
        "sandbox": { "permission": PERMISSION },
    });
    let mut text = serde_json::to_string_pretty(&document).map_err(|e| ChartError::Unwritable {
        format: "JAMS",
        reason: e.to_string(),
    })?;
    text.push('\n');
    Ok(text)
}

/// Each section with its letter and name.
fn section_observations(song: &Song, bars: &[Bar]) -> Vec<Value> {
    song.sections
        .iter()
        .filter_map(|s| {
            let inside = || {
                bars.iter()
                    .filter(|b| (s.first_bar..=s.last_bar).contains(&b.number))
            };
            let value = match &s.name {
                Some(name) => format!("{} {name}", s.letter),
                None => s.letter.clone(),
            };
            Some(observation(
                inside().next()?.start_s,
                inside().next_back()?.end_s,
                json!(value),
                None,
            ))
        })
        .collect()
}

/// Each key with its stretch.
fn key_observations(song: &Song) -> Vec<Value> {
    let first = song.key.map(|key| KeyChange { at_s: 0.0, key });
    let keys: Vec<&KeyChange> = first.iter().chain(&song.key_changes).collect();
    let ends = keys.iter().skip(1).map(|c| c.at_s);
    keys.iter()
        .zip(ends.chain([song.duration_s]))
        .map(|(change, end_s)| {
            let mode = change.key.mode.name();
            let value = json!(format!("{}:{mode}", change.key.tonic.ascii()));
            observation(change.at_s, end_s, value, None)
        })
        .collect()
}

/// Degree of each chord in the key, in order; null without a key or a chord.
fn degrees(song: &Song) -> Vec<Option<String>> {
    let degree = |s: &Span| Some(roman(s.label.chord()?, song.key_at(s.start_s)?));
    song.spans.iter().map(degree).collect()
}

/// Why each chord was proposed, in order; null for the user's own.
fn reasons(song: &Song) -> Vec<Option<&str>> {
    let at = |s: &Span| s.candidates.iter().position(|c| c.label == s.label);
    song.spans
        .iter()
        .map(|s| at(s).map(|i| s.candidates[i].reason.as_str()))
        .collect()
}

fn observation(start_s: f64, end_s: f64, value: Value, confidence: Option<f64>) -> Value {
    json!({
        "time": round6(start_s),
        "duration": round6((end_s - start_s).max(0.0)),
        "value": value,
        "confidence": confidence.map(round6),
    })
}

fn annotation(song: &Song, namespace: &str, data: Vec<Value>) -> Value {
    json!({
        "namespace": namespace,
        "data": data,
        "annotation_metadata": {
            "curator": { "name": "", "email": "" },
            "annotator": {},
            "version": "",
            "corpus": "",
            "annotation_tools": concat!("takebook ", env!("CARGO_PKG_VERSION")),
            "annotation_rules": "",
            "validation": "",
            "data_source": "",
        },
        "sandbox": {},
        "time": 0,
        "duration": round6(song.duration_s),
    })
}
