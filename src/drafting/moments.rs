//! Moments that are kept while listening: their sound and what was heard in it.
//!
//! The sound is appended to a WAV file beside the log, and the whole hearing
//! (not the live one) of that sound is appended to the log. What is remembered can also become
//! a take of its own, which is drafted as any other.

use super::hear::hear_out;
use super::remembered::{Remembered, as_share};
use super::{Analysed, DraftError, Watch, analyse};
use crate::audio::ToHearing;
use crate::deciding::DecisionRequest;
use crate::fretboard::Instrument;
use crate::hearing::{Given, Listener};
use crate::songlog::decided::clock;
use crate::songlog::heard::{Candidate, Heard, HeardChord};
use crate::songlog::{self, Log, store, validate};
use crate::theory::Label;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

/// What the log of kept moments says of their sound.
const KIND: &str = "WAV, 24 bit";
/// How much is remembered if nothing is said, s.
pub const REMEMBERED_S: f64 = 300.0;
/// A moment is at least so long, s.
const SHORTEST_S: f64 = 3.0;
/// What is shorter than this is no silence, s: a log rounds its times to a tenth of it.
const LOG_STEP_S: f64 = 1e-3;
/// A chord's attack begins a little before it is heard, s.
const LEAD_S: f64 = 0.3;
/// Samples that are handed to hearing at a time.
const HEARD_AT_A_TIME: usize = 1 << 15;

/// The log that moments go to which are kept while another log is open: that
/// one if it holds moments already, else `NAME-moments.takebook` beside it.
pub fn moments_beside(path: &Path, log: &Log) -> PathBuf {
    if log.take.kind == KIND && log.take.fingerprint.is_none() {
        return path.into();
    }
    let mut name = path.file_stem().unwrap_or_default().to_os_string();
    name.push("-moments.");
    name.push(store::ENDING);
    path.with_file_name(name)
}

/// The last minutes of sound, and what was kept of them.
pub struct Moments {
    log: PathBuf,
    wav: PathBuf,
    rate_hz: u32,
    given: Given,
    /// The most that is remembered, s.
    longest_s: f64,
    /// What is remembered, at the device's rate.
    lately: Remembered,
    n_heard: u64,
    mark_s: Option<f64>,
    marks_s: Vec<f64>,
    n_kept: usize,
    remark: String,
}

impl Moments {
    /// Nothing heard yet; moments go to `log`, their sound to a WAV file beside it. So many
    /// seconds are remembered.
    pub fn new(log: &Path, rate_hz: u32, given: Given, longest_s: f64) -> Self {
        Self {
            log: log.into(),
            wav: log.with_extension("wav"),
            rate_hz,
            given,
            longest_s,
            lately: Remembered::new((longest_s * f64::from(rate_hz)) as usize),
            n_heard: 0,
            mark_s: None,
            marks_s: Vec::new(),
            n_kept: 0,
            remark: String::new(),
        }
    }

    /// Tuning and capo as given.
    pub fn instrument(&self) -> &Instrument {
        &self.given.instrument
    }

    /// How many moments were kept.
    pub fn n_kept(&self) -> usize {
        self.n_kept
    }

    /// Where marks were set, s.
    pub fn marks_s(&self) -> &[f64] {
        &self.marks_s
    }

    /// The log that moments go to.
    pub fn log(&self) -> &Path {
        &self.log
    }

    /// What was done last, in words.
    pub fn remark(&self) -> &str {
        &self.remark
    }

    /// Remembers interleaved samples of `n` channels.
    pub fn push(&mut self, interleaved: &[f32], n: usize) {
        let share = 1.0 / n as f32;
        for frame in interleaved.chunks_exact(n) {
            self.lately.push(frame.iter().sum::<f32>() * share);
            self.n_heard += 1;
        }
    }

    fn now_s(&self) -> f64 {
        self.n_heard as f64 / f64::from(self.rate_hz)
    }

    /// The next kept moment begins here.
    pub fn mark(&mut self) {
        let now = self.now_s();
        self.mark_s = Some(now);
        self.marks_s.push(now);
        self.remark = format!("marked at {}", clock(now));
    }

