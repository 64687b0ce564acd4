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
/// Least bend of ln(sensible capacity), per K2. It goes with the intake's height d above the coil's surface, some 12 to 20 K, which follows the
/// intake by about half: ln d bends by -0.25/d2, and half of that counts.
const HEIGHT_BEND: f64 = 6e-4;
/// Where it rises steeper, s a kelvin, a compressor that follows the intake helps: a rise in proportion to the temperature bends by -s2/2.
const RISE_BEND: f64 = 0.5;

/// By how much ln(capacity) bends where it rises by `slope` a kelvin, expected and as standard deviation, per K2. As much again as is
/// expected is left open, for a coil that dries or a compressor at its top speed.
fn unseen_bend(sensible: bool, slope: f64) -> (f64, f64) {
    let (height, rise) = bends(sensible);
    let expected = height.max(rise * slope * slope);
    (expected, expected.hypot(CAPACITY_BEND))
}

/// The least bend of a capacity that is sensible only or not, and the share of its squared slope; none is expected of a total.
pub(super) fn bends(sensible: bool) -> (f64, f64) {
    if sensible {
        (HEIGHT_BEND, RISE_BEND)
    } else {
        (0.0, 0.0)
    }
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
        let (bend, bend_u) = unseen_bend(data.sensible, d.intake_slope_w_per_k / d.draw_w);
        let bent = (-bend * far).exp();
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

#[cfg(test)]
mod tests {
    use super::unseen_bend;

    #[test]
    fn a_steep_sensible_capacity_bends_by_half_its_squared_slope() {
        // 5 % a kelvin: 0.05²/2 = 1.25e-3; 3 %: 4.5e-4, less than the least. √(1.25² + 0.3²) = 1.285496, √(6² + 3²) = 6.708204.
        for (slope, bend, sd) in [(0.05, 1.25e-3, 1.285496e-3), (0.03, 6e-4, 6.708204e-4)] {
            let found = unseen_bend(true, slope);
            assert!((found.0 - bend).abs() < 1e-12 && (found.1 - sd).abs() < 1e-9);
        }
        assert_eq!(unseen_bend(false, 0.05), (0.0, 3e-4));
    }
}
