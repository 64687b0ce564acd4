//! One step of the search: the minimum of the linearised sum of squares within a trust region and bounds.

pub(super) use crate::fit::qr::dot;

use crate::fit::qr::Qr;

/// The sum of squares `‖R s + c‖² + rest` that a linear model of the residuals gives for a step `s`.
pub(super) struct Linearised {
    /// Number of parameters p.
    pub(super) p: usize,
    /// The factorised derivatives.
    pub(super) qr: Qr<f64>,
    /// p × p, column-major, upper triangular: the orthogonal factor taken off the derivatives.
    pub(super) r: Vec<f64>,
    /// `Q'` times the residuals, its first p entries.
    pub(super) c: Vec<f64>,
    /// Half the gradient of the sum of squares, `R'c`.
    pub(super) gradient: Vec<f64>,
}

/// A step and what it promises.
pub(super) struct Step {
    pub(super) s: Vec<f64>,
    /// Length of the step in scaled parameters.
    pub(super) length: f64,
    /// By how much the linear model says that the sum of squares falls.
    pub(super) predicted: f64,
    /// The damping that it took; zero for a full step.
    pub(super) damping: f64,
}

impl Linearised {
    /// From the derivatives (column-major n × p) and the residuals (n entries), n ≥ p.
    pub(super) fn new(jacobian: &[f64], residuals: &[f64], p: usize) -> Self {
        let n = residuals.len();
        let qr = Qr::new(jacobian.to_vec(), n, p);
        let mut c = residuals.to_vec();
        qr.apply_transposed(&mut c);
        c.truncate(p);
        let mut r = vec![0.0; p * p];
        for j in 0..p {
            for i in 0..=j {
                r[j * p + i] = qr.r(i, j) * qr.scale(j);
            }
        }
        let gradient = r
            .chunks_exact(p.max(1))
            .map(|column| dot(column, &c))
            .collect();
        Self {
            p,
            qr,
            r,
            c,
            gradient,
        }
    }

    pub(super) fn column(&self, j: usize) -> &[f64] {
        &self.r[j * self.p..(j + 1) * self.p]
    }

    /// How much the linear model lowers the sum of squares.
    fn predicted(&self, s: &[f64]) -> f64 {
        let mut moved = vec![0.0; self.p];
        for (j, &value) in s.iter().enumerate() {
            moved
                .iter_mut()
                .zip(self.column(j))
                .for_each(|(m, r)| *m += r * value);
        }
        -(2.0 * dot(&self.gradient, s) + dot(&moved, &moved))
    }

    /// The best step no longer than `radius` in parameters scaled by `scale`, with `below ≤ s ≤ above`
    /// (`below ≤ 0 ≤ above`). `held` marks parameters that stay where they are. `None` where nothing can move.
    ///
    /// Damping after J. J. Moré, "The Levenberg–Marquardt algorithm: implementation and theory", Lecture Notes in
    /// Mathematics 630 (1978) 105. A bound that stands in the way is made to hold, one at a time, and the rest solved
    /// again, as in active-set methods for bounded linear least squares.
    pub(super) fn step(
        &self,
        scale: &[f64],
        radius: f64,
        damping: f64,
        bounds: (&[f64], &[f64]),
        held: &[bool],
    ) -> Option<Step> {
        let (below, above) = bounds;
        let mut fixed: Vec<Option<f64>> = held.iter().map(|h| h.then_some(0.0)).collect();
        let mut truncated: Option<Step> = None;
        loop {
            let free: Vec<usize> = (0..self.p).filter(|&j| fixed[j].is_none()).collect();
            let mut s: Vec<f64> = fixed.iter().map(|f| f.unwrap_or(0.0)).collect();
            let spent: f64 = s.iter().zip(scale).map(|(s, d)| (s * d).powi(2)).sum();
            let left = (radius * radius - spent).max(0.01 * radius * radius).sqrt();
            let mut used = damping;
            if !free.is_empty() {
                let mut c = self.c.clone();
                for (j, value) in fixed
                    .iter()
                    .enumerate()
                    .filter_map(|(j, f)| f.map(|v| (j, v)))
                {
                    c.iter_mut()
                        .zip(self.column(j))
                        .for_each(|(c, r)| *c += r * value);
                }
                let mut b = Vec::with_capacity(free.len() * self.p);
                for &j in &free {
                    b.extend(self.column(j).iter().map(|r| r / scale[j]));
                }
                let (q, lambda) = damped(b, c, free.len(), left, damping);
                used = lambda;
                free.iter().zip(q).for_each(|(&j, q)| s[j] = q / scale[j]);
            }
            // The bound that is reached first on the way.
            let share = |j: usize| {
                if s[j] < below[j] {
                    below[j] / s[j]
                } else if s[j] > above[j] {
                    above[j] / s[j]
                } else {
                    1.0
                }
            };
            let first = free
                .iter()
                .map(|&j| (share(j), j))
                .min_by(|a, b| a.0.total_cmp(&b.0));
            let make = |s: Vec<f64>| {
                let length = s
                    .iter()
                    .zip(scale)
                    .map(|(s, d)| (s * d).powi(2))
                    .sum::<f64>()
                    .sqrt();
                let predicted = self.predicted(&s);
                Step {
                    s,
                    length,
                    predicted,
                    damping: used,
                }
            };
            match first {
                Some((share, j)) if share < 1.0 => {
                    if truncated.is_none() {
                        truncated = Some(make(s.iter().map(|v| v * share).collect()));
                    }
                    fixed[j] = Some(if s[j] < 0.0 { below[j] } else { above[j] });
                }
                None if truncated.is_none() => return None,
                _ => {
                    let step = make(s);
                    return match truncated {
                        Some(other) if other.predicted > step.predicted => Some(other),
                        _ => Some(step),
                    };
                }
            }
        }
    }
}

