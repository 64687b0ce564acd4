//! The lines of evidence beside the elasticity: nested models, and what the air says.

use crate::bench::{Bench, Channel};
use crate::fit::LinearFit;
use crate::fit::forms::DrawData;
use crate::stats::anova::Source;
use crate::stats::tests::nested_f;

use super::elasticity::{Elasticity, Fan, Question};
use super::verdict::Verdict;

/// One line of evidence.
#[derive(Clone, Debug, serde::Serialize)]
pub struct Evidence {
    /// A short stable name.
    pub name: &'static str,
    /// `coupled`, `independent`, `undecided`, or `silent` where the bench does not speak on it.
    pub says: &'static str,
    /// The figures in a sentence.
    pub detail: String,
    /// A p value, where the line has one.
    pub p_value: Option<f64>,
    /// An estimate with its interval, where the line has one.
    pub value: Option<Elasticity>,
}

/// The nested-model F test: does the fan level matter at all to the compressor-side draw?
pub struct NestedTest {
    /// F.
    pub f: f64,
    /// Numerator and denominator degrees of freedom.
    pub dof: (usize, usize),
    /// Chance of so large an F if the fan did not matter.
    pub p: f64,
}

pub(super) fn nested_test(question: &Question<'_>) -> Option<NestedTest> {
    let full = question.regress(Fan::Factor)?.fit;
    let reduced = question.regress(Fan::Absent)?.fit;
    let source = |fit: &LinearFit| Source {
        squares: fit.rss,
        dof: fit.dof() as f64,
    };
    let test = nested_f(source(&reduced), source(&full)).ok()?;
    Some(NestedTest {
        f: test.f,
        dof: (full.p - reduced.p, full.dof()),
        p: test.p,
    })
}

/// Sensible capacity's elasticity at fixed speed: 0.3 to 0.55 published with a wet coil (bypass-factor model of NREL curve sets, cycle model;
/// reference values for air conditioners), 0.2 to 0.3 with a dry one. Above this it speaks for coupling.
const SENSIBLE_COUPLED_ABOVE: f64 = 0.65;
/// Below this it speaks against.
const SENSIBLE_INDEPENDENT_BELOW: f64 = 0.60;

/// What the air says: sensible capacity (level's own airflow × temperature drop) against airflow.
/// The level's mean flow stands in the capacity, not the run's noisy reading, so that the flow's noise does not feign an exponent of one.
pub(super) fn air_side(
    bench: &Bench,
    data: &DrawData,
    modes: &[usize],
    flow_u: &[f64],
    level: f64,
) -> Evidence {
    let silent = |why: &str| Evidence {
        name: "air-side",
        says: "silent",
        detail: why.to_owned(),
        p_value: None,
        value: None,
    };
    if data.flow_scale != crate::fit::forms::FlowScale::Airflow {
        return silent("No airflow was measured, so the air side says nothing.");
    }
    if super::settle::flow_span(data) < super::settle::NARROW_SPAN {
        return silent("Within modes the airflow hardly changes, so the air side says nothing.");
    }
    let mut altered = data.clone();
    for row in &mut altered.rows {
        let point = bench.points.get(row.point);
        let drop = point.and_then(|p| Some(p.intake_c()? - p.get(Channel::OutletTemp)?));
        match (drop, data.levels.get(row.level).and_then(|l| l.flow)) {
            (Some(d), Some(flow)) if d > 0.2 => row.draw = d * flow,
            _ => {
                return silent(
                    "Intake and outlet temperatures do not give a cooling for every run, so the air side says nothing.",
                );
            }
        }
    }
    let zeros = vec![0.0; data.levels.len()];
    let question = Question {
        data: &altered,
        modes,
        blower_w: &zeros,
        blower_u: &zeros,
        blower_common_u: 0.0,
        flow_u,
        covariate: None,
    };
    let estimate = question
        .regress(Fan::Power)
        .and_then(|r| question.elasticity(&r, level));
    let Some(e) = estimate else {
        return silent("Too few runs for the air side to speak.");
    };
    let says = if e.low > SENSIBLE_COUPLED_ABOVE {
        Verdict::Coupled.name()
    } else if e.high < SENSIBLE_INDEPENDENT_BELOW {
        Verdict::Independent.name()
    } else {
        Verdict::Undecided.name()
    };
    Evidence {
        name: "air-side",
        says,
        detail: format!(
            "Sensible cooling follows airflow to the power {:.2} ({:.2} to {:.2}); at fixed speed 0.2 to 0.55 is usual, under a compressor that follows the fan about 0.7 to 1.",
            e.value, e.low, e.high
        ),
        p_value: None,
        value: Some(e),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_fan_levels_are_tested_on_their_own_degrees_of_freedom() {
        // Three levels, three runs each, nothing else varied: two of the nine degrees go to the levels beside the mean, six stay.
        let mut table = "run,fan,power [W]\n".to_owned();
        for (fan, draw) in [(1, 100.0), (2, 120.0), (3, 150.0)] {
            for (run, off) in [("a", 0.99), ("b", 1.0), ("c", 1.01)] {
                table.push_str(&format!("{run}{fan},{fan},{}\n", draw * off));
            }
        }
        let bench = Bench::from_texts("[points]\nfile = \"points.csv\"\n", &table).unwrap();
        let data = DrawData::from_bench(&bench);
        let question = Question {
            data: &data,
            modes: &[0],
            blower_w: &[],
            blower_u: &[],
            blower_common_u: 0.0,
            flow_u: &[],
            covariate: None,
        };
        let test = nested_test(&question).unwrap();
        assert_eq!(test.dof, (2, 6));
        // Analysis of variance of the nine logarithms (scipy 1.17, f_oneway).
        assert!(
            (test.f / 1_237.087_953_339_4 - 1.0).abs() < 1e-9,
            "{}",
            test.f
        );
    }
}
