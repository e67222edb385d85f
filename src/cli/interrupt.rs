//! Ctrl-C and its like: the program ends at once, but never within a write.

use crate::songlog::store;
use std::sync::{PoisonError, RwLock, RwLockReadGuard};

/// Held for reading while a file is written that is no log.
static WRITING: RwLock<()> = RwLock::new(());

/// While it lives, a signal waits.
pub(super) fn writing() -> RwLockReadGuard<'static, ()> {
    WRITING.read().unwrap_or_else(PoisonError::into_inner)
}

/// From now on a signal to end waits for what is being written, then ends the
/// program as it would have without us, so that shells and job queues see why.
#[cfg(unix)]
pub(super) fn watch() -> std::io::Result<()> {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    let mut signals = signal_hook::iterator::Signals::new([SIGHUP, SIGINT, SIGTERM])?;
    std::thread::Builder::new()
        .name("signals".into())
        .spawn(move || {
            if let Some(signal) = signals.forever().next() {
                let _no_saves = store::hold_saves();
                let _no_files = WRITING.write().unwrap_or_else(PoisonError::into_inner);
                let _ = signal_hook::low_level::emulate_default_handler(signal);
            }
        })?;
    Ok(())
}

/// Elsewhere the system ends the program as it does.
#[cfg(not(unix))]
pub(super) fn watch() -> std::io::Result<()> {
    Ok(())
}
