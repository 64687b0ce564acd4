//! What a plan can reach: made-up results run through the real assessment.
//!
//! The unit is a plain one: compressor side C·(airflow ratio)^β, a slope in intake and in ambient, the blower on top, all times
//! exp(scatter + the block's own step). Every replicate has a random stream of its own, so the answer does not depend on cores.

use rayon::prelude::*;

use crate::bench::{Bench, Kind};
use crate::coupling::{Allowance, Options, Verdict, assess};
use crate::fit::forms::DrawData;
use crate::stats::random::{Stream, normal, stream};

use super::power::fan_seen;
use super::{Assumed, Design, Plan, PlanError};

/// Share of the draw by which it rises with a kelvin of intake and of ambient; the assessment takes both slopes out.
/// Ambient: 1.2 to 2.2 % published for fixed speed; both rounded, common practice.
const PER_INTAKE_K: f64 = 0.01;
const PER_AMBIENT_K: f64 = 0.015;
/// How far the room misses its set point, and how ambient wanders, K. Common practice, no source.
const INTAKE_SD_K: f64 = 0.4;
const AMBIENT_SD_K: f64 = 1.0;
const AMBIENT_C: f64 = 30.0;
/// Scatter of an airflow reading, relative, and a block's own step of the draw, relative. Common practice, no source.
const AIRFLOW_SD: f64 = 0.012;
const BLOCK_SD: f64 = 0.01;
/// Draw at standby, W.
const STANDBY_W: f64 = 4.0;

/// What is asked of a plan.
#[derive(Clone, Debug)]
pub struct Question {
    /// Elasticities to be tried, one case each.
    pub elasticities: Vec<f64>,
    /// Replicates of each case.
    pub simulations: usize,
    /// Elasticity that a fixed-speed compressor may show by itself.
    pub allowance: f64,
    /// Confidence level.
    pub level: f64,
    /// Seed.
    pub seed: u64,
}

/// What a plan reaches.
#[derive(Clone, Debug, serde::Serialize)]
pub struct Reach {
    /// Relative run-to-run standard deviation.
    pub scatter: f64,
    /// Replicates of each case.
    pub simulations: usize,
    /// Cooling runs of the plan.
    pub cooling_runs: usize,
    /// One for each elasticity tried.
    pub cases: Vec<ReachCase>,
}

/// What a plan reaches if the elasticity is what is assumed.
#[derive(Clone, Debug, serde::Serialize)]
pub struct ReachCase {
    /// The assumed elasticity.
    pub elasticity: f64,
    /// Share of replicates that end in `coupled`.
    pub coupled: f64,
    /// In `independent`.
    pub independent: f64,
    /// In neither.
    pub undecided: f64,
    /// Standard error of the share that is decided rightly or wrongly, from the number of replicates.
    pub share_u: f64,
    /// Width of the elasticity's interval, median; none where no replicate has one.
    pub width: Option<f64>,
    /// Its tenth and ninetieth percentile.
    pub width_range: Option<(f64, f64)>,
    /// Share of replicates in which the nested-model test sees the fan level at all.
    pub fan_seen: f64,
    /// The same by the noncentral F distribution, where the plan is balanced.
    pub fan_seen_analytic: Option<f64>,
}

impl ReachCase {
    /// Share with the right verdict; none where the elasticity lies at the allowance's very edge.
    pub fn right(&self, allowance: f64) -> Option<f64> {
        let allowed = Allowance::new(allowance);
        if self.elasticity > allowed.up || self.elasticity < allowed.down {
            Some(self.coupled)
        } else if self.elasticity < allowed.up && self.elasticity > allowed.down {
            Some(self.independent)
        } else {
            None
        }
    }
}

/// What one replicate came to.
struct Outcome {
    verdict: Verdict,
    width: Option<f64>,
    seen: bool,
}

