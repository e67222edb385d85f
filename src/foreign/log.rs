//! An imported file as a log.

use super::{Imported, Kind};
use crate::songlog::decided::{Act, Decision};
use crate::songlog::{Log, Take};

impl Kind {
    /// What the log says of a file of so many bytes; it has no sound.
    pub fn record(self, file: String, bytes: u64) -> Take {
        Take {
            file,
            kind: self.words().into(),
            rate_hz: 0,
            channels: 0,
            bytes,
            fingerprint: None,
        }
    }
}

impl Imported {
    /// The log of the file: its chords as proposals under what was decided before,
    /// its title and names decided unless some were before.
    ///
    /// Takes the file's record and the time of the draft (UTC, RFC 3339).
    pub fn into_log(self, take: Take, drafted: String, decided: Vec<Decision>) -> Log {
        let said = || decided.iter().flat_map(|d| &d.acts);
        let titled = said().any(|a| matches!(a, Act::Title { .. }));
        let named = said().any(|a| matches!(a, Act::SectionName { .. }));
        let new: Vec<Act> = self
            .acts
            .into_iter()
            .filter(|act| match act {
                Act::Title { .. } => !titled,
                _ => !named,
            })
            .collect();
        let mut log = Log {
            take,
            drafted: drafted.clone(),
            heard: self.heard,
            decided,
        };
        if !new.is_empty() {
            log.decide(drafted, new);
        }
        log
    }
}
