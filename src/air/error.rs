//! What the air side refuses.

use crate::quantity::significant;

/// A reading that no air-side result can be computed from.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AirError {
    /// A reading outside the range in which the formulations hold, or not finite.
    #[error("found {what} of {} {unit}, expected {low} to {high} {unit}", shown(*.value))]
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
        "found {what} of {} {unit}, expected at most {} {unit}: air of {} degC is saturated there",
        shown(*.value), shown(*.limit), shown(*.temp_c)
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
        "found a wet bulb of {} degC in air of {} degC, expected one that air of some humidity can have (even dry air would hold it higher)",
        shown(*.wet_bulb_c), shown(*.temp_c)
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
}

/// Six significant digits without trailing zeros: enough to find a reading by, free of binary rounding.
fn shown(value: f64) -> String {
    match significant(value, 6) {
        _ if !value.is_finite() => value.to_string(),
        text if text.contains('.') => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        text => text,
    }
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
