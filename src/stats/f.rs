//! The F (variance-ratio) distribution with real degrees of freedom `d1` (numerator) and `d2` (denominator).
//!
//! An infinite `d2` gives chi-square over `d1`; an infinite `d1` gives `d2` over chi-square; both infinite give the
//! constant 1. Every function returns NaN for NaN arguments and for degrees of freedom that are not positive.

use super::root::{Probe, solve_log};
use super::{chi_square, normal, special};

/// Whether the degrees of freedom describe a distribution.
fn valid(d1: f64, d2: f64) -> bool {
    d1 > 0.0 && d2 > 0.0
}

/// P(F ≤ x).
pub fn cdf(x: f64, d1: f64, d2: f64) -> f64 {
    both(x, d1, d2).0
}

/// Upper tail P(F > x), computed directly.
pub fn sf(x: f64, d1: f64, d2: f64) -> f64 {
    both(x, d1, d2).1
}

/// The x with P(F ≤ x) = `p`: 0 at 0, +∞ at 1, NaN outside [0, 1].
pub fn quantile(p: f64, d1: f64, d2: f64) -> f64 {
    if !valid(d1, d2) || p.is_nan() || !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    if p > 0.5 {
        // 1 − p is exact here.
        return upper_quantile(1.0 - p, d1, d2);
    }
    if p == 0.0 {
        return 0.0;
    }
    match (d1.is_infinite(), d2.is_infinite()) {
        (true, true) => 1.0,
        (false, true) => chi_square::quantile(p, d1) / d1,
        (true, false) => d2 / chi_square::upper_quantile(p, d2),
        (false, false) => invert(p, d1, d2, false),
    }
}

/// The x with P(F > x) = `q`: +∞ at 0, 0 at 1, NaN outside [0, 1]. Precise for the smallest `q`.
pub fn upper_quantile(q: f64, d1: f64, d2: f64) -> f64 {
    if !valid(d1, d2) || q.is_nan() || !(0.0..=1.0).contains(&q) {
        return f64::NAN;
    }
    if q > 0.5 {
        return quantile(1.0 - q, d1, d2);
    }
    if q == 0.0 {
        return f64::INFINITY;
    }
    match (d1.is_infinite(), d2.is_infinite()) {
        (true, true) => 1.0,
        (false, true) => chi_square::upper_quantile(q, d1) / d1,
        (true, false) => d2 / chi_square::quantile(q, d2),
        (false, false) => invert(q, d1, d2, true),
    }
}

/// Both tails (P(F ≤ x), P(F > x)).
fn both(x: f64, d1: f64, d2: f64) -> (f64, f64) {
    if x.is_nan() || !valid(d1, d2) {
        return (f64::NAN, f64::NAN);
    }
    if x <= 0.0 {
        return (0.0, 1.0);
    }
    if x.is_infinite() {
        return (1.0, 0.0);
    }
    // So many, and so many more than the other, are as good as infinite; the general formulas cancel to nothing.
    const ENDLESS: f64 = 1e25;
    const MANY_MORE: f64 = 1e12;
    let endless = |d: f64, other: f64| d.is_infinite() || d > ENDLESS && d > MANY_MORE * other;
    if d1.min(d2) > ENDLESS && d1.min(d2).is_finite() {
        // ln F is normal to far more digits than there are.
        let z = x.ln() / (2.0 / d1 + 2.0 / d2).sqrt();
        return (normal::cdf(z), normal::sf(z));
    }
    match (endless(d1, d2), endless(d2, d1)) {
        (true, true) => {
            if x < 1.0 {
                (0.0, 1.0)
            } else {
                (1.0, 0.0)
            }
        }
        (false, true) => (chi_square::cdf(d1 * x, d1), chi_square::sf(d1 * x, d1)),
        (true, false) => (chi_square::sf(d2 / x, d2), chi_square::cdf(d2 / x, d2)),
        (false, false) => {
            let (inner, outer) = shares(x, d1, d2);
            if outer < 1e-290 {
                let tail = far_tail(d2, d1, -(d1 / d2).ln() - x.ln());
                (1.0 - tail, tail)
            } else if inner < 1e-290 {
                let tail = far_tail(d1, d2, (d1 / d2).ln() + x.ln());
                (tail, 1.0 - tail)
            } else {
                special::beta_tails(0.5 * d1, 0.5 * d2, inner, outer)
            }
        }
    }
}

/// First term of the series of the tail whose share is exp(`ln_share`): share^(a)/(a·B(a, b)), a = near/2, b = other/2.
fn far_tail(near: f64, other: f64, ln_share: f64) -> f64 {
    let shape = 0.5 * near;
    (shape * ln_share - shape.ln() - special::ln_beta(shape, 0.5 * other)).exp()
}

/// d1·x/(d1·x + d2) and its complement, each to full precision.
fn shares(x: f64, d1: f64, d2: f64) -> (f64, f64) {
    let odds = (d1 / d2) * x;
    if odds > 1.0 {
        let inverse = (d2 / d1) / x;
        (1.0 / (1.0 + inverse), inverse / (1.0 + inverse))
    } else {
        (odds / (1.0 + odds), 1.0 / (1.0 + odds))
    }
}

