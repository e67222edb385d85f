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

use crate::hearing::form::table::Table;
use rayon::prelude::*;

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
    /// Of each bar beyond eight of new music that comes back to nothing before it in its section.
    pub wanders: f64,
    /// Of a section of up to six bars right after itself: it is rather one of twice the length.
    pub twice: f64,
    /// Of new music of another length than all sections before it.
    pub odd_one: f64,
    /// Gain where a section starts after a bar that rests on the tonic.
    pub close: f64,
}

impl Default for SectionWeights {
    fn default() -> Self {
        Self {
            letter: 1.9,
            again: 1.07,
            known: 2.05,
            copy: 0.48,
            differs: 3.13,
            ending: 0.78,
            length: 3.99,
            moved: 4.0,
            rhythm: 11.7,
            playing: 0.23,
            tonic: 0.36,
            half_close: 0.34,
            lengths: [0.15, 1.5, 1.15, 0.44, 2.61, 2.72, 8.22],
            short: 1.07,
            long: 0.31,
            duration: 0.67,
            usual_s: 17.75,
            wanders: 0.34,
            twice: 1.0,
            odd_one: 0.5,
            close: 0.1,
        }
    }
}

/// Longest section, bars.
pub(crate) const LONGEST: usize = 32;
/// Hypotheses kept at each bar.
const BEAM: usize = 80;
/// A section of so many bars that comes twice in a row is rather one section.
const TWICE: usize = 6;

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

/// The cheapest paths that end before a bar.
struct Ends {
    paths: Vec<Path>,
    /// What costs more is not among the cheapest.
    bound: f64,
}

impl Ends {
    fn new() -> Self {
        Self {
            paths: Vec::new(),
            bound: f64::INFINITY,
        }
    }

    fn offer(&mut self, path: Path) {
        if path.cost >= self.bound {
            return;
        }
        self.paths.push(path);
        if self.paths.len() > 8 * BEAM {
            self.keep_best();
            self.bound = self.paths.last().map_or(f64::INFINITY, |p| p.cost);
        }
    }

    /// Leaves the cheapest paths, cheapest first.
    fn keep_best(&mut self) {
        self.paths.sort_by(|a, b| a.cost.total_cmp(&b.cost));
        self.paths.truncate(BEAM);
    }
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
    let mut ends: Vec<Ends> = (0..=n).map(|_| Ends::new()).collect();
    for start in 0..n {
        table.reach(start);
        let here: Vec<Option<usize>> = if start == 0 {
            vec![None]
        } else {
            let mut best = std::mem::replace(&mut ends[start], Ends::new());
            best.keep_best();
            let first = arena.len();
            arena.extend(best.paths);
            (first..arena.len()).map(Some).collect()
        };
        let bounds: Vec<f64> = ends.iter().map(|e| e.bound).collect();
        let follow = |path: &Option<usize>| {
            following(
                (&arena, *path),
                start,
                &table,
                (&by_length, &bounds),
                weights,
            )
        };
        // each by itself, so that many may be looked at beside each other
        let found: Vec<Vec<Path>> = here.par_iter().with_min_len(8).map(follow).collect();
        for path in found.into_iter().flatten() {
            ends[path.piece.end].offer(path);
        }
    }
    let last = ends.pop().map(|e| e.paths).unwrap_or_default();
    let best = last.into_iter().min_by(|a, b| a.cost.total_cmp(&b.cost));
    let best = best.map(|path| {
        arena.push(path);
        arena.len() - 1
    });
    pieces(&arena, best)
}

/// The paths that go on from one with a section that starts at a bar and cost less than the
/// bound before their end.
fn following(
    (arena, path): (&[Path], Option<usize>),
    start: usize,
    table: &Table<'_>,
    (by_length, bounds): (&[f64], &[f64]),
    weights: &SectionWeights,
) -> Vec<Path> {
    let before = Before::new(arena, path);
    let n = table.gain.len();
    let mut found = Vec::new();
    for len in 1..=LONGEST.min(n - start) {
        let end = start + len;
        // the last section may be cut short
        let by_length = match end == n {
            true => by_length[len].min(weights.lengths[4] + weights.short),
            false => by_length[len],
        };
        let new = table.new[start * (LONGEST + 1) + len];
        let so_far = before.cost - table.gain[start];
        let mut offer = |cost: f64, letter: usize, shift: u8| {
            if so_far + cost >= bounds[end] {
                return;
            }
            found.push(Path {
                cost: so_far + cost,
                piece: Piece {
                    start,
                    end,
                    letter,
                    shift,
                },
                before: path,
                n_letters: before.n_letters.max(letter + 1),
            });
        };
        let odd_one = match end < n && before.is_odd_one(len) {
            true => weights.odd_one,
            false => 0.0,
        };
        offer(
            weights.letter + by_length + odd_one + new,
            before.n_letters,
            0,
        );
        for letter in 0..before.n_letters {
            let again = before.again(letter, len, weights);
            // what differs only adds to it
            if so_far + again >= bounds[end] {
                continue;
            }
            let found = before.nearest(letter, (start, len), table, by_length, weights);
            if let Some((total, shift)) = found.filter(|f| f.0 < 0.8 * new + weights.letter) {
                offer(again + total, letter, shift);
            }
        }
    }
    found
}

/// What the sections of a path say of one that follows them.
struct Before {
    pieces: Vec<Piece>,
    cost: f64,
    n_letters: usize,
    /// For each letter, whether it already came after the letter that was last.
    known: Vec<bool>,
}

impl Before {
    fn new(arena: &[Path], path: Option<usize>) -> Self {
        let pieces = pieces(arena, path);
        let (cost, n_letters) = path.map_or((0.0, 0), |p| (arena[p].cost, arena[p].n_letters));
        let mut known = vec![false; n_letters];
        if let Some(last) = pieces.last() {
            for pair in pieces.windows(2).filter(|w| w[0].letter == last.letter) {
                known[pair[1].letter] = true;
            }
        }
        Self {
            pieces,
            cost,
            n_letters,
            known,
        }
    }

    /// Whether all sections so far have another length.
    fn is_odd_one(&self, len: usize) -> bool {
        !self.pieces.is_empty() && self.pieces.iter().all(|p| p.len() != len)
    }

    /// Cost of coming again, whatever differs.
    fn again(&self, letter: usize, len: usize, weights: &SectionWeights) -> f64 {
        let same = self.pieces.last().is_some_and(|p| p.letter == letter);
        let twice = if same && len <= TWICE {
            weights.twice
        } else {
            0.0
        };
        twice
            + if self.known[letter] {
                weights.known
            } else {
                weights.again
            }
    }

    /// What bars (first, number) cost as the nearest section with a letter, and how many
    /// semitones they lie above the first of it.
    fn nearest(
        &self,
        letter: usize,
        (start, len): (usize, usize),
        table: &Table<'_>,
        by_length: f64,
        weights: &SectionWeights,
    ) -> Option<(f64, u8)> {
        let mut best: Option<(f64, u8)> = None;
        for model in self.pieces.iter().filter(|p| p.letter == letter) {
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
        best
    }
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
