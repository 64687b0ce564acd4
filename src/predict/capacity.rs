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

/// Bend of ln(total capacity) beyond the tested intake, per K2 of distance × (distance + range): mean and standard deviation. Common
/// practice, no source: the change of sensible share over some kelvin.
const TOTAL_BEND: (f64, f64) = (0.0, 3e-4);
/// The same of a sensible capacity. It goes with the intake's height d above the coil's surface, some 12 to 20 K, which follows the intake
/// by about half: ln d bends by -0.25/d2, and half of that counts. As much again is left open for a coil that dries.
const SENSIBLE_BEND: (f64, f64) = (-6e-4, 6e-4);

/// The one or the other.
pub(super) fn unseen_bend(sensible: bool) -> (f64, f64) {
    if sensible { SENSIBLE_BEND } else { TOTAL_BEND }
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
    let (bend, bend_u) = unseen_bend(data.sensible);
    let far = beyond * (beyond + high - low);
    let bent = (bend * far).exp();
    let shared = shared_capacity_u(bench, data, (at.mode, at.level)).unwrap_or_default();
    let mut parts = Vec::new();
    for candidate in &fit.candidates {
        let Some(d) = fit.draw_of(candidate, &at) else {
            continue;
        };
        let scale = d
            .mean_sd_w
            .hypot(d.draw_w * shared)
            .hypot(d.draw_w * bend_u * far)
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
