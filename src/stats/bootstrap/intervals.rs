//! Standard errors and intervals from bootstrap replicates.

use super::Bootstrap;
use crate::stats::error::{all_finite, at_least, open_unit};
use crate::stats::{StatsError, normal, summary};

impl Bootstrap {
    /// How many replicates could not be refitted.
    pub fn failed(&self) -> usize {
        self.failed
    }

    /// One estimated quantity over all replicates, ascending; empty when there is no such quantity.
    pub fn sorted(&self, which: usize) -> Vec<f64> {
        let mut values: Vec<f64> = self
            .estimates
            .iter()
            .filter_map(|e| e.get(which).copied())
            .collect();
        values.sort_by(f64::total_cmp);
        values
    }

    /// Standard deviation over the replicates: the bootstrap standard error. NaN when there is no such quantity.
    pub fn sd(&self, which: usize) -> f64 {
        summary::sd(&self.sorted(which))
    }

    /// Percentile interval. NaN ends when there is no such quantity or the level is not inside (0, 1).
    pub fn percentile(&self, which: usize, level: f64) -> (f64, f64) {
        let sorted = self.sorted(which);
        let tail = 0.5 * (1.0 - level);
        (
            order_statistic(&sorted, tail),
            order_statistic(&sorted, 1.0 - tail),
        )
    }

    /// Bias-corrected and accelerated interval (Efron 1987, Journal of the American Statistical Association 82, 171–185).
    ///
    /// `observed` is the estimate from the data themselves, `left_out` this quantity with each independent unit left
    /// out in turn ([`super::leave_one_group_out`]).
    ///
    /// # Errors
    ///
    /// [`StatsError`] when there is no such quantity, for a level outside (0, 1), fewer than two left-out estimates, or
    /// when every replicate lies on one side of `observed`.
    pub fn bca(
        &self,
        which: usize,
        level: f64,
        observed: f64,
        left_out: &[f64],
    ) -> Result<Bca, StatsError> {
        open_unit("level", level)?;
        at_least("left-out estimates", 2, left_out.len())?;
        all_finite("left-out estimates", left_out)?;
        let sorted = self.sorted(which);
        at_least("replicates of this quantity", 2, sorted.len())?;
        let below = sorted.partition_point(|x| *x < observed) as f64;
        let tied = sorted.partition_point(|x| *x <= observed) as f64 - below;
        let share = (below + 0.5 * tied) / sorted.len() as f64;
        if share <= 0.0 || share >= 1.0 {
            let expected = "inside the range of the replicates";
            return Err(StatsError::OutOfRange {
                what: "the observed estimate",
                value: observed,
                expected,
            });
        }
        let bias = normal::quantile(share);
        let acceleration = acceleration(left_out);
        let end = |p: f64| {
            let z = bias + normal::quantile(p);
            order_statistic(&sorted, normal::cdf(bias + z / (1.0 - acceleration * z)))
        };
        let tail = 0.5 * (1.0 - level);
        Ok(Bca {
            low: end(tail),
            high: end(1.0 - tail),
            bias,
            acceleration,
        })
    }
}

/// A bias-corrected and accelerated interval with its two corrections.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bca {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Median bias in normal units (0: none).
    pub bias: f64,
    /// Acceleration: how the standard error changes with the estimate (0: not at all).
    pub acceleration: f64,
}

/// Σ d³/(6 (Σ d²)^{3/2}) of the left-out estimates' deviations from their mean; 0 when they do not vary.
fn acceleration(left_out: &[f64]) -> f64 {
    let mean = summary::mean(left_out);
    let squares = summary::sum(left_out.iter().map(|x| (mean - x).powi(2)));
    let cubes = summary::sum(left_out.iter().map(|x| (mean - x).powi(3)));
    if squares > 0.0 {
        cubes / (6.0 * squares.powf(1.5))
    } else {
        0.0
    }
}

