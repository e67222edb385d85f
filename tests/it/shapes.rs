//! Shapes against handbook values, facts of the trade, and their own names.

use std::process::Command;
use takebook::fretboard::{
    Finger, Instrument, Limits, Tuning, Wanted, capo_choices, distinct, fret_mm, hold, smoothest,
    voicings, walks,
};
use takebook::theory::naming::{Context, names};
use takebook::theory::{Chord, Key, PitchClass, QUALITIES, Spelled};

fn chord(text: &str) -> Chord {
    text.parse().unwrap_or_else(|e| panic!("{e}"))
}

/// Scale length 650 mm: the usual value of a classical guitar in makers'
/// handbooks (from memory). Fret distances on it by the rule of the twelfth
/// root of two, worked with a calculator and rounded to 0.01 mm; the older
/// handbook rule (divide by 17.817) gives the same within 0.01 mm a fret.
#[test]
fn fret_spacing_follows_the_handbook_rule() {
    let mut left = 650.0f64;
    for (fret, expected) in [36.48, 70.92, 103.42, 134.09, 163.05]
        .into_iter()
        .enumerate()
    {
        left -= left / 17.817;
        let ours = fret_mm(fret as u8 + 1);
        assert!((ours - expected).abs() < 0.01, "fret {}: {ours}", fret + 1);
        assert!(
            (ours - (650.0 - left)).abs() < 0.05,
            "fret {}: {ours}",
            fret + 1
        );
    }
    assert!((fret_mm(12) - 325.0).abs() < 1e-9);
    assert!((fret_mm(24) - 487.5).abs() < 1e-9);
}

/// Naming is inverse to shapes: every shape found for a chord has that chord's
/// notes and bass, and, if none is left out, its name among the first five.
#[test]
fn every_shape_is_named_as_its_chord() {
    let guitar = Instrument::default();
    for fifths in [-3, 0, 2, 6] {
        for row in QUALITIES.iter().filter(|q| q.harte != "1") {
            let wanted = Chord::new(Spelled::from_fifths(fifths), row);
            let found = voicings(&guitar, Wanted::chord(&wanted), &Limits::default());
            if wanted.degrees().len() <= 6 {
                assert!(!found.is_empty(), "{} has no shape", wanted.symbol());
            }
            for v in found.iter().take(20) {
                let midi: Vec<u8> = guitar.sounding(&v.shape).into_iter().flatten().collect();
                let pc = |m: &u8| PitchClass::new(i32::from(*m));
                let set = midi.iter().map(pc).collect();
                let bass = midi.iter().min().map(pc);
                assert_eq!(bass, Some(wanted.root.pitch_class()), "{}", v.shape);
                let context = Context {
                    bass,
                    ..Context::default()
                };
                let named = names(set, context, 5);
                let same = |c: &Chord| {
                    c.root.pitch_class() == wanted.root.pitch_class() && c.quality == row
                };
                assert!(
                    !v.missing.is_empty() || named.iter().any(|n| n.spellings().any(same)),
                    "{} {}: {:?}",
                    wanted.symbol(),
                    v.shape,
                    named.iter().map(|n| n.text()).collect::<Vec<_>>()
                );
            }
        }
    }
}

#[test]
fn limits_hold() {
    let guitar = Instrument::default();
    let c = Wanted::chord(&chord("C"));
    let limits = Limits {
        lowest_fret: 5,
        highest_fret: 9,
        no_barre: true,
        no_open: true,
        left_out: vec![5],
        used: vec![0],
        top: Some(PitchClass::new(7)),
        ..Limits::default()
    };
    assert_eq!(limits.check(&guitar), Ok(()));
    let found = voicings(&guitar, c, &limits);
    assert!(!found.is_empty());
    for v in &found {
        let frets = v.shape.frets();
        assert!(
            frets.iter().flatten().all(|f| (5..=9).contains(f)),
            "{}",
            v.shape
        );
        assert!(frets[5].is_none() && frets[0].is_some() && v.hand.barres.is_empty());
        let top = guitar.sounding(&v.shape).into_iter().flatten().max();
        assert_eq!(top.map(|m| m % 12), Some(7), "{}", v.shape);
    }
    // another bass, another tuning, another number of strings
    let over = voicings(&guitar, Wanted::chord(&chord("C/D")), &Limits::default());
    assert!(!over.is_empty());
    for text in [
        "G4 C4 E4 A4",
        "G2 D3 G3 B3 D4",
        "B1 E2 A2 D3 G3 B3 E4",
        "dadgad",
    ] {
        let instrument = Instrument {
            tuning: text.parse::<Tuning>().unwrap_or_else(|e| panic!("{e}")),
            ..Instrument::default()
        };
        let found = voicings(&instrument, Wanted::chord(&chord("F")), &Limits::default());
        assert!(!found.is_empty(), "{text}");
        assert!(found.iter().all(|v| hold(&instrument, &v.shape).is_some()));
    }
}

