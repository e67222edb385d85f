//! The song's chords: what a lead sheet says where the hand embellishes.
//!
//! A first search joins what the song net hears over seconds with the detail that sounds, at one
//! cost for each change; it costs less where a beat falls and where the detail changes. Inside
//! each chord a second one asks whether its bass is meant: a slash chord is written only where
//! the song net hears its bass as the song's, so that a brushed string stays in the detail.
//!
//! # Source
//! Viterbi, IEEE Trans. Inf. Theory 13 (1967). Both levels and their costs: ours, fitted on the
//! suite `fit` of docs/training/suite.py.

use crate::hearing::acoustic::net::{LnChords, N_CLASSES, NO_CHORD};
use crate::hearing::acoustic::songs::{FINE_IN_SLOW, FINE_S, Pulse, SLOW_S, Songs};
use crate::hearing::harmony::keys::Keys;
use crate::hearing::harmony::labels::label_of;
use crate::hearing::learned;
use crate::hearing::outputs::{HeardSpan, Strum};
use crate::hearing::weight_files::SONG_LEVEL;
use crate::theory::{Chord, Label};
use serde::Deserialize;
use std::sync::LazyLock;

/// Costs and weights of the search, in nats where nothing else is said.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct SongWeights {
    /// Share of the net's log probabilities that counts: frames beside each other say the same.
    scale: f32,
    /// Added to "no chord", before scaling.
    none: f32,
    /// Of a change of chord, at the least.
    change: f32,
    /// More where no beat falls.
    off_beat: f32,
    /// More where the detail does not change.
    off_detail: f32,
    /// More, among strums, where none falls.
    off_strum: f32,
    /// How near strums make a place one among strums, s.
    among_s: f64,
    /// For a frame in which the detail is the same chord.
    detail: f32,
    /// For one in which it has another root or colour but is as major or minor.
    detail_triad: f32,
    /// Share of the net's log probabilities of basses that counts.
    bass_scale: f32,
    /// For a frame in which the detail has this bass.
    bass_detail: f32,
    /// Against a bass that is not the root, for a frame.
    slash_frame: f32,
    /// Against it, once.
    slash: f32,
    /// Of a change of bass inside a chord.
    bass_change: f32,
    /// A change is moved to a strum or to a change of the detail that is nearer than this, s.
    snap_s: f64,
    /// A change of the detail so near to a strum is where that strum changes it, s.
    same_s: f64,
    /// A candidate's score over `n` frames is divided by `n` to this power before it becomes a
    /// probability.
    flatten: f32,
}

static WEIGHTS: LazyLock<SongWeights> = LazyLock::new(|| learned::read(&SONG_LEVEL));

/// Of a slow frame: class and bass (semitones above the root) of the detail, if it is one of the
/// net's chords.
type Detail = Option<(usize, usize)>;

/// The song's chords over the same time as `detail`, with candidates; a chord that is the detail's
/// own, in the same place, is taken over as it is.
pub(crate) fn song_level(
    songs: &Songs,
    detail: &[HeardSpan],
    (beats_s, strums): (&[f64], &[Strum]),
    keys: &Keys,
) -> Vec<HeardSpan> {
    let n = songs.n_slow();
    let (Some(first), Some(last)) = (detail.first(), detail.last()) else {
        return Vec::new();
    };
    let of = frames_of(detail, n);
    let mut costs = change_costs(detail, beats_s, n);
    for (cost, off) in costs.iter_mut().zip(off_strums(&songs.pulse, n)) {
        *cost += WEIGHTS.off_strum * off;
    }
    let places = places(detail, strums);
    let mut evidence = Evidence {
        songs,
        chords: songs.chords(),
        of: &of,
    };
    let path = classes(&mut evidence, &costs);
    let mut spans: Vec<HeardSpan> = Vec::new();
    let starts: Vec<usize> = detail.iter().map(|s| frame_at(s.start_s)).collect();
    for (from, to) in runs(&path) {
        let class = path[from];
        for (a, b, bass) in basses(&evidence, (from, to), class, &starts) {
            let start_s = snapped(a, first.start_s, &places);
            let end_s = match b == n {
                true => last.end_s,
                false => snapped(b, first.start_s, &places),
            };
            if end_s - start_s > 1e-3 {
                let candidates = evidence.candidates((a, b), (class, bass), keys, start_s);
                spans.push(span_of(start_s, end_s, candidates, detail));
            }
        }
    }
    joined(spans, first.start_s, last.end_s)
}