/// The order statistic at (B + 1)p, counted from 1 and interpolated, held inside the sample (Davison & Hinkley 1997,
/// section 2.4). NaN for an empty list or p outside [0, 1].
fn order_statistic(sorted: &[f64], p: f64) -> f64 {
    if sorted.is_empty() || !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    let last = (sorted.len() - 1) as f64;
    let position = ((sorted.len() + 1) as f64 * p - 1.0).clamp(0.0, last);
    summary::quantile_of_sorted(sorted, if last > 0.0 { position / last } else { 0.0 })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::bootstrap::{Resample, Scheme, Settings, leave_one_group_out, run};

    /// Mean of chosen rows.
    fn mean_of(y: &[f64], rows: &[usize]) -> f64 {
        rows.iter().map(|r| y[*r]).sum::<f64>() / rows.len() as f64
    }

    /// Bootstrap of a mean by rows.
    fn means(y: &[f64], settings: &Settings) -> Bootstrap {
        let groups: Vec<usize> = (0..y.len()).collect();
        run(
            &Scheme::Groups { groups: &groups },
            settings,
            |resample| match resample {
                Resample::Rows(rows) => Some(vec![mean_of(y, rows)]),
                Resample::Response(_) => None,
            },
        )
        .unwrap()
    }

    #[test]
    fn intervals_agree_with_the_fully_enumerated_bootstrap() {
        // All 5⁵ resamples of five values give the ideal percentile and BCa ends.
        let y = [0.2, 0.5, 1.1, 2.3, 6.0];
        let mut all: Vec<Vec<f64>> = Vec::new();
        for code in 0..3_125_usize {
            let rows: Vec<usize> = (0..5).map(|i| code / 5_usize.pow(i) % 5).collect();
            all.push(vec![mean_of(&y, &rows)]);
        }
        let ideal = Bootstrap {
            estimates: all,
            failed: 0,
        };
        let drawn = means(
            &y,
            &Settings {
                replicates: 30_000,
                seed: 8,
            },
        );
        let jackknife: Vec<f64> =
            leave_one_group_out(&[0, 1, 2, 3, 4], |rows| Some(vec![mean_of(&y, rows)]))
                .unwrap()
                .concat();
        let observed = summary::mean(&y);
        // Neighbouring values of the mean are up to 0.06 apart there.
        let (want, got) = (ideal.percentile(0, 0.9), drawn.percentile(0, 0.9));
        assert!(
            (want.0 - got.0).abs() < 0.1 && (want.1 - got.1).abs() < 0.1,
            "{want:?} {got:?}"
        );
        let want = ideal.bca(0, 0.9, observed, &jackknife).unwrap();
        let got = drawn.bca(0, 0.9, observed, &jackknife).unwrap();
        assert!(
            (want.low - got.low).abs() < 0.1 && (want.high - got.high).abs() < 0.1,
            "{want:?} {got:?}"
        );
        // Skewed to the right: the corrected interval leans that way.
        assert!(got.acceleration > 0.0 && got.high > drawn.percentile(0, 0.9).1);
    }

    #[test]
    fn acceleration_and_bias_of_the_spatial_test() {
        // Efron & Tibshirani (1993), An Introduction to the Bootstrap, section 14.3, table 14.1: 26 children's scores,
        // variance with divisor n. Data and figures from memory: variance 171.5, acceleration 0.061, bias 0.146,
        // 90 % BCa interval 115.8 to 259.6 (of 2,000 replicates, so good to a few units).
        let y: [f64; 26] = [
            48., 36., 20., 29., 42., 42., 20., 42., 22., 41., 45., 14., 6., 0., 33., 28., 34., 4.,
            32., 24., 47., 41., 24., 26., 30., 41.,
        ];
        let spread = |rows: &[usize]| {
            let chosen: Vec<f64> = rows.iter().map(|r| y[*r]).collect();
            summary::variance(&chosen) * (rows.len() - 1) as f64 / rows.len() as f64
        };
        let rows: Vec<usize> = (0..26).collect();
        let observed = spread(&rows);
        assert!((observed - 171.5).abs() < 0.05, "{observed}");
        let left_out = leave_one_group_out(&rows, |rows| Some(vec![spread(rows)]))
            .unwrap()
            .concat();
        assert!(
            (acceleration(&left_out) - 0.061).abs() < 0.0005,
            "{}",
            acceleration(&left_out)
        );
        let drawn = run(
            &Scheme::Groups { groups: &rows },
            &Settings {
                replicates: 20_000,
                seed: 2,
            },
            |r| match r {
                Resample::Rows(rows) => Some(vec![spread(rows)]),
                Resample::Response(_) => None,
            },
        )
        .unwrap();
        let found = drawn.bca(0, 0.90, observed, &left_out).unwrap();
        assert!((found.bias - 0.146).abs() < 0.05, "{found:?}");
        assert!(
            (found.low - 115.8).abs() < 5.0 && (found.high - 259.6).abs() < 8.0,
            "{found:?}"
        );
    }

    /// Replicates of one quantity.
    fn replicates(values: &[f64]) -> Bootstrap {
        Bootstrap {
            estimates: values.iter().map(|x| vec![*x]).collect(),
            failed: 0,
        }
    }

    #[test]
    fn order_statistics_by_hand() {
        // (9 + 1)·0.25 = 2.5: midway between the second and the third.
        let squares: Vec<f64> = (1..=9).map(|i| f64::from(i * i)).collect();
        assert!((order_statistic(&squares, 0.25) - 6.5).abs() < 1e-12);
        assert_eq!(
            (
                order_statistic(&squares, 0.01),
                order_statistic(&squares, 1.0)
            ),
            (1.0, 81.0)
        );
        assert_eq!(order_statistic(&[7.0], 0.3), 7.0);
        assert!(order_statistic(&[], 0.3).is_nan() && order_statistic(&squares, 1.1).is_nan());
        assert!(replicates(&squares).percentile(1, 0.9).0.is_nan());
    }

    #[test]
    fn ties_with_the_estimate_count_half() {
        // One below, two tied, one above: exactly half, so no bias.
        let drawn = replicates(&[1.0, 2.0, 2.0, 3.0]);
        assert_eq!(drawn.bca(0, 0.5, 2.0, &[1.0, 2.0]).unwrap().bias, 0.0);
        for outside in [0.0, 5.0] {
            assert!(matches!(
                drawn.bca(0, 0.5, outside, &[1.0, 2.0]),
                Err(StatsError::OutOfRange { .. })
            ));
        }
    }

    #[test]
    fn a_percentile_interval_leaves_half_of_the_rest_on_either_side() {
        // Replicates 1 to 99: the order statistic at (99 + 1)p is 100 p itself.
        let replicates = Bootstrap {
            estimates: (1..=99).rev().map(|k| vec![f64::from(k)]).collect(),
            failed: 0,
        };
        let (low, high) = replicates.percentile(0, 0.9);
        assert!((low - 5.0).abs() < 1e-12 && (high - 95.0).abs() < 1e-12);
    }
}
