use super::*;

/// What is heard of a shape that is strummed: its pitches this surely, the others hardly; a
/// string that is named (from the lowest, 0) this surely instead.
fn heard_of(shape: &str, sure: f32, unlike: Option<(usize, f32)>) -> Pitches {
    let shape: Shape = shape.parse().unwrap_or_else(|e| panic!("{e}"));
    let mut heard = [0.03; N_PITCHES];
    for (string, midi) in Instrument::default().sounding(&shape).iter().enumerate() {
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
