//! All playable shapes of a set of pitch classes.

use super::hand::{Hand, hold_frets, muted_inside};
use super::neck::span_mm;
use super::{FretboardError, Instrument, Shape};
use crate::theory::{Chord, PitchClass, PitchClassSet};

/// What a shape must sound.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wanted {
    /// Pitch classes that must sound.
    pub required: PitchClassSet,
    /// Pitch classes that may sound too.
    pub optional: PitchClassSet,
    /// Pitch class of the lowest sounding note, if it matters.
    pub bass: Option<PitchClass>,
    /// Whether that bass is another tone than the root, and so is to be heard as a bass.
    pub bass_written: bool,
}

impl Wanted {
    /// Exactly these pitch classes over a bass, all required.
    pub fn exactly(set: PitchClassSet, bass: Option<PitchClass>) -> Self {
        Self {
            required: bass.map_or(set, |b| set.with(b)),
            optional: PitchClassSet::default(),
            bass,
            bass_written: false,
        }
    }

    /// What a chord asks for: every tone but those that players leave out
    /// first (common practice, no source): the perfect fifth of chords of four tones and
    /// more, the ninth of an eleventh or thirteenth chord, the third of a
    /// dominant or major eleventh. The bass is the chord's.
    pub fn chord(chord: &Chord) -> Self {
        let root = chord.root.pitch_class();
        let degrees = chord.degrees();
        let highest = degrees.iter().map(|d| d.number()).max().unwrap_or(1);
        let may_go = |number: u8, alter: i8| match number {
            5 => alter == 0 && degrees.len() > 3,
            9 => alter == 0 && highest >= 11 && degrees.len() > 4,
            11 => alter == 0 && highest == 13,
            3 => alter == 0 && highest == 11 && degrees.len() > 4,
            _ => false,
        };
        let (optional, required): (Vec<_>, Vec<_>) =
            degrees.iter().partition(|d| may_go(d.number(), d.alter()));
        let set = |list: Vec<&crate::theory::Degree>| -> PitchClassSet {
            list.into_iter().map(|d| d.over(root)).collect()
        };
        let bass = chord.bass_pitch_class();
        let required = set(required).with(bass);
        Self {
            required,
            optional: set(optional).without(required),
            bass: Some(bass),
            bass_written: bass != root,
        }
    }
}

/// What the player will have.
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// Lowest fret to press, from the capo; open strings are always allowed unless `no_open`.
    pub lowest_fret: u8,
    /// Highest fret to press, from the capo.
    pub highest_fret: u8,
    /// Widest span from lowest to highest pressed fret, mm.
    pub span_mm: f64,
    /// Strings that must not sound, by index.
    pub left_out: Vec<usize>,
    /// Strings that must sound, by index.
    pub used: Vec<usize>,
    /// Strings that must ring open.
    pub ring_open: Vec<usize>,
    /// Pitch class of the highest sounding note.
    pub top: Option<PitchClass>,
    /// MIDI note of the highest sounding note.
    pub top_midi: Option<u8>,
    /// No finger may lie across strings.
    pub no_barre: bool,
    /// No open strings.
    pub no_open: bool,
    /// Most strings muted between sounding ones.
    pub muted_inside: u8,
    /// Fewest sounding strings; never fewer than the required pitch classes.
    pub min_strings: usize,
    /// Most fingers, the thumb counted.
    pub max_fingers: u8,
}

impl Default for Limits {
    /// Frets up to 15, span to 128 mm (five frets from the first), three strings or more.
    fn default() -> Self {
        Self {
            lowest_fret: 1,
            highest_fret: 15,
            span_mm: 128.0,
            left_out: Vec::new(),
            used: Vec::new(),
            ring_open: Vec::new(),
            top: None,
            top_midi: None,
            no_barre: false,
            no_open: false,
            muted_inside: 2,
            min_strings: 3,
            max_fingers: 5,
        }
    }
}

impl Limits {
    /// Whether these limits can hold for an instrument at all.
    ///
    /// # Errors
    /// * [`FretboardError::Limits`] for a string that does not exist, a string
    ///   both used and left out, frets the wrong way round or beyond the neck.
    pub fn check(&self, instrument: &Instrument) -> Result<(), FretboardError> {
        let n = instrument.tuning.n_strings();
        let fail = |reason: String| Err(FretboardError::Limits { reason });
        for s in self
            .left_out
            .iter()
            .chain(&self.used)
            .chain(&self.ring_open)
        {
            if *s >= n {
                return fail(format!(
                    "there is no string {} (the instrument has {n})",
                    s + 1
                ));
            }
        }
        let must = || self.used.iter().chain(&self.ring_open);
        if let Some(s) = must().find(|s| self.left_out.contains(s)) {
            return fail(format!(
                "string {} is both to sound and to be left out",
                super::string_name(instrument, *s)
            ));
        }
        if self.no_open && !self.ring_open.is_empty() {
            return fail("open strings are both wanted and excluded".into());
        }
        if self.lowest_fret > self.highest_fret {
            return fail(format!(
                "the lowest fret {} lies above the highest {}",
                self.lowest_fret, self.highest_fret
            ));
        }
        let neck = instrument.highest_fret.saturating_sub(instrument.capo);
        if self.lowest_fret > neck {
            return Err(FretboardError::FretRange {
                fret: u32::from(self.lowest_fret),
                highest: neck,
            });
        }
        if self.span_mm.is_nan() || self.span_mm < 0.0 {
            return fail(format!("a span of {} mm is none", self.span_mm));
        }
        Ok(())
    }
}

