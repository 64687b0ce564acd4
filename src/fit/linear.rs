//! Linear least squares by Householder factorisation, for one call or very many small ones.

use nalgebra::DMatrix;

use super::error::FitError;
use super::qr::Qr;
use super::rank;
use super::real::Real;
use super::refine::refine;

/// Above this (pessimistic) bound on the relative error of any coefficient, corrections are computed in doubled precision.
const REFINE_ABOVE: f64 = 1e-8;

/// A weighted linear least-squares fit: coefficients `b` that minimise `Σ wᵢ (yᵢ − xᵢ'b)²`.
///
/// Rows with weight zero do not count in `n` and do not move the coefficients; they still get a fitted value
/// and a residual. What a fit can say about its rows (leverage, studentised residuals, leave-one-out) is in the
/// methods; everything in the units of `y` and of the columns.
#[derive(Debug, Clone)]
pub struct LinearFit {
    /// The coefficients, one a column of the design.
    pub coef: Vec<f64>,
    /// `(X'WX)⁻¹`, p × p; times [`sigma2`](Self::sigma2) it is the covariance of the coefficients.
    pub cov_unscaled: DMatrix<f64>,
    /// `y − X b`, one a row, not weighted.
    pub residuals: Vec<f64>,
    /// `X b`, one a row.
    pub fitted: Vec<f64>,
    /// The diagonal of the hat matrix of the weighted problem, one a row, between 0 and 1.
    pub leverage: Vec<f64>,
    /// The weights, where some were given.
    pub weights: Option<Vec<f64>>,
    /// `Σ wᵢ (yᵢ − xᵢ'b)²`.
    pub rss: f64,
    /// Number of rows with a weight above zero.
    pub n: usize,
    /// Number of coefficients.
    pub p: usize,
    /// Condition number of the weighted design with its columns scaled (Frobenius norm; at least p).
    pub condition: f64,
    /// Upper triangular root `U` with `U U' = cov_unscaled`.
    pub(super) root: DMatrix<f64>,
    /// First p columns of the orthogonal factor of the weighted design, n × p.
    pub(super) q: DMatrix<f64>,
}

impl LinearFit {
    /// Degrees of freedom, n − p.
    pub fn dof(&self) -> usize {
        self.n.saturating_sub(self.p)
    }

    /// Estimated variance of an observation of weight 1, rss / dof; `None` without degrees of freedom.
    pub fn sigma2(&self) -> Option<f64> {
        (self.dof() > 0).then(|| self.rss / self.dof() as f64)
    }

    /// Residual standard deviation, the root of [`sigma2`](Self::sigma2).
    pub fn residual_sd(&self) -> Option<f64> {
        self.sigma2().map(f64::sqrt)
    }

    /// Covariance of the coefficients, p × p, scaled by the scatter about the fit.
    pub fn covariance(&self) -> Option<DMatrix<f64>> {
        self.sigma2().map(|s2| &self.cov_unscaled * s2)
    }

    /// Standard errors of the coefficients, from the scatter about the fit.
    pub fn std_errors(&self) -> Option<Vec<f64>> {
        let s2 = self.sigma2()?;
        Some(
            (0..self.p)
                .map(|j| (s2 * self.cov_unscaled[(j, j)]).sqrt())
                .collect(),
        )
    }

    /// The fitted value at a design row of length p (NaN for a row of another length).
    pub fn predict(&self, row: &[f64]) -> f64 {
        if row.len() != self.p {
            return f64::NAN;
        }
        row.iter().zip(&self.coef).map(|(x, b)| x * b).sum()
    }

    /// `row' (X'WX)⁻¹ row`: the variance of the fitted mean there is this times [`sigma2`](Self::sigma2)
    /// (NaN for a row of another length than p).
    pub fn mean_variance_factor(&self, row: &[f64]) -> f64 {
        if row.len() != self.p {
            return f64::NAN;
        }
        // Through the root: a sum of squares cannot come out negative.
        (0..self.p)
            .map(|j| {
                (0..=j)
                    .map(|i| row[i] * self.root[(i, j)])
                    .sum::<f64>()
                    .powi(2)
            })
            .sum()
    }

    /// The upper triangle of the root `U` behind [`LinearFit::mean_variance_factor`], column by column.
    pub fn covariance_root(&self) -> Vec<f64> {
        (0..self.p)
            .flat_map(|j| (0..=j).map(move |i| self.root[(i, j)]))
            .collect()
    }

