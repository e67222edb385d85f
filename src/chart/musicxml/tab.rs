//! The tablature part: plucked notes on their strings, measure by measure as in the first part.
//!
//! # Source
//! MusicXML 4.0: `staff-lines`, `staff-tuning`, clef sign TAB, `string` and `fret`.

use super::{DIVISIONS, Writer};
use crate::chart::sheet::{Measure, TabNote};
use crate::theory::{Key, Mode, PitchClass};
use std::fmt::Write;

/// Lengths that one note can have: divisions, type, dotted. A quarter has [`DIVISIONS`].
const VALUES: [(u32, &str, bool); 8] = [
    (16, "whole", false),
    (12, "half", true),
    (8, "half", false),
    (6, "quarter", true),
    (4, "quarter", false),
    (3, "eighth", true),
    (2, "eighth", false),
    (1, "16th", false),
];

impl Writer<'_> {
    /// The whole part.
    pub(super) fn tab_part(&mut self) {
        self.out.push_str("<part id=\"P2\">\n");
        self.number = 0;
        self.meter = None;
        let sheet = self.sheet;
        for (b, block) in sheet.blocks.iter().enumerate() {
            let measures: Vec<&Measure> = block.measures().collect();
            for (i, measure) in measures.iter().enumerate() {
                let before = i.checked_sub(1).and_then(|j| measures[j].ending);
                let after = measures.get(i + 1).and_then(|m| m.ending);
                let last = b + 1 == sheet.blocks.len() && i + 1 == measures.len();
                self.begin(measure, before);
                self.tab_attributes(measure);
                self.key = measure.key;
                self.plucks(measure);
                self.right_barline(measure, after, block.times, last);
                self.out.push_str("</measure>\n");
            }
        }
        self.out.push_str("</part>\n");
    }

    fn tab_attributes(&mut self, measure: &Measure) {
        let meter = self.meter_of(measure);
        let first = self.meter.is_none();
        if self.meter == Some(meter) {
            return;
        }
        self.meter = Some(meter);
        self.out.push_str("<attributes>");
        if first {
            let _ = write!(self.out, "<divisions>{DIVISIONS}</divisions>");
        }
        let _ = write!(
            self.out,
            "<time><beats>{}</beats><beat-type>{}</beat-type></time>",
            meter.0, meter.1
        );
        if first {
            self.out
                .push_str("<clef><sign>TAB</sign><line>5</line></clef>");
            self.staff_details(true);
        }
        self.out.push_str("</attributes>\n");
    }

    /// Notes and rests that fill the measure.
    fn plucks(&mut self, measure: &Measure) {
        let (_, _, beat) = self.beat(measure);
        let whole = beat * u32::from(measure.n_beats);
        let mut strokes: Vec<(u32, Vec<&TabNote>)> = Vec::new();
        for note in &measure.tab {
            let at = ((note.at * f64::from(beat)).round() as u32).min(whole.saturating_sub(1));
            match strokes.last_mut().filter(|s| s.0 == at) {
                Some(stroke) => stroke.1.push(note),
                None => strokes.push((at, vec![note])),
            }
        }
        self.rests(strokes.first().map_or(whole, |s| s.0));
        for (i, (at, notes)) in strokes.iter().enumerate() {
            let room = strokes.get(i + 1).map_or(whole, |s| s.0) - at;
            let (length, name, dotted) = value(room);
            // one note a string: two on one cannot sound together
            let mut strings: Vec<usize> = Vec::new();
            for note in notes {
                if strings.contains(&note.string) {
                    continue;
                }
                self.pluck(note, !strings.is_empty(), (length, name, dotted));
                strings.push(note.string);
            }
            self.rests(room.saturating_sub(length));
        }
    }

    fn pluck(&mut self, note: &TabNote, chord: bool, (length, name, dotted): (u32, &str, bool)) {
        let instrument = &self.song.instrument;
        let midi = i32::from(instrument.midi(note.string, note.fret).unwrap_or(60));
        let key = self
            .key
            .unwrap_or(Key::usual(PitchClass::new(0), Mode::Major));
        let spelled = key.spell(PitchClass::new(midi));
        let octave = (midi - i32::from(spelled.alter())).div_euclid(12) - 1;
        let chord = if chord { "<chord/>" } else { "" };
        let alter = match spelled.alter() {
            0 => String::new(),
            a => format!("<alter>{a}</alter>"),
        };
        let dot = if dotted { "<dot/>" } else { "" };
        let string = instrument.tuning.n_strings() - note.string;
        let _ = writeln!(
            self.out,
            "<note>{chord}<pitch><step>{}</step>{alter}<octave>{octave}</octave></pitch><duration>{length}</duration><type>{name}</type>{dot}<notations><technical><string>{string}</string><fret>{}</fret></technical></notations></note>",
            spelled.letter_char(),
            note.fret
        );
    }

    fn rests(&mut self, mut length: u32) {
        while length > 0 {
            let (part, name, dotted) = value(length);
            let dot = if dotted { "<dot/>" } else { "" };
            let _ = writeln!(
                self.out,
                "<note><rest/><duration>{part}</duration><type>{name}</type>{dot}</note>"
            );
            length = length.saturating_sub(part);
        }
    }
}

/// The longest value that fits; a sixteenth at least.
fn value(room: u32) -> (u32, &'static str, bool) {
    let fits = VALUES.into_iter().find(|v| v.0 <= room);
    fits.unwrap_or((1, "16th", false))
}
