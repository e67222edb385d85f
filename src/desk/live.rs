//! `/api/live/…`: the microphone of this machine, through the hearing of `takebook listen`.

use super::error::ApiResult;
use super::server::{Room, read_body};
use axum::body::Bytes;
use axum::extract::State;
use axum::extract::rejection::BytesRejection;
use axum::response::Response;

#[cfg(feature = "mic")]
pub(super) use with_mic::Microphone;
#[cfg(not(feature = "mic"))]
pub(super) use without_mic::{Microphone, no_microphone};

/// What to listen to.
#[derive(Debug, Default, serde::Deserialize)]
#[serde(default, deny_unknown_fields)]
#[cfg_attr(not(feature = "mic"), allow(dead_code, reason = "nothing can listen"))]
pub(super) struct Wish {
    device: Option<String>,
    /// Whether to read plucked fragments as a row.
    fragments: bool,
}

/// A request that says nothing more.
#[derive(Default, serde::Deserialize)]
#[serde(default, deny_unknown_fields)]
struct Nothing {}

pub(super) async fn devices(State(shared): Room) -> ApiResult<Response> {
    super::server::json(move || shared.common.microphone.devices()).await
}

pub(super) async fn start(
    State(shared): Room,
    body: Result<Bytes, BytesRejection>,
) -> ApiResult<Response> {
    let wish: Wish = read_body(body)?;
    super::server::json(move || shared.common.microphone.start(&shared, wish)).await
}

pub(super) async fn stop(
    State(shared): Room,
    body: Result<Bytes, BytesRejection>,
) -> ApiResult<Response> {
    let Nothing {} = read_body(body)?;
    super::server::json(move || {
        let was_listening = shared.common.microphone.stop();
        Ok(serde_json::json!({"was_listening": was_listening}))
    })
    .await
}

pub(super) async fn keep(
    State(shared): Room,
    body: Result<Bytes, BytesRejection>,
) -> ApiResult<Response> {
    let Nothing {} = read_body(body)?;
    super::server::json(move || shared.common.microphone.keep(false)).await
}

pub(super) async fn take(
    State(shared): Room,
    body: Result<Bytes, BytesRejection>,
) -> ApiResult<Response> {
    let Nothing {} = read_body(body)?;
    super::server::json(move || {
        let microphone = &shared.common.microphone;
        let Some(drafts) = &shared.common.drafts else {
            return microphone.keep(true);
        };
        // in a folder it waits its turn as every other recording does
        let (take, settings) = microphone.save_take()?;
        let file = take.file_name().unwrap_or_default().to_string_lossy();
        let mut told = drafts(&file, settings)?;
        told["words"] = serde_json::json!(format!("saved {file}"));
        Ok(told)
    })
    .await
}

#[cfg(not(feature = "mic"))]
mod without_mic {
    use super::super::error::{ApiError, ApiResult};
    use super::super::server::Shared;
    use super::Wish;
    use crate::deciding::DecisionRequest;
    use axum::http::StatusCode;
    use serde_json::Value;
    use std::path::PathBuf;

    /// There is none in this build.
    #[derive(Debug, Default)]
    pub(in super::super) struct Microphone;

    pub(in super::super) fn no_microphone() -> ApiError {
        ApiError::new(
            StatusCode::NOT_FOUND,
            "this takebook was built without the microphone (build it with the feature mic)",
        )
    }

    impl Microphone {
        pub(in super::super) fn devices(&self) -> ApiResult<Value> {
            Err(no_microphone())
        }

        pub(super) fn save_take(&self) -> ApiResult<(PathBuf, DecisionRequest)> {
            Err(no_microphone())
        }

        pub(super) fn start(&self, _: &Shared, _: Wish) -> ApiResult<Value> {
            Err(no_microphone())
        }

        pub(super) fn keep(&self, _: bool) -> ApiResult<Value> {
            Err(no_microphone())
        }

        pub(in super::super) fn stop(&self) -> bool {
            false
        }
    }
}

#[cfg(feature = "mic")]
mod with_mic {
    use super::super::error::{ApiError, ApiResult};
    use super::super::events::News;
    use super::super::fragments::Fragments;
    use super::super::server::Shared;
    use super::Wish;
    use crate::audio::input_devices;
    use crate::deciding::DecisionRequest;
    use crate::drafting::{
        DraftError, HeardAt, Listening, REMEMBERED_S, Seen, Tenth, ToListen, answer_json,
        moments_beside,
    };
    use axum::http::StatusCode;
    use serde_json::{Value, json};
    use std::path::PathBuf;
    use std::sync::atomic::Ordering;
    use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
    use std::sync::{Mutex, MutexGuard, PoisonError};
    use std::thread::JoinHandle;
    use std::time::Duration;
    use tokio::sync::broadcast;

