//! Heard plus decided makes the song. Pure; odd decisions never fail.
//!
//! Decisions are applied in the order they were made, undone ones left
//! out. One that does not fit what is heard now is kept in the log, named in
//! the song's warnings, and the place stays open.

use super::Log;
use super::count;
use super::decided::{Act, Clock, How, holding};
use super::form;
use super::heard::{Choice, Heard};
use super::lessons::{self, LessonNote};
use super::parts::Parts;
use super::song::{Bar, Lyric, Song, Span, State};
use super::timeline::{Misfit, Piece, Timeline, same_sound};
use super::versions::{self, ChartVersion};
use crate::fretboard::{Instrument, Tuning};
use crate::theory::{Key, KeyChange, Label};

/// A decision that does not fit what is heard now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unfit {
    /// Which decision.
    pub id: u32,
    /// What it said and why it does not fit, in words.
    pub text: String,
}

/// What the user set for the whole take; none where nothing was set.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Settings {
    /// The title.
    pub title: Option<String>,
    /// Who made the song; empty to print no credit.
    pub credit: Option<String>,
    /// The key of the whole.
    pub key: Option<Key>,
    /// Keys from some time on (s), in the order in which they were set.
    pub keys_from: Vec<KeyChange>,
    /// Beats in a bar and note value of a beat.
    pub meter: Option<(u8, u8)>,
    /// Beats a minute.
    pub tempo_bpm: Option<f64>,
    /// The first downbeat, s.
    pub downbeat_s: Option<f64>,
    /// Every beat as tapped, s.
    pub beats_s: Option<Vec<f64>>,
    /// Starts of bars (s) and the beats they have, in order of time.
    pub bar_beats: Vec<(f64, u8)>,
    /// Fret of the capo.
    pub capo: Option<u8>,
    /// The tuning.
    pub tuning: Option<Tuning>,
}

/// The song as it stands.
pub fn resolve(log: &Log) -> Song {
    resolve_with_unfit(log).0
}

/// The credit that the user gave, else the composer of the file's tags.
fn credit(log: &Log, settings: &Settings) -> Option<String> {
    let given = settings.credit.as_ref();
    let credit = given.or(log.take.tags.composer.as_ref());
    credit.filter(|t| !t.is_empty()).cloned()
}

/// What the user set for the whole take, by the decisions that hold.
pub fn settings(log: &Log) -> Settings {
    let mut settings = Settings::default();
    apply_settings(&mut settings, acts(log).map(|(_, act)| act));
    settings
}

/// Applies the acts that set something for the whole take.
pub fn apply_settings<'a>(settings: &mut Settings, acts: impl IntoIterator<Item = &'a Act>) {
    for act in acts {
        match act {
            Act::Title { text } => settings.title = Some(text.clone()),
            Act::Credit { text } => {
                settings.credit = Some(text.clone());
            }
            Act::Key { key } => {
                settings.key = Some(*key);
                settings.keys_from.clear();
            }
            Act::KeyFrom { at_s, key } => settings.keys_from.push(KeyChange {
                at_s: *at_s,
                key: *key,
            }),
            Act::Meter { meter } => settings.meter = Some(*meter),
            Act::Tempo { bpm } => settings.tempo_bpm = Some(*bpm),
            Act::Downbeat { at_s } => settings.downbeat_s = Some(*at_s),
            Act::Beats { times_s } => settings.beats_s = Some(times_s.clone()),
            Act::BarBeats { at_s, n_beats } => {
                let bars = &mut settings.bar_beats;
                bars.retain(|(at, _)| (at - at_s).abs() > count::SAME_BAR_S);
                bars.push((*at_s, *n_beats));
                bars.sort_by(|a, b| a.0.total_cmp(&b.0));
            }
            Act::Capo { fret } => settings.capo = Some(*fret),
            Act::Tuning { tuning } => settings.tuning = Some(tuning.clone()),
            Act::AsHeard { setting } => settings.clear(*setting),
            _ => {}
        }
    }
}

