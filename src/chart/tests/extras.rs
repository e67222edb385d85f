//! Tablature, moving lines, simplified shapes, other tunings, scripts, binders.

use super::{demo, options, shapes, song, text};
use crate::chart::layout::{Item, Role, lay_out};
use crate::chart::sheet::{Measure, Sheet};
use crate::chart::*;
use crate::fretboard::Instrument;
use crate::songlog::song::Song;

/// Strikes notes in a bar: eighths counted from its start, MIDI.
pub(super) fn strike(song: &mut Song, bar: usize, notes: &[(u8, u8)]) {
    let start_s = song.bars[bar].start_s;
    for (eighth, midi) in notes {
        let at_s = start_s + 0.25 * f64::from(*eighth);
        let span = song
            .spans
            .iter_mut()
            .find(|s| s.start_s <= at_s + 1e-9 && at_s < s.end_s - 1e-9)
            .expect("a chord there");
        span.struck.push((*midi, at_s));
    }
}

pub(super) fn sheet_of(song: &Song, o: &Options) -> Sheet {
    Sheet::new(song, o).expect("a sheet")
}

/// Two plucked strings a chord, as pairs that slide down the neck.
fn fragments() -> Song {
    let mut made = song("Two Strings", 4, &[("A", &["D", "C", "D", "C"])]);
    for (bar, (low, high)) in [(62, 66), (60, 64), (62, 66), (60, 64)]
        .into_iter()
        .enumerate()
    {
        strike(&mut made, bar, &[(0, low), (0, high), (4, low), (4, high)]);
    }
    for span in &mut made.spans {
        span.fragment = true;
    }
    made
}

#[test]
fn fragments_stand_on_tablature_under_their_chord() {
    let sheet = sheet_of(&fragments(), &Options::default());
    let tabs: Vec<Vec<(f64, u8)>> = sheet.blocks[0]
        .measures()
        .map(|m| {
            // what is written must sound what was struck
            m.tab
                .iter()
                .map(|t| {
                    let midi = Instrument::default().midi(t.string, t.fret);
                    (t.at, midi.expect("on the neck"))
                })
                .collect()
        })
        .collect();
    assert_eq!(tabs[0], [(0.0, 62), (0.0, 66), (2.0, 62), (2.0, 66)]);
    assert_eq!(tabs[1], [(0.0, 60), (0.0, 64), (2.0, 60), (2.0, 64)]);
    // the hand stays near: the same two strings, two frets apart
    let place = |bar: usize| {
        let notes = &sheet.blocks[0].measures().nth(bar).expect("a bar").tab;
        (notes[0].string, notes[1].string)
    };
    assert_eq!(place(0), place(1));
    let page = text(&fragments(), Format::Txt, &Options::default());
    assert!(page.lines().all(|l| l.chars().count() <= 80), "{page}");
    assert!(page.contains("  e |-"), "{page}");
    let score = text(&fragments(), Format::MusicXml, &Options::default());
    assert!(score.contains("<sign>TAB</sign>") && score.contains("<string>"));
    // whole chords need none
    let plain = text(&demo(), Format::MusicXml, &Options::default());
    assert!(!plain.contains("<sign>TAB</sign>"));
}

#[test]
fn a_picked_pattern_is_shown_once_and_counted() {
    let mut made = song("Picked", 4, &[("A", &["D=xx0232", "D=xx0232", "D=xx0232"])]);
    for bar in 0..3 {
        let pattern = [50, 57, 62, 66, 62, 57, 50, 57];
        let notes: Vec<(u8, u8)> = (0..8).zip(pattern).collect();
        strike(&mut made, bar, &notes);
    }
    let sheet = sheet_of(&made, &Options::default());
    let counts: Vec<usize> = sheet.blocks[0].measures().map(|m| m.tab.len()).collect();
    assert_eq!(counts, [8, 0, 0]);
    let frets: Vec<(usize, u8)> = sheet.blocks[0]
        .measures()
        .flat_map(|m| &m.tab)
        .map(|t| (t.string, t.fret))
        .take(4)
        .collect();
    assert_eq!(
        frets,
        [(2, 0), (3, 2), (4, 3), (5, 2)],
        "as the shape holds them"
    );
    assert_eq!(sheet.blocks[0].strokes, "plucks on 1 & 2 & 3 & 4 &");
}

