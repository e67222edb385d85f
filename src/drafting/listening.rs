//! Hearing a microphone while it is played: device, level, live answers, moments.
//!
//! The same for the terminal and the page; what is shown of it is theirs.

use super::{DraftError, Moments};
use crate::audio::{Capture, Channels, Level, LevelMeter, ToHearing, WantedDevice, capture};
use crate::deciding::DecisionRequest;
use crate::fretboard::Instrument;
use crate::hearing::spectrum::HOP_S;
use crate::hearing::{Given, Live, LiveAnswer, Played, Weights};
use crate::theory::{Key, midi_name};
use std::path::PathBuf;
use std::time::{Duration, Instant};

/// Below this nothing is played: the last answer is held, dB FS.
const QUIET_DBFS: f64 = -60.0;
/// A device that delivers nothing for so long has vanished.
const PATIENCE: Duration = Duration::from_secs(8);
/// Sound is heard a part of a second at a time, as it would have come.
const PARTS_A_SECOND: usize = 10;

/// What stood for less than this is not remembered, s.
const LEAST_STAND_S: f64 = 0.3;
/// How many chords before the last are remembered.
const N_EARLIER: usize = 32;

/// What is to be listened to, and how.
#[derive(Debug, Clone)]
pub struct ToListen {
    /// Name of the device or a part of it; none for the default.
    pub device: Option<String>,
    /// Only this channel of it, from 1; none for all mixed.
    pub channel: Option<u16>,
    /// Tuning and capo.
    pub instrument: Instrument,
    /// The key, if it is known.
    pub key: Option<Key>,
    /// How much sound after a moment is waited for, s.
    pub look_ahead_s: f64,
    /// The log that kept moments go to.
    pub keep: PathBuf,
    /// How much sound is remembered for that, s.
    pub remember_s: f64,
}

/// A tenth of a second that was heard.
#[derive(Debug, Clone, Copy)]
pub struct Tenth {
    /// Its level.
    pub level: Level,
    /// Whether hearing answered anew with it.
    pub is_answered: bool,
    /// Whether nothing sounds now: the answer is that of before.
    pub is_held: bool,
}

/// A microphone that is being heard.
pub struct Listening {
    mic: Capture,
    wanted: WantedDevice,
    channels: Channels,
    to_hearing: ToHearing,
    meter: LevelMeter,
    live: Live,
    moments: Moments,
    /// The last answer in which something sounded.
    last: Option<LiveAnswer>,
    /// What the last answer is called, and since when, s.
    name: Option<(String, f64)>,
    earlier: Vec<String>,
    is_frozen: bool,
    is_paused: bool,
    n_frames: u64,
    last_sound: Instant,
}

impl Listening {
    /// Opens the device.
    ///
    /// # Errors
    /// * [`DraftError::Audio`] if there is no such device or channel, or it cannot be read.
    pub fn begin(wanted: ToListen) -> Result<Self, DraftError> {
        let device = WantedDevice {
            name: wanted.device,
            rate_hz: None,
        };
        let mic = capture(&device)?;
        let channels = match wanted.channel {
            Some(n) if n > mic.n_channels || n == 0 => {
                return Err(DraftError::Moment {
                    text: format!(
                        "'{}' has no channel {n}; it has {}",
                        mic.device, mic.n_channels
                    ),
                });
            }
            Some(n) => Channels::One(n - 1),
            None => Channels::All,
        };
        let given = Given {
            instrument: wanted.instrument,
            key: wanted.key,
            ..Given::default()
        };
        let n_channels = channels.count(mic.n_channels);
        let look_ahead = (wanted.look_ahead_s / HOP_S).round() as usize;
        Ok(Self {
            to_hearing: ToHearing::new(n_channels, mic.rate_hz)?,
            meter: LevelMeter::new(n_channels, mic.rate_hz),
            live: Live::new(given.clone(), Weights::default(), look_ahead),
            moments: Moments::new(&wanted.keep, mic.rate_hz, given, wanted.remember_s),
            last: None,
            name: None,
            earlier: Vec::new(),
            is_frozen: false,
            is_paused: false,
            wanted: device,
            n_frames: 0,
            last_sound: Instant::now(),
            channels,
            mic,
        })
    }

    /// The device's name.
    pub fn device(&self) -> &str {
        &self.mic.device
    }

    /// The last answer in which something sounded.
    pub fn last(&self) -> Option<&LiveAnswer> {
        self.last.as_ref()
    }

    /// The chords (or notes) that sounded before the last answer, oldest first.
    pub fn earlier(&self) -> &[String] {
        &self.earlier
    }

    /// What is kept and marked.
    pub fn moments(&self) -> &Moments {
        &self.moments
    }

    /// Sound heard so far, s.
    pub fn heard_s(&self) -> f64 {
        self.n_frames as f64 / f64::from(self.mic.rate_hz)
    }

    /// Samples at full scale so far.
    pub fn n_clipped(&self) -> u64 {
        self.meter.n_clipped()
    }

    /// Whether answers stand still.
    pub fn is_frozen(&self) -> bool {
        self.is_frozen
    }

    /// Lets answers stand still, or go on.
    pub fn freeze(&mut self, frozen: bool) {
        self.is_frozen = frozen;
    }