    /// The weight of a row.
    pub fn weight(&self, row: usize) -> f64 {
        self.weights
            .as_ref()
            .and_then(|w| w.get(row).copied())
            .unwrap_or(1.0)
    }
}

/// Fits `y ≈ X b` by weighted least squares.
///
/// `x` is n × p, one row an observation; `y` has n entries; `weights`, where given, n entries that are proportional
/// to 1/variance. Householder QR on scaled columns; where the design is ill-conditioned, followed by corrections of
/// coefficients and residuals together (Å. Björck, BIT 7 (1967) 257) from sums in doubled precision.
///
/// # Errors
/// [`FitError`] for entries that are not finite, negative weights, lengths that differ, fewer rows than columns,
/// and columns that cannot be told apart (named by their numbers; [`rank_report`](super::rank_report) gives names).
///
/// # Example
/// ```
/// use nalgebra::DMatrix;
/// use steadydraw::fit::least_squares;
/// let x = DMatrix::from_row_slice(4, 2, &[1.0, 0.0, 1.0, 1.0, 1.0, 2.0, 1.0, 3.0]);
/// let fit = least_squares(&x, &[1.0, 3.0, 5.0, 8.0], None)?;
/// assert!((fit.coef[1] - 2.3).abs() < 1e-14);
/// assert_eq!(fit.dof(), 2);
/// # Ok::<(), steadydraw::fit::FitError>(())
/// ```
pub fn least_squares(
    x: &DMatrix<f64>,
    y: &[f64],
    weights: Option<&[f64]>,
) -> Result<LinearFit, FitError> {
    solve(x, y, weights, REFINE_ABOVE)
}

/// The fit of residuals to the tangent of a curve at its best fit. The coefficients are zero but for rounding, so no
/// digits of theirs are worth refining; the by-products are what is wanted.
pub(super) fn tangent_fit(
    jacobian: &DMatrix<f64>,
    residuals: &[f64],
) -> Result<LinearFit, FitError> {
    solve(jacobian, residuals, None, f64::INFINITY)
}

fn solve(
    x: &DMatrix<f64>,
    y: &[f64],
    weights: Option<&[f64]>,
    refine_above: f64,
) -> Result<LinearFit, FitError> {
    let (rows, cols) = x.shape();
    let n = check(rows, cols, y, weights)?;
    if let Some(at) = x.as_slice().iter().position(|v| !v.is_finite()) {
        return Err(FitError::NotFinite {
            row: at % rows.max(1),
            col: at / rows.max(1),
        });
    }
    let root_weights: Option<Vec<f64>> = weights.map(|w| w.iter().map(|v| v.sqrt()).collect());
    let (mut a, mut b) = (x.as_slice().to_vec(), y.to_vec());
    if let Some(root) = &root_weights {
        for column in a.chunks_exact_mut(rows).chain(std::iter::once(&mut b[..])) {
            column.iter_mut().zip(root).for_each(|(v, r)| *v *= r);
        }
    }
    let qr = Qr::new(a, rows, cols);
    let inverse = checked_inverse(&qr)?;
    let condition = condition(&qr, &inverse);

    qr.apply_transposed(&mut b);
    let mut rss: f64 = b[cols..].iter().map(|v| v * v).sum();
    qr.solve_upper(&mut b);
    let mut scaled = b[..cols].to_vec();
    let size = norm(&scaled);
    let skew = if size > 0.0 { rss.sqrt() / size } else { 0.0 };
    // The bound on a coefficient's own error: small coefficients suffer from the large ones beside them.
    let least = scaled.iter().fold(f64::INFINITY, |m, z| m.min(z.abs()));
    let spread = if size > 0.0 {
        size / least.max(1e-6 * size)
    } else {
        1.0
    };
    let mut residuals = None;
    if f64::EPSILON * condition * (1.0 + condition * skew) * spread > refine_above {
        let weighted = refine(&qr, x, y, root_weights.as_deref(), &mut scaled);
        rss = weighted.iter().map(|v| v * v).sum();
        residuals = Some(weighted);
    }
    let coef: Vec<f64> = scaled
        .iter()
        .enumerate()
        .map(|(j, z)| z / qr.scale(j))
        .collect();
    let mut fitted = vec![0.0; rows];
    for (column, &c) in x.as_slice().chunks_exact(rows).zip(&coef) {
        fitted.iter_mut().zip(column).for_each(|(f, v)| *f += c * v);
    }
    let mut difference: Vec<f64> = y.iter().zip(&fitted).map(|(y, f)| y - f).collect();
    if let (Some(weighted), None) = (residuals, weights) {
        difference = weighted;
        fitted = y.iter().zip(&difference).map(|(y, r)| y - r).collect();
    }
    assemble(
        Solved {
            coef,
            residuals: difference,
            fitted,
            rss,
            n,
            condition,
            inverse,
        },
        &qr,
        weights,
    )
}

