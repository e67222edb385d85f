//! Small fitted nets whose weights are a file of `f32`.

/// The numbers of a file of little-endian `f32`.
pub(in crate::hearing) fn numbers_of(bytes: &'static [u8]) -> impl Iterator<Item = f32> {
    let (four, _) = bytes.as_chunks::<4>();
    four.iter().map(|b| f32::from_le_bytes(*b))
}

/// Probability of log odds.
pub(in crate::hearing) fn sigmoid(x: f32) -> f32 {
    1.0 / (1.0 + (-x).exp())
}

/// Log odds of a probability, which is kept `margin` away from 0 and 1.
pub(in crate::hearing) fn log_odds(p: f32, margin: f32) -> f32 {
    let p = p.clamp(margin, 1.0 - margin);
    (p / (1.0 - p)).ln()
}

/// A net of one hidden layer of `H` rectified units, `N` numbers to a logit.
pub(in crate::hearing) struct Layers<const N: usize, const H: usize> {
    hidden: Vec<([f32; N], f32)>,
    out: Vec<f32>,
    constant: f32,
}

impl<const N: usize, const H: usize> Layers<N, H> {
    /// Of the hidden units first the weights, each with its constant last, then the output's,
    /// its constant last.
    pub(in crate::hearing) fn read(numbers: &mut impl Iterator<Item = f32>) -> Self {
        let mut next = || numbers.next().unwrap_or_default();
        let hidden = (0..H)
            .map(|_| (std::array::from_fn(|_| next()), next()))
            .collect();
        Self {
            hidden,
            out: (0..H).map(|_| next()).collect(),
            constant: next(),
        }
    }

    /// Log odds that it gives.
    pub(in crate::hearing) fn logit(&self, numbers: &[f32; N]) -> f32 {
        let mut sum = self.constant;
        for ((weights, constant), out) in self.hidden.iter().zip(&self.out) {
            // eight running sums, so that the compiler can use vector registers
            let mut parts = [0f32; 8];
            let (w, x) = (weights.chunks_exact(8), numbers.chunks_exact(8));
            let rest = w.remainder().iter().zip(x.remainder());
            let rest: f32 = rest.map(|(w, x)| w * x).sum();
            for (w, x) in w.zip(x) {
                for l in 0..8 {
                    parts[l] += w[l] * x[l];
                }
            }
            let unit = constant + rest + parts.iter().sum::<f32>();
            sum += out * unit.max(0.0);
        }
        sum
    }
}
