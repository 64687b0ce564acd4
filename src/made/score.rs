//! How good verdicts and intervals are when the truth is known.

/// An interval in any unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Interval {
    /// Whether `value` lies inside or on an end.
    pub fn holds(&self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }

    /// Interval score of a central interval of this `level` (such as 0.95): its width, plus 2/(1 − level) times the distance by
    /// which it misses. Lower is better; its expectation is least for the true quantiles (Gneiting and Raftery 2007,
    /// J. Am. Stat. Assoc. 102, 359, eq. 43). Same unit as the interval.
    pub fn score(&self, value: f64, level: f64) -> f64 {
        let miss = (self.low - value).max(value - self.high).max(0.0);
        self.high - self.low + 2.0 / (1.0 - level) * miss
    }
}

/// What was predicted for one condition, and what was true. All in W.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outcome {
    /// Number of the bench: outcomes of one bench share its luck.
    pub bench: usize,
    /// The long-run mean draw.
    pub mean_w: f64,
    /// The draw of one further run.
    pub new_run_w: f64,
    /// What was predicted.
    pub predicted_w: f64,
    /// 95 % interval for the further run.
    pub run_95: Interval,
    /// 80 % interval for the further run.
    pub run_80: Interval,
    /// 95 % interval for the mean.
    pub mean_95: Interval,
    /// 80 % interval for the mean.
    pub mean_80: Interval,
}

/// A share with its standard error, which takes each bench as one draw.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    /// Share of outcomes, 0 to 1.
    pub value: f64,
    /// Standard error; none with a single bench.
    pub std_error: Option<f64>,
}

/// The scores of many outcomes.
#[derive(Debug, Clone, PartialEq)]
pub struct Summary {
    /// Number of outcomes.
    pub outcomes: usize,
    /// Number of benches.
    pub benches: usize,
    /// Share of further runs inside the 95 % run interval.
    pub run_95: Share,
    /// Share of further runs inside the 80 % run interval.
    pub run_80: Share,
    /// Share of means inside the 95 % mean interval.
    pub mean_95: Share,
    /// Share of means inside the 80 % mean interval.
    pub mean_80: Share,
    /// Mean interval score of the 95 % run interval ÷ true mean draw.
    pub run_score: f64,
    /// Mean interval score of the 95 % mean interval ÷ true mean draw.
    pub mean_score: f64,
    /// Mean width of the 95 % run interval ÷ true mean draw.
    pub run_width: f64,
    /// Root mean square of (predicted − true mean) ÷ true mean.
    pub rms_error: f64,
}

impl Summary {
    /// Scores the outcomes; none when there are none.
    pub fn of(outcomes: &[Outcome]) -> Option<Self> {
        if outcomes.is_empty() {
            return None;
        }
        let mean = |figure: &dyn Fn(&Outcome) -> f64| {
            outcomes.iter().map(figure).sum::<f64>() / outcomes.len() as f64
        };
        let mut benches: Vec<usize> = outcomes.iter().map(|o| o.bench).collect();
        benches.sort_unstable();
        benches.dedup();
        let share = |held: &dyn Fn(&Outcome) -> bool| share(outcomes, &benches, held);
        Some(Self {
            outcomes: outcomes.len(),
            benches: benches.len(),
            run_95: share(&|o| o.run_95.holds(o.new_run_w)),
            run_80: share(&|o| o.run_80.holds(o.new_run_w)),
            mean_95: share(&|o| o.mean_95.holds(o.mean_w)),
            mean_80: share(&|o| o.mean_80.holds(o.mean_w)),
            run_score: mean(&|o| o.run_95.score(o.new_run_w, 0.95) / o.mean_w),
            mean_score: mean(&|o| o.mean_95.score(o.mean_w, 0.95) / o.mean_w),
            run_width: mean(&|o| (o.run_95.high - o.run_95.low) / o.mean_w),
            rms_error: mean(&|o| (o.predicted_w / o.mean_w - 1.0).powi(2)).sqrt(),
        })
    }
}

/// Ratio estimate over clusters of unequal size: share = Σ held ÷ Σ n, with the usual linearised standard error
/// (Cochran 1977, Sampling Techniques, 3rd ed., eq. 6.13 without the finite-population factor; from memory).
fn share(outcomes: &[Outcome], benches: &[usize], held: &dyn Fn(&Outcome) -> bool) -> Share {
    let counts: Vec<(f64, f64)> = benches
        .iter()
        .map(|bench| {
            let own = outcomes.iter().filter(|o| o.bench == *bench);
            own.fold((0.0, 0.0), |(h, n), o| {
                (h + f64::from(u8::from(held(o))), n + 1.0)
            })
        })
        .collect();
    let n = outcomes.len() as f64;
    let value = counts.iter().map(|c| c.0).sum::<f64>() / n;
    let k = counts.len() as f64;
    let squares: f64 = counts.iter().map(|(h, m)| (h - value * m).powi(2)).sum();
    let std_error = (counts.len() > 1).then(|| (squares * k / (k - 1.0)).sqrt() / n);
    Share { value, std_error }
}

