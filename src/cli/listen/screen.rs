//! What `listen` shows: a screen of eight lines, or a line for each change.

use super::super::CliError;
use super::super::keys::{clock, level_bar};
use super::super::layout::{WIDTH, columns};
use crate::audio::Level;
use crate::deciding::percent;
use crate::drafting::{HeardAt, Seen, answer_json, places};
use crate::fretboard::{Instrument, string_name};
use crate::hearing::{LiveAnswer, TunedNote};
use crate::theory::midi_name;
use std::io::{IsTerminal, Write};

/// How many shapes are offered.
const N_SHAPES: usize = 3;
/// How long a chord sounds before it counts among the last ones, s.
const SETTLED_S: f64 = 0.3;
/// How many other candidates are told.
const N_NEXT: usize = 2;

/// All that is to be seen at one moment.
pub(super) struct Shown<'a> {
    /// Sound heard so far, s.
    pub(super) t_s: f64,
    /// The last answer in which something sounded.
    pub(super) answer: Option<&'a LiveAnswer>,
    /// The single note that sounds; none for a chord.
    pub(super) tuned: Option<TunedNote>,
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
            tuned: self.tuned,
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
    /// What was shown last.
    last: Option<Seen>,
    /// Symbols of the last chords, oldest first.
    before: Vec<String>,
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
            before: Vec::new(),
            n_lines: 0,
        }
    }

    pub(super) fn is_json(&self) -> bool {
        self.form == Form::Json
    }

    pub(super) fn show(&mut self, shown: &Shown<'_>, out: &mut dyn Write) -> Result<(), CliError> {
        if self.form == Form::Screen {
            self.remember(shown);
            let lines = screen(shown, &self.device, &self.before, width());
            self.draw(&lines, out)?;
        } else if let Some(answer) = shown.answer {
            let heard = shown.heard();
            let mut now = Seen::of(answer, &heard);
            if self.form == Form::Lines {
                now = now.without_probability();
            }
            if self.last.as_ref() != Some(&now) {
                self.last = Some(now);
                if self.form == Form::Json {
                    writeln!(out, "{}", answer_json(answer, shown.instrument, &heard))?;
                } else {
                    writeln!(out, "{}", plain(answer, shown))?;
                }
                out.flush()?;
            }
        }
        Ok(())
    }

    /// Adds a chord that is new to those that stay visible.
    fn remember(&mut self, shown: &Shown<'_>) {
        const N_BEFORE: usize = 24;
        let Some(answer) = shown.answer.filter(|_| !shown.held) else {
            return;
        };
        // a chord that stands for less is on its way to another
        if answer.at_s - answer.since_s < SETTLED_S || shown.tuned.is_some() {
            return;
        }
        let symbol = answer.candidates[0].0.symbol();
        if self.before.last() != Some(&symbol) {
            self.before.push(symbol);
            let over = self.before.len().saturating_sub(N_BEFORE);
            self.before.drain(..over);
        }
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

/// Columns of the terminal: a longer line would make the screen scroll.
fn width() -> usize {
    let (columns, _) = crossterm::terminal::size().unwrap_or((0, 0));
    match usize::from(columns) {
        0 => WIDTH,
        n => n.min(WIDTH),
    }
}

fn cut(line: &str, width: usize) -> String {
    line.chars().take(width.max(2) - 1).collect()
}

/// The last chords, as many as the line holds, the newest last.
fn last_chords(before: &[String], width: usize) -> String {
    let mut line = String::new();
    for symbol in before.iter().rev() {
        let longer = format!("{symbol}  {line}");
        if columns(&longer) + 10 > width {
            break;
        }
        line = longer;
    }
    format!("before  {line}")
}

fn screen(shown: &Shown<'_>, device: &str, before: &[String], width: usize) -> Vec<String> {
    let state = match (shown.frozen, shown.held) {
        (true, _) => "frozen",
        (false, true) => "quiet, holding",
        (false, false) => "hearing",
    };
    let mut lines = vec![format!("{}  {state}  ({device})", clock(shown.t_s))];
    match shown.answer {
        Some(answer) => {
            let mut told = answer_lines(answer, shown.instrument);
            if let Some(note) = shown.tuned {
                told[0] = format!("  {}", note_words(&note, shown.instrument));
                told[3] = format!("tuner   {}", needle(note.cents));
            } else if let [low, high] = answer.notes[..] {
                let pair = format!("{} {}", midi_name(low), midi_name(high));
                told[1] = format!("notes   {pair}: a double stop");
            }
            lines.extend(told);
        }
        None => {
            lines.push("  play something".into());
            lines.extend(["notes".into(), "strings".into(), "shapes".into()]);
        }
    }
    lines.push(last_chords(before, width));
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
        level_bar(
            level.rms_dbfs,
            level.held_dbfs,
            width.saturating_sub(44).clamp(8, 24)
        ),
        level.held_dbfs.max(-99.9)
    ));
    lines.push(if shown.remark.is_empty() {
        "k keep  m mark  f freeze  q quit".into()
    } else {
        format!("k m f q   {}", shown.remark)
    });
    lines.iter().map(|l| cut(l, width)).collect()
}

/// `E2  low E string  +3 cents`.
fn note_words(note: &TunedNote, instrument: &Instrument) -> String {
    let string = match note.string_idx {
        Some(s) => format!("  {} string", string_name(instrument, s)),
        None => String::new(),
    };
    format!("{}{string}  {:+.0} cents", midi_name(note.midi), note.cents)
}

/// A scale of 50 cents each way, with a mark where the note is.
fn needle(cents: f64) -> String {
    const HALF: i64 = 10;
    let at = ((cents / 5.0).round() as i64).clamp(-HALF, HALF);
    let scale = (-HALF..=HALF).map(|k| match k {
        _ if k == at => '#',
        0 => '|',
        _ => '-',
    });
    let word = match cents {
        c if c > 2.0 => "sharp: slacken",
        c if c < -2.0 => "flat: tighten",
        _ => "in tune",
    };
    format!("{} {word}", scale.collect::<String>())
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
    let told = match shown.tuned {
        Some(note) => note_words(&note, shown.instrument),
        None => format!("{}  {shape}", next.join(", ")),
    };
    cut(&format!("{:>8}  {told}{held}", clock(shown.t_s)), WIDTH)
}