/// Simulates a plan.
///
/// # Errors
/// [`PlanError::Value`] or [`PlanError::Count`] for a question that makes no sense; [`PlanError::Simulation`] where made-up runs cannot be
/// read (a unit so odd that its draw is none).
pub fn reach(plan: &Plan, assumed: &Assumed, question: &Question) -> Result<Reach, PlanError> {
    check(question)?;
    let cases = { question.elasticities.iter().enumerate() }
        .map(|(i, elasticity)| case(plan, assumed, question, i, *elasticity))
        .collect::<Result<Vec<_>, _>>()?;
    Ok(Reach {
        scatter: assumed.scatter,
        simulations: question.simulations,
        cooling_runs: plan.count(Kind::Cooling),
        cases,
    })
}

fn check(question: &Question) -> Result<(), PlanError> {
    if let Some(found) = { question.elasticities.iter() }.find(|e| !(-3.0..=3.0).contains(*e)) {
        return Err(PlanError::Value {
            what: "an elasticity",
            found: *found,
            expected: "-3 to 3",
        });
    }
    let count = |what, found, least, most| {
        (!(least..=most).contains(&found)).then_some(PlanError::Count {
            what,
            found,
            least,
            most,
        })
    };
    let bad = count("elasticities", question.elasticities.len(), 1, 20).or(count(
        "simulations",
        question.simulations,
        1,
        100_000,
    ));
    bad.map_or(Ok(()), Err)
}

fn case(
    plan: &Plan,
    assumed: &Assumed,
    question: &Question,
    number: usize,
    elasticity: f64,
) -> Result<ReachCase, PlanError> {
    let options = Options {
        allowance: question.allowance,
        level: question.level,
        seed: question.seed,
        permute: false,
        ..Options::default()
    };
    let outcomes: Vec<Outcome> = (0..question.simulations)
        .into_par_iter()
        .map(|replicate| {
            // Stream 0 orders the plan.
            let index = 1 + ((number as u64) << 32) + replicate as u64;
            let mut rng = stream(question.seed, index);
            let table = results(plan, assumed, elasticity, &mut rng);
            let bench = Bench::from_texts(BENCH_TOML, &table)
                .map_err(|e| PlanError::Simulation(e.to_string()))?;
            let data = DrawData::from_bench(&bench);
            let answer = assess(&bench, &data, &options);
            Ok(Outcome {
                verdict: answer.verdict,
                width: answer.elasticity.map(|e| e.high - e.low),
                seen: answer.p_value.is_some_and(|p| p < 1.0 - question.level),
            })
        })
        .collect::<Result<_, PlanError>>()?;
    let n = outcomes.len() as f64;
    let share =
        |of: &dyn Fn(&Outcome) -> bool| outcomes.iter().filter(|o| of(o)).count() as f64 / n;
    let undecided = share(&|o| o.verdict == Verdict::Undecided);
    let mut widths: Vec<f64> = outcomes.iter().filter_map(|o| o.width).collect();
    widths.sort_by(f64::total_cmp);
    let at = |q: f64| quantile(&widths, q);
    Ok(ReachCase {
        elasticity,
        coupled: share(&|o| o.verdict == Verdict::Coupled),
        independent: share(&|o| o.verdict == Verdict::Independent),
        undecided,
        share_u: (undecided * (1.0 - undecided) / n).sqrt(),
        width: at(0.5),
        width_range: at(0.1).zip(at(0.9)),
        fan_seen: share(&|o| o.seen),
        fan_seen_analytic: fan_seen(&plan.design, assumed, elasticity, 1.0 - question.level),
    })
}

fn quantile(sorted: &[f64], q: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    let place = q * last as f64;
    let (low, share) = (place.floor() as usize, place.fract());
    let a = sorted.get(low)?;
    let b = sorted.get((low + 1).min(last))?;
    Some(a + share * (b - a))
}

const BENCH_TOML: &str = "title = \"simulated\"\n[points]\nfile = \"points.csv\"\n";

