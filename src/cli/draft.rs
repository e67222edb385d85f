//! `takebook draft`: hears takes and writes a log for each.

mod plan;
pub(super) mod taken_in;

use self::plan::plan;
use super::taps::{Taps, read_bar_beats, read_taps};
use super::{CliError, Outcome};
use crate::audio::{self, Source};
use crate::drafting::hear;
use crate::fretboard::{Instrument, Tuning};
use crate::hearing::{Given, WhichBar};
use crate::songlog::decided::Act;
use crate::songlog::heard::{Heard, HeardChord};
use crate::songlog::resolve::Settings;
use crate::songlog::{self, Log, resolve, store, validate};
use crate::theory::{Key, Label};
use indicatif::{MultiProgress, ProgressBar, ProgressStyle};
use serde_json::{Value, json};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

/// Arguments of `draft`.
#[derive(clap::Args)]
#[command(after_help = "Example: takebook draft evening.wav --capo 2")]
pub(crate) struct Args {
    /// Sound files, or folders of them (of a folder only what is new or changed is
    /// drafted); or someone's file of chords or notes to start from: .lab, .jams,
    /// .musicxml, .mxl, .mid.
    #[arg(required_unless_present = "list", value_name = "TAKE")]
    takes: Vec<PathBuf>,
    /// A file that names takes or folders, one a line (- for standard input); only what is new or changed is drafted.
    #[arg(long, value_name = "FILE")]
    list: Option<PathBuf>,
    /// Of all takes only what is new or changed since its last draft.
    #[arg(long)]
    changed: bool,
    /// The log to write; for several takes a folder. Left out, beside each take.
    #[arg(short, long, value_name = "LOG")]
    output: Option<PathBuf>,
    /// Title of the song.
    #[arg(long)]
    title: Option<String>,
    /// Fret of the capo, 0 for none.
    #[arg(long, value_name = "FRET", value_parser = clap::value_parser!(u8).range(0..=12))]
    capo: Option<u8>,
    /// Tuning: standard, half-down, whole-down, drop-d, open-g, dadgad, or notes low to high.
    #[arg(long)]
    tuning: Option<Tuning>,
    /// Key, if you know it: G, Am.
    #[arg(long)]
    key: Option<Key>,
    /// Beats a minute, if you know them.
    #[arg(long, value_name = "BPM", value_parser = read_tempo)]
    tempo: Option<f64>,
    /// Meter, if you know it: 4/4, 3/4, 6/8.
    #[arg(long, value_parser = songlog::read_meter)]
    meter: Option<(u8, u8)>,
    /// Where the first downbeat is, in seconds.
    #[arg(long, value_name = "S", value_parser = read_seconds)]
    first_downbeat: Option<f64>,
    /// Every beat as you tapped it: a file with a time on each line, or 0.5,1.02,1.55,…
    #[arg(long, value_name = "FILE|TIMES", value_parser = read_taps)]
    beats: Option<Taps>,
    /// A bar with other beats than the rest: 9=2 says that bar 9 has two.
    #[arg(long, value_name = "BAR=N", value_parser = read_bar_beats)]
    bar_beats: Vec<(u32, u8)>,
    /// How many takes at a time; left out, one a core.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    jobs: Option<u16>,
    /// Results as JSON.
    #[arg(long)]
    json: bool,
    /// One line of JSON for each take, as soon as it is done.
    #[arg(long, conflicts_with = "json")]
    json_lines: bool,
}

/// What the user said of the take beforehand; it wins over what is heard.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct DraftOptions {
    /// The tuning; none: standard.
    pub(crate) tuning: Option<Tuning>,
    /// Fret of the capo; none: no capo.
    pub(crate) capo: Option<u8>,
    /// The key.
    pub(crate) key: Option<Key>,
    /// Beats a minute.
    pub(crate) tempo_bpm: Option<f64>,
    /// Beats in a bar and note value of a beat.
    pub(crate) meter: Option<(u8, u8)>,
    /// The first downbeat, s.
    pub(crate) first_downbeat_s: Option<f64>,
    /// Every beat as tapped, s.
    pub(crate) beats_s: Vec<f64>,
    /// Bars with their beats.
    pub(crate) bar_beats: Vec<(WhichBar, u8)>,
}

