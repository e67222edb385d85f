//! `takebook desk`: a log and its take on a page of this machine.

use super::{CliError, Outcome};
use crate::desk::Desk;
use std::io::Write;
use std::path::PathBuf;

/// Arguments of `desk`.
#[derive(clap::Args)]
#[command(
    after_help = "Example: takebook desk evening.takebook\n\nThe link is good once, and only on this machine; when it was used, a new one is\ntold on stderr. Every decision is in the log the moment it is made. Ctrl-C ends\nthe desk. Keep the volume low when you loop a passage through headphones."
)]
pub(crate) struct Args {
    /// The log.
    log: PathBuf,
    /// Port of 127.0.0.1; left out, any that is free.
    #[arg(long, value_name = "N", default_value_t = 0, hide_default_value = true)]
    port: u16,
    /// Prints the link and opens no browser.
    #[arg(long)]
    no_open: bool,
    /// The link as JSON.
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(args: &Args, out: &mut dyn Write) -> Result<Outcome, CliError> {
    let tell_next = |link: &str| {
        let _ = writeln!(std::io::stderr(), "desk: to open it once more: {link}");
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
        open_browser(&link);
    }
    desk.serve()?;
    Ok(Outcome::Done)
}

/// Asks the system to open a link; if it cannot, the link was printed.
fn open_browser(link: &str) {
    let program = if cfg!(target_os = "macos") {
        "open"
    } else if cfg!(windows) {
        "explorer"
    } else {
        "xdg-open"
    };
    let quiet = std::process::Stdio::null;
    let opened = std::process::Command::new(program)
        .arg(link)
        .stdin(quiet())
        .stdout(quiet())
        .stderr(quiet())
        .spawn();
    if let Ok(mut child) = opened {
        // waited for in a thread, so that nothing of it stays behind
        std::thread::spawn(move || child.wait());
    }
}
