//! `takebook show`: a log as a chart in text, or the reasons for one bar.

use super::layout::{HELD, WIDTH, chord_box, columns, pad, side_by_side, wrap_from};
use super::plain::shell_word;
use super::{CliError, Outcome};
use crate::deciding::place::{Place, Twin, name_of, read, section_at, twins};
use crate::deciding::{percent, remarks, song_json};
use crate::fretboard::Tuning;
use crate::songlog::decided::clock;
use crate::songlog::song::{Bar, Section, Song, Span, State};
use crate::songlog::{form, resolve, store};
use crate::theory::{Label, midi_name};
use std::io::Write;
use std::path::{Path, PathBuf};

/// Arguments of `show`.
#[derive(clap::Args)]
#[command(after_help = "Example: takebook show evening.takebook --bar 12")]
pub(crate) struct Args {
    /// The log.
    log: PathBuf,
    /// One bar: what was heard, the candidates and why, the shapes, its repeats.
    #[arg(long, value_name = "N")]
    bar: Option<u32>,
    /// Every harmony that sounds, not only the song's chords.
    #[arg(long)]
    detail: bool,
    /// Exit code 1 if a chord is not confirmed yet; for scripts.
    #[arg(long)]
    require_confirmed: bool,
    /// Results as JSON.
    #[arg(long)]
    json: bool,
}

/// A candidate less sure than this gets a second question mark.
const FAIRLY_SURE: f64 = 0.6;
/// How many of the least sure chords are named at the foot.
const N_LEAST_SURE: usize = 5;
/// A chord at least so sure is not named there.
const DOUBTFUL: f64 = 0.995;
/// How many shapes are drawn for a chord.
const N_SHAPES: usize = 5;
/// How many notes are listed for a chord.
const N_NOTES: usize = 24;

pub(crate) fn run(args: Args, out: &mut dyn Write) -> Result<Outcome, CliError> {
    let log = store::load(&args.log)?;
    let song = match args.detail {
        true => resolve(&log.in_detail()),
        false => resolve(&log),
    };
    match (args.bar, args.json) {
        (None, true) => writeln!(out, "{}", song_json::song(&song))?,
        (None, false) => chart(&song, &args.log, out)?,
        (Some(n), json) => bar(&song, n, json, out)?,
    }
    Ok(super::confirmed(args.require_confirmed, song.n_open()))
}

/// Key, tempo, meter, tuning, capo on one line; none if nothing is known.
pub(crate) fn facts(song: &Song) -> Option<String> {
    let mut facts = Vec::new();
    facts.extend(song.key.map(|k| k.text()));
    let changes = form::key_words(song);
    if song.key.is_none() && !changes.is_empty() {
        facts.push("key not confirmed".into());
    }
    facts.extend(changes);
    facts.extend(song.tempo_bpm.map(|t| format!("{t:.0} bpm")));
    facts.extend(song.meter.map(|(b, v)| format!("{b}/{v}")));
    if song.instrument.tuning != Tuning::standard() {
        facts.push(format!("tuning {}", song.instrument.tuning.text()));
    }
    if song.instrument.capo > 0 {
        facts.push(format!("capo {}", song.instrument.capo));
    }
    (!facts.is_empty()).then(|| facts.join(", "))
}

