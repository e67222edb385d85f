//! Logs written and read, decided and taken back.

use super::decided::{Act, How};
use super::heard::*;
use super::song::{Song, State};
use super::*;
use crate::fretboard::Instrument;
use crate::theory::Label;
use proptest::prelude::*;
use std::path::Path;

const AT: &str = "2031-05-02T18:30:00Z";

fn label(text: &str) -> Label {
    text.parse().unwrap_or_else(|e| panic!("{e}"))
}

/// Eight bars of 2 s, a chord each, in two sections of four.
fn log() -> Log {
    let names = ["G", "D", "Em", "C", "G", "D", "Em", "C"];
    let chords = names
        .iter()
        .enumerate()
        .map(|(i, name)| HeardChord {
            start_s: 2.0 * i as f64,
            end_s: 2.0 * (i + 1) as f64,
            candidates: vec![
                Candidate {
                    label: label(name),
                    probability: 0.75,
                    reason: "root and third heard".into(),
                },
                Candidate {
                    label: label("Am7"),
                    probability: 0.25,
                    reason: "seventh may ring".into(),
                },
            ],
            shapes: vec![FittedShape {
                shape: "320003".parse().unwrap_or_else(|e| panic!("{e}")),
                fit: 0.5,
            }],
            bass_midi: Some(43),
            chroma: [0.25; 12],
            fragment: false,
        })
        .collect();
    let section = |letter: &str, first_bar, differs: &str| HeardSection {
        letter: letter.into(),
        first_bar,
        last_bar: first_bar + 3,
        differs: differs.into(),
    };
    Log {
        take: Take {
            file: "evening.wav".into(),
            kind: "WAV".into(),
            rate_hz: 44_100,
            channels: 1,
            bytes: 1_411_244,
            fingerprint: None,
            tags: Default::default(),
        },
        drafted: AT.into(),
        heard: Heard {
            by_version: "0.1.0".into(),
            settings: vec![],
            duration_s: 16.0,
            tuning_cents: -4.5,
            instrument: Instrument::default(),
            tempo_bpm: Some(120.0),
            meter: Some((4, 4)),
            key: "G".parse().ok(),
            key_changes: Vec::new(),
            beats: (0..32)
                .map(|i| HeardBeat {
                    time_s: 0.5 * f64::from(i),
                    place: (i % 4 + 1) as u8,
                })
                .collect(),
            bars: (0..8)
                .map(|i| Bar {
                    number: i + 1,
                    start_s: 2.0 * f64::from(i),
                    end_s: 2.0 * f64::from(i + 1),
                    n_beats: 4,
                })
                .collect(),
            sections: vec![
                section("A", 1, ""),
                section("A", 5, "the last bar is louder"),
            ],
            chords,
            detail: vec![],
            choices: vec![],
            strums: vec![],
            notes: vec![HeardNote {
                start_s: 1.98,
                end_s: 3.0,
                midi: 50,
                probability: 0.9,
            }],
            warnings: vec![],
        },
        decided: vec![],
    }
}

fn decided(acts: Vec<Act>) -> Song {
    let mut log = log();
    log.decide(AT.into(), acts);
    resolve(&log)
}

fn chord(start_s: f64, end_s: f64, name: &str, how: How) -> Act {
    Act::Chord {
        start_s,
        end_s,
        label: label(name),
        how,
    }
}

/// The chords of a song in short: open ones with a question mark.
fn short(song: &Song) -> String {
    let parts: Vec<String> = song
        .spans
        .iter()
        .map(|s| {
            let open = if s.state == State::Open { "?" } else { "" };
            format!("{}-{} {}{open}", s.start_s, s.end_s, s.label.symbol())
        })
        .collect();
    parts.join(" | ")
}

#[test]
fn what_is_written_is_read_back() {
    let mut log = log();
    log.decide(AT.into(), every_act());
    log.decide(AT.into(), vec![Act::Undo { of: vec![1] }]);
    let text = write(&log);
    let back = read(Path::new("x"), &text).unwrap_or_else(|e| panic!("{e}\n{text}"));
    assert_eq!(back, log);
    assert_eq!(write(&back), text);
    assert!(text.lines().count() > 60 && text.lines().all(|l| l.len() < 2000));
}

