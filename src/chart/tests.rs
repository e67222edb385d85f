//! An invented song through every writer.

mod extras;

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
        key_changes: Vec::new(),
        beats_s: Vec::new(),
        bars: Vec::new(),
        sections: Vec::new(),
        spans: Vec::new(),
        notes: Vec::new(),
        warnings: Vec::new(),
    };
    let mut number = 1;
    for (letter, bars) in sections {
        made.sections.push(Section {
            letter: (*letter).into(),
            name: None,
            first_bar: number,
            last_bar: number + bars.len() as u32 - 1,
            key: None,
            differs: String::new(),
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

#[test]
#[ignore = "writes the demo for a person to look at; give the folder as DEMO_OUT"]
fn demo_files_to_look_at() {
    let dir = std::path::PathBuf::from(std::env::var("DEMO_OUT").expect("DEMO_OUT is set"));
    for (ending, format) in FORMATS {
        let bytes = write(&demo(), format, &Options::default()).unwrap_or_else(|e| panic!("{e}"));
        std::fs::write(dir.join(format!("demo.{ending}")), bytes).expect("written");
        let bytes = write(
            &crowded(),
            format,
            &options(|o| (o.large, o.left_handed, o.capo) = (true, true, Some(2))),
        )
        .unwrap_or_else(|e| panic!("{e}"));
        std::fs::write(dir.join(format!("crowded.{ending}")), bytes).expect("written");
    }
}

#[test]
fn text_sheet_folds_repeats_and_marks_doubt() {
    let sheet = text(&demo(), Format::Txt, &Options::default());
    assert!(sheet.lines().all(|l| l.chars().count() <= 80), "{sheet}");
    for part in [
        "Paper Kites at Dusk",
        "A Verse x2",
        "Am7?",
        "1. ",
        "2. ",
        "B Bridge x2",
        "Em7[1]",
        "or Em7",
        "%",
        "4 of 28 chords",
    ] {
        assert!(sheet.contains(part), "no '{part}' in\n{sheet}");
    }
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

#[test]
fn crowded_bars_stay_inside_their_lines() {
    let laid = |o: &Options| {
        let sheet = sheet::Sheet::new(&crowded(), o).expect("a sheet");
        layout::lay_out(&sheet, o).expect("laid out")
    };
    let fonts = font::Fonts::new().expect("fonts");
    for large in [false, true] {
        let laid = laid(&options(|o| o.large = large));
        let right = laid.page.size_mm().0 - 14.9;
        for item in laid.pages.iter().flatten().flat_map(|g| &g.items) {
            if let layout::Item::Text {
                x,
                size,
                style,
                text,
                ..
            } = item
            {
                let end = x + fonts.width(*style, *size, text).expect("glyphs");
                assert!(end <= right, "{text} ends at {end}");
            }
        }
    }
    let sheet = text(&crowded(), Format::Txt, &Options::default());
    assert!(sheet.lines().all(|l| l.chars().count() <= 80), "{sheet}");
}

#[test]
fn another_key_keeps_degrees_and_moves_shapes_that_a_hand_can_hold() {
    let song = song(
        "x",
        4,
        &[(
            "A",
            &[
                "G=355433 C=x35553",
                "F#m7b5=2x221x Bb=x13331",
                "D/F#=2x0232 G=320003",
            ],
        )],
    );
    let to = |key: &str| options(|o| o.key = Some(key.parse().expect("a key")));
    let moved = prepare(&song, &to("A")).expect("moved");
    assert_eq!(labels(&moved), "A D G♯m7♭5 C E/G♯ A");
    assert_eq!(
        shapes(&moved).split(' ').take(4).collect::<Vec<_>>(),
        ["577655", "x57775", "4x443x", "x35553"]
    );
    // every shape still sounds its chord, on its bass
    for span in &moved.spans {
        let chord = span.label.chord().expect("a chord");
        let sounding: Vec<u8> = moved
            .instrument
            .sounding(&span.shapes[0])
            .into_iter()
            .flatten()
            .collect();
        assert_eq!(
            i32::from(*sounding.iter().min().expect("sounds")) % 12,
            chord.bass_pitch_class().index() as i32,
            "{} {}",
            chord.symbol(),
            span.shapes[0]
        );
    }
    // flats stay flats of the key: C is ♭VII of D, as F is of G
    let moved = prepare(&song, &to("Eb")).expect("moved");
    assert_eq!(labels(&moved), "E♭ A♭ Dm7♭5 G♭ B♭/D E♭");
    assert_eq!(
        prepare(&song, &to("Am")).expect_err("another mode"),
        ChartError::OtherMode {
            song: "G major".into(),
            wanted: "A minor".into()
        }
    );
}

#[test]
fn in_another_key_only_decided_shapes_slide_and_only_where_a_hand_reaches() {
    // two frets up the open e is pressed at 2 and the rest at 7 to 10: no hand does that
    let song = song("x", 4, &[("A", &["C=875550", "G=355433", "D=xx0232?"])]);
    let a = options(|o| o.key = Some("A".parse().expect("a key")));
    let moved = prepare(&song, &a).expect("moved");
    assert_eq!(labels(&moved), "D A E");
    let frets: Vec<String> = moved.spans.iter().map(|s| s.shapes[0].text()).collect();
    assert_eq!(frets, ["xx0232", "577655", "022100"]);
    let decided: Vec<usize> = moved.spans.iter().map(|s| s.n_decided_shapes).collect();
    assert_eq!(decided, [0, 1, 0]);
    let fresh = &moved.warnings[song.warnings.len()..];
    assert!(
        matches!(fresh, [one] if one.contains("(C 875550)")),
        "{fresh:?}"
    );
}

#[test]
fn a_chord_that_brings_no_shape_gets_the_easiest_as_a_proposal() {
    // Em7 written by the user; G has shapes at one of its places already
    let song = song("x", 4, &[("A", &["G=355433", "Em7", "G", "N"])]);
    let shown = prepare(&song, &Options::default()).expect("prepared");
    let frets: Vec<Vec<String>> = shown
        .spans
        .iter()
        .map(|s| s.shapes.iter().map(|s| s.text()).collect())
        .collect();
    assert_eq!(frets[0], ["355433"]);
    assert_eq!(frets[1].len(), 2, "{frets:?}");
    assert!(frets[2].is_empty() && frets[3].is_empty(), "{frets:?}");
    assert_eq!(shown.spans[1].n_decided_shapes, 0);
    let page = text(&song, Format::Txt, &Options::default());
    assert!(page.contains("Em7 ?"), "{page}");
}

#[test]
fn a_capo_keeps_what_sounds() {
    let song = song("x", 4, &[("A", &["A=577655", "G=320003"])]);
    let with = prepare(&song, &options(|o| o.capo = Some(2))).expect("moved");
    assert_eq!(labels(&with), "A G");
    let frets: Vec<&str> = vec!["355433"];
    assert_eq!(shapes(&with).split(' ').take(1).collect::<Vec<_>>(), frets);
    // 320003 has open strings under the capo: another shape takes its place and is open
    assert_eq!(with.spans[1].n_decided_shapes, 0);
    assert_eq!(with.warnings.len(), 1);
    let sounding: std::collections::BTreeSet<u8> = with
        .instrument
        .sounding(&with.spans[1].shapes[0])
        .into_iter()
        .flatten()
        .map(|m| m % 12)
        .collect();
    assert_eq!(sounding, [2, 7, 11].into());
    assert!(matches!(
        prepare(&song, &options(|o| o.capo = Some(12))),
        Err(ChartError::CapoRange { fret: 12 })
    ));
    let sheet = text(&song, Format::Txt, &options(|o| o.capo = Some(2)));
    assert!(
        sheet.contains("as G") && sheet.contains("Capo at fret 2"),
        "{sheet}"
    );
}

#[test]
fn an_empty_song_and_a_missing_key_are_refused_in_every_format() {
    let mut bare = song("x", 4, &[("A", &["G"])]);
    bare.key = None;
    assert_eq!(
        write(&bare, Format::Txt, &options(|o| o.degrees = true)),
        Err(ChartError::NoKey {
            option: "--degrees"
        })
    );
    bare.spans.clear();
    for (_, format) in FORMATS {
        assert_eq!(
            write(&bare, format, &Options::default()),
            Err(ChartError::Empty)
        );
    }
}

#[test]
fn every_format_is_the_same_twice_and_takes_every_option() {
    for (ending, format) in FORMATS {
        for large in [false, true] {
            let options = Options {
                page: Page::Letter,
                key: Some("Bb".parse().expect("a key")),
                capo: Some(3),
                degrees: true,
                degrees_under: true,
                left_handed: true,
                large,
                save_ink: true,
                easy: true,
                tuning: Some("drop-d".parse().expect("a tuning")),
                written_out: true,
                short: false,
                offset_s: -3.0,
            };
            let once = write(&demo(), format, &options);
            assert!(
                once.as_ref().is_ok_and(|b| !b.is_empty()),
                "{ending}: {once:?}"
            );
            assert_eq!(once, write(&demo(), format, &options), "{ending}");
        }
    }
}

#[test]
fn odd_titles_are_text_everywhere() {
    let mut odd = demo();
    odd.title = "<script>alert(1)</script> & \"50%\" \\textbf{x} $y_1$ -->\nnext".into();
    odd.notes = vec!["]]> <b> & --> {{x}}".into()];
    odd.sections[0].name = Some("<i>&".into());
    for format in [Format::Html, Format::Svg, Format::MusicXml] {
        let made = text(&odd, format, &Options::default());
        assert!(!made.contains("<script") && !made.contains("<b>") && !made.contains("<i>&"));
        assert!(made.contains("&lt;script&gt;"));
    }
    let captions = text(&odd, Format::Vtt, &Options::default());
    assert!(captions.lines().all(|l| l.matches("-->").count() <= 1));
    assert!(captions.starts_with("WEBVTT &lt;script&gt;"), "{captions}");
    for (_, format) in FORMATS {
        assert!(write(&odd, format, &Options::default()).is_ok());
    }
}

#[test]
fn a_character_the_page_font_lacks_is_an_error_in_words() {
    let mut far = demo();
    far.title = "\u{5e7d}\u{9759}".into();
    for format in [Format::Pdf, Format::Svg] {
        let error = write(&far, format, &Options::default()).expect_err("no glyph");
        assert!(
            matches!(
                error,
                ChartError::MissingGlyph {
                    character: '\u{5e7d}',
                    ..
                }
            ),
            "{error}"
        );
        assert!(error.to_string().contains("U+5E7D"));
    }
    assert!(text(&far, Format::Html, &Options::default()).contains('\u{5e7d}'));
}

#[test]
fn repeats_fold_and_can_be_written_out() {
    let sheet = |o: &Options| sheet::Sheet::new(&demo(), o).expect("a sheet");
    let folded = sheet(&Options::default());
    let lens: Vec<(u32, usize)> = folded
        .blocks
        .iter()
        .map(|b| (b.times, b.measures().count()))
        .collect();
    // eight bars and two of a second ending; four bars twice; one
    assert_eq!(lens, [(2, 10), (2, 4), (1, 1)]);
    let endings: Vec<Option<u8>> = folded.blocks[0].measures().map(|m| m.ending).collect();
    assert_eq!(endings[5..], [None, Some(1), Some(1), Some(2), Some(2)]);
    let out = sheet(&options(|o| o.written_out = true));
    assert_eq!(out.blocks.len(), 5);
    assert_eq!(out.blocks.iter().flat_map(|b| b.measures()).count(), 25);
    assert!(
        out.blocks
            .iter()
            .flat_map(|b| b.measures())
            .all(|m| !m.repeat_start && !m.repeat_end)
    );
    let short = sheet(&options(|o| o.short = true));
    assert_eq!(short.blocks.len(), 3);
    assert_eq!(
        short.form[1],
        "A' Verse (bars 9–16): as A, but the last two bars"
    );
}

#[test]
fn bars_that_differ_in_doubt_fold_and_stay_open() {
    let folded = song(
        "x",
        4,
        &[("A", &["G", "C", "D", "G"]), ("A", &["G", "C?", "D", "G"])],
    );
    let sheet = sheet::Sheet::new(&folded, &Options::default()).expect("a sheet");
    assert_eq!(sheet.blocks.len(), 1);
    let open: Vec<bool> = sheet.blocks[0]
        .measures()
        .map(|m| m.marks[0].open)
        .collect();
    assert_eq!(open, [false, true, false, false]);
}

#[test]
fn chords_land_on_their_beat_and_are_held_over_bar_lines() {
    let mut made = song("x", 4, &[("A", &["G", "G", "C"])]);
    // one G over two bars, a push to D on the last half beat, C a little late
    made.spans.remove(1);
    made.spans[0].end_s = 3.75;
    let mut push = made.spans[0].clone();
    push.label = "D".parse().expect("a label");
    (push.start_s, push.end_s) = (3.75, 4.04);
    made.spans.insert(1, push);
    made.spans[2].start_s = 4.04;
    let sheet = sheet::Sheet::new(&made, &Options::default()).expect("a sheet");
    let said: Vec<Vec<(u8, String, bool)>> = sheet.blocks[0]
        .measures()
        .map(|m| {
            m.marks
                .iter()
                .map(|x| (x.half_beat, x.symbol.clone(), x.held))
                .collect()
        })
        .collect();
    assert_eq!(
        said,
        [
            vec![(0, "G".to_owned(), false)],
            vec![(0, "G".to_owned(), true), (7, "D".to_owned(), false)],
            vec![(0, "C".to_owned(), false)],
        ]
    );
}

#[test]
fn chords_outside_all_bars_are_not_lost() {
    let mut made = song("x", 4, &[("A", &["G", "C"])]);
    for span in &mut made.spans {
        span.start_s += 0.5;
        span.end_s += 0.5;
    }
    for bar in &mut made.bars {
        bar.start_s += 0.5;
        bar.end_s += 0.5;
    }
    made.beats_s = Vec::new();
    made.spans.insert(0, span("D7", 0.0, 0.5));
    made.spans.push(span("G", 4.5, 6.5));
    let sheet = sheet::Sheet::new(&made, &Options::default()).expect("a sheet");
    let said: Vec<(u32, String)> = sheet.blocks[0]
        .measures()
        .map(|m| (m.number, m.marks[0].symbol.clone()))
        .collect();
    assert_eq!(
        said,
        [(0, "D7"), (1, "G"), (2, "C"), (3, "G")].map(|(n, s)| (n, s.to_owned()))
    );
    made.bars.clear();
    made.meter = None;
    made.tempo_bpm = None;
    for (ending, format) in FORMATS {
        assert!(
            write(&made, format, &Options::default()).is_ok(),
            "{ending}"
        );
    }
}

#[test]
fn wide_stretches_are_named_in_the_caution() {
    let made = song("x", 4, &[("A", &["Gmaj7=3x4032 F=1x3565 C=x32010"])]);
    let sheet = text(&made, Format::Txt, &Options::default());
    let caution = sheet
        .lines()
        .find(|l| l.starts_with("Caution:"))
        .expect("a caution");
    assert!(
        caution.contains("1x3565") && !caution.contains("x32010"),
        "{caution}"
    );
}

#[test]
fn a_chord_with_two_decided_shapes_in_two_places_gets_letters() {
    let made = song("x", 4, &[("A", &["G=320003", "G=355433", "G=320003", "C"])]);
    let sheet = sheet::Sheet::new(&made, &Options::default()).expect("a sheet");
    let titles: Vec<String> = sheet.legend.iter().map(|e| e.title()).collect();
    assert_eq!(titles, ["G (a)", "G (b)"]);
    let marks: Vec<String> = sheet.blocks[0]
        .measures()
        .map(|m| m.marks[0].text())
        .collect();
    assert_eq!(marks, ["G(a)", "G(b)", "G(a)", "C"]);
}

#[test]
fn a_long_song_breaks_pages_between_rows() {
    let bars: Vec<String> = (0..160)
        .map(|i| format!("{}m7 {}7", ["A", "B", "E"][i % 3], ["D", "G"][i % 2]))
        .collect();
    let bars: Vec<&str> = bars.iter().map(String::as_str).collect();
    let made = song("A Long One", 4, &[("A", &bars)]);
    for page in [Page::A4, Page::Letter] {
        let sheet = sheet::Sheet::new(&made, &Options::default()).expect("a sheet");
        let laid = layout::lay_out(&sheet, &options(|o| o.page = page)).expect("laid out");
        assert!(laid.pages.len() > 2);
        let (w, h) = page.size_mm();
        for groups in &laid.pages {
            // a heading is never the last thing on a page
            let content: Vec<_> = groups
                .iter()
                .filter(|g| g.role != layout::Role::Foot)
                .collect();
            assert_ne!(
                content.last().map(|g| &g.role),
                Some(&layout::Role::Heading)
            );
            for item in groups.iter().flat_map(|g| &g.items) {
                if let layout::Item::Text { x, y, .. } = item {
                    assert!(
                        (10.0..w - 10.0).contains(x) && (10.0..h - 5.0).contains(y),
                        "{item:?}"
                    );
                }
            }
        }
    }
}

#[test]
fn captions_move_by_the_offset_and_drop_what_falls_before_the_start() {
    let made = song("x", 4, &[("A", &["G", "C"])]);
    let captions = text(&made, Format::Vtt, &options(|o| o.offset_s = -2.5));
    assert!(
        captions.contains("chord-2\n00:00:00.000 --> 00:00:01.500\nC  x32010\n"),
        "{captions}"
    );
    assert!(!captions.contains("chord-1"));
}
