//! Random numbers that stay the same for ever: ChaCha for the bits, and every step from bits to numbers written here,
//! so that a seed gives the same bench whatever the random-number library does in a later version.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// A seeded source of random numbers.
#[derive(Debug, Clone)]
pub struct Dice {
    bits: ChaCha8Rng,
}

impl Dice {
    /// A source for `seed`; `stream` keeps sources apart that share a seed.
    pub fn new(seed: u64, stream: u64) -> Self {
        let mut bits = ChaCha8Rng::seed_from_u64(seed);
        bits.set_stream(stream);
        Self { bits }
    }

    /// Uniform on [0, 1).
    pub fn unit(&mut self) -> f64 {
        // 53 bits, the precision of an f64.
        (self.bits.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Uniform between `low` and `high`.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Standard normal (Box and Muller 1958, Ann. Math. Stat. 29, 610).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }

    /// A whole number from `low` to `high`, both included; `low` when `high` is not above it.
    pub fn whole(&mut self, low: usize, high: usize) -> usize {
        let span = high.saturating_sub(low) as u64 + 1;
        // The remainder's bias, below 1e-17 for spans under 100, does not matter here.
        low + (self.bits.next_u64() % span) as usize
    }

    /// True with probability `chance`.
    pub fn chance(&mut self, chance: f64) -> bool {
        self.unit() < chance
    }

    /// Puts `items` in random order (Fisher and Yates).
    pub fn shuffle<T>(&mut self, items: &mut [T]) {
        for last in (1..items.len()).rev() {
            let other = self.whole(0, last);
            items.swap(last, other);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_seed_repeats_and_streams_differ() {
        let draw = |seed, stream| {
            let mut dice = Dice::new(seed, stream);
            [dice.unit(), dice.normal(), dice.between(2.0, 3.0)]
        };
        assert_eq!(draw(7, 0), draw(7, 0));
        assert_ne!(draw(7, 0), draw(7, 1));
        assert_ne!(draw(7, 0), draw(8, 0));
    }

    #[test]
    fn the_normal_has_mean_zero_and_variance_one() {
        let mut dice = Dice::new(1, 0);
        let n = 20_000;
        let draws: Vec<f64> = (0..n).map(|_| dice.normal()).collect();
        let mean = draws.iter().sum::<f64>() / n as f64;
        let variance = draws.iter().map(|z| (z - mean).powi(2)).sum::<f64>() / n as f64;
        let beyond = draws.iter().filter(|z| z.abs() > 1.96).count() as f64 / n as f64;
        // Four standard errors each: 1/sqrt(n), sqrt(2/n), sqrt(0.05*0.95/n).
        assert!(mean.abs() < 0.028, "mean {mean}");
        assert!((variance - 1.0).abs() < 0.04, "variance {variance}");
        assert!(
            (beyond - 0.05).abs() < 0.0062,
            "share beyond 1.96: {beyond}"
        );
    }

    #[test]
    fn shuffling_keeps_every_item_and_moves_them() {
        let mut items: Vec<usize> = (0..50).collect();
        Dice::new(3, 0).shuffle(&mut items);
        assert_ne!(items, (0..50).collect::<Vec<_>>());
        items.sort_unstable();
        assert_eq!(items, (0..50).collect::<Vec<_>>());
    }
}
