//! Fragments: stretches where only one to three notes sound at a time.
//!
//! There the sound alone does not say the chord. The plucks of such a stretch
//! are handed, with the net's evidence, to [`crate::theory::imply`], which
//! reads the row together: key, neighbors, bar places and the habit of sliding
//! one pair of strings along the neck decide.

use crate::hearing::acoustic::frames::frames_in;
use crate::hearing::acoustic::net::{Acoustic, N_CLASSES};
use crate::hearing::learned;
use crate::hearing::outputs::Note;
use crate::hearing::rhythm::grid::Grid;
use crate::hearing::weight_files::PLUCKS;
use crate::theory::imply::{Fragment, Place, RowReading, n_states, read_row, state_index};
use crate::theory::{Key, PitchClass, Quality};

/// Weights of the reading of plucks.
#[derive(Debug, Clone, serde::Deserialize, serde::Serialize)]
#[serde(deny_unknown_fields)]
pub struct PluckWeights {
    /// A stretch is plucked if fewer notes than this sound on average.
    pub most_sounding: f64,
    /// Nor are more than this struck together on average.
    pub most_together: f64,
    /// As many notes sounding on average are a whole chord.
    pub whole_chord: f64,
    /// Scale of the net's summed evidence beside the notes'.
    pub evidence: f32,
    /// Notes this near are one pluck, s.
    pub together_s: f64,
    /// Shortest stretch that is read as plucks, s.
    pub shortest_s: f64,
}

impl Default for PluckWeights {
    fn default() -> Self {
        learned::read(&PLUCKS)
    }
}

/// One pluck: when, and which notes sound.
#[derive(Debug, Clone)]
struct Pluck {
    time_s: f64,
    midi: Vec<u8>,
}

/// A chord that a row of plucks implies.
#[derive(Debug, Clone)]
pub(crate) struct ImpliedSpan {
    pub(crate) start_s: f64,
    pub(crate) end_s: f64,
    /// Best first: label, probability, reason.
    pub(crate) candidates: Vec<(crate::theory::Label, f64, String)>,
}

/// How many notes sound on average between two times while any does, and how
/// many are struck together on average.
pub(crate) fn texture(notes: &[Note], start_s: f64, end_s: f64) -> (f64, f64) {
    let inside: Vec<&Note> = notes
        .iter()
        .filter(|n| n.start_s < end_s - 0.03 && n.end_s > start_s + 0.03)
        .collect();
    let (mut count, mut steps) = (0usize, 0usize);
    let mut time_s = start_s + 0.1;
    while time_s < end_s {
        let n = inside
            .iter()
            .filter(|n| n.start_s <= time_s && n.end_s > time_s)
            .count();
        if n > 0 {
            count += n;
            steps += 1;
        }
        time_s += 0.1;
    }
    let starts: Vec<f64> = inside
        .iter()
        .map(|n| n.start_s)
        .filter(|s| *s > start_s - 0.03)
        .collect();
    let together = starts.windows(2).filter(|w| w[1] - w[0] < 0.05).count();
    let events = (starts.len() - together.min(starts.len())).max(1);
    (
        count as f64 / steps.max(1) as f64,
        starts.len() as f64 / events as f64,
    )
}

/// Reads the plucks between two times together; empty if there are none.
pub(crate) fn read_plucks(
    acoustic: &Acoustic,
    notes: &[Note],
    grid: &Grid,
    key: Option<Key>,
    (start_s, end_s): (f64, f64),
    weights: &PluckWeights,
) -> Vec<ImpliedSpan> {
    let plucks = plucks(notes, start_s, end_s, weights);
    if plucks.is_empty() {
        return Vec::new();
    }
    let ends: Vec<f64> = (0..plucks.len())
        .map(|i| plucks.get(i + 1).map_or(end_s, |p| p.time_s))
        .collect();
    let beat_s = grid.tempo_bpm.map_or(0.5, |bpm| 60.0 / bpm);
    let row: Vec<Fragment> = plucks
        .iter()
        .zip(&ends)
        .map(|(pluck, end)| Fragment {
            midi: pluck.midi.clone(),
            strings: Vec::new(),
            bass: None,
            beats: ((end - pluck.time_s) / beat_s).max(0.05),
            place: place(grid, pluck.time_s),
            evidence: evidence(acoustic, pluck.time_s, *end, weights.evidence),
        })
        .collect();
    let reading = read_row(&row, key, 1);
    spans(&reading, &plucks, &ends)
}

