//! What `listen` shows: a screen as wide as the terminal, or a line for each change.

use super::super::CliError;
use super::super::keys::{clock, gigabytes, level_bar, rows};
use super::super::layout::{WIDTH, columns, pad};
use super::super::plain::{self, one_line};
use super::letters::large;
use super::needle::needle;
use crate::audio::{Level, Metronome, free_bytes};
use crate::deciding::percent;
use crate::drafting::{HeardAt, Seen, answer_json, places};
use crate::fretboard::{Instrument, string_name};
use crate::hearing::{LiveAnswer, Played, TunedString};
use crate::theory::midi_name;
use std::io::{IsTerminal, Write};
use std::path::Path;
use std::time::{Duration, Instant};

/// How many shapes are offered.
const N_SHAPES: usize = 3;
/// How many other candidates are shown.
const N_NEXT: usize = 2;
/// Rows that large letters leave to the rest.
const OTHER_ROWS: usize = 11;
/// How long a look at the disk holds good.
const LOOK: Duration = Duration::from_secs(5);
/// A bar of more beats is shown by numbers.
const MOST_DOTS: u8 = 8;
/// A terminal this narrow gets one candidate a line less.
const NARROW: usize = 60;

/// All that is to be seen at one moment.
pub(super) struct Shown<'a> {
    /// Sound heard so far, s.
    pub(super) t_s: f64,
    /// The last answer in which something sounded.
    pub(super) answer: Option<&'a LiveAnswer>,
    /// What sounded before it, oldest first.
    pub(super) earlier: &'a [String],
    pub(super) instrument: &'a Instrument,
    pub(super) level: Level,
    pub(super) n_clipped: u64,
    /// Nothing sounds now: the answer is that of before.
    pub(super) held: bool,
    pub(super) frozen: bool,
    /// Sound goes by unheard.
    pub(super) paused: bool,
    /// Where kept moments go.
    pub(super) log: &'a Path,
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
    is_large: bool,
    device: String,
    metronome: Option<Metronome>,
    /// Bytes free where moments are kept, and when that was looked at.
    room: Option<(Option<u64>, Instant)>,
    /// What was shown last, where only changes are shown.
    last: Option<Seen>,
    n_lines: usize,
}

impl Face {
    pub(super) fn new(json: bool, is_large: bool, device: String) -> Self {
        let form = if json {
            Form::Json
        } else if std::io::stdout().is_terminal() {
            Form::Screen
        } else {
            Form::Lines
        };
        Self {
            form,
            is_large,
            device,
            metronome: None,
            room: None,
            last: None,
            n_lines: 0,
        }
    }

    pub(super) fn is_json(&self) -> bool {
        self.form == Form::Json
    }

    /// Starts to show another metronome, or none.
    pub(super) fn set_metronome(&mut self, metronome: Option<Metronome>) {
        self.metronome = metronome;
    }

    pub(super) fn has_metronome(&self) -> bool {
        self.metronome.is_some()
    }

    /// Where moments are kept and how much room there is, for the screen.
    fn place(&mut self, log: &Path) -> String {
        let room = match self.room {
            Some((room, at)) if at.elapsed() < LOOK => room,
            _ => {
                let room = free_bytes(log);
                self.room = Some((room, Instant::now()));
                room
            }
        };
        let name = plain::shown(log);
        let room = room.map_or(String::new(), |bytes| {
            format!(", {} free", gigabytes(bytes))
        });
        format!("keeps   in {name}{room}")
    }

    /// Large letters, or small ones again.
    pub(super) fn turn_large(&mut self) {
        self.is_large = !self.is_large;
    }

    /// Says that the device is gone and waited for.
    pub(super) fn say_waiting(&self, width: usize, out: &mut dyn Write) -> Result<(), CliError> {
        let text = format!(
            "'{}' delivers nothing; waiting for it (q quits)",
            one_line(&self.device)
        );
        self.say(&text, width, out)
    }

    /// Says that something takes a while.
    pub(super) fn say_working(&self, width: usize, out: &mut dyn Write) -> Result<(), CliError> {
        self.say("analysing what was heard ...", width, out)
    }

