//! The fan levels one by one, with no curve through them: for answers that do not rise or fall evenly with airflow.
//!
//! A control may run the compressor hardest at a middle level. A single power of airflow would then be about zero, and say "independent".

use crate::stats::anova::Source;
use crate::stats::tests::nested_f;

use super::elasticity::{Elasticity, Fan, Question, Regression};
use super::evidence::Evidence;
use super::verdict::{Allowance, Verdict};

/// A chance, under one power of airflow, of levels that lie so unevenly, under which the power is not believed.
const UNEVEN_BELOW: f64 = 0.01;

/// What the levels say one by one.
pub(super) struct ByLevel {
    /// Against what a fixed-speed compressor may do over the whole span of airflow.
    pub verdict: Verdict,
    /// The largest change of ln(compressor side) between two levels, from the one with less airflow to the one with more.
    pub largest: Elasticity,
    /// Indices of those two levels.
    pub between: (usize, usize),
    /// The changes that a fixed speed may show over the whole span.
    pub allowed: (f64, f64),
    /// Chance of levels so uneven if one power of airflow held; none with fewer than three levels.
    pub p_uneven: Option<f64>,
}

impl ByLevel {
    /// The verdict of one power of airflow, corrected where the levels lie too unevenly for it.
    pub fn correct(&self, by_power: Verdict) -> Verdict {
        if self.p_uneven.is_none_or(|p| p >= UNEVEN_BELOW) {
            return by_power;
        }
        match (by_power, self.verdict) {
            (Verdict::Coupled, _) | (_, Verdict::Coupled) => Verdict::Coupled,
            (Verdict::Independent, Verdict::Independent) => Verdict::Independent,
            _ => Verdict::Undecided,
        }
    }

    /// The line of evidence.
    pub fn line(&self, question: &Question<'_>) -> Evidence {
        let label = |l: usize| {
            let level = question.data.levels.get(l);
            level.map_or("", |l| l.label.as_str())
        };
        let percent = |v: f64| 100.0 * v.exp_m1();
        let even = match self.p_uneven {
            Some(p) if p < UNEVEN_BELOW => " The levels lie too unevenly for one power of airflow.",
            Some(_) => " One power of airflow fits the levels.",
            None => "",
        };
        Evidence {
            name: "levels",
            says: self.verdict.name(),
            detail: format!(
                "Each fan level by itself, the largest change of the compressor side's draw is {:+.1} % ({:+.1} to {:+.1} %, all pairs together) from fan {} to fan {}; over the whole span of airflow a fixed speed stays within {:+.1} to {:+.1} %.{even}",
                percent(self.largest.value),
                percent(self.largest.low),
                percent(self.largest.high),
                label(self.between.0),
                label(self.between.1),
                percent(self.allowed.0),
                percent(self.allowed.1),
            ),
            p_value: self.p_uneven,
            value: None,
        }
    }
}

