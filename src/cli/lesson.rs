//! `takebook lesson`: notes of lessons, written and read.

use super::confirm::write_made;
use super::layout::wrap;
use super::plain::{one_line, shown};
use super::{CliError, Outcome};
use crate::deciding::song_json::lesson_note;
use crate::deciding::{self, DecisionRequest, LessonNoteRequest, read_tempo};
use crate::songlog::lessons::{LessonNote, read_date};
use crate::songlog::song::Song;
use crate::songlog::{resolve, store};
use serde_json::json;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Arguments of `lesson`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  takebook lesson lantern.takebook --student Robin --practised \"G to Em\" --tempo 72 --next-goal \"80 bpm without a stop\"\n  takebook lesson lantern.takebook\n  takebook lesson songs/ --student Robin\n  takebook lesson lantern.takebook --change 2 --tempo 76\n  takebook lesson lantern.takebook --remove 2\n\nThe notes are yours: they are kept in the song's file, on no chart and in no other exported\nfile unless you ask for it (chart --with-lesson-notes). Undo brings a removed one back."
)]
pub(crate) struct Args {
    /// The song; or a folder, to read the notes of all its songs
    #[arg(value_name = "LOG")]
    log: PathBuf,
    /// Whose lesson it was; alone: whose notes are shown
    #[arg(long, value_name = "NAME")]
    student: Option<String>,
    /// What was practised
    #[arg(long, value_name = "TEXT")]
    practised: Option<String>,
    /// The tempo that was reached, bpm
    #[arg(long, value_name = "BPM", value_parser = read_tempo)]
    tempo: Option<f64>,
    /// What comes next
    #[arg(long, value_name = "TEXT")]
    next_goal: Option<String>,
    /// The day of the lesson, 2031-05-02; today if not given
    #[arg(long, value_name = "DAY", value_parser = day)]
    date: Option<String>,
    /// Change the note with this number: what is given, the rest stays; "" empties
    #[arg(long, value_name = "N")]
    change: Option<u32>,
    /// With --change: no tempo was reached
    #[arg(long, requires = "change", conflicts_with = "tempo")]
    no_tempo: bool,
    /// Remove the note with this number
    #[arg(
        long,
        value_name = "N",
        conflicts_with_all = ["change", "student", "practised", "tempo", "next_goal", "date"]
    )]
    remove: Option<u32>,
    /// Results as JSON
    #[arg(long)]
    json: bool,
}

/// A day, as it is kept.
fn day(text: &str) -> Result<String, String> {
    read_date(text).map(|date| date.to_string())
}

impl Args {
    /// Whether something is to be written, not only read.
    fn writes(&self) -> bool {
        let texts = [&self.practised, &self.next_goal, &self.date];
        texts.iter().any(|t| t.is_some())
            || self.tempo.is_some()
            || self.change.is_some()
            || self.remove.is_some()
    }

    /// What is asked; a note that is changed keeps what is not given.
    fn request(&self, song: &Song) -> DecisionRequest {
        if self.remove.is_some() {
            return DecisionRequest {
                remove_lesson_note: self.remove,
                ..DecisionRequest::default()
            };
        }
        let notes = song.lesson_notes.iter();
        let before = self
            .change
            .and_then(|n| notes.clone().find(|b| b.number == n));
        let text = |given: &Option<String>, before: Option<&str>| {
            let given = given.as_deref().or(before);
            given.unwrap_or_default().to_owned()
        };
        let note = LessonNoteRequest {
            number: self.change,
            date: self.date.clone().or(before.map(|b| b.date.clone())),
            student: Some(text(
                &self.student,
                before.and_then(|b| b.student.as_deref()),
            )),
            practised: text(&self.practised, before.map(|b| b.practised.as_str())),
            tempo_bpm: match self.no_tempo {
                true => None,
                false => self.tempo.or(before.and_then(|b| b.tempo_bpm)),
            },
            next_goal: text(&self.next_goal, before.map(|b| b.next_goal.as_str())),
        };
        DecisionRequest {
            lesson_note: Some(note),
            ..DecisionRequest::default()
        }
    }
}

pub(crate) fn run(args: &Args, out: &mut dyn Write) -> Result<Outcome, CliError> {
    match (args.writes(), args.log.is_dir()) {
        (true, true) => Err(CliError::new(format!(
            "'{}' is a folder: a note is written to one song, name its file",
            args.log.display()
        ))),
        (true, false) => write(args, out),
        (false, _) => read(args, out),
    }
}

fn write(args: &Args, out: &mut dyn Write) -> Result<Outcome, CliError> {
    let song = resolve(&store::load(&args.log)?);
    let request = args.request(&song);
    let requests = std::slice::from_ref(&request);
    let made = deciding::decide(&args.log, requests, None, |_| Ok::<_, CliError>(()))?;
    write_made(&made, args.json, out)?;
    Ok(Outcome::Done)
}

/// A song's file, the song, and which of its notes are meant.
type Found = (PathBuf, Song, Vec<LessonNote>);

fn read(args: &Args, out: &mut dyn Write) -> Result<Outcome, CliError> {
    let songs = songs(&args.log)?;
    let is_meant = |note: &LessonNote| args.student.as_deref().is_none_or(|s| note.is_of(s));
    let found: Vec<Found> = songs
        .into_iter()
        .map(|(file, song)| {
            let notes = song.lesson_notes.iter().filter(|n| is_meant(n));
            let notes = notes.cloned().collect();
            (file, song, notes)
        })
        .collect();
    if args.json {
        let songs = found.iter().map(|(file, song, notes)| {
            json!({
                "file": file.display().to_string(),
                "title": song.title,
                "lesson_notes": notes.iter().map(lesson_note).collect::<Vec<_>>(),
            })
        });
        let result = json!({"version": 1, "songs": songs.collect::<Vec<_>>()});
        writeln!(out, "{result}")?;
        return Ok(Outcome::Done);
    }
    let mut has_one = false;
    for (file, song, notes) in found.iter().filter(|(.., notes)| !notes.is_empty()) {
        if has_one {
            writeln!(out)?;
        }
        has_one = true;
        writeln!(out, "{} ({})", one_line(&song.title), shown(file))?;
        for note in notes {
            let line = format!("note {}, {}: {}", note.number, note.head(), note.words());
            writeln!(out, "{}", wrap(&line, 3))?;
        }
    }
    if !has_one {
        let whose = args
            .student
            .as_ref()
            .map(|s| format!(" of {}", one_line(s)));
        writeln!(out, "no notes of lessons{}", whose.unwrap_or_default())?;
    }
    Ok(Outcome::Done)
}

/// The one song, or all of a folder by title.
fn songs(path: &Path) -> Result<Vec<(PathBuf, Song)>, CliError> {
    if !path.is_dir() {
        return Ok(vec![(path.into(), resolve(&store::load(path)?))]);
    }
    let mut songs = Vec::new();
    for file in super::chart::logs(path)? {
        let song = resolve(&store::load(&file)?);
        songs.push((file, song));
    }
    songs.sort_by_cached_key(|(file, song)| (song.title.to_lowercase(), file.clone()));
    Ok(songs)
}
