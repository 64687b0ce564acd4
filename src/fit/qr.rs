//! Householder factorisation of a design matrix with scaled columns, in double or doubled precision.

use super::real::Real;

/// `A S⁻¹ = Q R`: `A` is n × p with n ≥ p, `S` holds powers of two that bring every column to a norm near 1.
///
/// Reflectors after A. S. Householder (1958), as in G. H. Golub and C. F. Van Loan, *Matrix Computations*, 5.2.
pub(crate) struct Qr<T> {
    rows: usize,
    cols: usize,
    /// Column-major: above the diagonal `R`, from the diagonal down the reflectors.
    factors: Vec<T>,
    /// 2 / (v' v) of each reflector `v`; zero where a column vanished.
    beta: Vec<T>,
    /// The diagonal of `R`.
    diagonal: Vec<T>,
    /// The power of two by which each column was divided.
    scale: Vec<f64>,
}

/// The power of two next below `value`, kept within the range in which its inverse and its products with numbers near 1
/// exist; 1 for zero and for anything not finite.
pub(crate) fn power_of_two(value: f64) -> f64 {
    if value > 0.0 && value.is_finite() {
        // Clearing the fraction leaves the exponent alone.
        f64::from_bits(value.to_bits() & (0x7ff << 52)).clamp(2f64.powi(-1000), 2f64.powi(990))
    } else {
        1.0
    }
}

/// The power of two next below the norm of a column.
fn power_of_two_below_norm<T: Real>(column: &[T]) -> f64 {
    let square = dot(column, column).to_f64();
    if (1e-250..1e250).contains(&square) {
        return power_of_two(square.sqrt());
    }
    // By the largest entry first: squares of entries near 1e200 overflow, those of small ones vanish.
    let largest = column.iter().fold(0.0_f64, |m, v| m.max(v.abs().to_f64()));
    let first = power_of_two(largest);
    let sum: f64 = column.iter().map(|v| (v.to_f64() / first).powi(2)).sum();
    first * power_of_two(sum.sqrt())
}

/// The inner product, in four sums side by side: a single one would wait for each addition to end.
pub(crate) fn dot<T: Real>(a: &[T], b: &[T]) -> T {
    let mut sums = [T::from_f64(0.0); 4];
    let (a_fours, b_fours) = (a.chunks_exact(4), b.chunks_exact(4));
    let rest = a_fours.remainder().iter().zip(b_fours.remainder());
    let rest = rest.fold(T::from_f64(0.0), |sum, (&x, &y)| sum + x * y);
    for (x, y) in a_fours.zip(b_fours) {
        for k in 0..4 {
            sums[k] = sums[k] + x[k] * y[k];
        }
    }
    ((sums[0] + sums[1]) + (sums[2] + sums[3])) + rest
}

/// `target += factor * direction`.
fn add_multiple<T: Real>(target: &mut [T], factor: T, direction: &[T]) {
    for (t, &d) in target.iter_mut().zip(direction) {
        *t = *t + factor * d;
    }
}

impl<T: Real> Qr<T> {
    /// Factors the column-major matrix `a` of `rows` × `cols`, `rows ≥ cols ≥ 1`, all entries finite.
    pub(crate) fn new(mut a: Vec<T>, rows: usize, cols: usize) -> Self {
        debug_assert!(rows >= cols && a.len() == rows * cols);
        let mut scale = Vec::with_capacity(cols);
        for column in a.chunks_exact_mut(rows) {
            let size = power_of_two_below_norm(column);
            let inverse = T::from_f64(1.0 / size);
            column.iter_mut().for_each(|v| *v = *v * inverse);
            scale.push(size);
        }
        let zero = T::from_f64(0.0);
        let (mut beta, mut diagonal) = (vec![zero; cols], vec![zero; cols]);
        for k in 0..cols {
            let (done, rest) = a.split_at_mut((k + 1) * rows);
            let v = &mut done[k * rows + k..];
            let norm = dot(v, v).sqrt();
            // Columns have norms near 1: what is left of this one is far below its rounding, and its square would
            // leave the range of a double.
            if norm.to_f64() > 1e-140 {
                let lead = v[0];
                let signed = if lead < zero { -norm } else { norm };
                v[0] = lead + signed;
                diagonal[k] = -signed;
                beta[k] = T::from_f64(1.0) / (norm * (norm + lead.abs()));
                for column in rest.chunks_exact_mut(rows) {
                    let tail = &mut column[k..];
                    let factor = -(beta[k] * dot(v, tail));
                    add_multiple(tail, factor, v);
                }
            }
        }
        Self {
            rows,
            cols,
            factors: a,
            beta,
            diagonal,
            scale,
        }
    }

    fn reflector(&self, k: usize) -> &[T] {
        &self.factors[k * self.rows + k..(k + 1) * self.rows]
    }

    fn reflect(&self, k: usize, vector: &mut [T]) {
        let (v, tail) = (self.reflector(k), &mut vector[k..]);
        let factor = -(self.beta[k] * dot(v, tail));
        add_multiple(tail, factor, v);
    }

