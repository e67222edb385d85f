//! Which takes are drafted, and to which logs.

use super::{Args, Job};
use crate::audio;
use crate::cli::CliError;
use crate::songlog::store;
use std::collections::HashMap;
use std::path::{Path, PathBuf};

/// Which takes go to which logs.
pub(super) fn plan(args: &Args) -> Result<Vec<Job>, CliError> {
    let mut takes: Vec<(PathBuf, bool)> = Vec::new();
    let listed = args.list.as_deref().map(listed).transpose()?;
    let named = args.takes.iter().map(|path| (path, args.changed));
    let listed = listed.iter().flatten().map(|path| (path, true));
    for (path, only_changed) in named.chain(listed) {
        if path.is_dir() {
            let found = sound_files(path)?;
            if found.is_empty() {
                return Err(CliError::new(format!(
                    "there is no sound file in the folder '{}'",
                    path.display()
                )));
            }
            takes.extend(found.into_iter().map(|take| (take, true)));
        } else {
            takes.push((path.clone(), only_changed));
        }
    }
    let several = takes.len() > 1 || args.list.is_some() || args.takes.iter().any(|t| t.is_dir());
    if takes.len() > 1 && args.title.is_some() {
        return Err(CliError::new(
            "--title is for one take; draft the takes first and set each title with confirm --title",
        ));
    }
    if let Some(folder) = args.output.as_deref().filter(|o| several && !o.is_dir()) {
        make_folder(folder)?;
    }
    let folder = args.output.as_deref().filter(|o| o.is_dir());
    let mut jobs: Vec<Job> = Vec::new();
    let mut of_log: HashMap<PathBuf, usize> = HashMap::new();
    for (take, only_changed) in takes {
        let beside = take.with_extension(store::ENDING);
        let log = match (folder, &args.output) {
            (Some(folder), _) => folder.join(beside.file_name().unwrap_or_default()),
            (None, Some(log)) => log.clone(),
            (None, None) => beside,
        };
        if log == take {
            return Err(CliError::new(format!(
                "'{}' is a log, not a take",
                take.display()
            )));
        }
        if let Some(other) = of_log.insert(log.clone(), jobs.len()).map(|i| &jobs[i]) {
            if other.take == take {
                let words = format!("'{}' is named twice", take.display());
                return Err(CliError::new(words));
            }
            return Err(CliError::new(format!(
                "'{}' and '{}' would share the log '{}'; draft one of them alone with -o",
                other.take.display(),
                take.display(),
                log.display()
            )));
        }
        jobs.push(Job {
            take,
            log,
            only_changed,
        });
    }
    Ok(jobs)
}

/// The folder for the logs of several takes, each named after its take.
fn make_folder(folder: &Path) -> Result<(), CliError> {
    if folder.exists() || folder.extension().is_some_and(|e| e == store::ENDING) {
        return Err(CliError::new(format!(
            "with several takes -o names a folder, and '{}' is none; each log is named after its take",
            folder.display()
        )));
    }
    std::fs::create_dir(folder).map_err(|e| {
        CliError::new(format!(
            "cannot make the folder '{}': {e}",
            folder.display()
        ))
    })
}

/// The largest list of takes that is read, bytes.
const LARGEST_LIST: u64 = 64 << 20;

/// Takes named in a file, one a line; empty lines and lines with # are passed over.
fn listed(list: &Path) -> Result<Vec<PathBuf>, CliError> {
    let failed = |e: std::io::Error| {
        CliError::new(format!("cannot read the list '{}': {e}", list.display()))
    };
    let input: Box<dyn std::io::Read> = if list == Path::new("-") {
        Box::new(std::io::stdin())
    } else {
        Box::new(std::fs::File::open(list).map_err(failed)?)
    };
    let mut text = String::new();
    std::io::Read::read_to_string(&mut std::io::Read::take(input, LARGEST_LIST + 1), &mut text)
        .map_err(failed)?;
    if text.len() as u64 > LARGEST_LIST {
        return Err(CliError::new(format!(
            "the list '{}' is larger than {} MiB; draft it in parts",
            list.display(),
            LARGEST_LIST >> 20
        )));
    }
    let takes: Vec<PathBuf> = text
        .lines()
        .filter(|line| !line.trim().is_empty() && !line.starts_with('#'))
        .map(PathBuf::from)
        .collect();
    if takes.is_empty() {
        return Err(CliError::new(format!(
            "the list '{}' names no take (one a line is expected)",
            list.display()
        )));
    }
    Ok(takes)
}

fn sound_files(folder: &Path) -> Result<Vec<PathBuf>, CliError> {
    let failed =
        |e: std::io::Error| CliError::new(format!("cannot list '{}': {e}", folder.display()));
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(failed)? {
        let path = entry.map_err(failed)?.path();
        let ending = path.extension().and_then(|e| e.to_str());
        let known = ending.is_some_and(|e| audio::ENDINGS.contains(&e.to_lowercase().as_str()));
        if known && path.is_file() {
            found.push(path);
        }
    }
    found.sort();
    Ok(found)
}
