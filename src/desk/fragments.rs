//! A few plucked notes at a time, read together as a row while they are played.

use crate::hearing::LiveAnswer;
use crate::theory::imply::{Fragment, read_row};
use crate::theory::{Key, midi_name};
use serde_json::{Value, json};

/// The most notes of a fragment; more are a whole chord.
const MOST_NOTES: usize = 3;
/// How many fragments are read together.
const LONGEST_ROW: usize = 12;

/// The row so far.
#[derive(Debug)]
pub(super) struct Fragments {
    key: Option<Key>,
    row: Vec<Vec<u8>>,
    /// Notes heard once; heard twice they are no slip.
    pending: Vec<u8>,
}

impl Fragments {
    pub(super) fn new(key: Option<Key>) -> Self {
        Self {
            key,
            row: Vec::new(),
            pending: Vec::new(),
        }
    }

    /// Hears the next answer; gives the row read anew if it grew.
    pub(super) fn hear(&mut self, answer: &LiveAnswer, is_held: bool) -> Option<Value> {
        if is_held {
            // after a rest the same notes are another fragment
            self.pending.clear();
            return None;
        }
        self.notes(&answer.notes)
    }

    fn notes(&mut self, notes: &[u8]) -> Option<Value> {
        if !(1..=MOST_NOTES).contains(&notes.len()) {
            self.pending.clear();
            return None;
        }
        if self.pending != notes {
            self.pending = notes.to_vec();
            return None;
        }
        if self.row.last().is_some_and(|last| last == notes) {
            return None;
        }
        self.row.push(notes.to_vec());
        if self.row.len() > LONGEST_ROW {
            self.row.remove(0);
        }
        Some(self.read())
    }

    fn read(&self) -> Value {
        let row: Vec<Fragment> = self.row.iter().map(|n| Fragment::of(n)).collect();
        let reading = read_row(&row, self.key, 1);
        let best = reading.readings.first();
        let told: Vec<Value> = self
            .row
            .iter()
            .enumerate()
            .map(|(i, notes)| {
                let chord =
                    best.and_then(|r| r.chords.iter().find(|c| (c.first..=c.last).contains(&i)));
                json!({
                    "notes": notes.iter().map(|m| midi_name(*m)).collect::<Vec<_>>(),
                    "midi": notes,
                    "label": chord.map(|c| c.label.label()),
                    "symbol": chord.map(|c| c.label.symbol()),
                    "probability": chord.map(|c| c.probability),
                    "reason": chord.map(|c| c.reason.clone()),
                })
            })
            .collect();
        json!({
            "key": best.map(|r| r.key.text()),
            "row": told,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_grows_by_what_is_heard_twice_and_is_read_together() {
        let mut fragments = Fragments::new("A".parse().ok());
        let mut last = None;
        // D7 B7, D9 B9, D11 B10, D7 B6: two strings sliding in A major
        for notes in [[57, 66], [59, 68], [61, 69], [57, 65]] {
            assert_eq!(fragments.notes(&notes), None);
            last = fragments.notes(&notes);
            assert!(last.is_some());
            assert_eq!(fragments.notes(&notes), None, "it grew twice by one");
        }
        let row = last.expect("a row");
        let symbols: Vec<&str> = row["row"]
            .as_array()
            .expect("a row")
            .iter()
            .filter_map(|f| f["symbol"].as_str())
            .collect();
        assert_eq!(symbols, ["D", "E", "F♯m", "Dm"]);
        // a whole chord is no fragment
        assert_eq!(fragments.notes(&[40, 47, 52, 56]), None);
    }
}