    /// Keeps the sound since the mark, or since the chord began; [`Moments::remark`] tells of it.
    ///
    /// # Errors
    /// * [`DraftError::Moment`], [`DraftError::Log`] if it cannot be written;
    ///   listening can go on, and the sound is still there to be kept elsewhere.
    pub fn keep(&mut self, chord_since_s: Option<f64>) -> Result<(), DraftError> {
        let since = self
            .mark_s
            .take()
            .or(chord_since_s.map(|s| s - LEAD_S))
            .unwrap_or(self.now_s());
        self.keep_since(since)
    }

    /// Keeps the last so many seconds, whatever was marked.
    ///
    /// # Errors
    /// As [`Moments::keep`].
    pub fn keep_last(&mut self, seconds: f64) -> Result<(), DraftError> {
        self.keep_since(self.now_s() - seconds)
    }

    fn keep_since(&mut self, since_s: f64) -> Result<(), DraftError> {
        let now = self.now_s();
        let since = since_s
            .min(now - SHORTEST_S)
            .max(now - self.longest_s)
            .max(0.0);
        match self.save(self.n_since(since)) {
            Ok(chords) => {
                self.n_kept += 1;
                self.remark = format!(
                    "kept {:.1} s in {}: {chords}",
                    now - since,
                    self.log.display()
                );
                Ok(())
            }
            Err(error) => {
                self.remark = format!("not kept: {error}");
                Err(error)
            }
        }
    }

    /// Samples since then, as far as they are remembered.
    fn n_since(&self, since_s: f64) -> usize {
        let n = ((self.now_s() - since_s) * f64::from(self.rate_hz)) as usize;
        n.min(self.lately.len())
    }

    /// Saves what is remembered since the mark (or all of it) as a take of its own beside the
    /// log and drafts it; [`Moments::remark`] tells of it. Gives the take's log.
    ///
    /// # Errors
    /// * [`DraftError::Moment`] if there is too little, or it cannot be written; as [`analyse`]
    ///   if it cannot be drafted: the take is saved even then.
    pub fn save_take(&mut self) -> Result<PathBuf, DraftError> {
        let n = self.n_of_take();
        let length_s = n as f64 / f64::from(self.rate_hz);
        self.remark.clear();
        let saved = self.write_take(n);
        let done = saved.and_then(|take| {
            let log = take.with_extension(store::ENDING);
            let drafted = self.draft_take(&take, &log);
            self.remark = match &drafted {
                Ok(()) => format!("saved {} and drafted {}", take.display(), log.display()),
                Err(e) => format!("saved {}; not drafted: {e}", take.display()),
            };
            drafted.map(|()| log)
        });
        match &done {
            Ok(_) => self.remark += &format!(" ({length_s:.0} s)"),
            Err(e) if self.remark.is_empty() => self.remark = format!("not saved: {e}"),
            Err(_) => {}
        }
        done
    }

    /// Saves what is remembered since the mark (or all of it) as a take of its own beside the
    /// log; gives it, and what is known of its song.
    ///
    /// # Errors
    /// * [`DraftError::Moment`] if there is too little, or it cannot be written.
    pub fn save_sound(&mut self) -> Result<(PathBuf, DecisionRequest), DraftError> {
        let n = self.n_of_take();
        Ok((self.write_take(n)?, self.settings()))
    }

    /// Samples since the mark, or all; the mark is used up.
    fn n_of_take(&mut self) -> usize {
        let since = self.mark_s.take().unwrap_or(0.0);
        self.n_since(since.min(self.now_s() - SHORTEST_S))
    }

