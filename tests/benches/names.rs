//! Prints what naming, shapes and double stops cost: `cargo bench --bench names`.

use std::hint::black_box;
use std::time::Instant;
use takebook::fretboard::{Instrument, Limits, Played, smoothest, usual_voicings};
use takebook::theory::Chord;
use takebook::theory::imply::{Fragment, Place, read_row};
use takebook::theory::naming::{Context, names};

/// Time of one call, µs: the median, and the fastest, which other programs disturb least.
fn times_us<T>(n: usize, mut call: impl FnMut() -> T) -> (f64, f64) {
    let mut times: Vec<f64> = (0..n)
        .map(|_| {
            let start = Instant::now();
            black_box(call());
            start.elapsed().as_secs_f64() * 1e6
        })
        .collect();
    times.sort_by(f64::total_cmp);
    (times[n / 2], times[0])
}

fn main() {
    let mut out = std::io::stdout().lock();
    let mut print = |line: String| {
        use std::io::Write;
        let _ = writeln!(out, "{line}");
    };
    let guitar = Instrument::default();
    for chord in ["C", "Am7", "F#m7b5", "Bbmaj9", "G13", "D/F#"] {
        let parsed = chord.parse().unwrap_or_else(|e| panic!("{e}"));
        let limits = Limits::default();
        let n = usual_voicings(&guitar, &parsed, &limits).len();
        let (us, least) = times_us(50, || usual_voicings(&guitar, &parsed, &limits));
        print(format!(
            "shapes {chord}: {n} in {us:.0} µs (fastest {least:.0})"
        ));
    }
    for shape in ["x79987", "2x0232", "x32003", "x02240", "133211"] {
        let parsed = shape.parse().unwrap_or_else(|e| panic!("{e}"));
        let played = Played::of_shape(&guitar, parsed);
        let context = Context {
            bass: played.bass(),
            ..Context::default()
        };
        let set = played.pitch_classes();
        let (us, least) = times_us(500, || names(set, context, 4));
        print(format!("name {shape}: {us:.1} µs (fastest {least:.1})"));
    }
    let progression: Vec<Chord> = [
        "C", "Am7", "Dm7", "G7", "Em7", "A7", "Dm9", "G13", "Cmaj7", "Fmaj7", "Bm7b5", "E7#9",
        "Am", "D7", "Fm6", "C/E",
    ]
    .iter()
    .map(|c| c.parse().unwrap_or_else(|e| panic!("{e}")))
    .collect();
    let (us, least) = times_us(20, || {
        smoothest(&guitar, &progression, &Limits::default(), &[])
    });
    let (ms, least) = (us / 1e3, least / 1e3);
    print(format!(
        "progression of 16 chords: {ms:.1} ms (fastest {least:.1})"
    ));
    let row: Vec<Fragment> = (0..300u32)
        .map(|i| {
            let root = [55u8, 60, 62, 55, 64, 60, 57, 62][(i / 4 % 8) as usize];
            let mut f = Fragment::of(&[root, root + [4, 7, 4, 12][(i % 4) as usize]]);
            f.place = if i % 4 == 0 {
                Place::BarStart
            } else {
                Place::Weak
            };
            f
        })
        .collect();
    for (words, key) in [("key given", "G".parse().ok()), ("key found", None)] {
        let (us, least) = times_us(5, || read_row(&row, key, 3));
        let (ms, least) = (us / 1e3, least / 1e3);
        print(format!(
            "300 double stops, {words}: {ms:.0} ms (fastest {least:.0})"
        ));
    }
}