fn every_act() -> Vec<Act> {
    let shape = || "x02010".parse().unwrap_or_else(|e| panic!("{e}"));
    vec![
        chord(0.0, 2.0, "Am7/C", How::Own),
        chord(2.0, 4.0, "D", How::Proposed),
        chord(4.0, 6.0, "N", How::Candidate),
        Act::Shape {
            start_s: 0.0,
            end_s: 2.0,
            shape: shape(),
            or_shape: Some(shape()),
        },
        Act::Note {
            start_s: None,
            end_s: None,
            text: "slowly".into(),
        },
        Act::Note {
            start_s: Some(0.0),
            end_s: Some(2.0),
            text: "let it ring".into(),
        },
        Act::Move {
            from_s: 8.0,
            to_s: 8.5,
        },
        Act::Split { at_s: 11.0 },
        Act::Join {
            start_s: 12.0,
            end_s: 16.0,
        },
        Act::SectionName {
            start_s: 0.0,
            end_s: 8.0,
            name: "Verse".into(),
        },
        Act::SectionLetter {
            start_s: 8.0,
            end_s: 16.0,
            letter: "B".into(),
        },
        Act::SectionSplit { at_s: 4.0 },
        Act::SectionJoin { at_s: 4.0 },
        Act::Title {
            text: "Evening".into(),
        },
        Act::Key {
            key: "Em".parse().unwrap_or_else(|e| panic!("{e}")),
        },
        Act::KeyFrom {
            at_s: 8.0,
            key: "Am".parse().unwrap_or_else(|e| panic!("{e}")),
        },
        Act::Meter { meter: (3, 4) },
        Act::Tempo { bpm: 90.5 },
        Act::Downbeat { at_s: 0.5 },
        Act::Capo { fret: 2 },
        Act::Tuning {
            tuning: "drop-d".parse().unwrap_or_else(|e| panic!("{e}")),
        },
    ]
}

#[test]
fn a_decision_changes_its_place_and_nothing_else() {
    let song = decided(vec![chord(2.0, 4.0, "D/F#", How::Own)]);
    assert_eq!(
        short(&song),
        "0-2 G? | 2-4 D/F♯ | 4-6 Em? | 6-8 C? | 8-10 G? | 10-12 D? | 12-14 Em? | 14-16 C?"
    );
    assert_eq!(song.spans[1].certainty, None);
    assert_eq!(song.spans[1].shapes, []); // the shape heard is for D
    assert_eq!(song.spans[1].struck, [(50, 1.98)]);
    let song = decided(vec![chord(2.0, 4.0, "Am7", How::Candidate)]);
    assert_eq!(song.spans[1].certainty, Some(0.25));
}

#[test]
fn chords_are_split_joined_and_moved() {
    let song = decided(vec![
        Act::Split { at_s: 1.0 },
        chord(1.0, 2.0, "G7", How::Own),
        Act::Join {
            start_s: 4.0,
            end_s: 8.0,
        },
        Act::Move {
            from_s: 10.0,
            to_s: 9.5,
        },
    ]);
    assert_eq!(
        short(&song),
        "0-1 G? | 1-2 G7 | 2-4 D? | 4-8 Em? | 8-9.5 G? | 9.5-12 D? | 12-14 Em? | 14-16 C?"
    );
    assert_eq!(song.warnings, Vec::<String>::new());
}

#[test]
fn what_no_longer_fits_is_kept_named_and_open() {
    let song = decided(vec![
        chord(1.0, 3.0, "F", How::Own),
        Act::Move {
            from_s: 40.0,
            to_s: 41.0,
        },
    ]);
    assert_eq!(short(&song), short(&resolve(&log())));
    assert_eq!(song.warnings.len(), 2);
    assert!(song.warnings[0].contains("decision 1 no longer fits: 0:01.0 to 0:03.0: F"));
}

#[test]
fn taking_back_is_a_decision_that_can_be_taken_back() {
    let mut log = log();
    log.decide(AT.into(), vec![chord(0.0, 2.0, "G7", How::Own)]);
    log.decide(
        AT.into(),
        vec![Act::Title {
            text: "Dusk".into(),
        }],
    );
    log.decide(AT.into(), vec![Act::Undo { of: vec![1, 2] }]);
    assert_eq!(resolve(&log).n_open(), 8);
    assert_eq!(resolve(&log).title, "evening");
    log.decide(AT.into(), vec![Act::Undo { of: vec![3] }]);
    assert_eq!(resolve(&log).n_open(), 7);
    assert_eq!(resolve(&log).title, "Dusk");
    assert_eq!(log.decided.len(), 4);
}

