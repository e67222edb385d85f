//! One file's sound track, decoded packet by packet.
//!
//! A decoder that panics on damaged input (Vorbis has been seen to) is treated
//! like one that gives an error: what was decoded so far stays.

use super::facts::Tags;
use super::opus_decoder::{OpusDecoder, run_in};
use super::{AudioError, edits};
use std::cell::Cell;
use std::fs::File;
use std::io::Read;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::Once;
use symphonia::core::codecs::audio::well_known::{CODEC_ID_OPUS, CODEC_ID_WMA};
use symphonia::core::codecs::audio::{AudioCodecParameters, AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, FormatReader, TrackType};
use symphonia::core::io::{MediaSourceStream, MediaSourceStreamOptions};
use symphonia::core::meta::{MetadataOptions, StandardTag, Tag};

/// Rates that some recorder writes, Hz.
const RATES_HZ: std::ops::RangeInclusive<u32> = 4_000..=768_000;
/// A longer silence than this is not put in for a damaged packet, s.
const LONGEST_PATCH_S: u64 = 10;

/// What one step of decoding gave.
pub(super) enum Step {
    /// Interleaved samples are in the buffer.
    Samples,
    /// The end, as it should be.
    End,
    /// It stopped early, and why.
    Broken(String),
}

/// An open file with its decoder.
pub(super) struct Track {
    path: PathBuf,
    reader: Box<dyn FormatReader>,
    decoder: Box<dyn AudioDecoder>,
    id: u32,
    pub(super) kind: String,
    pub(super) rate_hz: u32,
    pub(super) n_channels: usize,
    /// Frames the file says it has, run-in not counted.
    pub(super) n_frames: Option<u64>,
    // frames still to skip, and frames still to give, by the edit list
    skip: u64,
    left: Option<u64>,
    pending: Option<Vec<f32>>,
    /// Packets that could not be decoded and were replaced by silence.
    pub(super) n_damaged: u64,
    pub(super) tags: Tags,
}

impl Track {
    pub(super) fn open(path: &Path) -> Result<Self, AudioError> {
        let path = path.to_path_buf();
        let head = look(&path)?;
        guarded(|| Self::open_inside(&path, &head)).unwrap_or_else(|reason| {
            Err(AudioError::Nothing {
                path: path.clone(),
                reason,
            })
        })
    }

    fn open_inside(path: &Path, head: &[u8]) -> Result<Self, AudioError> {
        if let Some(kind) = foreign(head) {
            return Err(unsupported(path, kind));
        }
        let file = File::open(path).map_err(|source| AudioError::Open {
            path: path.into(),
            source,
        })?;
        let stream = MediaSourceStream::new(Box::new(file), MediaSourceStreamOptions::default());
        let mut hint = Hint::new();
        if let Some(ending) = path.extension().and_then(|e| e.to_str()) {
            hint.with_extension(&ending.to_lowercase());
        }
        let reader = symphonia::default::get_probe()
            .probe(
                &hint,
                stream,
                FormatOptions::default(),
                MetadataOptions::default(),
            )
            .map_err(|error| not_read(path, head, error))?;
        let container = reader.format_info().long_name.to_owned();
        let track = reader
            .default_track(TrackType::Audio)
            .or_else(|| reader.first_track(TrackType::Audio))
            .ok_or_else(|| nothing(path, "it has no sound track"))?;
        let params = track
            .codec_params
            .as_ref()
            .and_then(|p| p.audio())
            .cloned()
            .ok_or_else(|| unsupported(path, "sound in an unknown coding"))?;
        if params.codec == CODEC_ID_WMA {
            return Err(unsupported(path, "Windows Media sound"));
        }
        let (id, n_frames) = (track.id, track.num_frames);
        let mut decoder = decoder(&params).map_err(|error| not_decoded(path, error))?;
        decoder.reset();
        let kind = describe(&container, &params, decoder.codec_info().long_name);
        let mut track = Self {
            path: path.into(),
            reader,
            decoder,
            id,
            kind,
            rate_hz: params.sample_rate.unwrap_or(0),
            n_channels: 0,
            n_frames,
            skip: 0,
            left: None,
            pending: None,
            n_damaged: 0,
            tags: Tags::default(),
        };
        track.tags = tags(track.reader.as_mut());
        track.find_spec()?;
        track.apply_edit(run_in(&params));
        Ok(track)
    }

    /// Decodes the first packet: only it tells rate and channels for certain.
    fn find_spec(&mut self) -> Result<(), AudioError> {
        let mut first = Vec::new();
        match self.step_inside(&mut first) {
            Step::Samples => {}
            Step::End => return Err(self.nothing("it ends before the first sample")),
            Step::Broken(reason) => return Err(self.nothing(&reason)),
        }
        if !RATES_HZ.contains(&self.rate_hz) {
            return Err(AudioError::Rate {
                path: self.path.clone(),
                rate_hz: self.rate_hz,
            });
        }
        self.pending = Some(first);
        Ok(())
    }

