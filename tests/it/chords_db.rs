//! Naming and shapes against an open data set of guitar fingerings.
//!
//! Source: npm package @tombatossals/chords-db 0.5.1 (MIT), `lib/guitar.json`,
//! 2,069 fingerings under 63 suffixes; installed by tests/setup, never committed.

#![expect(
    clippy::print_stdout,
    reason = "figures and exceptions are for whoever runs the test"
)]

use std::collections::BTreeMap;
use takebook::fretboard::{
    Finger, Instrument, Limits, Shape, Wanted, distinct, hold, usual_first, voicings,
};
use takebook::theory::naming::{Context, names};
use takebook::theory::{Chord, PitchClass, PitchClassSet};

/// Share of fingerings whose chord must be among our first three names.
const NAMED: f64 = 0.97;
/// Share of fingerings with four fingers or fewer that `shapes` must find.
const FOUND: f64 = 0.95;

/// Share of common chords with one of the data set's shapes among our first three.
const COMMON: f64 = 0.98;

/// Shares of the chords of suffixes that the measure of ease was not fitted to:
/// our first shape, and one of our first three, is one of the data set's.
const FIRST: f64 = 0.62;
const OF_THREE: f64 = 0.88;

/// Share of fingerings of the common chords with the data set's fingers.
const FINGERS: f64 = 0.95;

struct Fingering {
    suffix: String,
    chord: Chord,
    title: String,
    shape: Shape,
    n_fingers: usize,
    /// Finger of each string as filed, 0 for none.
    fingers: Vec<i64>,
}

/// How the data set's suffixes are written as symbols. `alt` holds major
/// triads with a lowered fifth (47 of its 48 fingerings), `7sg` plain sevenths.
fn symbol(suffix: &str) -> String {
    match suffix {
        "major" => "",
        "minor" => "m",
        "69" => "6/9",
        "alt" => "(b5)",
        "7sg" => "7",
        "m69" => "m6/9",
        other => other,
    }
    .into()
}

fn fingerings() -> Vec<Fingering> {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
        .join(".venv/node/node_modules/@tombatossals/chords-db/lib/guitar.json");
    let text = std::fs::read_to_string(&path)
        .unwrap_or_else(|e| panic!("the chord data set is not installed ({e}): run tests/setup"));
    let data: serde_json::Value = serde_json::from_str(&text).expect("the data set is JSON");
    let mut list = Vec::new();
    for (key, chords) in data["chords"].as_object().expect("chords by key") {
        let root = key.replace("sharp", "#");
        for chord in chords.as_array().expect("a list of chords") {
            let suffix = chord["suffix"].as_str().expect("a suffix");
            let title = format!("{root} {suffix}");
            let parsed: Chord = format!("{root}{}", symbol(suffix))
                .parse()
                .unwrap_or_else(|e| panic!("{title}: {e}"));
            for position in chord["positions"].as_array().expect("positions") {
                let base = position["baseFret"].as_i64().expect("a base fret");
                let frets: Vec<Option<u8>> = position["frets"]
                    .as_array()
                    .expect("frets")
                    .iter()
                    .map(|f| match f.as_i64().expect("a fret") {
                        -1 => None,
                        0 => Some(0),
                        f => Some(u8::try_from(f + base - 1).expect("a fret on the neck")),
                    })
                    .collect();
                let fingers: std::collections::BTreeSet<i64> = position["fingers"]
                    .as_array()
                    .expect("fingers")
                    .iter()
                    .filter_map(serde_json::Value::as_i64)
                    .filter(|f| *f > 0)
                    .collect();
                list.push(Fingering {
                    suffix: suffix.into(),
                    chord: parsed.clone(),
                    title: title.clone(),
                    shape: Shape::new(frets).expect("a shape"),
                    n_fingers: fingers.len(),
                    fingers: position["fingers"]
                        .as_array()
                        .expect("fingers")
                        .iter()
                        .filter_map(serde_json::Value::as_i64)
                        .collect(),
                });
            }
        }
    }
    assert!(list.len() > 2000, "only {} fingerings", list.len());
    list
}

fn sounding(shape: &Shape) -> (PitchClassSet, PitchClass) {
    let midi: Vec<u8> = Instrument::default()
        .sounding(shape)
        .into_iter()
        .flatten()
        .collect();
    let pc = |m: &u8| PitchClass::new(i32::from(*m));
    (
        midi.iter().map(pc).collect(),
        pc(midi.iter().min().expect("a sounding string")),
    )
}

