//! A document as measures, before anything is played.

use super::super::{ForeignError, MAX_BARS};
use super::chord;
use super::marks::{direction, sound, staff_details};
use crate::fretboard::{Instrument, Shape, Tuning};
use crate::theory::{Label, Mode};
use roxmltree::{Document, Node, ParsingOptions};

/// The most nodes a document may have.
const MAX_NODES: u32 = 8_000_000;

/// What is read of a score.
#[derive(Default)]
pub(super) struct Score {
    pub(super) title: Option<String>,
    /// Sharps, and the mode if it is said.
    pub(super) key: Option<(i32, Option<Mode>)>,
    /// Length of what the metronome mark counts, quarters.
    pub(super) beat_quarters: Option<f64>,
    /// Semitones from written to sounding, octaves left out.
    pub(super) transposed: i32,
    pub(super) tuning: Option<Tuning>,
    pub(super) capo: u8,
    pub(super) measures: Vec<Written>,
    pub(super) warnings: Vec<String>,
}

impl Score {
    /// Tuning and capo where the file says them.
    pub(super) fn instrument(&self) -> Option<Instrument> {
        (self.tuning.is_some() || self.capo > 0).then(|| {
            let usual = Instrument::default();
            Instrument {
                tuning: self.tuning.clone().unwrap_or(usual.tuning),
                capo: self.capo,
                highest_fret: usual.highest_fret,
            }
        })
    }
}

/// A chord symbol in a measure.
pub(super) struct Harmony {
    /// Quarters from the measure's start.
    pub(super) at: f64,
    pub(super) label: Label,
    pub(super) frame: Option<Shape>,
}

/// A measure as written. Lengths in quarters.
#[derive(Default)]
pub(super) struct Written {
    pub(super) number: String,
    pub(super) length: f64,
    pub(super) meter: (u8, u8),
    /// Fifths and mode of its signature.
    pub(super) key: Option<(i32, Option<Mode>)>,
    pub(super) pickup: bool,
    pub(super) harmonies: Vec<Harmony>,
    /// Place and quarters a minute.
    pub(super) tempi: Vec<(f64, f64)>,
    pub(super) rehearsal: Option<String>,
    pub(super) repeat_start: bool,
    /// How often the passage before is played.
    pub(super) repeat_end: Option<u32>,
    /// Numbers of the endings it is under.
    pub(super) endings: Vec<u32>,
    pub(super) segno: bool,
    pub(super) coda: bool,
    pub(super) to_coda: bool,
    pub(super) da_capo: bool,
    pub(super) dal_segno: bool,
    pub(super) fine: bool,
}

/// Reads the part that has chord symbols.
pub(super) fn read(text: &str) -> Result<Score, ForeignError> {
    let not = |reason: String| ForeignError::NotOfKind {
        expected: "a MusicXML document",
        reason,
    };
    super::bounds::check(text).map_err(not)?;
    let options = ParsingOptions {
        allow_dtd: true,
        nodes_limit: MAX_NODES,
        ..ParsingOptions::default()
    };
    let document = Document::parse_with_options(text, options).map_err(|e| not(e.to_string()))?;
    let root = document.root_element();
    match root.tag_name().name() {
        "score-partwise" => {}
        "score-timewise" => {
            return Err(not(
                "it is written by time, not by part (save it as score-partwise, the usual form)"
                    .into(),
            ));
        }
        other => return Err(not(format!("its outermost element is '{other}'"))),
    }
    let parts: Vec<Node<'_, '_>> = root.children().filter(|c| c.has_tag_name("part")).collect();
    let has_harmony = |p: &Node<'_, '_>| p.descendants().any(|d| d.has_tag_name("harmony"));
    let Some(part) = parts.iter().position(has_harmony).or(match parts.len() {
        0 => None,
        _ => Some(0),
    }) else {
        return Err(not("it has no part".into()));
    };
    let mut score = Score {
        title: title(root),
        ..Score::default()
    };
    let mut state = State::default();
    for measure in measures_of(parts[part]) {
        state.measure(measure, &mut score)?;
    }
    // marks for all are often written in the first part only
    if part > 0 {
        let mut first = Score::default();
        let mut state = State::default();
        for measure in measures_of(parts[0]) {
            state.measure(measure, &mut first)?;
        }
        for (mine, theirs) in score.measures.iter_mut().zip(first.measures) {
            mine.take_marks(theirs);
        }
        score.beat_quarters = score.beat_quarters.or(first.beat_quarters);
        score.key = score.key.or(first.key);
    }
    if state.n_unknown > 0 {
        score.warnings.push(format!(
            "{} chord symbols could not be read and are shown as '?', first in measure {}: {}",
            state.n_unknown, state.first_unknown.0, state.first_unknown.1
        ));
    }
    Ok(score)
}

