//! `GET /api/events`: what changed, as server-sent events.

use super::error::ApiError;
use super::server::{Room, Shared};
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
    /// What the microphone hears, or how far an analysis is; a name of an event and its data.
    Other(&'static str, Value),
}

impl News {
    pub(super) fn event(&self) -> Event {
        let (name, data) = match self {
            Self::Song { revision } => ("song", json!({"revision": revision})),
            Self::Gone { why } => ("gone", json!({"why": why})),
            Self::Other(name, data) => (*name, data.clone()),
        };
        Event::default().event(name).data(data.to_string())
    }
}

/// How things stand: the log's revision or why there is none, and why there is no sound.
#[derive(Debug, Clone, PartialEq)]
struct Standing {
    log: News,
    sound_gone: Option<News>,
}

impl Standing {
    fn now(shared: &Shared) -> Self {
        let snapshot = match shared.book.read() {
            Ok(snapshot) => snapshot,
            Err(why) => {
                return Self {
                    log: News::Gone {
                        why: ApiError::from(why).text().to_owned(),
                    },
                    sound_gone: None,
                };
            }
        };
        let sound = shared.sounds.of(shared.book.path(), &snapshot.log);
        let is_sound = snapshot.log.take.rate_hz > 0;
        Self {
            log: News::Song {
                revision: snapshot.revision.clone(),
            },
            // a song that was typed has no sound to miss
            sound_gone: sound.err().filter(|_| is_sound).map(|why| News::Gone {
                why: format!("{}; decisions are still kept", why.text()),
            }),
        }
    }

    async fn look(shared: &Arc<Shared>) -> Option<Self> {
        let shared = Arc::clone(shared);
        tokio::task::spawn_blocking(move || Self::now(&shared))
            .await
            .ok()
    }

    fn news(self) -> impl Iterator<Item = News> {
        std::iter::once(self.log).chain(self.sound_gone)
    }

    /// What a page must be told that knows how things stood before.
    fn since(&self, before: &Self) -> Vec<News> {
        let mut news = Vec::new();
        let sound_changed = self.sound_gone != before.sound_gone;
        // a sound that is back is told by the song that has it
        if self.log != before.log || (sound_changed && self.sound_gone.is_none()) {
            news.push(self.log.clone());
        }
        if sound_changed {
            news.extend(self.sound_gone.clone());
        }
        news
    }
}

/// Tells the pages whatever changes, also by other programs.
pub(super) async fn watch(shared: Arc<Shared>) {
    let mut last: Option<Standing> = None;
    let mut ticks = tokio::time::interval(LOOK_EVERY);
    ticks.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
    loop {
        ticks.tick().await;
        let Some(now) = Standing::look(&shared).await else {
            continue;
        };
        for news in last.iter().flat_map(|before| now.since(before)) {
            // nobody listening is no fault
            let _ = shared.news.send(news);
        }
        last = Some(now);
    }
}

pub(super) async fn events(
    State(shared): Room,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let receiver = shared.news.subscribe();
    // first how things stand, so that a page that comes back sees what it missed
    let mut first: Vec<News> = Standing::look(&shared)
        .await
        .map(|now| now.news().collect())
        .unwrap_or_default();
    let percent = shared.analyses.percent();
    first.extend(percent.map(|p| News::Other("analysis", json!({"percent": p}))));
    let rest = stream::unfold((receiver, shared), |(mut receiver, shared)| async move {
        let news = match receiver.recv().await {
            Ok(news) => news,
            // what was missed is in the song as it stands
            Err(RecvError::Lagged(_)) => Standing::look(&shared).await?.log,
            Err(RecvError::Closed) => return None,
        };
        Some((news, (receiver, shared)))
    });
    let all = stream::StreamExt::chain(stream::iter(first), rest);
    Sse::new(stream::StreamExt::map(all, |news| Ok(news.event())))
        .keep_alive(KeepAlive::new().interval(ALIVE_EVERY))
}
