//! `GET /api/song` and `GET /api/bar/N`.

use super::book::Snapshot;
use super::changes::{changes, spliced};
use super::drawn;
use super::error::{ApiError, ApiResult};
use super::server::{Room, Shared, json};
use crate::audio;
use crate::deciding::place::{Place, Twin, twins};
use crate::deciding::song_json::{self, round};
use crate::deciding::{redoable, undoable};
use crate::songlog::form;
use crate::songlog::heard::HeardChord;
use crate::songlog::resolve::settings;
use crate::songlog::song::{Bar, Song, Span};
use crate::songlog::store::take_path;
use crate::theory::midi_name;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use serde_json::{Value, json};
use std::sync::Arc;

pub(super) async fn song(State(shared): Room) -> ApiResult<Response> {
    json(move || {
        let snapshot = shared.book.read()?;
        Ok(whole(&shared, &snapshot))
    })
    .await
}

/// What changed in the song since another snapshot.
pub(super) fn since(shared: &Shared, before: &Snapshot, now: &Snapshot) -> Vec<Value> {
    let mut all = changes(
        before.told.get_or_init(|| told(before)),
        now.told.get_or_init(|| told(now)),
    );
    let (old, new) = (&before.song.spans, &now.song.spans);
    if old != new {
        all.push(spliced("chords", old, new, song_json::span));
    }
    all.push(json!({"field": "take", "value": take(shared, now)}));
    all
}

/// The song as machines get it, and what only a page needs.
pub(super) fn whole(shared: &Shared, snapshot: &Snapshot) -> Value {
    let mut value = snapshot.told.get_or_init(|| told(snapshot)).clone();
    value["chords"] = snapshot.song.spans.iter().map(song_json::span).collect();
    value["take"] = take(shared, snapshot);
    value["log"] = json!(file_name(shared.book.path()));
    value
}

/// What the log alone says, but for the chords; the same as long as it is.
fn told(snapshot: &Snapshot) -> Value {
    let (song, log) = (&snapshot.song, &snapshot.log);
    let mut value = song_json::without_chords(song);
    let records = value["bars"].as_array_mut().into_iter().flatten();
    for (bar, record) in song.bars.iter().zip(records) {
        let (same, others): (Vec<Twin>, Vec<Twin>) =
            twins_of(bar, song).into_iter().partition(|t| t.same);
        record["repeats"] = same.iter().map(|t| t.bar).collect();
        if !others.is_empty() {
            record["repeats_that_differ"] = others.iter().map(|t| t.bar).collect();
        }
    }
    value["detail"] = detail(snapshot);
    value["given"] = settings(log).given().iter().map(|s| s.name()).collect();
    value["last_decision"] = json!(log.decided.last().map_or(0, |d| d.id));
    value["revision"] = json!(snapshot.revision);
    value["can_undo"] = json!(undoable(log).is_some());
    value["can_redo"] = json!(redoable(log).is_some());
    value["beats_s"] = song.beats_s.iter().map(|t| round(*t)).collect();
    value["form"] = json!(form::order(song).unwrap_or_default());
    value["live"] = json!(cfg!(feature = "mic"));
    value["tuning"] = json!(song.instrument.tuning.text());
    value
}

/// Every harmony that sounds, where that is more than the song's chords: only what is shown of it.
fn detail(snapshot: &Snapshot) -> Value {
    let (log, song) = (&snapshot.log, &snapshot.song);
    let chord = |chord: &HeardChord| {
        let first = chord.candidates.first()?;
        let key = song.key_at(chord.start_s);
        let label = key.map_or_else(|| first.label.clone(), |k| k.spell_label(&first.label));
        Some(json!({
            "start_s": round(chord.start_s),
            "end_s": round(chord.end_s),
            "label": label.label(),
            "symbol": label.symbol(),
        }))
    };
    log.heard.detail.iter().filter_map(chord).collect()
}

