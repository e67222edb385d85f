//! What a person asks to have decided: one type for the command line and the page.
//!
//! [`DecisionRequest`] is read from the arguments of `takebook confirm` and from
//! the JSON of `POST /api/decide` alike, so that whatever one can do, the other
//! can. A field's name in JSON is its option with `_` for `-` (plus a unit where
//! the value is a bare number). Everything that a field needs to be asked for
//! stands in this file: its option and help, its JSON, what it excludes
//! ([`DecisionRequest::check`]) and the acts it becomes. Acts themselves are in
//! `songlog::decided`.
//!
//! To add a field: the field, its row in [`DecisionRequest::fields`], and its
//! act in [`DecisionRequest::for_song`] or [`DecisionRequest::for_section`]
//! (or, for chords, in `requested`).
//!
//! # Example
//! ```
//! use takebook::deciding::DecisionRequest;
//! let asked: DecisionRequest = serde_json::from_str(
//!     r#"{"places": ["12", {"start_s": 31.5, "end_s": 33.0}], "chord": "Am7", "repeats": true}"#,
//! ).unwrap();
//! assert!(asked.check().is_ok());
//! let odd: DecisionRequest = serde_json::from_str(r#"{"chord": "Am7", "accept": true}"#).unwrap();
//! assert!(odd.check().is_err());
//! ```

use super::DecideError;
use super::lessons::LessonNoteRequest;
use super::place::{Moment, Where};
use super::taps::{BarBeats, Taps};
use super::versions::VersionRequest;
use crate::fretboard::{Shape, Tuning, check_capo, read_capo};
use crate::songlog::decided::{Act, Feel, Setting};
use crate::songlog::read_meter;
use crate::songlog::text;
use crate::theory::{Key, Label};
use crate::units::TEMPOS_BPM;

/// What is wanted, at some places or for the whole song; what is left out stays as it is.
///
/// Times in seconds from the take's start. In JSON every field may be left out,
/// and an unknown one is refused.
#[derive(Debug, Clone, PartialEq, Default, serde::Deserialize, clap::Args)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(default, deny_unknown_fields)]
pub struct DecisionRequest {
    /// Where: left out only for what concerns the whole song.
    #[arg(value_name = "WHERE")]
    pub places: Vec<Where>,

    /// Accepts the first candidate of each unconfirmed chord there.
    #[arg(long, alias = "take-first")]
    pub accept: bool,
    /// With --accept: only where the candidate is at least this probable.
    #[arg(long, value_name = "PERCENT", value_parser = clap::value_parser!(u8).range(0..=100))]
    pub at_least: Option<u8>,
    /// Accepts the candidate with this number, from 1 (see show --bar).
    #[arg(long, value_name = "N")]
    pub candidate: Option<usize>,
    /// Your own chord: Am7, D/F#, C#m7b5, N for no chord, X for one without a name.
    #[arg(long)]
    #[serde(deserialize_with = "text::optional::deserialize")]
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub chord: Option<Label>,
    /// Takes back what was decided about the chords there: they are as proposed again.
    #[arg(long)]
    pub unconfirm: bool,
    /// How it is played, low string to high: x02010, x-10-12-12-11-10.
    #[arg(long)]
    #[serde(deserialize_with = "text::optional::deserialize")]
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub shape: Option<Shape>,
    /// With --shape: a second shape to choose from.
    #[arg(long, value_name = "SHAPE", alias = "or-shape")]
    #[serde(deserialize_with = "text::optional::deserialize")]
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub alt_shape: Option<Shape>,
    /// A note for the place, or for the whole song if no place is given.
    #[arg(long, value_name = "TEXT")]
    pub note: Option<String>,
    /// The words sung from WHERE on: "Oh the | lantern" gives each bar its part; a .txt file
    /// gives a line to each bar; "" removes them.
    #[arg(long, value_name = "TEXT|FILE", value_parser = read_lyric)]
    pub lyric: Option<String>,
    /// The same in every repeat of the section that holds the same music there.
    #[arg(long)]
    pub repeats: bool,

    /// Moves the chord change nearest to WHERE to this moment.
    #[arg(help_heading = "Where chords change", long = "move", value_name = "TO")]
    pub move_to: Option<Moment>,
    /// The chord changes at WHERE.
    #[arg(help_heading = "Where chords change", long)]
    pub split: bool,
    /// WHERE is one chord.
    #[arg(help_heading = "Where chords change", long)]
    pub join: bool,

