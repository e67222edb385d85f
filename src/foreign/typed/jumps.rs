//! Da capo and dal segno: in which order sections are played.
//!
//! Signs stand in brackets behind a section's name. Repeats are not taken again
//! after a jump, but the last ending is (common practice, no source).

use super::lines::TypedSection;
use super::{ForeignError, wrong};

/// Signs of a section.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Signs {
    segno: bool,
    coda: bool,
    to_coda: bool,
    fine: bool,
    jump: Option<Jump>,
}

/// Back to where, and until where.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Jump {
    to_segno: bool,
    to_coda: bool,
}

/// Takes the signs off the end of a heading: `Bridge (D.S. al Coda)`.
pub(super) fn strip_signs(rest: &mut &str, signs: &mut Signs) {
    while let Some((before, inside)) = rest.strip_suffix(')').and_then(|r| r.rsplit_once('(')) {
        if !sign(inside, signs) {
            return;
        }
        *rest = before.trim_end();
    }
}

/// Whether these words are a sign; sets it.
fn sign(words: &str, signs: &mut Signs) -> bool {
    let plain = words.trim().to_lowercase().replace('.', "");
    let jump = |to_segno, to_coda| Some(Jump { to_segno, to_coda });
    match &plain[..] {
        "segno" => signs.segno = true,
        "coda" => signs.coda = true,
        "to coda" => signs.to_coda = true,
        "fine" => signs.fine = true,
        "ds al coda" => signs.jump = jump(true, true),
        "ds al fine" => signs.jump = jump(true, false),
        "dc al coda" => signs.jump = jump(false, true),
        "dc al fine" => signs.jump = jump(false, false),
        _ => return false,
    }
    true
}

/// A section that is played.
#[derive(Clone, Copy)]
pub(super) struct Step {
    /// Its index.
    pub(super) section: usize,
    /// Whether it is played after the jump.
    pub(super) jumped: bool,
    /// Which pass of a repeat over several sections, from 0, and of how many.
    pub(super) pass: (usize, usize),
}

/// All sections in the order in which they are played.
pub(super) fn order(sections: &[TypedSection]) -> Result<Vec<Step>, ForeignError> {
    let step = |jumped| {
        move |section| Step {
            section,
            jumped,
            pass: (0, 1),
        }
    };
    let jumps: Vec<(usize, Jump)> = sections
        .iter()
        .enumerate()
        .filter_map(|(i, s)| Some((i, s.signs.jump?)))
        .collect();
    let (at, jump) = match jumps[..] {
        [] => return Ok((0..sections.len()).map(step(false)).collect()),
        [one] => one,
        [_, (again, _), ..] => {
            let way = "a second D.C. or D.S.; a chart has one (write the sections out)";
            return Err(wrong(sections[again].line, way));
        }
    };
    let missing = |sign: &str, place: &str| {
        let way = format!("no section {place} has the sign ({sign}) behind its name");
        wrong(sections[at].line, way)
    };
    let before = &sections[..=at];
    let from = match jump.to_segno {
        true => before.iter().position(|s| s.signs.segno),
        false => Some(0),
    };
    let from = from.ok_or_else(|| missing("segno", "before"))?;
    let leaves = |s: &TypedSection| match jump.to_coda {
        true => s.signs.to_coda,
        false => s.signs.fine,
    };
    let sign = if jump.to_coda { "to coda" } else { "fine" };
    let left = before[from..].iter().position(leaves);
    let left = from + left.ok_or_else(|| missing(sign, "from there on"))?;
    let mut steps: Vec<Step> = (0..=at).map(step(false)).collect();
    steps.extend((from..=left).map(step(true)));
    if jump.to_coda {
        let coda = sections[at + 1..].iter().position(|s| s.signs.coda);
        let coda = coda.ok_or_else(|| missing("coda", "behind it"))?;
        steps.extend((at + 1 + coda..sections.len()).map(step(false)));
    } else if let Some(section) = sections.get(at + 1) {
        let way = "it is never played: the song ends at (fine)";
        return Err(wrong(section.line, way));
    }
    Ok(steps)
}
