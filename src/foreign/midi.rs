//! Standard MIDI Files: the tempo map makes beats and bars, notes make chords.
//!
//! Chord symbols that the file carries as texts win over names made from notes.
//! Notes of channel 10 are drums and are left out; a sustain pedal is not read.
//!
//! # Source
//! Standard MIDI Files 1.0, RP-001, MIDI Manufacturers Association, 1996.

use super::assemble::{ImportedChord, ImportedScore, ImportedSection};
use super::jams::median_tempo;
use super::{ForeignError, MAX_BARS, MAX_NOTES, notes};
use crate::songlog::heard::{Bar, HeardBeat, HeardNote};
use crate::songlog::resolve::Settings;
use crate::theory::{Key, KeyChange, Label, Mode, Spelled};
use crate::units::TEMPOS_BPM;
use midly::{Format, MetaMessage, MidiMessage, Smf, Timing, TrackEventKind};
use std::collections::{BTreeMap, VecDeque};

/// Tempo before the file says one, microseconds a quarter: the standard's 120 bpm.
const USUAL_TEMPO: u32 = 500_000;
/// Channel of drums in General MIDI, from 0.
const DRUMS: u8 = 9;
/// A hand is ahead of the bar line by no more than this, beats (ours).
const EARLY_BEATS: f64 = 0.125;
/// Part of a track's texts that must be chord symbols for them to count as such.
const MOSTLY: f64 = 0.8;

/// What the tracks hold, at ticks.
#[derive(Default)]
struct Events {
    tempi: Vec<(u64, u32)>,
    meters: Vec<(u64, u8, u8)>,
    /// Keys, the first one first.
    keys: Vec<(u64, Key)>,
    title: Option<String>,
    markers: Vec<(u64, String)>,
    /// Texts and lyrics, by track.
    texts: Vec<Vec<(u64, String)>>,
    /// Start, end and pitch.
    notes: Vec<(u64, u64, u8)>,
    end: u64,
}

/// Reads the file.
pub(super) fn read(bytes: &[u8], given: &Settings) -> Result<ImportedScore, ForeignError> {
    let not = |reason: String| ForeignError::NotOfKind {
        expected: "a Standard MIDI File",
        reason,
    };
    let smf = Smf::parse(bytes).map_err(|e| not(e.to_string()))?;
    if smf.header.format == Format::Sequential {
        return Err(not(
            "it is of type 2, whose tracks are songs of their own (save it as type 0 or 1)".into(),
        ));
    }
    let mut events = events(&smf)?;
    let clock = Clock::new(&smf.header.timing, &mut events, given);
    let mut raw = ImportedScore {
        title: events.title.take(),
        key: events.keys.first().map(|k| k.1),
        ..ImportedScore::default()
    };
    raw.key_changes = events
        .keys
        .iter()
        .map(|(tick, key)| KeyChange {
            at_s: clock.seconds(*tick),
            key: *key,
        })
        .collect();
    raw.notes = events
        .notes
        .iter()
        .map(|(from, to, midi)| HeardNote {
            start_s: clock.seconds(*from),
            end_s: clock.seconds(*to).max(clock.seconds(*from) + 0.001),
            midi: *midi,
            probability: 1.0,
        })
        .collect();
    let texts = chord_texts(&events);
    // "no chord" is silence said in words
    let named = |t: &&(u64, Label)| t.1 != Label::NoChord;
    let first = [
        events.notes.first().map(|n| n.0),
        texts.iter().flatten().find(named).map(|t| t.0),
    ];
    let first = first.into_iter().flatten().min().unwrap_or(0);
    lay_bars(&mut raw, &events, &clock, first)?;
    raw.duration_s = clock.seconds(events.end);
    raw.sections = events
        .markers
        .iter()
        .map(|(tick, text)| ImportedSection {
            feel: None,
            start_s: clock.seconds(*tick),
            text: text.clone(),
        })
        .collect();
    raw.chords = match texts {
        Some(texts) => written(&texts, &raw.notes, &clock, events.end),
        None if raw.notes.is_empty() => {
            return Err(ForeignError::Empty {
                reason: "it has neither notes nor chord symbols (drums are left out)".into(),
            });
        }
        None => {
            raw.warnings.push(
                "chords were named from the notes; their certainties are a guess, not a measure"
                    .into(),
            );
            notes::chords(&raw.notes, &raw.beats, &raw.bars, given.key.or(raw.key))
        }
    };
    if events.tempi.is_empty() && given.tempo_bpm.is_none() {
        raw.warnings
            .push("the file gives no tempo; 120 bpm is assumed (give --tempo)".into());
    }
    Ok(raw)
}

