//! The page to practise with: what it can be made of, and how large it became.

use crate::chart::{Format, Options};
use crate::cli::CliError;
use crate::handout::practice_page;
use crate::songlog::song::Song;
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
            "--with-sound takes one song, not a binder of them (with --for-everyone it makes a page for each)",
        ));
    }
    Ok(())
}

/// The page of a song with the sound of its take.
pub(super) fn write(log_path: &Path, song: &Song, options: &Options) -> Result<Vec<u8>, CliError> {
    let page = practice_page(log_path, song, options)?;
    if page.len() > MAILED_BYTES {
        super::say(&format!(
            "the page has {} MB; many mail programs refuse more than {}",
            page.len() / 1_000_000,
            MAILED_BYTES / 1_000_000
        ))?;
    }
    Ok(page)
}
