//! What the user gives beforehand, beside what the log already has.

use super::DraftError;
use super::analyse::held;
use crate::deciding::{BarBeats, DecisionRequest, acts_for_song};
use crate::fretboard::{Instrument, Tuning};
use crate::hearing::{Given, WhichBar};
use crate::songlog::decided::Act;
use crate::songlog::heard::Heard;
use crate::songlog::resolve::{self, Settings};
use crate::songlog::{Log, resolve as resolved};
use crate::theory::Key;

/// What hearing takes as given; it wins over what is heard.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct DraftOptions {
    settings: Settings,
    bar_beats: Vec<(WhichBar, u8)>,
}

impl DraftOptions {
    pub(super) fn of(settings: &Settings) -> Self {
        let bars = settings.bar_beats.iter();
        Self {
            settings: settings.clone(),
            bar_beats: bars.map(|(at_s, n)| (WhichBar::At(*at_s), *n)).collect(),
        }
    }

    /// Bars are meant by their numbers, since none was heard yet.
    pub(super) fn by_number(&mut self, bars: &[BarBeats]) {
        let named = bars.iter().map(|b| (WhichBar::Number(b.bar), b.n_beats));
        self.bar_beats = named.collect();
    }

    /// The instrument that the options describe.
    pub(super) fn instrument(&self) -> Instrument {
        self.settings.instrument().unwrap_or_default()
    }

    /// As hearing takes it.
    pub(super) fn given(&self) -> Given {
        Given {
            instrument: self.instrument(),
            is_set_up: self.settings.instrument().is_some(),
            key: self.settings.key,
            tempo_bpm: self.settings.tempo_bpm,
            meter: self.settings.meter,
            first_downbeat_s: self.settings.downbeat_s,
            beats_s: self.settings.beats_s.clone().unwrap_or_default(),
            bar_beats: self.bar_beats.clone(),
        }
    }

    /// As `name=value`, for the log.
    pub(super) fn settings(&self) -> Vec<String> {
        let mut all = Vec::new();
        let mut add = |name: &str, value: Option<String>| {
            all.extend(value.map(|v| format!("{name}={v}")));
        };
        let of = &self.settings;
        add("tuning", of.tuning.as_ref().map(Tuning::text));
        add("capo", of.capo.map(|c| c.to_string()));
        add("key", of.key.map(Key::label));
        add("tempo", of.tempo_bpm.map(|t| t.to_string()));
        add("meter", of.meter.map(|(b, v)| format!("{b}/{v}")));
        add("first-downbeat", of.downbeat_s.map(|s| s.to_string()));
        if let Some([from, .., to]) = of.beats_s.as_deref() {
            let n = of.beats_s.as_ref().map_or(0, Vec::len);
            add("beats", Some(format!("{n} from {from} s to {to} s")));
        }
        for (which, n_beats) in &self.bar_beats {
            let bar = match which {
                WhichBar::Number(bar) => format!("{bar}={n_beats}"),
                WhichBar::At(at_s) => format!("{at_s} s={n_beats}"),
            };
            add("bar-beats", Some(bar));
        }
        all
    }
}

/// The acts of settings that differ from those that hold.
///
/// Without a log, bars with other beats are left out: they are not known yet.
pub(super) fn new_acts(
    settings: &DecisionRequest,
    before: Option<&Log>,
) -> Result<Vec<Act>, DraftError> {
    let song = before.map(resolved);
    let mut now = held(before);
    let mut acts = acts_for_song(settings, song.as_ref())?;
    acts.retain(|act| {
        let was = now.clone();
        resolve::apply_settings(&mut now, [act]);
        now != was
    });
    Ok(acts)
}

/// The settings that hold in a log once these acts are decided.
pub(super) fn settings_with(before: Option<&Log>, acts: &[Act]) -> Settings {
    let mut settings = held(before);
    resolve::apply_settings(&mut settings, acts);
    settings
}

/// The acts of bars with other beats, for the bars that were heard.
pub(super) fn bars_by_number(heard: &Heard, bars: &[BarBeats]) -> Result<Vec<Act>, DraftError> {
    let find = |wanted: &BarBeats| {
        let bar = heard.bars.iter().find(|b| b.number == wanted.bar);
        bar.map(|b| Act::BarBeats {
            at_s: b.start_s,
            n_beats: wanted.n_beats,
        })
        .ok_or_else(|| DraftError::Asked {
            text: match heard.bars.last() {
                Some(last) => format!(
                    "there is no bar {}: the take has bars to {}; nothing was written",
                    wanted.bar, last.number
                ),
                None => format!(
                    "there is no bar {}: no beat was detected; tap the beats with --beats. Nothing was written",
                    wanted.bar
                ),
            },
        })
    };
    bars.iter().map(find).collect()
}
