//! The page to practise with: the take is read and made small for it.

use crate::audio::compress;
use crate::chart::{Format, Options, Sound, practice};
use crate::cli::CliError;
use crate::songlog::song::Song;
use crate::songlog::store;
use std::path::{Path, PathBuf};

/// The largest page that a mail is likely to carry, bytes.
const MAILED_BYTES: usize = 10_000_000;

/// Whether sound can go into what is asked for: one log, as a page.
pub(super) fn check(log: Option<&PathBuf>, format: Format) -> Result<(), CliError> {
    if format != Format::Html {
        return Err(CliError::new(
            "--with-sound makes a page to practise with: name a file that ends in .html",
        ));
    }
    if log.is_none() {
        return Err(CliError::new(
            "--with-sound takes one song, not a binder of them",
        ));
    }
    Ok(())
}

/// The page of a song with the sound of its take.
pub(super) fn write(log_path: &Path, song: &Song, options: &Options) -> Result<Vec<u8>, CliError> {
    let log = store::load(log_path)?;
    if log.take.rate_hz == 0 {
        return Err(CliError::new(format!(
            "'{}' has no recording: it was made from a {} (leave --with-sound out)",
            log_path.display(),
            log.take.kind
        )));
    }
    let sound = Sound {
        bytes: compress(&store::take_path(log_path, &log))?,
        media_type: "audio/ogg",
    };
    let page = practice(song, options, &sound)
        .map_err(|e| CliError::new(format!("{}: {e}", log_path.display())))?;
    if page.len() > MAILED_BYTES {
        super::say(&format!(
            "the page has {} MB; many mail programs refuse more than {}",
            page.len() / 1_000_000,
            MAILED_BYTES / 1_000_000
        ))?;
    }
    Ok(page)
}
