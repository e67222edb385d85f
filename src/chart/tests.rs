//! An invented song through every writer, a file a subject.

mod extras;
mod formats;
mod keys;
mod lines;
mod pages;
mod repeats;

use super::*;
use crate::fretboard::Instrument;
use crate::songlog::heard::Candidate;
use crate::songlog::song::{Bar, Section, Span, State};
use crate::theory::Label;

/// A song of whole bars at 120 beats a minute: each text is a bar, chords divided
/// by blanks share it evenly; `C=x32010` gives a decided shape, `C=x32010|xx5553`
/// two, a final `?` leaves the chord open.
pub(crate) fn song(title: &str, meter: u8, sections: &[(&str, &[&str])]) -> Song {
    let bar_s = 0.5 * f64::from(meter);
    let mut made = Song {
        title: title.into(),
        duration_s: 0.0,
        instrument: Instrument::default(),
        tempo_bpm: Some(120.0),
        meter: Some((meter, 4)),
        key: Some("G".parse().expect("a key")),
        ..Song::default()
    };
    let mut number = 1;
    for (letter, bars) in sections {
        made.sections.push(Section {
            letter: (*letter).into(),
            name: None,
            first_bar: number,
            last_bar: number + bars.len() as u32 - 1,
            ..Default::default()
        });
        for bar in *bars {
            let start_s = f64::from(number - 1) * bar_s;
            made.bars.push(Bar {
                number,
                start_s,
                end_s: start_s + bar_s,
                n_beats: meter,
            });
            made.beats_s
                .extend((0..meter).map(|b| start_s + 0.5 * f64::from(b)));
            let chords: Vec<&str> = bar.split(' ').collect();
            for (i, chord) in chords.iter().enumerate() {
                let part = bar_s / chords.len() as f64;
                let from = start_s + part * i as f64;
                made.spans.push(span(chord, from, from + part));
            }
            number += 1;
        }
    }
    made.duration_s = f64::from(number - 1) * bar_s;
    made
}

fn span(text: &str, start_s: f64, end_s: f64) -> Span {
    let open = text.ends_with('?');
    let (label, shapes) = text
        .trim_end_matches('?')
        .split_once('=')
        .unwrap_or((text.trim_end_matches('?'), ""));
    let label: Label = label.parse().expect("a label");
    let shapes: Vec<_> = shapes
        .split('|')
        .filter(|s| !s.is_empty())
        .map(|s| s.parse().expect("a shape"))
        .collect();
    Span {
        start_s,
        end_s,
        candidates: vec![Candidate {
            label: label.clone(),
            probability: 0.8,
            reason: "root and third heard".into(),
        }],
        label,
        state: if open { State::Open } else { State::Decided },
        certainty: Some(0.8),
        n_decided_shapes: if open { 0 } else { shapes.len().min(2) },
        shapes,
        notes: Vec::new(),
        bass_midi: None,
        fragment: false,
        struck: Vec::new(),
    }
}

/// The demo song: repeats, endings, an open chord, either/or shapes, a wide stretch, notes.
pub(crate) fn demo() -> Song {
    let verse: &[&str] = &[
        "G=320003",
        "G=320003",
        "C=x32010 D/F#=2x0232",
        "Em7=022030|079787",
        "C=x32010",
        "Am7=x02010?",
        "D7sus4=xx0213",
        "D7=xx0212",
    ];
    let mut again = verse.to_vec();
    again[6] = "Cm6=x3124x";
    again[7] = "G=320003";
    let bridge: &[&str] = &["Bm=x24432", "Bm=x24432", "F#m7b5=2x221x", "B7#9=x21233?"];
    let mut made = song(
        "Paper Kites at Dusk",
        4,
        &[
            ("A", verse),
            ("A", &again),
            ("B", bridge),
            ("B", bridge),
            ("C", &["G=320003 N"]),
        ],
    );
    made.sections[0].name = Some("Verse".into());
    made.sections[1].name = Some("Verse".into());
    made.sections[1].differs = "as A, but the last two bars".into();
    made.sections[2].name = Some("Bridge".into());
    made.spans[4].notes = vec!["let the top string ring".into()];
    made.notes = vec!["Play it softly, thumb and two fingers.".into()];
    made
}

/// More in a bar than fits, and a note that is long.
fn crowded() -> Song {
    let mut made = song(
        "A Very Crowded Page With a Title That Does Not Fit on One Single Line of Large Print",
        4,
        &[
            (
                "A",
                &[
                    "F#m7b5/C Bbmaj7#11/D G#m(maj7)/B C6/9/E",
                    "Cmaj7 Dm7 Em7 Fmaj7 G7 Am7 Bm7b5 Cmaj7",
                    "G?",
                    "G?",
                ],
            ),
            ("A", &["G=1x3565 C", "N", "X", "C/E"]),
        ],
    );
    made.sections[1].differs =
        "as A, but bars 5 to 8 bring other chords and a long explanation of why that is so".into();
    made.spans[1].notes = vec!["a long note ".repeat(20)];
    made
}

fn text(song: &Song, format: Format, options: &Options) -> String {
    let bytes = write(song, format, options).unwrap_or_else(|e| panic!("{e}"));
    String::from_utf8(bytes).expect("text")
}

fn options(change: impl Fn(&mut Options)) -> Options {
    let mut options = Options::default();
    change(&mut options);
    options
}

fn labels(song: &Song) -> String {
    song.spans
        .iter()
        .map(|s| s.label.symbol())
        .collect::<Vec<_>>()
        .join(" ")
}

fn shapes(song: &Song) -> String {
    song.spans
        .iter()
        .map(|s| s.shapes.first().map_or("-".into(), |x| x.text()))
        .collect::<Vec<_>>()
        .join(" ")
}
