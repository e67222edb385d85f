//! Form, count and keys of songs written as text: `A: G | C D; B: Em | D`.

use super::decided::{Act, How};
use super::form::{changes_inside, first_key_words, key_words, letters, may_follow, order};
use super::heard::{Bar, Candidate, Heard, HeardBeat, HeardChord, HeardSection};
use super::song::Song;
use super::{Log, Take, contradiction, read, resolve, write};
use crate::fretboard::Instrument;
use crate::theory::{Key, KeyChange, Label};

const AT: &str = "2031-05-02T18:30:00Z";
/// A bar lasts so long and has four beats, s.
const BAR_S: f64 = 2.0;

fn label(text: &str) -> Label {
    text.parse().unwrap_or_else(|e| panic!("{e}"))
}

/// A log of sections of bars with chords that share each bar equally.
fn log(text: &str, key: &str) -> Log {
    let (mut sections, mut bars, mut chords) = (Vec::new(), Vec::new(), Vec::new());
    for part in text.split(';') {
        let (letter, music) = part.trim().split_once(": ").expect("LETTER: BARS");
        let first_bar = bars.len() as u32 + 1;
        for bar in music.split('|') {
            let start_s = BAR_S * bars.len() as f64;
            let names: Vec<&str> = bar.split_whitespace().collect();
            let share_s = BAR_S / names.len() as f64;
            for (i, name) in names.iter().enumerate() {
                chords.push(HeardChord {
                    start_s: start_s + i as f64 * share_s,
                    end_s: start_s + (i + 1) as f64 * share_s,
                    candidates: vec![Candidate {
                        label: label(name),
                        probability: 0.9,
                        reason: String::new(),
                    }],
                    shapes: vec![],
                    bass_midi: None,
                    chroma: [0.0; 12],
                    fragment: false,
                });
            }
            bars.push(Bar {
                number: bars.len() as u32 + 1,
                start_s,
                end_s: start_s + BAR_S,
                n_beats: 4,
            });
        }
        sections.push(HeardSection {
            letter: letter.into(),
            first_bar,
            last_bar: bars.len() as u32,
            differs: String::new(),
        });
    }
    let duration_s = BAR_S * bars.len() as f64;
    Log {
        take: Take {
            file: "form.wav".into(),
            kind: "WAV".into(),
            rate_hz: 44_100,
            channels: 1,
            bytes: 1,
            fingerprint: None,
            tags: Default::default(),
        },
        drafted: AT.into(),
        heard: Heard {
            by_version: "0.1.0".into(),
            settings: vec![],
            duration_s,
            tuning_cents: 0.0,
            instrument: Instrument::default(),
            tempo_bpm: Some(120.0),
            meter: Some((4, 4)),
            key: key.parse().ok(),
            key_changes: Vec::new(),
            beats: (0..4 * bars.len())
                .map(|i| HeardBeat {
                    time_s: 0.5 * i as f64,
                    place: (i % 4 + 1) as u8,
                })
                .collect(),
            bars,
            sections,
            chords,
            detail: vec![],
            choices: vec![],
            strums: vec![],
            notes: vec![],
            warnings: vec![],
        },
        decided: vec![],
    }
}

fn song(text: &str, acts: Vec<Act>) -> Song {
    let mut log = log(text, "G");
    if !acts.is_empty() {
        log.decide(AT.into(), acts);
    }
    resolve(&log)
}

/// Roadmap and what is said of each section, in one text.
fn said(song: &Song) -> String {
    let mut text = letters(song).join(" ");
    for section in song.sections.iter().filter(|s| !s.differs.is_empty()) {
        text.push_str(&format!(" / {}", section.differs));
    }
    text
}

#[test]
fn the_letters_name_each_variant_and_what_differs() {
    let check =
        |text: &str, expected: &str| assert_eq!(said(&song(text, vec![])), expected, "{text}");
    check("A: G | C | D | G; A: G | C | D | G; B: Em | D", "A A B");
    check(
        "A: G | C | D | G; A: G | C | D | D7; B: Em | D; A: G | C | D | D7; A: G | Am | D | G",
        "A A' B A' A'' / bar 4 is D7 instead of G / bar 4 is D7 instead of G / bar 2 is Am instead of C",
    );
    check(
        "A: G | C | C | D; A: G | C | D | D G",
        "A A' / bars 3 to 4 are D | D G instead of C | D",
    );
    // a whole beat counts, an inversion that nobody confirmed does not
    check(
        "A: G | C | C C C D | G; A: G | C/E | C | G",
        "A A' / bar 3 is C instead of C D",
    );
}

