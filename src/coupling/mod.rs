//! Are the fan level and the compressor tied together? The lines of evidence and the verdict.
//!
//! [`assess`] takes a bench's cooling runs, the blower's own draw taken off, and asks how the rest follows airflow within each mode.

mod alike;
mod blower;
mod confounders;
mod elasticity;
mod evidence;
mod further;
mod levels;
mod missed;
mod permute;
mod sentences;
mod settle;
mod successive;
mod verdict;

use crate::bench::Bench;
use crate::bench::Channel;
use crate::fit::forms::{DrawData, FlowScale};
use crate::quantity::Said;
use crate::stats::anova::Source;
use crate::stats::tests::nested_f;

pub use alike::{DEFAULT_MARGIN, ModePair};
use blower::{BlowerCase, assumed_case, bounded_cases, known_case, limit_w};
pub use blower::{FanDraw, FanDrawLevel};
pub use confounders::Confounder;
pub use elasticity::Elasticity;
use elasticity::{Fan, Question};
pub use evidence::{Evidence, NestedTest};
pub use further::{FurtherRun, FurtherRuns, further_runs};
pub use verdict::{Allowance, DEFAULT_ALLOWANCE, Verdict};

/// What to ask.
#[derive(Clone, Copy, Debug)]
pub struct Options {
    /// How much a fixed-speed compressor's draw may follow airflow by itself.
    pub allowance: f64,
    /// Confidence level of the intervals.
    pub level: f64,
    /// Relative difference of draw within which two modes count as the same.
    pub margin: f64,
    /// Seed of the random permutations.
    pub seed: u64,
    /// Whether the permutation test is among the lines of evidence; it takes no part in the verdict.
    pub permute: bool,
}

impl Default for Options {
    fn default() -> Self {
        Options {
            allowance: DEFAULT_ALLOWANCE,
            level: 0.95,
            margin: DEFAULT_MARGIN,
            seed: 1,
            permute: true,
        }
    }
}

/// A mode's own answer.
#[derive(Clone, Debug, serde::Serialize)]
pub struct ModeAnswer {
    /// The mode.
    pub mode: String,
    /// Its verdict.
    pub verdict: Verdict,
    /// Its elasticity; none where its fan level was not varied, or too few runs are there.
    pub elasticity: Option<Elasticity>,
    /// Fan levels tested in it.
    pub fan_levels: usize,
    /// Cooling runs in it.
    pub runs: usize,
}

/// The answer.
#[derive(Clone, Debug)]
pub struct Coupling {
    /// The verdict over all modes.
    pub verdict: Verdict,
    /// What it is, by how much, and how well it stands: three sentences for the reader of a write-up.
    pub sentences: Vec<Said>,
    /// Elasticity over all modes whose fan level was varied; none where no mode's was.
    pub elasticity: Option<Elasticity>,
    /// Allowance used.
    pub allowance: Allowance,
    /// Chance of such a fan effect in the data if the fan level did not matter to the compressor side.
    pub p_value: Option<f64>,
    /// What was known of the blower.
    pub fan_draw: FanDraw,
    /// The lines of evidence.
    pub evidence: Vec<Evidence>,
    /// Each mode's own answer.
    pub per_mode: Vec<ModeAnswer>,
    /// Whether modes differ in their elasticity beyond the scatter (5 % level).
    pub modes_differ: bool,
    /// Modes compared pair by pair at the fan levels that they share.
    pub alike: Vec<ModePair>,
    /// What else differed with the fan level, where a reader must know of it.
    pub confounders: Vec<Confounder>,
    /// Concrete runs that would settle an undecided question.
    pub would_settle: Vec<Said>,
}

impl Coupling {
    /// What stands over the runs of [`Coupling::would_settle`].
    pub fn settles(&self) -> &'static str {
        if self.verdict == Verdict::Undecided {
            "What would settle it"
        } else {
            "What would settle the open modes"
        }
    }
}

