//! Stretches where only a few notes sound at a time, told by what their plucks imply.

use crate::hearing::acoustic::sound::Sound;
use crate::hearing::harmony::keys::Keys;
use crate::hearing::harmony::plucks::{PluckWeights, read_plucks, texture};
use crate::hearing::outputs::HeardSpan;
use crate::hearing::outputs::Note;
use crate::hearing::rhythm::grid::Grid;
use crate::theory::Label;

/// Replaces stretches where only a few notes sound at a time by what their plucks imply.
pub(crate) fn with_plucks(
    spans: Vec<HeardSpan>,
    sound: &Sound,
    notes: &[Note],
    grid: &Grid,
    keys: &Keys,
    weights: &PluckWeights,
) -> Vec<HeardSpan> {
    let sparse = sparse_spans(&spans, notes, weights);
    let mut out: Vec<HeardSpan> = Vec::new();
    let mut i = 0;
    while i < spans.len() {
        if !sparse[i] {
            out.push(spans[i].clone());
            i += 1;
            continue;
        }
        let mut end = i;
        // a row is read in one key
        let key = keys.at(spans[i].start_s);
        let goes_on = |k: usize| sparse[k] && keys.at(spans[k].start_s) == key;
        while end + 1 < spans.len() && goes_on(end + 1) {
            end += 1;
        }
        let run = &spans[i..=end];
        let sounding = |s: &&HeardSpan| s.candidates[0].0 != Label::NoChord;
        let first = run.iter().find(sounding).map(|s| s.start_s);
        let last = run.iter().rfind(sounding).map(|s| s.end_s);
        // bare fifths throughout are power chords, not fragments
        let seconds = |keep: &dyn Fn(&HeardSpan) -> bool| -> f64 {
            let kept = run.iter().filter(|s| keep(s));
            kept.map(|s| s.end_s - s.start_s).sum()
        };
        let is_power = |s: &HeardSpan| {
            let chord = s.candidates[0].0.chord();
            chord.is_some_and(|c| c.quality.harte == "5")
        };
        let power = seconds(&is_power) > 0.6 * seconds(&|s| sounding(&s));
        let read = match first.zip(last) {
            Some((a, b)) if b - a >= weights.shortest_s && !power => {
                read_plucks(&sound.acoustic, notes, grid, key, (a, b), weights)
            }
            _ => Vec::new(),
        };
        if read.is_empty() {
            out.extend(run.iter().cloned());
        } else {
            // silence before, between and after the plucks stays silence
            let (from, to) = (run[0].start_s, run[run.len() - 1].end_s);
            let (begin, stop) = (read[0].start_s, read[read.len() - 1].end_s);
            out.extend(silence(from, begin));
            for implied in read {
                out.push(HeardSpan {
                    // a pluck may begin a little before the stroke that cut it off
                    start_s: implied.start_s.max(from),
                    end_s: implied.end_s,
                    candidates: implied.candidates,
                    shapes: Vec::new(),
                    bass_midi: None,
                    chroma: [0.0; 12],
                    fragment: true,
                });
            }
            out.extend(silence(stop, to));
        }
        i = end + 1;
    }
    out
}

/// Which spans have only a few notes at a time.
fn sparse_spans(spans: &[HeardSpan], notes: &[Note], weights: &PluckWeights) -> Vec<bool> {
    let textures: Vec<(f64, f64)> = spans
        .iter()
        .map(|s| texture(notes, s.start_s, s.end_s))
        .collect();
    (0..spans.len())
        .map(|i| {
            // a stretch is judged with its neighbors, whole chords among them apart
            let few = |k: &usize| textures[*k].0 < weights.whole_chord;
            let (mut sounding, mut seconds) = (0.0, 1e-9);
            for k in (i.saturating_sub(2)..(i + 3).min(spans.len())).filter(few) {
                let length = (spans[k].end_s - spans[k].start_s).min(4.0);
                if spans[k].candidates[0].0 != Label::NoChord {
                    sounding += length * textures[k].0;
                    seconds += length;
                }
            }
            spans[i].candidates[0].0 == Label::NoChord
                || (few(&i)
                    && sounding / seconds < weights.most_sounding
                    && textures[i].1 < weights.most_together)
        })
        .collect()
}

/// A stretch without a chord, if it has a length.
pub(crate) fn silence(start_s: f64, end_s: f64) -> Option<HeardSpan> {
    (end_s - start_s > 1e-6).then(|| HeardSpan {
        start_s,
        end_s,
        candidates: vec![(Label::NoChord, 0.9, "no strings heard".into())],
        shapes: Vec::new(),
        bass_midi: None,
        chroma: [0.0; 12],
        fragment: false,
    })
}