/// Solves one tail for `tail` ≤ 1/2 and finite degrees of freedom.
fn invert(tail: f64, d1: f64, d2: f64, upper: bool) -> f64 {
    let z = if upper {
        normal::upper_quantile(tail)
    } else {
        normal::quantile(tail)
    };
    solve_log(tail, upper, start(tail, z, d1, d2, upper), |x| {
        let (below, above) = both(x, d1, d2);
        let (inner, outer) = shares(x, d1, d2);
        let x_density = if outer < 1e-290 {
            0.5 * d2 * above
        } else if inner < 1e-290 {
            0.5 * d1 * below
        } else {
            special::beta_kernel(0.5 * d1, 0.5 * d2, inner, outer)
        };
        Probe {
            tail: if upper { above } else { below },
            x_density,
        }
    })
}

/// A starting point: Paulson's (1942) cube-root normal approximation where it is sound, else the power-law tail.
fn start(tail: f64, z: f64, d1: f64, d2: f64, upper: bool) -> f64 {
    let (a, b) = (2.0 / (9.0 * d1), 2.0 / (9.0 * d2));
    let (m1, m2) = (1.0 - a, 1.0 - b);
    let denominator = m2 * m2 - z * z * b;
    let inside = m1 * m1 * b + m2 * m2 * a - a * b * z * z;
    if denominator > 0.05 && inside > 0.0 {
        let root = (m1 * m2 + z * inside.sqrt()) / denominator;
        if root > 0.1 {
            return root.powi(3);
        }
    }
    // Solve the first term of the tail's series.
    let (near, other) = if upper { (d2, d1) } else { (d1, d2) };
    let shape = 0.5 * near;
    let ln_share = (tail.ln() + shape.ln() + special::ln_beta(shape, 0.5 * other)) / shape;
    let ln_x = if upper {
        (d2 / d1).ln() - ln_share
    } else {
        (d2 / d1).ln() + ln_share
    };
    ln_x.clamp(-650.0, 650.0).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn infinite_degrees_of_freedom_are_chi_square() {
        // Upper points of χ² with four degrees of freedom: 7.77944 and 1.063623 at 10 and 90 % (Abramowitz & Stegun 1964, table 26.8).
        let inf = f64::INFINITY;
        for (found, expected) in [
            (quantile(0.1, inf, 4.0), 4.0 / 7.77944),
            (upper_quantile(0.1, inf, 4.0), 4.0 / 1.063623),
            (quantile(0.1, 4.0, inf), 1.063623 / 4.0),
            (upper_quantile(0.1, 4.0, inf), 7.77944 / 4.0),
        ] {
            assert!((found / expected - 1.0).abs() < 1e-6, "{found} {expected}");
        }
        assert_eq!(quantile(0.1, inf, inf), 1.0);
    }

    #[test]
    fn many_degrees_on_both_sides_are_normal() {
        // ln F has variance 2/d1 + 2/d2: with 8e26 and 8e26 a standard deviation of √(1/2)·1e-13; one above, Φ(−1) = 0.158655 (tables).
        let d = 8e26;
        let one_sd = 1.0 + 0.5_f64.sqrt() * 1e-13;
        assert_eq!(sf(1.0, d, d), 0.5);
        // 1 + 7e-14 itself is rounded to a multiple of 2.2e-16.
        assert!((sf(one_sd, d, d) - 0.158_655).abs() < 1e-3);
        // So many more on one side leave a chi-square: 7.77944 is its upper 10 % point with four degrees of freedom.
        assert!((sf(7.77944 / 4.0, 4.0, 1e300) - 0.1).abs() < 1e-6);
    }

    #[test]
    fn endless_degrees_above_leave_a_chi_square_below() {
        // P(χ²₄ ≥ 4/x) = e^(−2/x)(1 + 2/x): 2/e at x = 2.
        let got = cdf(2.0, f64::INFINITY, 4.0);
        assert!((got - 2.0 / std::f64::consts::E).abs() < 1e-15, "{got}");
    }

    #[test]
    fn tails_beyond_the_shares_of_a_double() {
        // Two degrees above: P(F > x) = (1 + 2x/d2)^(−d2/2); in the mirror two below. 50 digits by mpmath.
        for (d, want) in [
            (1.5, 8.059_274_488_676_564e-226),
            (0.01, 0.030_796_038_225_328_53),
        ] {
            for (near, far) in [both(1e300, 2.0, d), both(1e-300, d, 2.0)]
                .into_iter()
                .zip([false, true])
                .map(|((below, above), mirrored)| {
                    if mirrored {
                        (above, below)
                    } else {
                        (below, above)
                    }
                })
            {
                assert!((far / want - 1.0).abs() < 1e-12, "{d}: {far:e}");
                assert!((near - (1.0 - want)).abs() < 1e-15, "{d}: {near}");
            }
        }
    }

    #[test]
    fn few_degrees_beside_very_many_are_not_endless() {
        // ln F has variance 2/d1 + 2/d2 = 3e-25: one standard deviation above, Φ(−1) = 0.158655 (tables). 1 + 5.5e-13 itself is rounded
        // to a multiple of 2.2e-16.
        let x = 1.0 + 3e-25_f64.sqrt();
        let got = sf(x, 2e25, 1e25);
        assert!((got - 0.158_655).abs() < 1e-3, "{got}");
    }
}