/// The slow frame in which something that begins at a time is first heard.
fn frame_at(time_s: f64) -> usize {
    (time_s / SLOW_S - 0.5).round().max(0.0) as usize
}

/// Where a frame begins, or the place nearest to it that a chord may start at, s.
fn snapped(frame: usize, first_s: f64, places: &[f64]) -> f64 {
    if frame == 0 {
        return first_s;
    }
    let time_s = frame as f64 * SLOW_S - FINE_S / 2.0;
    let near = |s: &f64| (s - time_s).abs();
    let nearest = places
        .iter()
        .copied()
        .min_by(|a, b| near(a).total_cmp(&near(b)));
    nearest
        .filter(|s| near(s) < WEIGHTS.snap_s)
        .unwrap_or(time_s)
}

/// Where chords may start: at strums, and where the detail changes away from them (s); a strum
/// with which the detail changes is at the detail's own place.
fn places(detail: &[HeardSpan], strums: &[Strum]) -> Vec<f64> {
    let starts: Vec<f64> = detail.iter().map(|s| s.start_s).collect();
    let near = |all: &[f64], at_s: f64, within_s: f64| {
        let from = all.partition_point(|t| *t < at_s - within_s);
        all.get(from).is_some_and(|t| *t <= at_s + within_s)
    };
    let strums: Vec<f64> = strums.iter().map(|s| s.time_s).collect();
    let (same_s, snap_s) = (WEIGHTS.same_s, WEIGHTS.snap_s);
    let alone = |s: &&f64| !near(&starts, **s, same_s);
    let mut all: Vec<f64> = strums.iter().filter(alone).copied().collect();
    let kept = |s: &&f64| near(&strums, **s, same_s) || !near(&strums, **s, snap_s);
    all.extend(starts.iter().filter(kept));
    all
}

/// How much likelier a strum is around each slow frame's start than at it: the hand that lifts
/// off a chord, or sets its fingers down early, does not change it before the next strum.
fn off_strums(pulse: &[Pulse], n: usize) -> Vec<f32> {
    let reach = (WEIGHTS.among_s / FINE_S).round() as usize;
    let most = |center: usize, reach: usize| {
        let to = (center + reach + 1).min(pulse.len());
        let near = &pulse[center.saturating_sub(reach).min(to)..to];
        near.iter().map(|p| p.strum).fold(0.0, f32::max)
    };
    (0..n)
        .map(|t| {
            let start = t * FINE_IN_SLOW;
            most(start, reach) - most(start, FINE_IN_SLOW)
        })
        .collect()
}

/// Class and bass of a label that the net knows.
fn class_of(label: &Label) -> Detail {
    match label {
        Label::NoChord => Some((NO_CHORD, 0)),
        Label::Chord(Chord {
            root,
            quality,
            added,
            omitted,
            bass,
        }) if added.is_empty() && omitted.is_empty() => {
            let kind = quality.net?;
            let root = root.pitch_class().index();
            let bass = bass.map_or(0, |d| d.semitones().rem_euclid(12) as usize);
            Some((kind * 12 + root, bass))
        }
        _ => None,
    }
}

fn frames_of(detail: &[HeardSpan], n: usize) -> Vec<Detail> {
    let mut out = vec![None; n];
    for span in detail {
        let class = class_of(&span.candidates[0].0);
        let (from, to) = (frame_at(span.start_s).min(n), frame_at(span.end_s).min(n));
        out[from..to.max(from)].fill(class);
    }
    out
}

/// What a change costs at each slow frame.
fn change_costs(detail: &[HeardSpan], beats_s: &[f64], n: usize) -> Vec<f32> {
    let w = &*WEIGHTS;
    let near = |frames: &mut dyn Iterator<Item = usize>| {
        let mut near = vec![false; n];
        for at in frames {
            let end = (at + 2).min(n);
            near[at.saturating_sub(1).min(end)..end].fill(true);
        }
        near
    };
    let of_detail = near(&mut detail.iter().map(|s| frame_at(s.start_s)));
    let on_beat = near(&mut beats_s.iter().map(|t| frame_at(*t) + 1));
    (0..n)
        .map(|t| {
            let off_beat = if on_beat[t] { 0.0 } else { w.off_beat };
            let off_detail = if of_detail[t] { 0.0 } else { w.off_detail };
            w.change + off_beat + off_detail
        })
        .collect()
}