fn measures_of<'a>(part: Node<'a, 'a>) -> impl Iterator<Item = Node<'a, 'a>> {
    part.children().filter(|c| c.has_tag_name("measure"))
}

impl Written {
    fn take_marks(&mut self, other: Self) {
        if self.tempi.is_empty() {
            self.tempi = other.tempi;
        }
        self.key = self.key.or(other.key);
        self.rehearsal = self.rehearsal.take().or(other.rehearsal);
        self.segno |= other.segno;
        self.coda |= other.coda;
        self.to_coda |= other.to_coda;
        self.da_capo |= other.da_capo;
        self.dal_segno |= other.dal_segno;
        self.fine |= other.fine;
    }
}

fn title(root: Node<'_, '_>) -> Option<String> {
    let work = root
        .children()
        .find(|c| c.has_tag_name("work"))
        .and_then(|w| w.children().find(|c| c.has_tag_name("work-title")));
    let movement = root.children().find(|c| c.has_tag_name("movement-title"));
    [work, movement]
        .into_iter()
        .flatten()
        .filter_map(|n| n.text())
        .map(one_line)
        .find(|t| !t.is_empty())
}

pub(super) fn one_line(text: &str) -> String {
    text.trim()
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .take(200)
        .collect()
}

/// What holds from measure to measure.
struct State {
    divisions: f64,
    meter: (u8, u8),
    key: Option<(i32, Option<Mode>)>,
    endings: Vec<u32>,
    n_unknown: usize,
    first_unknown: (String, String),
}

impl Default for State {
    fn default() -> Self {
        Self {
            divisions: 1.0,
            meter: (4, 4),
            key: None,
            endings: Vec::new(),
            n_unknown: 0,
            first_unknown: Default::default(),
        }
    }
}

/// The number in an element, finite.
fn number(node: Node<'_, '_>) -> Option<f64> {
    node.text()?
        .trim()
        .parse::<f64>()
        .ok()
        .filter(|x| x.is_finite())
}

pub(super) fn child_number(node: Node<'_, '_>, name: &str) -> Option<f64> {
    number(node.children().find(|c| c.has_tag_name(name))?)
}

impl State {
    /// A chord symbol at a time in quarters from the measure's start.
    fn harmony(&mut self, child: Node<'_, '_>, at: f64, made: &mut Written) {
        let offset = child_number(child, "offset").unwrap_or(0.0) / self.divisions;
        let label = chord::label(child).unwrap_or_else(|reason| {
            if self.n_unknown == 0 {
                self.first_unknown = (made.number.clone(), reason);
            }
            self.n_unknown += 1;
            Label::Unknown
        });
        made.harmonies.push(Harmony {
            at: at + offset,
            label,
            frame: chord::frame(child),
        });
    }