/// The key of a signature, sharps above zero.
fn key_of(signs: i8, minor: bool) -> Key {
    let (mode, up) = match minor {
        true => (Mode::Minor, 3),
        false => (Mode::Major, 0),
    };
    let tonic = Spelled::from_fifths(i32::from(signs.clamp(-7, 7)) + up);
    Key::new(tonic, mode)
}

fn events(smf: &Smf<'_>) -> Result<Events, ForeignError> {
    let mut all = Events::default();
    for (t, track) in smf.tracks.iter().enumerate() {
        let mut tick = 0u64;
        // starts of notes that sound, by channel and key, first in first out
        let mut open: BTreeMap<(u8, u8), VecDeque<u64>> = BTreeMap::new();
        let mut texts = Vec::new();
        for event in track {
            tick += u64::from(event.delta.as_int());
            match event.kind {
                TrackEventKind::Meta(meta) => match meta {
                    MetaMessage::Tempo(us) => all.tempi.push((tick, us.as_int().max(1))),
                    // a log has no other meters
                    MetaMessage::TimeSignature(n, power, ..)
                        if power > 4 || !(1..=32).contains(&n) =>
                    {
                        return Err(ForeignError::Wrong {
                            place: format!("track {}, tick {tick}", t + 1),
                            reason: format!(
                                "its meter is {n}/2^{power} (1 to 32 beats of 1, 2, 4, 8 or 16)"
                            ),
                        });
                    }
                    MetaMessage::TimeSignature(n, power, ..) => {
                        all.meters.push((tick, n, 1 << power));
                    }
                    MetaMessage::KeySignature(signs, minor) => {
                        all.keys.push((tick, key_of(signs, minor)));
                    }
                    MetaMessage::TrackName(name) if t == 0 && tick == 0 => {
                        all.title = Some(words(name)).filter(|n| !n.is_empty());
                    }
                    MetaMessage::Marker(text) => all.markers.push((tick, words(text))),
                    MetaMessage::Text(text) | MetaMessage::Lyric(text) => {
                        texts.push((tick, words(text)));
                    }
                    _ => {}
                },
                TrackEventKind::Midi { channel, message } if channel.as_int() != DRUMS => {
                    let (key, on) = match message {
                        MidiMessage::NoteOn { key, vel } => (key.as_int(), vel.as_int() > 0),
                        MidiMessage::NoteOff { key, .. } => (key.as_int(), false),
                        _ => continue,
                    };
                    let channel = channel.as_int();
                    let starts = open.entry((channel, key)).or_default();
                    if on {
                        starts.push_back(tick);
                    } else if let Some(from) = starts.pop_front() {
                        all.notes.push((from, tick.max(from + 1), key));
                    }
                }
                _ => {}
            }
        }
        // a note that is never ended lasts to the end of its track
        for ((_, key), starts) in open {
            let ended = starts
                .into_iter()
                .map(|from| (from, tick.max(from + 1), key));
            all.notes.extend(ended);
        }
        all.end = all.end.max(tick);
        all.texts.push(texts);
        if all.notes.len() > MAX_NOTES {
            return Err(ForeignError::Wrong {
                place: format!("track {}", t + 1),
                reason: format!("more than {MAX_NOTES} notes"),
            });
        }
    }
    all.sort();
    Ok(all)
}

