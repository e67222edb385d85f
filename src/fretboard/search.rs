//! All playable shapes of a set of pitch classes: a search string by string, within a window of
//! frets, that leaves a branch as soon as nothing on the strings that are left can mend it.

use super::hand::{hold_frets, muted_inside};
use super::neck::span_mm;
use super::voicing::{Limits, Voicing, Wanted};
use super::{Instrument, Shape};
use crate::theory::{PitchClass, PitchClassSet};

/// Strings of an instrument at most.
const STRINGS: usize = 8;

/// All playable shapes that sound what is wanted, easiest first.
///
/// Takes an instrument (frets are counted from its capo), what must sound, and
/// limits; give [`Limits::check`] the limits first if they come from a person.
/// Every shape sounds all required pitch classes, no pitch class that is
/// neither required nor optional, and has the bass lowest, where the
/// instrument has one. Empty if there is none.
///
/// # Example
/// ```
/// use takebook::fretboard::{Instrument, Limits, Wanted, voicings};
/// let wanted = Wanted::chord(&"C".parse().unwrap());
/// let found = voicings(&Instrument::default(), wanted, &Limits::default());
/// assert_eq!(found[0].shape.text(), "x32010");
/// ```
pub fn voicings(instrument: &Instrument, wanted: Wanted, limits: &Limits) -> Vec<Voicing> {
    let n = instrument.tuning.n_strings();
    let neck = instrument.highest_fret.saturating_sub(instrument.capo);
    let highest = limits.highest_fret.min(neck);
    // without a bass all strings are strummed
    let fewest = match instrument.tuning.has_bass() {
        true => limits.min_strings,
        false => limits.min_strings.max(n.min(STRUMMED_WITHOUT_BASS)),
    };
    let min_strings = fewest.max(wanted.required.len()).min(n);
    let mut search = Search::new(instrument, wanted, limits, min_strings, highest);
    for from in limits.lowest_fret.max(1)..=highest {
        let to = (from..=highest)
            .take_while(|f| span_mm(from + instrument.capo, f + instrument.capo) <= limits.span_mm)
            .last()
            .unwrap_or(from);
        search.frets(from, to);
    }
    if !limits.no_open {
        // nothing pressed at all
        search.frets(1, 0);
    }
    let mut found = search.found();
    found.sort_by(|a, b| {
        a.rank
            .total_cmp(&b.rank)
            .then_with(|| a.shape.cmp(&b.shape))
    });
    found
}

/// So many strings of an instrument without a bass sound at least: all of a ukulele.
const STRUMMED_WITHOUT_BASS: usize = 4;

/// What an optional pitch class that does not sound costs (fitted, as the measure of ease).
const MISSING: f64 = 0.74;

/// A bass that is written is one up to so many semitones above the lowest string,
/// and costs this much for each above (ours, after D/F♯, C/G and Am/G as they are played).
const BASS_WITHIN: u8 = 7;
const BASS_HIGH: f64 = 0.4;

/// What a shape's sound costs: the same pitch on two strings, and a fourth or
/// less above a low bass, which is muddy (common practice, no source).
fn sound_cost(midi: impl Iterator<Item = u8>) -> f64 {
    let mut notes = [u8::MAX; 8];
    let mut n = 0;
    for m in midi.take(8) {
        notes[n] = m;
        n += 1;
    }
    let notes = &mut notes[..n];
    notes.sort_unstable();
    let unisons = notes.windows(2).filter(|w| w[0] == w[1]).count() as f64;
    let muddy = match &*notes {
        [low, next, ..] if *low < 48 => match next - low {
            1..=3 => 2.0,
            4 => 0.7,
            5 => 1.3,
            _ => 0.0,
        },
        _ => 0.0,
    };
    1.3 * unisons + muddy
}

/// What the strings below one sound.
#[derive(Clone, Copy)]
struct State {
    set: u16,
    sounding: usize,
    /// Pressed strings at the lowest fret.
    at_lowest: u8,
    /// Muted strings since the last sounding one, and inside so far.
    gap: u8,
    inside: u8,
    /// The lowest MIDI note.
    low: u8,
    /// Neighbors above the lowest fret that one finger could press together.
    groups: u8,
}

