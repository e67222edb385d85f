//! How many strings sound: one is a note, two are a double stop, more are a chord.
//!
//! What counts is what was struck since the last attack, and what has rung since before it: a
//! chord that rings away string by string stays a chord, and a string plucked after it, when it
//! has stopped, is a note. Attacks are those that the net hears in single pitches; noises of
//! fingers and beats of strings that ring are none. The net may hear a string's partials as
//! notes; one that lies where a partial of a lower one lies is none of its own. One that is gone
//! at once while others ring on was the noise of the attack. Where the tuner measures a single
//! string, others must be struck, or be surer.

use crate::hearing::acoustic::net::{Acoustic, LOWEST_MIDI, N_PITCHES};
use crate::hearing::live::tuner::TunedString;
use crate::hearing::partials::PARTIALS;
use crate::theory::imply::{Fragment, read_row};
use crate::theory::{Key, Label};

/// Least probability of a pitch that was struck, or that sounds.
const HEARD: f32 = 0.5;
/// The same of one that was struck, if it then sounds steadily.
const STRUCK_AND_STEADY: f32 = 0.25;
/// The same of one that sounds, whether it was struck or not.
const SURE: f32 = 0.8;
/// Frames over which a pitch must sound on average.
const STEADY: usize = 3;
/// Frames between the strings of one attack, and all that it takes at most: a slow strum.
const APART: usize = 4;
const LONGEST: usize = 8;
/// Frames after an attack until it is clear how many strings were struck: 0.19 s.
const SETTLED: usize = 4;
/// So many pitches are a chord even if all but two may be partials.
const FULL: usize = 5;

/// What kind of thing sounds.
#[derive(Debug, Clone, PartialEq)]
pub enum Played {
    /// Nothing.
    Nothing,
    /// Strings were just struck; how many is not clear yet.
    Unclear,
    /// One string: its note, MIDI.
    Note(u8),
    /// Two strings: their notes, MIDI, ascending, and the chords that they may stand for, best
    /// first, with probabilities.
    DoubleStop([u8; 2], Vec<(Label, f64)>),
    /// Three strings or more.
    Chord,
}

/// The chords that double stops may stand for; the last is not read twice.
#[derive(Default)]
pub(super) struct Implied {
    last: Option<([u8; 2], Option<Key>)>,
    chords: Vec<(Label, f64)>,
}

impl Implied {
    /// What two notes may stand for in a key, best first.
    pub(super) fn read(&mut self, notes: [u8; 2], key: Option<Key>) -> Vec<(Label, f64)> {
        if self.last != Some((notes, key)) {
            let row = [Fragment::of(&notes)];
            self.chords = read_row(&row, key, 1).fragments.swap_remove(0);
            self.last = Some((notes, key));
        }
        self.chords.clone()
    }
}

/// Reads what is held; `implied` gives the chords that two notes may stand for.
pub(super) fn played(
    acoustic: &Acoustic,
    tuned: Option<&TunedString>,
    implied: impl FnOnce([u8; 2]) -> Vec<(Label, f64)>,
) -> Played {
    let attack = last_attack(acoustic);
    let is_settled = acoustic.n_frames() >= attack + SETTLED;
    let mut heard: [bool; N_PITCHES] =
        std::array::from_fn(|pitch| is_heard(acoustic, pitch, attack, tuned.is_some()));
    if is_settled {
        forget_noises(&mut heard, acoustic, attack);
    }
    let strings = strings(&heard);
    let n_heard = heard.iter().filter(|h| **h).count();
    match (&strings[..], tuned) {
        ([_, _, _, ..], _) => Played::Chord,
        ([_, _], _) if n_heard >= FULL => Played::Chord,
        _ if !is_settled => Played::Unclear,
        ([low, high], _) => Played::DoubleStop([*low, *high], implied([*low, *high])),
        (_, Some(string)) => Played::Note(string.midi),
        ([note], _) => Played::Note(*note),
        ([], _) => Played::Unclear,
    }
}

