//! A request as acts: which chords, edges and sections it is about.

use super::place::{Moment, Place, Twin, read_moment, twins};
use super::taps::BarBeats;
use super::words::listed;
use super::{DecideError, DecisionRequest, lessons, one_chord, sections, versions};
use crate::songlog::decided::{Act, How};
use crate::songlog::song::{Bar, Song, Span, State};
use crate::songlog::{Log, resolve, store};

/// The acts of one request on a log that resolves to `song`.
///
/// # Errors
/// If something that is asked for is not there, with what there is instead.
pub(super) fn acts(
    request: &DecisionRequest,
    log: &Log,
    song: &Song,
) -> Result<Vec<Act>, DecideError> {
    request.check()?;
    let mut acts = acts_for_song(request, Some(song))?;
    let (note, removed) = (&request.lesson_note, request.remove_lesson_note);
    acts.extend(lessons::acts(note.as_ref(), removed, log, song)?);
    let mut places = places(request, song)?;
    if places.is_empty() {
        if let Some(text) = &request.note {
            acts.push(Act::Note {
                start_s: None,
                end_s: None,
                text: text.clone(),
            });
        }
        return Ok(acts);
    }
    // the same move in a repeat is one from and to other moments, not another place
    if let Some(to) = &request.move_to {
        acts.extend(moves(to, &places, request.repeats, song)?);
    }
    if request.repeats {
        let twins: Vec<Twin> = places.iter().flat_map(|p| twins(*p, song)).collect();
        places.extend(twins.iter().filter(|t| t.same).map(|t| t.place));
    }
    places.sort_by(|a, b| a.start_s().total_cmp(&b.start_s()));
    places.dedup();
    at_places(request, &places, log, song, &mut acts)?;
    Ok(acts)
}

/// The acts about the whole song; without a song, bars with other beats are left
/// out, and the first downbeat must be a time.
///
/// # Errors
/// * [`DecideError::Asked`] if a value makes no sense, or a bar or moment is not there.
pub fn acts_for_song(
    request: &DecisionRequest,
    song: Option<&Song>,
) -> Result<Vec<Act>, DecideError> {
    request.check_values()?;
    let mut acts = request.for_song();
    let (saved, removed) = (&request.chart_version, &request.remove_version);
    acts.extend(versions::acts(saved.as_ref(), removed.as_deref(), song)?);
    if let Some(moment) = &request.first_downbeat {
        let at_s = match song {
            Some(song) => moment.seconds(song)?,
            None => moment.without_song()?,
        };
        acts.push(Act::Downbeat { at_s });
    }
    if let Some(song) = song {
        for wanted in &request.bar_beats {
            acts.push(bar_beats(song, *wanted)?);
        }
    }
    Ok(acts)
}

/// The places that a request names.
fn places(request: &DecisionRequest, song: &Song) -> Result<Vec<Place>, DecideError> {
    let mut places = Vec::new();
    for place in &request.places {
        places.extend(place.places(song)?);
    }
    Ok(places)
}

/// Repeats that a decision is not carried to, in words; none if there are none.
pub(super) fn left_out(request: &DecisionRequest, song: &Song) -> Option<String> {
    if !request.repeats {
        return None;
    }
    let places = places(request, song).ok()?;
    let twins = places.iter().flat_map(|p| twins(*p, song));
    let mut bars: Vec<u32> = twins.filter(|t| !t.same).map(|t| t.bar).collect();
    bars.sort_unstable();
    bars.dedup();
    let names: Vec<String> = bars.iter().map(u32::to_string).collect();
    (!bars.is_empty()).then(|| {
        format!(
            "left out, since they differ or were decided otherwise: bar{} {}",
            if bars.len() == 1 { "" } else { "s" },
            names.join(", ")
        )
    })
}