    /// `vector ← Q' vector`, of length n.
    pub(crate) fn apply_transposed(&self, vector: &mut [T]) {
        (0..self.cols).for_each(|k| self.reflect(k, vector));
    }

    /// `vector ← Q vector`, of length n.
    pub(crate) fn apply(&self, vector: &mut [T]) {
        (0..self.cols).rev().for_each(|k| self.reflect(k, vector));
    }

    /// Number of rows of the matrix.
    pub(crate) fn rows(&self) -> usize {
        self.rows
    }

    /// Number of columns of the matrix.
    pub(crate) fn columns(&self) -> usize {
        self.cols
    }

    /// Entry (i, j) of `R`, i ≤ j.
    pub(crate) fn r(&self, i: usize, j: usize) -> T {
        if i == j {
            self.diagonal[i]
        } else {
            self.factors[j * self.rows + i]
        }
    }

    /// The factor by which column `j` was divided.
    pub(crate) fn scale(&self, j: usize) -> f64 {
        self.scale[j]
    }

    /// Whether a pivot is exactly zero, so that `R` has no inverse.
    pub(crate) fn is_singular(&self) -> bool {
        self.diagonal.iter().any(|d| d.to_f64() == 0.0)
    }

    /// Solves `R z = right` in place of the first p entries of `right`.
    pub(crate) fn solve_upper(&self, right: &mut [T]) {
        for j in (0..self.cols).rev() {
            right[j] = right[j] / self.diagonal[j];
            let value = right[j];
            add_multiple(
                &mut right[..j],
                -value,
                &self.factors[j * self.rows..j * self.rows + j],
            );
        }
    }

    /// Solves `R' z = right` in place of the first p entries of `right`.
    pub(crate) fn solve_upper_transposed(&self, right: &mut [T]) {
        for j in 0..self.cols {
            let above = dot(&self.factors[j * self.rows..j * self.rows + j], &right[..j]);
            right[j] = (right[j] - above) / self.diagonal[j];
        }
    }

    /// `R⁻¹`, column-major p × p, upper triangular.
    pub(crate) fn inverse_r(&self) -> Vec<T> {
        let p = self.cols;
        let mut inverse = vec![T::from_f64(0.0); p * p];
        for j in 0..p {
            let column = &mut inverse[j * p..(j + 1) * p];
            column[j] = T::from_f64(1.0);
            for k in (0..=j).rev() {
                column[k] = column[k] / self.diagonal[k];
                let value = column[k];
                add_multiple(
                    &mut column[..k],
                    -value,
                    &self.factors[k * self.rows..k * self.rows + k],
                );
            }
        }
        inverse
    }

    /// The first p columns of `Q`, column-major n × p.
    pub(crate) fn thin_q(&self) -> Vec<T> {
        let mut q = vec![T::from_f64(0.0); self.rows * self.cols];
        for (j, column) in q.chunks_exact_mut(self.rows).enumerate() {
            column[j] = T::from_f64(1.0);
            // Reflector k > j leaves the j-th unit vector alone.
            (0..=j).rev().for_each(|k| self.reflect(k, column));
        }
        q
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn powers_of_two_are_exact_and_have_inverses() {
        for (value, power) in [
            (1.0, 1.0),
            (1.9, 1.0),
            (0.3, 0.25),
            (1e3, 512.0),
            (0.0, 1.0),
            (f64::NAN, 1.0),
        ] {
            assert_eq!(power_of_two(value), power);
        }
        for value in [f64::MIN_POSITIVE, 5e-324, f64::MAX, 1e-300] {
            let power = power_of_two(value);
            assert!(power.log2().fract() == 0.0 && power.is_normal() && power.recip().is_normal());
        }
    }

    #[test]
    fn the_factors_give_the_matrix_back() {
        let (rows, cols) = (5, 3);
        let a: Vec<f64> = (0..15)
            .map(|k| f64::from((k * 7) % 11) * 10f64.powi(k / 5))
            .collect();
        let qr = Qr::new(a.clone(), rows, cols);
        let q = qr.thin_q();
        for j in 0..cols {
            for i in 0..rows {
                let product: f64 = (0..=j)
                    .map(|k| q[k * rows + i] * qr.r(k, j) * qr.scale(j))
                    .sum();
                let size = 11.0 * 10f64.powi(j as i32);
                assert!(
                    (product - a[j * rows + i]).abs() < 1e-14 * size,
                    "{product}"
                );
            }
        }
    }

    #[test]
    fn the_norm_of_a_column_beyond_the_range_of_squares_is_found() {
        // Sixteen entries of 1e±200: four times as long.
        for entry in [1e200, 1e-200] {
            let power = power_of_two_below_norm(&[entry; 16]);
            assert!(
                (1.0..2.0).contains(&(4.0 * entry / power)),
                "{entry} {power}"
            );
        }
    }
}