/// The frame in which the first string of the last attack was struck; 0 if none was.
fn last_attack(acoustic: &Acoustic) -> usize {
    let is_attack = |t: &usize| (0..N_PITCHES).any(|p| acoustic.struck(*t, p) >= HEARD);
    let Some(last) = (0..acoustic.n_frames()).rev().find(is_attack) else {
        return 0;
    };
    let mut first = last;
    while let Some(before) = (first.saturating_sub(APART)..first).find(is_attack)
        && last - before <= LONGEST
    {
        first = before;
    }
    first
}

/// Takes away what never sounded steadily since the attack, if others do to the end: where all
/// stop together, they were strings cut short.
fn forget_noises(heard: &mut [bool; N_PITCHES], acoustic: &Acoustic, attack: usize) {
    let n = acoustic.n_frames();
    let rings_on = |pitch: usize| steady(acoustic, pitch, n - 1) >= HEARD;
    if !(0..N_PITCHES).any(|pitch| heard[pitch] && rings_on(pitch)) {
        return;
    }
    let from = attack.saturating_sub(1);
    for (pitch, heard) in heard.iter_mut().enumerate() {
        let was_steady = (from..n).any(|t| steady(acoustic, pitch, t) >= HEARD);
        *heard &= was_steady;
    }
}

/// The mean probability that a pitch sounds in the frames up to one, itself included.
fn steady(acoustic: &Acoustic, pitch: usize, to: usize) -> f32 {
    let from = (to + 1).saturating_sub(STEADY);
    let sum: f32 = (from..=to).map(|t| acoustic.sounding(t, pitch)).sum();
    sum / STEADY as f32
}

/// Whether a pitch was struck in the attack that began with a frame, has rung since before it,
/// or surely sounds.
fn is_heard(acoustic: &Acoustic, pitch: usize, attack: usize, beside_tuned: bool) -> bool {
    let n = acoustic.n_frames();
    let sounding = |t: usize| acoustic.sounding(t, pitch);
    let steady = |to: usize| steady(acoustic, pitch, to);
    let struck = (attack..n)
        .map(|t| acoustic.struck(t, pitch))
        .fold(0.0, f32::max);
    let loudest = (attack..n).map(sounding).fold(0.0, f32::max);
    let steadiest = (attack + STEADY - 1..n).map(steady).fold(0.0, f32::max);
    let rings_on = attack > 0 && steady(attack - 1) >= HEARD && steady(n - 1) >= HEARD;
    struck >= HEARD && loudest >= HEARD
        || struck >= STRUCK_AND_STEADY && steadiest >= HEARD
        || !beside_tuned && (rings_on || steadiest >= SURE)
}

/// The pitches that are no partial of a lower one, MIDI, ascending.
fn strings(heard: &[bool; N_PITCHES]) -> Vec<u8> {
    let is_partial = |pitch: usize| {
        PARTIALS[1..]
            .iter()
            .any(|p| pitch.checked_sub(*p).is_some_and(|low| heard[low]))
    };
    (0..N_PITCHES)
        .filter(|p| heard[*p] && !is_partial(*p))
        .map(|p| LOWEST_MIDI + p as u8)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn counted(midi: &[u8]) -> Vec<u8> {
        let mut heard = [false; N_PITCHES];
        for m in midi {
            heard[usize::from(m - LOWEST_MIDI)] = true;
        }
        strings(&heard)
    }

    #[test]
    fn partials_are_no_strings_but_chords_stay_chords() {
        assert_eq!(counted(&[45, 57, 64, 73]), [45]);
        assert_eq!(counted(&[57, 66]), [57, 66]);
        assert_eq!(counted(&[40, 47]), [40, 47]);
        // open E minor, C, D: root, third and fifth are left
        assert_eq!(counted(&[40, 47, 52, 55, 59, 64]).len(), 3);
        assert_eq!(counted(&[48, 52, 55, 60, 64]).len(), 3);
        assert_eq!(counted(&[50, 57, 62, 66]).len(), 3);
    }
}
