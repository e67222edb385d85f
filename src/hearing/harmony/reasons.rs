//! Why a candidate is proposed, in words: which of its tones were heard, what
//! sounds beside it, and what lies lowest.

use crate::hearing::acoustic::net::LOWEST_MIDI;
use crate::hearing::reading::HeardSpan;
use crate::hearing::voicing::fit::Pitches;
use crate::theory::{Chord, Key, Label, Mode, PitchClass};

/// From here a tone counts as heard, and below it as not.
const HEARD: f32 = 0.5;
/// From here a tone that the chord lacks is worth a word.
const BESIDE: f32 = 0.7;

/// Gives every candidate of a span that has no reason yet its reason.
pub(crate) fn give_reasons(span: &mut HeardSpan, pitches: &Pitches, key: Option<Key>) {
    let sound = Sounding::of(pitches, span.bass_midi);
    for (label, _, reason) in &mut span.candidates {
        if reason.is_empty() {
            *reason = match label {
                Label::Chord(chord) => of_chord(chord, &sound, key),
                Label::NoChord => "no chord's tones sound together".into(),
                Label::Unknown => String::new(),
            };
        }
    }
}

/// How surely each pitch class sounds, and the lowest that does.
struct Sounding {
    classes: [f32; 12],
    lowest: Option<PitchClass>,
}

impl Sounding {
    fn of(pitches: &Pitches, bass_midi: Option<u8>) -> Self {
        let mut classes = [0f32; 12];
        for (p, heard) in pitches.heard.iter().enumerate() {
            let class = &mut classes[(p + usize::from(LOWEST_MIDI)) % 12];
            *class = class.max(*heard);
        }
        Self {
            classes,
            lowest: bass_midi.map(|m| PitchClass::new(m.into())),
        }
    }

    fn is_heard(&self, pc: PitchClass, least: f32) -> bool {
        self.classes[pc.index()] >= least
    }
}

fn of_chord(chord: &Chord, sound: &Sounding, key: Option<Key>) -> String {
    let key = key.unwrap_or(Key::usual(chord.root.pitch_class(), Mode::Major));
    let names = |classes: &[PitchClass]| -> String {
        let names: Vec<String> = classes.iter().map(|pc| key.spell(*pc).text()).collect();
        match &names[..] {
            [first @ .., last] if !first.is_empty() => format!("{} and {last}", first.join(", ")),
            [one] => one.clone(),
            _ => String::new(),
        }
    };
    let root = chord.root.pitch_class();
    let mut tones: Vec<PitchClass> = chord.degrees().iter().map(|d| d.over(root)).collect();
    let bass = chord.bass_pitch_class();
    if !tones.contains(&bass) {
        tones.push(bass);
    }
    let missing: Vec<PitchClass> = tones
        .iter()
        .copied()
        .filter(|pc| !sound.is_heard(*pc, HEARD))
        .collect();
    let beside: Vec<PitchClass> = PitchClass::all()
        .filter(|pc| !tones.contains(pc) && sound.is_heard(*pc, BESIDE))
        .collect();
    let mut said = vec![match missing.len() {
        0 => format!("{} heard", names(&tones)),
        n if n == tones.len() => "none of its tones heard".into(),
        _ => format!("no {} heard", names(&missing).replace(" and ", " or ")),
    }];
    if !beside.is_empty() {
        said.push(format!("{} beside it", names(&beside)));
    }
    if let Some(lowest) = sound.lowest.filter(|pc| *pc != bass) {
        said.push(format!("{} lowest", key.spell(lowest).text()));
    }
    said.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hearing::acoustic::net::N_PITCHES;

    fn span(labels: &[&str], lowest: u8) -> HeardSpan {
        HeardSpan {
            start_s: 0.0,
            end_s: 1.0,
            candidates: labels
                .iter()
                .map(|l| (l.parse().expect("a label"), 0.5, String::new()))
                .collect(),
            shapes: Vec::new(),
            bass_midi: Some(lowest),
            chroma: [0.0; 12],
            fragment: false,
        }
    }

    #[test]
    fn a_candidate_tells_what_speaks_for_it_and_against_it() {
        let mut heard = [0f32; N_PITCHES];
        for midi in [50, 57, 62, 66] {
            heard[midi - usize::from(LOWEST_MIDI)] = 0.9;
        }
        let pitches = Pitches {
            heard,
            ringing: [0.0; N_PITCHES],
            together: 1.0,
        };
        let mut span = span(&["D:maj", "D:7", "D:maj/3", "A:min", "D:5", "N"], 50);
        give_reasons(&mut span, &pitches, Some("G".parse().expect("a key")));
        let said: Vec<&str> = span.candidates.iter().map(|c| c.2.as_str()).collect();
        assert_eq!(
            said,
            [
                "D, F♯ and A heard",
                "no C heard",
                "D, F♯ and A heard, D lowest",
                "no C or E heard, D and F♯ beside it, D lowest",
                "D and A heard, F♯ beside it",
                "no chord's tones sound together",
            ]
        );
    }

    #[test]
    fn a_reason_that_is_there_stays() {
        let mut span = span(&["D:maj"], 50);
        span.candidates[0].2 = "root and third".into();
        let pitches = Pitches {
            heard: [0.0; N_PITCHES],
            ringing: [0.0; N_PITCHES],
            together: 0.0,
        };
        give_reasons(&mut span, &pitches, None);
        assert_eq!(span.candidates[0].2, "root and third");
    }
}
