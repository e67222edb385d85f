//! From an open microphone into a file: the same for the terminal and the page.

use super::{AudioError, Capture, Channels, Level, LevelMeter, Recording};
use std::time::{Duration, Instant};

/// A device that delivers nothing for so long has vanished; the first sound may take longer.
const PATIENCE: Duration = Duration::from_secs(4);
const FIRST_PATIENCE: Duration = Duration::from_secs(8);
/// Nothing over this was heard: silence, dB under full scale.
const SILENT_DBFS: f64 = -70.0;

/// Why a take ends by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TakeEnd {
    /// It is as long as was asked for.
    Length,
    /// The device stopped delivering.
    Device,
    /// The disk is full or gone.
    Disk,
}

/// A take that is being recorded.
pub struct Taking {
    mic: Capture,
    channels: Channels,
    recording: Recording,
    meter: LevelMeter,
    most_frames: Option<u64>,
    error: Option<AudioError>,
    marks_s: Vec<f64>,
    /// Frames that the device had delivered before the take.
    start_frame: u64,
    last_sound: Instant,
    patience: Duration,
    /// Samples as they come, and those of the channels that are kept.
    all: Vec<f32>,
    block: Vec<f32>,
}

impl Taking {
    /// Begins with what the microphone delivers and was not pulled yet; the recording has the
    /// number of `channels`. It ends by itself after `most_frames`, if any are given.
    pub fn begin(
        mic: Capture,
        channels: Channels,
        recording: Recording,
        most_frames: Option<u64>,
    ) -> Self {
        Self {
            meter: LevelMeter::new(channels.count(mic.n_channels), mic.rate_hz),
            start_frame: mic.pulled_frames(),
            mic,
            channels,
            recording,
            most_frames,
            error: None,
            marks_s: Vec::new(),
            last_sound: Instant::now(),
            patience: FIRST_PATIENCE,
            all: Vec::new(),
            block: Vec::new(),
        }
    }

    /// Writes what came since the last call; gives its level, if anything came.
    ///
    /// # Errors
    /// Why the take is over; [`Taking::finish`] then ends the file.
    pub fn step(&mut self) -> Result<Option<Level>, TakeEnd> {
        let mut level = None;
        self.all.clear();
        if self.mic.pull(&mut self.all) > 0 {
            self.last_sound = Instant::now();
            self.patience = PATIENCE;
            let n = self.mic.n_channels;
            self.channels.pick(n, &self.all, &mut self.block);
            if let Some(most) = self.most_frames {
                let room = most.saturating_sub(self.recording.n_frames()) as usize;
                let n = usize::from(self.channels.count(n));
                self.block.truncate(room.saturating_mul(n));
            }
            if let Err(error) = self.recording.push(&self.block) {
                self.error = Some(error);
                return Err(TakeEnd::Disk);
            }
            level = Some(self.meter.push(&self.block));
        }
        let is_long = |most: u64| self.recording.n_frames() >= most;
        if self.most_frames.is_some_and(is_long) {
            return Err(TakeEnd::Length);
        }
        if self.mic.faults().is_gone || self.last_sound.elapsed() > self.patience {
            return Err(TakeEnd::Device);
        }
        Ok(level)
    }

    /// Marks the present moment; gives where it is, s.
    pub fn mark(&mut self) -> f64 {
        let at_s = self.recording.mark();
        self.marks_s.push(at_s);
        at_s
    }

    /// Ends the file; gives whether all of it is on disk.
    pub fn finish(&mut self) -> bool {
        if let Err(error) = self.recording.finish() {
            self.error.get_or_insert(error);
        }
        self.error.is_none()
    }

    /// The device's name.
    pub fn device(&self) -> &str {
        &self.mic.device
    }

    /// Frames a second, Hz.
    pub fn rate_hz(&self) -> u32 {
        self.mic.rate_hz
    }

    /// Channels in the file.
    pub fn n_channels(&self) -> u16 {
        self.channels.count(self.mic.n_channels)
    }

    /// The file.
    pub fn recording(&self) -> &Recording {
        &self.recording
    }

    /// What the meter saw so far.
    pub fn meter(&self) -> &LevelMeter {
        &self.meter
    }

    /// Where marks were set, s.
    pub fn marks_s(&self) -> &[f64] {
        &self.marks_s
    }

    /// Sound so far, s.
    pub fn seconds(&self) -> f64 {
        self.recording.n_frames() as f64 / f64::from(self.mic.rate_hz)
    }

    /// Sound that is on disk, s.
    pub fn safe_s(&self) -> f64 {
        self.recording.safe_frames() as f64 / f64::from(self.mic.rate_hz)
    }

    /// Times that the device lost samples.
    pub fn n_dropouts(&self) -> u64 {
        self.mic.faults().n_dropouts
    }

    /// Frames that are missing within what was recorded.
    pub fn lost_frames(&self) -> u64 {
        let faults = self.mic.faults();
        let recorded_to = self.start_frame + self.recording.n_frames();
        match faults.first_lost_at {
            Some(at) if at < recorded_to => faults.lost_frames,
            _ => 0,
        }
    }

    /// Whether nothing sounded.
    pub fn is_silent(&self) -> bool {
        self.meter.highest_dbfs() < SILENT_DBFS
    }

    /// What is missing of what was played, in words; nothing if it is whole.
    pub fn missing(&self, end: Option<TakeEnd>) -> Vec<String> {
        let mut all = Vec::new();
        let n = self.n_dropouts();
        if n > 0 {
            let times = if n == 1 { "time" } else { "times" };
            all.push(format!(
                "the device lost samples {n} {times}; the take has gaps"
            ));
        }
        let lost_s = self.lost_frames() as f64 / f64::from(self.mic.rate_hz);
        if lost_s > 0.0 {
            all.push(format!(
                "{lost_s:.1} s came faster than the disk took them and are lost"
            ));
        }
        if end == Some(TakeEnd::Device) {
            all.push(format!(
                "'{}' stopped delivering; what was caught until then is saved",
                self.mic.device
            ));
        } else if let Some(error) = &self.error {
            all.push(format!(
                "{error}; {:.1} s are saved and playable",
                self.safe_s()
            ));
        }
        all
    }
}
