//! Variable projection: parameters that enter linearly are solved for, the others searched.

use super::problem::Residuals;
use crate::fit::qr::Qr;

/// The sum of squares as a function of the nonlinear parameters alone, the linear ones being at their best for each.
///
/// G. H. Golub and V. Pereyra, SIAM J. Numer. Anal. 10 (1973) 413; derivatives in L. Kaufman's form, BIT 15 (1975) 49:
/// their gradient is exact.
pub(super) struct Projected<'r, R> {
    inner: &'r R,
    linear: Vec<usize>,
    nonlinear: Vec<usize>,
}

/// The linear problem at given nonlinear parameters, factored.
struct Solved {
    qr: Qr<f64>,
    /// All parameters, the linear ones at their best.
    full: Vec<f64>,
    /// `Q'` times the residuals with linear parameters zero.
    rotated: Vec<f64>,
}

impl<'r, R: Residuals> Projected<'r, R> {
    /// `None` where all parameters, or none, are linear, or where there are fewer observations than parameters.
    pub(super) fn new(inner: &'r R, linear: &[bool]) -> Option<Self> {
        if linear.len() != inner.parameters() || inner.observations() < inner.parameters() {
            return None;
        }
        let (linear, nonlinear): (Vec<usize>, Vec<usize>) =
            (0..linear.len()).partition(|&j| linear[j]);
        (!linear.is_empty() && !nonlinear.is_empty()).then_some(Self {
            inner,
            linear,
            nonlinear,
        })
    }

    /// The nonlinear ones of all parameters.
    pub(super) fn pick(&self, values: &[f64]) -> Vec<f64> {
        self.nonlinear
            .iter()
            .filter_map(|&j| values.get(j).copied())
            .collect()
    }

    /// All parameters, the linear ones at their best; `None` where they cannot be told apart.
    pub(super) fn complete(&self, nonlinear: &[f64]) -> Option<Vec<f64>> {
        self.solve(nonlinear).map(|solved| solved.full)
    }

    fn solve(&self, nonlinear: &[f64]) -> Option<Solved> {
        let (n, p) = (self.inner.observations(), self.inner.parameters());
        let mut full = vec![0.0; p];
        self.nonlinear
            .iter()
            .zip(nonlinear)
            .for_each(|(&j, v)| full[j] = *v);
        let (mut rotated, mut jacobian) = (vec![0.0; n], vec![0.0; n * p]);
        self.inner
            .with_derivatives(&full, &mut rotated, &mut jacobian);
        let columns: Vec<f64> = self
            .linear
            .iter()
            .flat_map(|&j| jacobian[j * n..(j + 1) * n].iter().copied())
            .collect();
        if !columns.iter().chain(&rotated).all(|v| v.is_finite()) {
            return None;
        }
        let m = self.linear.len();
        let qr = Qr::new(columns, n, m);
        let size = |j: usize| qr.r(j, j).abs();
        let largest = (0..m).map(size).fold(0.0, f64::max);
        if (0..m).any(|j| size(j) <= 1e-14 * largest) {
            return None;
        }
        qr.apply_transposed(&mut rotated);
        let mut best: Vec<f64> = rotated[..m].iter().map(|v| -v).collect();
        qr.solve_upper(&mut best);
        self.linear
            .iter()
            .zip(best)
            .enumerate()
            .for_each(|(k, (&j, v))| full[j] = v / qr.scale(k));
        Some(Solved { qr, full, rotated })
    }
}

/// Takes from a rotated vector what the linear parameters can explain, and turns it back.
fn turn_back(qr: &Qr<f64>, vector: &mut [f64]) {
    vector[..qr.columns()].fill(0.0);
    qr.apply(vector);
}

impl<R: Residuals> Residuals for Projected<'_, R> {
    fn observations(&self) -> usize {
        self.inner.observations()
    }

    fn parameters(&self) -> usize {
        self.nonlinear.len()
    }

    fn residuals(&self, parameters: &[f64], out: &mut [f64]) {
        match self.solve(parameters) {
            None => out.fill(f64::NAN),
            Some(mut solved) => {
                turn_back(&solved.qr, &mut solved.rotated);
                out.copy_from_slice(&solved.rotated);
            }
        }
    }

    fn with_derivatives(&self, parameters: &[f64], out: &mut [f64], jacobian: &mut [f64]) {
        let Some(mut solved) = self.solve(parameters) else {
            out.fill(f64::NAN);
            return;
        };
        let n = out.len();
        let mut whole = vec![0.0; n * solved.full.len()];
        self.inner.with_derivatives(&solved.full, out, &mut whole);
        for (column, &j) in jacobian.chunks_exact_mut(n).zip(&self.nonlinear) {
            column.copy_from_slice(&whole[j * n..(j + 1) * n]);
            solved.qr.apply_transposed(column);
            turn_back(&solved.qr, column);
        }
        turn_back(&solved.qr, &mut solved.rotated);
        out.copy_from_slice(&solved.rotated);
    }

    fn magnitude(&self) -> f64 {
        self.inner.magnitude()
    }
}
