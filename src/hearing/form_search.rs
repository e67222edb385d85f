//! The search for sections over sketches of bars.
//!
//! A row of sections explains the bars. A section is new music, at a cost a
//! bar (less for a bar that copies one of its own phrases), or what an earlier
//! section played, perhaps in another key, at a cost for every bar that
//! differs (less near its end: a changed ending). Each section costs something
//! by itself and by its length, and less where the playing changes with it.
//! The cheapest row is found by a beam search over the bars.
//!
//! # Source
//! The shortest description of a piece by its repeats: in the spirit of
//! Peeters, "Sequence representation of music structure using higher-order
//! similarity matrix and maximum-likelihood approach", ISMIR 2007. The costs
//! are ours; docs/hearing.md says what they were fitted on.

use super::form_rows::{Rows, apart, steps};

/// Slots of a bar that its chord is noted for.
pub(crate) const SLOTS: usize = 8;

/// A chord as the search sees it, its bass left out: inversions come and go between repeats.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Sounding {
    /// Pitch class of the root.
    pub(crate) root: u8,
    /// A number for the triad.
    pub(crate) triad: u8,
    /// A number for the quality.
    pub(crate) quality: u8,
}

/// A bar as the search sees it.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Sketch {
    /// What sounds in each slot; none for no chord.
    pub(crate) chords: [Option<Sounding>; SLOTS],
    /// How much is struck on each division of its beats, 0 to 1.
    pub(crate) rhythm: Vec<f32>,
}

/// A section that was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Piece {
    /// First bar, and the bar after the last.
    pub(crate) start: usize,
    pub(crate) end: usize,
    /// Same number, same music.
    pub(crate) letter: usize,
    /// Semitones it lies above the first section with its letter, 0 to 11.
    pub(crate) shift: u8,
}

impl Piece {
    fn len(self) -> usize {
        self.end - self.start
    }
}

/// Costs of the search; a new bar of music costs 1.
#[derive(Debug, Clone, PartialEq)]
pub struct SectionWeights {
    /// Of a section of new music.
    pub letter: f64,
    /// Of a section that comes again.
    pub again: f64,
    /// The same after the section that it came after before.
    pub known: f64,
    /// Of a bar that copies an earlier one of its section, and that much for its difference.
    pub copy: f64,
    /// Of a bar of a repeat that differs wholly.
    pub differs: f64,
    /// The same in the last quarter of a repeat.
    pub ending: f64,
    /// Of a bar that a repeat has too many or too few.
    pub length: f64,
    /// Of playing a section in another key.
    pub moved: f64,
    /// Gain where the playing changes wholly at the start of a section.
    pub rhythm: f64,
    /// Weight of the playing in the difference of two bars.
    pub playing: f64,
    /// Gain where a section starts on the tonic.
    pub tonic: f64,
    /// Gain where a section starts after a bar that ends on the fifth degree.
    pub half_close: f64,
    /// Of new sections of 8, 16, 12, 4, other multiples of 4, other even and of odd numbers of bars.
    pub lengths: [f64; 7],
    /// Of a section shorter than four bars, beyond that.
    pub short: f64,
    /// Of each bar beyond sixteen.
    pub long: f64,
    /// Of a section that lasts twice or half as long as usual; grows with the square.
    pub duration: f64,
    /// How long a section usually lasts, s.
    pub usual_s: f64,
}

impl Default for SectionWeights {
    fn default() -> Self {
        Self {
            letter: 2.64,
            again: 1.61,
            known: 2.21,
            copy: 0.58,
            differs: 2.05,
            ending: 0.64,
            length: 3.99,
            moved: 4.0,
            rhythm: 3.6,
            playing: 0.2,
            tonic: 1.05,
            half_close: 0.31,
            lengths: [0.0, 0.74, 1.15, 0.59, 4.81, 2.25, 6.5],
            short: 1.22,
            long: 0.34,
            duration: 0.15,
            usual_s: 18.0,
        }
    }
}

/// Longest section, bars.
pub(crate) const LONGEST: usize = 32;
/// In takes of more bars, repeats in other keys are not looked for: the work grows with the square.
const MOST_FOR_KEYS: usize = 400;
/// Hypotheses kept at each bar.
const BEAM: usize = 80;
/// Distances at which a section copies itself, bars.
const LAGS: [usize; 3] = [2, 4, 8];

/// How far two bars agree in chords if the second lies `shift` semitones higher, 0 to 1.
pub(crate) fn agreement(low: &Sketch, high: &Sketch, shift: u8) -> f64 {
    let alike = |a: &Option<Sounding>, b: &Option<Sounding>| match (a, b) {
        (None, None) => 1.0,
        (Some(a), Some(b)) if (a.root + shift) % 12 == b.root => {
            if a.quality == b.quality {
                1.0
            } else if a.triad == b.triad {
                0.8
            } else {
                0.2
            }
        }
        _ => 0.0,
    };
    let sum: f64 = low
        .chords
        .iter()
        .zip(&high.chords)
        .map(|(a, b)| alike(a, b))
        .sum();
    sum / SLOTS as f64
}

