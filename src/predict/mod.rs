//! Predictions of the draw where nothing was tested, with intervals that hold what they promise, and their support.

mod beyond;
mod capacity;
mod mixture;
mod notes;

use crate::bench::{Bench, Channel};
use crate::fit::candidates::{CandidateDraw, DrawFit};
use crate::fit::forms::At;
pub use beyond::{SeenControl, seen_control};
pub use capacity::{CapacityPrediction, predict_capacity};
use mixture::{Component, mean, quantile};
pub use notes::{ambient_caution, prediction_notes};

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
}

/// Predicts the draw at a setting and conditions, at a confidence level such as 0.95.
///
/// The interval joins the candidates by weight; each is a t distribution about its own curve with the scatter between
/// runs, the coefficients' uncertainty and the instruments' shared parts (meter; thermometer times slope) in quadrature.
/// `None` where no candidate says anything about the setting.
pub fn predict(bench: &Bench, fit: &DrawFit, at: At, level: f64) -> Option<Prediction> {
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
    let chance = beyond::ramp_chance(fit);
    let ambient_doubt = AMBIENT_DOUBT_PER_K * (ambient_beyond_k - INSIDE_SLACK_K).max(0.0);
    let mut run = Vec::new();
    let mut mean_parts = Vec::new();
    for candidate in &fit.candidates {
        let Some(d) = fit.draw_of(candidate, &at) else {
            continue;
        };
        let shared = shared_u(bench, &d, &at)
            .hypot(beyond::hidden_corner_w(fit, candidate, &at, &d, chance));
        for (share, centre, extra) in
            beyond::opinions(fit, candidate, &at, &d, (low, high), chance).parts
        {
            let mean_sd = d
                .mean_sd_w
                .hypot(shared)
                .hypot(extra)
                .hypot(ambient_doubt * d.compressor_w)
                .max(1e-9 * d.draw_w);
            let part = |scale| Component {
                weight: candidate.weight * share,
                centre,
                scale,
                dof: d.dof,
            };
            run.push(part(mean_sd.hypot(d.run_sd_w)));
            mean_parts.push(part(mean_sd));
        }
    }
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
    })
}

/// Readings scatter about a set point; a target within this of the range counts as inside. Common practice, no source.
const INSIDE_SLACK_K: f64 = 0.5;

/// Doubt about the draw for each kelvin of ambient beyond the tested range, relative to the compressor side. Published slopes are +1.4 to
/// +2.4 % per K of condenser-side air at fixed speed, about 0 where a control holds back (curve sets of NREL/TP-5500-56354, evaluated):
/// a fitted slope from a narrow range is doubted by half of that, as a standard deviation.
const AMBIENT_DOUBT_PER_K: f64 = 0.01;

fn distance_beyond(value: f64, low: f64, high: f64) -> f64 {
    (value - high).max(low - value).max(0.0)
}

/// The instruments' errors that all runs share, W: the meter's own, and those of the thermometers times the draw's slopes.
fn shared_u(bench: &Bench, d: &CandidateDraw, at: &At) -> f64 {
    let mut parts = bench.draw_parts(d.draw_w);
    parts.push((Channel::IntakeTemp, at.intake, d.intake_slope_w_per_k));
    parts.push((Channel::AmbientTemp, at.ambient, d.ambient_slope_w_per_k));
    bench.combined_u(&parts).shared
}