impl Events {
    /// In order of time; of two meters at one tick the later one holds.
    fn sort(&mut self) {
        self.notes.sort_unstable();
        self.keys.sort_by_key(|k| k.0);
        self.tempi.sort_by_key(|t| t.0);
        self.meters.sort_by_key(|m| m.0);
        self.meters.dedup_by(|b, a| {
            a.0 == b.0 && {
                *a = *b;
                true
            }
        });
        self.markers.sort_by_key(|m| m.0);
    }
}

/// A text of the file on one line; bytes that are no UTF-8 are replaced.
fn words(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes)
        .trim()
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .take(200)
        .collect()
}

/// Ticks as seconds.
struct Clock {
    /// Tick, seconds there, seconds a tick from there.
    steps: Vec<(u64, f64, f64)>,
    /// Ticks of a quarter note.
    quarter: f64,
}

impl Clock {
    fn new(timing: &Timing, events: &mut Events, given: &Settings) -> Self {
        let (quarter, fixed) = match timing {
            Timing::Metrical(ticks) => (f64::from(ticks.as_int().max(1)), None),
            Timing::Timecode(fps, sub) => {
                let per_second = f64::from(fps.as_f32()) * f64::from((*sub).max(1));
                // no quarters in the file: as if it were 120 bpm
                (per_second * 0.5, Some(1.0 / per_second))
            }
        };
        let first = events.meters.first().map_or((4, 4), |m| (m.1, m.2));
        let given_s = given
            .tempo_bpm
            .map(|bpm| 60.0 / bpm / beat_quarters(first.0, first.1) / quarter);
        let tick_s = |us: u32| f64::from(us) / 1e6 / quarter;
        let mut steps = vec![(0, 0.0, given_s.or(fixed).unwrap_or(tick_s(USUAL_TEMPO)))];
        if given_s.is_none() && fixed.is_none() {
            for (tick, us) in &events.tempi {
                let (from, at_s, slope) = steps[steps.len() - 1];
                let here_s = at_s + (*tick - from) as f64 * slope;
                if *tick == from {
                    steps.pop();
                }
                steps.push((*tick, here_s, tick_s(*us)));
            }
        }
        Self { steps, quarter }
    }

    fn seconds(&self, tick: u64) -> f64 {
        let i = self.steps.partition_point(|s| s.0 <= tick).max(1) - 1;
        let (from, at_s, slope) = self.steps[i];
        at_s + (tick - from) as f64 * slope
    }
}

/// Length of a beat in quarters: dotted in 6/8, 9/8, 12/8.
pub(super) fn beat_quarters(n: u8, value: u8) -> f64 {
    if value == 8 && n > 3 && n.is_multiple_of(3) {
        1.5
    } else {
        4.0 / f64::from(value.max(1))
    }
}

