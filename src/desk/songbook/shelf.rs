//! The songs that pages have open.

use crate::desk::events::watch;
use crate::desk::server::{Common, Shared, router};
use axum::Router;
use std::collections::HashMap;
use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Instant;
use tokio::task::AbortHandle;

/// Songs that no page shows and that are kept for the next one.
const N_AT_HAND: usize = 4;

/// Open songs by their names in the list.
pub(super) struct Shelf {
    common: Common,
    open: Mutex<HashMap<String, Opened>>,
}

struct Opened {
    shared: Arc<Shared>,
    app: Router,
    watching: AbortHandle,
    used: Instant,
}

impl Opened {
    /// Whether no page shows it and nothing is done for it.
    fn is_idle(&self) -> bool {
        self.shared.news.receiver_count() == 0 && self.shared.analyses.percent().is_none()
    }
}

impl Drop for Opened {
    fn drop(&mut self) {
        self.watching.abort();
    }
}

impl Shelf {
    pub(super) fn new(common: Common) -> Self {
        Self {
            common,
            open: Mutex::default(),
        }
    }

    fn open(&self) -> MutexGuard<'_, HashMap<String, Opened>> {
        self.open.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// What answers the requests about a song; within the runtime.
    pub(super) fn app(&self, name: &str, path: &Path) -> Router {
        let mut open = self.open();
        if let Some(song) = open.get_mut(name) {
            song.used = Instant::now();
            return song.app.clone();
        }
        while let Some(longest) = longest_idle(&open) {
            open.remove(&longest);
        }
        let shared = Shared::new(path.to_path_buf(), self.common.clone());
        let app = router(Arc::clone(&shared));
        let song = Opened {
            watching: tokio::spawn(watch(Arc::clone(&shared))).abort_handle(),
            shared,
            app: app.clone(),
            used: Instant::now(),
        };
        open.insert(name.to_owned(), song);
        app
    }

    /// Ends the analyses that run.
    pub(super) fn close(&self) {
        for (_, song) in self.open().drain() {
            song.shared.analyses.cancel(&song.shared);
        }
    }
}

/// Of more idle songs than are kept, the one that was not used for longest.
fn longest_idle(open: &HashMap<String, Opened>) -> Option<String> {
    let idle = || open.iter().filter(|(_, song)| song.is_idle());
    if idle().count() < N_AT_HAND {
        return None;
    }
    let (name, _) = idle().min_by_key(|(_, song)| song.used)?;
    Some(name.clone())
}
