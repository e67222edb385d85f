//! `POST /api/decide`, `/api/undo`, `/api/redo`: the same decisions as on the command line.

use super::book::Snapshot;
use super::error::{ApiError, ApiResult, json_response, off_thread};
use super::events::News;
use super::server::{Room, Shared, read_body};
use super::song::{since, whole};
use crate::deciding::{self, DecisionRequest, Known, Saved, Undone, words};
use crate::songlog::Log;
use crate::songlog::decided::Decision;
use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;
use serde_json::{Value, json};
use std::path::Path;
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
        let seen = shared.book.read()?;
        if let Some(again) = answered_again(&seen, asked.after, |log, after| {
            deciding::made_after(log, &asked.requests, after)
        }) {
            return Ok((again, None));
        }
        let path = shared.book.path();
        let made = deciding::decide(path, &asked.requests, Some(seen.known()), |_| {
            // the log is locked here: what is read now is what is decided on
            let now = shared.book.read()?;
            match &asked.revision {
                Some(shown) if now.revision != *shown => Err(changed(shared, &now)),
                _ => Ok(()),
            }
        })?;
        let acts: Vec<String> = made.acts.iter().map(|a| words(a, &made.before)).collect();
        let value = json!({"decision": made.id, "acts": acts, "hints": made.hints});
        Ok((value, Some(made.saved)))
    })
    .await
}

/// 409: it was asked of a song that is another one by now.
fn changed(shared: &Shared, now: &Snapshot) -> ApiError {
    ApiError::new(
        StatusCode::CONFLICT,
        "the song was changed meanwhile by another page or command; look at it and decide again",
    )
    .with("song", whole(shared, now))
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
fn answered_again(
    now: &Snapshot,
    after: Option<u32>,
    find: impl Fn(&Log, u32) -> Option<&Decision>,
) -> Option<Value> {
    let after = after?;
    if last_of(&now.log) <= after {
        return None;
    }
    let made = find(&now.log, after)?;
    Some(json!({
        "decision": made.id,
        "of": made.takes_back().collect::<Vec<_>>(),
        "acts": made.acts.iter().map(|a| words(a, &now.song)).collect::<Vec<_>>(),
        "hints": [],
    }))
}

/// The number of a log's last decision; 0 before the first.
fn last_of(log: &Log) -> u32 {
    log.decided.last().map_or(0, |d| d.id)
}

pub(super) async fn undo(
    State(shared): Room,
    knows: Query<Knows>,
    body: Result<Bytes, BytesRejection>,
) -> ApiResult<Response> {
    let Which { decisions, after } = read_body(body)?;
    answer(shared, knows, move |shared| {
        take_back(shared, &decisions, after, |path, known| {
            // those that are named are the same whatever came after them
            let after = after.filter(|_| decisions.is_empty());
            deciding::undo(path, &decisions, Some(known), |log| {
                latest(shared, log, after)
            })
        })
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
        take_back(shared, &[], after, |path, known| {
            deciding::redo(path, Some(known), |log| latest(shared, log, after))
        })
    })
    .await
}

/// Whether the last decision is the one that the page knows of: "the latest" of somebody who
/// decided meanwhile is another than the page means.
fn latest(shared: &Shared, log: &Log, after: Option<u32>) -> ApiResult<()> {
    match after {
        Some(after) if last_of(log) != after => Err(changed(shared, &*shared.book.read()?)),
        _ => Ok(()),
    }
}

fn take_back(
    shared: &Shared,
    decisions: &[u32],
    after: Option<u32>,
    undo: impl FnOnce(&Path, Known<'_>) -> ApiResult<Undone>,
) -> ApiResult<(Value, Option<Saved>)> {
    let seen = shared.book.read()?;
    let again = answered_again(&seen, after, |log, after| {
        deciding::undone_after(log, decisions, after)
    });
    if let Some(again) = again {
        return Ok((again, None));
    }
    let undone = undo(shared.book.path(), seen.known())?;
    Ok((in_words(&undone), Some(undone.saved)))
}

fn in_words(undone: &Undone) -> Value {
    let Undone { id, of, saved } = undone;
    let by_id = |id: &u32| saved.log.decided.iter().find(|d| d.id == *id);
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
        .map(|act| words(act, &saved.song))
        .collect();
    json!({"decision": id, "of": of, "acts": acts})
}

/// Does the work, tells every page, and answers with the song as it is then, or with
/// what changed in it.
async fn answer(
    shared: Arc<Shared>,
    Query(knows): Query<Knows>,
    work: impl FnOnce(&Shared) -> ApiResult<(Value, Option<Saved>)> + Send + 'static,
) -> ApiResult<Response> {
    let value = off_thread(move || {
        let (mut value, saved) = work(&shared)?;
        let snapshot = shared.book.read_after(saved)?;
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