#[test]
fn wide_stretches_carry_a_caution() {
    let output = Command::new(env!("CARGO_BIN_EXE_takebook"))
        .args(["name", "x1355x"])
        .output()
        .expect("takebook starts");
    let text = String::from_utf8_lossy(&output.stdout);
    assert!(
        text.contains("stop if it hurts") && text.contains("physician"),
        "{text}"
    );
    assert!(text.lines().all(|l| l.chars().count() <= 80), "{text}");
}

#[test]
fn a_progression_moves_little_and_keeps_its_top_line() {
    let guitar = Instrument::default();
    let chords: Vec<Chord> = ["G", "D", "Em", "C"].iter().map(|c| chord(c)).collect();
    let row = smoothest(&guitar, &chords, &Limits::default(), &[])
        .unwrap_or_else(|| panic!("there are shapes"));
    assert_eq!(row.shapes.len(), 4);
    let top: Vec<Option<PitchClass>> = [7, 6, 4, 4].map(|p| Some(PitchClass::new(p))).to_vec();
    let sung = smoothest(&guitar, &chords, &Limits::default(), &top)
        .unwrap_or_else(|| panic!("there are shapes"));
    let heard: Vec<u8> = sung
        .shapes
        .iter()
        .filter_map(|v| guitar.sounding(&v.shape).into_iter().flatten().max())
        .map(|m| m % 12)
        .collect();
    assert_eq!(heard, [7, 6, 4, 4]);
}

/// Common practice, no source: from G to E minor through F♯, these two ways.
#[test]
fn the_bass_walks_from_g_to_e_minor() {
    let key: Key = "G".parse().unwrap_or_else(|e| panic!("{e}"));
    let ways: Vec<Vec<String>> = walks(&chord("G"), &chord("Em"), key)
        .iter()
        .map(|w| w.chords.iter().map(Chord::symbol).collect())
        .collect();
    assert_eq!(ways, [["G", "D/F♯", "Em"], ["G", "G/F♯", "Em"]]);
}

/// Common practice, no source: sounds in B♭, play G shapes with capo 3.
#[test]
fn a_capo_moves_the_key() {
    let choices = capo_choices("Bb".parse().unwrap_or_else(|e| panic!("{e}")));
    let third = choices.iter().find(|c| c.fret == 3);
    assert_eq!(third.map(|c| c.shapes_in.text()), Some("G major".into()));
}

/// Common practice, no source: D over F♯ is held 2x0232, the first finger
/// quieting the A string; so it comes early, and in the walk.
#[test]
fn d_over_f_sharp_is_held_the_usual_way() {
    let guitar = Instrument::default();
    let found = voicings(&guitar, Wanted::chord(&chord("D/F#")), &Limits::default());
    let first: Vec<String> = distinct(&found, 5).iter().map(|v| v.shape.text()).collect();
    assert!(first.iter().any(|s| s == "2x0232"), "{first:?}");
    let key: Key = "G".parse().unwrap_or_else(|e| panic!("{e}"));
    let walk = &walks(&chord("G"), &chord("Em"), key)[0];
    let row = smoothest(&guitar, &walk.chords, &Limits::default(), &[])
        .unwrap_or_else(|| panic!("there are shapes"));
    let middle = row.shapes[1].shape.text();
    assert!("2x0232".starts_with(&middle[..5]), "{middle}");
}

