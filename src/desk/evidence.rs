//! `GET /api/evidence`: what was heard between two times.

use super::book::Snapshot;
use super::error::{ApiError, ApiResult};
use super::server::{Room, json};
use crate::deciding::song_json::round;
use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::response::Response;
use serde_json::{Value, json};

/// The most columns that a wave is drawn in.
const MOST_COLUMNS: usize = 8000;
const USUAL_COLUMNS: usize = 800;

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wanted {
    from: Option<f64>,
    to: Option<f64>,
    columns: Option<usize>,
}

pub(super) async fn evidence(
    State(shared): Room,
    wanted: Result<Query<Wanted>, QueryRejection>,
) -> ApiResult<Response> {
    let Query(wanted) = wanted.map_err(|e| ApiError::bad(e.body_text()))?;
    json(move || {
        let snapshot = shared.book.read()?;
        let length_s = snapshot.song.duration_s;
        let (from_s, to_s) = (wanted.from.unwrap_or(0.0), wanted.to.unwrap_or(length_s));
        let n = wanted.columns.unwrap_or(USUAL_COLUMNS);
        if !(from_s.is_finite() && to_s.is_finite() && 0.0 <= from_s && from_s < to_s) {
            return Err(ApiError::bad(format!(
                "from {from_s} to {to_s} is no stretch of this take: it lasts {length_s:.1} s"
            )));
        }
        if !(1..=MOST_COLUMNS).contains(&n) {
            return Err(ApiError::bad(format!(
                "columns must be 1 to {MOST_COLUMNS}"
            )));
        }
        let mut value = heard(&snapshot, from_s, to_s);
        // without its sound the rest is still evidence
        let wave = shared
            .sounds
            .of(shared.book.path(), &snapshot.log)
            .map(|sound| sound.peaks().columns(from_s, to_s, n));
        let (columns, done) = wave.unwrap_or_else(|_| (vec![None; n], true));
        value["wave"] = columns
            .into_iter()
            .map(|c| c.map(|(low, high)| json!([low, high])))
            .map(|c| c.unwrap_or(Value::Null))
            .collect();
        value["wave_done"] = json!(done);
        Ok(value)
    })
    .await
}

fn heard(snapshot: &Snapshot, from_s: f64, to_s: f64) -> Value {
    let heard = &snapshot.log.heard;
    let inside = |start_s: f64, end_s: f64| start_s < to_s && end_s > from_s;
    let lowest_at = |at_s: f64| {
        let chord = heard
            .chords
            .iter()
            .find(|c| c.start_s <= at_s + 0.05 && at_s + 0.05 < c.end_s);
        chord.and_then(|c| c.bass_midi)
    };
    json!({
        "revision": snapshot.revision,
        "from_s": round(from_s),
        "to_s": round(to_s),
        "notes": heard.notes.iter().filter(|n| inside(n.start_s, n.end_s)).map(|n| json!({
            "midi": n.midi,
            "start_s": round(n.start_s),
            "end_s": round(n.end_s),
            "probability": round(n.probability),
            "lowest": lowest_at(n.start_s) == Some(n.midi),
        })).collect::<Vec<_>>(),
        "chroma": heard.chords.iter().filter(|c| inside(c.start_s, c.end_s)).map(|c| json!({
            "start_s": round(c.start_s),
            "end_s": round(c.end_s),
            "values": c.chroma.map(|x| round(f64::from(x))),
        })).collect::<Vec<_>>(),
        "beats": heard.beats.iter().filter(|b| inside(b.time_s, b.time_s + 1e-6)).map(|b| json!({
            "time_s": round(b.time_s),
            "place": b.place,
        })).collect::<Vec<_>>(),
    })
}
