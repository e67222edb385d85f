//! Another key, another capo: chords by degree, shapes along the neck.
//!
//! A moved chord keeps its degree of the key, letter included (♭7 of G is F,
//! of A is G). A decided shape is moved along the neck where a hand can still
//! hold it; else the most usual shapes of the chord take its place as proposals, and
//! so they do for an open shape where the moved chord has one too. Shapes that nobody
//! decided were proposed because of what was heard: under another capo that still
//! holds, in another key the most usual are proposed.

use super::{ChartError, Options, easy};
use crate::fretboard::{
    Instrument, Limits, Shape, Tuning, check_capo, distinct, hold, usual_voicings,
};
use crate::songlog::form;
use crate::songlog::song::{Song, Span, State};
use crate::theory::{Chord, Degree, Key, Label};
use std::collections::{HashMap, HashSet};

/// The song as it is to be delivered: moved to the wanted key and capo.
///
/// Where a decided shape could not be moved, the one shown instead is a
/// proposal (`n_decided_shapes` is 0) and a warning says how many.
///
/// # Errors
/// * [`ChartError::Empty`] for a song without chords.
/// * [`ChartError::Exclusive`] for options that contradict each other.
/// * [`ChartError::NoKey`], [`ChartError::OtherMode`], [`ChartError::CapoRange`].
pub fn prepare(song: &Song, options: &Options) -> Result<Song, ChartError> {
    if song.spans.is_empty() {
        return Err(ChartError::Empty);
    }
    options.check()?;
    if options.degrees && song.key.is_none() {
        return Err(ChartError::NoKey {
            option: "--degrees",
        });
    }
    let mut moved = song.clone();
    let old_capo = song.instrument.capo;
    if let Some(capo) = options.capo {
        check_capo(capo).map_err(|_| ChartError::CapoRange { fret: capo })?;
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
        let mut usual = Usual::on(&moved.instrument);
        let mut lost: Vec<String> = Vec::new();
        for (span, old) in moved.spans.iter_mut().zip(&song.spans) {
            if semitones != 0 && span.n_decided_shapes == 0 {
                // what the hand was heard to hold says nothing in another key
                span.shapes = usual.of(&span.label);
            } else if move_shapes(span, &mut usual, frets, semitones != 0) {
                lost.extend(
                    old.shapes
                        .iter()
                        .take(old.n_decided_shapes)
                        .map(|s| format!("{} {s}", old.label.symbol())),
                );
            }
        }
        lost.sort();
        lost.dedup();
        if !lost.is_empty() {
            moved.warnings.push(format!(
                "not every decided shape can be moved there ({}); the most usual shape of the chord is shown instead and is not confirmed",
                lost.join(", ")
            ));
        }
    }
    propose_where_none(&mut moved);
    if options.easy {
        easy::simplify(&mut moved);
    }
    if let Some(which) = &options.lesson_notes {
        moved.notes.extend(which.words(song));
    }
    Ok(moved)
}

/// The most usual shapes of each chord, found once.
struct Usual {
    instrument: Instrument,
    found: HashMap<String, Vec<Shape>>,
}

impl Usual {
    /// How many are proposed for a chord.
    const N: usize = 2;

    fn on(instrument: &Instrument) -> Self {
        Self {
            instrument: instrument.clone(),
            found: HashMap::new(),
        }
    }

    fn of(&mut self, label: &Label) -> Vec<Shape> {
        let Some(chord) = label.chord() else {
            return Vec::new();
        };
        let find = || {
            let all = usual_voicings(&self.instrument, chord, &Limits::default());
            let first = distinct(&all, Self::N);
            first.into_iter().map(|v| v.shape.clone()).collect()
        };
        self.found.entry(chord.label()).or_insert_with(find).clone()
    }
}

/// A chord that the user wrote brings no shapes that were heard: the most usual are
/// proposed, so that no chord of the page lacks a box.
fn propose_where_none(song: &mut Song) {
    let with_shapes = |s: &&Span| !s.shapes.is_empty();
    let known: HashSet<String> = song
        .spans
        .iter()
        .filter(with_shapes)
        .map(|s| s.label.label())
        .collect();
    let mut usual = Usual::on(&song.instrument);
    for span in &mut song.spans {
        if span.shapes.is_empty() && !known.contains(&span.label.label()) {
            span.shapes = usual.of(&span.label);
        }
    }
}

/// Another tuning: what sounds stays, every shape is found anew and is open.
fn retune(song: &mut Song, tuning: &Tuning) {
    if song.instrument.tuning == *tuning {
        return;
    }
    song.instrument.tuning = tuning.clone();
    let mut usual = Usual::on(&song.instrument);
    for span in &mut song.spans {
        span.n_decided_shapes = 0;
        span.shapes = usual.of(&span.label);
    }
    let without: Vec<String> = usual
        .found
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

/// Moves the shapes of a span, or finds others. Gives whether decided shapes were lost.
fn move_shapes(span: &mut Span, usual: &mut Usual, frets: i32, other_key: bool) -> bool {
    // a shift of the key may go up or down; a capo alone must keep the sound
    let ways: &[i32] = if other_key { &[0, -12, 12] } else { &[0] };
    let n_decided = span.n_decided_shapes.min(span.shapes.len());
    let mut shapes = Vec::new();
    let mut n_kept = 0;
    // an open shape stays one
    let open = usual.of(&span.label).into_iter().find(is_open);
    let was_open = span.shapes.first().is_some_and(is_open);
    // a capo is put on for open shapes: those that nobody decided become open too
    let may_open = was_open || !other_key && n_decided == 0;
    if let Some(shape) = open.filter(|_| may_open) {
        span.shapes = vec![shape];
        span.n_decided_shapes = 0;
        return n_decided > 0 && span.state == State::Decided;
    }
    for (i, shape) in span.shapes.iter().enumerate() {
        let best = ways
            .iter()
            .filter_map(|octave| slide(shape, &usual.instrument, frets + octave))
            .min_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((_, shape)) = best {
            n_kept += usize::from(i < n_decided);
            shapes.push(shape);
        }
    }
    let lost = n_kept < n_decided;
    if shapes.is_empty() {
        shapes = usual.of(&span.label);
    }
    span.shapes = shapes;
    span.n_decided_shapes = if lost { 0 } else { n_kept };
    lost && span.state == State::Decided
}

/// Highest fret of a shape with open strings that is taught as an open chord.
const OPEN_UP_TO: u8 = 4;

/// Whether strings ring open in a shape near the nut or capo.
fn is_open(shape: &Shape) -> bool {
    let frets = shape.frets();
    frets.contains(&Some(0)) && frets.iter().flatten().all(|f| *f <= OPEN_UP_TO)
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
    // an open string that comes to be pressed may ask for more than any hand has
    (hand.span_mm <= Limits::default().span_mm).then_some((hand.effort, moved))
}
