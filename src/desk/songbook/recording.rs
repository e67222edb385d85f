//! `/api/record/…`: a take recorded on the page of the list, by the same code as `takebook
//! record`; once it has its name it waits in the queue as a file that was added.

use super::Songbook;
use super::incoming::{admitted, names};
use super::journal::{self, unwritable};
use crate::deciding::DecisionRequest;
use crate::desk::error::{ApiError, ApiResult};
use crate::desk::server::{json, read_body};
use axum::body::Bytes;
use axum::extract::State;
use axum::extract::rejection::BytesRejection;
use axum::http::StatusCode;
use axum::response::Response;
use serde_json::json;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::sync::Arc;

type Room = State<Arc<Songbook>>;
type Posted = Result<Bytes, BytesRejection>;

/// What a recording is called until it is named.
const UNNAMED: &str = "Recording";
/// Tempos that can be counted in, bpm, as `record` takes them.
const TEMPOS_BPM: std::ops::RangeInclusive<f64> = 20.0..=400.0;

/// What to record.
#[derive(Debug, Default, serde::Deserialize)]
#[serde(default, deny_unknown_fields)]
#[cfg_attr(not(feature = "mic"), allow(dead_code, reason = "nothing can record"))]
pub(super) struct Wish {
    pub(super) device: Option<String>,
    /// What it is called until it is named; the browser knows the day and the hour here.
    pub(super) name: Option<String>,
    pub(super) count_in: Option<Count>,
}

/// Bars counted before the take.
#[derive(Debug, Clone, Copy, serde::Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(not(feature = "mic"), allow(dead_code, reason = "nothing can record"))]
pub(super) struct Count {
    pub(super) bars: u32,
    pub(super) beats: u8,
    pub(super) tempo_bpm: f64,
    /// Whether it clicks; else the page alone shows it.
    #[serde(default)]
    pub(super) clicks: bool,
}

impl Wish {
    /// The same, with its name as that of a WAV file.
    ///
    /// # Errors
    /// 400 for what makes no sense.
    fn checked(mut self) -> ApiResult<Self> {
        if let Some(count) = &self.count_in {
            let fault = match count {
                Count { bars, .. } if !(1..=16).contains(bars) => "1 to 16 bars",
                Count { beats, .. } if !(1..=16).contains(beats) => "1 to 16 beats in a bar",
                Count { tempo_bpm, .. } if !TEMPOS_BPM.contains(tempo_bpm) => "20 to 400 bpm",
                _ => "",
            };
            if !fault.is_empty() {
                return Err(ApiError::bad(format!("a count-in has {fault}")));
            }
        }
        let name = self.name.take().unwrap_or_else(|| UNNAMED.into());
        self.name = Some(as_wav(&name)?);
        Ok(self)
    }
}

/// A name as it was typed, as that of a WAV file.
fn as_wav(name: &str) -> ApiResult<String> {
    let name = name.trim();
    let is_wav = Path::new(name)
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("wav"));
    if name.is_empty() {
        return Err(ApiError::bad("give the recording a name"));
    }
    let name = match is_wav {
        true => name.to_owned(),
        false => format!("{name}.wav"),
    };
    admitted(&name)?;
    Ok(name)
}

fn nothing_to(what: &str) -> ApiError {
    ApiError::new(
        StatusCode::CONFLICT,
        format!("there is no recording to {what}: another page may have done it"),
    )
}

pub(super) async fn devices(State(book): Room) -> ApiResult<Response> {
    json(move || book.common.microphone.devices()).await
}

/// How things stand.
pub(super) async fn now(State(book): Room) -> ApiResult<Response> {
    json(move || Ok(book.recorder.told())).await
}

pub(super) async fn start(State(book): Room, body: Posted) -> ApiResult<Response> {
    let wish = read_body::<Wish>(body)?.checked()?;
    json(move || {
        // one program hears a microphone at a time
        book.common.microphone.stop();
        book.recorder.start(wish)
    })
    .await
}

#[derive(Default, serde::Deserialize)]
#[serde(default, deny_unknown_fields)]
struct Nothing {}

pub(super) async fn mark(State(book): Room, body: Posted) -> ApiResult<Response> {
    let Nothing {} = read_body(body)?;
    json(move || book.recorder.mark()).await
}

pub(super) async fn stop(State(book): Room, body: Posted) -> ApiResult<Response> {
    let Nothing {} = read_body(body)?;
    json(move || {
        book.recorder.stop();
        Ok(book.recorder.told())
    })
    .await
}

/// What becomes of the recording.
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct Named {
    name: String,
    /// Whether it becomes a song at once.
    #[serde(default)]
    analyse: bool,
}

