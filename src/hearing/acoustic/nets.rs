//! Both nets over a whole take, chunk by chunk, on as many threads as rayon's pool has.

use crate::hearing::acoustic::front::Front;
use crate::hearing::acoustic::in_order::in_order;
use crate::hearing::acoustic::net::{Acoustic, Chunk, Chunks, Net, keep_freed_memory};
use crate::hearing::acoustic::songs::{SongChunk, SongChunks, SongNet, Songs};
use crate::hearing::error::HearingError;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// What one of the nets heard in one of its chunks.
enum Part {
    Song(Arc<SongChunk>),
    Frames(Arc<Chunk>),
}

/// Hears a take. Lets go of the spectrum between the frames, which only the song net reads.
/// `progress` is told the share done, 0 to 1, and gives whether to go on.
///
/// # Errors
/// * [`HearingError::Cancelled`] once `progress` gave false.
/// * [`HearingError::Model`] if a built-in net cannot be used.
pub(crate) fn hear(
    front: &mut Front,
    progress: &(dyn Fn(f64) -> bool + Sync),
) -> Result<(Acoustic, Songs), HearingError> {
    let (net, song_net) = (Net::built_in()?, SongNet::built_in()?);
    let tuning = front.tuning.map_or(0.0, |t| t.0);
    let n_threads = rayon::current_num_threads();
    keep_freed_memory();
    let between = std::mem::take(&mut front.between);
    let chunks = Chunks::new(net, &front.spectra, tuning, n_threads);
    let songs = SongChunks::new(song_net, &front.spectra, &between, tuning);
    let (n_songs, n) = (songs.n(), songs.n() + chunks.n());
    // the songs of a long take keep all threads busy: what they read can go before the rest
    let n_first = if n_songs < 2 * n_threads { n } else { n_songs };
    let is_cancelled = AtomicBool::new(false);
    let (mut acoustic, mut all_songs, mut n_done) = (Acoustic::default(), Songs::default(), 0);
    let mut take = |part: Part| {
        match part {
            Part::Song(part) => all_songs.append(&part),
            Part::Frames(part) => acoustic.append(&part),
        }
        n_done += 1;
        if !progress(f64::from(n_done) / n as f64) {
            is_cancelled.store(true, Ordering::Relaxed);
        }
    };
    let go_on = || match is_cancelled.load(Ordering::Relaxed) {
        true => Err(HearingError::Cancelled),
        false => Ok(()),
    };
    let frames = |i: usize| {
        go_on()?;
        chunks.hear(i - n_songs).map(Part::Frames)
    };
    let either = |i: usize| match i < n_songs {
        true => go_on().and_then(|()| songs.hear(i).map(Part::Song)),
        false => frames(i),
    };
    in_order(0..n_first, n_threads, either, &mut take)?;
    drop(songs);
    drop(between);
    in_order(n_first..n, n_threads, frames, &mut take)?;
    go_on()?;
    Ok((acoustic, all_songs))
}

#[cfg(test)]
mod tests {
    use crate::hearing::{HearingError, Listener};
    use std::sync::Mutex;

    #[test]
    fn who_is_told_how_far_it_is_can_end_it() {
        let heard = |most: f64| {
            let mut listener = Listener::new();
            let tone = |i: u32| (std::f32::consts::TAU * 196.0 * i as f32 / 22_050.0).sin();
            listener.push(&(0..22_050 * 60).map(tone).collect::<Vec<f32>>());
            let told = Mutex::new(Vec::new());
            let ended = listener.finish(&|share| {
                told.lock().expect("not poisoned").push(share);
                share <= most
            });
            (ended.map(drop), told.into_inner().expect("not poisoned"))
        };
        let (ended, told) = heard(1.0);
        assert!(ended.is_ok(), "{ended:?}");
        assert_eq!(told.last(), Some(&1.0));
        let (ended, told) = heard(0.0);
        assert!(matches!(ended, Err(HearingError::Cancelled)), "{ended:?}");
        assert!(!told.is_empty());
    }
}