/// The acts of all decisions that hold, with the id of each.
fn acts(log: &Log) -> impl Iterator<Item = (u32, &Act)> {
    holding(&log.decided)
        .into_iter()
        .zip(&log.decided)
        .filter(|(holds, _)| *holds)
        .flat_map(|(_, d)| d.acts.iter().map(move |act| (d.id, act)))
}

/// The song, and the decisions that do not fit it (also named in its warnings).
pub fn resolve_with_unfit(log: &Log) -> (Song, Vec<Unfit>) {
    let heard = &log.heard;
    let settings = settings(log);
    let spelled = |label: &Label| settings.key.map_or(label.clone(), |k| k.spell_label(label));
    let instrument = instrument(heard, &settings);
    let mut timeline = Timeline::new(heard, spelled);
    let beats_s = count::beats(heard, &settings);
    let bars = count::bars(heard, &beats_s, &settings);
    let mut parts = Parts::new(heard, &bars);
    let mut words = Words::default();
    let mut unfit = Vec::new();
    for (id, act) in acts(log) {
        if words.take(act) {
            continue;
        }
        if let Err(Misfit(why)) = apply(act, &mut timeline, &mut parts, &instrument) {
            unfit.push(Unfit {
                id,
                text: format!("{}: {why}", act.words(&Clock)),
            });
        }
    }
    let bars = if bars.is_empty() {
        bar_per_chord(&timeline)
    } else {
        bars
    };
    let (key, key_changes) = keys(heard, &settings, &bars);
    let mut song = Song {
        title: settings
            .title
            .clone()
            .or_else(|| log.take.tags.title.clone())
            .unwrap_or_else(|| stem(&log.take.file)),
        duration_s: heard.duration_s,
        tempo_bpm: settings.tempo_bpm.or(heard.tempo_bpm),
        meter: settings.meter.or(heard.meter),
        key,
        key_changes,
        beats_s,
        sections: parts.sections(&bars),
        bars,
        spans: timeline
            .pieces
            .iter()
            .map(|piece| span(piece, heard, &instrument, spelled))
            .collect(),
        credit: credit(log, &settings),
        lyrics: words.lyrics,
        notes: words.notes,
        versions: words.versions,
        lesson_notes: words.lesson_notes,
        choices: choices(heard, &settings),
        stale: stale(heard, &settings, &instrument),
        warnings: warnings(heard, &unfit),
        instrument,
    };
    if !settings.keys_from.is_empty() {
        form::spell_open(&mut song);
    }
    form::section_keys(&mut song);
    form::describe(&mut song);
    (song, unfit)
}

/// The guitar as it is set up: as the user said, else as it was heard.
fn instrument(heard: &Heard, settings: &Settings) -> Instrument {
    let tuning = settings.tuning.as_ref();
    Instrument {
        tuning: tuning.unwrap_or(&heard.instrument.tuning).clone(),
        capo: settings.capo.unwrap_or(heard.instrument.capo),
        highest_fret: heard.instrument.highest_fret,
    }
}

/// What is written of the whole song, what is sung, the versions of its chart, notes of lessons.
#[derive(Default)]
struct Words {
    notes: Vec<String>,
    lyrics: Vec<Lyric>,
    versions: Vec<ChartVersion>,
    lesson_notes: Vec<LessonNote>,
}

impl Words {
    /// Takes an act that is about these alone; gives whether it was one.
    fn take(&mut self, act: &Act) -> bool {
        match act {
            Act::Note {
                start_s: None,
                text,
                ..
            } => self.notes.push(text.clone()),
            Act::Lyric {
                start_s,
                end_s,
                text,
            } => sing(&mut self.lyrics, *start_s, *end_s, text),
            Act::ChartVersion { .. } | Act::ChartVersionRemoved { .. } => {
                versions::apply(&mut self.versions, act);
            }
            Act::LessonNote { .. } | Act::LessonNoteRemoved { .. } => {
                lessons::apply(&mut self.lesson_notes, act);
            }
            _ => return false,
        }
        true
    }
}

