//! `POST /api/decide`, `/api/undo`, `/api/redo`: the same decisions as on the command line.

use super::error::{ApiError, ApiResult, json_response, off_thread};
use super::events::News;
use super::server::{Room, Shared, read_body};
use super::song::{since, whole};
use crate::deciding::{self, DecisionRequest, Made, Undone, words};
use crate::songlog::decided::Decision;
use crate::songlog::{Log, resolve};
use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;
use serde_json::{Value, json};
use std::sync::Arc;

/// What a page asks for: one decision of one or more requests, each on what
/// those before it leave.
#[derive(Debug, Default, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(default, deny_unknown_fields)]
pub(super) struct Asked {
    /// The revision that the page shows; another one now refuses the decision.
    revision: Option<String>,
    /// The last decision that the page knows of: what it has asked for before, without an
    /// answer, is not decided twice.
    after: Option<u32>,
    /// The requests; the same type as the command line's.
    requests: Vec<DecisionRequest>,
}

/// What the page knows already.
#[derive(Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct Knows {
    /// The revision that it holds: the answer is what changed since.
    since: Option<String>,
}

pub(super) async fn decide(
    State(shared): Room,
    knows: Query<Knows>,
    body: Result<Bytes, BytesRejection>,
) -> ApiResult<Response> {
    let asked: Asked = read_body(body)?;
    answer(shared, knows, move |shared| {
        if let Some(told) = told_again(shared, asked.after, |log, after| {
            deciding::made_after(log, &asked.requests, after)
        })? {
            return Ok(told);
        }
        let made = deciding::decide(shared.book.path(), &asked.requests, |_| {
            // the log is locked here: what is read now is what is decided on
            if let Some(shown) = &asked.revision {
                let now = shared.book.read()?;
                if now.revision != *shown {
                    return Err(ApiError::new(
                        StatusCode::CONFLICT,
                        "the song was changed meanwhile by another page or command; look at it and decide again",
                    )
                    .with("song", whole(shared, &now)));
                }
            }
            Ok(())
        })?;
        let Made { acts, hints, before, id, .. } = made;
        Ok(json!({
            "decision": id,
            "acts": acts.iter().map(|a| words(a, &before)).collect::<Vec<_>>(),
            "hints": hints,
        }))
    })
    .await
}

/// Which decisions to take back; none is the latest that holds.
#[derive(Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
struct Which {
    decisions: Vec<u32>,
    /// As for a decision.
    after: Option<u32>,
}

/// Redo takes nothing else.
#[derive(Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
struct After {
    after: Option<u32>,
}

/// The answer to what was decided already right after the decision that the page knows of,
/// if it was: the page had no answer to it.
fn told_again(
    shared: &Shared,
    after: Option<u32>,
    find: impl Fn(&Log, u32) -> Option<&Decision>,
) -> ApiResult<Option<Value>> {
    let Some(after) = after else {
        return Ok(None);
    };
    let snapshot = shared.book.read()?;
    if snapshot.log.decided.last().is_none_or(|d| d.id <= after) {
        return Ok(None);
    }
    Ok(find(&snapshot.log, after).map(|made| {
        json!({
            "decision": made.id,
            "of": made.takes_back().collect::<Vec<_>>(),
            "acts": made.acts.iter().map(|a| words(a, &snapshot.song)).collect::<Vec<_>>(),
            "hints": [],
        })
    }))
}

pub(super) async fn undo(
    State(shared): Room,
    knows: Query<Knows>,
    body: Result<Bytes, BytesRejection>,
) -> ApiResult<Response> {
    let Which { decisions, after } = read_body(body)?;
    answer(shared, knows, move |shared| {
        if let Some(told) = told_again(shared, after, |log, after| {
            deciding::undone_after(log, &decisions, after)
        })? {
            return Ok(told);
        }
        Ok(undone(deciding::undo(shared.book.path(), &decisions)?))
    })
    .await
}

pub(super) async fn redo(
    State(shared): Room,
    knows: Query<Knows>,
    body: Result<Bytes, BytesRejection>,
) -> ApiResult<Response> {
    let After { after } = read_body(body)?;
    answer(shared, knows, move |shared| {
        if let Some(told) = told_again(shared, after, |log, after| {
            deciding::undone_after(log, &[], after)
        })? {
            return Ok(told);
        }
        Ok(undone(deciding::redo(shared.book.path())?))
    })
    .await
}

fn undone(undone: Undone) -> Value {
    let Undone { id, of, log } = undone;
    let by_id = |id: &u32| log.decided.iter().find(|d| d.id == *id);
    let song = resolve(&log);
    let acts: Vec<String> = of
        .iter()
        .filter_map(by_id)
        .flat_map(|decision| {
            // of an undo, what it had taken and what is back now
            let mut back = decision.takes_back().filter_map(|id| by_id(&id)).peekable();
            if back.peek().is_some() {
                back.flat_map(|d| &d.acts).collect::<Vec<_>>()
            } else {
                decision.acts.iter().collect()
            }
        })
        .map(|act| words(act, &song))
        .collect();
    json!({"decision": id, "of": of, "acts": acts})
}

/// Does the work, tells every page, and answers with the song as it is then, or with
/// what changed in it.
async fn answer(
    shared: Arc<Shared>,
    Query(knows): Query<Knows>,
    work: impl FnOnce(&Shared) -> ApiResult<Value> + Send + 'static,
) -> ApiResult<Response> {
    let value = off_thread(move || {
        let mut value = work(&shared)?;
        let snapshot = shared.book.read()?;
        value["revision"] = json!(snapshot.revision);
        match knows.since.and_then(|r| shared.book.known(&r)) {
            Some(before) => value["changes"] = since(&shared, &before, &snapshot).into(),
            None => value["song"] = whole(&shared, &snapshot),
        }
        // nobody listening is no fault
        let _ = shared.news.send(News::Song {
            revision: snapshot.revision.clone(),
        });
        Ok(value)
    })
    .await?;
    Ok(json_response(StatusCode::OK, &value))
}
