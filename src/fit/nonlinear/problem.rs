//! What is to be minimised, and how the search may end.

use std::fmt;
use std::sync::Arc;

/// A sum of squares to minimise: residuals that depend on parameters, with their derivatives.
///
/// Residuals are `√wᵢ (fᵢ(θ) − yᵢ)`: model minus observation, weighted. Values that are not finite say that the
/// parameters lie outside the model's domain; the search then turns back.
pub trait Residuals {
    /// Number of residuals; only rows that count (weight above zero).
    fn observations(&self) -> usize;
    /// Number of parameters.
    fn parameters(&self) -> usize;
    /// Fills `out` (one entry an observation).
    fn residuals(&self, parameters: &[f64], out: &mut [f64]);
    /// Fills `out`, and `jacobian` (column-major, observations × parameters) with the residuals' derivatives.
    fn with_derivatives(&self, parameters: &[f64], out: &mut [f64], jacobian: &mut [f64]);
    /// Euclidean norm of the weighted observations: what residuals must be compared with to tell rounding from misfit.
    fn magnitude(&self) -> f64;
}

/// Why a search ended.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum Termination {
    /// The residuals are at right angles to everything that the parameters can change.
    GradientVanished,
    /// No step lowers the sum of squares by more than its rounding.
    NoFurtherReduction,
    /// Steps have become smaller than the rounding of the parameters.
    StepVanished,
    /// What is left of the residuals is rounding.
    ExactFit,
    /// The limit of iterations was reached first.
    IterationLimit,
    /// The sum of squares stopped falling where some parameters, or a combination of them, have no influence on the
    /// curve: their values say nothing. By number.
    Flat(Vec<usize>),
    /// No step lowers the sum of squares although the derivatives say that it should.
    Stalled,
    /// The sum of squares is level where the search ended but falls on both sides along some direction.
    Saddle,
    /// The observer asked to stop.
    Interrupted,
}

impl Termination {
    /// Whether the search ended at a minimum (perhaps not the lowest one).
    pub fn converged(&self) -> bool {
        matches!(
            self,
            Self::GradientVanished | Self::NoFurtherReduction | Self::StepVanished | Self::ExactFit
        )
    }
}

impl Termination {
    /// A short stable name, for files.
    pub fn code(&self) -> &'static str {
        match self {
            Self::GradientVanished => "gradient-vanished",
            Self::NoFurtherReduction => "no-further-reduction",
            Self::StepVanished => "step-vanished",
            Self::ExactFit => "exact-fit",
            Self::IterationLimit => "iteration-limit",
            Self::Flat(_) => "flat",
            Self::Stalled => "stalled",
            Self::Saddle => "saddle",
            Self::Interrupted => "interrupted",
        }
    }
}

impl fmt::Display for Termination {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::GradientVanished => {
                "the residuals are at right angles to all that the parameters can change"
            }
            Self::NoFurtherReduction => {
                "no step lowers the sum of squares by more than its rounding"
            }
            Self::StepVanished => "steps became smaller than the rounding of the parameters",
            Self::ExactFit => "what is left of the residuals is rounding",
            Self::IterationLimit => "the limit of iterations was reached",
            Self::Flat(_) => {
                "some parameters have no influence of their own on the curve where the search ended"
            }
            Self::Stalled => {
                "no step lowers the sum of squares although the derivatives say that it should"
            }
            Self::Saddle => {
                "the sum of squares is level where the search ended but not at its lowest"
            }
            Self::Interrupted => "the search was interrupted",
        })
    }
}

/// How far a search has come.
#[derive(Debug, Clone, Copy)]
pub struct Progress<'p> {
    /// Iterations done.
    pub iteration: u64,
    /// Sum of squares so far.
    pub rss: f64,
    /// The parameters so far.
    pub parameters: &'p [f64],
}

/// Told of every iteration; stops the search by returning `false`.
pub type Observer = Arc<dyn Fn(&Progress<'_>) -> bool + Send + Sync>;

/// How to search.
#[derive(Clone)]
pub struct Settings {
    /// Lowest allowed value of each parameter; empty for none.
    pub lower: Vec<f64>,
    /// Highest allowed value of each parameter; empty for none.
    pub upper: Vec<f64>,
    /// Longest first step, as a multiple of the scaled length of the start.
    pub step_factor: f64,
    /// Most iterations (each takes the derivatives once).
    pub iterations: u64,
    /// Parameters in which the residuals are linear, jointly, for fixed others; empty for unknown.
    pub linear: Vec<bool>,
    /// The search ends where no step lowers the sum of squares by more than this share of it. The default, the rounding
    /// of double precision, asks for all digits; 1e-8 is enough for resampling (parameters to about 1e-3 of their
    /// standard errors) and saves a third of the time.
    pub tolerance: f64,
    /// Whether to spend some more evaluations on the last digits and on making sure of the minimum.
    pub thorough: bool,
    /// Told of every iteration.
    pub observer: Option<Observer>,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            lower: Vec::new(),
            upper: Vec::new(),
            step_factor: 1.0,
            iterations: 5000,
            linear: Vec::new(),
            tolerance: f64::EPSILON,
            thorough: true,
            observer: None,
        }
    }
}

impl fmt::Debug for Settings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Settings")
            .field("lower", &self.lower)
            .field("upper", &self.upper)
            .field("step_factor", &self.step_factor)
            .field("iterations", &self.iterations)
            .field("linear", &self.linear)
            .field("tolerance", &self.tolerance)
            .field("thorough", &self.thorough)
            .field("observed", &self.observer.is_some())
            .finish()
    }
}

impl Settings {
    /// Lowest allowed value of a parameter.
    pub fn lowest(&self, parameter: usize) -> f64 {
        self.lower
            .get(parameter)
            .copied()
            .unwrap_or(f64::NEG_INFINITY)
    }

    /// Highest allowed value of a parameter.
    pub fn highest(&self, parameter: usize) -> f64 {
        self.upper.get(parameter).copied().unwrap_or(f64::INFINITY)
    }
}
