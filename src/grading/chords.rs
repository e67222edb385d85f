//! Weighted chord symbol recall, and how well the changes fall together.
//!
//! Two timelines are cut at every boundary of either; each piece is right,
//! wrong or not compared at a strictness; recall is the right part of the time
//! that was compared. A gap inside a timeline keeps the label before it.

use super::encode::{Beyond, ChordCode};
use super::{GradingError, Timeline};

/// How much of a chord must agree.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[non_exhaustive]
pub enum Strictness {
    /// The root.
    Root,
    /// Root, and minor third or none.
    Thirds,
    /// Root and everything up to the fifth, where the reference is major, minor or no chord.
    MajMin,
    /// Root and everything up to the fifth.
    Triads,
    /// Root and everything in the octave, where the reference is major, minor, or one with a seventh.
    Sevenths,
    /// Root and everything in the octave.
    Tetrads,
    /// At least three pitch classes in common.
    Mirex,
}

/// Every strictness in rising order, with whether it is measured with the bass too.
pub const STRICTNESSES: [(Strictness, bool); 7] = [
    (Strictness::Root, false),
    (Strictness::Thirds, true),
    (Strictness::MajMin, true),
    (Strictness::Triads, true),
    (Strictness::Sevenths, true),
    (Strictness::Tetrads, true),
    (Strictness::Mirex, false),
];

impl Strictness {
    /// As the field writes it: `majmin`.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Root => "root",
            Self::Thirds => "thirds",
            Self::MajMin => "majmin",
            Self::Triads => "triads",
            Self::Sevenths => "sevenths",
            Self::Tetrads => "tetrads",
            Self::Mirex => "mirex",
        }
    }

    /// One sentence on what it leaves out.
    pub const fn ignores(self) -> &'static str {
        match self {
            Self::Root => "Hears the root alone: G and Gm7 count as equal.",
            Self::Thirds => "Tells minor thirds from the rest: G7, Gsus4 and G count as equal.",
            Self::MajMin => {
                "Compares triads, and skips all that is not major, minor or silence (sus, dim, aug, power chords)."
            }
            Self::Triads => "Compares up to the fifth: G, G6 and G7 count as equal.",
            Self::Sevenths => {
                "Compares all within the octave, and skips what is not major, minor, 7, maj7, m7 or silence."
            }
            Self::Tetrads => "Compares all within the octave: G9 counts as G7, Gadd9 as G.",
            Self::Mirex => "Asks for three notes in common: Am7 and C count as equal.",
        }
    }
}

/// Which part of the compared time is right.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Recall {
    /// Time that could be compared, s.
    pub compared_s: f64,
    /// Time that was right, s.
    pub right_s: f64,
}

impl Recall {
    /// 0 to 1; `None` if nothing could be compared.
    pub fn ratio(self) -> Option<f64> {
        (self.compared_s > 0.0).then(|| self.right_s / self.compared_s)
    }
}

/// How well one chord timeline matches another.
#[derive(Debug, Clone, PartialEq)]
pub struct ChordGrades {
    /// Strictness, whether the bass must agree too, recall.
    pub recalls: Vec<(Strictness, bool, Recall)>,
    /// 1 less the part of the reference's spans that the estimate cuts off: low if it changes too often.
    pub overseg: f64,
    /// The same with the sides changed: low if it misses changes.
    pub underseg: f64,
    /// Time graded: from the reference's first start to its last end, s.
    pub graded_s: f64,
}

impl ChordGrades {
    /// The lower of `overseg` and `underseg`.
    pub fn seg(&self) -> f64 {
        self.overseg.min(self.underseg)
    }

    /// The recall at a strictness.
    pub fn recall(&self, strictness: Strictness, with_bass: bool) -> Option<Recall> {
        self.recalls
            .iter()
            .find(|(s, bass, _)| (*s, *bass) == (strictness, with_bass))
            .map(|(.., recall)| *recall)
    }
}

