//! Ctrl-C and its like: the program ends at once, but never within a write.

use crate::songlog::store;
use std::sync::atomic::AtomicUsize;
use std::sync::{Arc, PoisonError, RwLock, RwLockReadGuard};

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

/// The signal to end that has come, 0 for none: for work that stops by itself and takes away what
/// it made.
#[cfg(unix)]
pub(super) fn noted() -> std::io::Result<Arc<AtomicUsize>> {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    let noted = Arc::new(AtomicUsize::new(0));
    for (signal, number) in [(SIGHUP, 1), (SIGINT, 2), (SIGTERM, 15)] {
        signal_hook::flag::register_usize(signal, Arc::clone(&noted), number)?;
    }
    Ok(noted)
}

/// Ends the program as a signal would have.
#[cfg(unix)]
pub(super) fn end_as(signal: usize) {
    if let Ok(signal @ 1..) = i32::try_from(signal) {
        let _ = signal_hook::low_level::emulate_default_handler(signal);
    }
}

/// Elsewhere the system ends the program as it does.
#[cfg(not(unix))]
pub(super) fn noted() -> std::io::Result<Arc<AtomicUsize>> {
    Ok(Arc::default())
}

#[cfg(not(unix))]
pub(super) fn end_as(_: usize) {}
