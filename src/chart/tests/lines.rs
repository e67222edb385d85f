//! Lines of single notes under no chord.

use super::extras::{sheet_of, strike};
use super::{song, text};
use crate::chart::*;
use crate::fretboard::Instrument;
use crate::songlog::song::Song;
use midly::{MidiMessage, Smf, TrackEventKind};

/// An eighth, MIDI.
type Bar = [(u8, u8); 4];
const UP: Bar = [(0, 64), (2, 67), (4, 69), (6, 71)];
const DOWN: Bar = [(0, 71), (2, 69), (4, 67), (6, 64)];

fn line(bars: &[Bar]) -> Song {
    let mut made = song("A Line", 4, &[("A", &["N.C."; 4])]);
    for (bar, notes) in bars.iter().enumerate() {
        strike(&mut made, bar, notes);
    }
    made
}

fn pitches(measure: &sheet::Measure) -> Vec<(f64, u8)> {
    let guitar = Instrument::default();
    let sounds = |t: &sheet::TabNote| guitar.midi(t.string, t.fret).expect("on the neck");
    measure.tab.iter().map(|t| (t.at, sounds(t))).collect()
}

#[test]
fn a_line_stands_on_tablature_note_for_note() {
    let made = line(&[UP, DOWN, UP, DOWN]);
    assert!(made.spans.iter().all(crate::songlog::song::Span::is_line));
    let sheet = sheet_of(&made, &Options::default());
    let bars: Vec<Vec<(f64, u8)>> = sheet.blocks[0].measures().map(pitches).collect();
    let expected = |bar: Bar| bar.map(|(eighth, midi)| (f64::from(eighth) / 2.0, midi));
    assert_eq!(bars[0], expected(UP));
    assert_eq!(bars[1], expected(DOWN));
    // bars without a chord say the same only if their notes do
    assert!(sheet.blocks[0].measures().all(|m| !m.simile));
}

#[test]
fn a_line_sounds_in_the_midi_file() {
    let bytes = write(
        &line(&[UP, DOWN, UP, DOWN]),
        Format::Midi,
        &Options::default(),
    );
    let bytes = bytes.expect("a file");
    let file = Smf::parse(&bytes).expect("MIDI");
    let struck: Vec<u8> = file
        .tracks
        .iter()
        .flatten()
        .filter_map(|event| match event.kind {
            TrackEventKind::Midi {
                message: MidiMessage::NoteOn { key, vel },
                ..
            } if vel > 0 => Some(key.as_int()),
            _ => None,
        })
        .collect();
    let expected: Vec<u8> = [UP, DOWN, UP, DOWN].concat().iter().map(|n| n.1).collect();
    assert_eq!(struck, expected);
}

#[test]
fn a_bar_of_rest_in_a_line_has_empty_lines_and_no_simile() {
    let mut made = line(&[UP, DOWN, UP]);
    let all: Vec<(u8, f64)> = made.spans.iter().flat_map(|s| s.struck.clone()).collect();
    made.spans[0].end_s = made.duration_s;
    made.spans[0].struck = all;
    made.spans.truncate(1);
    let sheet = sheet_of(&made, &Options::default());
    assert!(sheet.blocks[0].measures().all(sheet::Measure::shows_tab));
    let page = text(&made, Format::Html, &Options::default());
    assert!(!page.contains(">sim.<"), "{page}");
    assert_eq!(page.matches("tablature of bar").count(), 4);
    // and what the hand strikes there is no pattern
    assert!(sheet.blocks.iter().all(|b| b.pattern.is_none()));
}

#[test]
fn a_note_or_two_in_silence_are_no_line() {
    let mut made = song("Silence", 4, &[("A", &["N.C."; 4])]);
    strike(&mut made, 1, &[(0, 64), (4, 52)]);
    let sheet = sheet_of(&made, &Options::default());
    assert!(sheet.blocks[0].measures().all(|m| m.tab.is_empty()));
}
