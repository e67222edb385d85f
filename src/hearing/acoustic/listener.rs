//! Takes a take's samples block by block and runs the acoustic stage on them.

use crate::hearing::acoustic::nets;
use crate::hearing::acoustic::sound::Sound;
use crate::hearing::acoustic::strokes::strokes;
use crate::hearing::acoustic::{front as stage, spectrum};
use crate::hearing::error::HearingError;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread::JoinHandle;

/// Takes a take's samples block by block and hears them.
///
/// Where rayon's pool has more than one thread, the spectra are made on two threads of their
/// own and the attacks on another, while the caller decodes what comes next.
pub struct Listener {
    front: Running,
    /// Samples not handed on yet.
    waiting: Vec<f32>,
}

enum Running {
    Here(Box<stage::FrontStage>),
    Beside([Beside<stage::Tones>; 2], Beside<stage::Onsets>),
}

/// A part of the front on a thread of its own.
struct Beside<T> {
    sender: SyncSender<Arc<Vec<f32>>>,
    work: JoinHandle<T>,
}

impl<T: Send + 'static> Beside<T> {
    fn start(work: impl FnOnce(Receiver<Arc<Vec<f32>>>) -> T + Send + 'static) -> Self {
        let (sender, blocks) = sync_channel(MOST_WAITING);
        let work = std::thread::spawn(move || work(blocks));
        Self { sender, work }
    }

    fn hand_on(&self, block: &Arc<Vec<f32>>) {
        // fails only if the other thread panicked, which `end` passes on
        let _ = self.sender.send(Arc::clone(block));
    }

    fn end(self) -> T {
        drop(self.sender);
        self.work
            .join()
            .unwrap_or_else(|panic| std::panic::resume_unwind(panic))
    }
}

/// Samples handed on at a time: few enough to keep little, many enough that handing on costs nothing.
const BLOCK: usize = 1 << 14;
/// Blocks that may wait for either half before the caller has to.
const MOST_WAITING: usize = 8;

impl Default for Listener {
    fn default() -> Self {
        Self::new()
    }
}

impl Listener {
    /// A listener that has heard nothing yet.
    pub fn new() -> Self {
        let align = spectrum::Align::Middle;
        if rayon::current_num_threads() < 2 {
            return Self {
                front: Running::Here(Box::new(stage::FrontStage::new(align))),
                waiting: Vec::new(),
            };
        }
        let kernels = Arc::new(spectrum::Kernels::new(align));
        let tones = [0, 1].map(stage::Part::Turn).map(|part| {
            let kernels = Arc::clone(&kernels);
            Beside::start(move |blocks| {
                let mut tones = stage::Tones::new(&kernels, part);
                blocks.iter().for_each(|block| tones.push(&block));
                tones
            })
        });
        let onsets = Beside::start(|blocks| {
            let mut onsets = stage::Onsets::of_file();
            blocks.iter().for_each(|block| onsets.push(&block));
            onsets
        });
        Self {
            front: Running::Beside(tones, onsets),
            waiting: Vec::with_capacity(BLOCK),
        }
    }

    /// Hears the next samples (mono, 22,050 Hz).
    pub fn push(&mut self, samples: &[f32]) {
        match &mut self.front {
            Running::Here(stage) => stage.push(samples),
            Running::Beside(tones, onsets) => {
                self.waiting.extend_from_slice(samples);
                if self.waiting.len() >= BLOCK {
                    let block = std::mem::replace(&mut self.waiting, Vec::with_capacity(BLOCK));
                    let block = Arc::new(block);
                    tones.iter().for_each(|tones| tones.hand_on(&block));
                    onsets.hand_on(&block);
                }
            }
        }
    }

    /// Ends the take and runs the acoustic stage; `progress` is told the share done, 0 to 1, and
    /// gives whether to go on.
    ///
    /// # Errors
    /// * [`HearingError::Empty`] if no sample came.
    /// * [`HearingError::Cancelled`] once `progress` gave false.
    /// * [`HearingError::Model`] if the built-in net cannot be used.
    pub fn finish(self, progress: &(dyn Fn(f64) -> bool + Sync)) -> Result<Sound, HearingError> {
        let mut front = match self.front {
            Running::Here(stage) => stage.finish(),
            Running::Beside(tones, onsets) => {
                let last = Arc::new(self.waiting);
                tones.iter().for_each(|tones| tones.hand_on(&last));
                onsets.hand_on(&last);
                stage::Front::of_both(tones.map(Beside::end), onsets.end())
            }
        };
        if front.n_samples == 0 {
            return Err(HearingError::Empty);
        }
        let (acoustic, songs) = nets::hear(&mut front, progress)?;
        Ok(Sound {
            strokes: strokes(&front.attacks),
            front,
            acoustic,
            songs,
        })
    }
}
