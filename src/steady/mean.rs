//! The mean of a channel over a stretch, and what it is worth.

use crate::logs::series::{Bin, Series};
use crate::logs::window::Span;
use crate::stats::autocorrelation::integrated_time;

/// A mean over a stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mean {
    /// The mean over time, base units.
    pub value: f64,
    /// Its standard uncertainty from the scatter of the readings; none where they say nothing (a single reading).
    pub u: Option<f64>,
    /// Readings in the stretch.
    pub count: usize,
    /// How many independent readings they are worth; of long series the averages of neighbours are counted.
    pub effective: Option<f64>,
    /// Change of a straight line over the stretch, base units.
    pub drift: f64,
}

/// Longer series are averaged over neighbours before their autocorrelation is taken; the variance of the mean stays the same.
const LONGEST: usize = 1024;

/// A reading holds for the time to the next, but no longer than this many usual intervals: past that it is a gap.
const HOLDS: f64 = 10.0;

/// The mean over time of a series in a stretch; none without readings there.
///
/// Every reading counts for the time until the next one, so that uneven sampling does not bias the mean; at even sampling that is
/// the plain mean. The standard uncertainty is the standard deviation over the square root of the effective number of
/// independent readings (JCGM 100, 4.2.3, with n replaced as in [`crate::stats::autocorrelation`]), or that from the means of
/// eight batches where it is larger: in short series the autocorrelation of slow wander is underestimated; where the readings
/// change by less than a step of the display, the step's own (JCGM 100, F.2.2.1: step / √12); and with it the drift over
/// the stretch beyond what scatter explains, as a rectangular error of half of it (JCGM 100, 4.3.7).
pub fn over(series: &Series, span: Span) -> Option<Mean> {
    let bins = series.within(span.start, span.end);
    let (value, count) = weighted(bins, series)?;
    let means: Vec<f64> = coarse(bins);
    let sd = deviation(&means);
    let line = slope(bins);
    let drift = line * (span.end - span.start);
    let (u, effective) = if means.len() < 3 {
        (None, None)
    } else {
        let effective = independent(&means);
        let scatter = effective
            .map_or(0.0, |e| few(e) * sd / e.sqrt())
            .max(by_batches(&means).unwrap_or(0.0));
        let step = series.step().unwrap_or(0.0);
        let resolution = if sd < step {
            step / 12.0_f64.sqrt()
        } else {
            0.0
        };
        let floor = scatter.max(resolution);
        // A line through readings with this scatter drifts by √12 times the uncertainty of their mean by chance.
        let root12 = 12.0_f64.sqrt();
        let sure = drift.abs() > 2.0 * root12 * floor;
        let trend = if sure { drift.abs() / root12 } else { 0.0 };
        let u = floor.hypot(trend);
        ((u > 0.0).then_some(u), effective)
    };
    Some(Mean {
        value,
        u,
        count,
        effective,
        drift,
    })
}

/// The mean over time, and the count of readings.
fn weighted(bins: &[Bin], series: &Series) -> Option<(f64, usize)> {
    let first = bins.first()?;
    let count: usize = bins.iter().map(|b| b.count as usize).sum();
    let last = bins.last()?;
    let usual = series.interval().unwrap_or(0.0);
    let average = (last.last - first.first) / (count.max(2) - 1) as f64;
    let most = HOLDS * usual.max(average);
    let (mut area, mut time) = (0.0, 0.0);
    for (i, bin) in bins.iter().enumerate() {
        let n = f64::from(bin.count);
        let until = bins.get(i + 1).map_or(bin.last + usual, |next| next.first);
        // Readings with the same stamp, or a single one, count alike.
        let weight = (until - bin.first).min(most * n).max(0.0);
        area += weight * bin.mean;
        time += weight;
    }
    if time > 0.0 {
        return Some((area / time, count));
    }
    let sum: f64 = bins.iter().map(|b| b.mean * f64::from(b.count)).sum();
    Some((sum / count as f64, count))
}