#[test]
fn the_data_sets_chord_is_among_the_first_three_names() {
    let all = fingerings();
    let mut first = 0;
    let mut exceptions: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let mut n_exceptions = 0;
    let (mut our_own, mut inverted) = (0, 0);
    for f in &all {
        let (set, bass) = sounding(&f.shape);
        let context = Context {
            bass: Some(bass),
            ..Context::default()
        };
        let found = names(set, context, 3);
        // root and quality (and a written bass) must agree; the data set writes
        // no bass where a fingering happens to be an inversion
        let written_bass = f.chord.bass.is_some();
        // the same notes on the same root over the same bass are listed once:
        // Amaj7/G♯ for its A/G♯
        let agrees = |chord: &Chord| {
            (chord.root.pitch_class() == f.chord.root.pitch_class()
                && chord.bass_pitch_class() == f.chord.bass_pitch_class()
                && chord.pitch_classes() == f.chord.pitch_classes())
                || chord.root.pitch_class() == f.chord.root.pitch_class()
                    && chord.quality == f.chord.quality
                    && chord.added.is_empty()
                    && chord.omitted.is_empty()
                    && (!written_bass || chord.bass_pitch_class() == f.chord.bass_pitch_class())
        };
        match found
            .iter()
            .position(|n| n.lower.is_none() && n.spellings().any(agrees))
        {
            Some(at) => first += usize::from(at == 0 && agrees(&found[0].chord)),
            None => {
                n_exceptions += 1;
                let ours: Vec<String> = found.iter().map(|n| n.text()).collect();
                let why = why_not(&f.chord, set, bass);
                let tones_agree = set == f.chord.pitch_classes();
                if why.is_empty() {
                    our_own += 1;
                } else if tones_agree {
                    inverted += 1;
                }
                let why = if why.is_empty() {
                    "it sounds all of the chord: our ranking".to_owned()
                } else {
                    format!("its fingering {}", why.join(", "))
                };
                exceptions.entry(f.title.clone()).or_default().push(format!(
                    "{}: we read {}; {why}",
                    f.shape,
                    ours.join(", ")
                ));
            }
        }
    }
    for (title, list) in &exceptions {
        for line in list {
            println!("{title}: {line}");
        }
    }
    let share = 1.0 - n_exceptions as f64 / all.len() as f64;
    println!(
        "{} fingerings: {:.2}% among the first three names, {:.2}% the first; {n_exceptions} exceptions, {} where its fingering lacks a tone of its chord or sounds another, {inverted} where only the bass is another, {our_own} by our ranking",
        all.len(),
        100.0 * share,
        100.0 * first as f64 / all.len() as f64,
        n_exceptions - our_own - inverted
    );
    assert!(
        share >= NAMED,
        "{share:.4} of the data set is named, {NAMED} expected"
    );
}

/// How a fingering departs from the chord it is filed under, computed from what
/// it sounds; empty if it sounds every tone, no other, over the right bass.
fn why_not(chord: &Chord, set: PitchClassSet, bass: PitchClass) -> Vec<String> {
    let root = chord.root.pitch_class();
    let names = |degrees: Vec<takebook::theory::Degree>| -> String {
        let list: Vec<String> = degrees.iter().map(|d| d.text()).collect();
        list.join(" and ")
    };
    let mut why = Vec::new();
    let silent: Vec<_> = chord
        .degrees()
        .into_iter()
        .filter(|d| !set.contains(d.over(root)))
        .collect();
    if !set.contains(root) {
        why.push(format!("lacks the root {}", chord.root.text()));
    }
    let silent: Vec<_> = silent.into_iter().filter(|d| d.number() != 1).collect();
    if !silent.is_empty() {
        why.push(format!("lacks the {}", names(silent)));
    }
    let foreign = set.without(chord.pitch_classes());
    if !foreign.is_empty() {
        let semitones: Vec<String> = foreign.iter().map(|p| p.above(root).to_string()).collect();
        why.push(format!(
            "sounds what the chord has not ({} semitones over its root)",
            semitones.join(" and ")
        ));
    }
    if bass != chord.bass_pitch_class() {
        why.push(format!(
            "has its lowest note {} semitones over its root",
            bass.above(root)
        ));
    }
    why
}

