//! What the user decided: an append-only list.
//!
//! One decision is one thing the user did, at one time; it may have several
//! acts. Acts are anchored in seconds of the take, not in bars, since a new
//! draft may count bars otherwise. Undoing is one more decision.

pub use super::act::*;

/// One decision of the user.
#[derive(Debug, Clone, PartialEq)]
pub struct Decision {
    /// From 1, ascending in the list.
    pub id: u32,
    /// When, UTC, RFC 3339.
    pub at: String,
    /// What was decided, in order.
    pub acts: Vec<Act>,
}

impl Decision {
    /// Ids this decision undoes.
    pub fn takes_back(&self) -> impl Iterator<Item = u32> {
        self.acts
            .iter()
            .filter_map(|act| match act {
                Act::Undo { of } => Some(of.iter().copied()),
                _ => None,
            })
            .flatten()
    }

    /// In words, for a history.
    pub fn text(&self) -> String {
        let acts: Vec<String> = self.acts.iter().map(|act| act.words(&Clock)).collect();
        acts.join("; ")
    }
}

/// Which decisions hold: those that no later decision that holds undoes.
///
/// Gives one value for each decision, in order.
pub fn holding(decisions: &[Decision]) -> Vec<bool> {
    let mut holds = vec![true; decisions.len()];
    for i in (0..decisions.len()).rev() {
        if !holds[i] {
            continue;
        }
        for id in decisions[i].takes_back() {
            if let Some(j) = with_id(&decisions[..i], id) {
                holds[j] = false;
            }
        }
    }
    holds
}

/// Where the decision of an id stands in the list.
pub fn with_id(decisions: &[Decision], id: u32) -> Option<usize> {
    decisions.binary_search_by_key(&id, |d| d.id).ok()
}

/// `1:05.3`, or `65.25 s` where a machine-like number helps nobody: minutes and seconds.
pub fn clock(time_s: f64) -> String {
    let tenths = (time_s.max(0.0) * 10.0).round() as u64;
    format!("{}:{:02}.{}", tenths / 600, tenths / 10 % 60, tenths % 10)
}
