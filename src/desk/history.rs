//! `GET /api/decisions`: everything that was decided, the latest first.

use super::error::ApiResult;
use super::server::{Room, json};
use crate::deciding::words;
use crate::songlog::decided::holding;
use axum::extract::State;
use axum::response::Response;
use serde_json::json;

/// Of a decision with more acts than this only the first ones are named.
const N_NAMED: usize = 4;

pub(super) async fn decisions(State(shared): Room) -> ApiResult<Response> {
    json(move || {
        let snapshot = shared.book.read()?;
        let (log, song) = (&snapshot.log, &snapshot.song);
        let all: Vec<_> = log
            .decided
            .iter()
            .zip(holding(&log.decided))
            .map(|(d, holds)| {
                let named: Vec<String> = d
                    .acts
                    .iter()
                    .take(N_NAMED)
                    .map(|a| words(a, song))
                    .collect();
                json!({
                    "id": d.id,
                    "at": d.at,
                    "acts": named,
                    "n_acts": d.acts.len(),
                    "holds": holds,
                    "undoes": d.takes_back().collect::<Vec<_>>(),
                })
            })
            .rev()
            .collect();
        Ok(json!({"revision": snapshot.revision, "decisions": all}))
    })
    .await
}
