//! Bass walks between two chords, and capo arithmetic.

use crate::theory::{Chord, Degree, Key, PitchClass, QUALITIES};

/// One way to walk the bass from a chord to the next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Walk {
    /// The chords on the way, the first and last included.
    pub chords: Vec<Chord>,
    /// How, in words: `G held over F♯`.
    pub words: String,
}

/// The ways to walk the bass by step from one chord to another, shortest way round.
///
/// Takes the two chords and the key whose notes are stepped through. For every
/// passing bass there are two ways: the first chord held over it, or a chord
/// of the key that has the bass as its third (common practice, no source).
/// Empty if the basses are less than three or more than five semitones apart.
pub fn walks(from: &Chord, to: &Chord, key: Key) -> Vec<Walk> {
    let (start, end) = (from.bass_pitch_class(), to.bass_pitch_class());
    let up = end.above(start);
    let (step, distance) = if up <= 6 { (1, up) } else { (-1, 12 - up) };
    if !(3..=5).contains(&distance) {
        return Vec::new();
    }
    let scale: Vec<PitchClass> = key.scale().iter().map(|n| n.pitch_class()).collect();
    let passing: Vec<PitchClass> = (1..distance)
        .map(|i| start.up(step * i))
        .filter(|pc| scale.contains(pc))
        .collect();
    if passing.is_empty() {
        return Vec::new();
    }
    let held: Vec<Chord> = passing
        .iter()
        .map(|pc| {
            let own = from
                .degrees()
                .into_iter()
                .find(|d| d.over(from.root.pitch_class()) == *pc);
            let degree = own.unwrap_or_else(|| Degree::between(from.root, key.spell(*pc)));
            from.clone()
                .over(Degree::new((degree.number() - 1) % 7 + 1, degree.alter()))
        })
        .collect();
    let thirds: Option<Vec<Chord>> = passing.iter().map(|pc| over_third(*pc, key)).collect();
    let row = |between: Vec<Chord>| -> Vec<Chord> {
        std::iter::once(from.clone())
            .chain(between)
            .chain(std::iter::once(to.clone()))
            .collect()
    };
    let basses: Vec<String> = passing.iter().map(|p| key.spell(*p).text()).collect();
    let mut walks = Vec::new();
    if let Some(thirds) = thirds.filter(|t| t.iter().all(|c| c.root != from.root)) {
        walks.push(Walk {
            words: format!(
                "{} through {}, third in the bass",
                basses.join(", "),
                thirds
                    .iter()
                    .map(Chord::symbol)
                    .collect::<Vec<_>>()
                    .join(", ")
            ),
            chords: row(thirds),
        });
    }
    walks.push(Walk {
        words: format!("{} held over {}", from.symbol(), basses.join(", ")),
        chords: row(held),
    });
    walks
}

/// The triad of the key whose third is a note.
fn over_third(third: PitchClass, key: Key) -> Option<Chord> {
    let scale: Vec<PitchClass> = key.scale().iter().map(|n| n.pitch_class()).collect();
    [(4, 0usize), (3, 1)].into_iter().find_map(|(below, row)| {
        let root = third.up(-below);
        let fifth = root.up(7);
        (scale.contains(&root) && scale.contains(&fifth)).then(|| {
            let alter = if row == 0 { 0 } else { -1 };
            Chord::new(key.spell(root), &QUALITIES[row]).over(Degree::new(3, alter))
        })
    })
}

/// Where a capo goes: a fret, and the key whose shapes are played there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CapoChoice {
    /// Fret of the capo, 0 for none.
    pub fret: u8,
    /// The key as it is played.
    pub shapes_in: Key,
}

/// The capo frets at which a sounding key is played with open-position shapes.
///
/// Keys played so: C A G E D in major, Am Em Dm in minor (common practice, no
/// source). Capo up to fret 7, lowest first.
///
/// # Example
/// ```
/// use takebook::fretboard::capo_choices;
/// let choices = capo_choices("Bb".parse().unwrap());
/// // B♭: capo 1 with A shapes, capo 3 with G shapes, capo 6 with E shapes
/// let frets: Vec<u8> = choices.iter().map(|c| c.fret).collect();
/// assert_eq!(frets, [1, 3, 6]);
/// ```
pub fn capo_choices(sounding: Key) -> Vec<CapoChoice> {
    let open: &[i32] = match sounding.mode.is_minor() {
        false => &[0, 9, 7, 4, 2],
        true => &[9, 4, 2],
    };
    (0..=7u8)
        .filter_map(|fret| {
            let tonic = sounding.tonic.pitch_class().up(-i32::from(fret));
            open.contains(&(tonic.index() as i32)).then(|| CapoChoice {
                fret,
                shapes_in: Key::usual(tonic, sounding.mode),
            })
        })
        .collect()
}
