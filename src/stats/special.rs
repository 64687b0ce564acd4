//! The few special functions behind the distributions, guarded so that no argument panics.

use cdflib::special as cdf;

/// ln Γ(a) for a > 0.
pub(super) fn ln_gamma(a: f64) -> f64 {
    cdf::gamma_log(a)
}

/// ln B(a, b) for positive a and b.
pub(super) fn ln_beta(a: f64, b: f64) -> f64 {
    cdf::beta_log(a, b)
}

/// Regularised incomplete gamma functions (P(a, x), Q(a, x)) for a > 0 and finite x ≥ 0.
pub(super) fn gamma_tails(a: f64, x: f64) -> (f64, f64) {
    if x < 1e-290 {
        // The series' first term; the routine below gives up where a·x underflows.
        let below = if a < 100.0 {
            x.powf(a) / cdf::gamma(a + 1.0)
        } else {
            0.0
        };
        return (below, 1.0 - below);
    }
    cdf::try_gamma_inc(a, x).unwrap_or((f64::NAN, f64::NAN))
}

/// x^a e^(−x)/Γ(a): x times the gamma density of shape a.
pub(super) fn gamma_kernel(a: f64, x: f64) -> f64 {
    cdf::internal::rcomp(a, x)
}

/// Regularised incomplete beta functions (I_x(a, b), 1 − I_x(a, b)); `y` is 1 − x to full precision.
pub(super) fn beta_tails(a: f64, b: f64, x: f64, y: f64) -> (f64, f64) {
    cdf::try_beta_inc(a, b, x, y).unwrap_or((f64::NAN, f64::NAN))
}

/// x^a y^b/B(a, b), `y` being 1 − x.
pub(super) fn beta_kernel(a: f64, b: f64, x: f64, y: f64) -> f64 {
    cdf::internal::beta_rcomp(a, b, x, y)
}
