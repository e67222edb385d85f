//! The vocabulary: one table that reads and prints every chord quality.
//!
//! Each row is a name. Rows may share a pattern of pitch classes (`maj(9)` and
//! an added second); the name is kept. Order is the order in which names are
//! preferred when nothing else decides. A row also holds what other rooms need of
//! a quality: its kind in MusicXML, what a numeral writes, its class in the net.
//!
//! # Source
//! Shorthands and degree lists: Harte et al., ISMIR 2005, table 1; `sus2`,
//! `5`, `1`, elevenths and thirteenths as the MIREX extension of it writes
//! them. Symbols: common practice, no source.

use super::{Degree, Triad};

/// One row of the vocabulary.
#[derive(Debug, PartialEq, Eq)]
pub struct Quality {
    /// Label part after the colon, `hdim7` or `maj(9)`.
    pub harte: &'static str,
    /// Symbol part after the root, ASCII accidentals: `m7b5`.
    pub symbol: &'static str,
    /// Degrees, root first.
    pub degrees: &'static [Degree],
    /// In words: "half-diminished seventh".
    pub words: &'static str,
    /// Its `kind` in MusicXML 4.0 (`kind-value`), if it has one.
    pub musicxml: Option<&'static str>,
    /// What a Roman numeral writes behind it, where that is not the symbol: `ø7`.
    pub numeral: Option<&'static str>,
    /// Its class in the acoustic net, before the root is added.
    pub net: Option<usize>,
    /// Semitones above the root of the basses it may be heard over, the root first.
    pub over: &'static [usize],
    /// Whether it is usual enough to be heard at no extra cost.
    pub usual: bool,
    /// What it costs where a few notes may imply it, in tenths; none where they imply no such chord.
    pub implied: Option<u16>,
    /// What its name costs beside other names of the same notes, if not by its place in the table.
    pub name_cost: Option<i32>,
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
    ($($harte:literal $symbol:literal [$($degree:expr),*] $words:literal
        $({ $($column:ident: $value:expr),* })?;)*) => {
        &[$(Quality {
            harte: $harte,
            symbol: $symbol,
            degrees: &[$($degree),*],
            words: $words,
            $($($column: $value,)*)?
            ..Quality::BARE
        }),*]
    };
}