/// The decision that a bar has so many beats.
///
/// # Errors
/// * [`DecideError::Asked`] if there is no such bar.
fn bar_beats(song: &Song, wanted: BarBeats) -> Result<Act, DecideError> {
    let BarBeats { bar, n_beats } = wanted;
    let at_s = read_moment(&bar.to_string(), song)?;
    if !(1..=16).contains(&n_beats) {
        return Err(DecideError::asked(format!(
            "bar {bar} cannot have {n_beats} beats (1 to 16)"
        )));
    }
    Ok(Act::BarBeats { at_s, n_beats })
}

fn at_places(
    request: &DecisionRequest,
    places: &[Place],
    log: &Log,
    song: &Song,
    acts: &mut Vec<Act>,
) -> Result<(), DecideError> {
    edges(request, places, song, acts)?;
    acts.extend(sections::edges(request, places));
    if !request.for_section(0.0, 1.0).is_empty() {
        let song = after(acts, log);
        acts.extend(sections::named(request, places, &song));
    }
    if let Some(key) = request.key {
        acts.extend(places.iter().map(|p| Act::KeyFrom {
            at_s: p.start_s(),
            key,
        }));
    }
    if let Some(text) = &request.lyric {
        for place in places {
            lyric(text, *place, song, acts)?;
        }
    }
    if request.accept {
        let least = f64::from(request.at_least.unwrap_or(0)) / 100.0;
        accept(least, places, song, acts)?;
    }
    if request.unconfirm {
        unconfirm(places, song, acts)?;
    }
    if !request.is_about_chords() {
        return Ok(());
    }
    // splits and joins come first: the rest is about what they leave
    let song = after(acts, log);
    for place in places {
        one_chord::acts(request, *place, &song, acts)?;
    }
    Ok(())
}

/// The song with some acts decided.
fn after(acts: &[Act], log: &Log) -> Song {
    let mut changed = log.clone();
    changed.decide(store::now(), acts.to_vec());
    resolve(&changed)
}

/// A change of chord nearer than this to its place in a repeat is the same one, s.
const SAME_CHANGE_S: f64 = 0.25;

/// A change of chord that moves, also in the repeats that have it.
fn moves(
    to: &Moment,
    places: &[Place],
    repeats: bool,
    song: &Song,
) -> Result<Vec<Act>, DecideError> {
    let to_s = to.seconds(song)?;
    let [place] = places else {
        return Err(DecideError::asked(
            "one change of chord can be moved at a time",
        ));
    };
    let from_s = place.start_s();
    let mut acts = vec![Act::Move { from_s, to_s }];
    if !repeats {
        return Ok(acts);
    }
    let goals = twins(Place::Point(to_s), song);
    for twin in twins(Place::Point(from_s), song) {
        let goal = goals.iter().find(|g| g.section == twin.section);
        let at_s = twin.place.start_s();
        let change = song
            .spans
            .iter()
            .map(|s| s.start_s)
            .min_by(|a, b| (a - at_s).abs().total_cmp(&(b - at_s).abs()))
            .filter(|change| (change - at_s).abs() < SAME_CHANGE_S);
        if let (true, Some(goal), Some(from_s)) = (twin.same, goal, change) {
            let to_s = goal.place.start_s();
            acts.push(Act::Move { from_s, to_s });
        }
    }
    Ok(acts)
}

/// Where chords change.
fn edges(
    request: &DecisionRequest,
    places: &[Place],
    song: &Song,
    acts: &mut Vec<Act>,
) -> Result<(), DecideError> {
    for place in places {
        if request.split {
            acts.push(Act::Split {
                at_s: place.start_s(),
            });
        }
        if request.join {
            let Place::Stretch(start_s, end_s) = *place else {
                return Err(DecideError::asked(
                    "making one chord needs a stretch, for example bars 5-6 or beats 12.1-12.2",
                ));
            };
            let spans = place.spans(song);
            let (Some(first), Some(last)) = (spans.first(), spans.last()) else {
                return Err(DecideError::asked("no chord sounds there"));
            };
            if first == last && request.chord.is_none() {
                return Err(DecideError::asked(format!(
                    "there is only one chord already: {}",
                    listed(song, &spans)
                )));
            }
            acts.push(Act::Join {
                start_s: song.spans[*first].start_s.min(start_s),
                end_s: song.spans[*last].end_s.max(end_s),
            });
        }
    }
    Ok(())
}

