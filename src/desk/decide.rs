//! `POST /api/decide`, `/api/undo`, `/api/redo`: the same decisions as on the command line.

use super::error::{ApiError, ApiResult, json_response, off_thread};
use super::events::News;
use super::server::{Room, Shared, read_body};
use super::song::{since, whole};
use crate::deciding::place::Place;
use crate::deciding::{self, Made, Request, Undone, words};
use crate::fretboard::check_capo;
use crate::songlog::song::Song;
use crate::songlog::{read_meter, resolve};
use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;
use serde_json::{Value, json};
use std::str::FromStr;
use std::sync::Arc;

/// What a page may ask for; times in seconds of the take.
#[derive(Debug, Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct Wish {
    /// The revision that the page shows; another one now refuses the decision.
    revision: Option<String>,
    start_s: Option<f64>,
    end_s: Option<f64>,
    repeats: bool,
    take: Option<String>,
    /// With `take`, only chords that are at least so sure, 0 to 1.
    at_least: Option<f64>,
    candidate: Option<usize>,
    chord: Option<String>,
    shape: Option<String>,
    or_shape: Option<String>,
    note: Option<String>,
    split_at_s: Option<f64>,
    join: bool,
    move_from_s: Option<f64>,
    move_to_s: Option<f64>,
    section_name: Option<String>,
    section_letter: Option<String>,
    section_split_at_s: Option<f64>,
    section_join_at_s: Option<f64>,
    title: Option<String>,
    key: Option<String>,
    meter: Option<String>,
    tempo_bpm: Option<f64>,
    downbeat_s: Option<f64>,
    capo: Option<u8>,
    tuning: Option<String>,
}

/// Reads one of the library's types, telling which field was wrong.
fn field<T: FromStr>(name: &str, text: Option<&String>) -> ApiResult<Option<T>>
where
    T::Err: std::fmt::Display,
{
    text.map(|t| t.trim().parse())
        .transpose()
        .map_err(|e: T::Err| ApiError::bad(format!("{name}: {e}")))
}

impl Wish {
    /// As requests, in the order in which they are applied.
    fn requests(&self, song: &Song) -> ApiResult<Vec<Request>> {
        let mut requests = Vec::new();
        let whole = self.for_whole()?;
        if whole.is_for_whole() {
            requests.push(whole);
        }
        self.edges(song, &mut requests)?;
        let local = self.local()?;
        let wanted = local.is_local() || local.note.is_some();
        match (self.start_s, self.end_s) {
            (Some(from), Some(to)) if wanted => {
                let from = within("start_s", from, song)?;
                if to <= from {
                    return Err(ApiError::bad(format!(
                        "the stretch from {from} s to {to} s is empty"
                    )));
                }
                requests.push(Request {
                    places: vec![Place::Stretch(from, to)],
                    repeats: self.repeats,
                    ..local
                });
            }
            (None, None) if wanted && !local.is_local() => requests.push(local),
            (None, None) if !wanted => {}
            _ if !wanted => {
                return Err(ApiError::bad(
                    "start_s and end_s say where, but nothing says what",
                ));
            }
            _ => return Err(ApiError::bad("say where: start_s and end_s")),
        }
        Ok(requests)
    }

    fn for_whole(&self) -> ApiResult<Request> {
        if let Some(bpm) = self.tempo_bpm
            && !(10.0..=600.0).contains(&bpm)
        {
            return Err(ApiError::bad(format!(
                "tempo_bpm: {bpm} is not 10 to 600 beats a minute"
            )));
        }
        if let Some(fret) = self.capo {
            check_capo(fret).map_err(|e| ApiError::bad(format!("capo: {e}")))?;
        }
        Ok(Request {
            title: self.title.as_ref().map(|t| t.trim().to_owned()),
            key: field("key", self.key.as_ref())?,
            meter: self
                .meter
                .as_deref()
                .map(read_meter)
                .transpose()
                .map_err(|e| ApiError::bad(format!("meter: {e}")))?,
            tempo_bpm: self.tempo_bpm,
            downbeat_s: self.downbeat_s,
            capo: self.capo,
            tuning: field("tuning", self.tuning.as_ref())?,
            ..Request::default()
        })
    }

    /// What is about a moment: changes of chord, starts of sections.
    fn edges(&self, song: &Song, requests: &mut Vec<Request>) -> ApiResult<()> {
        let mut at = |name: &str, at_s: f64, repeats: bool, what: Request| {
            requests.push(Request {
                places: vec![Place::Point(within(name, at_s, song)?)],
                repeats,
                ..what
            });
            Ok::<_, ApiError>(())
        };
        match (self.move_from_s, self.move_to_s) {
            (Some(from_s), Some(to_s)) => {
                let what = Request {
                    move_to_s: Some(within("move_to_s", to_s, song)?),
                    ..Request::default()
                };
                at("move_from_s", from_s, false, what)?;
            }
            (None, None) => {}
            _ => return Err(ApiError::bad("a move needs both move_from_s and move_to_s")),
        }
        if let Some(at_s) = self.split_at_s {
            let what = Request {
                split: true,
                ..Request::default()
            };
            at("split_at_s", at_s, self.repeats, what)?;
        }
        if let Some(at_s) = self.section_split_at_s {
            let what = Request {
                section_starts: true,
                ..Request::default()
            };
            at("section_split_at_s", at_s, false, what)?;
        }
        if let Some(at_s) = self.section_join_at_s {
            let what = Request {
                section_joins: true,
                ..Request::default()
            };
            at("section_join_at_s", at_s, false, what)?;
        }
        Ok(())
    }