/// The plan's table of points, filled in by the plain unit.
fn results(plan: &Plan, assumed: &Assumed, elasticity: f64, rng: &mut Stream) -> String {
    let design = &plan.design;
    let n = assumed.airflows_m3h.len().max(1) as f64;
    let mean_ln = assumed.airflows_m3h.iter().map(|q| q.ln()).sum::<f64>() / n;
    let mean_c = design.intakes_c.iter().sum::<f64>() / design.intakes_c.len().max(1) as f64;
    let steps: Vec<f64> = (0..design.blocks).map(|_| BLOCK_SD * normal(rng)).collect();
    let mut text = String::from(
        "run,kind,mode,fan,block,order,intake_temp [degC],ambient_temp [degC],airflow [m3/h],power [W]\n",
    );
    for run in &plan.runs {
        let ambient = AMBIENT_C + AMBIENT_SD_K * normal(rng);
        let intake = plan.intake_c(run).unwrap_or(mean_c) + INTAKE_SD_K * normal(rng);
        let own = assumed.scatter * normal(rng);
        let flow_noise = AIRFLOW_SD * normal(rng);
        let level = |list: &[f64]| run.fan.and_then(|f| list.get(f)).copied();
        let flow = level(&assumed.airflows_m3h);
        let blower = level(&assumed.blower_w).unwrap_or(0.0);
        let power = match (run.mode.and_then(|m| assumed.compressor_w.get(m)), flow) {
            (Some(c), Some(q)) => {
                let ln = elasticity * (q.ln() - mean_ln)
                    + PER_INTAKE_K * (intake - mean_c)
                    + PER_AMBIENT_K * (ambient - AMBIENT_C);
                let step = steps.get(run.block).copied().unwrap_or(0.0);
                (c * ln.exp() + blower) * (own + step).exp()
            }
            (None, Some(_)) => blower * own.exp(),
            _ => STANDBY_W,
        };
        let airflow = flow.map_or(String::new(), |q| format!("{:.3}", q * flow_noise.exp()));
        // Names stand as numbers, so that no name can break the table; level numbers keep the levels' order.
        let number = |i: Option<usize>| i.map_or(String::new(), |i| (i + 1).to_string());
        let mode = run.mode.map_or(String::new(), |m| format!("m{m}"));
        text.push_str(&format!(
            "{},{},{mode},{},{},{},{intake:.3},{ambient:.3},{airflow},{power:.5}\n",
            run.order,
            run.kind.name(),
            number(run.fan),
            run.block,
            run.order,
        ));
    }
    text
}

/// How many repeats a wish takes.
#[derive(Clone, Debug, serde::Serialize)]
pub struct Enough {
    /// The share of right verdicts wished for, in every case that has a right one.
    pub wanted: f64,
    /// Fewest repeats tried that reach it; none where the most that were tried do not.
    pub repeats: Option<usize>,
    /// For each number of repeats tried: cooling runs, and the smallest share of right verdicts over the cases.
    pub tried: Vec<(usize, usize, f64)>,
}

/// Most repeats that [`enough`] tries.
const MOST_REPEATS: usize = 8;

/// Tries one repeat after the other until the share of right verdicts is `wanted` in every case.
///
/// # Errors
/// As [`reach`], and [`PlanError::Value`] for a share that is none or a question in which no case has a right verdict.
pub fn enough(
    design: &Design,
    assumed: &Assumed,
    question: &Question,
    wanted: f64,
) -> Result<Enough, PlanError> {
    if !(wanted > 0.0 && wanted < 1.0) {
        return Err(PlanError::Value {
            what: "a share of right verdicts",
            found: wanted,
            expected: "a share above 0 and under 1, such as 0.9",
        });
    }
    let mut tried = Vec::new();
    for repeats in 1..=MOST_REPEATS {
        let design = Design {
            repeats,
            blocks: design.blocks.min(repeats),
            ..design.clone()
        };
        let plan = design.plan(question.seed)?;
        let found = reach(&plan, assumed, question)?;
        let least = { found.cases.iter() }
            .filter_map(|c| c.right(question.allowance))
            .fold(f64::INFINITY, f64::min);
        if least.is_infinite() {
            return Err(PlanError::Value {
                what: "an elasticity",
                found: question.allowance,
                expected: "one that does not lie at the allowance itself",
            });
        }
        tried.push((repeats, found.cooling_runs, least));
        if least >= wanted {
            return Ok(Enough {
                wanted,
                repeats: Some(repeats),
                tried,
            });
        }
    }
    Ok(Enough {
        wanted,
        repeats: None,
        tried,
    })
}

