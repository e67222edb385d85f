//! `GET /api/plucked`: a proposal as the project's own plucked strings.

use super::error::{ApiError, ApiResult, off_thread};
use super::server::Room;
use super::wav;
use crate::fretboard::{Instrument, Limits, Shape, Wanted as Tones, voicings};
use crate::songlog::song::Song;
use crate::theory::{Chord, Label};
use crate::units::{SampleRate, Seconds};
use crate::voice::{Stroke, perform, strum};
use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};

const RATE: SampleRate = SampleRate(44_100);
/// How long a chord sounds if nothing is said, s.
const USUAL_S: f64 = 2.0;
const LONGEST_S: f64 = 20.0;
/// Time from string to string of an easy downstroke, s (ours).
const APART_S: f64 = 0.018;
const VELOCITY: f64 = 0.6;
const BRIGHTNESS: f64 = 0.5;

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wanted {
    label: String,
    shape: Option<String>,
    seconds: Option<f64>,
}

pub(super) async fn plucked(
    State(shared): Room,
    wanted: Result<Query<Wanted>, QueryRejection>,
) -> ApiResult<Response> {
    let Query(wanted) = wanted.map_err(|e| ApiError::bad(e.body_text()))?;
    let bytes = off_thread(move || {
        let seconds = wanted.seconds.unwrap_or(USUAL_S);
        if !(0.1..=LONGEST_S).contains(&seconds) {
            return Err(ApiError::bad(format!(
                "seconds: {seconds} is not 0.1 to {LONGEST_S}"
            )));
        }
        let snapshot = shared.book.read()?;
        let notes = notes(&wanted, &snapshot.song)?;
        let strikes = strum(&notes, Stroke::Down, 0.0, seconds, APART_S, VELOCITY);
        let samples = perform(&strikes, BRIGHTNESS, Seconds(seconds), RATE);
        Ok(wav::mono(&samples, RATE))
    })
    .await?;
    let about = [
        (header::CONTENT_TYPE, "audio/wav"),
        (header::CACHE_CONTROL, "no-store"),
    ];
    Ok((about, bytes).into_response())
}

/// String and pitch of each note.
fn notes(wanted: &Wanted, song: &Song) -> ApiResult<Vec<(usize, u8)>> {
    let label: Label = wanted
        .label
        .parse()
        .map_err(|e| ApiError::bad(format!("label: {e}")))?;
    let instrument = &song.instrument;
    let shape = match (&wanted.shape, &label) {
        (Some(text), _) => text
            .parse::<Shape>()
            .map(Some)
            .map_err(|e| ApiError::bad(format!("shape: {e}")))?,
        (None, Label::Chord(chord)) => shape_of(chord, &label, song),
        (None, _) => {
            return Err(ApiError::bad(format!(
                "{} has no notes to pluck",
                label.symbol()
            )));
        }
    };
    let found: Vec<(usize, u8)> = match (&shape, label.chord()) {
        (Some(shape), _) if shape.frets().len() == instrument.tuning.n_strings() => {
            sounding(instrument, shape)
        }
        (Some(shape), _) => {
            return Err(ApiError::bad(format!(
                "shape: {shape} is not for {} strings",
                instrument.tuning.n_strings()
            )));
        }
        (None, Some(chord)) => stacked(chord),
        (None, None) => Vec::new(),
    };
    if found.is_empty() {
        return Err(ApiError::bad("no string sounds in this shape"));
    }
    Ok(found)
}

fn sounding(instrument: &Instrument, shape: &Shape) -> Vec<(usize, u8)> {
    instrument
        .sounding(shape)
        .into_iter()
        .enumerate()
        .filter_map(|(string, midi)| Some((string, midi?)))
        .collect()
}

/// The shape that the song has for this chord, else the easiest there is.
fn shape_of(chord: &Chord, label: &Label, song: &Song) -> Option<Shape> {
    let known = song
        .spans
        .iter()
        .filter(|s| s.label == *label)
        .max_by_key(|s| s.n_decided_shapes)
        .and_then(|s| s.shapes.first().cloned());
    known.or_else(|| {
        let limits = Limits::default();
        let found = voicings(&song.instrument, Tones::chord(chord), &limits);
        found.into_iter().next().map(|v| v.shape)
    })
}

/// A chord that no hand reaches: its bass in the third octave, its tones above.
fn stacked(chord: &Chord) -> Vec<(usize, u8)> {
    let bass = 36 + chord.bass_pitch_class().index() as u8;
    let tones = chord.pitch_classes();
    let mut above: Vec<u8> = tones.iter().map(|pc| 48 + pc.index() as u8).collect();
    above.sort_unstable();
    std::iter::once(bass).chain(above).enumerate().collect()
}
