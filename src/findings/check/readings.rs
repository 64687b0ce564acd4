//! Single readings that look odd.

use crate::bench::{Bench, Channel, Finding, Place, Severity};
use crate::fit::forms::{DrawData, FlowScale};

use super::add;
use super::design::level_name;

/// A mismatch between power and voltage × current worth a word, relative. Common practice, no source: good shunts and
/// averaged readings agree within 2 %.
const POWER_MISMATCH: f64 = 0.02;
/// Reading resolution allowed on top, W.
const POWER_RESOLUTION_W: f64 = 0.5;

/// Runs whose readings contradict each other or the order of things.
pub(super) fn odd(bench: &Bench, data: &DrawData, findings: &mut Vec<Finding>) {
    for p in &bench.points {
        let place = Place::line(&bench.points_file, p.line);
        if let (Some(v), Some(i)) = (p.get(Channel::Voltage), p.get(Channel::Current)) {
            let (w, vi) = (p.draw_w(), v * i);
            if (w - vi).abs() > POWER_MISMATCH * w + POWER_RESOLUTION_W {
                findings.push(
                    Finding::new(
                        Severity::Warning,
                        "power-mismatch",
                        format!(
                            "Run {}: power {w:.1} W against voltage × current {vi:.1} W.",
                            p.run
                        ),
                    )
                    .at(&place),
                );
            }
        }
        if let (crate::bench::Kind::Cooling, Some(t_in), Some(t_out)) =
            (p.kind, p.intake_c(), p.get(Channel::OutletTemp))
            && t_out >= t_in
        {
            findings.push(
                Finding::new(
                    Severity::Warning,
                    "outlet-not-colder",
                    format!("Run {}: a cooling run whose outlet ({t_out:.1} degC) is not colder than its intake ({t_in:.1} degC). Was the compressor on? Are the two sensors swapped?", p.run),
                )
                .at(&place),
            );
        }
    }
    if data.flow_scale == FlowScale::Airflow {
        for (i, pair) in data.levels.windows(2).enumerate() {
            if let [a, b] = pair
                && let (Some(low), Some(high)) = (a.flow, b.flow)
                && high <= low
                && a.label.parse::<f64>().is_ok()
            {
                add(
                    findings,
                    Severity::Warning,
                    "airflow-not-rising",
                    format!(
                        "Fan {} moves no more air ({high:.0} m3/h) than fan {} ({low:.0} m3/h).",
                        level_name(data, i + 1),
                        level_name(data, i)
                    ),
                );
            }
        }
    }
    case_twins(&data.modes, "mode", findings);
}

/// Names that differ in case or spaces only, which makes two settings of one.
fn case_twins(names: &[String], what: &str, findings: &mut Vec<Finding>) {
    for (i, a) in names.iter().enumerate() {
        for b in names.iter().skip(i + 1) {
            let fold = |s: &str| {
                s.chars()
                    .filter(|c| c.is_alphanumeric())
                    .flat_map(char::to_lowercase)
                    .collect::<String>()
            };
            if fold(a) == fold(b) {
                add(
                    findings,
                    Severity::Warning,
                    "names-alike",
                    format!(
                        "The {what}s `{a}` and `{b}` differ in case or spacing only; they are taken for two."
                    ),
                );
            }
        }
    }
}
