//! The last digits of a minimum, and whether it is one: Newton steps with the curvature of the residuals.

use nalgebra::DMatrix;

use super::problem::Residuals;
use super::search::{ROUNDING, Search, finite};
use super::step::{Linearised, dot};

/// Beyond this many entries of the derivatives the curvature is left out: it takes two sets of derivatives a parameter.
const ENTRIES: usize = 2_000_000;

/// The linearised problem over the parameters that are free to move, and the curvature that it leaves out.
struct Local {
    free: Vec<usize>,
    linearised: Linearised,
}

impl Local {
    fn new(search: &Search) -> Self {
        let n = search.residuals.len();
        let held = search.at_bound();
        let free: Vec<usize> = (0..search.x.len()).filter(|&j| !held[j]).collect();
        let columns: Vec<f64> = free
            .iter()
            .flat_map(|&j| search.jacobian[j * n..(j + 1) * n].iter().copied())
            .collect();
        let linearised = Linearised::new(&columns, &search.residuals, free.len());
        Self { free, linearised }
    }

    /// `R⁻¹ w`, spread over all p parameters; `None` where `R` has no inverse.
    fn direction(&self, w: &[f64], p: usize) -> Option<Vec<f64>> {
        let m = self.free.len();
        let mut v = w.to_vec();
        for j in (0..m).rev() {
            let column = self.linearised.column(j);
            v[j] /= column[j];
            let value = v[j];
            v[..j]
                .iter_mut()
                .zip(column)
                .for_each(|(v, r)| *v -= r * value);
        }
        let mut all = vec![0.0; p];
        self.free.iter().zip(&v).for_each(|(&j, v)| all[j] = *v);
        finite(&all).then_some(all)
    }

    /// `B` in `R' (I + B) R`, half the second derivatives of the sum of squares, by differences of the exact first
    /// derivatives along directions in which the curve moves equally.
    fn curvature(&self, search: &Search, problem: &impl Residuals) -> Option<DMatrix<f64>> {
        let (n, p, m) = (search.residuals.len(), search.x.len(), self.free.len());
        let unit = |k: usize| {
            (0..m)
                .map(|i| if i == k { 1.0 } else { 0.0 })
                .collect::<Vec<f64>>()
        };
        let directions: Vec<Vec<f64>> = (0..m)
            .map(|k| self.direction(&unit(k), p))
            .collect::<Option<_>>()?;
        // Far beyond rounding, yet small beside the scatter.
        let reach = 1e-3 * search.rss.sqrt() / (n as f64).sqrt();
        let mut b = DMatrix::<f64>::zeros(m, m);
        let (mut trial, mut jacobian) = (vec![0.0; n], vec![0.0; n * p]);
        for (k, along) in directions.iter().enumerate() {
            for sign in [1.0, -1.0] {
                let at: Vec<f64> = search
                    .x
                    .iter()
                    .zip(along)
                    .map(|(x, v)| x + sign * reach * v)
                    .collect();
                problem.with_derivatives(&at, &mut trial, &mut jacobian);
                let slopes: Vec<f64> = jacobian
                    .chunks_exact(n)
                    .map(|column| dot(column, &search.residuals))
                    .collect();
                for (l, other) in directions.iter().enumerate() {
                    b[(k, l)] += sign * dot(&slopes, other) / (2.0 * reach);
                }
            }
        }
        b.iter()
            .all(|v| v.is_finite())
            .then(|| (&b + b.transpose()) * 0.5)
    }
}

impl Search {
    /// Newton steps from where the search ended, as long as each is clearly shorter than the last: they find digits
    /// that the sum of squares, flat there, cannot show. Notes a way down where the point is not a minimum.
    pub(super) fn polish(&mut self, problem: &impl Residuals) {
        let p = self.x.len();
        let mut local = Local::new(self);
        let m = local.free.len();
        let exact = self.rss.sqrt() <= ROUNDING * problem.magnitude();
        if m == 0 || exact {
            return;
        }
        let mut newton = DMatrix::identity(m, m);
        if self.jacobian.len() * 2 * m <= ENTRIES {
            self.evaluations += 2 * m as u64;
            if let Some(b) = local.curvature(self, problem) {
                newton += b;
            }
        }
        let Some(eigen) = newton.clone().try_symmetric_eigen(f64::EPSILON, 1000) else {
            return;
        };
        let (at, least) = eigen.eigenvalues.argmin();
        if least < -0.01 {
            let u: Vec<f64> = eigen.eigenvectors.column(at).iter().copied().collect();
            self.way_down = local.direction(&u, p);
            return;
        }
        if least < 0.01 {
            return;
        }
        let inverse = newton.clone().cholesky();
        let mut last = f64::INFINITY;
        for _ in 0..20 {
            let right = DMatrix::from_fn(m, 1, |i, _| -local.linearised.c[i]);
            let Some(w) = inverse.as_ref().map(|c| c.solve(&right)) else {
                return;
            };
            let length = w.norm();
            let Some(step) = local.direction(w.as_slice(), p) else {
                return;
            };
            if length.is_nan() || length >= 0.5 * last {
                return;
            }
            last = length;
            let moved: Vec<f64> = self.x.iter().zip(&step).map(|(x, s)| x + s).collect();
            let inside = (0..p).all(|j| self.lower[j] <= moved[j] && moved[j] <= self.upper[j]);
            if moved == self.x || !inside {
                return;
            }
            let mut jacobian = vec![0.0; self.jacobian.len()];
            problem.with_derivatives(&moved, &mut self.trial, &mut jacobian);
            self.evaluations += 1;
            let rss = dot(&self.trial, &self.trial);
            let slack = (ROUNDING * problem.magnitude()).powi(2);
            if !finite(&self.trial) || !finite(&jacobian) || rss > self.rss * (1.0 + 1e-10) + slack
            {
                return;
            }
            self.x = moved;
            self.jacobian = jacobian;
            std::mem::swap(&mut self.residuals, &mut self.trial);
            self.rss = rss;
            let next = Local::new(self);
            if next.free != local.free {
                return;
            }
            local = next;
        }
    }
}