    const TICK: Duration = Duration::from_millis(20);
    /// A device that has not opened by then will not.
    const OPENING: Duration = Duration::from_secs(20);
    /// Hearing a minute again takes a few seconds.
    const KEEPING: Duration = Duration::from_secs(60);
    /// Drafting five minutes takes up to a minute on a slow machine.
    const DRAFTING: Duration = Duration::from_secs(600);
    /// What `listen` waits for after a moment unless told otherwise, s.
    const LOOK_AHEAD_S: f64 = 0.19;

    /// The microphone, while a page listens to it.
    #[derive(Debug, Default)]
    pub(in super::super) struct Microphone {
        running: Mutex<Option<Running>>,
    }

    #[derive(Debug)]
    struct Running {
        orders: Sender<Order>,
        thread: JoinHandle<()>,
    }

    enum Order {
        Stop,
        Keep(Sender<Result<Value, String>>),
        Take(Sender<Result<Value, String>>),
        /// Saves a take that is not drafted here.
        Sound(Sender<Result<(PathBuf, DecisionRequest), String>>),
    }

    impl Microphone {
        fn running(&self) -> MutexGuard<'_, Option<Running>> {
            self.running.lock().unwrap_or_else(PoisonError::into_inner)
        }

        pub(in super::super) fn devices(&self) -> ApiResult<Value> {
            let devices = input_devices().map_err(|e| none(e.to_string()))?;
            let listed: Vec<Value> = devices
                .iter()
                .map(|d| {
                    json!({
                        "id": d.id,
                        "name": d.name,
                        "is_default": d.is_default,
                        "channels": d.channels,
                        "rates_hz": d.rates_hz,
                    })
                })
                .collect();
            Ok(json!({"devices": listed}))
        }

        /// Listens; what is heard goes out as events. Listening before ends.
        pub(super) fn start(&self, shared: &Shared, wish: Wish) -> ApiResult<Value> {
            if shared.common.is_recording.load(Ordering::Relaxed) {
                let words = "a take is being recorded on the page of all songs; stop that first";
                return Err(ApiError::new(StatusCode::CONFLICT, words));
            }
            let mut running = self.running();
            end(running.take());
            let snapshot = shared.book.read()?;
            let to_listen = ToListen {
                device: wish.device,
                channel: None,
                instrument: snapshot.song.instrument.clone(),
                key: None,
                look_ahead_s: LOOK_AHEAD_S,
                keep: moments_beside(shared.book.path(), &snapshot.log),
                remember_s: REMEMBERED_S,
            };
            let keep = to_listen.keep.clone();
            let fragments = wish.fragments.then(|| Fragments::new(snapshot.song.key));
            let news = shared.news.clone();
            let (orders, ordered) = channel();
            let (opened, is_open) = channel();
            // the device belongs to the thread that opened it
            let work = move || match Listening::begin(to_listen) {
                Ok(listening) => {
                    let _ = opened.send(Ok(listening.device().to_owned()));
                    let why = listen(listening, fragments, &news, &ordered);
                    let ended = json!({"ended": true, "why": why});
                    let _ = news.send(News::Other("live", ended));
                }
                Err(error) => {
                    let _ = opened.send(Err(error.to_string()));
                }
            };
            let thread = std::thread::Builder::new()
                .name("microphone".into())
                .spawn(work)
                .map_err(|e| none(format!("the system gives no thread to listen with: {e}")))?;
            let device = match is_open.recv_timeout(OPENING) {
                Ok(Ok(device)) => device,
                Ok(Err(why)) => return Err(none(why)),
                Err(_) => return Err(none("the microphone does not open".into())),
            };
            *running = Some(Running { orders, thread });
            let keep = keep.file_name().unwrap_or_default().to_string_lossy();
            Ok(json!({"device": device, "keeps_in": keep}))
        }

        /// Keeps the moment, or saves what is remembered as a take and drafts it; waits until
        /// that is done.
        pub(super) fn keep(&self, as_take: bool) -> ApiResult<Value> {
            match as_take {
                true => self.ordered(Order::Take, DRAFTING),
                false => self.ordered(Order::Keep, KEEPING),
            }
        }

        /// Saves what is remembered as a take; gives it, and what is known of its song.
        pub(super) fn save_take(&self) -> ApiResult<(PathBuf, DecisionRequest)> {
            self.ordered(Order::Sound, KEEPING)
        }

