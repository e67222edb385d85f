//! The requests about a folder, and the way on to those about one of its songs.

use super::Songbook;
use super::adding::{add, adding, draft, remove};
use super::recording;
use super::set_list::set_list;
use super::week::week;
use crate::desk::assets;
use crate::desk::door::LONGEST_BODY;
use crate::desk::error::{ApiError, ApiResult};
use crate::desk::server::{json, nothing_there, page_file};
use axum::Router;
use axum::extract::rejection::QueryRejection;
use axum::extract::{DefaultBodyLimit, Path, Query, Request, State};
use axum::http::uri::{PathAndQuery, Uri};
use axum::http::{HeaderMap, Method, StatusCode, header};
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use axum::routing::{any, get, post};
use futures_util::stream::{self, Stream, StreamExt};
use hyper::service::Service;
use hyper_util::service::TowerToHyperService;
use std::convert::Infallible;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::broadcast::error::RecvError;

const ALIVE_EVERY: Duration = Duration::from_secs(10);

type Room = State<Arc<Songbook>>;

/// Every request about a folder.
pub(in crate::desk) fn router(book: Arc<Songbook>) -> Router {
    Router::new()
        .route("/", get(page))
        .route("/desk/{name}", get(page_file))
        .route("/api/songs", get(songs))
        .route("/api/events", get(events))
        .route("/api/set", get(set_list))
        .route("/api/week", get(week))
        .route("/api/add", post(add))
        .route("/api/adding", get(adding))
        .route("/api/adding/remove", post(remove))
        .route("/api/draft", post(draft))
        .route("/api/live/devices", get(recording::devices))
        .route("/api/record", get(recording::now))
        .route("/api/record/start", post(recording::start))
        .route("/api/record/mark", post(recording::mark))
        .route("/api/record/stop", post(recording::stop))
        .route("/api/record/keep", post(recording::keep))
        .route("/api/record/discard", post(recording::discard))
        .route("/song/{name}", get(to_song))
        .route("/song/{name}/", any(song))
        .route("/song/{name}/{*rest}", any(song))
        .fallback(nothing_there)
        .layer(DefaultBodyLimit::max(LONGEST_BODY))
        .with_state(book)
}

async fn page(method: Method, headers: HeaderMap) -> Response {
    assets::serve(Some("songs.html"), &method, &headers)
}

/// What a page of the list knows already.
#[derive(Default, serde::Deserialize)]
#[serde(default, deny_unknown_fields)]
struct Knows {
    /// Its revision.
    since: u64,
}

async fn songs(
    State(book): Room,
    knows: Result<Query<Knows>, QueryRejection>,
) -> ApiResult<Response> {
    let Query(Knows { since }) = knows.map_err(|e| ApiError::bad(e.body_text()))?;
    json(move || Ok(book.listing.since(since))).await
}

async fn events(State(book): Room) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let receiver = book.news.subscribe();
    book.wanted.notify_one();
    // first how things stand, so that a page that comes back sees what it missed
    let first = stream::iter([book.news(), book.news_of_adding(), book.news_of_recording()]);
    let rest = stream::unfold((receiver, book), |(mut receiver, book)| async move {
        let news = match receiver.recv().await {
            Ok(news) => news,
            Err(RecvError::Lagged(_)) => {
                // what was missed of the rest comes after what was missed of the songs
                receiver = receiver.resubscribe();
                let _ = book.news.send(book.news_of_adding());
                let _ = book.news.send(book.news_of_recording());
                book.news()
            }
            Err(RecvError::Closed) => return None,
        };
        Some((news, (receiver, book)))
    });
    Sse::new(first.chain(rest).map(|news| Ok(news.event())))
        .keep_alive(KeepAlive::new().interval(ALIVE_EVERY))
}

/// Where a listed song lies.
///
/// # Errors
/// 404 if there is none, 403 if it may not be opened, in words.
pub(super) fn path_of(book: &Songbook, name: &str) -> ApiResult<PathBuf> {
    book.listing.find(name).map_err(|why| match why {
        Some(why) => ApiError::new(StatusCode::FORBIDDEN, format!("'{name}': {why}")),
        None => ApiError::new(
            StatusCode::NOT_FOUND,
            format!("there is no song '{name}' in this folder"),
        ),
    })
}

/// The page of a song has a folder's address, so that its own requests lie below it.
async fn to_song(uri: Uri) -> Response {
    let to = format!("{}/", uri.path());
    (StatusCode::SEE_OTHER, [(header::LOCATION, to)]).into_response()
}

/// Hands a request on to the song that it names, as if that were alone.
async fn song(
    State(book): Room,
    Path(names): Path<Vec<(String, String)>>,
    request: Request,
) -> ApiResult<Response> {
    let name = names.into_iter().next().map(|(_, name)| name);
    let name = name.unwrap_or_default();
    let own = Arc::clone(&book);
    let wanted = name.clone();
    let path = crate::desk::error::off_thread(move || path_of(&own, &wanted)).await?;
    let app = book.shelf.app(&name, &path);
    let (mut parts, body) = request.into_parts();
    parts.uri = below_song(&parts.uri)
        .ok_or_else(|| ApiError::bad("the address of this request makes no sense"))?;
    // what the router noted about the outer address
    parts.extensions.clear();
    let inner = Request::from_parts(parts, body);
    match TowerToHyperService::new(app).call(inner).await {
        Ok(response) => Ok(response),
        Err(never) => match never {},
    }
}

/// `/api/bar/3?x=y` of `/song/NAME/api/bar/3?x=y`.
fn below_song(uri: &Uri) -> Option<Uri> {
    let whole = uri.path_and_query()?.as_str();
    let (at, _) = whole.match_indices('/').nth(2)?;
    whole[at..].parse::<PathAndQuery>().ok().map(Uri::from)
}

#[cfg(test)]
mod tests {
    use super::below_song;

    #[test]
    fn the_address_of_a_request_loses_its_song() {
        let check = |from: &str, to: Option<&str>| {
            let uri = from.parse().expect("an address");
            assert_eq!(below_song(&uri).map(|u| u.to_string()).as_deref(), to);
        };
        check("/song/a.takebook/", Some("/"));
        check("/song/a%2Fb/api/bar/3?x=%2F", Some("/api/bar/3?x=%2F"));
        check("/song/a", None);
    }
}
