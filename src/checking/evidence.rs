//! Evidence of a take, ready to be asked about any stretch of it.
//!
//! Scores are natural logarithms. Neighboring frames tell much the same, so
//! sums over frames are scaled down; the bass counts most where a chord begins.

use crate::hearing::StretchEvidence;
use crate::theory::{Chord, Label, PitchClass, PitchClassSet, Quality};
use serde::Deserialize;
use std::sync::LazyLock;

/// How evidence is weighed against a chart.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct CheckWeights {
    /// Scale of the summed chord evidence.
    chord: f32,
    /// Scale of the summed bass evidence.
    bass: f32,
    /// Extra scale of the bass evidence where a chord begins.
    bass_start: f32,
    /// How long a chord's beginning is, for the bass, s.
    start_s: f64,
    /// Frames in that time.
    start_frames: f32,
    /// Prior of a chord that is not plain major or minor.
    colour: f32,
    /// Prior of a bass other than the root.
    inversion: f32,
    /// Prior of the written chord with other notes beside its triad, at song level.
    ornament: f32,
    /// Prior of the written chord over another of its notes, where a take is lined up.
    turned: f32,
    /// Weaker strums may be the wavering of a ringing string.
    clear_strum: f32,
}

static WEIGHTS: LazyLock<CheckWeights> = LazyLock::new(|| {
    // a broken build, which every check of a take finds
    serde_json::from_str(include_str!("weights/evidence.json"))
        .unwrap_or_else(|e| panic!("src/checking/weights/evidence.json: {e}"))
});

/// A chord class over a bass, as the evidence can tell them apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) struct Heardable {
    /// Index of the class.
    pub(crate) class: usize,
    /// Bass pitch class, 12 for none.
    pub(crate) bass: usize,
}

/// A note sounds if it is more likely than not.
const SOUNDS: f32 = 0.5;

/// A reading that counts as the chord written.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Reading {
    pub(crate) what: Heardable,
    /// What it costs to take it for that, 0 or below.
    pub(crate) prior: f32,
}

/// How closely a take is held against the chart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Level {
    /// As a lead sheet is read: what a hand adds to a chord or brushes beside it
    /// is no departure.
    #[default]
    Song,
    /// Every note of a chord counts.
    Detail,
}

