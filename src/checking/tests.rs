//! Takes made of numbers: what a perfect ear would tell, held against charts.

use super::*;
use crate::fretboard::Instrument;
use crate::hearing::StretchEvidence;
use crate::songlog::song::{Bar, Song, Span, State};
use crate::theory::{Label, PitchClass, Quality};

const FORM: [&str; 12] = [
    "C", "Am", "F", "G", "C", "Am", "Dm", "G", "Em", "F", "D", "C",
];

/// A decided song of bars of 2 s, one chord each, without sections.
fn song(chords: &[&str]) -> Song {
    let at = |i: usize| 2.0 * i as f64;
    Song {
        title: "Test".into(),
        duration_s: at(chords.len()),
        instrument: Instrument::default(),
        tempo_bpm: Some(120.0),
        meter: Some((4, 4)),
        key: Some("C".parse().expect("a key")),
        bars: (0..chords.len())
            .map(|i| Bar {
                number: i as u32 + 1,
                start_s: at(i),
                end_s: at(i + 1),
                n_beats: 4,
            })
            .collect(),
        spans: chords
            .iter()
            .enumerate()
            .map(|(i, chord)| Span {
                start_s: at(i),
                end_s: at(i + 1),
                label: label(chord),
                state: State::Decided,
                certainty: Some(0.9),
                candidates: vec![],
                shapes: vec![],
                n_decided_shapes: 0,
                notes: vec![],
                bass_midi: None,
                fragment: false,
                struck: vec![],
            })
            .collect(),
        ..Song::default()
    }
}

fn label(text: &str) -> Label {
    text.parse().expect("a label")
}

fn classes(names: &[&str]) -> Vec<(PitchClass, &'static Quality)> {
    names
        .iter()
        .filter_map(|name| Quality::by_harte(name))
        .flat_map(|quality| PitchClass::all().map(move |root| (root, quality)))
        .collect()
}

/// How sure the ear is of the chord and the bass that sound.
const SURE: f32 = 0.9;

/// A take of chords and lengths in s; "N" is no chord. A stroke each half second.
fn take(played: &[(&str, f64)]) -> Evidence {
    take_of(&["maj", "min"], played)
}

/// The same by an ear that knows these kinds of chords.
fn take_of(kinds: &[&str], played: &[(&str, f64)]) -> Evidence {
    let classes = classes(kinds);
    let spread = |n: usize, right: usize, n_frames: f32| -> Vec<f32> {
        let rest = (1.0 - SURE) / (n - 1) as f32;
        (0..n)
            .map(|i| n_frames * if i == right { SURE } else { rest }.ln())
            .collect()
    };
    let (mut all, mut at_s) = (Vec::new(), 0.0);
    for (name, length_s) in played {
        let (class, bass) = match label(name).chord() {
            Some(chord) => {
                let is = |c: &(PitchClass, &Quality)| {
                    c.0 == chord.root.pitch_class() && c.1.harte == chord.quality.harte
                };
                let class = classes.iter().position(is).expect("a known kind");
                (class, chord.bass_pitch_class().index())
            }
            None => (classes.len(), 12),
        };
        let n = (length_s / 0.5).round().max(1.0) as usize;
        for k in 0..n {
            let step_s = length_s / n as f64;
            let n_frames = (step_s / 0.046) as f32;
            let start_s = at_s + step_s * k as f64;
            all.push(StretchEvidence {
                start_s,
                end_s: start_s + step_s,
                stroke: if *name == "N" { 0.0 } else { 1.0 },
                n_frames,
                ln_chords: spread(classes.len() + 1, class, n_frames),
                ln_basses: spread(13, bass, n_frames),
                sounding: vec![],
            });
        }
        at_s += length_s;
    }
    Evidence::new(classes, all)
}

fn bars<'a>(chords: &[&'a str]) -> Vec<(&'a str, f64)> {
    chords.iter().map(|c| (*c, 2.0)).collect()
}

