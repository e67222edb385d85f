//! The vocabulary: one table that reads and prints every chord quality.
//!
//! Each row is a name. Rows may share a pattern of pitch classes (`maj(9)` and
//! an added second); the name is kept. Order is the order in which names are
//! preferred when nothing else decides.
//!
//! # Source
//! Shorthands and degree lists: Harte et al., ISMIR 2005, table 1; `sus2`,
//! `5`, `1`, elevenths and thirteenths as the MIREX extension of it writes
//! them. Symbols: common practice, no source.

use super::Degree;

/// One row of the vocabulary.
#[derive(Debug, PartialEq, Eq)]
pub struct Quality {
    /// Label part after the colon, `hdim7` or `maj(9)`.
    pub harte: &'static str,
    /// Symbol part after the root, ASCII accidentals: `m7b5`.
    pub symbol: &'static str,
    /// Other ways people write the symbol.
    pub aliases: &'static [&'static str],
    /// Degrees, root first.
    pub degrees: &'static [Degree],
    /// In words: "half-diminished seventh".
    pub words: &'static str,
}

const fn d(number: u8) -> Degree {
    Degree::new(number, 0)
}
const fn fl(number: u8) -> Degree {
    Degree::new(number, -1)
}
const fn sh(number: u8) -> Degree {
    Degree::new(number, 1)
}

macro_rules! rows {
    ($($harte:literal $symbol:literal [$($alias:literal),*] [$($degree:expr),*] $words:literal;)*) => {
        &[$(Quality {
            harte: $harte,
            symbol: $symbol,
            aliases: &[$($alias),*],
            degrees: &[$($degree),*],
            words: $words,
        }),*]
    };
}

