//! A recording that begins: its microphone opened, its file there under the first name that is free.

use super::incoming::names;
use super::journal::{Journal, no_room, unwritable};
use super::recording::Wish;
use crate::audio::{AudioError, Capture, Recording, SampleForm, WantedDevice, capture, free_bytes};
use crate::desk::error::{ApiError, ApiResult};
use axum::http::StatusCode;
use std::path::{Path, PathBuf};

/// How its samples are stored.
pub(super) const FORM: SampleForm = SampleForm::Int24;
/// What must fit on the disk for a recording to begin, s.
const LEAST_ROOM_S: u64 = 10;

/// A recording whose file is there and whose microphone is open.
pub(super) struct Begun {
    pub(super) mic: Capture,
    pub(super) recording: Recording,
    pub(super) journal: Journal,
    pub(super) path: PathBuf,
    /// Its name in the folder.
    pub(super) file: String,
}

impl Begun {
    /// Opens the microphone and the file.
    ///
    /// # Errors
    /// 404 without a microphone, 500 or 507 if the folder cannot be written to.
    pub(super) fn open(folder: &Path, wish: &Wish) -> ApiResult<Self> {
        let wanted = WantedDevice {
            name: wish.device.clone(),
            rate_hz: None,
        };
        let mic = capture(&wanted).map_err(|e| absent(e.to_string()))?;
        let a_second = u64::from(mic.rate_hz) * u64::from(mic.n_channels) * FORM.bytes();
        let name = wish.name.as_deref().unwrap_or("Recording.wav");
        let has_room = |free: u64| free >= LEAST_ROOM_S * a_second;
        if free_bytes(&folder.join(name)).is_some_and(|free| !has_room(free)) {
            return Err(no_room());
        }
        for path in names(folder, name) {
            // one with a song of that name would not be told from that song's recording
            if std::fs::symlink_metadata(&path).is_ok() {
                continue;
            }
            let file = path.file_name().unwrap_or_default().to_string_lossy();
            let file = file.into_owned();
            let journal = Journal::begin(folder, &file)?;
            match Recording::create(&path, mic.n_channels, mic.rate_hz, FORM, false) {
                Ok(recording) => {
                    return Ok(Self {
                        mic,
                        recording,
                        journal,
                        path,
                        file,
                    });
                }
                Err(error) => {
                    journal.end();
                    if let AudioError::Write { source, .. } = error {
                        return Err(unwritable(source));
                    }
                }
            }
        }
        let words = "every name for a recording is used in this folder; give it another";
        Err(ApiError::new(StatusCode::CONFLICT, words))
    }

    /// Leaves nothing of it.
    pub(super) fn undo(self) {
        drop(self.recording);
        let _ = std::fs::remove_file(&self.path);
        self.journal.end();
    }
}

/// 404.
pub(super) fn absent(why: String) -> ApiError {
    ApiError::new(StatusCode::NOT_FOUND, why)
}