pub(super) async fn keep(State(book): Room, body: Posted) -> ApiResult<Response> {
    let Named { name, analyse } = read_body(body)?;
    json(move || {
        let name = as_wav(&name)?;
        let folder = book.listing.folder();
        let recorded = book.recorder.recorded().ok_or_else(|| nothing_to("name"))?;
        let path = renamed(folder, &recorded, &name)?;
        book.recorder.forget(&recorded);
        book.wanted.notify_one();
        let file = path.file_name().unwrap_or_default().to_string_lossy();
        match analyse {
            true => book.queue.add(&file, DecisionRequest::default()),
            false => Ok(json!({"file": file})),
        }
    })
    .await
}

/// Gives a recording its name, or with a number after it if that is taken.
fn renamed(folder: &Path, from: &str, to: &str) -> ApiResult<PathBuf> {
    let from_path = folder.join(from);
    if from == to {
        return Ok(from_path);
    }
    for path in names(folder, to) {
        if path == from_path {
            return Ok(path);
        }
        let own = tempfile::TempPath::try_from_path(&from_path).map_err(unwritable)?;
        let Err(error) = own.persist_noclobber(&path) else {
            return Ok(path);
        };
        // it must not be removed when it is dropped
        let _ = error.path.keep();
        match error.error.kind() {
            ErrorKind::AlreadyExists => {}
            ErrorKind::NotFound => {
                let words = format!("'{from}' is not in the folder any more");
                return Err(ApiError::new(StatusCode::CONFLICT, words));
            }
            _ => {
                let words = format!(
                    "it cannot be named so: {}; it is still there as '{from}'",
                    error.error
                );
                return Err(ApiError::new(StatusCode::INTERNAL_SERVER_ERROR, words));
            }
        }
    }
    Err(ApiError::new(
        StatusCode::CONFLICT,
        format!("every name like '{to}' is used in this folder; give it another"),
    ))
}

/// Removes the recording that was just made, and no other file.
pub(super) async fn discard(State(book): Room, body: Posted) -> ApiResult<Response> {
    #[derive(serde::Deserialize)]
    #[serde(deny_unknown_fields)]
    struct OfFile {
        file: String,
    }
    let OfFile { file } = read_body(body)?;
    json(move || {
        let recorded = book.recorder.recorded().filter(|own| *own == file);
        let recorded = recorded.ok_or_else(|| nothing_to("throw away"))?;
        let path = book.listing.folder().join(&recorded);
        match std::fs::remove_file(&path) {
            Err(error) if error.kind() != ErrorKind::NotFound => {
                let words = format!("'{recorded}' cannot be removed: {error}");
                return Err(ApiError::new(StatusCode::INTERNAL_SERVER_ERROR, words));
            }
            _ => {}
        }
        journal::forget_file(book.listing.folder(), &recorded);
        book.recorder.forget(&recorded);
        book.wanted.notify_one();
        Ok(json!({"file": recorded}))
    })
    .await
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_becomes_that_of_a_wav_file_in_the_folder() {
        let check = |name: &str, expected: Option<&str>| {
            assert_eq!(as_wav(name).ok().as_deref(), expected, "{name}");
        };
        check(" Ferry lights ", Some("Ferry lights.wav"));
        check("Ferry.WAV", Some("Ferry.WAV"));
        check("no. 3", Some("no. 3.wav"));
        for bad in ["", "  ", "../a", "a/b", ".hidden", "a\nb"] {
            check(bad, None);
        }
    }

    #[test]
    fn naming_replaces_no_file_and_loses_none() {
        let dir = tempfile::tempdir().expect("a folder");
        let folder = dir.path();
        let write = |name: &str| std::fs::write(folder.join(name), name).expect("written");
        write("Recording.wav");
        write("a.wav");
        let path = renamed(folder, "Recording.wav", "a.wav").expect("named");
        assert_eq!(path, folder.join("a 2.wav"));
        let read = |name: &str| std::fs::read_to_string(folder.join(name)).ok();
        assert_eq!(read("a.wav").as_deref(), Some("a.wav"));
        assert_eq!(read("a 2.wav").as_deref(), Some("Recording.wav"));
        assert!(renamed(folder, "Recording.wav", "b.wav").is_err());
        assert_eq!(
            renamed(folder, "a.wav", "a.wav").ok(),
            Some(folder.join("a.wav"))
        );
        // with a name that cannot be, it stays
        assert!(renamed(folder, "a.wav", "no/folder.wav").is_err());
        assert!(folder.join("a.wav").exists());
    }
}
