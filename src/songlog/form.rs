//! The form of a song as it stands: the letters of its sections, and how each repeat differs
//! from the first section with its letter.
//!
//! All of it is worked out from the chords as they are shown, so that it stays
//! true when the user changes one. A pickup takes no part.
//!
//! # Source
//! Letters with a prime for a section that varies an earlier one: common
//! practice, no source.

use super::song::{Bar, Section, Song, Span, State};
use crate::theory::{Chord, Key, KeyChange, Label, Mode, PitchClass};

/// Places a bar's chords are compared at.
const SLOTS: usize = 8;
/// How many of them may disagree in the same music: an eighth of a bar is how early a hand moves.
const MAY_DISAGREE: usize = 1;
/// Share of bars that must agree for a section to be another in a new key (ours).
const MOVED_SHARE: f64 = 0.7;

/// The letters of the sections in order, with a prime for each way of varying
/// the first one: `A`, `A`, `B`, `A`, `B'`. Equal variants share a name.
pub fn letters(song: &Song) -> Vec<String> {
    let mut variants: Vec<(&str, &str)> = Vec::new();
    song.sections
        .iter()
        .map(|section| {
            let (letter, differs) = (section.letter.as_str(), section.differs.as_str());
            if differs.is_empty() {
                return letter.to_owned();
            }
            if !variants.contains(&(letter, differs)) {
                variants.push((letter, differs));
            }
            let of_letter = variants.iter().filter(|v| v.0 == letter);
            let n = of_letter
                .clone()
                .position(|v| v.1 == differs)
                .map_or(0, |i| i + 1);
            format!("{letter}{}", "'".repeat(n))
        })
        .collect()
}

/// Forms of more sections than this are written in short.
const LONG_FORM: usize = 24;
/// Sections that come again together are looked for up to so many.
const LONGEST_GROUP: usize = 8;
/// So often in a row is worth writing as a number.
const OFTEN: usize = 3;

/// The [`letters`] on one line; none for less than two sections.
///
/// In a long form, sections that come three times or more in a row stand once: `3 × (A B)`.
pub fn order(song: &Song) -> Option<String> {
    let names = letters(song);
    match names.len() {
        0 | 1 => None,
        n if n <= LONG_FORM => Some(names.join(" ")),
        _ => Some(in_short(&names)),
    }
}

fn in_short(names: &[String]) -> String {
    let mut words = Vec::new();
    let mut rest = names;
    while !rest.is_empty() {
        let often = (1..=LONGEST_GROUP.min(rest.len()))
            .map(|n| {
                (
                    n,
                    rest.chunks_exact(n)
                        .take_while(|g| *g == &rest[..n])
                        .count(),
                )
            })
            .filter(|(_, times)| *times >= OFTEN)
            .rev()
            .max_by_key(|(n, times)| n * times);
        let (n, times) = often.unwrap_or((1, 1));
        let group = rest[..n].join(" ");
        words.push(match (n, times) {
            (_, 1) => group,
            (1, _) => format!("{times} × {group}"),
            _ => format!("{times} × ({group})"),
        });
        rest = &rest[n * times..];
    }
    words.join(" ")
}

/// Says anew of each section how it differs; to be called when chords or sections have changed.
pub fn describe(song: &mut Song) {
    let differs: Vec<String> = song
        .sections
        .iter()
        .map(|section| {
            song.sections
                .iter()
                .find(|first| first.letter == section.letter)
                .filter(|first| first.first_bar != section.first_bar)
                .map_or_else(String::new, |first| difference(song, section, first))
        })
        .collect();
    for (section, differs) in song.sections.iter_mut().zip(differs) {
        section.differs = differs;
    }
}

/// Gives each section the key that it starts in, where that is another than the song's first.
pub fn section_keys(song: &mut Song) {
    let keys: Vec<Option<Key>> = song
        .sections
        .iter()
        .map(|section| {
            let first = whole_bars(song, section).first()?.start_s;
            song.key_at(first).filter(|key| Some(*key) != song.key)
        })
        .collect();
    for (section, key) in song.sections.iter_mut().zip(keys) {
        section.key = key;
    }
}

/// Changes of key inside a section, after its first bar: the bar, and the key from there on.
pub fn changes_inside(song: &Song, section: &Section) -> Vec<(u32, Key)> {
    let bars = whole_bars(song, section);
    let inside = |c: &KeyChange| {
        let bar = bars.iter().skip(1).find(|b| b.start_s == c.at_s)?;
        Some((bar.number, c.key))
    };
    song.key_changes.iter().filter_map(inside).collect()
}

