//! Naming against a general music library and against facts of the trade.

#![expect(
    clippy::print_stdout,
    reason = "figures and exceptions are for whoever runs the test"
)]

use crate::outside;
use std::process::Command;
use takebook::fretboard::{Instrument, Sameness, Typed, compare, moving_note, read_played};
use takebook::theory::naming::{Context, Name, names};
use takebook::theory::{Chord, Key, PitchClass, PitchClassSet, Quality};

/// Chord kinds of music21 10.5.1 (PyPI, BSD) that our vocabulary knows, and our rows.
const KINDS: [(&str, &str); 35] = [
    ("major", "maj"),
    ("minor", "min"),
    ("augmented", "aug"),
    ("diminished", "dim"),
    ("dominant-seventh", "7"),
    ("major-seventh", "maj7"),
    ("minor-major-seventh", "minmaj7"),
    ("minor-seventh", "min7"),
    ("augmented-major-seventh", "maj7(*5,#5)"),
    ("augmented-seventh", "aug(b7)"),
    ("half-diminished-seventh", "hdim7"),
    ("diminished-seventh", "dim7"),
    ("seventh-flat-five", "7(*5,b5)"),
    ("major-sixth", "maj6"),
    ("minor-sixth", "min6"),
    ("major-ninth", "maj9"),
    ("dominant-ninth", "9"),
    ("minor-major-ninth", "minmaj7(9)"),
    ("minor-ninth", "min9"),
    ("augmented-major-ninth", "maj9(*5,#5)"),
    ("augmented-dominant-ninth", "9(*5,#5)"),
    ("half-diminished-ninth", "hdim7(9)"),
    ("diminished-ninth", "dim7(9)"),
    ("dominant-11th", "11"),
    ("major-11th", "maj11"),
    ("minor-major-11th", "minmaj7(9,11)"),
    ("minor-11th", "min11"),
    ("dominant-13th", "13"),
    ("major-13th", "maj13"),
    ("minor-13th", "min13"),
    ("suspended-second", "sus2"),
    ("suspended-fourth", "sus4"),
    ("suspended-fourth-seventh", "sus4(b7)"),
    ("power", "5"),
    ("pedal", "1"),
];

/// Kinds whose tones differ on purpose. Players leave the eleventh out of a
/// thirteenth chord (common practice, no source); music21 stacks all thirds.
const STACKED: [&str; 3] = ["dominant-13th", "major-13th", "minor-13th"];

fn music21() -> Vec<serde_json::Value> {
    let kinds: Vec<&str> = KINDS.iter().map(|(k, _)| *k).collect();
    let output = outside::python("music21_chords.py", &[&kinds.join(",")]);
    serde_json::from_slice(&output.stdout).expect("JSON")
}

#[test]
fn roots_basses_and_tones_agree_with_music21() {
    let theirs = music21();
    assert!(theirs.len() > 12 * 35, "only {} chords", theirs.len());
    let number = |v: &serde_json::Value| v.as_i64().expect("a number") as i32;
    let (mut differs, mut unnamed) = (Vec::new(), Vec::new());
    for chord in &theirs {
        let kind = chord["kind"].as_str().expect("a kind");
        let harte = KINDS.iter().find(|(k, _)| *k == kind).expect("a kind").1;
        let row = Quality::by_harte(harte).unwrap_or_else(|| panic!("no row {harte}"));
        let root = PitchClass::new(number(&chord["root"]));
        let bass = PitchClass::new(number(&chord["bass"]));
        let set: PitchClassSet = chord["pitch_classes"]
            .as_array()
            .expect("a list")
            .iter()
            .map(|p| PitchClass::new(number(p)))
            .collect();
        let spelled = Key::usual(root, takebook::theory::Mode::Major).tonic;
        let mut ours = Chord::new(spelled, row);
        let eleventh = STACKED.contains(&kind) && bass == root.up(5);
        if let Some(degree) = row.degrees.iter().find(|d| d.over(root) == bass).copied() {
            ours = ours.over(degree);
        } else if !eleventh {
            differs.push(format!("{kind} on {root:?} over {bass:?}: no such tone"));
        }
        let mut own = ours.pitch_classes();
        if STACKED.contains(&kind) {
            own = own.with(root.up(5));
        }
        if own != set || (!eleventh && ours.bass_pitch_class() != bass) {
            differs.push(format!("{}: {set:?}, ours {own:?}", ours.symbol()));
        }
        let context = Context {
            bass: Some(bass),
            ..Context::default()
        };
        let found = names(set, context, 3);
        if root == bass
            && !found
                .iter()
                .any(|n| n.chord.root.pitch_class() == root && n.chord.quality == row)
        {
            let texts: Vec<String> = found.iter().map(Name::text).collect();
            unnamed.push(format!("{kind} on {root:?}: {texts:?}"));
        }
    }
    println!(
        "{} chords of {} kinds agree, inversions included; on purpose: {STACKED:?} with the eleventh that ours leave out",
        theirs.len(),
        KINDS.len()
    );
    assert!(differs.is_empty(), "{}", differs.join("\n"));
    assert!(unnamed.is_empty(), "not named:\n{}", unnamed.join("\n"));
}

