//! MusicXML 4.0, partwise: bars of rhythm slashes with chord symbols and frames.
//!
//! Repeats and endings are those of the [`sheet`](super::sheet). A tension is
//! said once: as a kind where the standard has one, else in `degree` elements.
//!
//! # Source
//! W3C Music Notation Community Group, MusicXML 4.0 reference: `harmony`,
//! `kind-value`, `degree`, `frame`, `repeat`, `ending`.

mod tab;

use super::sheet::{Mark, Measure, Sheet};
use super::xml::escape;
use super::{ChartError, Options, PERMISSION};
use crate::fretboard::{Finger, Hand, Shape, hold};
use crate::songlog::song::{Song, State};
use crate::theory::{Chord, Degree, Key, Mode, QUALITIES, Spelled, midi_name};
use std::fmt::Write;

/// Divisions of a quarter note: sixteenths, so that half beats of eighths are whole.
const DIVISIONS: u32 = 4;

/// One `degree` element.
#[derive(Debug, PartialEq, Eq)]
struct Change {
    number: u8,
    alter: i8,
    how: &'static str,
}

/// The document.
///
/// # Errors
/// * [`ChartError::NoKey`] never in practice: symbols are written, not degrees.
pub(super) fn write(song: &Song, options: &Options) -> Result<String, ChartError> {
    // the standard has its own way to say degrees: the chords themselves are written
    let plain = Options {
        degrees: false,
        ..options.clone()
    };
    let sheet = Sheet::new(song, &plain)?;
    let mut measures = sheet.blocks.iter().flat_map(|b| b.measures());
    let has_tab = measures.any(|m| !m.tab.is_empty());
    let mut out = String::new();
    // writing to a string cannot fail
    let _ = write!(
        out,
        "<?xml version=\"1.0\" encoding=\"UTF-8\" standalone=\"no\"?>\n\
         <!DOCTYPE score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" \"http://www.musicxml.org/dtds/partwise.dtd\">\n\
         <score-partwise version=\"4.0\">\n\
         <work><work-title>{}</work-title></work>\n\
         <identification><rights>{}</rights><encoding><software>takebook {}</software></encoding></identification>\n\
         <part-list><score-part id=\"P1\"><part-name>Guitar</part-name></score-part>{}</part-list>\n\
         <part id=\"P1\">\n",
        escape(&song.title),
        escape(PERMISSION),
        env!("CARGO_PKG_VERSION"),
        if has_tab {
            "<score-part id=\"P2\"><part-name>Tablature</part-name></score-part>"
        } else {
            ""
        }
    );
    let mut writer = Writer {
        song,
        sheet: &sheet,
        out,
        number: 0,
        meter: None,
        key: None,
    };
    for (b, block) in sheet.blocks.iter().enumerate() {
        let measures: Vec<&Measure> = block.measures().collect();
        for (i, measure) in measures.iter().enumerate() {
            let heading = (i == 0).then(|| block.heading());
            let before = i.checked_sub(1).and_then(|j| measures[j].ending);
            let after = measures.get(i + 1).and_then(|m| m.ending);
            let last = b + 1 == sheet.blocks.len() && i + 1 == measures.len();
            writer.measure(
                measure,
                heading.as_deref(),
                block.times,
                (before, after),
                last,
            );
        }
    }
    writer.out.push_str("</part>\n");
    if has_tab {
        writer.tab_part();
    }
    let mut out = writer.out;
    out.push_str("</score-partwise>\n");
    Ok(out)
}

struct Writer<'a> {
    song: &'a Song,
    sheet: &'a Sheet,
    out: String,
    number: u32,
    meter: Option<(u8, u8)>,
    /// The key of the bar whose plucks are written.
    key: Option<Key>,
}

