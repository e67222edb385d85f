//! Sections: which bars repeat which, from harmony, rhythm and the key together.
//!
//! Each bar is sketched by its chord on every eighth of it and by how much is
//! struck on each division of its beats; [`crate::hearing::form::search`] finds the row
//! of sections. How a repeat differs is not said here but of the song as it
//! stands (`songlog::form`).

use crate::hearing::form::search::{SLOTS, SectionWeights, Sketch, Sounding, search};
use crate::hearing::harmony::keys::Keys;
use crate::hearing::notes::events::Note;
use crate::hearing::reading::{Bar, HeardSpan, Hearing, Section};
use crate::hearing::rhythm::grid::median;
use crate::theory::{Chord, QUALITIES, Triad};

/// What sections are found from.
pub(crate) struct Played<'a> {
    pub(crate) bars: &'a [Bar],
    pub(crate) spans: &'a [HeardSpan],
    pub(crate) notes: &'a [Note],
    pub(crate) keys: &'a Keys,
    /// Into how many parts a beat divides: 2 or 3.
    pub(crate) divisions: u8,
}

/// The bars of a take as the search for sections sees them.
#[derive(Debug, Clone, Default)]
pub struct Form {
    bars: Vec<Sketch>,
    /// The tonic at each bar.
    tonics: Vec<Option<u8>>,
    /// What a bar usually lasts, s.
    bar_s: f64,
    /// The number of each bar, and of the pickup if there is one.
    numbers: Vec<u32>,
    first_number: u32,
}

impl Form {
    /// The bars of what was heard.
    pub fn of(heard: &Hearing) -> Self {
        let keys = Keys {
            first: heard.key,
            changes: heard.key_changes.clone(),
        };
        Self::sketched(&Played {
            bars: &heard.bars,
            spans: &heard.chords,
            notes: &heard.notes,
            keys: &keys,
            divisions: if heard.meter.is_some_and(|m| m.1 == 8) {
                3
            } else {
                2
            },
        })
    }

    pub(crate) fn sketched(played: &Played<'_>) -> Self {
        let bars = played.bars;
        let Some(first_whole) = bars.iter().position(|b| b.number > 0) else {
            return Self::default();
        };
        let whole = &bars[first_whole..];
        let keys = whole
            .iter()
            .map(|bar| played.keys.at(0.5 * (bar.start_s + bar.end_s)));
        Self {
            bars: whole.iter().map(|bar| sketch(bar, played)).collect(),
            tonics: keys
                .map(|key| key.map(|k| k.tonic.pitch_class().index() as u8))
                .collect(),
            bar_s: median(whole.iter().map(|b| b.end_s - b.start_s).collect()),
            numbers: whole.iter().map(|bar| bar.number).collect(),
            first_number: bars[0].number,
        }
    }

    /// Its sections; none where there are no bars.
    pub fn sections(&self, weights: &SectionWeights) -> Vec<Section> {
        if self.bars.is_empty() {
            return Vec::new();
        }
        let mut pieces = search(&self.bars, &self.tonics, self.bar_s, weights);
        // the last stroke ringing on is no section
        if let [.., before, last] = &mut pieces[..]
            && last.end - last.start == 1
        {
            before.end = last.end;
            pieces.pop();
        }
        pieces
            .iter()
            .enumerate()
            .map(|(i, piece)| Section {
                letter: letter_name(piece.letter),
                // a pickup belongs to the first section
                first_bar: if i == 0 {
                    self.first_number
                } else {
                    self.numbers[piece.start]
                },
                last_bar: self.numbers[piece.end - 1],
            })
            .collect()
    }
}

fn letter_name(n: usize) -> String {
    let mut name = String::from((b'A' + (n % 26) as u8) as char);
    if n >= 26 {
        name.push_str(&(n / 26 + 1).to_string());
    }
    name
}

fn sketch(bar: &Bar, played: &Played<'_>) -> Sketch {
    let length_s = bar.end_s - bar.start_s;
    let chords = std::array::from_fn(|k| {
        let at_s = bar.start_s + (k as f64 + 0.5) / SLOTS as f64 * length_s;
        let after = played.spans.partition_point(|s| s.start_s <= at_s);
        let span = &played.spans[after.checked_sub(1)?];
        let label = &span.candidates.first()?.0;
        label.chord().map(sounding)
    });
    let n = usize::from(bar.n_beats) * usize::from(played.divisions);
    let mut rhythm = vec![0f32; n];
    let slot_s = length_s / n.max(1) as f64;
    let from = played
        .notes
        .partition_point(|note| note.start_s < bar.start_s - 0.5 * slot_s);
    for note in &played.notes[from..] {
        let slot = ((note.start_s - bar.start_s) / slot_s).round();
        if slot >= n as f64 {
            break;
        }
        if note.probability > 0.5
            && let Some(struck) = rhythm.get_mut(slot.max(0.0) as usize)
        {
            *struck = (*struck + PER_NOTE).min(1.0);
        }
    }
    Sketch { chords, rhythm }
}

/// Four notes at once are a full stroke (ours).
const PER_NOTE: f32 = 0.25;

fn sounding(chord: &Chord) -> Sounding {
    let quality = QUALITIES.iter().position(|q| q == chord.quality);
    Sounding {
        root: chord.root.pitch_class().index() as u8,
        triad: Triad::of(chord) as u8,
        quality: quality.map_or(u8::MAX, |q| q.min(250) as u8),
    }
}
