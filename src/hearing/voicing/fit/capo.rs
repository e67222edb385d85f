//! A capo, or another tuning, that what was played suggests where none was given: the one
//! under which the best shapes of its chords sound most like it, and are easiest.
//!
//! # Source
//! Ours: the score of the best shape of each chord is added up for every setting that is
//! tried, and held against standard tuning without a capo.

use super::{Evidence, FitWeights, Heard, Shapes};
use crate::fretboard::{HIGHEST_CAPO, Instrument, Tuning, taught};
use crate::hearing::acoustic::net::LOWEST_MIDI;
use crate::hearing::learned;
use crate::hearing::weight_files::CAPO;
use crate::theory::{Chord, Label, QUALITIES, Spelled};
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// From when on a capo or a tuning is suggested.
#[derive(Debug, serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct CapoWeights {
    /// So many chords are tried, those that sound longest.
    n_chords: usize,
    /// One that sounds this long says as much as any longer one, s.
    full_s: f64,
    /// So many notes below every guitar that is tried, in the mean of its chords, are a bass's.
    bass_below: f64,
    capo: CapoLimits,
    lowered: LoweredLimits,
    drop_d: DropLimits,
}

/// Of a capo.
#[derive(Debug, serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct CapoLimits {
    /// Least gain in score.
    score: f64,
    /// Least gain over any other fret of the capo.
    before_others: f64,
    /// Least share of the time in chords that are open behind it.
    open: f64,
}

/// Of a guitar that is tuned lower as a whole.
#[derive(Debug, serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct LoweredLimits {
    /// Least gain in score.
    score: f64,
    /// Least gain in fit alone: notes sound that no string has in standard tuning.
    fit: f64,
}

/// Of a lowest string tuned down to D.
#[derive(Debug, serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct DropLimits {
    score: f64,
    fit: f64,
    /// So much less than tuned down a whole step it may gain, being the commoner one.
    behind_whole_step: f64,
}

static WEIGHTS: LazyLock<CapoWeights> = LazyLock::new(|| learned::read(&CAPO));

/// A chord of the take, and the seconds that it sounds.
type Group<'a> = (&'a Chord, Vec<&'a Heard<'a>>, f64);

/// What a setting gains over standard tuning without a capo.
struct Tried {
    setting: Setting,
    /// In score: fit less what is against the shapes.
    score: f64,
    /// In fit.
    fit: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Setting {
    Capo(u8),
    /// Tuned lower as a whole, semitones.
    Lowered(u8),
    DropD,
}

/// Highest capo that is tried: above, few chords are played (common practice, no source).
const HIGHEST_TRIED: u8 = 7;

impl Setting {
    fn all() -> Vec<Self> {
        let capos = (1..=HIGHEST_TRIED.min(HIGHEST_CAPO)).map(Self::Capo);
        let tunings = [Self::Lowered(1), Self::Lowered(2), Self::DropD];
        capos.chain(tunings).collect()
    }