/// Each change of key in words, `A major from bar 33`, in order.
pub fn key_words(song: &Song) -> Vec<String> {
    let bar = |at_s: f64| song.bars.iter().find(|b| b.start_s >= at_s);
    song.key_changes
        .iter()
        .filter_map(|c| Some(format!("{} from bar {}", c.key.text(), bar(c.at_s)?.number)))
        .collect()
}

/// More changes of key than this are not all named in one line.
const MANY_KEYS: usize = 6;

/// [`key_words`] for one line: of many changes the first ones, and how many more there are.
pub fn first_key_words(song: &Song) -> Vec<String> {
    let mut words = key_words(song);
    if words.len() > MANY_KEYS {
        let n = words.len() - MANY_KEYS + 1;
        words.truncate(MANY_KEYS - 1);
        words.push(format!("and {n} more changes of key"));
    }
    words
}

/// Spells all open chords by the key at their place.
pub fn spell_open(song: &mut Song) {
    let keys: Vec<Option<Key>> = song.spans.iter().map(|s| song.key_at(s.start_s)).collect();
    for (span, key) in song.spans.iter_mut().zip(keys) {
        let (Some(key), State::Open) = (key, span.state) else {
            continue;
        };
        span.label = key.spell_label(&span.label);
        for candidate in &mut span.candidates {
            candidate.label = key.spell_label(&candidate.label);
        }
    }
}

/// The bars of a section in order, without a pickup.
pub fn whole_bars<'a>(song: &'a Song, section: &Section) -> Vec<&'a Bar> {
    let (first, last) = (section.first_bar.max(1), section.last_bar);
    let inside = |b: &&Bar| (first..=last).contains(&b.number);
    song.bars.iter().filter(inside).collect()
}

/// Whether two bars hold the same music: as many beats and the same chords.
///
/// Of chords that are both decided everything counts; else an inversion, and a
/// chord that comes an eighth of a bar early or late, make no difference.
pub fn same_music(song: &Song, a: &Bar, b: &Bar) -> bool {
    alike(song, a, b, 0)
}

/// Whether what is decided for one bar may stand for another: if that one is
/// open, they must have been heard alike; else it must say the same already.
pub fn may_follow(song: &Song, here: &Bar, other: &Bar) -> bool {
    let (a, b) = (sampled(song, here), sampled(song, other));
    if b.iter().flatten().any(|s| s.state == State::Decided) {
        return same_music(song, here, other);
    }
    fn heard<'a>(span: &Option<&'a Span>) -> Option<&'a Label> {
        let first = span.and_then(|s| s.candidates.first());
        first.map(|c| &c.label)
    }
    let pairs = a.iter().zip(&b);
    let disagree = pairs
        .filter(|(x, y)| !same_label(heard(x), heard(y), 0, false))
        .count();
    here.n_beats == other.n_beats && disagree <= MAY_DISAGREE
}

/// Whether two bars are the same if the second lies `shift` semitones higher.
fn alike(song: &Song, a: &Bar, b: &Bar, shift: i32) -> bool {
    let (a_spans, b_spans) = (sampled(song, a), sampled(song, b));
    let decided = |spans: &[Option<&Span>; SLOTS]| {
        let mut spans = spans.iter().flatten();
        spans.all(|s| s.state == State::Decided)
    };
    let both = decided(&a_spans) && decided(&b_spans);
    let disagree = a_spans
        .iter()
        .zip(&b_spans)
        .filter(|(x, y)| !same_label(x.map(|s| &s.label), y.map(|s| &s.label), shift, both))
        .count();
    a.n_beats == b.n_beats && disagree <= if both { 0 } else { MAY_DISAGREE }
}

/// What sounds at the middle of each slot of a bar.
fn sampled<'a>(song: &'a Song, bar: &Bar) -> [Option<&'a Span>; SLOTS] {
    std::array::from_fn(|k| {
        let part = (k as f64 + 0.5) / SLOTS as f64;
        let at_s = bar.start_s + part * (bar.end_s - bar.start_s);
        let after = song.spans.partition_point(|s| s.start_s <= at_s);
        let span = song.spans.get(after.checked_sub(1)?)?;
        (at_s < span.end_s).then_some(span)
    })
}

fn same_label(low: Option<&Label>, high: Option<&Label>, shift: i32, with_bass: bool) -> bool {
    match (low, high) {
        (Some(Label::Chord(low)), Some(Label::Chord(high))) => {
            let bass = |chord: &Chord| chord.bass.filter(|_| with_bass);
            high.root.pitch_class().above(low.root.pitch_class()) == shift
                && low.quality == high.quality
                && (&low.added, &low.omitted) == (&high.added, &high.omitted)
                && bass(low) == bass(high)
        }
        (low, high) => low == high,
    }
}