impl Writer<'_> {
    /// Note value and dots of a beat, and its length in divisions.
    fn beat(&self, measure: &Measure) -> (&'static str, bool, u32) {
        let (n, value) = self.sheet.meter;
        if value == 8 && measure.n_beats * 3 == n {
            return ("quarter", true, DIVISIONS * 3 / 2);
        }
        match value {
            2 => ("half", false, DIVISIONS * 2),
            8 => ("eighth", false, DIVISIONS / 2),
            _ => ("quarter", false, DIVISIONS),
        }
    }

    fn measure(
        &mut self,
        measure: &Measure,
        heading: Option<&str>,
        times: u32,
        (before, after): (Option<u8>, Option<u8>),
        last: bool,
    ) {
        let first = self.meter.is_none();
        self.begin(measure, before);
        let (name, dotted, length) = self.beat(measure);
        let key = if first { measure.key } else { measure.new_key };
        self.attributes(self.meter_of(measure), key, first);
        if let Some(heading) = heading.filter(|h| !h.is_empty()) {
            let _ = writeln!(
                self.out,
                "<direction placement=\"above\"><direction-type><rehearsal>{}</rehearsal></direction-type></direction>",
                escape(heading)
            );
        }
        if first && let Some(bpm) = self.song.tempo_bpm {
            let quarters = bpm * f64::from(length) / f64::from(DIVISIONS);
            let dot = if dotted { "<beat-unit-dot/>" } else { "" };
            let _ = writeln!(
                self.out,
                "<direction placement=\"above\"><direction-type><metronome><beat-unit>{name}</beat-unit>{dot}<per-minute>{bpm:.0}</per-minute></metronome></direction-type><sound tempo=\"{quarters:.2}\"/></direction>"
            );
        }
        for beat in 0..measure.n_beats {
            for half in [2 * beat, 2 * beat + 1] {
                for mark in measure.marks.iter().filter(|m| m.half_beat == half) {
                    let offset = if half % 2 == 1 { length / 2 } else { 0 };
                    self.harmony(mark, offset);
                }
            }
            let dot = if dotted { "<dot/>" } else { "" };
            let _ = writeln!(
                self.out,
                "<note><unpitched><display-step>B</display-step><display-octave>4</display-octave></unpitched><duration>{length}</duration><type>{name}</type>{dot}<stem>none</stem><notehead>slash</notehead></note>"
            );
        }
        self.right_barline(measure, after, times, last);
        self.out.push_str("</measure>\n");
    }

    /// Opens a measure.
    fn begin(&mut self, measure: &Measure, before: Option<u8>) {
        let pickup = measure.number == 0;
        if !pickup {
            self.number += 1;
        }
        let implicit = if pickup { " implicit=\"yes\"" } else { "" };
        let _ = writeln!(self.out, "<measure number=\"{}\"{implicit}>", self.number);
        self.left_barline(measure, before);
    }

    /// The meter that a measure is in: a short bar has one of its own, a pickup has not.
    fn meter_of(&self, measure: &Measure) -> (u8, u8) {
        let (_, dotted, _) = self.beat(measure);
        let (_, value) = self.sheet.meter;
        match (measure.number == 0, dotted, value) {
            (true, ..) => self.sheet.meter,
            (_, true, _) => (measure.n_beats * 3, 8),
            _ => (
                measure.n_beats,
                if value == 2 || value == 8 { value } else { 4 },
            ),
        }
    }

    fn left_barline(&mut self, measure: &Measure, before: Option<u8>) {
        let starts = measure.ending.filter(|e| before != Some(*e));
        if !measure.repeat_start && starts.is_none() {
            return;
        }
        self.out.push_str("<barline location=\"left\">");
        if measure.repeat_start {
            self.out.push_str("<bar-style>heavy-light</bar-style>");
        }
        if let Some(e) = starts {
            let _ = write!(self.out, "<ending number=\"{e}\" type=\"start\"/>");
        }
        if measure.repeat_start {
            self.out.push_str("<repeat direction=\"forward\"/>");
        }
        self.out.push_str("</barline>\n");
    }

    fn right_barline(&mut self, measure: &Measure, after: Option<u8>, times: u32, last: bool) {
        let ends = measure.ending.filter(|e| after != Some(*e));
        if !measure.repeat_end && ends.is_none() && !last {
            return;
        }
        self.out.push_str("<barline location=\"right\">");
        if measure.repeat_end || last {
            self.out.push_str("<bar-style>light-heavy</bar-style>");
        }
        if let Some(e) = ends {
            let how = if e == 1 { "stop" } else { "discontinue" };
            let _ = write!(self.out, "<ending number=\"{e}\" type=\"{how}\"/>");
        }
        if measure.repeat_end {
            // endings say themselves that there are two passes
            let times = match measure.ending {
                None => format!(" times=\"{times}\""),
                Some(_) => String::new(),
            };
            let _ = write!(self.out, "<repeat direction=\"backward\"{times}/>");
        }
        self.out.push_str("</barline>\n");
    }

    fn attributes(&mut self, meter: (u8, u8), key: Option<Key>, first: bool) {
        let new_meter = self.meter != Some(meter);
        if !new_meter && key.is_none() {
            return;
        }
        self.meter = Some(meter);
        self.out.push_str("<attributes>");
        if first {
            let _ = write!(self.out, "<divisions>{DIVISIONS}</divisions>");
        }
        if let Some(key) = key {
            let mode = match key.mode {
                Mode::Major => "major",
                Mode::Minor => "minor",
            };
            let _ = write!(
                self.out,
                "<key><fifths>{}</fifths><mode>{mode}</mode></key>",
                key.signature()
            );
        }
        if new_meter {
            let _ = write!(
                self.out,
                "<time><beats>{}</beats><beat-type>{}</beat-type></time>",
                meter.0, meter.1
            );
        }
        if first {
            self.out
                .push_str("<clef><sign>G</sign><line>2</line><clef-octave-change>-1</clef-octave-change></clef>");
            self.staff_details(false);
        }
        self.out.push_str("</attributes>\n");
    }

    /// Tuning and capo; as many lines as strings for a tablature.
    fn staff_details(&mut self, lines: bool) {
        let instrument = &self.song.instrument;
        let _ = write!(self.out, "<staff-details>");
        if lines {
            let n = instrument.tuning.n_strings();
            let _ = write!(self.out, "<staff-lines>{n}</staff-lines>");
        }
        for (line, midi) in (1..).zip(instrument.tuning.open()) {
            let name = midi_name(*midi);
            let step = name.chars().next().unwrap_or('C');
            let alter = if name.contains('♯') {
                "<tuning-alter>1</tuning-alter>"
            } else {
                ""
            };
            let octave = i32::from(*midi) / 12 - 1;
            let _ = write!(
                self.out,
                "<staff-tuning line=\"{line}\"><tuning-step>{step}</tuning-step>{alter}<tuning-octave>{octave}</tuning-octave></staff-tuning>"
            );
        }
        if instrument.capo > 0 {
            let _ = write!(self.out, "<capo>{}</capo>", instrument.capo);
        }
        self.out.push_str("</staff-details>");
    }

    fn harmony(&mut self, mark: &Mark, offset: u32) {
        let span = &self.song.spans[mark.span];
        self.out.push_str("<harmony>");
        match span.label.chord() {
            Some(chord) => self.chord(chord),
            // the standard wants a root even where there is no chord
            None => {
                let _ = write!(
                    self.out,
                    "<root><root-step text=\"\">C</root-step></root><kind text=\"{}\">none</kind>",
                    escape(&span.label.symbol())
                );
            }
        }
        if span.label.chord().is_some()
            && let Some(shape) = span.shapes.first()
        {
            let hand = hold(&self.song.instrument, shape);
            self.frame(shape, hand.as_ref());
        }
        if offset > 0 {
            let _ = write!(self.out, "<offset>{offset}</offset>");
        }
        self.out.push_str("</harmony>\n");
        if span.state == State::Open && !mark.held {
            let offset = if offset > 0 {
                format!("<offset>{offset}</offset>")
            } else {
                String::new()
            };
            let _ = writeln!(
                self.out,
                "<direction placement=\"above\"><direction-type><words>?</words></direction-type>{offset}</direction>"
            );
        }
    }

    fn chord(&mut self, chord: &Chord) {
        self.note("root", chord.root);
        let (kind, changes) = kind(chord);
        if changes.is_empty() {
            let text = crate::theory::chord_tail_text(chord);
            let _ = write!(self.out, "<kind text=\"{}\">{kind}</kind>", escape(&text));
        } else {
            let _ = write!(self.out, "<kind>{kind}</kind>");
        }
        if chord.bass.is_some() {
            self.note("bass", chord.bass_note());
        }
        for change in changes {
            let _ = write!(
                self.out,
                "<degree><degree-value>{}</degree-value><degree-alter>{}</degree-alter><degree-type>{}</degree-type></degree>",
                change.number, change.alter, change.how
            );
        }
    }

    fn note(&mut self, tag: &str, note: Spelled) {
        let _ = write!(
            self.out,
            "<{tag}><{tag}-step>{}</{tag}-step>",
            note.letter_char()
        );
        if note.alter() != 0 {
            let _ = write!(self.out, "<{tag}-alter>{}</{tag}-alter>", note.alter());
        }
        let _ = write!(self.out, "</{tag}>");
    }

    fn frame(&mut self, shape: &Shape, hand: Option<&Hand>) {
        let pressed = || shape.frets().iter().flatten().copied().filter(|f| *f > 0);
        let (low, high) = (pressed().min().unwrap_or(1), pressed().max().unwrap_or(1));
        let first = if high <= 5 { 1 } else { low };
        let rows = (high - first + 1).max(4);
        let n = shape.frets().len();
        let _ = write!(
            self.out,
            "<frame><frame-strings>{n}</frame-strings><frame-frets>{rows}</frame-frets>"
        );
        if first > 1 {
            let _ = write!(self.out, "<first-fret>{first}</first-fret>");
        }
        for (s, fret) in shape.frets().iter().enumerate() {
            let Some(fret) = fret else { continue };
            // strings are counted from the highest
            let _ = write!(
                self.out,
                "<frame-note><string>{}</string><fret>{fret}</fret>",
                n - s
            );
            let finger = hand.and_then(|h| h.fingers.get(s).copied().flatten());
            if let Some(finger) = finger {
                let _ = write!(self.out, "<fingering>{}</fingering>", Finger::text(finger));
            }
            for barre in hand.iter().flat_map(|h| &h.barres) {
                if barre.fret == *fret && barre.from == s {
                    self.out.push_str("<barre type=\"start\"/>");
                }
                if barre.fret == *fret && barre.to == s {
                    self.out.push_str("<barre type=\"stop\"/>");
                }
            }
            self.out.push_str("</frame-note>");
        }
        self.out.push_str("</frame>");
    }
}

