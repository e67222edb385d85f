//! The rhythm stage: the count and the grid, with what the user said of single bars.

use crate::hearing::acoustic::sound::Sound;
use crate::hearing::outputs::{Given, Note, WhichBar};
use crate::hearing::rhythm::bars::{count, counts, recount};
use crate::hearing::rhythm::beats::BeatWeights;
use crate::hearing::rhythm::clock::on_strokes;
use crate::hearing::rhythm::count::Count;
use crate::hearing::rhythm::count_choice::chosen;
use crate::hearing::rhythm::grid::{Grid, grid};
use crate::hearing::rhythm::pulse::moments;

/// The count and the grid, with what the user said of single bars.
pub(in crate::hearing) fn beats_and_bars(
    sound: &Sound,
    given: &Given,
    weights: &BeatWeights,
    notes: &[Note],
) -> (Option<Count>, Grid) {
    let moments = moments(sound);
    let mut counted = match counts_freely(given) {
        true => chosen(counts(&moments, notes, given, weights), &sound.songs.pulse),
        false => count(&moments, notes, given, weights),
    };
    if let (true, Some(counted)) = (given.beats_s.is_empty(), &mut counted) {
        counted.beats_s = on_strokes(&counted.beats_s, &sound.strokes);
    }
    let mut bars = grid(counted.as_ref(), given, notes, sound.duration_s());
    let mut fixed: Vec<(f64, u8)> = Vec::new();
    for (which, n_beats) in &given.bar_beats {
        let at_s = match which {
            WhichBar::At(at_s) => Some(*at_s),
            WhichBar::Number(n) => bars.bars.iter().find(|b| b.number == *n).map(|b| b.start_s),
        };
        let (Some(at_s), Some(before)) = (at_s, &counted) else {
            continue;
        };
        fixed.push((at_s, *n_beats));
        let now = recount(before, &moments, given, &fixed);
        bars = grid(Some(&now), given, notes, sound.duration_s());
        counted = Some(now);
    }
    (counted, bars)
}

/// Whether the user said nothing of beats and bars.
fn counts_freely(given: &Given) -> bool {
    given.beats_s.is_empty()
        && given.bar_beats.is_empty()
        && given.tempo_bpm.is_none()
        && given.meter.is_none()
        && given.first_downbeat_s.is_none()
}