/// Grades an estimated chord timeline against a reference.
///
/// The estimate is cut to the reference's span; where it says nothing at
/// either end it says `N`.
///
/// # Errors
/// * [`GradingError::EmptyReference`] if there is nothing to grade against.
/// * [`GradingError::Label`] for a label outside the published syntax.
///
/// # Example
/// ```
/// use takebook::grading::{Strictness, Timeline, grade_chords};
/// let reference = Timeline::from_parts([(0.0, 3.0, "G:7"), (3.0, 4.0, "C:maj")]).unwrap();
/// let estimate = Timeline::from_parts([(0.0, 4.0, "G:maj")]).unwrap();
/// let grades = grade_chords(&estimate, &reference).unwrap();
/// let triads = grades.recall(Strictness::Triads, false).unwrap();
/// assert_eq!(triads.ratio(), Some(0.75));
/// ```
pub fn grade_chords(
    estimate: &Timeline,
    reference: &Timeline,
) -> Result<ChordGrades, GradingError> {
    let (Some(start_s), Some(end_s)) = (reference.start_s(), reference.end_s()) else {
        return Err(GradingError::EmptyReference);
    };
    // labels outside the graded span must be readable too
    codes(estimate, Beyond::Ignored)?;
    let estimate = estimate.fitted(start_s, end_s, "N");
    let pieces = pieces(&estimate, reference)?;
    let mut recalls = Vec::new();
    for (strictness, also_bass) in STRICTNESSES {
        for with_bass in [false, true] {
            if !with_bass || also_bass {
                recalls.push((
                    strictness,
                    with_bass,
                    recall(&pieces, strictness, with_bass),
                ));
            }
        }
    }
    let merged_reference = merged(reference)?;
    let merged_estimate = merged(&estimate)?;
    Ok(ChordGrades {
        recalls,
        overseg: 1.0 - cut_off(&merged_reference, &merged_estimate),
        underseg: 1.0 - cut_off(&merged_estimate, &merged_reference),
        graded_s: end_s - start_s,
    })
}

/// A stretch where an estimate departs from the reference.
#[derive(Debug, Clone, PartialEq)]
pub struct Difference {
    /// From, s.
    pub start_s: f64,
    /// To, s.
    pub end_s: f64,
    /// What the reference says.
    pub reference: String,
    /// What the estimate says; `N` beyond its ends.
    pub estimate: String,
}

/// Where an estimate is wrong at a strictness, in order; what is not compared is left out.
///
/// # Errors
/// As [`grade_chords`].
pub fn differences(
    estimate: &Timeline,
    reference: &Timeline,
    strictness: Strictness,
    with_bass: bool,
) -> Result<Vec<Difference>, GradingError> {
    let (Some(start_s), Some(end_s)) = (reference.start_s(), reference.end_s()) else {
        return Err(GradingError::EmptyReference);
    };
    codes(estimate, Beyond::Ignored)?;
    let estimate = estimate.fitted(start_s, end_s, "N");
    let mut found: Vec<Difference> = Vec::new();
    for piece in pieces(&estimate, reference)? {
        let right = is_right(&piece.reference, &piece.estimate, strictness, with_bass);
        if right != Some(false) {
            continue;
        }
        let reference = &reference.spans()[piece.reference_idx].label;
        let estimate = &estimate.spans()[piece.estimate_idx].label;
        match found.last_mut() {
            Some(last)
                if last.end_s == piece.start_s
                    && last.reference == *reference
                    && last.estimate == *estimate =>
            {
                last.end_s = piece.end_s;
            }
            _ => found.push(Difference {
                start_s: piece.start_s,
                end_s: piece.end_s,
                reference: reference.clone(),
                estimate: estimate.clone(),
            }),
        }
    }
    Ok(found)
}

/// Whether an estimated chord is right at a strictness; `None` if it is not compared.
pub fn is_right(
    reference: &ChordCode,
    estimate: &ChordCode,
    strictness: Strictness,
    with_bass: bool,
) -> Option<bool> {
    let ours = &reference.semitones;
    let theirs = &estimate.semitones;
    if !is_compared(reference, strictness) {
        return None;
    }
    let root = reference.root == estimate.root;
    let right = match strictness {
        Strictness::Root => root,
        Strictness::Thirds => root && ours[3] == theirs[3],
        Strictness::MajMin | Strictness::Triads => root && ours[..8] == theirs[..8],
        Strictness::Sevenths | Strictness::Tetrads => root && ours == theirs,
        Strictness::Mirex => {
            (reference.root < 0 && estimate.root < 0) || in_common(reference, estimate) >= 3
        }
    };
    Some(right && (!with_bass || reference.bass == estimate.bass))
}

fn is_compared(reference: &ChordCode, strictness: Strictness) -> bool {
    const MAJ: [i8; 12] = [1, 0, 0, 0, 1, 0, 0, 1, 0, 0, 0, 0];
    const MIN: [i8; 12] = [1, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 0];
    const WITH_SEVENTH: [[i8; 12]; 3] = [
        [1, 0, 0, 0, 1, 0, 0, 1, 0, 0, 0, 1],
        [1, 0, 0, 0, 1, 0, 0, 1, 0, 0, 1, 0],
        [1, 0, 0, 1, 0, 0, 0, 1, 0, 0, 1, 0],
    ];
    let semitones = &reference.semitones;
    let silent = *semitones == [0; 12];
    let known = semitones[0] >= 0;
    match strictness {
        Strictness::Root | Strictness::Thirds | Strictness::Triads | Strictness::Tetrads => known,
        Strictness::MajMin => silent || semitones[..8] == MAJ[..8] || semitones[..8] == MIN[..8],
        Strictness::Sevenths => {
            silent || *semitones == MAJ || *semitones == MIN || WITH_SEVENTH.contains(semitones)
        }
        // one or two notes cannot have three in common with anything
        Strictness::Mirex => {
            known && !(1..3).contains(&semitones.iter().filter(|s| **s > 0).count())
        }
    }
}

