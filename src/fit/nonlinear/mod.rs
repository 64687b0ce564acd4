//! Nonlinear least squares.
//!
//! A [`Residuals`] problem goes into [`fit_nonlinear`], which searches from one start, or [`search_starts`], which
//! first looks for good ones inside bounds. The search itself is [`TrustRegion`], a solver in argmin's frame.

mod polish;
mod problem;
mod project;
mod search;
mod solver;
mod starts;
mod step;
#[cfg(test)]
mod tests;

use argmin::core::Executor;
use nalgebra::DMatrix;

pub use problem::{Observer, Progress, Residuals, Settings, Termination};
pub use solver::{SearchState, TrustRegion};
pub use starts::search_starts;

use super::error::FitError;
use super::linear::{LinearFit, tangent_fit};
use project::Projected;
use search::Search;

/// A nonlinear least-squares fit.
#[derive(Debug, Clone)]
pub struct NonlinearFit {
    /// The parameters.
    pub params: Vec<f64>,
    /// Weighted residuals there, model minus observation.
    pub residuals: Vec<f64>,
    /// Their sum of squares.
    pub rss: f64,
    /// Number of observations that count.
    pub n: usize,
    /// Number of parameters.
    pub p: usize,
    /// Why the search ended; `termination.converged()` says whether at a minimum.
    pub termination: Termination,
    /// Parameters that a bound keeps from moving on; they have no standard error.
    pub at_bound: Vec<bool>,
    /// The fit to the curve's tangent there, over the parameters that are not at a bound: leverage, covariance and
    /// whatever else a linear fit offers. `None` where those parameters cannot be told apart.
    pub tangent: Option<LinearFit>,
    /// Iterations of all searches together.
    pub iterations: u64,
    /// Evaluations of the curve, of all searches together.
    pub evaluations: u64,
    /// How each search ended, in the order in which they were made.
    pub attempts: Vec<Attempt>,
}

/// One of the searches behind a fit.
#[derive(Debug, Clone, PartialEq)]
pub struct Attempt {
    /// What was special about it.
    pub how: &'static str,
    /// The sum of squares where it ended.
    pub rss: f64,
    /// Why it ended.
    pub termination: Termination,
}

impl NonlinearFit {
    /// Whether the parameters are a minimum of the sum of squares (perhaps not the lowest one).
    pub fn converged(&self) -> bool {
        self.termination.converged()
    }

    /// Degrees of freedom, n − p.
    pub fn dof(&self) -> usize {
        self.n.saturating_sub(self.p)
    }

    /// Estimated variance of an observation of weight 1; `None` without degrees of freedom.
    pub fn sigma2(&self) -> Option<f64> {
        (self.dof() > 0).then(|| self.rss / self.dof() as f64)
    }

    /// Residual standard deviation.
    pub fn residual_sd(&self) -> Option<f64> {
        self.sigma2().map(f64::sqrt)
    }

    /// Where each parameter stands among those of the tangent.
    fn free(&self) -> impl Iterator<Item = usize> {
        self.at_bound
            .iter()
            .enumerate()
            .filter(|(_, held)| !**held)
            .map(|(j, _)| j)
    }

    /// Covariance of the parameters, p × p, from the curve's tangent at the minimum and the scatter about the fit;
    /// zero for parameters at a bound. `None` without degrees of freedom or where parameters cannot be told apart.
    pub fn covariance(&self) -> Option<DMatrix<f64>> {
        let (s2, tangent) = (self.sigma2()?, self.tangent.as_ref()?);
        let mut covariance = DMatrix::zeros(self.p, self.p);
        for (i, row) in self.free().enumerate() {
            for (j, col) in self.free().enumerate() {
                covariance[(row, col)] = s2 * tangent.cov_unscaled[(i, j)];
            }
        }
        Some(covariance)
    }

    /// Standard errors of the parameters from [`covariance`](Self::covariance); `None` for a parameter at a bound and
    /// where there is no covariance.
    pub fn std_errors(&self) -> Vec<Option<f64>> {
        let covariance = self.covariance();
        let one = |j: usize| {
            covariance
                .as_ref()
                .filter(|_| !self.at_bound[j])
                .map(|c| c[(j, j)].sqrt())
        };
        (0..self.p).map(one).collect()
    }

