//! Predictions of the draw where nothing was tested, with intervals that hold what they promise, and their support.

mod adjusted;
mod assumed;
mod beyond;
mod capacity;
mod doubts;
mod explain;
mod left_out;
mod mixture;
mod notes;
mod opinion;

use crate::bench::Bench;
use crate::fit::candidates::DrawFit;
use crate::fit::forms::At;
pub use adjusted::{
    AdjustedRun, AdjustedSetting, Difference, Eer, adjusted, difference, differences,
};
pub use assumed::{
    ASSUMED_SOURCE, AmbientAssumption, AmbientStep, AssumedSlope, NoSlope, WithinTests,
};
pub use beyond::{SeenControl, ramp_chance, seen_control};
pub use capacity::{CapacityPrediction, predict_capacity, predict_capacity_assuming};
pub use doubts::{Doubts, Normal, doubts};
pub use explain::{Explanation, FurtherRun, RunPull, Share, ShareOf, WeighedCandidate, explain};
pub use left_out::{BAND_K, LeftOut, Miss, leave_out};
use mixture::{Component, mean, quantile};
pub use notes::{ambient_caution, apart_note, assumed_note, control_note, prediction_notes};
pub(crate) use opinion::leans_on;
use opinion::{Opinion, opinions};

/// Whether a prediction lies within what was tested.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Support {
    /// Within the tested intake (and ambient) range, at a tested setting.
    Inside,
    /// Beyond it.
    Outside,
}

/// A predicted draw.
#[derive(Clone, Debug)]
pub struct Prediction {
    /// Where it was asked for.
    pub at: At,
    /// Expected draw, W.
    pub draw_w: f64,
    /// Interval for the steady draw of one further run, as a perfect meter would read it, W.
    pub run_w: (f64, f64),
    /// Interval for the long-run mean, W.
    pub mean_w: (f64, f64),
    /// Inside or outside what was tested.
    pub support: Support,
    /// How far beyond the tested intake range, K; zero inside.
    pub intake_beyond_k: f64,
    /// How far beyond the tested ambient range, K; zero inside.
    pub ambient_beyond_k: f64,
    /// Whether this very setting was tested.
    pub setting_tested: bool,
    /// What the control seems to do with the intake.
    pub control: SeenControl,
    /// The assumed slope that carried it to the ambient asked for; none where the runs speak.
    pub assumed: Option<AmbientStep>,
}

/// Predicts the draw at a setting and conditions, at a confidence level such as 0.95.
///
/// The interval joins the candidates by weight; each is a t distribution about its own curve with the scatter between
/// runs, the coefficients' uncertainty and the instruments' shared parts (meter; thermometer times slope) in quadrature.
/// `None` where no candidate says anything about the setting.
pub fn predict(bench: &Bench, fit: &DrawFit, at: At, level: f64) -> Option<Prediction> {
    predict_assuming(bench, fit, at, level, None)
}

/// As [`predict`], with an assumed slope from the tested ambient to the one asked for (see [`AmbientAssumption::steps`]).
pub fn predict_assuming(
    bench: &Bench,
    fit: &DrawFit,
    at: At,
    level: f64,
    assumed: Option<AmbientStep>,
) -> Option<Prediction> {
    let data = &fit.data;
    let (low, high) = data.intake_range(at.mode);
    let intake_beyond_k = distance_beyond(at.intake, low, high);
    let (amb_low, amb_high) = data.ambient_range();
    let ambient_beyond_k = distance_beyond(at.ambient, amb_low, amb_high);
    let setting_tested = data
        .tested
        .get(at.mode)
        .and_then(|m| m.get(at.level))
        .is_some_and(|n| *n > 0);
    let opinions = opinions(bench, fit, at, assumed.as_ref());
    let run: Vec<Component> = opinions.iter().map(Opinion::run_part).collect();
    let mean_parts: Vec<Component> = opinions.iter().map(Opinion::mean_part).collect();
    let tail = (1.0 - level) / 2.0;
    // A draw is never negative, however wide the interval.
    let mean_w = (
        quantile(&mean_parts, tail)?.max(0.0),
        quantile(&mean_parts, 1.0 - tail)?,
    );
    // Nobody knows a further run better than the mean; where curves part ways, the end of an interval can lie between them
    // and move inwards as the scatter is added.
    let run_w = (
        quantile(&run, tail)?.max(0.0).min(mean_w.0),
        quantile(&run, 1.0 - tail)?.max(mean_w.1),
    );
    Some(Prediction {
        at,
        draw_w: mean(&run)?,
        run_w,
        mean_w,
        support: if intake_beyond_k > INSIDE_SLACK_K
            || ambient_beyond_k > INSIDE_SLACK_K
            || !setting_tested
        {
            Support::Outside
        } else {
            Support::Inside
        },
        intake_beyond_k,
        ambient_beyond_k,
        setting_tested,
        control: seen_control(fit),
        assumed,
    })
}

/// Readings scatter about a set point; a target within this of the range counts as inside. Common practice, no source.
const INSIDE_SLACK_K: f64 = 0.5;

fn distance_beyond(value: f64, low: f64, high: f64) -> f64 {
    (value - high).max(low - value).max(0.0)
}
