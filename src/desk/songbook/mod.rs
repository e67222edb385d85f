//! The songs of a folder: listed, searched, and each opened in the page of one song.
//!
//! The folder stays plain files: what the list shows is read from the logs, again whenever one
//! changes, and kept nowhere else. `listing` looks at the folder, `facts` says what the list
//! tells of one song, `shelf` holds the songs that pages have open, `set_list` binds several.
//! `adding` takes files in (`incoming`) and has them analysed (`queue`); `recording` records
//! one more (`recorder`, `begun`), of which `journal` knows what a killed program left.
//!
//! A song is reached by its name in the list, never by a path: what is not listed, or is a link
//! that leads out of the folder, is not opened.

mod adding;
#[cfg(feature = "mic")]
mod begun;
mod facts;
mod incoming;
mod journal;
mod listing;
mod queue;
mod recorder;
mod recording;
mod routes;
mod set_list;
mod shelf;
mod week;

pub(super) use routes::router;

use super::DeskError;
use super::events::News;
use super::server::Common;
use listing::Listing;
use queue::Queue;
use recorder::Recorder;
use serde_json::json;
use shelf::Shelf;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{Notify, Semaphore, broadcast};

/// How often the folder is looked at while a page shows it.
const LOOK_EVERY: Duration = Duration::from_secs(1);
/// How often a page is told that more has been read.
const TELL_EVERY: Duration = Duration::from_millis(150);
/// News that a page may lag behind.
const N_NEWS: usize = 64;

/// What every request about the folder can reach.
pub(super) struct Songbook {
    listing: Listing,
    shelf: Shelf,
    common: Common,
    news: broadcast::Sender<News>,
    queue: Arc<Queue>,
    recorder: Arc<Recorder>,
    /// Turns to copy a file in.
    copying: Arc<Semaphore>,
    /// A page has come or a song was written: look now.
    wanted: Arc<Notify>,
}

impl Songbook {
    /// Opens a folder and begins to read its songs.
    ///
    /// # Errors
    /// * [`DeskError::Folder`] if it cannot be listed.
    pub(super) fn open(folder: &Path) -> Result<Arc<Self>, DeskError> {
        let failed = |source| DeskError::Folder {
            path: folder.into(),
            source,
        };
        let real = folder.canonicalize().map_err(failed)?;
        std::fs::read_dir(&real).map_err(failed)?;
        incoming::clear_unfinished(&real);
        journal::mend(&real);
        let wanted = Arc::new(Notify::new());
        let queue = Queue::new(real.clone(), Arc::clone(&wanted));
        let drafts = Arc::clone(&queue);
        let common = Common {
            drafts: Some(Arc::new(move |file, settings| drafts.add(file, settings))),
            ..Common::default()
        };
        let news = broadcast::channel(N_NEWS).0;
        let is_recording = Arc::clone(&common.is_recording);
        let book = Arc::new(Self {
            queue,
            recorder: Recorder::new(&real, news.clone(), is_recording),
            copying: Arc::new(Semaphore::new(adding::N_COPIED)),
            listing: Listing::new(real, Arc::clone(&common.checked)),
            shelf: Shelf::new(common.clone()),
            common,
            news,
            wanted,
        });
        // read while the browser starts
        book.wanted.notify_one();
        Ok(book)
    }

    /// Ends what runs for its songs.
    pub(super) fn close(&self) {
        self.common.microphone.stop();
        self.recorder.stop();
        self.queue.close();
        self.shelf.close();
    }

    fn news(&self) -> News {
        News::Other("songs", json!({"revision": self.listing.revision()}))
    }

    fn news_of_recording(&self) -> News {
        News::Other("recording", self.recorder.told())
    }

    fn news_of_adding(&self) -> News {
        News::Other("adding", self.queue.told())
    }
}

/// Looks at the folder while pages show it, and tells them what changed.
pub(super) fn watch(book: &Arc<Songbook>) {
    tokio::spawn(look(Arc::clone(book)));
    tokio::spawn(tell(Arc::clone(book)));
}

async fn look(book: Arc<Songbook>) {
    loop {
        tokio::select! {
            () = book.wanted.notified() => {}
            () = tokio::time::sleep(LOOK_EVERY) => {
                if book.news.receiver_count() == 0 {
                    continue;
                }
            }
        }
        let looking = Arc::clone(&book);
        let _ = tokio::task::spawn_blocking(move || looking.listing.look()).await;
    }
}

async fn tell(book: Arc<Songbook>) {
    let (mut told, mut told_of_adding) = (0, 0);
    loop {
        tokio::time::sleep(TELL_EVERY).await;
        let adding = book.queue.revision();
        if adding != told_of_adding {
            told_of_adding = adding;
            let _ = book.news.send(book.news_of_adding());
        }
        let now = book.listing.revision();
        if now != told {
            told = now;
            // nobody listening is no fault
            let _ = book.news.send(book.news());
        }
    }
}
