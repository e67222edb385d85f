//! A song as JSON for machines, the same for every command (docs/log-format.md).

use crate::songlog::form;
use crate::songlog::heard::Candidate;
use crate::songlog::song::{Bar, LessonNote, Song, Span, State};
use serde_json::{Value, json};

/// Version of the shape of the JSON that commands print about a song.
pub const SONG_JSON_VERSION: u32 = 1;

/// The whole song.
pub fn song(song: &Song) -> Value {
    let mut value = without_chords(song);
    value["chords"] = song.spans.iter().map(span).collect();
    value
}

/// The song but for its chords.
pub fn without_chords(song: &Song) -> Value {
    let mut value = json!({
        "version": SONG_JSON_VERSION,
        "title": song.title,
        "credit": song.credit,
        "duration_s": round(song.duration_s),
        "tuning_midi": song.instrument.tuning.open(),
        "capo": song.instrument.capo,
        "tempo_bpm": song.tempo_bpm.map(round),
        "meter": song.meter.map(|(b, v)| format!("{b}/{v}")),
        "key": song.key.map(|k| k.label()),
        "key_changes": song.key_changes.iter().map(|c| json!({
            "at_s": round(c.at_s),
            "key": c.key.label(),
        })).collect::<Vec<_>>(),
        "n_chords": song.n_chords(),
        "n_open": song.n_open(),
        "sections": song.sections.iter().zip(form::letters(song)).map(|(s, in_form)| {
            let mut value = json!(s);
            value["in_form"] = json!(in_form);
            value
        }).collect::<Vec<_>>(),
        "lyrics": song.lyrics.iter().map(|l| json!({
            "start_s": round(l.start_s),
            "end_s": round(l.end_s),
            "text": l.text,
        })).collect::<Vec<_>>(),
        "notes": song.notes,
        "choices": song.choices,
        "stale": song.stale,
        "warnings": song.warnings,
    });
    // not in the macro, which would copy what is long, each time it is nested
    value["bars"] = song.bars.iter().map(bar).collect();
    value["versions"] = json!(song.versions);
    value["lesson_notes"] = song.lesson_notes.iter().map(lesson_note).collect();
    value
}

/// A note of a lesson; what it does not say is null or empty.
pub fn lesson_note(note: &LessonNote) -> Value {
    json!({
        "number": note.number,
        "date": note.date,
        "student": note.student,
        "practised": note.practised,
        "tempo_bpm": note.tempo_bpm.map(round),
        "next_goal": note.next_goal,
    })
}

fn bar(bar: &Bar) -> Value {
    json!({
        "number": bar.number,
        "start_s": round(bar.start_s),
        "end_s": round(bar.end_s),
        "n_beats": bar.n_beats,
    })
}

/// One chord in time.
pub fn span(span: &Span) -> Value {
    let mut value = json!({
        "start_s": round(span.start_s),
        "end_s": round(span.end_s),
        "label": span.label.label(),
        "symbol": span.label.symbol(),
        "state": match span.state {
            State::Open => "open",
            State::Decided => "decided",
        },
        "certainty": span.certainty.map(round),
        "shapes": span.shapes.iter().map(|s| s.text()).collect::<Vec<_>>(),
        "n_decided_shapes": span.n_decided_shapes,
        "notes": span.notes,
        "bass_midi": span.bass_midi,
        "fragment": span.fragment,
    });
    let candidate = |c: &Candidate| {
        json!({
            "label": c.label.label(),
            "symbol": c.label.symbol(),
            "probability": round(c.probability),
            "reason": c.reason,
        })
    };
    value["candidates"] = span.candidates.iter().map(candidate).collect();
    let struck = |(midi, at_s): &(u8, f64)| json!({"midi": midi, "time_s": round(*at_s)});
    value["struck"] = span.struck.iter().map(struck).collect();
    value
}

/// Four decimals: 0.1 ms, a hundredth of a per cent.
pub fn round(x: f64) -> f64 {
    (x * 1e4).round() / 1e4
}
