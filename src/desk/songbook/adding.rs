//! `/api/add…`: files that are added to the folder, and what is done for them.

use super::incoming::{self, Incoming, Kind, admitted};
use super::queue::is_analysed;
use super::{Songbook, journal};
use crate::deciding::DecisionRequest;
use crate::desk::error::{ApiError, ApiResult, json_response, off_thread};
use crate::desk::server::{json, read_body};
use axum::body::{Body, BodyDataStream, Bytes};
use axum::extract::rejection::{BytesRejection, QueryRejection};
use axum::extract::{Query, Request, State};
use axum::http::{StatusCode, header};
use axum::response::Response;
use futures_util::stream::StreamExt;
use serde_json::json;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::mpsc::{Receiver, Sender, channel};
use tokio::time::timeout;

type Room = State<Arc<Songbook>>;

/// Files that are copied in at a time.
pub(super) const N_COPIED: usize = 4;
/// A page that sends nothing for so long is gone.
const SILENCE: Duration = Duration::from_secs(30);
/// Parts of a file on their way to the disk.
const N_PARTS: usize = 8;
/// What is still read of a file that is refused, bytes, so that its page hears why.
const READ_ON: usize = 64 << 20;
/// The longest wait for more of it.
const PAUSE: Duration = Duration::from_secs(1);

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Named {
    name: String,
}

/// The queue, and which files can be added.
pub(super) async fn adding(State(book): Room) -> ApiResult<Response> {
    let mut told = book.queue.told();
    let endings = incoming::endings().into_iter();
    told["kinds"] = endings
        .map(|(ending, largest)| {
            let too_large = incoming::too_large(largest);
            json!({"ending": ending, "largest_bytes": largest, "too_large": too_large.text()})
        })
        .collect();
    // the page says what it can tell by itself in the same words
    told["not_read"] = json!(incoming::not_read("{name}"));
    Ok(json_response(StatusCode::OK, &told))
}

/// Adds a file, and queues it.
pub(super) async fn add(
    State(book): Room,
    named: Result<Query<Named>, QueryRejection>,
    request: Request,
) -> ApiResult<Response> {
    let length = request.headers().get(header::CONTENT_LENGTH);
    let length = length.and_then(|v| v.to_str().ok()?.parse().ok());
    let body = request.into_body();
    let name = match named {
        Ok(Query(Named { name })) => name,
        Err(error) => return refuse(body, ApiError::bad(error.body_text())).await,
    };
    match receive(book, &name, length.unwrap_or(0), body).await {
        Ok(told) => Ok(json_response(StatusCode::OK, &told)),
        Err((error, Some(body))) => refuse(body, error).await,
        Err((error, None)) => Err(error),
    }
}

/// Why a file is not added, and its body if none of it was read.
type NotReceived = (ApiError, Option<Body>);

async fn receive(
    book: Arc<Songbook>,
    name: &str,
    length: u64,
    body: Body,
) -> Result<serde_json::Value, NotReceived> {
    let begun = admitted(name).and_then(|(name, kind)| {
        if length > kind.largest() {
            return Err(incoming::too_large(kind.largest()));
        }
        let turn = Arc::clone(&book.copying).try_acquire_owned().map_err(|_| {
            let words =
                format!("{N_COPIED} files are being copied already; add '{name}' after them");
            ApiError::new(StatusCode::CONFLICT, words)
        })?;
        Ok((name.to_owned(), kind, turn, book.queue.begin(name)?))
    });
    let (name, kind, turn, copying) = match begun {
        Ok(begun) => begun,
        Err(error) => return Err((error, Some(body))),
    };
    let (send, parts) = channel(N_PARTS);
    let writing = off_thread(move || {
        let _turn = turn;
        let mut file = Incoming::begin(book.listing.folder(), kind, length)?;
        write(&mut file, parts, &|n| copying.reached(n, length))?;
        let path = file.finish(&name)?;
        if kind == Kind::Song {
            book.wanted.notify_one();
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            return Ok(json!({"file": name, "song": name}));
        }
        copying.wait_for_analysis(&path)
    });
    let (told, ()) = tokio::join!(writing, forward(body.into_data_stream(), send));
    told.map_err(|error| (error, None))
}

/// A part of a file; none at its end.
type Part = Option<Bytes>;

/// Hands a body on, part by part. What breaks off has no end.
async fn forward(mut body: BodyDataStream, to: Sender<Part>) {
    while let Ok(next) = timeout(SILENCE, body.next()).await {
        match next {
            Some(Ok(bytes)) => {
                if to.send(Some(bytes)).await.is_err() {
                    return read_on(body).await;
                }
            }
            Some(Err(_)) => return,
            None => {
                let _ = to.send(None).await;
                return;
            }
        }
    }
}

fn write(
    file: &mut Incoming,
    mut parts: Receiver<Part>,
    reached: &dyn Fn(u64) -> ApiResult<()>,
) -> ApiResult<()> {
    loop {
        match parts.blocking_recv() {
            Some(Some(bytes)) => {
                file.push(&bytes)?;
                reached(file.n_bytes())?;
            }
            Some(None) => return Ok(()),
            None => {
                return Err(ApiError::bad(
                    "the file breaks off before its end; nothing was added",
                ));
            }
        }
    }
}

/// A browser that is still sending does not read the answer.
async fn refuse(body: Body, error: ApiError) -> ApiResult<Response> {
    read_on(body.into_data_stream()).await;
    Err(error)
}

async fn read_on(mut body: BodyDataStream) {
    let mut n_left = READ_ON;
    while let Ok(Some(Ok(bytes))) = timeout(PAUSE, body.next()).await {
        n_left = n_left.saturating_sub(bytes.len());
        if n_left == 0 {
            return;
        }
    }
}

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct OfFile {
    file: String,
}

/// Queues a file that lies in the folder: a recording without a song, or one that failed.
pub(super) async fn draft(
    State(book): Room,
    body: Result<Bytes, BytesRejection>,
) -> ApiResult<Response> {
    let OfFile { file } = read_body(body)?;
    json(move || {
        let is_known = book.listing.has_recording(&file) || book.queue.has_failed(&file);
        if !is_known || !is_analysed(&file) {
            return Err(ApiError::new(
                StatusCode::NOT_FOUND,
                format!("there is no recording '{file}' without a song in this folder"),
            ));
        }
        let told = book.queue.add(&file, DecisionRequest::default())?;
        // that it is not whole is in its line no longer
        journal::forget_file(book.listing.folder(), &file);
        Ok(told)
    })
    .await
}

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct OfEntry {
    id: u64,
}

/// Cancels what is done for a file, or takes it off the list.
pub(super) async fn remove(
    State(book): Room,
    body: Result<Bytes, BytesRejection>,
) -> ApiResult<Response> {
    let OfEntry { id } = read_body(body)?;
    json(move || {
        let was_there = book.queue.remove(id);
        // a recording that was cancelled shows as one without a song
        book.wanted.notify_one();
        Ok(json!({"was_there": was_there}))
    })
    .await
}
