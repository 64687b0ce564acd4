//! Single readings that look odd.

use crate::bench::{Bench, Channel, Finding, Kind, Place, Severity};
use crate::fit::forms::{DrawData, FlowScale};
use crate::quantity::{Dimension, Said};

use super::add;
use super::design::level_name;

/// A mismatch between power and voltage × current worth a word, relative. Common practice, no source: good shunts and
/// averaged readings agree within 2 %.
const POWER_MISMATCH: f64 = 0.02;
/// Share of the least cooling draw at which a fan-only run is no longer believed; the draw forms drop the blower there too.
const FAN_ONLY_SHARE: f64 = 0.9;
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
        if let (Kind::Cooling, Some(t_in), Some(t_out)) =
            (p.kind, p.intake_c(), p.get(Channel::OutletTemp))
            && t_out >= t_in
        {
            findings.push(
                Finding::new(
                    Severity::Warning,
                    "outlet-not-colder",
                    Said::of(|units| format!(
                        "Run {}: a cooling run whose outlet ({}) is not colder than its intake ({}). Was the compressor on? Are the two sensors swapped?",
                        p.run,
                        units.shown(Dimension::Temperature, t_out, 1),
                        units.shown(Dimension::Temperature, t_in, 1)
                    )),
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
                    Said::of(|units| {
                        format!(
                            "Fan {} moves no more air ({}) than fan {} ({}).",
                            level_name(data, i + 1),
                            units.shown(Dimension::Flow, high, 0),
                            level_name(data, i),
                            units.shown(Dimension::Flow, low, 0)
                        )
                    }),
                );
            }
        }
    }
    case_twins(&data.modes, "mode", findings);
    let levels: Vec<String> = data.levels.iter().map(|l| l.label.clone()).collect();
    case_twins(&levels, "fan level", findings);
    fan_only_too_large(bench, data, findings);
}

/// Fan-only runs that draw as much as cooling runs at their level: the compressor was on, or the kind is wrong.
fn fan_only_too_large(bench: &Bench, data: &DrawData, findings: &mut Vec<Finding>) {
    for p in bench.of_kind(Kind::FanOnly) {
        let least = data
            .rows
            .iter()
            .filter(|r| data.levels.get(r.level).is_some_and(|l| l.label == p.fan))
            .map(|r| r.draw)
            .fold(f64::INFINITY, f64::min);
        if p.draw_w() >= FAN_ONLY_SHARE * least {
            findings.push(
                Finding::new(
                    Severity::Warning,
                    "fan-only-draws-too-much",
                    format!(
                        "Run {}: a fan-only run that draws {:.1} W, where cooling runs at fan {} draw from {least:.1} W. The fan-only runs are not used then. Was the compressor off?",
                        p.run,
                        p.draw_w(),
                        p.fan
                    ),
                )
                .at(&Place::line(&bench.points_file, p.line)),
            );
        }
    }
}

/// Names that differ in case, spaces or zeros only (`Low` and `low`, `1` and `1.0`), which makes two settings of one.
fn case_twins(names: &[String], what: &str, findings: &mut Vec<Finding>) {
    for (i, a) in names.iter().enumerate() {
        for b in names.iter().skip(i + 1) {
            let fold = |s: &str| {
                s.chars()
                    .filter(|c| c.is_alphanumeric())
                    .flat_map(char::to_lowercase)
                    .collect::<String>()
            };
            let number = |s: &str| s.parse::<f64>().ok();
            let same = match (number(a), number(b)) {
                (Some(p), Some(q)) => p == q,
                _ => fold(a) == fold(b),
            };
            if same {
                add(
                    findings,
                    Severity::Warning,
                    "names-alike",
                    format!(
                        "The {what}s `{a}` and `{b}` differ in the way of writing only; they are taken for two."
                    ),
                );
            }
        }
    }
}
