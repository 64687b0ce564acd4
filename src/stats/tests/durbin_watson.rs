//! Whether neighbouring residuals resemble each other.

use nalgebra::{DMatrix, SymmetricEigen};

use crate::stats::StatsError;
use crate::stats::error::{all_finite, at_least};
use crate::stats::summary::sum;

/// Durbin–Watson statistic with its exact probabilities.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DurbinWatson {
    /// Σ(eᵢ₊₁ − eᵢ)²/Σeᵢ²: near 2 for independent residuals, small when neighbours resemble each other.
    pub d: f64,
    /// P(D ≤ d) for independent normal errors: small values speak for positive autocorrelation.
    pub p_positive: f64,
    /// P(D ≥ d): small values speak for alternation.
    pub p_negative: f64,
}

/// Σ(eᵢ₊₁ − eᵢ)²/Σeᵢ² of residuals in their order in time, taken as they are (not centred).
///
/// # Errors
///
/// [`StatsError`] for fewer than two residuals, one that is not finite, or all zero.
pub fn durbin_watson(residuals: &[f64]) -> Result<f64, StatsError> {
    at_least("residuals", 2, residuals.len())?;
    all_finite("residuals", residuals)?;
    let squares = sum(residuals.iter().map(|e| e * e));
    if squares == 0.0 {
        return Err(StatsError::NoScatter { what: "residuals" });
    }
    Ok(sum(residuals
        .windows(2)
        .map(|pair| (pair[1] - pair[0]) * (pair[1] - pair[0])))
        / squares)
}

/// Durbin–Watson statistic of least-squares residuals with exact p-values for that design (Durbin & Watson 1971,
/// Biometrika 58, 1–19; probability by Imhof 1961, Biometrika 48, 419–426).
///
/// `design` has one row for each residual, in the same order in time; its rank may be less than its column count. The work grows with
/// the cube of the number of residuals: fine for runs (a second at about 1,000), not for raw log samples.
///
/// # Errors
///
/// [`StatsError`] as [`durbin_watson`], when the design has another number of rows, is not finite, or leaves fewer than
/// two residual degrees of freedom.
pub fn durbin_watson_p(
    residuals: &[f64],
    design: &DMatrix<f64>,
) -> Result<DurbinWatson, StatsError> {
    let d = durbin_watson(residuals)?;
    let n = residuals.len();
    if design.nrows() != n {
        return Err(StatsError::Unequal {
            what: "residuals and rows of the design",
            left: n,
            right: design.nrows(),
        });
    }
    all_finite("design", design.as_slice())?;
    let basis = column_space(design);
    let free = n - basis.ncols();
    at_least("residual degrees of freedom", 2, free)?;
    // A = DᵀD of the first differences D; then M A M with M = I − UUᵀ.
    let mut a = DMatrix::<f64>::zeros(n, n);
    for i in 0..n {
        a[(i, i)] = if i == 0 || i == n - 1 { 1.0 } else { 2.0 };
        if i + 1 < n {
            a[(i, i + 1)] = -1.0;
            a[(i + 1, i)] = -1.0;
        }
    }
    let au = &a * &basis;
    let uau = basis.transpose() * &au;
    let cross = &au * basis.transpose();
    let mut reduced = a - &cross - cross.transpose() + &basis * uau * basis.transpose();
    reduced = 0.5 * (&reduced + reduced.transpose());
    let mut eigenvalues: Vec<f64> = SymmetricEigen::new(reduced)
        .eigenvalues
        .iter()
        .copied()
        .collect();
    eigenvalues.sort_by(f64::total_cmp);
    // The directions inside the design have eigenvalue zero, the smallest there is.
    let weights: Vec<f64> = eigenvalues
        .split_off(n - free)
        .iter()
        .map(|l| l - d)
        .collect();
    let p_positive = negative_probability(&weights);
    Ok(DurbinWatson {
        d,
        p_positive,
        p_negative: 1.0 - p_positive,
    })
}

/// Orthonormal basis of the columns' span, by singular values after scaling each column to unit length.
fn column_space(design: &DMatrix<f64>) -> DMatrix<f64> {
    if design.ncols() == 0 {
        return design.clone();
    }
    let mut scaled = design.clone();
    for mut column in scaled.column_iter_mut() {
        let norm = column.norm();
        if norm > 0.0 {
            column /= norm;
        }
    }
    let svd = scaled.svd(true, false);
    let largest = svd.singular_values.iter().copied().fold(0.0, f64::max);
    let floor = largest * f64::EPSILON * design.nrows().max(design.ncols()) as f64;
    let kept: Vec<usize> = (0..svd.singular_values.len())
        .filter(|i| svd.singular_values[*i] > floor)
        .collect();
    match svd.u {
        Some(u) => u.select_columns(kept.iter()),
        None => DMatrix::zeros(design.nrows(), 0),
    }
}

