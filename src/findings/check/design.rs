//! The test matrix: what is missing, and what moved together with what.

use crate::bench::{Bench, Channel, Finding, Kind, Severity};
use crate::fit::forms::{DrawData, DrawRow, FlowScale};
use crate::quantity::{Dimension, Said};

use super::add;

/// Correlation from which two things count as having moved together. Half of the variation is then shared (r² = 0.5).
const TOGETHER: f64 = 0.707;
/// A difference of mean intake or ambient between fan levels that can pass for a fan effect, K: at 2 % per K it is 3 % of the draw.
const CONDITION_SHIFT_K: f64 = 1.5;
/// Runs under which correlations are chance.
const FEWEST_RUNS: usize = 8;

/// Runs that are not there and would be missed.
pub(super) fn missing(bench: &Bench, data: &DrawData, findings: &mut Vec<Finding>) {
    if data.rows.is_empty() {
        add(
            findings,
            Severity::Error,
            "no-cooling-runs",
            "The bench has no cooling runs: there is nothing to fit.".to_owned(),
        );
        return;
    }
    let single: Vec<&str> = modes_with(data, |levels| levels == 1);
    if !data.fan_varied_within_a_mode() {
        add(
            findings,
            Severity::Error,
            "mode-and-fan-together",
            "Every mode was run at one fan level only, so mode and fan level never varied apart. No analysis can separate them; run at least one mode at a second fan level, twice.".to_owned(),
        );
    } else if !single.is_empty() {
        add(
            findings,
            Severity::Warning,
            "mode-at-one-fan-level",
            format!(
                "Run at one fan level only: {}. For these, nothing separates the mode from the fan level; a second level, twice, would.",
                single.join(", ")
            ),
        );
    }
    let fan_only: Vec<&str> = bench
        .of_kind(Kind::FanOnly)
        .map(|p| p.fan.as_str())
        .collect();
    if fan_only.is_empty() && bench.fan.draw_limit_w == Some(0.0) {
        add(
            findings,
            Severity::Note,
            "blower-not-in-draw",
            "The blower's limit is stated as 0 W: it is taken to have no part in the draw."
                .to_owned(),
        );
    } else if fan_only.is_empty() {
        add(
            findings,
            Severity::Warning,
            "no-fan-only-runs",
            "No fan-only runs: the blower's own draw is not known and can only be bounded. Two at each fan level with the compressor off would tell it.".to_owned(),
        );
    } else {
        let lacking: Vec<&str> = data
            .levels
            .iter()
            .map(|l| l.label.as_str())
            .filter(|l| !fan_only.contains(l))
            .collect();
        if !lacking.is_empty() {
            add(
                findings,
                Severity::Warning,
                "fan-only-level-missing",
                format!(
                    "No fan-only run at fan {}: the blower's draw there is read off the other levels.",
                    lacking.join(", ")
                ),
            );
        }
        if fan_only.len()
            == fan_only
                .iter()
                .collect::<std::collections::BTreeSet<_>>()
                .len()
        {
            add(findings, Severity::Note, "fan-only-not-repeated", "No fan-only run was repeated, so the scatter of the blower's draw is assumed, not measured.".to_owned());
        }
    }
    let alone = data.tested.iter().flatten().filter(|n| **n == 1).count();
    if alone > 0 {
        add(
            findings,
            Severity::Note,
            "settings-not-repeated",
            format!(
                "{} run once only. Repeats, best on another day, tell how far runs differ by themselves.",
                if alone == 1 {
                    "1 setting was".to_owned()
                } else {
                    format!("{alone} settings were")
                }
            ),
        );
    }
    let empty: Vec<String> = data
        .tested
        .iter()
        .enumerate()
        .flat_map(|(m, levels)| {
            levels
                .iter()
                .enumerate()
                .filter(|(_, n)| **n == 0)
                .map(move |(l, _)| (m, l))
        })
        .filter(|(_, l)| {
            data.tested
                .iter()
                .any(|m| m.get(*l).is_some_and(|n| *n > 0))
        })
        .map(|(m, l)| format!("{} at fan {}", mode_name(data, m), level_name(data, l)))
        .collect();
    if !empty.is_empty() && data.fan_varied_within_a_mode() {
        add(
            findings,
            Severity::Note,
            "settings-never-run",
            format!(
                "Never run: {}. Predictions there lean on the other settings.",
                shorten(&empty)
            ),
        );
    }
    if data.flow_scale != FlowScale::Airflow {
        let stand_in = match data.flow_scale {
            FlowScale::RelativeSpeed => "the stated relative speeds stand in for it",
            FlowScale::LevelNumber => "the level's number stands in for it",
            _ => "and the levels' names give no order: state relative speeds under [fan.levels]",
        };
        add(
            findings,
            Severity::Warning,
            "no-airflow",
            format!(
                "No airflow at some fan levels; {stand_in}. Without airflow there is no capacity."
            ),
        );
    }
    conditions(bench, data, findings);
}

