//! What can be wrong with a sound file.

use super::device_error::DeviceError;
use std::path::PathBuf;

/// Errors of the `audio` room. Each names the file, what was found, and the way out.
#[derive(Debug)]
#[non_exhaustive]
pub enum AudioError {
    /// The file cannot be opened or read; check the name and the permissions.
    Open {
        /// Which file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// A folder was given where a file is needed.
    Folder {
        /// Which folder.
        path: PathBuf,
    },
    /// The file has no bytes at all.
    Empty {
        /// Which file.
        path: PathBuf,
    },
    /// Nothing in the file looks like sound.
    NotAudio {
        /// Which file.
        path: PathBuf,
    },
    /// Sound of a kind that is not decoded here; convert it.
    Unsupported {
        /// Which file.
        path: PathBuf,
        /// Which kind, in words.
        kind: String,
    },
    /// A sample rate that no recorder writes.
    Rate {
        /// Which file.
        path: PathBuf,
        /// The rate found, Hz.
        rate_hz: u32,
    },
    /// A take longer than is heard in one piece; cut it.
    TooLong {
        /// Which file.
        path: PathBuf,
        /// The longest that is heard, s.
        longest_s: u32,
    },
    /// The recording cannot be written; what was caught before is safe.
    Write {
        /// Which file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// A file of that name is there already; name another.
    Exists {
        /// Which file.
        path: PathBuf,
    },
    /// Something is wrong with a microphone or a loudspeaker.
    Device(DeviceError),
    /// The take could not be made small for a page; write the page without sound.
    Encode {
        /// Which file.
        path: PathBuf,
        /// What the encoder said.
        reason: String,
    },
    /// A sound file in which not one sample could be decoded.
    Nothing {
        /// Which file.
        path: PathBuf,
        /// Why, in words.
        reason: String,
    },
}

impl std::fmt::Display for AudioError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Open { path, source } => write!(f, "cannot read '{}': {source}", path.display()),
            Self::Folder { path } => write!(
                f,
                "'{}' is a folder, not a sound file (name a file in it)",
                path.display()
            ),
            Self::Empty { path } => write!(
                f,
                "'{}' is empty (0 bytes); record or copy it again",
                path.display()
            ),
            Self::NotAudio { path } => write!(
                f,
                "'{}' is not a sound file that is known here (WAV, FLAC, MP3, Ogg Vorbis or Opus, M4A, AIFF, CAF, or the sound of an MP4 or WebM)",
                path.display()
            ),
            Self::Unsupported { path, kind } => write!(
                f,
                "'{}' holds {kind}, which is not decoded here; convert it first, for example: ffmpeg -i '{}' take.wav",
                path.display(),
                path.display()
            ),
            Self::Rate { path, rate_hz } => write!(
                f,
                "'{}' claims a sample rate of {rate_hz} Hz (4000 to 768000 are possible); its header is damaged",
                path.display()
            ),
            Self::TooLong { path, longest_s } => write!(
                f,
                "'{}' lasts longer than {} hours; cut it into songs first, for example: ffmpeg -i '{}' -ss 0 -t 300 song.wav",
                path.display(),
                longest_s / 3600,
                path.display()
            ),
            Self::Write { path, source } => {
                write!(f, "cannot write '{}': {source}", path.display())
            }
            Self::Exists { path } => write!(
                f,
                "'{}' already exists; not overwritten (give another name, or --overwrite)",
                path.display()
            ),
            Self::Encode { path, reason } => write!(
                f,
                "the sound of '{}' cannot be compressed: {reason} (leave --with-sound out)",
                path.display()
            ),
            Self::Device(error) => error.fmt(f),
            Self::Nothing { path, reason } => write!(
                f,
                "'{}' holds no sound that can be decoded: {reason}",
                path.display()
            ),
        }
    }
}

impl std::error::Error for AudioError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Open { source, .. } | Self::Write { source, .. } => Some(source),
            _ => None,
        }
    }
}
