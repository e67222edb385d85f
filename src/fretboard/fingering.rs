//! The fingers of a shape as they are taught.
//!
//! [`hold`](super::hold) finds how few fingers a shape needs. Teachers prefer
//! fingers that stay where the next chord wants them (common practice, no source):
//! - the index lies flat over neighbors at the lowest fret when a finger presses the
//!   string next to them above: 1112 and not 1234, which leaves fingers free;
//! - fingers that are free press one string each rather than two together;
//! - three neighbors two frets above such an index lie under the ring finger,
//!   which reaches there without a stretch: 11333;
//! - neighbors three frets above an index that lies flat are left to the little finger;
//! - alone on the highest string two frets above an index over three strings, it is the
//!   little finger, which reaches over the edge without lifting the others: 1114.

use super::{Barre, Finger, Hand};

/// Sets the fingers of a hand, and its barres and count with them.
pub(super) fn with_fingers(
    mut hand: Hand,
    frets: &[Option<u8>],
    fingers: Vec<Option<Finger>>,
) -> Hand {
    hand.barres.clear();
    for number in 1..=4 {
        let strings: Vec<usize> = (0..fingers.len())
            .filter(|s| fingers[*s] == Some(Finger::Number(number)))
            .collect();
        if let [from, .., to] = strings[..]
            && let Some(fret) = frets[from]
        {
            hand.barres.push(Barre {
                fret,
                from,
                to,
                finger: number,
            });
        }
    }
    let mut used: Vec<Finger> = fingers.iter().flatten().copied().collect();
    used.sort_unstable();
    used.dedup();
    hand.n_fingers = used.len() as u8;
    hand.fingers = fingers;
    hand
}

/// A hand with the fingers that are taught for such a shape; as it is where a thumb
/// presses or no rule says otherwise.
pub(super) fn with_usual_fingers(hand: Hand, frets: &[Option<u8>]) -> Hand {
    match usual(&hand, frets) {
        Some(fingers) => with_fingers(hand, frets, fingers),
        None => hand,
    }
}

fn usual(hand: &Hand, frets: &[Option<u8>]) -> Option<Vec<Option<Finger>>> {
    if hand.fingers.contains(&Some(Finger::Thumb)) {
        return None;
    }
    let pressed = || {
        let strings = frets.iter().enumerate();
        strings.filter_map(|(string, fret)| Some(((*fret).filter(|f| *f > 0)?, string)))
    };
    let lowest = pressed().map(|p| p.0).min()?;
    let (index, mut above): (Vec<_>, Vec<_>) = pressed().partition(|(fret, _)| *fret == lowest);
    above.sort_unstable();
    let held_flat = hand.barres.iter().any(|b| b.fret == lowest);
    let (first, last) = (index.first()?.1, index.last()?.1);
    let beside = frets.get(last + 1).copied().flatten().unwrap_or(0);
    let run = index.len() > 1 && last - first + 1 == index.len();
    let flat = held_flat || run && beside > lowest;
    if index.len() > 1 && !flat {
        return None;
    }
    let joined = hand.barres.iter().any(|b| b.fret > lowest);
    let neighbors = above.windows(2).all(|w| w[1] == (w[0].0, w[0].1 + 1));
    let numbers = match above[..] {
        [] => return None,
        [(fret, string)] if flat => {
            let reach = fret - lowest;
            let highest = frets[string + 1..].iter().all(Option::is_none);
            let over_the_edge = reach == 2 && highest && index.len() > 2 && string > last;
            vec![if over_the_edge { 4 } else { (reach + 1).min(4) }]
        }
        [(fret, string), _, _] if neighbors && fret == lowest + 2 && string > last => vec![3; 3],
        [(fret, _), _, _] if neighbors && fret > lowest + 2 => vec![4; 3],
        [_, _, _] if joined || flat => vec![2, 3, 4],
        [(fret, _), _] if neighbors && flat && fret == lowest + 3 => vec![4, 4],
        [(a, _), (b, _)] if flat || joined => {
            match ((a - lowest + 1).min(3), (b - lowest + 1).min(4)) {
                (one, other) if one == other => vec![one, one + 1],
                (one, other) => vec![one, other],
            }
        }
        _ => return None,
    };
    let mut fingers = vec![None; frets.len()];
    for (_, string) in &index {
        fingers[*string] = Some(Finger::Number(1));
    }
    for ((_, string), number) in above.iter().zip(numbers) {
        fingers[*string] = Some(Finger::Number(number));
    }
    Some(fingers)
}