/// Spellings of music21's table that are no chord symbols of a lead sheet: names from
/// the analysis of classical music, and words for what has a sign. `m#7` is refused,
/// since it may be meant for another chord; a ninth on `dim` is added to the triad.
const NOT_ON_LEAD_SHEETS: [&str; 14] = [
    "N6", "It+6", "It", "Fr+6", "Fr", "Gr+6", "Ger", "pedal", "power", "tristan", "dom7dim5",
    "m#7", "ob9", "dimb9",
];

/// Source: `music21.harmony.CHORD_TYPES` of music21 10.5.1 (PyPI, BSD).
#[test]
fn spellings_of_music21_are_read_with_its_degrees() {
    let output = outside::python("music21_spellings.py", &[]);
    let table: Vec<serde_json::Value> = serde_json::from_slice(&output.stdout).expect("JSON");
    let (mut n, mut left, mut differs) = (0, Vec::new(), Vec::new());
    for row in &table {
        let spelling = row["spelling"].as_str().expect("a spelling");
        if NOT_ON_LEAD_SHEETS.contains(&spelling) {
            left.push(spelling);
            continue;
        }
        n += 1;
        let text = format!("C{spelling}");
        let degrees = row["degrees"].as_array().expect("degrees").iter();
        let mut theirs: Vec<String> = degrees
            .map(|d| {
                d.as_str()
                    .expect("a degree")
                    .replace('-', "♭")
                    .replace('#', "♯")
            })
            .collect();
        // players leave the eleventh out of a thirteenth
        if theirs.last().is_some_and(|d| d == "13") {
            theirs.retain(|d| d != "11");
        }
        let ours: Vec<String> = match text.parse::<Chord>() {
            Ok(chord) => chord.degrees().iter().map(|d| d.text()).collect(),
            Err(error) => vec![error.to_string()],
        };
        if ours != theirs {
            differs.push(format!("{text}: {ours:?}, music21 {theirs:?}"));
        }
    }
    println!("{n} spellings agree; not on lead sheets: {left:?}");
    assert!(
        n > 75 && left.len() == NOT_ON_LEAD_SHEETS.len(),
        "{n}, {left:?}"
    );
    assert!(differs.is_empty(), "{}", differs.join("\n"));
}

fn first_name(text: &str) -> Name {
    let guitar = Instrument::default();
    let played = read_played(text, &guitar, Typed::Strings).unwrap_or_else(|e| panic!("{e}"));
    let context = Context {
        bass: played.bass(),
        ..Context::default()
    };
    names(played.pitch_classes(), context, 1).remove(0)
}

/// All of these: common practice, no source.
#[test]
fn facts_of_the_trade() {
    let check = |shape: &str, name: &str| assert_eq!(first_name(shape).text(), name, "{shape}");
    // an A-minor-shaped barre at fret 7
    check("x79987", "Em");
    check("2x0232", "D/F♯");
    check("220003", "Gmaj7/F♯");
    check("x02230", "Asus4");
    // a root with only its lowered fifth is named from the bass
    check("A4 B2 e3", "C♯(♭5,no3)");
    // in the A-minor shape the D and B strings sound fifth and minor third, in
    // the A-major shape fifth and major third
    let tones = |shape: &str| -> Vec<String> {
        let guitar = Instrument::default();
        let played = read_played(shape, &guitar, Typed::Strings).unwrap_or_else(|e| panic!("{e}"));
        let name = first_name(shape);
        [2, 4]
            .iter()
            .map(|s| {
                let tone = played.tones.iter().find(|t| t.string == Some(*s));
                let pc = tone
                    .unwrap_or_else(|| panic!("string {s} sounds"))
                    .pitch_class;
                name.degree_of(pc).ascii()
            })
            .collect()
    };
    assert_eq!(tones("x79987"), ["5", "b3"]);
    assert_eq!(tones("x79997"), ["5", "3"]);
    // on an open A chord the B string at fret 4 sounds the lowered fifth
    assert_eq!(tones("x02240")[1], "b5");
}

