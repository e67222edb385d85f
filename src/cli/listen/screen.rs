//! What `listen` shows: a screen of seven lines, or a line for each change.

use super::super::CliError;
use super::super::keys::{clock, level_bar};
use super::super::layout::{WIDTH, columns};
use crate::audio::Level;
use crate::deciding::percent;
use crate::drafting::{HeardAt, answer_json, places};
use crate::fretboard::{Instrument, string_name};
use crate::hearing::LiveAnswer;
use crate::theory::midi_name;
use std::io::{IsTerminal, Write};

/// How many shapes are offered.
const N_SHAPES: usize = 3;
/// How many other candidates are told.
const N_NEXT: usize = 2;

/// All that is to be seen at one moment.
pub(super) struct Shown<'a> {
    /// Sound heard so far, s.
    pub(super) t_s: f64,
    /// The last answer in which something sounded.
    pub(super) answer: Option<&'a LiveAnswer>,
    pub(super) instrument: &'a Instrument,
    pub(super) level: Level,
    pub(super) n_clipped: u64,
    /// Nothing sounds now: the answer is that of before.
    pub(super) held: bool,
    pub(super) frozen: bool,
    pub(super) remark: &'a str,
}

impl Shown<'_> {
    fn heard(&self) -> HeardAt {
        HeardAt {
            t_s: self.t_s,
            level: self.level,
            n_clipped: self.n_clipped,
            is_held: self.held,
        }
    }
}

#[derive(Clone, Copy, PartialEq)]
enum Form {
    Screen,
    Lines,
    Json,
}

/// Shows answers in one form.
pub(super) struct Face {
    form: Form,
    device: String,
    /// Chord, first shape and whether it is held, as shown last.
    last: Option<(String, Option<String>, bool)>,
    n_lines: usize,
}

impl Face {
    pub(super) fn new(json: bool, device: String) -> Self {
        let form = if json {
            Form::Json
        } else if std::io::stdout().is_terminal() {
            Form::Screen
        } else {
            Form::Lines
        };
        Self {
            form,
            device,
            last: None,
            n_lines: 0,
        }
    }

    pub(super) fn is_json(&self) -> bool {
        self.form == Form::Json
    }

    pub(super) fn show(&mut self, shown: &Shown<'_>, out: &mut dyn Write) -> Result<(), CliError> {
        if self.form == Form::Screen {
            let lines = screen(shown, &self.device);
            self.draw(&lines, out)?;
        } else if let Some(answer) = shown.answer {
            let shape = answer.shapes.first().map(|(s, _)| s.text());
            let now = (answer.candidates[0].0.label(), shape, shown.held);
            if self.last.as_ref() != Some(&now) {
                self.last = Some(now);
                if self.form == Form::Json {
                    let told = answer_json(answer, shown.instrument, &shown.heard());
                    writeln!(out, "{told}")?;
                } else {
                    writeln!(out, "{}", plain(answer, shown))?;
                }
                out.flush()?;
            }
        }
        Ok(())
    }

    fn draw(&mut self, lines: &[String], out: &mut dyn Write) -> Result<(), CliError> {
        if self.n_lines > 0 {
            write!(out, "\x1b[{}A", self.n_lines)?;
        }
        for line in lines {
            // the terminal may be in raw mode: a line feed alone does not go back
            write!(out, "\r{line}\x1b[K\r\n")?;
        }
        self.n_lines = lines.len();
        out.flush()?;
        Ok(())
    }

    /// Leaves the screen as it is.
    pub(super) fn close(&mut self, out: &mut dyn Write) -> Result<(), CliError> {
        out.flush()?;
        Ok(())
    }
}

fn cut(line: &str) -> String {
    line.chars().take(WIDTH - 1).collect()
}

fn screen(shown: &Shown<'_>, device: &str) -> Vec<String> {
    let state = match (shown.frozen, shown.held) {
        (true, _) => "frozen",
        (false, true) => "quiet, holding",
        (false, false) => "hearing",
    };
    let mut lines = vec![format!("{}  {state}  ({device})", clock(shown.t_s))];
    match shown.answer {
        Some(answer) => lines.extend(answer_lines(answer, shown.instrument)),
        None => {
            lines.push("  play something".into());
            lines.extend(["notes".into(), "strings".into(), "shapes".into()]);
        }
    }
    let level = shown.level;
    let clip = match (level.clipping, shown.n_clipped) {
        (true, _) => "  CLIPS: turn the input down",
        (false, 0) => "",
        (false, _) => "  clipped",
    };
    let tuning = match shown.answer.and_then(|a| a.tuning_cents) {
        Some(cents) => format!("  tuning {cents:+.0} cents"),
        None => String::new(),
    };
    lines.push(format!(
        "level   {} {:>5.1} dB{tuning}{clip}",
        level_bar(level.rms_dbfs, level.held_dbfs, 24),
        level.held_dbfs.max(-99.9)
    ));
    lines.push(if shown.remark.is_empty() {
        "k keep  m mark  f freeze  q quit".into()
    } else {
        format!("k m f q   {}", shown.remark)
    });
    lines.iter().map(|l| cut(l)).collect()
}

fn answer_lines(answer: &LiveAnswer, instrument: &Instrument) -> [String; 4] {
    let (label, probability) = &answer.candidates[0];
    let next: Vec<String> = answer
        .candidates
        .iter()
        .skip(1)
        .take(N_NEXT)
        .map(|(l, p)| format!("{} {}", l.symbol(), percent(*p)))
        .collect();
    let chord = format!("  {}  {}", label.symbol(), percent(*probability));
    let blank = " ".repeat(24usize.saturating_sub(columns(&chord)).max(3));
    let notes: Vec<String> = answer.notes.iter().map(|n| midi_name(*n)).collect();
    let strings: Vec<String> = places(answer, instrument)
        .into_iter()
        .map(|p| {
            p.map_or("?".into(), |(s, fret)| {
                format!("{}{fret}", string_name(instrument, s))
            })
        })
        .collect();
    let shapes: Vec<String> = answer
        .shapes
        .iter()
        .take(N_SHAPES)
        .map(|(s, _)| s.text())
        .collect();
    [
        format!("{chord}{blank}or {}", next.join(", ")),
        format!("notes   {}", notes.join(" ")),
        format!("strings {}", strings.join(" ")),
        format!("shapes  {}", shapes.join("   ")),
    ]
}

fn plain(answer: &LiveAnswer, shown: &Shown<'_>) -> String {
    let next: Vec<String> = answer
        .candidates
        .iter()
        .take(1 + N_NEXT)
        .map(|(l, p)| format!("{} {}", l.symbol(), percent(*p)))
        .collect();
    let shape = answer
        .shapes
        .first()
        .map_or(String::new(), |(s, _)| s.text());
    let held = if shown.held { "  (held)" } else { "" };
    cut(&format!(
        "{:>8}  {}  {shape}{held}",
        clock(shown.t_s),
        next.join(", ")
    ))
}
