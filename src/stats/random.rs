//! Seeded random numbers that are the same on every machine and any number of threads.
//!
//! Every replicate owns the stream with its own number, so the order in which threads work does not matter.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// The generator behind every stream.
pub type Stream = ChaCha8Rng;

/// Stream number `index` of a seed; different numbers never overlap.
pub fn stream(seed: u64, index: u64) -> Stream {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(index);
    rng
}

/// Uniform on (0, 1), both ends excluded, 53 bits.
pub fn uniform(rng: &mut Stream) -> f64 {
    ((rng.next_u64() >> 11) as f64 + 0.5) * (1.0 / (1_u64 << 53) as f64)
}

/// Uniform on 0 … `n` − 1 without bias (Lemire 2019, ACM TOMACS 29, 1–12); 0 for n = 0.
pub fn below(rng: &mut Stream, n: usize) -> usize {
    let n = n as u64;
    if n == 0 {
        return 0;
    }
    let mut product = u128::from(rng.next_u64()) * u128::from(n);
    if (product as u64) < n {
        let threshold = n.wrapping_neg() % n;
        while (product as u64) < threshold {
            product = u128::from(rng.next_u64()) * u128::from(n);
        }
    }
    (product >> 64) as usize
}

/// Puts a slice in random order.
pub fn shuffle<T>(rng: &mut Stream, items: &mut [T]) {
    draw(rng, items, items.len());
}

/// Puts `count` random items, in random order, at the end of a slice (all of it where it has no more): Fisher–Yates,
/// several places from each 64 random bits (Brackett-Rozinsky & Lemire 2024, "Batched ranged random integer generation",
/// Software: Practice and Experience).
pub fn draw<T>(rng: &mut Stream, items: &mut [T], count: usize) {
    // Most choices in one batch: 20 · 19 · … · 2 is beyond the limit.
    const MOST: usize = 20;
    const LIMIT: u64 = 1 << 58;
    let mut left = items.len() as u64;
    // The last item left has one place only.
    let end = items.len().saturating_sub(count).max(1) as u64;
    while left > end {
        let mut choices = 0;
        let mut product = 1_u64;
        while choices < MOST && left - choices as u64 > end {
            // A division would cost more than all the rest.
            match product.checked_mul(left - choices as u64) {
                Some(more) if more <= LIMIT => product = more,
                _ => break,
            }
            choices += 1;
        }
        if choices == 0 {
            // More than 2^58 items cannot be held; one choice at a time would do.
            choices = 1;
            product = left;
        }
        let mut bits = loop {
            let bits = rng.next_u64();
            // Refuse the few that would favour some orders: by what the choices below leave of them.
            let leftover = bits.wrapping_mul(product);
            if leftover >= product || leftover >= product.wrapping_neg() % product {
                break bits;
            }
        };
        for k in 0..choices as u64 {
            let wide = u128::from(bits) * u128::from(left - k);
            bits = wide as u64;
            items.swap((left - 1 - k) as usize, (wide >> 64) as usize);
        }
        left -= choices as u64;
    }
}

/// Standard normal (Marsaglia's polar method, 1964; the second value is not kept, so a draw depends on nothing before it).
pub fn normal(rng: &mut Stream) -> f64 {
    loop {
        let u = 2.0 * uniform(rng) - 1.0;
        let v = 2.0 * uniform(rng) - 1.0;
        let square = u * u + v * v;
        if square > 0.0 && square < 1.0 {
            return u * (-2.0 * square.ln() / square).sqrt();
        }
    }
}

/// Gamma with the given shape and unit scale (Marsaglia & Tsang 2000, ACM TOMS 26, 363–372). NaN unless shape > 0.
pub fn gamma(rng: &mut Stream, shape: f64) -> f64 {
    if shape.is_nan() || shape <= 0.0 || shape.is_infinite() {
        return f64::NAN;
    }
    if shape < 1.0 {
        // A draw of shape + 1 shrunk by a power of a uniform.
        return gamma(rng, shape + 1.0) * uniform(rng).powf(1.0 / shape);
    }
    let d = shape - 1.0 / 3.0;
    let c = 1.0 / (9.0 * d).sqrt();
    loop {
        let x = normal(rng);
        let cube = 1.0 + c * x;
        if cube <= 0.0 {
            continue;
        }
        let v = cube * cube * cube;
        if uniform(rng).ln() < 0.5 * x * x + d - d * v + d * v.ln() {
            return d * v;
        }
    }
}

/// Chi-square with real `dof`. NaN unless dof > 0 and finite.
pub fn chi_square(rng: &mut Stream, dof: f64) -> f64 {
    2.0 * gamma(rng, 0.5 * dof)
}

