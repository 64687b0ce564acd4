//! Uncertainty from the inputs to a result: JCGM 100:2008 (GUM) to first and second order, and JCGM 101:2008 by Monte
//! Carlo.
//!
//! * [`linear`] with exact derivatives of a [`Model`]; [`linear_numeric`] for a plain function; [`from_sensitivities`]
//!   when the derivatives are known.
//! * [`second_order`]: whether the straight-line picture is good enough.
//! * [`monte_carlo`], [`monte_carlo_to_digits`]: distributions instead of standard uncertainties.

mod distribution;
mod input;
mod linear;
mod monte_carlo;
mod second_order;

pub use distribution::{Distribution, Draw};
pub use input::{Input, Model, from_readings};
pub use linear::{Contribution, Output, Propagated, from_sensitivities, linear, linear_numeric};
pub use monte_carlo::{Adaptive, Sample, monte_carlo, monte_carlo_to_digits};
pub use second_order::{SecondOrder, SecondOrderTerm, second_order};
