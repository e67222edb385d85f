//! The chords of a take while decisions are applied to them.
//!
//! Chords are kept without gap or overlap. A decision is matched to chords by
//! time: after a new draft their edges may have moved a little, and what the
//! user said still holds.

use super::decided::How;
use super::heard::Heard;
use crate::fretboard::Shape;
use crate::theory::Label;

/// Part of common time to joint time from which two spans are the same (ours).
const SAME_SHARE: f64 = 0.6;
/// Edges closer than this are one, s: nobody hears a change of chord more exactly.
pub(super) const EDGE_S: f64 = 0.1;
/// An edge this near is the one that was meant, s: half a beat at 120 bpm.
const NEAR_EDGE_S: f64 = 0.25;
/// The shortest chord that a decision may leave, s.
const SHORTEST_S: f64 = 0.05;

/// One chord on its way to a [`super::song::Span`].
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Piece {
    pub(super) start_s: f64,
    pub(super) end_s: f64,
    pub(super) label: Label,
    pub(super) how: Option<How>,
    /// What hearing proposes for it.
    pub(super) proposed: Label,
    /// Which heard chord its candidates are.
    pub(super) heard: usize,
    /// Shapes the user decided.
    pub(super) shapes: Vec<Shape>,
    pub(super) notes: Vec<String>,
}

impl Piece {
    fn length_s(&self) -> f64 {
        self.end_s - self.start_s
    }

    fn common_s(&self, start_s: f64, end_s: f64) -> f64 {
        (self.end_s.min(end_s) - self.start_s.max(start_s)).max(0.0)
    }
}

/// All chords in order.
#[derive(Debug, Clone, Default)]
pub(super) struct Timeline {
    pub(super) pieces: Vec<Piece>,
}

