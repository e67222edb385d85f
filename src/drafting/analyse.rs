//! The workflow of a draft: a take in, its log out; and the same again.
//!
//! The command line and the desk call the same two functions. Both hold what is
//! given against what the log already has, refuse a log of another take before
//! anything is overwritten, keep every decision, and save whole or not at all.

use super::given::{DraftOptions, bars_by_number, new_acts, settings_with};
use super::{DraftError, hear, imported};
use crate::audio::{self, Source};
use crate::deciding::DecisionRequest;
use crate::foreign::Kind;
use crate::songlog::decided::Act;
use crate::songlog::heard::Heard;
use crate::songlog::{self, Log, resolve, store, validate};
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

/// Who watches an analysis, and may end it.
pub struct Watch<'a> {
    /// Receives the share done, 0 to 1.
    pub progress: &'a (dyn Fn(f64) + Sync),
    /// Set to true, the analysis ends soon without writing anything: once the sound is decoded,
    /// after a piece of it while the nets hear, or else once all is heard.
    pub cancel: &'a AtomicBool,
}

impl Watch<'_> {
    /// Whether to go on.
    pub(super) fn check(&self) -> Result<(), DraftError> {
        if self.cancel.load(Ordering::Relaxed) {
            Err(DraftError::Cancelled)
        } else {
            Ok(())
        }
    }
}

/// What became of an analysis.
#[derive(Debug, Clone, PartialEq)]
pub enum Analysed {
    /// The log as saved.
    Saved(Box<Log>),
    /// Nothing changed since the last draft; nothing was done.
    UpToDate,
}

/// Analyses a take (a sound file, or a file of chords or notes by its ending)
/// and saves what was heard in `log`, under the decisions that are there.
///
/// `settings` may ask for what concerns the whole song (title, key, meter,
/// tempo, first downbeat, beats, bars with other beats, capo, tuning). What
/// differs from what holds becomes one decision. With `only_changed` a take
/// whose file, settings and program version are those of its last draft is left
/// alone.
///
/// # Errors
/// * [`DraftError::Audio`], [`DraftError::Import`] if the file cannot be read,
///   [`DraftError::Hearing`] if hearing fails.
/// * [`DraftError::Log`] if the log cannot be read or saved, [`DraftError::AnotherTake`]
///   if it is about another take.
/// * [`DraftError::Asked`], [`DraftError::Decide`] if the settings make no sense.
/// * [`DraftError::Cancelled`] once `watch.cancel` is set.
///
/// In each of these cases the log is as it was.
pub fn analyse(
    take: &Path,
    log: &Path,
    settings: &DecisionRequest,
    only_changed: bool,
    watch: &Watch,
) -> Result<Analysed, DraftError> {
    if let Some(kind) = kind_of(take) {
        return imported::import(take, log, kind, settings);
    }
    // what cannot be written, or is no log, is reported before the work
    drop(store::lock(log)?);
    let before = load_if_there(log)?;
    let given = new_acts(settings, before.as_ref())?;
    let held = settings_with(before.as_ref(), &given);
    let mut source = audio::open(take)?;
    let duration_s = source.facts().duration_s;
    songlog::contradiction(&held, duration_s).map_err(|text| DraftError::Asked { text })?;
    let mut options = DraftOptions::of(&held);
    if before.is_none() {
        // no bars are known yet: they are counted first
        options.by_number(&settings.bar_beats);
    }
    let is_same = |log: &Log| up_to_date(log, &source, &options);
    if only_changed && given.is_empty() && before.as_ref().is_some_and(is_same) {
        return Ok(Analysed::UpToDate);
    }
    let mut heard = hear(&mut source, &options.given(), watch)?;
    heard.by_version = env!("CARGO_PKG_VERSION").into();
    heard.settings = options.settings();
    let mut warnings = source.facts().warnings.clone();
    warnings.append(&mut heard.warnings);
    heard.warnings = warnings;
    let mut acts = given;
    if before.is_none() {
        acts.extend(bars_by_number(&heard, &settings.bar_beats)?);
    }
    watch.check()?;
    save(take, log, &source, heard, acts).map(|log| Analysed::Saved(Box::new(log)))
}

/// Analyses the take of a log again, with all that was decided since, and saves
/// it: the decisions stay, what was heard is replaced.
///
/// `settings` as for [`analyse`]; the default changes none.
///
/// # Errors
/// As [`analyse`], and [`DraftError::Log`] if there is no such log.
pub fn reanalyse(
    log: &Path,
    settings: &DecisionRequest,
    watch: &Watch,
) -> Result<Analysed, DraftError> {
    let take = store::take_path(log, &store::load(log)?);
    analyse(&take, log, settings, false, watch)
}

