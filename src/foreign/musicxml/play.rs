//! In which order measures are played: repeats, endings, da capo, dal segno, coda, fine.
//!
//! # Source
//! MusicXML 4.0 `repeat`, `ending` and `sound`; that repeats are not taken
//! again after a jump, but the last ending is, is common practice, no source.

use super::super::{ForeignError, MAX_BARS};
use super::score::Written;

/// One measure as it is played.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Step {
    /// Index of the measure.
    pub(super) measure: usize,
    /// What the section that starts here is called.
    pub(super) section: Option<String>,
}

/// All measures in the order they are played.
pub(super) fn order(measures: &[Written]) -> Result<Vec<Step>, ForeignError> {
    let last_of = last_endings(measures);
    let segno = measures.iter().position(|m| m.segno);
    let coda = |after: usize| (after + 1..measures.len()).find(|i| measures[*i].coda);
    let mut steps: Vec<Step> = Vec::new();
    let (mut i, mut start, mut pass) = (0, 0, 1u32);
    let (mut jumped, mut back) = (false, false);
    while i < measures.len() {
        let m = &measures[i];
        if m.repeat_start && start != i {
            (start, pass) = (i, 1);
        }
        match (&m.endings[..], last_of[i]) {
            ([], _) => {
                // after the last ending the next repeat is counted anew
                if i > 0 && !measures[i - 1].endings.is_empty() && !back {
                    (start, pass) = (if m.repeat_start { i } else { i.max(start) }, 1);
                }
            }
            (mine, last) => {
                let wanted = if jumped { last } else { pass };
                if !mine.contains(&wanted) {
                    i += 1;
                    continue;
                }
            }
        }
        if steps.len() > MAX_BARS {
            return Err(ForeignError::Wrong {
                place: format!("measure {}", m.number),
                reason: format!("its repeats make more than {MAX_BARS} bars"),
            });
        }
        let section = match &m.rehearsal {
            Some(text) => Some(text.clone()),
            // a pass that begins inside a section is that section again
            None if back => measures[..i].iter().rev().find_map(|m| m.rehearsal.clone()),
            None => None,
        };
        steps.push(Step {
            measure: i,
            section,
        });
        back = false;
        if jumped && m.fine {
            break;
        }
        if let Some(times) = m.repeat_end.filter(|_| !jumped) {
            let times = match m.endings.is_empty() {
                true => times,
                false => last_of[i],
            };
            if pass < times {
                (i, pass, back) = (start, pass + 1, true);
                continue;
            }
            (start, pass) = (i + 1, 1);
        }
        if jumped
            && m.to_coda
            && let Some(at) = coda(i)
        {
            i = at;
            continue;
        }
        if !jumped && (m.da_capo || m.dal_segno) {
            jumped = true;
            back = true;
            i = match m.dal_segno {
                true => segno.unwrap_or(0),
                false => 0,
            };
            continue;
        }
        i += 1;
    }
    Ok(steps)
}

/// For each measure under an ending, the highest number of its group.
fn last_endings(measures: &[Written]) -> Vec<u32> {
    let mut last = vec![0; measures.len()];
    let mut i = 0;
    while i < measures.len() {
        if measures[i].endings.is_empty() {
            i += 1;
            continue;
        }
        let to = (i..measures.len())
            .find(|j| measures[*j].endings.is_empty())
            .unwrap_or(measures.len());
        let highest = measures[i..to].iter().flat_map(|m| &m.endings).max();
        last[i..to].fill(highest.copied().unwrap_or(1));
        i = to;
    }
    last
}
