//! The take that is being recorded for the list: one at a time, in a thread of its own.

#[cfg(feature = "mic")]
pub(super) use with_mic::Recorder;
#[cfg(not(feature = "mic"))]
pub(super) use without_mic::Recorder;

#[cfg(not(feature = "mic"))]
mod without_mic {
    use super::super::recording::Wish;
    use crate::desk::error::ApiResult;
    use crate::desk::events::News;
    use crate::desk::live::no_microphone;
    use serde_json::{Value, json};
    use std::path::Path;
    use std::sync::Arc;
    use std::sync::atomic::AtomicBool;
    use tokio::sync::broadcast;

    /// There is no microphone in this build.
    pub(in super::super) struct Recorder;

    impl Recorder {
        pub(in super::super) fn new(
            _: &Path,
            _: broadcast::Sender<News>,
            _: Arc<AtomicBool>,
        ) -> Arc<Self> {
            Arc::new(Self)
        }

        pub(in super::super) fn told(&self) -> Value {
            json!({"stage": "idle"})
        }

        pub(in super::super) fn start(self: &Arc<Self>, _: Wish) -> ApiResult<Value> {
            Err(no_microphone())
        }

        pub(in super::super) fn mark(&self) -> ApiResult<Value> {
            Err(no_microphone())
        }

        pub(in super::super) fn stop(&self) {}

        pub(in super::super) fn recorded(&self) -> Option<String> {
            None
        }

        pub(in super::super) fn forget(&self, _: &str) {}
    }
}

#[cfg(feature = "mic")]
mod with_mic {
    use super::super::begun::{Begun, FORM, absent};
    use super::super::journal::Journal;
    use super::super::recording::{Count, Wish};
    use crate::audio::{AudioError, Capture, Channels, CountIn, TakeEnd, Taking, count_in};
    use crate::desk::error::{ApiError, ApiResult};
    use crate::desk::events::News;
    use axum::http::StatusCode;
    use serde_json::{Value, json};
    use std::path::{Path, PathBuf};
    use std::sync::atomic::{AtomicBool, Ordering};
    use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
    use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
    use std::thread::JoinHandle;
    use std::time::Duration;
    use tokio::sync::broadcast;

    const TICK: Duration = Duration::from_millis(20);
    /// A device that has not opened by then will not.
    const OPENING: Duration = Duration::from_secs(20);
    /// A mark is set within a tick, unless the disk is slow.
    const MARKING: Duration = Duration::from_secs(5);
    /// The level goes out once for so many samples a second.
    const LEVELS_A_SECOND: u64 = 10;
    /// It ends by itself after so long, s: three hours.
    const LONGEST_S: u64 = 3 * 3600;
    /// Bytes of sound in one file, as a WAV file can have.
    const MOST_BYTES: u64 = 4_000_000_000;

    /// What is recorded, or was recorded last and has no name yet.
    pub(in super::super) struct Recorder {
        folder: PathBuf,
        news: broadcast::Sender<News>,
        /// Whether the microphone is in use for it.
        is_recording: Arc<AtomicBool>,
        state: Mutex<State>,
    }

    #[derive(Default)]
    struct State {
        now: Now,
        running: Option<Running>,
        /// Why the last one came to nothing.
        trouble: Option<String>,
    }

    struct Running {
        orders: Sender<Order>,
        thread: JoinHandle<()>,
    }

    #[derive(Default)]
    enum Now {
        #[default]
        Idle,
        Opening,
        Counting {
            beat: u32,
            n_beats: u8,
        },
        Recording {
            file: String,
            device: String,
            marks_s: Vec<f64>,
        },
        /// As it is told, and its file.
        Recorded(String, Value),
    }

    enum Order {
        Stop,
        Mark(Sender<f64>),
    }

    impl Recorder {
        pub(in super::super) fn new(
            folder: &Path,
            news: broadcast::Sender<News>,
            is_recording: Arc<AtomicBool>,
        ) -> Arc<Self> {
            Arc::new(Self {
                folder: folder.into(),
                news,
                is_recording,
                state: Mutex::default(),
            })
        }

        fn state(&self) -> MutexGuard<'_, State> {
            self.state.lock().unwrap_or_else(PoisonError::into_inner)
        }