/// Student's t with real `dof`; the normal for infinite `dof`. NaN unless dof > 0.
pub fn student_t(rng: &mut Stream, dof: f64) -> f64 {
    let z = normal(rng);
    if dof == f64::INFINITY {
        z
    } else {
        z / (chi_square(rng, dof) / dof).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::{chi_square, normal as gaussian, student_t as t};

    /// Kolmogorov's distance of a sample from a distribution, times √n; above 1.95 once in a thousand.
    fn distance(mut sample: Vec<f64>, cdf: impl Fn(f64) -> f64) -> f64 {
        sample.sort_by(f64::total_cmp);
        let n = sample.len() as f64;
        let gap = |i: usize, x: f64| {
            let p = cdf(x);
            (p - i as f64 / n).abs().max((p - (i + 1) as f64 / n).abs())
        };
        sample
            .iter()
            .enumerate()
            .map(|(i, x)| gap(i, *x))
            .fold(0.0, f64::max)
            * n.sqrt()
    }

    #[test]
    fn draws_follow_their_distributions() {
        let mut rng = stream(7, 0);
        let mut draw = |f: &mut dyn FnMut(&mut Stream) -> f64| {
            (0..20_000).map(|_| f(&mut rng)).collect::<Vec<_>>()
        };
        assert!(distance(draw(&mut uniform), |x| x) < 1.95);
        assert!(distance(draw(&mut normal), gaussian::cdf) < 1.95);
        for dof in [0.5, 1.0, 3.0, 40.0] {
            assert!(
                distance(draw(&mut |r| super::chi_square(r, dof)), |x| {
                    chi_square::cdf(x, dof)
                }) < 1.95
            );
            assert!(distance(draw(&mut |r| super::student_t(r, dof)), |x| t::cdf(x, dof)) < 1.95);
        }
    }

    #[test]
    fn every_order_is_equally_likely() {
        let mut rng = stream(3, 0);
        let mut counts = std::collections::BTreeMap::new();
        for _ in 0..24_000 {
            let mut items = [0, 1, 2, 3];
            shuffle(&mut rng, &mut items);
            *counts.entry(items).or_insert(0) += 1;
        }
        assert_eq!(counts.len(), 24);
        let statistic: f64 = counts
            .values()
            .map(|c| (*c as f64 - 1000.0).powi(2) / 1000.0)
            .sum();
        assert!(chi_square::sf(statistic, 23.0) > 1e-3, "{statistic}");
    }

    #[test]
    fn every_item_of_a_longer_list_goes_everywhere() {
        // 50 items need several batches; each of the 2,500 item-place pairs is expected 40 times.
        let mut rng = stream(5, 0);
        let mut counts = vec![[0.0_f64; 50]; 50];
        for _ in 0..2_000 {
            let mut items: Vec<usize> = (0..50).collect();
            shuffle(&mut rng, &mut items);
            for (place, item) in items.into_iter().enumerate() {
                counts[place][item] += 1.0;
            }
        }
        let statistic: f64 = counts
            .iter()
            .flatten()
            .map(|c| (c - 40.0).powi(2) / 40.0)
            .sum();
        // 49² degrees of freedom.
        let p = chi_square::sf(statistic, 2401.0);
        assert!(p > 1e-3 && p < 1.0 - 1e-3, "{statistic}");
    }

    #[test]
    fn every_choice_is_equally_likely() {
        let mut rng = stream(9, 0);
        let mut counts = std::collections::BTreeMap::new();
        for _ in 0..20_000 {
            let mut items = [0, 1, 2, 3, 4];
            draw(&mut rng, &mut items, 2);
            *counts.entry([items[3], items[4]]).or_insert(0) += 1;
            items.sort_unstable();
            assert_eq!(items, [0, 1, 2, 3, 4]);
        }
        assert_eq!(counts.len(), 20);
        let statistic: f64 = counts
            .values()
            .map(|c| (*c as f64 - 1000.0).powi(2) / 1000.0)
            .sum();
        assert!(chi_square::sf(statistic, 19.0) > 1e-3, "{statistic}");
    }

    #[test]
    fn streams_differ_and_repeat() {
        let first: Vec<u64> = (0..4).map(|_| stream(1, 0).next_u64()).collect();
        assert!(first.iter().all(|x| *x == first[0]));
        assert_ne!(stream(1, 0).next_u64(), stream(1, 1).next_u64());
        assert_ne!(stream(1, 0).next_u64(), stream(2, 0).next_u64());
    }

    #[test]
    fn bad_parameters_give_nan() {
        let mut rng = stream(1, 0);
        assert!(gamma(&mut rng, 0.0).is_nan());
        assert!(super::student_t(&mut rng, -1.0).is_nan());
        assert_eq!(below(&mut rng, 0), 0);
    }

    #[test]
    fn below_a_huge_number_is_uniform_too() {
        // Just above 2^63 nearly half of the first products are refused and drawn again.
        let n = usize::MAX / 2 + 2;
        let mut rng = stream(6, 0);
        let sample = (0..20_000).map(|_| below(&mut rng, n) as f64 / n as f64);
        assert!(distance(sample.collect(), |x| x) < 1.95);
    }

    #[test]
    fn orders_that_would_be_favoured_are_refused() {
        // All 19! orders come from one batch of 64 bits, of which the products whose low half is below 2^64 mod 19! must
        // go (Lemire 2019). Counted here in 128 bits on the same stream.
        let product: u128 = (2..=19).product();
        let (mut rng, mut raw) = (stream(4, 0), stream(4, 0));
        let mut refused = 0;
        for _ in 0..20_000 {
            shuffle(&mut rng, &mut [0; 19]);
            while u128::from(raw.next_u64()) * product % (1 << 64) < (1 << 64) % product {
                refused += 1;
            }
            assert_eq!(rng.get_word_pos(), raw.get_word_pos());
        }
        assert!(refused > 20, "{refused}");
    }

    #[test]
    fn choices_among_very_many_are_even() {
        // Of n = 3 · 2^62 numbers a third leaves each rest when divided by 3. 64 random bits alone would give the rests 1/2, 1/4 and 1/4: four
        // values fall on three numbers.
        let mut rng = stream(8, 0);
        let n = 3 * (usize::MAX / 4 + 1);
        let mut counts = [0; 3];
        for _ in 0..30_000 {
            counts[below(&mut rng, n) % 3] += 1;
        }
        // Five standard errors: 5 √(30000 · 2/9) = 408.
        assert!(
            counts.iter().all(|c| (c - 10_000_i32).abs() < 408),
            "{counts:?}"
        );
    }
}
