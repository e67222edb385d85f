//! What a strumming hand does at each place of the bar, over a whole take.
//!
//! A hand strums in a pattern that it repeats from bar to bar (common practice, no source).
//! So what was heard of a string in the other bars, at the same place, says something of
//! whether this strum reached it. What was heard of the same pitch in the other strums tells a
//! string that hardly speaks on this guitar from one that was not struck.

use std::collections::BTreeMap;

/// Places told apart in a beat.
const A_BEAT: f64 = 12.0;
/// Weights of a place and of those beside it: a bell, 1/e at a tenth of a beat.
const BESIDE: [f32; 3] = [1.0, 0.5, 0.062];
/// Log odds are cut off here.
const MOST: f32 = 5.0;
/// As many strums that say nothing are added to those that were heard.
const UNKNOWN: f32 = 2.0;
/// More strums than this say no more.
const ENOUGH: f32 = 12.0;

/// What was heard of the strings at each place of the bar.
pub(in crate::hearing) struct Habits {
    /// Places in a bar.
    n_places: usize,
    /// By string from the top, then by place.
    strings: Vec<Vec<Sum>>,
    /// By string from the top, anywhere.
    anywhere: Vec<Sum>,
    /// By MIDI note number.
    pitches: BTreeMap<u8, Sum>,
}

/// Log odds of a string, summed over strums.
#[derive(Debug, Clone, Copy, Default)]
struct Sum {
    odds: f32,
    strums: f32,
}

impl Sum {
    fn add(&mut self, odds: f32) {
        self.odds += odds;
        self.strums += 1.0;
    }

    fn take_away(&mut self, odds: f32) {
        self.odds -= odds;
        self.strums -= 1.0;
    }

    fn mean(&self) -> f32 {
        self.odds / (self.strums.max(0.0) + UNKNOWN)
    }
}

/// What the other strums of a take say of a string of one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::hearing) struct Habit {
    /// Mean log odds at the same place of the bar.
    pub(in crate::hearing) here: f32,
    /// Over how many strums.
    pub(in crate::hearing) strums: f32,
    /// Mean log odds at any place.
    pub(in crate::hearing) anywhere: f32,
    /// Mean log odds of the string's pitch, on whichever string.
    pub(in crate::hearing) pitch: f32,
    /// Over how many strings of strums.
    pub(in crate::hearing) pitch_strums: f32,
}

impl Habits {
    /// Of a take with these beats (times, and places in the bar from 1).
    pub(in crate::hearing) fn new(beats: &[(f64, u8)]) -> Self {
        let per_bar = beats.iter().map(|b| b.1).max().unwrap_or(1);
        Self {
            n_places: usize::from(per_bar.max(1)) * A_BEAT as usize,
            strings: Vec::new(),
            anywhere: Vec::new(),
            pitches: BTreeMap::new(),
        }
    }

    /// Adds a string (counted from the top) and its pitch (MIDI) of a strum at a place of the
    /// bar, in beats.
    pub(in crate::hearing) fn add(
        &mut self,
        place: Option<f64>,
        (from_top, midi): (usize, u8),
        odds: f32,
    ) {
        if self.strings.len() <= from_top {
            let places = vec![Sum::default(); self.n_places];
            self.strings.resize(from_top + 1, places);
            self.anywhere.resize(from_top + 1, Sum::default());
        }
        let odds = odds.clamp(-MOST, MOST);
        self.anywhere[from_top].add(odds);
        self.pitches.entry(midi).or_default().add(odds);
        if let Some(place) = place {
            let at = self.at(place);
            self.strings[from_top][at].add(odds);
        }
    }