fn spans(reading: &RowReading, plucks: &[Pluck], ends: &[f64]) -> Vec<ImpliedSpan> {
    let Some(best) = reading.readings.first() else {
        return Vec::new();
    };
    best.chords
        .iter()
        .map(|chord| {
            let mut candidates =
                vec![(chord.label.clone(), chord.probability, chord.reason.clone())];
            // the others as likely as the pluck that knows them best says
            for marginals in &reading.fragments[chord.first..=chord.last] {
                for (label, probability) in marginals {
                    match candidates.iter_mut().skip(1).find(|c| c.0 == *label) {
                        Some(known) => known.1 = known.1.max(*probability),
                        None if *label != chord.label => {
                            candidates.push((label.clone(), *probability, String::new()));
                        }
                        None => {}
                    }
                }
            }
            candidates[1..].sort_by(|a, b| b.1.total_cmp(&a.1));
            candidates.truncate(6);
            let rest: f64 = candidates[1..].iter().map(|c| c.1).sum();
            let room = (1.0 - chord.probability).max(0.0);
            for c in &mut candidates[1..] {
                c.1 *= if rest > room { room / rest } else { 1.0 };
            }
            ImpliedSpan {
                start_s: plucks[chord.first].time_s,
                end_s: ends[chord.last],
                candidates,
            }
        })
        .collect()
}

/// Plucks in order: what is struck, and what still rings from the pluck before.
fn plucks(notes: &[Note], start_s: f64, end_s: f64, weights: &PluckWeights) -> Vec<Pluck> {
    let mut found: Vec<Pluck> = Vec::new();
    let inside = notes
        .iter()
        .filter(|n| n.start_s >= start_s - 0.03 && n.start_s < end_s - 0.03);
    for note in inside {
        match found.last_mut() {
            Some(last) if note.start_s - last.time_s < weights.together_s => {
                if !last.midi.contains(&note.midi) {
                    last.midi.push(note.midi);
                }
            }
            _ => found.push(Pluck {
                time_s: note.start_s,
                midi: vec![note.midi],
            }),
        }
    }
    // a string that goes on sounding belongs to the next pluck too
    for pluck in found.iter_mut().skip(1) {
        let now = pluck.time_s;
        let ringing = notes
            .iter()
            .filter(|n| n.start_s < now - weights.together_s && n.end_s > now + 0.12)
            .map(|n| n.midi);
        for midi in ringing {
            if !pluck.midi.contains(&midi) && pluck.midi.len() < 3 {
                pluck.midi.push(midi);
            }
        }
    }
    for pluck in &mut found {
        pluck.midi.sort_unstable();
        pluck.midi.truncate(3);
    }
    found
}

fn place(grid: &Grid, time_s: f64) -> Place {
    let near = |b: &&(f64, u8)| (b.0 - time_s).abs() < 0.12;
    match grid.beats.iter().find(near) {
        Some((_, 1)) => Place::BarStart,
        Some((_, 3)) if grid.meter.is_some_and(|m| m.0 == 4) => Place::Strong,
        _ if grid.beats.is_empty() => Place::Strong,
        _ => Place::Weak,
    }
}

/// The net's evidence for each of the implied states between two times.
fn evidence(acoustic: &Acoustic, start_s: f64, end_s: f64, scale: f32) -> Vec<f64> {
    let mut all = vec![f64::NAN; n_states() + 1];
    let mut lowest = 0.0f64;
    let mut sums = [0.0f32; N_CLASSES];
    let mut chords = acoustic.chords();
    for (frame, weight) in frames_in(start_s, end_s, acoustic.n_frames()) {
        for (sum, ln) in sums.iter_mut().zip(chords.all(frame)) {
            *sum += weight * ln;
        }
    }
    for (q, quality) in Quality::of_net().into_iter().enumerate() {
        for root in 0..12 {
            let Some(index) = state_index(PitchClass::new(root as i32), quality) else {
                continue;
            };
            all[index] = f64::from(scale * sums[q * 12 + root]);
            lowest = lowest.min(all[index]);
        }
    }
    for value in &mut all {
        if value.is_nan() {
            *value = lowest;
        }
    }
    all
}
