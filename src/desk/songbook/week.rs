//! `GET /api/week`: every student's versions of all songs as one archive.

use super::Songbook;
use crate::chart::Options;
use crate::desk::chart::{Flag, disposition};
use crate::desk::error::{ApiError, ApiResult, off_thread};
use crate::desk::take::body;
use crate::handout::week_as_zip;
use crate::songlog::song::{ChartVersion, Song};
use crate::songlog::{resolve, store};
use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use std::fs::File;
use std::path::PathBuf;
use std::sync::Arc;

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wanted {
    /// With pages to practise with.
    #[serde(default)]
    with_sound: Flag,
}

pub(super) async fn week(
    State(book): State<Arc<Songbook>>,
    wanted: Result<Query<Wanted>, QueryRejection>,
) -> ApiResult<Response> {
    let Query(wanted) = wanted.map_err(|e| ApiError::bad(e.body_text()))?;
    let Ok(_turn) = book.common.rendering.acquire().await else {
        return Err(ApiError::bad("the desk is closing"));
    };
    let own = Arc::clone(&book);
    let (file, length) = off_thread(move || made(&own, wanted.with_sound.is_on())).await?;
    let title = format!("{} week", book.listing.name());
    let headers = [
        (header::CONTENT_TYPE, "application/zip".to_owned()),
        (header::CONTENT_LENGTH, length.to_string()),
        (
            header::CONTENT_DISPOSITION,
            disposition("attachment", &title, "zip"),
        ),
        (header::CACHE_CONTROL, "no-store".into()),
    ];
    Ok((headers, body(Arc::new(file), 0, length)).into_response())
}

/// The archive in a file without a name, and its length, bytes.
fn made(book: &Songbook, with_sound: bool) -> ApiResult<(File, u64)> {
    let failed = |error: std::io::Error| {
        let words = format!("the files of the week cannot be written: {error}");
        ApiError::new(StatusCode::INTERNAL_SERVER_ERROR, words)
    };
    let song = |name: String| -> ApiResult<(PathBuf, Song)> {
        let path = super::routes::path_of(book, &name)?;
        let song = resolve(&store::load(&path)?);
        Ok((path, song))
    };
    let mut songs = Vec::new();
    for name in book.listing.readable() {
        let (path, song) = song(name)?;
        if song.versions.iter().any(|v| v.student.is_some()) {
            songs.push((path, song));
        }
    }
    let options = |version: &ChartVersion| Options::from(&version.settings);
    let file = tempfile::tempfile().map_err(failed)?;
    let (_, file) = week_as_zip(&songs, &options, with_sound, file)?;
    let length = file.metadata().map_err(failed)?.len();
    Ok((file, length))
}
