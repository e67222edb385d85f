//! The acoustic stage's output.

use crate::hearing::acoustic::front::Front;
use crate::hearing::acoustic::net::Acoustic;
use crate::hearing::acoustic::songs::Songs;
use crate::hearing::acoustic::spectrum::{RATE, Spectra};
use crate::hearing::acoustic::strokes::Stroke;

/// What one pass over a take left: the acoustic stage's result and the attacks.
pub struct Sound {
    pub(crate) front: Front,
    pub(crate) acoustic: Acoustic,
    /// What the song net says: the song's chords, beats and strums.
    pub(crate) songs: Songs,
    pub(crate) strokes: Vec<Stroke>,
}

impl Sound {
    /// Length of the take, s.
    pub fn duration_s(&self) -> f64 {
        self.front.n_samples as f64 / f64::from(RATE)
    }

    /// Lets go of what only the notes are read from.
    pub(crate) fn forget_spectra(&mut self) {
        self.front.spectra = Spectra::default();
        self.songs.forget_struck();
    }
}