        /// How things stand.
        pub(in super::super) fn told(&self) -> Value {
            let state = self.state();
            match &state.now {
                Now::Idle => json!({"stage": "idle", "trouble": state.trouble}),
                Now::Opening => json!({"stage": "opening"}),
                Now::Counting { beat, n_beats } => {
                    json!({"stage": "counting", "beat": beat, "n_beats": n_beats})
                }
                Now::Recording {
                    file,
                    device,
                    marks_s,
                } => {
                    json!({"stage": "recording", "file": file, "device": device, "marks_s": marks_s})
                }
                Now::Recorded(_, told) => told.clone(),
            }
        }

        fn put(&self, now: Now) {
            {
                let mut state = self.state();
                state.now = now;
                state.trouble = None;
            }
            self.tell();
        }

        fn fail(&self, why: Option<String>) {
            {
                let mut state = self.state();
                state.now = Now::Idle;
                state.trouble = why;
            }
            self.tell();
        }

        fn tell(&self) {
            // nobody listening is no fault
            let _ = self.news.send(News::Other("recording", self.told()));
        }

        /// Begins; what the microphone delivers goes into a file of the folder.
        ///
        /// # Errors
        /// 404 without a microphone, 409 if one is recorded already, 500 or 507 if the folder
        /// cannot be written to.
        pub(in super::super) fn start(self: &Arc<Self>, wish: Wish) -> ApiResult<Value> {
            let (orders, ordered) = channel();
            let (opened, is_open) = channel();
            {
                let mut state = self.state();
                if !matches!(state.now, Now::Idle | Now::Recorded(..)) {
                    return Err(ApiError::new(
                        StatusCode::CONFLICT,
                        "a take is being recorded already, perhaps on another page; stop that first",
                    ));
                }
                let own = Arc::clone(self);
                let work = move || own.run(wish, &opened, &ordered);
                let thread = std::thread::Builder::new()
                    .name("recording".into())
                    .spawn(work)
                    .map_err(|_| {
                        let words =
                            "the system gives no thread to record with; close other programs";
                        ApiError::new(StatusCode::INTERNAL_SERVER_ERROR, words)
                    })?;
                state.now = Now::Opening;
                state.running = Some(Running { orders, thread });
            }
            match is_open.recv_timeout(OPENING) {
                Ok(Ok(())) => Ok(self.told()),
                Ok(Err(error)) => Err(error),
                Err(_) => Err(absent("the microphone does not open".into())),
            }
        }

        /// Marks the present moment.
        ///
        /// # Errors
        /// 409 if nothing is being recorded.
        pub(in super::super) fn mark(&self) -> ApiResult<Value> {
            let nothing = || ApiError::new(StatusCode::CONFLICT, "nothing is being recorded now");
            let (answer, answered) = channel();
            {
                let state = self.state();
                if !matches!(state.now, Now::Recording { .. }) {
                    return Err(nothing());
                }
                let running = state.running.as_ref().ok_or_else(nothing)?;
                let sent = running.orders.send(Order::Mark(answer));
                sent.map_err(|_| nothing())?;
            }
            let at_s = answered.recv_timeout(MARKING).map_err(|_| nothing())?;
            Ok(json!({"at_s": at_s}))
        }

        /// Ends what runs, and waits until its file is whole.
        pub(in super::super) fn stop(&self) {
            let running = self.state().running.take();
            if let Some(Running { orders, thread }) = running {
                let _ = orders.send(Order::Stop);
                let _ = thread.join();
            }
        }

        /// The file of the recording that has no name yet.
        pub(in super::super) fn recorded(&self) -> Option<String> {
            match &self.state().now {
                Now::Recorded(file, _) => Some(file.clone()),
                _ => None,
            }
        }

        /// It has its name now, or is gone.
        pub(in super::super) fn forget(&self, file: &str) {
            if self.recorded().as_deref() == Some(file) {
                self.put(Now::Idle);
            }
        }

        fn run(&self, wish: Wish, opened: &Sender<ApiResult<()>>, ordered: &Receiver<Order>) {
            let begun = match Begun::open(&self.folder, &wish) {
                Ok(begun) => begun,
                Err(error) => {
                    self.fail(None);
                    let _ = opened.send(Err(error));
                    return;
                }
            };
            self.is_recording.store(true, Ordering::Relaxed);
            self.record(wish.count_in, begun, opened, ordered);
            self.is_recording.store(false, Ordering::Relaxed);
        }