/// A tune over open basses: what is plucked one after the other may take a string
/// again, so nothing is driven up the neck.
#[test]
fn a_tune_over_open_strings_stays_low() {
    for (tuning, pattern) in [
        ("dadgad", [38, 62, 45, 64, 38, 66, 45, 62]),
        ("standard", [40, 64, 47, 65, 40, 67, 47, 64]),
    ] {
        let mut made = song("Low", 4, &[("A", &["D", "D"])]);
        made.instrument.tuning = tuning.parse().expect("a tuning");
        for bar in 0..2 {
            let notes: Vec<(u8, u8)> = (0..8).zip(pattern).collect();
            strike(&mut made, bar, &notes);
        }
        let sheet = sheet_of(&made, &Options::default());
        let tab: Vec<_> = sheet.blocks[0].measures().flat_map(|m| &m.tab).collect();
        assert_eq!(tab.len(), 8, "{tuning}");
        for note in tab {
            let midi = made.instrument.midi(note.string, note.fret);
            assert!(note.fret <= 4, "{tuning}: {note:?}");
            assert!(
                midi.is_some_and(|m| pattern.contains(&m)),
                "{tuning}: {note:?}"
            );
        }
    }
}

#[test]
fn a_walking_bass_and_moving_top_notes_are_shown() {
    let lines = |bars: &[&str]| {
        let made = song("x", 4, &[("A", bars)]);
        let sheet = sheet_of(&made, &Options::default());
        let marks: Vec<(String, String)> = sheet.blocks[0]
            .measures()
            .flat_map(|m| &m.marks)
            .map(|m| {
                (
                    m.bass.clone().unwrap_or_default(),
                    m.top.clone().unwrap_or_default(),
                )
            })
            .collect();
        let join = |f: fn(&(String, String)) -> &String| {
            marks.iter().map(f).cloned().collect::<Vec<_>>().join(" ")
        };
        (join(|m| &m.0), join(|m| &m.1))
    };
    let (bass, _) = lines(&["D D/C#", "Bm D/A", "G D"]);
    assert_eq!(bass, "D C♯ B A G ");
    // roots that move by step are read from the symbols
    assert_eq!(lines(&["Em F", "G"]).0, "  ");
    let (_, top) = lines(&["D=xx0230 D=xx0232", "Dsus4=xx0233", "G=320003"]);
    assert_eq!(
        top, "E F♯ G ",
        "the last G is the same note and moves no more"
    );
}

#[test]
fn degrees_stand_instead_of_symbols_or_under_them() {
    let made = song("x", 4, &[("A", &["G", "D7"])]);
    let under = sheet_of(&made, &options(|o| o.degrees_under = true));
    let marks: Vec<(String, Option<String>)> = under.blocks[0]
        .measures()
        .flat_map(|m| &m.marks)
        .map(|m| (m.symbol.clone(), m.degree.clone()))
        .collect();
    assert_eq!(
        marks,
        [("G", "I"), ("D7", "V7")].map(|(s, d)| (s.to_owned(), Some(d.to_owned())))
    );
    let mut bare = made.clone();
    bare.key = None;
    let refused = Sheet::new(&bare, &options(|o| o.degrees_under = true));
    assert!(matches!(refused, Err(ChartError::NoKey { .. })));
}