/// Every quality that has a name of its own.
pub static QUALITIES: &[Quality] = rows! {
    "maj" "" ["maj", "major", "M"] [d(1), d(3), d(5)] "major";
    "min" "m" ["min", "minor", "-"] [d(1), fl(3), d(5)] "minor";
    "7" "7" ["dom7"] [d(1), d(3), d(5), fl(7)] "dominant seventh";
    "maj7" "maj7" ["M7", "ma7", "Maj7", "△", "△7", "Δ", "Δ7"] [d(1), d(3), d(5), d(7)] "major seventh";
    "min7" "m7" ["min7", "-7", "mi7"] [d(1), fl(3), d(5), fl(7)] "minor seventh";
    "sus4" "sus4" ["sus"] [d(1), d(4), d(5)] "suspended fourth";
    "sus2" "sus2" [] [d(1), d(2), d(5)] "suspended second";
    "5" "5" ["(no3)"] [d(1), d(5)] "power chord, no third";
    "maj6" "6" ["maj6", "M6"] [d(1), d(3), d(5), d(6)] "sixth";
    "min6" "m6" ["min6", "-6"] [d(1), fl(3), d(5), d(6)] "minor sixth";
    "maj(9)" "add9" ["(add9)", "add2", "(add2)"] [d(1), d(3), d(5), d(9)] "added ninth";
    "min(9)" "madd9" ["m(add9)", "minadd9", "madd2", "m(add2)"] [d(1), fl(3), d(5), d(9)] "minor added ninth";
    "9" "9" ["dom9"] [d(1), d(3), d(5), fl(7), d(9)] "dominant ninth";
    "maj9" "maj9" ["M9", "ma9", "Maj9", "△9", "Δ9"] [d(1), d(3), d(5), d(7), d(9)] "major ninth";
    "min9" "m9" ["min9", "-9"] [d(1), fl(3), d(5), fl(7), d(9)] "minor ninth";
    "dim" "dim" ["°", "o", "mb5", "m(b5)"] [d(1), fl(3), fl(5)] "diminished";
    "dim7" "dim7" ["°7", "o7"] [d(1), fl(3), fl(5), Degree::new(7, -2)] "diminished seventh";
    "hdim7" "m7b5" ["m7(b5)", "min7b5", "min7(b5)", "-7b5", "ø", "ø7"] [d(1), fl(3), fl(5), fl(7)] "half-diminished seventh";
    "aug" "aug" ["+", "(#5)"] [d(1), d(3), sh(5)] "augmented";
    "minmaj7" "m(maj7)" ["mM7", "mmaj7", "minmaj7", "m(M7)", "-maj7", "-△7"] [d(1), fl(3), d(5), d(7)] "minor with major seventh";
    "sus4(b7)" "7sus4" ["7sus", "7(sus4)"] [d(1), d(4), d(5), fl(7)] "dominant seventh, suspended fourth";
    "7(#9)" "7#9" ["7(#9)"] [d(1), d(3), d(5), fl(7), sh(9)] "dominant seventh, raised ninth";
    "7(b9)" "7b9" ["7(b9)"] [d(1), d(3), d(5), fl(7), fl(9)] "dominant seventh, lowered ninth";
    "maj6(9)" "6/9" ["69", "6(9)", "6add9"] [d(1), d(3), d(5), d(6), d(9)] "sixth with added ninth";
    "aug(b7)" "7#5" ["aug7", "+7", "7+", "7(#5)"] [d(1), d(3), sh(5), fl(7)] "dominant seventh, raised fifth";
    "7(*5,b5)" "7b5" ["7(b5)"] [d(1), d(3), fl(5), fl(7)] "dominant seventh, lowered fifth";
    "maj7(*5,#5)" "maj7#5" ["maj7(#5)", "M7#5", "aug(maj7)", "+M7"] [d(1), d(3), sh(5), d(7)] "major seventh, raised fifth";
    "maj7(*5,b5)" "maj7b5" ["maj7(b5)", "M7b5"] [d(1), d(3), fl(5), d(7)] "major seventh, lowered fifth";
    "maj(*5,b5)" "(b5)" ["majb5"] [d(1), d(3), fl(5)] "major, lowered fifth";
    "sus2(b7)" "7sus2" ["7(sus2)"] [d(1), d(2), d(5), fl(7)] "dominant seventh, suspended second";
    "sus4(b7,9)" "9sus4" ["9sus", "9(sus4)"] [d(1), d(4), d(5), fl(7), d(9)] "dominant ninth, suspended fourth";
    "sus4(2)" "sus2sus4" ["sus2/4", "sus24", "sus4add2"] [d(1), d(2), d(4), d(5)] "suspended second and fourth";
    "maj(11)" "add11" ["(add11)", "add4", "(add4)"] [d(1), d(3), d(5), d(11)] "added eleventh";
    "min(11)" "madd11" ["m(add11)", "madd4"] [d(1), fl(3), d(5), d(11)] "minor added eleventh";
    "11" "11" [] [d(1), d(3), d(5), fl(7), d(9), d(11)] "dominant eleventh";
    "min11" "m11" ["min11", "-11"] [d(1), fl(3), d(5), fl(7), d(9), d(11)] "minor eleventh";
    "maj11" "maj11" ["M11"] [d(1), d(3), d(5), d(7), d(9), d(11)] "major eleventh";
    "13" "13" [] [d(1), d(3), d(5), fl(7), d(9), d(13)] "dominant thirteenth";
    "maj13" "maj13" ["M13"] [d(1), d(3), d(5), d(7), d(9), d(13)] "major thirteenth";
    "min13" "m13" ["min13"] [d(1), fl(3), d(5), fl(7), d(9), d(13)] "minor thirteenth";
    "min6(9)" "m6/9" ["m69", "m6(9)"] [d(1), fl(3), d(5), d(6), d(9)] "minor sixth with added ninth";
    "9(#11)" "9#11" ["9(#11)"] [d(1), d(3), d(5), fl(7), d(9), sh(11)] "dominant ninth, raised eleventh";
    "maj7(#11)" "maj7#11" ["maj7(#11)", "M7#11"] [d(1), d(3), d(5), d(7), sh(11)] "major seventh, raised eleventh";
    "7(#11)" "7#11" ["7(#11)"] [d(1), d(3), d(5), fl(7), sh(11)] "dominant seventh, raised eleventh";
    "minmaj7(9)" "m(maj9)" ["mM9", "mmaj9", "minmaj9", "m(M9)"] [d(1), fl(3), d(5), d(7), d(9)] "minor with major seventh and ninth";
    "minmaj7(9,11)" "m(maj11)" ["mM11", "mmaj11", "minmaj11"] [d(1), fl(3), d(5), d(7), d(9), d(11)] "minor with major seventh, ninth and eleventh";
    "minmaj7(*5,b5)" "m(maj7)b5" ["mmaj7b5", "dim(maj7)", "dimmaj7"] [d(1), fl(3), fl(5), d(7)] "diminished with major seventh";
    "hdim7(9)" "m9b5" ["m9(b5)", "ø9"] [d(1), fl(3), fl(5), fl(7), d(9)] "half-diminished ninth";
    "hdim7(11)" "m7b5(add11)" ["ø7(add11)"] [d(1), fl(3), fl(5), fl(7), d(11)] "half-diminished, added eleventh";
    "dim7(9)" "dim9" ["o9", "°9"] [d(1), fl(3), fl(5), Degree::new(7, -2), d(9)] "diminished ninth";
    "9(*5,b5)" "9b5" ["9(b5)"] [d(1), d(3), fl(5), fl(7), d(9)] "dominant ninth, lowered fifth";
    "9(*5,#5)" "9#5" ["9(#5)", "aug9", "+9"] [d(1), d(3), sh(5), fl(7), d(9)] "dominant ninth, raised fifth";
    "7(*5,b5,b9)" "7b5b9" ["7(b5,b9)"] [d(1), d(3), fl(5), fl(7), fl(9)] "dominant seventh, lowered fifth and ninth";
    "7(*5,b5,#9)" "7b5#9" ["7(b5,#9)"] [d(1), d(3), fl(5), fl(7), sh(9)] "dominant seventh, lowered fifth, raised ninth";
    "7(*5,#5,b9)" "7#5b9" ["7(#5,b9)"] [d(1), d(3), sh(5), fl(7), fl(9)] "dominant seventh, raised fifth, lowered ninth";
    "7(*5,#5,#9)" "7#5#9" ["7(#5,#9)"] [d(1), d(3), sh(5), fl(7), sh(9)] "dominant seventh, raised fifth and ninth";
    "7(b13)" "7b13" ["7(b13)"] [d(1), d(3), d(5), fl(7), fl(13)] "dominant seventh, lowered thirteenth";
    "7(13)" "7(add13)" ["7add13", "7(add6)", "7/6"] [d(1), d(3), d(5), fl(7), d(13)] "dominant seventh, added thirteenth";
    "7(b9,13)" "13b9" ["13(b9)"] [d(1), d(3), d(5), fl(7), fl(9), d(13)] "dominant thirteenth, lowered ninth";
    "13(#11)" "13#11" ["13(#11)"] [d(1), d(3), d(5), fl(7), d(9), sh(11), d(13)] "dominant thirteenth, raised eleventh";
    "maj9(#11)" "maj9#11" ["maj9(#11)"] [d(1), d(3), d(5), d(7), d(9), sh(11)] "major ninth, raised eleventh";
    "maj7(13)" "maj7(add13)" ["maj7add13", "maj7(add6)"] [d(1), d(3), d(5), d(7), d(13)] "major seventh, added thirteenth";
    "maj6(9,#11)" "6/9#11" ["6/9(#11)"] [d(1), d(3), d(5), d(6), d(9), sh(11)] "sixth with added ninth, raised eleventh";
    "maj9(*5,#5)" "maj9#5" ["maj9(#5)"] [d(1), d(3), sh(5), d(7), d(9)] "major ninth, raised fifth";
    "min7(11)" "m7(add11)" ["m7add11", "m7add4", "m7(add4)"] [d(1), fl(3), d(5), fl(7), d(11)] "minor seventh, added eleventh";
    "min7(13)" "m7(add13)" ["m7add13", "m7(add6)"] [d(1), fl(3), d(5), fl(7), d(13)] "minor seventh, added thirteenth";
    "min(b6)" "m(b6)" ["mb6", "m(addb6)"] [d(1), fl(3), d(5), fl(6)] "minor, added lowered sixth";
    "sus4(b7,b9)" "7sus4b9" ["7b9sus4", "7sus4(b9)"] [d(1), d(4), d(5), fl(7), fl(9)] "dominant seventh, suspended fourth, lowered ninth";
    "sus4(b7,13)" "7sus4(add13)" ["7sus4add13"] [d(1), d(4), d(5), fl(7), d(13)] "dominant seventh, suspended fourth, added thirteenth";
    "sus4(b7,9,13)" "13sus4" ["13sus", "13(sus4)"] [d(1), d(4), d(5), fl(7), d(9), d(13)] "dominant thirteenth, suspended fourth";
    "sus4(7)" "maj7sus4" ["maj7(sus4)"] [d(1), d(4), d(5), d(7)] "major seventh, suspended fourth";
    "sus2(7)" "maj7sus2" ["maj7(sus2)"] [d(1), d(2), d(5), d(7)] "major seventh, suspended second";
    "sus2(6)" "6sus2" ["6(sus2)"] [d(1), d(2), d(5), d(6)] "sixth, suspended second";
    "maj(#11)" "(add#11)" ["add#11", "(add#4)"] [d(1), d(3), d(5), sh(11)] "added raised eleventh";
    "maj(b9)" "(addb9)" ["addb9"] [d(1), d(3), d(5), fl(9)] "added lowered ninth";
    "1(b5)" "(b5,no3)" ["(no3,b5)"] [d(1), fl(5)] "root and lowered fifth, no third";
    "1" "(1)" [] [d(1)] "a single note";
};

impl Quality {
    /// The row of a label's quality part, such as `min7`.
    pub fn by_harte(harte: &str) -> Option<&'static Self> {
        QUALITIES.iter().find(|q| q.harte == harte)
    }
}
