//! Sections that come again refer to where they are printed.

use super::Measure;
use super::repeats::Part;

/// A part refers to another if at most one bar in so many differs: more is quicker read than told.
const BARS_A_DIFFERENCE: usize = 8;

/// What a part has in common with one before it.
struct Likeness {
    /// Index of the part before.
    of: usize,
    /// Its bars that the part plays, in order, counted through its second ending.
    bars: Vec<usize>,
    /// Those of the part's bars that say something else.
    other: Vec<usize>,
    /// In words, what is played of it.
    which: &'static str,
}

/// Words of a section that refers to the one that has them.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::chart) struct Later {
    /// Place of that section among the others; none if it is played after a jump.
    pub(in crate::chart) by: Option<usize>,
    /// Bars of the section that is printed, counted through its second ending, with a line each
    /// time that they are played.
    pub(in crate::chart) lines: Vec<(usize, Vec<String>)>,
}

/// A section that comes again with the same bars, or nearly, refers to where it is printed.
pub(super) fn refer_back(parts: &mut [Part]) {
    for i in 1..parts.len() {
        let (before, rest) = parts.split_at_mut(i);
        let part = &mut rest[0];
        let Some(found) = likeness(before, part) else {
            continue;
        };
        let earlier = &mut before[found.of];
        part.as_before = Some(words(earlier, part, &found));
        let once = part.times == 1 && found.other.is_empty();
        let all = found.which.is_empty() && part.second.is_empty() || !found.which.is_empty();
        part.once_more = (once && all && earlier.same_name(part) && earlier.feel == part.feel)
            .then_some(found.of);
        let mut printed: Vec<&mut Measure> = earlier
            .measures
            .iter_mut()
            .chain(&mut earlier.second)
            .collect();
        let mut lines = Vec::new();
        for (i, again) in part.measures.iter().chain(&part.second).enumerate() {
            let bar = found.bars[i];
            if !found.other.contains(&i) {
                join_doubt(printed[bar], again);
            }
            // words stand under the line of their own pass, also where the chords differ
            lines.push((bar, again.lyrics.clone()));
        }
        if lines.iter().any(|(_, words)| !words.is_empty()) {
            earlier.later.push(Later { by: Some(i), lines });
        }
    }
}

/// Whether a part is printed as words that refer to one before it.
pub(super) fn is_referred(before: &[Part], part: &Part) -> bool {
    likeness(before, part).is_some()
}

/// The printed part that a part is most like: of its own name first, then `Verse 1` for `Verse 2`.
fn likeness(before: &[Part], part: &Part) -> Option<Likeness> {
    if part.measures.len() < 2 {
        return None;
    }
    let printed = |p: &&Part| p.as_before.is_none();
    let found = |same_name: bool| {
        let named = |p: &Part| match same_name {
            true => p.same_name(part),
            false => p.is_kin(part),
        };
        let mut all = before
            .iter()
            .enumerate()
            .filter(|(_, p)| printed(p) && named(p));
        all.find_map(|(i, p)| whole(i, p, part).or_else(|| last_pass(i, p, part)))
    };
    found(true).or_else(|| found(false))
}

/// A part with the same bars and the same endings.
fn whole(of: usize, earlier: &Part, part: &Part) -> Option<Likeness> {
    let lead = earlier.n_lead();
    let first = &earlier.measures[lead..];
    let alike = first.len() == part.measures.len()
        && earlier.second.len() == part.second.len()
        && differing(&earlier.second, &part.second).is_empty();
    if !alike {
        return None;
    }
    let other = differing(first, &part.measures);
    let most = match earlier.second.is_empty() {
        true => (part.measures.len() / BARS_A_DIFFERENCE).max(1),
        // which of the endings differs is quicker read
        false => 0,
    };
    (other.len() <= most).then(|| Likeness {
        of,
        bars: (lead..earlier.measures.len() + earlier.second.len()).collect(),
        other,
        which: "",
    })
}

/// A part that is played as another is with its second ending.
fn last_pass(of: usize, earlier: &Part, part: &Part) -> Option<Likeness> {
    if earlier.second.is_empty() || !part.second.is_empty() {
        return None;
    }
    let all = earlier.measures.iter().chain(&earlier.second).enumerate();
    let (bars, played): (Vec<usize>, Vec<Measure>) = all
        .filter(|(_, m)| m.number > 0 && m.ending != Some(1))
        .map(|(bar, m)| (bar, m.clone()))
        .unzip();
    let same = played.len() == part.measures.len() && differing(&played, &part.measures).is_empty();
    same.then_some(Likeness {
        of,
        bars,
        other: Vec::new(),
        which: ", with ending 2",
    })
}

/// `as above, once, last bar D`; `as Verse 1` for one of another name.
fn words(earlier: &Part, part: &Part, found: &Likeness) -> String {
    let mut words = match earlier.same_name(part) {
        true => "as above".to_owned(),
        false => format!("as {}", earlier.title()),
    };
    if let Some(key) = part.measures.first().and_then(|m| m.new_key) {
        words.push_str(&format!(", in {}", key.text()));
    }
    words.push_str(found.which);
    match (earlier.times, part.times) {
        (a, b) if a == b || !found.which.is_empty() => {}
        (_, 1) => words.push_str(", once"),
        (_, times) => words.push_str(&format!(", {times} times")),
    }
    for bar in &found.other {
        let marks = part.measures[*bar].marks.iter();
        let symbols: Vec<&str> = marks.map(|m| &m.symbol[..]).collect();
        let place = match *bar + 1 {
            last if last == part.measures.len() => "last bar".to_owned(),
            k => format!("bar {k} of it"),
        };
        words.push_str(&format!(", {place} {}", symbols.join(" ")));
    }
    words
}

/// The printed bar has the words of all passes, is open if any is, and carries the remarks of all.
pub(super) fn join(printed: &mut [Measure], again: &[Measure]) {
    for (a, b) in printed.iter_mut().zip(again) {
        a.lyrics.extend(b.lyrics.iter().cloned());
        join_doubt(a, b);
    }
}

fn join_doubt(printed: &mut Measure, again: &Measure) {
    for (a, b) in printed.marks.iter_mut().zip(&again.marks) {
        a.open |= b.open;
        a.remarks.extend(&b.remarks);
    }
}

/// Bars that are not alike in two parts of one length.
pub(super) fn differing(a: &[Measure], b: &[Measure]) -> Vec<usize> {
    let tabs = |a: &Measure, b: &Measure| a.tab.is_empty() || b.tab.is_empty() || a.same_tab(b);
    let pairs = a.iter().zip(b).enumerate();
    pairs
        .filter(|(_, (a, b))| !a.same(b) || a.number == 0 || b.number == 0 || !tabs(a, b))
        .map(|(i, _)| i)
        .collect()
}