#[test]
fn open_shapes_leave_notes_out_and_say_so() {
    let hard = song(
        "x",
        4,
        &[(
            "A",
            &[
                "G=320003 Cmaj9/E",
                "Am7=575555 F#m7b5",
                "Bbm=x13321 B13sus4",
            ],
        )],
    );
    let easy = prepare(&hard, &options(|o| o.easy = true)).expect("simplified");
    assert_eq!(easy.spans[0].shapes[0].text(), "320003");
    assert_eq!(
        easy.spans[0].n_decided_shapes, 1,
        "what is easy already stays"
    );
    for span in &easy.spans {
        let chord = span.label.chord().expect("a chord");
        let Some(shape) = span.shapes.first() else {
            continue;
        };
        // whatever the shape sounds belongs to the chord that the page now names
        for midi in easy.instrument.sounding(shape).into_iter().flatten() {
            let pc = crate::theory::PitchClass::new(i32::from(midi));
            assert!(
                chord.pitch_classes().contains(pc),
                "{} {shape}",
                chord.symbol()
            );
        }
    }
    // no note is new: the simple chord lies within the one it stands for
    for (was, now) in hard.spans.iter().zip(&easy.spans) {
        let (was, now) = (was.label.chord(), now.label.chord());
        let (was, now) = (was.expect("a chord"), now.expect("a chord"));
        assert!(now.pitch_classes().without(was.pitch_classes()).is_empty());
    }
    let notes = easy.notes.join("\n");
    assert!(notes.contains("Simplified: Am7 is played"), "{notes}");
    assert!(notes.contains("B13sus4 is played as B7sus4"), "{notes}");
    assert!(notes.contains("9 and 13 left out"), "{notes}");
    assert!(notes.contains("No open shape: B♭m"), "{notes}");
    let page = text(&hard, Format::Txt, &options(|o| o.easy = true));
    assert!(page.contains("Simplified:"), "{page}");
}

#[test]
fn another_tuning_finds_shapes_that_sound_the_chord() {
    let made = song("x", 4, &[("A", &["D=xx0232", "G=320003"])]);
    let tuning = || Some("dadgad".parse().expect("a tuning"));
    let tuned = prepare(&made, &options(|o| o.tuning = tuning())).expect("tuned");
    assert_ne!(shapes(&tuned), shapes(&made));
    assert!(tuned.warnings.iter().any(|w| w.contains("found anew")));
    for span in &tuned.spans {
        assert_eq!(span.n_decided_shapes, 0, "nobody decided them");
        let chord = span.label.chord().expect("a chord");
        for midi in tuned
            .instrument
            .sounding(&span.shapes[0])
            .into_iter()
            .flatten()
        {
            let pc = crate::theory::PitchClass::new(i32::from(midi));
            assert!(chord.pitch_classes().contains(pc), "{}", span.shapes[0]);
        }
    }
}

#[test]
fn titles_from_right_to_left_stand_in_the_order_they_are_seen() {
    let fonts = font::Fonts::new().expect("fonts");
    let seen = |text: &str| -> String {
        let runs = fonts.runs(font::Style::Regular, text).expect("glyphs");
        runs.iter()
            .flat_map(|r| r.glyphs.iter().map(|g| g.0))
            .collect()
    };
    // Unicode Standard Annex 9: letters from right to left, digits and brackets kept readable
    assert_eq!(seen("\u{5d0}\u{5d1}\u{5d2}"), "\u{5d2}\u{5d1}\u{5d0}");
    assert_eq!(seen("\u{5d0}\u{5d1} (12)"), "(12) \u{5d1}\u{5d0}");
    assert_eq!(seen("Blues \u{5d0}\u{5d1}"), "Blues \u{5d1}\u{5d0}");
    // a point stays with its letter
    assert_eq!(seen("\u{5d1}\u{5bc}\u{5d0}"), "\u{5d0}\u{5d1}\u{5bc}");
    // Arabic letters take the forms they have when joined
    assert_eq!(seen("\u{628}\u{628}"), "\u{fe90}\u{fe91}");
    // and a file gives the letters back: the last of the block, and a ligature
    assert_eq!(font::letters('\u{fef4}'), ['\u{64a}']);
    assert_eq!(font::letters('\u{fe91}'), ['\u{628}']);
    assert_eq!(font::letters('\u{fefb}'), ['\u{644}', '\u{627}']);
    assert_eq!(seen("C\u{266f}m7"), "C\u{266f}m7");
    let mut made = demo();
    made.title = "\u{5e9}\u{5d9}\u{5e8} \u{645}\u{633}\u{627}\u{621}".into();
    for (ending, format) in FORMATS {
        assert!(
            write(&made, format, &Options::default()).is_ok(),
            "{ending}"
        );
    }
}