impl DraftOptions {
    fn of(settings: &Settings) -> Self {
        Self {
            tuning: settings.tuning.clone(),
            capo: settings.capo,
            key: settings.key,
            tempo_bpm: settings.tempo_bpm,
            meter: settings.meter,
            first_downbeat_s: settings.downbeat_s,
            beats_s: settings.beats_s.clone().unwrap_or_default(),
            bar_beats: settings
                .bar_beats
                .iter()
                .map(|(at_s, n)| (WhichBar::At(*at_s), *n))
                .collect(),
        }
    }

    /// The instrument that the options describe.
    pub(crate) fn instrument(&self) -> Instrument {
        let usual = Instrument::default();
        Instrument {
            tuning: self.tuning.clone().unwrap_or(usual.tuning),
            capo: self.capo.unwrap_or(0),
            highest_fret: usual.highest_fret,
        }
    }

    /// What hearing is to take as given.
    fn given(&self) -> Given {
        Given {
            instrument: self.instrument(),
            key: self.key,
            tempo_bpm: self.tempo_bpm,
            meter: self.meter,
            first_downbeat_s: self.first_downbeat_s,
            beats_s: self.beats_s.clone(),
            bar_beats: self.bar_beats.clone(),
        }
    }

    /// As `name=value`, for the log.
    fn settings(&self) -> Vec<String> {
        let mut all = Vec::new();
        let mut add = |name: &str, value: Option<String>| {
            all.extend(value.map(|v| format!("{name}={v}")));
        };
        add("tuning", self.tuning.as_ref().map(Tuning::text));
        add("capo", self.capo.map(|c| c.to_string()));
        add("key", self.key.map(Key::label));
        add("tempo", self.tempo_bpm.map(|t| t.to_string()));
        add("meter", self.meter.map(|(b, v)| format!("{b}/{v}")));
        let first = self.first_downbeat_s.map(|s| s.to_string());
        add("first-downbeat", first);
        if let [from, .., to] = self.beats_s[..] {
            let n = self.beats_s.len();
            add("beats", Some(format!("{n} from {from} s to {to} s")));
        }
        for (which, n_beats) in &self.bar_beats {
            add(
                "bar-beats",
                Some(match which {
                    WhichBar::Number(bar) => format!("{bar}={n_beats}"),
                    WhichBar::At(at_s) => format!("{at_s} s={n_beats}"),
                }),
            );
        }
        all
    }
}

/// One take to draft.
struct Job {
    take: PathBuf,
    log: PathBuf,
    /// Skipped if nothing changed since its last draft.
    only_changed: bool,
}

/// What became of one take; of a thousand takes only this is kept in memory.
enum Done {
    Drafted(Box<Told>),
    UpToDate,
    Failed(CliError),
}

/// What there is to say of a drafted take.
struct Told {
    words: String,
    json: Value,
    heard_anything: bool,
}

pub(crate) fn run(args: Args, out: &mut dyn Write) -> Result<Outcome, CliError> {
    let jobs = plan(&args)?;
    let bars = MultiProgress::new();
    let (sender, receiver) = std::sync::mpsc::channel();
    let (stop, next) = (AtomicBool::new(false), AtomicUsize::new(0));
    let pools = pools(&args, jobs.len())?;
    let results = std::thread::scope(|scope| {
        for pool in &pools {
            let sender = sender.clone();
            let (jobs, args, bars, stop, next) = (&jobs, &args, &bars, &stop, &next);
            scope.spawn(move || {
                while !stop.load(Ordering::Relaxed) {
                    let i = next.fetch_add(1, Ordering::Relaxed);
                    let Some(job) = jobs.get(i) else { break };
                    let done = pool
                        .install(|| draft(job, args, bars))
                        .unwrap_or_else(Done::Failed);
                    // nobody listens any more only if writing failed
                    let _ = sender.send((i, done));
                }
            });
        }
        drop(sender);
        let told = tell_all(&jobs, &args, receiver, out);
        stop.store(true, Ordering::Relaxed);
        told
    })?;
    if args.json {
        let drafts: Vec<Value> = jobs.iter().zip(&results).map(as_json).collect();
        writeln!(out, "{}", json!({"version": 1, "drafts": drafts}))?;
    }
    close(&jobs, results)
}

