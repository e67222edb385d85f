//! Chords put into bars.

use super::legend::Variants;
use super::{Mark, Measure, Printer};
use crate::songlog::song::{Bar, Song, State};
use crate::theory::Label;

/// A start this near a beat, in beats, is on it; else it is on the half beat.
const ON_BEAT: f64 = 0.3;

/// Every bar of the song with its marks. Appends the spans' notes to `remarks`.
pub(super) fn measures(
    song: &Song,
    print: &Printer,
    variants: &Variants,
    remarks: &mut Vec<String>,
) -> Vec<Measure> {
    let bars = all_bars(song);
    // silence before the music is in no bar
    let silent = usize::from(waits(song, &bars));
    // where each span starts: bar and half beat
    let mut starts: Vec<(usize, u8)> = Vec::new();
    for span in &song.spans[silent..] {
        let mut place = place(song, &bars, span.start_s);
        if let Some(last) = starts.last()
            && place <= *last
        {
            // two chords closer than half a beat: the second moves on
            let room = 2 * bars[last.0].n_beats.max(1);
            place = (last.0, (last.1 + 1).min(room - 1));
        }
        starts.push(place);
    }
    let mut out: Vec<Measure> = Vec::new();
    let mut next = 0;
    for (b, bar) in bars.iter().enumerate() {
        let first = next;
        while next < starts.len() && starts[next].0 == b {
            next += 1;
        }
        let mut marks = Vec::new();
        if starts.get(first).is_none_or(|s| *s != (b, 0)) && (first > 0 || next > first) {
            let over = first.saturating_sub(1);
            // before the first chord there is nothing to hold
            if first > 0 {
                marks.push(mark(song, print, variants, silent + over, 0, true));
            }
        }
        for (s, start) in starts.iter().enumerate().take(next).skip(first) {
            let span = silent + s;
            let mut mark = mark(song, print, variants, span, start.1, false);
            for note in &song.spans[span].notes {
                remarks.push(format!("bar {}, {}: {note}", bar.number, mark.symbol));
                mark.remarks.push(remarks.len());
            }
            marks.push(mark);
        }
        out.push(Measure {
            number: bar.number,
            n_beats: bar.n_beats.max(1),
            marks,
            tab: Vec::new(),
            in_line: false,
            key: song.key_at(bar.start_s),
            new_key: None,
            simile: false,
            repeat_start: false,
            repeat_end: false,
            ending: None,
            lyrics: match song.lyrics.is_empty() {
                true => Vec::new(),
                false => vec![sung(song, bar)],
            },
        });
    }
    out
}

/// Words that begin in a bar.
fn sung(song: &Song, bar: &Bar) -> String {
    const EARLY_S: f64 = 0.05;
    let inside = |s: f64| s >= bar.start_s - EARLY_S && s < bar.end_s - EARLY_S;
    let words = song.lyrics.iter().filter(|l| inside(l.start_s));
    words.map(|l| &l.text[..]).collect::<Vec<_>>().join(" ")
}

/// Whether the first span is silence that ends about where the first bar begins.
fn waits(song: &Song, bars: &[Bar]) -> bool {
    let (Some(span), Some(bar)) = (song.spans.first(), bars.first()) else {
        return false;
    };
    let beat_s = (bar.end_s - bar.start_s) / f64::from(bar.n_beats.max(1));
    song.spans.len() > 1
        && span.label == Label::NoChord
        && span.start_s < bar.start_s
        && span.end_s < bar.start_s + ON_BEAT * beat_s
}

fn mark(
    song: &Song,
    print: &Printer,
    variants: &Variants,
    span: usize,
    half_beat: u8,
    held: bool,
) -> Mark {
    Mark {
        half_beat,
        symbol: print(&song.spans[span]),
        open: song.spans[span].state == State::Open,
        variant: variants.of_span(span),
        degree: None,
        top: None,
        bass: None,
        remarks: Vec::new(),
        span,
        held,
    }
}

/// The song's bars, with a pickup before and a bar after where chords sound outside them.
pub(in crate::chart) fn all_bars(song: &Song) -> Vec<Bar> {
    if song.bars.is_empty() {
        return song
            .spans
            .iter()
            .zip(1..)
            .map(|(span, number)| Bar {
                number,
                start_s: span.start_s,
                end_s: span.end_s,
                n_beats: 1,
            })
            .collect();
    }
    let mut bars = song.bars.clone();
    let sounding = || song.spans.iter().filter(|s| s.label != Label::NoChord);
    let first = bars[0];
    let beat_s = (first.end_s - first.start_s) / f64::from(first.n_beats.max(1));
    if first.number > 0
        && let Some(start_s) = sounding().map(|s| s.start_s).next()
        && start_s < first.start_s - beat_s * 0.5
    {
        let n_beats = ((first.start_s - start_s) / beat_s.max(0.05)).round();
        bars.insert(
            0,
            Bar {
                number: 0,
                start_s,
                end_s: first.start_s,
                n_beats: n_beats.clamp(1.0, 16.0) as u8,
            },
        );
    }
    let last = bars[bars.len() - 1];
    if let Some(end_s) = sounding().map(|s| s.end_s).next_back()
        && sounding().any(|s| s.start_s > last.end_s - beat_s * 0.25)
        && end_s > last.end_s + beat_s * 0.5
    {
        bars.push(Bar {
            number: last.number + 1,
            start_s: last.end_s,
            end_s,
            n_beats: last.n_beats,
        });
    }
    bars
}

/// Bar and half beat nearest to a time.
fn place(song: &Song, bars: &[Bar], time_s: f64) -> (usize, u8) {
    let b = bars
        .iter()
        .rposition(|bar| bar.start_s <= time_s + 1e-9)
        .unwrap_or(0);
    let bar = &bars[b];
    let n = f64::from(bar.n_beats.max(1));
    let beats = beats_into(song, bar, time_s).clamp(0.0, n);
    let near = beats.round();
    let half = if (beats - near).abs() <= ON_BEAT {
        2.0 * near
    } else {
        2.0 * beats.floor() + 1.0
    };
    let half = half as u8;
    if half >= 2 * bar.n_beats.max(1) {
        if b + 1 < bars.len() {
            return (b + 1, 0);
        }
        return (b, 2 * bar.n_beats.max(1) - 1);
    }
    (b, half)
}

/// Beats from the bar's start to a time, by the heard beats where they fit the bar.
pub(super) fn beats_into(song: &Song, bar: &Bar, time_s: f64) -> f64 {
    const SLACK_S: f64 = 0.02;
    let beats = &song.beats_s;
    let from = beats.partition_point(|t| *t <= bar.start_s - SLACK_S);
    let to = beats.partition_point(|t| *t < bar.end_s - SLACK_S);
    let inside = beats.get(from..to).unwrap_or_default();
    let n = usize::from(bar.n_beats.max(1));
    if inside.len() != n {
        let length = (bar.end_s - bar.start_s).max(1e-6);
        return (time_s - bar.start_s) / length * n as f64;
    }
    let i = inside.iter().rposition(|t| *t <= time_s).unwrap_or(0);
    let end_s = inside.get(i + 1).copied().unwrap_or(bar.end_s);
    i as f64 + (time_s - inside[i]) / (end_s - inside[i]).max(1e-6)
}