#[cfg(test)]
mod tests {
    use super::super::Known;
    use super::*;

    fn plan() -> Plan {
        let names = |list: &[&str]| list.iter().map(|s| (*s).to_owned()).collect();
        let design = Design {
            modes: names(&["a", "b"]),
            fans: names(&["1", "2", "3"]),
            intakes_c: vec![23.0, 27.0, 34.0],
            repeats: 2,
            blocks: 2,
            fan_only: 2,
            standby: true,
            group_intakes: false,
            first_block: 1,
            prefix: "r".to_owned(),
        };
        design.plan(5).unwrap()
    }

    fn assumed(scatter: f64, blower_w: [f64; 3]) -> Assumed {
        Assumed {
            airflows_m3h: vec![150.0, 260.0, 400.0],
            airflows: Known::Given,
            blower_w: blower_w.to_vec(),
            blower: Known::Given,
            compressor_w: vec![180.0, 310.0],
            scatter,
            scatter_from: Known::Given,
        }
    }

    struct Made {
        kind: String,
        mode: Option<usize>,
        fan: Option<usize>,
        block: usize,
        intake: f64,
        ambient: f64,
        airflow: Option<f64>,
        power: f64,
    }

    fn made(assumed: &Assumed, elasticity: f64) -> Vec<Made> {
        let table = results(&plan(), assumed, elasticity, &mut stream(3, 9));
        let row = |line: &str| {
            let f: Vec<&str> = line.split(',').collect();
            Made {
                kind: f[1].to_owned(),
                mode: f[2].strip_prefix('m').map(|m| m.parse().unwrap()),
                fan: f[3].parse::<usize>().ok().map(|n| n - 1),
                block: f[4].parse().unwrap(),
                intake: f[6].parse().unwrap(),
                ambient: f[7].parse().unwrap(),
                airflow: f[8].parse().ok(),
                power: f[9].parse().unwrap(),
            }
        };
        table.lines().skip(1).map(row).collect()
    }

    #[test]
    fn the_plain_unit_does_what_is_said_of_it() {
        let flows: [f64; 3] = [150.0, 260.0, 400.0];
        let mean_ln = flows.iter().map(|q| q.ln()).sum::<f64>() / 3.0;
        // Without scatter each run is C e^(0.7 (ln q − mean) + 1 % a kelvin of intake about 28 degC + 1.5 % of ambient about 30 degC), plus
        // the blower, times its block's own step: the same remainder throughout a block. Tables round intakes to a thousandth of a kelvin.
        let blower = [12.0, 31.0, 77.0];
        let runs = made(&assumed(1e-12, blower), 0.7);
        let mut steps: [Vec<f64>; 2] = [Vec::new(), Vec::new()];
        for r in &runs {
            assert!((r.ambient - 30.0).abs() < 5.0);
            let Some(fan) = r.fan else {
                assert_eq!(
                    (r.kind.as_str(), r.power, r.airflow),
                    ("standby", 4.0, None)
                );
                continue;
            };
            assert!((r.airflow.unwrap() / flows[fan]).ln().abs() < 5.0 * 0.012);
            let Some(mode) = r.mode else {
                assert!((r.power - blower[fan]).abs() < 1e-4);
                continue;
            };
            let ln = 0.7 * (flows[fan].ln() - mean_ln)
                + 0.01 * (r.intake - 28.0)
                + 0.015 * (r.ambient - 30.0);
            let plain = [180.0, 310.0][mode] * ln.exp() + blower[fan];
            steps[r.block].push((r.power / plain).ln());
        }
        for block in &steps {
            assert_eq!(block.len(), 18);
            assert!(
                block.iter().all(|s| (s - block[0]).abs() < 5e-5),
                "{block:?}"
            );
            assert!(block[0].abs() < 5.0 * 0.01);
        }
        assert!((steps[0][0] - steps[1][0]).abs() > 1e-4);
        // With scatter every run goes its own way, by that much.
        let scattered = made(&assumed(0.02, blower), 0.7);
        let own: Vec<f64> = { scattered.iter().zip(&runs) }
            .filter(|(r, _)| r.fan.is_some())
            .map(|(r, plain)| (r.power / plain.power).ln() / 0.02)
            .collect();
        let n = own.len() as f64;
        let square = own.iter().map(|z| z * z).sum::<f64>() / n;
        // A mean square of standard normals: 1 ± √(2/n), within four of those.
        assert!((square - 1.0).abs() < 4.0 * (2.0 / n).sqrt(), "{square}");
    }

