//! What can be set for the whole take, and be taken back so that it is heard.

use super::resolve::Settings;
use crate::fretboard::Instrument;
use serde::{Deserialize, Serialize};

/// What can be set for the whole take and be heard instead.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Setting {
    /// The key, also where it changes.
    Key,
    /// The meter.
    Meter,
    /// The tempo.
    Tempo,
    /// The first downbeat.
    FirstDownbeat,
    /// Tapped beats.
    Beats,
    /// Bars with other beats than the rest.
    BarBeats,
    /// The capo.
    Capo,
    /// The tuning.
    Tuning,
}

impl Setting {
    /// In words: "first beat".
    pub const fn words(self) -> &'static str {
        match self {
            Self::Key => "key",
            Self::Meter => "meter",
            Self::Tempo => "tempo",
            Self::FirstDownbeat => "first beat",
            Self::Beats => "beats",
            Self::BarBeats => "beats of single bars",
            Self::Capo => "capo",
            Self::Tuning => "tuning",
        }
    }

    /// As it is written in JSON.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Key => "key",
            Self::Meter => "meter",
            Self::Tempo => "tempo",
            Self::FirstDownbeat => "first_downbeat",
            Self::Beats => "beats",
            Self::BarBeats => "bar_beats",
            Self::Capo => "capo",
            Self::Tuning => "tuning",
        }
    }
}

impl Settings {
    /// As if it had never been set.
    pub(super) fn clear(&mut self, setting: Setting) {
        match setting {
            Setting::Key => {
                self.key = None;
                self.keys_from.clear();
            }
            Setting::Meter => self.meter = None,
            Setting::Tempo => self.tempo_bpm = None,
            Setting::FirstDownbeat => self.downbeat_s = None,
            Setting::Beats => self.beats_s = None,
            Setting::BarBeats => self.bar_beats.clear(),
            Setting::Capo => self.capo = None,
            Setting::Tuning => self.tuning = None,
        }
    }

    /// The instrument that tuning and capo describe; none where neither is set.
    pub fn instrument(&self) -> Option<Instrument> {
        let usual = Instrument::default();
        (self.tuning.is_some() || self.capo.is_some()).then(|| Instrument {
            tuning: self.tuning.clone().unwrap_or(usual.tuning),
            capo: self.capo.unwrap_or(usual.capo),
            highest_fret: usual.highest_fret,
        })
    }

    /// What is set, in the order in which [`Setting`] has it.
    pub fn given(&self) -> Vec<Setting> {
        let all = [
            (
                Setting::Key,
                self.key.is_some() || !self.keys_from.is_empty(),
            ),
            (Setting::Meter, self.meter.is_some()),
            (Setting::Tempo, self.tempo_bpm.is_some()),
            (Setting::FirstDownbeat, self.downbeat_s.is_some()),
            (Setting::Beats, self.beats_s.is_some()),
            (Setting::BarBeats, !self.bar_beats.is_empty()),
            (Setting::Capo, self.capo.is_some()),
            (Setting::Tuning, self.tuning.is_some()),
        ];
        let set = all.into_iter().filter(|(_, is_set)| *is_set);
        set.map(|(setting, _)| setting).collect()
    }
}
