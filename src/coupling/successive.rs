//! Draw steps that coincide with fan steps: runs that followed each other and changed only the fan level.
//!
//! Two runs in a row share the hour, the battery and the weather, so a drift over the day cannot feign their difference.

use crate::fit::forms::{DrawData, DrawRow};
use crate::stats::student_t;

use super::elasticity::{Elasticity, Question};
use super::evidence::Evidence;
use super::verdict::Allowance;

/// Intakes closer than this are the same condition, K.
const SAME_INTAKE_K: f64 = 1.5;
/// Fewer steps say nothing.
const FEWEST_STEPS: usize = 4;
/// A step of ln(airflow) under which two levels do not differ.
const LEAST_STEP: f64 = 0.03;

/// The line of evidence; silent where too few runs followed each other so.
pub(super) fn successive_runs(
    question: &Question<'_>,
    allowance: &Allowance,
    level: f64,
) -> Evidence {
    let silent = |why: String| Evidence {
        name: "successive-runs",
        says: "silent",
        detail: why,
        p_value: None,
        value: None,
    };
    let steps = steps(question);
    if steps.len() < FEWEST_STEPS {
        return silent(format!(
            "{} runs followed another that differed in the fan level only; at least {FEWEST_STEPS} such steps are needed.",
            if steps.is_empty() {
                "No".to_owned()
            } else {
                steps.len().to_string()
            }
        ));
    }
    let Some(e) = slope(&steps, level) else {
        return silent("The steps between successive runs give no slope.".to_owned());
    };
    Evidence {
        name: "successive-runs",
        says: allowance.judge(&e).name(),
        detail: format!(
            "In {} steps from a run to the next that changed the fan level only, the compressor side's draw followed airflow to the power {:.2} ({:.2} to {:.2}); a drift over the day cannot feign this.",
            steps.len(),
            e.value,
            e.low,
            e.high
        ),
        p_value: None,
        value: Some(e),
    }
}

/// Changes of ln(airflow) and ln(compressor side) from each run to the next, where only the fan level changed.
fn steps(question: &Question<'_>) -> Vec<(f64, f64)> {
    let data = question.data;
    let mut ordered: Vec<(&DrawRow, f64)> = { data.rows.iter() }
        .filter_map(|r| Some((r, r.order?)))
        .collect();
    ordered.sort_by(|a, b| a.0.block.cmp(&b.0.block).then(a.1.total_cmp(&b.1)));
    let log_side = |r: &DrawRow| {
        let blower = question.blower_w.get(r.level).copied().unwrap_or(0.0);
        (r.draw - blower).ln()
    };
    ordered
        .windows(2)
        .filter_map(|pair| {
            let [(a, first), (b, second)] = pair else {
                return None;
            };
            let alone = a.mode == b.mode
                && a.block == b.block
                && question.modes.contains(&a.mode)
                && (a.intake - b.intake).abs() < SAME_INTAKE_K
                && second - first < 1.5;
            let flow = level_x(data, b)? - level_x(data, a)?;
            let draw = log_side(b) - log_side(a);
            (alone && flow.abs() > LEAST_STEP && draw.is_finite()).then_some((flow, draw))
        })
        .collect()
}

fn level_x(data: &DrawData, row: &DrawRow) -> Option<f64> {
    data.levels.get(row.level).and_then(|l| l.x)
}

/// Least squares through the origin. Successive steps share a run, which leaves the estimate unbiased; their errors then lean
/// against each other, so this interval is a little wide.
fn slope(steps: &[(f64, f64)], level: f64) -> Option<Elasticity> {
    let xx: f64 = steps.iter().map(|(x, _)| x * x).sum();
    let xy: f64 = steps.iter().map(|(x, y)| x * y).sum();
    let value = xy / xx;
    let dof = steps.len() - 1;
    let rss: f64 = { steps.iter() }.map(|(x, y)| (y - value * x).powi(2)).sum();
    let u = (rss / dof as f64 / xx).sqrt();
    let half = u * student_t::two_sided(level, dof as f64);
    half.is_finite().then_some(Elasticity {
        value,
        low: value - half,
        high: value + half,
        u,
        dof,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: x = (1, -1, 2), y = (0.6, -0.4, 1.0): xy = 3.0, xx = 6, slope 0.5; residuals 0.1, 0.1, 0; rss 0.02 on 2 degrees of freedom,
    /// u = sqrt(0.01 / 6) = 0.040825; t(95 %, 2) = 4.302653.
    #[test]
    fn the_slope_through_the_origin_is_that_by_hand() {
        let e = slope(&[(1.0, 0.6), (-1.0, -0.4), (2.0, 1.0)], 0.95).unwrap();
        assert!((e.value - 0.5).abs() < 1e-12);
        assert!((e.high - e.value - 4.302_653 * 0.040_825).abs() < 1e-5);
    }
}
