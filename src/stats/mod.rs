//! Statistics for everyone: distributions, tests, intervals, resampling. Knows nothing of air conditioners.
//!
//! Functions of plain numbers return NaN outside their domain (said in each doc) and never panic, so that a
//! caller can test one number at the end of a chain.
//!
//! * [`normal`], [`student_t`], [`chi_square`], [`f`]: the central distributions, both tails, real degrees of freedom.

pub mod chi_square;
pub mod f;
pub mod normal;
pub mod student_t;

mod root;
mod special;