/// Pitch classes that sound in both; an unknown chord counts as all twelve.
fn in_common(one: &ChordCode, other: &ChordCode) -> usize {
    let sounds = |code: &ChordCode, pitch_class: i32| {
        code.semitones[(pitch_class - i32::from(code.root)).rem_euclid(12) as usize] != 0
    };
    (0..12)
        .filter(|pc| sounds(one, *pc) && sounds(other, *pc))
        .count()
}

fn codes(timeline: &Timeline, beyond: Beyond) -> Result<Vec<ChordCode>, GradingError> {
    timeline
        .spans()
        .iter()
        .map(|span| {
            ChordCode::read_as(&span.label, beyond).map_err(|error| match error {
                GradingError::Label { found, meant, .. } => GradingError::Label {
                    line: span.line,
                    found,
                    meant,
                },
                other => other,
            })
        })
        .collect()
}

/// A stretch in which neither side changes.
struct Piece {
    start_s: f64,
    end_s: f64,
    reference: ChordCode,
    reference_idx: usize,
    estimate: ChordCode,
    estimate_idx: usize,
}

/// Cuts both sides, which start and end together, at every boundary of either.
fn pieces(estimate: &Timeline, reference: &Timeline) -> Result<Vec<Piece>, GradingError> {
    let estimate_codes = codes(estimate, Beyond::Ignored)?;
    let reference_codes = codes(reference, Beyond::Ignored)?;
    let mut times: Vec<f64> = [estimate, reference]
        .iter()
        .flat_map(|side| side.spans())
        .flat_map(|span| [span.start_s, span.end_s])
        .collect();
    times.sort_by(f64::total_cmp);
    times.dedup();
    // the last span that has started; a gap keeps the label before it
    let at = |side: &Timeline, t: f64| {
        let n_started = side.spans().partition_point(|span| span.start_s <= t);
        n_started.saturating_sub(1)
    };
    Ok(times
        .windows(2)
        .map(|w| {
            let (reference_idx, estimate_idx) = (at(reference, w[0]), at(estimate, w[0]));
            Piece {
                start_s: w[0],
                end_s: w[1],
                reference: reference_codes[reference_idx],
                reference_idx,
                estimate: estimate_codes[estimate_idx],
                estimate_idx,
            }
        })
        .collect())
}

fn recall(pieces: &[Piece], strictness: Strictness, with_bass: bool) -> Recall {
    let mut sum = Recall {
        compared_s: 0.0,
        right_s: 0.0,
    };
    for piece in pieces {
        if let Some(right) = is_right(&piece.reference, &piece.estimate, strictness, with_bass) {
            let duration_s = piece.end_s - piece.start_s;
            sum.compared_s += duration_s;
            if right {
                sum.right_s += duration_s;
            }
        }
    }
    sum
}

/// Spans with neighbours of the same sound joined.
fn merged(timeline: &Timeline) -> Result<Vec<(f64, f64)>, GradingError> {
    let codes = codes(timeline, Beyond::Folded)?;
    let mut spans: Vec<(f64, f64)> = Vec::new();
    let mut before = None;
    for (span, code) in timeline.spans().iter().zip(codes) {
        match spans.last_mut() {
            Some(last) if before == Some(code) => last.1 = span.end_s,
            _ => spans.push((span.start_s, span.end_s)),
        }
        before = Some(code);
    }
    Ok(spans)
}

/// The part of `spans` that lies outside the longest uncut piece of each span
/// when `cuts` cut them: the directional Hamming distance, 0 to 1.
fn cut_off(spans: &[(f64, f64)], cuts: &[(f64, f64)]) -> f64 {
    let mut times: Vec<f64> = cuts.iter().flat_map(|(s, e)| [*s, *e]).collect();
    times.sort_by(f64::total_cmp);
    let mut lost = 0.0;
    for (start, end) in spans {
        let mut longest: f64 = 0.0;
        let mut from = *start;
        let inside = times.partition_point(|t| t < start);
        for t in times[inside..].iter().take_while(|t| *t < end).chain([end]) {
            longest = longest.max(t - from);
            from = *t;
        }
        lost += end - start - longest;
    }
    match (spans.first(), spans.last()) {
        (Some(first), Some(last)) => lost / (last.1 - first.0),
        _ => 0.0,
    }
}
