//! `GET /api/plucked`: a proposal as the project's own plucked strings.

use super::error::{ApiError, ApiResult, off_thread};
use super::server::Room;
use super::wav;
use crate::fretboard::Shape;
use crate::playback::{self, RATE};
use crate::theory::Label;
use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

/// How long a chord sounds if nothing is said, s.
const USUAL_S: f64 = 2.0;
const LONGEST_S: f64 = 20.0;

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
    let Ok(_turn) = shared.common.rendering.acquire().await else {
        return Err(ApiError::bad("the desk is closing"));
    };
    let shared = Arc::clone(&shared);
    let bytes = off_thread(move || {
        let seconds = wanted.seconds.unwrap_or(USUAL_S);
        if !(0.1..=LONGEST_S).contains(&seconds) {
            return Err(ApiError::bad(format!(
                "seconds: {seconds} is not 0.1 to {LONGEST_S}"
            )));
        }
        let label: Label = wanted
            .label
            .parse()
            .map_err(|e| ApiError::bad(format!("label: {e}")))?;
        let shape = match &wanted.shape {
            Some(text) => Some(
                text.parse::<Shape>()
                    .map_err(|e| ApiError::bad(format!("shape: {e}")))?,
            ),
            None => None,
        };
        let snapshot = shared.book.read()?;
        let samples = playback::plucked(&label, shape.as_ref(), seconds, &snapshot.song)
            .map_err(|e| ApiError::bad(e.to_string()))?;
        Ok(wav::mono(&samples, RATE))
    })
    .await?;
    let about = [
        (header::CONTENT_TYPE, "audio/wav"),
        (header::CACHE_CONTROL, "no-store"),
    ];
    Ok((about, bytes).into_response())
}
