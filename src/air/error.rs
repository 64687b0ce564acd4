//! What the air side refuses.

/// A reading that no air-side result can be computed from.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AirError {
    /// A reading outside the range in which the formulations hold, or not finite.
    #[error("found {what} of {value} {unit}, expected {low} to {high} {unit}")]
    OutOfRange {
        /// The quantity, in words.
        what: &'static str,
        /// The reading, in `unit`.
        value: f64,
        /// Lowest accepted value, in `unit`.
        low: f64,
        /// Highest accepted value, in `unit`.
        high: f64,
        /// Unit of the three figures.
        unit: &'static str,
    },
    /// More vapour than air of this temperature can hold.
    #[error(
        "found {what} of {value} {unit}, expected at most {limit} {unit}: air of {temp_c} degC is saturated there"
    )]
    AboveSaturation {
        /// The quantity, in words.
        what: &'static str,
        /// The reading, in `unit`.
        value: f64,
        /// The largest possible value, in `unit`.
        limit: f64,
        /// Unit of the two figures.
        unit: &'static str,
        /// Dry-bulb temperature, degC.
        temp_c: f64,
    },
    /// A wet bulb so far below the dry bulb that even dry air would not cool it there.
    #[error(
        "found a wet bulb of {wet_bulb_c} degC in air of {temp_c} degC, expected one that air of some humidity can have (even dry air would hold it higher)"
    )]
    WetBulbTooLow {
        /// Wet-bulb reading, degC.
        wet_bulb_c: f64,
        /// Dry-bulb temperature, degC.
        temp_c: f64,
    },
    /// A measuring rule that has no positions for so many points.
    #[error("found {points} points on a line, expected {expected} for this rule")]
    NoSuchTraverse {
        /// Points asked for.
        points: usize,
        /// The numbers that the rule has.
        expected: &'static str,
    },
    /// A standard uncertainty that is negative or not finite.
    #[error("found {value} as the standard uncertainty of the {what}, expected zero or more")]
    NotAnUncertainty {
        /// The reading, in words.
        what: &'static str,
        /// What was given.
        value: f64,
    },
    /// No readings at all.
    #[error("found no {what}, expected at least one")]
    Nothing {
        /// What is missing, in words.
        what: &'static str,
    },
}

/// Accepts a finite value within the limits.
pub(super) fn within(
    what: &'static str,
    value: f64,
    low: f64,
    high: f64,
    unit: &'static str,
) -> Result<f64, AirError> {
    if value >= low && value <= high {
        return Ok(value);
    }
    Err(AirError::OutOfRange {
        what,
        value,
        low,
        high,
        unit,
    })
}