fn chart(song: &Song, path: &Path, out: &mut dyn Write) -> Result<(), CliError> {
    writeln!(out, "{}", wrap_from(&song.title, 0))?;
    if let Some(facts) = facts(song) {
        writeln!(out, "{}", wrap_from(&facts, 0))?;
    }
    for note in &song.notes {
        writeln!(out, "{}", wrap_from(&format!("* {note}"), 2))?;
    }
    let names = form::letters(song);
    for line in form_lines(song, &names) {
        writeln!(out, "{line}")?;
    }
    let mut drawn = String::new();
    let before = |s: &&Span| song.bars.first().is_some_and(|b| s.start_s < b.start_s);
    for span in in_no_bar(song).filter(before) {
        writeln!(out, "\n{}", in_no_bar_line(span, song))?;
    }
    for (section, name) in song.sections.iter().zip(&names) {
        writeln!(out, "\n{}", heading(section, name, song))?;
        let bars: Vec<&Bar> = song
            .bars
            .iter()
            .filter(|b| (section.first_bar..=section.last_bar).contains(&b.number))
            .collect();
        for line in lines(&bars, song) {
            writeln!(out, "{line}")?;
            drawn += &line;
        }
        for line in section_notes(section, song) {
            writeln!(out, "{line}")?;
        }
    }
    for span in in_no_bar(song).filter(|s| !before(s)) {
        writeln!(out, "{}", in_no_bar_line(span, song))?;
    }
    writeln!(out)?;
    foot(song, &drawn, path, out)
}

/// Chords before the first bar and after the last, which no line of bars shows.
fn in_no_bar(song: &Song) -> impl Iterator<Item = &Span> {
    song.chords().filter(|s| song.is_in_no_bar(s))
}

fn in_no_bar_line(span: &Span, song: &Song) -> String {
    let (first, last) = (song.bars.first(), song.bars.last());
    match (first, last) {
        (Some(first), _) if span.start_s < first.start_s => {
            format!("  before bar {}: {}", first.number, marked(span))
        }
        (_, Some(last)) => format!("  after bar {}: {}", last.number, marked(span)),
        _ => marked(span),
    }
}

/// The order of the sections, and how each variant differs; nothing for a single section.
fn form_lines(song: &Song, names: &[String]) -> Vec<String> {
    if names.len() < 2 {
        return Vec::new();
    }
    let mut lines = vec![wrap_from(&format!("form: {}", names.join(" ")), 6)];
    let mut said: Vec<&String> = Vec::new();
    for (section, name) in song.sections.iter().zip(names) {
        if !section.differs.is_empty() && !said.contains(&name) {
            said.push(name);
            lines.push(wrap_from(&format!("  {name}: {}", section.differs), 6));
        }
    }
    lines
}

fn heading(section: &Section, name: &str, song: &Song) -> String {
    let first = song.sections.iter().find(|s| s.letter == section.letter);
    let again = first.filter(|f| f.first_bar != section.first_bar);
    let mut text = format!("[{name}]");
    if let Some(name) = &section.name {
        text.push_str(&format!(" {name}"));
    }
    if let Some(key) = section.key {
        text.push_str(&format!(" in {}", key.text()));
    }
    if let Some(first) = again {
        let varied = if section.differs.is_empty() {
            ""
        } else {
            ", varied"
        };
        text.push_str(&format!(
            " (as bars {} to {}{varied})",
            first.first_bar, first.last_bar
        ));
    }
    for (bar, key) in form::changes_inside(song, section) {
        text.push_str(&format!(", {} from bar {bar}", key.text()));
    }
    wrap_from(&text, 4)
}

/// Bars in lines of four, or fewer where the chords need more room.
fn lines(bars: &[&Bar], song: &Song) -> Vec<String> {
    let per_line = [4, 2, 1]
        .into_iter()
        .find(|n| {
            bars.chunks(*n).all(|line| {
                line.iter()
                    .enumerate()
                    .all(|(i, bar)| cell(bar, i > 0, room(*n), song).is_some())
            })
        })
        .unwrap_or(1);
    bars.chunks(per_line)
        .map(|line| {
            let mut text = format!("{:>4} |", line[0].number);
            for (i, bar) in line.iter().enumerate() {
                let room = room(per_line);
                let cell =
                    cell(bar, i > 0, room, song).unwrap_or_else(|| names(bar, song).join(" "));
                text.push_str(&format!(" {} |", pad(&cell, room)));
            }
            text
        })
        .collect()
}

/// Columns for one bar where so many are on a line.
fn room(per_line: usize) -> usize {
    (WIDTH - 6) / per_line - 3
}