/// What the two precisions have in common, before the by-products are computed.
pub(super) struct Solved {
    pub(super) coef: Vec<f64>,
    pub(super) residuals: Vec<f64>,
    pub(super) fitted: Vec<f64>,
    pub(super) rss: f64,
    pub(super) n: usize,
    pub(super) condition: f64,
    pub(super) inverse: Vec<f64>,
}

pub(super) fn assemble<T: Real>(
    solved: Solved,
    qr: &Qr<T>,
    weights: Option<&[f64]>,
) -> Result<LinearFit, FitError> {
    let Solved {
        coef,
        residuals,
        fitted,
        rss,
        n,
        condition,
        inverse,
    } = solved;
    let (rows, p) = (residuals.len(), coef.len());
    if !coef.iter().chain(&residuals).all(|v| v.is_finite()) || !rss.is_finite() {
        return Err(FitError::OutOfRange);
    }
    let mut root = DMatrix::from_vec(p, p, inverse);
    for (i, mut row) in root.row_iter_mut().enumerate() {
        row /= qr.scale(i);
    }
    let q = DMatrix::from_iterator(rows, p, qr.thin_q().iter().map(|v| v.to_f64()));
    let mut leverage = vec![0.0; rows];
    for column in q.as_slice().chunks_exact(rows) {
        leverage
            .iter_mut()
            .zip(column)
            .for_each(|(h, v)| *h += v * v);
    }
    leverage.iter_mut().for_each(|h| *h = h.clamp(0.0, 1.0));
    let cov_unscaled = outer_square(&root);
    Ok(LinearFit {
        coef,
        cov_unscaled,
        residuals,
        fitted,
        leverage,
        weights: weights.map(<[f64]>::to_vec),
        rss,
        n,
        p,
        condition,
        root,
        q,
    })
}

/// `U U'` of an upper triangular `U`.
fn outer_square(root: &DMatrix<f64>) -> DMatrix<f64> {
    let p = root.nrows();
    let mut square = DMatrix::zeros(p, p);
    for i in 0..p {
        for j in i..p {
            let value: f64 = (j..p).map(|k| root[(i, k)] * root[(j, k)]).sum();
            square[(i, j)] = value;
            square[(j, i)] = value;
        }
    }
    square
}

/// Checks all but the design's entries; gives the number of rows that count.
pub(super) fn check(
    rows: usize,
    cols: usize,
    y: &[f64],
    weights: Option<&[f64]>,
) -> Result<usize, FitError> {
    if y.len() != rows {
        return Err(FitError::DimensionMismatch {
            what: "the observed values",
            found: y.len(),
            expected: rows,
        });
    }
    if cols == 0 {
        return Err(FitError::NoColumns);
    }
    if let Some(row) = y.iter().position(|v| !v.is_finite()) {
        return Err(FitError::ResponseNotFinite { row });
    }
    let mut n = rows;
    if let Some(weights) = weights {
        if weights.len() != rows {
            return Err(FitError::DimensionMismatch {
                what: "the weights",
                found: weights.len(),
                expected: rows,
            });
        }
        if let Some((row, &value)) = weights
            .iter()
            .enumerate()
            .find(|(_, w)| !(w.is_finite() && **w >= 0.0))
        {
            return Err(FitError::BadWeight { row, value });
        }
        n = weights.iter().filter(|w| **w > 0.0).count();
    }
    if n < cols {
        Err(FitError::TooFewRows { n, p: cols })
    } else {
        Ok(n)
    }
}

/// `R⁻¹`, or the columns that keep it from existing.
pub(super) fn checked_inverse<T: Real>(qr: &Qr<T>) -> Result<Vec<T>, FitError> {
    if !qr.is_singular() {
        let inverse = qr.inverse_r();
        // Far from singular: no need to look closer.
        if condition(qr, &inverse) * T::EPSILON < 1e-6 {
            return Ok(inverse);
        }
        let found = rank::of_triangle(qr);
        if found.rank == found.columns {
            return Ok(inverse);
        }
    }
    let found = rank::of_triangle(qr);
    Err(FitError::RankDeficient {
        rank: found.rank,
        p: found.columns,
        groups: found.groups,
    })
}

