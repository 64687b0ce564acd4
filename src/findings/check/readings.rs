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

#[cfg(test)]
mod tests {
    use super::*;

    fn codes(
        table: &str,
        looked: impl Fn(&Bench, &DrawData, &mut Vec<Finding>),
    ) -> Vec<&'static str> {
        let bench = Bench::from_texts("[points]\nfile = \"points.csv\"\n", table).unwrap();
        let mut findings = Vec::new();
        looked(&bench, &DrawData::from_bench(&bench), &mut findings);
        findings.iter().map(|f| f.code).collect()
    }

    #[test]
    fn power_may_miss_voltage_times_current_by_two_per_cent_and_half_a_watt() {
        let of = |current: f64| {
            let table =
                format!("run,fan,voltage [V],current [A],power [W]\na,1,25,{current},100\n");
            codes(&table, odd)
        };
        // 2.5 W are allowed at 100 W: 97.4 W and 102.6 W are too far, 97.6 W and 102.4 W are not.
        assert_eq!(of(97.4 / 25.0), ["power-mismatch"]);
        assert_eq!(of(102.6 / 25.0), ["power-mismatch"]);
        assert!(of(97.6 / 25.0).is_empty() && of(102.4 / 25.0).is_empty());
    }

    #[test]
    fn a_fan_only_run_is_doubted_from_nine_tenths_of_a_cooling_run() {
        let of = |fan_only: f64| {
            let table = format!(
                "run,kind,fan,power [W]\na,cooling,1,100\nb,cooling,1,110\nc,fan-only,1,{fan_only}\n"
            );
            codes(&table, fan_only_too_large)
        };
        assert_eq!(of(90.5), ["fan-only-draws-too-much"]);
        assert!(of(89.5).is_empty());
    }

    /// Cooling runs from 27 degC and 50 %, of which the first `moist` leave at `outlet` degC and `rh` %, the others at 17 degC and 80 %, drier
    /// than they came.
    fn moistened(runs: usize, moist: usize, outlet: f64, rh: f64) -> Vec<&'static str> {
        let mut table =
            "run,fan,intake_temp [degC],intake_rh [%],outlet_temp [degC],outlet_rh [%],power [W]\n"
                .to_owned();
        for i in 0..runs {
            let (t, rh) = if i < moist {
                (outlet, rh)
            } else {
                (17.0, 80.0)
            };
            table.push_str(&format!("r{i},1,27,50,{t},{rh},100\n"));
        }
        codes(&table, |bench, _, findings| {
            moister_outlets(bench, findings)
        })
    }

    #[test]
    fn outlets_moister_than_intakes_are_spoken_of_from_a_quarter_of_the_runs() {
        // 11.14 g/kg at the intake and 12.13 at an outlet of 17 degC and 100 % (ASHRAE's formula of 1985 for saturation, by itself in
        // Python): 0.98 g/kg bring back 2.4 K, between a tenth and all of the 10 K of cooling.
        assert_eq!(moistened(4, 1, 17.0, 100.0), ["outlet-moister"]);
        assert!(moistened(5, 1, 17.0, 100.0).is_empty());
        assert_eq!(moistened(8, 2, 17.0, 100.0), ["outlet-moister"]);
        assert!(moistened(9, 2, 17.0, 100.0).is_empty());
        // At 97 %, 11.76 g/kg, it is 1.5 K; at 94 %, 11.39 g/kg, 0.6 K.
        assert_eq!(moistened(1, 1, 17.0, 97.0), ["outlet-moister"]);
        assert!(moistened(1, 1, 17.0, 94.0).is_empty());
        // 13.02 g/kg at 26.5 degC and 60 %: 4.7 K against half a kelvin of cooling, so one run of twelve is enough.
        assert_eq!(moistened(12, 1, 26.5, 60.0), ["outlet-moister"]);
    }
}