#[test]
fn sections_are_named_split_and_joined_and_cover_all_bars() {
    let text = |song: &Song| -> String {
        let parts: Vec<String> = song
            .sections
            .iter()
            .map(|s| {
                let name = s.name.clone().unwrap_or_default();
                format!("{} {name} {}-{}", s.letter, s.first_bar, s.last_bar)
            })
            .collect();
        parts.join(" | ")
    };
    let name = |name: &str| Act::SectionName {
        start_s: 8.0,
        end_s: 16.0,
        name: name.into(),
    };
    assert_eq!(text(&decided(vec![name("Verse")])), "A  1-4 | A Verse 5-8");
    assert_eq!(
        text(&decided(vec![Act::SectionSplit { at_s: 12.0 }])),
        "A  1-4 | A  5-6 | B  7-8"
    );
    assert_eq!(
        text(&decided(vec![Act::SectionJoin { at_s: 8.0 }])),
        "A  1-8"
    );
    assert_eq!(
        decided(vec![Act::SectionJoin { at_s: 4.0 }]).warnings.len(),
        1
    );
}

#[test]
fn the_users_meter_and_downbeat_count_the_bars_anew() {
    let song = decided(vec![
        Act::Meter { meter: (3, 4) },
        Act::Downbeat { at_s: 0.5 },
    ]);
    let bars: Vec<(u32, f64, f64)> = song
        .bars
        .iter()
        .map(|b| (b.number, b.start_s, b.end_s))
        .collect();
    assert_eq!(bars[..3], [(0, 0.0, 0.5), (1, 0.5, 2.0), (2, 2.0, 3.5)]);
    assert_eq!(song.sections[0].first_bar, 0);
    assert_eq!(
        song.sections[1].last_bar,
        song.bars[song.bars.len() - 1].number
    );
}

#[test]
fn a_new_draft_with_a_chord_cut_in_two_keeps_what_was_said() {
    let mut log = log();
    log.decide(AT.into(), vec![chord(2.0, 4.0, "D", How::Proposed)]);
    let mut second = log.heard.chords[1].clone();
    log.heard.chords[1].end_s = 3.1;
    second.start_s = 3.1;
    log.heard.chords.insert(2, second);
    assert!(short(&resolve(&log)).starts_with("0-2 G? | 2-4 D | 4-6 Em?"));
}

#[test]
fn nonsense_is_refused_with_its_place() {
    let check = |from: &str, to: &str, place: &str| {
        let text = write(&log());
        assert!(text.contains(from), "'{from}' is not in the log");
        match read(Path::new("x"), &text.replacen(from, to, 1)) {
            Err(LogError::Wrong { place: found, .. }) => assert_eq!(found, place),
            other => panic!("{to}: {other:?}"),
        }
    };
    check("\"end_s\": 2.0", "\"end_s\": -2.0", "heard.bars[0].end_s");
    check("\"n_beats\": 4", "\"n_beats\": 0", "heard.bars[0].n_beats");
    check(
        "\"label\": \"D:maj\"",
        "\"label\": \"H:maj\"",
        "heard.chords[1].candidates[0].label",
    );
    check(
        "\"probability\": 0.75",
        "\"probability\": 7.5",
        "heard.chords[0].candidates[0].probability",
    );
    check(
        "\"frets\": \"320003\"",
        "\"frets\": \"3200\"",
        "heard.chords[0].shapes[0].frets",
    );
    check("\"capo\": 0", "\"capo\": \"none\"", "heard.instrument.capo");
    check("\"capo\": 0", "\"cappo\": 0", "heard.instrument.cappo");
    check("\"drafted\": \"2031", "\"drafted\": \"May 2031", "drafted");
    check("\"version\": 1", "\"version\": 0", "version");
    check("\"number\": 3", "\"number\": 9", "heard.bars[2].number");
    check("\"last_bar\": 8", "\"last_bar\": 80", "heard.sections[1]");
}

#[test]
fn what_is_no_log_or_too_new_is_refused_in_words() {
    let not_a_log =
        |text: &str| matches!(read(Path::new("x"), text), Err(LogError::NotALog { .. }));
    assert!(not_a_log(""));
    assert!(not_a_log("hello"));
    assert!(not_a_log("{\"format\": \"list\", \"version\": 1}"));
    assert!(not_a_log("[1, 2]"));
    let newer = write(&log()).replacen("\"version\": 1", "\"version\": 5, \"later\": 5", 1);
    let error = read(Path::new("x"), &newer).expect_err("a newer version");
    assert!(error.to_string().contains("log version 5"), "{error}");
    let cut = &write(&log())[..300];
    assert!(matches!(
        read(Path::new("x"), cut),
        Err(LogError::Wrong { .. })
    ));
}

