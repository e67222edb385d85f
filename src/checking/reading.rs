//! Reads a chart alone and remarks what a careful colleague would.

use super::slots::{Slot, slots};
use crate::fretboard::{Instrument, Played, Sameness, Shape, compare, fret_mm, hold};
use crate::songlog::song::{Bar, Song, Span, State};
use crate::theory::imply::{Fragment, Place, read_row};
use crate::theory::{Key, Label, PitchClassSet};

/// What a remark is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum RemarkKind {
    /// A bar or chord is still open.
    Open,
    /// Two shapes to choose from are not the same chord.
    EitherOr,
    /// A shape sounds notes that its chord does not have.
    ShapeNotes,
    /// No hand holds the shape, or not in time.
    Reach,
    /// A root is spelled otherwise than the key has it.
    Spelling,
    /// The plucked notes imply another chord than the one written.
    Fragment,
    /// A repeat differs where that looks unmeant.
    Repeat,
}

impl RemarkKind {
    /// The name in files.
    pub fn name(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::EitherOr => "either or",
            Self::ShapeNotes => "shape",
            Self::Reach => "reach",
            Self::Spelling => "spelling",
            Self::Fragment => "fragment",
            Self::Repeat => "repeat",
        }
    }
}

/// One remark on a chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Remark {
    /// What it is about.
    pub kind: RemarkKind,
    /// Number of the bar.
    pub bar: u32,
    /// Beat of the bar, from 1.
    pub beat: f64,
    /// In words.
    pub words: String,
}

/// Everything that a careful reader would remark, in order of the bars.
pub fn read_chart(song: &Song) -> Vec<Remark> {
    let mut all = Vec::new();
    for span in &song.spans {
        let Some((bar, beat)) = place(song, span.start_s) else {
            continue;
        };
        let mut add = |kind, words: Option<String>| {
            all.extend(words.map(|words| Remark {
                kind,
                bar: bar.number,
                beat,
                words,
            }));
        };
        add(
            RemarkKind::Open,
            open(span).filter(|_| !song.is_outside(span)),
        );
        add(RemarkKind::EitherOr, either_or(span, song));
        add(RemarkKind::ShapeNotes, strange_notes(span, song));
        add(RemarkKind::Reach, unheld(span, song));
        add(RemarkKind::Spelling, spelling(span, song));
    }
    all.extend(too_far(song));
    all.extend(fragments(song));
    all.extend(repeats(song));
    all.sort_by(|a, b| {
        (a.bar, a.beat)
            .partial_cmp(&(b.bar, b.beat))
            .unwrap_or(std::cmp::Ordering::Equal)
    });
    all
}

/// The bar of a moment and its beat, from 1, in halves.
fn place(song: &Song, time_s: f64) -> Option<(&Bar, f64)> {
    let at = time_s + 0.05;
    let bar = song
        .bars
        .iter()
        .find(|b| at < b.end_s)
        .or(song.bars.last())?;
    let share = (time_s - bar.start_s) / (bar.end_s - bar.start_s).max(1e-6);
    let beat = 1.0 + (2.0 * share * f64::from(bar.n_beats)).round().max(0.0) / 2.0;
    Some((bar, beat))
}

fn open(span: &Span) -> Option<String> {
    (span.state == State::Open).then(|| match &span.label {
        Label::Unknown => "no chord is named here yet".into(),
        label => format!("{} is only proposed", label.symbol()),
    })
}

fn decided_shapes(span: &Span) -> &[Shape] {
    &span.shapes[..span.n_decided_shapes.min(span.shapes.len())]
}

fn either_or(span: &Span, song: &Song) -> Option<String> {
    let [first, second] = decided_shapes(span) else {
        return None;
    };
    let played = |s: &Shape| Played::of_shape(&song.instrument, s.clone());
    let seen = compare(&played(first), &played(second), song.key_at(span.start_s))?;
    let names = seen.names.each_ref().map(|n| n.text());
    match seen.sameness {
        Sameness::Different => Some(format!(
            "either {first} or {second}: not the same chord ({} and {})",
            names[0], names[1]
        )),
        Sameness::OtherBass => Some(format!(
            "either {first} or {second}: the bass differs ({} and {})",
            names[0], names[1]
        )),
        _ => None,
    }
}

