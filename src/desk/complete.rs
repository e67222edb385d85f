//! `GET /api/complete`: what a half-typed chord or shape is, and how it may go on.

use super::drawn;
use super::error::{ApiError, ApiResult};
use super::server::{Room, json};
use crate::deciding::song_json::round;
use crate::fretboard::{Limits, Played, Shape, Typed, distinct, read_played, usual_voicings};
use crate::songlog::song::{Song, Span};
use crate::theory::naming::{Context, names, reasons};
use crate::theory::{Chord, Key, Label, QUALITIES, Spelled};
use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::response::Response;
use serde_json::{Value, json};

/// The longest text that is looked at, characters.
const LONGEST: usize = 64;
const N_SUGGESTED: usize = 8;
const N_NAMES: usize = 4;
const N_SHAPES: usize = 3;

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wanted {
    text: String,
    at_s: Option<f64>,
}

pub(super) async fn complete(
    State(shared): Room,
    wanted: Result<Query<Wanted>, QueryRejection>,
) -> ApiResult<Response> {
    let Query(wanted) = wanted.map_err(|e| ApiError::bad(e.body_text()))?;
    json(move || {
        if wanted.text.chars().count() > LONGEST {
            return Err(ApiError::bad(format!("text: at most {LONGEST} characters")));
        }
        let snapshot = shared.book.read()?;
        let song = &snapshot.song;
        let span = wanted.at_s.and_then(|t| {
            song.spans
                .iter()
                .find(|s| s.start_s <= t + 1e-3 && t + 1e-3 < s.end_s)
        });
        Ok(what(wanted.text.trim(), song, span))
    })
    .await
}

/// What a text is: a shape begins with `x` or a digit, all else is a chord.
fn what(text: &str, song: &Song, span: Option<&Span>) -> Value {
    let is_shape = text.starts_with(|c: char| c == 'x' || c.is_ascii_digit());
    let mut value = json!({
        "kind": "none", "label": null, "symbol": null,
        "names": [], "suggestions": [], "shapes": [],
    });
    if is_shape {
        match read_played(text, &song.instrument, Typed::Either) {
            Ok(played) if played.shape.is_some() => shape(&mut value, &played, song),
            Ok(_) => value["error"] = json!("not a whole shape yet"),
            Err(error) => value["error"] = json!(error.to_string()),
        }
        return value;
    }
    let key = span.map_or(song.key, |s| song.key_at(s.start_s));
    value["suggestions"] = suggestions(text, key, span);
    if text.is_empty() {
        return value;
    }
    match text.parse::<Label>() {
        Ok(label) => {
            value["kind"] = json!("chord");
            value["label"] = json!(label.label());
            value["symbol"] = json!(label.symbol());
            value["certainty"] = json!(
                span.and_then(|s| s.candidates.iter().find(|c| c.label == label))
                    .map(|c| round(c.probability))
            );
            value["shapes"] = chord_shapes(&label, song, span);
        }
        Err(error) => value["error"] = json!(error.to_string()),
    }
    value
}

fn shape(value: &mut Value, played: &Played, song: &Song) {
    let context = Context {
        bass: played.bass(),
        key: song.key,
        root: None,
    };
    let set = played.pitch_classes();
    let found = names(set, context, N_NAMES);
    value["kind"] = json!("shape");
    if let Some(first) = found.first() {
        value["label"] = json!(first.chord.label());
        value["symbol"] = json!(first.text());
    }
    value["names"] = found
        .iter()
        .map(|name| {
            json!({
                "symbol": name.text(),
                "label": name.chord.label(),
                "reason": reasons(name, set, song.key).join("; "),
            })
        })
        .collect();
    if let Some(shape) = &played.shape {
        value["shapes"] = json!([drawn::shape(&song.instrument, shape, false)]);
    }
}

