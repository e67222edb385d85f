//! Chords as degrees of a key: Roman numerals and the number system.
//!
//! # Source
//! Common practice, no source: upper case for a major third, lower case for a
//! minor one, ° and ø for diminished and half-diminished; in the number system
//! plain numbers from the major scale, `-` for minor.

use super::{Chord, Degree, Key};

const ROMAN: [&str; 7] = ["I", "II", "III", "IV", "V", "VI", "VII"];

/// The degree of a chord's root over the tonic, counted from the major scale
/// on the tonic; in minor, the natural scale's third, sixth and seventh count as plain.
fn place(chord: &Chord, key: Key) -> (usize, i8) {
    let spelled = key.spell(chord.root.pitch_class());
    let degree = Degree::between(key.tonic, spelled);
    let own = Degree::between(key.tonic, key.scale()[usize::from(degree.number() - 1)]);
    (
        usize::from(degree.number() - 1),
        degree.alter() - own.alter(),
    )
}

fn signs(alter: i8) -> String {
    let sign = if alter < 0 { '♭' } else { '♯' };
    std::iter::repeat_n(sign, usize::from(alter.unsigned_abs())).collect()
}

/// The chord as a Roman numeral in a key: `IV`, `vi7`, `♭VII`, `vii°`, `V/3rd`.
///
/// Degrees count from the key's own scale: in A minor, F is `VI`. A bass other
/// than the root follows after a slash as a degree of the chord.
///
/// # Example
/// ```
/// use takebook::theory::{Chord, Key, roman};
/// let chord: Chord = "F#m7".parse().unwrap();
/// assert_eq!(roman(&chord, "A".parse::<Key>().unwrap()), "vi7");
/// ```
pub fn roman(chord: &Chord, key: Key) -> String {
    let (step, alter) = place(chord, key);
    let third = chord.degrees().into_iter().find(|d| d.number() == 3);
    let minor = third.is_some_and(|d| d.alter() < 0);
    let numeral = if minor {
        ROMAN[step].to_lowercase()
    } else {
        ROMAN[step].to_owned()
    };
    let plain = chord.added.is_empty() && chord.omitted.is_empty();
    let tail = match chord.quality.numeral.filter(|_| plain) {
        Some(tail) => tail.to_owned(),
        None => {
            let tail = super::chord_tail_text(chord);
            // the case of the numeral already says minor
            match tail.strip_prefix('m') {
                Some(rest) if minor && !tail.starts_with("maj") => rest.to_owned(),
                _ => tail,
            }
        }
    };
    let bass = chord
        .bass
        .map_or_else(String::new, |d| format!("/{}", d.text()));
    format!("{}{numeral}{tail}{bass}", signs(alter))
}

/// The chord in the number system: `4`, `6-7`, `♭7`, `1/3`.
///
/// Degrees count from the major scale on the tonic; a bass is given as its own
/// degree of the key.
pub fn number(chord: &Chord, key: Key) -> String {
    let spelled = key.spell(chord.root.pitch_class());
    let degree = Degree::between(key.tonic, spelled);
    let tail = super::chord_tail_text(chord);
    let tail = match tail.strip_prefix('m') {
        Some(rest) if !tail.starts_with("maj") => format!("-{rest}"),
        _ => tail,
    };
    let separator = if tail.starts_with(|c: char| c.is_ascii_digit()) {
        "^"
    } else {
        ""
    };
    let bass = chord.bass.map_or_else(String::new, |_| {
        let note = key.spell(chord.bass_pitch_class());
        format!("/{}", Degree::between(key.tonic, note).text())
    });
    format!("{}{separator}{tail}{bass}", degree.text())
}

/// A degree's number as players say it behind flat or sharp, `five`.
pub fn number_short(number: u8) -> &'static str {
    const SHORT: [&str; 13] = [
        "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
        "twelve", "thirteen",
    ];
    SHORT[usize::from(number.clamp(1, 13)) - 1]
}

/// A degree's number in words, `third`.
pub fn number_words(number: u8) -> &'static str {
    match number {
        1 => "root",
        2 => "second",
        3 => "third",
        4 => "fourth",
        5 => "fifth",
        6 => "sixth",
        7 => "seventh",
        8 => "octave",
        9 => "ninth",
        10 => "tenth",
        11 => "eleventh",
        12 => "twelfth",
        _ => "thirteenth",
    }
}

/// A chord moved by semitones (either way), its root spelled in a key.
///
/// # Example
/// ```
/// use takebook::theory::{Chord, Key, transpose};
/// let chord: Chord = "G/B".parse().unwrap();
/// let up = transpose(&chord, 3, "Bb".parse::<Key>().unwrap());
/// assert_eq!(up.symbol(), "B♭/D");
/// ```
pub fn transpose(chord: &Chord, semitones: i32, key: Key) -> Chord {
    chord.with_root(key.spell_root(chord.root.pitch_class().up(semitones)))
}