fn conditions(bench: &Bench, data: &DrawData, findings: &mut Vec<Finding>) {
    let lacks = |c: Channel| {
        data.rows
            .iter()
            .filter(|r| bench.points.get(r.point).is_none_or(|p| p.get(c).is_none()))
            .count()
    };
    for (channel, code, what) in [
        (
            Channel::IntakeTemp,
            "no-intake",
            "an intake temperature: runs differ by conditions nobody can take out",
        ),
        (
            Channel::AmbientTemp,
            "no-ambient",
            "an ambient temperature: the condenser-side air moves a compressor's draw more than the intake does",
        ),
        (
            Channel::OutletTemp,
            "no-outlet",
            "an outlet temperature: no capacity, and no second line of evidence on coupling",
        ),
    ] {
        let n = lacks(channel);
        if n > 0 {
            add(
                findings,
                Severity::Warning,
                code,
                format!("{n} of {} cooling runs lack {what}.", data.rows.len()),
            );
        }
    }
    let (humid_in, humid_out) = (lacks(Channel::IntakeRh), lacks(Channel::OutletRh));
    if lacks(Channel::OutletTemp) == 0 && humid_out > 0 {
        let which = if humid_in > 0 {
            "intake and outlet humidity"
        } else {
            "outlet humidity"
        };
        add(
            findings,
            Severity::Note,
            "sensible-only",
            format!("Without {which} only the sensible part of the capacity can be given."),
        );
    }
    if lacks(Channel::IntakeTemp) == 0 && !data.intake_varied {
        add(
            findings,
            Severity::Warning,
            "intake-not-varied",
            "All runs were made at one intake temperature: nothing can be said of others."
                .to_owned(),
        );
    }
    let (low, high) = data.ambient_range();
    if lacks(Channel::AmbientTemp) == 0 && high - low < 5.0 {
        add(
            findings,
            Severity::Warning,
            "ambient-not-varied",
            Said::of(|units| {
                format!(
                    "Ambient air stayed within {}. A hot day warms the condenser side too, and these runs do not cover it; runs with the condenser side at a warmer ambient would.",
                    units.range(Dimension::Temperature, low, high, 1)
                )
            }),
        );
    }
    if !bench.pressure_stated
        && lacks(Channel::Pressure) > 0
        && data.flow_scale == FlowScale::Airflow
    {
        add(findings, Severity::Note, "pressure-assumed", "Neither altitude nor pressure is stated; sea level is assumed. Capacity falls by about 1 % for each 85 m of altitude (standard atmosphere, ISO 2533).".to_owned());
    }
    if bench.duct.at.is_none()
        && data.flow_scale == FlowScale::Airflow
        && lacks(Channel::OutletTemp) < data.rows.len()
    {
        add(findings, Severity::Note, "flow-place-assumed", "Where the airflow was measured is not stated: a density midway between intake and outlet air is taken, and the doubt counted. Write [duct] at = \"intake\" or \"outlet\" to be rid of it.".to_owned());
    }
    if bench.instruments.is_empty() {
        add(findings, Severity::Note, "no-instruments", "No [[instrument]] states an accuracy, so intervals hold scatter only and absolute figures look surer than they are.".to_owned());
    }
}

