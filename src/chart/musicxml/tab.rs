//! The tablature part: plucked notes on their strings, measure by measure as in the first part.
//!
//! # Source
//! MusicXML 4.0: `staff-lines`, `staff-tuning`, clef sign TAB, `string` and `fret`.

use super::{DIVISIONS, Placed, Writer};
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
    pub(super) fn tab_part(&mut self, bars: &[Placed<'_>]) {
        self.out.push_str("<part id=\"P2\">\n");
        self.meter = None;
        for bar in bars {
            self.begin(bar);
            self.tab_attributes(bar.measure);
            self.key = bar.measure.key;
            self.plucks(bar.measure);
            self.right_barline(bar);
            self.out.push_str("</measure>\n");
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
            self.staff_details();
        }
        self.out.push_str("</attributes>\n");
    }

    /// Notes and rests that fill the measure.
    fn plucks(&mut self, measure: &Measure) {
        let (_, _, beat) = self.beat(measure);
        let whole = beat * u32::from(measure.n_beats);
        let mut strums: Vec<(u32, Vec<&TabNote>)> = Vec::new();
        for note in &measure.tab {
            let at = ((note.at * f64::from(beat)).round() as u32).min(whole.saturating_sub(1));
            match strums.last_mut().filter(|s| s.0 == at) {
                Some(strum) => strum.1.push(note),
                None => strums.push((at, vec![note])),
            }
        }
        if strums.is_empty() {
            // an empty bar of tablature is no silence: the staff above has its chord
            let _ = writeln!(
                self.out,
                "<note print-object=\"no\"><rest measure=\"yes\"/><duration>{whole}</duration></note>"
            );
            return;
        }
        self.rests(0, strums[0].0, beat);
        let ends = strums.iter().skip(1).map(|s| s.0).chain([whole]);
        let lengths: Vec<(u32, Value)> = strums
            .iter()
            .zip(ends)
            .map(|(strum, end)| (strum.0, value(end - strum.0)))
            .collect();
        let beams = beams(&lengths, beat);
        let ends: Vec<u32> = strums.iter().skip(1).map(|s| s.0).chain([whole]).collect();
        for (i, (at, notes)) in strums.iter().enumerate() {
            let value = lengths[i].1;
            // one note a string: two on one cannot sound together
            let mut strings: Vec<usize> = Vec::new();
            for note in notes {
                if strings.contains(&note.string) {
                    continue;
                }
                let beam = if strings.is_empty() { &beams[i] } else { "" };
                self.pluck(note, !strings.is_empty(), value, beam);
                strings.push(note.string);
            }
            self.rests(at + value.0, ends[i] - at - value.0, beat);
        }
    }

    fn pluck(&mut self, note: &TabNote, chord: bool, (length, name, dotted): Value, beam: &str) {
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
            "<note>{chord}<pitch><step>{}</step>{alter}<octave>{octave}</octave></pitch><duration>{length}</duration><type>{name}</type>{dot}{beam}<notations><technical><string>{string}</string><fret>{}</fret></technical></notations></note>",
            spelled.letter_char(),
            note.fret
        );
    }

    /// Rests from a place on, cut at beats, so that each beat is seen.
    fn rests(&mut self, mut at: u32, mut length: u32, beat: u32) {
        while length > 0 {
            let to_beat = beat - at % beat;
            let room = if at % beat == 0 {
                length
            } else {
                length.min(to_beat)
            };
            // a rest longer than a beat is whole beats
            let room = if room > beat {
                room - room % beat
            } else {
                room
            };
            let (part, name, dotted) = value(room);
            let dot = if dotted { "<dot/>" } else { "" };
            let _ = writeln!(
                self.out,
                "<note><rest/><duration>{part}</duration><type>{name}</type>{dot}</note>"
            );
            at += part;
            length = length.saturating_sub(part);
        }
    }
}

/// Divisions, type and whether it is dotted.
type Value = (u32, &'static str, bool);

/// The longest value that fits; a sixteenth at least.
fn value(room: u32) -> Value {
    let fits = VALUES.into_iter().find(|v| v.0 <= room);
    fits.unwrap_or((1, "16th", false))
}

/// The `beam` elements of each note: those shorter than a quarter hang together within a beat.
fn beams(notes: &[(u32, Value)], beat: u32) -> Vec<String> {
    let mut out = vec![String::new(); notes.len()];
    let levels = |i: usize| match notes[i].1.1 {
        "16th" => 2,
        "eighth" => 1,
        _ => 0,
    };
    let joined = |i: usize| {
        // the next note follows at once, in the same beat
        i + 1 < notes.len()
            && notes[i].0 / beat == notes[i + 1].0 / beat
            && notes[i].0 + notes[i].1.0 == notes[i + 1].0
    };
    for level in 1..=2 {
        let has = |i: usize| levels(i) >= level;
        for i in 0..notes.len() {
            if !has(i) {
                continue;
            }
            let before = i > 0 && joined(i - 1) && has(i - 1);
            let after = joined(i) && has(i + 1);
            let how = match (before, after) {
                (false, true) => "begin",
                (true, true) => "continue",
                (true, false) => "end",
                // alone on the second level beside an eighth: half a beam towards it
                (false, false) if level == 2 && joined(i) && levels(i + 1) > 0 => "forward hook",
                (false, false) if level == 2 && i > 0 && joined(i - 1) && levels(i - 1) > 0 => {
                    "backward hook"
                }
                (false, false) => continue,
            };
            let _ = write!(out[i], "<beam number=\"{level}\">{how}</beam>");
        }
    }
    out
}
