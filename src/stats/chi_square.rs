//! The chi-square distribution with real degrees of freedom.
//!
//! Every function returns NaN for NaN arguments and for `dof` that is not positive and finite.

use super::root::{Probe, solve_log};
use super::{normal, special};

/// Whether the degrees of freedom describe a distribution.
fn valid(dof: f64) -> bool {
    dof > 0.0 && dof.is_finite()
}

/// Both tails (P(X ≤ x), P(X > x)).
fn both(x: f64, dof: f64) -> (f64, f64) {
    if x.is_nan() || !valid(dof) {
        (f64::NAN, f64::NAN)
    } else if x <= 0.0 {
        (0.0, 1.0)
    } else if x.is_infinite() {
        (1.0, 0.0)
    } else {
        special::gamma_tails(0.5 * dof, 0.5 * x)
    }
}

/// P(X ≤ x).
pub fn cdf(x: f64, dof: f64) -> f64 {
    both(x, dof).0
}

/// Upper tail P(X > x), computed directly.
pub fn sf(x: f64, dof: f64) -> f64 {
    both(x, dof).1
}

/// The x with P(X ≤ x) = `p`: 0 at 0, +∞ at 1, NaN outside [0, 1].
pub fn quantile(p: f64, dof: f64) -> f64 {
    if !valid(dof) || !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    if p == 0.0 {
        0.0
    } else if p > 0.5 {
        // 1 − p is exact here.
        upper_quantile(1.0 - p, dof)
    } else {
        invert(p, dof, false)
    }
}

/// The x with P(X > x) = `q`: +∞ at 0, 0 at 1, NaN outside [0, 1]. Precise for the smallest `q`.
pub fn upper_quantile(q: f64, dof: f64) -> f64 {
    if !valid(dof) || !(0.0..=1.0).contains(&q) {
        return f64::NAN;
    }
    if q == 0.0 {
        f64::INFINITY
    } else if q > 0.5 {
        quantile(1.0 - q, dof)
    } else {
        invert(q, dof, true)
    }
}

/// Solves one tail for `tail` ≤ 1/2.
fn invert(tail: f64, dof: f64, upper: bool) -> f64 {
    let shape = 0.5 * dof;
    // Wilson & Hilferty (1931): (X/dof)^(1/3) is nearly normal.
    let z = if upper {
        normal::upper_quantile(tail)
    } else {
        normal::quantile(tail)
    };
    let spread = 2.0 / (9.0 * dof);
    let root = 1.0 - spread + z * spread.sqrt();
    let start = if root > 0.1 {
        dof * root.powi(3)
    } else {
        // The series' first term: P ≈ (x/2)^a / Γ(a + 1).
        2.0 * ((tail.ln() + special::ln_gamma(shape + 1.0)) / shape).exp()
    };
    solve_log(tail, upper, start.max(1e-300), |x| {
        let (below, above) = both(x, dof);
        Probe {
            tail: if upper { above } else { below },
            x_density: special::gamma_kernel(shape, 0.5 * x),
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_distribution_has_no_quantile_at_the_ends() {
        for dof in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert!(quantile(0.0, dof).is_nan() && upper_quantile(0.0, dof).is_nan());
        }
    }

    #[test]
    fn the_lower_tail_far_below_a_double_is_its_power_law() {
        // (x/2)^a/Γ(a + 1) with x/2 = 1e-295, a = 1/4; 50 digits by mpmath.
        let got = cdf(2e-295, 0.5);
        assert!(
            (got / 1.961_909_256_708_796_3e-74 - 1.0).abs() < 1e-13,
            "{got:e}"
        );
    }

    #[test]
    fn the_upper_tail_far_below_a_double_is_what_the_lower_leaves() {
        // P = (x/2)^a/Γ(a + 1) with x/2 = 1e-295, a = 0.005 is 0.03359; 40 digits by mpmath.
        let (below, above) = (cdf(2e-295, 0.01), sf(2e-295, 0.01));
        assert!((below - 0.033_592_668_151_522_61).abs() < 1e-14, "{below}");
        assert!((above - 0.966_407_331_848_477_4).abs() < 1e-14, "{above}");
    }
}
