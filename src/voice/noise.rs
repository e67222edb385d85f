//! Noise that is the same on every machine.

/// A stream of pseudo-random numbers (Marsaglia, "Xorshift RNGs", 2003).
pub(super) struct Noise(u64);

impl Noise {
    /// A stream of its own for each seed.
    pub(super) fn new(seed: u64) -> Self {
        // an odd multiplier spreads neighbouring seeds; 0 would stay 0
        let mut noise = Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1);
        for _ in 0..8 {
            noise.next();
        }
        noise
    }

    /// The next number, -1 to 1, even.
    pub(super) fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 52) as f64 - 1.0
    }
}
