//! Da capo and dal segno, where they spare printing two sections or more.
//!
//! A song whose last sections are played once more as they are printed goes back to
//! them, and from their end to the coda, or ends there. Repeats are not taken again
//! after the jump, but the last ending is (common practice, no source). A chart has
//! one such jump at most.

use super::Measure;
use super::repeats::Part;
use crate::theory::Key;

/// Sections that a jump spares at least: a single one is a line anyway.
const LEAST: usize = 2;

/// Signs at a section's start and end that say where playing goes on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Signs {
    /// A repeat over several sections begins with it.
    pub opens: bool,
    /// How often the sections of such a repeat are played, where it ends; 0 elsewhere.
    pub closes: u32,
    /// The segno stands at its start.
    pub segno: bool,
    /// The coda begins with it.
    pub coda: bool,
    /// After the jump the coda follows its end.
    pub to_coda: bool,
    /// After the jump the song ends with it.
    pub fine: bool,
    /// Where playing goes back to from its end.
    pub jump: Option<Jump>,
}

/// A way back, and how far it is played from there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Jump {
    /// Back to the segno, not to the start.
    pub to_segno: bool,
    /// On to the coda, not to the end.
    pub to_coda: bool,
}

impl Jump {
    /// As it is printed: `D.S. al Coda`.
    pub fn words(self) -> &'static str {
        match (self.to_segno, self.to_coda) {
            (true, true) => "D.S. al Coda",
            (true, false) => "D.S. al Fine",
            (false, true) => "D.C. al Coda",
            (false, false) => "D.C. al Fine",
        }
    }
}

impl Signs {
    /// What is said at the section's end, in reading order.
    pub fn at_end(self) -> Option<String> {
        // a repeat sign alone says twice
        let times = (self.closes > 2).then(|| format!("play {} times", self.closes));
        let way = match (self.to_coda, self.fine, self.jump) {
            (true, ..) => Some("To Coda"),
            (_, true, _) => Some("Fine"),
            (.., jump) => jump.map(Jump::words),
        };
        let words: Vec<String> = times.into_iter().chain(way.map(str::to_owned)).collect();
        (!words.is_empty()).then(|| words.join(", "))
    }
}

/// Parts that play others once more.
struct Run {
    /// Index of the first of them, and of the first part that they play.
    from: usize,
    to: usize,
    n: usize,
}

/// Puts a jump in the place of the longest run of parts that play others once more.
pub(super) fn fold(parts: &mut Vec<Part>) {
    let Some(run) = longest(parts) else {
        return;
    };
    let gone = run.from..run.from + run.n;
    let goes_on = gone.end < parts.len();
    for by in parts
        .iter_mut()
        .flat_map(|p| &mut p.later)
        .map(|l| &mut l.by)
    {
        *by = match *by {
            Some(i) if gone.contains(&i) => None,
            Some(i) if i >= gone.end => Some(i - run.n),
            by => by,
        };
    }
    parts.drain(gone);
    // a pickup is not played again, so that the way back is behind it
    let to_segno = run.to > 0 || parts[0].n_lead() > 0;
    parts[run.to].signs.segno = to_segno;
    let last = &mut parts[run.to + run.n - 1].signs;
    (last.to_coda, last.fine) = (goes_on, !goes_on);
    let jump = Jump {
        to_segno,
        to_coda: goes_on,
    };
    parts[run.from - 1].signs.jump = Some(jump);
    if goes_on {
        parts[run.from].signs.coda = true;
    }
}

fn longest(parts: &[Part]) -> Option<Run> {
    let mut best: Option<Run> = None;
    for from in 1..parts.len() {
        let Some(to) = parts[from].once_more else {
            continue;
        };
        let n = (0..parts.len() - from)
            .take_while(|i| plays(parts, from + i, to + i))
            .count();
        // a jump to what stands just before it is a repeat
        let back = to + n < from;
        if back && n >= LEAST && best.as_ref().is_none_or(|b| n > b.n) {
            best = Some(Run { from, to, n });
        }
    }
    best
}

/// Whether a part plays another once more, and in the key that is printed there.
fn plays(parts: &[Part], part: usize, earlier: usize) -> bool {
    parts[part].once_more == Some(earlier) && new_keys(&parts[part]) == new_keys(&parts[earlier])
}

/// Where a part changes its key.
fn new_keys(part: &Part) -> Vec<(usize, Option<Key>)> {
    let bars = part.measures.iter().filter(|m| m.number > 0);
    let played = bars.filter(|m| m.ending != Some(1)).chain(&part.second);
    let changes = |(bar, m): (usize, &Measure)| Some((bar, Some(m.new_key?)));
    played.enumerate().filter_map(changes).collect()
}