        fn record(
            &self,
            count: Option<Count>,
            mut begun: Begun,
            opened: &Sender<ApiResult<()>>,
            ordered: &Receiver<Order>,
        ) {
            if let Some(count) = count {
                let n_beats = count.beats;
                self.put(Now::Counting { beat: 1, n_beats });
                let _ = opened.send(Ok(()));
                match self.count(count, &mut begun.mic, ordered) {
                    Ok(true) => {}
                    Ok(false) => {
                        begun.undo();
                        return self.fail(None);
                    }
                    Err(error) => {
                        begun.undo();
                        return self.fail(Some(format!("{error}; or count in without clicks")));
                    }
                }
            }
            let Begun {
                mic,
                recording,
                mut journal,
                path,
                file,
            } = begun;
            let frame_bytes = u64::from(mic.n_channels) * FORM.bytes();
            let most = (LONGEST_S * u64::from(mic.rate_hz)).min(MOST_BYTES / frame_bytes);
            let mut take = Taking::begin(mic, Channels::All, recording, Some(most));
            self.put_recording(&file, &take);
            let _ = opened.send(Ok(()));
            let end = self.go_on(&mut take, &mut journal, &file, ordered);
            take.finish();
            journal.end();
            if take.recording().n_frames() == 0 {
                let device = take.device().to_owned();
                drop(take);
                let _ = std::fs::remove_file(&path);
                let silent = end == Some(TakeEnd::Device);
                let why = format!("'{device}' delivers no sound; choose another microphone");
                return self.fail(silent.then_some(why));
            }
            let told = as_told(&file, &take, end);
            self.put(Now::Recorded(file, told));
        }

        fn put_recording(&self, file: &str, take: &Taking) {
            self.put(Now::Recording {
                file: file.into(),
                device: take.device().into(),
                marks_s: take.marks_s().to_vec(),
            });
        }

        /// Counts in; gives whether to record then.
        fn count(
            &self,
            count: Count,
            mic: &mut Capture,
            ordered: &Receiver<Order>,
        ) -> Result<bool, AudioError> {
            let n_beats = count.beats;
            let counted = CountIn {
                n_bars: count.bars,
                n_beats,
                tempo_bpm: count.tempo_bpm,
            };
            let (mut before, mut last, mut goes_on) = (Vec::new(), 1, true);
            count_in(counted, count.clicks, &mut |beat| {
                // what sounds before the take is no part of it
                before.clear();
                mic.pull(&mut before);
                if beat != last {
                    last = beat;
                    let beat = (beat - 1) % u32::from(n_beats) + 1;
                    self.put(Now::Counting { beat, n_beats });
                }
                goes_on = !matches!(
                    ordered.try_recv(),
                    Ok(Order::Stop) | Err(std::sync::mpsc::TryRecvError::Disconnected)
                );
                !goes_on
            })?;
            Ok(goes_on)
        }

        /// Records until it is stopped, or ends by itself.
        fn go_on(
            &self,
            take: &mut Taking,
            journal: &mut Journal,
            file: &str,
            ordered: &Receiver<Order>,
        ) -> Option<TakeEnd> {
            let (mut told_at, mut clipped) = (0, false);
            loop {
                match take.step() {
                    Err(end) => return Some(end),
                    Ok(None) => {}
                    Ok(Some(level)) => {
                        clipped |= level.clipping;
                        let n = take.recording().n_frames();
                        let due = n - told_at >= u64::from(take.rate_hz()) / LEVELS_A_SECOND;
                        if due {
                            let told = json!({
                                "peak_dbfs": level.held_dbfs,
                                "rms_dbfs": level.rms_dbfs,
                                "clipped": clipped,
                                "seconds": take.seconds(),
                            });
                            let _ = self.news.send(News::Other("level", told));
                            (told_at, clipped) = (n, false);
                        }
                    }
                }
                match ordered.recv_timeout(TICK) {
                    Ok(Order::Stop) | Err(RecvTimeoutError::Disconnected) => return None,
                    Ok(Order::Mark(answer)) => {
                        let at_s = take.mark();
                        journal.mark(at_s);
                        let _ = answer.send(at_s);
                        self.put_recording(file, take);
                    }
                    Err(RecvTimeoutError::Timeout) => {}
                }
            }
        }
    }

    /// What the page is told of a recording that is over.
    fn as_told(file: &str, take: &Taking, end: Option<TakeEnd>) -> Value {
        let mut missing = take.missing(end);
        if end == Some(TakeEnd::Length) {
            missing.push("it is as long as a recording can be and was ended".into());
        }
        json!({
            "stage": "recorded",
            "file": file,
            "device": take.device(),
            "seconds": take.safe_s(),
            "peak_dbfs": take.meter().highest_dbfs(),
            "clipped_samples": take.meter().n_clipped(),
            "is_silent": take.is_silent(),
            "marks_s": take.marks_s(),
            "missing": missing,
        })
    }
}