/// Bars from the one that holds the first note or chord; silence before it is no bar.
/// A first bar that is shorter than the second is a pickup (common practice, no source).
fn lay_bars(
    raw: &mut ImportedScore,
    events: &Events,
    clock: &Clock,
    first: u64,
) -> Result<(), ForeignError> {
    let last = events.notes.iter().map(|n| n.1).max().unwrap_or(0);
    let end = last.max(if last == 0 { events.end } else { 0 });
    let mut meters = events.meters.clone();
    if meters.first().is_none_or(|m| m.0 > 0) {
        meters.insert(0, (0, 4, 4));
    }
    let mut tick = 0u64;
    let mut number = 0;
    let mut counts: Vec<((u8, u8), usize)> = Vec::new();
    while tick < end {
        let at = meters.partition_point(|m| m.0 <= tick).max(1) - 1;
        let (_, n, value) = meters[at];
        let beat = (beat_quarters(n, value) * clock.quarter).max(1.0);
        let whole = (f64::from(n) * 4.0 / f64::from(value) * clock.quarter).max(1.0) as u64;
        // silence of days before the first note is not walked bar by bar
        let silent = meters
            .get(at + 1)
            .map_or(first, |change| change.0.min(first));
        if tick + whole <= silent {
            tick += (silent - tick) / whole * whole;
            continue;
        }
        let mut next = tick + whole;
        // a meter that changes inside a bar ends it
        if let Some(change) = meters.get(at + 1).filter(|m| m.0 < next) {
            next = change.0.max(tick + 1);
        }
        // what is struck a little before the bar line belongs to the bar
        if next as f64 > first as f64 + EARLY_BEATS * beat {
            number += 1;
            if number > MAX_BARS {
                return Err(ForeignError::Wrong {
                    place: format!("{:.0} s", clock.seconds(tick)),
                    reason: format!("more than {MAX_BARS} bars"),
                });
            }
            let n_beats = (((next - tick) as f64 / beat).round() as u8).max(1);
            for b in 0..n_beats {
                raw.beats.push(HeardBeat {
                    time_s: clock.seconds(tick + (f64::from(b) * beat) as u64),
                    place: b + 1,
                });
            }
            raw.bars.push(Bar {
                number: number as u32,
                start_s: clock.seconds(tick),
                end_s: clock.seconds(next),
                n_beats,
            });
            match counts.iter_mut().find(|c| c.0 == (n, value)) {
                Some(count) => count.1 += 1,
                None => counts.push(((n, value), 1)),
            }
        }
        tick = next;
    }
    if let [a, b, ..] = raw.bars[..]
        && a.n_beats < b.n_beats
    {
        raw.bars.iter_mut().for_each(|bar| bar.number -= 1);
    }
    raw.meter = counts.iter().max_by_key(|c| c.1).map(|c| c.0);
    raw.tempo_bpm = usual_tempo(raw);
    Ok(())
}

/// Beats a minute of most beats, rounded to a thousandth (tempi are whole microseconds).
fn usual_tempo(raw: &ImportedScore) -> Option<f64> {
    let only = || {
        let bar = raw.bars.first()?;
        Some(60.0 * f64::from(bar.n_beats) / (bar.end_s - bar.start_s).max(1e-6))
    };
    let bpm = median_tempo(&raw.beats).or_else(only)?;
    let bpm = (bpm * 1000.0).round() / 1000.0;
    TEMPOS_BPM.contains(&bpm).then_some(bpm)
}

/// The chord symbols of the track that has most of them, if its texts mostly are such.
fn chord_texts(events: &Events) -> Option<Vec<(u64, Label)>> {
    events
        .texts
        .iter()
        .filter_map(|track| {
            let read: Vec<(u64, Label)> = track
                .iter()
                .filter_map(|(tick, text)| Some((*tick, text.parse().ok()?)))
                .collect();
            let mostly = read.len() as f64 >= MOSTLY * track.len() as f64;
            (mostly && read.iter().any(|(_, l)| l.chord().is_some())).then_some(read)
        })
        .max_by_key(Vec::len)
}

/// Chords as written, each to the next; the notes that sound in it choose its shape.
fn written(
    texts: &[(u64, Label)],
    notes: &[HeardNote],
    clock: &Clock,
    end: u64,
) -> Vec<ImportedChord> {
    let mut chords: Vec<ImportedChord> = Vec::new();
    let mut seen = 0;
    for (i, (tick, label)) in texts.iter().enumerate() {
        let to = texts.get(i + 1).map_or(end.max(tick + 1), |t| t.0);
        let (start_s, end_s) = (clock.seconds(*tick), clock.seconds(to));
        let mut chord = ImportedChord::named(start_s, end_s, label.clone(), 1.0);
        while seen < notes.len() && notes[seen].start_s < start_s - 0.02 {
            seen += 1;
        }
        let mut struck: Vec<u8> = notes[seen..]
            .iter()
            .take_while(|n| n.start_s < end_s - 0.02)
            .map(|n| n.midi)
            .collect();
        struck.sort_unstable();
        struck.dedup();
        chord.struck = struck;
        chords.push(chord);
    }
    chords
}
