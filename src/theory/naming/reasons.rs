//! Why a name, and why before another, in words.

use super::{Name, NameKind};
use crate::theory::{Degree, Key, PitchClassSet};

/// The reasons for one name, each a short phrase.
pub fn reasons(name: &Name, set: PitchClassSet, key: Option<Key>) -> Vec<String> {
    let chord = &name.chord;
    let root = chord.root.pitch_class();
    let mut reasons = Vec::new();
    if let Some(lower) = &name.lower {
        return vec![format!(
            "the triads {} and {} together sound all of it",
            chord.symbol(),
            lower.symbol()
        )];
    }
    let third = chord.degrees().into_iter().find(|d| d.number() == 3);
    let instead = chord
        .degrees()
        .into_iter()
        .find(|d| matches!(d.number(), 2 | 4));
    match (chord.bass, set.contains(root)) {
        (_, false) => reasons.push(format!("its root {} is not played", chord.root.text())),
        (None, true) => reasons.push(format!("the bass {} is its root", chord.root.text())),
        (Some(bass), true) if name.kind == NameKind::OverBass => reasons.push(format!(
            "the bass {} is not a chord tone",
            bass.note_over(chord.root).text()
        )),
        (Some(bass), true) => reasons.push(format!(
            "the bass {} is its {}",
            bass.note_over(chord.root).text(),
            words(bass)
        )),
    }
    match (third, instead) {
        (Some(d), _) => reasons.push(format!(
            "the {} third {} makes it {}",
            if d.alter() < 0 { "minor" } else { "major" },
            d.note_over(chord.root).text(),
            if d.alter() < 0 { "minor" } else { "major" }
        )),
        (None, Some(d)) => reasons.push(format!(
            "the {} {} stands for the third",
            words(d),
            d.note_over(chord.root).text()
        )),
        (None, None) => reasons.push("no third: neither major nor minor".into()),
    }
    if !chord.added.is_empty() {
        let list: Vec<String> = chord.added.iter().map(|d| d.text()).collect();
        reasons.push(format!("added: {}", list.join(", ")));
    }
    let quiet: Vec<String> = name
        .missing
        .iter()
        .filter(|d| d.number() != 1)
        .map(|d| words(*d))
        .collect();
    if !quiet.is_empty() {
        reasons.push(format!("left out: {}", quiet.join(", ")));
    }
    if !name.besides.is_empty() {
        let list: Vec<String> = name.besides.iter().map(|d| words(*d)).collect();
        reasons.push(format!("also sounds: {}", list.join(", ")));
    }
    if name.kind == NameKind::Convention {
        reasons.push("no common name has all of it".into());
    }
    if let Some(key) = key {
        let scale: PitchClassSet = key.scale().iter().map(|n| n.pitch_class()).collect();
        let outside = set.without(scale);
        reasons.push(if outside.is_empty() {
            format!("{} of {}", crate::theory::roman(chord, key), key.text())
        } else {
            let names: Vec<String> = outside.iter().map(|p| key.spell(p).text()).collect();
            format!("{} outside {}", names.join(", "), key.text())
        });
    }
    reasons
}

/// Why `first` comes before `second`: the consideration that weighs most.
pub fn before(first: &Name, second: &Name) -> String {
    let (a, b) = (first.parts, second.parts);
    let bass = || match second.chord.bass {
        Some(d) => format!(
            "its root is in the bass; in {} the bass is the {}",
            second.text(),
            words(d)
        ),
        None => format!(
            "its bass is nearer to its root than that of {}",
            second.text()
        ),
    };
    let list = [
        (b.bass - a.bass, 0),
        (b.missing - a.missing, 1),
        (b.added - a.added, 2),
        (b.rootless - a.rootless, 3),
        (b.key - a.key, 4),
        (b.quality - a.quality, 5),
    ];
    let (by, which) = list
        .into_iter()
        .max_by_key(|(by, at)| (*by, -at))
        .unwrap_or((0, 5));
    if by <= 0 {
        return format!("as good a name as {}", second.text());
    }
    match which {
        0 => bass(),
        1 => format!("more of its tones sound than of {}", second.text()),
        2 => format!("fewer tones have to be added than to {}", second.text()),
        3 => format!("its root sounds; that of {} does not", second.text()),
        4 => format!("it lies nearer to the key than {}", second.text()),
        _ => format!("a plainer name than {}", second.text()),
    }
}

/// `minor third`, `fifth`, `lowered ninth`.
pub(super) fn words(degree: Degree) -> String {
    let plain = crate::theory::number_words(degree.number());
    match (degree.number(), degree.alter()) {
        (3, 0) => "major third".into(),
        (3 | 7, -1) => format!("minor {plain}"),
        (7, 0) => "major seventh".into(),
        (7, _) => "diminished seventh".into(),
        (_, 0) => plain.into(),
        (n, a) if a < 0 => format!("flat {}", crate::theory::number_short(n)),
        (n, _) => format!("sharp {}", crate::theory::number_short(n)),
    }
}