#[test]
fn a_section_in_another_key_is_seen_as_moved() {
    let text = "A: G | C | D | G; A: A | D | E | A; A: F | Bb | C | Am";
    assert_eq!(
        said(&song(text, vec![])),
        "A A' A'' / up 2 semitones / down 2 semitones; bar 4 is Am instead of F"
    );
}

#[test]
fn longer_and_shorter_repeats_are_said() {
    let text = "A: G | C | D | G; A: G | C | D | G | Am | D; A: G | C | D";
    assert_eq!(
        said(&song(text, vec![])),
        "A A' A'' / 2 bars longer: Am | D / 1 bar shorter"
    );
}

#[test]
fn what_the_user_changes_changes_what_differs() {
    let text = "A: G | C | D | G; A: G | C | D | G";
    let own = |start_s: f64, name: &str| Act::Chord {
        start_s,
        end_s: start_s + BAR_S,
        label: label(name),
        how: How::Own,
    };
    let changed = song(text, vec![own(10.0, "Am")]);
    assert_eq!(said(&changed), "A A' / bar 2 is Am instead of C");
    let both = song(text, vec![own(10.0, "Am"), own(2.0, "Am")]);
    assert_eq!(said(&both), "A A");
    // split off as a section of its own, and joined to the letter again
    let letter = |name: &str| Act::SectionLetter {
        start_s: 8.0,
        end_s: 16.0,
        letter: name.into(),
    };
    assert_eq!(said(&song(text, vec![own(10.0, "Am"), letter("B")])), "A B");
    let back = song(text, vec![own(10.0, "Am"), letter("B"), letter("A")]);
    assert_eq!(said(&back), "A A' / bar 2 is Am instead of C");
}

#[test]
fn a_decision_may_follow_only_to_bars_that_were_heard_alike_or_say_the_same() {
    let text = "A: G | C | D | G; A: G | C | D | Em";
    let at = |song: &Song, bar: usize| song.bars[bar - 1];
    let check = |acts: Vec<Act>, here: usize, other: usize, expected: bool| {
        let song = song(text, acts);
        assert_eq!(
            may_follow(&song, &at(&song, here), &at(&song, other)),
            expected,
            "{here} {other}"
        );
    };
    let own = |bar: usize, name: &str| Act::Chord {
        start_s: BAR_S * (bar - 1) as f64,
        end_s: BAR_S * bar as f64,
        label: label(name),
        how: How::Own,
    };
    check(vec![], 2, 6, true);
    check(vec![], 4, 8, false);
    // heard alike and still open: the correction of the one may follow
    check(vec![own(2, "Am")], 2, 6, true);
    // decided otherwise: never
    check(vec![own(2, "Am"), own(6, "C7")], 2, 6, false);
    check(vec![own(2, "Am"), own(6, "Am")], 2, 6, true);
}

#[test]
fn a_long_form_is_written_in_short() {
    let check = |parts: &[&str], expected: Option<&str>| {
        let song = song(&parts.join("; "), vec![]);
        assert_eq!(order(&song).as_deref(), expected, "{parts:?}");
    };
    let (a, b, c) = ("A: G | C", "B: Em | D", "C: Am | Am");
    check(&[a], None);
    check(&[a, b].repeat(3), Some("A B A B A B"));
    // as many as are still written out
    let all = format!("A{}", " B A".repeat(11));
    check(&[&[a][..], &[b, a].repeat(11)].concat(), Some(&all));
    let long = [&[c][..], &[a, b].repeat(14), &[c; 3], &[a, b]].concat();
    check(&long, Some("C 14 × (A B) 3 × C A B"));
    let many = [a, a, b].repeat(10);
    check(&many, Some("10 × (A A B)"));
}

