//! `takebook record`: from a microphone to a WAV file.

use super::{CliError, Outcome};
use crate::audio::SampleForm;
use crate::songlog;
use std::io::Write;
use std::path::PathBuf;

/// Arguments of `record`.
#[derive(clap::Args)]
#[command(
    after_help = "Example: takebook record evening.wav --seconds 90\n\nStops at q, Enter, Ctrl-C, or after --seconds; m (or a pedal that turns pages) marks a\nmoment. What was recorded so far is\nplayable at every moment, also after a crash. Recording others, or someone\nelse's song: ask first; permission and local law decide."
)]
pub(crate) struct Args {
    /// The WAV file to write.
    #[arg(value_name = "OUT.wav", required_unless_present = "devices")]
    output: Option<PathBuf>,
    /// Lists the input devices and ends.
    #[arg(long)]
    devices: bool,
    /// The device: its name in the list, or a part that fits only one.
    #[arg(long, value_name = "NAME")]
    device: Option<String>,
    /// Only this channel of it, from 1. Left out, all.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..))]
    channel: Option<u16>,
    /// Frames a second. Left out, 48000 or what the device has.
    #[arg(long, value_name = "HZ")]
    rate: Option<u32>,
    /// Stops after so many seconds of sound.
    #[arg(long, value_name = "S", value_parser = read_length)]
    seconds: Option<f64>,
    /// 32-bit float samples instead of 24-bit integers.
    #[arg(long)]
    float: bool,
    /// Clicks so many bars first. Turn the volume down before: clicks can be loud.
    #[arg(long, value_name = "BARS", requires = "tempo", value_parser = clap::value_parser!(u32).range(1..=16))]
    count_in: Option<u32>,
    /// Tempo of the clicks, bpm.
    #[arg(long, value_name = "BPM", value_parser = read_tempo)]
    tempo: Option<f64>,
    /// Beats in a bar of the clicks.
    #[arg(long, default_value = "4/4", value_parser = songlog::read_meter)]
    meter: (u8, u8),
    /// Overwrites the file if it exists.
    #[arg(long, alias = "replace")]
    overwrite: bool,
    /// Results as JSON.
    #[arg(long)]
    json: bool,
}

impl Args {
    #[cfg_attr(not(feature = "mic"), expect(dead_code, reason = "no microphone"))]
    fn form(&self) -> SampleForm {
        if self.float {
            SampleForm::Float32
        } else {
            SampleForm::Int24
        }
    }
}

fn read_length(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(s) if s > 0.0 && s <= 86_400.0 => Ok(s),
        _ => Err(format!(
            "'{text}' is not a length in seconds up to a day, such as 90"
        )),
    }
}

pub(super) fn read_tempo(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(bpm) if (20.0..=400.0).contains(&bpm) => Ok(bpm),
        _ => Err(format!("'{text}' is not a tempo (20 to 400 bpm)")),
    }
}

#[cfg(not(feature = "mic"))]
pub(crate) fn run(_args: &Args, _out: &mut dyn Write) -> Result<Outcome, CliError> {
    Err(super::no_mic())
}

#[cfg(feature = "mic")]
pub(crate) use live::run;

#[cfg(feature = "mic")]
mod live {
    use super::super::keys::{Keys, clock, level_bar, room};
    use super::super::layout::plural;
    use super::super::plain::{one_line, shown};
    use super::{Args, CliError, Outcome, Write};
    use crate::audio::{
        Capture, Channels, CountIn, Level, Recording, TakeEnd, Taking, WantedDevice, capture,
        count_in, input_devices,
    };
    use serde_json::json;
    use std::path::Path;
    use std::time::Duration;

    /// How often the ring is emptied and the meter drawn.
    const TICK: Duration = Duration::from_millis(50);

    /// Why a recording ended.
    #[derive(Clone, Copy, PartialEq)]
    enum End {
        Key,
        Signal,
        Seconds,
        Device,
        Disk,
    }

