//! Fits that single wild rows cannot carry away: Huber's weighting, and the median of slopes.

use nalgebra::DMatrix;

use super::error::FitError;
use super::linear::{LinearFit, least_squares};
use crate::stats::normal;

/// Huber's usual tuning: 95 % efficiency where scatter is normal.
pub const HUBER_TUNING: f64 = 1.345;
/// Most reweightings.
const ROUNDS: u32 = 500;

/// A linear fit with rows far from it weighted down.
#[derive(Debug, Clone)]
pub struct HuberFit {
    /// The weighted least-squares fit that the reweighting settled on; its coefficients are the estimates, its standard
    /// errors are not (see [`std_errors`](Self::std_errors)).
    pub fit: LinearFit,
    /// The weight between 0 and 1 that each row got by its distance.
    pub row_weights: Vec<f64>,
    /// Scatter about the fit: the median of |residual| / 0.6745.
    pub scale: f64,
    /// Standard errors of the coefficients (P. J. Huber, *Robust Statistics*, 1981, 7.6); `None` without degrees of
    /// freedom or scatter.
    pub std_errors: Option<Vec<f64>>,
    /// Whether the reweighting settled.
    pub converged: bool,
}

/// Fits `y ≈ X b` by Huber's M-estimate: least squares for residuals up to `tuning` times the scale, and less weight,
/// `tuning · scale / |residual|`, beyond. The scale, re-estimated every round, is the median absolute residual over
/// 0.6745 (which makes it the standard deviation of normal scatter).
///
/// # Errors
/// As [`least_squares`]; [`FitError::BadWeight`] for a tuning that is not positive.
pub fn huber(x: &DMatrix<f64>, y: &[f64], tuning: f64) -> Result<HuberFit, FitError> {
    if !(tuning.is_finite() && tuning > 0.0) {
        return Err(FitError::BadWeight {
            row: 0,
            value: tuning,
        });
    }
    let ordinary = least_squares(x, y, None)?;
    let unscaled = ordinary.cov_unscaled.clone();
    let mut fit = ordinary;
    let mut row_weights = vec![1.0; y.len()];
    let (mut scale, mut converged) = (0.0, false);
    for _ in 0..ROUNDS {
        let mut sizes: Vec<f64> = fit.residuals.iter().map(|r| r.abs()).collect();
        scale = median(&mut sizes) / normal::quantile(0.75);
        if scale == 0.0 {
            // More than half of the rows lie exactly on the fit: the others cannot move it.
            converged = true;
            break;
        }
        let weigh = |r: &f64| {
            if r.abs() <= tuning * scale {
                1.0
            } else {
                tuning * scale / r.abs()
            }
        };
        let next: Vec<f64> = fit.residuals.iter().map(weigh).collect();
        let moved = next
            .iter()
            .zip(&row_weights)
            .map(|(a, b)| (a - b).abs())
            .fold(0.0, f64::max);
        row_weights = next;
        fit = least_squares(x, y, Some(&row_weights))?;
        if moved < 1e-13 {
            converged = true;
            break;
        }
    }
    let (n, p) = (y.len() as f64, fit.p as f64);
    let psi = |r: &f64| (r / scale).clamp(-tuning, tuning);
    let squares: f64 = fit.residuals.iter().map(|r| psi(r).powi(2)).sum();
    // The derivative of psi is 1 inside and 0 outside: its mean and variance are those of a share.
    let inside = fit
        .residuals
        .iter()
        .filter(|r| r.abs() <= tuning * scale)
        .count() as f64
        / n;
    let kappa = 1.0 + p / n * (1.0 - inside) / inside;
    let factor = kappa.powi(2) * squares / (n - p) * scale.powi(2) / inside.powi(2);
    // Without degrees of freedom or scatter they are not finite.
    let std_errors: Option<Vec<f64>> = (0..fit.p)
        .map(|j| Some((factor * unscaled[(j, j)]).sqrt()).filter(|e| e.is_finite()))
        .collect();
    Ok(HuberFit {
        fit,
        row_weights,
        scale,
        std_errors,
        converged,
    })
}

