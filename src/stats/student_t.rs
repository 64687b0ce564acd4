//! Student's t distribution with real degrees of freedom; infinite `dof` is the normal distribution.
//!
//! Every function returns NaN for NaN arguments and for `dof` that is not positive.

use super::root::{Probe, solve_log};
use super::{normal, special};

/// P(T ≤ x).
pub fn cdf(x: f64, dof: f64) -> f64 {
    sf(-x, dof)
}

/// Upper tail P(T > x), computed directly.
pub fn sf(x: f64, dof: f64) -> f64 {
    if x.is_nan() || dof.is_nan() || dof <= 0.0 {
        f64::NAN
    } else if dof.is_infinite() {
        normal::sf(x)
    } else {
        let outside = 0.5 * split(x.abs(), dof).1;
        if x >= 0.0 { outside } else { 1.0 - outside }
    }
}

/// Density at `x`: Γ((ν+1)/2)/(√(νπ) Γ(ν/2)) (1 + x²/ν)^(−(ν+1)/2).
///
/// ```
/// use steadydraw::stats::student_t;
/// // One degree of freedom: 1/(π(1 + x²)); three: 6√3/(π(3 + x²)²).
/// assert!((student_t::pdf(2.0, 1.0) - 0.2 / std::f64::consts::PI).abs() < 1e-16);
/// let three = 6.0 * 3f64.sqrt() / (std::f64::consts::PI * 16.0);
/// assert!((student_t::pdf(-1.0, 3.0) - three).abs() < 1e-15);
/// ```
pub fn pdf(x: f64, dof: f64) -> f64 {
    if x.is_nan() || dof.is_nan() || dof <= 0.0 {
        f64::NAN
    } else if dof.is_infinite() {
        normal::pdf(x)
    } else {
        let scaled = x / dof.sqrt();
        let tail = 0.5 * (dof + 1.0) * (scaled * scaled).ln_1p();
        (-tail - special::ln_beta(0.5, 0.5 * dof)).exp() / dof.sqrt()
    }
}

/// The x with P(T ≤ x) = `p`: −∞ at 0, +∞ at 1, NaN outside [0, 1].
pub fn quantile(p: f64, dof: f64) -> f64 {
    -upper_quantile(p, dof)
}

/// The x with P(T > x) = `q`: +∞ at 0, −∞ at 1, NaN outside [0, 1]. Precise for the smallest `q`.
pub fn upper_quantile(q: f64, dof: f64) -> f64 {
    if dof.is_nan() || dof <= 0.0 || q.is_nan() || !(0.0..=1.0).contains(&q) {
        return f64::NAN;
    }
    if dof.is_infinite() {
        normal::upper_quantile(q)
    } else if q == 0.0 {
        f64::INFINITY
    } else if q == 1.0 {
        f64::NEG_INFINITY
    } else if q > 0.5 {
        // 1 − q and q − 1/2 are exact here.
        -positive(1.0 - q, q - 0.5, dof)
    } else {
        positive(q, 0.5 - q, dof)
    }
}

/// The half-width factor t with P(|T| ≤ t) = `level`, for two-sided intervals: `two_sided(0.95, 10.0)` is 2.228….
/// NaN unless 0 ≤ `level` ≤ 1.
///
/// ```
/// use steadydraw::stats::student_t;
/// assert!((student_t::two_sided(0.95, 10.0) - 2.228).abs() < 5e-4);
/// ```
pub fn two_sided(level: f64, dof: f64) -> f64 {
    if dof.is_nan() || dof <= 0.0 || level.is_nan() || !(0.0..=1.0).contains(&level) {
        return f64::NAN;
    }
    if dof.is_infinite() {
        normal::upper_quantile(0.5 * (1.0 - level))
    } else if level == 1.0 {
        f64::INFINITY
    } else {
        positive(0.5 * (1.0 - level), 0.5 * level, dof)
    }
}

/// The x ≥ 0 with upper tail `outer` and P(0 < T < x) = `inner`; the smaller of the two is solved for.
fn positive(outer: f64, inner: f64, dof: f64) -> f64 {
    if inner == 0.0 {
        return 0.0;
    }
    let upper = outer < inner;
    let start = start(outer, dof);
    solve_log(
        if upper { 2.0 * outer } else { 2.0 * inner },
        upper,
        start,
        |x| {
            let (inside, outside) = split(x, dof);
            Probe {
                tail: if upper { outside } else { inside },
                x_density: 2.0 * x_density(x, dof),
            }
        },
    )
}

