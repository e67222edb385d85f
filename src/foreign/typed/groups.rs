//! Repeats that begin with one section and end with a later one.

use super::jumps::Step;
use super::lines::TypedSection;
use super::{ForeignError, wrong};

/// Sections that are played several times, one after the other.
pub(super) struct Group {
    first: usize,
    last: usize,
    times: usize,
}

/// Takes the signs of such repeats off the bars.
///
/// # Errors
/// The line of a sign that stands inside a section.
pub(super) fn take(sections: &mut [TypedSection]) -> Result<Vec<Group>, ForeignError> {
    let mut groups = Vec::new();
    // the section that began a repeat, and the bar in it
    let mut open: Option<(usize, usize)> = None;
    for i in 0..sections.len() {
        let bars = &sections[i].bars;
        let ends = bars.iter().position(|b| b.repeat_end);
        // a section with a repeat or with endings of its own closes none before it
        let closes = ends.filter(|end| {
            let own = |b: &super::TypedBar| b.repeat_start || b.ending.is_some();
            !bars[..=*end].iter().any(own)
        });
        if let (Some((first, start)), Some(end)) = (open, closes) {
            if end + 1 < bars.len() {
                let way = "the repeat of several sections ends inside one; end it with the last bar of a section";
                return Err(wrong(bars[end].line, way));
            }
            let leads = |b: &super::TypedBar| b.pickup;
            if !sections[first].bars[..start].iter().all(leads) {
                let way = "the repeat of several sections begins inside one; begin it with the first bar of a section";
                return Err(wrong(sections[first].bars[start].line, way));
            }
            sections[first].bars[start].repeat_start = false;
            let bar = &mut sections[i].bars[end];
            bar.repeat_end = false;
            let times = bar.times.take().unwrap_or(2) as usize;
            groups.push(Group {
                first,
                last: i,
                times,
            });
            open = None;
            continue;
        }
        let start = bars.iter().rposition(|b| b.repeat_start);
        if let Some(start) = start {
            let closed = bars[start..].iter().any(|b| b.repeat_end);
            open = (!closed).then_some((i, start));
        }
    }
    Ok(groups)
}

/// The steps with their groups played out; after a jump nothing is repeated.
pub(super) fn play_out(steps: Vec<Step>, groups: &[Group]) -> Vec<Step> {
    let mut out = Vec::new();
    let mut i = 0;
    while i < steps.len() {
        let step = steps[i];
        let begins = |g: &&Group| g.first == step.section && !step.jumped;
        let Some(group) = groups.iter().find(begins) else {
            out.push(step);
            i += 1;
            continue;
        };
        let end = (i + 1 + group.last - group.first).min(steps.len());
        for pass in 0..group.times {
            let again = |s: &Step| Step {
                pass: (pass, group.times),
                ..*s
            };
            out.extend(steps[i..end].iter().map(again));
        }
        i = end;
    }
    out
}
