//! Single readings that look odd.

use crate::air::MoistAir;
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
    moister_outlets(bench, findings);
    case_twins(&data.modes, "mode", findings);
    let levels: Vec<String> = data.levels.iter().map(|l| l.label.clone()).collect();
    case_twins(&levels, "fan level", findings);
    fan_only_too_large(bench, data, findings);
}

/// Share of the heat of cooling that the water gained by the air may seem to bring back before it is worth a word: hygrometers good to 2 or
/// 3 % do as much on a dry coil. Common practice, no source.
const MOISTER_SHARE: f64 = 0.1;

/// Cooling runs whose outlet carries more water than their intake: no coil adds water, so the total capacity comes out too low.
fn moister_outlets(bench: &Bench, findings: &mut Vec<Finding>) {
    // Heat of evaporation over heat capacity of air, K for each kg/kg, rounded.
    const KELVIN_PER_RATIO: f64 = 2.5e6 / 1006.0;
    let (mut runs, mut moister, mut no_cooling) = (0, Vec::new(), false);
    for p in bench.of_kind(Kind::Cooling) {
        let pressure = p.get(Channel::Pressure).unwrap_or(bench.pressure_pa);
        let air = |temp: Option<f64>, rh: Channel| {
            MoistAir::from_relative_humidity(temp?, p.get(rh)?.min(1.0), pressure).ok()
        };
        let (Some(intake), Some(outlet)) = (
            air(p.intake_c(), Channel::IntakeRh),
            air(p.get(Channel::OutletTemp), Channel::OutletRh),
        ) else {
            continue;
        };
        runs += 1;
        let gained = outlet.humidity_ratio() - intake.humidity_ratio();
        let drop = intake.temp_c() - outlet.temp_c();
        if drop > 0.0 && gained * KELVIN_PER_RATIO > MOISTER_SHARE * drop {
            no_cooling |= gained * KELVIN_PER_RATIO > drop;
            moister.push((p, intake, outlet));
        }
    }
    // A few runs on a dry coil read so by chance.
    let matters = no_cooling || 4 * moister.len() >= runs;
    if let Some((first, intake, outlet)) = moister.first().filter(|_| matters) {
        let finding = Finding::new(
            Severity::Warning,
            "outlet-moister",
            format!(
                "In {} of {runs} cooling runs the outlet air carries more water than the intake air (run {}: {:.1} against {:.1} g/kg), and a coil adds none: the humidity probes disagree, or drops are blown off the coil. The total capacity comes out too low; without outlet_rh the sensible part is given.",
                moister.len(),
                first.run,
                1000.0 * outlet.humidity_ratio(),
                1000.0 * intake.humidity_ratio()
            ),
        );
        findings.push(finding.at(&Place::line(&bench.points_file, first.line)));
    }
}

/// Fan-only runs that draw as much as cooling runs at their level: the compressor was on, or the kind is wrong.
fn fan_only_too_large(bench: &Bench, data: &DrawData, findings: &mut Vec<Finding>) {
    let mut least_by_level = vec![f64::INFINITY; data.levels.len()];
    for r in &data.rows {
        if let Some(least) = least_by_level.get_mut(r.level) {
            *least = least.min(r.draw);
        }
    }
    for p in bench.of_kind(Kind::FanOnly) {
        let levels = data.levels.iter().zip(&least_by_level);
        let least = levels
            .filter(|(l, _)| l.label == p.fan)
            .fold(f64::INFINITY, |low, (_, w)| low.min(*w));
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