impl State {
    const NOTHING: Self = Self {
        set: 0,
        sounding: 0,
        at_lowest: 0,
        gap: 0,
        inside: 0,
        low: u8::MAX,
        groups: 0,
    };
}

/// The frets that are pressed, and what they sound on the strings from each one up.
#[derive(Clone, Copy, Default)]
struct Window {
    from: u8,
    to: u8,
    /// Pitch classes as bits.
    can_sound: [u16; STRINGS + 1],
    /// The lowest MIDI note.
    lowest: [u8; STRINGS + 1],
    /// Whether a string may be pressed at the lowest fret.
    at_lowest: [bool; STRINGS + 1],
}

/// The search for the shapes of a chord.
struct Search<'a> {
    instrument: &'a Instrument,
    wanted: Wanted,
    limits: &'a Limits,
    /// Whether the lowest note must be the wanted bass.
    bass: Option<PitchClass>,
    n: usize,
    min_strings: usize,
    /// Which frets of each string sound an allowed pitch class, as bits.
    sounds: Vec<u32>,
    frets: [Option<u8>; STRINGS],
    window: Window,
    found: Vec<Voicing>,
}

/// So many groups of neighbors above the lowest fret are left for three fingers.
const GROUPS: u8 = 3;

impl<'a> Search<'a> {
    /// Takes how many strings must sound and the highest fret to press.
    fn new(
        instrument: &'a Instrument,
        wanted: Wanted,
        limits: &'a Limits,
        min_strings: usize,
        highest: u8,
    ) -> Self {
        let n = instrument.tuning.n_strings();
        let allowed = PitchClassSet(wanted.required.0 | wanted.optional.0);
        let sounds = |s: usize| {
            (0..=highest)
                .filter(|f| {
                    let pc = instrument.midi(s, *f).map(|m| PitchClass::new(m.into()));
                    pc.is_some_and(|pc| allowed.contains(pc))
                })
                .fold(0u32, |bits, f| bits | 1 << f)
        };
        let has_bass = instrument.tuning.has_bass();
        Self {
            instrument,
            wanted,
            limits,
            bass: wanted.bass.filter(|_| has_bass),
            n,
            min_strings,
            sounds: (0..n).map(sounds).collect(),
            frets: [None; STRINGS],
            window: Window::default(),
            found: Vec::new(),
        }
    }

    /// Finds the shapes whose lowest pressed fret is `from` and whose highest is at most `to`;
    /// those of open strings alone if `to` is lower.
    fn frets(&mut self, from: u8, to: u8) {
        self.window = self.window(from, to);
        self.string(0, State::NOTHING);
    }

    /// All that was found.
    fn found(self) -> Vec<Voicing> {
        self.found
    }

    fn window(&self, from: u8, to: u8) -> Window {
        let mut window = Window {
            from,
            to,
            lowest: [u8::MAX; STRINGS + 1],
            ..Window::default()
        };
        for s in (0..self.n).rev() {
            window.can_sound[s] = window.can_sound[s + 1];
            window.lowest[s] = window.lowest[s + 1];
            window.at_lowest[s] = window.at_lowest[s + 1];
            let Some(open) = self.instrument.midi(s, 0) else {
                continue;
            };
            for fret in self.choices(s, from, to) {
                window.can_sound[s] |= 1 << ((open + fret) % 12);
                window.lowest[s] = window.lowest[s].min(open + fret);
                window.at_lowest[s] |= fret == from;
            }
        }
        window
    }

    /// The frets that a string may sound at, the open string first.
    fn choices(&self, s: usize, from: u8, to: u8) -> impl Iterator<Item = u8> + use<> {
        let sounds = match self.limits.left_out.contains(&s) {
            true => 0,
            false => self.sounds[s],
        };
        let must_ring = self.limits.ring_open.contains(&s);
        let open = sounds & 1 == 1 && !self.limits.no_open;
        let pressed = (from..=to).filter(move |fret| !must_ring && sounds >> fret & 1 == 1);
        open.then_some(0).into_iter().chain(pressed)
    }

