use rand::{Rng, SeedableRng};
use rand_pcg::Pcg64Mcg;

/// Everything random in a simulated run, from one seed.
#[derive(Debug, Clone)]
pub struct Chance(Pcg64Mcg);

impl Chance {
    /// The same seed gives the same draws on every machine.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        Self(Pcg64Mcg::seed_from_u64(seed))
    }

    /// A real number in `low..high`, or `low` where the range is empty.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        if low < high { self.0.random_range(low..high) } else { low }
    }

    /// A whole number in `0..n`; 0 for `n` = 0.
    pub fn below(&mut self, n: u32) -> u32 {
        if n == 0 { 0 } else { self.0.random_range(0..n) }
    }

    /// True with the probability `p`.
    pub fn happens(&mut self, p: f64) -> bool {
        self.0.random::<f64>() < p
    }

    /// A seed for something that needs draws of its own.
    pub fn seed(&mut self) -> u64 {
        self.0.random()
    }
}

/// A number in 0..1 that depends on `seed` and `key` only: noise that is the same whenever the wheel passes
/// the same place (the finaliser of splitmix64, public domain).
pub(crate) fn fixed_noise(seed: u64, key: u64) -> f64 {
    let mut z = seed ^ key.wrapping_mul(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^= z >> 31;
    f64::from(u32::try_from(z >> 32).unwrap_or(0)) / 4_294_967_296.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_seed_one_sequence() {
        let draw = |seed| {
            let mut chance = Chance::new(seed);
            (0..8).map(|_| chance.seed()).collect::<Vec<_>>()
        };
        assert_eq!(draw(7), draw(7));
        assert_ne!(draw(7), draw(8));
    }

    #[test]
    fn fixed_noise_fills_its_range() {
        let mean = (0..10_000).map(|key| fixed_noise(1, key)).sum::<f64>() / 10_000.0;
        assert!((mean - 0.5).abs() < 0.02, "{mean}");
        assert!(fixed_noise(1, 5) != fixed_noise(2, 5));
    }
}
