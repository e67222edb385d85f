//! `GET /api/set`: several songs as one PDF, in the order given.

use super::Songbook;
use crate::chart::{ChartError, Options, Page, binder, binder_of_versions};
use crate::desk::chart::{Flag, disposition, paper};
use crate::desk::error::{ApiError, ApiResult, off_thread};
use crate::songlog::versions::versions_for;
use crate::songlog::{resolve, song::Song, store};
use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use std::sync::Arc;

/// Songs of one set list.
const N_MOST: usize = 200;

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wanted {
    /// File names as a JSON list.
    songs: String,
    title: Option<String>,
    /// Whose versions are bound, or the name of versions, instead of the songs as they are.
    student: Option<String>,
    paper: Option<String>,
    #[serde(default)]
    two_sided: Flag,
    #[serde(default)]
    easy: Flag,
    #[serde(default)]
    left_handed: Flag,
    #[serde(default)]
    large: Flag,
    #[serde(default)]
    compact: Flag,
}

impl Wanted {
    fn names(&self) -> ApiResult<Vec<String>> {
        let names: Vec<String> = serde_json::from_str(&self.songs)
            .map_err(|_| ApiError::bad("songs: a JSON list of file names was expected"))?;
        match names.len() {
            0 => Err(ApiError::bad("songs: a set list needs a song")),
            n if n > N_MOST => Err(ApiError::bad(format!(
                "songs: a set list has {N_MOST} songs at most, not {n}"
            ))),
            _ => Ok(names),
        }
    }

    fn options(&self, page: Page) -> Options {
        Options {
            page,
            two_sided: self.two_sided.is_on(),
            easy: self.easy.is_on(),
            left_handed: self.left_handed.is_on(),
            large: self.large.is_on(),
            compact: self.compact.is_on(),
            ..Options::default()
        }
    }
}

pub(super) async fn set_list(
    State(book): State<Arc<Songbook>>,
    wanted: Result<Query<Wanted>, QueryRejection>,
) -> ApiResult<Response> {
    let Query(wanted) = wanted.map_err(|e| ApiError::bad(e.body_text()))?;
    let Ok(_turn) = book.common.rendering.acquire().await else {
        return Err(ApiError::bad("the desk is closing"));
    };
    let own = Arc::clone(&book);
    let (bytes, title) = off_thread(move || {
        let names = wanted.names()?;
        let options = wanted.options(paper(wanted.paper.as_deref())?);
        options.check()?;
        let songs: Vec<Song> = names
            .iter()
            .map(|name| song(&own, name))
            .collect::<ApiResult<_>>()?;
        let student = wanted.student.as_deref().map(str::trim);
        let student = student.filter(|s| !s.is_empty());
        let title = match wanted.title.as_deref().map(str::trim) {
            None | Some("") => own.listing.name(),
            Some(title) => title.to_owned(),
        };
        let bytes = match student {
            Some(student) => of_student(student, &title, &songs)?,
            None => binder(&title, &songs, &options, &|| {})
                .map_err(|(i, error)| refused(&songs[i], &error))?,
        };
        Ok((bytes, title))
    })
    .await?;
    let headers = [
        (header::CONTENT_TYPE, "application/pdf".to_owned()),
        (
            header::CONTENT_DISPOSITION,
            disposition("attachment", &title, "pdf"),
        ),
        (header::CACHE_CONTROL, "no-store".into()),
    ];
    Ok((headers, bytes).into_response())
}

/// The versions that are for a student or have this name, each as its settings say.
fn of_student(student: &str, title: &str, songs: &[Song]) -> ApiResult<Vec<u8>> {
    let versions = |song: &Song| -> Vec<(Song, Options)> {
        let found = versions_for(&song.versions, student).into_iter();
        found
            .map(|v| (song.clone(), Options::from(&v.settings)))
            .collect()
    };
    let each: Vec<(Song, Options)> = songs.iter().flat_map(versions).collect();
    if each.is_empty() {
        return Err(ApiError::new(
            StatusCode::CONFLICT,
            format!("none of these songs has a version for '{student}'"),
        ));
    }
    let common = Options::common(each.iter().map(|(_, options)| options));
    binder_of_versions(title, &each, &common, &|| {})
        .map_err(|(i, error)| refused(&each[i].0, &error))
}

fn refused(song: &Song, error: &ChartError) -> ApiError {
    ApiError::new(StatusCode::CONFLICT, format!("'{}': {error}", song.title))
}

fn song(book: &Songbook, name: &str) -> ApiResult<Song> {
    let path = super::routes::path_of(book, name)?;
    Ok(resolve(&store::load(&path)?))
}