/// Bin means, joined until there are few enough.
fn coarse(bins: &[Bin]) -> Vec<f64> {
    let size = bins.len().div_ceil(LONGEST).max(1);
    bins.chunks(size)
        // A short rest at the end has another variance.
        .filter(|c| c.len() == size)
        .map(|c| {
            let n: f64 = c.iter().map(|b| f64::from(b.count)).sum();
            c.iter().map(|b| b.mean * f64::from(b.count)).sum::<f64>() / n
        })
        .collect()
}

/// How many independent readings a series is worth: its count over the integrated autocorrelation time, corrected for the mean
/// having been taken from the same readings by the factor 1 + (2W + 1)/n for a window W (Wolff 2004, "Monte Carlo errors with
/// less errors", Computer Physics Communications 156, 143–153; the factor from memory). None for readings that do not vary.
fn independent(values: &[f64]) -> Option<f64> {
    let found = integrated_time(values).ok()?;
    let n = values.len() as f64;
    let time = found.time * (1.0 + (2.0 * found.window as f64 + 1.0) / n);
    Some((n / time).clamp(1.0, n))
}

/// What few independent readings add to the uncertainty of their mean: √((n − 1)/(n − 3)) (JCGM 101:2008, 6.4.9.5), for n no
/// less than four, below which it has no bound.
fn few(n: f64) -> f64 {
    let n = n.max(4.0);
    ((n - 1.0) / (n - 3.0)).sqrt()
}

/// Batches for the second estimate.
const BATCHES: usize = 8;

/// Standard error of the mean from the scatter of the means of eight batches (Schmeiser 1982, "Batch size effects in the
/// analysis of simulation output", Operations Research 30, 556–568: few batches lose little); none for fewer than four values a batch.
fn by_batches(values: &[f64]) -> Option<f64> {
    let size = values.len() / BATCHES;
    if size < 4 {
        return None;
    }
    let rest = values.len() - size * BATCHES;
    let means: Vec<f64> = values
        .get(rest..)?
        .chunks_exact(size)
        .map(|c| c.iter().sum::<f64>() / size as f64)
        .collect();
    let n = BATCHES as f64;
    Some(few(n) * deviation(&means) / n.sqrt())
}

fn deviation(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0).max(1.0)).sqrt()
}

