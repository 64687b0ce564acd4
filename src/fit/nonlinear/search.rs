//! The search for a minimum by trust-region steps, and a look at whether its end really is one.

use super::problem::{Progress, Residuals, Settings, Termination};
use super::step::{Linearised, dot};
use crate::fit::error::FitError;
use crate::fit::linear::checked_inverse;

/// Largest share of the residuals that the parameters may still be able to explain at a minimum.
const RIGHT_ANGLE: f64 = 1e-6;
/// Residuals are rounding when smaller than this many units of the observations' size; also what rounding may hide
/// from the check of the right angle.
pub(super) const ROUNDING: f64 = 50.0 * f64::EPSILON;

/// Where a search stands.
pub(super) struct Search {
    pub(super) x: Vec<f64>,
    pub(super) residuals: Vec<f64>,
    pub(super) jacobian: Vec<f64>,
    pub(super) rss: f64,
    pub(super) evaluations: u64,
    pub(super) iterations: u64,
    scale: Vec<f64>,
    radius: f64,
    damping: f64,
    rescaled: u32,
    /// A direction in which the sum of squares falls on both sides, where the search ended at such a point.
    pub(super) way_down: Option<Vec<f64>>,
    pub(super) trial: Vec<f64>,
    trial_jacobian: Vec<f64>,
    pub(super) lower: Vec<f64>,
    pub(super) upper: Vec<f64>,
}

pub(super) fn finite(values: &[f64]) -> bool {
    values.iter().all(|v| v.is_finite())
}

fn column_norms(jacobian: &[f64], n: usize) -> impl Iterator<Item = f64> {
    jacobian
        .chunks_exact(n)
        .map(|column| dot(column, column).sqrt())
}

impl Search {
    /// Evaluates the start, moved inside the bounds.
    pub(super) fn new(
        problem: &impl Residuals,
        start: &[f64],
        settings: &Settings,
    ) -> Result<Self, FitError> {
        let (n, p) = (problem.observations(), problem.parameters());
        if start.len() != p {
            return Err(FitError::DimensionMismatch {
                what: "the start",
                found: start.len(),
                expected: p,
            });
        }
        if p == 0 {
            return Err(FitError::NoColumns);
        }
        if n < p {
            return Err(FitError::TooFewRows { n, p });
        }
        let lower: Vec<f64> = (0..p).map(|j| settings.lowest(j)).collect();
        let upper: Vec<f64> = (0..p).map(|j| settings.highest(j)).collect();
        for j in 0..p {
            if !start[j].is_finite() {
                return Err(FitError::BadStart { parameter: j });
            }
            // NaN on either side is refused, too.
            if !matches!(lower[j].partial_cmp(&upper[j]), Some(o) if o.is_le()) {
                return Err(FitError::BoundsCrossed { parameter: j });
            }
        }
        let x: Vec<f64> = (0..p).map(|j| start[j].clamp(lower[j], upper[j])).collect();
        let (mut residuals, mut jacobian) = (vec![0.0; n], vec![0.0; n * p]);
        problem.with_derivatives(&x, &mut residuals, &mut jacobian);
        if let Some(row) = residuals.iter().position(|v| !v.is_finite()) {
            return Err(FitError::NotComputable { row });
        }
        let rss = dot(&residuals, &residuals);
        if let Some(at) = jacobian.iter().position(|v| !v.is_finite()) {
            return Err(FitError::NotComputable { row: at % n });
        }
        if !rss.is_finite() {
            return Err(FitError::OutOfRange);
        }
        let scale: Vec<f64> = column_norms(&jacobian, n)
            .map(|d| if d > 0.0 { d } else { 1.0 })
            .collect();
        let length = x
            .iter()
            .zip(&scale)
            .map(|(x, d)| (x * d).powi(2))
            .sum::<f64>()
            .sqrt();
        let radius = settings.step_factor * if length > 0.0 { length } else { 1.0 };
        Ok(Self {
            trial: vec![0.0; n],
            trial_jacobian: if settings.thorough {
                Vec::new()
            } else {
                vec![0.0; n * p]
            },
            way_down: None,
            x,
            residuals,
            jacobian,
            rss,
            evaluations: 1,
            iterations: 0,
            scale,
            radius,
            damping: 0.0,
            rescaled: 0,
            lower,
            upper,
        })
    }

