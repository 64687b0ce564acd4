//! What else differed with the fan level, and whether it could explain the answer.

use crate::bench::{Bench, Channel};
use crate::fit::forms::{DrawData, DrawRow};
use crate::quantity::{Dimension, Said};

use super::elasticity::{Elasticity, Fan, Question};
use super::verdict::{Allowance, Verdict};

/// A condition that may stand in for the fan level.
#[derive(Clone, Debug, serde::Serialize)]
pub struct Confounder {
    /// `intake`, `ambient`, `blocks`, `order`, `voltage` or `humidity`.
    pub name: &'static str,
    /// What was found, in a sentence.
    pub detail: Said,
    /// The elasticity with it taken out as well, where that was tried.
    pub elasticity: Option<Elasticity>,
    /// Whether taking it out turns the verdict into its opposite.
    pub turns_the_verdict: bool,
}

/// A mean intake or ambient that differs by more than this between fan levels is spoken of, K.
const LEVELS_DIFFER_K: f64 = 1.0;
/// A relative standard deviation of the supply voltage under which it counts as constant.
const VOLTAGE_VARIED: f64 = 0.003;
/// A shift of the elasticity that is spoken of, as a share of the allowance.
const SHIFT_SHARE: f64 = 0.25;

/// Looks for confounders; only what a reader must know is given.
pub(super) fn confounders(
    bench: &Bench,
    question: &Question<'_>,
    plain: &Elasticity,
    allowance: &Allowance,
    level: f64,
) -> Vec<Confounder> {
    let data = question.data;
    let mut found = Vec::new();
    let intake = apart_between_levels(question, |r| r.intake);
    let ambient = apart_between_levels(question, |r| r.ambient);
    for (name, varied, apart) in [
        ("intake", data.intake_varied, intake),
        ("ambient", data.ambient_varied, ambient),
    ] {
        if varied && apart > LEVELS_DIFFER_K {
            found.push(Confounder {
                name,
                detail: Said::of(|units| format!(
                    "Mean {name} differs by {} between fan levels; its own slope was taken out.",
                    units.shown(Dimension::TemperatureDifference, apart, 1)
                )),
                elasticity: None,
                turns_the_verdict: false,
            });
        }
    }
    found.extend(levels_in_one_block(question));
    let mut try_out = |name: &'static str, what: &str, values: Option<Vec<f64>>| {
        let Some(values) = values else { return };
        let Some(c) = tried(question, name, what, &values, plain, allowance, level) else {
            return;
        };
        found.push(c);
    };
    try_out("order", "the order of testing", centred_order(data));
    try_out("voltage", "the supply voltage", log_voltage(bench, data));
    let moisture = data
        .moisture_varied
        .then(|| data.rows.iter().map(|r| r.moisture).collect());
    try_out("humidity", "the intake's humidity", moisture);
    found
}

/// Fits once more with a covariate; `None` where that changes nothing that a reader must know.
fn tried(
    question: &Question<'_>,
    name: &'static str,
    what: &str,
    values: &[f64],
    plain: &Elasticity,
    allowance: &Allowance,
    level: f64,
) -> Option<Confounder> {
    let with = Question {
        covariate: Some(values),
        ..*question
    };
    let e = with.elasticity(&with.regress(Fan::Power)?, level)?;
    let (before, after) = (allowance.judge(plain), allowance.judge(&e));
    let shifted = (e.value - plain.value).abs() > SHIFT_SHARE * allowance.up;
    if before == after && !shifted {
        return None;
    }
    let turns_the_verdict =
        before != after && before != Verdict::Undecided && after != Verdict::Undecided;
    let effect = if before == after {
        "the verdict stays"
    } else if turns_the_verdict {
        "that turns the verdict, so it is not given"
    } else {
        "the runs do not hold the two apart"
    };
    Some(Confounder {
        name,
        detail: format!(
            "With {what} taken out as well, the elasticity is {:.2} ({:.2} to {:.2}) instead of {:.2}: {effect}.",
            e.value, e.low, e.high, plain.value
        )
        .into(),
        elasticity: Some(e),
        turns_the_verdict,
    })
}

/// Largest difference between the levels' mean conditions, each run's mode mean taken off.
fn apart_between_levels(question: &Question<'_>, value: fn(&DrawRow) -> f64) -> f64 {
    let data = question.data;
    let rows: Vec<&DrawRow> = { data.rows.iter() }
        .filter(|r| question.modes.contains(&r.mode))
        .collect();
    let mean = |belongs: &dyn Fn(&DrawRow) -> bool, of: &dyn Fn(&DrawRow) -> f64| {
        let own: Vec<f64> = rows.iter().filter(|r| belongs(r)).map(|r| of(r)).collect();
        (!own.is_empty()).then(|| own.iter().sum::<f64>() / own.len() as f64)
    };
    let mode_means: Vec<f64> = (0..data.modes.len())
        .map(|m| mean(&|r| r.mode == m, &value).unwrap_or(0.0))
        .collect();
    let rest = |r: &DrawRow| value(r) - mode_means.get(r.mode).copied().unwrap_or(0.0);
    let levels = (0..data.levels.len()).filter_map(|l| mean(&|r| r.level == l, &rest));
    let (low, high) = levels.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| {
        (a.min(v), b.max(v))
    });
    (high - low).max(0.0)
}