/// One limit of a capo, and one message, wherever a capo can be said.
#[test]
fn every_command_takes_a_capo_up_to_the_same_fret() {
    let folder = tempfile::tempdir().expect("a folder for the test");
    let log = crate::log_sample::file(folder.path());
    let log = log.to_str().expect("a text path");
    let highest = takebook::fretboard::HIGHEST_CAPO;
    let run = |words: &[&str], capo: &str| {
        let output = crate::outside::takebook()
            .args(words)
            .args(["--capo", capo])
            .output()
            .expect("takebook starts");
        let code = output.status.code().expect("it was not killed");
        (code, String::from_utf8_lossy(&output.stderr).into_owned())
    };
    for words in [
        &["name", "x02210"][..],
        &["imply", "D7 B7"],
        &["shapes", "C", "--count", "1"],
        &["chart", log, "-o", "-", "--format", "txt"],
        &["confirm", log],
    ] {
        let (code, said) = run(words, &highest.to_string());
        assert_ne!(code, 2, "{words:?}: {said}");
        for beyond in [u32::from(highest) + 1, 300] {
            let (code, said) = run(words, &beyond.to_string());
            let part =
                format!("a capo at fret {beyond} leaves too little neck (expected 0 to {highest})");
            assert!(code == 2 && said.contains(&part), "{words:?}: {said}");
        }
        let (code, said) = run(words, "x");
        assert!(
            code == 2 && said.contains("'x' is no fret for a capo"),
            "{words:?}: {said}"
        );
    }
    for words in [&["draft", "no.wav"][..], &["listen"]] {
        let (code, said) = run(words, "13");
        assert!(
            code == 2 && said.contains("a capo at fret 13"),
            "{words:?}: {said}"
        );
    }
}