/// The kind that needs the fewest changes, and the changes.
fn kind(chord: &Chord) -> (&'static str, Vec<Change>) {
    let degrees = chord.degrees();
    QUALITIES
        .iter()
        .filter_map(|q| Some((q.musicxml.filter(|k| *k != "pedal")?, q)))
        .map(|(kind, q)| (kind, changes(&degrees, q.degrees)))
        .min_by_key(|(_, changes)| {
            // an added degree is the plainest change to read
            let odd = changes.iter().filter(|c| c.how != "add").count();
            (changes.len(), odd)
        })
        .unwrap_or(("other", Vec::new()))
}

fn changes(degrees: &[Degree], base: &[Degree]) -> Vec<Change> {
    let mut out = Vec::new();
    for d in degrees {
        let own = base.iter().find(|b| b.number() == d.number());
        match own.map(|b| b.alter()) {
            Some(alter) if alter == d.alter() => {}
            // an altered degree is told from the kind's own
            Some(alter) => out.push(Change {
                number: d.number(),
                alter: d.alter() - alter,
                how: "alter",
            }),
            // an added degree is told from a dominant chord's, whose seventh is lowered
            None => out.push(Change {
                number: d.number(),
                alter: d.alter() + i8::from(d.number() == 7),
                how: "add",
            }),
        }
    }
    for own in base {
        if !degrees.iter().any(|d| d.number() == own.number()) {
            out.push(Change {
                number: own.number(),
                alter: 0,
                how: "subtract",
            });
        }
    }
    out
}
