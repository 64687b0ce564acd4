//! Which one further run would narrow the elasticity most.
//!
//! A further cooling run adds its row to the weighted design, (X'WX + w x x')⁻¹; a fan-only run narrows its level's blower draw. The scatter
//! and the estimate are held, for nobody knows yet what the run will say. What all runs of a level share does not shrink.

use crate::bench::{Bench, Kind};
use crate::fit::forms::{DrawData, DrawRow, FlowScale};

use super::blower::{BlowerCase, known_case};
use super::elasticity::Fan;
use super::{flow_u, levels_in, question};

/// A further run, and what it buys.
#[derive(Clone, Debug)]
pub struct FurtherRun {
    /// Cooling or fan-only.
    pub kind: Kind,
    /// Index into [`DrawData::modes`]; none for a fan-only run.
    pub mode: Option<usize>,
    /// Index into [`DrawData::levels`].
    pub level: usize,
    /// Intake, degC; none for a fan-only run.
    pub intake_c: Option<f64>,
    /// Whether this setting was run before.
    pub tested: bool,
    /// The elasticity's standard uncertainty after it.
    pub u_after: f64,
}

/// Further runs, those that buy most first.
#[derive(Clone, Debug)]
pub struct FurtherRuns {
    /// The elasticity as it stands.
    pub elasticity: f64,
    /// Its standard uncertainty as it stands.
    pub u_now: f64,
    /// Whether fan-only runs tell the blower's draw. Where they do not, the elasticity is that of a unit whose blower draws nothing, and
    /// fan-only runs at every level come before all else.
    pub blower_known: bool,
    /// The runs.
    pub runs: Vec<FurtherRun>,
}

/// Ranks one further run at every level and tested intake of the modes whose fan level was varied, and fan-only runs at every level.
/// A cooling run is taken to join the last block, at the runs' mean ambient. None where the bench gives no elasticity.
pub fn further_runs(bench: &Bench, data: &DrawData) -> Option<FurtherRuns> {
    let varied: Vec<usize> = (0..data.modes.len())
        .filter(|m| levels_in(data, *m) > 1)
        .collect();
    if varied.is_empty() || data.flow_scale == FlowScale::None {
        return None;
    }
    let known = known_case(data);
    let case = known.clone().unwrap_or_else(|| BlowerCase {
        draw_w: vec![0.0; data.levels.len()],
        u_w: vec![0.0; data.levels.len()],
        common_u: 0.0,
    });
    let flow_u = flow_u(bench, data);
    let q = question(data, &varied, &case, &flow_u);
    let now = q.regress(Fan::Power)?;
    let value = q.elasticity(&now, 0.95)?.value;
    let sigma2 = now.fit.sigma2()?;
    let u_now = q.u_at(&now, value, sigma2)?;
    let mut runs = Vec::new();
    let intakes = if data.intake_varied {
        data.set_points.clone()
    } else {
        vec![data.intake_ref]
    };
    for mode in &varied {
        for level in 0..data.levels.len() {
            for intake in &intakes {
                let Some(row) = expected(data, *mode, level, *intake) else {
                    continue;
                };
                let mut more = data.clone();
                more.rows.push(row);
                let flow_u = one_more(bench, data, &flow_u, level);
                let q = question(&more, &varied, &case, &flow_u);
                let after = { q.regress_with(Fan::Power, now.carried()) }
                    .and_then(|r| q.u_at(&r, value, sigma2));
                runs.extend(after.map(|u_after| {
                    FurtherRun {
                        kind: Kind::Cooling,
                        mode: Some(*mode),
                        level,
                        intake_c: data.intake_varied.then_some(*intake),
                        tested: { data.tested.get(*mode) }
                            .and_then(|m| m.get(level))
                            .is_some_and(|n| *n > 0),
                        u_after,
                    }
                }));
            }
        }
    }
    if known.is_some() {
        for (level, _) in data.levels.iter().enumerate() {
            let mut narrowed = case.clone();
            let made = { data.blower.as_ref() }
                .and_then(|b| b.levels.get(level))
                .map_or(0, |l| l.runs);
            if made == 0 {
                // A draw read off the neighbours is replaced by a run: what that is worth depends on what it says.
                continue;
            }
            if let Some(u) = narrowed.u_w.get_mut(level) {
                *u *= shrink(made);
            }
            let flow_u = one_more(bench, data, &flow_u, level);
            let q = question(data, &varied, &narrowed, &flow_u);
            runs.extend(q.u_at(&now, value, sigma2).map(|u_after| FurtherRun {
                kind: Kind::FanOnly,
                mode: None,
                level,
                intake_c: None,
                tested: true,
                u_after,
            }));
        }
    }
    runs.retain(|r| r.u_after.is_finite());
    runs.sort_by(|a, b| a.u_after.total_cmp(&b.u_after));
    Some(FurtherRuns {
        elasticity: value,
        u_now,
        blower_known: known.is_some(),
        runs,
    })
}