/// The chords of a bar, each about where its beat falls; none if the room is too small.
fn cell(bar: &Bar, may_be_held: bool, room: usize, song: &Song) -> Option<String> {
    let spans = spans_of(bar, song);
    if let [only] = spans[..]
        && may_be_held
        && only.start_s < bar.start_s - 0.02
    {
        return Some("%".into());
    }
    let names: Vec<(String, usize)> = spans
        .into_iter()
        .map(|span| {
            let part = (span.start_s - bar.start_s) / (bar.end_s - bar.start_s);
            (marked(span), (part.max(0.0) * room as f64).round() as usize)
        })
        .collect();
    // from the right: how far right each may start so that the later ones fit
    let mut latest = vec![0; names.len()];
    let mut end = room;
    for (i, (name, wanted)) in names.iter().enumerate().rev() {
        latest[i] = end.checked_sub(columns(name))?.min(*wanted);
        end = latest[i].saturating_sub(1);
    }
    let mut text = String::new();
    for ((name, _), latest) in names.iter().zip(latest) {
        let earliest = if text.is_empty() {
            0
        } else {
            columns(&text) + 1
        };
        text = pad(&text, latest.max(earliest));
        text.push_str(name);
    }
    (columns(&text) <= room).then_some(text)
}

/// Spans of a bar; of neighbours that look the same only the first.
fn spans_of<'a>(bar: &Bar, song: &'a Song) -> Vec<&'a Span> {
    let mut spans: Vec<&Span> = Vec::new();
    for span in song.spans_in(bar) {
        if spans.last().is_none_or(|last| marked(last) != marked(span)) {
            spans.push(span);
        }
    }
    spans
}

fn names(bar: &Bar, song: &Song) -> Vec<String> {
    spans_of(bar, song).into_iter().map(marked).collect()
}

/// The symbol with its marks.
fn marked(span: &Span) -> String {
    let name = match span.label {
        Label::Unknown => "(?)".into(),
        _ => span.label.symbol(),
    };
    let open = match (span.state, span.certainty) {
        (State::Decided, _) => "",
        (State::Open, Some(sure)) if sure < FAIRLY_SURE => "??",
        (State::Open, _) => "?",
    };
    let note = if span.notes.is_empty() { "" } else { "*" };
    format!("{name}{open}{note}")
}

fn section_notes(section: &Section, song: &Song) -> Vec<String> {
    song.spans
        .iter()
        .filter(|s| {
            let here = section_at(s.start_s, song).map(|(i, _)| &song.sections[i]);
            here == Some(section)
        })
        .flat_map(|s| {
            let at = name_of(s.start_s, song);
            s.notes
                .iter()
                .map(move |n| wrap_from(&format!("     * {at}: {n}"), 9))
        })
        .collect()
}

/// Signs of the bars as drawn, what is open, warnings.
fn foot(song: &Song, drawn: &str, path: &Path, out: &mut dyn Write) -> Result<(), CliError> {
    let mut legend = Vec::new();
    let unsure = |s: &&Span| s.certainty.is_some_and(|c| c < FAIRLY_SURE);
    if song.open().any(|s| !unsure(&s)) {
        legend.push("G? unconfirmed");
    }
    if song.open().any(|s| unsure(&s)) {
        legend.push("G?? unconfirmed, under 60 % probable");
    }
    if song.n_open() < song.n_chords() {
        legend.push("G confirmed");
    }
    if song.spans.iter().any(|s| !s.notes.is_empty()) {
        legend.push("* a note");
    }
    if drawn.contains("N.C.") {
        legend.push("N.C. no chord");
    }
    if song.spans.iter().any(|s| s.label == Label::Unknown) {
        legend.push("(?) no name");
    }
    if drawn.contains('%') {
        legend.push("% same chord continues");
    }
    writeln!(out, "{}", wrap_from(&legend.join("; "), 0))?;
    let (n_open, n) = (song.n_open(), song.n_chords());
    if n_open == 0 {
        writeln!(out, "all {n} chords are confirmed")?;
    } else {
        writeln!(out, "{n_open} of {n} chords unconfirmed")?;
        least_sure(song, path, out)?;
    }
    for warning in remarks(song) {
        writeln!(out, "{}", wrap_from(&format!("note: {warning}"), 6))?;
    }
    Ok(())
}