/// Things that moved together with the fan level or the mode.
pub(super) fn together(bench: &Bench, data: &DrawData, findings: &mut Vec<Finding>) {
    let rows = &data.rows;
    if rows.len() >= FEWEST_RUNS && data.fan_varied_within_a_mode() {
        let rank = |r: &DrawRow| Some(r.level as f64);
        type Reading<'a> = &'a dyn Fn(&DrawRow) -> Option<f64>;
        let quantities: [(&'static str, &str, Reading<'_>); 4] = [
            ("intake-follows-fan", "intake temperature", &|r| {
                data.intake_varied.then_some(r.intake)
            }),
            ("ambient-follows-fan", "ambient temperature", &|r| {
                data.ambient_varied.then_some(r.ambient)
            }),
            ("order-follows-fan", "order of testing", &|r| r.order),
            ("voltage-follows-fan", "supply voltage", &|r| {
                bench
                    .points
                    .get(r.point)
                    .and_then(|p| p.get(Channel::Voltage))
            }),
        ];
        for (code, what, value) in quantities {
            let pairs: Vec<(f64, f64)> = rows
                .iter()
                .filter_map(|r| Some((rank(r)?, value(r)?)))
                .collect();
            if pairs.len() < FEWEST_RUNS {
                continue;
            }
            let r = correlation(&pairs);
            let voltage = code == "voltage-follows-fan";
            // A battery sags under load, so voltage follows fan on any bench; only a large sag matters.
            let matters = !voltage || relative_range(&pairs) > 0.05;
            if r.abs() > TOGETHER && matters {
                add(
                    findings,
                    Severity::Warning,
                    code,
                    format!(
                        "The {what} moved together with the fan level over the runs (correlation {r:.2}), so their effects are hard to tell apart. Mix the order of fan levels in further runs."
                    ),
                );
            }
        }
    }
    shifted_settings(data, findings);
    one_block_only(data, findings);
}

/// A mode or fan level whose runs saw other conditions than the rest.
fn shifted_settings(data: &DrawData, findings: &mut Vec<Finding>) {
    type Pick = fn(&DrawRow) -> f64;
    let conditions: [(bool, &str, &'static str, Pick); 2] = [
        (data.intake_varied, "intake", "intake-differs", |r| r.intake),
        (data.ambient_varied, "ambient", "ambient-differs", |r| {
            r.ambient
        }),
    ];
    for (varied, what, code, value) in conditions {
        if !varied {
            continue;
        }
        let groups = (0..data.modes.len())
            .map(|m| {
                (
                    format!("mode {}", mode_name(data, m)),
                    Box::new(move |r: &DrawRow| r.mode == m) as Box<dyn Fn(&DrawRow) -> bool>,
                )
            })
            .chain((0..data.levels.len()).map(|l| {
                (
                    format!("fan {}", level_name(data, l)),
                    Box::new(move |r: &DrawRow| r.level == l) as Box<dyn Fn(&DrawRow) -> bool>,
                )
            }));
        for (name, belongs) in groups {
            let (own, rest): (Vec<&DrawRow>, Vec<&DrawRow>) =
                data.rows.iter().partition(|r| belongs(r));
            if own.len() < 2 || rest.len() < 2 {
                continue;
            }
            let difference =
                mean(own.iter().map(|r| value(r))) - mean(rest.iter().map(|r| value(r)));
            if difference.abs() > CONDITION_SHIFT_K {
                add(
                    findings,
                    Severity::Warning,
                    code,
                    Said::of(|units| {
                        format!(
                            "The runs of {name} saw {what} air {} {} than the others on average. The fit takes a slope with {what} out, but a difference between this setting and the rest leans on that slope.",
                            units.shown(Dimension::TemperatureDifference, difference.abs(), 1),
                            if difference > 0.0 { "warmer" } else { "cooler" }
                        )
                    }),
                );
            }
        }
    }
}

/// Modes or fan levels all of whose runs fell into one block while others were spread.
fn one_block_only(data: &DrawData, findings: &mut Vec<Finding>) {
    if data.blocks.len() < 2 {
        return;
    }
    let blocks_of = |belongs: &dyn Fn(&DrawRow) -> bool| {
        let mut seen: Vec<usize> = data
            .rows
            .iter()
            .filter(|r| belongs(r))
            .map(|r| r.block)
            .collect();
        let runs = seen.len();
        seen.sort_unstable();
        seen.dedup();
        (runs, seen)
    };
    let groups = (0..data.modes.len())
        .map(|m| {
            (
                "mode-in-one-block",
                format!("of mode {}", mode_name(data, m)),
                blocks_of(&|r| r.mode == m),
            )
        })
        .chain((0..data.levels.len()).map(|l| {
            (
                "fan-in-one-block",
                format!("at fan {}", level_name(data, l)),
                blocks_of(&|r| r.level == l),
            )
        }));
    for (code, which, (runs, blocks)) in groups {
        if let (2.., [block]) = (runs, blocks.as_slice()) {
            add(
                findings,
                Severity::Warning,
                code,
                format!(
                    "All runs {which} were made in one block ({}): what the setting does and what that block did cannot be told apart.",
                    block_name(data, *block)
                ),
            );
        }
    }
}

fn modes_with(data: &DrawData, test: impl Fn(usize) -> bool) -> Vec<&str> {
    data.modes
        .iter()
        .zip(&data.tested)
        .filter(|(_, levels)| test(levels.iter().filter(|n| **n > 0).count()))
        .map(|(m, _)| m.as_str())
        .collect()
}

pub(super) fn mode_name(data: &DrawData, m: usize) -> &str {
    data.modes.get(m).map_or("", String::as_str)
}

pub(super) fn level_name(data: &DrawData, l: usize) -> &str {
    data.levels.get(l).map_or("", |l| l.label.as_str())
}

fn block_name(data: &DrawData, b: usize) -> &str {
    data.blocks.get(b).map_or("", String::as_str)
}

fn shorten(list: &[String]) -> String {
    const MOST: usize = 6;
    let head = list
        .iter()
        .take(MOST)
        .cloned()
        .collect::<Vec<_>>()
        .join(", ");
    if list.len() > MOST {
        format!("{head} and {} more", list.len() - MOST)
    } else {
        head
    }
}

pub(super) fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (mut sum, mut n) = (0.0, 0.0);
    for v in values {
        sum += v;
        n += 1.0;
    }
    if n > 0.0 { sum / n } else { 0.0 }
}