#[test]
fn two_fingerings_are_compared() {
    let guitar = Instrument::default();
    let seen = |a: &str, b: &str| {
        let read =
            |t: &str| read_played(t, &guitar, Typed::Strings).unwrap_or_else(|e| panic!("{e}"));
        compare(&read(a), &read(b), None).unwrap_or_else(|| panic!("both sound"))
    };
    // the second adds the perfect fifth: common practice, no source
    let different = seen("A4 B2 e3", "A4 D6 B8");
    assert_eq!(different.sameness, Sameness::Different);
    assert_eq!(different.only_second, [PitchClass::new(8)]);
    assert_eq!(seen("x32010", "x32010").sameness, Sameness::SameNotes);
    assert_eq!(
        seen("x32010", "x35553").sameness,
        Sameness::SamePitchClasses
    );
    assert_eq!(seen("x32010", "032010").sameness, Sameness::OtherBass);
    assert_eq!(seen("x35353", "x3231x").sameness, Sameness::SameName);
}

#[test]
fn a_moving_note_over_a_held_chord_is_told() {
    let guitar = Instrument::default();
    let row: Vec<_> = ["x02220", "x02230", "x02200"]
        .iter()
        .map(|t| read_played(t, &guitar, Typed::Strings).unwrap_or_else(|e| panic!("{e}")))
        .collect();
    let moving = moving_note(&row, None).unwrap_or_else(|| panic!("one string moves"));
    assert_eq!(moving.string, 4);
    let texts: Vec<String> = moving.names.iter().map(Name::text).collect();
    assert_eq!(texts, ["A", "Asus4", "Asus2"]);
}

#[test]
fn names_ignore_order_and_octave_above_the_bass() {
    let guitar = Instrument::default();
    let set_of = |t: &str| {
        let p = read_played(t, &guitar, Typed::Notes).unwrap_or_else(|e| panic!("{e}"));
        (p.pitch_classes(), p.bass())
    };
    for notes in [
        ["C3 E3 G3 B3", "C3 B3 G4 E5", "C2 G3 E4 B5"],
        ["A2 C4 E4 F#4", "A2 F#3 E4 C5", "A1 E3 C4 F#5"],
    ] {
        let found: Vec<_> = notes
            .iter()
            .map(|n| {
                let (set, bass) = set_of(n);
                let context = Context {
                    bass,
                    ..Context::default()
                };
                names(set, context, 4)
            })
            .collect();
        assert!(found.windows(2).all(|w| w[0] == w[1]), "{notes:?}");
    }
}

fn run(args: &[&str]) -> (Option<i32>, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_takebook"))
        .args(args)
        .output()
        .expect("takebook starts");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (
        output.status.code(),
        text(&output.stdout),
        text(&output.stderr),
    )
}

#[test]
fn bad_input_is_told_with_the_part_and_the_way_out() {
    for (args, part) in [
        (&["name", "x-30-1-1-1-1"][..], "fret 30"),
        (&["name", "0022"], "names 4 strings"),
        (&["name", "A6 Q4"], "'Q' is not a string"),
        (&["name", "A6 A7", "--strings"], "A twice"),
        (&["name", "xxxxxx"], "no string sounds"),
        (&["name", "x02210", "--tuning", "E2 A2"], "4 to 8"),
        (&["name", "x02210", "--key", "H"], "not a key"),
        (&["name", "x02210", "--capo", "20"], "capo"),
        (&["imply", ""], "empty"),
        (&["imply", "|"], "only bar lines"),
        (&["imply", "A2 D2 G2 B2"], "one to three"),
        (&["imply", "D9 B8 / Q"], "Q"),
        (&["shapes", "Cfoo"], "foo"),
        (&["shapes", "C", "--frets", "9-5"], "above the highest"),
        (&["shapes", "C", "--frets", "5"], "LOWEST-HIGHEST"),
        (&["shapes", "C", "--frets", "5-40"], "beyond the neck"),
        (&["shapes", "C", "--leave-out", "E", "--with", "E"], "both"),
        (&["shapes", "C", "--leave-out", "Q"], "not a string"),
        (&["shapes", "C", "G", "--top-line", "E"], "one each"),
        (&["shapes", "C", "--walk"], "two chords"),
    ] {
        let (code, out, err) = run(args);
        assert_eq!(code, Some(2), "{args:?}: {out}{err}");
        assert!(out.is_empty(), "{args:?}: {out}");
        assert!(err.contains(part), "{args:?}: {err}");
    }
    // enharmonic oddities are notes like others
    for odd in ["E# C", "Cbb E", "B# Fb"] {
        let (code, out, err) = run(&["name", odd]);
        assert_eq!(code, Some(0), "{odd}: {out}{err}");
    }
}

