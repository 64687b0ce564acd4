//! What a linear fit says about its rows and about itself: leave-one-out, studentised residuals, influence,
//! information criteria, covariance that does not trust the weights.

use nalgebra::DMatrix;

use super::linear::LinearFit;

/// A leverage this close to 1 means that the row alone decides one coefficient: without it there is no fit.
const FULL_LEVERAGE: f64 = 1.0 - 1e-10;

/// About what the total sum of squares is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TotalAbout {
    /// The weighted mean of `y`: for designs that contain a constant.
    Mean,
    /// Zero: for designs without a constant.
    Zero,
}

impl LinearFit {
    /// `yᵢ` minus what the fit to all other rows says there, `eᵢ / (1 − hᵢ)`; infinite where the other rows cannot
    /// carry the fit. Not weighted.
    pub fn loo_residuals(&self) -> Vec<f64> {
        let one = |(&e, &h): (&f64, &f64)| {
            if h > FULL_LEVERAGE {
                f64::INFINITY
            } else {
                e / (1.0 - h)
            }
        };
        self.residuals.iter().zip(&self.leverage).map(one).collect()
    }

    /// Weighted sum of squared leave-one-out residuals; infinite where a row cannot be left out.
    ///
    /// D. M. Allen, Technometrics 16 (1974) 125.
    pub fn press(&self) -> f64 {
        let term = |(row, e): (usize, f64)| {
            if self.weight(row) > 0.0 {
                self.weight(row) * e * e
            } else {
                0.0
            }
        };
        self.loo_residuals().into_iter().enumerate().map(term).sum()
    }

    /// What is observed in `rows` minus what the fit to all *other* rows says there, in the order of `rows`; `None`
    /// where the others cannot carry the fit or a row number is out of range or repeated.
    ///
    /// `(I − H)⁻¹ e` with `H` the block of the hat matrix: no refit is made.
    pub fn leave_out(&self, rows: &[usize]) -> Option<Vec<f64>> {
        let m = rows.len();
        let root = |row: usize| self.weight(row).sqrt();
        if rows
            .iter()
            .enumerate()
            .any(|(k, &row)| row >= self.residuals.len() || rows[..k].contains(&row))
        {
            return None;
        }
        let block = DMatrix::from_fn(m, m, |i, j| {
            let hat: f64 = self.q.row(rows[i]).dot(&self.q.row(rows[j]));
            if i == j { 1.0 - hat } else { -hat }
        });
        let right = DMatrix::from_fn(m, 1, |i, _| root(rows[i]) * self.residuals[rows[i]]);
        let factor = block.cholesky()?;
        if factor
            .l_dirty()
            .diagonal()
            .iter()
            .any(|d| d * d < 1.0 - FULL_LEVERAGE)
        {
            return None;
        }
        let solved = factor.solve(&right);
        let unweigh = |(k, &row): (usize, &usize)| {
            if root(row) > 0.0 {
                solved[k] / root(row)
            } else {
                self.residuals[row]
            }
        };
        Some(rows.iter().enumerate().map(unweigh).collect())
    }

    /// Leave-one-group-out residuals, one a row: `group[i]` names the group of row i (a run, a block), and all rows
    /// of a group are left out together. Infinite where the other groups cannot carry the fit.
    /// `None` where `group` has another length than the fit has rows.
    pub fn leave_group_out<G: PartialEq>(&self, group: &[G]) -> Option<Vec<f64>> {
        if group.len() != self.residuals.len() {
            return None;
        }
        let mut result = vec![f64::NAN; group.len()];
        for first in 0..group.len() {
            if !result[first].is_nan() {
                continue;
            }
            let rows: Vec<usize> = (first..group.len())
                .filter(|&i| group[i] == group[first])
                .collect();
            let errors = self
                .leave_out(&rows)
                .unwrap_or_else(|| vec![f64::INFINITY; rows.len()]);
            rows.iter()
                .zip(errors)
                .for_each(|(&row, e)| result[row] = e);
        }
        Some(result)
    }

    /// Internally studentised residuals `eᵢ √wᵢ / (s √(1 − hᵢ))`; `None` where not defined (no degrees of freedom,
    /// no scatter, or a row that decides a coefficient alone).
    pub fn studentised(&self) -> Vec<Option<f64>> {
        let s = self.residual_sd().unwrap_or(0.0);
        let one = |row: usize| {
            let h = self.leverage[row];
            (s > 0.0 && h <= FULL_LEVERAGE)
                .then(|| self.residuals[row] * self.weight(row).sqrt() / (s * (1.0 - h).sqrt()))
        };
        (0..self.residuals.len()).map(one).collect()
    }

    /// Externally studentised residuals: the scatter is taken from the other rows alone. They follow Student's t with
    /// dof − 1 degrees of freedom. `None` where not defined; infinite where the others lie exactly on the fit.
    ///
    /// R. D. Cook and S. Weisberg, *Residuals and Influence in Regression* (1982), 2.2.
    pub fn studentised_external(&self) -> Vec<Option<f64>> {
        let dof = self.dof() as f64;
        let one = |r: Option<f64>| {
            let r = r?;
            (dof > 1.0).then(|| {
                let rest = (dof - r * r).max(0.0);
                if rest > 0.0 {
                    r * ((dof - 1.0) / rest).sqrt()
                } else {
                    r.signum() * f64::INFINITY
                }
            })
        };
        self.studentised().into_iter().map(one).collect()
    }

