//! The weights of the musical stage by name, for programs that compare or fit them.

use std::error::Error;
use takebook::hearing::Weights;

/// A weight's place.
pub(crate) enum Slot<'a> {
    Single(&'a mut f32),
    Double(&'a mut f64),
}

impl Slot<'_> {
    #[allow(dead_code, reason = "one of the programs only writes")]
    pub(crate) fn get(&self) -> f64 {
        match self {
            Self::Single(v) => f64::from(**v),
            Self::Double(v) => **v,
        }
    }

    pub(crate) fn put(self, value: f64) {
        match self {
            Self::Single(v) => *v = value as f32,
            Self::Double(v) => *v = value,
        }
    }
}

/// The weight of a name.
pub(crate) fn slot<'a>(weights: &'a mut Weights, name: &str) -> Option<Slot<'a>> {
    let c = &mut weights.chords;
    Some(match name {
        "chord" => Slot::Single(&mut c.chord),
        "bass" => Slot::Single(&mut c.bass),
        "bass_start" => Slot::Single(&mut c.bass_start),
        "low_sounds" => Slot::Single(&mut c.low_sounds),
        "low_most" => Slot::Single(&mut c.low_most),
        "low_slope" => Slot::Single(&mut c.low_slope),
        "masked" => Slot::Single(&mut c.masked),
        "lowest_sounding" => Slot::Single(&mut c.lowest_sounding),
        "lowest_struck" => Slot::Single(&mut c.lowest_struck),
        "inversion" => Slot::Single(&mut c.inversion),
        "far_bass" => Slot::Single(&mut c.far_bass),
        "on_bar" => Slot::Single(&mut c.on_bar),
        "on_beat" => Slot::Single(&mut c.on_beat),
        "on_half" => Slot::Single(&mut c.on_half),
        "off_grid" => Slot::Single(&mut c.off_grid),
        "key" => Slot::Single(&mut c.key),
        "colour" => Slot::Single(&mut c.colour),
        "rare" => Slot::Single(&mut c.rare),
        "fifths" => Slot::Single(&mut c.fifths),
        "temperature" => Slot::Single(&mut weights.temperature),
        "ease" => Slot::Double(&mut weights.fit.ease),
        "margin" => Slot::Double(&mut weights.fit.margin),
        "unplucked" => Slot::Double(&mut weights.fit.unplucked),
        "hidden" => Slot::Double(&mut weights.fit.hidden),
        "left_out" => Slot::Double(&mut weights.fit.left_out),
        "about" => Slot::Double(&mut weights.fit.about),
        "power" => Slot::Double(&mut weights.fit.power),
        "another" => Slot::Double(&mut weights.fit.another),
        "moved" => Slot::Double(&mut weights.fit.moved),
        "judged" => Slot::Double(&mut weights.fit.judged),
        "most_sounding" => Slot::Double(&mut weights.plucks.most_sounding),
        "most_together" => Slot::Double(&mut weights.plucks.most_together),
        "whole_chord" => Slot::Double(&mut weights.plucks.whole_chord),
        "evidence" => Slot::Single(&mut weights.plucks.evidence),
        "struck" => Slot::Single(&mut weights.notes.struck),
        _ => return None,
    })
}

/// Sets one weight from `name=value`.
///
/// # Errors
/// A name that no weight has, or a value that is no number.
pub(crate) fn set(weights: &mut Weights, setting: &str) -> Result<(), Box<dyn Error>> {
    let (name, value) = setting
        .split_once('=')
        .ok_or("say a weight as name=value")?;
    let value: f64 = value.parse()?;
    let slot = slot(weights, name).ok_or(format!("no weight is called '{name}'"))?;
    slot.put(value);
    Ok(())
}
