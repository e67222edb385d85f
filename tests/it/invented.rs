//! Invented songs: other chords, meters, lengths, repeats, doubts, words and capos for each number.

use takebook::foreign::{Kind, read};
use takebook::songlog::resolve;
use takebook::songlog::resolve::Settings;
use takebook::songlog::song::Song;

/// When they were made.
pub(crate) const AT: &str = "2031-05-02T18:30:00Z";

/// Numbers that look random and are the same each time (Knuth, MMIX).
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) % n as u64) as usize
    }

    fn one<'a>(&mut self, of: &[&'a str]) -> &'a str {
        of[self.below(of.len())]
    }
}

const PLAIN: [&str; 8] = ["G", "C", "D", "Em", "Am7", "D/F#", "Cadd9", "B7"];
/// Fingerings of these.
const SHAPES: &str = "Shapes: G 320003, C x32010, D xx0232, Em 022000, Am7 x02010, D/F# 2x0232, Cadd9 x32033, B7 x21202\n";
const RICH: [&str; 8] = [
    "Bbmaj7", "Ab7#11", "Ebm9", "F#m7b5", "C7#9", "Db6/9", "Gm7/Bb", "A13sus4",
];
const WORDS: [&str; 6] = ["the", "lantern burns", "low and", "kettle sings", "ah", ""];
/// Orders of sections; the first has a repeat over two of them, the last two have a jump.
const FORMS: [&[&str]; 5] = [
    &["Verse", "Chorus", "Verse", "Chorus", "Bridge x2", "Out"],
    &["Verse 1", "Chorus", "Verse 2", "Chorus", "Bridge", "Chorus"],
    &["A", "A", "B", "A"],
    &[
        "Intro", "Verse", "Chorus", "Bridge", "Verse", "Chorus", "Out",
    ],
    &["Verse", "Chorus", "Bridge", "Solo", "Verse", "Chorus"],
];

/// The song of a number as it is typed.
pub(crate) fn typed(number: u64) -> String {
    written(number, false)
}

/// A song of a number that fills pages: longer sections, up to a chord a beat, last bars that
/// differ, notes, walking basses, tablature.
pub(crate) fn full(number: u64) -> Song {
    let mut made = song(&written(number, true));
    let mut dice = Dice(number + 1);
    for i in 0..dice.below(4) {
        let at = dice.below(made.spans.len());
        made.spans[at].notes.push(format!("let it ring, time {i}"));
    }
    if number % 7 == 3 {
        for span in &mut made.spans {
            let at = span.start_s;
            span.struck = (0..8)
                .map(|k| (50 + (k % 4) as u8 * 4, at + 0.25 * f64::from(k)))
                .collect();
        }
    }
    made
}

fn written(number: u64, full: bool) -> String {
    let mut dice = Dice(number * 7919 + 1);
    let meter = dice.one(&["4/4", "4/4", "3/4", "6/8", "5/4"]);
    let symbols = if number.is_multiple_of(3) {
        RICH
    } else {
        PLAIN
    };
    let mut text = format!("Invented Song {number}\n===\nMeter: {meter}\nTempo: 96\nKey: G\n");
    if number % 4 == 1 {
        text.push_str("Credit: words and music: somebody with a rather long name\n");
    }
    text.push_str(["", "Capo: 2\n", "Tuning: ukulele\n", "Tuning: half-down\n"][dice.below(4)]);
    if full && number % 6 == 4 && !text.contains("ukulele") {
        // top and bass notes that move by step are printed
        text.push_str(SHAPES);
    }
    if number % 5 == 3 {
        text.push_str("- | D7 |\n");
    }
    let mut bars_of = std::collections::BTreeMap::new();
    for heading in FORMS[number as usize % FORMS.len()] {
        let kind = heading.trim_end_matches(|c: char| c.is_ascii_digit() || c == ' ' || c == 'x');
        let rows = bars_of.entry(kind.to_owned()).or_insert_with(|| {
            let n_rows = match full {
                true => [1, 2, 2, 4][dice.below(4)],
                false => 1 + dice.below(2),
            };
            (0..n_rows)
                .map(|_| row(&mut dice, &symbols, meter, full && number % 5 == 2))
                .collect::<Vec<_>>()
        });
        if full && dice.below(4) == 0 {
            let last = rows.last_mut().and_then(|r| r.last_mut());
            *last.expect("a bar") = dice.one(&symbols).to_owned();
        }
        text.push_str(&format!("\n{heading}\n"));
        for row in rows {
            text.push_str(&format!("| {} |\n", row.join(" | ")));
            if number % 6 == 2 {
                let words: Vec<&str> = row.iter().map(|_| dice.one(&WORDS)).collect();
                text.push_str(&format!("Words: {}\n", words.join(" | ")));
            }
        }
    }
    text
}

/// Four bars, most of them of one chord; dense ones have a chord a beat here and there.
fn row(dice: &mut Dice, symbols: &[&str], meter: &str, dense: bool) -> Vec<String> {
    let beats = match meter {
        "6/8" => 2,
        "3/4" => 3,
        "5/4" => 5,
        _ => 4,
    };
    (0..4)
        .map(|_| {
            let n = match dice.below(4) {
                0 if dense => beats,
                0 => 2,
                _ => 1,
            };
            let doubt = if dice.below(9) == 0 { "?" } else { "" };
            let chords: Vec<&str> = (0..n).map(|_| dice.one(symbols)).collect();
            // two chords share an odd bar between its beats
            match (n, beats) {
                (2, 3) => format!("{} / &{} /", chords[0], chords[1]),
                (2, 5) => format!("{} / / &{} / /", chords[0], chords[1]),
                _ => chords.join(" ") + doubt,
            }
        })
        .collect()
}

/// What a typed chart holds.
#[track_caller]
pub(crate) fn song(text: &str) -> Song {
    let taken = read(Kind::Typed, text.as_bytes(), &Settings::default());
    let taken = taken.unwrap_or_else(|e| panic!("{e}\n{text}"));
    let take = Kind::Typed.record("song.txt".into(), text.len() as u64);
    resolve(&taken.into_log(take, AT.into(), Vec::new()))
}