/// What a verdict is worth beside the truth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Judgement {
    /// The right answer.
    Right,
    /// `undecided` where the truth is decided: not wrong, but no answer.
    Open,
    /// The wrong answer, or a decided one where the runs cannot tell.
    Wrong,
}

/// Judges `said` (`coupled`, `independent`, `undecided`) by a truth of [`Truth::verdict`](super::truth::Truth::verdict)'s words.
pub fn judge(truth: &str, said: &str) -> Judgement {
    match (truth, said) {
        ("weak", "coupled") => Judgement::Right,
        ("weak", "undecided") => Judgement::Open,
        (truth, said) if truth == said => Judgement::Right,
        ("coupled" | "independent", "undecided") => Judgement::Open,
        _ => Judgement::Wrong,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const UNIT: Interval = Interval {
        low: 10.0,
        high: 14.0,
    };

    #[test]
    fn a_miss_costs_forty_times_its_distance_at_95_percent() {
        assert_eq!(UNIT.score(12.0, 0.95), 4.0);
        assert!((UNIT.score(15.0, 0.95) - 44.0).abs() < 1e-9);
        assert!((UNIT.score(9.0, 0.8) - 14.0).abs() < 1e-9);
        assert!(UNIT.holds(10.0) && UNIT.holds(14.0) && !UNIT.holds(14.1));
    }

    #[test]
    fn the_score_is_least_at_the_true_quantiles() {
        // For a standard normal the expected score of ±z is least at z = 1.96: checked on a fine grid of its distribution.
        let grid: Vec<(f64, f64)> = (-8000..=8000)
            .map(|i| f64::from(i) / 1000.0)
            .map(|x| (x, (-0.5 * x * x).exp()))
            .collect();
        let total: f64 = grid.iter().map(|g| g.1).sum();
        let expected = |z: f64| {
            let interval = Interval { low: -z, high: z };
            grid.iter()
                .map(|(x, w)| w * interval.score(*x, 0.95))
                .sum::<f64>()
                / total
        };
        assert!(expected(1.96) < expected(1.9) && expected(1.96) < expected(2.02));
    }

    fn outcome(bench: usize, new_run_w: f64) -> Outcome {
        let interval = Interval {
            low: 95.0,
            high: 105.0,
        };
        Outcome {
            bench,
            mean_w: 100.0,
            new_run_w,
            predicted_w: 102.0,
            run_95: interval,
            run_80: interval,
            mean_95: interval,
            mean_80: interval,
        }
    }

    #[test]
    fn shares_and_scores_of_four_outcomes() {
        let outcomes = [
            outcome(0, 100.0),
            outcome(0, 104.0),
            outcome(1, 106.0),
            outcome(1, 96.0),
        ];
        let summary = Summary::of(&outcomes).unwrap();
        assert_eq!((summary.outcomes, summary.benches), (4, 2));
        assert_eq!(summary.run_95.value, 0.75);
        // Per bench: 2 of 2 and 1 of 2, residuals ±0.5: sqrt(0.5 * 2 / 1) / 4.
        assert!((summary.run_95.std_error.unwrap() - 0.25).abs() < 1e-12);
        assert_eq!(summary.mean_95.value, 1.0);
        assert!((summary.run_score - (10.0 + 40.0 / 4.0) / 100.0).abs() < 1e-12);
        assert!((summary.run_width - 0.1).abs() < 1e-12);
        assert!((summary.rms_error - 0.02).abs() < 1e-12);
        assert_eq!(Summary::of(&[]), None);
        assert_eq!(Summary::of(&outcomes[..2]).unwrap().run_95.std_error, None);
    }

    #[test]
    fn verdicts_are_judged_by_what_the_runs_can_tell() {
        use Judgement::{Open, Right, Wrong};
        let judged = |truth| ["coupled", "independent", "undecided"].map(|said| judge(truth, said));
        assert_eq!(judged("coupled"), [Right, Wrong, Open]);
        assert_eq!(judged("independent"), [Wrong, Right, Open]);
        assert_eq!(judged("weak"), [Right, Wrong, Open]);
        assert_eq!(judged("undecided"), [Wrong, Wrong, Right]);
    }
}