    /// Cook's distance: how far all fitted values move, in units of p s², when a row is left out. `None` where not
    /// defined. R. D. Cook, Technometrics 19 (1977) 15.
    pub fn cook_distance(&self) -> Vec<Option<f64>> {
        let p = self.p as f64;
        let one = |(r, &h): (Option<f64>, &f64)| r.map(|r| r * r * h / (p * (1.0 - h)));
        self.studentised()
            .into_iter()
            .zip(&self.leverage)
            .map(one)
            .collect()
    }

    /// Covariance of the coefficients that holds when the rows' variances differ in an unknown way: each row's own
    /// squared leave-one-out residual stands for its variance ("HC3"; J. G. MacKinnon and H. White, J. Econometrics 29
    /// (1985) 305). `None` where a row cannot be left out.
    pub fn hc3(&self) -> Option<DMatrix<f64>> {
        if self.leverage.iter().any(|h| *h > FULL_LEVERAGE) {
            return None;
        }
        let mut scaled = self.q.clone();
        for (row, mut entries) in scaled.row_iter_mut().enumerate() {
            entries *= self.weight(row).sqrt() * self.residuals[row] / (1.0 - self.leverage[row]);
        }
        let half = &self.root * scaled.transpose();
        Some(&half * half.transpose())
    }

    /// `Σ ln wᵢ` over the rows that count.
    fn log_weights(&self) -> f64 {
        self.weights
            .iter()
            .flatten()
            .filter(|w| **w > 0.0)
            .map(|w| w.ln())
            .sum()
    }

    /// Gaussian log-likelihood at its maximum, `−(n/2)(ln 2π + ln(rss/n) + 1) + ½ Σ ln wᵢ`; infinite for an exact fit.
    pub fn log_likelihood(&self) -> f64 {
        log_likelihood(self.n, self.rss, self.log_weights())
    }

    /// Number of quantities estimated: the coefficients and the error variance, k = p + 1.
    fn estimated(&self) -> f64 {
        self.p as f64 + 1.0
    }

    /// Akaike's criterion, `−2 ln L + 2k` with k = p + 1.
    pub fn aic(&self) -> f64 {
        -2.0 * self.log_likelihood() + 2.0 * self.estimated()
    }

    /// Akaike's criterion with its small-sample correction, `n ln(rss/n) + n(1 + ln 2π) − Σ ln wᵢ + 2k + 2k(k+1)/(n−k−1)`
    /// with k = p + 1. Infinite where n − k − 1 ≤ 0: so few rows cannot support the comparison.
    ///
    /// C. M. Hurvich and C.-L. Tsai, Biometrika 76 (1989) 297.
    pub fn aicc(&self) -> f64 {
        gaussian_aicc(self.n, self.p, self.rss, self.log_weights())
    }

    /// Schwarz's criterion, `−2 ln L + k ln n` with k = p + 1.
    pub fn bic(&self) -> f64 {
        -2.0 * self.log_likelihood() + self.estimated() * (self.n as f64).ln()
    }

    /// Weighted total sum of squares of `y`.
    pub fn total_ss(&self, about: TotalAbout) -> f64 {
        let y = || {
            self.residuals
                .iter()
                .zip(&self.fitted)
                .enumerate()
                .map(|(row, (e, f))| (self.weight(row), e + f))
        };
        let centre = match about {
            TotalAbout::Zero => 0.0,
            TotalAbout::Mean => {
                let (sum, weight) = y().fold((0.0, 0.0), |(s, t), (w, v)| (s + w * v, t + w));
                // A second pass takes the rounding out of the first.
                let mean = sum / weight;
                mean + y().map(|(w, v)| w * (v - mean)).sum::<f64>() / weight
            }
        };
        y().map(|(w, v)| w * (v - centre).powi(2)).sum()
    }

    /// Share of the total sum of squares that the fit takes up, 1 − rss/total; `None` where `y` does not vary.
    pub fn r_squared(&self, about: TotalAbout) -> Option<f64> {
        let total = self.total_ss(about);
        (total > 0.0).then(|| 1.0 - self.rss / total)
    }
}

fn log_likelihood(n: usize, rss: f64, log_weights: f64) -> f64 {
    let n = n as f64;
    -0.5 * n * (std::f64::consts::TAU.ln() + (rss / n).ln() + 1.0) + 0.5 * log_weights
}

