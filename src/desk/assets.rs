//! The page: every file of `src/desk/page`, embedded.

use super::conditional::{Part, part};
use super::error::ApiError;
use axum::body::Body;
use axum::http::{HeaderMap, Method, StatusCode, header};
use axum::response::{IntoResponse, Response};
use std::hash::{DefaultHasher, Hash, Hasher};

macro_rules! page {
    ($($name:literal $kind:literal)*) => {
        [$(($name, $kind, include_bytes!(concat!("page/", $name)).as_slice())),*]
    };
}

const HTML: &str = "text/html; charset=utf-8";

/// Name, content type, content. Every file of the folder has a row (a test counts them).
pub(super) static PAGE: &[(&str, &str, &[u8])] = &page! {
    "index.html" "text/html; charset=utf-8"
    "card.css" "text/css; charset=utf-8"
    "desk.css" "text/css; charset=utf-8"
    "sheet.css" "text/css; charset=utf-8"
    "songs.html" "text/html; charset=utf-8"
    "songs.css" "text/css; charset=utf-8"
    "icon.svg" "image/svg+xml"
    "analysis.js" "text/javascript; charset=utf-8"
    "api.js" "text/javascript; charset=utf-8"
    "box.js" "text/javascript; charset=utf-8"
    "card.js" "text/javascript; charset=utf-8"
    "card_decisions.js" "text/javascript; charset=utf-8"
    "chart.js" "text/javascript; charset=utf-8"
    "check.js" "text/javascript; charset=utf-8"
    "clicks.js" "text/javascript; charset=utf-8"
    "decide.js" "text/javascript; charset=utf-8"
    "deliver.js" "text/javascript; charset=utf-8"
    "deliver_versions.js" "text/javascript; charset=utf-8"
    "desk.js" "text/javascript; charset=utf-8"
    "dom.js" "text/javascript; charset=utf-8"
    "edits.js" "text/javascript; charset=utf-8"
    "evidence.js" "text/javascript; charset=utf-8"
    "evidence_place.js" "text/javascript; charset=utf-8"
    "evidence_changes.js" "text/javascript; charset=utf-8"
    "evidence_drawing.js" "text/javascript; charset=utf-8"
    "keys.js" "text/javascript; charset=utf-8"
    "lessons.js" "text/javascript; charset=utf-8"
    "light.js" "text/javascript; charset=utf-8"
    "history.js" "text/javascript; charset=utf-8"
    "listening.js" "text/javascript; charset=utf-8"
    "overview.js" "text/javascript; charset=utf-8"
    "bulk.js" "text/javascript; charset=utf-8"
    "dock.js" "text/javascript; charset=utf-8"
    "lines.js" "text/javascript; charset=utf-8"
    "link.js" "text/javascript; charset=utf-8"
    "live.js" "text/javascript; charset=utf-8"
    "microphone.js" "text/javascript; charset=utf-8"
    "music.js" "text/javascript; charset=utf-8"
    "player.js" "text/javascript; charset=utf-8"
    "say.js" "text/javascript; charset=utf-8"
    "song_facts.js" "text/javascript; charset=utf-8"
    "songs.js" "text/javascript; charset=utf-8"
    "songs_add.js" "text/javascript; charset=utf-8"
    "songs_back.js" "text/javascript; charset=utf-8"
    "songs_bar.js" "text/javascript; charset=utf-8"
    "songs_groups.js" "text/javascript; charset=utf-8"
    "songs_record.js" "text/javascript; charset=utf-8"
    "songs_set.js" "text/javascript; charset=utf-8"
    "songs_students.js" "text/javascript; charset=utf-8"
    "state.js" "text/javascript; charset=utf-8"
    "strings.js" "text/javascript; charset=utf-8"
    "taps.js" "text/javascript; charset=utf-8"
    "transport.js" "text/javascript; charset=utf-8"
    "typing.js" "text/javascript; charset=utf-8"
};

/// The page itself (`None`) or one of its files.
pub(super) fn serve(name: Option<&str>, method: &Method, headers: &HeaderMap) -> Response {
    let name = name.unwrap_or("index.html");
    let Some((_, kind, content)) = PAGE.iter().find(|(n, ..)| *n == name) else {
        return ApiError::new(StatusCode::NOT_FOUND, "the page has no such file").into_response();
    };
    let mut hasher = DefaultHasher::new();
    content.hash(&mut hasher);
    let tag = format!("\"{:016x}\"", hasher.finish());
    let common = [
        (header::ETAG, tag.clone()),
        // asked for again each time, sent only when another build is running
        (header::CACHE_CONTROL, "private, no-cache".into()),
    ];
    match part(method, headers, &tag, content.len() as u64) {
        Part::NotModified => (StatusCode::NOT_MODIFIED, common).into_response(),
        Part::Failed => (StatusCode::PRECONDITION_FAILED, common).into_response(),
        _ => {
            let body = Body::from(*content);
            (common, [(header::CONTENT_TYPE, *kind)], body).into_response()
        }
    }
}

/// Whether a content type is a page.
pub(super) fn is_html(kind: &str) -> bool {
    kind == HTML
}
