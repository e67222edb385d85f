//! `GET /api/chart`: the song in every format of `takebook chart`.

use super::assets::is_html;
use super::error::{ApiError, ApiResult, off_thread};
use super::server::Room;
use crate::chart::{ChartError, Format, LessonNotes, Options, Page, write};
use crate::fretboard::Tuning;
use crate::handout::{HandoutError, practice_page};
use crate::theory::Key;
use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use std::fmt::Display;
use std::str::FromStr;
use std::sync::Arc;

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wanted {
    format: String,
    paper: Option<String>,
    key: Option<String>,
    capo: Option<u8>,
    tuning: Option<String>,
    offset_s: Option<f64>,
    #[serde(default)]
    degrees: Flag,
    #[serde(default)]
    degrees_under: Flag,
    #[serde(default)]
    easy: Flag,
    #[serde(default)]
    save_ink: Flag,
    #[serde(default)]
    left_handed: Flag,
    #[serde(default)]
    large: Flag,
    #[serde(default)]
    compact: Flag,
    #[serde(default)]
    landscape: Flag,
    #[serde(default)]
    concert: Flag,
    #[serde(default)]
    written_out: Flag,
    #[serde(default)]
    short: Flag,
    #[serde(default)]
    alternatives: Flag,
    #[serde(default)]
    steady: Flag,
    /// Notes of lessons too: all, or those of `student`.
    #[serde(default)]
    lesson_notes: Flag,
    student: Option<String>,
    #[serde(default)]
    inline: Flag,
}

/// `1` or `true`, as a form sends it.
#[derive(Clone, Copy, Default, serde::Deserialize)]
pub(super) enum Flag {
    #[default]
    #[serde(rename = "0", alias = "false", alias = "")]
    Off,
    #[serde(rename = "1", alias = "true", alias = "on")]
    On,
}

impl Flag {
    pub(super) fn is_on(self) -> bool {
        matches!(self, Self::On)
    }
}

impl Wanted {
    fn options(&self) -> ApiResult<Options> {
        let page = paper(self.paper.as_deref())?;
        let key = parsed::<Key>("key", self.key.as_deref())?;
        let tuning = parsed::<Tuning>("tuning", self.tuning.as_deref())?;
        let offset_s = self.offset_s.unwrap_or(0.0);
        if !offset_s.is_finite() {
            return Err(ApiError::bad("offset_s must be a number of seconds"));
        }
        let options = Options {
            page,
            key,
            capo: self.capo,
            tuning,
            degrees: self.degrees.is_on(),
            degrees_under: self.degrees_under.is_on(),
            easy: self.easy.is_on(),
            save_ink: self.save_ink.is_on(),
            left_handed: self.left_handed.is_on(),
            large: self.large.is_on(),
            compact: self.compact.is_on(),
            landscape: self.landscape.is_on(),
            concert: self.concert.is_on(),
            written_out: self.written_out.is_on(),
            short: self.short.is_on(),
            alternatives: self.alternatives.is_on(),
            steady: self.steady.is_on(),
            offset_s,
            lesson_notes: self
                .lesson_notes
                .is_on()
                .then(|| LessonNotes::of(self.student.as_deref())),
            ..Options::default()
        };
        options.check()?;
        Ok(options)
    }
}

/// A4 unless another paper is named.
pub(super) fn paper(name: Option<&str>) -> ApiResult<Page> {
    match name {
        None | Some("a4") => Ok(Page::A4),
        Some("letter") => Ok(Page::Letter),
        Some("a5") => Ok(Page::A5),
        Some(other) => Err(ApiError::bad(format!(
            "paper: '{other}' is unknown (expected a4, letter or a5)"
        ))),
    }
}

/// A field as a form sends it: empty is not given.
fn parsed<T: FromStr<Err: Display>>(name: &str, text: Option<&str>) -> ApiResult<Option<T>> {
    text.filter(|t| !t.is_empty())
        .map(str::parse)
        .transpose()
        .map_err(|e| ApiError::bad(format!("{name}: {e}")))
}

impl From<ChartError> for ApiError {
    fn from(error: ChartError) -> Self {
        Self::bad(error.to_string())
    }
}

