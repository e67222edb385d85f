//! A recording that is playable at every moment.
//!
//! Samples go to a WAV file whose header is brought up to date every half
//! second of sound, so that after a crash at most that much is lost. Before
//! the size field of the format (32 bits) runs over, the recording goes on in
//! a second file, without a gap: `take.wav`, `take-2.wav`, ...

use super::{AudioError, marks};
use hound::{SampleFormat, WavSpec, WavWriter};
use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};

/// The header is brought up to date after so much sound, s.
const FLUSH_S: f64 = 0.5;
/// In the first half second after so much: a recording killed early plays too.
const FIRST_FLUSH_S: f64 = 0.02;
/// Bytes of sound in one file: under 4 GB with room for headers.
const MOST_BYTES: u64 = 4_000_000_000;
/// Full scale of 24 bits.
const FULL_24: f32 = 8_388_608.0;

/// How samples are stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum SampleForm {
    /// 24-bit integers; what is over full scale is clipped.
    #[default]
    Int24,
    /// 32-bit floats, as they come.
    Float32,
}

impl SampleForm {
    /// Bytes of a sample.
    pub fn bytes(self) -> u64 {
        match self {
            Self::Int24 => 3,
            Self::Float32 => 4,
        }
    }

    fn spec(self, n_channels: u16, rate_hz: u32) -> WavSpec {
        let (bits_per_sample, sample_format) = match self {
            Self::Int24 => (24, SampleFormat::Int),
            Self::Float32 => (32, SampleFormat::Float),
        };
        WavSpec {
            channels: n_channels,
            sample_rate: rate_hz,
            bits_per_sample,
            sample_format,
        }
    }
}

/// A recording on its way to disk.
pub struct Recording {
    first: PathBuf,
    form: SampleForm,
    n_channels: u16,
    rate_hz: u32,
    most_frames: u64,
    writer: Option<WavWriter<BufWriter<File>>>,
    files: Vec<PathBuf>,
    /// Frames in the present file.
    in_file: u64,
    unflushed: u64,
    safe: u64,
    /// Frames of the whole recording that were marked, ascending.
    marked: Vec<u64>,
}

impl Recording {
    /// Starts a recording. A file that is there is kept unless `replace` says otherwise.
    ///
    /// # Errors
    /// * [`AudioError::Exists`] if the file is there.
    /// * [`AudioError::Write`] if it cannot be written.
    pub fn create(
        path: &Path,
        n_channels: u16,
        rate_hz: u32,
        form: SampleForm,
        replace: bool,
    ) -> Result<Self, AudioError> {
        Self::with_most_bytes(path, n_channels, rate_hz, form, replace, MOST_BYTES)
    }

    fn with_most_bytes(
        path: &Path,
        n_channels: u16,
        rate_hz: u32,
        form: SampleForm,
        replace: bool,
        most_bytes: u64,
    ) -> Result<Self, AudioError> {
        let mut recording = Self {
            first: path.into(),
            form,
            n_channels: n_channels.max(1),
            rate_hz,
            most_frames: (most_bytes / (form.bytes() * u64::from(n_channels.max(1)))).max(1),
            writer: None,
            files: Vec::new(),
            in_file: 0,
            unflushed: 0,
            safe: 0,
            marked: Vec::new(),
        };
        recording.open(path.into(), replace)?;
        recording.flush()?;
        Ok(recording)
    }

    fn open(&mut self, path: PathBuf, replace: bool) -> Result<(), AudioError> {
        let failed = |source: std::io::Error| {
            if source.kind() == std::io::ErrorKind::AlreadyExists {
                AudioError::Exists { path: path.clone() }
            } else {
                AudioError::Write {
                    path: path.clone(),
                    source,
                }
            }
        };
        let mut options = File::options();
        options.read(true).write(true);
        if replace {
            options.create(true).truncate(true);
        } else {
            options.create_new(true);
        }
        let file = options.open(&path).map_err(failed)?;
        let spec = self.form.spec(self.n_channels, self.rate_hz);
        let writer = WavWriter::new(BufWriter::new(file), spec).map_err(|e| failed(as_io(e)))?;
        self.writer = Some(writer);
        self.files.push(path);
        self.in_file = 0;
        Ok(())
    }