#[test]
fn the_command_compares_and_writes_json() {
    let (code, out, _) = run(&["name", "A4 B2 e3", "A4 D6 B8"]);
    assert_eq!(code, Some(1));
    assert!(out.contains("not the same chord"), "{out}");
    assert!(out.lines().all(|l| l.chars().count() <= 80), "{out}");
    let (code, out, _) = run(&[
        "name", "A7", "D9", "G9", "B8", "e7", "--json", "--key", "Em",
    ]);
    assert_eq!(code, Some(0));
    let value: serde_json::Value = serde_json::from_str(&out).expect("JSON");
    assert_eq!(value["schema"], "takebook-name-1");
    assert_eq!(value["items"][0]["shape"], "x79987");
    assert_eq!(value["items"][0]["names"][0]["label"], "E:min");
    // never A♯ in F major
    let (_, out, _) = run(&["name", "A# D F", "--key", "F"]);
    assert!(out.contains("1. B♭"), "{out}");
}

/// Draft 2020-12 of JSON Schema, by the Python package jsonschema 4.26.0.
#[test]
fn json_follows_its_schema() {
    let (_keep, folder) = outside::folder();
    let calls: [&[&str]; 11] = [
        &["name", "x79987", "--key", "Em"],
        &["name", "Eb A"],
        &["name", "C3 E3 G3 D4 F#4 A4", "--notes"],
        &["name", "A4 B2 e3", "A4 D6 B8"],
        &["name", "x02220", "x02230", "x02200"],
        &["imply", "D9 B8", "D7 B7"],
        &["imply", "--key", "C", "C4 E4 / A", "--notes"],
        &["shapes", "Bm7b5", "--capo", "2"],
        &["shapes", "G", "D", "Em", "C", "--key", "G"],
        &["shapes", "G", "Em", "--walk"],
        &["shapes", "--capo-for", "Bb", "Bb", "Eb"],
    ];
    let mut paths = vec![
        outside::root()
            .join("docs/naming.schema.json")
            .to_string_lossy()
            .into_owned(),
    ];
    for (i, call) in calls.iter().enumerate() {
        let mut args = call.to_vec();
        args.push("--json");
        let (code, out, err) = run(&args);
        assert!(matches!(code, Some(0 | 1)), "{call:?}: {err}");
        let path = folder.join(format!("{i}.json"));
        std::fs::write(&path, out).expect("a file");
        paths.push(path.to_string_lossy().into_owned());
    }
    let paths: Vec<&str> = paths.iter().map(String::as_str).collect();
    let output = outside::python("validate_naming.py", &paths);
    println!("{}", String::from_utf8_lossy(&output.stdout).trim());
}

#[test]
fn typed_accidentals_are_kept_without_a_key() {
    for (notes, name, other) in [("Eb A", "E♭(♭5,no3)", "D♯"), ("D# A", "D♯(♭5,no3)", "E♭")]
    {
        let (_, out, _) = run(&["name", notes]);
        assert!(out.contains(&format!("1. {name}")), "{out}");
        let heading = out.lines().take(3).collect::<String>();
        assert!(!heading.contains(other), "{out}");
    }
    for (notes, name) in [
        ("Ab C Eb", "A♭"),
        ("G# B# D#", "G♯"),
        ("Gb Bb Db", "G♭"),
        ("F# A# C#", "F♯"),
    ] {
        let (_, out, _) = run(&["name", notes]);
        assert!(out.contains(&format!("1. {name} ")), "{out}");
    }
}