#[test]
fn a_last_page_with_a_few_lines_is_drawn_onto_the_one_before() {
    let made = |n: usize| {
        let bars: Vec<String> = (0..n)
            .map(|i| ["G", "C", "D", "Em"][i % 4].into())
            .collect();
        let bars: Vec<&str> = bars.iter().map(String::as_str).collect();
        song("x", 4, &[("A", &bars)])
    };
    let mut n_saved = 0;
    for n in (20..80).step_by(4) {
        let sheet = sheet_of(&made(n), &Options::default());
        let laid = lay_out(&sheet, &Options::default()).expect("laid out");
        let scale = laid.pages[0]
            .iter()
            .find_map(|g| match (&g.role, &g.items[..]) {
                (Role::Title, [Item::Text { size, .. }, ..]) => Some(*size),
                _ => None,
            });
        let full = 20.0 * layout::POINT;
        n_saved += usize::from(scale.expect("a title") < full - 0.01);
        // what is left on a last page is worth turning it
        let last = laid.pages.last().expect("a page");
        let content = last.iter().filter(|g| g.role != Role::Foot).count();
        assert!(content > 2, "{n} bars leave {content} groups alone");
    }
    assert!(n_saved > 0, "no length of song needed it");
}

#[test]
fn a_short_chart_of_many_sections_is_one_page() {
    let bars: &[&str] = &["G", "C", "D", "Em", "Am7", "D7", "G", "G"];
    let letters = ["A", "B", "A", "C", "B", "D", "E", "A", "B", "C", "F", "A"];
    let sections: Vec<(&str, &[&str])> = letters.iter().map(|l| (*l, bars)).collect();
    let made = song("Twelve", 4, &sections);
    let o = options(|o| o.short = true);
    let sheet = sheet_of(&made, &o);
    assert_eq!(sheet.blocks.len(), 6);
    assert_eq!(sheet.form.len(), 12);
    assert_eq!(lay_out(&sheet, &o).expect("laid out").pages.len(), 1);
    assert_eq!(sheet.order, "A – B – A – C – B – D – E – A – B – C – F – A");
}

#[test]
fn sections_that_overlap_or_hold_nothing_lose_no_bar() {
    let mut made = song("x", 4, &[("A", &["G", "C"]), ("B", &["D", "G"])]);
    made.sections[0].last_bar = 3;
    made.sections.push(crate::songlog::song::Section {
        letter: "C".into(),
        name: Some("Nothing".into()),
        first_bar: 9,
        last_bar: 9,
        ..Default::default()
    });
    let sheet = sheet_of(&made, &Options::default());
    let numbers: Vec<u32> = sheet
        .blocks
        .iter()
        .flat_map(|b| b.measures())
        .map(|m| m.number)
        .collect();
    assert_eq!(numbers, [1, 2, 3, 4]);
    for (ending, format) in FORMATS {
        assert!(
            write(&made, format, &Options::default()).is_ok(),
            "{ending}"
        );
    }
}

#[test]
fn shapes_for_another_number_of_strings_do_not_stop_a_chart() {
    let mut made = song("x", 4, &[("A", &["G=320003", "C"])]);
    made.spans[1].shapes = vec!["x320100".parse().expect("seven strings")];
    made.spans[0].struck = vec![(20, 0.0), (127, 0.5)];
    made.spans[0].fragment = true;
    for (ending, format) in FORMATS {
        assert!(
            write(&made, format, &Options::default()).is_ok(),
            "{ending}"
        );
    }
}

#[test]
fn a_binder_holds_every_song_and_is_the_same_twice() {
    let mut second = demo();
    second.title = "Attic & <Letters>".into();
    let songs = [demo(), second, fragments()];
    let n = std::sync::atomic::AtomicUsize::new(0);
    let count = || {
        n.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
    };
    let once = binder("Lessons", &songs, &Options::default(), &count).expect("bound");
    assert_eq!(n.into_inner(), 3);
    assert!(once.starts_with(b"%PDF-1.7"));
    let twice = binder("Lessons", &songs, &Options::default(), &|| {}).expect("bound");
    assert_eq!(once, twice);
    let mut bare = demo();
    bare.spans.clear();
    let (at, error) = binder("x", &[demo(), bare], &Options::default(), &|| {}).expect_err("empty");
    assert_eq!((at, error), (1, ChartError::Empty));
}