/// By how much the uncertainty of a mean of `n` shrinks with one more.
fn shrink(n: usize) -> f64 {
    (n as f64 / (n + 1) as f64).sqrt()
}

/// The levels' airflow uncertainties with one more reading at a level.
fn one_more(bench: &Bench, data: &DrawData, flow_u: &[f64], level: usize) -> Vec<f64> {
    let mut after = flow_u.to_vec();
    let label = data.levels.get(level).map(|l| l.label.as_str());
    let readings = { bench.points.iter() }
        .filter(|p| Some(p.fan.as_str()) == label && p.airflow_m3h().is_some())
        .count();
    if let Some(u) = after.get_mut(level).filter(|_| readings > 0) {
        *u *= shrink(readings);
    }
    after
}

/// The row that a further run would have; its draw, that of its like on average, only sets its weight.
fn expected(data: &DrawData, mode: usize, level: usize, intake: f64) -> Option<DrawRow> {
    data.levels.get(level)?.x?;
    let mean = |like: &dyn Fn(&&DrawRow) -> bool| {
        let draws: Vec<f64> = data.rows.iter().filter(like).map(|r| r.draw).collect();
        (!draws.is_empty()).then(|| draws.iter().sum::<f64>() / draws.len() as f64)
    };
    let draw =
        mean(&|r| r.mode == mode && r.level == level).or_else(|| mean(&|r| r.mode == mode))?;
    let last = data.rows.last()?;
    Some(DrawRow {
        mode,
        level,
        intake,
        ambient: data.ambient_mean,
        moisture: 0.0,
        draw,
        ..last.clone()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::coupling::{Options, assess};
    use crate::made::bench::{Kind as Made, Options as MadeOptions, make};

    fn made(seed: u64) -> (Bench, DrawData) {
        let m = make(Made::Coupled, seed, &MadeOptions::default());
        let bench = Bench::from_texts(&m.toml, &m.points_csv).expect("a bench");
        let data = DrawData::from_bench(&bench);
        (bench, data)
    }

    #[test]
    fn it_starts_from_the_assessment_and_never_widens() {
        for seed in 0..6 {
            let (bench, data) = made(seed);
            let further = further_runs(&bench, &data).expect("runs");
            let answer = assess(&bench, &data, &Options::default());
            let e = answer.elasticity.expect("an elasticity");
            assert!(
                (further.u_now - e.u).abs() < 1e-12 && (further.elasticity - e.value).abs() < 1e-12
            );
            let first = further.runs.first().expect("a run");
            assert!(first.u_after < further.u_now);
            // Scatter and estimate held, a row of information cannot lose any; shared parts can shift by a little.
            assert!(
                further
                    .runs
                    .iter()
                    .all(|r| r.u_after < 1.002 * further.u_now)
            );
        }
    }

    #[test]
    fn ends_of_the_airflow_buy_more_than_its_middle() {
        let (bench, data) = made(1);
        assert!(data.levels.len() > 2, "the seed gives three levels or more");
        let further = further_runs(&bench, &data).expect("runs");
        let best = further
            .runs
            .iter()
            .find(|r| r.kind == Kind::Cooling)
            .expect("one");
        assert!(best.level == 0 || best.level + 1 == data.levels.len());
    }

    #[test]
    fn the_update_agrees_with_a_bench_that_has_the_run() {
        // The same design with the row truly there: u at the held scatter is the one foretold.
        let (bench, data) = made(3);
        let further = further_runs(&bench, &data).expect("runs");
        let best = { further.runs.iter() }
            .find(|r| r.kind == Kind::Cooling)
            .expect("one");
        let (mode, level) = (best.mode.expect("a mode"), best.level);
        let like = { bench.points.iter() }
            .rfind(|p| {
                p.fan == data.levels[level].label
                    && p.mode == data.modes[mode]
                    && p.kind == Kind::Cooling
            })
            .expect("a run like it")
            .clone();
        let mut more = bench.clone();
        more.points.push(like);
        let data_more = DrawData::from_bench(&more);
        let varied: Vec<usize> = (0..data.modes.len()).collect();
        let (case, flow) = (known_case(&data).expect("known"), flow_u(&bench, &data));
        let q = question(&data, &varied, &case, &flow);
        let sigma2 = q
            .regress(Fan::Power)
            .and_then(|r| r.fit.sigma2())
            .expect("scatter");
        let (case, flow) = (
            known_case(&data_more).expect("known"),
            flow_u(&more, &data_more),
        );
        let q = question(&data_more, &varied, &case, &flow);
        let r = q.regress(Fan::Power).expect("a fit");
        let u = q.u_at(&r, further.elasticity, sigma2).expect("u");
        // Only the run's own intake, ambient, day and airflow reading differ from those foretold.
        let gain = further.u_now - best.u_after;
        assert!(
            gain > 0.0 && (u - best.u_after).abs() < 0.6 * gain,
            "{u} {best:?} {gain}"
        );
    }
}