/// Every quality that has a name of its own.
#[expect(
    clippy::needless_update,
    reason = "a row names only the columns it has, and some have all"
)]
pub static QUALITIES: &[Quality] = rows! {
    "maj" "" [d(1), d(3), d(5)] "major" { musicxml: Some("major"), numeral: Some(""), net: Some(0), over: &[0, 4, 7, 11, 10, 2], usual: true, implied: Some(0), name_cost: Some(0) };
    "min" "m" [d(1), fl(3), d(5)] "minor" { musicxml: Some("minor"), numeral: Some(""), net: Some(1), over: &[0, 3, 7, 10, 2], usual: true, implied: Some(0), name_cost: Some(0) };
    "7" "7" [d(1), d(3), d(5), fl(7)] "dominant seventh" { musicxml: Some("dominant"), net: Some(2), over: &[0, 4, 7, 10], usual: true, implied: Some(8), name_cost: Some(6) };
    "maj7" "maj7" [d(1), d(3), d(5), d(7)] "major seventh" { musicxml: Some("major-seventh"), net: Some(3), over: &[0, 4, 7, 11], usual: true, implied: Some(11), name_cost: Some(6) };
    "min7" "m7" [d(1), fl(3), d(5), fl(7)] "minor seventh" { musicxml: Some("minor-seventh"), net: Some(4), over: &[0, 3, 7, 10], usual: true, implied: Some(10), name_cost: Some(6) };
    "sus4" "sus4" [d(1), d(4), d(5)] "suspended fourth" { musicxml: Some("suspended-fourth"), net: Some(6), over: &[0, 7], usual: true, implied: Some(14), name_cost: Some(12) };
    "sus2" "sus2" [d(1), d(2), d(5)] "suspended second" { musicxml: Some("suspended-second"), net: Some(5), over: &[0, 7], usual: true, implied: Some(15), name_cost: Some(14) };
    "5" "5" [d(1), d(5)] "power chord, no third" { musicxml: Some("power"), net: Some(16), over: &[0, 7], usual: true, implied: Some(2), name_cost: Some(6) };
    "maj6" "6" [d(1), d(3), d(5), d(6)] "sixth" { musicxml: Some("major-sixth"), net: Some(9), over: &[0, 4, 7], implied: Some(20), name_cost: Some(18) };
    "min6" "m6" [d(1), fl(3), d(5), d(6)] "minor sixth" { musicxml: Some("minor-sixth"), net: Some(10), over: &[0, 3, 7], implied: Some(24), name_cost: Some(19) };
    "maj(9)" "add9" [d(1), d(3), d(5), d(9)] "added ninth" { net: Some(7), over: &[0, 4, 7], usual: true, implied: Some(16), name_cost: Some(19) };
    "min(9)" "m(add9)" [d(1), fl(3), d(5), d(9)] "minor added ninth" { net: Some(8), over: &[0, 3, 7], implied: Some(22) };
    "9" "9" [d(1), d(3), d(5), fl(7), d(9)] "dominant ninth" { musicxml: Some("dominant-ninth"), net: Some(11), implied: Some(20), name_cost: Some(18) };
    "maj9" "maj9" [d(1), d(3), d(5), d(7), d(9)] "major ninth" { musicxml: Some("major-ninth"), net: Some(18), implied: Some(24), name_cost: Some(19) };
    "min9" "m9" [d(1), fl(3), d(5), fl(7), d(9)] "minor ninth" { musicxml: Some("minor-ninth"), net: Some(19), implied: Some(22), name_cost: Some(19) };
    "dim" "dim" [d(1), fl(3), fl(5)] "diminished" { musicxml: Some("diminished"), numeral: Some("°"), net: Some(12), over: &[0, 3, 6], implied: Some(15), name_cost: Some(12) };
    "dim7" "dim7" [d(1), fl(3), fl(5), Degree::new(7, -2)] "diminished seventh" { musicxml: Some("diminished-seventh"), numeral: Some("°7"), net: Some(13), implied: Some(20), name_cost: Some(12) };
    "hdim7" "m7b5" [d(1), fl(3), fl(5), fl(7)] "half-diminished seventh" { musicxml: Some("half-diminished"), numeral: Some("ø7"), net: Some(15), over: &[0, 3, 6], implied: Some(15), name_cost: Some(12) };
    "aug" "aug" [d(1), d(3), sh(5)] "augmented" { musicxml: Some("augmented"), numeral: Some("+"), net: Some(14), implied: Some(36), name_cost: Some(12) };
    "minmaj7" "m(maj7)" [d(1), fl(3), d(5), d(7)] "minor with major seventh" { musicxml: Some("major-minor"), net: Some(17), implied: Some(30) };
    "sus4(b7)" "7sus4" [d(1), d(4), d(5), fl(7)] "dominant seventh, suspended fourth" { net: Some(20), implied: Some(18), name_cost: Some(18) };
    "7(#9)" "7#9" [d(1), d(3), d(5), fl(7), sh(9)] "dominant seventh, sharp nine" { net: Some(21) };
    "7(b9)" "7b9" [d(1), d(3), d(5), fl(7), fl(9)] "dominant seventh, flat nine";
    "maj6(9)" "6/9" [d(1), d(3), d(5), d(6), d(9)] "sixth with added ninth" { net: Some(22) };
    "aug(b7)" "7#5" [d(1), d(3), sh(5), fl(7)] "dominant seventh, sharp five" { musicxml: Some("augmented-seventh") };
    "7(*5,b5)" "7b5" [d(1), d(3), fl(5), fl(7)] "dominant seventh, flat five";
    "maj7(*5,#5)" "maj7#5" [d(1), d(3), sh(5), d(7)] "major seventh, sharp five";
    "maj7(*5,b5)" "maj7b5" [d(1), d(3), fl(5), d(7)] "major seventh, flat five" { name_cost: Some(80) };
    "maj(*5,b5)" "(b5)" [d(1), d(3), fl(5)] "major, flat five";
    "sus2(b7)" "7sus2" [d(1), d(2), d(5), fl(7)] "dominant seventh, suspended second";
    "sus4(b7,9)" "9sus4" [d(1), d(4), d(5), fl(7), d(9)] "dominant ninth, suspended fourth";
    "sus4(2)" "sus2sus4" [d(1), d(2), d(4), d(5)] "suspended second and fourth";
    "maj(11)" "add11" [d(1), d(3), d(5), d(11)] "added eleventh";
    "min(11)" "m(add11)" [d(1), fl(3), d(5), d(11)] "minor added eleventh";
    "11" "11" [d(1), d(3), d(5), fl(7), d(9), d(11)] "dominant eleventh" { musicxml: Some("dominant-11th") };
    "min11" "m11" [d(1), fl(3), d(5), fl(7), d(9), d(11)] "minor eleventh" { musicxml: Some("minor-11th") };
    "maj11" "maj11" [d(1), d(3), d(5), d(7), d(9), d(11)] "major eleventh" { musicxml: Some("major-11th") };
    "13" "13" [d(1), d(3), d(5), fl(7), d(9), d(13)] "dominant thirteenth" { musicxml: Some("dominant-13th") };
    "maj13" "maj13" [d(1), d(3), d(5), d(7), d(9), d(13)] "major thirteenth" { musicxml: Some("major-13th") };
    "min13" "m13" [d(1), fl(3), d(5), fl(7), d(9), d(13)] "minor thirteenth" { musicxml: Some("minor-13th") };
    "min6(9)" "m6/9" [d(1), fl(3), d(5), d(6), d(9)] "minor sixth with added ninth";
    "9(#11)" "9#11" [d(1), d(3), d(5), fl(7), d(9), sh(11)] "dominant ninth, sharp eleven";
    "maj7(#11)" "maj7#11" [d(1), d(3), d(5), d(7), sh(11)] "major seventh, sharp eleven";
    "7(#11)" "7#11" [d(1), d(3), d(5), fl(7), sh(11)] "dominant seventh, sharp eleven";
    "minmaj7(9)" "m(maj9)" [d(1), fl(3), d(5), d(7), d(9)] "minor with major seventh and ninth";
    "minmaj7(9,11)" "m(maj11)" [d(1), fl(3), d(5), d(7), d(9), d(11)] "minor with major seventh, ninth and eleventh";
    "minmaj7(*5,b5)" "m(maj7)b5" [d(1), fl(3), fl(5), d(7)] "diminished with major seventh";
    "hdim7(9)" "m9b5" [d(1), fl(3), fl(5), fl(7), d(9)] "half-diminished ninth";
    "hdim7(11)" "m7b5(add11)" [d(1), fl(3), fl(5), fl(7), d(11)] "half-diminished, added eleventh";
    "dim7(9)" "dim9" [d(1), fl(3), fl(5), Degree::new(7, -2), d(9)] "diminished ninth";
    "9(*5,b5)" "9b5" [d(1), d(3), fl(5), fl(7), d(9)] "dominant ninth, flat five";
    "9(*5,#5)" "9#5" [d(1), d(3), sh(5), fl(7), d(9)] "dominant ninth, sharp five";
    "7(*5,b5,b9)" "7b5b9" [d(1), d(3), fl(5), fl(7), fl(9)] "dominant seventh, flat five and flat nine";
    "7(*5,b5,#9)" "7b5#9" [d(1), d(3), fl(5), fl(7), sh(9)] "dominant seventh, flat five, sharp nine";
    "7(*5,#5,b9)" "7#5b9" [d(1), d(3), sh(5), fl(7), fl(9)] "dominant seventh, sharp five, flat nine";
    "7(*5,#5,#9)" "7#5#9" [d(1), d(3), sh(5), fl(7), sh(9)] "dominant seventh, sharp five and sharp nine";
    "7(b13)" "7b13" [d(1), d(3), d(5), fl(7), fl(13)] "dominant seventh, flat thirteen";
    "7(13)" "7(13)" [d(1), d(3), d(5), fl(7), d(13)] "dominant seventh, added thirteenth" { name_cost: Some(60) };
    "7(b9,13)" "13b9" [d(1), d(3), d(5), fl(7), fl(9), d(13)] "dominant thirteenth, flat nine";
    "13(#11)" "13#11" [d(1), d(3), d(5), fl(7), d(9), sh(11), d(13)] "dominant thirteenth, sharp eleven";
    "maj9(#11)" "maj9#11" [d(1), d(3), d(5), d(7), d(9), sh(11)] "major ninth, sharp eleven";
    "maj7(13)" "maj7(add13)" [d(1), d(3), d(5), d(7), d(13)] "major seventh, added thirteenth";
    "maj6(9,#11)" "6/9#11" [d(1), d(3), d(5), d(6), d(9), sh(11)] "sixth with added ninth, sharp eleven";
    "maj9(*5,#5)" "maj9#5" [d(1), d(3), sh(5), d(7), d(9)] "major ninth, sharp five";
    "min7(11)" "m7(add11)" [d(1), fl(3), d(5), fl(7), d(11)] "minor seventh, added eleventh";
    "min7(13)" "m7(add13)" [d(1), fl(3), d(5), fl(7), d(13)] "minor seventh, added thirteenth";
    "min(b6)" "m(b6)" [d(1), fl(3), d(5), fl(6)] "minor, flat six" { name_cost: Some(80) };
    "sus4(b7,b9)" "7sus4b9" [d(1), d(4), d(5), fl(7), fl(9)] "dominant seventh, suspended fourth, flat nine";
    "sus4(b7,13)" "7sus4(13)" [d(1), d(4), d(5), fl(7), d(13)] "dominant seventh, suspended fourth, added thirteenth";
    "sus4(b7,9,13)" "13sus4" [d(1), d(4), d(5), fl(7), d(9), d(13)] "dominant thirteenth, suspended fourth";
    "sus4(7)" "maj7sus4" [d(1), d(4), d(5), d(7)] "major seventh, suspended fourth" { name_cost: Some(80) };
    "sus2(7)" "maj7sus2" [d(1), d(2), d(5), d(7)] "major seventh, suspended second" { name_cost: Some(80) };
    "sus2(6)" "6sus2" [d(1), d(2), d(5), d(6)] "sixth, suspended second";
    "maj(#11)" "(add#11)" [d(1), d(3), d(5), sh(11)] "added sharp eleven";
    "maj(b9)" "(addb9)" [d(1), d(3), d(5), fl(9)] "added flat nine";
    "7(*5,#5,b9,#9)" "7alt" [d(1), d(3), sh(5), fl(7), fl(9), sh(9)] "altered dominant";
    "7(#9,13)" "13#9" [d(1), d(3), d(5), fl(7), sh(9), d(13)] "dominant thirteenth, sharp nine";
    "7(b9,b13)" "7b9b13" [d(1), d(3), d(5), fl(7), fl(9), fl(13)] "dominant seventh, flat nine and flat thirteen";
    "7(#9,b13)" "7#9b13" [d(1), d(3), d(5), fl(7), sh(9), fl(13)] "dominant seventh, sharp nine and flat thirteen";
    "7(b9,#11)" "7b9#11" [d(1), d(3), d(5), fl(7), fl(9), sh(11)] "dominant seventh, flat nine, sharp eleven";
    "min7(*5,#5)" "m7#5" [d(1), fl(3), sh(5), fl(7)] "minor seventh, sharp five" { name_cost: Some(95) };
    "1(b5)" "(b5,no3)" [d(1), fl(5)] "root and flat five, no third";
    "1" "(1)" [d(1)] "a single note" { musicxml: Some("pedal"), name_cost: Some(0) };
};

