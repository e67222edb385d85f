//! Values in memory to records as written, and back.

use super::decided::{Act, Decision};
use super::format::{FORMAT, Fault, read_meter};
use super::heard::{
    Bar, Candidate, FittedShape, Heard, HeardBeat, HeardChord, HeardNote, HeardSection, HeardStrum,
};
use super::records::*;
use super::text::four;
use super::{Fingerprint, Log, Tags, Take};
use crate::fretboard::{Instrument, Tuning};
use crate::theory::{Key, KeyChange};

/// The record of a log.
pub(super) fn to_record(log: &Log) -> LogRecord {
    LogRecord {
        format: FORMAT.into(),
        version: version_of(log),
        take: TakeRecord {
            file: log.take.file.clone(),
            kind: log.take.kind.clone(),
            rate_hz: log.take.rate_hz,
            channels: log.take.channels,
            bytes: log.take.bytes,
            fingerprint: log.take.fingerprint.as_ref().map(|f| FingerprintRecord {
                duration_s: four(f.duration_s),
                levels_db: f.levels_db.clone(),
                crossings: f.crossings.clone(),
            }),
            title: log.take.tags.title.clone(),
            composer: log.take.tags.composer.clone(),
        },
        drafted: log.drafted.clone(),
        heard: heard_record(&log.heard),
        decided: log
            .decided
            .iter()
            .map(|d| DecisionRecord {
                id: d.id,
                at: d.at.clone(),
                acts: d.acts.clone(),
            })
            .collect(),
    }
}

/// The lowest version that can say what a log holds, so that older programs
/// read whatever they can understand.
fn version_of(log: &Log) -> u64 {
    let changes = log.heard.key_changes.iter().map(|change| change.key);
    let other_mode = log
        .heard
        .key
        .into_iter()
        .chain(changes)
        .any(|key| key.mode.is_other());
    let tagged = log.take.tags != Tags::default();
    let detailed = !log.heard.detail.is_empty()
        || !log.heard.strums.is_empty()
        || !log.heard.choices.is_empty();
    let heard = if tagged || detailed || other_mode {
        4
    } else if !log.heard.key_changes.is_empty() {
        3
    } else {
        1
    };
    let acts = log.decided.iter().flat_map(|d| &d.acts);
    acts.map(Act::version).fold(heard, u64::max)
}

fn heard_record(heard: &Heard) -> HeardRecord {
    HeardRecord {
        by_version: heard.by_version.clone(),
        settings: heard.settings.clone(),
        duration_s: four(heard.duration_s),
        tuning_cents: four(heard.tuning_cents),
        instrument: InstrumentRecord {
            open_midi: heard.instrument.tuning.open().to_vec(),
            capo: heard.instrument.capo,
            highest_fret: heard.instrument.highest_fret,
        },
        tempo_bpm: heard.tempo_bpm.map(four),
        meter: heard.meter.map(|(b, v)| format!("{b}/{v}")),
        key: heard.key.map(Key::label),
        key_changes: heard
            .key_changes
            .iter()
            .map(|c| KeyChangeRecord {
                at_s: four(c.at_s),
                key: c.key.label(),
            })
            .collect(),
        beats: heard
            .beats
            .iter()
            .map(|b| BeatRecord {
                time_s: four(b.time_s),
                place: b.place,
            })
            .collect(),
        bars: heard
            .bars
            .iter()
            .map(|b| BarRecord {
                number: b.number,
                start_s: four(b.start_s),
                end_s: four(b.end_s),
                n_beats: b.n_beats,
            })
            .collect(),
        sections: heard
            .sections
            .iter()
            .map(|s| SectionRecord {
                letter: s.letter.clone(),
                first_bar: s.first_bar,
                last_bar: s.last_bar,
                differs: s.differs.clone(),
            })
            .collect(),
        chords: heard.chords.iter().map(chord_record).collect(),
        detail: heard.detail.iter().map(chord_record).collect(),
        strums: heard
            .strums
            .iter()
            .map(|s| StrumRecord {
                time_s: four(s.time_s),
                direction: match s.down {
                    true => DirectionRecord::Down,
                    false => DirectionRecord::Up,
                },
                probability: four(s.probability),
            })
            .collect(),
        notes: heard
            .notes
            .iter()
            .map(|n| NoteRecord {
                start_s: four(n.start_s),
                end_s: four(n.end_s),
                midi: n.midi,
                probability: four(n.probability),
            })
            .collect(),
        choices: heard.choices.clone(),
        warnings: heard.warnings.clone(),
    }
}

fn chord_record(chord: &HeardChord) -> ChordRecord {
    ChordRecord {
        start_s: four(chord.start_s),
        end_s: four(chord.end_s),
        candidates: chord
            .candidates
            .iter()
            .map(|c| CandidateRecord {
                label: c.label.label(),
                probability: four(c.probability),
                reason: c.reason.clone(),
            })
            .collect(),
        shapes: chord
            .shapes
            .iter()
            .map(|s| ShapeRecord {
                frets: s.shape.text(),
                fit: four(s.fit),
            })
            .collect(),
        bass_midi: chord.bass_midi,
        chroma: chord.chroma.map(|x| four(f64::from(x))),
        fragment: chord.fragment,
    }
}