/// What the search looks up.
struct Table<'a> {
    /// How far stretches of bars differ from earlier ones.
    rows: Rows<'a>,
    /// Cost of new music from a start, by number of bars, `n × (LONGEST + 1)`.
    new: Vec<f64>,
    /// What a section gains by starting at each bar.
    gain: Vec<f64>,
    /// For a bar and each earlier one, which shifts are worth a look: a bit each.
    worth: Vec<u16>,
}

impl<'a> Table<'a> {
    fn new(bars: &'a [Sketch], tonics: &[Option<u8>], weights: &SectionWeights) -> Self {
        let n = bars.len();
        let apart = |a: usize, b: usize| apart(bars, a, b);
        let sounding = bars.iter().any(|b| b.chords.iter().any(Option::is_some));
        let shifts = (0..12)
            .filter(|shift| *shift == 0 || (sounding && n <= MOST_FOR_KEYS))
            .collect();
        let before = steps(bars, 1, weights.playing);
        let copies = LAGS.map(|lag| (lag, steps(bars, lag, weights.playing)));
        let mut new = vec![0.0; n * (LONGEST + 1)];
        for start in 0..n {
            let mut cost = 0.0;
            for k in 0..LONGEST.min(n - start) {
                let i = start + k;
                let mut bar: f64 = 1.0;
                for (lag, copied) in &copies {
                    if k >= *lag {
                        bar = bar.min(weights.copy + weights.differs * copied[i]);
                    }
                }
                if k > 0 {
                    // a bar that goes on as the one before
                    bar = bar.min(
                        0.7 * (1.0 - weights.copy) + weights.copy + weights.differs * before[i],
                    );
                }
                cost += bar;
                new[start * (LONGEST + 1) + k + 1] = cost;
            }
        }
        let change = |i: usize| -> f64 {
            let before = [i.checked_sub(2), i.checked_sub(1)];
            let after = [Some(i), (i + 1 < n).then_some(i + 1)];
            let mut pairs = Vec::new();
            for a in before.into_iter().flatten() {
                for b in after.into_iter().flatten() {
                    pairs.push(apart(b, a));
                }
            }
            if pairs.is_empty() {
                return 0.0;
            }
            let within = |x: Option<usize>, y: Option<usize>| match (x, y) {
                (Some(x), Some(y)) => apart(x, y),
                _ => 0.0,
            };
            let mean = pairs.iter().sum::<f64>() / pairs.len() as f64;
            let inner = 0.5 * (within(before[0], before[1]) + within(after[0], after[1]));
            (mean - inner).max(0.0)
        };
        let root = |bar: usize, slot: usize| bars[bar].chords[slot].map(|c| c.root);
        // what changes from bar to bar anyhow is no new playing
        let changes: Vec<f64> = (0..n).map(change).collect();
        let usual = {
            let mut sorted = changes.clone();
            sorted.sort_by(f64::total_cmp);
            sorted.get(3 * n / 4).copied().unwrap_or(0.0)
        };
        let gain = (0..n)
            .map(|i| {
                if i == 0 {
                    return 0.0;
                }
                let is = |found: Option<u8>, above: u8| {
                    found.is_some() && found == tonics[i].map(|t| (t + above) % 12)
                };
                let mut gain = weights.rhythm * (changes[i] - usual).max(0.0);
                if is(root(i, 0), 0) {
                    gain += weights.tonic;
                }
                if is(root(i - 1, SLOTS - 1), 7) {
                    gain += weights.half_close;
                }
                gain
            })
            .collect();
        Self {
            rows: Rows::new(bars, shifts, weights.playing),
            new,
            gain,
            worth: Vec::new(),
        }
    }

    /// Moves on to sections that start at a bar.
    fn reach(&mut self, start: usize) {
        self.rows.reach(start);
        let len = 4.min(self.gain.len() - start);
        // in another key the first four bars must nearly agree
        let near = |of: usize, k: usize, shift: u8| {
            shift == 0 || self.rows.between(k, start, of, 0, len) <= 0.3 * len as f64
        };
        let shifts = self.rows.shifts();
        self.worth = (0..start)
            .map(|of| {
                let worth = shifts.iter().enumerate();
                let worth = worth.filter(|(k, shift)| near(of, *k, **shift));
                worth.fold(0, |bits, (k, _)| bits | 1 << k)
            })
            .collect();
    }

    /// Differences of `len` bars from `start` and those from `of`, with the end cheaper.
    fn repeat(&self, shift: usize, start: usize, of: usize, len: usize, w: &SectionWeights) -> f64 {
        let body = len - len.div_ceil(4);
        let sum = |from: usize, to: usize| self.rows.between(shift, start, of, from, to);
        w.differs * sum(0, body) + w.ending * sum(body, len)
    }
}

