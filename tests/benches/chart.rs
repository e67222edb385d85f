//! Prints what delivering costs: `cargo bench --bench chart`.
//!
//! A song of 200 bars (two chords in most, six sections, decided shapes, some
//! fragments with their notes) in every format, and the demo take's PDF.

use std::hint::black_box;
use std::time::Instant;
use takebook::chart::{FORMATS, Format, Options, binder, write};
use takebook::fretboard::Instrument;
use takebook::songlog::heard::Candidate;
use takebook::songlog::song::{Bar, Section, Song, Span, State};

const BARS: u32 = 200;
const BAR_S: f64 = 2.0;

/// Median time of one call, ms.
fn median_ms<T>(n: usize, mut call: impl FnMut() -> T) -> f64 {
    let mut times: Vec<f64> = (0..n)
        .map(|_| {
            let start = Instant::now();
            black_box(call());
            start.elapsed().as_secs_f64() * 1e3
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times[n / 2]
}

fn span(i: u32, start_s: f64, end_s: f64) -> Span {
    let table = [
        ("G", "320003"),
        ("C", "x32010"),
        ("D/F#", "2x0232"),
        ("Em7", "022030"),
        ("Am7", "x02010"),
        ("F#m7b5/C", "x3x210"),
        ("Bm", "x24432"),
        ("Cmaj7", "x32000"),
        ("D7sus4", "xx0213"),
        ("B7b9", "x21202"),
        ("Gadd9/B", "x20203"),
    ];
    let (name, shape) = table[((i * 7 + i / 5) % 11) as usize];
    let label: takebook::theory::Label = name.parse().unwrap_or_else(|e| panic!("{e}"));
    let fragment = i.is_multiple_of(13);
    let pick = (0..8).map(|k| {
        let pitch = [50, 57, 62, 66][k % 4];
        (pitch, start_s + (end_s - start_s) * k as f64 / 8.0)
    });
    Span {
        start_s,
        end_s,
        candidates: (0..5)
            .map(|k| Candidate {
                label: label.clone(),
                probability: 0.6 / f64::from(k + 1),
                reason: "root and third heard; the bass is its root".into(),
            })
            .collect(),
        label,
        state: if i.is_multiple_of(9) {
            State::Open
        } else {
            State::Decided
        },
        certainty: Some(0.6),
        shapes: vec![shape.parse().unwrap_or_else(|e| panic!("{e}"))],
        n_decided_shapes: usize::from(!i.is_multiple_of(9)),
        notes: if i % 40 == 3 {
            vec!["let it ring".into()]
        } else {
            Vec::new()
        },
        bass_midi: Some(43),
        fragment,
        struck: pick.collect(),
    }
}

fn song() -> Song {
    let bars: Vec<Bar> = (0..BARS)
        .map(|b| Bar {
            number: b + 1,
            start_s: f64::from(b) * BAR_S,
            end_s: f64::from(b + 1) * BAR_S,
            n_beats: 4,
        })
        .collect();
    let spans = (0..BARS * 2)
        .map(|i| {
            let start_s = f64::from(i) * BAR_S / 2.0;
            span(i, start_s, start_s + BAR_S / 2.0)
        })
        .collect();
    let edges = [0, 24, 64, 88, 128, 160, BARS];
    let sections = edges
        .windows(2)
        .zip(["A", "B", "A", "B", "C", "D"])
        .map(|(w, letter)| Section {
            letter: letter.into(),
            name: Some(format!("Part {letter}")),
            first_bar: w[0] + 1,
            last_bar: w[1],
            ..Default::default()
        })
        .collect();
    Song {
        title: "Two Hundred Bars".into(),
        duration_s: f64::from(BARS) * BAR_S,
        instrument: Instrument::default(),
        tempo_bpm: Some(120.0),
        meter: Some((4, 4)),
        key: "G".parse().ok(),
        beats_s: (0..BARS * 4).map(|b| f64::from(b) * 0.5).collect(),
        bars,
        sections,
        spans,
        ..Song::default()
    }
}

fn main() {
    let mut out = std::io::stdout().lock();
    let mut print = |line: String| {
        use std::io::Write;
        let _ = writeln!(out, "{line}");
    };
    let song = song();
    let options = Options::default();
    let mut all = 0.0;
    for (name, format) in FORMATS {
        let bytes = write(&song, format, &options)
            .unwrap_or_else(|e| panic!("{e}"))
            .len();
        let ms = median_ms(11, || write(&song, format, &options));
        all += ms;
        print(format!("{BARS} bars to {name}: {ms:.1} ms, {bytes} bytes"));
    }
    print(format!("{BARS} bars to every format: {all:.1} ms"));
    let easy = Options {
        easy: true,
        ..Options::default()
    };
    let ms = median_ms(5, || write(&song, Format::Pdf, &easy));
    print(format!("{BARS} bars to pdf, open shapes: {ms:.1} ms"));
    let songs = vec![song; 20];
    let ms = median_ms(3, || binder("Bench", &songs, &options, &|| {}));
    print(format!("a binder of 20 such songs: {ms:.0} ms"));
}