/// Assesses the coupling of a bench.
pub fn assess(bench: &Bench, data: &DrawData, options: &Options) -> Coupling {
    let allowance = Allowance::new(options.allowance);
    let limit = limit_w(bench, data);
    let mut fan_draw = FanDraw::of(data, limit);
    let varied: Vec<usize> = (0..data.modes.len())
        .filter(|m| levels_in(data, *m) > 1)
        .collect();
    let known = known_case(data);
    let flow_u = flow_u(bench, data);
    let cases: Vec<BlowerCase> = match (&known, limit) {
        (Some(case), _) => vec![case.clone()],
        (None, Some(limit)) => bounded_cases(data, limit),
        (None, None) => Vec::new(),
    };
    let air = (data.flow_scale != FlowScale::None && !varied.is_empty())
        .then(|| evidence::air_side(bench, data, &varied, &flow_u, options.level));
    let air_says_fixed = air
        .as_ref()
        .is_some_and(|e| e.says == Verdict::Independent.name());
    let ask_of =
        |data: &DrawData, modes: &[usize], confidence: f64| -> Option<(Elasticity, Verdict)> {
            let mut worst: Option<Elasticity> = None;
            let mut verdicts = Vec::new();
            for case in &cases {
                let q = question(data, modes, case, &flow_u);
                let power = q.regress(Fan::Power)?;
                let e = q.elasticity(&power, confidence)?;
                // An assumed blower so large that the compressor would have to slow down as the fan rises explains
                // nothing where the air side shows a compressor at fixed speed: it is no blower of this unit.
                let too_large = known.is_none() && e.value < allowance.down && air_says_fixed;
                if too_large && worst.is_some() {
                    continue;
                }
                let by_power = allowance.judge(&e);
                let by_level = levels::by_level(&q, &power, &allowance, confidence);
                verdicts.push(by_level.map_or(by_power, |l| l.correct(by_power)));
                worst = Some(worst.map_or(e, |w| join(w, e)));
            }
            let first = *verdicts.first()?;
            // The airflow changes by less than the level's number, as a rule: what hardly follows the number may well follow the air.
            let unproven =
                first == Verdict::Independent && data.flow_scale == FlowScale::LevelNumber;
            let verdict = if verdicts.iter().all(|v| *v == first) && !unproven {
                first
            } else {
                Verdict::Undecided
            };
            Some((worst?, verdict))
        };
    let ask = |modes: &[usize], confidence: f64| ask_of(data, modes, confidence);
    let usable = data.flow_scale != FlowScale::None && !varied.is_empty();
    let overall = if usable {
        ask(&varied, options.level)
    } else {
        None
    };
    // Each mode is a question of its own; together they must keep the promised level.
    let shared_level = 1.0 - (1.0 - options.level) / varied.len().max(1) as f64;
    let mut per_mode: Vec<ModeAnswer> = (0..data.modes.len())
        .map(|mode| {
            let answer = if usable && varied.contains(&mode) {
                ask(&[mode], shared_level)
            } else {
                None
            };
            ModeAnswer {
                mode: data.modes.get(mode).cloned().unwrap_or_default(),
                verdict: answer.map_or(Verdict::Undecided, |a| a.1),
                elasticity: answer.map(|a| a.0),
                fan_levels: levels_in(data, mode),
                runs: data.rows.iter().filter(|r| r.mode == mode).count(),
            }
        })
        .collect();
    let reference = cases
        .first()
        .map(|case| question(data, &varied, case, &flow_u));
    let modes_differ =
        usable && varied.len() > 1 && reference.as_ref().is_some_and(|q| differ(q, options.level));
    let mut verdict = overall_verdict(overall.map(|o| o.1), &per_mode, modes_differ, &allowance);
    // Where the blower is only bounded no one elasticity stands for the answer, and none can be turned.
    let blower_known = known.is_some() || limit == Some(0.0);
    let confounders = match (&reference, usable && blower_known) {
        (Some(q), true) => { q.regress(Fan::Power) }
            .and_then(|r| q.elasticity(&r, options.level))
            .map(|e| confounders::confounders(bench, q, &e, &allowance, options.level))
            .unwrap_or_default(),
        _ => Vec::new(),
    };
    if confounders.iter().any(|c| c.turns_the_verdict) {
        verdict = Verdict::Undecided;
    }
    if verdict == Verdict::Coupled {
        let answer = |seen: &DrawData, modes: &[usize]| ask_of(seen, modes, options.level);
        let open = missed::left_open(data, &per_mode, |seen, modes| {
            answer(seen, modes).map(|a| a.1)
        });
        for mode in open {
            per_mode[mode].verdict = Verdict::Undecided;
        }
    }
    let mut lines = Vec::new();
    let nested = if usable {
        reference.as_ref().and_then(evidence::nested_test)
    } else {
        None
    };
    lines.push(elasticity_line(overall.as_ref(), &allowance, options.level));
    if let Some(t) = &nested {
        let case = if known.is_some() {
            ""
        } else {
            " (taken without a blower draw)"
        };
        lines.push(Evidence {
            name: "nested-models",
            says: if t.p < 1.0 - options.level { "fan-matters" } else { "fan-not-seen" },
            detail: format!(
                "Adding the fan level to the model of the compressor-side draw{case} gives F = {:.1} on {} and {} degrees of freedom. It tells whether the fan matters at all, not whether it matters more than the allowance.",
                t.f, t.dof.0, t.dof.1
            ),
            p_value: Some(t.p),
            value: None,
        });
    }
    if usable && options.permute {
        lines.extend(
            reference
                .as_ref()
                .and_then(|q| permute::permutation_test(q, options.seed, options.level)),
        );
    }
    if let (Some(q), true) = (&reference, usable && blower_known) {
        let power = q.regress(Fan::Power);
        let by_level = power.and_then(|p| levels::by_level(q, &p, &allowance, options.level));
        lines.extend(by_level.map(|l| l.line(q)));
        lines.push(successive::successive_runs(q, &allowance, options.level));
    }
    lines.extend(air);
    lines.extend(alike::mode_given_fan(data, options.level));
    if known.is_none() {
        fan_draw.break_even_w = break_even(data, &varied, &flow_u, &allowance, limit);
    }
    let mut answer = Coupling {
        verdict,
        sentences: Vec::new(),
        elasticity: overall.map(|o| o.0),
        allowance,
        p_value: nested.map(|t| t.p),
        fan_draw,
        evidence: lines,
        per_mode,
        modes_differ,
        alike: alike::pairs(data, options.margin, options.level),
        confounders,
        would_settle: Vec::new(),
    };
    answer.would_settle = settle::runs_that_settle(data, &answer, options.level);
    answer.sentences = sentences::sentences(data, &answer, options.level);
    answer
}

