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
            tags: Default::default(),
        }
    }
}

impl Imported {
    /// The log of the file: its chords as proposals under what was decided before,
    /// its title and names decided unless some were before, and so the chords of a typed chart.
    ///
    /// Takes the file's record and the time of the draft (UTC, RFC 3339).
    pub fn into_log(self, take: Take, drafted: String, decided: Vec<Decision>) -> Log {
        let said = || decided.iter().flat_map(|d| &d.acts);
        let titled = said().any(|a| matches!(a, Act::Title { .. }));
        let named = said().any(|a| matches!(a, Act::SectionName { .. }));
        let chords = said().any(|a| matches!(a, Act::Chord { .. } | Act::Shape { .. }));
        let sung = said().any(|a| matches!(a, Act::Lyric { .. }));
        let credited = said().any(|a| matches!(a, Act::Credit { .. }));
        let new: Vec<Act> = self
            .acts
            .into_iter()
            .filter(|act| match act {
                Act::Title { .. } => !titled,
                Act::Credit { .. } => !credited,
                Act::Lyric { .. } => !sung,
                Act::Chord { .. } | Act::Shape { .. } => !chords,
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
