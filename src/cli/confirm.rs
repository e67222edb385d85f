//! `takebook confirm`: the user's decisions about a place or the whole take.

use super::taps::{Taps, read_bar_beats, read_taps};
use super::{CliError, Outcome};
use crate::deciding::place::{read, read_moment};
use crate::deciding::{self, Made, Request, words};
use crate::fretboard::{Shape, Tuning, read_capo};
use crate::songlog::decided::Act;
use crate::songlog::read_meter;
use crate::songlog::song::Song;
use crate::theory::{Key, Label};
use std::io::Write;
use std::path::PathBuf;

/// Arguments of `confirm`.
#[derive(clap::Args)]
#[command(
    after_help = "Example: takebook confirm evening.takebook 12.3 --chord Am7 --shape x02010\n\nPlaces: a bar 12, a beat 12.3, bars 5-8, a time 31.2s or 0:31.2, a section by\nletter (A for all of them, A2 for the second) or by name, or all.\n\nSections: --name and --letter are for the whole section that a bar is in; a\nrange of bars that is no section yet (5-8) becomes one. Silence before the\nfirst bar and after the last is taken with those bars; it is no chord to decide."
)]
pub(crate) struct Args {
    /// The log.
    log: PathBuf,
    /// Which places; left out only for what concerns the whole take.
    #[arg(value_name = "WHERE")]
    places: Vec<String>,

    /// Takes the first proposal for each open chord there.
    #[arg(long, conflicts_with_all = ["candidate", "chord"])]
    take_first: bool,
    /// With --take-first: only where the proposal is at least so sure.
    #[arg(long, value_name = "PERCENT", requires = "take_first", value_parser = clap::value_parser!(u8).range(0..=100))]
    at_least: Option<u8>,
    /// Takes the candidate with this number (see show --bar).
    #[arg(long, value_name = "N", conflicts_with = "chord")]
    candidate: Option<usize>,
    /// Your own chord: Am7, D/F#, C#m7b5, N for no chord, X for one without a name.
    #[arg(long)]
    chord: Option<Label>,
    /// How it is played, low string to high: x02010, x-10-12-12-11-10.
    #[arg(long)]
    shape: Option<Shape>,
    /// A second shape to pick from.
    #[arg(long, value_name = "SHAPE", requires = "shape")]
    or_shape: Option<Shape>,
    /// A note for the place, or for the whole take if no place is given.
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// The same in every repeat of the section that holds the same music there.
    #[arg(long)]
    repeats: bool,

    /// Moves the change of chord nearest to WHERE to this moment.
    #[arg(help_heading = "Where chords change", long = "move", value_name = "TO", conflicts_with_all = ["split", "join", "take_first", "candidate", "repeats"])]
    move_to: Option<String>,
    /// The chord changes at WHERE.
    #[arg(help_heading = "Where chords change", long, conflicts_with_all = ["join", "take_first", "candidate"])]
    split: bool,
    /// WHERE is one chord.
    #[arg(help_heading = "Where chords change", long, conflicts_with_all = ["take_first", "candidate"])]
    join: bool,

    /// Names the sections there, each as a whole: "Verse".
    #[arg(help_heading = "Sections", long)]
    name: Option<String>,
    /// Letters the sections there, each as a whole, after the music they repeat.
    #[arg(help_heading = "Sections", long)]
    letter: Option<String>,
    /// A section starts at WHERE.
    #[arg(help_heading = "Sections", long, conflicts_with = "section_joins")]
    section_starts: bool,
    /// No section starts at WHERE; the one before goes on.
    #[arg(help_heading = "Sections", long)]
    section_joins: bool,

    /// Title of the song.
    #[arg(help_heading = "The whole take", long)]
    title: Option<String>,
    /// Key: G, Am, F# minor; with WHERE from there on, up to the next change.
    #[arg(help_heading = "The whole take", long)]
    key: Option<Key>,
    /// Meter: 4/4, 3/4, 6/8.
    #[arg(help_heading = "The whole take", long, value_parser = read_meter)]
    meter: Option<(u8, u8)>,
    /// Beats a minute.
    #[arg(help_heading = "The whole take", long, value_name = "BPM", value_parser = super::draft::read_tempo)]
    tempo: Option<f64>,
    /// The first downbeat: a beat 1.2 or a time 0.5s.
    #[arg(help_heading = "The whole take", long, value_name = "AT")]
    first_downbeat: Option<String>,
    /// Every beat as you tapped it: a file with a time on each line, or 0.5,1.02,1.55,…
    #[arg(help_heading = "The whole take", long, value_name = "FILE|TIMES", value_parser = read_taps)]
    beats: Option<Taps>,
    /// A bar with other beats than the rest: 9=2 says that bar 9 has two.
    #[arg(help_heading = "The whole take", long, value_name = "BAR=N", value_parser = read_bar_beats)]
    bar_beats: Vec<(u32, u8)>,
    /// Fret of the capo, 0 for none.
    #[arg(help_heading = "The whole take", long, value_parser = read_capo)]
    capo: Option<u8>,
    /// Tuning: standard, drop-d, or notes low to high.
    #[arg(help_heading = "The whole take", long)]
    tuning: Option<Tuning>,

