//! `/api/recordings`, `/api/recording`, `/api/check`: a recording of the log's folder held against
//! the chart, as `takebook check` does it, and its sound.
//!
//! Only sound files that lie in the folder themselves can be named: no path, no link, nothing
//! hidden. One recording is heard at a time; what was heard is kept, so that a chart that was
//! changed meanwhile is held against it again at once.

use super::book::Stamp;
use super::error::{ApiError, ApiResult, off_thread};
use super::events::News;
use super::server::{Room, Shared, json, read_body};
use super::take::{Sounds, sent};
use crate::audio;
use crate::checking::{Evidence, Level, check_json, check_take};
use crate::drafting::{DraftError, Watch, hear_stretches};
use crate::hearing::evidence_classes;
use crate::songlog::store::take_path;
use axum::body::Bytes;
use axum::extract::rejection::{BytesRejection, QueryRejection};
use axum::extract::{Query, State};
use axum::http::{HeaderMap, Method, StatusCode};
use axum::response::Response;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU8, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::SystemTime;

/// Recordings that are listed at most, the latest.
const MOST_LISTED: usize = 200;

/// Which recording.
#[derive(Debug, Default, serde::Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct Wanted {
    /// Its name in the log's folder; left out, the song's own recording.
    file: Option<String>,
}

/// What to hold against the chart, and how closely.
#[derive(Debug, Default, serde::Deserialize)]
#[serde(default, deny_unknown_fields)]
struct Asked {
    file: Option<String>,
    detail: bool,
}

/// What is kept between two requests.
#[derive(Debug, Default)]
pub(super) struct Checks {
    sounds: Sounds,
    /// Ends the hearing that runs.
    cancel: Mutex<Arc<AtomicBool>>,
    /// The recording heard last; locked while one is heard.
    heard: Mutex<Option<Heard>>,
}

#[derive(Debug)]
struct Heard {
    path: PathBuf,
    stamp: Stamp,
    evidence: Evidence,
}

/// Sound files in a folder, the latest first.
fn files_in(folder: &Path) -> Vec<String> {
    let mut found: Vec<(SystemTime, String)> = std::fs::read_dir(folder)
        .into_iter()
        .flatten()
        .filter_map(|entry| {
            let entry = entry.ok()?;
            let name = entry.file_name().into_string().ok()?;
            let (_, ending) = name.rsplit_once('.')?;
            let ending = ending.to_ascii_lowercase();
            // what a link leads to is another one's business
            let facts = entry.metadata().ok().filter(|_| !name.starts_with('.'))?;
            let is_sound = facts.is_file() && audio::ENDINGS.contains(&&ending[..]);
            is_sound.then(|| (facts.modified().unwrap_or(SystemTime::UNIX_EPOCH), name))
        })
        .collect();
    found.sort_by(|a, b| b.0.cmp(&a.0).then_with(|| a.1.cmp(&b.1)));
    found.truncate(MOST_LISTED);
    found.into_iter().map(|(_, name)| name).collect()
}

