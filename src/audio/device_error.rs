//! What can be wrong with a microphone or a loudspeaker.

use std::fmt;

/// Errors of devices. Each says what the system said, or what there is to choose from.
#[derive(Debug)]
#[non_exhaustive]
pub enum DeviceError {
    /// No microphone can be opened; connect one, or name another.
    NoInput {
        /// What the system said.
        reason: String,
    },
    /// Nothing can be played; connect loudspeakers or headphones, or write a file.
    NoOutput {
        /// What the system said.
        reason: String,
    },
    /// No output device of that name, or several; choose one of the list.
    OutputName {
        /// What was asked for.
        name: String,
        /// Names that fit, or all if none does.
        names: Vec<String>,
    },
    /// No device of that name, or several; choose one of the list.
    InputName {
        /// What was asked for.
        name: String,
        /// Names that fit, or all if none does.
        names: Vec<String>,
    },
    /// The device does not do what was asked for; choose among what it does.
    Settings {
        /// Which device.
        device: String,
        /// What was asked for, in words.
        asked: String,
        /// What it does, in words.
        possible: String,
    },
    /// The device refused to start; close what uses it, or choose another.
    Start {
        /// Which device.
        device: String,
        /// What the system said.
        reason: String,
    },
}

impl fmt::Display for DeviceError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoInput { reason } => write!(
                f,
                "no microphone can be opened: {reason} (connect one and look at: takebook record --devices)"
            ),
            Self::NoOutput { reason } => write!(
                f,
                "no sound can be played: {reason} (connect loudspeakers or headphones)"
            ),
            Self::OutputName { name, names } if names.is_empty() => {
                write!(f, "there is no output device '{name}', nor any other")
            }
            Self::OutputName { name, names } => write!(
                f,
                "'{name}' does not name one output device; there are: {}",
                names.join(", ")
            ),
            Self::InputName { name, names } if names.is_empty() => write!(
                f,
                "there is no input device '{name}', nor any other (connect one and look at: takebook record --devices)"
            ),
            Self::InputName { name, names } => write!(
                f,
                "'{name}' does not name one input device; there are: {}",
                names.join(", ")
            ),
            Self::Settings {
                device,
                asked,
                possible,
            } => write!(f, "'{device}' has no {asked}; it has {possible}"),
            Self::Start { device, reason } => write!(
                f,
                "'{device}' does not start: {reason} (another program may be using it)"
            ),
        }
    }
}

impl std::error::Error for DeviceError {}

impl From<DeviceError> for super::AudioError {
    fn from(error: DeviceError) -> Self {
        Self::Device(error)
    }
}