fn length_cost(n: usize, bar_s: f64, w: &SectionWeights) -> f64 {
    let class = match n {
        8 => 0,
        16 => 1,
        12 => 2,
        4 => 3,
        _ if n.is_multiple_of(4) => 4,
        _ if n.is_multiple_of(2) => 5,
        _ => 6,
    };
    let short = if n < 4 { w.short } else { 0.0 };
    let octaves = (n as f64 * bar_s / w.usual_s).log2();
    w.lengths[class] + short + w.long * n.saturating_sub(16) as f64 + w.duration * octaves * octaves
}

/// A row of sections up to some bar.
struct Path {
    cost: f64,
    piece: Piece,
    /// Place in the arena of the path before; none at the start.
    before: Option<usize>,
    n_letters: usize,
}

/// The cheapest row of sections; empty for no bars. Takes the tonic at each bar.
pub(crate) fn search(
    bars: &[Sketch],
    tonics: &[Option<u8>],
    bar_s: f64,
    weights: &SectionWeights,
) -> Vec<Piece> {
    let n = bars.len();
    let mut table = Table::new(bars, tonics, weights);
    let by_length: Vec<f64> = (0..=LONGEST)
        .map(|n| length_cost(n.max(1), bar_s, weights))
        .collect();
    // paths that others go on from, and those that end before each bar
    let mut arena: Vec<Path> = Vec::new();
    let mut ends: Vec<Vec<Path>> = (0..=n).map(|_| Vec::new()).collect();
    for start in 0..n {
        table.reach(start);
        let here: Vec<Option<usize>> = if start == 0 {
            vec![None]
        } else {
            let mut best = std::mem::take(&mut ends[start]);
            keep_best(&mut best);
            let first = arena.len();
            arena.extend(best);
            (first..arena.len()).map(Some).collect()
        };
        for path in here {
            let pieces = pieces(&arena, path);
            let (cost, n_letters) = path.map_or((0.0, 0), |p| (arena[p].cost, arena[p].n_letters));
            for len in 1..=LONGEST.min(n - start) {
                let end = start + len;
                // the last section may be cut short
                let by_length = if end == n {
                    by_length[len].min(weights.lengths[4] + weights.short)
                } else {
                    by_length[len]
                };
                let base = cost - table.gain[start];
                let mut offer = |cost: f64, letter: usize, shift: u8| {
                    let list = &mut ends[end];
                    list.push(Path {
                        cost,
                        piece: Piece {
                            start,
                            end,
                            letter,
                            shift,
                        },
                        before: path,
                        n_letters: n_letters.max(letter + 1),
                    });
                    if list.len() > 8 * BEAM {
                        keep_best(list);
                    }
                };
                let new = table.new[start * (LONGEST + 1) + len];
                offer(base + weights.letter + by_length + new, n_letters, 0);
                let last = pieces.last().map(|p| p.letter);
                for letter in 0..n_letters {
                    let mut best: Option<(f64, u8)> = None;
                    for model in pieces.iter().filter(|p| p.letter == letter) {
                        let common = len.min(model.len());
                        let odd = len.abs_diff(model.len()) as f64;
                        if odd > 0.5 * model.len() as f64 {
                            continue;
                        }
                        let worth = table.worth[model.start];
                        for (k, shift) in table.rows.shifts().iter().enumerate() {
                            if worth & (1 << k) == 0 {
                                continue;
                            }
                            let total = table.repeat(k, start, model.start, common, weights)
                                + weights.length * odd
                                + if odd > 0.0 { by_length } else { 0.0 }
                                + if *shift == 0 { 0.0 } else { weights.moved };
                            if best.is_none_or(|(c, _)| total < c) {
                                best = Some((total, (shift + model.shift) % 12));
                            }
                        }
                    }
                    if let Some((total, shift)) = best.filter(|b| b.0 < 0.8 * new + weights.letter)
                    {
                        let known = pieces
                            .windows(2)
                            .any(|w| Some(w[0].letter) == last && w[1].letter == letter);
                        let again = if known { weights.known } else { weights.again };
                        offer(base + again + total, letter, shift);
                    }
                }
            }
        }
    }
    let last = ends.pop().unwrap_or_default();
    let best = last.into_iter().min_by(|a, b| a.cost.total_cmp(&b.cost));
    let best = best.map(|path| {
        arena.push(path);
        arena.len() - 1
    });
    pieces(&arena, best)
}

/// Leaves the cheapest paths, cheapest first.
fn keep_best(paths: &mut Vec<Path>) {
    paths.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    paths.truncate(BEAM);
}

/// The sections of a path, first to last.
fn pieces(arena: &[Path], mut path: Option<usize>) -> Vec<Piece> {
    let mut pieces = Vec::new();
    while let Some(p) = path {
        pieces.push(arena[p].piece);
        path = arena[p].before;
    }
    pieces.reverse();
    pieces
}