    /// Names the sections there, each as a whole: "Verse"; an empty name removes it.
    #[arg(help_heading = "Sections", long, value_name = "NAME", alias = "name")]
    pub section_name: Option<String>,
    /// Letter of the sections there, each as a whole: the same letter for the same music.
    #[arg(
        help_heading = "Sections",
        long,
        value_name = "LETTER",
        alias = "letter"
    )]
    pub section_letter: Option<String>,
    /// Feel of the sections there, each as a whole; printed on the chart.
    #[arg(help_heading = "Sections", long, value_enum)]
    pub feel: Option<Feel>,
    /// A section starts at WHERE.
    #[arg(help_heading = "Sections", long, alias = "section-starts")]
    pub new_section: bool,
    /// No section starts at WHERE; the one before continues.
    #[arg(help_heading = "Sections", long, alias = "section-joins")]
    pub merge_section: bool,

    /// Title of the song.
    #[arg(help_heading = "The whole song", long)]
    pub title: Option<String>,
    /// Who made it, printed under the title: "words and music: …"; "" removes it.
    #[arg(help_heading = "The whole song", long, value_name = "TEXT")]
    pub credit: Option<String>,
    /// Key: G, Am, F# minor; with WHERE from there on, up to the next change.
    #[arg(help_heading = "The whole song", long)]
    #[serde(deserialize_with = "text::optional::deserialize")]
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub key: Option<Key>,
    /// Meter: 4/4, 3/4, 6/8.
    #[arg(help_heading = "The whole song", long, value_parser = read_meter)]
    #[serde(deserialize_with = "text::meter::optional")]
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub meter: Option<(u8, u8)>,
    /// Tempo in bpm, 10 to 600.
    #[arg(help_heading = "The whole song", long = "tempo", value_name = "BPM", value_parser = read_tempo)]
    pub tempo_bpm: Option<f64>,
    /// The first downbeat: a beat 1.2 or a time 0.5s.
    #[arg(help_heading = "The whole song", long, value_name = "AT")]
    pub first_downbeat: Option<Moment>,
    /// Every beat as you tapped it: a file with a time on each line, or 0.5,1.02,1.55,…
    #[arg(
        help_heading = "The whole song",
        long = "beats",
        value_name = "FILE|TIMES"
    )]
    pub beats_s: Option<Taps>,
    /// A bar with more or fewer beats than the others: 9=2 gives bar 9 two beats.
    #[arg(help_heading = "The whole song", long, value_name = "BAR=N")]
    pub bar_beats: Vec<BarBeats>,
    /// Fret of the capo, 0 for none.
    #[arg(help_heading = "The whole song", long, value_name = "FRET", value_parser = read_capo)]
    pub capo: Option<u8>,
    /// Tuning: a name (standard, drop D, open G, half a step down), letters or notes low to high.
    #[arg(help_heading = "The whole song", long)]
    #[serde(deserialize_with = "text::optional::deserialize")]
    #[cfg_attr(test, schemars(with = "Option<String>"))]
    pub tuning: Option<Tuning>,
    /// Takes back what was set for the whole song, so that it is heard: tempo, beats, meter, ….
    #[arg(help_heading = "The whole song", long, value_enum, value_name = "WHAT")]
    pub as_heard: Vec<Setting>,

    /// A version of the chart to be saved; its options are those of takebook chart.
    #[arg(skip)]
    pub chart_version: Option<VersionRequest>,
    /// Removes a version of the chart (chart --save-version saves one).
    #[arg(help_heading = "The whole song", long, value_name = "NAME")]
    pub remove_version: Option<String>,
    /// A note of a lesson to be written or changed (takebook lesson).
    #[arg(skip)]
    pub lesson_note: Option<LessonNoteRequest>,
    /// Removes a note of a lesson, by its number (takebook lesson --remove).
    #[arg(skip)]
    pub remove_lesson_note: Option<u32>,
}

/// What a field is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Scope {
    /// The places; it needs one.
    Place,
    /// The whole song; places mean nothing to it.
    Song,
    /// The places, or the whole song without one.
    Either,
    /// Another field.
    Other,
}

/// Of each of these only one at a time makes sense.
const EXCLUSIVE: [&[&str]; 5] = [
    &["accept", "candidate", "chord", "unconfirm"],
    &["shape", "unconfirm"],
    &["move", "split", "join", "accept"],
    &["move", "split", "join", "candidate"],
    &["new-section", "merge-section"],
];