    impl End {
        fn word(self) -> &'static str {
            match self {
                Self::Key => "key",
                Self::Signal => "signal",
                Self::Seconds => "seconds",
                Self::Device => "device",
                Self::Disk => "disk",
            }
        }
    }

    pub(crate) fn run(args: &Args, out: &mut dyn Write) -> Result<Outcome, CliError> {
        if args.devices {
            return list(args.json, out);
        }
        let Some(path) = &args.output else {
            return Err(CliError::new("name the WAV file to write"));
        };
        let is_wav = path
            .extension()
            .is_some_and(|e| e.eq_ignore_ascii_case("wav"));
        if !is_wav {
            return Err(CliError::new(format!(
                "'{}' does not end in .wav, and WAV is what is written",
                path.display()
            )));
        }
        let mut mic = capture(&WantedDevice {
            name: args.device.clone(),
            rate_hz: args.rate,
        })?;
        let channels = match args.channel {
            Some(n) if n > mic.n_channels => {
                return Err(CliError::new(format!(
                    "'{}' has no channel {n}; it has {}",
                    mic.device, mic.n_channels
                )));
            }
            Some(n) => Channels::One(n - 1),
            None => Channels::All,
        };
        let n_channels = channels.count(mic.n_channels);
        let recording =
            Recording::create(path, n_channels, mic.rate_hz, args.form(), args.overwrite)?;
        let keys = Keys::watch();
        if let Some(n_bars) = args.count_in
            && let Err(error) = count(args, n_bars, &mut mic, &keys)
        {
            drop(recording);
            let _ = std::fs::remove_file(path); // nothing was recorded
            return Err(error);
        }
        if keys.can_type() {
            let frame_bytes = u64::from(n_channels) * args.form().bytes();
            let room = room(path, u64::from(mic.rate_hz) * frame_bytes);
            let _ = write!(
                std::io::stderr(),
                "{} from {}{room}\r\n",
                shown(path),
                one_line(&mic.device)
            );
        }
        let most_frames = args
            .seconds
            .map(|s| (s * f64::from(mic.rate_hz)).round() as u64);
        let mut take = Take(Taking::begin(mic, channels, recording, most_frames));
        let end = take.record(&keys);
        drop(keys);
        take.tell(args, path, end, out)
    }

    fn count(args: &Args, n_bars: u32, mic: &mut Capture, keys: &Keys) -> Result<(), CliError> {
        let count = CountIn {
            n_bars,
            n_beats: args.meter.0,
            tempo_bpm: args.tempo.unwrap_or(100.0),
        };
        let mut err = std::io::stderr();
        let _ = write!(
            err,
            "Counting {}; clicks can be loud: turn the volume down first.\r\n",
            plural(n_bars as usize, "bar")
        );
        let mut before = Vec::new();
        count_in(count, true, &mut |_| {
            // the take starts on the beat after the count
            mic.pull(&mut before);
            before.clear();
            keys.signalled()
        })?;
        Ok(())
    }

    struct Take(Taking);

    impl Take {
        fn record(&mut self, keys: &Keys) -> End {
            let end = loop {
                match self.0.step() {
                    Ok(Some(level)) => self.draw(level, keys),
                    Ok(None) => {}
                    Err(TakeEnd::Length) => break End::Seconds,
                    Err(TakeEnd::Device) => break End::Device,
                    Err(TakeEnd::Disk) => break End::Disk,
                }
                match keys.wait(TICK) {
                    Some('q' | '\n') => break End::Key,
                    Some('m') => {
                        self.0.mark();
                    }
                    _ if keys.signalled() => break End::Signal,
                    _ => {}
                }
            };
            if keys.can_type() {
                let _ = write!(std::io::stderr(), "\r\x1b[K");
            }
            if self.0.finish() { end } else { End::Disk }
        }

        /// One line: time, level with held peak, clipping, losses.
        fn draw(&self, level: Level, keys: &Keys) {
            if !keys.can_type() {
                return;
            }
            let take = &self.0;
            let mut line = format!(
                "{} {} {:>5.1} dB",
                clock(take.seconds()),
                level_bar(level.rms_dbfs, level.held_dbfs, 30),
                level.held_dbfs.max(-99.9),
            );
            if take.meter().n_clipped() > 0 {
                line += if level.clipping {
                    "  CLIPS: turn down"
                } else {
                    "  clipped"
                };
            }
            if take.n_dropouts() > 0 || take.lost_frames() > 0 {
                line += "  dropouts";
            }
            match take.marks_s().last() {
                Some(at_s) => line += &format!("  marked {}  q stops", clock(*at_s)),
                None => line += "  m marks  q stops",
            }
            let shown: String = line.chars().take(keys.columns() - 1).collect();
            let _ = write!(std::io::stderr(), "\r{shown}\x1b[K");
            let _ = std::io::stderr().flush();
        }

        fn tell(
            self,
            args: &Args,
            path: &Path,
            end: End,
            out: &mut dyn Write,
        ) -> Result<Outcome, CliError> {
            let take = &self.0;
            let (recording, meter) = (take.recording(), take.meter());
            if recording.n_frames() == 0 && end == End::Device {
                let _ = std::fs::remove_file(path); // nothing was recorded
                return Err(CliError::new(format!(
                    "'{}' delivers no sound; choose another: takebook record --devices",
                    take.device()
                )));
            }
            let files: Vec<String> = recording
                .files()
                .iter()
                .map(|p| p.display().to_string())
                .collect();
            if args.json {
                let value = json!({
                    "version": 1,
                    "files": files,
                    "device": take.device(),
                    "seconds": take.safe_s(),
                    "frames": recording.safe_frames(),
                    "rate_hz": take.rate_hz(),
                    "channels": take.n_channels(),
                    "format": if args.float { "float32" } else { "int24" },
                    "peak_dbfs": meter.highest_dbfs(),
                    "clipped_samples": meter.n_clipped(),
                    "dropouts": take.n_dropouts(),
                    "lost_frames": take.lost_frames(),
                    "ended_by": end.word(),
                    "marks_s": take.marks_s(),
                });
                writeln!(out, "{value}")?;
            } else {
                writeln!(
                    out,
                    "{}: {} of sound, {} Hz, {}, peak {:.1} dB",
                    files.join(", "),
                    clock(take.safe_s()),
                    take.rate_hz(),
                    plural(usize::from(take.n_channels()), "channel"),
                    meter.highest_dbfs()
                )?;
                if !take.marks_s().is_empty() {
                    let marks: Vec<String> = take.marks_s().iter().map(|s| clock(*s)).collect();
                    writeln!(out, "Marks at {}", marks.join(", "))?;
                }
                let n_clipped = meter.n_clipped();
                if n_clipped > 0 {
                    let many = plural(n_clipped as usize, "sample");
                    writeln!(
                        out,
                        "It clipped ({many}): turn the input down and take it again."
                    )?;
                }
                if take.is_silent() {
                    writeln!(
                        out,
                        "Nothing was heard: is it the right device, and is it muted?"
                    )?;
                }
            }
            let ended = (end == End::Device).then_some(TakeEnd::Device);
            let missing = take.missing(ended);
            for words in &missing {
                writeln!(std::io::stderr(), "takebook: {words}")?;
            }
            Ok(if missing.is_empty() && !take.is_silent() {
                Outcome::Done
            } else {
                Outcome::Open
            })
        }
    }

    fn list(as_json: bool, out: &mut dyn Write) -> Result<Outcome, CliError> {
        let devices = input_devices()?;
        if as_json {
            let all: Vec<_> = devices
                .iter()
                .map(|d| {
                    json!({
                        "id": d.id, "name": d.name, "is_default": d.is_default,
                        "channels": d.channels, "rates_hz": d.rates_hz,
                    })
                })
                .collect();
            writeln!(out, "{}", json!({"version": 1, "devices": all}))?;
        } else {
            for device in &devices {
                let sign = if device.is_default { "*" } else { " " };
                writeln!(out, "{sign} {}", device.id)?;
                if device.name != device.id {
                    writeln!(out, "    {}", device.name.replace('\n', ", "))?;
                }
                let rates: Vec<String> = device.rates_hz.iter().map(u32::to_string).collect();
                writeln!(
                    out,
                    "    {}; {} Hz",
                    channels_in_words(&device.channels),
                    rates.join(", ")
                )?;
            }
            if !devices.is_empty() {
                writeln!(out, "* is what is used if no --device is named.")?;
            }
        }
        if devices.is_empty() {
            return Err(CliError::new(
                "there is no input device; connect a microphone or an audio interface",
            ));
        }
        Ok(Outcome::Done)
    }

    fn channels_in_words(channels: &[u16]) -> String {
        match channels {
            [one] => plural(usize::from(*one), "channel"),
            [first, .., last] if usize::from(last - first) + 1 == channels.len() => {
                format!("{first} to {last} channels")
            }
            several => {
                let all: Vec<String> = several.iter().map(u16::to_string).collect();
                format!("{} channels", all.join(" or "))
            }
        }
    }
}
