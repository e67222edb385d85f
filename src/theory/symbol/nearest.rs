//! The spelling that was meant, where a symbol cannot be read.

use super::tail_on;
use crate::theory::{QUALITIES, Spelled};

/// The nearest spelling of a symbol whose root is none: H is the German B.
pub(super) fn other_root(written: &str) -> Option<String> {
    let tail = written.strip_prefix(['H', 'h'])?;
    let root: Spelled = "B".parse().ok()?;
    tail_on(root, tail).is_ok().then(|| format!("B{tail}"))
}

/// The nearest spelling of a tail that is none: usual slips first, then one wrong letter.
pub(super) fn nearest(root: Spelled, tail: &str) -> Option<String> {
    const SLIPS: [(&str, &str); 11] = [
        ("m+7", "m(maj7)"),
        ("m(+7)", "m(maj7)"),
        ("m#7", "m(maj7)"),
        ("(b7)", "7"),
        ("(b3)", "m"),
        ("maj#11", "maj7#11"),
        ("-5", "(b5)"),
        ("dim5", "dim"),
        ("m5", "m"),
        ("min5", "m"),
        ("m(#7)", "m(maj7)"),
    ];
    let slip = SLIPS.iter().find(|(wrong, _)| *wrong == tail);
    let reads = |t: &String| tail_on(root, t).is_ok();
    if let Some((_, right)) = slip {
        return Some((*right).to_owned());
    }
    if let Some((head, bass)) = tail.split_once('|') {
        let is_bass = bass.parse::<Spelled>().is_ok();
        return (is_bass && tail_on(root, head).is_ok()).then(|| format!("{head}/{bass}"));
    }
    if tail.contains(['(', ')']) {
        let bare: String = tail.chars().filter(|c| !matches!(c, '(' | ')')).collect();
        if let Some(closed) = Some(format!("({bare})")).filter(reads) {
            return Some(closed);
        }
    }
    QUALITIES
        .iter()
        .map(|q| q.symbol)
        .filter(|symbol| symbol.len() > 2)
        .find(|symbol| one_letter_apart(symbol, tail))
        .map(str::to_owned)
}

/// Whether one letter changed, added or dropped turns one text into the other.
fn one_letter_apart(a: &str, b: &str) -> bool {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let (short, long) = if a.len() <= b.len() { (a, b) } else { (b, a) };
    let same = short.iter().zip(&long).take_while(|(x, y)| x == y).count();
    match long.len() - short.len() {
        0 => same < short.len() && short[same + 1..] == long[same + 1..],
        1 => short[same..] == long[same + 1..],
        _ => false,
    }
}
