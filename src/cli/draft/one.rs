//! One take: heard, and put into its log.

use super::settings::{DraftOptions, acts, bar_beats, settings_of};
use super::tell::told;
use super::{Args, Done, Job, taken_in};
use crate::audio::{self, Source};
use crate::cli::CliError;
use crate::drafting::hear;
use crate::hearing::WhichBar;
use crate::songlog::decided::Act;
use crate::songlog::heard::Heard;
use crate::songlog::{self, Log, resolve, store, validate};
use indicatif::{MultiProgress, ProgressBar, ProgressStyle};
use std::path::Path;

pub(super) fn draft(job: &Job, args: &Args, bars: &MultiProgress) -> Result<Done, CliError> {
    if let Some(kind) = taken_in::kind(&job.take) {
        return taken_in::draft(job, args, kind);
    }
    // what cannot be written, or is no log, is said before the work
    drop(store::lock(&job.log)?);
    let before = load_if_there(&job.log)?;
    let mut given = acts(args, before.as_ref())?;
    let mut settings_log = before.clone();
    if let Some(log) = &mut settings_log {
        log.decide(store::now(), given.clone());
    }
    let settings = match &settings_log {
        Some(log) => resolve::settings(log),
        None => settings_of(given.clone()),
    };
    let mut options = DraftOptions::of(&settings);
    let mut source = audio::open(&job.take)?;
    let duration_s = source.facts().duration_s;
    songlog::contradiction(&settings, duration_s).map_err(CliError::new)?;
    if before.is_none() {
        // no bars are known yet: they are counted first
        let named = args.bar_beats.iter();
        options.bar_beats = named.map(|(bar, n)| (WhichBar::Number(*bar), *n)).collect();
    }
    if job.only_changed
        && given.is_empty()
        && before
            .as_ref()
            .is_some_and(|log| up_to_date(log, &source, &options))
    {
        return Ok(Done::UpToDate);
    }
    let bar = progress_bar(bars, &job.take);
    let heard = hear(&mut source, &options.given(), &|part| {
        bar.set_position((part * 1000.0) as u64);
    });
    bar.finish_and_clear();
    let mut heard = heard?;
    heard.by_version = env!("CARGO_PKG_VERSION").into();
    heard.settings = options.settings();
    let mut warnings = source.facts().warnings.clone();
    warnings.append(&mut heard.warnings);
    heard.warnings = warnings;
    if before.is_none() {
        for (bar, n_beats) in &args.bar_beats {
            given.push(bar_beats(&heard, *bar, *n_beats)?);
        }
    }
    save(job, &source, heard, given)
}

fn up_to_date(log: &Log, source: &Source, options: &DraftOptions) -> bool {
    let changed = std::fs::metadata(&source.facts().path).and_then(|m| m.modified());
    let drafted = log.drafted.parse::<jiff::Timestamp>();
    let older = match (changed, drafted) {
        (Ok(changed), Ok(drafted)) => {
            // a log tells whole seconds
            jiff::Timestamp::try_from(changed)
                .is_ok_and(|changed| changed.as_second() <= drafted.as_second())
        }
        _ => false,
    };
    older
        && log.take.bytes == source.facts().bytes
        && log.heard.by_version == env!("CARGO_PKG_VERSION")
        && log.heard.settings == options.settings()
}

fn progress_bar(bars: &MultiProgress, take: &Path) -> ProgressBar {
    let name = take.file_name().unwrap_or_default().to_string_lossy();
    let style = ProgressStyle::with_template("{msg:30!} {bar:30} {percent:>3} %");
    bars.add(ProgressBar::new(1000))
        .with_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()))
        .with_message(name.into_owned())
}

/// Puts what was heard into the log as it is by now; decisions stay.
fn save(job: &Job, source: &Source, heard: Heard, given: Vec<Act>) -> Result<Done, CliError> {
    let locked = store::lock(&job.log)?;
    let before = load_if_there(&job.log)?;
    let take = take_record(job, source);
    if let Some(before) = &before {
        refuse_another_take(job, before, &take)?;
    }
    let mut log = Log {
        take,
        drafted: store::now(),
        heard,
        decided: before.map_or_else(Vec::new, |log| log.decided),
    };
    if !given.is_empty() {
        log.decide(store::now(), given);
    }
    validate::sense(&log).map_err(|fault| {
        CliError::new(format!(
            "hearing '{}' went wrong at {fault}; nothing was written",
            job.take.display()
        ))
    })?;
    locked.save(&log)?;
    Ok(Done::Drafted(Box::new(told(job, &log)?)))
}

fn refuse_another_take(job: &Job, before: &Log, take: &songlog::Take) -> Result<(), CliError> {
    let (Some(old), Some(new)) = (&before.take.fingerprint, &take.fingerprint) else {
        return Ok(());
    };
    if for_audio(old).is_same_take(&for_audio(new)) {
        return Ok(());
    }
    Err(CliError::new(format!(
        "the log '{}' is about another take ('{}', {:.1} s; this one lasts {:.1} s); name another log with -o",
        job.log.display(),
        before.take.file,
        old.duration_s,
        new.duration_s
    )))
}

fn for_audio(f: &songlog::Fingerprint) -> audio::Fingerprint {
    audio::Fingerprint {
        duration_s: f.duration_s,
        levels_db: f.levels_db.clone(),
        crossings: f.crossings.clone(),
    }
}

fn take_record(job: &Job, source: &Source) -> songlog::Take {
    let facts = source.facts();
    songlog::Take {
        file: take_file(job),
        kind: facts.kind.clone(),
        rate_hz: facts.rate_hz,
        channels: facts.channels,
        bytes: facts.bytes,
        fingerprint: facts.fingerprint.as_ref().map(|f| songlog::Fingerprint {
            duration_s: f.duration_s,
            levels_db: f.levels_db.clone(),
            crossings: f.crossings.clone(),
        }),
    }
}

/// The take's name for the log: relative where it lies in or under the log's folder.
pub(super) fn take_file(job: &Job) -> String {
    let real = |p: &Path| std::fs::canonicalize(p).unwrap_or_else(|_| p.into());
    let take = real(&job.take);
    let folder = match job.log.parent() {
        Some(p) if !p.as_os_str().is_empty() => real(p),
        _ => real(Path::new(".")),
    };
    let file = take.strip_prefix(&folder).unwrap_or(&take);
    file.to_string_lossy().into_owned()
}

pub(super) fn load_if_there(path: &Path) -> Result<Option<Log>, CliError> {
    if path.exists() {
        Ok(Some(store::load(path)?))
    } else {
        Ok(None)
    }
}
