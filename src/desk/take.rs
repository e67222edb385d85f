//! `GET /api/take`: the take's sound, whole or in ranges.
//!
//! What a browser plays to the sample (WAV, FLAC) is sent as it is. Everything
//! else is decoded once into a WAV in a file that has no name: a browser seeks
//! in lossy files only roughly, and a loop of one bar needs it exact.

use super::book::Stamp;
use super::conditional::{Part, part};
use super::error::{ApiError, ApiResult, off_thread};
use super::peaks::Peaks;
use super::server::Room;
use super::wav;
use crate::audio;
use crate::songlog::Log;
use crate::songlog::store::take_path;
use crate::units::SampleRate;
use axum::body::{Body, Bytes};
use axum::extract::State;
use axum::http::{HeaderMap, Method, StatusCode, header};
use axum::response::{IntoResponse, Response};
use futures_util::stream;
use std::fs::File;
use std::io::{Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, Once, OnceLock, PoisonError};

/// Bytes that are read and sent at a time.
const CHUNK: u64 = 64 * 1024;

/// The sound of the take that the log names now.
#[derive(Debug, Default)]
pub(super) struct Sounds {
    last: Mutex<Option<Arc<Sound>>>,
}

/// The sound of one take.
#[derive(Debug)]
pub(super) struct Sound {
    path: PathBuf,
    stamp: Stamp,
    peaks: Peaks,
    begun: Once,
    served: OnceLock<Result<Served, String>>,
}

/// A file to send.
#[derive(Debug)]
struct Served {
    file: Arc<File>,
    kind: &'static str,
    n_bytes: u64,
    /// Whether it had to be decoded; its wave is known then.
    is_decoded: bool,
}

impl Sounds {
    /// The sound of a log's take. Nothing of it is read yet: a take that is
    /// just being written is another one with each look.
    ///
    /// # Errors
    /// 404 in words if the take is not there.
    pub(super) fn of(&self, log_path: &Path, log: &Log) -> ApiResult<Arc<Sound>> {
        let path = take_path(log_path, log);
        let absent = |e| {
            ApiError::new(
                StatusCode::NOT_FOUND,
                format!(
                    "the sound of this take is not there: '{}' ({e}); put it back, or draft it from where it is",
                    path.display()
                ),
            )
        };
        self.at(&path).map_err(absent)
    }

    /// The sound of a file.
    ///
    /// # Errors
    /// What the system says of a file that is not there.
    pub(super) fn at(&self, path: &Path) -> std::io::Result<Arc<Sound>> {
        let stamp = Stamp::of(path)?;
        let mut last = self.last.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(sound) = &*last
            && sound.path == path
            && sound.stamp == stamp
        {
            return Ok(Arc::clone(sound));
        }
        let sound = Arc::new(Sound {
            path: path.into(),
            stamp,
            peaks: Peaks::default(),
            begun: Once::new(),
            served: OnceLock::new(),
        });
        *last = Some(Arc::clone(&sound));
        Ok(sound)
    }
}

impl Sound {
    /// Its wave, as far as it is known; the first call begins to compute it.
    pub(super) fn peaks(self: &Arc<Self>) -> &Peaks {
        self.begun.call_once(|| self.begin());
        &self.peaks
    }

    /// Entity tag, quotes included.
    pub(super) fn tag(&self) -> String {
        self.stamp.tag()
    }

    /// Computes the wave in a thread of its own.
    fn begin(self: &Arc<Self>) {
        let sound = Arc::clone(self);
        let work = move || {
            // what must be decoded to be played is ready when it is asked for;
            // a take that cannot be decoded has no wave: playing it tells why
            if sound.served().is_ok_and(|served| !served.is_decoded)
                && let Ok(source) = audio::open(&sound.path)
            {
                let facts = source.facts();
                let mut filling = sound.peaks.fill(facts.rate_hz, facts.channels);
                let _ = source.read_frames(&mut |block| filling.push(block));
                filling.finish();
            }
            sound.peaks.close();
        };
        if std::thread::Builder::new()
            .name("wave".into())
            .spawn(work)
            .is_err()
        {
            self.peaks.close();
        }
    }

    /// The same sound with its file opened, and decoded if need be.
    ///
    /// # Errors
    /// 404 in words if it cannot be read.
    pub(super) fn opened(self: Arc<Self>) -> ApiResult<Arc<Self>> {
        match self.served() {
            Err(why) => Err(ApiError::new(StatusCode::NOT_FOUND, why.clone())),
            Ok(_) => Ok(self),
        }
    }

    /// The file to send, decoded first if need be.
    fn served(&self) -> Result<&Served, &String> {
        self.served
            .get_or_init(|| serve(&self.path, &self.peaks).map_err(|e| e.to_string()))
            .as_ref()
    }
}

fn serve(path: &Path, peaks: &Peaks) -> Result<Served, audio::AudioError> {
    let source = audio::open(path)?;
    let failed = |source| audio::AudioError::Open {
        path: path.into(),
        source,
    };
    let mut file = File::open(path).map_err(failed)?;
    let kind = playable(&mut file, &source.facts().kind).map_err(failed)?;
    let is_decoded = kind.is_none();
    let (file, kind) = match kind {
        Some(kind) => (file, kind),
        None => (decode(&source, peaks, failed)?, "audio/wav"),
    };
    let n_bytes = file.metadata().map_err(failed)?.len();
    Ok(Served {
        file: Arc::new(file),
        kind,
        n_bytes,
        is_decoded,
    })
}