    /// Results as JSON.
    #[arg(long)]
    json: bool,
}

/// How many acts are named one by one.
const N_NAMED: usize = 12;

pub(crate) fn run(args: &Args, out: &mut dyn Write) -> Result<Outcome, CliError> {
    let made = deciding::decide(&args.log, |song| {
        Ok::<_, CliError>(vec![request(args, song)?])
    })?;
    let Made {
        acts,
        hints,
        before,
        song,
        id,
        ..
    } = made;
    if args.json {
        let told: Vec<String> = acts.iter().map(|a| words(a, &before)).collect();
        let result = serde_json::json!({
            "version": 1,
            "decision": id,
            "acts": told,
            "hints": hints,
            "n_chords": song.n_chords(),
            "n_open": song.n_open(),
        });
        writeln!(out, "{result}")?;
        return Ok(Outcome::Done);
    }
    for act in acts.iter().filter(|a| !is_help(a, &acts)).take(N_NAMED) {
        writeln!(out, "{}", super::layout::wrap(&words(act, &before), 2))?;
    }
    if acts.len() > N_NAMED {
        writeln!(out, "and {} more", acts.len() - N_NAMED)?;
    }
    for hint in hints {
        writeln!(out, "{}", super::layout::wrap(&format!("note: {hint}"), 6))?;
    }
    writeln!(out, "decision {id}; {}", deciding::open_words(&song))?;
    Ok(Outcome::Done)
}

/// Splits that only make room for a chord go without saying.
fn is_help(act: &Act, all: &[Act]) -> bool {
    matches!(act, Act::Split { .. }) && all.iter().any(|a| matches!(a, Act::Chord { .. }))
}

/// What the arguments ask for, with the places they name.
fn request(args: &Args, song: &Song) -> Result<Request, CliError> {
    let mut request = Request {
        places: Vec::new(),
        repeats: args.repeats,
        take_first: args
            .take_first
            .then(|| f64::from(args.at_least.unwrap_or(0)) / 100.0),
        candidate: args.candidate,
        chord: args.chord.clone(),
        shape: args.shape.clone(),
        or_shape: args.or_shape.clone(),
        note: args.note.clone(),
        move_to_s: moment(args.move_to.as_deref(), song)?,
        split: args.split,
        join: args.join,
        section_name: args.name.clone(),
        section_letter: args.letter.clone(),
        section_starts: args.section_starts,
        section_joins: args.section_joins,
        title: args.title.clone(),
        key: args.key,
        meter: args.meter,
        tempo_bpm: args.tempo,
        downbeat_s: moment(args.first_downbeat.as_deref(), song)?,
        beats_s: args.beats.as_ref().map(|taps| taps.0.clone()),
        bar_beats: args.bar_beats.clone(),
        capo: args.capo,
        tuning: args.tuning.clone(),
    };
    let places_key = request.key.is_some() && !args.places.is_empty();
    let local = request.is_local() || places_key;
    let whole = request.is_for_whole() && !places_key;
    if args.places.is_empty() && local {
        return Err(CliError::new(
            "say where: a bar 12, a beat 12.3, bars 5-8, a section A, or all",
        ));
    }
    if !args.places.is_empty() && !local && args.note.is_none() {
        return Err(CliError::new(if whole {
            format!(
                "title, meter, tempo, beats, capo and tuning are for the whole take; leave out '{}'",
                args.places.join(" ")
            )
        } else {
            format!(
                "say what to decide for '{}': --take-first, --candidate N, --chord CHORD, --shape SHAPE, --note TEXT, --split, --join, --move TO, --name NAME (see --help)",
                args.places.join(" ")
            )
        }));
    }
    if args.places.is_empty() && !whole && args.note.is_none() {
        return Err(CliError::new(
            "say what to decide, for example: takebook confirm LOG 12 --take-first (see --help)",
        ));
    }
    for text in &args.places {
        request.places.extend(read(text, song)?);
    }
    Ok(request)
}

fn moment(text: Option<&str>, song: &Song) -> Result<Option<f64>, CliError> {
    Ok(text.map(|t| read_moment(t, song)).transpose()?)
}