    /// Puts a line in place of the screen's last.
    fn say(&self, text: &str, width: usize, out: &mut dyn Write) -> Result<(), CliError> {
        if self.form == Form::Screen && self.n_lines > 0 {
            write!(out, "\x1b[1A\r{}\x1b[K\r\n", cut(text, width))?;
            out.flush()?;
        }
        Ok(())
    }

    /// Shows a moment on `width` columns.
    pub(super) fn show(
        &mut self,
        shown: &Shown<'_>,
        width: usize,
        out: &mut dyn Write,
    ) -> Result<(), CliError> {
        let Some(answer) = shown.answer.filter(|_| self.form != Form::Screen) else {
            if self.form == Form::Screen {
                let mut lines = screen(shown, &self.device, self.is_large, width);
                let last = lines.len() - 1;
                lines.insert(last, cut(&self.place(shown.log), width));
                if let Some(metronome) = &self.metronome {
                    lines.insert(last, cut(&beats(metronome), width));
                }
                self.draw(&lines, out)?;
            }
            return Ok(());
        };
        let heard = shown.heard();
        let now = match self.form {
            Form::Lines => Seen::of(answer, &heard).without_figures(),
            _ => Seen::of(answer, &heard),
        };
        if self.last.as_ref() == Some(&now) {
            return Ok(());
        }
        self.last = Some(now);
        if self.form == Form::Json {
            let told = answer_json(answer, shown.instrument, &heard);
            writeln!(out, "{told}")?;
        } else {
            writeln!(out, "{}", plain(answer, shown))?;
        }
        out.flush()?;
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
        // what was shown before may have had more lines
        write!(out, "\x1b[J")?;
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

/// What fits a line: a full line would scroll some terminals.
fn cut(line: &str, width: usize) -> String {
    line.chars().take(width - 1).collect()
}

fn screen(shown: &Shown<'_>, device: &str, is_large: bool, width: usize) -> Vec<String> {
    let state = match (shown.frozen, shown.held) {
        _ if shown.paused => "paused",
        (true, _) => "frozen",
        (false, true) => "quiet, holding",
        (false, false) => "hearing",
    };
    let device = one_line(device);
    let mut lines = vec![format!("{}  {state}  ({device})", clock(shown.t_s))];
    if let Some(answer) = shown.answer.filter(|_| is_large) {
        lines.extend(
            large(
                &short_name(answer),
                width - 1,
                rows().saturating_sub(OTHER_ROWS),
            )
            .unwrap_or_default(),
        );
    }
    match (shown.answer, shown.answer.and_then(|a| a.tuned)) {
        (Some(_), Some(string)) => lines.extend(tuner_lines(&string, shown.instrument, width)),
        (Some(answer), None) => lines.extend(answer_lines(answer, shown.instrument, width)),
        (None, _) => {
            lines.push("  play something".into());
            lines.extend(["notes".into(), "strings".into(), "shapes".into()]);
        }
    }
    lines.push(earlier(shown.earlier, width));
    let level = shown.level;
    let clip = match (level.clipping, shown.n_clipped) {
        (true, _) if width < NARROW => "  CLIPS",
        (true, _) => "  CLIPS: turn the input down",
        (false, 0) => "",
        (false, _) => "  clipped",
    };
    lines.push(format!(
        "level   {} {:>5.1} dB{clip}",
        level_bar(level.rms_dbfs, level.held_dbfs, (width / 3).clamp(8, 24)),
        level.held_dbfs.max(-99.9)
    ));
    lines.push(match (shown.remark.is_empty(), width < NARROW) {
        (true, false) => "k keep  m mark  d draft  p pause  f freeze  l large  q quit".into(),
        (true, true) => "k keep  m mark  d draft  q quit".into(),
        (false, _) => shown.remark.to_owned(),
    });
    lines.iter().map(|l| cut(l, width)).collect()
}

/// The beats of the bar with the one that is now.
fn beats(metronome: &Metronome) -> String {
    let (beat, n) = (metronome.beat(), metronome.n_beats());
    let bar = match n {
        1..=MOST_DOTS => (1..=n).map(|b| if b == beat { "●" } else { "·" }).collect(),
        _ => format!("{beat} of {n}"),
    };
    let trouble = metronome
        .trouble()
        .map_or(String::new(), |t| format!("  {t}"));
    format!(
        "beat    {bar}  {} bpm{}",
        metronome.tempo_bpm(),
        one_line(&trouble)
    )
}

/// As many of the chords before as fit, the newest last.
fn earlier(names: &[String], width: usize) -> String {
    let mut line = String::new();
    for name in names.iter().rev() {
        if columns(name) + 2 + columns(&line) + 8 >= width {
            break;
        }
        line = match line.is_empty() {
            true => name.clone(),
            false => format!("{name}  {line}"),
        };
    }
    format!("before  {line}")
}

/// The single string, its target and how far off it is.
fn tuner_lines(string: &TunedString, instrument: &Instrument, width: usize) -> [String; 4] {
    let note = midi_name(string.midi);
    let which = match string.string_idx {
        Some(s) => format!("{} string", string_name(instrument, s)),
        None => "one note".into(),
    };
    let cents = string.cents.round();
    let what = match string.string_idx {
        _ if cents.abs() < 2.0 => "in tune".into(),
        Some(_) if cents < 0.0 => format!("{:.0} cents flat: tighten", -cents),
        Some(_) => format!("{cents:.0} cents sharp: loosen"),
        None => format!("{cents:+.0} cents"),
    };
    [
        format!("  {}{which}", pad(&note, 6)),
        format!("  {what}"),
        format!(
            "  {}",
            needle(string.cents, width.saturating_sub(6).min(51))
        ),
        format!("  {:.1} Hz, wanted {:.1} Hz", string.hz, string.target_hz()),
    ]
}

/// What large letters show: a chord's symbol, a note, two notes.
fn short_name(answer: &LiveAnswer) -> String {
    match &answer.played {
        Played::Note(midi) => midi_name(*midi),
        Played::DoubleStop([low, high], _) => format!("{} {}", midi_name(*low), midi_name(*high)),
        _ => {
            let first = answer.chords().first();
            first.map_or(String::new(), |(label, _)| label.symbol())
        }
    }
}

/// What was played in words: a chord's symbol, a note, two notes.
fn name(answer: &LiveAnswer) -> String {
    match &answer.played {
        Played::Note(midi) => format!("{} (one note)", midi_name(*midi)),
        Played::DoubleStop([low, high], _) => {
            format!("{} {}", midi_name(*low), midi_name(*high))
        }
        _ => with_percent(answer.chords().first()),
    }
}

fn with_percent(candidate: Option<&(crate::theory::Label, f64)>) -> String {
    candidate.map_or(String::new(), |(label, p)| {
        format!("{}  {}", label.symbol(), percent(*p))
    })
}

fn others(answer: &LiveAnswer, width: usize) -> String {
    let (from, word) = match answer.played {
        Played::DoubleStop(..) => (0, "double stop: "),
        _ => (1, "or "),
    };
    let n = if width < NARROW { 1 } else { N_NEXT } + usize::from(from == 0);
    let next: Vec<String> = answer
        .chords()
        .iter()
        .skip(from)
        .take(n)
        .map(|(l, p)| format!("{} {}", l.symbol(), percent(*p)))
        .collect();
    match next.is_empty() {
        true => String::new(),
        false => format!("{word}{}", next.join(", ")),
    }
}

fn answer_lines(answer: &LiveAnswer, instrument: &Instrument, width: usize) -> [String; 4] {
    let chord = format!("  {}", name(answer));
    let room = if width < NARROW { 14 } else { 24 };
    let blank = " ".repeat(room.max(columns(&chord) + 2) - columns(&chord));
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
        format!("{chord}{blank}{}", others(answer, width)),
        format!("notes   {}", notes.join(" ")),
        format!("strings {}", strings.join(" ")),
        format!("shapes  {}", shapes.join("   ")),
    ]
}

fn plain(answer: &LiveAnswer, shown: &Shown<'_>) -> String {
    let shape = answer
        .shapes
        .first()
        .map_or(String::new(), |(s, _)| s.text());
    let held = if shown.held { "  (held)" } else { "" };
    let what = match answer.tuned {
        Some(string) => {
            let [name, off, ..] = tuner_lines(&string, shown.instrument, WIDTH);
            format!("{} {}", name.trim(), off.trim())
        }
        None => format!("{}  {}", name(answer), others(answer, WIDTH)),
    };
    cut(
        &format!("{:>8}  {what}  {shape}{held}", clock(shown.t_s)),
        WIDTH,
    )
}