    /// Whether nothing on the strings from `s` up makes this a shape.
    fn is_lost(&self, s: usize, state: State) -> bool {
        let window = &self.window;
        let lacks = self.wanted.required.0 & !state.set;
        let other_bass = self
            .bass
            .is_some_and(|b| state.sounding > 0 && b != PitchClass::new(state.low.into()));
        state.sounding + (self.n - s) < self.min_strings
            || state.inside > self.limits.muted_inside
            || lacks & !window.can_sound[s] != 0
            || lacks.count_ones() as usize > self.n - s
            || other_bass && window.lowest[s] >= state.low
            || window.to >= window.from && state.at_lowest == 0 && !window.at_lowest[s]
            || state.groups > GROUPS && !self.thumb_may_help(state)
    }

    /// Whether the thumb may press the lowest string, which leaves a finger for another group.
    fn thumb_may_help(&self, state: State) -> bool {
        let lowest_string = self.frets[0].filter(|fret| *fret > 0 && self.n >= 6);
        match lowest_string {
            Some(fret) if fret == self.window.from => state.at_lowest < 2,
            Some(fret) => fret == self.window.from + 1 && state.groups == GROUPS + 1,
            None => false,
        }
    }

    fn string(&mut self, s: usize, state: State) {
        if self.is_lost(s, state) {
            return;
        }
        if s == self.n {
            self.finish(state);
            return;
        }
        if !self.limits.ring_open.contains(&s) && !self.limits.used.contains(&s) {
            self.frets[s] = None;
            let gap = if state.sounding > 0 { state.gap + 1 } else { 0 };
            self.string(s + 1, State { gap, ..state });
        }
        let Some(open) = self.instrument.midi(s, 0) else {
            return;
        };
        let (from, to) = (self.window.from, self.window.to);
        for fret in self.choices(s, from, to) {
            let at_lowest = fret > 0 && fret == from;
            let beside = s > 0 && self.frets[s - 1] == Some(fret);
            self.frets[s] = Some(fret);
            let next = State {
                set: state.set | 1 << ((open + fret) % 12),
                sounding: state.sounding + 1,
                at_lowest: state.at_lowest + u8::from(at_lowest),
                gap: 0,
                inside: state.inside + state.gap,
                low: state.low.min(open + fret),
                groups: state.groups + u8::from(fret > from && !beside),
            };
            self.string(s + 1, next);
        }
    }

    /// Keeps the shape of all strings, if a hand can hold it.
    fn finish(&mut self, state: State) {
        let wanted = self.wanted;
        let frets = &self.frets[..self.n];
        let sounding = || {
            frets
                .iter()
                .enumerate()
                .filter_map(|(s, f)| self.instrument.midi(s, (*f)?))
        };
        let (Some(low), Some(high)) = (sounding().min(), sounding().max()) else {
            return;
        };
        let pc = |m: u8| PitchClass::new(m.into());
        if self.bass.is_some_and(|b| b != pc(low))
            || self.limits.top.is_some_and(|t| t != pc(high))
            || self.limits.top_midi.is_some_and(|t| t != high)
        {
            return;
        }
        let Some(hand) = hold_frets(self.instrument, frets) else {
            return;
        };
        debug_assert_eq!(hand.muted_inside, muted_inside(frets));
        if (self.limits.no_barre && !hand.barres.is_empty())
            || hand.n_fingers > self.limits.max_fingers
        {
            return;
        }
        let missing = PitchClassSet(wanted.optional.0 & !state.set);
        let mut rank = hand.effort + MISSING * missing.len() as f64 + sound_cost(sounding());
        if wanted.bass_written {
            let fifth = self.instrument.midi(0, 0).map_or(0, |m| m + BASS_WITHIN);
            rank += BASS_HIGH * f64::from(low.saturating_sub(fifth));
        }
        let Ok(shape) = Shape::new(frets.to_vec()) else {
            return;
        };
        self.found.push(Voicing {
            shape,
            hand,
            missing,
            rank,
        });
    }
}
