//! The files that come in and wait to be analysed, in their order: two at a time, by the same
//! function as `takebook draft`. Kept in memory only: a recording that was not analysed when the
//! program ended lies in the folder, and the list shows it as one without a song.

use super::incoming::{Kind, named, names};
use crate::deciding::DecisionRequest;
use crate::desk::error::{ApiError, ApiResult};
use crate::drafting::{self, Analysed, DraftError, Watch};
use crate::songlog::{Log, resolve, store};
use axum::http::StatusCode;
use serde_json::{Value, json};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::Notify;

/// Files that are analysed at a time.
const N_AT_ONCE: usize = 2;
/// Files that may come in or wait at a time.
const N_MOST: usize = 200;
/// Files that are done or failed and still shown.
const N_SHOWN: usize = 200;

/// The queue of a folder.
pub(super) struct Queue {
    folder: PathBuf,
    state: Mutex<State>,
    /// Notified when a song was written.
    written: Arc<Notify>,
}

#[derive(Default)]
struct State {
    /// One more with each change.
    revision: u64,
    last_id: u64,
    entries: Vec<Entry>,
    n_analysing: usize,
    is_closed: bool,
}

struct Entry {
    id: u64,
    /// The name of the file as it was given, then as it is in the folder.
    file: String,
    /// The song file that it becomes; none while it is copied.
    log: Option<PathBuf>,
    stage: Stage,
    percent: u8,
    cancel: Arc<AtomicBool>,
    /// What is known of the whole song before it is heard.
    settings: DecisionRequest,
}

#[derive(Debug, Clone, PartialEq)]
enum Stage {
    Copying,
    Waiting,
    Analysing,
    Done {
        n_chords: usize,
        n_unconfirmed: usize,
    },
    Failed(String),
}

impl Stage {
    const fn name(&self) -> &'static str {
        match self {
            Self::Copying => "copying",
            Self::Waiting => "waiting",
            Self::Analysing => "analysing",
            Self::Done { .. } => "done",
            Self::Failed(_) => "failed",
        }
    }

    const fn is_over(&self) -> bool {
        matches!(self, Self::Done { .. } | Self::Failed(_))
    }
}

impl Entry {
    fn told(&self) -> Value {
        let song = self.log.as_deref().and_then(Path::file_name);
        let mut told = json!({
            "id": self.id,
            "file": self.file,
            "song": song.map(|name| name.to_string_lossy()),
            "stage": self.stage.name(),
            "percent": self.percent,
        });
        match &self.stage {
            Stage::Failed(why) => told["why"] = json!(why),
            Stage::Done {
                n_chords,
                n_unconfirmed,
            } => {
                told["n_chords"] = json!(n_chords);
                told["n_unconfirmed"] = json!(n_unconfirmed);
            }
            _ => {}
        }
        told
    }
}

impl State {
    fn get(&mut self, id: u64) -> Option<&mut Entry> {
        self.entries.iter_mut().find(|e| e.id == id)
    }

    fn push(&mut self, file: &str, log: Option<PathBuf>, stage: Stage) -> u64 {
        self.last_id += 1;
        self.revision += 1;
        self.entries.push(Entry {
            id: self.last_id,
            file: file.into(),
            log,
            stage,
            percent: 0,
            cancel: Arc::default(),
            settings: DecisionRequest::default(),
        });
        self.last_id
    }

    fn set(&mut self, id: u64, stage: Stage) {
        self.revision += 1;
        if let Some(entry) = self.get(id) {
            entry.stage = stage;
            entry.percent = 0;
        }
        let n_over = self.entries.iter().filter(|e| e.stage.is_over()).count();
        if n_over > N_SHOWN
            && let Some(oldest) = self.entries.iter().position(|e| e.stage.is_over())
        {
            self.entries.remove(oldest);
        }
    }

    fn has_room(&self) -> ApiResult<()> {
        let n = self.entries.iter().filter(|e| !e.stage.is_over()).count();
        if n < N_MOST && !self.is_closed {
            return Ok(());
        }
        Err(ApiError::new(
            StatusCode::CONFLICT,
            format!("{N_MOST} files are waiting already; add more when some are done"),
        ))
    }

    /// A name for the song of a file that no other has or will have.
    fn log_for(&self, folder: &Path, file: &str) -> Option<PathBuf> {
        let name = Path::new(file).with_extension(store::ENDING);
        let is_meant = |path: &Path| self.entries.iter().any(|e| e.log.as_deref() == Some(path));
        names(folder, &name.to_string_lossy())
            .find(|path| std::fs::symlink_metadata(path).is_err() && !is_meant(path))
    }
}