/// Slope of a straight line through the bins, per second.
fn slope(bins: &[Bin]) -> f64 {
    let n: f64 = bins.iter().map(|b| f64::from(b.count)).sum();
    let sum = |f: &dyn Fn(&Bin) -> f64| bins.iter().map(|b| f64::from(b.count) * f(b)).sum::<f64>();
    let t = sum(&|b| b.middle()) / n;
    let v = sum(&|b| b.mean) / n;
    let xx = sum(&|b| (b.middle() - t).powi(2));
    let xy = sum(&|b| (b.middle() - t) * (b.mean - v));
    if xx > 0.0 { xy / xx } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::made::dice::Dice;

    /// First-order noise with lag-one correlation `rho` and standard deviation 1.
    fn noise(dice: &mut Dice, rho: f64) -> impl FnMut() -> f64 + '_ {
        let mut x = dice.normal();
        move || {
            x = rho * x + (1.0 - rho * rho).sqrt() * dice.normal();
            x
        }
    }

    #[test]
    fn the_uncertainty_covers_the_truth_as_often_as_it_says() {
        // 400 series of 1800 correlated readings, true mean 100: ±1.96 u holds it about 95 times in 100.
        let mut dice = Dice::new(11, 0);
        let mut held = 0;
        let runs = 400;
        for _ in 0..runs {
            let mut next = noise(&mut dice, 0.9);
            let mut series = Series::new(4096);
            for i in 0..1800 {
                series.add(f64::from(i), 100.0 + next());
            }
            let span = Span {
                start: 0.0,
                end: 1800.0,
            };
            let mean = over(&series, span).unwrap();
            held += usize::from((mean.value - 100.0).abs() < 1.96 * mean.u.unwrap());
        }
        let share = f64::from(held as u32) / f64::from(runs);
        // Three standard errors of the share: 3 × sqrt(0.95 × 0.05 / 400) = 0.033; estimating the correlation costs some.
        assert!((0.90..=0.985).contains(&share), "{share}");
    }

    #[test]
    fn few_readings_and_batches_are_those_worked_by_hand() {
        assert!((few(5.0) - 2.0_f64.sqrt()).abs() < 1e-12);
        assert!((few(2.0) - 3.0_f64.sqrt()).abs() < 1e-12);
        // Eight batches of four with means 1 to 8, variance 6; the first value belongs to none.
        let mut values = vec![1000.0];
        values.extend((0..32).map(|i| f64::from(1 + i / 4)));
        let u = by_batches(&values).unwrap();
        assert!((u - (7.0 / 5.0 * 6.0 / 8.0_f64).sqrt()).abs() < 1e-12);
        assert_eq!(by_batches(&values[..31]), None);
    }

    #[test]
    fn a_slope_counts_each_bin_as_often_as_it_was_read() {
        let bin = |t: f64, count, mean| Bin {
            first: t,
            last: t,
            count,
            mean,
            low: mean as f32,
            high: mean as f32,
        };
        // Weighted means 40/3 and 10/3; 1000/3 and 220/3 about them.
        let bins = [bin(0.0, 1, 1.0), bin(10.0, 2, 2.0), bin(20.0, 3, 5.0)];
        assert!((slope(&bins) - 0.22).abs() < 1e-12);
    }

    #[test]
    fn bounded_memory_does_not_change_the_mean_or_its_uncertainty() {
        let mut dice = Dice::new(12, 0);
        let mut next = noise(&mut dice, 0.8);
        let (mut all, mut few) = (Series::new(100_000), Series::new(512));
        for i in 0..20_000 {
            let v = 200.0 + next();
            all.add(f64::from(i), v);
            few.add(f64::from(i), v);
        }
        let span = Span {
            start: 0.0,
            end: 20_000.0,
        };
        let (a, b) = (over(&all, span).unwrap(), over(&few, span).unwrap());
        assert!((a.value - b.value).abs() < 1e-9, "{a:?} {b:?}");
        let ratio = a.u.unwrap() / b.u.unwrap();
        assert!((0.8..1.25).contains(&ratio), "{ratio}");
    }

    #[test]
    fn uneven_sampling_does_not_bias_the_mean() {
        // Ten minutes at 20.0 written once a minute, ten at 21.0 written once a second.
        let mut series = Series::new(4096);
        for i in 0..10 {
            series.add(60.0 * f64::from(i), 20.0);
        }
        for i in 0..600 {
            series.add(600.0 + f64::from(i), 21.0);
        }
        let span = Span {
            start: 0.0,
            end: 1200.0,
        };
        let mean = over(&series, span).unwrap();
        // The slow half's readings hold for ten usual intervals only, of a second or, on average, two.
        assert!(mean.value < 20.8, "{mean:?}");
    }

    #[test]
    fn a_display_that_does_not_move_keeps_half_a_step_of_doubt() {
        let mut series = Series::new(64);
        for i in 0..40 {
            series.add(f64::from(i), if i == 20 { 22.1 } else { 22.0 });
        }
        let span = Span {
            start: 0.0,
            end: 19.0,
        };
        let mean = over(&series, span).unwrap();
        assert!((mean.u.unwrap() - 0.1 / 12.0_f64.sqrt()).abs() < 1e-9);
    }

    #[test]
    fn readings_of_one_moment_count_alike() {
        let mut series = Series::new(16);
        for value in [10.0, 20.0, 60.0] {
            series.add(5.0, value);
        }
        let (mean, count) = weighted(series.bins(), &series).unwrap();
        assert_eq!((mean, count), (30.0, 3));
    }

    #[test]
    fn joined_readings_of_one_moment_count_as_often_as_they_were_read() {
        // (3 × 10 + 50)/4.
        let bin = |count, mean| Bin {
            first: 5.0,
            last: 5.0,
            count,
            mean,
            low: 0.0,
            high: 0.0,
        };
        let series = Series::from_bins(vec![bin(3, 10.0), bin(1, 50.0)]);
        assert_eq!(weighted(series.bins(), &series), Some((20.0, 4)));
    }
}
