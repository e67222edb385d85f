//! What the user says of a take beforehand, and what the log says already.

use super::Args;
use crate::cli::CliError;
use crate::fretboard::{Instrument, Tuning};
use crate::hearing::{Given, WhichBar};
use crate::songlog::decided::Act;
use crate::songlog::heard::Heard;
use crate::songlog::resolve::Settings;
use crate::songlog::{Log, resolve};
use crate::theory::Key;

/// What the user said of the take beforehand; it wins over what is heard.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct DraftOptions {
    /// The tuning; none: standard.
    pub(super) tuning: Option<Tuning>,
    /// Fret of the capo; none: no capo.
    pub(super) capo: Option<u8>,
    /// The key.
    pub(super) key: Option<Key>,
    /// Beats a minute.
    pub(super) tempo_bpm: Option<f64>,
    /// Beats in a bar and note value of a beat.
    pub(super) meter: Option<(u8, u8)>,
    /// The first downbeat, s.
    pub(super) first_downbeat_s: Option<f64>,
    /// Every beat as tapped, s.
    pub(super) beats_s: Vec<f64>,
    /// Bars with their beats.
    pub(super) bar_beats: Vec<(WhichBar, u8)>,
}

impl DraftOptions {
    pub(super) fn of(settings: &Settings) -> Self {
        Self {
            tuning: settings.tuning.clone(),
            capo: settings.capo,
            key: settings.key,
            tempo_bpm: settings.tempo_bpm,
            meter: settings.meter,
            first_downbeat_s: settings.downbeat_s,
            beats_s: settings.beats_s.clone().unwrap_or_default(),
            bar_beats: settings
                .bar_beats
                .iter()
                .map(|(at_s, n)| (WhichBar::At(*at_s), *n))
                .collect(),
        }
    }

    /// The instrument that the options describe.
    pub(super) fn instrument(&self) -> Instrument {
        let usual = Instrument::default();
        Instrument {
            tuning: self.tuning.clone().unwrap_or(usual.tuning),
            capo: self.capo.unwrap_or(0),
            highest_fret: usual.highest_fret,
        }
    }

    /// What hearing is to take as given.
    pub(super) fn given(&self) -> Given {
        Given {
            instrument: self.instrument(),
            key: self.key,
            tempo_bpm: self.tempo_bpm,
            meter: self.meter,
            first_downbeat_s: self.first_downbeat_s,
            beats_s: self.beats_s.clone(),
            bar_beats: self.bar_beats.clone(),
        }
    }

    /// As `name=value`, for the log.
    pub(super) fn settings(&self) -> Vec<String> {
        let mut all = Vec::new();
        let mut add = |name: &str, value: Option<String>| {
            all.extend(value.map(|v| format!("{name}={v}")));
        };
        add("tuning", self.tuning.as_ref().map(Tuning::text));
        add("capo", self.capo.map(|c| c.to_string()));
        add("key", self.key.map(Key::label));
        add("tempo", self.tempo_bpm.map(|t| t.to_string()));
        add("meter", self.meter.map(|(b, v)| format!("{b}/{v}")));
        let first = self.first_downbeat_s.map(|s| s.to_string());
        add("first-downbeat", first);
        if let [from, .., to] = self.beats_s[..] {
            let n = self.beats_s.len();
            add("beats", Some(format!("{n} from {from} s to {to} s")));
        }
        for (which, n_beats) in &self.bar_beats {
            add(
                "bar-beats",
                Some(match which {
                    WhichBar::Number(bar) => format!("{bar}={n_beats}"),
                    WhichBar::At(at_s) => format!("{at_s} s={n_beats}"),
                }),
            );
        }
        all
    }
}

/// Settings given now that differ from those that hold.
pub(super) fn acts(args: &Args, before: Option<&Log>) -> Result<Vec<Act>, CliError> {
    let held = before.map(resolve::settings).unwrap_or_default();
    let mut acts = Vec::new();
    if args.title.is_some() && args.title != held.title {
        acts.extend(args.title.clone().map(Act::Title));
    }
    if args.tuning.is_some() && args.tuning != held.tuning {
        acts.extend(args.tuning.clone().map(Act::Tuning));
    }
    if args.capo.is_some() && args.capo != held.capo {
        acts.extend(args.capo.map(Act::Capo));
    }
    if args.key.is_some() && args.key != held.key {
        acts.extend(args.key.map(Act::Key));
    }
    if args.tempo.is_some() && args.tempo != held.tempo_bpm {
        acts.extend(args.tempo.map(Act::Tempo));
    }
    if args.meter.is_some() && args.meter != held.meter {
        acts.extend(args.meter.map(|(b, v)| Act::Meter(b, v)));
    }
    if args.first_downbeat.is_some() && args.first_downbeat != held.downbeat_s {
        acts.extend(args.first_downbeat.map(Act::Downbeat));
    }
    let taps = args.beats.as_ref().map(|t| t.0.clone());
    if taps.is_some() && taps != held.beats_s {
        acts.extend(taps.map(Act::Beats));
    }
    if let (Some(log), false) = (before, args.bar_beats.is_empty()) {
        let song = resolve(log);
        for (bar, n_beats) in &args.bar_beats {
            acts.push(crate::deciding::bar_beats(&song, *bar, *n_beats)?);
        }
    }
    Ok(acts)
}

pub(super) fn settings_of(acts: Vec<Act>) -> Settings {
    let mut settings = Settings::default();
    resolve::apply_settings(&mut settings, &acts);
    settings
}

/// The decision that a bar has so many beats, where that bar was heard.
pub(super) fn bar_beats(heard: &Heard, number: u32, n_beats: u8) -> Result<Act, CliError> {
    let bar = heard.bars.iter().find(|b| b.number == number);
    bar.map(|b| Act::BarBeats {
        at_s: b.start_s,
        n_beats,
    })
    .ok_or_else(|| match heard.bars.last() {
        Some(last) => CliError::new(format!(
            "there is no bar {number}: the take has bars to {}; nothing was written",
            last.number
        )),
        None => CliError::new(format!(
            "there is no bar {number}: no beat was heard; tap the beats with --beats. Nothing was written"
        )),
    })
}
