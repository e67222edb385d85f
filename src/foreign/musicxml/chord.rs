//! A `harmony` element as a chord, its `frame` as a shape.

use crate::fretboard::Shape;
use crate::theory::{Chord, Degree, Label, QUALITIES, Quality, Spelled};
use roxmltree::Node;

fn child<'a>(node: Node<'a, 'a>, name: &str) -> Option<Node<'a, 'a>> {
    node.children().find(|c| c.has_tag_name(name))
}

fn text_of<'a>(node: Node<'a, 'a>, name: &str) -> Option<&'a str> {
    child(node, name).and_then(|c| c.text()).map(str::trim)
}

/// A step with its alteration, from `root` or `bass`.
fn note(node: Node<'_, '_>, tag: &str) -> Option<Spelled> {
    let step = text_of(node, &format!("{tag}-step"))?;
    let alter = match text_of(node, &format!("{tag}-alter")) {
        Some(text) => text.parse::<f64>().ok().filter(|a| a.abs() <= 3.0)?,
        None => 0.0,
    };
    let plain: Spelled = step.parse().ok()?;
    (alter.fract() == 0.0).then(|| Spelled::new(plain.letter(), plain.alter() + alter as i8))
}

/// The chord of a `harmony`, no chord, or unknown with the reason in words.
pub(super) fn label(harmony: Node<'_, '_>) -> Result<Label, String> {
    let kind_node = child(harmony, "kind").ok_or("it has no kind")?;
    let kind = kind_node.text().unwrap_or("").trim();
    if kind == "none" {
        return Ok(match kind_node.attribute("text") {
            Some("?") => Label::Unknown,
            _ => Label::NoChord,
        });
    }
    let root = child(harmony, "root")
        .and_then(|r| note(r, "root"))
        .ok_or("it has no root that names a note")?;
    let written = || -> Option<Chord> {
        format!("{}{}", root.ascii(), kind_node.attribute("text")?)
            .parse()
            .ok()
    };
    let mut chord = match Quality::by_musicxml(kind) {
        Some(quality) => with_degrees(Chord::new(root, quality), harmony)?,
        None => written().ok_or_else(|| format!("its kind '{kind}' is not known"))?,
    };
    if let Some(bass) = child(harmony, "bass").and_then(|b| note(b, "bass")) {
        chord = chord.over(Degree::between(root, bass));
    }
    Ok(Label::Chord(chord))
}

/// The chord with its `degree` elements; a row of its own where one has exactly these degrees.
fn with_degrees(plain: Chord, harmony: Node<'_, '_>) -> Result<Chord, String> {
    let mut degrees: Vec<Degree> = plain.quality.degrees.to_vec();
    for degree in harmony.children().filter(|c| c.has_tag_name("degree")) {
        let number: u8 = text_of(degree, "degree-value")
            .and_then(|t| t.parse().ok())
            .filter(|n| (1..=15).contains(n))
            .ok_or("a degree has no value from 1 to 15")?;
        let alter: i8 = match text_of(degree, "degree-alter") {
            Some(text) => text
                .parse::<f64>()
                .ok()
                .filter(|a| a.abs() <= 3.0)
                .ok_or("a degree's alteration is not a number")? as i8,
            None => 0,
        };
        match text_of(degree, "degree-type") {
            Some("subtract") => degrees.retain(|d| d.number() != number),
            Some("alter") => {
                // counted from the kind's own degree
                let own = degrees.iter().find(|d| d.number() == number);
                let from = own.map_or(0, |d| d.alter());
                degrees.retain(|d| d.number() != number);
                degrees.push(Degree::new(number, from + alter));
            }
            _ => {
                // counted from a dominant chord's, whose seventh is lowered
                let from = if number == 7 { -1 } else { 0 };
                let added = Degree::new(number, from + alter);
                // some programs add an altered third, fifth or seventh to the plain one they mean
                if number <= 7 && alter != 0 {
                    degrees.retain(|d| d.number() != number);
                }
                if !degrees.contains(&added) {
                    degrees.push(added);
                }
            }
        }
    }
    let sorted = |list: &[Degree]| {
        let mut list = list.to_vec();
        list.sort();
        list
    };
    let wanted = sorted(&degrees);
    if wanted == sorted(plain.quality.degrees) {
        return Ok(plain);
    }
    if let Some(row) = QUALITIES.iter().find(|q| sorted(q.degrees) == wanted) {
        return Ok(Chord::new(plain.root, row));
    }
    let own = plain.quality.degrees;
    Ok(Chord {
        added: degrees
            .iter()
            .filter(|d| !own.contains(d))
            .copied()
            .collect(),
        omitted: own
            .iter()
            .filter(|d| !degrees.contains(d))
            .copied()
            .collect(),
        ..plain
    })
}

/// The shape of a `frame`; none if there is none, or it is not of 4 to 8 strings.
pub(super) fn frame(harmony: Node<'_, '_>) -> Option<Shape> {
    let frame = child(harmony, "frame")?;
    let n: usize = text_of(frame, "frame-strings")?.parse().ok()?;
    if !(4..=8).contains(&n) {
        return None;
    }
    let mut frets = vec![None; n];
    for note in frame.children().filter(|c| c.has_tag_name("frame-note")) {
        let string: usize = text_of(note, "string")?.parse().ok()?;
        let fret: u8 = text_of(note, "fret")?.parse().ok()?;
        // strings are counted from the highest
        *frets.get_mut(n.checked_sub(string)?)? = Some(fret);
    }
    frets.iter().any(Option::is_some).then_some(())?;
    Shape::new(frets).ok()
}
