//! The runs that would settle an open question.

use crate::fit::forms::{DrawData, FlowScale};
use crate::quantity::{Dimension, Said};

use super::verdict::Verdict;
use super::{Coupling, ModeAnswer};

/// Concrete runs that would settle the question; where it is settled, those that would settle it for modes left open by a level they were not
/// run at.
pub(super) fn runs_that_settle(data: &DrawData, answer: &Coupling, level: f64) -> Vec<Said> {
    match answer.verdict {
        Verdict::Undecided => {}
        Verdict::Coupled => return levels_left_out(data, answer),
        _ => return Vec::new(),
    }
    let mut runs = Vec::new();
    if data.flow_scale == FlowScale::None {
        runs.push("Measure the airflow at each fan level (or state relative speeds under [fan.levels]): the levels' names give no order.".into());
    }
    if data.flow_scale == FlowScale::LevelNumber {
        runs.push("Measure the airflow at each fan level (a column airflow, or airflow under [fan.levels]): the level's number stands in for it, and airflow changes by less than the number, so that nothing shows a compressor that stays independent of the air.".into());
    }
    if !data.fan_varied_within_a_mode() {
        runs.extend(separating_runs(data));
    } else if answer.elasticity.is_none() && data.flow_scale != FlowScale::None {
        runs.push(format!(
            "Repeat each setting on another day: {} cooling runs leave no freedom to judge the scatter.",
            data.rows.len()
        ).into());
    }
    if data.fan_varied_within_a_mode() {
        runs.extend(second_levels(data));
    }
    if answer.fan_draw.source == "bounded" && answer.fan_draw.limit_w != Some(0.0) {
        let levels: Vec<&str> = data.levels.iter().map(|l| l.label.as_str()).collect();
        let list = levels.join(", ");
        runs.push(format!("Two fan-only runs (compressor off) at each fan level ({list}): they tell the blower's own draw, now only bounded.").into());
    }
    let span = flow_span(data);
    let order_known = data.flow_scale != FlowScale::None;
    if span < NARROW_SPAN && data.fan_varied_within_a_mode() && order_known {
        runs.push(format!(
            "Fan levels further apart: within modes the airflow changes by only {:.0} %, and what such levels share by chance (the hour, the humidity) moves the draw as much as the fan could. Aim at a third or more.",
            100.0 * (span.exp() - 1.0)
        ).into());
    } else if runs.is_empty()
        && let Some(e) = &answer.elasticity
    {
        let edges = [answer.allowance.up, answer.allowance.down];
        let factor = times_the_runs(e.value, (e.low, e.high), edges);
        if factor < 20.0 {
            let more = further_runs(factor, data.rows.len());
            runs.push(format!(
                "About {more:.0} more cooling runs, every setting repeated on another day in random order: the interval is {factor:.1} times too wide in runs for a {:.0} % verdict.",
                100.0 * level
            ).into());
        } else {
            runs.push("The elasticity lies so close to the allowance that no sensible number of runs will decide; report the figure with its interval instead.".into());
        }
    }
    runs
}

/// For modes that show no coupling over their own levels while the unit does: the levels they were not run at.
fn levels_left_out(data: &DrawData, answer: &Coupling) -> Vec<Said> {
    let own = |m: &ModeAnswer| data.modes.iter().position(|name| *name == m.mode);
    let open = { answer.per_mode.iter() }
        .filter(|m| m.verdict == Verdict::Undecided && m.elasticity.is_some());
    open.filter_map(|m| {
        let missed: Vec<&str> = { super::missed::levels(data, own(m)?).into_iter() }
            .filter_map(|l| Some(data.levels.get(l)?.label.as_str()))
            .collect();
        let [first, rest @ ..] = missed.as_slice() else {
            return None;
        };
        let (levels, there) = match rest {
            [] => (format!("fan {first}"), "there"),
            _ => (format!("fan levels {}", missed.join(", ")), "at each of them"),
        };
        Some(format!(
            "Mode “{}” at {levels} too, twice {there}: the unit changes speed with its fan level, and this mode was not run where others were.",
            m.mode
        ).into())
    })
    .collect()
}

/// Under this span of ln(airflow) within modes the levels do not differ enough: 15 %. Common practice, no source.
pub(super) const NARROW_SPAN: f64 = 0.14;

/// Widest span of ln(airflow) within a mode.
pub(super) fn flow_span(data: &DrawData) -> f64 {
    data.tested
        .iter()
        .map(|levels| {
            let x: Vec<f64> = levels
                .iter()
                .enumerate()
                .filter(|(_, n)| **n > 0)
                .map(|(l, _)| data.x(l))
                .collect();
            x.iter().copied().fold(f64::NEG_INFINITY, f64::max)
                - x.iter().copied().fold(f64::INFINITY, f64::min)
        })
        .fold(0.0, f64::max)
}

/// For modes at one level among others with several: a second level, which the others were run at.
fn second_levels(data: &DrawData) -> Vec<Said> {
    let count = |m: usize| {
        data.tested
            .get(m)
            .map_or(0, |l| l.iter().filter(|n| **n > 0).count())
    };
    (0..data.modes.len())
        .filter(|m| count(*m) == 1)
        .filter_map(|m| {
            let own = data.tested.get(m)?.iter().position(|n| *n > 0)?;
            let other = (0..data.levels.len())
                .rev()
                .find(|l| *l != own && data.tested.iter().any(|t| t.get(*l).is_some_and(|n| *n > 0)))?;
            Some(format!(
                "Mode “{}” at fan {} too, twice: it was run at fan {} only, so nothing separates the two in it.",
                data.modes.get(m)?,
                data.levels.get(other)?.label,
                data.levels.get(own)?.label
            ).into())
        })
        .collect()
}

