//! Averages over the distribution of a standard deviation: E[g(S)], S = χ/√dof.
//!
//! Student's t, the studentised range, tolerance factors and their noncentral kin are all averages of a normal
//! probability over the unknown scale, so one careful integral serves them.

use super::special::gamma_kernel;

/// Steps to either side at most; a guard, not reached for sensible arguments.
const MAX_STEPS: usize = 2_000_000;

/// E[g(S)] for S² = χ²(dof)/dof and a non-negative, monotone `g`; g(1) for infinite `dof`.
///
/// `sharpness` is the largest slope of ln-like features of `g` against ln s that matter (for Φ(xs − δ): about |δ|); it
/// sets the step. The integral runs over t = ln s by the trapezoidal rule, which converges exponentially for such smooth
/// integrands (Trefethen & Weideman 2014, SIAM Review 56, 385–458), and adds only non-negative terms, so small results
/// keep their relative precision. Callers see to it that `dof` is positive and `sharpness` a number.
pub(super) fn chi_average(dof: f64, sharpness: f64, g: impl Fn(f64) -> f64) -> f64 {
    if dof.is_infinite() {
        return g(1.0);
    }
    let width = 1.0 / (2.0 * dof).sqrt();
    let step = (0.4 * width).min(0.09).min(0.5 / (1.0 + sharpness));
    // The density of t = ln s is 2·x^a e^(−x)/Γ(a), a = dof/2, x = a s²; its peak value is split off, and the rest is
    // exp(−a(s² − 1 − ln s²)).
    let shape = 0.5 * dof;
    let peak = 2.0 * gamma_kernel(shape, shape);
    let term = |t: f64| {
        let weight = (-shape * exp_above_line(2.0 * t)).exp();
        if weight > 0.0 {
            weight * g(t.exp())
        } else {
            0.0
        }
    };
    // Beyond the right end the density is below 1e-300: a(s² − 1 − 2 ln s) > 700.
    let mut end = width;
    while shape * exp_above_line(2.0 * end) < 700.0 {
        end *= 1.1;
    }
    let count = (end / step).ceil();
    let mut total = super::summary::CompensatedSum::default();
    let mut last = 0.0;
    for k in 0..MAX_STEPS {
        let t = (count - k as f64) * step;
        let value = term(t);
        if value.is_nan() {
            return f64::NAN;
        }
        total.add(value);
        // Left of the density's peak, or where g is falling to the right, one falling run ends the integral.
        let settled = value < last || value == 0.0;
        if t < 0.0
            && settled
            && value <= 1e-19 * total.total()
            && (total.total() > 0.0 || shape * t * 2.0 < -745.0)
        {
            break;
        }
        last = value;
    }
    total.total() * step * peak
}

/// e^y − 1 − y without cancellation near zero.
fn exp_above_line(y: f64) -> f64 {
    if y.abs() > 0.7 {
        return y.exp_m1() - y;
    }
    // y²/2 (1 + y/3 (1 + y/4 (1 + …))); the 20th term is below 1e-19 here.
    let mut nested = 1.0;
    for k in (3..=20).rev() {
        nested = 1.0 + y / f64::from(k) * nested;
    }
    0.5 * y * y * nested
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_of_the_chi_distribution() {
        for dof in [0.1, 0.5, 1.0, 2.5, 10.0, 1e3, 1e6, 1e9] {
            // E[1] = 1 and E[S²] = 1, exactly.
            assert!(
                (chi_average(dof, 0.0, |_| 1.0) - 1.0).abs() < 3e-14,
                "{dof}"
            );
            assert!(
                (chi_average(dof, 0.0, |s| s * s) - 1.0).abs() < 3e-14,
                "{dof}"
            );
        }
        assert_eq!(chi_average(f64::INFINITY, 0.0, |s| s), 1.0);
    }
}
