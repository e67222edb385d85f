//! Chord symbols with their frames.
//!
//! A tension is said once: as a kind where the standard has one, else in `degree` elements.
//!
//! # Source
//! W3C Music Notation Community Group, MusicXML 4.0 reference: `harmony`,
//! `kind-value`, `degree`, `frame`.

use super::Writer;
use crate::chart::sheet::Mark;
use crate::chart::xml::escape;
use crate::fretboard::{Finger, Hand, Shape, hold};
use crate::songlog::song::State;
use crate::theory::{Chord, Degree, QUALITIES, Spelled};
use std::fmt::Write;

/// Color of a chord that nobody has confirmed.
const UNCONFIRMED: &str = "#777777";

/// One `degree` element.
#[derive(Debug, PartialEq, Eq)]
struct Change {
    number: u8,
    alter: i8,
    how: &'static str,
}

impl Writer<'_> {
    pub(super) fn harmony(&mut self, mark: &Mark, offset: u32) {
        let span = &self.song.spans[mark.span];
        match span.state {
            State::Open => {
                let _ = write!(self.out, "<harmony color=\"{UNCONFIRMED}\">");
            }
            State::Decided => self.out.push_str("<harmony>"),
        }
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