/// For modes each tested at one level only: the runs at which two modes would share a fan level.
fn separating_runs(data: &DrawData) -> Vec<Said> {
    let tested: Vec<Option<usize>> = data
        .tested
        .iter()
        .map(|m| m.iter().position(|n| *n > 0))
        .collect();
    let mut runs = Vec::new();
    for (m, mode) in data.modes.iter().enumerate() {
        let own = tested.get(m).copied().flatten();
        let other = data
            .levels
            .iter()
            .enumerate()
            .rev()
            .find(|(l, _)| Some(*l) != own && tested.contains(&Some(*l)))
            .or_else(|| {
                data.levels
                    .iter()
                    .enumerate()
                    .rev()
                    .find(|(l, _)| Some(*l) != own)
            });
        if let Some((_, level)) = other {
            runs.push(Said::of(|units| {
                format!(
                    "Mode “{mode}” at fan {} and about {} intake, twice.",
                    level.label,
                    units.shown(Dimension::Temperature, data.intake_ref, 0)
                )
            }));
        }
    }
    if runs.is_empty() {
        runs.push("Runs at a second fan level, twice: only one was tested.".into());
    }
    runs
}

/// How many runs more it takes to have `factor` times as many, rounded up; at least a quarter of those made.
fn further_runs(factor: f64, made: usize) -> f64 {
    ((factor - 1.0).max(0.25) * made as f64).ceil()
}

/// How many times the runs it takes until an interval (low, high) about a value leaves the nearest edge out: intervals shrink with the root of the runs.
fn times_the_runs(value: f64, (low, high): (f64, f64), edges: [f64; 2]) -> f64 {
    let edge = edges.map(|e| (value - e).abs());
    let half = 0.5 * (high - low);
    (half / edge[0].min(edge[1]).max(1e-6)).powi(2)
}

#[cfg(test)]
mod tests {
    use super::{further_runs, times_the_runs};
    use crate::bench::Bench;
    use crate::coupling::{Options, Verdict, assess};
    use crate::fit::forms::DrawData;

    /// A compressor whose draw is the same at every fan level; airflows by level, or none.
    fn steady_compressor(airflow: Option<[f64; 3]>) -> crate::coupling::Coupling {
        let heading = if airflow.is_some() {
            ",airflow [m3/h]"
        } else {
            ""
        };
        let mut table = format!("run,kind,mode,fan,block,intake_temp [degC],power [W]{heading}\n");
        for i in 0..36 {
            let (fan, rest) = (i % 3, i / 3);
            let (kind, draw) = if rest < 2 {
                ("fan-only", 0.0)
            } else {
                ("cooling", 200.0)
            };
            let blower = [10.0, 18.0, 30.0][fan];
            let scatter = 1.0 + 0.004 * (((i * 37 + 11) % 19) as f64 / 9.0 - 1.0);
            let air = airflow.map_or(String::new(), |q| format!(",{}", q[fan]));
            table.push_str(&format!(
                "r{i},{kind},cool,{},day {},{},{:.3}{air}\n",
                fan + 1,
                rest % 2,
                24 + 6 * (rest / 2 % 2),
                (draw + blower) * scatter
            ));
        }
        let bench = Bench::from_texts("[points]\nfile = \"points.csv\"\n", &table).unwrap();
        assess(&bench, &DrawData::from_bench(&bench), &Options::default())
    }

    #[test]
    fn without_airflow_nothing_is_shown_to_be_independent() {
        let measured = steady_compressor(Some([150.0, 200.0, 260.0]));
        assert_eq!(measured.verdict, Verdict::Independent);
        assert!(measured.sentences[1].starts_with("For 10 % more airflow"));
        let numbered = steady_compressor(None);
        assert_eq!(numbered.verdict, Verdict::Undecided);
        assert!(numbered.would_settle[0].starts_with("Measure the airflow at each fan level"));
        assert!(
            numbered.sentences[1].contains("stands in for the airflow"),
            "{}",
            &*numbered.sentences[1]
        );
    }

    #[test]
    fn an_interval_three_times_too_wide_takes_nine_times_the_runs() {
        // 0.15 to 0.45 about 0.30, edges at 0.25 and -0.1: half 0.15, the nearer edge 0.05 away.
        let factor = times_the_runs(0.30, (0.15, 0.45), [0.25, -0.1]);
        assert!((factor - 9.0).abs() < 1e-9, "{factor}");
        let factor = times_the_runs(-0.2, (-0.4, 0.0), [0.25, -0.1]);
        assert!((factor - 4.0).abs() < 1e-9, "{factor}");
    }

    #[test]
    fn nine_times_the_runs_are_eight_times_as_many_more() {
        assert_eq!(further_runs(9.0, 12), 96.0);
        assert_eq!(further_runs(1.45, 10), 5.0);
        // Hardly more than enough: a quarter, three of twelve.
        assert_eq!(further_runs(1.1, 12), 3.0);
    }
}
