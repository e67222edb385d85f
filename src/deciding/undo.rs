//! Undoing decisions, and redoing them.

use super::DecideError;
use super::save::{Known, Saved, open};
use crate::songlog::decided::{Act, Decision, holding, with_id};
use crate::songlog::resolve::resolve_with_unfit;
use crate::songlog::{Log, store};
use std::path::Path;

/// What was undone or redone.
#[derive(Debug, Clone)]
pub struct Undone {
    /// Number of the undo itself, which is a decision too.
    pub id: u32,
    /// Numbers of the decisions it concerns.
    pub of: Vec<u32>,
    /// The log as saved, and the song after.
    pub saved: Saved,
}

/// Undoes decisions by their numbers, or the latest that holds if there are none.
///
/// The number of an undo redoes what it undid. `known` and `allow` as in [`super::decide`],
/// but that `allow` sees the log.
///
/// # Errors
/// * what `allow` gives.
/// * [`DecideError::Asked`] if one is not there or is undone already.
/// * [`DecideError::Log`] if the log cannot be read or saved.
pub fn undo<E: From<DecideError>>(
    path: &Path,
    numbers: &[u32],
    known: Option<Known<'_>>,
    allow: impl FnOnce(&Log) -> Result<(), E>,
) -> Result<Undone, E> {
    save(path, known, |log| {
        allow(log)?;
        Ok(which(log, numbers)?)
    })
}

/// Redoes what the latest undo undid; another decision since then ends that. `known` and
/// `allow` as in [`undo`].
///
/// # Errors
/// * what `allow` gives.
/// * [`DecideError::Asked`] if there is nothing to redo.
/// * [`DecideError::Log`] if the log cannot be read or saved.
pub fn redo<E: From<DecideError>>(
    path: &Path,
    known: Option<Known<'_>>,
    allow: impl FnOnce(&Log) -> Result<(), E>,
) -> Result<Undone, E> {
    save(path, known, |log| {
        allow(log)?;
        let latest = redoable(log).map(|id| vec![id]);
        Ok(latest.ok_or_else(|| DecideError::asked("there is nothing to redo"))?)
    })
}

/// The undo of these decisions (of any, if there are none) that follows right after another
/// decision, by its number; as [`super::made_after`].
pub fn undone_after<'a>(log: &'a Log, numbers: &[u32], after: u32) -> Option<&'a Decision> {
    let next = log.decided.iter().find(|d| d.id > after)?;
    let of: Vec<u32> = next.takes_back().collect();
    (!of.is_empty() && (numbers.is_empty() || of == numbers)).then_some(next)
}

/// Number of the latest decision that holds, undos left out.
pub fn undoable(log: &Log) -> Option<u32> {
    log.decided
        .iter()
        .zip(holding(&log.decided))
        .rfind(|(d, holds)| *holds && !is_undo(d))
        .map(|(d, _)| d.id)
}

/// Number of the undo that a redo would take back: the latest that holds,
/// unless something else was decided after it.
pub fn redoable(log: &Log) -> Option<u32> {
    let by_id = |id: u32| with_id(&log.decided, id).map(|i| &log.decided[i]);
    log.decided
        .iter()
        .zip(holding(&log.decided))
        .rev()
        // an undo of an undo is a redo: it ends nothing
        .filter(|(d, _)| !d.takes_back().any(|id| by_id(id).is_some_and(is_undo)))
        .take_while(|(d, _)| is_undo(d))
        .find(|(_, holds)| *holds)
        .map(|(d, _)| d.id)
}

fn is_undo(decision: &Decision) -> bool {
    decision.takes_back().next().is_some()
}

fn save<E: From<DecideError>>(
    path: &Path,
    known: Option<Known<'_>>,
    which: impl FnOnce(&Log) -> Result<Vec<u32>, E>,
) -> Result<Undone, E> {
    let (locked, mut log, _) = open(path, known)?;
    let of = which(&log)?;
    let id = log.decide(store::now(), vec![Act::Undo { of: of.clone() }]);
    let text = locked.save(&log).map_err(DecideError::from)?;
    let (song, unfit) = resolve_with_unfit(&log);
    let saved = Saved {
        text,
        log,
        song,
        n_unfit: unfit.len(),
    };
    Ok(Undone { id, of, saved })
}

/// The decisions to undo, checked: they are there and hold.
fn which(log: &Log, numbers: &[u32]) -> Result<Vec<u32>, DecideError> {
    if numbers.is_empty() {
        return undoable(log)
            .map(|id| vec![id])
            .ok_or_else(|| DecideError::asked("there is nothing to undo"));
    }
    let holds = holding(&log.decided);
    for n in numbers {
        let i = with_id(&log.decided, *n).ok_or_else(|| {
            DecideError::asked(match log.decided.len() {
                0 => format!("there is no decision {n}: no decisions yet"),
                last => format!("there is no decision {n}: the log has 1 to {last} (see --list)"),
            })
        })?;
        if !holds[i] {
            let by = log
                .decided
                .iter()
                .zip(&holds)
                .find(|(d, holds)| **holds && d.takes_back().any(|of| of == *n))
                .map_or(0, |(d, _)| d.id);
            return Err(DecideError::asked(format!(
                "decision {n} is already undone by {by}; to redo it: undo {by}"
            )));
        }
    }
    Ok(numbers.to_vec())
}