/// Shapes of the chord at its place first, then the most usual others.
fn chord_shapes(label: &Label, song: &Song, span: Option<&Span>) -> Value {
    let mut shapes: Vec<(Shape, bool)> = Vec::new();
    if let Some(span) = span.filter(|s| s.label == *label) {
        let known = span.shapes.iter().enumerate();
        shapes.extend(known.map(|(i, s)| (s.clone(), i < span.n_decided_shapes)));
    }
    if let Some(chord) = label.chord() {
        let found = usual_voicings(&song.instrument, chord, &Limits::default());
        for voicing in distinct(&found, N_SHAPES) {
            if shapes.iter().all(|(s, _)| *s != voicing.shape) {
                shapes.push((voicing.shape.clone(), false));
            }
        }
    }
    shapes
        .iter()
        .take(N_SHAPES.max(2))
        .map(|(s, decided)| drawn::shape(&song.instrument, s, *decided))
        .collect()
}

/// Chords that a text may become: the candidates of its place first, then the
/// vocabulary on its root.
fn suggestions(text: &str, key: Option<Key>, span: Option<&Span>) -> Value {
    let typed = plain(text);
    let mut found: Vec<Chord> = Vec::new();
    let mut offer = |chord: Chord| {
        if found.len() < N_SUGGESTED && !found.contains(&chord) {
            found.push(chord);
        }
    };
    let candidates = span.into_iter().flat_map(|s| &s.candidates);
    for chord in candidates.filter_map(|c| c.label.chord()) {
        if plain(&chord.symbol()).starts_with(&typed) {
            offer(chord.clone());
        }
    }
    for (root, tail) in roots(&typed) {
        // another spelling of a symbol stands for all that begin with it: `min` for `m7`
        let read = format!("{}{tail}", root.ascii()).parse::<Chord>().ok();
        let own = read
            .as_ref()
            .map(Chord::symbol_tail)
            .filter(|t| !t.is_empty());
        for quality in QUALITIES {
            let begins = |with: &str| quality.symbol.starts_with(with);
            if begins(tail) || own.as_deref().is_some_and(begins) {
                offer(Chord::new(root, quality));
            }
        }
        read.into_iter().for_each(&mut offer);
    }
    if typed.is_empty() {
        // the triads on the degrees of the key
        for chord in key.into_iter().flat_map(diatonic) {
            offer(chord);
        }
    }
    found
        .iter()
        .map(|c| json!({"text": plain(&c.symbol()), "symbol": c.symbol()}))
        .collect()
}

/// The ways to split a text into a root and what follows: `Bb` is B♭, or B and a `b…`.
fn roots(typed: &str) -> Vec<(Spelled, &str)> {
    let mut letters = typed.chars();
    let Some(letter) = letters.next() else {
        return Vec::new();
    };
    let letter = letter.to_ascii_uppercase().to_string();
    let rest = letters.as_str();
    let mut ways = Vec::new();
    for sign in ["#", "b", ""] {
        if let Some(tail) = rest.strip_prefix(sign)
            && let Ok(chord) = format!("{letter}{sign}").parse::<Chord>()
        {
            ways.push((chord.root, tail));
        }
    }
    ways
}

/// The major and minor triads of a key, the most used first (ours).
fn diatonic(key: Key) -> Vec<Chord> {
    const MAJOR: [(i32, usize); 6] = [(0, 0), (5, 0), (7, 0), (9, 1), (2, 1), (4, 1)];
    const MINOR: [(i32, usize); 7] = [(0, 1), (5, 1), (7, 0), (8, 0), (3, 0), (10, 0), (7, 1)];
    let degrees: &[(i32, usize)] = match key.mode.is_minor() {
        false => &MAJOR,
        true => &MINOR,
    };
    degrees
        .iter()
        .map(|(above, row)| {
            let root = key.spell(key.tonic.pitch_class().up(*above));
            Chord::new(root, &QUALITIES[*row])
        })
        .collect()
}

/// As typed on a keyboard.
fn plain(symbol: &str) -> String {
    symbol.replace('♯', "#").replace('♭', "b")
}
