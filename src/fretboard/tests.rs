//! Shapes and tunings out and back.

use super::*;

#[test]
fn shapes_read_and_print() {
    for text in ["x02210", "x-10-12-12-11-10", "320003", "xx0232", "x79987"] {
        assert_eq!(text.parse::<Shape>().map(|s| s.text()), Ok(text.into()));
    }
    assert!("x02y10".parse::<Shape>().is_err());
    assert!("x-99-1-1-1-1".parse::<Shape>().is_err());
    assert!("".parse::<Shape>().is_err());
}

/// String and fret pitches of standard tuning: common practice, no source.
#[test]
fn standard_tuning_sounds_e2_to_e4() {
    let guitar = Instrument::default();
    let open: Shape = "000000".parse().unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(
        guitar.sounding(&open),
        [40, 45, 50, 55, 59, 64].map(Some).to_vec()
    );
    assert_eq!(
        "D2 A2 D3 G3 B3 E4".parse::<Tuning>().map(|t| t.text()),
        Ok("drop-d".into())
    );
    assert!("E2 A2".parse::<Tuning>().is_err());
}