/// A file that is being copied in; dropped before it is whole, it leaves the queue.
pub(super) struct Copying {
    queue: Arc<Queue>,
    id: u64,
}

impl Copying {
    /// Notes how much is there.
    ///
    /// # Errors
    /// 409 if it was cancelled.
    pub(super) fn reached(&self, n_bytes: u64, of: u64) -> ApiResult<()> {
        let percent = (100 * n_bytes).checked_div(of).unwrap_or(0).min(100) as u8;
        self.queue.reached(self.id, percent);
        let is_wanted = self.queue.state().get(self.id).is_some();
        is_wanted.then_some(()).ok_or_else(|| {
            let words = "cancelled; nothing was added";
            ApiError::new(StatusCode::CONFLICT, words).with("cancelled", json!(true))
        })
    }

    /// It is whole and lies there: now it waits to be analysed.
    ///
    /// # Errors
    /// 409 if no name for its song is free.
    pub(super) fn wait_for_analysis(self, take: &Path) -> ApiResult<Value> {
        let file = take.file_name().unwrap_or_default().to_string_lossy();
        let told = {
            let mut state = self.queue.state();
            let log = state.log_for(&self.queue.folder, &file);
            let log = log.ok_or_else(no_name)?;
            let Some(entry) = state.get(self.id) else {
                return Ok(json!({"file": file}));
            };
            entry.file = file.into_owned();
            entry.log = Some(log);
            entry.stage = Stage::Waiting;
            entry.percent = 0;
            let told = entry.told();
            state.revision += 1;
            told
        };
        self.queue.go_on();
        Ok(told)
    }
}

impl Drop for Copying {
    fn drop(&mut self) {
        let mut state = self.queue.state();
        let is_copying = |e: &Entry| e.id == self.id && e.stage == Stage::Copying;
        if state.entries.iter().any(is_copying) {
            state.entries.retain(|e| !is_copying(e));
            state.revision += 1;
        }
    }
}

