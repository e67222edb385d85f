//! Why a chord is read, in words.

use super::frame::{Frame, Habit};
use super::{Fragment, Reading};
use crate::theory::{Chord, Degree, Key, Label, Mode, PitchClass, PitchClassSet};

/// The reason for one chord of a reading: which tones sound, what the key and
/// the bass say, and how the fragment before it moved.
pub(super) fn of(row: &[Fragment], reading: &Reading, at: usize, frame: Frame) -> String {
    let implied = &reading.chords[at];
    let fragments = &row[implied.first..=implied.last];
    let Label::Chord(chord) = &implied.label else {
        return "no notes heard".into();
    };
    let root = chord.root.pitch_class();
    let heard: PitchClassSet = fragments
        .iter()
        .flat_map(|f| f.pitch_classes().iter().collect::<Vec<_>>())
        .collect();
    let bass = fragments.iter().find_map(Fragment::telling_bass);
    let tones: Vec<Degree> = chord
        .degrees()
        .into_iter()
        .filter(|d| heard.contains(d.over(root)))
        .collect();
    let silent: Vec<Degree> = chord
        .degrees()
        .into_iter()
        .filter(|d| !heard.contains(d.over(root)) && bass != Some(d.over(root)))
        .collect();
    let mut parts = vec![format!(
        "{} of {}",
        join(&tones.iter().map(|d| degree_words(*d)).collect::<Vec<_>>()),
        chord.root.text() + &super::super::chord_tail_text(chord),
    )];
    if !silent.is_empty() && silent.len() < chord.degrees().len() {
        parts.push(format!(
            "{} not sounded",
            join(&silent.iter().map(|d| plain_words(*d)).collect::<Vec<_>>())
        ));
    }
    let strange: Vec<String> = heard
        .iter()
        .filter(|pc| !chord.degrees().iter().any(|d| d.over(root) == *pc))
        .map(|pc| reading.key.spell(pc).text())
        .collect();
    if !strange.is_empty() {
        parts.push(format!("{} passes", strange.join(", ")));
    }
    if let Some(bass) = bass {
        parts.push(format!("{} in the bass", reading.key.spell(bass).text()));
    }
    parts.push(place_in_key(chord, frame));
    if implied.first > 0
        && let Some(moved) = slide_words(
            &row[implied.first - 1],
            &row[implied.first],
            reading.chords.get(at.wrapping_sub(1)).map(|c| &c.label),
            chord,
        )
    {
        parts.push(moved);
    }
    parts.join("; ")
}

/// `IV of A major`, `I7 of a blues in A`, or where the chord is from outside the key.
fn place_in_key(chord: &Chord, frame: Frame) -> String {
    let key = frame.key;
    let roman = crate::theory::roman(chord, key);
    let tonic = key.tonic.pitch_class();
    let outside: Vec<PitchClass> = chord
        .pitch_classes()
        .iter()
        .filter(|pc| frame.home() >> pc.above(tonic) & 1 == 0)
        .collect();
    if outside.is_empty() {
        return match frame.habit {
            Habit::Plain => format!("{roman} of {}", key.text()),
            Habit::Blues => format!("{roman} of a blues in {}", key.tonic.text()),
        };
    }
    let names: Vec<String> = outside.iter().map(|pc| key.spell(*pc).text()).collect();
    let parallel = Key::new(
        key.tonic,
        if key.mode.is_minor() {
            Mode::Major
        } else {
            Mode::Minor
        },
    );
    let scale: PitchClassSet = parallel.scale().iter().map(|n| n.pitch_class()).collect();
    let from = match chord.pitch_classes().without(scale).is_empty() {
        true => format!("borrowed from {}", parallel.text()),
        false => "outside the key".to_owned(),
    };
    format!("{roman} of {}, {from} ({})", key.text(), names.join(", "))
}

/// Small numbers in words, from none.
const COUNTS: [&str; 8] = ["no", "one", "two", "three", "four", "five", "six", "seven"];

/// How a pair slid into this chord, if it sounds the same tones of both chords.
fn slide_words(
    before: &Fragment,
    after: &Fragment,
    chord_before: Option<&Label>,
    chord: &Chord,
) -> Option<String> {
    let Some(Label::Chord(previous)) = chord_before else {
        return None;
    };
    let ([_, _], [_, _]) = (&before.midi[..], &after.midi[..]) else {
        return None;
    };
    let numbers = |f: &Fragment, chord: &Chord| -> Vec<Option<u8>> {
        let mut midi = f.midi.clone();
        midi.sort_unstable();
        midi.iter()
            .map(|m| {
                let pc = PitchClass::new(i32::from(*m));
                let degree = chord
                    .degrees()
                    .into_iter()
                    .find(|d| d.over(chord.root.pitch_class()) == pc)?;
                Some(degree.number())
            })
            .collect()
    };
    let (was, is) = (numbers(before, previous), numbers(after, chord));
    let low = |f: &Fragment| f.midi.iter().min().copied().map_or(0, i32::from);
    let by = low(after) - low(before);
    (was == is && by != 0 && was.iter().all(Option::is_some)).then(|| {
        format!(
            "same double stop, {} {}",
            if by > 0 { "up" } else { "down" },
            match by.unsigned_abs() as usize {
                1 => "one fret".to_owned(),
                n => format!(
                    "{} frets",
                    COUNTS.get(n).map_or(n.to_string(), |w| (*w).into())
                ),
            }
        )
    })
}

/// `minor third`, `fifth`, `root`.
fn degree_words(degree: Degree) -> String {
    let plain = plain_words(degree);
    match (degree.number(), degree.alter()) {
        (3, 0) => "major third".into(),
        (3 | 7, -1) => format!("minor {plain}"),
        (7, 0) => "major seventh".into(),
        (7, _) => format!("diminished {plain}"),
        (_, 0) => plain,
        (n, a) if a < 0 => format!("flat {}", crate::theory::number_short(n)),
        (n, _) => format!("sharp {}", crate::theory::number_short(n)),
    }
}

fn plain_words(degree: Degree) -> String {
    crate::theory::number_words(degree.number()).into()
}

/// `a`, `a and b`, `a, b and c`.
fn join(words: &[String]) -> String {
    match words {
        [] => "nothing".into(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}
