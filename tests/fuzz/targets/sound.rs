//! Any bytes as a sound file: headers, packets, samples, edit lists.
//!
//! A decoder from outside that panics is caught by the project and is no
//! finding; a panic of the project's own, a hang, or memory beyond the limit is.
#![no_main]

use libfuzzer_sys::fuzz_target;
use std::path::PathBuf;
use std::sync::OnceLock;

fn place() -> &'static PathBuf {
    static PLACE: OnceLock<PathBuf> = OnceLock::new();
    PLACE.get_or_init(|| {
        let memory = PathBuf::from("/dev/shm");
        let folder = if memory.is_dir() {
            memory
        } else {
            std::env::temp_dir()
        };
        folder.join(format!("takebook-fuzz-{}", std::process::id()))
    })
}

fuzz_target!(|data: &[u8]| {
    std::fs::write(place(), data).expect("a file in memory");
    let Ok(mut source) = takebook::audio::open(place()) else {
        return;
    };
    let mut n = 0usize;
    let read = source.read_mono_22050(
        &mut |block| {
            assert!(
                block.iter().all(|x| x.is_finite()),
                "a sample that is no number"
            );
            n += block.len();
        },
        &|share| assert!((0.0..=1.0).contains(&share), "progress {share}"),
    );
    if read.is_ok() {
        let told = source.facts().duration_s.expect("known once read");
        // the rate conversion gives at most one sample more or less at each end
        assert!(
            (told - n as f64 / 22_050.0).abs() < 0.01,
            "{told} s, {n} samples"
        );
    }
});
