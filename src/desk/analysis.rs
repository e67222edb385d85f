//! `/api/analyse…`: the take heard again with what the user gives, by the same function as
//! `takebook draft`. One analysis runs at a time; its progress goes out as events.

use super::error::{ApiError, ApiResult};
use super::events::News;
use super::server::{Room, Shared, json, read_body};
use crate::deciding::DecisionRequest;
use crate::drafting::{self, Analysed, DraftError, Watch};
use axum::body::Bytes;
use axum::extract::State;
use axum::extract::rejection::BytesRejection;
use axum::http::StatusCode;
use axum::response::Response;
use serde_json::{Value, json};
use std::sync::atomic::{AtomicBool, AtomicU8, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;

/// What to analyse with.
#[derive(Debug, Default, serde::Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct Asked {
    /// What is given about the whole song.
    request: DecisionRequest,
}

/// A request that says nothing more.
#[derive(Default, serde::Deserialize)]
#[serde(default, deny_unknown_fields)]
struct Nothing {}

/// The analysis that runs, if one does.
#[derive(Debug, Default)]
pub(super) struct Analyses {
    running: Mutex<Option<Running>>,
}

#[derive(Debug)]
struct Running {
    state: Arc<Progress>,
    thread: JoinHandle<()>,
}

#[derive(Debug, Default)]
struct Progress {
    cancel: AtomicBool,
    percent: AtomicU8,
    is_done: AtomicBool,
}

impl Progress {
    /// Sends the share done, if it is another whole percent.
    fn reached(&self, share: f64, shared: &Shared) {
        let percent = (share.clamp(0.0, 1.0) * 100.0) as u8;
        let is_more = self.percent.fetch_max(percent, Ordering::Relaxed) < percent;
        if is_more && !self.cancel.load(Ordering::Relaxed) {
            send(shared, json!({"percent": percent}));
        }
    }
}

fn send(shared: &Shared, data: Value) {
    // nobody listening is no fault
    let _ = shared.news.send(News::Other("analysis", data));
}

impl Analyses {
    fn running(&self) -> MutexGuard<'_, Option<Running>> {
        self.running.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// How far it is, %; none if none runs that anyone waits for.
    pub(super) fn percent(&self) -> Option<u8> {
        let running = self.running();
        let state = &running.as_ref()?.state;
        let is_over = state.is_done.load(Ordering::Acquire) || state.cancel.load(Ordering::Relaxed);
        (!is_over).then(|| state.percent.load(Ordering::Relaxed))
    }

    fn start(&self, shared: &Arc<Shared>, asked: DecisionRequest) -> ApiResult<Value> {
        if self.percent().is_some() {
            return Err(ApiError::new(
                StatusCode::CONFLICT,
                "the take is being analysed already; cancel that first",
            ));
        }
        drafting::check_settings(shared.book.path(), &asked).map_err(refused)?;
        if !drafting::can_reanalyse(shared.book.path()).map_err(refused)? {
            return Err(ApiError::new(
                StatusCode::NOT_FOUND,
                "the take cannot be analysed: its file is not there",
            ));
        }
        let mut running = self.running();
        let before = running.take();
        let state = Arc::new(Progress::default());
        let (own, room) = (Arc::clone(&state), Arc::clone(shared));
        let work = move || {
            // one that was cancelled may still be on its way to its next step
            if let Some(before) = before {
                let _ = before.thread.join();
            }
            let told = analyse(&room, &asked, &own);
            own.is_done.store(true, Ordering::Release);
            if let Some(told) = told {
                send(&room, told);
            }
        };
        let thread = std::thread::Builder::new()
            .name("analysis".into())
            .spawn(work)
            .map_err(|_| {
                ApiError::new(
                    StatusCode::INTERNAL_SERVER_ERROR,
                    "the system gives no thread to analyse with",
                )
            })?;
        *running = Some(Running { state, thread });
        Ok(json!({"started": true}))
    }

    /// Ends the analysis that runs, without changing the log; gives whether one ran.
    pub(super) fn cancel(&self, shared: &Shared) -> bool {
        let was_running = self.percent().is_some();
        if let Some(running) = &*self.running() {
            running.state.cancel.store(true, Ordering::Relaxed);
        }
        if was_running {
            send(shared, json!({"ended": true, "cancelled": true}));
        }
        was_running
    }
}

/// What the page is told in the end; nothing of what was cancelled.
fn analyse(shared: &Arc<Shared>, asked: &DecisionRequest, state: &Progress) -> Option<Value> {
    let watch = Watch {
        progress: &|share| state.reached(share, shared),
        cancel: &state.cancel,
    };
    match drafting::reanalyse(shared.book.path(), asked, &watch) {
        Err(DraftError::Cancelled) => None,
        Err(error) => Some(json!({"ended": true, "error": refused(error).text()})),
        Ok(Analysed::Saved(_) | Analysed::UpToDate) => {
            let Ok(snapshot) = shared.book.read() else {
                return Some(json!({"ended": true}));
            };
            let revision = snapshot.revision.clone();
            let _ = shared.news.send(News::Song { revision });
            let song = &snapshot.song;
            Some(json!({
                "ended": true,
                "revision": snapshot.revision,
                "n_bars": song.bars.len(),
                "n_unfit": snapshot.n_unfit,
            }))
        }
    }
}

fn refused(error: DraftError) -> ApiError {
    match error {
        DraftError::Log(error) => error.into(),
        DraftError::Decide(error) => error.into(),
        DraftError::Audio(_) => ApiError::new(StatusCode::NOT_FOUND, error.to_string()),
        _ => ApiError::new(StatusCode::CONFLICT, error.to_string()),
    }
}

pub(super) async fn start(
    State(shared): Room,
    body: Result<Bytes, BytesRejection>,
) -> ApiResult<Response> {
    let Asked { request } = read_body(body)?;
    json(move || shared.analyses.start(&shared, request)).await
}

pub(super) async fn cancel(
    State(shared): Room,
    body: Result<Bytes, BytesRejection>,
) -> ApiResult<Response> {
    let Nothing {} = read_body(body)?;
    json(move || Ok(json!({"was_running": shared.analyses.cancel(&shared)}))).await
}
