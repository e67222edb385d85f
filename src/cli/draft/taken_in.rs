//! A log from someone's file: labels, annotations, a score or notes, taken in as proposals.

use super::one::{load_if_there, take_file};
use super::settings::{DraftOptions, acts, settings_of};
use super::tell::told;
use super::{Args, Done, Job};
use crate::cli::CliError;
use crate::foreign::{self, Given, Kind, MAX_BYTES, TakenIn};
use crate::songlog::{resolve, store, validate};
use std::path::Path;

/// What a file is by its ending, if it is one that is taken in.
pub(super) fn kind(path: &Path) -> Option<Kind> {
    Kind::by_ending(path.extension()?.to_str()?)
}

/// Reads a file; errors name it.
pub(in crate::cli) fn read(path: &Path, kind: Kind, given: &Given) -> Result<TakenIn, CliError> {
    let failed = |e: &dyn std::fmt::Display| CliError::new(format!("'{}': {e}", path.display()));
    let facts = std::fs::metadata(path).map_err(|e| failed(&format!("cannot be read: {e}")))?;
    if !facts.is_file() {
        return Err(failed(&"it is a folder, a pipe or a device; name a file"));
    }
    let size = facts.len();
    if size > MAX_BYTES {
        return Err(failed(&foreign::ForeignError::TooLarge {
            bytes: size,
            most: MAX_BYTES,
        }));
    }
    let bytes = std::fs::read(path).map_err(|e| failed(&format!("cannot be read: {e}")))?;
    foreign::read(kind, &bytes, given).map_err(|e| failed(&e))
}

/// Writes the log of a file.
pub(super) fn draft(job: &Job, args: &Args, kind: Kind) -> Result<Done, CliError> {
    let locked = store::lock(&job.log)?;
    let before = load_if_there(&job.log)?;
    if let Some(before) = &before
        && before.take.fingerprint.is_some()
    {
        return Err(CliError::new(format!(
            "the log '{}' is about the take '{}', not about a file of chords; name another log with -o",
            job.log.display(),
            before.take.file
        )));
    }
    let given_acts = acts(args, before.as_ref())?;
    let settings = match before.clone() {
        Some(mut log) => {
            log.decide(store::now(), given_acts.clone());
            resolve::settings(&log)
        }
        None => settings_of(given_acts.clone()),
    };
    let options = DraftOptions::of(&settings);
    let has_instrument = settings.tuning.is_some() || settings.capo.is_some();
    let given = Given {
        instrument: has_instrument.then(|| options.instrument()),
        key: settings.key,
        tempo_bpm: settings.tempo_bpm,
        meter: settings.meter,
        first_downbeat_s: settings.downbeat_s,
    };
    let mut taken = read(&job.take, kind, &given)?;
    taken.heard.settings = options.settings();
    let size = std::fs::metadata(&job.take).map_or(0, |m| m.len());
    let record = kind.record(take_file(job), size);
    let decided = before.map_or_else(Vec::new, |log| log.decided);
    let mut log = taken.into_log(record, store::now(), decided);
    if !given_acts.is_empty() {
        log.decide(store::now(), given_acts);
    }
    validate::sense(&log).map_err(|fault| {
        CliError::new(format!(
            "'{}' makes no sense as a song at {fault}; nothing was written",
            job.take.display()
        ))
    })?;
    locked.save(&log)?;
    Ok(Done::Drafted(Box::new(told(job, &log)?)))
}