fn strange_notes(span: &Span, song: &Song) -> Option<String> {
    let chord = span.label.chord()?;
    for shape in decided_shapes(span) {
        let sounding: PitchClassSet = song
            .instrument
            .sounding(shape)
            .into_iter()
            .flatten()
            .map(|m| crate::theory::PitchClass::new(i32::from(m)))
            .collect();
        let strange = sounding.without(chord.pitch_classes());
        if !strange.is_empty() {
            let key = song.key_at(span.start_s).unwrap_or(Key::usual(
                chord.root.pitch_class(),
                crate::theory::Mode::Major,
            ));
            let names: Vec<String> = strange.iter().map(|pc| key.spell(pc).text()).collect();
            return Some(format!(
                "shape {shape} sounds {}, which {} does not have",
                names.join(" and "),
                chord.symbol()
            ));
        }
    }
    None
}

fn unheld(span: &Span, song: &Song) -> Option<String> {
    decided_shapes(span)
        .iter()
        .find(|shape| hold(&song.instrument, shape).is_none())
        .map(|shape| format!("no hand of four fingers and thumb holds {shape}"))
}

fn spelling(span: &Span, song: &Song) -> Option<String> {
    let (chord, key) = (span.label.chord()?, song.key_at(span.start_s)?);
    let usual = key.spell_root(chord.root.pitch_class());
    (usual != chord.root).then(|| {
        format!(
            "{} is spelled {} in {}",
            chord.symbol(),
            key.spell_chord(chord).symbol(),
            key.text()
        )
    })
}

/// Time a hand needs before it moves, s; ours, no source.
const READY_S: f64 = 0.15;
/// How fast a hand travels along the neck, mm/s; ours, no source.
const HAND_MM_S: f64 = 900.0;

/// Where on the neck a shape is held, mm from the nut; none for open strings alone.
fn position_mm(instrument: &Instrument, shape: &Shape) -> Option<f64> {
    let lowest = shape.frets().iter().flatten().filter(|f| **f > 0).min()?;
    Some(fret_mm(lowest + instrument.capo))
}

/// Changes between decided shapes that leave the hand too little time.
fn too_far(song: &Song) -> Vec<Remark> {
    let mut found = Vec::new();
    for pair in song.spans.windows(2) {
        let (Some(from), Some(to)) = (
            decided_shapes(&pair[0]).first(),
            decided_shapes(&pair[1]).first(),
        ) else {
            continue;
        };
        let (Some(a), Some(b)) = (
            position_mm(&song.instrument, from),
            position_mm(&song.instrument, to),
        ) else {
            continue;
        };
        let Some((bar, beat)) = place(song, pair[1].start_s) else {
            continue;
        };
        // the last beat may be given up for the way
        let beat_s = (bar.end_s - bar.start_s) / f64::from(bar.n_beats.max(1));
        let given_s = beat_s.min(pair[0].end_s - pair[0].start_s);
        let needed_s = READY_S + (a - b).abs() / HAND_MM_S;
        if needed_s > given_s {
            found.push(Remark {
                kind: RemarkKind::Reach,
                bar: bar.number,
                beat,
                words: format!(
                    "from {from} to {to} the hand goes {:.0} cm in {given_s:.2} s",
                    (a - b).abs() / 10.0
                ),
            });
        }
    }
    found
}

