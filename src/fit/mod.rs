//! Least squares, curve forms, selection.
//!
//! * [`least_squares`]: linear, weighted, with its by-products in [`LinearFit`].
//! * [`least_squares_extended`]: the same in doubled precision, for nearly collinear designs.
//! * [`rank_report`]: which columns cannot be told apart, by name.
//!
//! The room knows nothing of air conditioners but for the forms file.

pub mod candidates;
mod columns;
pub mod curve;
mod diagnostics;
pub mod equation;
mod error;
pub mod forms;
mod lack_of_fit;
mod linear;
pub mod nonlinear;
mod qr;
mod rank;
mod real;

pub use columns::{ColumnFile, Numbers};
pub use curve::{CurveError, CurveFit, CurveProblem, CurveRequest, fit_curve};
pub use diagnostics::TotalAbout;
pub use equation::{Curve, CurveOnData, Equation, EquationError, EquationProblem};
pub use error::FitError;
pub use lack_of_fit::{LackOfFit, lack_of_fit};
pub use linear::{LinearFit, least_squares, least_squares_extended};
pub use nonlinear::{NonlinearFit, Residuals, Settings, Termination, fit_nonlinear};
pub use rank::{RankReport, rank_report};
pub use real::{DoubleDouble, Real};
