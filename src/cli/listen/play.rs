//! `listen --play`: a stretch of a log's take again, slower, with its chords plucked beside it.

use super::super::plain::one_line;
use super::super::{CliError, Outcome, chart};
use crate::audio::AudioError;
use crate::deciding::place::{Place, read};
use crate::playback::{Beside, Passage, ToHear, passage};
use crate::songlog::song::Song;
use crate::songlog::{resolve, store};
use std::io::Write;
use std::path::{Path, PathBuf};

/// The arguments that `--play` adds.
#[derive(clap::Args)]
#[command(next_help_heading = "To hear a log's take again")]
pub(super) struct Args {
    /// Plays this log's take instead of listening.
    #[arg(long, value_name = "LOG", conflicts_with_all = ["channel", "tuning", "capo", "key", "keep", "look_ahead", "seconds"])]
    pub(super) play: Option<PathBuf>,
    /// What of it: a bar 12, bars 5-8, a chord 12.3, a section A or its name, or all.
    #[arg(
        long,
        value_name = "WHERE",
        default_value = "all",
        requires = "play",
        allow_hyphen_values = true
    )]
    bar: String,
    /// Percent of the speed at which it was played; the pitch stays.
    #[arg(long, value_name = "PERCENT", default_value = "100", requires = "play", value_parser = clap::value_parser!(u8).range(20..=100))]
    slow: u8,
    /// The chords of the log as plucked strings: after the take, together with it
    /// (the take left, the chords right), or alone.
    #[arg(long, value_name = "WHEN", requires = "play", num_args = 0..=1, default_missing_value = "after")]
    chords: Option<When>,
    /// How often.
    #[arg(long, value_name = "N", default_value = "1", requires = "play", value_parser = clap::value_parser!(u32).range(1..=100))]
    times: u32,
    /// Writes it to this WAV file instead of playing it.
    #[arg(short, long, value_name = "FILE", requires = "play")]
    output: Option<PathBuf>,
    /// Writes over the file if it is there.
    #[arg(long, requires = "output")]
    overwrite: bool,
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum When {
    After,
    Together,
    Alone,
}

impl Args {
    fn beside(&self) -> Beside {
        match self.chords {
            None => Beside::TakeAlone,
            Some(When::After) => Beside::After,
            Some(When::Together) => Beside::Together,
            Some(When::Alone) => Beside::ChordsAlone,
        }
    }
}

pub(super) fn run(
    args: &Args,
    log_path: &Path,
    device: Option<&str>,
    json: bool,
    out: &mut dyn Write,
) -> Result<Outcome, CliError> {
    if let Some(file) = &args.output {
        check_name(file, args.overwrite)?;
    }
    let log = store::load(log_path)?;
    let song = resolve(&log);
    let stretches_s = stretches(&args.bar, &song)?;
    let wanted = ToHear {
        stretches_s: stretches_s.clone(),
        speed: f64::from(args.slow) / 100.0,
        beside: args.beside(),
        n_times: args.times,
    };
    let heard = passage(&song, &store::take_path(log_path, &log), &wanted)?;
    let to = match &args.output {
        Some(file) => {
            chart::save(file, &wav(&heard)?, args.overwrite)?;
            file.display().to_string()
        }
        None => String::new(),
    };
    if json {
        let told = serde_json::json!({
            "version": 1,
            "file": args.output.as_ref().map(|_| &to),
            "stretches": stretches_s.iter().map(|(from, to)| serde_json::json!({"start_s": from, "end_s": to})).collect::<Vec<_>>(),
            "percent": args.slow,
            "seconds": heard.seconds(),
            "rate_hz": heard.rate.0,
        });
        writeln!(out, "{told}")?;
    } else {
        let verb = if args.output.is_some() {
            format!("wrote {}: ", one_line(&to))
        } else {
            String::new()
        };
        writeln!(
            out,
            "{verb}{}, {:.1} s at {} % of the speed",
            place_words(&args.bar),
            heard.seconds(),
            args.slow
        )?;
    }
    out.flush()?;
    if args.output.is_none() {
        sound(heard, device)?;
    }
    Ok(Outcome::Done)
}

/// `bar 5`, `bars 5-8`; letters, names, times and `all` speak for themselves.
fn place_words(text: &str) -> String {
    let text = text.trim();
    let digits = text.chars().all(|c| c.is_ascii_digit() || "-.".contains(c));
    match (digits, text.contains('-')) {
        (true, true) => format!("bars {text}"),
        (true, false) => format!("bar {text}"),
        (false, _) => text.into(),
    }
}

fn check_name(file: &Path, replace: bool) -> Result<(), CliError> {
    let ending = file.extension().map(|e| e.to_string_lossy().to_lowercase());
    if ending.as_deref() != Some("wav") {
        return Err(CliError::new(format!(
            "'{}' does not end in .wav, and only WAV is written here",
            file.display()
        )));
    }
    if file.exists() && !replace {
        return Err(AudioError::Exists { path: file.into() }.into());
    }
    Ok(())
}

/// Places in words as stretches in s; a moment is the chord that sounds there.
fn stretches(text: &str, song: &Song) -> Result<Vec<(f64, f64)>, CliError> {
    let mut found = Vec::new();
    for place in read(text, song)? {
        match place {
            Place::Stretch(from, to) => found.push((from, to)),
            Place::Point(_) => found.extend(
                place
                    .spans(song)
                    .into_iter()
                    .filter_map(|i| song.spans.get(i))
                    .map(|s| (s.start_s, s.end_s)),
            ),
        }
    }
    found.retain(|(from, to)| to > from);
    if found.is_empty() {
        return Err(CliError::new(format!("nothing sounds at '{text}'")));
    }
    Ok(found)
}

/// The passage as a WAV file, 24 bits.
fn wav(heard: &Passage) -> Result<Vec<u8>, CliError> {
    let failed = |e: hound::Error| CliError::new(format!("the sound makes no WAV file: {e}"));
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: heard.rate.0,
        bits_per_sample: 24,
        sample_format: hound::SampleFormat::Int,
    };
    let mut bytes = std::io::Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, spec).map_err(failed)?;
    for x in heard.frames.iter().flatten() {
        writer
            .write_sample((x * 8_388_608.0) as i32)
            .map_err(failed)?;
    }
    writer.finalize().map_err(failed)?;
    Ok(bytes.into_inner())
}

#[cfg(not(feature = "mic"))]
fn sound(_: Passage, _: Option<&str>) -> Result<(), CliError> {
    Err(CliError::new(
        "this takebook was built without sound; write a file and play that: -o FILE.wav",
    ))
}

#[cfg(feature = "mic")]
fn sound(heard: Passage, device: Option<&str>) -> Result<(), CliError> {
    use super::super::keys::{Keys, clock};
    use std::io::IsTerminal;
    let total = clock(heard.seconds());
    let keys = Keys::watch();
    let mut err = std::io::stderr();
    let shows = err.is_terminal();
    let mut stop = |at_s: f64| {
        if shows {
            // a terminal that is gone shows nothing
            let _ = write!(err, "\r{} of {total}  q stops\x1b[K", clock(at_s));
        }
        keys.signalled() || keys.wait(std::time::Duration::from_millis(20)) == Some('q')
    };
    let played = crate::audio::play(heard.frames, heard.rate.0, device, &mut stop);
    if shows {
        let _ = write!(std::io::stderr(), "\r\x1b[K");
    }
    played.map_err(|e| match e {
        AudioError::Device(crate::audio::DeviceError::NoOutput { .. }) => {
            CliError::new(format!("{e}, or write a file and play that: -o FILE.wav"))
        }
        other => other.into(),
    })
}
