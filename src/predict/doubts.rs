//! The fixed figures behind every doubt, handed over so that a page can compute what [`super::predict`] computes.

use super::{INSIDE_SLACK_K, beyond, capacity, opinion};

/// A mean and a standard deviation.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Normal {
    /// Mean.
    pub mean: f64,
    /// Standard deviation.
    pub sd: f64,
}

impl From<(f64, f64)> for Normal {
    fn from((mean, sd): (f64, f64)) -> Normal {
        Normal { mean, sd }
    }
}

/// What [`super::predict`] and [`super::predict_capacity`] take for granted beyond the runs; the grounds stand beside each figure's own
/// definition.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Doubts {
    /// A target within this of the tested range counts as inside, K.
    pub inside_slack_k: f64,
    /// Relative doubt for each kelvin of ambient beyond the tests, 1/K.
    pub ambient_per_k: f64,
    /// Slope of ln(draw) with intake at fixed speed, 1/K.
    pub fixed_speed_slope: Normal,
    /// The same once a control is clipped, 1/K.
    pub clipped_slope: Normal,
    /// Chance that a ramping control is clipped at the edge of the tested range.
    pub clipped_share: f64,
    /// Unseen bend of ln(draw) with intake, 1/K2.
    pub draw_bend: f64,
    /// Unseen bend of ln(capacity), standard deviation, 1/K2.
    pub capacity_bend: f64,
    /// Least bend of ln(capacity) that is expected, 1/K2; as much again is in doubt.
    pub height_bend: f64,
    /// Share of the squared slope of ln(capacity) by which it bends where that is more.
    pub rise_bend: f64,
    /// What a control may do between set points, as a share of the largest possible.
    pub hidden_corner: f64,
    /// Chance that the last step seen was not the control's last.
    pub more_steps: f64,
    /// Spread of an unseen step, as a share of the mean of those seen.
    pub step_spread: f64,
}

/// The figures in force, for a capacity that is sensible only or not.
pub fn doubts(sensible: bool) -> Doubts {
    Doubts {
        inside_slack_k: INSIDE_SLACK_K,
        ambient_per_k: opinion::AMBIENT_DOUBT_PER_K,
        fixed_speed_slope: beyond::FIXED_SPEED_SLOPE.into(),
        clipped_slope: beyond::CLIPPED_SLOPE.into(),
        clipped_share: beyond::CLIPPED_SHARE,
        draw_bend: beyond::UNSEEN_BEND,
        capacity_bend: capacity::CAPACITY_BEND,
        height_bend: capacity::bends(sensible).0,
        rise_bend: capacity::bends(sensible).1,
        hidden_corner: beyond::HIDDEN_CORNER,
        more_steps: beyond::MORE_STEPS,
        step_spread: beyond::STEP_SPREAD,
    }
}