fn question<'a>(
    data: &'a DrawData,
    modes: &'a [usize],
    case: &'a BlowerCase,
    flow_u: &'a [f64],
) -> Question<'a> {
    Question {
        data,
        modes,
        blower_w: &case.draw_w,
        blower_u: &case.u_w,
        blower_common_u: case.common_u,
        flow_u,
        covariate: None,
    }
}

fn levels_in(data: &DrawData, mode: usize) -> usize {
    data.tested
        .get(mode)
        .map_or(0, |m| m.iter().filter(|n| **n > 0).count())
}

/// The hull of two intervals, with its middle as the value: between assumed blowers nothing prefers one.
fn join(a: Elasticity, b: Elasticity) -> Elasticity {
    Elasticity {
        low: a.low.min(b.low),
        high: a.high.max(b.high),
        value: 0.5 * (a.low.min(b.low) + a.high.max(b.high)),
        ..a
    }
}

/// Standard uncertainty of each level's logarithmic airflow: the readings' scatter, and the instrument's fresh part.
fn flow_u(bench: &Bench, data: &DrawData) -> Vec<f64> {
    data.levels
        .iter()
        .map(|level| {
            let flows: Vec<f64> = bench
                .points
                .iter()
                .filter(|p| p.fan == level.label)
                .filter_map(|p| p.get(Channel::Airflow))
                .map(f64::ln)
                .collect();
            if flows.len() < 2 || data.flow_scale != FlowScale::Airflow {
                return 0.0;
            }
            let n = flows.len() as f64;
            let mean = flows.iter().sum::<f64>() / n;
            let variance = flows.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0);
            (variance / n).sqrt()
        })
        .collect()
}

/// F test of one common power against a power for each mode.
fn differ(question: &Question<'_>, level: f64) -> bool {
    let (Some(common), Some(own)) = (
        question.regress(Fan::Power),
        question.regress(Fan::PowerByMode),
    ) else {
        return false;
    };
    let source = |f: &crate::fit::LinearFit| Source {
        squares: f.rss,
        dof: f.dof() as f64,
    };
    nested_f(source(&common.fit), source(&own.fit)).is_ok_and(|t| t.p < 1.0 - level)
}