/// Threads for each of the takes that are heard at a time.
///
/// A pool for each: in one pool a thread that waits for a part of its take would
/// begin another take meanwhile, on the same stack, and in that one the next.
fn pools(args: &Args, n_takes: usize) -> Result<Vec<rayon::ThreadPool>, CliError> {
    let failed = |e: &dyn std::fmt::Display| {
        CliError::new(format!("cannot start {:?} jobs: {e}", args.jobs))
    };
    let all = match args.jobs {
        Some(n) => usize::from(n),
        None => rayon::current_num_threads(),
    };
    let n_pools = all.min(n_takes).max(1);
    (0..n_pools)
        .map(|i| {
            let n = all / n_pools + usize::from(i < all % n_pools);
            rayon::ThreadPoolBuilder::new()
                .num_threads(n.max(1))
                .build()
                .map_err(|e| failed(&e))
        })
        .collect()
}

/// Tells of each take as soon as it is its turn; gives what became of all.
fn tell_all(
    jobs: &[Job],
    args: &Args,
    receiver: std::sync::mpsc::Receiver<(usize, Done)>,
    out: &mut dyn Write,
) -> Result<Vec<Done>, CliError> {
    let mut done: Vec<Option<Done>> = jobs.iter().map(|_| None).collect();
    let mut next = 0;
    for (i, one) in receiver {
        if args.json_lines {
            let mut line = as_json((&jobs[i], &one));
            line["version"] = json!(1);
            writeln!(out, "{line}")?;
            out.flush()?;
        }
        done[i] = Some(one);
        while let Some(Some(one)) = done.get(next) {
            if !args.json && !args.json_lines {
                tell(&jobs[next], one, out)?;
                out.flush()?;
            }
            next += 1;
        }
    }
    Ok(done.into_iter().flatten().collect())
}

/// Exit code and error of all takes together.
fn close(jobs: &[Job], results: Vec<Done>) -> Result<Outcome, CliError> {
    let n = results.len();
    let mut failed = Vec::new();
    let mut silent = false;
    for (job, done) in jobs.iter().zip(results) {
        match done {
            Done::Failed(error) if n == 1 => return Err(error),
            Done::Failed(error) => failed.push(format!("  {}: {error}", job.take.display())),
            Done::Drafted(told) => silent |= !told.heard_anything,
            Done::UpToDate => {}
        }
    }
    if !failed.is_empty() {
        return Err(CliError::new(format!(
            "{} of {n} takes could not be drafted:\n{}",
            failed.len(),
            failed.join("\n")
        )));
    }
    Ok(if silent { Outcome::Open } else { Outcome::Done })
}

fn heard_anything(heard: &Heard) -> bool {
    let first = |c: &HeardChord| c.candidates.first().map(|c| c.label.clone());
    heard
        .chords
        .iter()
        .any(|c| first(c).is_some_and(|l| l != Label::NoChord))
}