/// What `takebook` prints for these words.
#[track_caller]
fn printed(words: &[&str]) -> String {
    let output = crate::outside::takebook()
        .args(words)
        .output()
        .expect("takebook starts");
    assert!(
        output.status.success(),
        "{words:?}: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8(output.stdout).expect("text")
}

/// The frets under the chord boxes of a typed chart's page.
fn page(typed: &str, draft: &[&str], chart: &[&str]) -> (Vec<String>, String) {
    let (_keep, folder) = crate::outside::folder();
    let path = |name: &str| folder.join(name).to_string_lossy().into_owned();
    let (text, log) = (path("song.txt"), path("song.json"));
    std::fs::write(&text, typed).expect("a file");
    printed(&[&["draft", &text, "-o", &log], draft].concat());
    let page = printed(&[&["chart", &log, "--format", "txt", "-o", "-"], chart].concat());
    let (_, boxes) = page.split_once("Shapes\n").expect("chord boxes");
    let shapes = boxes.lines().flat_map(str::split_whitespace);
    let is_shape = |w: &&str| w.len() > 3 && w.bytes().all(|b| b == b'x' || b.is_ascii_digit());
    (shapes.filter(is_shape).map(str::to_owned).collect(), page)
}

/// Common practice, no source: the open chords of G, A and C.
#[test]
fn open_shapes_stay_open_in_another_key_and_under_a_capo() {
    let in_g = "Key: G\n| G | D | Em | C |\n";
    let in_a = "Key: A\n| A | E | F#m | D |\n";
    let first = |typed: &str, options: &[&str]| page(typed, &[], options).0.join(" ");
    let g = "320003 xx0232 022000 x32010";
    assert_eq!(first(in_g, &[]), g);
    assert_eq!(first(in_a, &["--capo", "2"]), g);
    assert_eq!(first(in_a, &["--key", "G"]), g);
    let a = first(in_g, &["--key", "A"]);
    for open in ["x02220", "022100", "xx0232"] {
        assert!(a.contains(open), "{a}");
    }
    // what is held with a capo and heard so keeps its sound without one
    let c = page(in_g, &["--capo", "5"], &["--capo", "0"]).0.join(" ");
    assert!(c.contains("320003") && c.contains("x32010"), "{c}");
}

/// Common practice, no source: the small F until the barre comes, and Bm7 for Bm where the key
/// has that seventh; no thumb, no stretch.
#[test]
fn easy_shapes_are_easy_and_say_what_was_changed() {
    let typed = "Key: G\n| G | Bm | C | F |\n";
    let (shapes, page) = page(typed, &[], &["--easy"]);
    assert!(shapes.contains(&"xx3211".to_owned()), "{shapes:?}");
    assert!(
        page.contains("Bm7") && page.contains("Simplified: "),
        "{page}"
    );
    assert!(page.contains("F is played xx3211"), "{page}");
    let guitar = Instrument::default();
    for text in shapes {
        let shape = text.parse().unwrap_or_else(|e| panic!("{e}"));
        let hand = hold(&guitar, &shape).unwrap_or_else(|| panic!("{text}: no hand"));
        let thumb = hand.fingers.contains(&Some(Finger::Thumb));
        let wide = hand.barres.iter().any(|b| b.to - b.from > 1);
        assert!(!thumb && !wide && !hand.is_wide(), "{text}: {hand:?}");
    }
}

/// Common practice, no source: the first chords of a ukulele book, on a page.
#[test]
fn a_ukulele_chart_shows_the_shapes_of_its_books() {
    let typed = "Key: C\n| C | Am | F | G7 |\n";
    for (draft, chart) in [
        (&["--tuning", "ukulele"][..], &[][..]),
        (&[], &["--tuning", "ukulele"]),
    ] {
        let (shapes, _) = page(typed, draft, chart);
        assert_eq!(
            shapes.join(" "),
            "0003 2000 2010 0212",
            "{draft:?} {chart:?}"
        );
    }
    // in another key as well
    let (shapes, _) = page(
        "Key: D\n| D | Bm | G | A7 |\n",
        &["--tuning", "ukulele"],
        &["--key", "C"],
    );
    assert_eq!(shapes.join(" "), "0003 2000 2010 0212");
}

#[test]
fn boxes_of_the_left_hand_mirror_those_of_the_right() {
    let boxes = |side: &str| -> Vec<Vec<String>> {
        let text = printed(&["shapes", "D7", "--count", "2", side]);
        let rows = text.lines().filter(|l| l.contains('|'));
        rows.map(|l| l.split_whitespace().map(str::to_owned).collect())
            .collect()
    };
    let (right, left) = (boxes("--boxes"), boxes("--left-handed"));
    assert_eq!(right.len(), 8, "{right:?}");
    assert_ne!(right, left);
    for (right, left) in right.iter().zip(&left) {
        // the fret's number stays on the left
        assert_eq!(right[0], left[0]);
        let mirrored: Vec<&String> = right[1..].iter().rev().collect();
        assert_eq!(mirrored, left[1..].iter().collect::<Vec<_>>());
    }
}

/// Common practice, no source: B♭, E♭ and F behind a capo.
#[test]
fn a_capo_for_a_key_comes_with_the_usual_shapes() {
    let text = printed(&["shapes", "Bb", "Eb", "F", "--capo-for", "Bb"]);
    for (capo, shapes) in [
        ("capo 1", ["x02220", "xx0232", "022100"]),
        ("capo 3", ["320003", "x32010", "xx0232"]),
    ] {
        let (_, after) = text.split_once(capo).unwrap_or_else(|| panic!("{text}"));
        let found: Vec<&str> = after
            .lines()
            .skip(1)
            .take(3)
            .filter_map(|l| l.split_whitespace().nth(1))
            .collect();
        assert_eq!(found, shapes, "{text}");
    }
}

/// Common practice, no source: shells lie on three strings, and no note has two sharps where
/// one name is plainer.
#[test]
fn shells_are_three_notes_and_notes_are_plain() {
    for (chord, shell) in [("G7", "3x34xx"), ("Gm7", "3x33xx"), ("Gmaj7", "3x44xx")] {
        let text = printed(&["shapes", chord, "--use", "shell", "--count", "1"]);
        assert!(text.contains(shell), "{text}");
    }
    let text = printed(&["shapes", "E7#9", "--count", "1"]);
    assert!(
        text.contains("x7678x") && text.contains("E G♯ D G"),
        "{text}"
    );
}
