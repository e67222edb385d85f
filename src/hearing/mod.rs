//! Samples to notes, beats and chord proposals. Pure: opens no file, reads no clock.

mod acoustic;
mod attack;
mod beats;
mod cells;
mod chords;
mod error;
mod notes;
pub mod spectrum;
mod stage;
mod tuning;

pub use chords::ChordWeights;
pub use error::HearingError;
pub use notes::{Note, NoteWeights};

/// Development only.
pub fn dump(samples: &[f32]) -> Vec<u8> {
    let t0 = std::time::Instant::now();
    let mut s = stage::FrontStage::new();
    s.push(samples);
    let f = s.finish();
    let t1 = std::time::Instant::now();
    let net = acoustic::Net::built_in().unwrap();
    let a = net
        .hear(&f.spectra, f.tuning.map_or(0.0, |t| t.0), &|_| ())
        .unwrap();
    let t2 = std::time::Instant::now();
    let strokes = cells::strokes(&f.attacks);
    let dur = f.n_samples as f64 / 22050.0;
    let cells = cells::Cells::new(&a, &strokes, dur);
    let w = ChordWeights::default();
    let states = chords::States::new(&w);
    let segs = chords::decode(
        &cells,
        &states,
        &w,
        &vec![0.0; 277],
        &vec![2.0; cells.n_bounds()],
    );
    let t3 = std::time::Instant::now();
    let min = dur / 60.0;
    eprintln!(
        "per minute: front {:.3} net {:.3} decode {:.3} strokes/s {:.1} segs {}",
        (t1 - t0).as_secs_f64() / min,
        (t2 - t1).as_secs_f64() / min,
        (t3 - t2).as_secs_f64() / min,
        strokes.len() as f64 / dur,
        segs.len()
    );
    let out = vec![];
    out
}
/// Development only.
pub fn time_front() {
    use std::time::Instant;
    let x: Vec<f32> = (0..22050 * 60)
        .map(|i| ((i as f32) * 0.05).sin() * 0.3 + ((i as f32) * 0.0513).sin() * 0.3)
        .collect();
    let t = Instant::now();
    let k = std::sync::Arc::new(spectrum::Kernels::new());
    eprintln!("kernels {:?} {:?}", t.elapsed(), k.nnz());
    let mut st = spectrum::SpectrumStage::new(k);
    let mut sp = spectrum::Spectra::default();
    let t = Instant::now();
    for i in 0..1284 {
        st.frame(&x[i * 1024..i * 1024 + 8192], &mut sp);
    }
    eprintln!("spectrum {:?}", t.elapsed());
    let t = Instant::now();
    let mut v = tuning::TuningVotes::new();
    for _ in 0..1284 {
        v.frame(st.transform());
    }
    eprintln!("votes {:?}", t.elapsed());
    let t = Instant::now();
    let mut a = attack::AttackStage::new();
    let mut o = attack::Attacks::default();
    for i in 0..5160 {
        a.frame(&x[i * 256..i * 256 + 1024], &mut o);
    }
    eprintln!("attack {:?}", t.elapsed());
}