/// Whether a class is major (1), minor (2) or neither (0), by its third.
fn third(class: usize) -> u8 {
    static THIRDS: LazyLock<Vec<u8>> = LazyLock::new(|| {
        let of = |quality: &crate::theory::Quality| {
            let has = |semitones: i32| {
                let mut degrees = quality.degrees.iter();
                degrees.any(|d| d.semitones().rem_euclid(12) == semitones)
            };
            if has(4) {
                1
            } else if has(3) {
                2
            } else {
                0
            }
        };
        let rows = crate::theory::Quality::of_net();
        rows.into_iter().map(of).collect()
    });
    THIRDS.get(class / 12).copied().unwrap_or(3)
}

struct Evidence<'a> {
    songs: &'a Songs,
    chords: LnChords<'a>,
    of: &'a [Detail],
}

impl Evidence<'_> {
    /// What speaks for each class in a slow frame.
    fn add(&mut self, frame: usize, to: &mut [f32]) {
        let w = &*WEIGHTS;
        for (to, ln) in to.iter_mut().zip(self.chords.all(frame)) {
            *to += w.scale * ln;
        }
        to[NO_CHORD] += w.scale * w.none;
        let Some((class, _)) = self.of[frame] else {
            return;
        };
        if class != NO_CHORD {
            let (root, kind) = (class % 12, third(class));
            for other in (root..NO_CHORD).step_by(12) {
                if third(other) == kind {
                    to[other] += w.detail_triad;
                }
            }
            to[class] += w.detail - w.detail_triad;
        } else {
            to[class] += w.detail;
        }
    }

    /// The best labels of a stretch, the chosen one first.
    fn candidates(
        &mut self,
        (from, to): (usize, usize),
        (class, bass): (usize, usize),
        keys: &Keys,
        start_s: f64,
    ) -> Vec<(Label, f64, String)> {
        const N: usize = 6;
        let mut scores = vec![0.0; N_CLASSES];
        for frame in from..to {
            self.add(frame, &mut scores);
        }
        let flat = ((to - from) as f32).powf(WEIGHTS.flatten);
        let top = scores.iter().copied().fold(f32::MIN, f32::max);
        let mut weighted: Vec<(f32, usize)> = scores
            .iter()
            .enumerate()
            .map(|(i, s)| (((s - top) / flat).exp(), i))
            .collect();
        let total: f32 = weighted.iter().map(|w| w.0).sum();
        weighted.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        let mut best: Vec<(f32, usize)> = weighted.into_iter().take(N).collect();
        // a short stretch may be held by its neighbors: what was decided comes first
        if let Some(at) = best.iter().position(|(_, c)| *c == class) {
            best[..=at].rotate_right(1);
            let most = best.iter().map(|b| b.0).fold(0.0, f32::max);
            best[0].0 = most;
        } else {
            best.insert(0, (best[0].0, class));
            best.pop();
        }
        let key = keys.at(start_s);
        best.iter()
            .map(|(weight, c)| {
                let low = if *c == class { bass } else { 0 };
                let low = (c % 12 + low) % 12;
                let p = f64::from(weight / total).min(1.0);
                (label_of(*c, low, key), p, String::new())
            })
            .collect()
    }
}

/// Words of a bit for each class.
const N_WORDS: usize = N_CLASSES.div_ceil(64);

/// The most likely class of every slow frame.
fn classes(evidence: &mut Evidence<'_>, costs: &[f32]) -> Vec<usize> {
    let n = costs.len();
    let mut scores = vec![0.0f32; N_CLASSES];
    // of each frame the class that a change comes from, and which classes changed
    let mut from = vec![0u16; n];
    let mut changed = vec![[0u64; N_WORDS]; n];
    for t in 0..n {
        if t > 0 {
            let best = (0..N_CLASSES)
                .max_by(|a, b| scores[*a].total_cmp(&scores[*b]))
                .unwrap_or(NO_CHORD);
            let jump = scores[best] - costs[t];
            from[t] = best as u16;
            for (class, score) in scores.iter_mut().enumerate() {
                changed[t][class / 64] |= u64::from(*score < jump) << (class % 64);
                *score = score.max(jump);
            }
            // only differences matter: far from rounding in long takes
            let top = scores.iter().copied().fold(f32::MIN, f32::max);
            scores.iter_mut().for_each(|s| *s -= top);
        }
        evidence.add(t, &mut scores);
    }
    let mut class = (0..N_CLASSES)
        .max_by(|a, b| scores[*a].total_cmp(&scores[*b]))
        .unwrap_or(NO_CHORD);
    let mut path = vec![NO_CHORD; n];
    for t in (0..n).rev() {
        path[t] = class;
        if changed[t][class / 64] >> (class % 64) & 1 == 1 {
            class = usize::from(from[t]);
        }
    }
    path
}