    /// Parameters at a bound that the sum of squares pushes them against.
    fn held(&self, gradient: &[f64]) -> Vec<bool> {
        let stuck = |j: usize| {
            (self.x[j] <= self.lower[j] && gradient[j] >= 0.0)
                || (self.x[j] >= self.upper[j] && gradient[j] <= 0.0)
        };
        (0..self.x.len()).map(stuck).collect()
    }

    /// Parameters that stand at a bound and are pushed against it.
    pub(super) fn at_bound(&self) -> Vec<bool> {
        self.held(&Linearised::new(&self.jacobian, &self.residuals, self.x.len()).gradient)
    }

    /// One iteration. `Some` where the search ends, with the reason to report.
    pub(super) fn next(
        &mut self,
        problem: &impl Residuals,
        settings: &Settings,
    ) -> Option<Termination> {
        let (ended, known) = self.advance(problem, settings)?;
        if ended.converged() && settings.thorough {
            self.polish(problem);
        }
        let ended = self.judge(problem, settings, ended, known);
        // A scale learnt far away can make every step look too short to matter.
        let again = ended == Termination::Stalled && self.rescale(settings);
        (!again).then_some(ended)
    }

    /// Shorter and shorter steps until one lowers the sum of squares. `Some` where the search ends, with the linear model there if it is at hand.
    fn advance(
        &mut self,
        problem: &impl Residuals,
        settings: &Settings,
    ) -> Option<(Termination, Option<Linearised>)> {
        let end = |termination| Some((termination, None));
        let (n, p) = (self.residuals.len(), self.x.len());
        if self.rss == 0.0 {
            return end(Termination::ExactFit);
        }
        if self.iterations >= settings.iterations {
            return end(Termination::IterationLimit);
        }
        self.iterations += 1;
        for (d, norm) in self.scale.iter_mut().zip(column_norms(&self.jacobian, n)) {
            *d = d.max(norm);
        }
        let linearised = Linearised::new(&self.jacobian, &self.residuals, p);
        let held = self.held(&linearised.gradient);
        let size = self.rss.sqrt();
        let cosine = |(j, norm): (usize, f64)| {
            if held[j] || norm == 0.0 {
                0.0
            } else {
                linearised.gradient[j].abs() / (norm * size)
            }
        };
        if column_norms(&self.jacobian, n)
            .enumerate()
            .map(cosine)
            .fold(0.0, f64::max)
            < f64::EPSILON
        {
            return end(Termination::GradientVanished);
        }
        let below: Vec<f64> = (0..p)
            .map(|j| (self.lower[j] - self.x[j]).min(0.0))
            .collect();
        let above: Vec<f64> = (0..p)
            .map(|j| (self.upper[j] - self.x[j]).max(0.0))
            .collect();
        loop {
            let Some(step) = linearised.step(
                &self.scale,
                self.radius,
                self.damping,
                (&below, &above),
                &held,
            ) else {
                return end(Termination::GradientVanished);
            };
            self.damping = step.damping;
            let moved: Vec<f64> = (0..p)
                .map(|j| (self.x[j] + step.s[j]).clamp(self.lower[j], self.upper[j]))
                .collect();
            if moved == self.x
                || !finite(&moved)
                || step.predicted.is_nan()
                || step.predicted <= 0.0
            {
                return end(Termination::StepVanished);
            }
            let least = settings.tolerance.max(f64::EPSILON) * self.rss;
            // Of refits from a good start the linear model is to be believed where it sees nothing left to gain.
            if !settings.thorough && step.damping == 0.0 && step.predicted <= least {
                return Some((Termination::NoFurtherReduction, Some(linearised)));
            }
            // Of refits from a good start nearly every step is taken, and its derivatives are wanted at once.
            let ahead = !settings.thorough;
            if ahead {
                problem.with_derivatives(&moved, &mut self.trial, &mut self.trial_jacobian);
            } else {
                problem.residuals(&moved, &mut self.trial);
            }
            self.evaluations += 1;
            let mut ratio = f64::NEG_INFINITY;
            let mut actual = f64::NEG_INFINITY;
            if finite(&self.trial) {
                // The difference of squares, not of sums: it keeps the digits near a minimum.
                actual = self
                    .residuals
                    .iter()
                    .zip(&self.trial)
                    .map(|(a, b)| (a - b) * (a + b))
                    .sum();
                ratio = actual / step.predicted;
            }
            if !ratio.is_finite() {
                self.radius = 0.1 * self.radius.min(step.length);
            } else if ratio <= 0.25 {
                let falls = -2.0 * dot(&linearised.gradient, &step.s);
                let share = if actual >= 0.0 {
                    0.5
                } else {
                    (0.5 * falls / (falls - actual)).clamp(0.1, 0.5)
                };
                self.radius = share * self.radius.min(10.0 * step.length);
            } else if step.damping == 0.0 || ratio >= 0.75 {
                self.radius = 2.0 * step.length;
            }
            let tiny = step.predicted <= least && actual.abs() <= least;
            if ratio >= 1e-4 {
                let kept = self.x.clone();
                self.x = moved;
                if ahead {
                    std::mem::swap(&mut self.jacobian, &mut self.trial_jacobian);
                } else {
                    problem.with_derivatives(&self.x, &mut self.trial, &mut self.jacobian);
                    self.evaluations += 1;
                }
                if !finite(&self.jacobian) || !finite(&self.trial) {
                    // At the edge of the domain: go back and come closer in smaller steps.
                    self.x = kept;
                    problem.with_derivatives(&self.x, &mut self.trial, &mut self.jacobian);
                    self.radius = 0.1 * self.radius.min(step.length);
                } else {
                    std::mem::swap(&mut self.residuals, &mut self.trial);
                    self.rss = dot(&self.residuals, &self.residuals);
                    if let Some(observer) = &settings.observer {
                        let progress = Progress {
                            iteration: self.iterations,
                            rss: self.rss,
                            parameters: &self.x,
                        };
                        if !observer(&progress) {
                            return end(Termination::Interrupted);
                        }
                    }
                    return tiny.then_some((Termination::NoFurtherReduction, None));
                }
            }
            if tiny {
                return end(Termination::NoFurtherReduction);
            }
            let length = self
                .x
                .iter()
                .zip(&self.scale)
                .map(|(x, d)| (x * d).powi(2))
                .sum::<f64>()
                .sqrt();
            if self.radius <= 1e-3 * f64::EPSILON * length || self.radius < f64::MIN_POSITIVE {
                return end(Termination::StepVanished);
            }
        }
    }