/// A starting point: the normal quantile with the first term of its expansion in 1/dof, or the power-law tail.
fn start(outer: f64, dof: f64) -> f64 {
    let z = normal::upper_quantile(outer);
    let near = z + z * (z * z + 1.0) / (4.0 * dof);
    // P(T > x) → C x^(−dof), C = dof^(dof/2 − 1) / B(1/2, dof/2), an upper bound of the tail.
    let ln_far =
        ((0.5 * dof - 1.0) * dof.ln() - special::ln_beta(0.5, 0.5 * dof) - outer.ln()) / dof;
    if ln_far < near.ln() || z * z > dof {
        ln_far.exp()
    } else {
        near
    }
}

/// (P(|T| ≤ x), P(|T| > x)) for x ≥ 0.
fn split(x: f64, dof: f64) -> (f64, f64) {
    if x.is_infinite() {
        return (1.0, 0.0);
    }
    let scaled = x / dof.sqrt();
    // w = x²/(dof + x²) and its complement, each to full precision.
    let square = scaled * scaled;
    let (inner, outer) = if square > 1.0 {
        let inverse = (1.0 / scaled) * (1.0 / scaled);
        (1.0 / (1.0 + inverse), inverse / (1.0 + inverse))
    } else {
        (square / (1.0 + square), 1.0 / (1.0 + square))
    };
    if outer < 1e-290 {
        // The first term of the tail's series, in logarithms: outer^(dof/2)/(dof/2 · B).
        let ln_tail =
            -dof * ln_scaled(x, dof) - (0.5 * dof).ln() - special::ln_beta(0.5, 0.5 * dof);
        let tail = ln_tail.exp();
        return (1.0 - tail, tail);
    }
    special::beta_tails(0.5, 0.5 * dof, inner, outer)
}

/// x · density(x) for x > 0.
fn x_density(x: f64, dof: f64) -> f64 {
    let scaled = x / dof.sqrt();
    let square = scaled * scaled;
    if square > 1e290 {
        let ln_tail = -dof * ln_scaled(x, dof) - special::ln_beta(0.5, 0.5 * dof);
        return ln_tail.exp();
    }
    special::beta_kernel(
        0.5,
        0.5 * dof,
        square / (1.0 + square),
        1.0 / (1.0 + square),
    )
}

/// ln(x/√dof), also where the quotient would overflow.
fn ln_scaled(x: f64, dof: f64) -> f64 {
    x.ln() - 0.5 * dof.ln()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_degree_of_freedom_is_cauchy_s() {
        // 1/(π(1 + x²)).
        assert!((pdf(2.0, 1.0) - 0.2 / std::f64::consts::PI).abs() < 1e-16);
    }

    #[test]
    fn far_quantiles_are_the_same_from_either_side() {
        // 1 − 2^−40 is exact in binary; the tail, not what it leaves, must be solved for.
        let small = 2f64.powi(-40);
        for dof in [1.0, 10.0] {
            let far = upper_quantile(small, dof);
            assert_eq!(upper_quantile(1.0 - small, dof), -far);
            let half = upper_quantile(0.5 * small, dof);
            assert!((two_sided(1.0 - small, dof) / half - 1.0).abs() < 1e-13);
        }
        // One degree: x = cot(π q), 1/(π q) to far more digits than there are.
        let cauchy = 1.0 / (std::f64::consts::PI * small);
        assert!((upper_quantile(small, 1.0) / cauchy - 1.0).abs() < 1e-13);
    }

    #[test]
    fn a_quantile_beyond_the_squares_of_a_double() {
        // P(|T| > x) = (1 + x²/ν)^(−ν/2)/(ν/2 · B(1/2, ν/2)) there: 0.7 for ν = 0.001 at ln x = 352.52833005192; mpmath.
        let got = upper_quantile(0.35, 0.001);
        assert!((got.ln() - 352.528_330_051_920_4).abs() < 1e-9, "{got:e}");
    }
}