/// P(Σ wᵢ zᵢ² < 0) for independent standard normals z: ½ − (1/π) ∫ sin θ(u)/(u ρ(u)) du with θ = ½ Σ atan(wᵢ u) and
/// ρ = Π (1 + wᵢ² u²)^¼, by the trapezoidal rule in ln u, where the integrand is smooth and dies on both sides.
fn negative_probability(weights: &[f64]) -> f64 {
    const STEP: f64 = 0.05;
    let scale = weights.iter().map(|w| w * w).sum::<f64>().sqrt();
    if scale == 0.0 {
        return f64::NAN;
    }
    let term = |v: f64| {
        let u = v.exp() / scale;
        let theta: f64 = 0.5 * weights.iter().map(|w| (w * u).atan()).sum::<f64>();
        let ln_rho: f64 = 0.25 * weights.iter().map(|w| (w * w * u * u).ln_1p()).sum::<f64>();
        (theta.sin() * (-ln_rho).exp(), (-ln_rho).exp())
    };
    let mut total = 0.0;
    // Left of −40 the integrand is below e^−40 of its peak; on the right its envelope falls at least as e^(−v/2).
    for k in -800..4_000 {
        let (value, envelope) = term(f64::from(k) * STEP);
        total += value;
        if envelope < 1e-18 {
            break;
        }
    }
    (0.5 - total * STEP / std::f64::consts::PI).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quadratic_forms_with_known_probabilities() {
        use std::f64::consts::PI;
        // One normal each side: an angle.
        let angle = (1.0_f64 / 2.0_f64.sqrt()).atan() * 2.0 / PI;
        assert!((negative_probability(&[2.0, -1.0]) - angle).abs() < 1e-12);
        assert!((negative_probability(&[1.0, -1.0]) - 0.5).abs() < 1e-14);
        // Four and six equal weights: an F ratio, P(4F/6·… < 1).
        let want = crate::stats::f::cdf(1.0 * 6.0 / 4.0, 4.0, 6.0);
        let weights = [[1.0; 4].as_slice(), [-1.0; 6].as_slice()].concat();
        assert!((negative_probability(&weights) - want).abs() < 1e-13);
        // All positive: never below zero.
        assert!(negative_probability(&[1.0, 2.0, 3.0]) < 1e-13);
    }

    #[test]
    fn bad_residuals_are_refused() {
        let design = DMatrix::from_element(3, 1, 1.0);
        assert!(matches!(
            durbin_watson(&[0.0, 0.0]),
            Err(StatsError::NoScatter { .. })
        ));
        assert!(matches!(
            durbin_watson_p(&[1.0, -1.0], &design),
            Err(StatsError::Unequal { .. })
        ));
        let full = DMatrix::identity(3, 3);
        assert!(matches!(
            durbin_watson_p(&[1.0, -1.0, 0.5], &full),
            Err(StatsError::TooFew { .. })
        ));
    }

    #[test]
    fn a_repeated_column_changes_nothing() {
        let residuals = [0.3, -0.1, 0.4, -0.5, -0.2, 0.1];
        let once = DMatrix::from_fn(6, 2, |i, j| if j == 0 { 1.0 } else { i as f64 });
        let twice = DMatrix::from_fn(6, 3, |i, j| if j == 0 { 1.0 } else { i as f64 * j as f64 });
        let (a, b) = (
            durbin_watson_p(&residuals, &once).unwrap(),
            durbin_watson_p(&residuals, &twice).unwrap(),
        );
        assert!((a.p_positive - b.p_positive).abs() < 1e-12);
    }

    #[test]
    fn units_and_combinations_of_columns_change_nothing() {
        let residuals: Vec<f64> = (0..40_i32).map(|i| f64::from(i * i % 7) - 3.0).collect();
        let column = |i: usize, j: usize| if j == 0 { 1.0 } else { (i as f64).sqrt() };
        let plain = durbin_watson_p(&residuals, &DMatrix::from_fn(40, 2, column)).unwrap();
        let same = |design: DMatrix<f64>| {
            let other = durbin_watson_p(&residuals, &design).unwrap().p_positive;
            assert!(
                (other - plain.p_positive).abs() < 1e-11,
                "{other} {plain:?}"
            );
        };
        // One column in other units, four more that are mixtures of two, one of zeros.
        same(DMatrix::from_fn(40, 2, |i, j| {
            column(i, j) * if j == 0 { 1.0 } else { 1e-20 }
        }));
        same(DMatrix::from_fn(40, 6, |i, j| {
            if j < 2 {
                column(i, j)
            } else {
                0.3 * j as f64 * column(i, 0) + 0.7 * column(i, 1)
            }
        }));
        same(DMatrix::from_fn(40, 3, |i, j| {
            if j < 2 { column(i, j) } else { 0.0 }
        }));
    }
}
