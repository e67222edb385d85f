//! What a stroke is made of: a bass note alone, or a full hand of strings.
//!
//! Where a bass note and a short chord alternate, loudness tells little of the
//! bar, but the bass tells where it starts. Rules of the thumb are ours.

use crate::hearing::acoustic::attack::FINE_HOP_S;
use crate::hearing::outputs::Note;
use crate::hearing::strum_window::strum_window;

/// Strokes so near (s) say what is low here.
const AROUND_S: f64 = 1.6;
/// So many semitones above the lowest stroke around, it is no bass.
const OCTAVE: f32 = 12.0;
/// A beat is struck if a stroke begins so near to it, fine frames: 58 ms.
const NEAR: usize = 5;

/// A stroke, as far as it tells the bar.
#[derive(Debug, Clone, Copy)]
pub(super) struct Struck {
    frame: usize,
    /// How low it reaches, 1 as low as any around it, 0 an octave higher.
    pub(super) low: f32,
    /// The same if at most two strings sound, or else 0.
    pub(super) bass: f32,
    /// Whether three strings or more sound.
    pub(super) full: f32,
}

/// The strokes of a take, in order.
pub(super) fn strokes(notes: &[Note]) -> Vec<Struck> {
    // start (s), lowest pitch, number of notes
    let mut all: Vec<(f64, u8, usize)> = Vec::new();
    let mut before = f64::NEG_INFINITY;
    let together_s = strum_window().notes_s;
    for note in notes.iter().filter(|n| n.probability > 0.5) {
        match all.last_mut() {
            Some(stroke) if note.start_s - before < together_s => {
                stroke.1 = stroke.1.min(note.midi);
                stroke.2 += 1;
            }
            _ => all.push((note.start_s, note.midi, 1)),
        }
        before = note.start_s;
    }
    let (mut from, mut to) = (0, 0);
    let mut strokes = Vec::with_capacity(all.len());
    for (start_s, lowest, n) in &all {
        while all[from].0 < start_s - AROUND_S {
            from += 1;
        }
        while to < all.len() && all[to].0 <= start_s + AROUND_S {
            to += 1;
        }
        let around = all[from..to].iter().map(|s| s.1).min().unwrap_or(*lowest);
        let low = (1.0 - f32::from(lowest - around) / OCTAVE).max(0.0);
        strokes.push(Struck {
            frame: (start_s / FINE_HOP_S).round() as usize,
            low,
            bass: if *n <= 2 { low } else { 0.0 },
            full: if *n >= 3 { 1.0 } else { 0.0 },
        });
    }
    strokes
}

/// The stroke at a fine frame, if there is one: of several the nearest.
pub(super) fn stroke_at(strokes: &[Struck], frame: usize) -> Option<Struck> {
    let from = strokes.partition_point(|s| s.frame + NEAR < frame);
    let near = strokes[from..].iter();
    let near = near.take_while(|s| s.frame <= frame + NEAR);
    near.min_by_key(|s| s.frame.abs_diff(frame)).copied()
}
