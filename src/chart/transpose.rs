//! Another key, another capo: chords by degree, shapes along the neck.
//!
//! A moved chord keeps its degree of the key, letter included (♭7 of G is F,
//! of A is G). A shape is moved along the neck where a hand can still hold it;
//! else the easiest shape of the chord takes its place as a proposal.

use super::{ChartError, Options, easy};
use crate::fretboard::{Instrument, Limits, Shape, Tuning, Wanted, hold, voicings};
use crate::songlog::form;
use crate::songlog::song::{Song, Span, State};
use crate::theory::{Chord, Degree, Key, Label};
use std::collections::HashMap;

/// Highest capo that leaves an octave of neck.
const HIGHEST_CAPO: u8 = 11;

/// The song as it is to be delivered: moved to the wanted key and capo.
///
/// Where a decided shape could not be moved, the one shown instead is a
/// proposal (`n_decided_shapes` is 0) and a warning says how many.
///
/// # Errors
/// * [`ChartError::Empty`] for a song without chords.
/// * [`ChartError::NoKey`], [`ChartError::OtherMode`], [`ChartError::CapoRange`].
pub fn prepare(song: &Song, options: &Options) -> Result<Song, ChartError> {
    if song.spans.is_empty() {
        return Err(ChartError::Empty);
    }
    if options.degrees && song.key.is_none() {
        return Err(ChartError::NoKey {
            option: "--degrees",
        });
    }
    let mut moved = song.clone();
    let old_capo = song.instrument.capo;
    if let Some(capo) = options.capo {
        if capo > HIGHEST_CAPO {
            return Err(ChartError::CapoRange { fret: capo });
        }
        moved.instrument.capo = capo;
    }
    if let Some(tuning) = &options.tuning {
        retune(&mut moved, tuning);
    }
    let semitones = match options.key {
        Some(wanted) => move_key(&mut moved, wanted)?,
        None => 0,
    };
    let frets = semitones + i32::from(old_capo) - i32::from(moved.instrument.capo);
    if frets != 0 || semitones != 0 {
        let instrument = moved.instrument.clone();
        let mut n_remade = 0;
        for span in &mut moved.spans {
            // a shift of the key may go up or down; a capo alone must keep the sound
            let ways: &[i32] = match semitones {
                0 => &[0],
                _ => &[0, -12, 12],
            };
            n_remade += usize::from(move_shapes(span, &instrument, frets, ways));
        }
        if n_remade > 0 {
            moved.warnings.push(format!(
                "{n_remade} decided shapes cannot be moved there; the easiest shape of the chord is shown instead and is open"
            ));
        }
    }
    if options.easy {
        easy::simplify(&mut moved);
    }
    Ok(moved)
}

/// Another tuning: what sounds stays, every shape is found anew and is open.
fn retune(song: &mut Song, tuning: &Tuning) {
    if song.instrument.tuning == *tuning {
        return;
    }
    song.instrument.tuning = tuning.clone();
    let mut made: HashMap<String, Vec<Shape>> = HashMap::new();
    for span in &mut song.spans {
        span.n_decided_shapes = 0;
        span.shapes.clear();
        let Some(chord) = span.label.chord() else {
            continue;
        };
        let shapes = made.entry(chord.label()).or_insert_with(|| {
            let all = voicings(&song.instrument, Wanted::chord(chord), &Limits::default());
            all.into_iter().take(2).map(|v| v.shape).collect()
        });
        span.shapes.clone_from(shapes);
    }
    let without: Vec<String> = made
        .iter()
        .filter(|(_, shapes)| shapes.is_empty())
        .map(|(label, _)| label.clone())
        .collect();
    song.warnings.push(format!(
        "shapes were found anew for the tuning {} and are open",
        tuning.text()
    ));
    if !without.is_empty() {
        let mut names = without;
        names.sort();
        song.warnings
            .push(format!("no hand plays {} in that tuning", names.join(", ")));
    }
}