fn folder_of(log: &Path) -> &Path {
    match log.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

/// The file that a name stands for.
fn named(shared: &Shared, file: Option<&str>) -> ApiResult<PathBuf> {
    let log = shared.book.path();
    let Some(file) = file else {
        let snapshot = shared.book.read()?;
        return Ok(take_path(log, &snapshot.log));
    };
    let folder = folder_of(log);
    if files_in(folder).iter().any(|name| name == file) {
        return Ok(folder.join(file));
    }
    Err(ApiError::new(
        StatusCode::NOT_FOUND,
        format!("'{file}' is no recording in the folder of this song; put it there to check it"),
    ))
}

pub(super) async fn recordings(State(shared): Room) -> ApiResult<Response> {
    json(move || {
        let snapshot = shared.book.read()?;
        let log = shared.book.path();
        let own = take_path(log, &snapshot.log);
        let folder = folder_of(log);
        let all = files_in(folder).into_iter();
        let others: Vec<String> = all.filter(|name| folder.join(name) != own).collect();
        let own = own.is_file().then(|| snapshot.log.take.file.clone());
        Ok(json!({"own": own, "others": others}))
    })
    .await
}

pub(super) async fn recording(
    State(shared): Room,
    wanted: Result<Query<Wanted>, QueryRejection>,
    method: Method,
    headers: HeaderMap,
) -> ApiResult<Response> {
    let Query(wanted) = wanted.map_err(|e| ApiError::bad(e.body_text()))?;
    let sound = off_thread(move || {
        let path = named(&shared, wanted.file.as_deref())?;
        let sound = shared.checks.sounds.at(&path);
        sound.map_err(|e| absent(&path, &e))?.opened()
    })
    .await?;
    sent(&sound, &method, &headers)
}

fn absent(path: &Path, error: &std::io::Error) -> ApiError {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    ApiError::new(
        StatusCode::NOT_FOUND,
        format!("the recording '{name}' is not there: {error}"),
    )
}

pub(super) async fn check(
    State(shared): Room,
    body: Result<Bytes, BytesRejection>,
) -> ApiResult<Response> {
    let Asked { file, detail } = read_body(body)?;
    json(move || {
        let path = named(&shared, file.as_deref())?;
        let told = held_against(&shared, &path, detail)?;
        if file.is_some() {
            // a student's recording: the list does not take it for a song to come
            lock(&shared.common.checked).insert(path);
        }
        Ok(told)
    })
    .await
}

/// Hears the recording, unless it was the last one, and holds it against the chart.
fn held_against(shared: &Shared, path: &Path, detail: bool) -> ApiResult<Value> {
    let checks = &shared.checks;
    let cancel = Arc::new(AtomicBool::new(false));
    // whoever asks for another one waits no longer for the one before
    std::mem::replace(&mut *lock(&checks.cancel), Arc::clone(&cancel))
        .store(true, Ordering::Relaxed);
    let mut heard = lock(&checks.heard);
    let stamp = Stamp::of(path).map_err(|e| absent(path, &e))?;
    let kept = heard.take().filter(|h| h.path == path && h.stamp == stamp);
    let now = match kept {
        Some(kept) => kept,
        None => Heard {
            path: path.into(),
            stamp,
            evidence: hear(shared, path, &cancel)?,
        },
    };
    let evidence = &heard.insert(now).evidence;
    let snapshot = shared.book.read()?;
    let level = match detail {
        true => Level::Detail,
        false => Level::Song,
    };
    let check = check_take(&snapshot.song, evidence, level).ok_or_else(|| {
        ApiError::new(
            StatusCode::CONFLICT,
            "the chart has no bar to check against",
        )
    })?;
    let mut told = check_json(&check);
    told["revision"] = json!(snapshot.revision);
    told["n_unconfirmed"] = json!(snapshot.song.n_open());
    Ok(told)
}

fn lock<T>(what: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    what.lock().unwrap_or_else(PoisonError::into_inner)
}

fn hear(shared: &Shared, path: &Path, cancel: &AtomicBool) -> ApiResult<Evidence> {
    let told = AtomicU8::new(0);
    let watch = Watch {
        progress: &|share: f64| {
            let percent = (share.clamp(0.0, 1.0) * 100.0) as u8;
            if told.fetch_max(percent, Ordering::Relaxed) < percent {
                // nobody listening is no fault
                let news = News::Other("check", json!({"percent": percent}));
                let _ = shared.news.send(news);
            }
        },
        cancel,
    };
    let stretches = audio::open(path)
        .map_err(DraftError::Audio)
        .and_then(|mut source| hear_stretches(&mut source, &watch))
        .map_err(|error| {
            let status = match error {
                DraftError::Audio(_) => StatusCode::NOT_FOUND,
                _ => StatusCode::CONFLICT,
            };
            ApiError::new(status, error.to_string())
        })?;
    Ok(Evidence::new(evidence_classes(), stretches))
}