/// How many qualities the acoustic net knows.
pub const N_NET: usize = {
    let (mut n, mut i) = (0, 0);
    while i < QUALITIES.len() {
        if QUALITIES[i].net.is_some() {
            n += 1;
        }
        i += 1;
    }
    n
};

/// Where the net's qualities stand in the table, in the order of its classes. A class that is
/// missing or there twice stops the build.
const NET_ROWS: [usize; N_NET] = {
    let mut rows = [usize::MAX; N_NET];
    let mut i = 0;
    while i < QUALITIES.len() {
        if let Some(class) = QUALITIES[i].net {
            assert!(
                rows[class] == usize::MAX,
                "a class of the net is there twice"
            );
            rows[class] = i;
        }
        i += 1;
    }
    rows
};

impl Quality {
    const BARE: Self = Self {
        harte: "",
        symbol: "",
        degrees: &[],
        words: "",
        musicxml: None,
        numeral: None,
        net: None,
        over: &[0],
        usual: false,
        implied: None,
        name_cost: None,
    };

    /// Its triad: by third and fifth.
    pub fn triad(&self) -> Triad {
        let has = |number, alter| self.degrees.contains(&Degree::new(number, alter));
        match (has(3, 0), has(3, -1)) {
            (true, _) if has(5, 1) && !has(5, 0) => Triad::Augmented,
            (true, _) => Triad::Major,
            (_, true) if has(5, -1) => Triad::Diminished,
            (_, true) => Triad::Minor,
            _ => Triad::Open,
        }
    }

    /// Degrees that may lie in the bass as an inversion: its third, fifth, sixth and seventh
    /// (common practice, no source).
    pub fn basses(&self) -> impl Iterator<Item = Degree> {
        let inner = |d: &Degree| (3..=7).contains(&d.number());
        self.degrees.iter().copied().filter(move |d| inner(d))
    }

    /// The row that a `kind` of MusicXML names.
    pub fn by_musicxml(kind: &str) -> Option<&'static Self> {
        QUALITIES.iter().find(|q| q.musicxml == Some(kind))
    }

    /// The rows that the acoustic net knows, in the order of its classes.
    pub fn of_net() -> Vec<&'static Self> {
        NET_ROWS.iter().map(|row| &QUALITIES[*row]).collect()
    }

    /// The row of a class of the acoustic net.
    ///
    /// # Panics
    /// If the net has no such class ([`N_NET`]).
    pub fn of_net_class(class: usize) -> &'static Self {
        &QUALITIES[NET_ROWS[class]]
    }

    /// The row of a label's quality part, such as `min7`.
    pub fn by_harte(harte: &str) -> Option<&'static Self> {
        QUALITIES.iter().find(|q| q.harte == harte)
    }
}