/// The first makes sense only beside the second.
const NEEDED: [(&str, &str); 2] = [("at-least", "accept"), ("alt-shape", "shape")];

impl DecisionRequest {
    /// Every field but the places: its name as an option, its scope, whether it is given.
    fn fields(&self) -> [(&'static str, Scope, bool); 33] {
        use Scope::{Either, Other, Place, Song};
        [
            ("accept", Place, self.accept),
            ("at-least", Other, self.at_least.is_some()),
            ("candidate", Place, self.candidate.is_some()),
            ("chord", Place, self.chord.is_some()),
            ("unconfirm", Place, self.unconfirm),
            ("shape", Place, self.shape.is_some()),
            ("alt-shape", Other, self.alt_shape.is_some()),
            ("note", Either, self.note.is_some()),
            ("lyric", Place, self.lyric.is_some()),
            ("repeats", Other, self.repeats),
            ("move", Place, self.move_to.is_some()),
            ("split", Place, self.split),
            ("join", Place, self.join),
            ("section-name", Place, self.section_name.is_some()),
            ("section-letter", Place, self.section_letter.is_some()),
            ("feel", Place, self.feel.is_some()),
            ("new-section", Place, self.new_section),
            ("merge-section", Place, self.merge_section),
            ("title", Song, self.title.is_some()),
            ("credit", Song, self.credit.is_some()),
            ("key", Either, self.key.is_some()),
            ("meter", Song, self.meter.is_some()),
            ("tempo", Song, self.tempo_bpm.is_some()),
            ("first-downbeat", Song, self.first_downbeat.is_some()),
            ("beats", Song, self.beats_s.is_some()),
            ("bar-beats", Song, !self.bar_beats.is_empty()),
            ("capo", Song, self.capo.is_some()),
            ("tuning", Song, self.tuning.is_some()),
            ("as-heard", Song, !self.as_heard.is_empty()),
            ("chart-version", Song, self.chart_version.is_some()),
            ("remove-version", Song, self.remove_version.is_some()),
            ("lesson-note", Song, self.lesson_note.is_some()),
            (
                "remove-lesson-note",
                Song,
                self.remove_lesson_note.is_some(),
            ),
        ]
    }

    /// Whether the request makes sense by itself, whatever the song.
    ///
    /// # Errors
    /// * [`DecideError::Asked`] if fields exclude each other, one lacks its partner,
    ///   a place is missing or means nothing, nothing is asked, or a value is out of range.
    pub fn check(&self) -> Result<(), DecideError> {
        let given: Vec<(&str, Scope)> = self
            .fields()
            .into_iter()
            .filter(|(_, _, is_given)| *is_given)
            .map(|(name, scope, _)| (name, scope))
            .collect();
        let has = |name: &str| given.iter().any(|(n, _)| *n == name);
        let any = |scope: Scope| given.iter().find(|(_, s)| *s == scope).map(|(n, _)| *n);
        for group in EXCLUSIVE {
            let both: Vec<&str> = group.iter().copied().filter(|n| has(n)).collect();
            if let [one, other, ..] = both[..] {
                return Err(DecideError::asked(format!(
                    "{one} and {other} exclude each other; ask for one at a time"
                )));
            }
        }
        if let Some((one, needed)) = NEEDED.iter().find(|(a, b)| has(a) && !has(b)) {
            return Err(DecideError::asked(format!(
                "{one} needs {needed} beside it"
            )));
        }
        let local = any(Scope::Place).or(any(Scope::Either));
        match (self.places.is_empty(), any(Scope::Place), any(Scope::Song)) {
            (true, Some(what), _) => {
                return Err(DecideError::asked(format!(
                    "say where for {what}: a bar 12, a beat 12.3, bars 5-8, a section A, or all"
                )));
            }
            (false, None, Some(what)) if local.is_none() => {
                return Err(DecideError::asked(format!(
                    "{what} is for the whole song; leave out the place"
                )));
            }
            (false, None, None) if local.is_none() => {
                return Err(DecideError::asked(
                    "say what to decide there: accept, candidate, chord, unconfirm, shape, note, split, join, move, section-name or another (see takebook confirm --help)",
                ));
            }
            (true, None, None) if local.is_none() => {
                return Err(DecideError::asked(
                    "nothing to decide was asked; for example: takebook confirm LOG 12 --accept (see --help)",
                ));
            }
            _ => {}
        }
        self.check_values()
    }

    /// What JSON does not check as it is read; options were.
    pub(super) fn check_values(&self) -> Result<(), DecideError> {
        if let Some(bpm) = self.tempo_bpm {
            tempo(bpm).map_err(|e| DecideError::asked(format!("tempo: {e}")))?;
        }
        if let Some(bpm) = self.lesson_note.as_ref().and_then(|n| n.tempo_bpm) {
            tempo(bpm).map_err(|e| DecideError::asked(format!("tempo reached: {e}")))?;
        }
        if let Some(fret) = self.capo {
            check_capo(fret)?;
        }
        if self.at_least.is_some_and(|percent| percent > 100) {
            return Err(DecideError::asked("at-least is a percentage, 0 to 100"));
        }
        if matches!(&self.section_letter, Some(letter) if letter.trim().is_empty()) {
            return Err(DecideError::asked(
                "a section's letter cannot be empty (give for example B; an empty section-name removes a name)",
            ));
        }
        Ok(())
    }

    /// The acts about the whole song that need nothing of it.
    pub(super) fn for_song(&self) -> Vec<Act> {
        let trimmed = |t: &String| t.trim().to_owned();
        // first, so that a tempo may replace beats that were tapped
        let mut acts: Vec<Act> = self
            .as_heard
            .iter()
            .map(|s| Act::AsHeard { setting: *s })
            .collect();
        acts.extend(self.title.as_ref().map(|t| Act::Title { text: trimmed(t) }));
        acts.extend(
            self.credit
                .as_ref()
                .map(|t| Act::Credit { text: trimmed(t) }),
        );
        if self.places.is_empty() {
            acts.extend(self.key.map(|key| Act::Key { key }));
        }
        acts.extend(self.meter.map(|meter| Act::Meter { meter }));
        acts.extend(self.tempo_bpm.map(|bpm| Act::Tempo { bpm }));
        if let Some(taps) = &self.beats_s {
            acts.push(Act::Beats {
                times_s: taps.0.clone(),
            });
        }
        acts.extend(self.capo.map(|fret| Act::Capo { fret }));
        acts.extend(self.tuning.clone().map(|tuning| Act::Tuning { tuning }));
        acts
    }

    /// The acts about one section, from its first downbeat to its end, s.
    pub(super) fn for_section(&self, start_s: f64, end_s: f64) -> Vec<Act> {
        let trimmed = |t: &String| t.trim().to_owned();
        let mut acts = Vec::new();
        acts.extend(self.section_letter.as_ref().map(|l| Act::SectionLetter {
            start_s,
            end_s,
            letter: trimmed(l),
        }));
        acts.extend(self.section_name.as_ref().map(|n| Act::SectionName {
            start_s,
            end_s,
            name: trimmed(n),
        }));
        acts.extend(self.feel.map(|feel| Act::SectionFeel {
            start_s,
            end_s,
            feel,
        }));
        acts
    }

    /// Whether something is asked that settles a chord, its shape or a note there.
    pub(super) fn is_about_chords(&self) -> bool {
        self.candidate.is_some()
            || self.chord.is_some()
            || self.shape.is_some()
            || self.note.is_some()
    }
}

/// Words as typed; of a file that ends in `.txt` each line, with bars between them.
///
/// # Errors
/// In words, if there is such a file but it cannot be read as text.
fn read_lyric(text: &str) -> Result<String, String> {
    let path = std::path::Path::new(text);
    let is_file = path
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("txt"));
    if !is_file {
        return Ok(text.into());
    }
    let lines = std::fs::read_to_string(path)
        .map_err(|e| format!("cannot read the words in '{text}': {e}"))?;
    let lines = lines.trim_start_matches('\u{feff}').trim_end();
    Ok(lines
        .lines()
        .map(|l| l.replace('|', "/"))
        .collect::<Vec<_>>()
        .join("|"))
}

/// A tempo as typed, bpm.
///
/// # Errors
/// In words, outside 10 to 600 bpm.
pub fn read_tempo(text: &str) -> Result<f64, String> {
    let bpm = text
        .trim()
        .parse()
        .map_err(|_| format!("'{text}' is not a tempo ({})", limits()))?;
    tempo(bpm)
}

fn tempo(bpm: f64) -> Result<f64, String> {
    if TEMPOS_BPM.contains(&bpm) {
        Ok(bpm)
    } else {
        Err(format!("{bpm} is not a tempo ({})", limits()))
    }
}

fn limits() -> String {
    format!("{} to {} bpm", TEMPOS_BPM.start(), TEMPOS_BPM.end())
}