    fn measure(&mut self, node: Node<'_, '_>, score: &mut Score) -> Result<(), ForeignError> {
        let first = score.measures.is_empty();
        let mut made = Written {
            number: node.attribute("number").unwrap_or("?").into(),
            meter: self.meter,
            key: self.key,
            endings: self.endings.clone(),
            ..Written::default()
        };
        let wrong = |number: &str, reason: String| ForeignError::Wrong {
            place: format!("measure {number}"),
            reason,
        };
        if score.measures.len() >= MAX_BARS {
            return Err(wrong(
                &made.number,
                format!("more than {MAX_BARS} measures"),
            ));
        }
        let mut at = 0.0f64;
        let mut length = 0.0f64;
        let mut ending_stops = false;
        for child in node.children().filter(Node::is_element) {
            match child.tag_name().name() {
                "attributes" => {
                    self.attributes(child, score)
                        .map_err(|reason| wrong(&made.number, reason))?;
                    (made.meter, made.key) = (self.meter, self.key);
                }
                "note" => {
                    let chord = child.children().any(|c| c.has_tag_name("chord"));
                    let duration = child_number(child, "duration").unwrap_or(0.0);
                    if !chord {
                        at += (duration / self.divisions).max(0.0);
                    }
                }
                "forward" => {
                    at += child_number(child, "duration").unwrap_or(0.0).max(0.0) / self.divisions;
                }
                "backup" => {
                    let by = child_number(child, "duration").unwrap_or(0.0) / self.divisions;
                    at = (at - by).max(0.0);
                }
                "harmony" => self.harmony(child, at, &mut made),
                "direction" => direction(child, at, &mut made, score),
                "sound" => sound(child, at, &mut made),
                "barline" => self.barline(child, &mut made, &mut ending_stops),
                _ => {}
            }
            length = length.max(at);
        }
        let nominal = f64::from(made.meter.0) * 4.0 / f64::from(made.meter.1);
        let implicit = node.attribute("implicit") == Some("yes") || made.number == "0";
        made.pickup = first && (implicit || (length > 0.0 && length < nominal - 1e-6));
        made.length = if length > 0.0 { length } else { nominal };
        if made.length > 64.0 {
            return Err(wrong(
                &made.number,
                format!("it lasts {} quarters, more than 64", made.length),
            ));
        }
        made.harmonies.sort_by(|a, b| a.at.total_cmp(&b.at));
        made.tempi.sort_by(|a, b| a.0.total_cmp(&b.0));
        if ending_stops {
            self.endings.clear();
        }
        score.measures.push(made);
        Ok(())
    }

    fn attributes(&mut self, node: Node<'_, '_>, score: &mut Score) -> Result<(), String> {
        if let Some(divisions) = child_number(node, "divisions") {
            if divisions <= 0.0 {
                return Err(format!(
                    "its divisions are {divisions} (more than 0 is expected)"
                ));
            }
            self.divisions = divisions;
        }
        for child in node.children().filter(Node::is_element) {
            match child.tag_name().name() {
                "time" => {
                    let beats = child_number(child, "beats");
                    let value = child_number(child, "beat-type");
                    let (Some(n), Some(v)) = (beats, value) else {
                        // senza misura, or parts added together: the meter before goes on
                        continue;
                    };
                    if !(1.0..=32.0).contains(&n) || ![1.0, 2.0, 4.0, 8.0, 16.0].contains(&v) {
                        return Err(format!(
                            "its meter is {n}/{v} (1 to 32 beats of 1, 2, 4, 8 or 16)"
                        ));
                    }
                    self.meter = (n as u8, v as u8);
                }
                "key" => {
                    let mode = child
                        .children()
                        .find(|c| c.has_tag_name("mode"))
                        .and_then(|m| match m.text().map(str::trim) {
                            Some("ionian") => Some(Mode::Major),
                            Some("aeolian") => Some(Mode::Minor),
                            Some(text) => Mode::ALL.into_iter().find(|m| m.name() == text),
                            None => None,
                        });
                    let fifths = child_number(child, "fifths").filter(|f| f.abs() <= 7.0);
                    self.key = fifths.map(|f| (f as i32, mode)).or(self.key);
                    score.key = score.key.or(self.key);
                }
                "transpose" => {
                    let by = child_number(child, "chromatic").unwrap_or(0.0);
                    score.transposed = (by.clamp(-127.0, 127.0) as i32) % 12;
                }
                "staff-details" => staff_details(child, score),
                _ => {}
            }
        }
        Ok(())
    }

    fn barline(&mut self, node: Node<'_, '_>, made: &mut Written, ending_stops: &mut bool) {
        for child in node.children().filter(Node::is_element) {
            match child.tag_name().name() {
                "repeat" => match child.attribute("direction") {
                    Some("forward") => made.repeat_start = true,
                    _ => {
                        let times = child.attribute("times").and_then(|t| t.parse().ok());
                        made.repeat_end = Some(times.unwrap_or(2).clamp(1, 64));
                    }
                },
                "ending" => {
                    let numbers: Vec<u32> = child
                        .attribute("number")
                        .unwrap_or("1")
                        .split([',', ' '])
                        .filter_map(|n| n.trim().parse().ok())
                        .filter(|n| (1..=64).contains(n))
                        .collect();
                    match child.attribute("type") {
                        Some("start") => {
                            self.endings.clone_from(&numbers);
                            made.endings = numbers;
                        }
                        _ => *ending_stops = true,
                    }
                }
                "segno" => made.segno = true,
                "coda" => made.coda = true,
                _ => {}
            }
        }
    }
}