fn draft(job: &Job, args: &Args, bars: &MultiProgress) -> Result<Done, CliError> {
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

/// The take's name for the log: relative where it lies in or under the log's folder.
fn take_file(job: &Job) -> String {
    let real = |p: &Path| std::fs::canonicalize(p).unwrap_or_else(|_| p.into());
    let take = real(&job.take);
    let folder = match job.log.parent() {
        Some(p) if !p.as_os_str().is_empty() => real(p),
        _ => real(Path::new(".")),
    };
    let file = take.strip_prefix(&folder).unwrap_or(&take);
    file.to_string_lossy().into_owned()
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

fn load_if_there(path: &Path) -> Result<Option<Log>, CliError> {
    if path.exists() {
        Ok(Some(store::load(path)?))
    } else {
        Ok(None)
    }
}

/// The decision that a bar has so many beats, where that bar was heard.
fn bar_beats(heard: &Heard, number: u32, n_beats: u8) -> Result<Act, CliError> {
    let bar = heard.bars.iter().find(|b| b.number == number);
    bar.map(|b| Act::BarBeats {
        at_s: b.start_s,
        n_beats,
    })
    .ok_or_else(|| match heard.bars.last() {
        Some(last) => CliError::new(format!(
            "there is no bar {number}: the take has bars to {}; nothing was written",
            last.number
        )),
        None => CliError::new(format!(
            "there is no bar {number}: no beat was heard; tap the beats with --beats. Nothing was written"
        )),
    })
}

/// Settings given now that differ from those that hold.
fn acts(args: &Args, before: Option<&Log>) -> Result<Vec<Act>, CliError> {
    let held = before.map(resolve::settings).unwrap_or_default();
    let mut acts = Vec::new();
    if args.title.is_some() && args.title != held.title {
        acts.extend(args.title.clone().map(Act::Title));
    }
    if args.tuning.is_some() && args.tuning != held.tuning {
        acts.extend(args.tuning.clone().map(Act::Tuning));
    }
    if args.capo.is_some() && args.capo != held.capo {
        acts.extend(args.capo.map(Act::Capo));
    }
    if args.key.is_some() && args.key != held.key {
        acts.extend(args.key.map(Act::Key));
    }
    if args.tempo.is_some() && args.tempo != held.tempo_bpm {
        acts.extend(args.tempo.map(Act::Tempo));
    }
    if args.meter.is_some() && args.meter != held.meter {
        acts.extend(args.meter.map(|(b, v)| Act::Meter(b, v)));
    }
    if args.first_downbeat.is_some() && args.first_downbeat != held.downbeat_s {
        acts.extend(args.first_downbeat.map(Act::Downbeat));
    }
    let taps = args.beats.as_ref().map(|t| t.0.clone());
    if taps.is_some() && taps != held.beats_s {
        acts.extend(taps.map(Act::Beats));
    }
    if let (Some(log), false) = (before, args.bar_beats.is_empty()) {
        let song = resolve(log);
        for (bar, n_beats) in &args.bar_beats {
            acts.push(crate::deciding::bar_beats(&song, *bar, *n_beats)?);
        }
    }
    Ok(acts)
}

fn settings_of(acts: Vec<Act>) -> Settings {
    let mut settings = Settings::default();
    resolve::apply_settings(&mut settings, &acts);
    settings
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

fn tell(job: &Job, done: &Done, out: &mut dyn Write) -> Result<(), CliError> {
    match done {
        Done::Failed(_) => {}
        Done::UpToDate => writeln!(
            out,
            "{}: nothing new since its last draft, skipped",
            job.take.display()
        )?,
        Done::Drafted(told) => out.write_all(told.words.as_bytes())?,
    }
    Ok(())
}

fn told(job: &Job, log: &Log) -> Result<Told, CliError> {
    let song = songlog::resolve(log);
    let heard_anything = heard_anything(&log.heard);
    let mut words = Vec::new();
    writeln!(words, "{} -> {}", job.take.display(), job.log.display())?;
    for warning in &song.warnings {
        let line = format!("  note: {warning}");
        writeln!(words, "{}", super::layout::wrap_from(&line, 8))?;
    }
    if heard_anything {
        writeln!(
            words,
            "  {} bars, {} chords, {} open{}",
            song.bars.len(),
            song.spans.len(),
            song.n_open(),
            super::show::facts(&song)
                .map(|f| format!("; {f}"))
                .unwrap_or_default()
        )?;
        writeln!(words, "  see them: takebook show {}", job.log.display())?;
    } else {
        writeln!(words, "  no chord was heard in {:.1} s", song.duration_s)?;
    }
    let json = json!({
        "state": "drafted",
        "heard_anything": heard_anything,
        "duration_s": song.duration_s,
        "n_bars": song.bars.len(),
        "n_chords": song.spans.len(),
        "n_open": song.n_open(),
        "tempo_bpm": song.tempo_bpm,
        "meter": song.meter.map(|(b, v)| format!("{b}/{v}")),
        "key": song.key.map(|k| k.label()),
        "tuning_cents": log.heard.tuning_cents,
        "warnings": song.warnings,
    });
    Ok(Told {
        words: String::from_utf8_lossy(&words).into_owned(),
        json,
        heard_anything,
    })
}

fn as_json((job, done): (&Job, &Done)) -> Value {
    let mut value = json!({
        "take": job.take.to_string_lossy(),
        "log": job.log.to_string_lossy(),
    });
    let more = match done {
        Done::Failed(error) => json!({"state": "failed", "error": error.to_string()}),
        Done::UpToDate => json!({"state": "up to date"}),
        Done::Drafted(told) => told.json.clone(),
    };
    if let (Value::Object(all), Value::Object(more)) = (&mut value, more) {
        all.extend(more);
    }
    value
}

/// Beats a minute, 10 to 600.
pub(crate) fn read_tempo(text: &str) -> Result<f64, String> {
    text.parse()
        .ok()
        .filter(|bpm| (10.0..=600.0).contains(bpm))
        .ok_or_else(|| format!("'{text}' is not a tempo (10 to 600 beats a minute)"))
}

fn read_seconds(text: &str) -> Result<f64, String> {
    text.trim_end_matches('s')
        .parse()
        .ok()
        .filter(|s| (0.0..604_800.0).contains(s))
        .ok_or_else(|| format!("'{text}' is not a time in seconds"))
}
