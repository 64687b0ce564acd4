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

/// Both tails; the routine below squares its argument, and beyond 40 the smaller tail is less than any double.
fn both(x: f64) -> (f64, f64) {
    if x.is_nan() {
        (f64::NAN, f64::NAN)
    } else if x.abs() > 40.0 {
        if x > 0.0 { (1.0, 0.0) } else { (0.0, 1.0) }
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
        let upper = sf(x);
        let step = if upper > 0.0 {
            (upper / q).ln() * upper / pdf(x)
        } else {
            // Beyond the last representable tail: walk back.
            -0.01
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
}