    #[test]
    fn quantiles_and_right_verdicts_by_hand() {
        // Four gaps between 1, 2, 4, 8, 16: three tenths of the way is 1.2 gaps: 2 + 0.2 × 2; nine tenths 3.6: 8 + 0.6 × 8.
        let list = [1.0, 2.0, 4.0, 8.0, 16.0];
        assert!((quantile(&list, 0.3).unwrap() - 2.4).abs() < 1e-12);
        assert!((quantile(&list, 0.9).unwrap() - 12.8).abs() < 1e-12);
        assert_eq!(
            (quantile(&list, 1.0), quantile(&[], 0.5)),
            (Some(16.0), None)
        );
        let right = |elasticity: f64| {
            let case = ReachCase {
                elasticity,
                coupled: 0.7,
                independent: 0.2,
                undecided: 0.1,
                share_u: 0.0,
                width: None,
                width_range: None,
                fan_seen: 0.0,
                fan_seen_analytic: None,
            };
            case.right(0.2)
        };
        let allowed = Allowance::new(0.2);
        for (elasticity, share) in [
            (allowed.up + 0.01, 0.7),
            (allowed.up - 0.01, 0.2),
            (0.0, 0.2),
            (allowed.down + 0.01, 0.2),
            (allowed.down - 0.01, 0.7),
        ] {
            assert_eq!(right(elasticity), Some(share), "{elasticity}");
        }
        assert_eq!((right(allowed.up), right(allowed.down)), (None, None));
    }

    #[test]
    fn a_reach_is_the_tally_of_its_replicates() {
        let question = Question {
            elasticities: vec![0.0, 0.25],
            simulations: 40,
            allowance: 0.1,
            level: 0.95,
            seed: 4,
        };
        let found = reach(&plan(), &assumed(0.05, [12.0, 31.0, 77.0]), &question).unwrap();
        assert_eq!((found.cooling_runs, found.simulations), (36, 40));
        for case in &found.cases {
            let sum = case.coupled + case.independent + case.undecided;
            assert!((sum - 1.0).abs() < 1e-12, "{case:?}");
            let u = (case.undecided * (1.0 - case.undecided) / 40.0).sqrt();
            assert!((case.share_u - u).abs() < 1e-12);
            let (low, high) = case.width_range.unwrap();
            let middle = case.width.unwrap();
            assert!(0.0 < low && low < middle && middle < high, "{case:?}");
        }
        // No case repeats the other's dice: with the same ones their widths would move together and their medians be all but alike.
        assert!(found.cases[1].fan_seen > found.cases[0].fan_seen);
        assert!(found.cases[1].coupled > found.cases[0].coupled);
    }
}