fn checked(played: &[(&str, f64)]) -> TakeCheck {
    check_take(&song(&FORM), &take(played), Level::Song).expect("neither is empty")
}

/// Findings as bar and departure.
fn found(check: &TakeCheck) -> Vec<(u32, Departure)> {
    let each = check.bars.iter();
    each.flat_map(|b| b.findings.iter().map(|f| (b.number, f.departure)))
        .collect()
}

#[track_caller]
fn is_as_written(check: &TakeCheck) {
    assert!(check.as_written(), "{check:?}");
    assert_eq!(check.bars.len(), FORM.len(), "{}", check.summary);
}

#[test]
fn a_take_as_written_is_so_at_any_tempo_and_after_any_introduction() {
    for share in [0.6, 0.8, 1.0, 1.3, 1.8] {
        let played: Vec<_> = FORM.iter().map(|c| (*c, 2.0 * share)).collect();
        let check = checked(&played);
        is_as_written(&check);
        assert!(
            (check.tempo_ratio * share - 1.0).abs() < 0.02,
            "{}",
            check.tempo_ratio
        );
    }
    for lead_s in [0.5, 3.0, 20.0] {
        let mut played = vec![("N", lead_s)];
        played.extend(bars(&FORM));
        played.push(("N", 5.0));
        is_as_written(&checked(&played));
    }
}

#[test]
fn a_drifting_tempo_is_no_departure() {
    let n = FORM.len() as f64;
    let drifting = |i: usize| 2.3 - 0.6 * i as f64 / n;
    let played: Vec<_> = FORM
        .iter()
        .enumerate()
        .map(|(i, c)| (*c, drifting(i)))
        .collect();
    is_as_written(&checked(&played));
}

#[test]
fn every_single_wrong_chord_is_told_in_its_bar_alone() {
    for i in 0..FORM.len() {
        for wrong in ["B", "F#m", "Bb"] {
            let mut chords = FORM;
            chords[i] = wrong;
            let check = checked(&bars(&chords));
            // a wrong chord at an end may as well be none of the chart's
            if i == 0 || i + 1 == FORM.len() {
                assert!(!check.as_written(), "{wrong} in bar {}", i + 1);
                continue;
            }
            let told = found(&check);
            assert_eq!(told, [(i as u32 + 1, Departure::OtherChord)], "{wrong}");
            let bar = check.bars.iter().find(|b| b.number == i as u32 + 1);
            let heard = bar.and_then(|b| b.findings[0].heard.clone());
            assert_eq!(heard.map(|h| h.symbol()), Some(label(wrong).symbol()));
        }
    }
}

#[test]
fn another_bass_is_told_as_that() {
    let mut chords = FORM;
    chords[3] = "G/B";
    assert_eq!(found(&checked(&bars(&chords))), [(4, Departure::OtherBass)]);
}

#[test]
fn silence_where_a_chord_is_written_is_told() {
    let mut chords = FORM;
    chords[6] = "N";
    assert_eq!(found(&checked(&bars(&chords))), [(7, Departure::Silent)]);
}

#[test]
fn bars_left_out_and_played_again_are_told_and_no_bar_is_blamed() {
    let check = checked(&bars(&FORM[4..]));
    assert_eq!(check.left_out, [(1, 4)]);
    assert!(
        check.again.is_empty() && found(&check).is_empty(),
        "{check:?}"
    );
    let check = checked(&bars(&FORM[..9]));
    assert_eq!(check.left_out, [(10, 12)]);
    let twice: Vec<&str> = FORM[..8].iter().chain(&FORM[6..]).copied().collect();
    let check = checked(&bars(&twice));
    assert_eq!(check.again, [(7, 8)], "{}", check.summary);
    assert!(
        check.left_out.is_empty() && found(&check).is_empty(),
        "{check:?}"
    );
    let without: Vec<&str> = FORM[..5].iter().chain(&FORM[8..]).copied().collect();
    let check = checked(&bars(&without));
    assert_eq!(check.left_out, [(6, 8)], "{}", check.summary);
}

