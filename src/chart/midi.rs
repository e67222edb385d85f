//! A Standard MIDI File, type 1: tempo map and markers, and the chords as their shapes sound.
//!
//! Tick 0 is the start of the take, so the file plays along with it; a lead-in of
//! whole beats stands before the first bar, in bars of its meter behind one that may
//! be shorter. What rings on behind the last bar ends with it. Texts are plain ASCII.
//! With a steady tempo the beats are the same, but the clock of the take is not kept.
//!
//! # Source
//! Standard MIDI Files 1.0, RP-001, MIDI Manufacturers Association, 1996.

mod notes;

use super::sheet::all_bars;
use super::{ChartError, Options};
use crate::songlog::song::{Bar, Song};
use crate::theory::Mode;
use midly::num::{u4, u7, u15, u24, u28};
use midly::{Format, Header, MetaMessage, MidiMessage, Smf, Timing, TrackEvent, TrackEventKind};

/// Ticks of a quarter note.
const QUARTER: u32 = 480;
/// General MIDI program 26, acoustic guitar (steel), from 0.
const GUITAR: u8 = 25;

/// A time and its tick.
struct Anchor {
    time_s: f64,
    tick: u32,
}

/// The file.
///
/// # Errors
/// * [`ChartError::Unwritable`] for a take too long for the format.
pub(super) fn write(song: &Song, options: &Options) -> Result<Vec<u8>, ChartError> {
    let bars = all_bars(song);
    let (anchors, meters) = tempo_map(song, &bars);
    let title = ascii(&song.title);
    let mut texts: Vec<(u32, String)> = Vec::new();
    for section in &song.sections {
        if let Some(bar) = bars.iter().find(|b| b.number >= section.first_bar) {
            let mut text = section.letter.clone();
            if let Some(name) = &section.name {
                text.push(' ');
                text.push_str(name);
            }
            texts.push((tick_at(&anchors, bar.start_s), ascii(&text)));
        }
    }
    let chord_texts: Vec<(u32, String)> = song
        .spans
        .iter()
        .map(|s| (tick_at(&anchors, s.start_s), ascii(&s.label.symbol())))
        .collect();

    let conductor = conductor(song, options, (&title, &texts), (&anchors, &meters), &bars);

    let mut guitar: Vec<(u32, TrackEventKind)> = vec![
        (0, meta(MetaMessage::TrackName(b"Chords"))),
        (
            0,
            channel(MidiMessage::ProgramChange {
                program: u7::new(GUITAR),
            }),
        ),
    ];
    let last_s = bars.last().map_or(song.duration_s, |b| b.end_s);
    for (span, (tick, text)) in song.spans.iter().zip(&chord_texts) {
        guitar.push((*tick, meta(MetaMessage::Text(text.as_bytes()))));
        // a last chord that rings on would make one more bar elsewhere
        let end_s = match span.start_s < last_s {
            true => span.end_s.min(last_s),
            false => span.end_s,
        };
        let end = tick_at(&anchors, end_s).max(tick + 1);
        for note in notes::notes(song, span, end_s) {
            let (key, vel) = (u7::new(note.midi.min(127)), u7::new(note.velocity));
            let on = tick_at(&anchors, note.start_s).max(*tick);
            let off = tick_at(&anchors, note.end_s).clamp(on + 1, end.max(on + 1));
            guitar.push((on, channel(MidiMessage::NoteOn { key, vel })));
            let vel = u7::new(0);
            guitar.push((off, channel(MidiMessage::NoteOff { key, vel })));
        }
    }
    // at one tick, notes end before others begin
    guitar.sort_by_key(|(tick, kind)| {
        let starts = !matches!(
            kind,
            TrackEventKind::Midi {
                message: MidiMessage::NoteOff { .. },
                ..
            }
        );
        (*tick, starts)
    });
    let smf = Smf {
        header: Header::new(Format::Parallel, Timing::Metrical(u15::new(QUARTER as u16))),
        tracks: vec![track(conductor)?, track(guitar)?],
    };
    let mut bytes = Vec::new();
    smf.write_std(&mut bytes)
        .map_err(|e| ChartError::Unwritable {
            format: "MIDI",
            reason: e.to_string(),
        })?;
    Ok(bytes)
}

