//! Least squares, curve forms, selection.
//!
//! * [`least_squares`]: linear, weighted, with its by-products in [`LinearFit`]; [`least_squares_extended`] does the
//!   same in doubled precision, for nearly collinear designs; [`rank_report`] names columns that cannot be told apart.
//! * [`nonlinear`]: trust-region least squares with bounds, variable projection and starts from ranges, as an argmin
//!   solver.
//! * [`huber`], [`median_slope`], [`york`]: against wild rows, and with errors in both variables.
//! * [`BlocksSeen`]: what runs of one block share.
//! * [`lack_of_fit`]: what repeated rows say about a curve.
//! * [`equation`] reads curves in plain algebra; [`columns`](ColumnFile) reads files; [`fit_curve`] joins them to the
//!   solvers above.
//! * [`forms`] and [`candidates`]: the curves of an air conditioner's draw, and their comparison.
//!
//! The room knows nothing of air conditioners but for the forms file.

mod apart;
mod between_blocks;
pub mod candidates;
mod columns;
mod corners;
pub mod curve;
mod diagnostics;
pub mod equation;
mod error;
mod extended;
pub mod forms;
mod lack_of_fit;
mod linear;
pub mod nonlinear;
mod qr;
mod rank;
mod real;
mod refine;
mod robust;
mod york;

pub use between_blocks::BlocksSeen;
pub use columns::{ColumnFile, Numbers};
pub use curve::{CurveError, CurveFit, CurveProblem, CurveRequest, fit_curve};
pub use diagnostics::TotalAbout;
pub use equation::{Curve, CurveOnData, Equation, EquationError, EquationProblem};
pub use error::FitError;
pub use extended::least_squares_extended;
pub use lack_of_fit::{LackOfFit, lack_of_fit};
pub use linear::{LinearFit, least_squares};
pub use nonlinear::{NonlinearFit, Residuals, Settings, Termination, fit_nonlinear};
pub use rank::{RankReport, rank_report};
pub use real::{DoubleDouble, Real};
pub use robust::{HUBER_TUNING, HuberFit, MedianSlope, huber, median_slope};
pub use york::{YorkFit, york};
