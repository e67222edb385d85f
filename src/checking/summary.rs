//! A check in words: first the one sentence that a student needs.

use super::outcome::{TakeCheck, Verdict};
use super::verdict::WEIGHTS;
use crate::songlog::song::Song;

const IS_IT_THE_TAKE: &str = "Is it the right recording?";
/// Most bars that the first sentence names.
const MOST_NAMED: usize = 6;

/// What came of a check: the verdict, then what was left out, played again, the tempo.
pub(super) fn summary(check: &TakeCheck, song: &Song) -> String {
    let verdict = check.verdict();
    if verdict == Verdict::AnotherSong {
        return another_song(check);
    }
    let mut sentences = Vec::new();
    if check.semitones != 0 {
        sentences.push(transposed(check.semitones, song));
    }
    sentences.push(match check.only_part() {
        Some(part) => format!(
            "Only {} played; {}.",
            was_or_were(&part_words(part, song), part.0 != part.1),
            within(check)
        ),
        None => format!("{}.", capitalized(&played(check))),
    });
    if !check.left_out.is_empty() && check.only_part().is_none() {
        let bars = bars_words(&check.left_out);
        sentences.push(format!("Left out: {bars}."));
    }
    if !check.again.is_empty() {
        sentences.push(format!("Played again: {}.", bars_words(&check.again)));
    }
    sentences.push(tempo(check, song));
    let n = check.bars.len() as f64;
    let amiss = n_amiss(check);
    if amiss as f64 >= WEIGHTS.doubtful_share * n && amiss >= 3 {
        sentences.push(IS_IT_THE_TAKE.to_owned());
    }
    sentences.join(" ")
}

fn n_amiss(check: &TakeCheck) -> usize {
    check.bars.iter().filter(|b| !b.findings.is_empty()).count()
}

fn another_song(check: &TakeCheck) -> String {
    let (n, amiss) = (check.bars.len(), n_amiss(check));
    if n == 0 {
        return format!("Nothing of the chart was found in this recording. {IS_IT_THE_TAKE}");
    }
    let why = if 2 * amiss >= n {
        format!("where the two were lined up, {amiss} of {n} bars differ")
    } else {
        "its chords come in another order".to_owned()
    };
    format!("This recording does not play this chart: {why}. {IS_IT_THE_TAKE}")
}

/// `The recording sounds 2 semitones higher than the chart, as with a capo at fret 2.`
fn transposed(semitones: i8, song: &Song) -> String {
    let n = semitones.unsigned_abs();
    let steps = if n == 1 { "semitone" } else { "semitones" };
    let way = if semitones > 0 { "higher" } else { "lower" };
    let capo = i16::from(song.instrument.capo) + i16::from(semitones);
    let cause = match capo {
        0 => "as without the capo".to_owned(),
        1.. => format!("as with the capo at fret {capo}"),
        _ => "as with the strings tuned down".to_owned(),
    };
    format!("The recording sounds {n} {steps} {way} than the chart, {cause}.")
}

/// `all 24 bars are as written`, or which are not.
fn played(check: &TakeCheck) -> String {
    let n = check.bars.len();
    let mut amiss: Vec<u32> = check
        .bars
        .iter()
        .filter(|b| !b.findings.is_empty())
        .map(|b| b.number)
        .collect();
    let n_amiss = amiss.len();
    amiss.sort_unstable();
    amiss.dedup();
    match (n, n_amiss) {
        (1, 0) => "the 1 bar played is as written".to_owned(),
        (_, 0) => format!("all {n} bars played are as written"),
        _ if amiss.len() > MOST_NAMED => {
            format!(
                "{} of {n} bars played are as written, {n_amiss} are not",
                n - n_amiss
            )
        }
        _ => format!(
            "{} of {n} bars played are as written; look at {}",
            n - n_amiss,
            listed(&amiss)
        ),
    }
}

/// The same of a part that was named before.
fn within(check: &TakeCheck) -> String {
    match n_amiss(check) {
        0 => "all of it is as written".to_owned(),
        _ => played(check),
    }
}

/// `bar 5`, `bars 5 and 9`, `bars 5, 9 and 17`.
fn listed(bars: &[u32]) -> String {
    let words: Vec<String> = bars.iter().map(u32::to_string).collect();
    match words.split_last() {
        Some((last, [])) => format!("bar {last}"),
        Some((last, others)) => format!("bars {} and {last}", others.join(", ")),
        None => String::new(),
    }
}

/// `bars 9 to 16 (section B)`.
fn part_words(part: (u32, u32), song: &Song) -> String {
    let bars = bars_words(&[part]);
    let section = song
        .sections
        .iter()
        .find(|s| (s.first_bar, s.last_bar) == part);
    match section {
        Some(section) => format!("{bars} (section {})", section.letter),
        None => bars,
    }
}

fn was_or_were(what: &str, are_many: bool) -> String {
    format!("{what} {}", if are_many { "were" } else { "was" })
}

fn tempo(check: &TakeCheck, song: &Song) -> String {
    song.tempo_bpm.map_or_else(
        || format!("Tempo: {:.2} times the chart's.", check.tempo_ratio),
        |bpm| format!("Tempo: about {:.0} bpm.", bpm * check.tempo_ratio),
    )
}

fn capitalized(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(char::to_uppercase);
    first.map_or_else(String::new, |c| c.chain(letters).collect())
}

fn bars_words(list: &[(u32, u32)]) -> String {
    let all: Vec<String> = list
        .iter()
        .map(|(a, b)| {
            if a == b {
                format!("bar {a}")
            } else {
                format!("bars {a} to {b}")
            }
        })
        .collect();
    all.join(", ")
}
