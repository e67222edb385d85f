use super::*;

/// What is heard of a shape that is strummed: its pitches this surely, the others hardly; a
/// string that is named (from the lowest, 0) this surely instead.
fn heard_of(shape: &str, sure: f32, unlike: Option<(usize, f32)>) -> Pitches {
    heard_on(&Instrument::default(), shape, sure, unlike)
}

/// As [`heard_of`], on an instrument.
fn heard_on(
    instrument: &Instrument,
    shape: &str,
    sure: f32,
    unlike: Option<(usize, f32)>,
) -> Pitches {
    let shape: Shape = shape.parse().unwrap_or_else(|e| panic!("{e}"));
    let mut heard = [0.03; N_PITCHES];
    for (string, midi) in instrument.sounding(&shape).iter().enumerate() {
        if let Some(midi) = midi {
            let of_string = unlike.filter(|(s, _)| *s == string).map_or(sure, |u| u.1);
            heard[usize::from(midi - LOWEST_MIDI)] = of_string;
        }
    }
    Pitches {
        heard,
        ringing: [0.0; N_PITCHES],
        together: 1.0,
    }
}

/// The shapes told for spans of one chord, four seconds each.
fn told(chord: &str, spans: &[Pitches]) -> Vec<String> {
    let label = Label::Chord(chord.parse().unwrap_or_else(|e| panic!("{e}")));
    let spans: Vec<Heard<'_>> = spans
        .iter()
        .map(|pitches| Heard {
            label: &label,
            pitches: *pitches,
            seconds: 4.0,
        })
        .collect();
    fit_shapes(&Instrument::default(), &spans, &FitWeights::default())
        .iter()
        .map(|shapes| shapes[0].0.text())
        .collect()
}

/// The open G and its barre at the third fret (common practice, no source).
const OPEN: &str = "320003";
const BARRE: &str = "355433";

#[test]
fn a_chord_played_in_two_places_has_two_shapes() {
    let [open, barre] = [OPEN, BARRE].map(|shape| heard_of(shape, 0.95, None));
    let shapes = told("G", &[open, open, barre, open, barre]);
    assert_eq!(shapes, [OPEN, OPEN, BARRE, OPEN, BARRE]);
}

#[test]
fn a_string_heard_badly_once_does_not_change_the_shape() {
    let clear = heard_of(OPEN, 0.95, None);
    let faint = heard_of(OPEN, 0.95, Some((1, 0.1)));
    assert_ne!(told("G", &[faint]), [OPEN], "alone it would be another");
    let shapes = told("G", &[clear, faint, clear, clear]);
    assert_eq!(shapes, [OPEN; 4]);
}

#[test]
fn what_is_heard_of_two_places_at_once_stays_one_shape() {
    // every span says as much for either: nothing sets them apart
    let both = |share: f32| {
        let (open, barre) = (heard_of(OPEN, 0.95, None), heard_of(BARRE, 0.95, None));
        let mix = |p: usize| share * open.heard[p] + (1.0 - share) * barre.heard[p];
        Pitches {
            heard: std::array::from_fn(mix),
            ..open
        }
    };
    let shapes = told("G", &[both(0.52), both(0.48), both(0.5), both(0.51)]);
    assert!(shapes.iter().all(|s| *s == shapes[0]), "{shapes:?}");
}

/// The tuning and capo suggested by shapes that are strummed on an instrument, four seconds each;
/// the chords are named as they sound.
fn suggested_by(instrument: &Instrument, played: &[(&str, &str)]) -> Option<(String, u8)> {
    let chord = |text: &str| -> Label { text.parse().unwrap_or_else(|e| panic!("{e}")) };
    let chords: Vec<Label> = played.iter().map(|(label, _)| chord(label)).collect();
    let spans: Vec<Heard<'_>> = played
        .iter()
        .zip(&chords)
        .map(|((_, shape), label)| Heard {
            label,
            pitches: heard_on(instrument, shape, 0.95, None),
            seconds: 4.0,
        })
        .collect();
    let found = capo::suggested(&spans, &FitWeights::default())?;
    Some((found.tuning.text(), found.capo))
}

/// Open chords of a beginner's book (common practice, no source), as the labels they sound with
/// a capo at the third fret, half a step down and in standard tuning.
#[test]
fn open_shapes_behind_a_capo_and_on_a_lowered_guitar_are_known_again() {
    let usual = Instrument::default();
    let capo = Instrument {
        capo: 3,
        ..usual.clone()
    };
    let down = Instrument {
        tuning: "half a step down".parse().unwrap_or_else(|e| panic!("{e}")),
        ..usual.clone()
    };
    let shapes = ["320003", "x32010", "xx0232", "022000"];
    let as_sounding = |labels: [&'static str; 4]| -> Vec<(&str, &str)> {
        labels.into_iter().zip(shapes).collect()
    };
    let behind = as_sounding(["Bb:maj", "Eb:maj", "F:maj", "G:min"]);
    assert_eq!(suggested_by(&capo, &behind), Some(("standard".into(), 3)));
    let lower = as_sounding(["Gb:maj", "B:maj", "Db:maj", "Eb:min"]);
    let half_down = Some(("half a step down".into(), 0));
    assert_eq!(suggested_by(&down, &lower), half_down);
    let open = as_sounding(["G:maj", "C:maj", "D:maj", "E:min"]);
    assert_eq!(suggested_by(&usual, &open), None);
}

#[test]
fn barre_chords_and_a_lower_string_suggest_no_capo() {
    let usual = Instrument::default();
    let barres = [
        ("Bb:maj", "x13331"),
        ("Eb:maj", "x68886"),
        ("F:maj", "133211"),
        ("G:min", "355333"),
    ];
    assert_eq!(suggested_by(&usual, &barres), None);
    let drop = Instrument {
        tuning: "drop D".parse().unwrap_or_else(|e| panic!("{e}")),
        ..usual
    };
    let low = [
        ("D:maj", "000232"),
        ("G:maj", "520033"),
        ("A:maj", "x02220"),
        ("B:min", "x24432"),
    ];
    assert_eq!(suggested_by(&drop, &low), Some(("drop D".into(), 0)));
}
