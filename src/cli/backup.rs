//! `takebook backup` and `takebook unpack`: a folder of songs as one archive, and back.

use super::layout::{plural, wrap};
use super::plain::{one_line, shown};
use super::{CliError, Outcome, interrupt};
use crate::backup::{self, BackupError, Packed, Unpacked};
use indicatif::{ProgressBar, ProgressStyle};
use serde_json::json;
use std::io::Write;
use std::path::PathBuf;
use std::sync::atomic::Ordering;

/// Arguments of `backup`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  takebook backup songs/ -o songs-may.zip\n  takebook backup songs/ -o songs-may.zip --without-sound\n  takebook unpack songs-may.zip songs/\n\nThe archive is a plain ZIP file. It holds the folder's files, and the recordings that its songs\nname elsewhere, which the songs then name in it. Folders within the folder, links, other archives\nand hidden files are left out; so is .takebook, with the kept copies of earlier states.\nNotes of lessons and students' names are in the songs, and go with them."
)]
pub(crate) struct BackupArgs {
    /// The folder of songs
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
    /// The archive to write, a .zip
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
    /// Leave the recordings out
    #[arg(long)]
    without_sound: bool,
    /// Overwrite the archive if it exists
    #[arg(long)]
    overwrite: bool,
    /// Results as JSON
    #[arg(long)]
    json: bool,
}

/// Arguments of `unpack`.
#[derive(clap::Args)]
#[command(
    after_help = "Example: takebook unpack songs-may.zip songs/\n\nThe folder is made if it is not there. No file that is there is replaced: one with the same\ncontent stays, and if one differs nothing is unpacked. An archive with names that lead out of the\nfolder, links, two files of one name, or that would unpack to far more than it holds is refused."
)]
pub(crate) struct UnpackArgs {
    /// The archive, as takebook backup or another program wrote it
    #[arg(value_name = "FILE")]
    archive: PathBuf,
    /// The folder to put the songs into
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
    /// Results as JSON
    #[arg(long)]
    json: bool,
}

/// Bytes on a terminal; nothing elsewhere.
fn bar(doing: &str) -> ProgressBar {
    let template = format!("{doing} {{bar:30}} {{bytes}} of {{total_bytes}}");
    let style = ProgressStyle::with_template(&template);
    ProgressBar::new(0).with_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()))
}

/// Does the work with a bar; a signal to end stops it, and nothing is left behind.
fn with_bar<T>(
    doing: &str,
    work: impl FnOnce(&dyn Fn(u64), &dyn Fn(u64) -> bool) -> Result<T, BackupError>,
) -> Result<T, CliError> {
    let signal = interrupt::noted()?;
    let bar = bar(doing);
    let done = work(&|n_bytes| bar.set_length(n_bytes), &|n_bytes| {
        bar.inc(n_bytes);
        signal.load(Ordering::Relaxed) == 0
    });
    bar.finish_and_clear();
    if matches!(done, Err(BackupError::Stopped)) {
        interrupt::end_as(signal.load(Ordering::Relaxed));
    }
    Ok(done?)
}

pub(crate) fn pack(args: &BackupArgs, out: &mut dyn Write) -> Result<Outcome, CliError> {
    if !args.folder.is_dir() {
        return Err(CliError::new(format!(
            "'{}' is no folder (name the folder with your songs)",
            args.folder.display()
        )));
    }
    let is_zip = args
        .output
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("zip"));
    if !is_zip {
        return Err(CliError::new(format!(
            "'{}' does not end in .zip (name a file such as songs.zip)",
            args.output.display()
        )));
    }
    let how = (!args.without_sound, args.overwrite);
    let packed = with_bar("packing", |begin, going| {
        backup::pack(&args.folder, &args.output, how, begin, going)
    })?;
    if args.json {
        writeln!(out, "{}", packed_json(args, &packed))?;
    } else {
        tell_packed(args, &packed, out)?;
    }
    let mut stderr = std::io::stderr().lock();
    for (song, place) in &packed.missing {
        writeln!(
            stderr,
            "takebook: the recording of {} is not in it: no sound is at '{}'",
            one_line(song),
            shown(place)
        )?;
    }
    Ok(match packed.missing.is_empty() {
        true => Outcome::Done,
        false => Outcome::Open,
    })
}

