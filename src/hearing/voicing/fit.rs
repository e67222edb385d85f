//! Shapes from sound: which fingerings of a chord fit the notes that sounded.
//!
//! Each playable shape is scored by the notes heard while its chord sounded:
//! for every pitch of the shape the logarithm of how surely it was heard, for
//! every pitch heard that the shape lacks the logarithm of how surely it was
//! not. Spans with the same chord are scored together, so that a chord keeps
//! its shape from bar to bar; ease decides between shapes that fit alike. Where
//! some of them are heard so much better in another shape that all of them in
//! one are hard to believe, they have a shape of their own: a chord may be
//! played in two places of the neck.
//!
//! A hand holds more than a picking pattern plucks: where notes come one by
//! one, a pitch of the shape that was not heard says little against it. Bare
//! fifths are played on two or three neighboring strings (common practice, no
//! source), and a distorted amplifier makes octaves of them that nobody
//! fingers: there the usual forms count for more than ease. A string an octave
//! above another may leave no trace in a strum; nobody leaves a string out that
//! lies under the hand for nothing.

use crate::fretboard::{Instrument, Limits, Shape, Voicing, Wanted, voicings};
use crate::hearing::acoustic::net::{LOWEST_MIDI, N_PITCHES};
use crate::hearing::learned;
use crate::hearing::notes::pitches::Pitches;
use crate::hearing::partials::PARTIALS;
use crate::hearing::weight_files::SHAPES;
use crate::theory::{Chord, Label};
use rayon::prelude::*;
use std::collections::{BTreeMap, HashMap};

/// Weights of the fit.
#[derive(Debug, Clone, serde::Deserialize, serde::Serialize)]
#[serde(deny_unknown_fields)]
pub struct FitWeights {
    /// Weight of the measure of ease against the logarithm of the fit.
    pub ease: f64,
    /// Probabilities are kept this far from 0 and 1.
    pub margin: f64,
    /// How many shapes are kept.
    pub n_shapes: usize,
    /// How much of its weight a pitch that was not heard keeps where strings
    /// are plucked one by one.
    pub unplucked: f64,
    /// Cost of a string that a shape leaves out of one about as easy.
    pub left_out: f64,
    /// Efforts so near are about as easy.
    pub about: f64,
    /// How much of its weight a pitch that was not heard loses where one whose overtone it is
    /// was surely heard: it would be hidden in that.
    pub hidden: f64,
    /// Share of the notes struck at once: at or below the first they are
    /// plucked one by one, at or above the second strummed.
    pub together: (f64, f64),
    /// Weight of the usual forms of bare fifths.
    pub power: f64,
    /// What a further shape of one chord costs, and what each of its spans does.
    pub another: f64,
    /// See `another`.
    pub moved: f64,
    /// How far a pitch was struck is taken from the judge of notes (1) or from
    /// the acoustic stage (0).
    pub judged: f64,
}

impl Default for FitWeights {
    fn default() -> Self {
        learned::read(&SHAPES)
    }
}

/// A shape that is so much harder than one that sounds the same is not proposed.
const MUCH_HARDER: f64 = 6.0;
/// So many of the best shapes are held against those that leave out less.
const AMONG: usize = 24;

/// Semitones from a string to its overtones that another string's first partial may hide in.
pub(in crate::hearing) const OVERTONES: [usize; 3] = [PARTIALS[1], PARTIALS[2], PARTIALS[3]];

/// A span to fit: its label and what was heard in it.
pub(crate) struct Heard<'a> {
    pub(crate) label: &'a Label,
    pub(crate) pitches: Pitches,
    pub(crate) seconds: f64,
}

/// A span this long says as much as any longer one, s.
const FULL_S: f64 = 4.0;

impl Heard<'_> {
    /// How much it says of the shape.
    fn weight(&self) -> f64 {
        self.seconds.min(FULL_S)
    }
}