/// The title, tempi, meters, keys and sections, by tick.
fn conductor<'a>(
    song: &Song,
    options: &Options,
    (title, texts): (&'a str, &'a [(u32, String)]),
    (anchors, meters): (&[Anchor], &[(u32, u8, u8)]),
    bars: &[Bar],
) -> Vec<(u32, TrackEventKind<'a>)> {
    let mut conductor: Vec<(u32, TrackEventKind)> =
        vec![(0, meta(MetaMessage::TrackName(title.as_bytes())))];
    let steady = song.tempo_bpm.filter(|_| options.steady);
    if let Some(bpm) = steady {
        let beat = bars.first().map_or(QUARTER, |bar| beat_ticks(song, bar));
        let us = 60e6 / bpm * f64::from(QUARTER) / f64::from(beat);
        let us = us.round().clamp(1.0, f64::from((1u32 << 24) - 1)) as u32;
        conductor.push((0, meta(MetaMessage::Tempo(u24::new(us)))));
    }
    for pair in anchors.windows(2).filter(|_| steady.is_none()) {
        let quarters = f64::from(pair[1].tick - pair[0].tick) / f64::from(QUARTER);
        let us = (pair[1].time_s - pair[0].time_s) * 1e6 / quarters.max(1e-9);
        let us = us.round().clamp(1.0, f64::from((1u32 << 24) - 1)) as u32;
        conductor.push((pair[0].tick, meta(MetaMessage::Tempo(u24::new(us)))));
    }
    for (tick, n, value) in meters {
        let power = (*value).max(1).ilog2() as u8;
        conductor.push((*tick, meta(MetaMessage::TimeSignature(*n, power, 24, 8))));
    }
    let first = song.key.map(|key| (0, key));
    let later = song.key_changes.iter();
    let later = later.map(|c| (tick_at(anchors, c.at_s), c.key));
    for (tick, key) in first.into_iter().chain(later) {
        // the format knows major and minor; other modes are written by their signature
        let minor = key.mode == Mode::Minor;
        // the format holds seven signs at most
        let signs = key.signature().clamp(-7, 7) as i8;
        conductor.push((tick, meta(MetaMessage::KeySignature(signs, minor))));
    }
    for (tick, text) in texts {
        conductor.push((*tick, meta(MetaMessage::Marker(text.as_bytes()))));
    }
    conductor.sort_by_key(|(tick, _)| *tick);
    conductor
}

