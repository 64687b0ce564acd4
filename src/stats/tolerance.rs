//! Normal tolerance factors: mean ± k·sd holds a stated share of the population with a stated confidence.
//!
//! `n` values gave mean and standard deviation; `content` is the share, `confidence` the chance that the interval really
//! holds it. NaN unless n ≥ 2 and both lie strictly between 0 and 1.

use super::{chi_square, noncentral, normal, root};

/// Whether the question has an answer.
fn valid(n: f64, content: f64, confidence: f64) -> bool {
    let inside = |p: f64| p > 0.0 && p < 1.0;
    n >= 2.0 && n.is_finite() && inside(content) && inside(confidence)
}

/// Factor k of a one-sided limit mean + k·sd (or mean − k·sd), exact: a noncentral t quantile over √n.
pub fn one_sided(n: f64, content: f64, confidence: f64) -> f64 {
    if !valid(n, content, confidence) {
        return f64::NAN;
    }
    let delta = normal::quantile(content) * n.sqrt();
    noncentral::t_quantile(confidence, n - 1.0, delta) / n.sqrt()
}

/// Factor k of a two-sided interval by Howe's approximation (1969, Journal of the American Statistical Association 64,
/// 610–620), within about 1 % of [`two_sided`].
pub fn two_sided_howe(n: f64, content: f64, confidence: f64) -> f64 {
    if !valid(n, content, confidence) {
        return f64::NAN;
    }
    let z = normal::upper_quantile(0.5 * (1.0 - content));
    let low = chi_square::quantile(1.0 - confidence, n - 1.0);
    z * ((1.0 + 1.0 / n) * (n - 1.0) / low).sqrt()
}

/// Factor k of a two-sided interval mean ± k·sd, exact: the root of
/// ∫ √n φ(√n z) P(χ² ≥ (n − 1) r(z)²/k²) dz = confidence, where Φ(z + r) − Φ(z − r) = content (Wald & Wolfowitz 1946,
/// Annals of Mathematical Statistics 17, 208–215; tables in ISO 16269-6).
pub fn two_sided(n: f64, content: f64, confidence: f64) -> f64 {
    const STEP: f64 = 0.125;
    if !valid(n, content, confidence) {
        return f64::NAN;
    }
    let dof = n - 1.0;
    // The trapezoidal rule in √n z; the radii do not depend on k.
    let radii: Vec<(f64, f64)> = (0..=72)
        .map(|i| {
            let u = f64::from(i) * STEP;
            let weight = STEP * normal::pdf(u) * if i == 0 { 1.0 } else { 2.0 };
            (weight, radius(u / n.sqrt(), content))
        })
        .collect();
    let shortfall = |ln_k: f64| {
        let k = ln_k.exp();
        // The chance that the interval misses, for confidences near 1.
        radii
            .iter()
            .map(|(w, r)| w * chi_square::cdf(dof * r * r / (k * k), dof))
            .sum::<f64>()
    };
    let start = two_sided_howe(n, content, confidence).ln();
    root::solve_line(start, |ln_k| ((1.0 - confidence) / shortfall(ln_k)).ln()).exp()
}

/// The r with Φ(z + r) − Φ(z − r) = `content`.
fn radius(z: f64, content: f64) -> f64 {
    let outside = 1.0 - content;
    root::solve_line(0.5, |ln_r| {
        let r = ln_r.exp();
        let missed = normal::sf(z + r) + normal::cdf(z - r);
        (outside / missed).ln()
    })
    .exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn many_values_leave_only_the_population() {
        // With n → ∞ the factors tend to the normal quantiles.
        assert!((one_sided(1e8, 0.95, 0.95) / normal::quantile(0.95) - 1.0).abs() < 1e-3);
        assert!((two_sided(1e8, 0.95, 0.95) / normal::quantile(0.975) - 1.0).abs() < 1e-3);
    }

    #[test]
    fn howe_is_close_to_exact() {
        for n in [5.0, 10.0, 30.0, 100.0] {
            let ratio = two_sided_howe(n, 0.95, 0.95) / two_sided(n, 0.95, 0.95);
            assert!((ratio - 1.0).abs() < 0.012, "{n}: {ratio}");
        }
    }

    #[test]
    fn senseless_questions_give_nan() {
        assert!(one_sided(1.0, 0.9, 0.9).is_nan());
        assert!(two_sided(10.0, 1.0, 0.9).is_nan());
        assert!(two_sided_howe(10.0, 0.9, 0.0).is_nan());
        assert!(one_sided(10.0, 0.9, 1.0).is_nan());
        assert!(one_sided(1.5, 0.9, 0.9).is_nan());
    }
}