fn take(shared: &Shared, snapshot: &Snapshot) -> Value {
    let log = &snapshot.log;
    let path = take_path(shared.book.path(), log);
    let found = shared.sounds.of(shared.book.path(), log);
    // a song that was typed or imported has no sound, and misses none
    let is_sound = log.take.rate_hz > 0;
    let marks: Vec<f64> = match is_sound {
        true => audio::marks(&path).into_iter().map(round).collect(),
        false => Vec::new(),
    };
    let bytes = std::fs::metadata(&path).map(|m| m.len()).ok();
    json!({
        "file": file_name(&path),
        "is_sound": is_sound,
        "present": is_sound && found.is_ok(),
        "marks_s": marks,
        "duration_s": round(log.heard.duration_s),
        "why_absent": found.as_ref().err().filter(|_| is_sound).map(ApiError::text),
        "as_drafted": bytes.map(|n| n == log.take.bytes),
        "revision": found.as_ref().ok().map(|sound| sound.tag().trim_matches('"').to_owned()),
    })
}

fn file_name(path: &std::path::Path) -> String {
    path.file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned()
}

/// The same bar in the other sections of its letter.
fn twins_of(bar: &Bar, song: &Song) -> Vec<Twin> {
    twins(Place::Stretch(bar.start_s, bar.end_s), song)
}

pub(super) async fn bar(State(shared): Room, Path(number): Path<String>) -> ApiResult<Response> {
    json(move || {
        let snapshot = shared.book.read()?;
        let number: u32 = number
            .parse()
            .map_err(|_| ApiError::bad(format!("'{number}' is not the number of a bar")))?;
        one_bar(&snapshot, number)
    })
    .await
}

fn one_bar(snapshot: &Arc<Snapshot>, number: u32) -> ApiResult<Value> {
    let song = &snapshot.song;
    let bar = song
        .bars
        .iter()
        .find(|b| b.number == number)
        .ok_or_else(|| {
            let there = match (song.bars.first(), song.bars.last()) {
                (Some(first), Some(last)) => format!("bars {} to {}", first.number, last.number),
                _ => "no bars".into(),
            };
            ApiError::new(
                StatusCode::NOT_FOUND,
                format!("there is no bar {number}: the take has {there}"),
            )
        })?;
    let chords =
        |bar: &Bar| -> Vec<Value> { song.spans_in(bar).map(|span| chord(span, song)).collect() };
    let again: Vec<Value> = twins_of(bar, song)
        .into_iter()
        .filter_map(|twin| {
            let other = song.bars.iter().find(|b| b.number == twin.bar)?;
            Some(json!({
                "bar": other.number,
                "start_s": round(other.start_s),
                "end_s": round(other.end_s),
                "chords": song.spans_in(other).map(song_json::span).collect::<Vec<_>>(),
                "same": twin.same,
            }))
        })
        .collect();
    Ok(json!({
        "revision": snapshot.revision,
        "bar": {
            "number": bar.number,
            "start_s": round(bar.start_s),
            "end_s": round(bar.end_s),
            "n_beats": bar.n_beats,
        },
        "chords": chords(bar),
        "repeats": again,
        "struck": struck(snapshot, bar),
    }))
}

/// One chord with its shapes drawn.
fn chord(span: &Span, song: &Song) -> Value {
    let mut value = song_json::span(span);
    value["shapes_drawn"] = span
        .shapes
        .iter()
        .enumerate()
        .map(|(i, shape)| drawn::shape(&song.instrument, shape, i < span.n_decided_shapes))
        .collect();
    value
}

/// Notes struck in a bar, with the string that the first shape of their chord gives them.
fn struck(snapshot: &Snapshot, bar: &Bar) -> Vec<Value> {
    let song = &snapshot.song;
    snapshot
        .log
        .heard
        .notes
        .iter()
        .filter(|n| n.start_s >= bar.start_s - 0.02 && n.start_s < bar.end_s - 0.02)
        .map(|note| {
            let span = song
                .spans
                .iter()
                .find(|s| s.start_s <= note.start_s + 0.05 && note.start_s + 0.05 < s.end_s);
            let string = span.and_then(|s| s.shapes.first()).and_then(|shape| {
                let sounding = song.instrument.sounding(shape);
                sounding.iter().position(|midi| *midi == Some(note.midi))
            });
            json!({
                "midi": note.midi,
                "name": midi_name(note.midi),
                "time_s": round(note.start_s),
                "string": string.map(|s| crate::fretboard::string_name(&song.instrument, s)),
                "certainty": round(note.probability),
            })
        })
        .collect()
}
