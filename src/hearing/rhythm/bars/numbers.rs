//! What the search for bars takes as given.

use crate::hearing::learned;
use crate::hearing::weight_files::BARS;
use std::sync::LazyLock;

/// Costs and thresholds of bars. What describes a hypothesis was fitted with these: another
/// value of any but `skip` asks for a new fit of the ranks.
#[derive(Debug, Clone, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct BarWeights {
    /// Cost of a jump in the count: a beat too few or too many in a bar.
    pub(super) skip: f32,
    /// A change of harmony that clear is one ([`crate::hearing::rhythm::pulse`]).
    pub(super) changed: f32,
    /// See [`BarWeights::is_compound`].
    compound: f32,
    /// Log odds of a third of a beat from which on it is struck.
    pub(super) third: f32,
    /// So many octaves below the middle of tempos a compound beat that is plucked begins to be
    /// quick.
    pub(super) quick: f32,
    /// So many octaves below it a plucked three begins to be slow.
    pub(super) slow: f32,
    /// A chord is held for so many bars at the most.
    pub(super) most_held: f32,
}

impl BarWeights {
    /// Whether beats divide in three rather than in two, by the mean log odds of both.
    pub(super) fn is_compound(&self, third: f32, half: f32) -> bool {
        third > half + self.compound
    }
}

/// The built-in ones.
pub(super) fn bar_weights() -> &'static BarWeights {
    static WEIGHTS: LazyLock<BarWeights> = LazyLock::new(|| learned::read(&BARS));
    &WEIGHTS
}
