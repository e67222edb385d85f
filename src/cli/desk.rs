//! `takebook desk`: a log and its take, or all logs of a folder, on a page of this machine.

use super::{CliError, Outcome};
use crate::desk::Desk;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use tempfile::NamedTempFile;

/// Arguments of `desk`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  takebook desk evening.takebook\n  takebook desk songs/\n\nThe link is good once, and only on this machine; when it was used, a new one is\ntold on stderr. Every decision is in the log the moment it is made. Ctrl-C ends\nthe desk. Keep the volume low when you loop a passage through headphones."
)]
pub(crate) struct Args {
    /// The log; or a folder, for a page with all its songs.
    #[arg(value_name = "LOG")]
    log: PathBuf,
    /// Port of 127.0.0.1, 0 for any that is free; left out, the same one each time for this
    /// log or folder, so that a page that is still open finds the desk again.
    #[arg(long, value_name = "N")]
    port: Option<u16>,
    /// Prints the link and opens no browser.
    #[arg(long)]
    no_open: bool,
    /// The link as JSON.
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(args: &Args, out: &mut dyn Write) -> Result<Outcome, CliError> {
    let door = Arc::new(Mutex::new(None::<NamedTempFile>));
    let used = Arc::clone(&door);
    let tell_next = move |link: &str| {
        let _ = writeln!(std::io::stderr(), "desk: to open it once more: {link}");
        // the file that led here is of no more use
        used.lock().unwrap_or_else(PoisonError::into_inner).take();
    };
    let desk = Desk::open(args.log.clone(), args.port, Box::new(tell_next))?;
    let link = desk.link();
    if args.json {
        writeln!(out, "{}", serde_json::json!({"version": 1, "url": link}))?;
    } else {
        writeln!(out, "desk: {link}")?;
    }
    out.flush()?;
    if !args.no_open {
        // it failed if the folder cannot be written to: the link was printed
        let file = link_file(&args.log, &link).ok();
        if let Some(file) = &file {
            open_browser(file.path());
        }
        *door.lock().unwrap_or_else(PoisonError::into_inner) = file;
    }
    let served = desk.serve();
    door.lock().unwrap_or_else(PoisonError::into_inner).take();
    served?;
    Ok(Outcome::Done)
}

/// A file beside the song, or beside the folder, that leads to the link, readable by its owner alone:
/// every user of a machine can read the arguments of every program, so the key
/// must not be one. Not in the folder for temporary files, where a browser in a
/// sandbox of its own does not look.
fn link_file(log: &Path, link: &str) -> std::io::Result<NamedTempFile> {
    // a folder of songs is not written to by being opened
    let log = log.canonicalize()?;
    let folder = log.parent().unwrap_or(&log);
    let named = |folder: &Path| {
        tempfile::Builder::new()
            .prefix("takebook-desk-")
            .suffix(".html")
            .tempfile_in(folder)
    };
    let mut file = named(folder).or_else(|_| named(&std::env::temp_dir()))?;
    writeln!(
        file,
        "<!doctype html><html lang=\"en\"><meta charset=\"utf-8\"><meta name=\"referrer\" content=\"no-referrer\"><meta http-equiv=\"refresh\" content=\"0;url={link}\"><title>takebook</title><p><a href=\"{link}\">Open the desk</a></p></html>"
    )?;
    file.flush()?;
    Ok(file)
}

/// Asks the system to open a file; if it cannot, the link was printed.
fn open_browser(file: &Path) {
    let program = if cfg!(target_os = "macos") {
        "open"
    } else if cfg!(windows) {
        "explorer"
    } else {
        "xdg-open"
    };
    let quiet = std::process::Stdio::null;
    let opened = std::process::Command::new(program)
        .arg(file)
        .stdin(quiet())
        .stdout(quiet())
        .stderr(quiet())
        .spawn();
    if let Ok(mut child) = opened {
        // waited for in a thread, so that nothing of it stays behind
        std::thread::spawn(move || child.wait());
    }
}
