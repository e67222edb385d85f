//! A song as JSON for machines, the same for every command (docs/log-format.md).

use crate::songlog::form;
use crate::songlog::song::{Song, Span, State};
use serde_json::{Value, json};

/// Version of the shape of the JSON that commands print about a song.
pub const SONG_JSON_VERSION: u32 = 1;

/// The whole song.
pub fn song(song: &Song) -> Value {
    json!({
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
        "bars": song.bars.iter().map(|b| json!({
            "number": b.number,
            "start_s": round(b.start_s),
            "end_s": round(b.end_s),
            "n_beats": b.n_beats,
        })).collect::<Vec<_>>(),
        "chords": song.spans.iter().map(span).collect::<Vec<_>>(),
        "lyrics": song.lyrics.iter().map(|l| json!({
            "start_s": round(l.start_s),
            "end_s": round(l.end_s),
            "text": l.text,
        })).collect::<Vec<_>>(),
        "notes": song.notes,
        "choices": song.choices,
        "stale": song.stale,
        "warnings": song.warnings,
    })
}

/// One chord in time.
pub fn span(span: &Span) -> Value {
    json!({
        "start_s": round(span.start_s),
        "end_s": round(span.end_s),
        "label": span.label.label(),
        "symbol": span.label.symbol(),
        "state": match span.state {
            State::Open => "open",
            State::Decided => "decided",
        },
        "certainty": span.certainty.map(round),
        "candidates": span.candidates.iter().map(|c| json!({
            "label": c.label.label(),
            "symbol": c.label.symbol(),
            "probability": round(c.probability),
            "reason": c.reason,
        })).collect::<Vec<_>>(),
        "shapes": span.shapes.iter().map(|s| s.text()).collect::<Vec<_>>(),
        "n_decided_shapes": span.n_decided_shapes,
        "notes": span.notes,
        "bass_midi": span.bass_midi,
        "fragment": span.fragment,
        "struck": span.struck.iter().map(|(midi, at_s)| json!({
            "midi": midi,
            "time_s": round(*at_s),
        })).collect::<Vec<_>>(),
    })
}

/// Four decimals: 0.1 ms, a hundredth of a per cent.
pub fn round(x: f64) -> f64 {
    (x * 1e4).round() / 1e4
}
