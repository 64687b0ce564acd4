//! What can be wrong with data given to this room.

/// Why a statistic cannot be computed from the data given.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum StatsError {
    /// Fewer values than the statistic needs.
    #[error("{what}: {found} given, at least {needed} needed")]
    TooFew {
        /// What was counted.
        what: &'static str,
        /// How many are needed.
        needed: usize,
        /// How many were given.
        found: usize,
    },
    /// A value that is infinite or not a number.
    #[error("{what}: value number {} is {value}; every value must be a finite number", index + 1)]
    NotFinite {
        /// Which list holds it.
        what: &'static str,
        /// Its place in that list, from 0.
        index: usize,
        /// The value.
        value: f64,
    },
    /// Two lists that belong together have different lengths.
    #[error("{what}: {left} values on one side, {right} on the other; they must be as many")]
    Unequal {
        /// Which lists.
        what: &'static str,
        /// Length of the first.
        left: usize,
        /// Length of the second.
        right: usize,
    },
    /// A setting outside the range in which it means something.
    #[error("{what} is {value}; it must be {expected}")]
    OutOfRange {
        /// The setting.
        what: &'static str,
        /// What was given.
        value: f64,
        /// The range in words.
        expected: &'static str,
    },
    /// The values do not vary, so a ratio to their scatter does not exist.
    #[error("{what}: the values do not vary, so there is no scatter to compare with")]
    NoScatter {
        /// Which values.
        what: &'static str,
    },
    /// A matrix that should be a covariance or correlation matrix is not one.
    #[error("{what}: {problem}")]
    BadMatrix {
        /// Which matrix.
        what: &'static str,
        /// What is wrong with it.
        problem: &'static str,
    },
    /// Too many resamples gave no result.
    #[error("{failed} of {count} resamples gave no result; at most a tenth may fail")]
    ResamplesFailed {
        /// How many failed.
        failed: usize,
        /// How many were tried.
        count: usize,
    },
}

/// Checks that every value is finite.
///
/// # Errors
///
/// [`StatsError::NotFinite`] for the first that is not.
pub(super) fn all_finite(what: &'static str, values: &[f64]) -> Result<(), StatsError> {
    match values.iter().position(|value| !value.is_finite()) {
        None => Ok(()),
        Some(index) => Err(StatsError::NotFinite {
            what,
            index,
            value: values[index],
        }),
    }
}

/// Checks that there are at least `needed` values.
///
/// # Errors
///
/// [`StatsError::TooFew`] otherwise.
pub(super) fn at_least(what: &'static str, needed: usize, found: usize) -> Result<(), StatsError> {
    if found < needed {
        Err(StatsError::TooFew {
            what,
            needed,
            found,
        })
    } else {
        Ok(())
    }
}

/// Checks that a probability-like setting lies strictly between 0 and 1.
///
/// # Errors
///
/// [`StatsError::OutOfRange`] otherwise.
pub(super) fn open_unit(what: &'static str, value: f64) -> Result<(), StatsError> {
    if value > 0.0 && value < 1.0 {
        Ok(())
    } else {
        Err(StatsError::OutOfRange {
            what,
            value,
            expected: "between 0 and 1, ends excluded",
        })
    }
}
