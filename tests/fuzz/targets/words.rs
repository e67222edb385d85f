//! Any text as a chord, label, key, shape, tuning, note or meter.
#![no_main]

use libfuzzer_sys::fuzz_target;
use takebook::fretboard::{Instrument, Played, Shape, Tuning, hold};
use takebook::theory::{Chord, Degree, Key, Label, Spelled};

fuzz_target!(|text: &str| {
    if let Ok(label) = text.parse::<Label>() {
        let again: Label = label
            .label()
            .parse()
            .unwrap_or_else(|e| panic!("'{text}' as '{}': {e}", label.label()));
        assert_eq!(again.label(), label.label(), "'{text}'");
        let symbol: Label = label
            .symbol()
            .parse()
            .unwrap_or_else(|e| panic!("'{text}' as '{}': {e}", label.symbol()));
        if let (Some(a), Some(b)) = (label.chord(), symbol.chord()) {
            assert_eq!(
                a.pitch_classes(),
                b.pitch_classes(),
                "'{text}': {label:?} {symbol:?}"
            );
        }
    }
    if let Ok(chord) = text.parse::<Chord>() {
        assert!(!chord.pitch_classes().is_empty(), "'{text}'");
    }
    if let Ok(key) = text.parse::<Key>() {
        assert_eq!(key.label().parse::<Key>().ok(), Some(key), "'{text}'");
        let _ = key.text();
    }
    let _ = text.parse::<Degree>();
    let _ = text.parse::<Spelled>();
    if let Ok(shape) = text.parse::<Shape>() {
        assert_eq!(
            shape.text().parse::<Shape>().ok().as_ref(),
            Some(&shape),
            "'{text}'"
        );
        let guitar = Instrument::default();
        if shape.frets().len() == guitar.tuning.n_strings() {
            let _ = hold(&guitar, &shape);
            let _ = guitar.sounding(&shape);
            let _ = Played::of_shape(&guitar, shape);
        }
    }
    if let Ok(tuning) = text.parse::<Tuning>() {
        let _ = tuning
            .text()
            .parse::<Tuning>()
            .expect("a tuning says itself");
    }
    let _ = takebook::songlog::read_meter(text);
});