    /// Writes the latest `n` samples as a WAV file of its own, whole or not at all:
    /// `NAME-take-1.wav` and so on.
    fn write_take(&self, n: usize) -> Result<PathBuf, DraftError> {
        if (n as f64) < SHORTEST_S * f64::from(self.rate_hz) {
            return Err(moment(format!(
                "there are not yet {SHORTEST_S:.0} seconds of sound"
            )));
        }
        let stem = self.log.file_stem().unwrap_or_default().to_string_lossy();
        let free = |n: &u32| {
            let take = self.log.with_file_name(format!("{stem}-take-{n}.wav"));
            let is_free = !take.exists() && !take.with_extension(store::ENDING).exists();
            is_free.then_some(take)
        };
        let take = (1..10_000).find_map(|n| free(&n));
        let take = take.ok_or_else(|| moment("there are too many takes beside the log"))?;
        let folder = match take.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        };
        let failed = |e: String| moment(format!("cannot write '{}': {e}", take.display()));
        let file = tempfile::NamedTempFile::new_in(folder).map_err(|e| failed(e.to_string()))?;
        let mut writer = hound::WavWriter::new(std::io::BufWriter::new(&file), self.spec())
            .map_err(|e| failed(e.to_string()))?;
        for sample in self.lately.latest(n) {
            writer
                .write_sample(sample)
                .map_err(|e| failed(e.to_string()))?;
        }
        writer.finalize().map_err(|e| failed(e.to_string()))?;
        file.persist_noclobber(&take)
            .map_err(|e| failed(e.error.to_string()))?;
        Ok(take)
    }

    /// What is given about the instrument and the key.
    fn settings(&self) -> DecisionRequest {
        let instrument = &self.given.instrument;
        let usual = Instrument::default();
        DecisionRequest {
            key: self.given.key,
            capo: (instrument.capo > 0).then_some(instrument.capo),
            tuning: (instrument.tuning != usual.tuning).then(|| instrument.tuning.clone()),
            ..DecisionRequest::default()
        }
    }

    fn draft_take(&self, take: &Path, log: &Path) -> Result<(), DraftError> {
        let watch = Watch {
            progress: &|_| {},
            cancel: &AtomicBool::new(false),
        };
        match analyse(take, log, &self.settings(), false, &watch)? {
            Analysed::Saved(_) | Analysed::UpToDate => Ok(()),
        }
    }

    fn spec(&self) -> hound::WavSpec {
        hound::WavSpec {
            channels: 1,
            sample_rate: self.rate_hz,
            bits_per_sample: 24,
            sample_format: hound::SampleFormat::Int,
        }
    }

    /// Hears the latest `n` samples and appends them and what was heard.
    fn save(&self, n: usize) -> Result<String, DraftError> {
        let mut listener = Listener::new();
        let mut to_hearing = ToHearing::new(1, self.rate_hz)?;
        let mut latest = self.lately.latest(n).map(as_share);
        loop {
            let block: Vec<f32> = latest.by_ref().take(HEARD_AT_A_TIME).collect();
            if block.is_empty() {
                break;
            }
            to_hearing.push(&block, &mut |block| listener.push(block));
        }
        to_hearing.finish(&mut |block| listener.push(block));
        let heard = hear_out(listener, &self.given)?;
        let chords = heard
            .chords
            .iter()
            .filter_map(|c| Some(c.candidates.first()?.label.symbol()))
            .collect::<Vec<_>>()
            .join(" ");
        let locked = store::lock(&self.log)?;
        let before = match self.log.exists() {
            true => Some(store::load(&self.log)?),
            false => None,
        };
        let (start_s, end_s) = self.append_sound(n, before.as_ref())?;
        let log = self.joined(before, heard, start_s, end_s)?;
        validate::sense(&log).map_err(|fault| moment(format!("hearing went wrong at {fault}")))?;
        locked.save(&log)?;
        Ok(chords)
    }

    /// Appends the latest `n` samples to the WAV file; gives where the moment lies in it, s.
    fn append_sound(&self, n: usize, before: Option<&Log>) -> Result<(f64, f64), DraftError> {
        let failed =
            |e: hound::Error| moment(format!("cannot write '{}': {e}", self.wav.display()));
        let spec = self.spec();
        let mut writer = if self.wav.exists() {
            // the WAV lies beside its log, which names it without a folder
            let name = self.wav.file_name().unwrap_or_default();
            // a drafted take is not to be appended to, even if it is named so
            let ours = before.is_some_and(|log| {
                *log.take.file == *name && log.take.kind == KIND && log.take.fingerprint.is_none()
            });
            let writer = hound::WavWriter::append(&self.wav).map_err(failed)?;
            if !ours || writer.spec() != spec {
                return Err(moment(format!(
                    "'{}' holds something else; name another log to keep moments in",
                    self.wav.display()
                )));
            }
            writer
        } else if before.is_some() {
            return Err(moment(format!(
                "the log '{}' is about another take; name another to keep moments in",
                self.log.display()
            )));
        } else {
            hound::WavWriter::create(&self.wav, spec).map_err(failed)?
        };
        let rate = f64::from(self.rate_hz);
        let start_s = f64::from(writer.duration()) / rate;
        for sample in self.lately.latest(n) {
            writer.write_sample(sample).map_err(failed)?;
        }
        let end_s = f64::from(writer.duration()) / rate;
        writer.finalize().map_err(failed)?;
        Ok((start_s, end_s))
    }

    /// The log with the moment's chords and notes behind those before. Beats
    /// and bars are left out: moments are no piece of music.
    fn joined(
        &self,
        before: Option<Log>,
        moment: Heard,
        start_s: f64,
        end_s: f64,
    ) -> Result<Log, DraftError> {
        let bytes = std::fs::metadata(&self.wav).map_or(0, |m| m.len());
        let file = self.wav.file_name().unwrap_or_default();
        let take = songlog::Take {
            file: file.to_string_lossy().into_owned(),
            kind: KIND.into(),
            rate_hz: self.rate_hz,
            channels: 1,
            bytes,
            fingerprint: None,
            tags: Default::default(),
        };
        let (mut heard, decided) = match before {
            Some(log) => (log.heard, log.decided),
            None => {
                let empty = Heard {
                    chords: Vec::new(),
                    notes: Vec::new(),
                    warnings: Vec::new(),
                    ..moment.clone()
                };
                (empty, Vec::new())
            }
        };
        heard.by_version = env!("CARGO_PKG_VERSION").into();
        heard.duration_s = end_s;
        (heard.tempo_bpm, heard.meter, heard.key) = (None, None, self.given.key);
        heard.key_changes.clear();
        heard.beats.clear();
        heard.bars.clear();
        heard.sections.clear();
        heard.detail.clear();
        heard.strums.clear();
        heard.choices.clear();
        let heard_to = heard.chords.last().map_or(0.0, |c| c.end_s);
        // the log's times are rounded, the sound's length is not: what is shorter than the
        // rounding is no silence, and would be saved as a chord of no length
        let joins = start_s - heard_to <= LOG_STEP_S;
        if !joins {
            heard.chords.push(silence(heard_to, start_s));
        }
        let joined = heard.chords.len();
        heard.chords.extend(moment.chords.into_iter().map(|mut c| {
            c.start_s += start_s;
            c.end_s = (c.end_s + start_s).min(end_s);
            c
        }));
        if let (true, Some(first)) = (joins, heard.chords.get_mut(joined)) {
            first.start_s = heard_to;
        }
        if let Some(last) = heard.chords.last_mut() {
            last.end_s = end_s;
        }
        heard.notes.extend(moment.notes.into_iter().map(|mut n| {
            n.start_s += start_s;
            n.end_s += start_s;
            n
        }));
        Ok(Log {
            take,
            drafted: store::now(),
            heard,
            decided,
        })
    }
}

fn moment(text: impl Into<String>) -> DraftError {
    DraftError::Moment { text: text.into() }
}

fn silence(start_s: f64, end_s: f64) -> HeardChord {
    HeardChord {
        start_s,
        end_s,
        candidates: vec![Candidate {
            label: Label::NoChord,
            probability: 1.0,
            reason: "not heard".into(),
        }],
        shapes: Vec::new(),
        bass_midi: None,
        chroma: [0.0; 12],
        fragment: false,
    }
}