fn norm(v: &[f64]) -> f64 {
    dot(v, v).sqrt()
}

/// Minimises `‖B q + c‖²` with `‖q‖ ≤ radius` (to a tenth); `b` is column-major with `m` columns. Gives q and the
/// damping λ of `(B'B + λ) q = −B'c`.
fn damped(b: Vec<f64>, mut c: Vec<f64>, m: usize, radius: f64, guess: f64) -> (Vec<f64>, f64) {
    let p = c.len();
    let gradient: Vec<f64> = b.chunks_exact(p).map(|column| dot(column, &c)).collect();
    let qr = Qr::new(b, p, m);
    qr.apply_transposed(&mut c);
    let r = |i: usize, j: usize| qr.r(i, j) * qr.scale(j);
    let largest = (0..m).map(|j| r(j, j).abs()).fold(0.0, f64::max);
    let (mut low, mut high) = (0.0, norm(&gradient) / radius);
    if largest == 0.0 || high == 0.0 || !high.is_finite() {
        return (vec![0.0; m], 0.0);
    }
    let mut over = f64::INFINITY;
    if (0..m).all(|j| r(j, j).abs() > 1e-15 * largest) {
        let mut q: Vec<f64> = c[..m].iter().map(|v| -v).collect();
        qr.solve_upper(&mut q);
        q.iter_mut()
            .enumerate()
            .for_each(|(j, v)| *v /= qr.scale(j));
        let length = norm(&q);
        over = length - radius;
        if over <= 0.1 * radius {
            return (q, 0.0);
        }
        low = over / radius / slope(&qr, &q, length);
    }
    let mut lambda = guess.max(low).min(high.max(low));
    if lambda <= 0.0 {
        lambda = if over.is_finite() {
            norm(&gradient) / (over + radius)
        } else {
            1e-3 * high
        };
    }
    let mut best = (vec![0.0; m], lambda);
    for _ in 0..12 {
        lambda = lambda
            .min(high.max(f64::MIN_POSITIVE))
            .max(low.max(f64::MIN_POSITIVE));
        // [R; √λ I] q = [−c; 0]
        let mut stacked = vec![0.0; 2 * m * m];
        for j in 0..m {
            for i in 0..=j {
                stacked[j * 2 * m + i] = r(i, j);
            }
            stacked[j * 2 * m + m + j] = lambda.sqrt();
        }
        let triangle = Qr::new(stacked, 2 * m, m);
        let mut q: Vec<f64> = c[..m]
            .iter()
            .map(|v| -v)
            .chain(std::iter::repeat_n(0.0, m))
            .collect();
        triangle.apply_transposed(&mut q);
        triangle.solve_upper(&mut q);
        q.truncate(m);
        q.iter_mut()
            .enumerate()
            .for_each(|(j, v)| *v /= triangle.scale(j));
        let length = norm(&q);
        let over = length - radius;
        let correction = over / radius / slope(&triangle, &q, length);
        best = (q, lambda);
        if over.abs() <= 0.1 * radius || !correction.is_finite() {
            break;
        }
        if over > 0.0 {
            low = low.max(lambda);
        } else {
            high = high.min(lambda);
        }
        lambda = (lambda + correction).max(low);
    }
    best
}

/// `‖R⁻ᵀ q‖² / ‖q‖²`: how fast the length of the damped step falls with λ, relative to its length.
fn slope(qr: &Qr<f64>, q: &[f64], length: f64) -> f64 {
    let mut z: Vec<f64> = q
        .iter()
        .enumerate()
        .map(|(j, v)| v / length / qr.scale(j))
        .collect();
    qr.solve_upper_transposed(&mut z);
    dot(&z, &z)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The step for residuals `r` that each parameter changes one for one, within bounds.
    fn bounded(r: [f64; 2], below: [f64; 2], above: [f64; 2]) -> Vec<f64> {
        let linearised = Linearised::new(&[1.0, 0.0, 0.0, 1.0], &r, 2);
        let step = linearised.step(&[1.0; 2], 100.0, 0.0, (&below, &above), &[false; 2]);
        step.unwrap().s
    }

    #[test]
    fn bounds_hold_and_the_rest_goes_where_it_would() {
        let near = |found: Vec<f64>, wanted: [f64; 2]| {
            let off = found.iter().zip(wanted).map(|(a, b)| (a - b).abs());
            assert!(off.fold(0.0, f64::max) < 1e-12, "{found:?}");
        };
        let free = [f64::INFINITY; 2];
        let deep = [f64::NEG_INFINITY; 2];
        near(bounded([-4.0, -3.0], deep, free), [4.0, 3.0]);
        near(bounded([-4.0, -3.0], deep, [2.0, 1.0]), [2.0, 1.0]);
        near(bounded([4.0, 3.0], [-2.0, -1.0], free), [-2.0, -1.0]);
        // One bound a quarter of the way, the other far off.
        near(bounded([-4.0, -1.0], deep, [1.0, 10.0]), [1.0, 1.0]);
    }

    #[test]
    fn a_full_step_is_taken_whatever_the_size_of_the_derivatives() {
        for unit in [1e-10, 1.0, 1e10] {
            let b = vec![unit, 0.0, 0.0, 2.0 * unit];
            let (q, lambda) = damped(b, vec![-3.0 * unit, 2.0 * unit], 2, 10.0, 0.0);
            assert!(
                (q[0] - 3.0).abs() < 1e-12 && (q[1] + 1.0).abs() < 1e-12,
                "{q:?}"
            );
            assert_eq!(lambda, 0.0);
        }
    }
}