    /// What is about a stretch.
    fn local(&self) -> ApiResult<Request> {
        let take_first = match self.take.as_deref() {
            None => None,
            Some("proposed") => Some(self.at_least.unwrap_or(0.0)),
            Some(other) => {
                return Err(ApiError::bad(format!(
                    "take: '{other}' is unknown (expected \"proposed\")"
                )));
            }
        };
        if self
            .at_least
            .is_some_and(|p| !(0.0..=1.0).contains(&p) || self.take.is_none())
        {
            return Err(ApiError::bad("at_least: 0 to 1, beside take"));
        }
        let ways = [
            take_first.is_some(),
            self.candidate.is_some(),
            self.chord.is_some(),
        ];
        if ways.into_iter().filter(|w| *w).count() > 1 {
            return Err(ApiError::bad("one of take, candidate and chord at a time"));
        }
        if self.or_shape.is_some() && self.shape.is_none() {
            return Err(ApiError::bad("or_shape needs a shape beside it"));
        }
        Ok(Request {
            take_first,
            candidate: self.candidate,
            chord: field("chord", self.chord.as_ref())?,
            shape: field("shape", self.shape.as_ref())?,
            or_shape: field("or_shape", self.or_shape.as_ref())?,
            note: self.note.clone(),
            join: self.join,
            section_name: self.section_name.as_ref().map(|t| t.trim().to_owned()),
            section_letter: self.section_letter.as_ref().map(|t| t.trim().to_owned()),
            ..Request::default()
        })
    }
}

fn within(name: &str, at_s: f64, song: &Song) -> ApiResult<f64> {
    if (0.0..song.duration_s).contains(&at_s) {
        Ok(at_s)
    } else {
        Err(ApiError::bad(format!(
            "{name}: there is no {at_s} s: the take lasts {:.1} s",
            song.duration_s
        )))
    }
}

/// What the page knows already.
#[derive(Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct Knows {
    /// The revision that it holds: the answer is what changed since.
    since: Option<String>,
}

pub(super) async fn decide(
    State(shared): Room,
    knows: Query<Knows>,
    body: Result<Bytes, BytesRejection>,
) -> ApiResult<Response> {
    let wish: Wish = read_body(body)?;
    answer(shared, knows, move |shared| {
        let made = deciding::decide(shared.book.path(), |song| {
            // the log is locked here: what is read now is what is decided on
            if let Some(shown) = &wish.revision {
                let now = shared.book.read()?;
                if now.revision != *shown {
                    return Err(ApiError::new(
                        StatusCode::CONFLICT,
                        "the log was changed meanwhile by another page or command; nothing was decided: look at it and decide again",
                    )
                    .with("song", whole(shared, &now)));
                }
            }
            wish.requests(song)
        })?;
        let Made { acts, hints, before, id, .. } = made;
        Ok(json!({
            "decision": id,
            "acts": acts.iter().map(|a| words(a, &before)).collect::<Vec<_>>(),
            "hints": hints,
        }))
    })
    .await
}

/// Which decisions to take back; none is the latest that holds.
#[derive(Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
struct Which {
    decisions: Vec<u32>,
}

/// Redo takes nothing, but must say so in JSON.
#[derive(Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
struct Nothing {}

pub(super) async fn undo(
    State(shared): Room,
    knows: Query<Knows>,
    body: Result<Bytes, BytesRejection>,
) -> ApiResult<Response> {
    let Which { decisions } = read_body(body)?;
    answer(shared, knows, move |shared| {
        Ok(undone(deciding::undo(shared.book.path(), &decisions)?))
    })
    .await
}

pub(super) async fn redo(
    State(shared): Room,
    knows: Query<Knows>,
    body: Result<Bytes, BytesRejection>,
) -> ApiResult<Response> {
    let Nothing {} = read_body(body)?;
    answer(shared, knows, |shared| {
        Ok(undone(deciding::redo(shared.book.path())?))
    })
    .await
}

fn undone(undone: Undone) -> Value {
    let Undone { id, of, log } = undone;
    let by_id = |id: &u32| log.decided.iter().find(|d| d.id == *id);
    let song = resolve(&log);
    let acts: Vec<String> = of
        .iter()
        .filter_map(by_id)
        .flat_map(|decision| {
            // of an undo, what it had taken and what is back now
            let mut back = decision.takes_back().filter_map(|id| by_id(&id)).peekable();
            if back.peek().is_some() {
                back.flat_map(|d| &d.acts).collect::<Vec<_>>()
            } else {
                decision.acts.iter().collect()
            }
        })
        .map(|act| words(act, &song))
        .collect();
    json!({"decision": id, "of": of, "acts": acts})
}

/// Does the work, tells every page, and answers with the song as it is then, or with
/// what changed in it.
async fn answer(
    shared: Arc<Shared>,
    Query(knows): Query<Knows>,
    work: impl FnOnce(&Shared) -> ApiResult<Value> + Send + 'static,
) -> ApiResult<Response> {
    let value = off_thread(move || {
        let mut value = work(&shared)?;
        let snapshot = shared.book.read()?;
        value["revision"] = json!(snapshot.revision);
        match knows.since.and_then(|r| shared.book.known(&r)) {
            Some(before) => value["changes"] = since(&shared, &before, &snapshot).into(),
            None => value["song"] = whole(&shared, &snapshot),
        }
        // nobody listening is no fault
        let _ = shared.news.send(News::Song {
            revision: snapshot.revision.clone(),
        });
        Ok(value)
    })
    .await?;
    Ok(json_response(StatusCode::OK, &value))
}