fn packed_json(args: &BackupArgs, packed: &Packed) -> serde_json::Value {
    json!({
        "version": 1,
        "file": args.output.display().to_string(),
        "bytes": packed.bytes,
        "n_songs": packed.n_songs,
        "n_recordings": packed.n_recordings,
        "n_others": packed.n_others,
        "moved": packed.moved.iter().map(|m| json!({
            "song": m.song,
            "from": m.from.display().to_string(),
            "to": m.to,
        })).collect::<Vec<_>>(),
        "missing": packed.missing.iter().map(|(song, _)| song).collect::<Vec<_>>(),
        "left_out": packed.left_out.iter().map(|(name, why)| json!({
            "file": name,
            "why": why,
        })).collect::<Vec<_>>(),
        "n_silent": packed.n_silent,
    })
}

fn tell_packed(args: &BackupArgs, packed: &Packed, out: &mut dyn Write) -> Result<(), CliError> {
    let counted = counted(packed.n_songs, packed.n_recordings, packed.n_others);
    writeln!(out, "wrote {}: {counted}", shown(&args.output))?;
    for moved in &packed.moved {
        let line = format!(
            "from elsewhere: {} as {}, where {} finds it after unpacking",
            moved.from.display(),
            moved.to,
            moved.song
        );
        writeln!(out, "{}", wrap(&line, 2))?;
    }
    for (name, why) in &packed.left_out {
        writeln!(out, "{}", wrap(&format!("left out: {name} ({why})"), 2))?;
    }
    if packed.n_silent > 0 {
        let silent = plural(packed.n_silent, "recording");
        writeln!(out, "left out: {silent}, since you asked for no sound")?;
    }
    let private = "Notes of lessons and students' names are in the songs: give this file only to whoever may read them. The kept copies of earlier states (.takebook) are not in it.";
    writeln!(out, "{}", wrap(private, 0))?;
    Ok(())
}

pub(crate) fn unpack(args: &UnpackArgs, out: &mut dyn Write) -> Result<Outcome, CliError> {
    let unpacked = with_bar("unpacking", |begin, going| {
        backup::unpack(&args.archive, &args.folder, begin, going)
    })?;
    if args.json {
        let said = json!({
            "version": 1,
            "folder": args.folder.display().to_string(),
            "n_songs": unpacked.n_songs,
            "n_recordings": unpacked.n_recordings,
            "n_others": unpacked.n_others,
            "n_there": unpacked.n_there,
            "n_hidden": unpacked.n_hidden,
            "missing": unpacked.missing,
            "unreadable": unpacked.unreadable.iter().map(|(song, why)| json!({
                "song": song,
                "why": why,
            })).collect::<Vec<_>>(),
        });
        writeln!(out, "{said}")?;
    } else {
        tell_unpacked(args, &unpacked, out)?;
    }
    let mut stderr = std::io::stderr().lock();
    for song in &unpacked.missing {
        writeln!(
            stderr,
            "takebook: the recording of {} is not in the archive; the song opens without it",
            one_line(song)
        )?;
    }
    for (song, why) in &unpacked.unreadable {
        writeln!(
            stderr,
            "takebook: {} was unpacked as it is, but cannot be read: {}",
            one_line(song),
            one_line(why)
        )?;
    }
    Ok(Outcome::Done)
}

fn tell_unpacked(
    args: &UnpackArgs,
    unpacked: &Unpacked,
    out: &mut dyn Write,
) -> Result<(), CliError> {
    let counted = counted(unpacked.n_songs, unpacked.n_recordings, unpacked.n_others);
    writeln!(out, "unpacked into {}: {counted}", shown(&args.folder))?;
    if unpacked.n_there > 0 {
        let there = plural(unpacked.n_there, "file");
        writeln!(out, "{there} there already with the same content")?;
    }
    if unpacked.n_hidden > 0 {
        let hidden = plural(unpacked.n_hidden, "hidden file");
        writeln!(out, "left out: {hidden}")?;
    }
    Ok(())
}

/// `12 songs, 9 recordings, 1 other file`
fn counted(n_songs: usize, n_recordings: usize, n_others: usize) -> String {
    let parts = [
        plural(n_songs, "song"),
        plural(n_recordings, "recording"),
        plural(n_others, "other file"),
    ];
    parts.join(", ")
}