/// How a section differs from the first with its letter, in words; empty if it does not.
fn difference(song: &Song, section: &Section, first: &Section) -> String {
    let (here, there) = (whole_bars(song, section), whole_bars(song, first));
    let n = here.len().min(there.len());
    let n_alike = |shift: i32| {
        let pairs = there.iter().zip(&here);
        pairs.filter(|(a, b)| alike(song, a, b, shift)).count()
    };
    let as_written = n_alike(0);
    let shift = (1..12)
        .map(|shift| (shift, n_alike(shift)))
        .filter(|(_, count)| *count > as_written && *count as f64 >= MOVED_SHARE * n as f64)
        .max_by_key(|(_, count)| *count)
        .map_or(0, |(shift, _)| shift);
    let mut parts = Vec::new();
    if shift != 0 {
        parts.push(moved(shift));
    }
    let differs: Vec<usize> = (0..n)
        .filter(|k| !alike(song, there[*k], here[*k], shift))
        .collect();
    for run in differs.chunk_by(|a, b| a + 1 == *b) {
        let (from, to) = (run[0], run[run.len() - 1]);
        let key = section.key.or(song.key);
        let bars = |bars: &[&Bar], shift: i32| -> String {
            let bars = bars[from..=to]
                .iter()
                .map(|bar| symbols(song, bar, shift, key));
            bars.collect::<Vec<_>>().join(" | ")
        };
        let (now, before) = (bars(&here, 0), bars(&there, shift));
        let which = which(from, to);
        if now == before {
            parts.push(beats(&which, here[from], there[from]));
        } else {
            parts.push(format!("{which} {now} instead of {before}"));
        }
    }
    parts.extend(length(song, &here, &there));
    parts.join("; ")
}

/// `up 2 semitones`, `down 3 semitones`.
fn moved(shift: i32) -> String {
    let (way, n) = if shift > 6 {
        ("down", 12 - shift)
    } else {
        ("up", shift)
    };
    format!("{way} {n} semitone{}", if n == 1 { "" } else { "s" })
}

/// `bar 8 is`, `bars 7 to 8 are`; counted within the section, from 0 here.
fn which(from: usize, to: usize) -> String {
    if from == to {
        format!("bar {} is", from + 1)
    } else {
        format!("bars {} to {} are", from + 1, to + 1)
    }
}

/// What differs in bars that name the same chords: their beats, or where a chord changes.
fn beats(which: &str, here: &Bar, there: &Bar) -> String {
    if here.n_beats == there.n_beats {
        return format!("{which} divided otherwise");
    }
    format!(
        "{which} {} beats long instead of {}",
        here.n_beats, there.n_beats
    )
}

/// Bars that one section has beyond the other.
fn length(song: &Song, here: &[&Bar], there: &[&Bar]) -> Option<String> {
    let n = here.len().min(there.len());
    let bars = |n: usize| format!("{n} bar{}", if n == 1 { "" } else { "s" });
    if there.len() > n {
        return Some(format!("{} shorter", bars(there.len() - n)));
    }
    let more: Vec<String> = here[n..]
        .iter()
        .map(|b| symbols(song, b, 0, None))
        .collect();
    (!more.is_empty()).then(|| format!("{} longer: {}", bars(more.len()), more.join(" | ")))
}

/// The chords of a bar as symbols, moved up by `shift` semitones.
fn symbols(song: &Song, bar: &Bar, shift: i32, key: Option<Key>) -> String {
    /// A chord that takes less of a bar is the neighbor bar's.
    const LEAST_PART: f64 = 0.1;
    let least_s = LEAST_PART * (bar.end_s - bar.start_s);
    let mut names: Vec<String> = Vec::new();
    for span in song.spans_in(bar) {
        let common_s = span.end_s.min(bar.end_s) - span.start_s.max(bar.start_s);
        let name = moved_label(&span.label, shift, key).symbol();
        if common_s > least_s && names.last() != Some(&name) {
            names.push(name);
        }
    }
    names.join(" ")
}

fn moved_label(label: &Label, shift: i32, key: Option<Key>) -> Label {
    match label {
        Label::Chord(chord) if shift != 0 => {
            let root = PitchClass::new(chord.root.pitch_class().index() as i32 + shift);
            let key = key.unwrap_or(Key::usual(PitchClass::new(0), Mode::Major));
            Label::Chord(chord.with_root(key.spell(root)))
        }
        other => other.clone(),
    }
}