/// Runs of equal values: first frame and the one after the last.
fn runs(path: &[usize]) -> Vec<(usize, usize)> {
    let mut out = Vec::new();
    let mut from = 0;
    for to in 1..=path.len() {
        if to == path.len() || path[to] != path[from] {
            out.push((from, to));
            from = to;
        }
    }
    out
}

/// The basses of a chord (semitones above its root) with their frames; they change only where
/// the detail does.
fn basses(
    evidence: &Evidence<'_>,
    (from, to): (usize, usize),
    class: usize,
    starts: &[usize],
) -> Vec<(usize, usize, usize)> {
    if class == NO_CHORD {
        return vec![(from, to, 0)];
    }
    let w = &*WEIGHTS;
    let root = class % 12;
    let mut scores = [0.0f32; 12];
    scores[1..].fill(-w.slash);
    let mut back: Vec<[u8; 12]> = Vec::with_capacity(to - from);
    let stay: [u8; 12] = std::array::from_fn(|b| b as u8);
    for t in from..to {
        let mut came = stay;
        if t > from && starts.contains(&t) {
            let best = (0..12)
                .max_by(|a, b| scores[*a].total_cmp(&scores[*b]))
                .unwrap_or(0);
            let jump = scores[best] - w.bass_change;
            for (score, came) in scores.iter_mut().zip(&mut came) {
                if *score < jump {
                    *score = jump;
                    *came = best as u8;
                }
            }
        }
        back.push(came);
        for (bass, score) in scores.iter_mut().enumerate() {
            let p = evidence.songs.ln_bass(t, (root + bass) % 12).exp();
            *score += w.bass_scale * (p + 1e-3).ln();
            if bass != 0 {
                *score -= w.slash_frame;
            }
        }
        if let Some((c, bass)) = evidence.of[t]
            && c != NO_CHORD
            && c % 12 == root
        {
            scores[bass] += w.bass_detail;
        }
    }
    let mut bass = (0..12)
        .max_by(|a, b| scores[*a].total_cmp(&scores[*b]))
        .unwrap_or(0);
    let mut path = vec![0usize; to - from];
    for i in (0..path.len()).rev() {
        path[i] = bass;
        bass = usize::from(back[i][bass]);
    }
    runs(&path)
        .into_iter()
        .map(|(a, b)| (from + a, from + b, path[a]))
        .collect()
}

/// A chord as it was found, or the detail's own where it is the same chord in the same place.
fn span_of(
    start_s: f64,
    end_s: f64,
    candidates: Vec<(Label, f64, String)>,
    detail: &[HeardSpan],
) -> HeardSpan {
    const SAME_S: f64 = 0.02;
    let same = |s: &&HeardSpan| {
        (s.start_s - start_s).abs() < SAME_S
            && (s.end_s - end_s).abs() < SAME_S
            && class_of(&s.candidates[0].0) == class_of(&candidates[0].0)
    };
    if let Some(same) = detail.iter().find(same) {
        return same.clone();
    }
    let fragment = detail
        .iter()
        .filter(|s| s.start_s < end_s && s.end_s > start_s)
        .all(|s| s.fragment);
    HeardSpan {
        start_s,
        end_s,
        candidates,
        shapes: Vec::new(),
        bass_midi: None,
        chroma: [0.0; 12],
        fragment,
    }
}

/// Chords without gap or overlap, none beside its equal.
fn joined(spans: Vec<HeardSpan>, first_s: f64, last_s: f64) -> Vec<HeardSpan> {
    let mut out: Vec<HeardSpan> = Vec::with_capacity(spans.len());
    for mut span in spans {
        match out.last_mut() {
            Some(before)
                if class_of(&before.candidates[0].0) == class_of(&span.candidates[0].0) =>
            {
                before.end_s = span.end_s;
                continue;
            }
            Some(before) => span.start_s = before.end_s,
            None => span.start_s = first_s,
        }
        if span.end_s > span.start_s {
            out.push(span);
        }
    }
    if let Some(last) = out.last_mut() {
        last.end_s = last_s;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_weights_load_with_every_field() {
        assert!(WEIGHTS.change > 0.0 && WEIGHTS.scale > 0.0);
        let text = include_str!("../weights/song-level.json");
        let misspelled = text.replace("bass_change", "bas_change");
        assert!(serde_json::from_str::<SongWeights>(&misspelled).is_err());
    }
}
