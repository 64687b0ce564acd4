//! Linear least squares in doubled precision.

use super::error::FitError;
use super::linear::{LinearFit, Solved, assemble, check, checked_inverse, condition};
use super::qr::Qr;
use super::real::{DoubleDouble, Real};

/// As [`least_squares`](super::least_squares), with every step in doubled precision (about 31 digits): for designs so nearly collinear, such
/// as tenth powers of one variable, that double precision leaves few digits.
///
/// `columns` holds p columns of n entries each. About 30 times slower.
///
/// # Errors
/// As [`least_squares`](super::least_squares); columns are refused as dependent only where doubled precision cannot tell them apart.
pub fn least_squares_extended(
    columns: &[Vec<DoubleDouble>],
    y: &[DoubleDouble],
    weights: Option<&[f64]>,
) -> Result<LinearFit, FitError> {
    let (rows, cols) = (y.len(), columns.len());
    let rounded: Vec<f64> = y.iter().map(|v| v.to_f64()).collect();
    for (col, column) in columns.iter().enumerate() {
        if column.len() != rows {
            return Err(FitError::DimensionMismatch {
                what: "a column of the design",
                found: column.len(),
                expected: rows,
            });
        }
        if let Some(row) = column.iter().position(|v| !v.to_f64().is_finite()) {
            return Err(FitError::NotFinite { row, col });
        }
    }
    let n = check(rows, cols, &rounded, weights)?;
    let root = |row: usize| DoubleDouble::from_f64(weights.map_or(1.0, |w| w[row])).sqrt();
    let weigh = |values: &[DoubleDouble]| -> Vec<DoubleDouble> {
        values
            .iter()
            .enumerate()
            .map(|(row, &v)| if weights.is_some() { v * root(row) } else { v })
            .collect()
    };
    let qr = Qr::new(columns.iter().flat_map(|c| weigh(c)).collect(), rows, cols);
    let inverse = checked_inverse(&qr)?;
    let condition = condition(&qr, &inverse);
    let mut b = weigh(y);
    qr.apply_transposed(&mut b);
    let zero = DoubleDouble::from_f64(0.0);
    let rss = b[cols..].iter().fold(zero, |sum, &v| sum + v * v).to_f64();
    qr.solve_upper(&mut b);
    let exact: Vec<DoubleDouble> = (0..cols)
        .map(|j| b[j] * DoubleDouble::from_f64(1.0 / qr.scale(j)))
        .collect();
    let (mut residuals, mut fitted) = (Vec::with_capacity(rows), Vec::with_capacity(rows));
    for (row, &value) in y.iter().enumerate() {
        let mean = columns
            .iter()
            .zip(&exact)
            .fold(zero, |sum, (c, &b)| sum + c[row] * b);
        residuals.push((value - mean).to_f64());
        fitted.push(mean.to_f64());
    }
    let coef = exact.iter().map(|c| c.to_f64()).collect();
    let inverse = inverse.iter().map(|v| v.to_f64()).collect();
    assemble(
        Solved {
            coef,
            residuals,
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
