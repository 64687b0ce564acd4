//! What each candidate says of a draw, with every doubt apart: predictions join these, explanations weigh them.

use crate::bench::{Bench, Channel};
use crate::fit::candidates::{CandidateDraw, DrawFit};
use crate::fit::forms::At;

use super::INSIDE_SLACK_K;
use super::assumed::AmbientStep;
use super::beyond;
use super::mixture::Component;

/// One of a candidate's opinions: a t distribution, its scale in parts.
#[derive(Clone, Debug)]
pub(super) struct Opinion {
    /// Index into [`DrawFit::candidates`].
    pub candidate: usize,
    /// Weight of the candidate times the share of this opinion of its.
    pub weight: f64,
    /// Centre, W.
    pub centre_w: f64,
    /// Standard uncertainty from the coefficients, W.
    pub coefficients_w: f64,
    /// From the instruments' errors that all runs share, W.
    pub shared_w: f64,
    /// From what a control may do unseen between set points, W.
    pub corner_w: f64,
    /// From a bend, a clipped control or another step beyond the tests, W.
    pub control_w: f64,
    /// From ambient air beyond the tests, W.
    pub ambient_w: f64,
    /// Standard deviation of a further run, W.
    pub run_sd_w: f64,
    /// Degrees of freedom.
    pub dof: f64,
    /// What the candidate says where it stands: at the tested ambient that an assumed slope starts from, if there is one.
    pub own: CandidateDraw,
    /// By what the compressor side is multiplied for an assumed ambient slope; 1 without.
    pub factor: f64,
}

impl Opinion {
    /// Standard uncertainty of the long-run mean, W.
    pub fn mean_sd_w(&self) -> f64 {
        self.coefficients_w
            .hypot(self.shared_w.hypot(self.corner_w))
            .hypot(self.control_w)
            .hypot(self.ambient_w)
            .max(1e-9 * self.centre_w.abs())
    }

    /// As a distribution of the long-run mean.
    pub fn mean_part(&self) -> Component {
        self.component(self.mean_sd_w())
    }

    /// As a distribution of one further run.
    pub fn run_part(&self) -> Component {
        self.component(self.mean_sd_w().hypot(self.run_sd_w))
    }

    fn component(&self, scale: f64) -> Component {
        Component {
            weight: self.weight,
            centre: self.centre_w,
            scale,
            dof: self.dof,
        }
    }
}

/// Doubt about the draw for each kelvin of ambient beyond the tested range, relative to the compressor side. Published slopes are +1.4 to
/// +2.4 % per K of condenser-side air at fixed speed, about 0 where a control holds back (curve sets of NREL/TP-5500-56354, evaluated):
/// a fitted slope from a narrow range is doubted by half of that, as a standard deviation.
pub(super) const AMBIENT_DOUBT_PER_K: f64 = 0.01;

/// All opinions of the draw at a setting and conditions; empty where no candidate says anything about the setting.
///
/// With an assumed ambient `step`, the candidates speak at the tested ambient that it starts from, and their compressor side is carried
/// on by the assumed slope.
pub(super) fn opinions(
    bench: &Bench,
    fit: &DrawFit,
    at: At,
    step: Option<&AmbientStep>,
) -> Vec<Opinion> {
    let range = fit.data.intake_range(at.mode);
    let (low, high) = fit.data.ambient_range();
    let beyond_k = (at.ambient - high).max(low - at.ambient).max(0.0);
    let chance = beyond::ramp_chance(fit);
    let own_at = At {
        ambient: step.map_or(at.ambient, |s| s.from_c),
        ..at
    };
    let doubt = match step {
        Some(s) => s.relative_u(),
        None => AMBIENT_DOUBT_PER_K * (beyond_k - INSIDE_SLACK_K).max(0.0),
    };
    let factor = step.map_or(1.0, AmbientStep::factor);
    let mut list = Vec::new();
    for (i, candidate) in fit.candidates.iter().enumerate() {
        let Some(d) = fit.draw_of(candidate, &own_at) else {
            continue;
        };
        let corner_w = beyond::hidden_corner_w(fit, candidate, &own_at, &d, chance);
        let blower_w = d.draw_w - d.compressor_w;
        let shared_w = shared_w(bench, &leans_on(bench, &own_at, &d));
        // A scatter in proportion grows with the draw; one in watts stays.
        let grown = if step.is_some() {
            (blower_w + factor * d.compressor_w) / d.draw_w
        } else {
            1.0
        };
        for (share, centre, extra) in
            beyond::opinions(fit, candidate, &own_at, &d, range, chance).parts
        {
            list.push(Opinion {
                candidate: i,
                weight: candidate.weight * share,
                centre_w: if step.is_some() {
                    blower_w + factor * (centre - blower_w)
                } else {
                    centre
                },
                coefficients_w: factor * d.mean_sd_w,
                shared_w: grown * shared_w,
                corner_w: factor * corner_w,
                control_w: factor * extra,
                ambient_w: doubt * factor * d.compressor_w,
                run_sd_w: grown * d.run_sd_w,
                dof: d.dof,
                own: d,
                factor,
            });
        }
    }
    list
}

/// What the instruments' errors common to all runs do to a draw, W. An entry for intake and ambient may stand for one error or for two
/// sensors of a kind; a prediction holds for both, so the larger counts.
fn shared_w(bench: &Bench, parts: &[(Channel, f64, f64)]) -> f64 {
    let together = bench.combined_u(parts).shared;
    let apart = parts.iter().map(|p| bench.combined_u(&[*p]).shared);
    together.max(apart.fold(0.0, f64::hypot))
}

/// What a predicted draw leans on, as [`Bench::combined_u`] takes it: the meter's reading, and the thermometers' times the draw's slopes.
pub(crate) fn leans_on(bench: &Bench, at: &At, d: &CandidateDraw) -> Vec<(Channel, f64, f64)> {
    let mut parts = bench.draw_parts(d.draw_w);
    parts.push((Channel::IntakeTemp, at.intake, d.intake_slope_w_per_k));
    parts.push((Channel::AmbientTemp, at.ambient, d.ambient_slope_w_per_k));
    parts
}
