//! The server: what is shared, the table of requests, opening and serving.

use super::analysis::Analyses;
use super::book::Book;
use super::check::Checks;
use super::door::{Door, LONGEST_BODY, OnLink, guard, too_long};
use super::error::{ApiError, ApiResult, json_response, off_thread};
use super::events::{News, watch};
use super::live::Microphone;
use super::songbook::Songbook;
use super::take::Sounds;
use super::{
    DeskError, analysis, assets, chart, check, complete, decide, events, evidence, history, live,
    pluck, port, song, songbook, take, visitors,
};
use crate::deciding::DecisionRequest;
use axum::Router;
use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::extract::{DefaultBodyLimit, Path, State};
use axum::http::{HeaderMap, Method, StatusCode};
use axum::middleware::from_fn_with_state;
use axum::response::Response;
use axum::routing::{get, post};
use std::collections::BTreeSet;
use std::path::{Path as FilePath, PathBuf};
use std::sync::atomic::AtomicBool;
use std::sync::{Arc, Mutex};
use tokio::sync::broadcast;

/// News that a page may lag behind before it is told only the latest.
const N_NEWS: usize = 64;
/// Chords that are plucked at a time; more wait their turn.
const N_RENDERED: usize = 2;

/// What every request about one song can reach.
pub(super) struct Shared {
    pub(super) book: Book,
    pub(super) sounds: Sounds,
    pub(super) news: broadcast::Sender<News>,
    pub(super) analyses: Analyses,
    pub(super) checks: Checks,
    pub(super) common: Common,
}

/// What all songs of a desk have in common.
#[derive(Clone)]
pub(super) struct Common {
    pub(super) microphone: Arc<Microphone>,
    /// Sounds being rendered at a time.
    pub(super) rendering: Arc<tokio::sync::Semaphore>,
    /// Whether the microphone is in use for a take of the folder.
    pub(super) is_recording: Arc<AtomicBool>,
    /// Recordings that were held against a song.
    pub(super) checked: Arc<Mutex<BTreeSet<PathBuf>>>,
    /// Has a recording of the folder analysed when its turn comes; none for a desk of one song.
    pub(super) drafts: Option<Drafts>,
}

/// Queues a recording by its name in the folder, with what is known of its song; answers its
/// entry.
pub(super) type Drafts =
    Arc<dyn Fn(&str, DecisionRequest) -> ApiResult<serde_json::Value> + Send + Sync>;

impl Default for Common {
    fn default() -> Self {
        Self {
            microphone: Arc::default(),
            rendering: Arc::new(tokio::sync::Semaphore::new(N_RENDERED)),
            is_recording: Arc::default(),
            checked: Arc::default(),
            drafts: None,
        }
    }
}

impl Shared {
    pub(super) fn new(log: PathBuf, common: Common) -> Arc<Self> {
        Arc::new(Self {
            book: Book::new(log),
            sounds: Sounds::default(),
            news: broadcast::channel(N_NEWS).0,
            analyses: Analyses::default(),
            checks: Checks::default(),
            common,
        })
    }
}

pub(super) type Room = State<Arc<Shared>>;

/// A desk whose port is open, ready to serve.
pub struct Desk {
    pub(super) runtime: tokio::runtime::Runtime,
    listener: tokio::net::TcpListener,
    ending: Ending,
    door: Arc<Door>,
    serves: Serves,
}

/// One song, or those of a folder.
enum Serves {
    Song(Arc<Shared>),
    Folder(Arc<Songbook>),
}

impl Desk {
    /// Opens the desk for one log, or for all logs of a folder, on this port of 127.0.0.1 (any
    /// free one for 0), or on the port that is its own each time.
    ///
    /// `on_link` is told the next link whenever one was used up.
    ///
    /// # Errors
    /// * [`DeskError::Log`] if the log cannot be read.
    /// * [`DeskError::Folder`] if the folder cannot be listed.
    /// * [`DeskError::Port`] if the port cannot be had.
    /// * [`DeskError::Key`], [`DeskError::Serve`] if the system refuses.
    pub fn open(path: PathBuf, port: Option<u16>, on_link: OnLink) -> Result<Self, DeskError> {
        let serves = if path.is_dir() {
            Serves::Folder(Songbook::open(&path)?)
        } else {
            Serves::Song(open_song(&path)?)
        };
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(2)
            .enable_all()
            .build()
            .map_err(DeskError::Serve)?;
        let listener = runtime
            .block_on(port::listen(&path, port))
            .map_err(|source| DeskError::Port {
                port: port.unwrap_or(0),
                source,
            })?;
        let port = listener.local_addr().map_err(DeskError::Serve)?.port();
        let door = Arc::new(Door::new(port, on_link)?);
        // watched before anyone can know that the desk is open
        let ending = {
            let _inside = runtime.enter();
            Ending::watch().map_err(DeskError::Serve)?
        };
        Ok(Self {
            runtime,
            listener,
            ending,
            door,
            serves,
        })
    }

    /// The link that opens the page, good once.
    pub fn link(&self) -> String {
        self.door.link()
    }

    /// What answers every request.
    pub(super) fn app(&self) -> Router {
        let app = match &self.serves {
            Serves::Song(shared) => router(Arc::clone(shared)),
            Serves::Folder(book) => songbook::router(Arc::clone(book)),
        };
        app.layer(from_fn_with_state(Arc::clone(&self.door), guard))
    }

    /// Serves until the program is told to end (Ctrl-C).
    ///
    /// # Errors
    /// * [`DeskError::Serve`] if the server breaks down.
    pub fn serve(self) -> Result<(), DeskError> {
        let app = self.app();
        let Self {
            runtime,
            listener,
            ending,
            serves,
            ..
        } = self;
        runtime.block_on(async {
            match &serves {
                Serves::Song(shared) => {
                    tokio::spawn(watch(Arc::clone(shared)));
                }
                Serves::Folder(book) => songbook::watch(book),
            }
            tokio::select! {
                () = visitors::serve(listener, app) => {}
                () = ending.told() => {}
            }
        });
        match serves {
            Serves::Song(shared) => {
                shared.common.microphone.stop();
                shared.analyses.cancel(&shared);
            }
            Serves::Folder(book) => book.close(),
        }
        // what is being saved is saved; nothing else needs an end
        runtime.shutdown_timeout(std::time::Duration::from_secs(2));
        Ok(())
    }
}

/// A log that can be read, and the wave of its take being computed.
fn open_song(log: &FilePath) -> Result<Arc<Shared>, DeskError> {
    let shared = Shared::new(log.to_path_buf(), Common::default());
    let snapshot = shared.book.read().map_err(DeskError::Log)?;
    // the wave is ready by the time the page asks; a missing take is reported later
    if let Ok(sound) = shared.sounds.of(shared.book.path(), &snapshot.log) {
        sound.peaks();
    }
    Ok(shared)
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

/// Every request about one song; who may come in is the door's to say.
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
        .route("/api/practice", get(chart::practice))
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
        .with_state(shared)
}

async fn page(method: Method, headers: HeaderMap) -> Response {
    assets::serve(None, &method, &headers)
}

pub(super) async fn page_file(
    Path(name): Path<String>,
    method: Method,
    headers: HeaderMap,
) -> Response {
    assets::serve(Some(&name), &method, &headers)
}

pub(super) async fn nothing_there() -> ApiError {
    ApiError::new(
        StatusCode::NOT_FOUND,
        "the desk has nothing at this address",
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