/// The content type of what browsers play to the sample.
fn playable(file: &mut File, kind: &str) -> std::io::Result<Option<&'static str>> {
    let mut head = Vec::new();
    file.take(12).read_to_end(&mut head)?;
    let plain = kind.contains("PCM") && !kind.contains("64-bit");
    Ok(match head.as_slice() {
        [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'A', b'V', b'E'] if plain => Some("audio/wav"),
        [b'f', b'L', b'a', b'C', ..] => Some("audio/flac"),
        _ => None,
    })
}

/// Decodes into a WAV in a file without a name, which goes when the desk does,
/// and into the wave.
fn decode(
    source: &audio::Source,
    peaks: &Peaks,
    failed: impl Fn(std::io::Error) -> audio::AudioError,
) -> Result<File, audio::AudioError> {
    let mut file = tempfile::tempfile().map_err(&failed)?;
    let mut out = std::io::BufWriter::with_capacity(1 << 18, &mut file);
    out.write_all(&[0; wav::HEAD_BYTES]).map_err(&failed)?;
    let (mut bytes, mut n_bytes, mut fault) = (Vec::new(), 0u64, None);
    let channels = source.facts().channels.max(1);
    let mut filling = peaks.fill(source.facts().rate_hz, channels);
    source.read_frames(&mut |block| {
        bytes.clear();
        wav::sixteen(block, &mut bytes);
        filling.push(block);
        n_bytes += bytes.len() as u64;
        if fault.is_none() {
            fault = out.write_all(&bytes).err();
        }
    })?;
    filling.finish();
    let too_long = || std::io::Error::other("it is too long for one WAV file of 4 GB");
    let told = u32::try_from(n_bytes)
        .ok()
        .filter(|n| *n < u32::MAX - 64)
        .ok_or_else(too_long)
        .map_err(&failed)?;
    if let Some(fault) = fault.or(out.flush().err()) {
        return Err(failed(fault));
    }
    drop(out);
    let head = wav::head(told, channels, SampleRate(source.facts().rate_hz));
    file.seek(SeekFrom::Start(0)).map_err(&failed)?;
    file.write_all(&head).map_err(&failed)?;
    Ok(file)
}

pub(super) async fn take(
    State(shared): Room,
    method: Method,
    headers: HeaderMap,
) -> ApiResult<Response> {
    let sound = off_thread(move || {
        let snapshot = shared.book.read()?;
        let sound = shared.sounds.of(shared.book.path(), &snapshot.log)?;
        sound.opened()
    })
    .await?;
    sent(&sound, &method, &headers)
}

/// A sound that is opened, whole or in part, as it is asked for.
pub(super) fn sent(sound: &Sound, method: &Method, headers: &HeaderMap) -> ApiResult<Response> {
    let Ok(served) = sound.served() else {
        return Err(ApiError::new(
            StatusCode::NOT_FOUND,
            "the sound is not there",
        ));
    };
    let (tag, n_bytes) = (sound.tag(), served.n_bytes);
    let common = [
        (header::ETAG, tag.clone()),
        (header::ACCEPT_RANGES, "bytes".into()),
        (header::CACHE_CONTROL, "private, no-cache".into()),
    ];
    let send = |status: StatusCode, from: u64, to: u64| {
        let length = to - from;
        let about = [
            (header::CONTENT_TYPE, served.kind.to_owned()),
            (header::CONTENT_LENGTH, length.to_string()),
        ];
        let body = if *method == Method::HEAD {
            Body::empty()
        } else {
            body(Arc::clone(&served.file), from, to)
        };
        (status, common.clone(), about, body).into_response()
    };
    Ok(match part(method, headers, &tag, n_bytes) {
        Part::Whole => send(StatusCode::OK, 0, n_bytes),
        Part::Range(first, last) => {
            let mut response = send(StatusCode::PARTIAL_CONTENT, first, last + 1);
            let range = format!("bytes {first}-{last}/{n_bytes}");
            if let Ok(range) = range.parse() {
                response.headers_mut().insert(header::CONTENT_RANGE, range);
            }
            response
        }
        Part::Unsatisfiable => {
            let error = ApiError::new(
                StatusCode::RANGE_NOT_SATISFIABLE,
                format!("the sound has {n_bytes} bytes"),
            );
            let range = [(header::CONTENT_RANGE, format!("bytes */{n_bytes}"))];
            (range, error).into_response()
        }
        Part::NotModified => (StatusCode::NOT_MODIFIED, common).into_response(),
        Part::Failed => (StatusCode::PRECONDITION_FAILED, common).into_response(),
    })
}

/// Bytes `from..to` of a file, read as they are sent.
pub(super) fn body(file: Arc<File>, from: u64, to: u64) -> Body {
    Body::from_stream(stream::try_unfold(from, move |at| {
        let file = Arc::clone(&file);
        async move {
            if at >= to {
                return Ok(None);
            }
            let read = tokio::task::spawn_blocking(move || {
                let mut chunk = vec![0; (to - at).min(CHUNK) as usize];
                read_exact_at(&file, &mut chunk, at).map(|()| chunk)
            });
            let chunk = read.await.map_err(std::io::Error::other)??;
            let next = at + chunk.len() as u64;
            Ok::<_, std::io::Error>(Some((Bytes::from(chunk), next)))
        }
    }))
}

#[cfg(unix)]
fn read_exact_at(file: &File, into: &mut [u8], at: u64) -> std::io::Result<()> {
    std::os::unix::fs::FileExt::read_exact_at(file, into, at)
}

#[cfg(windows)]
fn read_exact_at(file: &File, mut into: &mut [u8], mut at: u64) -> std::io::Result<()> {
    while !into.is_empty() {
        match std::os::windows::fs::FileExt::seek_read(file, into, at)? {
            0 => return Err(std::io::ErrorKind::UnexpectedEof.into()),
            n => {
                into = &mut into[n..];
                at += n as u64;
            }
        }
    }
    Ok(())
}