/// That a decision does not fit what is there.
pub(super) struct Misfit(pub(super) &'static str);

impl Timeline {
    pub(super) fn new(heard: &Heard, label: impl Fn(&Label) -> Label) -> Self {
        let pieces = heard
            .chords
            .iter()
            .enumerate()
            .map(|(i, chord)| {
                let first = chord.candidates.first();
                let proposed = first.map_or(Label::NoChord, |c| label(&c.label));
                Piece {
                    start_s: chord.start_s,
                    end_s: chord.end_s,
                    label: proposed.clone(),
                    how: None,
                    proposed,
                    heard: i,
                    shapes: Vec::new(),
                    notes: Vec::new(),
                }
            })
            .collect();
        Self { pieces }
    }

    /// Pieces that lie mostly in a range, if together they are about that range.
    fn whole(&self, start_s: f64, end_s: f64) -> Option<std::ops::Range<usize>> {
        let mostly = |p: &Piece| p.common_s(start_s, end_s) > 0.5 * p.length_s();
        // thousands of decisions look here: of a long take only at what lies in the range
        let from = self.pieces.partition_point(|p| p.end_s <= start_s);
        let near = &self.pieces[from..];
        let near = &near[..near.partition_point(|p| p.start_s < end_s)];
        let first = from + near.iter().position(mostly)?;
        let last = from + near.iter().rposition(mostly)?;
        let (from, to) = (self.pieces[first].start_s, self.pieces[last].end_s);
        let common = to.min(end_s) - from.max(start_s);
        let joint = to.max(end_s) - from.min(start_s);
        (common >= SAME_SHARE * joint).then_some(first..last + 1)
    }

    /// The piece that a range lies in.
    fn around(&self, start_s: f64, end_s: f64) -> Option<usize> {
        let first = self.pieces.partition_point(|p| p.end_s < end_s - EDGE_S);
        let piece = self.pieces.get(first)?;
        (piece.start_s <= start_s + EDGE_S).then_some(first)
    }

    /// The piece that sounds at a time.
    fn at(&self, at_s: f64) -> Option<usize> {
        let first = self.pieces.partition_point(|p| p.end_s <= at_s);
        let piece = self.pieces.get(first)?;
        (piece.start_s <= at_s).then_some(first)
    }

    /// Makes one chord of a range, cutting it out where it lies inside another.
    pub(super) fn chord(
        &mut self,
        start_s: f64,
        end_s: f64,
        label: &Label,
        how: How,
    ) -> Result<(), Misfit> {
        let i = if let Some(range) = self.whole(start_s, end_s) {
            self.merge(range)
        } else if self.around(start_s, end_s).is_some() {
            let (_, _) = (self.split(start_s), self.split(end_s));
            let range = self
                .whole(start_s, end_s)
                .ok_or(Misfit("no chord is there now"))?;
            self.merge(range)
        } else {
            return Err(Misfit("the chords there begin and end elsewhere now"));
        };
        let piece = &mut self.pieces[i];
        if !same_sound(&piece.label, label) {
            piece.shapes.clear();
        }
        piece.label = label.clone();
        piece.how = Some(how);
        Ok(())
    }

    pub(super) fn shape(
        &mut self,
        start_s: f64,
        end_s: f64,
        shapes: &[Shape],
    ) -> Result<(), Misfit> {
        let range = self
            .whole(start_s, end_s)
            .ok_or(Misfit("no chord is there now that the shape is for"))?;
        for piece in &mut self.pieces[range] {
            piece.shapes = shapes.to_vec();
        }
        Ok(())
    }

    /// The chords that lie mostly in a range are as proposed again, and nothing but where
    /// they begin and end and their notes is left of what was decided about them.
    pub(super) fn unconfirm(&mut self, start_s: f64, end_s: f64) -> Result<(), Misfit> {
        let mut any = false;
        for piece in &mut self.pieces {
            if piece.common_s(start_s, end_s) > 0.5 * piece.length_s() {
                piece.how = None;
                piece.label = piece.proposed.clone();
                piece.shapes.clear();
                any = true;
            }
        }
        match any {
            true => Ok(()),
            false => Err(Misfit("the chords there begin and end elsewhere now")),
        }
    }

    pub(super) fn note(&mut self, start_s: f64, end_s: f64, text: &str) -> Result<(), Misfit> {
        let piece = self
            .pieces
            .iter_mut()
            .max_by(|a, b| {
                let common = |p: &Piece| p.common_s(start_s, end_s);
                // the earlier of two equals
                common(a)
                    .total_cmp(&common(b))
                    .then(b.start_s.total_cmp(&a.start_s))
            })
            .filter(|p| p.common_s(start_s, end_s) > 0.0)
            .ok_or(Misfit("the take is not that long"))?;
        piece.notes.push(text.into());
        Ok(())
    }

    /// A change of chord at a time; one that is there already does.
    pub(super) fn split(&mut self, at_s: f64) -> Result<(), Misfit> {
        let i = self.at(at_s).ok_or(Misfit("no chord sounds there"))?;
        let piece = &self.pieces[i];
        if at_s - piece.start_s < EDGE_S || piece.end_s - at_s < EDGE_S {
            return Ok(());
        }
        let mut second = piece.clone();
        second.start_s = at_s;
        second.notes.clear();
        self.pieces[i].end_s = at_s;
        self.pieces.insert(i + 1, second);
        Ok(())
    }

    pub(super) fn join(&mut self, start_s: f64, end_s: f64) -> Result<(), Misfit> {
        let range = self
            .whole(start_s, end_s)
            .ok_or(Misfit("the chords there begin and end elsewhere now"))?;
        self.merge(range);
        Ok(())
    }

    pub(super) fn move_edge(&mut self, from_s: f64, to_s: f64) -> Result<(), Misfit> {
        let edge = |near_s: f64| {
            (1..self.pieces.len())
                .map(|i| (i, (self.pieces[i].start_s - near_s).abs()))
                .min_by(|a, b| a.1.total_cmp(&b.1))
        };
        let (i, off) = edge(from_s).ok_or(Misfit("there is no change of chord"))?;
        if off > NEAR_EDGE_S {
            return match edge(to_s) {
                Some((_, off)) if off < EDGE_S => Ok(()),
                _ => Err(Misfit("no chord changes there now")),
            };
        }
        let (earliest, latest) = (
            self.pieces[i - 1].start_s + SHORTEST_S,
            self.pieces[i].end_s - SHORTEST_S,
        );
        if !(earliest..=latest).contains(&to_s) {
            return Err(Misfit("a neighbouring chord would vanish"));
        }
        self.pieces[i - 1].end_s = to_s;
        self.pieces[i].start_s = to_s;
        Ok(())
    }

    /// Makes one piece of several; gives its index. The first decided label
    /// wins, else that of the longest piece.
    fn merge(&mut self, range: std::ops::Range<usize>) -> usize {
        let first = range.start;
        if range.len() > 1 {
            let parts: Vec<Piece> = self.pieces.drain(range).collect();
            let longest = parts
                .iter()
                .rev() // of equals the first
                .max_by(|a, b| a.length_s().total_cmp(&b.length_s()));
            let decided = parts.iter().find(|p| p.how.is_some());
            if let Some(base) = decided.or(longest) {
                let agreed = parts
                    .iter()
                    .all(|p| p.how.is_some() && p.label == base.label);
                let one = Piece {
                    start_s: parts[0].start_s,
                    end_s: parts[parts.len() - 1].end_s,
                    how: base.how.filter(|_| agreed),
                    notes: parts.iter().flat_map(|p| p.notes.clone()).collect(),
                    ..base.clone()
                };
                self.pieces.insert(first, one);
            }
        }
        first
    }
}

/// Whether two labels name the same notes over the same bass.
pub(super) fn same_sound(a: &Label, b: &Label) -> bool {
    match (a, b) {
        (Label::Chord(a), Label::Chord(b)) => {
            a.pitch_classes() == b.pitch_classes() && a.bass_pitch_class() == b.bass_pitch_class()
        }
        _ => a == b,
    }
}
