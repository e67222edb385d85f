//! Chord boxes of signs, as they are drawn on paper, for either hand.

use crate::cli::CliError;
use crate::fretboard::{Finger, Voicing};
use std::io::Write;

/// Fewest frets shown.
const LEAST_FRETS: u8 = 4;

/// Draws a box: the lowest string left, for a left-handed player right. Pressed
/// strings show the finger, `o` and `x` above stand for open and muted ones.
pub(super) fn write_box(
    out: &mut dyn Write,
    v: &Voicing,
    left_handed: bool,
) -> Result<(), CliError> {
    for line in lines(v, left_handed) {
        writeln!(out, "      {line}")?;
    }
    Ok(())
}

fn lines(v: &Voicing, left_handed: bool) -> Vec<String> {
    let frets = v.shape.frets();
    let pressed = || frets.iter().flatten().copied().filter(|f| *f > 0);
    let highest = pressed().max().unwrap_or(1);
    let first = match highest <= LEAST_FRETS {
        true => 1,
        false => pressed().min().unwrap_or(1),
    };
    let last = highest.max(first + LEAST_FRETS - 1);
    let row = |label: String, sign: &dyn Fn(usize) -> String| -> String {
        let mut signs: Vec<String> = (0..frets.len()).map(sign).collect();
        if left_handed {
            signs.reverse();
        }
        format!("{label:>3}  {}", signs.join("  "))
            .trim_end()
            .to_owned()
    };
    let above = |s: usize| match frets[s] {
        Some(0) => "o".to_owned(),
        Some(_) => " ".to_owned(),
        None => "x".to_owned(),
    };
    let mut lines = vec![row(String::new(), &above)];
    for fret in first..=last {
        let sign = |s: usize| match (frets[s] == Some(fret), v.hand.fingers.get(s)) {
            (true, Some(Some(finger))) => Finger::text(*finger),
            _ => "|".to_owned(),
        };
        lines.push(row(fret.to_string(), &sign));
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::lines;
    use crate::fretboard::{Instrument, Limits, usual_voicings};

    /// Common practice, no source: C and D as they are drawn for either hand.
    #[test]
    fn boxes_are_mirrored_for_the_left_hand() {
        let first = |chord: &str| {
            let chord = chord.parse().unwrap_or_else(|e| panic!("{e}"));
            usual_voicings(&Instrument::default(), &chord, &Limits::default()).remove(0)
        };
        let right = lines(&first("C"), false);
        assert_eq!(right[0], "     x        o     o");
        assert_eq!(right[1], "  1  |  |  |  |  1  |");
        assert_eq!(right[3], "  3  |  3  |  |  |  |");
        let left = lines(&first("C"), true);
        assert_eq!(left[0], "     o     o        x");
        assert_eq!(left[1], "  1  |  1  |  |  |  |");
        assert_eq!(left[3], "  3  |  |  |  |  3  |");
        assert_eq!(lines(&first("F#m"), false)[1], "  1  |  |  |  |  |  |");
    }
}
