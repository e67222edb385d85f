//! Marks of a measure (tempo, rehearsal, jumps) and the tuning of its staff.

use super::score::{Score, Written, child_number, one_line};
use crate::fretboard::{HIGHEST_CAPO, Tuning};
use crate::theory::Spelled;
use roxmltree::Node;

/// What a `direction` says.
pub(super) fn direction(node: Node<'_, '_>, at: f64, made: &mut Written, score: &mut Score) {
    let mut metronome = None;
    for child in node.descendants().filter(Node::is_element) {
        match child.tag_name().name() {
            "rehearsal" => {
                made.rehearsal = child.text().map(one_line).filter(|t| !t.is_empty());
            }
            "segno" => made.segno = true,
            // the sign over the coda itself; the way to it is said by sound
            "coda" => made.coda = true,
            "metronome" => metronome = counted(child),
            _ => {}
        }
    }
    let before = made.tempi.len();
    if let Some(at_sound) = node.children().find(|c| c.has_tag_name("sound")) {
        sound(at_sound, at, made);
        if at_sound.attribute("tocoda").is_some() {
            made.coda = false;
        }
    }
    if let Some((quarters, bpm)) = metronome {
        if score.beat_quarters.is_none() {
            score.beat_quarters = Some(quarters);
        }
        if made.tempi.len() == before {
            made.tempi.push((at, bpm * quarters));
        }
    }
}

/// Length of the counted note in quarters, and how many a minute.
fn counted(node: Node<'_, '_>) -> Option<(f64, f64)> {
    let unit = node
        .children()
        .find(|c| c.has_tag_name("beat-unit"))
        .and_then(|c| c.text())?;
    let plain = match unit.trim() {
        "whole" => 4.0,
        "half" => 2.0,
        "quarter" => 1.0,
        "eighth" => 0.5,
        "16th" => 0.25,
        _ => return None,
    };
    let dots = node.children().filter(|c| c.has_tag_name("beat-unit-dot"));
    let quarters = plain * (2.0 - 0.5f64.powi(dots.count().min(3) as i32));
    let bpm = child_number(node, "per-minute")?;
    (5.0..=1000.0).contains(&bpm).then_some((quarters, bpm))
}

pub(super) fn sound(node: Node<'_, '_>, at: f64, made: &mut Written) {
    if let Some(bpm) = node
        .attribute("tempo")
        .and_then(|t| t.trim().parse::<f64>().ok())
        .filter(|b| (5.0..=2000.0).contains(b))
    {
        made.tempi.push((at, bpm));
    }
    made.segno |= node.has_attribute("segno");
    made.coda |= node.has_attribute("coda");
    made.to_coda |= node.has_attribute("tocoda");
    made.da_capo |= node.attribute("dacapo") == Some("yes");
    made.dal_segno |= node.has_attribute("dalsegno");
    made.fine |= node.has_attribute("fine");
}

/// Tuning and capo.
pub(super) fn staff_details(node: Node<'_, '_>, score: &mut Score) {
    let mut strings: Vec<(u32, u8)> = node
        .children()
        .filter(|c| c.has_tag_name("staff-tuning"))
        .filter_map(|c| {
            let line: u32 = c.attribute("line")?.parse().ok()?;
            let step: Spelled = c
                .children()
                .find(|n| n.has_tag_name("tuning-step"))?
                .text()?
                .trim()
                .parse()
                .ok()?;
            let alter = child_number(c, "tuning-alter").unwrap_or(0.0);
            let alter = alter.clamp(-12.0, 12.0) as i32;
            // octaves 0 to 9 are all that the format has
            let octave = child_number(c, "tuning-octave")?.clamp(0.0, 9.0) as i32;
            let natural = Spelled::new(step.letter(), 0).pitch_class().index() as i32;
            let midi = 12 * (octave + 1) + natural + alter;
            Some((line, u8::try_from(midi).ok()?))
        })
        .collect();
    strings.sort_by_key(|s| s.0);
    if !strings.is_empty()
        && let Ok(tuning) = Tuning::new(strings.into_iter().map(|s| s.1).collect())
    {
        score.tuning = Some(tuning);
    }
    if let Some(capo) =
        child_number(node, "capo").filter(|c| (0.0..=f64::from(HIGHEST_CAPO)).contains(c))
    {
        score.capo = capo as u8;
    }
}