fn any_act() -> impl Strategy<Value = Act> {
    let range = (0u32..34, 1u32..12)
        .prop_map(|(from, n)| (0.5 * f64::from(from), 0.5 * f64::from(from + n)));
    let times =
        (0u32..170, 0u32..170).prop_map(|(a, b)| (f64::from(a) / 10.0, f64::from(b) / 10.0));
    let names = prop::sample::select(vec!["G", "Am7", "D/F#", "N", "X", "C#:hdim7"]);
    let how = prop::sample::select(vec![How::Proposed, How::Candidate, How::Own]);
    let fixed = prop::sample::select(every_act());
    prop_oneof![
        (range.clone(), names, how).prop_map(|((a, b), name, how)| chord(a, b, name, how)),
        range
            .clone()
            .prop_map(|(start_s, end_s)| Act::Join { start_s, end_s }),
        times
            .clone()
            .prop_map(|(from_s, to_s)| Act::Move { from_s, to_s }),
        times.clone().prop_map(|(at_s, _)| Act::Split { at_s }),
        times
            .clone()
            .prop_map(|(at_s, _)| Act::SectionSplit { at_s }),
        times.prop_map(|(at_s, _)| Act::SectionJoin { at_s }),
        fixed,
        prop::collection::vec(1u32..20, 1..3).prop_map(|of| Act::Undo { of }),
    ]
}

fn with_decisions(stream: Vec<Vec<Act>>) -> Log {
    let mut log = log();
    for mut acts in stream {
        let id = log.next_id();
        for act in &mut acts {
            if let Act::Undo { of } = act {
                of.retain(|o| *o < id);
            }
        }
        log.decide(AT.into(), acts);
    }
    log
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 128, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_stream_of_decisions_leaves_a_whole_song(
        stream in prop::collection::vec(prop::collection::vec(any_act(), 1..4), 0..12)
    ) {
        let log = with_decisions(stream);
        let song = resolve(&log);
        prop_assert_eq!(song.spans[0].start_s, 0.0);
        prop_assert_eq!(song.spans[song.spans.len() - 1].end_s, 16.0);
        for pair in song.spans.windows(2) {
            prop_assert_eq!(pair[0].end_s, pair[1].start_s);
        }
        prop_assert!(song.spans.iter().all(|s| s.start_s < s.end_s));
        prop_assert_eq!(song.sections[0].first_bar, song.bars[0].number);
        for pair in song.sections.windows(2) {
            prop_assert_eq!(pair[0].last_bar + 1, pair[1].first_bar);
        }
        // and it survives the way to disk and back
        prop_assert_eq!(read(Path::new("x"), &write(&log)).ok().map(|l| resolve(&l)), Some(song));
    }

    #[test]
    fn taking_all_back_gives_what_was_heard(
        stream in prop::collection::vec(prop::collection::vec(any_act(), 1..4), 0..12)
    ) {
        let mut with = with_decisions(stream);
        // latest first, so that what took back is itself taken back before
        let ids: Vec<u32> = with.decided.iter().map(|d| d.id).collect();
        with.decide(AT.into(), vec![Act::Undo { of: ids }]);
        prop_assert_eq!(resolve(&with), resolve(&log()));
    }

    #[test]
    fn a_new_draft_with_edges_a_little_off_keeps_every_chord_decided(
        offs in prop::collection::vec(-0.3f64..0.3, 7),
        chosen in prop::collection::vec(0usize..8, 1..8),
    ) {
        let mut log = log();
        for i in &chosen {
            let from = 2.0 * *i as f64;
            log.decide(AT.into(), vec![chord(from, from + 2.0, "F#m7", How::Own)]);
        }
        for (i, off) in offs.iter().enumerate() {
            log.heard.chords[i].end_s += off;
            log.heard.chords[i + 1].start_s += off;
        }
        let song = resolve(&log);
        for (i, span) in song.spans.iter().enumerate() {
            prop_assert_eq!(span.state == State::Decided, chosen.contains(&i), "{}", short(&song));
        }
        prop_assert!(song.warnings.is_empty());
    }
}