    /// Appends interleaved samples (whole frames).
    ///
    /// # Errors
    /// * [`AudioError::Write`] if the disk is full or gone. What was safe
    ///   before stays playable; nothing more can be appended.
    pub fn push(&mut self, interleaved: &[f32]) -> Result<(), AudioError> {
        let n_channels = usize::from(self.n_channels);
        let mut rest = interleaved;
        while !rest.is_empty() {
            if self.in_file >= self.most_frames {
                self.close()?;
                let next = self.part(self.files.len() + 1);
                self.open(next, false)?;
            }
            let room = (self.most_frames - self.in_file) as usize;
            let (now, later) = rest.split_at(rest.len().min(room.saturating_mul(n_channels)));
            self.write(now)?;
            rest = later;
        }
        let rate_hz = f64::from(self.rate_hz);
        let due_s = if (self.n_frames() as f64) < FLUSH_S * rate_hz {
            FIRST_FLUSH_S
        } else {
            FLUSH_S
        };
        if self.unflushed as f64 >= due_s * rate_hz {
            self.flush()?;
        }
        Ok(())
    }

    /// `take.wav`, then `take-2.wav` and so on; the first free one.
    fn part(&self, number: usize) -> PathBuf {
        let stem = self.first.file_stem().unwrap_or_default().to_string_lossy();
        let ending = self.first.extension().unwrap_or_default().to_string_lossy();
        (number..)
            .map(|n| self.first.with_file_name(format!("{stem}-{n}.{ending}")))
            .find(|p| !p.exists())
            .unwrap_or_else(|| self.first.clone())
    }

    fn write(&mut self, samples: &[f32]) -> Result<(), AudioError> {
        let form = self.form;
        let Some(writer) = &mut self.writer else {
            return Err(self.failed(std::io::Error::other("it was ended by an error before")));
        };
        let written = samples.iter().try_for_each(|x| match form {
            SampleForm::Float32 => writer.write_sample(*x),
            SampleForm::Int24 => {
                let x = (x * FULL_24).round().clamp(-FULL_24, FULL_24 - 1.0);
                writer.write_sample(x as i32)
            }
        });
        written.map_err(|e| self.give_up(e))?;
        let frames = (samples.len() / usize::from(self.n_channels)) as u64;
        self.in_file += frames;
        self.unflushed += frames;
        Ok(())
    }

    /// Brings the header up to date.
    fn flush(&mut self) -> Result<(), AudioError> {
        if let Some(writer) = &mut self.writer {
            let flushed = writer.flush();
            flushed.map_err(|e| self.give_up(e))?;
            self.safe += self.unflushed;
            self.unflushed = 0;
        }
        Ok(())
    }

    /// After a failed write: the file ends where its header says, so that it plays.
    fn give_up(&mut self, error: hound::Error) -> AudioError {
        // the writer's own end is tried and may fail like the write before
        drop(self.writer.take());
        if let Some(path) = self.files.last()
            && let Ok(reader) = hound::WavReader::open(path)
        {
            let frames = u64::from(reader.duration());
            let earlier = self
                .safe
                .saturating_sub(self.in_file.saturating_sub(self.unflushed));
            self.safe = earlier + frames;
        }
        self.unflushed = 0;
        self.failed(as_io(error))
    }

    fn failed(&self, source: std::io::Error) -> AudioError {
        AudioError::Write {
            path: self.files.last().unwrap_or(&self.first).clone(),
            source,
        }
    }

    fn close(&mut self) -> Result<(), AudioError> {
        self.flush()?;
        if let Some(writer) = self.writer.take() {
            writer.finalize().map_err(|e| self.failed(as_io(e)))?;
            let synced = self
                .files
                .last()
                .map_or(Ok(()), |path| File::open(path).and_then(|f| f.sync_all()));
            synced.map_err(|e| self.failed(e))?;
            self.write_marks()?;
        }
        Ok(())
    }