    fn nothing(&self, reason: &str) -> AudioError {
        nothing(&self.path, reason)
    }

    /// Takes the edit list's word; `run_in` frames at the start are left out already.
    fn apply_edit(&mut self, run_in: u64) {
        let Some(edit) = edits::read(&self.path) else {
            return;
        };
        let rate = f64::from(self.rate_hz);
        let start = (edit.start_s * rate).round() as u64;
        self.skip = start.saturating_sub(run_in);
        self.left = edit.length_s.map(|s| (s * rate).round() as u64);
        if let (Some(n), Some(left)) = (self.n_frames, self.left) {
            self.n_frames = Some(n.saturating_sub(self.skip).min(left));
        }
    }

    /// Puts the next interleaved samples into `into` (its old content goes).
    pub(super) fn next_block(&mut self, into: &mut Vec<f32>) -> Step {
        loop {
            if self.left == Some(0) {
                return Step::End;
            }
            let step = match self.pending.take() {
                Some(first) => {
                    *into = first;
                    Step::Samples
                }
                None => guarded(|| self.step_inside(into)).unwrap_or_else(Step::Broken),
            };
            if !matches!(step, Step::Samples) {
                return step;
            }
            self.trim(into);
            if !into.is_empty() {
                return Step::Samples;
            }
        }
    }

    /// Cuts off what the edit list leaves out.
    fn trim(&mut self, block: &mut Vec<f32>) {
        let n = self.n_channels;
        let frames = (block.len() / n) as u64;
        let cut = self.skip.min(frames);
        self.skip -= cut;
        block.drain(..cut as usize * n);
        if let Some(left) = &mut self.left {
            let keep = (*left).min(frames - cut);
            *left -= keep;
            block.truncate(keep as usize * n);
        }
    }

    fn step_inside(&mut self, into: &mut Vec<f32>) -> Step {
        loop {
            let packet = match self.reader.next_packet() {
                Ok(Some(packet)) => packet,
                Ok(None) => return Step::End,
                Err(Error::ResetRequired) => {
                    return Step::Broken("a second recording follows in the same file".into());
                }
                // a WAV of unknown length, as a pipe writes it, just ends
                Err(Error::IoError(e))
                    if e.kind() == std::io::ErrorKind::UnexpectedEof
                        && self.n_frames.is_none()
                        && self.kind.starts_with("Waveform") =>
                {
                    return Step::End;
                }
                Err(error) => return Step::Broken(plain(&error)),
            };
            if packet.track_id != self.id {
                continue;
            }
            match self.decoder.decode(&packet) {
                Ok(buffer) => {
                    let spec = buffer.spec();
                    let (rate, channels) = (spec.rate(), spec.channels().count());
                    if self.n_channels == 0 {
                        self.rate_hz = rate;
                        self.n_channels = channels;
                    }
                    if buffer.frames() == 0 || channels == 0 {
                        continue;
                    }
                    if (rate, channels) != (self.rate_hz, self.n_channels) {
                        return Step::Broken("rate or channels change on the way".into());
                    }
                    buffer.copy_to_vec_interleaved(into);
                    return Step::Samples;
                }
                Err(Error::DecodeError(_) | Error::IoError(_)) => {
                    self.n_damaged += 1;
                    // silence of the same length keeps the rest in time
                    let frames = packet
                        .dur
                        .get()
                        .min(LONGEST_PATCH_S * u64::from(self.rate_hz));
                    if self.n_channels > 0 && frames > 0 {
                        into.clear();
                        into.resize(frames as usize * self.n_channels, 0.0);
                        return Step::Samples;
                    }
                }
                Err(error) => return Step::Broken(plain(&error)),
            }
        }
    }
}

fn unsupported(path: &Path, kind: &str) -> AudioError {
    AudioError::Unsupported {
        path: path.into(),
        kind: kind.into(),
    }
}

fn nothing(path: &Path, reason: &str) -> AudioError {
    AudioError::Nothing {
        path: path.into(),
        reason: reason.into(),
    }
}

/// Why a file that begins with `head` is not one of a known kind.
fn not_read(path: &Path, head: &[u8], error: Error) -> AudioError {
    match error {
        Error::Unsupported(_) | Error::IoError(_) if !looks_like_sound(head) => {
            AudioError::NotAudio { path: path.into() }
        }
        Error::Unsupported(what) if what.contains("moov") => nothing(
            path,
            "its table of contents is missing: the recording was not finished, or not copied whole",
        ),
        Error::Unsupported(what) => unsupported(path, &format!("sound of a kind ({what})")),
        other => nothing(path, &plain(&other)),
    }
}

/// Why its sound cannot be decoded.
fn not_decoded(path: &Path, error: Error) -> AudioError {
    match error {
        Error::Unsupported(what) if what.starts_with("opus") => {
            unsupported(path, "Opus sound of more than two channels")
        }
        Error::Unsupported(_) => unsupported(path, "sound in a coding that is not known"),
        other => nothing(path, &plain(&other)),
    }
}

