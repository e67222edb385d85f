//! From requests to one saved decision.

use super::requested::{self, left_out};
use super::{DecideError, DecisionRequest, hints};
use crate::songlog::decided::{Act, Decision};
use crate::songlog::resolve::{resolve_with_unfit, settings};
use crate::songlog::song::Song;
use crate::songlog::store::Locked;
use crate::songlog::{Log, contradiction, resolve, store, validate};
use std::path::Path;

/// A log as it was read before, and the song it makes: not read again if its file is the same.
#[derive(Debug, Clone, Copy)]
pub struct Known<'a> {
    /// The file's text.
    pub text: &'a str,
    /// What that says.
    pub log: &'a Log,
    /// The song it makes.
    pub song: &'a Song,
}

/// A log that was saved, and the song it makes: what reading its file gives.
#[derive(Debug, Clone)]
pub struct Saved {
    /// The file's text.
    pub text: String,
    /// What that says.
    pub log: Log,
    /// The song it makes.
    pub song: Song,
    /// How many decisions do not fit what is heard.
    pub n_unfit: usize,
}

/// Locks a log; gives it and the song it makes, known or read.
pub(super) fn open(
    path: &Path,
    known: Option<Known<'_>>,
) -> Result<(Locked, Log, Song), DecideError> {
    let (locked, read) = store::lock_existing(path, known.map(|k| k.text))?;
    let (log, song) = match (read, known) {
        (Some(log), _) => {
            let song = resolve(&log);
            (log, song)
        }
        (None, Some(known)) => (known.log.clone(), known.song.clone()),
        (None, None) => unreachable!("a text that is not known is read"),
    };
    Ok((locked, log, song))
}

/// A decision that was saved.
#[derive(Debug, Clone)]
pub struct Made {
    /// Its number.
    pub id: u32,
    /// What it does, in order.
    pub acts: Vec<Act>,
    /// Hints on it: what its maker may have overlooked.
    pub hints: Vec<String>,
    /// The song before.
    pub before: Song,
    /// The log as saved, and the song after.
    pub saved: Saved,
}

/// Decides: saves what `requests` asks for as one decision, or nothing.
///
/// Takes the log's file, the requests (each on what those before it leave), the log if it was
/// read before, and `allow`, which sees the song as it stands and may refuse; it is called
/// while the log is locked, so that it sees what others decided just before.
///
/// # Errors
/// * what `allow` gives.
/// * [`DecideError::Asked`], [`DecideError::Shape`] if it makes no sense there.
/// * [`DecideError::Unfit`] if it does not fit what is heard and decided now.
/// * [`DecideError::Log`] if the log cannot be read or saved.
///
/// The log is untouched in each of these cases.
pub fn decide<E: From<DecideError>>(
    path: &Path,
    requests: &[DecisionRequest],
    known: Option<Known<'_>>,
    allow: impl FnOnce(&Song) -> Result<(), E>,
) -> Result<Made, E> {
    let (locked, mut log, before) = open(path, known)?;
    allow(&before)?;
    let acts = as_saved(acts_of(requests, &log, &before)?)?;
    let mut hints = hints(&acts, &before);
    let left_out = requests.iter().filter_map(|r| left_out(r, &before));
    hints.extend(left_out);
    let id = log.decide(store::now(), acts.clone());
    contradiction(&settings(&log), Some(log.heard.duration_s))
        .map_err(|why| DecideError::asked(format!("nothing was changed: {why}")))?;
    validate::sense(&log)
        .map_err(|fault| DecideError::asked(format!("that cannot be decided: {fault}")))?;
    let (song, unfit) = resolve_with_unfit(&log);
    if let Some(own) = unfit.iter().find(|u| u.id == id) {
        return Err(DecideError::Unfit {
            text: own.text.clone(),
        }
        .into());
    }
    let text = locked.save(&log).map_err(DecideError::from)?;
    Ok(Made {
        id,
        acts,
        hints,
        before,
        saved: Saved {
            text,
            log,
            song,
            n_unfit: unfit.len(),
        },
    })
}

/// Acts as they are read back: a log rounds times.
fn as_saved(acts: Vec<Act>) -> Result<Vec<Act>, DecideError> {
    let text = serde_json::to_string(&acts);
    text.and_then(|text| serde_json::from_str(&text))
        .map_err(|e| DecideError::asked(format!("that cannot be saved: {e}")))
}

/// The decision that these requests made right after another one, by its number, if they
/// did: whoever got no answer asks this before asking for the same again.
///
/// Takes the log as it is now, the requests, and the number of the last decision that the
/// asker knew of (0 for none).
pub fn made_after<'a>(
    log: &'a Log,
    requests: &[DecisionRequest],
    after: u32,
) -> Option<&'a Decision> {
    let next = log.decided.iter().find(|d| d.id > after)?;
    let mut before = log.clone();
    before.decided.retain(|d| d.id <= after);
    let song = resolve(&before);
    let acts = acts_of(requests, &before, &song).ok()?;
    (rounded(&acts) == rounded(&next.acts)).then_some(next)
}

/// Acts as a log has them, with rounded times.
fn rounded(acts: &[Act]) -> Vec<Option<String>> {
    let text = |act: &Act| serde_json::to_string(act).ok();
    acts.iter().map(text).collect()
}

/// The acts of several requests, each on what those before it leave.
///
/// # Errors
/// * [`DecideError::Asked`], [`DecideError::Shape`] if one makes no sense there, or nothing is asked.
pub fn acts_of(
    requests: &[DecisionRequest],
    log: &Log,
    song: &Song,
) -> Result<Vec<Act>, DecideError> {
    let mut acts: Vec<Act> = Vec::new();
    for request in requests {
        let more = if acts.is_empty() {
            requested::acts(request, log, song)?
        } else {
            let mut changed = log.clone();
            changed.decide(store::now(), acts.clone());
            let song = resolve(&changed);
            requested::acts(request, &changed, &song)?
        };
        acts.extend(more);
    }
    if acts.is_empty() {
        return Err(DecideError::asked("nothing to decide was asked"));
    }
    Ok(acts)
}
