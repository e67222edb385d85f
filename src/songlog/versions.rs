//! Versions of a song's chart for students: a name, and how the chart is written.
//!
//! A version holds settings only, so that it follows the song when the song changes. No
//! setting can contradict another: what excludes something else is one choice.

use super::act::Act;
use super::format::Fault;
use super::text;
use super::validate::{Field, ensure, time};
use crate::fretboard::{HIGHEST_CAPO, Tuning};
use crate::theory::Key;
use serde::{Deserialize, Serialize};
use std::fmt::Display;

/// A version of a chart.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ChartVersion {
    /// Its name; no other version of the song has it, in capitals or not.
    pub name: String,
    /// Whom it is for.
    pub student: Option<String>,
    /// How the chart is written.
    pub settings: ChartSettings,
}

/// Where degrees of the key stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum DegreesAt {
    /// In place of the chord symbols.
    Instead,
    /// Under them.
    Under,
}

/// How large the print is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum PrintSize {
    /// A quarter larger.
    Large,
    /// A fifth smaller.
    Compact,
}

/// How repeats are written, where not with repeat signs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Repeats {
    /// All of them written out.
    WrittenOut,
    /// Each section once, with the order.
    Short,
}

/// Paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "snake_case")]
pub enum Paper {
    /// 210 by 297 mm (ISO 216).
    A4,
    /// 8.5 by 11 inches.
    Letter,
    /// 148 by 210 mm (ISO 216).
    A5,
}

/// How a chart is written; what is left out is as usual.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(default, deny_unknown_fields)]
pub struct ChartSettings {
    /// Paper; A4 if left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub paper: Option<Paper>,
    /// The song moved to this key (same mode).
    #[serde(skip_serializing_if = "Option::is_none", with = "text::optional")]
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub key: Option<Key>,
    /// Frets counted from a capo at this fret.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub capo: Option<u8>,
    /// Shapes found anew for this tuning.
    #[serde(skip_serializing_if = "Option::is_none", with = "text::optional")]
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub tuning: Option<Tuning>,
    /// Degrees of the key.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub degrees: Option<DegreesAt>,
    /// Large or small print.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub print: Option<PrintSize>,
    /// Other than repeat signs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub repeats: Option<Repeats>,
    /// Chords simplified until open shapes play them.
    #[serde(skip_serializing_if = "is_off")]
    pub easy: bool,
    /// Chord boxes mirrored.
    #[serde(skip_serializing_if = "is_off")]
    pub left_handed: bool,
    /// The paper's long side across.
    #[serde(skip_serializing_if = "is_off")]
    pub landscape: bool,
    /// A second shape where a chord has one.
    #[serde(skip_serializing_if = "is_off")]
    pub alternatives: bool,
    /// With a capo, chord names in concert pitch.
    #[serde(skip_serializing_if = "is_off")]
    pub concert: bool,
    /// Outlines instead of black discs and bars.
    #[serde(skip_serializing_if = "is_off")]
    pub save_ink: bool,
    /// One tempo throughout in MIDI.
    #[serde(skip_serializing_if = "is_off")]
    pub steady: bool,
    /// Added to every time in captions, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub offset_s: Option<f64>,
}

/// Whether a setting is left out where it is written.
fn is_off(is_on: &bool) -> bool {
    !is_on
}

impl ChartSettings {
    /// Whether every value makes sense; `place` is where they stand.
    pub(super) fn check(&self, place: &dyn Display) -> Result<(), Fault> {
        let capo = self.capo.unwrap_or(0);
        ensure(capo <= HIGHEST_CAPO, Field(place, "capo"), || {
            format!("a capo at fret {capo} (0 to {HIGHEST_CAPO})")
        })?;
        time(self.offset_s.unwrap_or(0.0).abs(), Field(place, "offset_s"))
    }