/// Akaike's criterion with small-sample correction for `p` coefficients and an error variance; infinite where
/// n − p − 2 ≤ 0.
pub(super) fn gaussian_aicc(n: usize, p: usize, rss: f64, log_weights: f64) -> f64 {
    let (rows, k) = (n as f64, p as f64 + 1.0);
    let left = rows - k - 1.0;
    if left <= 0.0 {
        return f64::INFINITY;
    }
    -2.0 * log_likelihood(n, rss, log_weights) + 2.0 * k + 2.0 * k * (k + 1.0) / left
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::least_squares;

    /// A made-up weighted problem with uneven leverage.
    fn problem() -> (DMatrix<f64>, Vec<f64>, Vec<f64>) {
        let x = [0.0, 0.4, 1.0, 1.1, 2.0, 3.5, 3.6, 9.0];
        let y = vec![1.0, 1.3, 2.2, 1.7, 3.3, 4.1, 4.9, 9.5];
        let w = vec![1.0, 2.0, 0.5, 1.0, 4.0, 1.0, 1.0, 0.2];
        (
            DMatrix::from_fn(8, 3, |i, j| f64::powi(x[i], j as i32)),
            y,
            w,
        )
    }

    fn without(rows: &[usize]) -> LinearFit {
        let (x, y, w) = problem();
        let keep: Vec<usize> = (0..8).filter(|i| !rows.contains(i)).collect();
        let pick = |v: &[f64]| keep.iter().map(|&i| v[i]).collect::<Vec<_>>();
        least_squares(&x.select_rows(&keep), &pick(&y), Some(&pick(&w))).unwrap()
    }

    #[test]
    fn leaving_out_agrees_with_refitting() {
        let (x, y, w) = problem();
        let fit = least_squares(&x, &y, Some(&w)).unwrap();
        for (row, error) in fit.loo_residuals().into_iter().enumerate() {
            let there: Vec<f64> = x.row(row).iter().copied().collect();
            assert!((error - (y[row] - without(&[row]).predict(&there))).abs() < 1e-11);
        }
        let pair = [1, 6];
        let group = ["a", "b", "c", "d", "e", "f", "b", "g"];
        let errors = fit.leave_group_out(&group).unwrap();
        for row in pair {
            let there: Vec<f64> = x.row(row).iter().copied().collect();
            assert!((errors[row] - (y[row] - without(&pair).predict(&there))).abs() < 1e-11);
        }
        assert_eq!(fit.leave_out(&[0, 1, 2, 3, 4, 5]), None);
        assert_eq!((fit.leave_out(&[8]), fit.leave_out(&[1, 1])), (None, None));
    }

    #[test]
    fn studentising_externally_uses_the_scatter_of_the_other_rows() {
        let (x, y, w) = problem();
        let fit = least_squares(&x, &y, Some(&w)).unwrap();
        let inner = fit.studentised();
        for (row, outer) in fit.studentised_external().into_iter().enumerate() {
            let ratio = fit.residual_sd().unwrap() / without(&[row]).residual_sd().unwrap();
            assert!((outer.unwrap() - inner[row].unwrap() * ratio).abs() < 1e-10);
        }
    }

    #[test]
    fn a_row_off_an_otherwise_exact_fit_stands_infinitely_far_out() {
        // y ≈ b x through (3, 25), (4, 0) and three rows at 0: b = 3, residuals 16 and −12, s² = 400/4, leverage 9/25: 16/(10 × 0.8) = 2,
        // whose square is all four degrees of freedom: without that row the others lie on y = 0.
        let x = DMatrix::from_column_slice(5, 1, &[3.0, 4.0, 0.0, 0.0, 0.0]);
        for sign in [1.0, -1.0] {
            let fit = least_squares(&x, &[sign * 25.0, 0.0, 0.0, 0.0, 0.0], None).unwrap();
            let outer = fit.studentised_external();
            assert_eq!(
                outer[0],
                Some(sign * f64::INFINITY),
                "{:?}",
                fit.studentised()
            );
            assert_eq!(outer[2], Some(0.0));
        }
    }

    #[test]
    fn the_total_sum_of_squares_keeps_the_last_digits_of_large_values() {
        // 10^10 + k u for k from −20 to 80, u = 2^−19 the last digit of a double there: their mean is 10^10 + 30 u, the sum of
        // (k − 30)² = 2 (1² + … + 50²) = 85 850. Rows that weigh ½ give half of it. One pass over the values is 2 % off.
        let u = 2f64.powi(-19);
        let y: Vec<f64> = (-20..=80).map(|k| 1e10 + f64::from(k) * u).collect();
        let one = DMatrix::from_element(101, 1, 1.0);
        for weight in [1.0, 0.5] {
            let fit = least_squares(&one, &y, Some(&[weight; 101])).unwrap();
            let total = fit.total_ss(TotalAbout::Mean) / (weight * u * u);
            assert!((total / 85_850.0 - 1.0).abs() < 5e-4, "{total}");
        }
    }

    #[test]
    fn values_that_do_not_vary_have_no_share_to_explain() {
        let fit = least_squares(&DMatrix::from_element(3, 1, 1.0), &[0.0; 3], None).unwrap();
        assert_eq!(fit.r_squared(TotalAbout::Zero), None);
        assert_eq!(fit.r_squared(TotalAbout::Mean), None);
    }
}
