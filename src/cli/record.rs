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
    use super::super::plain::{one_line, shown};
    use super::{Args, CliError, Outcome, Write};
    use crate::audio::{
        AudioError, Capture, Channels, CountIn, Faults, Level, LevelMeter, Recording, WantedDevice,
        capture, count_in, input_devices,
    };
    use serde_json::json;
    use std::path::Path;
    use std::time::{Duration, Instant};

    /// A device that delivers nothing for so long has vanished; the first sound may take longer.
    const PATIENCE: Duration = Duration::from_secs(4);
    const FIRST_PATIENCE: Duration = Duration::from_secs(8);
    /// Nothing over this was heard: silence, dB under full scale.
    const SILENT_DBFS: f64 = -70.0;
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
        let mut take = Take {
            meter: LevelMeter::new(n_channels, mic.rate_hz),
            start_frame: mic.pulled_frames(),
            recording,
            channels,
            mic,
            marks_s: Vec::new(),
            error: None,
        };
        let end = take.record(args.seconds, &keys);
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
            counted(n_bars as usize, "bar")
        );
        count_in(count, &|| keys.signalled())?;
        // the take starts on the beat after the count
        let mut before = Vec::new();
        mic.pull(&mut before);
        Ok(())
    }

    struct Take {
        mic: Capture,
        channels: Channels,
        recording: Recording,
        meter: LevelMeter,
        error: Option<AudioError>,
        /// Where marks were set, s.
        marks_s: Vec<f64>,
        /// Frames that the device had delivered before the take.
        start_frame: u64,
    }

    impl Take {
        /// Frames that are missing within what was recorded.
        fn lost_frames(&self) -> u64 {
            let faults = self.mic.faults();
            let recorded_to = self.start_frame + self.recording.n_frames();
            match faults.first_lost_at {
                Some(at) if at < recorded_to => faults.lost_frames,
                _ => 0,
            }
        }

        fn seconds(&self) -> f64 {
            self.recording.n_frames() as f64 / f64::from(self.mic.rate_hz)
        }

        fn record(&mut self, seconds: Option<f64>, keys: &Keys) -> End {
            let wanted = seconds.map(|s| (s * f64::from(self.mic.rate_hz)).round() as u64);
            let n = usize::from(self.channels.count(self.mic.n_channels));
            let (mut all, mut block) = (Vec::new(), Vec::new());
            let mut last_sound = Instant::now();
            let mut patience = FIRST_PATIENCE;
            let end = loop {
                all.clear();
                if self.mic.pull(&mut all) > 0 {
                    last_sound = Instant::now();
                    patience = PATIENCE;
                    self.channels.pick(self.mic.n_channels, &all, &mut block);
                    if let Some(wanted) = wanted {
                        let room = (wanted - self.recording.n_frames()) as usize;
                        block.truncate(room.saturating_mul(n));
                    }
                    if let Err(error) = self.recording.push(&block) {
                        self.error = Some(error);
                        break End::Disk;
                    }
                    let level = self.meter.push(&block);
                    self.draw(level, keys);
                }
                if wanted.is_some_and(|w| self.recording.n_frames() >= w) {
                    break End::Seconds;
                }
                if self.mic.faults().is_gone || last_sound.elapsed() > patience {
                    break End::Device;
                }
                match keys.wait(TICK) {
                    Some('q' | '\n') => break End::Key,
                    Some('m') => self.marks_s.push(self.seconds()),
                    _ if keys.signalled() => break End::Signal,
                    _ => {}
                }
            };
            if keys.can_type() {
                let _ = write!(std::io::stderr(), "\r\x1b[K");
            }
            if let Err(error) = self.recording.finish() {
                self.error = Some(error);
                return End::Disk;
            }
            end
        }

        /// One line: time, level with held peak, clipping, losses.
        fn draw(&self, level: Level, keys: &Keys) {
            if !keys.can_type() {
                return;
            }
            let faults = self.mic.faults();
            let mut line = format!(
                "{} {} {:>5.1} dB",
                clock(self.seconds()),
                level_bar(level.rms_dbfs, level.held_dbfs, 30),
                level.held_dbfs.max(-99.9),
            );
            if self.meter.n_clipped() > 0 {
                line += if level.clipping {
                    "  CLIPS: turn down"
                } else {
                    "  clipped"
                };
            }
            if faults.n_dropouts > 0 || self.lost_frames() > 0 {
                line += "  dropouts";
            }
            match self.marks_s.last() {
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
            let faults = self.mic.faults();
            let seconds = self.recording.safe_frames() as f64 / f64::from(self.mic.rate_hz);
            if self.recording.n_frames() == 0 && end == End::Device {
                let _ = std::fs::remove_file(path); // nothing was recorded
                return Err(CliError::new(format!(
                    "'{}' delivers no sound; choose another: takebook record --devices",
                    self.mic.device
                )));
            }
            let silent = self.meter.highest_dbfs() < SILENT_DBFS;
            let n_channels = self.channels.count(self.mic.n_channels);
            let files: Vec<String> = self
                .recording
                .files()
                .iter()
                .map(|p| p.display().to_string())
                .collect();
            if args.json {
                let value = json!({
                    "version": 1,
                    "files": files,
                    "device": self.mic.device,
                    "seconds": seconds,
                    "frames": self.recording.safe_frames(),
                    "rate_hz": self.mic.rate_hz,
                    "channels": n_channels,
                    "format": if args.float { "float32" } else { "int24" },
                    "peak_dbfs": self.meter.highest_dbfs(),
                    "clipped_samples": self.meter.n_clipped(),
                    "dropouts": faults.n_dropouts,
                    "lost_frames": self.lost_frames(),
                    "ended_by": end.word(),
                    "marks_s": self.marks_s,
                });
                writeln!(out, "{value}")?;
            } else {
                writeln!(
                    out,
                    "{}: {} of sound, {} Hz, {}, peak {:.1} dB",
                    files.join(", "),
                    clock(seconds),
                    self.mic.rate_hz,
                    counted(usize::from(n_channels), "channel"),
                    self.meter.highest_dbfs()
                )?;
                if !self.marks_s.is_empty() {
                    let marks: Vec<String> = self.marks_s.iter().map(|s| clock(*s)).collect();
                    writeln!(out, "Marks at {}", marks.join(", "))?;
                }
                let n_clipped = self.meter.n_clipped();
                if n_clipped > 0 {
                    let many = counted(n_clipped as usize, "sample");
                    writeln!(
                        out,
                        "It clipped ({many}): turn the input down and take it again."
                    )?;
                }
                if silent {
                    writeln!(
                        out,
                        "Nothing was heard: is it the right device, and is it muted?"
                    )?;
                }
            }
            self.complain(end, faults)?;
            let whole = matches!(end, End::Key | End::Signal | End::Seconds);
            let lossless = faults.n_dropouts == 0 && self.lost_frames() == 0;
            Ok(if whole && lossless && !silent {
                Outcome::Done
            } else {
                Outcome::Open
            })
        }

        /// What went wrong, on stderr.
        fn complain(&self, end: End, faults: Faults) -> Result<(), CliError> {
            let mut err = std::io::stderr();
            if faults.n_dropouts > 0 {
                let times = counted(faults.n_dropouts as usize, "time");
                writeln!(
                    err,
                    "takebook: the device lost samples {times}; the take has gaps"
                )?;
            }
            let lost_frames = self.lost_frames();
            if lost_frames > 0 {
                let lost_s = lost_frames as f64 / f64::from(self.mic.rate_hz);
                writeln!(
                    err,
                    "takebook: {lost_s:.1} s came faster than the disk took them and are lost"
                )?;
            }
            match (end, &self.error) {
                (End::Device, _) => writeln!(
                    err,
                    "takebook: '{}' stopped delivering; what was caught until then is saved",
                    self.mic.device
                )?,
                (End::Disk, Some(error)) => writeln!(
                    err,
                    "takebook: {error}; {} are saved and playable",
                    clock(self.recording.safe_frames() as f64 / f64::from(self.mic.rate_hz))
                )?,
                _ => {}
            }
            Ok(())
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

    fn counted(n: usize, what: &str) -> String {
        format!("{n} {what}{}", if n == 1 { "" } else { "s" })
    }

    fn channels_in_words(channels: &[u16]) -> String {
        match channels {
            [one] => counted(usize::from(*one), "channel"),
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