    /// `g' (J'J)⁻¹ g` for the derivatives `g` of a curve value by the parameters: the variance of that value is this
    /// times [`sigma2`](Self::sigma2).
    pub fn mean_variance_factor(&self, gradient: &[f64]) -> Option<f64> {
        let row: Vec<f64> = self
            .free()
            .filter_map(|j| gradient.get(j).copied())
            .collect();
        self.tangent.as_ref().map(|t| t.mean_variance_factor(&row))
    }
}

impl<R: Residuals> Residuals for &R {
    fn observations(&self) -> usize {
        (**self).observations()
    }
    fn parameters(&self) -> usize {
        (**self).parameters()
    }
    fn residuals(&self, parameters: &[f64], out: &mut [f64]) {
        (**self).residuals(parameters, out);
    }
    fn with_derivatives(&self, parameters: &[f64], out: &mut [f64], jacobian: &mut [f64]) {
        (**self).with_derivatives(parameters, out, jacobian);
    }
    fn magnitude(&self) -> f64 {
        (**self).magnitude()
    }
}

/// One search, through argmin's executor.
fn run(
    problem: &impl Residuals,
    start: &[f64],
    settings: &Settings,
) -> Result<(Search, Termination), FitError> {
    let executor = Executor::new(problem, TrustRegion::new(settings.clone()));
    let ended = executor
        .configure(|state: SearchState| state.param(start.to_vec()))
        .run();
    match ended {
        Ok(result) => result.solver.into_parts().ok_or(FitError::NoColumns),
        Err(error) => Err(error.downcast::<FitError>().unwrap_or(FitError::NoColumns)),
    }
}

/// Searches for the parameters with the least sum of squares, from one start.
///
/// Made in one search, or several where that helps: with the linear parameters solved for (where
/// [`Settings::linear`] names some), and, as long as none has ended at a minimum, with other lengths of the first
/// step. Kept is the lowest minimum found, or, where none was, the lowest sum, and then
/// [`NonlinearFit::converged`] is false.
///
/// # Example
/// ```
/// use steadydraw::fit::{CurveProblem, Equation, Settings, fit_nonlinear};
/// let curve = Equation::parse("y = a*exp(-b*t)")?.with_columns(&["t".into(), "y".into()])?;
/// assert_eq!(curve.columns(), ["y", "t"]);
/// let (y, t) = (vec![4.0, 2.0, 1.0], vec![0.0, 1.0, 2.0]);
/// let problem = CurveProblem::new(curve.on_data(&[&y, &t], 3), y.clone(), None)?;
/// let fit = fit_nonlinear(&problem, &[1.0, 1.0], &Settings::default())?;
/// assert!(fit.converged() && (fit.params[1] - 2f64.ln()).abs() < 1e-12);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
///
/// # Errors
/// [`FitError`] for a start that is not finite or where the curve cannot be computed, for crossed bounds, and for
/// fewer observations than parameters.
pub fn fit_nonlinear(
    problem: &impl Residuals,
    start: &[f64],
    settings: &Settings,
) -> Result<NonlinearFit, FitError> {
    let first = ("as given", run(problem, start, settings)?);
    let mut others: Vec<Found> = Vec::new();
    if let Some(projected) = Projected::new(problem, &settings.linear)
        && let Some(end) = from_projection(problem, &projected, start, settings)
    {
        others.push(("linear parameters solved for", end));
    }
    if let (_, (search, Termination::Saddle)) = &first
        && let Some(along) = &search.way_down
    {
        let reach = 0.5 * search.rss.sqrt();
        for sign in [1.0, -1.0] {
            let at: Vec<f64> = search
                .x
                .iter()
                .zip(along)
                .map(|(x, v)| x + sign * reach * v)
                .collect();
            if let Ok(end) = run(problem, &at, settings) {
                others.push(("off a level point", end));
            }
        }
    }
    for (how, factor) in [("short first step", 0.1), ("long first step", 10.0)] {
        let done =
            |(_, (_, ended)): &Found| ended.converged() || *ended == Termination::Interrupted;
        if std::iter::once(&first).chain(&others).any(done) {
            break;
        }
        let settings = Settings {
            step_factor: factor * settings.step_factor,
            ..settings.clone()
        };
        others.push((how, run(problem, start, &settings)?));
    }
    Ok(best_of(first, others))
}

