//! Predicted capacity: the same mixture on the air side's curves.

use crate::bench::Bench;
use crate::budget::shared_capacity_u;
use crate::fit::candidates::DrawFit;
use crate::fit::forms::At;

use super::assumed::AmbientStep;
use super::mixture::{Component, mean, quantile};

/// A predicted capacity.
#[derive(Clone, Copy, Debug)]
pub struct CapacityPrediction {
    /// Expected capacity, W.
    pub capacity_w: f64,
    /// Interval for the long-run mean, W.
    pub mean_w: (f64, f64),
}

/// Standard deviation of an unseen bend of ln(capacity) beyond the tested intake, per K2 of distance × (distance + range). Common
/// practice, no source: the change of sensible share over some kelvin.
pub(super) const CAPACITY_BEND: f64 = 3e-4;
/// A sensible capacity goes with the intake's height above the coil's surface: in proportion to the temperature, so that its logarithm,
/// rising by s a kelvin, bends by -s2/2. As much again is left open for a coil that dries or a compressor that is clipped.
const HEIGHT_BEND: f64 = 0.5;

/// The share of the squared slope of ln(capacity) by which it bends.
pub(super) fn height_bend(sensible: bool) -> f64 {
    if sensible { HEIGHT_BEND } else { 0.0 }
}

/// Predicts the capacity at a setting and conditions; `None` where no candidate says anything about the setting.
/// `fit` is a fit of [`crate::fit::forms::CapacityData`].
pub fn predict_capacity(
    bench: &Bench,
    fit: &DrawFit,
    at: At,
    level: f64,
) -> Option<CapacityPrediction> {
    predict_capacity_assuming(bench, fit, at, level, None)
}

/// As [`predict_capacity`], with an assumed slope from the tested ambient to the one asked for.
pub fn predict_capacity_assuming(
    bench: &Bench,
    fit: &DrawFit,
    at: At,
    level: f64,
    assumed: Option<AmbientStep>,
) -> Option<CapacityPrediction> {
    let data = &fit.data;
    let at = At {
        ambient: assumed.map_or(at.ambient, |s| s.from_c),
        ..at
    };
    let factor = assumed.map_or(1.0, |s| s.factor());
    let doubt = assumed.map_or(0.0, |s| s.relative_u());
    let (low, high) = data.intake_range(at.mode);
    let beyond = (at.intake - high).max(low - at.intake).max(0.0);
    let far = beyond * (beyond + high - low);
    let shared = shared_capacity_u(bench, data, (at.mode, at.level)).unwrap_or_default();
    let mut parts = Vec::new();
    for candidate in &fit.candidates {
        let Some(d) = fit.draw_of(candidate, &at) else {
            continue;
        };
        let slope = d.intake_slope_w_per_k / d.draw_w;
        let bend = height_bend(data.sensible) * slope * slope;
        let bent = (-bend * far).exp();
        let scale = d
            .mean_sd_w
            .hypot(d.draw_w * shared)
            .hypot(d.draw_w * bend.hypot(CAPACITY_BEND) * far)
            .hypot(d.draw_w * doubt)
            .max(1e-9 * d.draw_w);
        parts.push(Component {
            weight: candidate.weight,
            centre: factor * bent * d.draw_w,
            scale: factor * bent * scale,
            dof: d.dof,
        });
    }
    let tail = (1.0 - level) / 2.0;
    Some(CapacityPrediction {
        capacity_w: mean(&parts)?,
        mean_w: (quantile(&parts, tail)?, quantile(&parts, 1.0 - tail)?),
    })
}