#[test]
fn the_data_sets_fingerings_are_found() {
    let guitar = Instrument::default();
    let limits = Limits {
        highest_fret: 22,
        ..Limits::default()
    };
    let mut by_chord: BTreeMap<String, Vec<&Fingering>> = BTreeMap::new();
    let all = fingerings();
    for f in all.iter().filter(|f| f.n_fingers <= 4) {
        by_chord.entry(f.title.clone()).or_default().push(f);
    }
    let (mut n, mut found, mut unnamed) = (0, 0, 0);
    for (title, list) in &by_chord {
        let ours = voicings(&guitar, Wanted::chord(&list[0].chord), &limits);
        for f in list {
            n += 1;
            if ours.iter().any(|v| v.shape == f.shape) {
                found += 1;
                continue;
            }
            let (set, bass) = sounding(&f.shape);
            let chord = &f.chord;
            let why = if bass != chord.bass_pitch_class() {
                unnamed += 1;
                // an inversion is found when it is asked for
                let exact = voicings(&guitar, Wanted::exactly(set, Some(bass)), &limits);
                if exact.iter().any(|v| v.shape == f.shape) {
                    found += 1;
                    continue;
                }
                "another bass"
            } else if set.0 & !chord.pitch_classes().0 != 0 {
                "sounds a tone the chord lacks"
            } else if hold(&guitar, &f.shape).is_none() {
                "not held by our hand"
            } else {
                "leaves out a tone of the chord, or beyond the limits"
            };
            println!("{title}: {} not found: {why}", f.shape);
        }
    }
    let share = f64::from(found) / f64::from(n);
    println!(
        "{n} fingerings of four fingers or fewer: {:.2}% found ({unnamed} of them inversions, looked for with their own bass)",
        100.0 * share
    );
    assert!(share >= FOUND, "{share:.4} found, {FOUND} expected");
}

#[test]
fn one_of_our_first_three_shapes_is_in_the_data_set() {
    let guitar = Instrument::default();
    let all = fingerings();
    let common = ["major", "minor", "7", "maj7", "m7", "sus4", "sus2"];
    let mut missing = Vec::new();
    let mut n = 0;
    for root in [
        "C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B",
    ] {
        for suffix in common {
            let title = format!("{root} {suffix}");
            let theirs: Vec<&Fingering> = all.iter().filter(|f| f.title == title).collect();
            assert!(!theirs.is_empty(), "{title} is not in the data set");
            let found = voicings(&guitar, Wanted::chord(&theirs[0].chord), &Limits::default());
            let found = usual_first(&guitar, &theirs[0].chord, found);
            let ours: Vec<Shape> = distinct(&found, 3)
                .into_iter()
                .map(|v| v.shape.clone())
                .collect();
            n += 1;
            // theirs, or ours sounds theirs from its lowest root up
            let root_lowest = |t: &Shape| -> Shape {
                let mut frets = t.frets().to_vec();
                for (s, f) in frets.iter_mut().enumerate() {
                    let pc = f
                        .and_then(|f| guitar.midi(s, f))
                        .map(|m| PitchClass::new(m.into()));
                    if pc == Some(theirs[0].chord.root.pitch_class()) {
                        break;
                    }
                    *f = None;
                }
                Shape::new(frets).expect("a shape")
            };
            let holds = |part: &Shape| {
                ours.iter().any(|o| {
                    let pairs = part.frets().iter().zip(o.frets());
                    pairs.into_iter().all(|(p, o)| p.is_none() || p == o)
                })
            };
            if !theirs
                .iter()
                .any(|t| ours.contains(&t.shape) || holds(&root_lowest(&t.shape)))
            {
                let list =
                    |s: Vec<&Shape>| s.iter().map(|s| s.text()).collect::<Vec<_>>().join(" ");
                missing.push(format!(
                    "{title}: ours {}, theirs {}",
                    list(ours.iter().collect()),
                    list(theirs.iter().map(|t| &t.shape).collect())
                ));
            }
        }
    }
    println!("{} of {n} common chords", n - missing.len());
    println!("not among them: {}", missing.join("; "));
    let share = 1.0 - missing.len() as f64 / n as f64;
    assert!(share >= COMMON, "{share:.4}, {COMMON} expected");
}

/// A fingering, and what is left of it from its written bass up if that is four strings or more:
/// the data set writes inversions without their bass.
fn as_filed(f: &Fingering) -> Vec<Shape> {
    let guitar = Instrument::default();
    let bass = f.chord.bass_pitch_class();
    let mut frets = f.shape.frets().to_vec();
    for (s, fret) in frets.iter_mut().enumerate() {
        let midi = fret.and_then(|fret| guitar.midi(s, fret));
        if midi.is_some_and(|m| PitchClass::new(m.into()) == bass) {
            break;
        }
        *fret = None;
    }
    let mut all = vec![f.shape.clone()];
    if frets.iter().flatten().count() >= 4 {
        all.extend(Shape::new(frets));
    }
    all
}