/// What a refit finds.
#[derive(Debug, Clone)]
pub struct Refit {
    /// The parameters.
    pub params: Vec<f64>,
    /// Sum of the squared weighted residuals there.
    pub rss: f64,
    /// Why the search ended; `termination.converged()` says whether at a minimum.
    pub termination: Termination,
    /// Evaluations of the curve with its derivatives.
    pub evaluations: u64,
}

/// The parameters with the least sum of squares, by one plain search and with nothing told about them: for many refits
/// from good starts, as in resampling. [`Settings::tolerance`] may be coarser there, and so faster;
/// [`Settings::thorough`] does not count. The search ends where its linear model sees no more than the tolerance left to gain, without a
/// step to confirm it.
///
/// # Errors
/// As [`fit_nonlinear`].
pub fn refit_nonlinear(
    problem: &impl Residuals,
    start: &[f64],
    settings: &Settings,
) -> Result<Refit, FitError> {
    let settings = Settings {
        thorough: false,
        ..settings.clone()
    };
    let mut search = Search::new(problem, start, &settings)?;
    let termination = loop {
        if let Some(ended) = search.next(problem, &settings) {
            break ended;
        }
    };
    Ok(Refit {
        params: search.x,
        rss: search.rss,
        termination,
        evaluations: search.evaluations,
    })
}

/// A start with the parameters marked `open`, in which the residuals must be linear, at their best for fixed others.
/// `None` where they cannot be told apart there, or where none, or all, are open.
pub fn complete_start(problem: &impl Residuals, start: &[f64], open: &[bool]) -> Option<Vec<f64>> {
    let projected = Projected::new(problem, open)?;
    projected.complete(&projected.pick(start))
}

/// The search over the nonlinear parameters, then a short one over all.
fn from_projection<R: Residuals>(
    problem: &R,
    projected: &Projected<'_, R>,
    start: &[f64],
    settings: &Settings,
) -> Option<(Search, Termination)> {
    let pick = |values: &[f64]| {
        if values.is_empty() {
            Vec::new()
        } else {
            projected.pick(values)
        }
    };
    let inner = Settings {
        lower: pick(&settings.lower),
        upper: pick(&settings.upper),
        linear: Vec::new(),
        ..settings.clone()
    };
    let (search, _) = run(projected, &projected.pick(start), &inner).ok()?;
    let full = projected.complete(&search.x)?;
    let inside = |(j, v): (usize, &f64)| (settings.lowest(j)..=settings.highest(j)).contains(v);
    if !full.iter().enumerate().all(inside) {
        return None;
    }
    let (mut end, termination) = run(problem, &full, settings).ok()?;
    end.iterations += search.iterations;
    end.evaluations += search.evaluations;
    Some((end, termination))
}

/// The lowest minimum, or where there is none the lowest sum.
type Found = (&'static str, (Search, Termination));

fn best_of(first: Found, others: Vec<Found>) -> NonlinearFit {
    let all = || std::iter::once(&first).chain(&others);
    let attempts: Vec<Attempt> = all()
        .map(|(how, (search, ended))| Attempt {
            how,
            rss: search.rss,
            termination: ended.clone(),
        })
        .collect();
    let iterations = all().map(|(_, (search, _))| search.iterations).sum();
    let evaluations = all().map(|(_, (search, _))| search.evaluations).sum();
    let better = |kept: (Search, Termination), other: (Search, Termination)| {
        let (minimum, rival) = (kept.1.converged(), other.1.converged());
        if rival && !minimum || rival == minimum && other.0.rss < kept.0.rss {
            other
        } else {
            kept
        }
    };
    let (search, termination) = others.into_iter().map(|(_, end)| end).fold(first.1, better);
    let at_bound = search.at_bound();
    let (n, p) = (search.residuals.len(), search.x.len());
    let free: Vec<f64> = (0..p)
        .filter(|&j| !at_bound[j])
        .flat_map(|j| search.jacobian[j * n..(j + 1) * n].iter().copied())
        .collect();
    let tangent = DMatrix::from_vec(n, free.len() / n, free);
    let tangent = tangent_fit(&tangent, &search.residuals).ok();
    NonlinearFit {
        tangent,
        at_bound,
        params: search.x,
        residuals: search.residuals,
        rss: search.rss,
        n,
        p,
        termination,
        iterations,
        evaluations,
        attempts,
    }
}
