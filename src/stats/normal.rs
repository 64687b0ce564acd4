//! The standard normal distribution.

use cdflib::special::{cumnor, error_f, internal::stvaln};

/// 1/√(2π).
const INV_SQRT_TWO_PI: f64 = 0.398_942_280_401_432_7;

/// Density φ(x) = exp(−x²/2)/√(2π). NaN for NaN.
pub fn pdf(x: f64) -> f64 {
    INV_SQRT_TWO_PI * (-0.5 * x * x).exp()
}

/// P(Z ≤ x). NaN for NaN.
pub fn cdf(x: f64) -> f64 {
    both(x).0
}

/// Upper tail P(Z > x), computed directly (not as 1 − cdf). NaN for NaN.
pub fn sf(x: f64) -> f64 {
    both(x).1
}

/// From here on the smaller tail nears the doubles that have fewer digits, where the routine below gives nothing.
const FAR: f64 = 37.5;

/// ln P(Z > x) from 37 on: φ(x)/x (1 − 1/x² + 1·3/x⁴ − 1·3·5/x⁶ + …) (Abramowitz & Stegun 1964, 26.2.12, number from memory); the first
/// term left out is below 2e-17.
fn ln_far(x: f64) -> f64 {
    let r = 1.0 / (x * x);
    let mut series = 1.0;
    for odd in [11.0, 9.0, 7.0, 5.0, 3.0, 1.0] {
        series = 1.0 - odd * r * series;
    }
    (INV_SQRT_TWO_PI * series / x).ln() - 0.5 * x * x
}

/// Both tails.
fn both(x: f64) -> (f64, f64) {
    if x.is_nan() {
        (f64::NAN, f64::NAN)
    } else if x.abs() > FAR {
        let tail = ln_far(x.abs()).exp();
        if x > 0.0 { (1.0, tail) } else { (tail, 1.0) }
    } else {
        cumnor(x)
    }
}

/// The x with P(Z ≤ x) = `p`: −∞ at 0, +∞ at 1, NaN outside [0, 1].
pub fn quantile(p: f64) -> f64 {
    -upper_quantile(p)
}

/// The x with P(Z > x) = `q`: +∞ at 0, −∞ at 1, NaN outside [0, 1]. Precise for the smallest `q`.
pub fn upper_quantile(q: f64) -> f64 {
    if q.is_nan() || !(0.0..=1.0).contains(&q) {
        return f64::NAN;
    }
    if q == 0.0 {
        f64::INFINITY
    } else if q == 1.0 {
        f64::NEG_INFINITY
    } else if (q - 0.5).abs() < 0.25 {
        central(0.5 - q)
    } else if q > 0.5 {
        // 1 − q is exact here.
        -tail(1.0 - q)
    } else {
        tail(q)
    }
}

/// Solves P(0 < Z < x) = `p` for |p| < 1/4, keeping the relative precision of x near the median.
fn central(p: f64) -> f64 {
    let mut x = p / INV_SQRT_TWO_PI;
    for _ in 0..20 {
        let step = (0.5 * error_f(x * std::f64::consts::FRAC_1_SQRT_2) - p) / pdf(x);
        x -= step;
        if step.abs() <= 1e-16 * x.abs() {
            break;
        }
    }
    x
}

/// Solves P(Z > x) = `q` for q ≤ 1/4 by Newton on ln sf, whose slope −φ/sf stays tame in the far tail.
fn tail(q: f64) -> f64 {
    let mut x = -stvaln(q);
    for _ in 0..20 {
        let step = if q < 1e-300 {
            // The slope is −x to a thousandth.
            (ln_far(x) - q.ln()) / x
        } else {
            let upper = sf(x);
            (upper / q).ln() * upper / pdf(x)
        };
        x += step;
        if step.abs() <= 2e-16 * x.abs() {
            break;
        }
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn arguments_whose_square_overflows_have_tails() {
        for x in [41.0, 1e200, f64::MAX, f64::INFINITY] {
            assert_eq!((cdf(x), sf(x)), (1.0, 0.0));
            assert_eq!((cdf(-x), sf(-x)), (0.0, 1.0));
        }
    }

    #[test]
    fn the_smallest_tails_of_a_double_have_quantiles() {
        // 40 digits by mpmath, of the doubles as they are: 5e-324 is 4.94e-324, 1e-320 is 2024 times that.
        for (q, want) in [
            (1e-305, 37.356_346_093_067_1),
            (3e-308, 37.511_419_674_255_88),
            (1e-310, 37.663_060_331_949_52),
            (1e-320, 38.269_125_343_032_65),
            (5e-324, 38.467_405_617_144_35),
        ] {
            let got = upper_quantile(q);
            assert!((got - want).abs() < 2e-14, "{q:e}: {got}");
            assert_eq!(quantile(q), -got);
        }
        // Tails that have fewer digits, mpmath's rounded to them: 1e-309 has fourteen, 6e-323 one.
        for (x, want, open) in [
            (37.6, 1.074_811_249_587_1e-309, 1e-12),
            (38.0, 2.885_428_35e-316, 1e-7),
            (38.4, 6.4e-323, 0.05),
        ] {
            assert!((sf(x) / want - 1.0).abs() < open, "{x}: {:e}", sf(x));
            assert_eq!((cdf(-x), cdf(x)), (sf(x), 1.0));
        }
    }
}