/// Asks level by level; the intervals of all pairs together keep the confidence level (Bonferroni). None with fewer than two levels, or
/// where the runs are too few.
pub(super) fn by_level(
    question: &Question<'_>,
    power: &Regression,
    allowance: &Allowance,
    confidence: f64,
) -> Option<ByLevel> {
    let factor = question.regress(Fan::Factor)?;
    let levels = factor.levels();
    let x = |l: usize| question.data.levels.get(l).and_then(|l| l.x);
    let flows: Vec<f64> = levels.iter().map(|l| x(*l)).collect::<Option<_>>()?;
    let span = flows.iter().copied().fold(f64::NEG_INFINITY, f64::max)
        - flows.iter().copied().fold(f64::INFINITY, f64::min);
    let pairs = levels.len() * levels.len().saturating_sub(1) / 2;
    let each = 1.0 - (1.0 - confidence) / pairs.max(1) as f64;
    let allowed = (allowance.down * span, allowance.up * span);
    let mut largest: Option<(Elasticity, (usize, usize))> = None;
    let mut verdict = Verdict::Independent;
    for (a, flow_a) in flows.iter().enumerate() {
        for (b, flow_b) in flows.iter().enumerate().skip(a + 1) {
            let (from, to) = if flow_a <= flow_b { (a, b) } else { (b, a) };
            let step = question.step(&factor, from, to, each)?;
            if step.low > allowed.1 || step.high < allowed.0 {
                verdict = Verdict::Coupled;
            } else if verdict == Verdict::Independent
                && (step.low < allowed.0 || step.high > allowed.1)
            {
                verdict = Verdict::Undecided;
            }
            if largest.is_none_or(|(l, _)| step.value.abs() > l.value.abs()) {
                largest = Some((step, (*levels.get(from)?, *levels.get(to)?)));
            }
        }
    }
    let (largest, between) = largest?;
    let source = |r: &Regression| Source {
        squares: r.fit.rss,
        dof: r.fit.dof() as f64,
    };
    let p_uneven = (levels.len() > 2)
        .then(|| nested_f(source(power), source(&factor)).ok())
        .flatten()
        .map(|t| t.p);
    Some(ByLevel {
        verdict,
        largest,
        between,
        allowed,
        p_uneven,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    use crate::bench::Bench;
    use crate::fit::forms::DrawData;

    fn question<'a>(data: &'a DrawData, flow_u: &'a [f64]) -> Question<'a> {
        Question {
            data,
            modes: &[0],
            blower_w: &[],
            blower_u: &[],
            blower_common_u: 0.0,
            flow_u,
            covariate: None,
        }
    }

    /// Six runs at each level, each 0.5 % to one side or the other.
    fn data(levels: &[(f64, f64)]) -> DrawData {
        let mut table = "run,fan,airflow [m3/h],power [W]\n".to_owned();
        for (i, (flow, draw)) in levels.iter().enumerate() {
            for run in 0..6 {
                let off = if run % 2 == 0 { 1.005 } else { 0.995 };
                table.push_str(&format!("{i}{run},{},{flow},{}\n", i + 1, draw * off));
            }
        }
        let bench = Bench::from_texts("[points]\nfile = \"points.csv\"\n", &table).unwrap();
        DrawData::from_bench(&bench)
    }

    fn asked(data: &DrawData) -> ByLevel {
        let u = vec![0.0; data.levels.len()];
        let question = question(data, &u);
        let power = question.regress(Fan::Power).unwrap();
        by_level(&question, &power, &Allowance::new(0.2), 0.95).unwrap()
    }

    #[test]
    fn two_levels_have_the_plain_interval_and_three_a_wider_one() {
        let two = asked(&data(&[(100.0, 100.0), (200.0, 130.0)]));
        assert!((two.largest.value - 1.3f64.ln()).abs() < 1e-9);
        // Twice the airflow: −0.4 and 0.2 of ln 2. Student's t of ten degrees, 0.975: 2.228 (any table).
        assert!((two.allowed.0 + 0.277_258_872_224).abs() < 1e-9);
        assert!((two.allowed.1 - 0.138_629_436_112).abs() < 1e-9);
        let times = |l: &Elasticity| (l.high - l.value) / l.u;
        assert!((times(&two.largest) - 2.228_138_852).abs() < 1e-8);
        // Three pairs share the 5 %: t of fifteen degrees at 1 − 0.05/6 (scipy 1.17).
        let three = asked(&data(&[(100.0, 100.0), (141.0, 115.0), (200.0, 130.0)]));
        assert_eq!(three.between, (0, 2));
        assert!((times(&three.largest) - 2.693_739_319_2).abs() < 1e-8);
    }

    #[test]
    fn changes_are_told_in_per_cent() {
        let of = |low: f64, value: f64, high: f64| Elasticity {
            value: value.ln(),
            low: low.ln(),
            high: high.ln(),
            u: 0.0,
            dof: 9,
        };
        let levels = ByLevel {
            verdict: Verdict::Coupled,
            largest: of(1.1, 1.2, 1.3),
            between: (0, 1),
            allowed: (0.9f64.ln(), 1.05f64.ln()),
            p_uneven: None,
        };
        let data = data(&[(100.0, 100.0), (200.0, 120.0)]);
        let line = levels.line(&question(&data, &[0.0; 2])).detail;
        assert!(line.contains("+20.0 % (+10.0 to +30.0 %"), "{line}");
        assert!(line.contains("from fan 1 to fan 2"), "{line}");
        assert!(line.contains("within -10.0 to +5.0 %"), "{line}");
    }
}
