//! What the fit's residuals tell: runs that stand apart, drift over the order of testing, blocks that differ.

use crate::bench::{Bench, Finding, Place, Severity};
use crate::fit::candidates::fit_draw;
use crate::fit::forms::DrawData;
use crate::predict::{SeenControl, seen_control};
use crate::stats::student_t;

use super::add;
use super::design::{correlation, mean};

/// Chance of a false alarm of the tests on drift and blocks.
const FALSE_ALARM: f64 = 0.01;

/// Beyond this many times the scatter the figure says no more.
const MOST_TIMES: f64 = 1000.0;

/// Tests on the residuals of the most credible curve.
pub(super) fn drift_and_outliers(bench: &Bench, data: &DrawData, findings: &mut Vec<Finding>) {
    let Ok(fit) = fit_draw(data.clone()) else {
        add(
            findings,
            Severity::Error,
            "too-few-runs",
            format!(
                "{} too few for any curve with an interval.",
                match data.rows.len() {
                    1 => "1 cooling run is".to_owned(),
                    n => format!("{n} cooling runs are"),
                }
            ),
        );
        return;
    };
    if data.intake_varied && seen_control(&fit) != SeenControl::Fixed {
        add(
            findings,
            Severity::Note,
            "control-follows-intake",
            "The draw changes so steeply with the intake that the unit's control seems to follow it. Predictions between tested intakes assume that it does so smoothly, those beyond allow for a top speed; runs at an intake between the tested ones would tell.".to_owned(),
        );
    }
    let best = &fit.best().fit;
    if best.dof() < 2 {
        return;
    }
    for (point, t) in fit.runs_apart() {
        if let Some(p) = bench.points.get(point) {
            findings.push(
                Finding::new(
                    Severity::Warning,
                    "run-stands-apart",
                    format!(
                        "Run {} ({} fan {}) draws {} than the curve says by {} times its scatter. It is kept; look it up in the notes, and repeat it.",
                        p.run,
                        p.mode,
                        p.fan,
                        if t > 0.0 { "more" } else { "less" },
                        if t.abs() < MOST_TIMES {
                            format!("{:.1}", t.abs())
                        } else {
                            // The other runs lie on the curve exactly.
                            format!("more than {MOST_TIMES:.0}")
                        }
                    ),
                )
                .at(&Place::line(&bench.points_file, p.line)),
            );
        }
    }
    let pairs: Vec<(f64, f64)> = data
        .rows
        .iter()
        .zip(best.studentised())
        .filter_map(|(r, e)| Some((r.order?, e?)))
        .collect();
    if pairs.len() > 8 {
        let r = correlation(&pairs);
        if chance_of_correlation(r, pairs.len()) < FALSE_ALARM {
            add(
                findings,
                Severity::Warning,
                "drift",
                format!(
                    "What the curve leaves over {} with the order of testing (correlation {r:.2}): something drifted, such as the battery, the room or a sensor.",
                    if r > 0.0 { "rises" } else { "falls" }
                ),
            );
        }
    }
    if data.blocks.len() == 2 {
        let of = |b: usize| -> Vec<f64> {
            data.rows
                .iter()
                .zip(&best.residuals)
                .filter(|(r, _)| r.block == b)
                .map(|(_, e)| *e)
                .collect()
        };
        let (a, b) = (of(0), of(1));
        if a.len() > 3 && b.len() > 3 {
            let (ma, mb) = (mean(a.iter().copied()), mean(b.iter().copied()));
            if chance_of_difference(&a, &b) < FALSE_ALARM {
                add(
                    findings,
                    Severity::Warning,
                    "blocks-differ",
                    format!(
                        "Block {} draws {:.1} % {} than block {} at the same settings and conditions.",
                        data.blocks.get(1).map_or("", String::as_str),
                        100.0 * (mb - ma).abs(),
                        if mb > ma { "more" } else { "less" },
                        data.blocks.first().map_or("", String::as_str)
                    ),
                );
            }
        }
    }
}

/// How often unrelated pairs correlate as strongly, either way: Student's t of r with two degrees fewer than pairs.
fn chance_of_correlation(r: f64, pairs: usize) -> f64 {
    let dof = pairs as f64 - 2.0;
    let t = r * (dof / (1.0 - r * r).max(1e-12)).sqrt();
    2.0 * student_t::sf(t.abs(), dof)
}

/// How often two samples of one population differ as much in their means (Student's t, pooled variance); 1 where nothing scatters.
fn chance_of_difference(a: &[f64], b: &[f64]) -> f64 {
    let (ma, mb) = (mean(a.iter().copied()), mean(b.iter().copied()));
    let ss = a.iter().map(|v| (v - ma).powi(2)).sum::<f64>()
        + b.iter().map(|v| (v - mb).powi(2)).sum::<f64>();
    let dof = (a.len() + b.len() - 2) as f64;
    let se = (ss / dof * (1.0 / a.len() as f64 + 1.0 / b.len() as f64)).sqrt();
    if se > 0.0 {
        2.0 * student_t::sf(((ma - mb) / se).abs(), dof)
    } else {
        1.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chances_of_a_correlation_and_of_a_difference() {
        // scipy 1.17: 2*t.sf(0.6*sqrt(8/0.64), 8).
        assert!((chance_of_correlation(0.6, 10) - 0.066688).abs() < 1e-12);
        assert_eq!(
            chance_of_correlation(-0.6, 10),
            chance_of_correlation(0.6, 10)
        );
        // Means 2.5 and 5, squares 5 + 20 about them: t = -sqrt(3) with 6 degrees, whose chance is 1 - sqrt(3)/2 in closed form.
        let p = chance_of_difference(&[1.0, 2.0, 3.0, 4.0], &[2.0, 4.0, 6.0, 8.0]);
        assert!((p - (1.0 - 0.75f64.sqrt())).abs() < 1e-12, "{p}");
        // Five against two: 0 ± 1 and 3 ± 1, squares 4 + 2, t = -3 / sqrt(6/5 * (1/5 + 1/2)).
        let p = chance_of_difference(&[-1.0, 1.0, -1.0, 1.0, 0.0], &[2.0, 4.0]);
        let t: f64 = 3.0 / (1.2f64 * 0.7).sqrt();
        assert!((p - 2.0 * student_t::sf(t, 5.0)).abs() < 1e-12, "{p}");
        assert_eq!(chance_of_difference(&[1.0, 1.0], &[2.0, 2.0]), 1.0);
    }
}
