//! `GET /api/events`: what changed, as server-sent events.

use super::server::{Room, Shared};
use crate::songlog::store::take_path;
use axum::extract::State;
use axum::response::sse::{Event, KeepAlive, Sse};
use futures_util::stream::{self, Stream};
use serde_json::{Value, json};
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::broadcast::error::RecvError;

/// How often the log and the take are looked at for changes by others.
const LOOK_EVERY: Duration = Duration::from_millis(250);
const ALIVE_EVERY: Duration = Duration::from_secs(10);

/// Something that every page is told.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum News {
    /// The log has another revision.
    Song {
        /// Which.
        revision: String,
    },
    /// The log or the take cannot be read any more.
    Gone {
        /// Why, in words.
        why: String,
    },
    /// What the microphone hears; a name of an event and its data.
    Live(&'static str, Value),
}

impl News {
    fn event(&self) -> Event {
        let (name, data) = match self {
            Self::Song { revision } => ("song", json!({"revision": revision})),
            Self::Gone { why } => ("gone", json!({"why": why})),
            Self::Live(name, data) => (*name, data.clone()),
        };
        Event::default().event(name).data(data.to_string())
    }
}

/// The state of things now: the revision, or why there is none.
fn now(shared: &Shared) -> News {
    match shared.book.read() {
        Ok(snapshot) => {
            let take = take_path(shared.book.path(), &snapshot.log);
            match shared.sounds.of(shared.book.path(), &snapshot.log) {
                Ok(_) => News::Song {
                    revision: snapshot.revision.clone(),
                },
                Err(_) => News::Gone {
                    why: format!(
                        "the sound is gone: '{}'; decisions are still kept",
                        take.display()
                    ),
                },
            }
        }
        Err(why) => News::Gone {
            why: why.to_string(),
        },
    }
}

async fn look(shared: &Arc<Shared>) -> Option<News> {
    let shared = Arc::clone(shared);
    tokio::task::spawn_blocking(move || now(&shared)).await.ok()
}

/// Tells the pages whatever changes, also by other programs.
pub(super) async fn watch(shared: Arc<Shared>) {
    let mut last = None;
    let mut ticks = tokio::time::interval(LOOK_EVERY);
    ticks.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
    loop {
        ticks.tick().await;
        let news = look(&shared).await;
        if news.is_some() && news != last {
            if let (Some(news), Some(_)) = (&news, &last) {
                let _ = shared.news.send(news.clone());
            }
            last = news;
        }
    }
}

pub(super) async fn events(
    State(shared): Room,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let receiver = shared.news.subscribe();
    // first how things stand, so that a page that comes back sees what it missed
    let first = look(&shared).await;
    let rest = stream::unfold((receiver, shared), |(mut receiver, shared)| async move {
        let news = match receiver.recv().await {
            Ok(news) => news,
            // what was missed is in the song as it stands
            Err(RecvError::Lagged(_)) => look(&shared).await?,
            Err(RecvError::Closed) => return None,
        };
        Some((news, (receiver, shared)))
    });
    let all = stream::StreamExt::chain(stream::iter(first), rest);
    Sse::new(stream::StreamExt::map(all, |news| Ok(news.event())))
        .keep_alive(KeepAlive::new().interval(ALIVE_EVERY))
}
