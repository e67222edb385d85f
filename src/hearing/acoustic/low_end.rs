//! How well the lowest strings can be heard in a recording.
//!
//! A small microphone cuts off what lies under the lowest strings' second
//! partials, and hiss, hum or a room fill what is left; the string that is
//! heard lowest is then not the bass. In a clear recording the lowest strings'
//! own partials stand far out of what lies between them now and then; where
//! they never do, a chord's bass is better guessed than read.

use crate::hearing::acoustic::spectrum::{LONG_MARGIN, Spectra};

/// Bins of the long spectrum from D♯2 to B2 (78 to 124 Hz): under the third string's
/// lowest note in standard tuning.
const BINS: std::ops::Range<usize> = LONG_MARGIN + 45..LONG_MARGIN + 69;

/// How far the strongest bin of the lowest strings stands over their median bin, dB, in the
/// twentieth of the frames where it does so most; 0 for no frames.
pub(crate) fn standing_out_db(spectra: &Spectra) -> f32 {
    let mut all: Vec<f32> = (0..spectra.n_frames())
        .map(|t| {
            let mut bins: Vec<f32> = spectra
                .long_db(t)
                .skip(BINS.start)
                .take(BINS.len())
                .collect();
            bins.sort_by(f32::total_cmp);
            bins[bins.len() - 1] - bins[bins.len() / 2]
        })
        .collect();
    if all.is_empty() {
        return 0.0;
    }
    let at = (all.len() - 1) * 19 / 20;
    *all.select_nth_unstable_by(at, f32::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hearing::Listener;

    /// How far the lowest strings stand out of a low E of 82.4 Hz, plucked every half
    /// second, under noise of a level.
    fn standing_out(noise: f32) -> f32 {
        let mut listener = Listener::new();
        let noises = crate::hearing::acoustic::net_tests::numbers(22_050 * 6, 3);
        let samples: Vec<f32> = noises
            .iter()
            .enumerate()
            .map(|(i, n)| {
                let t = i as f32 / 22_050.0;
                let fade = (-2.0 * (t % 0.5)).exp();
                0.3 * fade * (std::f32::consts::TAU * 82.4 * t).sin() + noise * (n - 0.5)
            })
            .collect();
        listener.push(&samples);
        let sound = listener.finish(&|_| true).expect("heard");
        standing_out_db(&sound.front.spectra)
    }

    #[test]
    fn noise_hides_the_lowest_strings() {
        assert!(standing_out(0.001) > 36.0);
        let hidden = standing_out(8.0);
        assert!(hidden < 24.0, "{hidden}");
        assert!(hidden < standing_out(0.5));
        assert_eq!(standing_out_db(&Spectra::default()), 0.0);
    }
}