/// A straight line by the median of the slopes of all pairs of points.
#[derive(Debug, Clone, PartialEq)]
pub struct MedianSlope {
    /// The median slope.
    pub slope: f64,
    /// Median of y minus slope times median of x.
    pub intercept: f64,
    /// Interval of the slope; `None` where there are too few pairs for the level.
    pub interval: Option<(f64, f64)>,
    /// The probability with which such intervals hold the slope: at least the level asked for.
    pub coverage: Option<f64>,
}

/// Points up to which the distribution of the rank statistic is counted out exactly.
const EXACT_UP_TO: usize = 60;

/// Fits a straight line by the median of pairwise slopes (H. Theil 1950; P. K. Sen, J. Amer. Statist. Assoc. 63 (1968)
/// 1379). The interval is that between two order statistics of the slopes; its coverage comes from the distribution of
/// Kendall's score, exact for up to 60 points without ties in x, else by its normal approximation. Takes n²/2 steps.
///
/// # Errors
/// [`FitError`] for lengths that differ, values that are not finite, fewer than two points, one x for all, and
/// [`FitError::BadWeight`] for a level not between 0 and 1.
pub fn median_slope(x: &[f64], y: &[f64], level: f64) -> Result<MedianSlope, FitError> {
    let n = x.len();
    if y.len() != n {
        return Err(FitError::DimensionMismatch {
            what: "y",
            found: y.len(),
            expected: n,
        });
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
    if !(level > 0.0 && level < 1.0) {
        return Err(FitError::BadWeight {
            row: 0,
            value: level,
        });
    }
    let mut slopes: Vec<f64> = Vec::with_capacity(n * (n - 1) / 2);
    for i in 0..n {
        slopes.extend(
            (0..i)
                .filter(|&j| x[i] != x[j])
                .map(|j| (y[i] - y[j]) / (x[i] - x[j])),
        );
    }
    if slopes.is_empty() {
        return Err(FitError::RankDeficient {
            rank: 1,
            p: 2,
            groups: vec![vec![0, 1]],
        });
    }
    if !slopes.iter().all(|s| s.is_finite()) {
        return Err(FitError::OutOfRange);
    }
    slopes.sort_unstable_by(f64::total_cmp);
    let slope = middle(&slopes);
    let intercept = median(&mut y.to_vec()) - slope * median(&mut x.to_vec());
    let ties = slopes.len() < n * (n - 1) / 2;
    // From the k-th smallest to the k-th largest slope: the score must stay within count − 2k.
    let covers: Box<dyn Fn(usize) -> f64> = if n <= EXACT_UP_TO && !ties {
        let inversions = inversion_probabilities(n);
        Box::new(move |k| 1.0 - 2.0 * inversions.iter().take(k).sum::<f64>())
    } else {
        let sd = score_variance(x).sqrt();
        let count = slopes.len() as f64;
        Box::new(move |k| 1.0 - 2.0 * normal::sf((count - 2.0 * k as f64 + 1.0) / sd))
    };
    let (mut low, mut high) = (0, slopes.len() / 2);
    while low < high {
        let k = (low + high).div_ceil(2);
        if covers(k) >= level {
            low = k;
        } else {
            high = k - 1;
        }
    }
    let found = low > 0;
    Ok(MedianSlope {
        slope,
        intercept,
        interval: found.then(|| (slopes[low - 1], slopes[slopes.len() - low])),
        coverage: found.then(|| covers(low)),
    })
}

/// The probabilities that n values in random order have 0, 1, 2, … inversions.
fn inversion_probabilities(n: usize) -> Vec<f64> {
    let mut all = vec![1.0];
    for m in 2..=n {
        let mut next = vec![0.0; all.len() + m - 1];
        for (k, p) in all.iter().enumerate() {
            next[k..k + m].iter_mut().for_each(|v| *v += p / m as f64);
        }
        all = next;
    }
    all
}

/// Variance of Kendall's score with ties in x (M. G. Kendall, *Rank Correlation Methods*, 4.4).
fn score_variance(x: &[f64]) -> f64 {
    let term = |m: f64| m * (m - 1.0) * (2.0 * m + 5.0);
    let mut sorted = x.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let tied: f64 = sorted
        .chunk_by(|a, b| a == b)
        .map(|group| term(group.len() as f64))
        .sum();
    (term(x.len() as f64) - tied) / 18.0
}

/// The median; sorts its argument. NaN for none.
fn median(values: &mut [f64]) -> f64 {
    values.sort_unstable_by(f64::total_cmp);
    middle(values)
}

fn middle(sorted: &[f64]) -> f64 {
    let half = sorted.len() / 2;
    match (
        sorted.get(half),
        half.checked_sub(1).and_then(|k| sorted.get(k)),
    ) {
        (Some(b), Some(a)) if sorted.len().is_multiple_of(2) => 0.5 * (a + b),
        (Some(b), _) => *b,
        _ => f64::NAN,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_wild_row_hardly_moves_the_line() {
        let x: Vec<f64> = (0..20).map(f64::from).collect();
        let mut y: Vec<f64> = x
            .iter()
            .map(|x| 1.0 + 2.0 * x + 0.1 * (7.0 * x).sin())
            .collect();
        let design = DMatrix::from_fn(20, 2, |i, j| if j == 0 { 1.0 } else { x[i] });
        let before = huber(&design, &y, HUBER_TUNING).unwrap();
        y[19] += 1000.0;
        let after = huber(&design, &y, HUBER_TUNING).unwrap();
        let plain = least_squares(&design, &y, None).unwrap();
        assert!(before.converged && after.converged && after.row_weights[19] < 1e-3);
        assert!(
            (after.fit.coef[1] - before.fit.coef[1]).abs() < 0.01
                && (plain.coef[1] - 2.0).abs() > 1.0
        );
        let median = median_slope(&x, &y, 0.95).unwrap();
        assert!((median.slope - 2.0).abs() < 0.02);
    }

    #[test]
    fn an_exact_line_has_no_scale() {
        let design = DMatrix::from_fn(5, 2, |i, j| if j == 0 { 1.0 } else { i as f64 });
        let exact = huber(&design, &[1.0, 3.0, 5.0, 7.0, 9.0], HUBER_TUNING).unwrap();
        assert!(exact.converged && (exact.fit.coef[1] - 2.0).abs() < 1e-12);
        assert!(huber(&design, &[1.0; 5], 0.0).is_err());
    }

    #[test]
    fn the_interval_of_many_points_lies_where_sen_puts_it() {
        // Ranks (N − C)/2 from either end, C = z √variance (P. K. Sen 1968). Without ties: 80 points, N = 3160, variance
        // 80 × 79 × 165/18 = 57933.3, C = 471.8, rank 1344. Each x twice: N = 3120, variance less 40 × 2 × 1 × 9/18, C = 471.6, 1324.
        for (twice, count, rank) in [(false, 3160, 1344), (true, 3120, 1324)] {
            let x: Vec<f64> = (0..80)
                .map(|i| f64::from(if twice { i / 2 } else { i }))
                .collect();
            let y: Vec<f64> = (0..80)
                .map(|i| (f64::from(i) * 1.7).sin() * 30.0 + f64::from(i))
                .collect();
            let mut slopes: Vec<f64> = Vec::new();
            for i in 0..80 {
                slopes.extend(
                    (0..i)
                        .filter(|j| x[i] > x[*j])
                        .map(|j| (y[i] - y[j]) / (x[i] - x[j])),
                );
            }
            slopes.sort_by(f64::total_cmp);
            assert_eq!(slopes.len(), count);
            let line = median_slope(&x, &y, 0.95).unwrap();
            assert_eq!(
                line.interval,
                Some((slopes[rank - 1], slopes[count - rank]))
            );
        }
    }

    #[test]
    fn exact_and_approximate_coverage_agree_for_many_points() {
        let exact = inversion_probabilities(60);
        assert!((exact.iter().sum::<f64>() - 1.0).abs() < 1e-12);
        let x: Vec<f64> = (0..60).map(f64::from).collect();
        let sd = score_variance(&x).sqrt();
        for k in [700, 750, 800] {
            let tail: f64 = exact.iter().take(k).sum();
            let normal = normal::sf((1770.0 - 2.0 * k as f64 + 1.0) / sd);
            assert!((tail - normal).abs() < 1e-3, "{k} {tail} {normal}");
        }
    }

    #[test]
    fn a_line_by_hubers_rule_has_the_values_of_an_independent_iteration() {
        // Reweighted in 40 digits (mpmath) by the definition; the standard errors by Huber's formula (1981, 7.6). Nine of ten rows
        // lie within 1.345 × 48.7 = 65.5 of the line, the farthest of them 60 from it.
        let y = [
            1010.0, 1190.0, 1430.0, 1580.0, 1850.0, 1960.0, 2260.0, 2390.0, 3000.0, 2810.0,
        ];
        let design = DMatrix::from_fn(10, 2, |i, j| if j == 0 { 1.0 } else { i as f64 });
        let line = huber(&design, &y, HUBER_TUNING).unwrap();
        let near = |found: f64, value: f64| assert!((found / value - 1.0).abs() < 1e-11, "{found}");
        near(line.fit.coef[0], 998.510_743_923_978);
        near(line.fit.coef[1], 204.294_986_166_110_36);
        near(line.scale, 48.707_199_638_533_1);
        let errors = line.std_errors.unwrap();
        near(errors[0], 28.298_198_023_165_417);
        near(errors[1], 5.300_738_152_365_17);
    }

    #[test]
    fn an_exact_line_and_one_through_as_many_rows_have_no_standard_errors() {
        let design = DMatrix::from_fn(5, 2, |i, j| if j == 0 { 1.0 } else { i as f64 });
        let exact = huber(&design, &[0.0; 5], HUBER_TUNING).unwrap();
        assert_eq!((exact.scale, exact.std_errors), (0.0, None));
        let two = huber(&design.rows(0, 2).into_owned(), &[0.3, 0.7], HUBER_TUNING).unwrap();
        assert_eq!(two.std_errors, None);
    }

    #[test]
    fn few_points_with_one_x_twice_are_judged_with_their_ties() {
        // Four x, each twice: N = 28 − 4 = 24 slopes, variance (8 × 7 × 21 − 4 × 2 × 1 × 9)/18 = 61.333 (Kendall). From the 4th on either
        // side the score stays within 17: coverage erf(17/√(2 × 61.333)) = 0.970046; the 5th would cover 0.9445. Without ties it were the 6th.
        let x = [0.0, 0.0, 1.0, 1.0, 2.0, 2.0, 3.0, 3.0];
        let y = [1.0, 1.3, 2.9, 3.4, 5.2, 4.7, 7.1, 6.6];
        let line = median_slope(&x, &y, 0.95).unwrap();
        // The slopes in order (fractions): 1.3, 1.4, 1.6, 1.6, 1.7 … 2.1, 2.3, 2.4, 2.4.
        let (low, high) = line.interval.unwrap();
        assert!(
            (low - 1.6).abs() < 1e-12 && (high - 2.1).abs() < 1e-12,
            "{low} {high}"
        );
        assert!((line.coverage.unwrap() - 0.970_046_456_963).abs() < 1e-9);
    }

    #[test]
    fn a_level_that_is_no_share_is_refused() {
        for level in [-0.5, 0.0, 1.0, 1.5, f64::NAN] {
            let refused = median_slope(&[0.0, 1.0, 2.0], &[0.0, 1.0, 3.0], level);
            assert!(
                matches!(refused, Err(FitError::BadWeight { .. })),
                "{level}"
            );
        }
    }
}