fn least_sure(song: &Song, path: &Path, out: &mut dyn Write) -> Result<(), CliError> {
    let sure = |s: &Span| s.certainty.unwrap_or(1.0);
    let mut open: Vec<&Span> = song
        .open()
        .filter(|s| s.certainty.is_some() && !said_by_file(s))
        .collect();
    open.sort_by(|a, b| sure(a).total_cmp(&sure(b)));
    let worst: Vec<String> = open
        .iter()
        .take(N_LEAST_SURE)
        .filter(|s| sure(s) < DOUBTFUL)
        .map(|s| {
            let sure = percent(s.certainty.unwrap_or(0.0));
            let other = s.candidates.iter().find(|c| c.label != s.label);
            let or = other.map_or_else(String::new, |c| {
                format!(" (or {} {})", c.label.symbol(), percent(c.probability))
            });
            format!(
                "{} {} {sure}{or}",
                name_of(s.start_s, song),
                s.label.symbol()
            )
        })
        .collect();
    if worst.is_empty() {
        // none is doubtful: they are looked at in their order
        open.sort_by(|a, b| a.start_s.total_cmp(&b.start_s));
    }
    if let Some(first) = open.first() {
        let line = if worst.is_empty() {
            format!("probability of each: {}", percent(sure(first)))
        } else {
            format!("least certain: {}", worst.join(", "))
        };
        writeln!(out, "{}", wrap_from(&line, 12))?;
        if let Some((_, bar)) = section_at(first.start_s.max(0.0) + 0.13, song) {
            writeln!(
                out,
                "why: takebook show {} --bar {}",
                shell_word(path),
                bar.number
            )?;
        }
    }
    Ok(())
}

/// A chord from someone's file: nothing was heard, so nothing is doubted.
fn said_by_file(span: &Span) -> bool {
    span.candidates.len() == 1 && span.certainty == Some(1.0)
}

fn bar(song: &Song, number: u32, json: bool, out: &mut dyn Write) -> Result<(), CliError> {
    let place = read(&number.to_string(), song)?[0];
    let repeats = twins(place, song);
    if json {
        let chords = |place: &Place| {
            let spans = place.spans(song);
            spans
                .into_iter()
                .map(|i| song_json::span(&song.spans[i]))
                .collect::<Vec<_>>()
        };
        let repeats: Vec<_> = repeats
            .iter()
            .map(|t| serde_json::json!({"bar": t.bar, "same": t.same, "chords": chords(&t.place)}))
            .collect();
        let result = serde_json::json!({
            "version": song_json::SONG_JSON_VERSION,
            "bar": number,
            "chords": chords(&place),
            "repeats": repeats,
        });
        writeln!(out, "{result}")?;
        return Ok(());
    }
    writeln!(out, "{}", bar_heading(place, number, song))?;
    for i in place.spans(song) {
        writeln!(out)?;
        reasons(&song.spans[i], song, out)?;
    }
    if !repeats.is_empty() {
        let text: Vec<String> = repeats.iter().map(|t| repeat_text(*t, song)).collect();
        let line = format!("in the repeats: {}", text.join("; "));
        writeln!(out, "\n{}", wrap_from(&line, 16))?;
    }
    Ok(())
}

