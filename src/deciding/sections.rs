//! Sections as acts: where they start, what they are called, and which bars become one.
//!
//! A place names or letters the sections that it touches, each as a whole. A
//! range of bars whose edges are no edges of sections is made a section first:
//! whoever says `5-8` means those bars.

use super::DecisionRequest;
use super::place::Place;
use crate::songlog::decided::Act;
use crate::songlog::song::{Bar, Section, Song};

/// Times nearer than this are one, s.
const SAME_S: f64 = 0.05;

/// Where sections start and where none does.
pub(super) fn edges(request: &DecisionRequest, places: &[Place]) -> Vec<Act> {
    let mut acts = Vec::new();
    for place in places {
        let at_s = place.start_s();
        if request.new_section {
            acts.push(Act::SectionSplit { at_s });
        }
        if request.merge_section {
            acts.push(Act::SectionJoin { at_s });
        }
    }
    acts
}

/// Letters and names of the sections at some places, on a song with these edges.
pub(super) fn named(request: &DecisionRequest, places: &[Place], song: &Song) -> Vec<Act> {
    let mut acts: Vec<Act> = Vec::new();
    for place in places {
        let own = own_section(*place, song);
        let stretches = match &own {
            Some(own) => vec![own.stretch_s],
            None => touched(*place, song),
        };
        let mut said: Vec<Act> = Vec::new();
        for (start_s, end_s) in stretches {
            said.extend(request.for_section(start_s, end_s));
        }
        if let Some(own) = own {
            acts.extend(own.starts_s.map(|at_s| Act::SectionSplit { at_s }));
            let inside = own.inside_s.into_iter();
            acts.extend(inside.map(|at_s| Act::SectionJoin { at_s }));
            acts.append(&mut said);
            // last, so that what follows gets a letter that is not this one's
            acts.extend(own.next_s.map(|at_s| Act::SectionSplit { at_s }));
        }
        said.retain(|act| !acts.contains(act));
        acts.append(&mut said);
    }
    acts
}

/// Bars that are to be a section of their own.
struct OwnSection {
    stretch_s: (f64, f64),
    /// Its start, where no section starts yet.
    starts_s: Option<f64>,
    /// Starts of sections inside, which go.
    inside_s: Vec<f64>,
    /// Where the bars behind it become the next section.
    next_s: Option<f64>,
}

/// What has to be made of a range of bars; none for a single bar or a moment,
/// and for whole sections.
fn own_section(place: Place, song: &Song) -> Option<OwnSection> {
    let Place::Stretch(from_s, to_s) = place else {
        return None;
    };
    let (first, last) = (song.bars.first()?, song.bars.last()?);
    let middle = |b: &&Bar| (from_s..to_s).contains(&(0.5 * (b.start_s + b.end_s)));
    if song.bars.iter().filter(middle).count() < 2 {
        return None;
    }
    let edges_s: Vec<f64> = song
        .sections
        .iter()
        .filter_map(|section| Some(stretch(section, song)?.0))
        .collect();
    let is_edge = |at_s: f64| edges_s.iter().any(|e| (e - at_s).abs() < SAME_S);
    let starts_s = (from_s > first.start_s + SAME_S && !is_edge(from_s)).then_some(from_s);
    let next_s = (to_s < last.end_s - SAME_S && !is_edge(to_s)).then_some(to_s);
    if starts_s.is_none() && next_s.is_none() {
        return None;
    }
    let inside = |e: &f64| *e > from_s + SAME_S && *e < to_s - SAME_S;
    Some(OwnSection {
        stretch_s: (from_s, to_s),
        starts_s,
        inside_s: edges_s.iter().copied().filter(inside).collect(),
        next_s,
    })
}

/// The whole of each section that a place touches.
fn touched(place: Place, song: &Song) -> Vec<(f64, f64)> {
    let (from_s, to_s) = match place {
        Place::Stretch(from_s, to_s) => (from_s, to_s),
        Place::Point(at_s) => (at_s, at_s + 0.01),
    };
    let all: Vec<(f64, f64)> = song
        .sections
        .iter()
        .filter_map(|section| stretch(section, song))
        .collect();
    let touched: Vec<(f64, f64)> = all
        .iter()
        .copied()
        .filter(|(start, end)| {
            let common = end.min(to_s) - start.max(from_s);
            common > 0.5 * (end - start).min(to_s - from_s)
        })
        .collect();
    // before the first bar or after the last: the place as it is said
    if touched.is_empty() {
        vec![(from_s, to_s)]
    } else {
        touched
    }
}

/// From its first downbeat to the end of its last bar, s.
fn stretch(section: &Section, song: &Song) -> Option<(f64, f64)> {
    let bar = |number: u32| song.bars.iter().find(|b| b.number == number);
    Some((
        bar(section.first_bar)?.start_s,
        bar(section.last_bar)?.end_s,
    ))
}
