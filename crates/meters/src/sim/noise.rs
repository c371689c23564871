//! Seeded noise, the same on every machine: the SplitMix64 generator (Steele, Lea and Flood,
//! "Fast splittable pseudorandom number generators", 2014; constants from memory). For simulated
//! meters only.

/// A stream of numbers from a seed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Noise {
    state: u64,
}

impl Noise {
    /// The stream of this seed.
    #[must_use]
    pub const fn new(seed: u64) -> Self {
        Noise { state: seed }
    }

    /// The stream of a seed for one named use, independent of the others.
    #[must_use]
    pub fn of(seed: u64, usage: u64) -> Self {
        let mut noise = Noise::new(seed ^ usage.wrapping_mul(0xD134_2543_DE82_EF95));
        noise.bits();
        noise
    }

    /// Sixty-four random bits.
    pub fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number from 0 up to and without 1.
    #[expect(clippy::cast_precision_loss, reason = "53 bits fit exactly")]
    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// A number from -1 up to and without 1.
    pub fn signed(&mut self) -> f64 {
        2.0 * self.unit() - 1.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// First outputs for seed 1234567, as the generator's published reference code gives them
    /// (from memory).
    #[test]
    fn the_stream_is_the_published_one() {
        let mut noise = Noise::new(1_234_567);
        let first: Vec<u64> = (0..3).map(|_| noise.bits()).collect();
        assert_eq!(
            first,
            [
                6_457_827_717_110_365_317,
                3_203_168_211_198_807_973,
                9_817_491_932_198_370_423
            ]
        );
    }
}