    /// In words: "capo at fret 2, easy chords, large print".
    pub fn words(&self) -> String {
        let mut all: Vec<String> = Vec::new();
        all.extend(self.key.map(|key| format!("in {}", key.text())));
        all.extend(self.capo.map(|fret| match fret {
            0 => "no capo".into(),
            fret => format!("capo at fret {fret}"),
        }));
        let tuning = self.tuning.as_ref();
        all.extend(tuning.map(|tuning| format!("tuning {}", tuning.text())));
        let chosen = [
            (self.easy, "easy chords"),
            (self.alternatives, "a second shape where there is one"),
            (self.concert, "concert pitch"),
            (
                self.degrees == Some(DegreesAt::Instead),
                "degrees instead of symbols",
            ),
            (
                self.degrees == Some(DegreesAt::Under),
                "degrees under the symbols",
            ),
            (self.left_handed, "left-handed boxes"),
            (
                self.repeats == Some(Repeats::WrittenOut),
                "repeats written out",
            ),
            (
                self.repeats == Some(Repeats::Short),
                "each section once, with the order",
            ),
            (self.print == Some(PrintSize::Large), "large print"),
            (self.print == Some(PrintSize::Compact), "small print"),
            (self.paper == Some(Paper::A4), "A4"),
            (self.paper == Some(Paper::Letter), "letter paper"),
            (self.paper == Some(Paper::A5), "A5"),
            (self.landscape, "long side across"),
            (self.save_ink, "little ink"),
            (self.steady, "MIDI in one tempo"),
        ];
        let chosen = chosen.into_iter().filter(|(is_chosen, _)| *is_chosen);
        all.extend(chosen.map(|(_, words)| words.to_owned()));
        all.extend(self.offset_s.map(|s| format!("captions later by {s} s")));
        match all.is_empty() {
            true => "as the song is".into(),
            false => all.join(", "),
        }
    }
}

impl ChartVersion {
    /// `'Beginner' for Robin`
    pub fn named(&self) -> String {
        named(&self.name, self.student.as_deref())
    }
}

/// A version's name, and whom it is for.
pub(super) fn named(name: &str, student: Option<&str>) -> String {
    match student {
        Some(student) => format!("'{name}' for {student}"),
        None => format!("'{name}'"),
    }
}

/// Whether two names are one, in capitals or not.
pub fn is_same_name(one: &str, other: &str) -> bool {
    one.trim().to_lowercase() == other.trim().to_lowercase()
}

/// Saves or removes a version, as an act says.
pub(super) fn apply(versions: &mut Vec<ChartVersion>, act: &Act) {
    match act {
        Act::ChartVersion {
            name,
            student,
            settings,
        } => {
            let version = ChartVersion {
                name: name.clone(),
                student: student.clone(),
                settings: settings.clone(),
            };
            match versions.iter_mut().find(|v| is_same_name(&v.name, name)) {
                Some(before) => *before = version,
                None => versions.push(version),
            }
        }
        Act::ChartVersionRemoved { name } => versions.retain(|v| !is_same_name(&v.name, name)),
        _ => {}
    }
}

/// The versions of a name, or else those for a student of this name.
pub fn versions_for<'a>(versions: &'a [ChartVersion], wanted: &str) -> Vec<&'a ChartVersion> {
    let by_name = |v: &&ChartVersion| is_same_name(&v.name, wanted);
    let by_student = |v: &&ChartVersion| {
        let student = v.student.as_deref();
        student.is_some_and(|s| is_same_name(s, wanted))
    };
    let named: Vec<&ChartVersion> = versions.iter().filter(by_name).collect();
    match named.is_empty() {
        true => versions.iter().filter(by_student).collect(),
        false => named,
    }
}

/// The one version of a name, or for a student of this name.
///
/// # Errors
/// In words, if there is none or more than one, with those that there are.
pub fn version_for<'a>(
    versions: &'a [ChartVersion],
    wanted: &str,
) -> Result<&'a ChartVersion, String> {
    let listed = |all: &[&ChartVersion]| {
        let names: Vec<String> = all.iter().map(|v| v.named()).collect();
        names.join(", ")
    };
    match versions_for(versions, wanted)[..] {
        [version] => Ok(version),
        [] if versions.is_empty() => Err(format!(
            "there is no version '{wanted}': the song has none (save one with --save-version)"
        )),
        [] => Err(format!(
            "there is no version '{wanted}' and none for a student of that name; there is {}",
            listed(&versions.iter().collect::<Vec<_>>())
        )),
        ref several => Err(format!(
            "'{wanted}' has several versions, name one: {}",
            listed(several)
        )),
    }
}
