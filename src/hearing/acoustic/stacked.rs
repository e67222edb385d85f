//! What the net for files reads of a frame: for each pitch, what lies at its partials.
//!
//! A string that sounds shows itself at the multiples of its pitch, and a pitch
//! that only seems to sound has a neighbour or an octave that explains it. So
//! the spectra are laid over themselves, each layer moved down by the interval
//! of a partial or a neighbour; a net of small layers then finds in one place
//! what belongs together (docs/training/net.py, `harmonics`, must say the same).

use crate::hearing::acoustic::spectrum::{LONG_BINS, SHORT_BINS};
use crate::hearing::partials::PARTIALS;

/// Pitches from C1: six octaves.
pub(crate) const WIDTH: usize = 72;
/// Layers: three bins a semitone of the long spectrum, one of the short.
pub(crate) const LAYERS: usize = 3 * LONG_SHIFTS.len() + SHORT_SHIFTS.len();

/// Semitones from a pitch to its half, its neighbours, and its partials 1 to 8.
const LONG_SHIFTS: [isize; 11] = shifts();
/// The same for the short spectrum, partials 1 to 6.
const SHORT_SHIFTS: [isize; 9] = shifts();

/// Semitones to the half, the neighbours and as many partials as there is room for.
const fn shifts<const N: usize>() -> [isize; N] {
    let mut all = [0; N];
    (all[0], all[1], all[3]) = (-(PARTIALS[1] as isize), -1, 1);
    let mut k = 4;
    while k < N {
        all[k] = PARTIALS[k - 3] as isize;
        k += 1;
    }
    all
}
/// Semitones that both spectra cover.
const SEMITONES: usize = SHORT_BINS;

/// Layers of the long spectrum.
pub(crate) const LONG_LAYERS: usize = 3 * LONG_SHIFTS.len();
/// Layers of the short spectrum.
pub(crate) const SHORT_LAYERS: usize = SHORT_SHIFTS.len();

/// Lays frames over themselves: `long` (frames × [`LONG_BINS`]) and `short`
/// (frames × [`SHORT_BINS`]) become [`LAYERS`] × frames × [`WIDTH`].
pub(crate) fn stacked(long: &[f32], short: &[f32]) -> Vec<f32> {
    let mut out = stacked_long(long);
    out.extend(stacked_short(short));
    out
}

/// The same of the long spectrum alone: [`LONG_LAYERS`] × frames × [`WIDTH`].
pub(crate) fn stacked_long(long: &[f32]) -> Vec<f32> {
    let n = long.len() / LONG_BINS;
    let mut out = vec![0.0; LONG_LAYERS * n * WIDTH];
    let mut layers = out.chunks_exact_mut((n * WIDTH).max(1));
    for shift in LONG_SHIFTS {
        for third in 0..3 {
            let layer = layers
                .next()
                .into_iter()
                .flat_map(|l| l.chunks_exact_mut(WIDTH));
            for (row, frame) in layer.zip(long.chunks_exact(LONG_BINS)) {
                let (at, from) = overlap(shift);
                let bins = frame[3 * from..].chunks_exact(3).map(|bins| bins[third]);
                row[at].iter_mut().zip(bins).for_each(|(to, bin)| *to = bin);
            }
        }
    }
    out
}

/// The same of the short spectrum alone: [`SHORT_LAYERS`] × frames × [`WIDTH`].
pub(crate) fn stacked_short(short: &[f32]) -> Vec<f32> {
    let n = short.len() / SHORT_BINS;
    let mut out = vec![0.0; SHORT_LAYERS * n * WIDTH];
    let mut layers = out.chunks_exact_mut((n * WIDTH).max(1));
    for shift in SHORT_SHIFTS {
        let layer = layers
            .next()
            .into_iter()
            .flat_map(|l| l.chunks_exact_mut(WIDTH));
        for (row, frame) in layer.zip(short.chunks_exact(SHORT_BINS)) {
            let (at, from) = overlap(shift);
            let n = at.len();
            row[at].copy_from_slice(&frame[from..from + n]);
        }
    }
    out
}

/// The pitches for which something lies `shift` semitones higher, and the
/// semitone at which that begins; silence lies beyond.
fn overlap(shift: isize) -> (std::ops::Range<usize>, usize) {
    let start = (-shift).max(0) as usize;
    let end = WIDTH.min((SEMITONES as isize - shift).max(0) as usize);
    (
        start..end.max(start),
        (start as isize + shift).max(0) as usize,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_layer_is_the_spectrum_moved() {
        let long: Vec<f32> = (0..2 * LONG_BINS).map(|k| k as f32 + 1.0).collect();
        let short: Vec<f32> = (0..2 * SHORT_BINS).map(|k| -(k as f32) - 1.0).collect();
        let got = stacked(&long, &short);
        assert_eq!(got.len(), LAYERS * 2 * WIDTH);
        for t in 0..2 {
            for p in 0..WIDTH {
                let at = |layer: usize| got[(layer * 2 + t) * WIDTH + p];
                for (k, shift) in LONG_SHIFTS.iter().enumerate() {
                    let from = p as isize + shift;
                    let inside = (0..SEMITONES as isize).contains(&from);
                    for third in 0..3 {
                        let bin = (t * LONG_BINS) as isize + 3 * from + third as isize;
                        let want = if inside { bin as f32 + 1.0 } else { 0.0 };
                        assert_eq!(at(3 * k + third), want, "{t} {p} {shift} {third}");
                    }
                }
                for (k, shift) in SHORT_SHIFTS.iter().enumerate() {
                    let from = p as isize + shift;
                    let inside = (0..SEMITONES as isize).contains(&from);
                    let bin = (t * SHORT_BINS) as isize + from;
                    let want = if inside { -(bin as f32) - 1.0 } else { 0.0 };
                    assert_eq!(at(3 * LONG_SHIFTS.len() + k), want, "{t} {p} {shift}");
                }
            }
        }
    }

    #[test]
    fn of_nothing_nothing() {
        assert!(stacked(&[], &[]).is_empty());
    }
}