/// Pearson's correlation; zero where one of the two does not vary.
pub(super) fn correlation(pairs: &[(f64, f64)]) -> f64 {
    let mx = mean(pairs.iter().map(|p| p.0));
    let my = mean(pairs.iter().map(|p| p.1));
    let (mut sxy, mut sxx, mut syy) = (0.0, 0.0, 0.0);
    for (x, y) in pairs {
        sxy += (x - mx) * (y - my);
        sxx += (x - mx).powi(2);
        syy += (y - my).powi(2);
    }
    if sxx > 0.0 && syy > 0.0 {
        sxy / (sxx * syy).sqrt()
    } else {
        0.0
    }
}

fn relative_range(pairs: &[(f64, f64)]) -> f64 {
    let low = pairs.iter().map(|p| p.1).fold(f64::INFINITY, f64::min);
    let high = pairs.iter().map(|p| p.1).fold(f64::NEG_INFINITY, f64::max);
    (high - low) / high.abs().max(1e-12)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn correlations_and_ranges_by_hand() {
        // Means 2.5, products 4 * 0.75, squares 5 and 5.
        let pairs = [(1.0, 2.0), (2.0, 1.0), (3.0, 4.0), (4.0, 3.0)];
        assert!((correlation(&pairs) - 0.6).abs() < 1e-15);
        // Another place and size of either changes nothing, a turned sign its sign.
        let other = pairs.map(|(x, y)| (10.0 - 3.0 * x, 100.0 + 0.5 * y));
        assert!((correlation(&other) + 0.6).abs() < 1e-12);
        assert_eq!(correlation(&[(1.0, 2.0), (2.0, 2.0)]), 0.0);
        assert_eq!(correlation(&[(1.0, 2.0), (1.0, 3.0)]), 0.0);
        assert_eq!(
            relative_range(&[(0.0, 80.0), (1.0, 100.0), (2.0, 90.0)]),
            0.2
        );
    }
}
