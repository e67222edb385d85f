//! Which string is a chord's bass, beside what the net hears: a root that sounds below, and a
//! bass that only rings over from the chord before. Rules and constants are ours
//! (docs/hearing.md: on what they were chosen).

use crate::hearing::acoustic::net::LOWEST_MIDI;
use crate::hearing::harmony::segments::{Cells, N_LOWEST};

/// How surely roots sound below other basses, by what sounds of the lowest pitches.
///
/// Then the bass is the root's, however well another string is heard. A recording that hides
/// the lowest strings leaves a trace of them, and where there is no string there is none.
pub(crate) struct RootsUnder([[f32; 12]; 12]);

impl RootsUnder {
    /// Takes how likely each pitch from [`LOWEST_MIDI`] sounds; the guitar has none under its
    /// lowest open string (a bass player may).
    pub(crate) fn new(low: &[f32; N_LOWEST], lowest_open: u8) -> Self {
        let mut under = [[0.0f32; 12]; 12];
        // of each class, that none of it sounds deeper
        let mut none = [1.0f32; 12];
        for (midi, sounds) in (LOWEST_MIDI..).zip(low) {
            let class = usize::from(midi % 12);
            if midi >= lowest_open {
                for (under, none) in under[class].iter_mut().zip(&none) {
                    *under = (none * sounds).max(*under);
                }
            }
            none[class] *= 1.0 - sounds;
        }
        Self(under)
    }

    /// From 0 to 1.
    pub(crate) fn of(&self, root: usize, bass: usize) -> f32 {
        self.0[root][bass]
    }
}

/// How surely basses only ring over from the chord before, where a root is struck low.
///
/// Then what speaks for them speaks for the root no less: a chord's bass is struck with it.
pub(crate) struct RingsOver {
    /// Of each class, that it was the bass before and is not struck.
    stays: [f32; 12],
    /// Of each class, that it is struck low.
    struck: [f32; 12],
}

impl RingsOver {
    /// A bass this likely struck is taken to be.
    const STRUCK: f32 = 0.3;
    /// A root is, from this on.
    const ROOT_STRUCK: f32 = 0.7;

    /// Of a segment from one boundary on, whose bass is struck before another.
    pub(crate) fn new(cells: &Cells, from: usize, start: usize) -> Self {
        let was = from.checked_sub(1).map_or([0.0; 12], |before| {
            let frames = cells.frames(before, from).max(1.0);
            std::array::from_fn(|b| (cells.bass(before, from, b) / frames).exp())
        });
        Self::of_basses(&was, &cells.low_struck(from, start))
    }

    /// By how likely each class was the bass before and is struck now.
    fn of_basses(was: &[f32; 12], struck: &[f32; 12]) -> Self {
        let not_struck = |b: usize| (1.0 - struck[b] / Self::STRUCK).max(0.0);
        let sure =
            |p: f32| ((p - Self::STRUCK) / (Self::ROOT_STRUCK - Self::STRUCK)).clamp(0.0, 1.0);
        Self {
            stays: std::array::from_fn(|b| was[b] * not_struck(b)),
            struck: struck.map(sure),
        }
    }

    /// From 0 to 1.
    pub(crate) fn of(&self, root: usize, bass: usize) -> f32 {
        self.stays[bass] * self.struck[root]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// How surely a root sounds under a bass where these pitches (MIDI) sound.
    fn under(sounding: &[u8], root: usize, bass: usize) -> f32 {
        let mut low = [0.03; N_LOWEST];
        for midi in sounding {
            low[usize::from(midi - LOWEST_MIDI)] = 0.9;
        }
        RootsUnder::new(&low, 40).of(root, bass)
    }

    #[test]
    fn a_root_that_sounds_lowest_is_the_bass() {
        // G2 of G B D under the B2 that is heard better; without it B2 is the bass
        assert!(under(&[43, 47], 7, 11) > 0.8);
        assert!(under(&[47], 7, 11) < 0.1);
        // A2 sounds, but E2 under it: A minor over E; without E2 the E heard lies above A2
        assert!(under(&[40, 45], 9, 4) < 0.2);
        assert!(under(&[45], 9, 4) > 0.8);
        // a bass player's B1 lies under the guitar's G2
        assert!(under(&[35, 43], 7, 11) < 0.2);
        // a guitar has no C2
        assert!(under(&[36], 0, 4) < 0.1);
    }

    #[test]
    fn a_bass_that_rings_over_is_not_the_bass_of_a_root_that_is_struck() {
        let classes = |of: &[(usize, f32)]| {
            let mut all = [0.0; 12];
            for (class, p) in of {
                all[*class] = *p;
            }
            all
        };
        // after F, G2 is struck while F2 rings
        let was_f = classes(&[(5, 0.9)]);
        let left = RingsOver::of_basses(&was_f, &classes(&[(7, 0.95), (5, 0.02)]));
        assert!(left.of(7, 5) > 0.8);
        // F2 struck again under G: G over F
        let both = RingsOver::of_basses(&was_f, &classes(&[(7, 0.95), (5, 0.8)]));
        assert_eq!(both.of(7, 5), 0.0);
        // neither struck: nothing is known
        assert_eq!(RingsOver::of_basses(&was_f, &[0.0; 12]).of(7, 5), 0.0);
        // a bass that was not there before does not ring over
        assert_eq!(
            RingsOver::of_basses(&[0.0; 12], &classes(&[(7, 0.95)])).of(7, 5),
            0.0
        );
    }
}