    /// What the other strums say of a string of a strum that was added.
    pub(in crate::hearing) fn of(
        &self,
        place: Option<f64>,
        (from_top, midi): (usize, u8),
        odds: f32,
    ) -> Habit {
        let odds = odds.clamp(-MOST, MOST);
        let mut anywhere = self.anywhere[from_top];
        anywhere.take_away(odds);
        let mut pitch = self.pitches.get(&midi).copied().unwrap_or_default();
        pitch.take_away(odds);
        let mut here = Sum::default();
        if let Some(place) = place {
            let (at, n) = (self.at(place), self.n_places);
            let places = &self.strings[from_top];
            for (away, weight) in BESIDE.into_iter().enumerate() {
                let sides = [(at + away) % n, (at + n - away) % n];
                for side in &sides[usize::from(away == 0)..] {
                    here.odds += weight * places[*side].odds;
                    here.strums += weight * places[*side].strums;
                }
            }
            here.take_away(odds);
        }
        Habit {
            here: here.mean(),
            strums: here.strums.clamp(0.0, ENOUGH),
            anywhere: anywhere.mean(),
            pitch: pitch.mean(),
            pitch_strums: pitch.strums.clamp(0.0, ENOUGH),
        }
    }

    fn at(&self, place: f64) -> usize {
        (place * A_BEAT).round().max(0.0) as usize % self.n_places
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// The lowest of six, E2.
    const STRING: (usize, u8) = (5, 40);

    #[test]
    fn the_other_strums_at_a_place_tell_of_one() {
        let mut habits = Habits::new(&[(0.0, 1), (0.5, 2), (1.0, 3), (1.5, 4)]);
        // on the first beat always struck, after the second never
        for _ in 0..4 {
            habits.add(Some(0.02), STRING, 4.0);
            habits.add(Some(1.5), STRING, -4.0);
        }
        habits.add(Some(1.5), STRING, 4.0);
        let first = habits.of(Some(0.0), STRING, 4.0);
        assert_abs_diff_eq!(first.strums, 3.0, epsilon = 1e-4);
        assert_abs_diff_eq!(first.here, 3.0 * 4.0 / 5.0, epsilon = 1e-4);
        // its own evidence is not among that of the others
        let odd = habits.of(Some(1.5), STRING, 4.0);
        assert_abs_diff_eq!(odd.strums, 4.0, epsilon = 1e-4);
        assert_abs_diff_eq!(odd.here, -4.0 * 4.0 / 6.0, epsilon = 1e-4);
        assert_abs_diff_eq!(odd.anywhere, 0.0, epsilon = 1e-4);
    }

    #[test]
    fn a_pitch_is_known_by_itself_on_whichever_string() {
        let mut habits = Habits::new(&[(0.0, 1), (0.5, 2)]);
        // E4 on the second string from the top and on the top one; F4 on the top one
        habits.add(Some(0.0), (1, 64), -4.0);
        habits.add(Some(1.0), (0, 64), -4.0);
        habits.add(None, (0, 65), 4.0);
        habits.add(None, (0, 65), 4.0);
        let low = habits.of(Some(1.0), (0, 64), -4.0);
        assert_abs_diff_eq!(low.pitch, -4.0 / 3.0, epsilon = 1e-4);
        assert_abs_diff_eq!(low.pitch_strums, 1.0, epsilon = 1e-4);
        assert_abs_diff_eq!(low.anywhere, 8.0 / 4.0, epsilon = 1e-4);
        let high = habits.of(None, (0, 65), 4.0);
        assert_abs_diff_eq!(high.pitch, 4.0 / 3.0, epsilon = 1e-4);
    }

    #[test]
    fn a_place_just_before_the_bar_is_beside_its_first() {
        let mut habits = Habits::new(&[(0.0, 1), (0.5, 2), (1.0, 3)]);
        habits.add(Some(2.95), STRING, 3.0);
        habits.add(Some(0.0), STRING, 3.0);
        assert!(habits.of(Some(0.0), STRING, 3.0).strums > 0.4);
    }

    #[test]
    fn without_beats_and_other_strums_nothing_is_known() {
        let mut habits = Habits::new(&[]);
        habits.add(None, STRING, 3.0);
        let alone = habits.of(None, STRING, 3.0);
        assert_eq!((alone.here, alone.strums, alone.anywhere), (0.0, 0.0, 0.0));
        assert_eq!((alone.pitch, alone.pitch_strums), (0.0, 0.0));
    }
}
