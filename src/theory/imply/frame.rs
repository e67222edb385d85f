//! What a row may be played in: a key and its habit of harmony, with what every
//! chord and every change between two chords costs there.

use super::Mode;
use super::states::{from_root, n_states, states};
use super::weights::{Chords, Weights, weights};
use crate::theory::{Degree, Key, Quality};
use std::sync::OnceLock;

const NEVER: f64 = f64::NEG_INFINITY;

/// A habit of harmony.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Habit {
    /// The chords of the key's scale are at home.
    Plain,
    /// Dominant sevenths on the first, fourth and fifth degree are at home.
    Blues,
}

/// A key and its habit of harmony.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Frame {
    pub(super) key: Key,
    pub(super) habit: Habit,
}

impl Frame {
    pub(super) const fn plain(key: Key) -> Self {
        Self {
            key,
            habit: Habit::Plain,
        }
    }

    /// The tones at home, bit `i` for the tone `i` semitones above the tonic:
    /// the scale, in minor with the raised seventh; in a blues the tones of the
    /// three dominant sevenths.
    pub(super) fn home(self) -> u16 {
        if self.habit == Habit::Blues {
            return [0, 5, 7]
                .iter()
                .flat_map(|root| [0, 4, 7, 10].map(|tone| (root + tone) % 12))
                .fold(0, |set, tone| set | 1 << tone);
        }
        let tonic = self.key.tonic.pitch_class();
        let scale = self
            .key
            .scale()
            .iter()
            .fold(0u16, |set, note| set | 1 << note.pitch_class().above(tonic));
        match self.key.mode {
            Mode::Minor => scale | 1 << 11,
            _ => scale,
        }
    }

    /// The frame's costs of chords and changes; equal for all tonics.
    pub(super) fn transitions(self) -> &'static Transitions {
        static TABLES: [OnceLock<Transitions>; N_MODES + 1] =
            [const { OnceLock::new() }; N_MODES + 1];
        let table = match self.habit {
            Habit::Blues => N_MODES,
            Habit::Plain => self.key.mode as usize,
        };
        TABLES[table].get_or_init(|| Transitions::of(self, weights()))
    }

    /// What a chord costs, by the root's semitones above the tonic.
    fn chord(self, above_tonic: usize, quality: &Quality, w: &Weights) -> f64 {
        let table: &Chords = match (self.habit, self.key.mode.is_minor()) {
            (Habit::Blues, _) => &w.blues.chords,
            (Habit::Plain, false) => &w.major_key,
            (Habit::Plain, true) => &w.minor_key,
        };
        let third = quality.degrees.iter().find(|d| d.number() == 3);
        let (major, minor) = (table.major[above_tonic], table.minor[above_tonic]);
        let base = match third.map(|d| d.alter()) {
            Some(0) => major,
            Some(_) if quality.degrees.contains(&Degree::new(5, -1)) => {
                table.diminished[above_tonic]
            }
            Some(_) => minor,
            None => major.min(minor) + w.no_third,
        };
        let home = self.home();
        // beyond the triad, every tone from outside the key is one more surprise
        let strange = quality
            .degrees
            .iter()
            .filter(|d| d.number() > 5 || matches!(d.number(), 2 | 4) || d.alter() > 0)
            .filter(|d| home >> ((above_tonic as i32 + d.semitones()) % 12) & 1 == 0)
            .count();
        let dressed = match (self.habit, quality.harte, above_tonic) {
            (Habit::Blues, "7" | "9", 0 | 5 | 7) => w.blues.dominant,
            (Habit::Plain, "7", 7) => w.dominant_on_fifth,
            _ => 0.0,
        };
        base + w.strange_tension * strange as f64 - dressed
    }
}

/// How many modes a key may have.
const N_MODES: usize = Mode::ALL.len();

/// Chords and changes of one frame, seen from its tonic, as logarithms and plain.
/// The last state, after the chords, is "no chord".
pub(super) struct Transitions {
    pub(super) ln: Vec<Vec<f64>>,
    /// `plain[from][into]`, and the same turned round.
    pub(super) plain: Vec<Vec<f64>>,
    pub(super) turned: Vec<Vec<f64>>,
    pub(super) start: Vec<f64>,
    /// Sets of tones that are not at home, bit `i` for the tone `i` semitones above the tonic.
    pub(super) foreign: Vec<u16>,
    /// Which of these sets each chord has.
    pub(super) foreign_of: Vec<usize>,
}

impl Transitions {
    fn of(frame: Frame, w: &Weights) -> Self {
        let n = n_states() + 1;
        let none = n - 1;
        let prior: Vec<f64> = states()
            .iter()
            .map(|s| {
                let quality = s.quality.implied.map_or(0.0, f64::from) / 10.0;
                quality + frame.chord(s.root.index(), s.quality, w)
            })
            .collect();
        let bare = |s: usize| states()[s].quality.harte == "5";
        let change = |from: usize, to: usize| match (from == none, to == none) {
            (true, true) => NEVER,
            (true, false) => -prior[to],
            (false, true) => -w.no_chord,
            (false, false) if from == to => NEVER,
            (false, false) => {
                let mixed = if bare(from) == bare(to) {
                    0.0
                } else {
                    w.bare_fifth_beside_chord
                };
                -prior[to] - w.motion[(to % 12 + 12 - from % 12) % 12] - mixed
            }
        };
        let ln: Vec<Vec<f64>> = (0..n)
            .map(|from| normalized((0..n).map(|to| change(from, to)).collect()))
            .collect();
        let start = normalized(
            (0..n)
                .map(|s| match s {
                    s if s == none => -w.no_chord,
                    s if s % 12 == 0 => -prior[s] + w.start_on_tonic,
                    s => -prior[s],
                })
                .collect(),
        );
        let plain: Vec<Vec<f64>> = ln
            .iter()
            .map(|row| row.iter().map(|x| x.exp()).collect())
            .collect();
        let turned = (0..n)
            .map(|into| plain.iter().map(|row| row[into]).collect())
            .collect();
        let home = frame.home();
        let each = states()
            .iter()
            .map(|s| {
                let tones = s
                    .quality
                    .degrees
                    .iter()
                    .fold(0u16, |set, d| set | 1 << (d.semitones() % 12));
                from_root(tones, (12 - s.root.index()) % 12) & !home
            })
            .chain([0]);
        let mut foreign: Vec<u16> = Vec::new();
        let foreign_of = each
            .map(|set| match foreign.iter().position(|known| *known == set) {
                Some(at) => at,
                None => {
                    foreign.push(set);
                    foreign.len() - 1
                }
            })
            .collect();
        Self {
            ln,
            plain,
            turned,
            start,
            foreign,
            foreign_of,
        }
    }
}

fn normalized(mut row: Vec<f64>) -> Vec<f64> {
    let total = ln_sum(&row);
    row.iter_mut().for_each(|x| *x -= total);
    row
}

/// What is so much less (natural logarithm) adds nothing to a sum of doubles.
const NOTHING: f64 = -37.0;

/// Logarithm of the sum of what these are logarithms of.
pub(super) fn ln_sum(values: &[f64]) -> f64 {
    let most = values.iter().copied().fold(NEVER, f64::max);
    if most == NEVER {
        return NEVER;
    }
    let above = values.iter().map(|v| v - most).filter(|v| *v > NOTHING);
    most + above.map(f64::exp).sum::<f64>().ln()
}