/// For each span the shapes of its chord that fit best, best first, with their fit (0 to 1).
pub(crate) fn fit_shapes(
    instrument: &Instrument,
    spans: &[Heard<'_>],
    weights: &FitWeights,
) -> Vec<Vec<(Shape, f64)>> {
    // spans of one chord are fitted together
    let mut groups: BTreeMap<String, (&Chord, Vec<usize>)> = BTreeMap::new();
    for (i, span) in spans.iter().enumerate() {
        if let Label::Chord(chord) = span.label {
            groups
                .entry(chord.label())
                .or_insert_with(|| (chord, Vec::new()))
                .1
                .push(i);
        }
    }
    let groups: Vec<(&Chord, Vec<usize>)> = groups.into_values().collect();
    let fit_group = |(chord, members): &(&Chord, Vec<usize>)| {
        let shapes = Shapes::of(instrument, chord, weights);
        let heard: Vec<&Heard<'_>> = members.iter().map(|i| &spans[*i]).collect();
        shapes.fit(&heard)
    };
    let fitted: Vec<_> = groups.par_iter().map(fit_group).collect();
    let mut out = vec![Vec::new(); spans.len()];
    for ((_, members), shapes) in groups.iter().zip(fitted) {
        for (i, shapes) in members.iter().zip(shapes) {
            out[*i] = shapes;
        }
    }
    out
}

/// What some spans of one chord say of its shape.
struct Evidence {
    /// What a pitch adds if it is in the shape.
    gain: [f64; N_PITCHES],
    /// What a shape that sounds exactly what was heard would have.
    perfect: f64,
}

impl Evidence {
    fn of(spans: &[&Heard<'_>], weights: &FitWeights) -> Self {
        let (mut heard, mut ringing) = ([0f64; N_PITCHES], [0f64; N_PITCHES]);
        let all: f64 = spans.iter().map(|s| s.weight()).sum();
        let mut together = 0.0;
        for span in spans {
            let w = span.weight() / all.max(1e-6);
            together += w * f64::from(span.pitches.together);
            for p in 0..N_PITCHES {
                heard[p] += w * f64::from(span.pitches.heard[p]);
                ringing[p] += w * f64::from(span.pitches.ringing[p]);
            }
        }
        let clamp = |p: f64| p.clamp(weights.margin, 1.0 - weights.margin);
        let (one_by_one, strummed) = weights.together;
        let strum = ((together - one_by_one) / (strummed - one_by_one)).clamp(0.0, 1.0);
        let unheard = weights.unplucked + (1.0 - weights.unplucked) * strum;
        let gain: [f64; N_PITCHES] = std::array::from_fn(|p| {
            let below = OVERTONES.iter().filter_map(|above| p.checked_sub(*above));
            let hidden = below.map(|low| heard[low]).fold(0.0, f64::max);
            // plucked one by one, what only rings in another's overtones was not fingered
            let own = clamp(heard[p] - (1.0 - strum) * hidden * ringing[p]);
            let gain = (own / (1.0 - own)).ln();
            match gain < 0.0 {
                true => unheard * (1.0 - weights.hidden * hidden) * gain,
                false => gain,
            }
        });
        let perfect: f64 = gain.iter().filter(|g| **g > 0.0).sum();
        Self { gain, perfect }
    }
}

/// The shapes of one chord that are worth proposing.
struct Shapes<'a> {
    weights: &'a FitWeights,
    outlines: Vec<Outline>,
    proposed: Vec<Proposed>,
    is_power: bool,
}

struct Proposed {
    shape: Shape,
    outline: Outline,
    /// The pitches that it sounds.
    pitches: u64,
    /// What its effort, or its form, costs.
    cost: f64,
}

/// A shape, by its place among those proposed, with its score and its fit.
#[derive(Debug, Clone, Copy)]
struct Scored {
    which: usize,
    score: f64,
    fit: f64,
}

impl<'a> Shapes<'a> {
    fn of(instrument: &Instrument, chord: &Chord, weights: &'a FitWeights) -> Self {
        let limits = Limits {
            min_strings: 2,
            ..Limits::default()
        };
        let is_power = chord.quality.degrees.len() == 2;
        let shapes = voicings(instrument, Wanted::chord(chord), &limits);
        // the easiest of the shapes that sound the same comes first
        let mut easiest: HashMap<u64, f64> = HashMap::new();
        let proposed = shapes
            .iter()
            .map(|v| (pitch_set(instrument, &v.shape), v))
            .filter(|(set, v)| v.rank <= *easiest.entry(*set).or_insert(v.rank) + MUCH_HARDER)
            .map(|(pitches, v)| Proposed {
                shape: v.shape.clone(),
                outline: Outline::of(v),
                pitches,
                cost: if is_power {
                    weights.power * unusual_fifths(v.shape.frets())
                } else {
                    weights.ease * v.rank
                },
            });
        Self {
            weights,
            proposed: proposed.collect(),
            outlines: shapes.iter().map(Outline::of).collect(),
            is_power,
        }
    }

    /// For each span the shapes that fit best, best first, with their fit (0 to 1).
    fn fit(&self, spans: &[&Heard<'_>]) -> Vec<Vec<(Shape, f64)>> {
        let mut out = vec![Vec::new(); spans.len()];
        for members in self.in_one_shape(spans) {
            let of: Vec<&Heard<'_>> = members.iter().map(|i| spans[*i]).collect();
            let evidence = Evidence::of(&of, self.weights);
            let mut best = self.best(&evidence);
            best.truncate(self.weights.n_shapes);
            let told = |s: &Scored| {
                let fit = (s.fit / evidence.perfect.max(1.0)).clamp(0.0, 1.0);
                (self.proposed[s.which].shape.clone(), fit)
            };
            let shapes: Vec<(Shape, f64)> = best.iter().map(told).collect();
            for i in members {
                out[i].clone_from(&shapes);
            }
        }
        out
    }

    /// The spans (by their places) in groups that keep one shape: all of them, but for those
    /// that together are heard better in another, one such group after the other.
    fn in_one_shape(&self, spans: &[&Heard<'_>]) -> Vec<Vec<usize>> {
        let mut left: Vec<usize> = (0..spans.len()).collect();
        if left.len() < 2 {
            return vec![left];
        }
        let own: Vec<Evidence> = spans
            .iter()
            .map(|s| Evidence::of(&[*s], self.weights))
            .collect();
        let mut tried: Vec<usize> = own
            .iter()
            .filter_map(|evidence| Some(self.best(evidence).first()?.which))
            .collect();
        tried.sort_unstable();
        tried.dedup();
        let mut groups = Vec::new();
        while left.len() > 1 && tried.len() > 1 {
            let of: Vec<&Heard<'_>> = left.iter().map(|i| spans[*i]).collect();
            let Some(shared) = self.best(&Evidence::of(&of, self.weights)).first().copied() else {
                break;
            };
            // by how much each span is heard better in another shape
            let better = |which: usize| -> Vec<(usize, f64)> {
                let dearer = self.against(which) - self.against(shared.which);
                left.iter()
                    .map(|i| {
                        let fit = |which: usize| fit_of(&self.proposed[which], &own[*i]);
                        let gain = fit(which) - fit(shared.which) - dearer;
                        (*i, gain * spans[*i].weight() / FULL_S - self.weights.moved)
                    })
                    .filter(|(_, gain)| *gain > 0.0)
                    .collect()
            };
            let sum = |moved: &[(usize, f64)]| moved.iter().map(|(_, gain)| gain).sum::<f64>();
            // a string more or less is the same hand
            let at = |which: usize| &self.proposed[which].outline;
            let others = tried.iter().filter(|w| at(**w).differs(at(shared.which)));
            let moved = others.map(|which| better(*which));
            let best = moved.max_by(|a, b| sum(a).total_cmp(&sum(b)));
            let Some(moved) = best.filter(|moved| sum(moved) > self.weights.another) else {
                break;
            };
            let group: Vec<usize> = moved.into_iter().map(|(i, _)| i).collect();
            left.retain(|i| !group.contains(i));
            groups.push(group);
        }
        groups.push(left);
        groups.retain(|group| !group.is_empty());
        groups
    }

    /// What is against a shape whatever was heard.
    fn against(&self, which: usize) -> f64 {
        let proposed = &self.proposed[which];
        match self.is_power {
            true => proposed.cost,
            false => proposed.cost + self.left_out(proposed),
        }
    }

    fn left_out(&self, proposed: &Proposed) -> f64 {
        let outline = &proposed.outline;
        self.weights.left_out * outline.left_out(&self.outlines, self.weights.about)
    }

    /// The best shapes, best first.
    fn best(&self, evidence: &Evidence) -> Vec<Scored> {
        let mut scored: Vec<Scored> = (0..self.proposed.len())
            .map(|which| {
                let proposed = &self.proposed[which];
                let fit = fit_of(proposed, evidence);
                let score = fit - proposed.cost;
                Scored { which, score, fit }
            })
            .collect();
        let best_first = |a: &Scored, b: &Scored| {
            let by_shape = || {
                let shape = |s: &Scored| &self.proposed[s.which].shape;
                shape(a).cmp(shape(b))
            };
            b.score.total_cmp(&a.score).then_with(by_shape)
        };
        if scored.len() > AMONG {
            scored.select_nth_unstable_by(AMONG, best_first);
            scored.truncate(AMONG);
        }
        if !self.is_power {
            // each is held against all shapes: only those that may come first
            for s in &mut scored {
                s.score -= self.left_out(&self.proposed[s.which]);
            }
        }
        scored.sort_by(best_first);
        scored
    }
}

fn fit_of(proposed: &Proposed, evidence: &Evidence) -> f64 {
    let mut fit = 0.0;
    let mut left = proposed.pitches;
    while left != 0 {
        fit += evidence.gain[left.trailing_zeros() as usize];
        left &= left - 1;
    }
    fit
}

/// The pitches that a shape sounds, as bits from [`LOWEST_MIDI`].
fn pitch_set(instrument: &Instrument, shape: &Shape) -> u64 {
    let sounding = instrument.sounding(shape).into_iter().flatten();
    sounding
        .filter_map(|midi| midi.checked_sub(LOWEST_MIDI))
        .filter(|p| usize::from(*p) < N_PITCHES)
        .fold(0, |set, p| set | 1 << p)
}

/// A shape as it is held against thousands of others.
struct Outline {
    /// A byte for each string: its fret, 255 where it is silent.
    frets: u64,
    /// 255 for each string that sounds.
    sounding: u64,
    effort: f64,
}

impl Outline {
    fn of(voicing: &Voicing) -> Self {
        let bytes = |of: fn(&Option<u8>) -> u8| {
            let mut bytes = [0; 8];
            for (byte, fret) in bytes.iter_mut().zip(voicing.shape.frets()) {
                *byte = of(fret);
            }
            u64::from_le_bytes(bytes)
        };
        Self {
            frets: bytes(|fret| fret.unwrap_or(u8::MAX)),
            sounding: bytes(|fret| if fret.is_some() { u8::MAX } else { 0 }),
            effort: voicing.hand.effort,
        }
    }

    fn n_strings(&self) -> u32 {
        self.sounding.count_ones() / u8::BITS
    }

    /// Whether it stops a string elsewhere than another that sounds it too.
    fn differs(&self, other: &Self) -> bool {
        (self.frets ^ other.frets) & self.sounding & other.sounding != 0
    }

    /// How many strings it leaves out of a shape that is about as easy and otherwise the same.
    fn left_out(&self, all: &[Self], about: f64) -> f64 {
        let whole = |other: &&Self| {
            (other.frets ^ self.frets) & self.sounding == 0 && other.effort <= self.effort + about
        };
        let most = all.iter().filter(whole).map(Self::n_strings).max();
        most.unwrap_or(0).saturating_sub(self.n_strings()).into()
    }
}

/// How far a shape of bare fifths is from its usual forms: two or three
/// neighboring strings, the lowest of them open or none.
fn unusual_fifths(frets: &[Option<u8>]) -> f64 {
    let sounding: Vec<usize> = (0..frets.len()).filter(|s| frets[*s].is_some()).collect();
    let (Some(first), Some(last)) = (sounding.first(), sounding.last()) else {
        return 0.0;
    };
    let gaps = last + 1 - first - sounding.len();
    let open_above = sounding[1..].iter().filter(|s| frets[**s] == Some(0));
    let many = sounding.len().saturating_sub(3);
    let place = f64::from(frets[*first].unwrap_or(0));
    2.0 * gaps as f64 + open_above.count() as f64 + 1.5 * many as f64 + 0.1 * place
}

pub(crate) mod capo;
#[cfg(test)]
mod tests;
