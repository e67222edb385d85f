//! Within which time strings belong to one strum, for every stage that asks.

use crate::hearing::learned;
use crate::hearing::weight_files::STRUM_WINDOW;
use std::sync::LazyLock;

/// Windows of a strum, s: they differ by what is known of it.
#[derive(Debug, Clone, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::hearing) struct StrumWindow {
    /// Attacks nearer than this are one strum.
    pub(in crate::hearing) attacks_s: f64,
    /// A note so near to the note before belongs to its strum.
    pub(in crate::hearing) notes_s: f64,
    /// A note may come this long before the moment that its strum is written at.
    pub(in crate::hearing) early_s: f64,
    /// And this long after it.
    pub(in crate::hearing) late_s: f64,
    /// All strings of a strum across a shape are struck within this.
    pub(in crate::hearing) strings_s: f64,
    /// A note this far outside those strings is still of the strum.
    pub(in crate::hearing) beside_s: f64,
    /// An attack this near to those strings is the strum's.
    pub(in crate::hearing) attack_of_strings_s: f64,
    /// So long before the song net hears a strum its first string may have sounded.
    pub(in crate::hearing) sweep_s: f64,
    /// How far, as a share of the way, a strum lies from the song net's moment to its attack.
    pub(in crate::hearing) attack_share: f64,
    /// An attack this much later than the song net's moment is still the strum's.
    pub(in crate::hearing) attack_after_net_s: f64,
    /// An attack less than this after the strum before may be that strum's.
    pub(in crate::hearing) apart_s: f64,
    /// Least probability of a strum.
    pub(in crate::hearing) least: f32,
    /// Fine frames between two strums at the least.
    pub(in crate::hearing) apart_frames: usize,
}

/// The windows.
pub(in crate::hearing) fn strum_window() -> &'static StrumWindow {
    static WINDOW: LazyLock<StrumWindow> = LazyLock::new(|| learned::read(&STRUM_WINDOW));
    &WINDOW
}
