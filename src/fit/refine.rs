//! Iterative refinement of a linear fit with sums in doubled precision.

use nalgebra::DMatrix;

use super::linear::norm;
use super::qr::Qr;
use super::real::{DoubleDouble, Real};

/// Improves the scaled coefficients in place; gives the weighted residuals that belong to them.
pub(super) fn refine(
    qr: &Qr<f64>,
    x: &DMatrix<f64>,
    y: &[f64],
    root_weights: Option<&[f64]>,
    scaled: &mut [f64],
) -> Vec<f64> {
    let (rows, cols) = x.shape();
    let root = |row: usize| DoubleDouble::from_f64(root_weights.map_or(1.0, |w| w[row]));
    let mut residual = vec![0.0; rows];
    let mut last = f64::INFINITY;
    for round in 0..6 {
        // What is left of the two equations r + A z = b and A' r = 0.
        let mut sums: Vec<DoubleDouble> = y.iter().map(|&v| DoubleDouble::from_f64(v)).collect();
        let mut slope = vec![0.0; cols];
        for (j, column) in x.as_slice().chunks_exact(rows).enumerate() {
            let coefficient = scaled[j] / qr.scale(j);
            let mut against = DoubleDouble::from_f64(0.0);
            for (row, &value) in column.iter().enumerate() {
                sums[row] = sums[row] - DoubleDouble::from_product(value, coefficient);
                let term = DoubleDouble::from_product(value, residual[row]);
                against = against
                    + if root_weights.is_some() {
                        term * root(row)
                    } else {
                        term
                    };
            }
            slope[j] = -against.to_f64() / qr.scale(j);
        }
        let mut first: Vec<f64> = (0..rows)
            .map(|row| (sums[row] * root(row) - DoubleDouble::from_f64(residual[row])).to_f64())
            .collect();
        // [I A; A' 0] [dr; dz] = [first; slope], through A = Q R.
        qr.apply_transposed(&mut first);
        qr.solve_upper_transposed(&mut slope);
        let mut step: Vec<f64> = (0..cols).map(|j| first[j] - slope[j]).collect();
        qr.solve_upper(&mut step);
        first[..cols].copy_from_slice(&slope);
        qr.apply(&mut first);

        let size = norm(&step);
        if !size.is_finite() || size > last {
            break;
        }
        scaled.iter_mut().zip(&step).for_each(|(z, s)| *z += s);
        residual.iter_mut().zip(&first).for_each(|(r, d)| *r += d);
        // The first round finds the residuals; only then can the size of its step be compared.
        last = if round == 0 { f64::INFINITY } else { size };
        // Coefficient by coefficient: small ones gain digits after the large ones have theirs.
        let settled = scaled
            .iter()
            .zip(&step)
            .all(|(z, s)| s.abs() <= f64::EPSILON * z.abs());
        if round > 0 && settled {
            break;
        }
    }
    residual
}