fn accept(
    least: f64,
    places: &[Place],
    song: &Song,
    acts: &mut Vec<Act>,
) -> Result<(), DecideError> {
    let mut all: Vec<usize> = places
        .iter()
        .flat_map(|p| p.spans(song).into_iter().chain(p.silence_beside(song)))
        .collect();
    all.sort_unstable();
    all.dedup();
    let open: Vec<usize> = all
        .iter()
        .copied()
        .filter(|i| song.spans[*i].state == State::Open)
        .collect();
    if open.is_empty() {
        return Err(DecideError::asked(format!(
            "every chord there is already confirmed: {}; to change one give a candidate or a chord, or use undo",
            listed(song, &all)
        )));
    }
    let before = acts.len();
    for i in open.iter().copied() {
        let span = &song.spans[i];
        if let Some(first) = span.candidates.first().filter(|c| c.probability >= least) {
            acts.push(Act::Chord {
                start_s: span.start_s,
                end_s: span.end_s,
                label: first.label.clone(),
                how: How::Proposed,
            });
        }
    }
    if acts.len() == before {
        return Err(DecideError::asked(format!(
            "no unconfirmed chord there has a probability of {} % or more: {}",
            (100.0 * least).round(),
            listed(song, &open)
        )));
    }
    Ok(())
}

fn unconfirm(places: &[Place], song: &Song, acts: &mut Vec<Act>) -> Result<(), DecideError> {
    let mut all: Vec<usize> = places.iter().flat_map(|p| p.spans(song)).collect();
    all.sort_unstable();
    all.dedup();
    let is_decided = |s: &Span| s.state == State::Decided || s.n_decided_shapes > 0;
    let before = acts.len();
    for span in all.iter().map(|i| &song.spans[*i]) {
        if is_decided(span) {
            acts.push(Act::Unconfirm {
                start_s: span.start_s,
                end_s: span.end_s,
            });
        }
    }
    match acts.len() == before {
        true => Err(DecideError::asked(format!(
            "nothing was decided about a chord there: {}",
            listed(song, &all)
        ))),
        false => Ok(()),
    }
}

/// Words from a place on: each part between bars gets a bar, a single part the whole place.
fn lyric(text: &str, place: Place, song: &Song, acts: &mut Vec<Act>) -> Result<(), DecideError> {
    let parts: Vec<&str> = text.split('|').map(str::trim).collect();
    let first = song
        .bars
        .iter()
        .rposition(|b| b.start_s <= place.start_s() + 0.01)
        .unwrap_or(0);
    if let ([part], Place::Stretch(start_s, end_s)) = (&parts[..], place) {
        acts.push(Act::Lyric {
            start_s,
            end_s,
            text: (*part).into(),
        });
        return Ok(());
    }
    let bars = song.bars.get(first..).unwrap_or_default();
    if parts.len() > bars.len() {
        return Err(DecideError::asked(format!(
            "{} parts of words, but only {} bars from there on",
            parts.len(),
            bars.len()
        )));
    }
    let before = acts.len();
    // a bar whose part is empty loses its words, unless none stood there
    let sung = |bar: &Bar| {
        let inside = |s: f64| s >= bar.start_s - 0.01 && s < bar.end_s - 0.01;
        song.lyrics.iter().any(|l| inside(l.start_s))
    };
    for (part, bar) in parts.iter().zip(bars) {
        if !part.is_empty() || sung(bar) {
            acts.push(Act::Lyric {
                start_s: bar.start_s,
                end_s: bar.end_s,
                text: (*part).into(),
            });
        }
    }
    match acts.len() == before {
        true => Err(DecideError::asked("there are no words in it")),
        false => Ok(()),
    }
}