/// Modes that differ are judged one by one: coupled where any is shown to be, independent where all are.
fn overall_verdict(
    pooled: Option<Verdict>,
    per_mode: &[ModeAnswer],
    modes_differ: bool,
    allowance: &Allowance,
) -> Verdict {
    let Some(pooled) = pooled else {
        return Verdict::Undecided;
    };
    let asked: Vec<Verdict> = per_mode
        .iter()
        .filter(|m| m.elasticity.is_some())
        .map(|m| m.verdict)
        .collect();
    let coupled = asked.contains(&Verdict::Coupled);
    let independent = asked.contains(&Verdict::Independent);
    match pooled {
        Verdict::Coupled if independent && !coupled => Verdict::Undecided,
        Verdict::Independent if coupled => Verdict::Coupled,
        _ if modes_differ && coupled => Verdict::Coupled,
        Verdict::Independent
            if modes_differ && asked.iter().any(|v| *v != Verdict::Independent) =>
        {
            // A mode of its own kind hides behind the mean of the others only if it stands outside the allowance.
            let hidden = per_mode.iter().any(|m| {
                m.verdict != Verdict::Independent
                    && m.elasticity
                        .is_some_and(|e| e.value > allowance.up || e.value < allowance.down)
            });
            if hidden {
                Verdict::Undecided
            } else {
                Verdict::Independent
            }
        }
        other => other,
    }
}

fn elasticity_line(
    overall: Option<&(Elasticity, Verdict)>,
    allowance: &Allowance,
    level: f64,
) -> Evidence {
    match overall {
        Some((e, verdict)) => Evidence {
            name: "elasticity",
            says: verdict.name(),
            detail: format!(
                "Within modes the compressor-side draw follows airflow to the power {:.2} ({:.0} % interval {:.2} to {:.2}); a fixed-speed compressor stays within {:.2} to {:+.2}.",
                e.value,
                100.0 * level,
                e.low,
                e.high,
                allowance.down,
                allowance.up
            ),
            p_value: None,
            value: Some(*e),
        },
        None => Evidence {
            name: "elasticity",
            says: "silent",
            detail: "No mode was run at two fan levels with enough runs and a known order of airflow, so no elasticity can be given.".to_owned(),
            p_value: None,
            value: None,
        },
    }
}

/// The blower draw at the highest level at which the estimate comes down to the allowance, W; none where even the largest does not,
/// or where it lies inside already.
fn break_even(
    data: &DrawData,
    modes: &[usize],
    flow_u: &[f64],
    allowance: &Allowance,
    limit: Option<f64>,
) -> Option<f64> {
    const EXPONENT: f64 = 2.0;
    let largest = limit? * 4.0;
    let value = |top: f64| {
        let case = assumed_case(data, top, EXPONENT)?;
        let q = question(data, modes, &case, flow_u);
        q.regress(Fan::Power)
            .and_then(|r| q.elasticity(&r, 0.95))
            .map(|e| e.value)
    };
    if value(0.0)? <= allowance.up {
        return None;
    }
    let (mut low, mut high) = (0.0, 0.0);
    let steps = 64;
    for i in 1..=steps {
        let top = largest * f64::from(i) / f64::from(steps);
        match value(top) {
            Some(v) if v > allowance.up => low = top,
            Some(_) => {
                high = top;
                break;
            }
            None => break,
        }
    }
    if high <= low {
        return None;
    }
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if value(middle)? > allowance.up {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(0.5 * (low + high))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mode(verdict: Verdict, value: f64) -> ModeAnswer {
        ModeAnswer {
            mode: String::new(),
            verdict,
            elasticity: Some(Elasticity {
                value,
                low: value - 0.2,
                high: value + 0.2,
                u: 0.1,
                dof: 9,
            }),
            fan_levels: 3,
            runs: 12,
        }
    }

    #[test]
    fn a_mode_outside_the_allowance_asked_for_is_not_hidden_by_the_others() {
        let modes = [
            mode(Verdict::Independent, 0.0),
            mode(Verdict::Undecided, 0.15),
        ];
        let over = |up| {
            overall_verdict(
                Some(Verdict::Independent),
                &modes,
                true,
                &Allowance::new(up),
            )
        };
        assert_eq!(over(0.1), Verdict::Undecided);
        assert_eq!(over(0.2), Verdict::Independent);
    }

    #[test]
    fn modes_that_differ_are_judged_one_by_one() {
        let a = Allowance::new(0.2);
        let mixed = [mode(Verdict::Coupled, 0.9), mode(Verdict::Independent, 0.0)];
        assert_eq!(
            overall_verdict(Some(Verdict::Undecided), &mixed, true, &a),
            Verdict::Coupled
        );
        let fixed = [
            mode(Verdict::Undecided, 0.3),
            mode(Verdict::Independent, 0.0),
        ];
        assert_eq!(
            overall_verdict(Some(Verdict::Coupled), &fixed, false, &a),
            Verdict::Undecided
        );
        assert_eq!(overall_verdict(None, &mixed, true, &a), Verdict::Undecided);
    }
}
