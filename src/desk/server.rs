//! The server: what is shared, the table of requests, opening and serving.

use super::analysis::Analyses;
use super::book::Book;
use super::check::Checks;
use super::error::{ApiError, ApiResult, json_response, off_thread};
use super::events::{News, watch};
use super::gate::{Gate, Verdict};
use super::live::Microphone;
use super::take::Sounds;
use super::{
    DeskError, analysis, assets, chart, check, complete, decide, events, evidence, headers,
    history, live, pluck, port, song, take, visitors,
};
use axum::Router;
use axum::body::{Bytes, to_bytes};
use axum::extract::rejection::BytesRejection;
use axum::extract::{DefaultBodyLimit, Path, Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use std::path::PathBuf;
use std::sync::Arc;
use tokio::sync::broadcast;

/// The longest body that is read, bytes: a decision is a few hundred.
const LONGEST_BODY: usize = 64 * 1024;
/// News that a page may lag behind before it is told only the latest.
const N_NEWS: usize = 64;
/// Chords that are plucked at a time; more wait their turn.
const N_RENDERED: usize = 2;

/// What every request can reach.
pub(super) struct Shared {
    pub(super) book: Book,
    pub(super) sounds: Sounds,
    pub(super) news: broadcast::Sender<News>,
    pub(super) microphone: Microphone,
    pub(super) analyses: Analyses,
    pub(super) checks: Checks,
    /// Sounds being rendered at a time.
    pub(super) rendering: tokio::sync::Semaphore,
    gate: Gate,
    on_link: Box<dyn Fn(&str) + Send + Sync>,
}

pub(super) type Room = State<Arc<Shared>>;

/// A desk whose port is open, ready to serve.
pub struct Desk {
    pub(super) runtime: tokio::runtime::Runtime,
    listener: tokio::net::TcpListener,
    ending: Ending,
    pub(super) shared: Arc<Shared>,
}

impl Desk {
    /// Opens the desk for one log, on this port of 127.0.0.1 (any free one for 0), or on the
    /// port that is this log's own each time.
    ///
    /// `on_link` is told the next link whenever one was used up.
    ///
    /// # Errors
    /// * [`DeskError::Log`] if the log cannot be read.
    /// * [`DeskError::Port`] if the port cannot be had.
    /// * [`DeskError::Key`], [`DeskError::Serve`] if the system refuses.
    pub fn open(
        log: PathBuf,
        port: Option<u16>,
        on_link: Box<dyn Fn(&str) + Send + Sync>,
    ) -> Result<Self, DeskError> {
        let book = Book::new(log);
        let snapshot = book.read().map_err(DeskError::Log)?;
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(2)
            .enable_all()
            .build()
            .map_err(DeskError::Serve)?;
        let listener = runtime
            .block_on(port::listen(book.path(), port))
            .map_err(|source| DeskError::Port {
                port: port.unwrap_or(0),
                source,
            })?;
        let port = listener.local_addr().map_err(DeskError::Serve)?.port();
        let sounds = Sounds::default();
        // the wave is ready by the time the page asks; a missing take is told later
        if let Ok(sound) = sounds.of(book.path(), &snapshot.log) {
            sound.peaks();
        }
        let news = broadcast::channel(N_NEWS).0;
        let shared = Arc::new(Shared {
            microphone: Microphone::default(),
            analyses: Analyses::default(),
            checks: Checks::default(),
            book,
            sounds,
            news,
            rendering: tokio::sync::Semaphore::new(N_RENDERED),
            gate: Gate::new(port)?,
            on_link,
        });
        // watched before anyone can know that the desk is open
        let ending = {
            let _inside = runtime.enter();
            Ending::watch().map_err(DeskError::Serve)?
        };
        Ok(Self {
            runtime,
            listener,
            ending,
            shared,
        })
    }

    /// The link that opens the page, good once.
    pub fn link(&self) -> String {
        self.shared.gate.link()
    }

    /// Serves until the program is told to end (Ctrl-C).
    ///
    /// # Errors
    /// * [`DeskError::Serve`] if the server breaks down.
    pub fn serve(self) -> Result<(), DeskError> {
        let Self {
            runtime,
            listener,
            ending,
            shared,
        } = self;
        let app = router(Arc::clone(&shared));
        runtime.block_on(async {
            tokio::spawn(watch(Arc::clone(&shared)));
            tokio::select! {
                () = visitors::serve(listener, app) => {}
                () = ending.told() => {}
            }
        });
        shared.microphone.stop();
        shared.analyses.cancel(&shared);
        // what is being saved is saved; nothing else needs an end
        runtime.shutdown_timeout(std::time::Duration::from_secs(2));
        Ok(())
    }
}

/// The signals that end the desk.
struct Ending {
    #[cfg(unix)]
    signals: [tokio::signal::unix::Signal; 2],
}

impl Ending {
    #[cfg(unix)]
    fn watch() -> std::io::Result<Self> {
        use tokio::signal::unix::{SignalKind, signal};
        let signals = [
            signal(SignalKind::interrupt())?,
            signal(SignalKind::terminate())?,
        ];
        Ok(Self { signals })
    }

    #[cfg(unix)]
    async fn told(self) {
        let [mut interrupt, mut terminate] = self.signals;
        tokio::select! {
            _ = interrupt.recv() => {}
            _ = terminate.recv() => {}
        }
    }

    #[cfg(not(unix))]
    fn watch() -> std::io::Result<Self> {
        Ok(Self {})
    }

    #[cfg(not(unix))]
    async fn told(self) {
        let _ = tokio::signal::ctrl_c().await;
    }
}

/// Every request the desk answers.
pub(super) fn router(shared: Arc<Shared>) -> Router {
    Router::new()
        .route("/", get(page))
        .route("/desk/{name}", get(page_file))
        .route("/api/song", get(song::song))
        .route("/api/bar/{number}", get(song::bar))
        .route("/api/evidence", get(evidence::evidence))
        .route("/api/take", get(take::take))
        .route("/api/plucked", get(pluck::plucked))
        .route("/api/complete", get(complete::complete))
        .route("/api/chart", get(chart::chart))
        .route("/api/events", get(events::events))
        .route("/api/decisions", get(history::decisions))
        .route("/api/analyse", post(analysis::start))
        .route("/api/analyse/cancel", post(analysis::cancel))
        .route("/api/recordings", get(check::recordings))
        .route("/api/recording", get(check::recording))
        .route("/api/check", post(check::check))
        .route("/api/decide", post(decide::decide))
        .route("/api/undo", post(decide::undo))
        .route("/api/redo", post(decide::redo))
        .route("/api/live/devices", get(live::devices))
        .route("/api/live/start", post(live::start))
        .route("/api/live/stop", post(live::stop))
        .route("/api/live/keep", post(live::keep))
        .route("/api/live/take", post(live::take))
        .fallback(nothing_there)
        .layer(DefaultBodyLimit::max(LONGEST_BODY))
        .layer(from_fn_with_state(Arc::clone(&shared), guard))
        .with_state(shared)
}

async fn page(method: Method, headers: HeaderMap) -> Response {
    assets::serve(None, &method, &headers)
}

async fn page_file(Path(name): Path<String>, method: Method, headers: HeaderMap) -> Response {
    assets::serve(Some(&name), &method, &headers)
}

async fn nothing_there() -> ApiError {
    ApiError::new(
        StatusCode::NOT_FOUND,
        "the desk has nothing at this address",
    )
}

/// Lets in what may come in, and gives every answer its headers.
async fn guard(State(shared): Room, request: Request, next: Next) -> Response {
    let is_api = request.uri().path().starts_with("/api/");
    let is_chart = request.uri().path() == "/api/chart";
    let mut response = match shared
        .gate
        .judge(request.method(), request.uri(), request.headers())
    {
        Verdict::Pass => {
            let_in(&request);
            match acceptable(&request) {
                Ok(()) => in_words(next.run(request).await, is_api).await,
                Err(error) => error.into_response(),
            }
        }
        Verdict::Welcome {
            cookie,
            next_link,
            from_elsewhere: true,
        } => {
            (shared.on_link)(&next_link);
            // a strict cookie does not come along on a redirection that began
            // elsewhere: the page itself goes on
            let about = [
                (header::SET_COOKIE, cookie),
                (header::CONTENT_TYPE, "text/html; charset=utf-8".to_owned()),
            ];
            (about, GO_ON).into_response()
        }
        Verdict::Welcome {
            cookie, next_link, ..
        } => {
            (shared.on_link)(&next_link);
            let to_page = [
                (header::LOCATION, "/".to_owned()),
                (header::SET_COOKIE, cookie),
            ];
            (StatusCode::SEE_OTHER, to_page).into_response()
        }
        Verdict::ToPage => (StatusCode::SEE_OTHER, [(header::LOCATION, "/")]).into_response(),
        Verdict::Malformed(why) => refused(StatusCode::BAD_REQUEST, why, is_api),
        Verdict::Refused(why) => refused(StatusCode::FORBIDDEN, why, is_api),
    };
    headers::secure(response.headers_mut(), is_chart);
    response
}

/// A page that leads on to the desk.
const GO_ON: &str = "<!doctype html><html lang=\"en\"><meta charset=\"utf-8\"><meta http-equiv=\"refresh\" content=\"0;url=/\"><title>takebook</title><p><a href=\"/\">Open the desk</a></p></html>\n";

/// Whoever shows the cookie keeps the connection.
fn let_in(request: &Request) {
    if let Some(visitor) = request.extensions().get::<Arc<visitors::Visitor>>() {
        visitor.is_let_in();
    }
}

/// What the router refuses by itself is an error in words as any other: a method that an
/// address does not take (the router adds which it does take), a query that cannot be read.
async fn in_words(response: Response, is_api: bool) -> Response {
    let status = response.status();
    if status == StatusCode::METHOD_NOT_ALLOWED {
        let text = "the desk does not take this method at this address";
        return ApiError::new(status, text).into_response();
    }
    let kind = response.headers().get(header::CONTENT_TYPE);
    let is_plain = kind.is_some_and(|k| k.as_bytes().starts_with(b"text/plain"));
    if !(is_api && is_plain && status == StatusCode::BAD_REQUEST) {
        return response;
    }
    match to_bytes(response.into_body(), LONGEST_BODY).await {
        Ok(text) => ApiError::bad(String::from_utf8_lossy(&text)).into_response(),
        Err(_) => ApiError::bad("the request makes no sense").into_response(),
    }
}

fn refused(status: StatusCode, why: &'static str, is_api: bool) -> Response {
    let mut response = if is_api {
        ApiError::new(status, why).into_response()
    } else {
        (status, format!("{why}\n")).into_response()
    };
    // whatever body was on its way is not read
    response
        .headers_mut()
        .insert(header::CONNECTION, HeaderValue::from_static("close"));
    response
}

/// Refuses, before anything of it is read, a body that is too long or not JSON.
fn acceptable(request: &Request) -> ApiResult<()> {
    if request.method() != Method::POST {
        return Ok(());
    }
    let headers = request.headers();
    let length = headers
        .get(header::CONTENT_LENGTH)
        .and_then(|v| v.to_str().ok())
        .and_then(|v| v.parse::<u64>().ok());
    if length.is_some_and(|n| n > LONGEST_BODY as u64) {
        return Err(too_long());
    }
    let kind = headers
        .get(header::CONTENT_TYPE)
        .and_then(|v| v.to_str().ok())
        .unwrap_or("");
    let kind = kind.split(';').next().unwrap_or("").trim();
    if !kind.eq_ignore_ascii_case("application/json") {
        return Err(ApiError::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "a request that changes something must be application/json",
        ));
    }
    Ok(())
}