/// Rows of fragments whose notes imply another chord than the one written.
fn fragments(song: &Song) -> Vec<Remark> {
    /// The written chord is doubted below, the implied one believed above.
    const DOUBT: (f64, f64) = (0.1, 0.6);
    let mut found = Vec::new();
    let row: Vec<(&Span, Fragment)> = song
        .spans
        .iter()
        .filter(|s| s.fragment && !s.struck.is_empty())
        .map(|span| {
            let mut midi: Vec<u8> = span.struck.iter().map(|n| n.0).collect();
            midi.sort_unstable();
            midi.dedup();
            let on_bar = place(song, span.start_s).is_some_and(|p| p.1 < 1.25);
            let fragment = Fragment {
                midi,
                beats: song
                    .tempo_bpm
                    .map_or(4.0, |bpm| (span.end_s - span.start_s) * bpm / 60.0),
                place: if on_bar { Place::BarStart } else { Place::Weak },
                ..Fragment::default()
            };
            (span, fragment)
        })
        .collect();
    let notes: Vec<Fragment> = row.iter().map(|r| r.1.clone()).collect();
    if notes.is_empty() {
        return found;
    }
    // a row is read in one key; of several none is told
    let key = song.key.filter(|_| song.key_changes.is_empty());
    let reading = read_row(&notes, key, 1);
    for ((span, _), marginals) in row.iter().zip(&reading.fragments) {
        let Some(chord) = span.label.chord() else {
            continue;
        };
        let same = |label: &Label| {
            label.chord().is_some_and(|c| {
                c.root.pitch_class() == chord.root.pitch_class()
                    && c.quality.harte.starts_with("min") == chord.quality.harte.starts_with("min")
            })
        };
        let written: f64 = marginals.iter().filter(|m| same(&m.0)).map(|m| m.1).sum();
        let Some((implied, p)) = marginals.iter().find(|m| !same(&m.0)) else {
            continue;
        };
        if let Some((bar, beat)) = place(song, span.start_s)
            && written < DOUBT.0
            && *p > DOUBT.1
        {
            found.push(Remark {
                kind: RemarkKind::Fragment,
                bar: bar.number,
                beat,
                words: format!(
                    "the notes imply {}, written is {}",
                    implied.symbol(),
                    chord.symbol()
                ),
            });
        }
    }
    found
}

/// Repeats that differ within, where one side is open or only the kind of chord differs.
fn repeats(song: &Song) -> Vec<Remark> {
    let slots = slots(song);
    let bar_of = |number: u32| song.bars.iter().position(|b| b.number == number);
    let chords =
        |bar_idx: usize| -> Vec<&Slot> { slots.iter().filter(|s| s.bar_idx == bar_idx).collect() };
    let mut found = Vec::new();
    for (k, section) in song.sections.iter().enumerate() {
        let Some(first) = song.sections[..k]
            .iter()
            .find(|s| s.letter == section.letter)
        else {
            continue;
        };
        // a pickup takes no part in a repeat
        let (a_bar, b_bar) = (first.first_bar.max(1), section.first_bar.max(1));
        let (Some(a), Some(b)) = (bar_of(a_bar), bar_of(b_bar)) else {
            continue;
        };
        let n_first = first.last_bar.saturating_sub(a_bar) as usize;
        let n = section.last_bar.saturating_sub(b_bar) as usize;
        for i in 0..=n.min(n_first) {
            if b + i >= song.bars.len() || a + i >= song.bars.len() {
                break;
            }
            let (old, new) = (chords(a + i), chords(b + i));
            if old.len() != new.len() {
                continue;
            }
            for (x, y) in old.iter().zip(&new) {
                let (Some(c), Some(d)) = (x.label.chord(), y.label.chord()) else {
                    continue;
                };
                let same_root = c.root.pitch_class() == d.root.pitch_class();
                let unmeant = same_root || !x.decided || !y.decided;
                // an ending may differ
                if c != d && unmeant && i < n {
                    found.push(Remark {
                        kind: RemarkKind::Repeat,
                        bar: song.bars[b + i].number,
                        beat: y.beat,
                        words: format!(
                            "{} here, {} in bar {}, which it repeats",
                            d.symbol(),
                            c.symbol(),
                            song.bars[a + i].number
                        ),
                    });
                }
            }
        }
    }
    found
}