/// Eight bars in G, then the same a whole tone higher, then in G again.
fn modulating() -> Song {
    let low: &[&str] = &["G", "C", "D", "Em", "C", "D", "G", "G"];
    let high: &[&str] = &["A", "D", "E", "F#m", "D", "E", "A", "A"];
    let mut made = song("Up", 4, &[("A", low), ("B", high), ("A", low)]);
    let change = |bar: usize, key: &str| crate::theory::KeyChange {
        at_s: made.bars[bar - 1].start_s,
        key: key.parse().expect("a key"),
    };
    made.key_changes = vec![change(9, "A"), change(17, "G")];
    crate::songlog::form::section_keys(&mut made);
    made
}

#[test]
fn a_new_key_is_printed_where_it_begins() {
    let made = modulating();
    let told = |options: &Options, format: Format| {
        let bytes = write(&made, format, options).expect("written");
        String::from_utf8(bytes).expect("text")
    };
    let txt = told(&Options::default(), Format::Txt);
    let lines: Vec<&str> = txt.lines().map(str::trim_end).collect();
    let at = lines
        .iter()
        .position(|l| *l == "Key: A major")
        .expect("A major");
    assert!(lines[at + 1].starts_with("  9 |"), "{txt}");
    assert_eq!(lines.iter().filter(|l| **l == "Key: G major").count(), 2);
    let html = told(&Options::default(), Format::Html);
    assert!(
        html.contains("Key of G major, A major from bar 9, G major from bar 17"),
        "{html}"
    );
    assert_eq!(html.matches("<p class=\"key\">Key of").count(), 1);
    assert!(html.contains("as above, in G major"), "{html}");
    // degrees are those of the key at their place
    let degrees = told(&options(|o| o.degrees = true), Format::Txt);
    assert!(!degrees.contains("II "), "{degrees}");
    // moved to D the second key is E
    let moved = prepare(
        &made,
        &options(|o| o.key = Some("D".parse().expect("a key"))),
    );
    let keys: Vec<String> = moved
        .expect("moved")
        .key_changes
        .iter()
        .map(|c| c.key.text())
        .collect();
    assert_eq!(keys, ["E major", "D major"]);
    // a short chart leaves the second A out, and with it the way back
    let sheet = sheet_of(&made, &options(|o| o.short = true));
    let new: Vec<String> = sheet
        .blocks
        .iter()
        .flat_map(|b| b.measures())
        .filter_map(Measure::key_text)
        .collect();
    assert_eq!(new, ["Key of A major"]);
}

#[test]
fn a_repeat_goes_back_to_its_key() {
    let bars: &[&str] = &["G", "C", "D", "G", "A", "D", "E", "A"];
    let mut made = song("Twice", 4, &[("A", bars), ("A", bars)]);
    let change = |bar: usize, key: &str| crate::theory::KeyChange {
        at_s: made.bars[bar - 1].start_s,
        key: key.parse().expect("a key"),
    };
    made.key_changes = vec![change(5, "A"), change(9, "G"), change(13, "A")];
    let sheet = sheet_of(&made, &Options::default());
    assert_eq!(sheet.blocks.len(), 1);
    assert_eq!(sheet.blocks[0].times, 2);
    let new: Vec<(u32, String)> = sheet.blocks[0]
        .measures()
        .filter_map(|m| Some((m.number, m.key_text()?)))
        .collect();
    assert_eq!(
        new,
        [(1, "Key of G major".into()), (5, "Key of A major".into())]
    );
}

#[test]
fn the_feel_of_a_section_is_printed_and_keeps_it_apart() {
    use crate::songlog::decided::Feel;
    let bars: &[&str] = &["G", "C", "D", "G"];
    let mut made = song("x", 4, &[("A", bars), ("A", bars), ("B", bars)]);
    made.sections[1].feel = Some(Feel::Swung);
    made.sections[2].name = Some("Bridge".into());
    made.sections[2].feel = Some(Feel::Straight);
    let sheet = sheet_of(&made, &Options::default());
    let names: Vec<Option<&str>> = sheet.blocks.iter().map(|b| b.name.as_deref()).collect();
    // as music both A are one; as played they are not
    assert_eq!(
        names,
        [
            None,
            Some("A (swung eighths)"),
            Some("Bridge (straight eighths)")
        ]
    );
}
