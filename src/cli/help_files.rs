//! `takebook help-files`: manual pages and shell completions.

use super::plain::one_line;
use super::{CliError, Outcome};
use clap::{Command, ValueEnum};
use clap_complete::Shell;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Arguments of `help-files`.
#[derive(clap::Args)]
#[command(
    after_help = "Example: takebook help-files ~/.local/share/takebook\n\n\
    Manual pages go to FOLDER/man1 (read one with: man FOLDER/man1/takebook.1), \
    completions for bash, zsh, fish, elvish and PowerShell to FOLDER/completions."
)]
pub(crate) struct Args {
    /// Folder to write into; it is made if it is not there.
    folder: PathBuf,
    /// Results as JSON.
    #[arg(long)]
    json: bool,
}

pub(crate) fn run(args: &Args, program: Command, out: &mut dyn Write) -> Result<Outcome, CliError> {
    let mut program = program.disable_help_subcommand(true);
    program.build();
    let mut files = Vec::new();
    for (name, command) in pages(&program) {
        let mut page = Vec::new();
        clap_mangen::Man::new(command).render(&mut page)?;
        files.push((args.folder.join("man1").join(format!("{name}.1")), page));
    }
    for shell in Shell::value_variants() {
        let mut script = Vec::new();
        clap_complete::generate(*shell, &mut program, "takebook", &mut script);
        let name = match shell {
            // the name under which bash-completion and zsh look for it
            Shell::Bash => "takebook".into(),
            Shell::Zsh => "_takebook".into(),
            other => format!("takebook.{other}"),
        };
        files.push((args.folder.join("completions").join(name), script));
    }
    for (path, bytes) in &files {
        write(path, bytes)?;
    }
    let names: Vec<String> = files.iter().map(|f| f.0.display().to_string()).collect();
    if args.json {
        writeln!(out, "{}", serde_json::json!({"version": 1, "files": names}))?;
    } else {
        for name in names {
            writeln!(out, "wrote {}", one_line(&name))?;
        }
    }
    Ok(Outcome::Done)
}

/// The program and each of its commands, with the names of their pages.
fn pages(program: &Command) -> Vec<(String, Command)> {
    let main = ("takebook".to_owned(), program.clone());
    let commands = program.get_subcommands().map(|command| {
        let name = format!("takebook-{}", command.get_name());
        let page = command.clone().version(env!("CARGO_PKG_VERSION"));
        (name, page)
    });
    std::iter::once(main).chain(commands).collect()
}

fn write(path: &Path, bytes: &[u8]) -> Result<(), CliError> {
    let failed =
        |e: std::io::Error| CliError::new(format!("cannot write '{}': {e}", path.display()));
    if let Some(folder) = path.parent() {
        std::fs::create_dir_all(folder).map_err(failed)?;
    }
    super::chart::save(path, bytes, true)
}
