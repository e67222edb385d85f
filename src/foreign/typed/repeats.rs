//! Repeats played out: what is written once and played several times.

use super::bars::TypedBar;
use super::groups::{self, Group};
use super::jumps;
use super::lines::TypedSection;
use super::{ForeignError, wrong};
use crate::songlog::decided::Feel;

/// One pass of a section.
pub(super) struct Part {
    pub(super) name: String,
    pub(super) feel: Option<Feel>,
    pub(super) bars: Vec<TypedBar>,
}

/// All sections in the order in which they are played.
pub(super) fn play(sections: &[TypedSection], groups: &[Group]) -> Result<Vec<Part>, ForeignError> {
    let mut parts: Vec<Part> = Vec::new();
    for step in groups::play_out(jumps::order(sections)?, groups) {
        let section = &sections[step.section];
        let written = written(sections, step.section)?;
        if let Some(bar) = written.first().filter(|b| b.simile && parts.is_empty()) {
            return Err(wrong(
                bar.line,
                "there is no bar before the first % to repeat",
            ));
        }
        let passes = passes(written, section)?;
        let names: Vec<&str> = section.name.split(" / ").collect();
        // after a jump there is the last pass only
        let first = if step.jumped { passes.len() - 1 } else { 0 };
        for (nth, bars) in passes.iter().enumerate().skip(first) {
            let (pass, n_passes) = match step.pass {
                (_, 1) => (nth, passes.len()),
                pass => pass,
            };
            let name = match names.len() == n_passes {
                true => names[pass],
                false => &section.name,
            };
            // what leads in is not played again
            let again = step.jumped || step.pass.0 > 0;
            let lead = bars.iter().take_while(|b| b.pickup && again);
            let lead = lead.count();
            parts.push(Part {
                name: name.into(),
                feel: section.feel,
                bars: bars[lead..].to_vec(),
            });
        }
    }
    Ok(parts)
}

/// The bars of a section; without any, those of the first of its name.
fn written(sections: &[TypedSection], i: usize) -> Result<&[TypedBar], ForeignError> {
    let section = &sections[i];
    if !section.bars.is_empty() {
        return Ok(&section.bars);
    }
    sections[..i]
        .iter()
        .find(|s| s.heading == section.heading && !s.bars.is_empty())
        // what led into the first one does not come again
        .map(|s| &s.bars[s.bars.iter().take_while(|b| b.pickup).count()..])
        .ok_or_else(|| {
            let way = format!(
                "section '{}' has no bars, and none of that name stands before it",
                section.name
            );
            wrong(section.line, way)
        })
}

/// The passes of a section: several if all of it repeats, else one.
fn passes(bars: &[TypedBar], section: &TypedSection) -> Result<Vec<Vec<TypedBar>>, ForeignError> {
    let first = usize::from(bars.len() > 1 && bars[0].pickup);
    let ends: Vec<usize> = (0..bars.len()).filter(|i| bars[*i].repeat_end).collect();
    let body = &bars[first..];
    let has_endings = body.iter().any(|b| b.ending.is_some());
    let mut after = body.iter().skip_while(|b| b.ending.is_none());
    let all = match has_endings {
        true => after.all(|b| b.ending.is_some()),
        false => ends == [bars.len() - 1],
    };
    let starts = body.iter().skip(1).any(|b| b.repeat_start);
    if all && !starts && !has_endings {
        let n = bars[bars.len() - 1].times.or(section.times).unwrap_or(2);
        let mut out = vec![body.to_vec(); n as usize];
        out[0].splice(0..0, bars[..first].to_vec());
        return Ok(out);
    }
    let played = played(bars)?;
    if all && !starts {
        return Ok(played);
    }
    let whole: Vec<TypedBar> = played.into_iter().flatten().collect();
    let mut out = vec![whole; section.times.unwrap_or(1) as usize];
    for again in out.iter_mut().skip(1) {
        again.drain(..first);
    }
    Ok(out)
}

/// The bars as they are played, cut where a repeat goes back.
fn played(bars: &[TypedBar]) -> Result<Vec<Vec<TypedBar>>, ForeignError> {
    let mut out: Vec<Vec<TypedBar>> = Vec::new();
    let mut now: Vec<TypedBar> = Vec::new();
    let mut start = usize::from(bars.len() > 1 && bars[0].pickup);
    let mut i = 0;
    now.extend(bars[..start].iter().cloned());
    i += start;
    while i < bars.len() {
        if bars[i].repeat_start {
            start = i;
        }
        if bars[i].ending.is_some() {
            let common = start..i;
            let groups = endings(bars, i)?;
            for (nth, group) in groups.iter().enumerate() {
                if nth > 0 {
                    out.push(std::mem::take(&mut now));
                    now.extend(bars[common.clone()].iter().cloned());
                }
                now.extend(bars[group.clone()].iter().cloned());
                i = group.end;
            }
            start = i;
            continue;
        }
        now.push(bars[i].clone());
        i += 1;
        if bars[i - 1].repeat_end {
            for _ in 1..bars[i - 1].times.unwrap_or(2) {
                out.push(std::mem::take(&mut now));
                now.extend(bars[start..i].iter().cloned());
            }
            start = i;
        }
    }
    if !now.is_empty() {
        out.push(now);
    }
    Ok(out)
}

/// The endings from a bar on, each the bars of one number.
fn endings(bars: &[TypedBar], from: usize) -> Result<Vec<std::ops::Range<usize>>, ForeignError> {
    let mut groups: Vec<std::ops::Range<usize>> = Vec::new();
    let mut i = from;
    while i < bars.len() && bars[i].ending.is_some() {
        let end = (i..bars.len())
            .take_while(|k| bars[*k].ending == bars[i].ending)
            .last()
            .unwrap_or(i)
            + 1;
        groups.push(i..end);
        i = end;
    }
    if groups.len() < 2 {
        return Err(wrong(bars[from].line, "there is no second ending"));
    }
    for (range, wanted) in groups.iter().zip(1u8..) {
        let bar = &bars[range.start];
        if bar.ending != Some(wanted) {
            let way = format!("ending {wanted} is missing before this one");
            return Err(wrong(bar.line, way));
        }
        let closes = bars[range.end - 1].repeat_end;
        let last = range.end == groups[groups.len() - 1].end;
        if closes == last {
            let way = match last {
                true => "the last ending goes on: it has no repeat sign",
                false => "an ending that goes back ends with :|",
            };
            return Err(wrong(bar.line, way));
        }
    }
    Ok(groups)
}