#[test]
fn of_many_changes_of_key_the_first_are_named() {
    let bars = ["G"; 20].join(" | ");
    let mut log = log(&format!("A: {bars}"), "G");
    let mut told = |n: usize| {
        let change = |i: usize| KeyChange {
            at_s: BAR_S * (i + 1) as f64,
            key: key(if i.is_multiple_of(2) { "A" } else { "G" }),
        };
        log.heard.key_changes = (0..n).map(change).collect();
        first_key_words(&resolve(&log))
    };
    assert_eq!(told(6).len(), 6);
    assert_eq!(told(6)[5], "G major from bar 7");
    let words = told(15);
    assert_eq!(words.len(), 6);
    assert_eq!(words[4], "A major from bar 6");
    assert_eq!(words[5], "and 10 more changes of key");
}

fn key(text: &str) -> Key {
    text.parse().unwrap_or_else(|e| panic!("{e}"))
}

/// The first key, and the others with their bars.
fn keys(song: &Song) -> String {
    let first = song.key.map_or_else(String::new, Key::text);
    let later = key_words(song).into_iter();
    std::iter::once(first)
        .chain(later)
        .collect::<Vec<_>>()
        .join("; ")
}

#[test]
fn a_section_that_modulates_has_its_key() {
    let text = "A: G | C | D | Em | C | D | G | G; B: A | D | E | F#m; A: G | C | D | G";
    let mut log = log(text, "G");
    let change = |bar: u32, text: &str| KeyChange {
        at_s: BAR_S * f64::from(bar - 1),
        key: key(text),
    };
    log.heard.key_changes = vec![change(9, "A"), change(13, "G")];
    let song = resolve(&log);
    assert_eq!(
        keys(&song),
        "G major; A major from bar 9; G major from bar 13"
    );
    let of_sections: Vec<_> = song.sections.iter().map(|s| s.key).collect();
    assert_eq!(of_sections, [None, Some(key("A")), None]);
    // it is written and read again, in the version that older programs refuse
    let text = write(&log);
    assert!(text.contains("\"version\": 3"), "{text}");
    let again = read(std::path::Path::new("x"), &text).expect("a log");
    assert_eq!(again.heard.key_changes, log.heard.key_changes);
    // changes that do not follow each other, or without a first key, are refused
    log.heard.key_changes.swap(0, 1);
    assert!(read(std::path::Path::new("x"), &write(&log)).is_err());
    log.heard.key_changes.swap(0, 1);
    log.heard.key = None;
    assert!(read(std::path::Path::new("x"), &write(&log)).is_err());
}

#[test]
fn the_users_word_on_keys_wins() {
    let text = "A: G | C | D | Em; B: Eb | D# | Bb | Ab; A: G | C | D | G";
    let from = |bar: u32, text: &str| Act::KeyFrom {
        at_s: BAR_S * f64::from(bar - 1) + 0.1,
        key: key(text),
    };
    let song = song(text, vec![from(5, "Eb"), from(9, "G")]);
    assert_eq!(
        keys(&song),
        "G major; E♭ major from bar 5; G major from bar 9"
    );
    assert_eq!(song.sections[1].key, Some(key("Eb")));
    assert_eq!(song.spans[5].label.symbol(), "E♭");
    // inside a section it is told with its bar
    let song = self::song(text, vec![from(7, "Bb")]);
    assert_eq!(changes_inside(&song, &song.sections[1]), [(7, key("Bb"))]);
    // the later word wins; one key for the whole takes the others away
    let song = self::song(text, vec![from(5, "Eb"), from(5, "Ab")]);
    assert_eq!(keys(&song), "G major; A♭ major from bar 5");
    let song = self::song(text, vec![from(5, "Eb"), Act::Key { key: key("D") }]);
    assert_eq!(keys(&song), "D major");
    let song = self::song(
        text,
        vec![Act::Key { key: key("D") }, from(1, "G"), from(9, "G")],
    );
    assert_eq!(keys(&song), "G major");
}

#[test]
fn before_the_first_key_that_is_said_the_key_stays_open() {
    let mut log = log("A: G | C | D | Em; B: D# | D# | Bb | Ab", "G");
    log.heard.key = None;
    let from = |bar: u32| Act::KeyFrom {
        at_s: BAR_S * f64::from(bar - 1) + 0.1,
        key: key("Eb"),
    };
    log.decide(AT.into(), vec![from(5)]);
    let song = resolve(&log);
    assert_eq!((song.key, song.key_at(0.0)), (None, None));
    assert_eq!(keys(&song), "; E♭ major from bar 5");
    let of_sections: Vec<_> = song.sections.iter().map(|s| s.key).collect();
    assert_eq!(of_sections, [None, Some(key("Eb"))]);
    assert_eq!(song.spans[4].label.symbol(), "E♭");
    // from the first bar on it is the key of the whole
    log.decide(AT.into(), vec![from(1)]);
    assert_eq!(keys(&resolve(&log)), "E♭ major");
}