    /// The marks of the present file as its cue points.
    fn write_marks(&self) -> Result<(), AudioError> {
        let first = self.n_frames() - self.in_file;
        let own = self.marked.iter().filter_map(|at| at.checked_sub(first));
        let own: Vec<u64> = own.collect();
        let path = self.files.last().unwrap_or(&self.first);
        marks::append(path, &own).map_err(|e| self.failed(e))
    }

    /// Marks the present moment: a cue point of the file once it is ended. Gives where it is, s.
    pub fn mark(&mut self) -> f64 {
        self.marked.push(self.n_frames());
        self.n_frames() as f64 / f64::from(self.rate_hz)
    }

    /// Frames that a reader finds in the files by now.
    pub fn safe_frames(&self) -> u64 {
        self.safe
    }

    /// Frames taken so far.
    pub fn n_frames(&self) -> u64 {
        self.safe + self.unflushed
    }

    /// The files so far, in order.
    pub fn files(&self) -> &[PathBuf] {
        &self.files
    }

    /// Ends the recording: all of it is on disk.
    ///
    /// # Errors
    /// * [`AudioError::Write`] if the last part cannot be written.
    pub fn finish(&mut self) -> Result<(), AudioError> {
        self.close()
    }
}

fn as_io(error: hound::Error) -> std::io::Error {
    match error {
        hound::Error::IoError(e) => e,
        other => std::io::Error::other(other),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(path: &Path) -> Vec<i32> {
        let mut reader = hound::WavReader::open(path).expect("a WAV file");
        reader
            .samples::<i32>()
            .map(|s| s.expect("a sample"))
            .collect()
    }

    #[test]
    fn a_long_recording_goes_on_in_a_second_file_without_a_gap() {
        let dir = tempfile::tempdir().expect("a folder");
        let path = dir.path().join("long.wav");
        let mut recording =
            Recording::with_most_bytes(&path, 2, 8000, SampleForm::Int24, false, 6000)
                .expect("starts");
        let samples: Vec<f32> = (0..5000).map(|i| i as f32 / FULL_24).collect();
        for block in samples.chunks(334) {
            recording.push(block).expect("written");
        }
        recording.finish().expect("ends");
        assert_eq!(recording.files().len(), 3);
        let all: Vec<i32> = recording.files().iter().flat_map(|p| read(p)).collect();
        assert_eq!(all, (0..5000).collect::<Vec<i32>>());
        assert_eq!(recording.safe_frames(), 2500);
    }

    #[test]
    fn what_was_recorded_is_readable_before_the_end() {
        let dir = tempfile::tempdir().expect("a folder");
        let path = dir.path().join("now.wav");
        let mut recording =
            Recording::create(&path, 1, 1000, SampleForm::Float32, false).expect("starts");
        assert_eq!(
            hound::WavReader::open(&path)
                .expect("readable at once")
                .duration(),
            0
        );
        for _ in 0..33 {
            recording.push(&[0.25; 100]).expect("written");
            let found = hound::WavReader::open(&path).expect("readable").duration();
            assert_eq!(u64::from(found), recording.safe_frames());
            assert!(recording.n_frames() - u64::from(found) < 500);
        }
    }

    #[test]
    fn a_recording_killed_in_its_first_half_second_plays() {
        let dir = tempfile::tempdir().expect("a folder");
        let path = dir.path().join("early.wav");
        let mut recording =
            Recording::create(&path, 1, 48_000, SampleForm::Int24, false).expect("starts");
        for _ in 0..20 {
            recording.push(&[0.25; 480]).expect("written");
        }
        // nothing is closed: as after a kill at 0.2 s
        let found = hound::WavReader::open(&path).expect("readable").duration();
        assert!(found >= 20 * 480 - 960, "{found} frames");
    }

    #[test]
    fn an_old_take_is_not_lost_by_mistake() {
        let dir = tempfile::tempdir().expect("a folder");
        let path = dir.path().join("old.wav");
        std::fs::write(&path, b"precious").expect("written");
        let again = Recording::create(&path, 1, 1000, SampleForm::Int24, false);
        assert!(matches!(again, Err(AudioError::Exists { .. })));
        assert_eq!(std::fs::read(&path).expect("there"), b"precious");
    }
}