/// `‖R‖ ‖R⁻¹‖` in the Frobenius norm.
pub(super) fn condition<T: Real>(qr: &Qr<T>, inverse: &[T]) -> f64 {
    let p = (inverse.len() as f64).sqrt().round() as usize;
    let square = |v: f64| v * v;
    let r: f64 = (0..p)
        .map(|j| (0..=j).map(|i| square(qr.r(i, j).to_f64())).sum::<f64>())
        .sum();
    let i: f64 = inverse.iter().map(|v| square(v.to_f64())).sum();
    let product = r.sqrt() * i.sqrt();
    if product.is_finite() {
        product
    } else {
        f64::INFINITY
    }
}

pub(super) fn norm(values: &[f64]) -> f64 {
    values.iter().map(|v| v * v).sum::<f64>().sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(x: &[f64]) -> DMatrix<f64> {
        DMatrix::from_fn(x.len(), 2, |i, j| if j == 0 { 1.0 } else { x[i] })
    }

    #[test]
    fn fewer_rows_than_columns_are_refused_before_anything_is_subtracted() {
        let error = least_squares(&line(&[1.0]), &[1.0], None).unwrap_err();
        assert_eq!(error, FitError::TooFewRows { n: 1, p: 2 });
        let error =
            least_squares(&line(&[1.0, 2.0, 3.0]), &[1.0; 3], Some(&[1.0, 0.0, 0.0])).unwrap_err();
        assert_eq!(error, FitError::TooFewRows { n: 1, p: 2 });
        assert_eq!(
            least_squares(&DMatrix::zeros(3, 0), &[1.0; 3], None).unwrap_err(),
            FitError::NoColumns
        );
        assert!(least_squares(&DMatrix::zeros(0, 2), &[], None).is_err());
    }

    #[test]
    fn entries_that_are_not_numbers_are_refused_with_their_place() {
        let error = least_squares(&line(&[1.0, f64::NAN, 3.0]), &[1.0; 3], None).unwrap_err();
        assert_eq!(error, FitError::NotFinite { row: 1, col: 1 });
        let first = DMatrix::from_column_slice(3, 1, &[1.0, 2.0, f64::NAN]);
        let error = least_squares(&first, &[1.0; 3], None).unwrap_err();
        assert_eq!(error, FitError::NotFinite { row: 2, col: 0 });
        let error =
            least_squares(&line(&[1.0, 2.0, 3.0]), &[1.0, 2.0, f64::INFINITY], None).unwrap_err();
        assert_eq!(error, FitError::ResponseNotFinite { row: 2 });
        let error =
            least_squares(&line(&[1.0, 2.0, 3.0]), &[1.0; 3], Some(&[1.0, -1.0, 1.0])).unwrap_err();
        assert_eq!(
            error,
            FitError::BadWeight {
                row: 1,
                value: -1.0
            }
        );
    }

    #[test]
    fn dependent_columns_are_named_and_others_left_alone() {
        // Columns 0 = 1 + 2, column 3 on its own, 4 = 5.
        let x = DMatrix::from_row_slice(
            6,
            6,
            &[
                1.0, 1.0, 0.0, 0.3, 2.0, 4.0, 1.0, 0.0, 1.0, 0.9, 1.0, 2.0, 1.0, 1.0, 0.0, 0.1,
                5.0, 10.0, 1.0, 0.0, 1.0, 0.4, 4.0, 8.0, 1.0, 1.0, 0.0, 0.5, 7.0, 14.0, 1.0, 0.0,
                1.0, 0.7, 1.5, 3.0,
            ],
        );
        let error = least_squares(&x, &[1.0, 2.0, 3.0, 4.0, 5.0, 7.0], None).unwrap_err();
        assert_eq!(
            error,
            FitError::RankDeficient {
                rank: 4,
                p: 6,
                groups: vec![vec![0, 1, 2], vec![4, 5]]
            }
        );
    }

    #[test]
    fn a_saturated_fit_has_no_scatter_to_speak_of() {
        let fit = least_squares(&line(&[1.0, 2.0]), &[3.0, 5.0], None).unwrap();
        assert_eq!(
            (fit.dof(), fit.sigma2(), fit.covariance(), fit.std_errors()),
            (0, None, None, None)
        );
        assert!((fit.predict(&[1.0, 3.0]) - 7.0).abs() < 1e-12);
        assert!(fit.predict(&[1.0]).is_nan() && fit.mean_variance_factor(&[1.0]).is_nan());
        assert_eq!(
            (fit.press(), fit.aicc(), fit.hc3()),
            (f64::INFINITY, f64::INFINITY, None)
        );
    }

    #[test]
    fn a_row_of_weight_zero_counts_for_nothing_but_is_still_predicted() {
        let (x, y) = (
            [1.0, 2.0, 4.0, 5.0, 6.0, 9.0],
            [1.1, 1.9, 4.2, 4.8, 6.3, 30.0],
        );
        let whole = least_squares(&line(&x), &y, Some(&[2.0, 1.0, 1.0, 0.5, 1.0, 0.0])).unwrap();
        let part =
            least_squares(&line(&x[..5]), &y[..5], Some(&[2.0, 1.0, 1.0, 0.5, 1.0])).unwrap();
        assert_eq!((whole.n, whole.dof()), (5, 3));
        for j in 0..2 {
            assert!((whole.coef[j] - part.coef[j]).abs() < 1e-14);
        }
        assert!((whole.rss - part.rss).abs() < 1e-14 && whole.leverage[5] == 0.0);
        assert!((whole.residuals[5] - (30.0 - part.predict(&[1.0, 9.0]))).abs() < 1e-12);
        assert!(
            (whole.aicc() - part.aicc()).abs() < 1e-12
                && (whole.press() - part.press()).abs() < 1e-12
        );
    }

    #[test]
    fn refinement_keeps_digits_that_the_factorisation_alone_loses() {
        // An exact polynomial in integers: every coefficient is 1.
        let x: Vec<f64> = (0..21).map(f64::from).collect();
        let design = DMatrix::from_fn(21, 6, |i, j| x[i].powi(j as i32));
        let y: Vec<f64> = (0..21).map(|i| design.row(i).sum()).collect();
        let fit = least_squares(&design, &y, None).unwrap();
        for c in &fit.coef {
            assert!((c - 1.0).abs() < 1e-13, "{c}");
        }
    }

    #[test]
    fn extreme_magnitudes_are_scaled_or_refused() {
        let x = [1e-200, 2e-200, 3e-200, 5e-200];
        // The slope would be 1e350.
        assert_eq!(
            least_squares(&line(&x), &[1e150, 2e150, 3e150, 5e150], None).unwrap_err(),
            FitError::OutOfRange
        );
        let fit = least_squares(&line(&[1e180, 2e180, 3e180]), &[1.0, 2.0, 3.0], None).unwrap();
        assert!((fit.coef[1] * 1e180 - 1.0).abs() < 1e-12);
    }

    /// `1 + t` over four places, and far more of what neither column can explain: `apart` × (1, −1, −1, 1), whose sum is nought, as is
    /// that of its products with t.
    fn far_from_its_line(apart: f64) -> LinearFit {
        let t = [20.0, 21.0, 22.0, 23.0];
        let y: Vec<f64> = { t.iter().zip([1.0, -1.0, -1.0, 1.0]) }
            .map(|(t, e)| 1.0 + t + apart * e)
            .collect();
        least_squares(&line(&t), &y, None).unwrap()
    }

    #[test]
    fn large_residuals_do_not_take_the_coefficients_digits() {
        let fit = far_from_its_line(1_048_576.0);
        for c in &fit.coef {
            assert!((c - 1.0).abs() < 1e-14, "{c:e}");
        }
    }

    #[test]
    fn another_unit_changes_no_digit() {
        // Polynomials of degrees 9 to 11, which take several corrections; powers of two, so that nothing is rounded.
        for degree in 9..12 {
            let design = DMatrix::from_fn(21, degree + 1, |i, j| (i as f64).powi(j as i32));
            let in_unit = |unit: f64| -> Vec<f64> {
                let y: Vec<f64> = (0..21)
                    .map(|i| unit * (f64::from((7 * i * i + 3 * i) % 11) + 0.1))
                    .collect();
                let fit = least_squares(&design, &y, None).unwrap();
                fit.coef.iter().map(|c| c / unit).collect()
            };
            assert_eq!(in_unit(2f64.powi(-100)), in_unit(1.0));
            assert_eq!(in_unit(2f64.powi(100)), in_unit(1.0));
        }
    }
}