/// A take's evidence.
#[derive(Debug, Clone)]
pub struct Evidence {
    classes: Vec<(PitchClass, &'static Quality)>,
    sets: Vec<PitchClassSet>,
    bounds_s: Vec<f64>,
    strums: Vec<f32>,
    frames: Vec<f32>,
    chords: Vec<Vec<f32>>,
    basses: Vec<Vec<f32>>,
    base: Vec<f32>,
    sounding: Vec<Vec<(u8, f32)>>,
    everything: Vec<(Heardable, f32)>,
}

/// Scores of every class and bass over one stretch.
pub(crate) struct Scores {
    classes: Vec<f32>,
    basses: [f32; 13],
}

impl Scores {
    pub(crate) fn of(&self, what: Heardable) -> f32 {
        self.classes[what.class] + self.basses[what.bass]
    }
}

impl Evidence {
    /// Takes root and quality of each class (without "no chord") and the
    /// stretches in order and without gap.
    ///
    /// # Panics
    /// If a stretch has not one number for each class and "no chord".
    pub fn new(
        classes: Vec<(PitchClass, &'static Quality)>,
        stretches: Vec<StretchEvidence>,
    ) -> Self {
        let sets: Vec<PitchClassSet> = classes
            .iter()
            .map(|(root, quality)| quality.degrees.iter().map(|d| d.over(*root)).collect())
            .collect();
        let mut everything = Vec::new();
        for (class, (root, quality)) in classes.iter().enumerate() {
            let colour = if matches!(quality.harte, "maj" | "min") {
                0.0
            } else {
                WEIGHTS.colour
            };
            for bass in sets[class].iter() {
                let inversion = if bass == *root {
                    0.0
                } else {
                    WEIGHTS.inversion
                };
                let bass = bass.index();
                everything.push((Heardable { class, bass }, colour + inversion));
            }
        }
        let none = Heardable {
            class: classes.len(),
            bass: 12,
        };
        everything.push((none, 0.0));
        let n = classes.len() + 1;
        let mut all = Self {
            classes,
            sets,
            bounds_s: vec![stretches.first().map_or(0.0, |s| s.start_s)],
            strums: Vec::new(),
            frames: vec![0.0],
            chords: vec![vec![0.0; n]],
            basses: vec![vec![0.0; 13]],
            base: vec![0.0],
            sounding: Vec::new(),
            everything,
        };
        let sum = |before: &[f32], more: &[f32]| -> Vec<f32> {
            before.iter().zip(more).map(|(a, b)| a + b).collect()
        };
        for (k, stretch) in stretches.into_iter().enumerate() {
            assert_eq!(stretch.ln_chords.len(), n, "one number a class");
            all.bounds_s.push(stretch.end_s);
            all.strums.push(stretch.stroke);
            all.frames.push(all.frames[k] + stretch.n_frames);
            all.chords.push(sum(&all.chords[k], &stretch.ln_chords));
            all.basses.push(sum(&all.basses[k], &stretch.ln_basses));
            let most = |v: &[f32]| v.iter().copied().fold(f32::MIN, f32::max);
            let best =
                WEIGHTS.chord * most(&stretch.ln_chords) + WEIGHTS.bass * most(&stretch.ln_basses);
            all.base.push(all.base[k] + best);
            all.sounding.push(stretch.sounding);
        }
        all
    }

    /// The same take sounding so many semitones lower.
    pub(crate) fn lowered(&self, semitones: i8) -> Self {
        let k = i32::from(semitones);
        let up = |pitch_class: usize| (pitch_class as i32 + k).rem_euclid(12) as usize;
        let none = self.classes.len();
        let mut from: Vec<usize> = self
            .classes
            .iter()
            .enumerate()
            .map(|(class, (root, quality))| {
                let above = up(root.index());
                let same = |c: &(PitchClass, &'static Quality)| {
                    c.0.index() == above && c.1.harte == quality.harte
                };
                self.classes.iter().position(same).unwrap_or(class)
            })
            .collect();
        from.push(none);
        let moved = |sums: &Vec<f32>| from.iter().map(|class| sums[*class]).collect();
        let bass = |sums: &Vec<f32>| {
            let each = (0..13).map(|b| sums[if b < 12 { up(b) } else { b }]);
            each.collect()
        };
        let lower =
            |(midi, p): &(u8, f32)| u8::try_from(i32::from(*midi) - k).ok().map(|m| (m, *p));
        Self {
            chords: self.chords.iter().map(moved).collect(),
            basses: self.basses.iter().map(bass).collect(),
            sounding: self
                .sounding
                .iter()
                .map(|notes| notes.iter().filter_map(lower).collect())
                .collect(),
            ..self.clone()
        }
    }

    /// How long each chord class is the likely one, s; "no chord" last.
    pub(crate) fn class_seconds(&self) -> Vec<f64> {
        let mut seconds = vec![0.0; self.classes.len() + 1];
        for at in 0..self.bounds_s.len() - 1 {
            let frames = self.n_frames(at, at + 1).max(1.0);
            let length_s = self.bounds_s[at + 1] - self.bounds_s[at];
            for (class, sum) in seconds.iter_mut().enumerate() {
                let ln = (self.chords[at + 1][class] - self.chords[at][class]) / frames;
                *sum += length_s * f64::from(ln.exp());
            }
        }
        seconds
    }

    /// How long something sounds in one stretch, s: its length times how likely
    /// it is that any chord sounds.
    pub(crate) fn sound_s(&self, at: usize) -> f64 {
        let frames = self.n_frames(at, at + 1).max(1.0);
        let none = self.classes.len();
        let ln_none = (self.chords[at + 1][none] - self.chords[at][none]) / frames;
        let length_s = self.bounds_s[at + 1] - self.bounds_s[at];
        length_s * f64::from(1.0 - ln_none.exp()).clamp(0.0, 1.0)
    }

    /// Times between the stretches, s: one more than stretches.
    pub fn bounds_s(&self) -> &[f64] {
        &self.bounds_s
    }

    /// What no reading of the stretch can exceed, the bass of its start apart.
    pub(crate) fn base(&self, from: usize, to: usize) -> f32 {
        self.base[to] - self.base[from]
    }

    /// How much less likely "no chord" is in one stretch than the best reading.
    pub(crate) fn rest(&self, at: usize) -> f32 {
        let none = self.classes.len();
        WEIGHTS.chord * (self.chords[at + 1][none] - self.chords[at][none])
            + WEIGHTS.bass * (self.basses[at + 1][12] - self.basses[at][12])
            - self.base(at, at + 1)
    }

    /// Whether strings are struck where a stretch starts.
    pub(crate) fn struck(&self, at: usize) -> bool {
        self.strums.get(at).is_some_and(|s| *s > 0.0)
    }

    /// Whether they are struck clearly.
    pub(crate) fn struck_clearly(&self, at: usize) -> bool {
        self.strums
            .get(at)
            .is_some_and(|s| *s >= WEIGHTS.clear_strum)
    }

    pub(crate) fn n_frames(&self, from: usize, to: usize) -> f32 {
        self.frames[to] - self.frames[from]
    }

    /// "No chord".
    pub(crate) fn silence(&self) -> Heardable {
        Heardable {
            class: self.classes.len(),
            bass: 12,
        }
    }

    /// Every chord over each of its own tones, with its prior.
    pub(crate) fn everything(&self) -> &[(Heardable, f32)] {
        &self.everything
    }

    pub(crate) fn scores(&self, from: usize, to: usize) -> Scores {
        let classes = self.chords[to]
            .iter()
            .zip(&self.chords[from])
            .map(|(b, a)| WEIGHTS.chord * (b - a))
            .collect();
        let mut basses = [0.0; 13];
        let (start, scale) = self.start_of(from, to);
        for (b, value) in basses.iter_mut().enumerate() {
            *value = self.bass_score(from, to, start, scale, b);
        }
        Scores { classes, basses }
    }

    fn start_of(&self, from: usize, to: usize) -> (usize, f32) {
        let start = (from + 1..=to)
            .find(|k| self.bounds_s[*k] - self.bounds_s[from] >= WEIGHTS.start_s)
            .unwrap_or(to);
        let scale = (WEIGHTS.start_frames / self.n_frames(from, start).max(1.0)).min(1.0);
        (start, scale)
    }

    fn bass_score(&self, from: usize, to: usize, start: usize, scale: f32, b: usize) -> f32 {
        WEIGHTS.bass * (self.basses[to][b] - self.basses[from][b])
            + WEIGHTS.bass_start * scale * (self.basses[start][b] - self.basses[from][b])
    }

    /// Score of one reading of a stretch.
    pub(crate) fn score(&self, from: usize, to: usize, what: Heardable) -> f32 {
        let (start, scale) = self.start_of(from, to);
        WEIGHTS.chord * (self.chords[to][what.class] - self.chords[from][what.class])
            + self.bass_score(from, to, start, scale, what.bass)
    }

    /// The readings of a chord with each of its own notes as the bass as well: good
    /// enough to find the place of a double stop or of a brushed string.
    pub(crate) fn over_any_note(&self, readings: &[Reading]) -> Vec<Reading> {
        let mut all = readings.to_vec();
        for reading in readings {
            let Some(set) = self.sets.get(reading.what.class) else {
                continue;
            };
            for bass in set.iter().map(PitchClass::index) {
                let what = Heardable {
                    bass,
                    ..reading.what
                };
                if !all.iter().any(|r| r.what == what) {
                    let prior = reading.prior + WEIGHTS.turned;
                    all.push(Reading { what, prior });
                }
            }
        }
        all
    }

    /// How many notes sound at once in a stretch, on average.
    pub(crate) fn n_at_once(&self, from: usize, to: usize) -> f32 {
        let sum: f32 = (from..to)
            .map(|at| {
                let sure = self.sounding[at].iter().filter(|s| s.1 > SOUNDS);
                self.n_frames(at, at + 1) * sure.count() as f32
            })
            .sum();
        sum / self.n_frames(from, to).max(1.0)
    }

    /// Share of the notes heard in a stretch that belong to a set, by time; 0 if there are none.
    pub(crate) fn share_in(&self, from: usize, to: usize, set: PitchClassSet) -> f32 {
        let (mut inside, mut all) = (0.0, 0.0);
        for at in from..to {
            let frames = self.n_frames(at, at + 1);
            for (midi, _) in self.sounding[at].iter().filter(|s| s.1 > SOUNDS) {
                all += frames;
                if set.contains(PitchClass::new(i32::from(*midi))) {
                    inside += frames;
                }
            }
        }
        if all > 0.0 { inside / all } else { 0.0 }
    }

    /// Score of the best of some readings of a stretch.
    pub(crate) fn best_of(&self, from: usize, to: usize, readings: &[Reading]) -> f32 {
        readings
            .iter()
            .map(|r| self.score(from, to, r.what) + r.prior)
            .fold(f32::MIN, f32::max)
    }

    /// The readings that count as a label as written; empty for "unknown".
    ///
    /// A chord outside the classes counts as the nearest ones on its root, and
    /// the number says how many notes they differ by. At song level so does every
    /// chord on the same root whose third, fifth and seventh do not speak against it.
    pub(crate) fn readings(&self, label: &Label, level: Level) -> (Vec<Reading>, u32) {
        let exactly = |list: Vec<Heardable>| -> Vec<Reading> {
            let each = list.into_iter().map(|what| Reading { what, prior: 0.0 });
            each.collect()
        };
        let chord = match label {
            Label::Unknown => return (Vec::new(), 0),
            Label::NoChord => return (exactly(vec![self.silence()]), 0),
            Label::Chord(chord) => chord,
        };
        let (exact, off) = self.readings_of(chord);
        let mut all = exactly(exact);
        if level == Level::Song {
            let root = chord.root.pitch_class();
            let bass = chord.bass_pitch_class().index();
            for (class, (other, _)) in self.classes.iter().enumerate() {
                let is_known = all.iter().any(|r| r.what.class == class);
                let agrees = agree(root, chord.pitch_classes(), self.sets[class]);
                if *other == root && agrees && !is_known {
                    all.push(Reading {
                        what: Heardable { class, bass },
                        prior: WEIGHTS.ornament,
                    });
                }
            }
        }
        (all, off)
    }

    fn readings_of(&self, chord: &Chord) -> (Vec<Heardable>, u32) {
        let root = chord.root.pitch_class();
        let own: PitchClassSet = chord.degrees().into_iter().map(|d| d.over(root)).collect();
        let bass = chord.bass_pitch_class().index();
        let with_bass = chord.pitch_classes();
        let distance = |set: PitchClassSet| {
            // the bass may be one of the notes or stand apart
            let off = |a: PitchClassSet| (a.0 ^ set.0).count_ones();
            off(own).min(off(with_bass))
        };
        let near = |any_root: bool| {
            let mut least = u32::MAX;
            let mut found = Vec::new();
            for (class, set) in self.sets.iter().enumerate() {
                if !any_root && self.classes[class].0 != root {
                    continue;
                }
                let d = distance(*set);
                if d < least {
                    least = d;
                    found.clear();
                }
                if d == least {
                    found.push(Heardable { class, bass });
                }
            }
            (found, least)
        };
        let (found, least) = near(true);
        if least == 0 {
            return (found, 0);
        }
        near(false)
    }

    /// Notes that sound in a stretch: MIDI and greatest probability, low to high.
    pub(crate) fn sounding(&self, from: usize, to: usize) -> Vec<(u8, f32)> {
        let mut most: std::collections::BTreeMap<u8, f32> = std::collections::BTreeMap::new();
        for (midi, p) in self.sounding[from..to].iter().flatten() {
            let best = most.entry(*midi).or_default();
            *best = best.max(*p);
        }
        most.into_iter().collect()
    }

    /// Root, quality and notes of a reading; none for "no chord".
    pub(crate) fn chord(
        &self,
        what: Heardable,
    ) -> Option<(PitchClass, &'static Quality, PitchClassSet)> {
        let (root, quality) = *self.classes.get(what.class)?;
        Some((root, quality, self.sets[what.class]))
    }
}

/// Whether two chords on one root have no third, fifth or seventh that speaks
/// against the other's: a fourth in place of a third does not.
pub(crate) fn agree(root: PitchClass, one: PitchClassSet, other: PitchClassSet) -> bool {
    const DEGREES: [&[i32]; 3] = [&[3, 4], &[6, 7, 8], &[10, 11]];
    DEGREES.iter().all(|semitones| {
        let of = |set: PitchClassSet| -> PitchClassSet {
            let each = semitones.iter().map(|s| root.up(*s));
            each.filter(|p| set.contains(*p)).collect()
        };
        let (a, b) = (of(one), of(other));
        a.is_empty() || b.is_empty() || a.0 & b.0 != 0
    })
}
