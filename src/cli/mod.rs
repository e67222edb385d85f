//! The command line: a thin face on the library.
//!
//! One file a command: its arguments (plain values) and a `run` that writes
//! results to the writer it is handed. Exit codes: 0 done; 1 ran, but
//! something stays open, was not heard, or differs; 2 error. A closed pipe is
//! a quiet 0.

mod chart;
mod check;
mod confirm;
#[cfg(feature = "desk")]
mod desk;
mod draft;
mod error;
mod grade;
mod help_files;
mod imply;
mod interrupt;
#[cfg(feature = "mic")]
mod keys;
mod layout;
mod listen;
mod name;
mod plain;
mod record;
mod shapes;
mod show;
mod undo;

use clap::{CommandFactory, Parser, Subcommand};
use std::io::Write;
use std::process::ExitCode;
use std::sync::LazyLock;

pub(crate) use error::CliError;

/// Hears a guitar take, proposes its chords, delivers a chart.
#[derive(Parser)]
#[command(name = "takebook", version, long_version = LONG_VERSION.as_str(), about, max_term_width = 100)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Records from a microphone to a WAV file that survives a crash.
    Record(record::Args),
    /// Tells the chord that sounds now, while you play.
    Listen(listen::Args),
    /// Hears takes and writes a log of proposals for each.
    Draft(draft::Args),
    /// Shows a log: chords by bar and section, what is open, the reasons for a bar.
    Show(show::Args),
    /// Decides: takes a proposal, or your own chord, shape, note, name or setting.
    Confirm(Box<confirm::Args>),
    /// Opens a log and its take on a page of this machine, to confirm by eye and ear.
    #[cfg(feature = "desk")]
    Desk(desk::Args),
    /// Takes decisions back, or brings back what was taken back.
    Undo(undo::Args),
    Chart(chart::Chart),
    /// Reads a chart for slips, or holds a new take against it, bar by bar.
    Check(check::Args),
    /// Names a fingering or notes, ranked, with reasons; compares two fingerings
    Name(name::NameArgs),
    /// The chords that a row of one to three plucked notes each implies
    Imply(imply::ImplyArgs),
    /// Fingerings for a chord, or the smoothest row of them for a progression
    Shapes(Box<shapes::ShapesArgs>),
    Grade(grade::Grade),
    /// Writes manual pages and completions for shells
    HelpFiles(help_files::Args),
}

/// What `--version` says; `-V` says the number alone.
static LONG_VERSION: LazyLock<String> = LazyLock::new(|| {
    let has = |built: bool| if built { "with" } else { "without" };
    format!(
        "{}\nbuilt {}: microphone (mic)\nbuilt {}: desk (desk)\nlogs: version {}",
        env!("CARGO_PKG_VERSION"),
        has(cfg!(feature = "mic")),
        has(cfg!(feature = "desk")),
        crate::songlog::VERSION,
    )
});

/// What a command that ran through has to say by its exit code.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Outcome {
    /// Exit code 0.
    Done,
    /// Exit code 1: it ran, but something stays open, was not heard, or differs.
    Open,
}

impl Command {
    /// Whether it hears Ctrl-C and the like by itself.
    fn minds_signals(&self) -> bool {
        match self {
            Self::Record(_) | Self::Listen(_) => true,
            #[cfg(feature = "desk")]
            Self::Desk(_) => true,
            _ => false,
        }
    }

    fn run(self, out: &mut dyn Write) -> Result<Outcome, CliError> {
        match self {
            Self::Record(args) => record::run(&args, out),
            Self::Listen(args) => listen::run(&args, out),
            Self::Chart(command) => command.run(out),
            Self::Check(args) => check::run(&args, out),
            Self::Grade(command) => command.run(out),
            Self::HelpFiles(args) => help_files::run(&args, Cli::command(), out),
            Self::Draft(args) => draft::run(args, out),
            Self::Show(args) => show::run(args, out),
            Self::Confirm(args) => confirm::run(&args, out),
            #[cfg(feature = "desk")]
            Self::Desk(args) => desk::run(&args, out),
            Self::Undo(args) => undo::run(args, out),
            Self::Name(args) => name::run(&args, out),
            Self::Imply(args) => imply::run(&args, out),
            Self::Shapes(args) => shapes::run(&args, out),
        }
    }
}

/// What a build without the feature `mic` says.
#[cfg(not(feature = "mic"))]
fn no_mic() -> CliError {
    CliError::new(
        "this takebook was built without the microphone; build it with: cargo install --path . \
         (on Debian after: apt-get install pkg-config libasound2-dev), or record with another \
         program and hear the file: takebook draft TAKE",
    )
}

/// Parses the command line, runs it, prints at most one error, gives the exit code.
pub fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(usage) => {
            // clap writes help to stdout and mistakes to stderr
            let failed = usage.print().is_err() || usage.use_stderr();
            return ExitCode::from(if failed { 2 } else { 0 });
        }
    };
    // recording and listening end in their own way
    if !cli.command.minds_signals()
        && let Err(error) = interrupt::watch()
    {
        let _ = writeln!(
            std::io::stderr(),
            "takebook: Ctrl-C may leave a file: {error}"
        );
    }
    let stdout = std::io::stdout();
    let mut out = std::io::BufWriter::new(stdout.lock());
    let result = cli
        .command
        .run(&mut out)
        .and_then(|outcome| out.flush().map_err(CliError::from).map(|()| outcome));
    match result {
        Ok(Outcome::Done) => ExitCode::SUCCESS,
        Ok(Outcome::Open) => ExitCode::from(1),
        Err(error) if error.is_closed_pipe() => ExitCode::SUCCESS,
        Err(error) => {
            let _ = writeln!(std::io::stderr(), "takebook: {error}");
            ExitCode::from(2)
        }
    }
}