    /// Takes the scale of the parameters from where the search stands instead of from all its way, and lets the next
    /// step be long again. `false` where that has been done often enough or would change little.
    fn rescale(&mut self, settings: &Settings) -> bool {
        let now: Vec<f64> = column_norms(&self.jacobian, self.residuals.len()).collect();
        let stale = self
            .scale
            .iter()
            .zip(&now)
            .any(|(d, norm)| *norm > 0.0 && *d > 2.0 * norm);
        if !stale || self.rescaled >= 20 {
            return false;
        }
        self.rescaled += 1;
        for (d, norm) in self.scale.iter_mut().zip(now) {
            *d = if norm > 0.0 { norm } else { *d };
        }
        let length = self
            .x
            .iter()
            .zip(&self.scale)
            .map(|(x, d)| (x * d).powi(2))
            .sum::<f64>()
            .sqrt();
        self.radius = settings.step_factor * if length > 0.0 { length } else { 1.0 };
        self.damping = 0.0;
        true
    }

    /// The reason to report: that of the search where its end is a minimum, otherwise what is wrong there. `known` is the linear model at the
    /// end, if it is at hand.
    fn judge(
        &self,
        problem: &impl Residuals,
        settings: &Settings,
        ended: Termination,
        known: Option<Linearised>,
    ) -> Termination {
        if !ended.converged() {
            return ended;
        }
        let (n, p) = (self.residuals.len(), self.x.len());
        let mut linearised =
            known.unwrap_or_else(|| Linearised::new(&self.jacobian, &self.residuals, p));
        let held = self.held(&linearised.gradient);
        let free: Vec<usize> = (0..p).filter(|&j| !held[j]).collect();
        if free.is_empty() {
            return ended;
        }
        if free.len() < p {
            let columns: Vec<f64> = free
                .iter()
                .flat_map(|&j| self.jacobian[j * n..(j + 1) * n].iter().copied())
                .collect();
            linearised = Linearised::new(&columns, &self.residuals, free.len());
        }
        if let Err(FitError::RankDeficient { groups, .. }) = checked_inverse(&linearised.qr) {
            let mut flat: Vec<usize> = groups.into_iter().flatten().map(|k| free[k]).collect();
            flat.sort_unstable();
            return Termination::Flat(flat);
        }
        let explained = dot(&linearised.c, &linearised.c).sqrt();
        let rounding = ROUNDING * problem.magnitude();
        // What a coarse tolerance leaves to gain is no sign of a search that is stuck.
        let right_angle = RIGHT_ANGLE.max(2.0 * settings.tolerance.sqrt());
        if explained > right_angle * self.rss.sqrt() + rounding {
            return Termination::Stalled;
        }
        if self.way_down.is_some() {
            return Termination::Saddle;
        }
        if self.rss.sqrt() <= rounding {
            Termination::ExactFit
        } else {
            ended
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// `30 x₀ − 1` and `0.4 x₁ − 1`: derivatives of length 30 and 0.4 everywhere.
    struct Straight;

    impl Residuals for Straight {
        fn observations(&self) -> usize {
            2
        }
        fn parameters(&self) -> usize {
            2
        }
        fn residuals(&self, at: &[f64], out: &mut [f64]) {
            out.copy_from_slice(&[30.0 * at[0] - 1.0, 0.4 * at[1] - 1.0]);
        }
        fn with_derivatives(&self, at: &[f64], out: &mut [f64], jacobian: &mut [f64]) {
            self.residuals(at, out);
            jacobian.copy_from_slice(&[30.0, 0.0, 0.0, 0.4]);
        }
        fn magnitude(&self) -> f64 {
            1.0
        }
    }

    #[test]
    fn a_scale_more_than_twice_too_long_is_taken_anew() {
        let settings = Settings {
            step_factor: 3.0,
            ..Settings::default()
        };
        let mut search = Search::new(&Straight, &[2.0, 200.0], &settings).unwrap();
        assert_eq!(search.scale, [30.0, 0.4]);
        // Of scaled length √(60² + 80²) = 100, and three times that at first.
        assert!((search.radius - 300.0).abs() < 1e-9);
        (search.scale, search.radius) = (vec![50.0, 0.7], 1.0);
        assert!(!search.rescale(&settings));
        assert_eq!((&search.scale[..], search.radius), (&[50.0, 0.7][..], 1.0));
        (search.scale, search.damping) = (vec![70.0, 0.4], 0.5);
        assert!(search.rescale(&settings));
        assert_eq!((&search.scale[..], search.damping), (&[30.0, 0.4][..], 0.0));
        assert!((search.radius - 300.0).abs() < 1e-9);
    }
}