/// A playable shape.
#[derive(Debug, Clone, PartialEq)]
pub struct Voicing {
    /// The frets.
    pub shape: Shape,
    /// How it is held.
    pub hand: Hand,
    /// Optional pitch classes that do not sound.
    pub missing: PitchClassSet,
    /// The measure of ease with what is missing; lower is better.
    pub rank: f64,
}

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
    let open = instrument.tuning.open();
    let n = open.len();
    let neck = instrument.highest_fret.saturating_sub(instrument.capo);
    let highest = limits.highest_fret.min(neck);
    let allowed = PitchClassSet(wanted.required.0 | wanted.optional.0);
    let has_bass = instrument.tuning.has_bass();
    // without a bass all strings are strummed
    let fewest = match has_bass {
        true => limits.min_strings,
        false => limits.min_strings.max(n.min(STRUMMED_WITHOUT_BASS)),
    };
    let mut search = Search {
        instrument,
        wanted,
        limits,
        has_bass,
        n,
        min_strings: fewest.max(wanted.required.len()).min(n),
        // which frets of each string sound an allowed pitch class, as bits
        sounds: (0..n)
            .map(|s| {
                (0..=highest)
                    .filter(|f| {
                        let pc = instrument.midi(s, *f).map(|m| PitchClass::new(m.into()));
                        pc.is_some_and(|pc| allowed.contains(pc))
                    })
                    .fold(0u32, |bits, f| bits | 1 << f)
            })
            .collect(),
        frets: [None; 8],
        from: 0,
        to: 0,
        found: Vec::new(),
    };
    for from in limits.lowest_fret.max(1)..=highest {
        let to = (from..=highest)
            .take_while(|f| span_mm(from + instrument.capo, f + instrument.capo) <= limits.span_mm)
            .last()
            .unwrap_or(from);
        (search.from, search.to) = (from, to);
        search.string(0, State::default());
    }
    if !limits.no_open {
        // nothing pressed at all
        (search.from, search.to) = (1, 0);
        search.string(0, State::default());
    }
    let mut found = search.found;
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

/// The first `n` of a list of shapes that are no mere cut-down of an earlier
/// one (the same frets with strings left out).
pub fn distinct(list: &[Voicing], n: usize) -> Vec<&Voicing> {
    let mut kept: Vec<&Voicing> = Vec::with_capacity(n);
    for v in list {
        if kept.len() == n {
            break;
        }
        let cut = |whole: &&Voicing| {
            let pairs = v.shape.frets().iter().zip(whole.shape.frets());
            pairs.into_iter().all(|(a, b)| a.is_none() || a == b)
        };
        if !kept.iter().any(cut) {
            kept.push(v);
        }
    }
    kept
}

#[derive(Clone, Copy, Default)]
struct State {
    set: u16,
    sounding: usize,
    /// Pressed strings at the lowest fret and above it.
    at_lowest: u8,
    pressed: u8,
    /// Muted strings since the last sounding one, and inside so far.
    gap: u8,
    inside: u8,
}

struct Search<'a> {
    instrument: &'a Instrument,
    wanted: Wanted,
    limits: &'a Limits,
    has_bass: bool,
    n: usize,
    min_strings: usize,
    sounds: Vec<u32>,
    frets: [Option<u8>; 8],
    from: u8,
    to: u8,
    found: Vec<Voicing>,
}

impl Search<'_> {
    fn string(&mut self, s: usize, state: State) {
        if s == self.n {
            self.finish(state);
            return;
        }
        if state.sounding + (self.n - s) < self.min_strings
            || usize::from(state.inside) > usize::from(self.limits.muted_inside)
        {
            return;
        }
        let must_ring = self.limits.ring_open.contains(&s);
        if !must_ring && !self.limits.used.contains(&s) {
            self.frets[s] = None;
            let gap = if state.sounding > 0 { state.gap + 1 } else { 0 };
            self.string(s + 1, State { gap, ..state });
        }
        if self.limits.left_out.contains(&s) {
            return;
        }
        let Some(open) = self.instrument.midi(s, 0) else {
            return;
        };
        let sounding = |pressed: u8, at_lowest: u8, fret: u8| State {
            set: state.set | 1 << ((open + fret) % 12),
            sounding: state.sounding + 1,
            at_lowest,
            pressed,
            gap: 0,
            inside: state.inside + state.gap,
        };
        if self.sounds[s] & 1 == 1 && !self.limits.no_open {
            self.frets[s] = Some(0);
            self.string(s + 1, sounding(state.pressed, state.at_lowest, 0));
        }
        if must_ring {
            return;
        }
        for fret in self.from..=self.to {
            if self.sounds[s] >> fret & 1 == 1 {
                self.frets[s] = Some(fret);
                let low = u8::from(fret == self.from);
                self.string(
                    s + 1,
                    sounding(state.pressed + 1 - low, state.at_lowest + low, fret),
                );
            }
        }
    }

    fn finish(&mut self, state: State) {
        let (from, wanted) = (self.from, self.wanted);
        let nothing_pressed = self.to < from;
        if state.sounding < self.min_strings
            || (!nothing_pressed && state.at_lowest == 0)
            || wanted.required.0 & !state.set != 0
            || state.inside > self.limits.muted_inside
        {
            return;
        }
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
        let has_bass = self.has_bass || wanted.bass_written;
        if has_bass && wanted.bass.is_some_and(|b| b != pc(low))
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
