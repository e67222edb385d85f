//! Keys and signals while a command runs in the terminal.

use crate::audio::free_bytes;
use crossterm::event::{Event, KeyCode, KeyEventKind, KeyModifiers, poll, read};
use crossterm::terminal::{disable_raw_mode, enable_raw_mode, size};
use std::io::IsTerminal;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// Keys come one by one while this lives, if there is a terminal to type in.
pub(super) struct Keys {
    raw: bool,
    signal: Arc<AtomicBool>,
}

impl Keys {
    /// Watches for the signals that end a program, and for keys.
    pub(super) fn watch() -> Self {
        let signal = Arc::new(AtomicBool::new(false));
        #[cfg(unix)]
        let ending = [
            signal_hook::consts::SIGINT,
            signal_hook::consts::SIGTERM,
            signal_hook::consts::SIGHUP,
        ];
        #[cfg(not(unix))]
        let ending = [signal_hook::consts::SIGINT, signal_hook::consts::SIGTERM];
        for number in ending {
            // a signal that cannot be watched ends the program as usual;
            // what was recorded is playable even then
            let _ = signal_hook::flag::register(number, Arc::clone(&signal));
        }
        let interactive = std::io::stdin().is_terminal() && std::io::stderr().is_terminal();
        Self {
            raw: interactive && enable_raw_mode().is_ok(),
            signal,
        }
    }

    /// Whether keys can be typed.
    pub(super) fn can_type(&self) -> bool {
        self.raw
    }

    /// Whether a signal asked for the end.
    pub(super) fn signalled(&self) -> bool {
        self.signal.load(Ordering::Relaxed)
    }

    /// Waits so long for a key; `q` stands for all that mean the end.
    pub(super) fn wait(&self, time: Duration) -> Option<char> {
        if !self.raw {
            std::thread::sleep(time);
            return None;
        }
        if !poll(time).unwrap_or(false) {
            return None;
        }
        match read() {
            Ok(Event::Key(key)) if key.kind == KeyEventKind::Press => match key.code {
                KeyCode::Char('c' | 'd') if key.modifiers.contains(KeyModifiers::CONTROL) => {
                    Some('q')
                }
                KeyCode::Esc => Some('q'),
                KeyCode::Enter => Some('\n'),
                // pedals that turn pages
                KeyCode::PageDown | KeyCode::PageUp => Some('m'),
                KeyCode::Char(c) => Some(c.to_ascii_lowercase()),
                _ => None,
            },
            _ => None,
        }
    }

    /// Columns of the terminal, at most 80.
    pub(super) fn columns(&self) -> usize {
        size().map_or(80, |(columns, _)| usize::from(columns).clamp(20, 80))
    }
}

/// Rows of the terminal.
pub(super) fn rows() -> usize {
    size().map_or(24, |(_, rows)| usize::from(rows))
}

impl Drop for Keys {
    fn drop(&mut self) {
        if self.raw {
            // nothing is left to be done about a terminal that is gone
            let _ = disable_raw_mode();
        }
    }
}

/// A bar for a level from -60 to 0 dB with the held peak.
pub(super) fn level_bar(rms_dbfs: f64, held_dbfs: f64, width: usize) -> String {
    let at = |db: f64| (((db + 60.0) / 60.0).clamp(0.0, 1.0) * width as f64).round() as usize;
    let (level, peak) = (at(rms_dbfs), at(held_dbfs));
    (1..=width)
        .map(|i| {
            if i <= level {
                '█'
            } else if i == peak {
                '▌'
            } else {
                '·'
            }
        })
        .collect()
}

/// `; 12.3 GB free: 24 h`: room where a file goes, and for how long that lasts; empty if the
/// system does not say.
pub(super) fn room(path: &Path, bytes_a_second: u64) -> String {
    free_bytes(path).map_or(String::new(), |bytes| {
        let minutes = bytes / bytes_a_second.max(1) / 60;
        let lasts = match minutes {
            0..120 => format!("{minutes} min"),
            _ => format!("{} h", minutes / 60),
        };
        format!("; {} free: {lasts}", gigabytes(bytes))
    })
}

/// `12.3 GB`.
pub(super) fn gigabytes(bytes: u64) -> String {
    format!("{:.1} GB", bytes as f64 / 1e9)
}

/// `1:02.5`.
pub(super) fn clock(seconds: f64) -> String {
    let tenths = (seconds * 10.0).floor() as u64;
    format!("{}:{:02}.{}", tenths / 600, tenths / 10 % 60, tenths % 10)
}