/// Bars as `number:beats`.
fn counted(song: &Song) -> String {
    let bars = song
        .bars
        .iter()
        .map(|b| format!("{}:{}", b.number, b.n_beats));
    bars.collect::<Vec<_>>().join(" ")
}

#[test]
fn a_bar_with_other_beats_moves_those_after_it() {
    let text = "A: G | C | D | G | C | D";
    let beats = |at_s: f64, n_beats: u8| Act::BarBeats { at_s, n_beats };
    assert_eq!(counted(&song(text, vec![])), "1:4 2:4 3:4 4:4 5:4 6:4");
    assert_eq!(
        counted(&song(text, vec![beats(4.0, 2)])),
        "1:4 2:4 3:2 4:4 5:4 6:4 7:2"
    );
    // a second one puts the count right again
    assert_eq!(
        counted(&song(text, vec![beats(4.0, 2), beats(5.0, 2)])),
        "1:4 2:4 3:2 4:2 5:4 6:4 7:4"
    );
    assert_eq!(
        counted(&song(text, vec![beats(4.0, 2), beats(4.0, 4)])),
        "1:4 2:4 3:4 4:4 5:4 6:4"
    );
}

#[test]
fn tapped_beats_are_the_beats() {
    let text = "A: G | C | D | G";
    let taps: Vec<f64> = (0..8).map(|i| 0.1 + f64::from(i)).collect();
    let song = song(
        text,
        vec![
            Act::Beats {
                times_s: taps.clone(),
            },
            Act::Downbeat { at_s: 1.1 },
        ],
    );
    assert_eq!(song.beats_s, taps);
    assert_eq!(counted(&song), "0:1 1:4 2:3");
    assert!(
        song.stale.iter().any(|w| w.contains("tapped")),
        "{:?}",
        song.stale
    );
}

#[test]
fn contradictory_words_are_refused() {
    let check = |acts: &[Act], expected: &str| {
        let mut settings = super::resolve::Settings::default();
        super::resolve::apply_settings(&mut settings, acts);
        match contradiction(&settings, Some(20.0)) {
            Ok(()) => assert_eq!(expected, "", "{acts:?}"),
            Err(words) => {
                assert!(
                    !expected.is_empty() && words.contains(expected),
                    "{acts:?}: {words}"
                );
            }
        }
    };
    let taps = || Act::Beats {
        times_s: (0..20).map(|i| 0.5 * f64::from(i)).collect(),
    };
    check(&[taps()], "");
    check(
        &[
            taps(),
            Act::Tempo { bpm: 120.0 },
            Act::Downbeat { at_s: 1.05 },
        ],
        "",
    );
    check(
        &[taps(), Act::Tempo { bpm: 90.0 }],
        "the tapped beats make 120 bpm",
    );
    check(
        &[taps(), Act::Downbeat { at_s: 1.25 }],
        "the nearest tapped beat is at 1.00 s",
    );
    check(
        &[Act::Downbeat { at_s: 21.0 }],
        "the take lasts only 0:20.0",
    );
    check(
        &[Act::Beats {
            times_s: vec![1.0, 25.0],
        }],
        "the last tapped beat",
    );
    check(
        &[
            taps(),
            Act::BarBeats {
                at_s: 15.0,
                n_beats: 2,
            },
        ],
        "outside the tapped beats",
    );
}

#[test]
fn a_log_says_the_lowest_version_that_holds_it() {
    let mut log = log("A: G | C", "G");
    assert!(write(&log).contains("\"version\": 1"));
    log.decide(
        AT.into(),
        vec![Act::BarBeats {
            at_s: 2.0,
            n_beats: 2,
        }],
    );
    log.decide(
        AT.into(),
        vec![Act::Beats {
            times_s: vec![0.0, 0.5, 1.0, 1.5],
        }],
    );
    let text = write(&log);
    assert!(text.contains("\"version\": 2"));
    let back = read(std::path::Path::new("form.takebook"), &text);
    assert_eq!(back.unwrap_or_else(|e| panic!("{e}")), log);
}