impl Queue {
    pub(super) fn new(folder: PathBuf, written: Arc<Notify>) -> Arc<Self> {
        Arc::new(Self {
            folder,
            state: Mutex::default(),
            written,
        })
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Differs whenever the queue does.
    pub(super) fn revision(&self) -> u64 {
        self.state().revision
    }

    /// All its files, in their order.
    pub(super) fn told(&self) -> Value {
        let state = self.state();
        let entries: Vec<Value> = state.entries.iter().map(Entry::told).collect();
        json!({"revision": state.revision, "entries": entries})
    }

    /// Begins with a file that is to be copied in.
    ///
    /// # Errors
    /// 409 if too many wait.
    pub(super) fn begin(self: &Arc<Self>, name: &str) -> ApiResult<Copying> {
        let mut state = self.state();
        state.has_room()?;
        let id = state.push(name, None, Stage::Copying);
        Ok(Copying {
            queue: Arc::clone(self),
            id,
        })
    }

    /// Adds a file that lies in the folder, with what is known of its song; one that failed
    /// before takes its own place again, with what was known then.
    ///
    /// # Errors
    /// 409 if it is waiting already, or too many are.
    pub(super) fn add(self: &Arc<Self>, file: &str, settings: DecisionRequest) -> ApiResult<Value> {
        let told = {
            let mut state = self.state();
            let is_own = |e: &&Entry| e.file == file && e.log.is_some();
            let before = state
                .entries
                .iter()
                .filter(is_own)
                .map(|e| (e.id, e.stage.is_over()));
            let before: Vec<(u64, bool)> = before.collect();
            if before.iter().any(|(_, is_over)| !is_over) {
                let words = format!("'{file}' is being analysed already");
                return Err(ApiError::new(StatusCode::CONFLICT, words));
            }
            state.has_room()?;
            let known = state.entries.iter().find(is_own);
            let settings = known.map_or(settings, |e| e.settings.clone());
            state
                .entries
                .retain(|e| before.iter().all(|(id, _)| *id != e.id));
            let log = state.log_for(&self.folder, file).ok_or_else(no_name)?;
            let id = state.push(file, Some(log), Stage::Waiting);
            state.get(id).map(|e| {
                e.settings = settings;
                e.told()
            })
        };
        self.go_on();
        Ok(told.unwrap_or_default())
    }

    /// Whether a file of this name failed and can be tried again.
    pub(super) fn has_failed(&self, file: &str) -> bool {
        let failed = |e: &Entry| e.file == file && matches!(e.stage, Stage::Failed(_));
        self.state().entries.iter().any(failed)
    }

    /// Ends what is done for a file, if anything is, and takes it off the list; files stay. Gives
    /// whether it was there.
    pub(super) fn remove(&self, id: u64) -> bool {
        let mut state = self.state();
        let Some(at) = state.entries.iter().position(|e| e.id == id) else {
            return false;
        };
        let entry = state.entries.remove(at);
        entry.cancel.store(true, Ordering::Relaxed);
        state.revision += 1;
        true
    }

    /// Ends everything that runs.
    pub(super) fn close(&self) {
        let mut state = self.state();
        state.is_closed = true;
        for entry in &state.entries {
            entry.cancel.store(true, Ordering::Relaxed);
        }
    }

    fn reached(&self, id: u64, percent: u8) {
        let mut state = self.state();
        let Some(entry) = state.get(id) else { return };
        if entry.percent < percent {
            entry.percent = percent;
            state.revision += 1;
        }
    }

    /// Begins with as many of those that wait as may be analysed now.
    fn go_on(self: &Arc<Self>) {
        loop {
            let (job, n_threads) = {
                let mut state = self.state();
                if state.n_analysing >= N_AT_ONCE || state.is_closed {
                    return;
                }
                let mut waiting = state.entries.iter().filter(|e| e.stage == Stage::Waiting);
                let Some(next) = waiting.next() else { return };
                let is_alone = waiting.next().is_none() && state.n_analysing == 0;
                let Some(job) = Job::of(next, &self.folder) else {
                    return;
                };
                state.n_analysing += 1;
                state.set(job.id, Stage::Analysing);
                let all = rayon::current_num_threads();
                (
                    job,
                    if is_alone {
                        all
                    } else {
                        all.div_ceil(N_AT_ONCE)
                    },
                )
            };
            let queue = Arc::clone(self);
            let id = job.id;
            let work = move || {
                let end = job.analyse(&queue, n_threads);
                let mut state = queue.state();
                state.n_analysing -= 1;
                state.set(job.id, end);
                drop(state);
                queue.written.notify_one();
                queue.go_on();
            };
            let begun = std::thread::Builder::new().name("draft".into()).spawn(work);
            if begun.is_err() {
                let mut state = self.state();
                state.n_analysing -= 1;
                let why = "the system gives no thread to analyse with; close other programs";
                state.set(id, Stage::Failed(why.into()));
                return;
            }
        }
    }
}

fn no_name() -> ApiError {
    ApiError::new(
        StatusCode::CONFLICT,
        "no name is free for the song of this file; rename the file",
    )
}

/// One analysis.
struct Job {
    id: u64,
    take: PathBuf,
    log: PathBuf,
    file: String,
    cancel: Arc<AtomicBool>,
    settings: DecisionRequest,
}

impl Job {
    fn of(entry: &Entry, folder: &Path) -> Option<Self> {
        Some(Self {
            id: entry.id,
            take: folder.join(&entry.file),
            log: entry.log.clone()?,
            file: entry.file.clone(),
            cancel: Arc::clone(&entry.cancel),
            settings: entry.settings.clone(),
        })
    }

    /// What became of it.
    fn analyse(&self, queue: &Arc<Queue>, n_threads: usize) -> Stage {
        // a fault of the program in one file must not end the others
        let done = catch_unwind(AssertUnwindSafe(|| {
            // threads of its own: one of a common pool would begin another file while it waits
            let pool = rayon::ThreadPoolBuilder::new()
                .num_threads(n_threads)
                .build()
                .map_err(|e| format!("the system gives no threads to analyse with: {e}"))?;
            let watch = Watch {
                progress: &|share| queue.reached(self.id, (share.clamp(0.0, 1.0) * 100.0) as u8),
                cancel: &self.cancel,
            };
            let analyse =
                || drafting::analyse(&self.take, &self.log, &self.settings, false, &watch);
            pool.install(analyse).map_err(|error| self.words(error))
        }));
        match done {
            Ok(Ok(Analysed::Saved(log))) => counted(&log),
            Ok(Ok(Analysed::UpToDate)) => Stage::Done {
                n_chords: 0,
                n_unconfirmed: 0,
            },
            Ok(Err(why)) => Stage::Failed(why),
            Err(_) => Stage::Failed("a fault of the program stopped the analysis".into()),
        }
    }

    fn words(&self, error: DraftError) -> String {
        let text = match error {
            DraftError::Log(error) => ApiError::from(error),
            error => ApiError::bad(error.to_string()),
        };
        named(text.text(), &self.take, &self.file)
    }
}

fn counted(log: &Log) -> Stage {
    let song = resolve(log);
    Stage::Done {
        n_chords: song.n_chords(),
        n_unconfirmed: song.n_open(),
    }
}

/// Whether a file of the folder can be analysed at all.
pub(super) fn is_analysed(file: &str) -> bool {
    matches!(Kind::of(file), Some(Kind::Sound | Kind::Chords(_)))
}