/// Puts words in place of those that begin in the same stretch.
fn sing(lyrics: &mut Vec<Lyric>, start_s: f64, end_s: f64, text: &str) {
    lyrics.retain(|l| {
        l.start_s < start_s - count::SAME_BAR_S || l.start_s >= end_s - count::SAME_BAR_S
    });
    if !text.is_empty() {
        let at = lyrics.partition_point(|l| l.start_s < start_s);
        let text = text.to_owned();
        lyrics.insert(
            at,
            Lyric {
                start_s,
                end_s,
                text,
            },
        );
    }
}

/// The first key and where it changes: heard, unless the user said the key of
/// the whole; then what the user said of single places, the later word first.
/// Before the first of them the key stays open where nothing tells it.
/// Changes lie on the bar lines of the song as it is counted now.
fn keys(heard: &Heard, settings: &Settings, bars: &[Bar]) -> (Option<Key>, Vec<KeyChange>) {
    let on_bar = |change: &KeyChange| {
        let after = bars.partition_point(|b| b.start_s <= change.at_s + count::SAME_BAR_S);
        let at_s = after.checked_sub(1).map_or(0.0, |i| bars[i].start_s);
        KeyChange { at_s, ..*change }
    };
    let mut first = settings.key.or(heard.key);
    let mut changes: Vec<KeyChange> = match settings.key {
        Some(_) => Vec::new(),
        None => heard.key_changes.iter().map(on_bar).collect(),
    };
    for said in settings.keys_from.iter().map(on_bar) {
        if bars.first().is_none_or(|b| said.at_s <= b.start_s) {
            first = Some(said.key);
        }
        changes.retain(|c| c.at_s != said.at_s);
        changes.push(said);
    }
    changes.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    let mut before = first;
    changes.retain(|c| before.replace(c.key) != Some(c.key));
    (first, changes)
}

fn apply(
    act: &Act,
    timeline: &mut Timeline,
    parts: &mut Parts,
    instrument: &Instrument,
) -> Result<(), Misfit> {
    match act {
        Act::Chord {
            start_s,
            end_s,
            label,
            how,
        } => timeline.chord(*start_s, *end_s, label, *how),
        Act::Shape {
            start_s,
            end_s,
            shape,
            or_shape,
        } => {
            let shapes: Vec<_> = std::iter::once(shape).chain(or_shape).cloned().collect();
            if shapes
                .iter()
                .any(|s| s.frets().len() != instrument.tuning.n_strings())
            {
                return Err(Misfit("the instrument has another number of strings now"));
            }
            timeline.shape(*start_s, *end_s, &shapes)
        }
        Act::Note {
            start_s: Some(start_s),
            end_s: Some(end_s),
            text,
        } => timeline.note(*start_s, *end_s, text),
        Act::Move { from_s, to_s } => timeline.move_edge(*from_s, *to_s),
        Act::Split { at_s } => timeline.split(*at_s),
        Act::Join { start_s, end_s } => timeline.join(*start_s, *end_s),
        Act::Unconfirm { start_s, end_s } => timeline.unconfirm(*start_s, *end_s),
        // settings are read beforehand
        _ => parts.apply(act),
    }
}

/// The choices that the user has not made yet.
fn choices(heard: &Heard, settings: &Settings) -> Vec<Choice> {
    let is_open = |choice: &&Choice| {
        let of = [&choice.set, &choice.keep];
        let asks = |field: fn(&super::heard::Preset) -> bool| of.iter().any(|p| field(p));
        !(asks(|p| p.meter.is_some()) && settings.meter.is_some()
            || asks(|p| p.tempo_bpm.is_some()) && settings.tempo_bpm.is_some()
            || asks(|p| p.first_downbeat.is_some()) && settings.downbeat_s.is_some()
            || asks(|p| p.capo.is_some()) && settings.capo.is_some()
            || asks(|p| p.tuning.is_some()) && settings.tuning.is_some())
    };
    heard.choices.iter().filter(is_open).cloned().collect()
}

