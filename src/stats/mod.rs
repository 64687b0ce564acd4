//! Statistics for everyone: distributions, tests, intervals, resampling. Knows nothing of air conditioners.
//!
//! Functions of plain numbers return NaN outside their domain (said in each doc) and never panic, so that a caller can
//! test one number at the end of a chain. Functions of data return a [`StatsError`] that says what is wrong with them.
//!
//! * [`normal`], [`student_t`], [`chi_square`], [`f`]: the central distributions, both tails, real degrees of freedom.
//! * [`noncentral`], [`studentised_range`]: what power and pairwise comparison need.
//! * [`summary`], [`autocorrelation`], [`anova`]: describing data.
//! * [`tests`], [`multiple`]: is there a difference, is there none, among several.
//! * [`power`], [`tolerance`]: how much data, how wide.
//! * [`permutation`], [`bootstrap`]: resampling.
//! * [`propagate`]: uncertainty from inputs to results.
//! * [`random`]: seeded streams.

pub mod anova;
pub mod autocorrelation;
pub mod bootstrap;
pub mod chi_square;
pub mod f;
pub mod multiple;
pub mod noncentral;
pub mod normal;
pub mod permutation;
pub mod power;
pub mod propagate;
pub mod random;
pub mod student_t;
pub mod studentised_range;
pub mod summary;
pub mod tests;
pub mod tolerance;

mod chi_average;
mod error;
mod root;
mod special;

pub use error::StatsError;