/// Whether [`reanalyse`] would take these settings, before it is begun.
///
/// # Errors
/// * [`DraftError::Log`] if the log cannot be read.
/// * [`DraftError::Asked`], [`DraftError::Decide`] if the settings make no sense.
pub fn check_settings(log: &Path, settings: &DecisionRequest) -> Result<(), DraftError> {
    let log = store::load(log)?;
    let given = new_acts(settings, Some(&log))?;
    let held = settings_with(Some(&log), &given);
    songlog::contradiction(&held, Some(log.heard.duration_s))
        .map_err(|text| DraftError::Asked { text })
}

/// Whether the take of a log can be analysed again now: its file is there.
///
/// # Errors
/// As [`store::load`].
pub fn can_reanalyse(log: &Path) -> Result<bool, DraftError> {
    Ok(store::take_path(log, &store::load(log)?).is_file())
}

/// The kind of a file of chords or notes by its ending; none for sound.
pub fn kind_of(take: &Path) -> Option<Kind> {
    Kind::by_ending(take.extension()?.to_str()?)
}

fn up_to_date(log: &Log, source: &Source, options: &DraftOptions) -> bool {
    let changed = std::fs::metadata(&source.facts().path).and_then(|m| m.modified());
    let drafted = log.drafted.parse::<jiff::Timestamp>();
    let older = match (changed, drafted) {
        (Ok(changed), Ok(drafted)) => {
            // a log has whole seconds
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

/// Puts what was heard into the log as it is by now; decisions stay.
fn save(
    take: &Path,
    log: &Path,
    source: &Source,
    heard: Heard,
    given: Vec<Act>,
) -> Result<Log, DraftError> {
    let locked = store::lock(log)?;
    let before = load_if_there(log)?;
    let record = take_record(take, log, source);
    if let Some(before) = &before {
        refuse_another_take(log, before, &record)?;
    }
    let mut made = Log {
        take: record,
        drafted: store::now(),
        heard,
        decided: before.map_or_else(Vec::new, |log| log.decided),
    };
    if !given.is_empty() {
        made.decide(store::now(), given);
    }
    validate::sense(&made).map_err(|fault| DraftError::NoSense {
        take: take.into(),
        fault,
    })?;
    locked.save(&made)?;
    Ok(made)
}

fn refuse_another_take(log: &Path, before: &Log, take: &songlog::Take) -> Result<(), DraftError> {
    let (Some(old), Some(new)) = (&before.take.fingerprint, &take.fingerprint) else {
        return Ok(());
    };
    if old.is_same_take(new) {
        return Ok(());
    }
    let (old_s, new_s) = (old.duration_s, new.duration_s);
    Err(DraftError::AnotherTake {
        log: log.into(),
        about: format!(
            "another take ('{}', {old_s:.1} s; this one lasts {new_s:.1} s)",
            before.take.file
        ),
    })
}

fn take_record(take: &Path, log: &Path, source: &Source) -> songlog::Take {
    let facts = source.facts();
    songlog::Take {
        file: take_file(take, log),
        kind: facts.kind.clone(),
        rate_hz: facts.rate_hz,
        channels: facts.channels,
        bytes: facts.bytes,
        fingerprint: facts.fingerprint.clone(),
        tags: facts.tags.clone(),
    }
}

/// The take's name for the log: relative where it lies in or under the log's folder.
pub(super) fn take_file(take: &Path, log: &Path) -> String {
    let real = |p: &Path| std::fs::canonicalize(p).unwrap_or_else(|_| p.into());
    let take = real(take);
    let folder = match log.parent() {
        Some(p) if !p.as_os_str().is_empty() => real(p),
        _ => real(Path::new(".")),
    };
    let file = take.strip_prefix(&folder).unwrap_or(&take);
    file.to_string_lossy().into_owned()
}

pub(super) fn load_if_there(path: &Path) -> Result<Option<Log>, DraftError> {
    if path.exists() {
        Ok(Some(store::load(path)?))
    } else {
        Ok(None)
    }
}

/// The settings that hold in a log, or none.
pub(super) fn held(before: Option<&Log>) -> resolve::Settings {
    before.map(resolve::settings).unwrap_or_default()
}
