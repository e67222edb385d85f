//! A net in two halves, loaded and run: the front reads spectra and gives notes and
//! a fold to pitch classes, the back reads the fold and gives chords, bass and tones.

use crate::hearing::HearingError;
use rten::{Model, NodeId, RunOptions, ThreadPool, ValueOrView};
use rten_tensor::prelude::*;
use std::sync::Arc;

/// Both halves of a net whose front has `N` inputs.
pub(crate) struct Halves<const N: usize> {
    front: Model,
    back: Model,
    front_inputs: [NodeId; N],
    front_outputs: [NodeId; 3],
    back_input: NodeId,
    back_outputs: [NodeId; 3],
}

impl<const N: usize> Halves<N> {
    /// Loads both halves from ONNX; `inputs` names what the front reads.
    ///
    /// # Errors
    /// * [`HearingError::Model`] if the weights do not load: a broken build.
    pub(crate) fn load(
        front: &'static [u8],
        back: &'static [u8],
        inputs: [&str; N],
    ) -> Result<Self, HearingError> {
        let load = |bytes| Model::load_static_slice(bytes).map_err(|e| broken(e.to_string()));
        let (front, back) = (load(front)?, load(back)?);
        Ok(Self {
            front_inputs: nodes(&front, inputs)?,
            front_outputs: nodes(&front, ["folded", "struck", "sounding"])?,
            back_input: nodes(&back, ["folded"])?[0],
            back_outputs: nodes(&back, ["chord", "bass", "tones"])?,
            front,
            back,
        })
    }

    /// The fold, and the logits of struck and sounding pitches.
    ///
    /// # Errors
    /// * [`HearingError::Model`] if inference fails: a broken build.
    pub(crate) fn run_front(
        &self,
        inputs: [ValueOrView<'_>; N],
    ) -> Result<[Vec<f32>; 3], HearingError> {
        let inputs = self.front_inputs.into_iter().zip(inputs).collect();
        run_net(&self.front, inputs, self.front_outputs)
    }

    /// The logits of chords, basses and pitch classes.
    ///
    /// # Errors
    /// As [`Self::run_front`].
    pub(crate) fn run_back(&self, folded: ValueOrView<'_>) -> Result<[Vec<f32>; 3], HearingError> {
        run_net(
            &self.back,
            vec![(self.back_input, folded)],
            self.back_outputs,
        )
    }
}

fn broken(reason: String) -> HearingError {
    HearingError::Model { reason }
}

/// The nodes of these names.
fn nodes<const N: usize>(model: &Model, names: [&str; N]) -> Result<[NodeId; N], HearingError> {
    let found: Result<Vec<NodeId>, _> = names.iter().map(|name| model.node_id(name)).collect();
    let found = found.map_err(|e| broken(e.to_string()))?;
    <[NodeId; N]>::try_from(found).map_err(|_| broken("a node is missing".into()))
}

/// Runs a net on one thread and gives its outputs, each flat.
///
/// # Errors
/// * [`HearingError::Model`] if inference fails: a broken build.
pub(crate) fn run_net<const N: usize>(
    model: &Model,
    inputs: Vec<(NodeId, ValueOrView<'_>)>,
    outputs: [NodeId; N],
) -> Result<[Vec<f32>; N], HearingError> {
    let options = RunOptions::default().with_thread_pool(Some(ONE_THREAD.with(Arc::clone)));
    let values = model
        .run_n(inputs, outputs, Some(options))
        .map_err(|e| broken(e.to_string()))?;
    let mut flat = std::array::from_fn(|_| Vec::new());
    for (value, flat) in values.into_iter().zip(&mut flat) {
        *flat = value
            .into_tensor::<f32>()
            .map(|t| t.to_vec())
            .ok_or_else(|| broken("an output is not made of floats".into()))?;
    }
    Ok(flat)
}

thread_local! {
    /// One thread a chunk: chunks are what runs in parallel.
    static ONE_THREAD: Arc<ThreadPool> = Arc::new(ThreadPool::with_num_threads(1));
}