fn bar_heading(place: Place, number: u32, song: &Song) -> String {
    let mut text = format!("bar {number}");
    if let Place::Stretch(from, to) = place {
        text.push_str(&format!(", {} to {}", clock(from), clock(to)));
    }
    if let Some((i, _)) = section_at(place.start_s(), song) {
        let section = &song.sections[i];
        text.push_str(&format!(", section {}", section.letter));
        if let Some(name) = &section.name {
            text.push_str(&format!(" ({name})"));
        }
    }
    wrap_from(&text, 2)
}

fn repeat_text(twin: Twin, song: &Song) -> String {
    let chords: Vec<String> = twin
        .place
        .spans(song)
        .into_iter()
        .map(|i| {
            let span = &song.spans[i];
            let sure = span.certainty.map(percent).unwrap_or_default();
            format!("{} {sure}", marked(span)).trim_end().to_owned()
        })
        .collect();
    let differs = if twin.same { "" } else { " (differs)" };
    format!("bar {} {}{differs}", twin.bar, chords.join(", "))
}

fn reasons(span: &Span, song: &Song, out: &mut dyn Write) -> Result<(), CliError> {
    let state = match (span.state, span.certainty) {
        (State::Open, _) => "unconfirmed".into(),
        (State::Decided, None) => "confirmed, entered by you".into(),
        (State::Decided, Some(_)) if said_by_file(span) => "confirmed, as in the file".into(),
        (State::Decided, Some(sure)) => format!("confirmed, proposed with {}", percent(sure)),
    };
    let line = format!(
        "{}  from {} to {} ({} to {}): {state}",
        marked(span),
        name_of(span.start_s, song),
        name_of(span.end_s, song),
        clock(span.start_s),
        clock(span.end_s),
    );
    writeln!(out, "{}", wrap_from(&line, 2))?;
    for (i, c) in span.candidates.iter().enumerate() {
        let line = format!(
            "  {} {} {:>5}  {}",
            i + 1,
            pad(&c.label.symbol(), 10),
            if said_by_file(span) {
                String::new()
            } else {
                percent(c.probability)
            },
            c.reason
        );
        writeln!(out, "{}", wrap_columns(&line, 22))?;
    }
    writeln!(out, "{}", wrap_from(&heard_notes(span), 9))?;
    if span.fragment {
        writeln!(out, "  read from a few plucked notes, not a whole chord")?;
    }
    let blocks: Vec<(String, Vec<String>)> = span
        .shapes
        .iter()
        .take(N_SHAPES)
        .enumerate()
        .map(|(i, shape)| {
            let mark = if i < span.n_decided_shapes { "" } else { "?" };
            (format!("   {shape}{mark}"), chord_box(shape))
        })
        .collect();
    if !blocks.is_empty() {
        writeln!(out)?;
        for line in side_by_side(&blocks) {
            writeln!(out, "{line}")?;
        }
    }
    for note in &span.notes {
        writeln!(out, "{}", wrap_from(&format!("  * {note}"), 4))?;
    }
    Ok(())
}

/// Wraps a line that has columns, which [`wrap_from`] would close up.
fn wrap_columns(line: &str, indent: usize) -> String {
    let head: String = line.chars().take(indent).collect();
    let tail: String = line.chars().skip(indent).collect();
    let held = HELD.to_string().repeat(columns(&head));
    let marked = format!("{held}{tail}");
    let wrapped = super::layout::wrap(&marked, indent);
    wrapped.replacen(&held, &head, 1)
}

fn heard_notes(span: &Span) -> String {
    if span.struck.is_empty() {
        return "  heard: no string struck in it".into();
    }
    let mut parts: Vec<String> = span
        .struck
        .iter()
        .take(N_NOTES)
        .map(|(midi, at_s)| format!("{} {at_s:.2}s", midi_name(*midi)))
        .collect();
    if span.struck.len() > N_NOTES {
        parts.push(format!("and {} more", span.struck.len() - N_NOTES));
    }
    let bass = span
        .bass_midi
        .map_or_else(String::new, |b| format!("; lowest {}", midi_name(b)));
    format!("  heard: {}{bass}", parts.join(", "))
}
