//! A microphone without hardware: ALSA's `file` plug-in, read by the real
//! capture library as any other device. It delivers float samples, 2 channels,
//! 48 kHz, unchanged.

use crate::outside;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

pub(crate) const RATE_HZ: usize = 48_000;

/// Bytes of interleaved samples.
pub(crate) fn bytes(samples: &[f32]) -> Vec<u8> {
    samples.iter().flat_map(|x| x.to_le_bytes()).collect()
}

/// A configuration whose only microphone reads `source`.
pub(crate) fn configure(folder: &Path, source: &Path) -> PathBuf {
    let path = folder.join("asound.conf");
    let text = format!(
        "pcm.!default {{ type file slave.pcm {{ type null }} file \"/dev/null\" infile \"{}\" format \"raw\" }}\n",
        source.display()
    );
    std::fs::write(&path, text).expect("a configuration");
    path
}

/// The program with a microphone that delivers these samples as fast as they are read.
pub(crate) fn takebook_hearing(folder: &Path, samples: &[f32]) -> Command {
    let raw = folder.join("mic.raw");
    std::fs::write(&raw, bytes(samples)).expect("what is to be heard");
    let mut command = outside::takebook();
    command.env("ALSA_CONFIG_PATH", configure(folder, &raw));
    command.current_dir(folder);
    command
}

/// A named pipe in a folder.
fn named_pipe(folder: &Path) -> PathBuf {
    let pipe = folder.join("mic.fifo");
    let made = outside::tool("mkfifo").arg(&pipe).status();
    assert!(made.expect("mkfifo runs").success());
    pipe
}

/// A microphone that delivers in real time, by a named pipe.
pub(crate) struct RealTime {
    pub(crate) pipe: PathBuf,
    /// Frames delivered so far.
    pub(crate) delivered: Arc<AtomicUsize>,
}

impl RealTime {
    /// Delivers the samples once the pipe is read, then nothing for `pause`, then closes.
    pub(crate) fn new(folder: &Path, samples: Vec<f32>, pause: Duration) -> Self {
        let pipe = named_pipe(folder);
        let delivered = Arc::new(AtomicUsize::new(0));
        let (to, count) = (pipe.clone(), Arc::clone(&delivered));
        std::thread::spawn(move || {
            let mut out = std::fs::File::options()
                .write(true)
                .open(&to)
                .expect("a pipe");
            let start = Instant::now();
            for (i, block) in samples.chunks(2 * RATE_HZ / 20).enumerate() {
                // a device is opened, closed and opened again: on a busy machine
                // a block may fall between, and is then delivered once more
                while out.write_all(&bytes(block)).is_err() {
                    let Ok(again) = std::fs::File::options().write(true).open(&to) else {
                        return; // the test ended
                    };
                    out = again;
                }
                count.fetch_add(block.len() / 2, Ordering::SeqCst);
                let due = Duration::from_millis(50 * (i as u64 + 1));
                std::thread::sleep(due.saturating_sub(start.elapsed()));
            }
            std::thread::sleep(pause);
        });
        Self { pipe, delivered }
    }
}

/// The program in a terminal of 40 columns, with a microphone that delivers these samples in real
/// time, and keys typed to it (`7:k`): whether it ended well, and all that came to the terminal.
pub(crate) fn takebook_typed(
    folder: &Path,
    samples: &[f32],
    command: &[&str],
    keys: &[&str],
) -> (Output, String) {
    let raw = folder.join("played.raw");
    std::fs::write(&raw, bytes(samples)).expect("what is played");
    let pipe = named_pipe(folder);
    let python = outside::root().join(".venv/bin/python3");
    assert!(
        python.exists(),
        "no .venv/bin/python3 in the project: run tests/setup"
    );
    let output = Command::new(python)
        .arg(outside::root().join("tests/outside/listen_keys.py"))
        .arg(env!("CARGO_BIN_EXE_takebook"))
        .args([&pipe, &raw])
        .args(command)
        .arg("--")
        .args(keys)
        .env("ALSA_CONFIG_PATH", configure(folder, &pipe))
        .current_dir(folder)
        .output()
        .expect("python runs");
    let screen = String::from_utf8_lossy(&output.stdout).into_owned();
    (output, screen)
}

/// Samples that no two places share: whole steps of 24 bits, all over the range.
pub(crate) fn noise(n_frames: usize) -> Vec<f32> {
    let mut state = 7u32;
    (0..2 * n_frames)
        .map(|_| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            ((state >> 8) as f32 - 8_388_608.0) / 8_388_608.0
        })
        .collect()
}