#[test]
fn another_song_is_not_blamed_bar_by_bar() {
    let other = [
        "Bb", "Eb", "Abm", "Db", "Gb", "Bbm", "Eb", "Ab", "B", "Gb", "Db", "Bb",
    ];
    let check = checked(&bars(&other));
    assert!(
        !check.recognized && !check.as_written(),
        "{}",
        check.summary
    );
}

#[test]
fn another_song_of_the_same_chords_is_not_recognized() {
    // the chart's own chords, each as often, in an order of their own
    let other = [
        "F", "C", "Em", "Am", "D", "G", "C", "Dm", "F", "Am", "G", "C",
    ];
    let check = checked(&bars(&other));
    assert_eq!(check.verdict(), Verdict::AnotherSong, "{:?}", check.fit);
}

#[test]
fn a_take_in_another_key_is_named_as_that() {
    const NAMES: [&str; 12] = [
        "C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B",
    ];
    let up = |name: &str, k: i32| -> String {
        let (root, minor) = name.strip_suffix('m').map_or((name, ""), |r| (r, "m"));
        let at = NAMES.iter().position(|n| *n == root).expect("a root") as i32;
        format!("{}{minor}", NAMES[(at + k).rem_euclid(12) as usize])
    };
    for (k, words) in [
        (
            -3,
            "3 semitones lower than the chart, as with the strings tuned down",
        ),
        (-1, "1 semitone lower"),
        (
            1,
            "1 semitone higher than the chart, as with the capo at fret 1",
        ),
        (2, "2 semitones higher"),
        (6, "6 semitones higher"),
    ] {
        let chords: Vec<String> = FORM.iter().map(|c| up(c, k)).collect();
        let names: Vec<&str> = chords.iter().map(String::as_str).collect();
        let check = checked(&bars(&names));
        assert_eq!(i32::from(check.semitones), k, "{}", check.summary);
        assert_eq!(check.verdict(), Verdict::Transposed);
        assert!(check.summary.contains(words), "{}", check.summary);
        assert!(found(&check).is_empty(), "{}", check.summary);
    }
}

#[test]
fn a_part_alone_is_named_as_that() {
    let check = checked(&bars(&FORM[3..9]));
    assert_eq!(check.verdict(), Verdict::PartOnly, "{}", check.summary);
    let words = "Only bars 4 to 9 were played; all of it is as written.";
    assert!(check.summary.starts_with(words), "{}", check.summary);
}

#[test]
fn what_a_hand_adds_is_reported_in_detail_alone() {
    // a suspended fourth and a seventh over the written root
    let classes = ["maj", "min", "sus4", "7"];
    let check = |level| {
        let mut chords = FORM;
        chords[3] = "G:sus4";
        chords[7] = "G:7";
        let evidence = take_of(&classes, &bars(&chords));
        check_take(&song(&FORM), &evidence, level).expect("a take")
    };
    assert!(found(&check(Level::Song)).is_empty());
    let in_detail: Vec<u32> = found(&check(Level::Detail)).iter().map(|f| f.0).collect();
    assert_eq!(in_detail, [4, 8]);
}

#[test]
fn nothing_to_hold_against_nothing_is_none() {
    assert!(check_take(&song(&[]), &take(&bars(&FORM)), Level::Song).is_none());
    assert!(check_take(&song(&FORM), &take(&[]), Level::Song).is_none());
    let check = check_take(&song(&FORM), &take(&[("N", 10.0)]), Level::Song).expect("a take");
    assert!(!check.recognized, "{}", check.summary);
}

#[test]
fn slots_are_whole_bars_without_splinters() {
    let mut song = song(&FORM);
    // a chord that ends 0.1 s late is no slot of the next bar
    song.spans[0].end_s += 0.1;
    song.spans[1].start_s += 0.1;
    let all = slots(&song);
    assert_eq!(all.len(), FORM.len());
    assert!((all[1].start_s - 2.0).abs() < 1e-9 && (all[1].length_s - 2.0).abs() < 1e-9);
}
