//! A straight line when both variables are uncertain.

use super::error::FitError;
use crate::stats::chi_square;

/// Most iterations; a few tens are usual.
const ITERATIONS: u32 = 500;

/// A straight line `y = intercept + slope x` through points with uncertainties in both directions.
#[derive(Debug, Clone, PartialEq)]
pub struct YorkFit {
    /// Slope, in units of y per unit of x.
    pub slope: f64,
    /// Intercept, in units of y.
    pub intercept: f64,
    /// Standard uncertainty of the slope that follows from the points' stated uncertainties (at the adjusted points).
    pub u_slope: f64,
    /// Standard uncertainty of the intercept, likewise.
    pub u_intercept: f64,
    /// Covariance of slope and intercept, likewise.
    pub covariance: f64,
    /// Weighted sum of squared distances from the line; about dof where line and uncertainties are right.
    pub chi_square: f64,
    /// Degrees of freedom, n − 2.
    pub dof: usize,
    /// How often chance alone gives a larger `chi_square`; `None` without degrees of freedom.
    pub p: Option<f64>,
    /// Whether the iteration settled.
    pub converged: bool,
}

impl YorkFit {
    /// `√(chi_square / dof)`: by how much uncertainties must be widened for the points to scatter as they do; `None`
    /// without degrees of freedom.
    pub fn widening(&self) -> Option<f64> {
        (self.dof > 0).then(|| (self.chi_square / self.dof as f64).sqrt())
    }

    /// The line at `x`, and its standard uncertainty from the points' stated uncertainties.
    pub fn at(&self, x: f64) -> (f64, f64) {
        let variance =
            self.u_intercept.powi(2) + 2.0 * x * self.covariance + (x * self.u_slope).powi(2);
        (self.intercept + self.slope * x, variance.max(0.0).sqrt())
    }
}

/// Fits a straight line by maximum likelihood: normal errors of known size in x and y.
///
/// `u_x`, `u_y` are standard uncertainties, one a point, not both zero at any point; `correlation`, where given, is that
/// of the two errors of each point. Method and uncertainties: D. York, N. M. Evensen, M. López Martínez and
/// J. De Basabe Delgado, Am. J. Phys. 72 (2004) 367.
///
/// # Errors
/// [`FitError`] for lengths that differ, values that are not finite, uncertainties that are negative or both zero,
/// correlations beyond ±1, fewer than two points, and points that all have one x.
pub fn york(
    x: &[f64],
    y: &[f64],
    u_x: &[f64],
    u_y: &[f64],
    correlation: Option<&[f64]>,
) -> Result<YorkFit, FitError> {
    let n = x.len();
    check(x, y, u_x, u_y, correlation)?;
    let r = |i: usize| correlation.map_or(0.0, |r| r[i]);
    let cross = |i: usize| r(i) * u_x[i] * u_y[i];
    let weight = |slope: f64, i: usize| {
        1.0 / (u_y[i].powi(2) + (slope * u_x[i]).powi(2) - 2.0 * slope * cross(i))
            .max(f64::MIN_POSITIVE)
    };
    let mut slope = first_slope(x, y);
    let mut converged = false;
    let mut adjusted = vec![0.0; n];
    let mut centre = (0.0, 0.0);
    for _ in 0..ITERATIONS {
        let weights: Vec<f64> = (0..n).map(|i| weight(slope, i)).collect();
        let total: f64 = weights.iter().sum();
        let mean = |v: &[f64]| weights.iter().zip(v).map(|(w, v)| w * v).sum::<f64>() / total;
        centre = (mean(x), mean(y));
        let (mut above, mut below) = (0.0, 0.0);
        for i in 0..n {
            let (u, v) = (x[i] - centre.0, y[i] - centre.1);
            let beta = weights[i]
                * (u * u_y[i].powi(2) + slope * v * u_x[i].powi(2) - (slope * u + v) * cross(i));
            adjusted[i] = beta;
            above += weights[i] * beta * v;
            below += weights[i] * beta * u;
        }
        let next = above / below;
        if !next.is_finite() {
            break;
        }
        let step = (next - slope).abs();
        slope = next;
        if step <= 4.0 * f64::EPSILON * slope.abs() {
            converged = true;
            break;
        }
    }
    let weights: Vec<f64> = (0..n).map(|i| weight(slope, i)).collect();
    let total: f64 = weights.iter().sum();
    let intercept = centre.1 - slope * centre.0;
    let shift: f64 = weights
        .iter()
        .zip(&adjusted)
        .map(|(w, b)| w * b)
        .sum::<f64>()
        / total;
    let spread: f64 = weights
        .iter()
        .zip(&adjusted)
        .map(|(w, b)| w * (b - shift).powi(2))
        .sum();
    let mean_x = centre.0 + shift;
    let u_slope = spread.recip().sqrt();
    let chi_square: f64 = (0..n)
        .map(|i| weights[i] * (y[i] - centre.1 - slope * (x[i] - centre.0)).powi(2))
        .sum();
    if !(slope.is_finite()
        && intercept.is_finite()
        && u_slope.is_finite()
        && chi_square.is_finite())
    {
        return Err(FitError::OutOfRange);
    }
    let dof = n - 2;
    Ok(YorkFit {
        slope,
        intercept,
        u_slope,
        u_intercept: (total.recip() + (mean_x * u_slope).powi(2)).sqrt(),
        covariance: -mean_x * u_slope.powi(2),
        chi_square,
        dof,
        p: (dof > 0).then(|| chi_square::sf(chi_square, dof as f64)),
        converged,
    })
}

