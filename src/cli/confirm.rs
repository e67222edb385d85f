//! `takebook confirm`: the user's decisions about a place or the whole take.

use super::place::{Place, name_of, read, read_moment, twins};
use super::show::percent;
use super::taps::{Taps, read_bar_beats, read_taps};
use super::words::{hints, words};
use super::{CliError, Outcome};
use crate::fretboard::{Shape, Tuning};
use crate::songlog::decided::{Act, How};
use crate::songlog::resolve::{resolve_with_unfit, settings};
use crate::songlog::song::{Song, Span, State};
use crate::songlog::{Log, contradiction, read_meter, resolve, store};
use crate::theory::{Key, Label};
use std::io::Write;
use std::path::PathBuf;

/// Arguments of `confirm`.
#[derive(clap::Args)]
#[command(
    after_help = "Example: takebook confirm evening.takebook 12.3 --chord Am7 --shape x02010\n\nPlaces: a bar 12, a beat 12.3, bars 5-8, a time 31.2s or 0:31.2, a section by\nletter (A for all of them, A2 for the second) or by name, or all."
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

    /// Names the sections there: "Verse".
    #[arg(help_heading = "Sections", long)]
    name: Option<String>,
    /// Letters the sections there, after the music they repeat.
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
    /// Key: G, Am, F# minor.
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
    #[arg(help_heading = "The whole take", long, value_parser = clap::value_parser!(u8).range(0..=12))]
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
    let locked = store::lock_existing(&args.log)?;
    let mut log = locked.load()?;
    let before = resolve(&log);
    let acts = acts(args, &log, &before)?;
    let mut hints = hints(&acts, &before);
    hints.extend(left_out(args, &before)?);
    let id = log.decide(store::now(), acts.clone());
    contradiction(&settings(&log), Some(log.heard.duration_s))
        .map_err(|why| CliError::new(format!("nothing was changed: {why}")))?;
    crate::songlog::validate::sense(&log)
        .map_err(|fault| CliError::new(format!("that cannot be decided: {fault}")))?;
    let (song, unfit) = resolve_with_unfit(&log);
    if let Some(own) = unfit.iter().find(|u| u.id == id) {
        return Err(CliError::new(format!(
            "nothing was changed; it does not fit: {}",
            own.text
        )));
    }
    locked.save(&log)?;
    if args.json {
        let told: Vec<String> = acts.iter().map(|a| words(a, &before)).collect();
        let result = serde_json::json!({
            "decision": id,
            "acts": told,
            "hints": hints,
            "n_chords": song.spans.len(),
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
    let open = match song.n_open() {
        0 => "all chords are decided".into(),
        n => format!("{n} of {} chords open", song.spans.len()),
    };
    writeln!(out, "decision {id}; {open}")?;
    Ok(Outcome::Done)
}

/// Splits that only make room for a chord go without saying.
fn is_help(act: &Act, all: &[Act]) -> bool {
    matches!(act, Act::Split { .. }) && all.iter().any(|a| matches!(a, Act::Chord { .. }))
}

fn acts(args: &Args, log: &Log, song: &Song) -> Result<Vec<Act>, CliError> {
    let mut acts = whole_take(args, song)?;
    let local = args.take_first
        || args.candidate.is_some()
        || args.chord.is_some()
        || args.shape.is_some()
        || args.move_to.is_some()
        || args.split
        || args.join
        || args.name.is_some()
        || args.letter.is_some()
        || args.section_starts
        || args.section_joins;
    if args.places.is_empty() {
        if local {
            return Err(CliError::new(
                "say where: a bar 12, a beat 12.3, bars 5-8, a section A, or all",
            ));
        }
        if let Some(text) = &args.note {
            acts.push(Act::Note {
                place_s: None,
                text: text.clone(),
            });
        }
    } else if !local && args.note.is_none() {
        return Err(CliError::new(if acts.is_empty() {
            format!(
                "say what to decide for '{}': --take-first, --candidate N, --chord CHORD, --shape SHAPE, --note TEXT, --split, --join, --move TO, --name NAME (see --help)",
                args.places.join(" ")
            )
        } else {
            format!(
                "title, key, meter, tempo, capo and tuning are for the whole take; leave out '{}'",
                args.places.join(" ")
            )
        }));
    } else {
        let mut places = Vec::new();
        for text in &args.places {
            places.extend(read(text, song)?);
        }
        if args.repeats {
            let twins = places.iter().flat_map(|p| twins(*p, song));
            let same: Vec<Place> = twins.filter(|t| t.same).map(|t| t.place).collect();
            places.extend(same);
        }
        places.sort_by(|a, b| a.start_s().total_cmp(&b.start_s()));
        places.dedup();
        at_places(args, &places, log, song, &mut acts)?;
    }
    if acts.is_empty() {
        return Err(CliError::new(
            "say what to decide, for example: takebook confirm LOG 12 --take-first (see --help)",
        ));
    }
    Ok(acts)
}

/// Repeats that a decision was not carried to, in words.
fn left_out(args: &Args, song: &Song) -> Result<Option<String>, CliError> {
    let mut bars: Vec<u32> = Vec::new();
    if args.repeats {
        for text in &args.places {
            let twins = read(text, song)?.into_iter().flat_map(|p| twins(p, song));
            bars.extend(twins.filter(|t| !t.same).map(|t| t.bar));
        }
    }
    bars.sort_unstable();
    bars.dedup();
    let names: Vec<String> = bars.iter().map(u32::to_string).collect();
    Ok((!bars.is_empty()).then(|| {
        format!(
            "left out, since they differ or were decided otherwise: bar{} {}",
            if bars.len() == 1 { "" } else { "s" },
            names.join(", ")
        )
    }))
}

fn whole_take(args: &Args, song: &Song) -> Result<Vec<Act>, CliError> {
    let mut acts = Vec::new();
    acts.extend(args.title.clone().map(Act::Title));
    acts.extend(args.key.map(Act::Key));
    acts.extend(args.meter.map(|(beats, value)| Act::Meter(beats, value)));
    acts.extend(args.tempo.map(Act::Tempo));
    if let Some(text) = &args.first_downbeat {
        acts.push(Act::Downbeat(read_moment(text, song)?));
    }
    acts.extend(args.beats.iter().map(|taps| Act::Beats(taps.0.clone())));
    for (bar, n_beats) in &args.bar_beats {
        acts.push(bar_beats(song, *bar, *n_beats)?);
    }
    acts.extend(args.capo.map(Act::Capo));
    acts.extend(args.tuning.clone().map(Act::Tuning));
    Ok(acts)
}

/// The decision that a bar has so many beats.
pub(super) fn bar_beats(song: &Song, number: u32, n_beats: u8) -> Result<Act, CliError> {
    let at_s = read_moment(&number.to_string(), song)?;
    Ok(Act::BarBeats { at_s, n_beats })
}

fn at_places(
    args: &Args,
    places: &[Place],
    log: &Log,
    song: &Song,
    acts: &mut Vec<Act>,
) -> Result<(), CliError> {
    edges(args, places, song, acts)?;
    sections(args, places, acts);
    if args.take_first {
        take_first(args, places, song, acts)?;
    }
    if args.candidate.is_none()
        && args.chord.is_none()
        && args.shape.is_none()
        && args.note.is_none()
    {
        return Ok(());
    }
    // splits and joins come first: the rest is about what they leave
    let mut changed = log.clone();
    changed.decide(store::now(), acts.clone());
    let song = resolve(&changed);
    for place in places {
        one_chord(args, *place, &song, acts)?;
    }
    Ok(())
}

/// `--split`, `--join`, `--move`.
fn edges(args: &Args, places: &[Place], song: &Song, acts: &mut Vec<Act>) -> Result<(), CliError> {
    if let Some(to) = &args.move_to {
        let [place] = places else {
            return Err(CliError::new("--move is for one change of chord at a time"));
        };
        acts.push(Act::Move {
            from_s: place.start_s(),
            to_s: read_moment(to, song)?,
        });
    }
    for place in places {
        if args.split {
            acts.push(Act::Split {
                at_s: place.start_s(),
            });
        }
        if args.join {
            let Place::Stretch(start_s, end_s) = *place else {
                return Err(CliError::new(
                    "--join needs a stretch, for example bars 5-6 or beats 12.1-12.2",
                ));
            };
            let spans = place.spans(song);
            let (Some(first), Some(last)) = (spans.first(), spans.last()) else {
                return Err(CliError::new("no chord sounds there"));
            };
            if first == last && args.chord.is_none() {
                return Err(CliError::new(format!(
                    "there is only one chord already: {}",
                    listed(song, &spans)
                )));
            }
            acts.push(Act::Join {
                start_s: song.spans[*first].start_s.min(start_s),
                end_s: song.spans[*last].end_s.max(end_s),
            });
        }
    }
    Ok(())
}

/// `--name`, `--letter`, `--section-starts`, `--section-joins`.
fn sections(args: &Args, places: &[Place], acts: &mut Vec<Act>) {
    for place in places {
        let at_s = place.start_s();
        let (start_s, end_s) = match *place {
            Place::Stretch(from, to) => (from, to),
            Place::Point(at_s) => (at_s, at_s + 0.01),
        };
        if args.section_starts {
            acts.push(Act::SectionSplit { at_s });
        }
        if args.section_joins {
            acts.push(Act::SectionJoin { at_s });
        }
        if let Some(letter) = &args.letter {
            acts.push(Act::SectionLetter {
                start_s,
                end_s,
                letter: letter.trim().into(),
            });
        }
        if let Some(name) = &args.name {
            acts.push(Act::SectionName {
                start_s,
                end_s,
                name: name.trim().into(),
            });
        }
    }
}

fn take_first(
    args: &Args,
    places: &[Place],
    song: &Song,
    acts: &mut Vec<Act>,
) -> Result<(), CliError> {
    let least = f64::from(args.at_least.unwrap_or(0)) / 100.0;
    let mut all: Vec<usize> = places.iter().flat_map(|p| p.spans(song)).collect();
    all.sort_unstable();
    all.dedup();
    let open: Vec<usize> = all
        .iter()
        .copied()
        .filter(|i| song.spans[*i].state == State::Open)
        .collect();
    if open.is_empty() {
        return Err(CliError::new(format!(
            "nothing is open there: {}; to change a decision name a --candidate or a --chord, or take it back with undo",
            listed(song, &all)
        )));
    }
    let before = acts.len();
    for i in open.iter().copied() {
        let span = &song.spans[i];
        if let Some(first) = span.candidates.first().filter(|c| c.probability >= least) {
            acts.push(Act::Chord {
                start_s: span.start_s,
                end_s: span.end_s,
                label: first.label.clone(),
                how: How::Proposed,
            });
        }
    }
    if acts.len() == before {
        return Err(CliError::new(format!(
            "no open chord there is {} % sure or more: {}",
            args.at_least.unwrap_or(0),
            listed(song, &open)
        )));
    }
    Ok(())
}

/// `--candidate`, `--chord`, `--shape`, `--note` for one place.
fn one_chord(args: &Args, place: Place, song: &Song, acts: &mut Vec<Act>) -> Result<(), CliError> {
    let spans = place.spans(song);
    let wants_one = args.candidate.is_some() || args.chord.is_some() || args.shape.is_some();
    if spans.len() != 1 && wants_one {
        return Err(CliError::new(format!(
            "several chords are there: {}; name a beat, or make them one with --join",
            listed(song, &spans)
        )));
    }
    let Some(i) = spans.first() else {
        return Err(CliError::new("no chord sounds there"));
    };
    let span = &song.spans[*i];
    let (mut start_s, mut end_s) = (span.start_s, span.end_s);
    if let Some(n) = args.candidate {
        let candidate = n
            .checked_sub(1)
            .and_then(|n| span.candidates.get(n))
            .ok_or_else(|| {
                CliError::new(format!("there is no candidate {n}: {}", candidates(span)))
            })?;
        acts.push(Act::Chord {
            start_s,
            end_s,
            label: candidate.label.clone(),
            how: if n == 1 {
                How::Proposed
            } else {
                How::Candidate
            },
        });
    }
    if let Some(label) = &args.chord {
        // of a longer chord only the part in the place, unless that says the same
        if let Place::Stretch(from, to) = place
            && *label != span.label
        {
            for (edge_s, inside) in [(from, from > start_s), (to, to < end_s)] {
                if inside {
                    acts.push(Act::Split { at_s: edge_s });
                }
            }
            start_s = start_s.max(from);
            end_s = end_s.min(to);
        }
        acts.push(Act::Chord {
            start_s,
            end_s,
            label: label.clone(),
            how: match span.candidates.iter().position(|c| c.label == *label) {
                Some(0) => How::Proposed,
                Some(_) => How::Candidate,
                None => How::Own,
            },
        });
    }
    if let Some(shape) = &args.shape {
        for shape in std::iter::once(shape).chain(&args.or_shape) {
            check_shape(shape, song)?;
        }
        acts.push(Act::Shape {
            start_s,
            end_s,
            shape: shape.clone(),
            or_shape: args.or_shape.clone(),
        });
    }
    if let Some(text) = &args.note {
        let (start_s, end_s) = match place {
            Place::Stretch(from, to) => (from, to),
            Place::Point(_) => (start_s, end_s),
        };
        acts.push(Act::Note {
            place_s: Some((start_s, end_s)),
            text: text.clone(),
        });
    }
    Ok(())
}

fn check_shape(shape: &Shape, song: &Song) -> Result<(), CliError> {
    let (found, expected) = (shape.frets().len(), song.instrument.tuning.n_strings());
    if found != expected {
        return Err(crate::fretboard::FretboardError::StringCount {
            text: shape.text(),
            found,
            expected,
        }
        .into());
    }
    let highest =
        song.instrument.highest_fret - song.instrument.capo.min(song.instrument.highest_fret);
    match shape.frets().iter().flatten().find(|f| **f > highest) {
        Some(fret) => Err(crate::fretboard::FretboardError::FretRange {
            fret: u32::from(*fret),
            highest,
        }
        .into()),
        None => Ok(()),
    }
}

/// Chords with their places, for an error: "12 Am7?, 12.3 D".
fn listed(song: &Song, spans: &[usize]) -> String {
    const MOST: usize = 8;
    let mut parts: Vec<String> = spans
        .iter()
        .take(MOST)
        .map(|i| {
            let span = &song.spans[*i];
            format!("{} {}", name_of(span.start_s, song), span.label.symbol())
        })
        .collect();
    if spans.len() > MOST {
        parts.push(format!("and {} more", spans.len() - MOST));
    }
    if parts.is_empty() {
        "none".into()
    } else {
        parts.join(", ")
    }
}

fn candidates(span: &Span) -> String {
    let all: Vec<String> = span
        .candidates
        .iter()
        .enumerate()
        .map(|(i, c)| format!("{} {} {}", i + 1, c.label.symbol(), percent(c.probability)))
        .collect();
    all.join(", ")
}