/// The measure of ease was fitted to every second suffix of the data set, in
/// order of the alphabet; the others say whether it carries over.
#[test]
fn usual_shapes_come_first_for_chords_it_was_not_fitted_to() {
    let guitar = Instrument::default();
    let all = fingerings();
    let mut by_chord: BTreeMap<&str, Vec<&Fingering>> = BTreeMap::new();
    for f in &all {
        by_chord.entry(&f.title).or_default().push(f);
    }
    let suffixes: std::collections::BTreeSet<&str> =
        all.iter().map(|f| f.suffix.as_str()).collect();
    let fitted: Vec<&str> = suffixes.into_iter().step_by(2).collect();
    // chords, first, of three; fitted to and not
    let mut counts = [[0usize; 3]; 2];
    for (title, theirs) in &by_chord {
        let found = voicings(&guitar, Wanted::chord(&theirs[0].chord), &Limits::default());
        let filed: Vec<Shape> = theirs.iter().flat_map(|f| as_filed(f)).collect();
        // chords that they only play otherwise than they call them say nothing
        if !found.iter().any(|v| filed.contains(&v.shape)) {
            continue;
        }
        let ours = distinct(&found, 3);
        let usual: Vec<bool> = ours.iter().map(|v| filed.contains(&v.shape)).collect();
        let count = &mut counts[usize::from(!fitted.contains(&theirs[0].suffix.as_str()))];
        count[0] += 1;
        count[1] += usize::from(usual[0]);
        count[2] += usize::from(usual.contains(&true));
        if !usual.contains(&true) {
            let ours: Vec<String> = ours.iter().map(|v| v.shape.text()).collect();
            let filed: Vec<String> = filed.iter().map(Shape::text).collect();
            println!(
                "{title}: ours {}, theirs {}",
                ours.join(" "),
                filed.join(" ")
            );
        }
    }
    for (what, [n, first, three]) in ["fitted to", "not fitted to"].into_iter().zip(counts) {
        let share = |k: usize| 100.0 * k as f64 / n as f64;
        println!(
            "{n} chords of suffixes {what}: {:.1}% with their shape first, {:.1}% among the first three",
            share(first),
            share(three)
        );
    }
    let [n, first, three] = counts[1].map(|k| k as f64);
    assert!(n > 200.0, "only {n} chords");
    assert!(
        first / n >= FIRST,
        "{:.4} first, {FIRST} expected",
        first / n
    );
    assert!(
        three / n >= OF_THREE,
        "{:.4} of three, {OF_THREE} expected",
        three / n
    );
}

/// Fingers agree where the same shape is filed with as many fingers as ours takes.
#[test]
fn fingers_agree_where_shapes_coincide() {
    let guitar = Instrument::default();
    let (mut n, mut agree, mut n_broken) = (0, 0, 0);
    let mut differs: BTreeMap<String, usize> = BTreeMap::new();
    for f in fingerings() {
        let common = ["major", "minor", "7", "maj7", "m7", "sus4", "sus2"];
        let Some(hand) = hold(&guitar, &f.shape).filter(|_| common.contains(&f.suffix.as_str()))
        else {
            continue;
        };
        let ours: Vec<i64> = hand
            .fingers
            .iter()
            .map(|f| match f {
                Some(Finger::Number(n)) => i64::from(*n),
                _ => 0,
            })
            .collect();
        // a fingering of the data set that leaves a pressed string without a finger is none
        let frets = f.shape.frets().iter().zip(&f.fingers);
        if frets
            .into_iter()
            .any(|(fret, finger)| fret.is_some_and(|f| f > 0) && *finger == 0)
        {
            println!(
                "{}: no finger on a pressed string, {:?}",
                f.shape, f.fingers
            );
            n_broken += 1;
            continue;
        }
        n += 1;
        if ours == f.fingers {
            agree += 1;
        } else {
            *differs
                .entry(format!("{} ours {ours:?}, theirs {:?}", f.shape, f.fingers))
                .or_default() += 1;
        }
    }
    for line in differs.keys() {
        println!("{line}");
    }
    println!("fingers: {agree} of {n} agree; {n_broken} without a finger on a pressed string");
    assert!(n_broken < 10, "{n_broken} broken fingerings");
    assert!(
        n > 300 && f64::from(agree) / f64::from(n) >= FINGERS,
        "{agree} of {n}"
    );
}