fn too_long() -> ApiError {
    ApiError::new(
        StatusCode::PAYLOAD_TOO_LARGE,
        format!("a request may have {LONGEST_BODY} bytes at most"),
    )
}

/// A body as one of our records; an empty one is `{}`.
pub(super) fn read_body<T: serde::de::DeserializeOwned>(
    body: Result<Bytes, BytesRejection>,
) -> ApiResult<T> {
    let bytes = body.map_err(|rejection| {
        if rejection.status() == StatusCode::PAYLOAD_TOO_LARGE {
            too_long()
        } else {
            ApiError::bad("the request breaks off before its end")
        }
    })?;
    let text: &[u8] = if bytes.is_empty() { b"{}" } else { &bytes };
    // a list would be read as the fields in their order
    if text.trim_ascii_start().first() != Some(&b'{') {
        return Err(ApiError::bad(
            "the request makes no sense: a JSON object was expected",
        ));
    }
    let mut reader = serde_json::Deserializer::from_slice(text);
    let value = serde_path_to_error::deserialize(&mut reader)
        .map_err(|e| ApiError::bad(wrong_field(&e)).with("at", e.path().to_string().into()))?;
    reader
        .end()
        .map_err(|e| ApiError::bad(format!("the request makes no sense: {e}")))?;
    Ok(value)
}

/// What is wrong with a field, by its own name and as people say it: where it stands in the
/// JSON is told apart.
fn wrong_field(error: &serde_path_to_error::Error<serde_json::Error>) -> String {
    use serde_path_to_error::Segment;
    let text = error.inner().to_string();
    let reason = text.split(" at line ").next().unwrap_or(&text);
    let name = error.path().iter().rev().find_map(|segment| match segment {
        Segment::Map { key } => Some(key.replace('_', " ")),
        _ => None,
    });
    match name {
        Some(name) => format!("{name}: {reason}"),
        None => format!("the request makes no sense: {reason}"),
    }
}

/// JSON computed off the answering threads.
pub(super) async fn json(
    work: impl FnOnce() -> ApiResult<serde_json::Value> + Send + 'static,
) -> ApiResult<Response> {
    let value = off_thread(work).await?;
    Ok(json_response(StatusCode::OK, &value))
}