/// The ordinary slope of y on x.
fn first_slope(x: &[f64], y: &[f64]) -> f64 {
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    let (mx, my) = (mean(x), mean(y));
    let (above, below) = x.iter().zip(y).fold((0.0, 0.0), |(a, b), (x, y)| {
        (a + (x - mx) * (y - my), b + (x - mx).powi(2))
    });
    above / below
}

fn check(
    x: &[f64],
    y: &[f64],
    u_x: &[f64],
    u_y: &[f64],
    correlation: Option<&[f64]>,
) -> Result<(), FitError> {
    let n = x.len();
    let lengths = [
        ("y", y.len()),
        ("the uncertainties of x", u_x.len()),
        ("the uncertainties of y", u_y.len()),
    ];
    for (what, found) in lengths
        .into_iter()
        .chain(correlation.map(|r| ("the correlations", r.len())))
    {
        if found != n {
            return Err(FitError::DimensionMismatch {
                what,
                found,
                expected: n,
            });
        }
    }
    if n < 2 {
        return Err(FitError::TooFewRows { n, p: 2 });
    }
    if let Some(row) = x.iter().position(|v| !v.is_finite()) {
        return Err(FitError::NotFinite { row, col: 0 });
    }
    if let Some(row) = y.iter().position(|v| !v.is_finite()) {
        return Err(FitError::ResponseNotFinite { row });
    }
    for row in 0..n {
        for value in [u_x[row], u_y[row], u_x[row].max(u_y[row])] {
            if !value.is_finite() || value < 0.0 {
                return Err(FitError::BadWeight { row, value });
            }
        }
        if u_x[row] == 0.0 && u_y[row] == 0.0 {
            return Err(FitError::BadWeight { row, value: 0.0 });
        }
        if let Some(value) = correlation
            .map(|r| r[row])
            .filter(|r| r.is_nan() || r.abs() >= 1.0)
        {
            return Err(FitError::BadWeight { row, value });
        }
    }
    if x.iter().all(|v| *v == x[0]) {
        return Err(FitError::RankDeficient {
            rank: 1,
            p: 2,
            groups: vec![vec![0, 1]],
        });
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn with_exact_x_it_is_weighted_least_squares() {
        let (x, y, u) = (
            [1.0, 2.0, 4.0, 7.0],
            [1.1, 2.3, 3.7, 7.2],
            [0.1, 0.2, 0.1, 0.3],
        );
        let line = york(&x, &y, &[0.0; 4], &u, None).unwrap();
        let weights: Vec<f64> = u.iter().map(|u| 1.0 / (u * u)).collect();
        let design = nalgebra::DMatrix::from_fn(4, 2, |i, j| if j == 0 { 1.0 } else { x[i] });
        let fit = crate::fit::least_squares(&design, &y, Some(&weights)).unwrap();
        assert!(
            (line.intercept - fit.coef[0]).abs() < 1e-13
                && (line.slope - fit.coef[1]).abs() < 1e-13
        );
        assert!((line.u_slope - fit.cov_unscaled[(1, 1)].sqrt()).abs() < 1e-13);
        assert!((line.u_intercept - fit.cov_unscaled[(0, 0)].sqrt()).abs() < 1e-13);
        assert!((line.covariance - fit.cov_unscaled[(0, 1)]).abs() < 1e-13);
        let at = line.at(3.0).1.powi(2);
        assert!((at - fit.mean_variance_factor(&[1.0, 3.0])).abs() < 1e-13);
    }

    #[test]
    fn exchanging_the_variables_inverts_the_slope() {
        let (x, y) = ([0.0, 0.9, 1.8, 2.6], [5.9, 5.4, 4.4, 4.6]);
        let (u_x, u_y, r) = (
            [0.1, 0.2, 0.1, 0.3],
            [0.3, 0.1, 0.2, 0.2],
            [0.2, -0.3, 0.0, 0.5],
        );
        let there = york(&x, &y, &u_x, &u_y, Some(&r)).unwrap();
        let back = york(&y, &x, &u_y, &u_x, Some(&r)).unwrap();
        assert!(there.converged && back.converged);
        assert!((there.slope * back.slope - 1.0).abs() < 1e-12);
        assert!((there.chi_square - back.chi_square).abs() < 1e-12);
        // The least of Σ (y − a − b x)²/(u_y² + b² u_x² − 2 b r u_x u_y) over a and b, by a search in 40 digits (mpmath).
        assert!((there.slope + 0.731_029_255_725_489).abs() < 1e-9);
        assert!((there.intercept - 5.989_577_293_251).abs() < 1e-9);
        assert!((there.chi_square - 3.915_694_969_023_83).abs() < 1e-9);
    }

    #[test]
    fn the_search_begins_at_the_ordinary_slope() {
        // Means 3 and 5: ((−2)(−3) + (−1)(−1) + 3 × 4)/(4 + 1 + 9) = 19/14.
        let slope = first_slope(&[1.0, 2.0, 6.0], &[2.0, 4.0, 9.0]);
        assert!((slope - 19.0 / 14.0).abs() < 1e-15);
    }

    #[test]
    fn what_cannot_be_a_line_is_refused() {
        let refused = |x: &[f64], y: &[f64], u: &[f64]| york(x, y, u, u, None).unwrap_err();
        assert_eq!(
            refused(&[1.0], &[1.0], &[1.0]),
            FitError::TooFewRows { n: 1, p: 2 }
        );
        assert_eq!(
            refused(&[1.0, 2.0], &[1.0, 2.0], &[1.0, 0.0]),
            FitError::BadWeight { row: 1, value: 0.0 }
        );
        assert!(matches!(
            refused(&[1.0, 1.0], &[1.0, 2.0], &[1.0, 1.0]),
            FitError::RankDeficient { .. }
        ));
        assert!(matches!(
            refused(&[1.0, 2.0], &[1.0], &[1.0, 1.0]),
            FitError::DimensionMismatch { .. }
        ));
    }

    #[test]
    fn errors_that_are_one_error_are_refused() {
        for r in [1.0, -1.0, 1.5, f64::NAN] {
            let bound = [0.0, 0.0, r];
            let refused = york(
                &[0.0, 1.0, 2.0],
                &[0.0, 1.0, 3.0],
                &[0.1; 3],
                &[0.1; 3],
                Some(&bound),
            );
            assert!(
                matches!(refused, Err(FitError::BadWeight { row: 2, .. })),
                "{r}"
            );
        }
    }

    #[test]
    fn a_line_through_its_points_has_their_values() {
        let x = [1.0, 2.0, 4.0];
        let line = york(&x, &[3.0, 5.0, 9.0], &[0.1; 3], &[0.2; 3], None).unwrap();
        // 1 + 2 x.
        assert!((line.at(3.0).0 - 7.0).abs() < 1e-13 && (line.at(0.0).0 - 1.0).abs() < 1e-13);
    }

    #[test]
    fn another_unit_of_y_changes_no_digit() {
        let (x, u_x) = ([0.0, 0.9, 1.8, 2.6, 3.3], [0.1, 0.2, 0.1, 0.3, 0.4]);
        let (y, u_y) = ([5.9, 5.4, 4.4, 4.6, 3.5], [0.3, 0.1, 0.2, 0.2, 0.1]);
        let in_unit = |unit: f64| {
            let line = york(&x, &y.map(|v| unit * v), &u_x, &u_y.map(|v| unit * v), None).unwrap();
            assert!(line.converged);
            line.slope / unit
        };
        // Powers of two, so that nothing is rounded.
        assert_eq!(in_unit(2f64.powi(-60)), in_unit(1.0));
        assert_eq!(in_unit(2f64.powi(60)), in_unit(1.0));
    }
}
