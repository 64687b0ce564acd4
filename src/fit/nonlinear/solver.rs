//! The search as a solver in argmin's frame: usable with its executor, observers and termination.

use argmin::core::{Error, IterState, KV, Problem, Solver, TerminationReason};

use super::problem::{Residuals, Settings, Termination};
use super::search::Search;

/// State that an [`Executor`](argmin::core::Executor) carries for [`TrustRegion`]: parameters and sum of squares.
pub type SearchState = IterState<Vec<f64>, (), (), (), (), f64>;

/// Damped nonlinear least squares in a trust region with bounds, for problems that implement [`Residuals`].
///
/// Column scaling, Householder factorisation of the derivatives, damping after Moré (1978), full steps at the end
/// to gain the last digits, and a check that the end is a minimum. [`fit_nonlinear`](super::fit_nonlinear) runs it
/// with several step lengths; use it directly to attach argmin's own observers.
pub struct TrustRegion {
    settings: Settings,
    search: Option<Search>,
    ended: Option<Termination>,
}

impl TrustRegion {
    /// A solver with these settings.
    pub fn new(settings: Settings) -> Self {
        Self {
            settings,
            search: None,
            ended: None,
        }
    }

    /// Why the search ended, once it has.
    pub fn termination(&self) -> Option<&Termination> {
        self.ended.as_ref()
    }

    pub(super) fn into_parts(self) -> Option<(Search, Termination)> {
        Some((self.search?, self.ended.unwrap_or(Termination::Interrupted)))
    }

    fn end(&mut self, state: SearchState, termination: Termination) -> SearchState {
        let reason = if termination.converged() {
            TerminationReason::SolverConverged
        } else {
            TerminationReason::SolverExit(termination.to_string())
        };
        self.ended = Some(termination);
        argmin::core::State::terminate_with(state, reason)
    }
}

impl<R: Residuals> Solver<R, SearchState> for TrustRegion {
    fn name(&self) -> &str {
        "damped least squares in a trust region"
    }

    fn init(
        &mut self,
        problem: &mut Problem<R>,
        mut state: SearchState,
    ) -> Result<(SearchState, Option<KV>), Error> {
        let start = state.take_param().unwrap_or_default();
        let settings = &self.settings;
        match problem.problem("derivatives", |r| Ok(Search::new(r, &start, settings)))? {
            Ok(search) => {
                state = state.param(search.x.clone()).cost(search.rss);
                self.search = Some(search);
                Ok((state, None))
            }
            Err(error) => Err(error.into()),
        }
    }

    fn next_iter(
        &mut self,
        problem: &mut Problem<R>,
        state: SearchState,
    ) -> Result<(SearchState, Option<KV>), Error> {
        let Some(mut search) = self.search.take() else {
            return Ok((self.end(state, Termination::Interrupted), None));
        };
        let settings = &self.settings;
        let ended = problem.problem("derivatives", |r| Ok(search.next(r, settings)))?;
        let state = state.param(search.x.clone()).cost(search.rss);
        self.search = Some(search);
        Ok((
            match ended {
                Some(ended) => self.end(state, ended),
                None => state,
            },
            None,
        ))
    }
}