        /// What the thread that listens answers to an order.
        fn ordered<T>(
            &self,
            order: impl FnOnce(Sender<Result<T, String>>) -> Order,
            patience: Duration,
        ) -> ApiResult<T> {
            let not_listening = || {
                ApiError::new(
                    StatusCode::CONFLICT,
                    "nothing is listened to now: start first",
                )
            };
            let (answer, answered) = channel();
            {
                let running = self.running();
                let running = running.as_ref().ok_or_else(not_listening)?;
                let sent = running.orders.send(order(answer));
                sent.map_err(|_| not_listening())?;
            }
            match answered.recv_timeout(patience) {
                Ok(Ok(done)) => Ok(done),
                Ok(Err(why)) => Err(ApiError::new(StatusCode::CONFLICT, why)),
                Err(_) => Err(not_listening()),
            }
        }

        /// Ends listening; gives whether anything was listened to.
        pub(in super::super) fn stop(&self) -> bool {
            let running = self.running().take();
            let was = running.as_ref().is_some_and(|r| !r.thread.is_finished());
            end(running);
            was
        }
    }

    fn none(why: String) -> ApiError {
        ApiError::new(StatusCode::NOT_FOUND, why)
    }

    fn end(running: Option<Running>) {
        if let Some(Running { orders, thread }) = running {
            let _ = orders.send(Order::Stop);
            let _ = thread.join();
        }
    }

    /// Listens until told to stop or the device is gone; gives why it ended.
    fn listen(
        mut listening: Listening,
        mut fragments: Option<Fragments>,
        news: &broadcast::Sender<News>,
        ordered: &Receiver<Order>,
    ) -> Option<String> {
        let mut last = None;
        loop {
            let heard = listening.hear(None, &mut |now, tenth| {
                let level = json!({
                    "peak_dbfs": tenth.level.held_dbfs,
                    "rms_dbfs": tenth.level.rms_dbfs,
                    "clipped": tenth.level.clipping,
                });
                let _ = news.send(News::Other("level", level));
                if tenth.is_answered {
                    tell(now, tenth, &mut last, fragments.as_mut(), news);
                }
                Ok::<_, DraftError>(())
            });
            if let Err(error) = heard {
                return Some(error.to_string());
            }
            if listening.is_gone() {
                return Some(format!("'{}' stopped delivering", listening.device()));
            }
            match ordered.recv_timeout(TICK) {
                Ok(Order::Stop) | Err(RecvTimeoutError::Disconnected) => return None,
                Ok(Order::Take(answer)) => {
                    let saved = listening.save_take();
                    let words = listening.moments().remark().to_owned();
                    let told = saved.map(|log| {
                        let log = log.file_name().unwrap_or_default().to_string_lossy();
                        json!({"words": words, "log": log})
                    });
                    let _ = answer.send(told.map_err(|e| format!("not saved and drafted: {e}")));
                }
                Ok(Order::Sound(answer)) => {
                    let saved = listening.save_sound();
                    let _ = answer.send(saved.map_err(|e| format!("not saved: {e}")));
                }
                Ok(Order::Keep(answer)) => {
                    let kept = listening.keep();
                    let moments = listening.moments();
                    let log = moments.log().file_name().unwrap_or_default();
                    let told = json!({"words": moments.remark(), "log": log.to_string_lossy()});
                    let _ = answer.send(kept.map(|()| told).map_err(|e| format!("not kept: {e}")));
                }
                Err(RecvTimeoutError::Timeout) => {}
            }
        }
    }

    /// Sends an answer if it differs from the last one, as `listen --json` prints it.
    fn tell(
        listening: &Listening,
        tenth: Tenth,
        last: &mut Option<Seen>,
        fragments: Option<&mut Fragments>,
        news: &broadcast::Sender<News>,
    ) {
        let Some(answer) = listening.last() else {
            return;
        };
        let instrument = listening.moments().instrument();
        let row = fragments.and_then(|f| f.hear(answer, tenth.is_held));
        if let Some(row) = row {
            let _ = news.send(News::Other("fragments", row));
        }
        let heard = HeardAt {
            t_s: listening.heard_s(),
            level: tenth.level,
            n_clipped: listening.n_clipped(),
            is_held: tenth.is_held,
        };
        let now = Some(Seen::of(answer, &heard));
        if *last == now {
            return;
        }
        *last = now;
        let told = answer_json(answer, instrument, &heard);
        let _ = news.send(News::Other("live", told));
    }
}