/// Fan levels whose runs all lie in one block, where the others' do not.
fn levels_in_one_block(question: &Question<'_>) -> Option<Confounder> {
    let data = question.data;
    if data.blocks.len() < 2 {
        return None;
    }
    let blocks_of = |l: usize| {
        let mut blocks: Vec<usize> = { data.rows.iter() }
            .filter(|r| r.level == l && question.modes.contains(&r.mode))
            .map(|r| r.block)
            .collect();
        blocks.sort_unstable();
        blocks.dedup();
        blocks.len()
    };
    let alone: Vec<&str> = { data.levels.iter().enumerate() }
        .filter(|(l, _)| blocks_of(*l) == 1)
        .map(|(_, l)| l.label.as_str())
        .collect();
    (!alone.is_empty()).then(|| Confounder {
        name: "blocks",
        detail: format!(
            "Fan {} was run in one block only, so what was special about that block goes with it.",
            alone.join(", ")
        )
        .into(),
        elasticity: None,
        turns_the_verdict: false,
    })
}

fn centred_order(data: &DrawData) -> Option<Vec<f64>> {
    let order: Vec<f64> = data.rows.iter().map(|r| r.order).collect::<Option<_>>()?;
    // Orders may count on from block to block or begin anew; within blocks both are the same.
    let mean_of = |block: usize| {
        let own: Vec<f64> = { data.rows.iter().zip(&order) }
            .filter(|(r, _)| r.block == block)
            .map(|(_, o)| *o)
            .collect();
        own.iter().sum::<f64>() / own.len().max(1) as f64
    };
    let means: Vec<f64> = (0..data.blocks.len()).map(mean_of).collect();
    let centred: Vec<f64> = { data.rows.iter().zip(&order) }
        .map(|(r, o)| o - means.get(r.block).copied().unwrap_or(0.0))
        .collect();
    centred.iter().any(|v| v.abs() > 1.0).then_some(centred)
}

fn log_voltage(bench: &Bench, data: &DrawData) -> Option<Vec<f64>> {
    let voltage = |r: &DrawRow| bench.points.get(r.point)?.get(Channel::Voltage);
    let logs: Vec<f64> = { data.rows.iter() }
        .map(|r| Some(voltage(r)?.ln()))
        .collect::<Option<_>>()?;
    let n = logs.len() as f64;
    let mean = logs.iter().sum::<f64>() / n;
    let centred: Vec<f64> = logs.iter().map(|v| v - mean).collect();
    let sd = (centred.iter().map(|v| v * v).sum::<f64>() / n).sqrt();
    (sd > VOLTAGE_VARIED).then_some(centred)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rows of mode, fan, intake, block, order and voltage.
    fn bench(rows: &[(&str, u32, f64, &str, u32, f64)]) -> Bench {
        let mut table =
            "run,mode,fan,intake_temp [degC],block,order,voltage [V],power [W]\n".to_owned();
        for (i, (mode, fan, intake, block, order, voltage)) in rows.iter().enumerate() {
            table.push_str(&format!(
                "r{i},{mode},{fan},{intake},{block},{order},{voltage},100\n"
            ));
        }
        Bench::from_texts("[points]\nfile = \"points.csv\"\n", &table).unwrap()
    }

    fn intakes_apart(rows: &[(&str, u32, f64, &str, u32, f64)]) -> f64 {
        let data = DrawData::from_bench(&bench(rows));
        let modes: Vec<usize> = (0..data.modes.len()).collect();
        let question = Question {
            data: &data,
            modes: &modes,
            blower_w: &[],
            blower_u: &[],
            blower_common_u: 0.0,
            flow_u: &[],
            covariate: None,
        };
        apart_between_levels(&question, |r| r.intake)
    }

    #[test]
    fn conditions_of_levels_are_compared_within_modes() {
        // Each mode at one intake: what its levels differ in is the mode's.
        let own = |fan, mode: &'static str, t| (mode, fan, t, "", 0, 24.0);
        let apart = intakes_apart(&[own(1, "a", 20.0), own(2, "a", 20.0), own(2, "b", 30.0)]);
        assert!(apart.abs() < 1e-12, "{apart}");
        // Mode a at 20 and 24, about 22; b at 30: −2 at fan 1, the mean of 2, 2, 0 and 0 at fan 2.
        let apart = intakes_apart(&[
            own(1, "a", 20.0),
            own(1, "a", 20.0),
            own(2, "a", 24.0),
            own(2, "a", 24.0),
            own(2, "b", 30.0),
            own(2, "b", 30.0),
        ]);
        assert!((apart - 3.0).abs() < 1e-12, "{apart}");
    }

    #[test]
    fn the_order_counts_within_blocks_wherever_it_begins() {
        let in_block =
            |block, first: u32| (first..first + 4).map(move |k| ("a", 1, 27.0, block, k, 24.0));
        let on = bench(&in_block("x", 1).chain(in_block("y", 5)).collect::<Vec<_>>());
        let anew = bench(&in_block("x", 1).chain(in_block("y", 1)).collect::<Vec<_>>());
        for bench in [on, anew] {
            let centred = centred_order(&DrawData::from_bench(&bench)).unwrap();
            assert_eq!(centred, [-1.5, -0.5, 0.5, 1.5, -1.5, -0.5, 0.5, 1.5]);
        }
    }

    #[test]
    fn a_voltage_that_varies_is_told_from_one_that_does_not() {
        let with = |a: f64, b: f64| {
            let bench = bench(&[a, b, a, b].map(|v| ("a", 1, 27.0, "", 0, v)));
            log_voltage(&bench, &DrawData::from_bench(&bench))
        };
        // Half of ln(26/24) to either side.
        let half = 0.040_021_353_836_768;
        let found = with(24.0, 26.0).unwrap();
        for (v, wanted) in found.iter().zip([-half, half, -half, half]) {
            assert!((v - wanted).abs() < 1e-12, "{found:?}");
        }
        // 0.1 % to either side is none, 0.4 % is.
        assert_eq!(with(24.0, 24.048), None);
        assert!(with(24.0, 24.192).is_some());
    }
}
