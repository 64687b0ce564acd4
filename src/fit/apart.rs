//! Rows that stand apart from a fit, also where several hide each other.

use super::{LinearFit, least_squares};
use crate::stats::student_t;

/// The least degrees of freedom that the rows left must have.
const FEWEST_DOF: usize = 3;

impl LinearFit {
    /// The rows, up to `most`, that stand apart from the fit of all others: each with its distance from that fit over what a further row
    /// would scatter about it, the largest first. `alarm` is the chance that a fit of well-behaved rows names any.
    ///
    /// One wild row is seen by its externally studentised residual; several swell the scatter that each is measured by. So the wildest row is
    /// left out again and again, and all up to the last that was beyond its limit stand apart: the generalised extreme studentised deviate
    /// (B. Rosner, Technometrics 25 (1983) 165; for regression A. S. Paul and K. Y. Fung, Technometrics 33 (1991) 339; from memory).
    pub fn rows_apart(&self, most: usize, alarm: f64) -> Vec<(usize, f64)> {
        let n = self.residuals.len();
        let weighted = |row: usize| self.weight(row).sqrt() * self.residuals[row];
        let y: Vec<f64> = (0..n).map(weighted).collect();
        // The columns of Q span those of the design, and what is left over is what the design left.
        let fit_of = |kept: &[f64]| least_squares(&self.q, &y, Some(kept)).ok();
        let mut kept: Vec<f64> = (0..n)
            .map(|row| f64::from(u8::from(self.weight(row) > 0.0)))
            .collect();
        let mut left_out: Vec<usize> = Vec::new();
        let mut apart = 0;
        while left_out.len() < most {
            let Some(fit) = fit_of(&kept).filter(|f| f.dof() > FEWEST_DOF) else {
                break;
            };
            let far = fit.studentised_external().into_iter().enumerate();
            let wildest = far
                .filter_map(|(row, t)| Some((row, t?.abs())))
                .filter(|(row, _)| kept[*row] > 0.0)
                .max_by(|a, b| a.1.total_cmp(&b.1));
            let Some((row, t)) = wildest else { break };
            left_out.push(row);
            kept[row] = 0.0;
            if t > limit(alarm, fit.n, fit.dof()) {
                apart = left_out.len();
            }
        }
        for row in left_out.drain(apart..) {
            kept[row] = 1.0;
        }
        let Some(fit) = fit_of(&kept) else {
            return Vec::new();
        };
        let sd = fit.residual_sd().unwrap_or(0.0);
        let distance = |row: &usize| {
            let design: Vec<f64> = self.q.row(*row).iter().copied().collect();
            let spread = sd * (1.0 + fit.mean_variance_factor(&design)).sqrt();
            (*row, fit.residuals[*row] / spread)
        };
        let mut list: Vec<(usize, f64)> = left_out.iter().map(distance).collect();
        list.sort_by(|a, b| b.1.abs().total_cmp(&a.1.abs()));
        list
    }
}

/// From which externally studentised residual, either way, one of `n` rows stands apart from a fit that leaves `dof` ≥ 2 degrees of freedom:
/// Student's t, Bonferroni over the rows (Cook and Weisberg 1982, ch. 2.2).
fn limit(alarm: f64, n: usize, dof: usize) -> f64 {
    student_t::upper_quantile(alarm / (2.0 * n as f64), (dof - 1) as f64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::DMatrix;

    #[test]
    fn a_row_stands_apart_from_a_limit_of_one_degree_fewer() {
        // One run in a thousand of ten, either way 0.0005: t of seven degrees is 5.408 (tables); of eight it would be 5.041.
        assert!((limit(0.01, 10, 8) - 5.407_882_520_9).abs() < 1e-8);
        // 0.00025 with twelve degrees (scipy 1.17).
        assert!((limit(0.01, 20, 13) - 4.716_458_661_6).abs() < 1e-8);
    }

    /// Rosner's example (Technometrics 25 (1983) 165), as reprinted in NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.3 (from
    /// memory; the handbook's answer, three outliers at 5 %, too).
    const ROSNER: [f64; 54] = [
        -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56, 1.58,
        1.65, 1.69, 1.70, 1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10, 2.14, 2.15,
        2.23, 2.24, 2.26, 2.35, 2.37, 2.40, 2.47, 2.54, 2.62, 2.64, 2.90, 2.92, 2.92, 2.93, 3.21,
        3.26, 3.30, 3.59, 3.68, 4.30, 4.64, 5.34, 5.42, 6.01,
    ];

    fn mean_of(values: &[f64]) -> LinearFit {
        let x = DMatrix::from_element(values.len(), 1, 1.0);
        least_squares(&x, values, None).unwrap()
    }

    #[test]
    fn rosners_three_values_stand_apart_together() {
        let fit = mean_of(&ROSNER);
        let found: Vec<usize> = fit.rows_apart(10, 0.05).iter().map(|r| r.0).collect();
        assert_eq!(found, [53, 52, 51]);
        // The handbook prints (from memory; worked again with the mean and standard deviation of what is left) R 3.119, 2.943, 3.179, 2.810, 2.816 … against 3.159, 3.151, 3.144, 3.136, 3.128: the first two alone would not do.
        assert!(fit.rows_apart(2, 0.05).is_empty());
        assert!(fit.rows_apart(0, 0.05).is_empty());
    }

    #[test]
    fn distances_are_those_from_the_fit_of_the_others() {
        let fit = mean_of(&ROSNER);
        let others = &ROSNER[..51];
        let mean = others.iter().sum::<f64>() / 51.0;
        let variance = others.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / 50.0;
        for ((row, t), value) in fit.rows_apart(10, 0.05).iter().zip([6.01, 5.42, 5.34]) {
            let by_hand = (value - mean) / (variance * (1.0 + 1.0 / 51.0)).sqrt();
            assert!((t - by_hand).abs() < 1e-9, "{row}: {t}, not {by_hand}");
        }
    }

    #[test]
    fn weights_and_rows_without_any_are_kept() {
        // A line, a weight of its own for each row; two rows off by the same at one end, one beside them of weight zero.
        let n = 30;
        let x = DMatrix::from_fn(n, 2, |i, j| if j == 0 { 1.0 } else { i as f64 });
        let weights: Vec<f64> = (0..n)
            .map(|i| if i == 27 { 0.0 } else { 1.0 + (i % 3) as f64 })
            .collect();
        let off = |i: usize| if i >= 27 { 0.6 } else { 0.0 };
        let zigzag = |i: usize| 0.02 * ((i * 7) % 5) as f64 - 0.04;
        let y: Vec<f64> = (0..n)
            .map(|i| 3.0 + 0.1 * i as f64 + off(i) + zigzag(i))
            .collect();
        let fit = least_squares(&x, &y, Some(&weights)).unwrap();
        let mut found: Vec<usize> = fit.rows_apart(5, 0.01).iter().map(|r| r.0).collect();
        found.sort_unstable();
        assert_eq!(found, [28, 29]);
        // A perfect line names none, and neither do too few rows.
        let line: Vec<f64> = (0..n).map(|i| 3.0 + i as f64).collect();
        assert!(
            least_squares(&x, &line, None)
                .unwrap()
                .rows_apart(5, 0.01)
                .is_empty()
        );
        assert!(mean_of(&[1.0, 1.1, 9.0]).rows_apart(2, 0.01).is_empty());
    }
}
