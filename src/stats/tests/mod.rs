//! Tests of one or two samples, of residuals, and of nested fits.
//!
//! A test here answers with the estimate, its standard error and degrees of freedom; p-values and intervals are read
//! from that, so that neither is ever reported without the other at hand.

mod durbin_watson;
mod estimate;
mod grubbs;
mod nested;
mod samples;

pub use durbin_watson::{DurbinWatson, durbin_watson, durbin_watson_p};
pub use estimate::{Equivalence, Estimate};
pub use grubbs::{Grubbs, grubbs, grubbs_critical};
pub use nested::{nested_f, pure_error};
pub use samples::{one_sample, paired, pooled, welch};
