//! Values of `theory` and `fretboard` as texts in JSON; those rooms know no JSON.
//!
//! For `#[serde(with = "text")]` and its kin. Reading is forgiving (any spelling
//! that people type), writing is one form.

use crate::fretboard::{Shape, Tuning};
use crate::theory::{Key, Label};
use serde::de::Error;
use serde::{Deserialize, Deserializer, Serializer};
use std::fmt::Display;
use std::str::FromStr;

/// A value with one written form.
pub(crate) trait Text: FromStr<Err: Display> {
    /// As it is written.
    fn text(&self) -> String;
}

impl Text for Label {
    fn text(&self) -> String {
        self.label()
    }
}

impl Text for Key {
    fn text(&self) -> String {
        self.label()
    }
}

impl Text for Shape {
    fn text(&self) -> String {
        Shape::text(self)
    }
}

impl Text for Tuning {
    fn text(&self) -> String {
        Tuning::text(self)
    }
}

/// Writes a value as text.
pub(crate) fn serialize<T: Text, S: Serializer>(value: &T, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(&value.text())
}

/// Reads a value from text.
pub(crate) fn deserialize<'de, T: Text, D: Deserializer<'de>>(from: D) -> Result<T, D::Error> {
    parse(&String::deserialize(from)?)
}

fn parse<T: Text, E: Error>(text: &str) -> Result<T, E> {
    text.trim().parse().map_err(E::custom)
}

/// The same for what may be left out.
pub(crate) mod optional {
    use super::{Deserialize, Deserializer, Serializer, Text, parse};

    /// Writes a value as text, or null.
    pub(crate) fn serialize<T: Text, S: Serializer>(
        value: &Option<T>,
        to: S,
    ) -> Result<S::Ok, S::Error> {
        match value {
            Some(value) => to.serialize_some(&value.text()),
            None => to.serialize_none(),
        }
    }

    /// Reads a value from text, or null.
    pub(crate) fn deserialize<'de, T: Text, D: Deserializer<'de>>(
        from: D,
    ) -> Result<Option<T>, D::Error> {
        let text = Option::<String>::deserialize(from)?;
        text.as_deref().map(parse).transpose()
    }
}

/// A meter as `4/4`.
pub(crate) mod meter {
    use super::{Deserialize, Deserializer, Error, Serializer};
    use crate::songlog::read_meter;

    /// Writes it.
    pub(crate) fn serialize<S: Serializer>(meter: &(u8, u8), to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(&format!("{}/{}", meter.0, meter.1))
    }

    /// Reads it.
    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<(u8, u8), D::Error> {
        read_meter(&String::deserialize(from)?).map_err(D::Error::custom)
    }

    /// Writes it, or null.
    pub(crate) fn serialize_optional<S: Serializer>(
        meter: &Option<(u8, u8)>,
        to: S,
    ) -> Result<S::Ok, S::Error> {
        match meter {
            Some((beats, value)) => to.serialize_some(&format!("{beats}/{value}")),
            None => to.serialize_none(),
        }
    }

    /// Reads it, or null.
    pub(crate) fn optional<'de, D: Deserializer<'de>>(
        from: D,
    ) -> Result<Option<(u8, u8)>, D::Error> {
        let text = Option::<String>::deserialize(from)?;
        let meter = text.as_deref().map(read_meter).transpose();
        meter.map_err(D::Error::custom)
    }
}

/// A tuning as the MIDI notes of its open strings.
pub(crate) mod open_midi {
    use super::{Deserialize, Deserializer, Error, Serializer};
    use crate::fretboard::Tuning;
    use serde::Serialize;

    /// Writes them.
    pub(crate) fn serialize<S: Serializer>(tuning: &Tuning, to: S) -> Result<S::Ok, S::Error> {
        tuning.open().serialize(to)
    }

    /// Reads them.
    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Tuning, D::Error> {
        Tuning::new(Vec::deserialize(from)?).map_err(D::Error::custom)
    }
}

/// Rounds to four decimals: 0.1 ms, a hundredth of a per cent.
pub(crate) fn four(x: f64) -> f64 {
    (x * 1e4).round() / 1e4
}

/// Writes a number with four decimals.
pub(crate) fn rounded<S: Serializer>(x: &f64, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_f64(four(*x))
}

/// Writes a number with four decimals, or null.
pub(crate) fn rounded_optional<S: Serializer>(x: &Option<f64>, to: S) -> Result<S::Ok, S::Error> {
    match x {
        Some(x) => to.serialize_some(&four(*x)),
        None => to.serialize_none(),
    }
}

/// Writes numbers with four decimals.
pub(crate) fn rounded_list<S: Serializer>(all: &[f64], to: S) -> Result<S::Ok, S::Error> {
    to.collect_seq(all.iter().copied().map(four))
}