pub(super) async fn chart(
    State(shared): Room,
    wanted: Result<Query<Wanted>, QueryRejection>,
) -> ApiResult<Response> {
    let Query(wanted) = wanted.map_err(|e| ApiError::bad(e.body_text()))?;
    let inline = wanted.inline.is_on();
    let (bytes, format, title) = off_thread(move || {
        let options = wanted.options()?;
        let format = Format::by_ending(&wanted.format)?;
        let snapshot = shared.book.read()?;
        if let Some(notes) = &options.lesson_notes {
            notes.check(&snapshot.song, format)?;
        }
        let bytes = write(&snapshot.song, format, &options)?;
        Ok((bytes, format, snapshot.song.title.clone()))
    })
    .await?;
    let (ending, kind) = (format.ending(), media_type(format));
    // shown in place only what runs nothing by its policy
    let shown =
        inline && (is_html(kind) || matches!(format, Format::Pdf | Format::Svg | Format::Txt));
    let way = if shown { "inline" } else { "attachment" };
    let headers = [
        (header::CONTENT_TYPE, kind.to_owned()),
        (
            header::CONTENT_DISPOSITION,
            disposition(way, &title, ending),
        ),
        (header::CACHE_CONTROL, "no-store".into()),
    ];
    Ok((headers, bytes).into_response())
}

/// `GET /api/practice`: the page to practise with, with the options of `/api/chart`.
pub(super) async fn practice(
    State(shared): Room,
    wanted: Result<Query<Wanted>, QueryRejection>,
) -> ApiResult<Response> {
    let Query(wanted) = wanted.map_err(|e| ApiError::bad(e.body_text()))?;
    let Ok(_turn) = shared.common.rendering.acquire().await else {
        return Err(ApiError::bad("the desk is closing"));
    };
    let own = Arc::clone(&shared);
    let (page, title) = off_thread(move || {
        let options = wanted.options()?;
        if Format::by_ending(&wanted.format)? != Format::Html {
            return Err(ApiError::bad("format: a page to practise with is html"));
        }
        let snapshot = own.book.read()?;
        if let Some(notes) = &options.lesson_notes {
            notes.check(&snapshot.song, Format::Html)?;
        }
        let page = practice_page(own.book.path(), &snapshot.song, &options)?;
        Ok((page, snapshot.song.title.clone()))
    })
    .await?;
    let name = format!("{title} - practice");
    let headers = [
        (header::CONTENT_TYPE, media_type(Format::Html).to_owned()),
        // it runs a script: it is saved, and not shown as a page of the desk
        (
            header::CONTENT_DISPOSITION,
            disposition("attachment", &name, "html"),
        ),
        (header::CACHE_CONTROL, "no-store".into()),
    ];
    Ok((headers, page).into_response())
}

impl From<HandoutError> for ApiError {
    fn from(error: HandoutError) -> Self {
        let status = match &error {
            HandoutError::Log(_) | HandoutError::Put(_) => StatusCode::INTERNAL_SERVER_ERROR,
            HandoutError::Sound(_) | HandoutError::NoRecording { .. } => StatusCode::NOT_FOUND,
            _ => StatusCode::CONFLICT,
        };
        Self::new(status, error.to_string())
    }
}

/// Media type.
///
/// # Source
/// The IANA registry of media types, `from memory`; `.lab` has none.
const fn media_type(format: Format) -> &'static str {
    match format {
        Format::Txt => "text/plain; charset=utf-8",
        Format::Html => "text/html; charset=utf-8",
        Format::Svg => "image/svg+xml",
        Format::Pdf => "application/pdf",
        Format::MusicXml => "application/vnd.recordare.musicxml+xml",
        Format::Mxl => "application/vnd.recordare.musicxml",
        Format::Midi => "audio/midi",
        Format::Vtt => "text/vtt; charset=utf-8",
        Format::Lab => "text/tab-separated-values; charset=utf-8",
        Format::Jams => "application/json",
        Format::Png => "image/png",
        Format::Json => "application/json",
    }
}

/// `Content-Disposition` with a name that every browser can read (RFC 6266, RFC 8187).
pub(super) fn disposition(way: &str, title: &str, ending: &str) -> String {
    let usable = |c: char| c.is_alphanumeric() || matches!(c, ' ' | '-' | '_' | '(' | ')');
    let name: String = title
        .chars()
        .map(|c| if usable(c) { c } else { '-' })
        .collect();
    let name = match name.trim_matches([' ', '-']) {
        "" => "chart",
        name => name,
    };
    let ascii: String = name
        .chars()
        .map(|c| if c.is_ascii() { c } else { '-' })
        .collect();
    let encoded: String = name
        .bytes()
        .map(|b| match b {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'_' => char::from(b).to_string(),
            other => format!("%{other:02X}"),
        })
        .collect();
    format!("{way}; filename=\"{ascii}.{ending}\"; filename*=UTF-8''{encoded}.{ending}")
}
