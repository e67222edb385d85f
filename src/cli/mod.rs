//! The command line: a thin face on the library.
//!
//! One file a command: its arguments (plain values) and a `run` that writes
//! results to the writer it is handed. Exit codes: 0 done; 1 ran, but nothing
//! was heard, something differs, or a chord is unconfirmed where a script asked
//! for that; 2 error. A closed pipe is a quiet 0.

mod backup;
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
mod lesson;
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

/// Works out the chords of a guitar recording with you and writes the chart.
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
    /// Shows the chord you are playing, live.
    Listen(listen::Args),
    /// Analyses recordings and proposes chords, bars and sections for each.
    Draft(draft::Args),
    /// Shows a song: chords by bar and section, what is unconfirmed, the reasons for a bar.
    Show(show::Args),
    /// Confirms or changes: accepts proposals, or sets your own chord, shape, note, name or setting.
    Confirm(Box<confirm::Args>),
    /// Opens a song and its recording as a page in your browser, to confirm by eye and ear.
    #[cfg(feature = "desk")]
    Desk(desk::Args),
    /// Undoes decisions, or redoes what was undone.
    Undo(undo::Args),
    /// Notes of lessons: what was practised, the tempo reached, the next goal; written and read.
    Lesson(lesson::Args),
    /// Writes a folder of songs, with its recordings, into one ZIP file.
    Backup(backup::BackupArgs),
    /// Puts the songs of such a file into a folder; replaces nothing.
    Unpack(backup::UnpackArgs),
    Chart(chart::Chart),
    /// Checks a chart for mistakes, or compares a new recording with it, bar by bar.
    Check(check::Args),
    /// Names a fingering or notes, ranked, with reasons; compares two fingerings
    Name(name::NameArgs),
    /// The chords that a sequence of double stops implies
    Imply(imply::ImplyArgs),
    /// Fingerings for a chord, or the smoothest changes for a progression
    Shapes(Box<shapes::ShapesArgs>),
    Grade(grade::Grade),
    /// Writes manual pages and shell completions
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
    /// Exit code 1: it ran, but nothing was heard, something differs, or what was required is missing.
    Open,
}

impl Command {
    /// Whether it hears Ctrl-C and the like by itself.
    fn minds_signals(&self) -> bool {
        match self {
            Self::Record(_) | Self::Listen(_) | Self::Backup(_) | Self::Unpack(_) => true,
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
            Self::Lesson(args) => lesson::run(&args, out),
            Self::Backup(args) => backup::pack(&args, out),
            Self::Unpack(args) => backup::unpack(&args, out),
            Self::Name(args) => name::run(&args, out),
            Self::Imply(args) => imply::run(&args, out),
            Self::Shapes(args) => shapes::run(&args, out),
        }
    }
}

/// Unconfirmed chords are no failure, unless a script asked for it.
fn confirmed(required: bool, n_unconfirmed: usize) -> Outcome {
    match required && n_unconfirmed > 0 {
        true => Outcome::Open,
        false => Outcome::Done,
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
    let wants_json = std::env::args_os().any(|a| a == "--json" || a == "--json-lines");
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(usage) if wants_json && usage.use_stderr() => {
            let text = usage.to_string();
            let text = text.strip_prefix("error: ").unwrap_or(&text);
            let first = text.split("\n\nUsage").next().unwrap_or(text);
            return report(&CliError::new(first.trim()), true);
        }
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
        Err(error) => report(&error, wants_json),
    }
}

/// One error on stderr, in words or as JSON, with exit code 2.
fn report(error: &CliError, as_json: bool) -> ExitCode {
    let mut stderr = std::io::stderr();
    // nobody can be told if this fails
    let _ = match as_json {
        true => writeln!(
            stderr,
            "{}",
            serde_json::json!({"version": 1, "error": error.to_string()})
        ),
        false => writeln!(stderr, "takebook: {error}"),
    };
    ExitCode::from(2)
}