    fn instrument(self) -> Option<Instrument> {
        let usual = Instrument::default();
        let open = usual.tuning.open().iter().copied();
        let (open, capo): (Vec<u8>, u8) = match self {
            Self::Capo(fret) => (open.collect(), fret),
            Self::Lowered(by) => (open.map(|m| m - by).collect(), 0),
            Self::DropD => {
                let dropped = open
                    .enumerate()
                    .map(|(s, m)| if s == 0 { m - 2 } else { m });
                (dropped.collect(), 0)
            }
        };
        Some(Instrument {
            tuning: Tuning::new(open).ok()?,
            capo,
            ..usual
        })
    }
}

/// The capo or tuning that the chords suggest; none where standard tuning without a capo
/// explains them. Takes the chords of a take as they sound, with what was heard in each.
pub(crate) fn suggested(spans: &[Heard<'_>], weights: &FitWeights) -> Option<Instrument> {
    let groups = groups(spans);
    if groups.is_empty() {
        return None;
    }
    let plain = scores(&Instrument::default(), &groups, weights);
    let tried: Vec<Tried> = Setting::all()
        .into_par_iter()
        .filter_map(|setting| {
            let own = scores(&setting.instrument()?, &groups, weights);
            let mut gain = Tried {
                setting,
                score: 0.0,
                fit: 0.0,
            };
            for ((own, plain), group) in own.iter().zip(&plain).zip(&groups) {
                let share = (group.2 / WEIGHTS.full_s).min(1.0);
                gain.score += share * (own.0 - plain.0);
                gain.fit += share * (own.1 - plain.1);
            }
            Some(gain)
        })
        .collect();
    chosen(&tried, &groups).and_then(Setting::instrument)
}

/// The setting that gains enough, if one does.
fn chosen(tried: &[Tried], groups: &[Group<'_>]) -> Option<Setting> {
    let w = &*WEIGHTS;
    let of = |setting: Setting| tried.iter().find(|t| t.setting == setting);
    // low notes of a bass beside the guitar say nothing of its strings
    let alone = below_all(groups) < w.bass_below;
    let score = |setting: Setting| of(setting).map_or(f64::MIN, |t| t.score);
    let enough = |t: &&Tried| match t.setting {
        Setting::Capo(fret) => {
            let others = tried.iter().filter(|o| o.setting != t.setting);
            let capos = others.filter(|o| matches!(o.setting, Setting::Capo(_)));
            let next = capos.map(|o| o.score).fold(f64::MIN, f64::max);
            t.score >= w.capo.score
                && t.score >= next + w.capo.before_others
                && open_share(groups, fret) >= w.capo.open
        }
        Setting::Lowered(_) => alone && t.score >= w.lowered.score && t.fit >= w.lowered.fit,
        Setting::DropD => alone && t.score >= w.drop_d.score && t.fit >= w.drop_d.fit,
    };
    let best = tried
        .iter()
        .filter(enough)
        .max_by(|a, b| a.score.total_cmp(&b.score))?;
    let dropped = of(Setting::DropD).filter(enough);
    let whole_step = score(Setting::Lowered(2));
    match (best.setting, dropped) {
        (Setting::Lowered(2), Some(t)) if t.score >= whole_step - w.drop_d.behind_whole_step => {
            Some(t.setting)
        }
        (setting, _) => Some(setting),
    }
}

/// The lowest string of all settings that are tried, MIDI: D2.
const LOWEST_OPEN: u8 = 38;

/// How many notes sound below [`LOWEST_OPEN`], in the mean over the time of the chords.
fn below_all(groups: &[Group<'_>]) -> f64 {
    let below = usize::from(LOWEST_OPEN - LOWEST_MIDI);
    let spans = || groups.iter().flat_map(|(_, spans, _)| spans);
    let heard = |span: &&Heard<'_>| -> f64 {
        let low: f32 = span.pitches.heard[..below].iter().sum();
        f64::from(low) * span.seconds
    };
    let all: f64 = spans().map(|s| s.seconds).sum();
    spans().map(heard).sum::<f64>() / all.max(1e-9)
}

/// The chords that sound longest, each with its spans.
fn groups<'a>(spans: &'a [Heard<'a>]) -> Vec<Group<'a>> {
    let mut groups: BTreeMap<String, Group<'a>> = BTreeMap::new();
    for span in spans {
        if let Label::Chord(chord) = span.label {
            let group = groups.entry(chord.label());
            let group = group.or_insert_with(|| (chord, Vec::new(), 0.0));
            group.1.push(span);
            group.2 += span.seconds;
        }
    }
    let mut groups: Vec<Group<'a>> = groups.into_values().collect();
    groups.sort_by(|a, b| b.2.total_cmp(&a.2));
    groups.truncate(WEIGHTS.n_chords);
    groups
}

/// Score and fit of the best shape of each chord; a chord that no shape plays is as far from
/// what sounds as can be.
fn scores(instrument: &Instrument, groups: &[Group<'_>], weights: &FitWeights) -> Vec<(f64, f64)> {
    const NO_SHAPE: (f64, f64) = (-99.0, -99.0);
    let best = |(chord, spans, _): &Group<'_>| {
        let shapes = Shapes::of(instrument, chord, weights);
        let best = shapes.best(&Evidence::of(spans, weights));
        best.first().map_or(NO_SHAPE, |s| (s.score, s.fit))
    };
    groups.iter().map(best).collect()
}

/// Share of the time in chords whose usual shape has open strings behind a capo.
fn open_share(groups: &[Group<'_>], capo: u8) -> f64 {
    let guitar = Instrument::default();
    let is_open = |chord: &Chord| {
        let root = Spelled::plain(chord.root.pitch_class().up(-i32::from(capo)));
        let minor = chord
            .degrees()
            .iter()
            .any(|d| (d.number(), d.alter()) == (3, -1));
        let triad = &QUALITIES[usize::from(minor)];
        [chord.quality, triad].iter().any(|quality| {
            let shapes = taught(&guitar, &Chord::new(root, quality));
            shapes.iter().any(|shape| shape.frets().contains(&Some(0)))
        })
    };
    let all: f64 = groups.iter().map(|g| g.2).sum();
    let open = groups
        .iter()
        .filter(|g| is_open(g.0))
        .map(|g| g.2)
        .sum::<f64>();
    open / all.max(1e-9)
}