/// Moves every label; gives the semitones upwards, -5 to 6.
fn move_key(song: &mut Song, wanted: Key) -> Result<i32, ChartError> {
    let old = song.key.ok_or(ChartError::NoKey { option: "--key" })?;
    if old.mode != wanted.mode {
        return Err(ChartError::OtherMode {
            song: old.text(),
            wanted: wanted.text(),
        });
    }
    let up = wanted.tonic.pitch_class().above(old.tonic.pitch_class());
    let semitones = if up > 6 { up - 12 } else { up };
    song.key = Some(wanted);
    let midi = |m: u8| u8::try_from(i32::from(m) + semitones).unwrap_or(m);
    for span in &mut song.spans {
        span.label = move_label(&span.label, old, wanted);
        for candidate in &mut span.candidates {
            candidate.label = move_label(&candidate.label, old, wanted);
        }
        span.bass_midi = span.bass_midi.map(midi);
        for (m, _) in &mut span.struck {
            *m = midi(*m);
        }
    }
    for change in &mut song.key_changes {
        let tonic = Degree::between(old.tonic, change.key.tonic).note_over(wanted.tonic);
        let as_far = Key::new(tonic, change.key.mode);
        // nobody writes more than seven signs
        change.key = match as_far.signature().abs() {
            0..=7 => as_far,
            _ => Key::usual(tonic.pitch_class(), as_far.mode),
        };
    }
    form::section_keys(song);
    form::describe(song);
    Ok(semitones)
}

fn move_label(label: &Label, old: Key, new: Key) -> Label {
    match label {
        Label::Chord(chord) => Label::Chord(move_chord(chord, old, new)),
        other => other.clone(),
    }
}

fn move_chord(chord: &Chord, old: Key, new: Key) -> Chord {
    let root = Degree::between(old.tonic, chord.root).note_over(new.tonic);
    // no chart is easier to read for a double accidental in a root
    let root = if root.alter().abs() > 1 {
        new.spell(root.pitch_class())
    } else {
        root
    };
    chord.with_root(root)
}

/// Moves the shapes of a span, or makes one. Gives whether decided shapes were lost.
fn move_shapes(span: &mut Span, instrument: &Instrument, frets: i32, ways: &[i32]) -> bool {
    let n_decided = span.n_decided_shapes.min(span.shapes.len());
    let mut shapes = Vec::new();
    let mut n_kept = 0;
    for (i, shape) in span.shapes.iter().enumerate() {
        let best = ways
            .iter()
            .filter_map(|octave| slide(shape, instrument, frets + octave))
            .min_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((_, shape)) = best {
            n_kept += usize::from(i < n_decided);
            shapes.push(shape);
        }
    }
    let lost = n_kept < n_decided;
    if shapes.is_empty()
        && let Some(chord) = span.label.chord()
    {
        let made = voicings(instrument, Wanted::chord(chord), &Limits::default());
        shapes.extend(made.into_iter().take(1).map(|v| v.shape));
    }
    span.shapes = shapes;
    span.n_decided_shapes = if lost { 0 } else { n_kept };
    lost && span.state == State::Decided
}

/// The shape so many frets higher with its effort, if it stays on the neck and in the hand.
fn slide(shape: &Shape, instrument: &Instrument, frets: i32) -> Option<(f64, Shape)> {
    let neck = i32::from(instrument.highest_fret) - i32::from(instrument.capo);
    let moved = shape
        .frets()
        .iter()
        .map(|fret| match fret {
            None => Some(None),
            Some(f) => {
                let to = i32::from(*f) + frets;
                (0..=neck.min(15))
                    .contains(&to)
                    .then(|| u8::try_from(to).ok())
                    .flatten()
                    .map(Some)
            }
        })
        .collect::<Option<Vec<_>>>()?;
    let moved = Shape::new(moved).ok()?;
    let hand = hold(instrument, &moved)?;
    Some((hand.effort, moved))
}