/// Time to tick by beats, and time signatures as tick, beats and note value.
fn tempo_map(song: &Song, bars: &[Bar]) -> (Vec<Anchor>, Vec<(u32, u8, u8)>) {
    let (_, value) = song.meter.unwrap_or((4, 4));
    let mut anchors: Vec<Anchor> = Vec::new();
    let mut meters: Vec<(u32, u8, u8)> = Vec::new();
    let first = bars.first().map_or(0.0, |b| b.start_s);
    let mut tick = 0;
    let beat_ticks = |bar: &Bar| beat_ticks(song, bar);
    if let Some(bar) = bars.first()
        && first > 0.001
    {
        let beat_s = (bar.end_s - bar.start_s) / f64::from(bar.n_beats.max(1));
        let n = (first / beat_s.max(0.05)).round().clamp(1.0, 10_000.0) as u32;
        anchors.push(Anchor { time_s: 0.0, tick });
        let dotted = beat_ticks(bar) == QUARTER * 3 / 2;
        let signature = |at: u32, n: u8| match dotted {
            true => (at * beat_ticks(bar), n * 3, 8),
            false => (at * beat_ticks(bar), n, value),
        };
        let whole = bars.iter().find(|b| b.number > 0).unwrap_or(bar).n_beats;
        let (before, short) = (n / u32::from(whole.max(1)), n % u32::from(whole.max(1)));
        if short > 0 {
            meters.push(signature(0, short as u8));
        }
        if before > 0 {
            meters.push(signature(short, whole));
        }
        tick += n * beat_ticks(bar);
    }
    for bar in bars {
        let n = bar.n_beats.max(1);
        let ticks = beat_ticks(bar);
        let dotted = ticks == QUARTER * 3 / 2;
        let signature = if dotted { (n * 3, 8) } else { (n, value) };
        if meters.last().map(|m| (m.1, m.2)) != Some(signature) {
            meters.push((tick, signature.0, signature.1));
        }
        let inside: Vec<f64> = song
            .beats_s
            .iter()
            .copied()
            .filter(|t| *t > bar.start_s + 0.02 && *t < bar.end_s - 0.02)
            .collect();
        anchors.push(Anchor {
            time_s: bar.start_s,
            tick,
        });
        if inside.len() + 1 == usize::from(n) {
            for (time_s, i) in inside.into_iter().zip(1..) {
                anchors.push(Anchor {
                    time_s,
                    tick: tick + i * ticks,
                });
            }
        }
        tick += u32::from(n) * ticks;
    }
    let end = bars.last().map_or(song.duration_s, |b| b.end_s);
    anchors.push(Anchor {
        time_s: end.max(first + 0.001),
        tick: tick.max(1),
    });
    // two anchors at one time would ask for an endless tempo
    anchors.dedup_by(|b, a| b.time_s <= a.time_s || b.tick <= a.tick);
    (anchors, meters)
}

/// Ticks of a beat: six eighths are counted in two.
fn beat_ticks(song: &Song, bar: &Bar) -> u32 {
    let (n, value) = song.meter.unwrap_or((4, 4));
    match value == 8 && n.is_multiple_of(3) && bar.n_beats * 3 == n {
        true => QUARTER * 3 / 2,
        false => 4 * QUARTER / u32::from(value.max(1)),
    }
}

/// Tick of a time; before the first and after the last anchor the tempo goes on.
fn tick_at(anchors: &[Anchor], time_s: f64) -> u32 {
    let Some(i) = anchors
        .iter()
        .rposition(|a| a.time_s <= time_s)
        .or(Some(0))
        .map(|i| i.min(anchors.len().saturating_sub(2)))
    else {
        return 0;
    };
    let (Some(a), Some(b)) = (anchors.get(i), anchors.get(i + 1)) else {
        return (time_s.max(0.0) * 2.0 * f64::from(QUARTER)).round() as u32;
    };
    let slope = f64::from(b.tick - a.tick) / (b.time_s - a.time_s).max(1e-9);
    (f64::from(a.tick) + (time_s - a.time_s) * slope)
        .round()
        .max(0.0) as u32
}

/// Accidentals spelled out in ASCII, everything else that is not ASCII as `?`.
fn ascii(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '♯' => '#',
            '♭' => 'b',
            '–' | '—' => '-',
            '’' | '‘' => '\'',
            c if c.is_ascii() && !c.is_control() => c,
            c if c.is_control() => ' ',
            _ => '?',
        })
        .collect()
}

fn meta(message: MetaMessage<'_>) -> TrackEventKind<'_> {
    TrackEventKind::Meta(message)
}

fn channel(message: MidiMessage) -> TrackEventKind<'static> {
    TrackEventKind::Midi {
        channel: u4::new(0),
        message,
    }
}

/// Ticks to deltas, and the end of the track.
fn track(events: Vec<(u32, TrackEventKind<'_>)>) -> Result<Vec<TrackEvent<'_>>, ChartError> {
    let mut now = 0;
    let mut out = Vec::with_capacity(events.len() + 1);
    for (tick, kind) in events {
        let delta = u28::try_from(tick - now).ok_or_else(|| ChartError::Unwritable {
            format: "MIDI",
            reason: "the take is too long".into(),
        })?;
        out.push(TrackEvent { delta, kind });
        now = tick;
    }
    out.push(TrackEvent {
        delta: u28::new(0),
        kind: meta(MetaMessage::EndOfTrack),
    });
    Ok(out)
}
