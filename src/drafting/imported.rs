//! A log from a file of chords or notes: labels, annotations, a score, MIDI.

use super::analyse::{load_if_there, take_file};
use super::given::{DraftOptions, new_acts, settings_with};
use super::{Analysed, DraftError};
use crate::deciding::DecisionRequest;
use crate::foreign::{self, ForeignError, Imported, Kind, MAX_BYTES};
use crate::songlog::resolve::Settings;
use crate::songlog::{store, validate};
use std::path::Path;

/// Reads a file of chords or notes.
///
/// # Errors
/// * [`DraftError::Import`] with the file's name, if it cannot be read or makes no sense.
pub fn read_import(path: &Path, kind: Kind, given: &Settings) -> Result<Imported, DraftError> {
    let failed = |reason: String| DraftError::Import {
        path: path.into(),
        reason,
    };
    let facts = std::fs::metadata(path).map_err(|e| failed(format!("cannot be read: {e}")))?;
    if !facts.is_file() {
        return Err(failed(
            "it is a folder, a pipe or a device; name a file".into(),
        ));
    }
    let bytes = facts.len();
    if bytes > MAX_BYTES {
        let most = MAX_BYTES;
        return Err(failed(ForeignError::TooLarge { bytes, most }.to_string()));
    }
    let bytes = std::fs::read(path).map_err(|e| failed(format!("cannot be read: {e}")))?;
    foreign::read(kind, &bytes, given).map_err(|e| failed(e.to_string()))
}

/// Writes the log of a file of chords or notes.
pub(super) fn import(
    take: &Path,
    log: &Path,
    kind: Kind,
    settings: &DecisionRequest,
) -> Result<Analysed, DraftError> {
    let locked = store::lock(log)?;
    let before = load_if_there(log)?;
    if let Some(before) = &before
        && before.take.fingerprint.is_some()
    {
        return Err(DraftError::AnotherTake {
            log: log.into(),
            about: format!(
                "the take '{}', not about a file of chords",
                before.take.file
            ),
        });
    }
    let given_acts = new_acts(settings, before.as_ref())?;
    let held = settings_with(before.as_ref(), &given_acts);
    let options = DraftOptions::of(&held);
    let mut taken = read_import(take, kind, &held)?;
    taken.heard.settings = options.settings();
    let size = std::fs::metadata(take).map_or(0, |m| m.len());
    let record = kind.record(take_file(take, log), size);
    let decided = before.map_or_else(Vec::new, |log| log.decided);
    let mut made = taken.into_log(record, store::now(), decided);
    if !given_acts.is_empty() {
        made.decide(store::now(), given_acts);
    }
    validate::sense(&made).map_err(|fault| DraftError::NoSense {
        take: take.into(),
        fault,
    })?;
    locked.save(&made)?;
    Ok(Analysed::Saved(Box::new(made)))
}