fn decoder(params: &AudioCodecParameters) -> Result<Box<dyn AudioDecoder>, Error> {
    if params.codec == CODEC_ID_OPUS {
        return Ok(Box::new(OpusDecoder::new(params)?));
    }
    symphonia::default::get_codecs().make_audio_decoder(params, &AudioDecoderOptions::default())
}

/// Opens the file once to see whether it is there, and gives its first bytes.
fn look(path: &Path) -> Result<Vec<u8>, AudioError> {
    let failed = |source| AudioError::Open {
        path: path.into(),
        source,
    };
    // looked at before it is opened: a pipe would be waited for without end
    let facts = std::fs::metadata(path).map_err(failed)?;
    if facts.is_dir() {
        return Err(AudioError::Folder { path: path.into() });
    }
    if !facts.is_file() {
        return Err(AudioError::Nothing {
            path: path.into(),
            reason: "it is a pipe or a device; save the sound to a file first".into(),
        });
    }
    let file = File::open(path).map_err(failed)?;
    let mut head = Vec::new();
    file.take(512).read_to_end(&mut head).map_err(failed)?;
    if head.is_empty() {
        return Err(AudioError::Empty { path: path.into() });
    }
    Ok(head)
}

/// Kinds that are recognised but not decoded here.
fn foreign(head: &[u8]) -> Option<&'static str> {
    if head.starts_with(&[0x30, 0x26, 0xB2, 0x75, 0x8E, 0x66, 0xCF, 0x11]) {
        Some("Windows Media sound")
    } else if head.starts_with(b"RF64") || head.starts_with(b"BW64") {
        Some("an RF64 file (the form of WAV beyond 4 GB)")
    } else if head.starts_with(b"#!AMR") {
        Some("AMR telephone sound")
    } else if head.starts_with(b"MThd") {
        Some("MIDI notes, not sound")
    } else {
        None
    }
}

fn looks_like_sound(head: &[u8]) -> bool {
    let starts: [&[u8]; 7] = [
        b"RIFF",
        b"fLaC",
        b"OggS",
        b"ID3",
        b"FORM",
        b"caff",
        b"\x1A\x45\xDF\xA3",
    ];
    starts.iter().any(|s| head.starts_with(s)) || head.get(4..8) == Some(b"ftyp")
}

fn describe(container: &str, params: &AudioCodecParameters, codec: &str) -> String {
    match params.bits_per_sample.or(params.bits_per_coded_sample) {
        Some(bits) if !codec.contains("-bit") => format!("{container}, {codec}, {bits}-bit"),
        _ => format!("{container}, {codec}"),
    }
}

fn plain(error: &Error) -> String {
    match error {
        Error::IoError(e) if e.kind() == std::io::ErrorKind::UnexpectedEof => {
            "the file ends too early".into()
        }
        other => other.to_string(),
    }
}

thread_local! {
    static DECODING: Cell<bool> = const { Cell::new(false) };
}

/// Runs a decoder's step; a panic in it becomes a reason in words and prints nothing.
fn guarded<T>(step: impl FnOnce() -> T) -> Result<T, String> {
    static QUIET: Once = Once::new();
    QUIET.call_once(|| {
        let others = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |info| {
            if !DECODING.get() {
                others(info);
            }
        }));
    });
    DECODING.set(true);
    let result = catch_unwind(AssertUnwindSafe(step));
    DECODING.set(false);
    result.map_err(|_| "its sound is damaged beyond decoding".into())
}

/// Title and composer, where a file's tags have them.
fn tags(reader: &mut dyn FormatReader) -> Tags {
    /// The longest text that is a title, characters.
    const LONGEST: usize = 200;
    let clean = |text: &str| {
        let plain = |c: char| if c.is_control() { ' ' } else { c };
        let text: String = text.chars().map(plain).collect();
        let text = text.trim();
        (!text.is_empty() && text.chars().count() <= LONGEST).then(|| text.to_owned())
    };
    let mut tags = Tags::default();
    let mut read = |tag: &Tag| match &tag.std {
        Some(StandardTag::TrackTitle(text)) if tags.title.is_none() => tags.title = clean(text),
        // MP4 has one tag for whoever wrote it
        Some(StandardTag::Composer(text) | StandardTag::Writer(text))
            if tags.composer.is_none() =>
        {
            tags.composer = clean(text);
        }
        _ => {}
    };
    let mut metadata = reader.metadata();
    // the first that says it: what stands at a file's end may be cut short (ID3v1: 30 letters)
    while let Some(revision) = metadata.current() {
        revision.media.tags.iter().for_each(&mut read);
        let tracks = revision.per_track.iter();
        tracks.flat_map(|t| &t.metadata.tags).for_each(&mut read);
        if metadata.pop().is_none() {
            break;
        }
    }
    tags
}