/// An error of reading at a place, from any room's error.
fn at<T, E: ToString>(result: Result<T, E>, place: impl FnOnce() -> String) -> Result<T, Fault> {
    result.map_err(|error| Fault {
        place: place(),
        reason: error.to_string(),
    })
}

/// The log of a record; the place of what cannot be read.
pub(super) fn from_record(record: LogRecord) -> Result<Log, Fault> {
    Ok(Log {
        take: Take {
            file: record.take.file,
            kind: record.take.kind,
            rate_hz: record.take.rate_hz,
            channels: record.take.channels,
            bytes: record.take.bytes,
            fingerprint: record.take.fingerprint.map(|f| Fingerprint {
                duration_s: f.duration_s,
                levels_db: f.levels_db,
                crossings: f.crossings,
            }),
            tags: Tags {
                title: record.take.title,
                composer: record.take.composer,
            },
        },
        drafted: record.drafted,
        heard: heard_from(record.heard)?,
        decided: record
            .decided
            .into_iter()
            .map(|d| Decision {
                id: d.id,
                at: d.at,
                acts: d.acts,
            })
            .collect(),
    })
}

fn heard_from(record: HeardRecord) -> Result<Heard, Fault> {
    let instrument = Instrument {
        tuning: at(Tuning::new(record.instrument.open_midi), || {
            "heard.instrument.open_midi".into()
        })?,
        capo: record.instrument.capo,
        highest_fret: record.instrument.highest_fret,
    };
    Ok(Heard {
        by_version: record.by_version,
        settings: record.settings,
        duration_s: record.duration_s,
        tuning_cents: record.tuning_cents,
        instrument,
        tempo_bpm: record.tempo_bpm,
        meter: at(record.meter.as_deref().map(read_meter).transpose(), || {
            "heard.meter".into()
        })?,
        key: at(record.key.as_deref().map(str::parse).transpose(), || {
            "heard.key".into()
        })?,
        key_changes: record
            .key_changes
            .iter()
            .enumerate()
            .map(|(i, c)| {
                let key = at(c.key.parse(), || format!("heard.key_changes[{i}].key"))?;
                Ok(KeyChange { at_s: c.at_s, key })
            })
            .collect::<Result<_, _>>()?,
        beats: record.beats.into_iter().map(beat_from).collect(),
        bars: record.bars.into_iter().map(bar_from).collect(),
        sections: record.sections.into_iter().map(section_from).collect(),
        chords: chords_from(record.chords, "chords")?,
        detail: chords_from(record.detail, "detail")?,
        strums: record.strums.into_iter().map(strum_from).collect(),
        notes: record.notes.into_iter().map(note_from).collect(),
        choices: record.choices,
        warnings: record.warnings,
    })
}

fn beat_from(record: BeatRecord) -> HeardBeat {
    HeardBeat {
        time_s: record.time_s,
        place: record.place,
    }
}

fn bar_from(record: BarRecord) -> Bar {
    Bar {
        number: record.number,
        start_s: record.start_s,
        end_s: record.end_s,
        n_beats: record.n_beats,
    }
}

fn section_from(record: SectionRecord) -> HeardSection {
    HeardSection {
        letter: record.letter,
        first_bar: record.first_bar,
        last_bar: record.last_bar,
        differs: record.differs,
    }
}

fn strum_from(record: StrumRecord) -> HeardStrum {
    HeardStrum {
        time_s: record.time_s,
        down: record.direction == DirectionRecord::Down,
        probability: record.probability,
    }
}

fn note_from(record: NoteRecord) -> HeardNote {
    HeardNote {
        start_s: record.start_s,
        end_s: record.end_s,
        midi: record.midi,
        probability: record.probability,
    }
}

fn chords_from(records: Vec<ChordRecord>, level: &str) -> Result<Vec<HeardChord>, Fault> {
    records
        .into_iter()
        .enumerate()
        .map(|(i, chord)| chord_from(chord, &format!("heard.{level}[{i}]")))
        .collect()
}

fn chord_from(record: ChordRecord, place: &str) -> Result<HeardChord, Fault> {
    Ok(HeardChord {
        start_s: record.start_s,
        end_s: record.end_s,
        candidates: record
            .candidates
            .into_iter()
            .enumerate()
            .map(|(j, c)| {
                Ok(Candidate {
                    label: at(c.label.parse(), || format!("{place}.candidates[{j}].label"))?,
                    probability: c.probability,
                    reason: c.reason,
                })
            })
            .collect::<Result<_, Fault>>()?,
        shapes: record
            .shapes
            .into_iter()
            .enumerate()
            .map(|(j, s)| {
                Ok(FittedShape {
                    shape: at(s.frets.parse(), || format!("{place}.shapes[{j}].frets"))?,
                    fit: s.fit,
                })
            })
            .collect::<Result<_, Fault>>()?,
        bass_midi: record.bass_midi,
        chroma: record.chroma.map(|x| x as f32),
        fragment: record.fragment,
    })
}