/// Tempos nearer than this share are one: what a person taps is no nearer (ours).
const SAME_TEMPO: f64 = 0.04;

/// What was set since the take was analysed, where chords and bars would be heard otherwise by it.
fn stale(heard: &Heard, settings: &Settings, instrument: &Instrument) -> Vec<String> {
    let mut stale = Vec::new();
    if *instrument != heard.instrument {
        stale.push("tuning or capo were set after the analysis: fingerings may not fit".into());
    }
    if settings.meter.is_some_and(|m| Some(m) != heard.meter) {
        stale.push("the meter was set after the analysis: bars are counted from its beats".into());
    }
    let tempo_s = settings.tempo_bpm.zip(heard.tempo_bpm);
    if settings.beats_s.is_none()
        && tempo_s.is_some_and(|(set, heard)| (set / heard - 1.0).abs() > SAME_TEMPO)
    {
        stale.push("the tempo was set after the analysis: beats are still as heard".into());
    }
    if settings.beats_s.is_some() && !count::heard_with_taps(heard, settings) {
        stale.push("beats were tapped after the analysis: chords were heard without them".into());
    }
    stale
}

fn warnings(heard: &Heard, unfit: &[Unfit]) -> Vec<String> {
    let mut warnings = heard.warnings.clone();
    warnings.extend(
        unfit
            .iter()
            .map(|u| format!("decision {} no longer fits: {}", u.id, u.text)),
    );
    warnings
}

fn stem(file: &str) -> String {
    std::path::Path::new(file)
        .file_stem()
        .map_or_else(|| file.to_owned(), |s| s.to_string_lossy().into_owned())
}

fn span(
    piece: &Piece,
    heard: &Heard,
    instrument: &Instrument,
    spelled: impl Fn(&Label) -> Label,
) -> Span {
    /// A note struck this little before a chord belongs to it, s.
    const EARLY_S: f64 = 0.05;
    let chord = &heard.chords[piece.heard];
    let candidates: Vec<_> = chord
        .candidates
        .iter()
        .map(|c| super::heard::Candidate {
            label: spelled(&c.label),
            ..c.clone()
        })
        .collect();
    let certainty = match piece.how {
        Some(How::Own) => None,
        _ => candidates
            .iter()
            .find(|c| same_sound(&c.label, &piece.label))
            .map(|c| c.probability),
    };
    let first = candidates.first().map(|c| &c.label);
    let heard_shapes_fit = *instrument == heard.instrument
        && first.is_some_and(|label| same_sound(label, &piece.label));
    let mut shapes = piece.shapes.clone();
    if heard_shapes_fit {
        for fitted in &chord.shapes {
            if !shapes.contains(&fitted.shape) {
                shapes.push(fitted.shape.clone());
            }
        }
    }
    Span {
        start_s: piece.start_s,
        end_s: piece.end_s,
        label: piece.label.clone(),
        state: if piece.how.is_some() {
            State::Decided
        } else {
            State::Open
        },
        certainty,
        candidates,
        n_decided_shapes: piece.shapes.len(),
        shapes,
        notes: piece.notes.clone(),
        bass_midi: chord.bass_midi,
        fragment: chord.fragment,
        struck: heard
            .notes
            .iter()
            .filter(|n| n.start_s >= piece.start_s - EARLY_S && n.start_s < piece.end_s - EARLY_S)
            .map(|n| (n.midi, n.start_s))
            .collect(),
    }
}

fn bar_per_chord(timeline: &Timeline) -> Vec<Bar> {
    timeline
        .pieces
        .iter()
        .enumerate()
        .map(|(i, piece)| Bar {
            number: i as u32 + 1,
            start_s: piece.start_s,
            end_s: piece.end_s,
            n_beats: 1,
        })
        .collect()
}
