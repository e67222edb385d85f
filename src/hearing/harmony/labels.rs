//! Names of what the search for chords found: labels of the net's classes, and candidates.

use crate::hearing::acoustic::net::NO_CHORD;
use crate::hearing::harmony::chords::States;
use crate::hearing::outputs::HeardSpan;
use crate::theory::{Chord, Degree, Key, Label, Mode, PitchClass, Quality};

/// The best labels of one stretch with their probabilities.
pub(crate) fn candidates(
    states: &States,
    scores: &[f32],
    key: Option<Key>,
    temperature: f32,
) -> Vec<(Label, f64, String)> {
    const N: usize = 6;
    let top = scores.iter().copied().fold(f32::MIN, f32::max);
    let mut weighted: Vec<(f32, usize)> = scores
        .iter()
        .enumerate()
        .map(|(i, s)| (((s - top) / temperature.max(1e-3)).exp(), i))
        .collect();
    let total: f32 = weighted.iter().map(|w| w.0).sum();
    weighted.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let three = three_chords(weighted.iter().map(|(_, i)| states.list[*i].0));
    let (first, rest): (Vec<_>, Vec<_>) = (0..weighted.len()).partition(|k| three.contains(k));
    first
        .into_iter()
        .chain(rest)
        .take(N)
        .map(|k| {
            let (w, i) = weighted[k];
            let (class, bass, _) = states.list[i];
            (
                label_of(class, bass, key),
                f64::from(w / total),
                String::new(),
            )
        })
        .collect()
}

/// Chords of an instrument without a bass (a ukulele): no chord stands over another tone, for
/// any may lie lowest; what then are neighbors of one name are one chord.
pub(crate) fn without_basses(spans: Vec<HeardSpan>) -> Vec<HeardSpan> {
    let mut kept: Vec<HeardSpan> = Vec::with_capacity(spans.len());
    for mut span in spans {
        let mut plain: Vec<(Label, f64, String)> = Vec::with_capacity(span.candidates.len());
        for (label, probability, reason) in span.candidates {
            let label = match label {
                Label::Chord(chord) => Label::Chord(Chord {
                    bass: None,
                    ..chord
                }),
                other => other,
            };
            match plain.iter_mut().find(|(known, ..)| *known == label) {
                Some((_, sum, _)) => *sum += probability,
                None => plain.push((label, probability, reason)),
            }
        }
        plain.sort_by(|a, b| b.1.total_cmp(&a.1));
        span.candidates = plain;
        match kept.last_mut() {
            Some(before)
                if before.end_s == span.start_s
                    && before.candidates[0].0 == span.candidates[0].0 =>
            {
                before.end_s = span.end_s;
            }
            _ => kept.push(span),
        }
    }
    kept
}

/// Places of the first three different classes: a chord over another bass is one
/// more candidate, but does not take the place of another chord.
fn three_chords(classes: impl Iterator<Item = usize>) -> Vec<usize> {
    let (mut places, mut seen) = (Vec::new(), Vec::new());
    for (place, class) in classes.enumerate() {
        if places.len() == 3 {
            break;
        }
        if !seen.contains(&class) {
            seen.push(class);
            places.push(place);
        }
    }
    places
}

/// Chord, bass and key names of the net's classes.
pub(crate) fn label_of(class: usize, bass: usize, key: Option<Key>) -> Label {
    if class == NO_CHORD {
        return Label::NoChord;
    }
    let root = PitchClass::new((class % 12) as i32);
    let key = key.unwrap_or(Key::usual(PitchClass::new(0), Mode::Major));
    let quality = Quality::of_net_class(class / 12);
    let chord = Chord::new(key.spell_root(root), quality);
    let semitones = PitchClass::new(bass as i32).above(root);
    Label::Chord(match bass_degree(quality, semitones) {
        Some(degree) => chord.over(degree),
        None => chord,
    })
}

/// The degree of a bass so many semitones above the root: the chord's own if it has one.
fn bass_degree(quality: &Quality, semitones: i32) -> Option<Degree> {
    if semitones == 0 {
        return None;
    }
    let own = quality
        .degrees
        .iter()
        .find(|d| d.semitones().rem_euclid(12) == semitones)
        .map(|d| Degree::new((d.number() - 1) % 7 + 1, d.alter()));
    Some(own.unwrap_or(Degree::plain(semitones)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ukulele_has_no_slash_chords() {
        let span = |start_s: f64, labels: &[(&str, f64)]| HeardSpan {
            start_s,
            end_s: start_s + 1.0,
            candidates: labels
                .iter()
                .map(|(text, p)| {
                    let chord = text.parse().unwrap_or_else(|e| panic!("{e}"));
                    (Label::Chord(chord), *p, String::new())
                })
                .collect(),
            shapes: Vec::new(),
            bass_midi: None,
            chroma: [0.0; 12],
            fragment: false,
        };
        let heard = without_basses(vec![
            span(0.0, &[("Am/C", 0.4), ("C", 0.35), ("Am", 0.2)]),
            span(1.0, &[("Am", 0.9)]),
            span(2.0, &[("F/C", 0.3), ("C/E", 0.25), ("C", 0.25)]),
        ]);
        let found: Vec<(String, f64, f64)> = heard
            .iter()
            .map(|s| (s.candidates[0].0.symbol(), s.start_s, s.end_s))
            .collect();
        assert_eq!(found, [("Am".into(), 0.0, 2.0), ("C".into(), 2.0, 3.0)]);
        assert!((heard[0].candidates[0].1 - 0.6).abs() < 1e-9);
    }
}