    /// Whether sound is let go by unheard.
    pub fn is_paused(&self) -> bool {
        self.is_paused
    }

    /// Lets sound go by unheard, or hears it again.
    pub fn pause(&mut self, paused: bool) {
        self.is_paused = paused;
    }

    /// The next kept moment begins here.
    pub fn mark(&mut self) {
        self.moments.mark();
    }

    /// Keeps the moment: its sound and what the whole hearing hears in it.
    ///
    /// # Errors
    /// As [`Moments::keep`].
    pub fn keep(&mut self) -> Result<(), DraftError> {
        let since_s = self.last.as_ref().map(|a| a.since_s);
        self.moments.keep(since_s)
    }

    /// Keeps the last so many seconds.
    ///
    /// # Errors
    /// As [`Moments::keep`].
    pub fn keep_last(&mut self, seconds: f64) -> Result<(), DraftError> {
        self.moments.keep_last(seconds)
    }

    /// Saves what is remembered since the mark, or all of it, as a take; gives it, and what is
    /// known of its song.
    ///
    /// # Errors
    /// As [`Moments::save_sound`].
    pub fn save_sound(&mut self) -> Result<(PathBuf, DecisionRequest), DraftError> {
        self.moments.save_sound()
    }

    /// Saves what is remembered since the mark, or all of it, as a take, and drafts it.
    ///
    /// # Errors
    /// As [`Moments::save_take`].
    pub fn save_take(&mut self) -> Result<PathBuf, DraftError> {
        self.moments.save_take()
    }

    /// Opens the device again if it is there again; gives whether it is.
    pub fn open_again(&mut self) -> bool {
        match capture(&self.wanted) {
            Ok(mic) if (mic.n_channels, mic.rate_hz) == (self.mic.n_channels, self.mic.rate_hz) => {
                self.mic = mic;
                self.last_sound = Instant::now();
                true
            }
            _ => false,
        }
    }

    /// Whether the device stopped delivering.
    pub fn is_gone(&self) -> bool {
        self.mic.faults().is_gone || self.last_sound.elapsed() > PATIENCE
    }

    /// Hears what came since the last call, up to `most_s` seconds of sound in
    /// all; `each` is told every tenth of a second of it.
    ///
    /// # Errors
    /// * [`DraftError::Hearing`] if hearing fails, and what `each` gives.
    pub fn hear<E: From<DraftError>>(
        &mut self,
        most_s: Option<f64>,
        each: &mut dyn FnMut(&Self, Tenth) -> Result<(), E>,
    ) -> Result<(), E> {
        let (mut all, mut block) = (Vec::new(), Vec::new());
        if self.mic.pull(&mut all) == 0 {
            return Ok(());
        }
        self.last_sound = Instant::now();
        if self.is_paused {
            return Ok(());
        }
        self.channels.pick(self.mic.n_channels, &all, &mut block);
        let n = usize::from(self.channels.count(self.mic.n_channels));
        if let Some(most_s) = most_s {
            let most = (most_s * f64::from(self.mic.rate_hz)) as u64;
            let room = most.saturating_sub(self.n_frames) as usize;
            block.truncate(room.saturating_mul(n));
        }
        for part in block.chunks(n * self.mic.rate_hz as usize / PARTS_A_SECOND) {
            let tenth = self.tenth(part)?;
            each(self, tenth)?;
        }
        // a slow machine is no silent device
        self.last_sound = Instant::now();
        Ok(())
    }

    fn tenth(&mut self, part: &[f32]) -> Result<Tenth, DraftError> {
        let level = self.meter.push(part);
        let n = usize::from(self.channels.count(self.mic.n_channels));
        self.n_frames += (part.len() / n) as u64;
        self.moments.push(part, n);
        let mut ready = Vec::new();
        self.to_hearing
            .push(part, &mut |mono| ready.extend_from_slice(mono));
        let answer = self.live.push(&ready)?;
        let is_answered = answer.is_some();
        let mut is_held = true;
        if let Some(answer) = answer {
            is_held = level.rms_dbfs <= QUIET_DBFS || answer.played == Played::Nothing;
            // what was just struck is shown once it is clear what it is
            if !is_held && !self.is_frozen && answer.played != Played::Unclear {
                self.remember(&answer);
                self.last = Some(answer);
            }
        }
        Ok(Tenth {
            level,
            is_answered,
            is_held,
        })
    }

    /// Moves the name of the last answer to those before, if this one has another.
    fn remember(&mut self, answer: &LiveAnswer) {
        let name = match answer.played {
            Played::Note(midi) => midi_name(midi),
            _ => answer
                .chords()
                .first()
                .map_or(String::new(), |(label, _)| label.symbol()),
        };
        match &self.name {
            Some((before, _)) if *before == name => {}
            Some((before, since_s)) => {
                if answer.at_s - since_s >= LEAST_STAND_S {
                    self.earlier.push(before.clone());
                }
                self.name = Some((name, answer.at_s));
            }
            None => self.name = Some((name, answer.at_s)),
        }
        let over = self.earlier.len().saturating_sub(N_EARLIER);
        self.earlier.drain(..over);
    }
}
