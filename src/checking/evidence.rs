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

/// A take's evidence.
#[derive(Debug, Clone)]
pub struct Evidence {
    classes: Vec<(PitchClass, &'static Quality)>,
    sets: Vec<PitchClassSet>,
    bounds_s: Vec<f64>,
    struck: Vec<bool>,
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
            struck: Vec::new(),
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
            all.struck.push(stretch.stroke > 0.0);
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
        self.struck.get(at).copied().unwrap_or(false)
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

    /// The readings that count as a label as written; empty for "unknown".
    ///
    /// A chord outside the classes counts as the nearest ones on its root, and
    /// the number says how many notes they differ by.
    pub(crate) fn readings(&self, label: &Label) -> (Vec<Heardable>, u32) {
        match label {
            Label::Unknown => (Vec::new(), 0),
            Label::NoChord => (vec![self.silence()], 0),
            Label::Chord(chord) => self.readings_of(chord),
        }
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
