//! How many independent readings a series of correlated readings is worth.

use super::StatsError;
use super::error::{all_finite, at_least};
use super::summary::{Centred, sum};

/// The window grows until it is this many integrated times long (Sokal 1997, "Monte Carlo methods in statistical
/// mechanics", section 3: between 4 and 10).
const WINDOW: f64 = 5.0;

/// Autocorrelations at lags 0 to `max_lag` (fewer where the series is shorter): Σ(yᵢ − m)(yᵢ₊ₖ − m)/Σ(yᵢ − m)², the
/// full sum below at every lag.
///
/// # Errors
///
/// [`StatsError`] for fewer than two values, a value that is not finite, or values that do not vary.
pub fn acf(values: &[f64], max_lag: usize) -> Result<Vec<f64>, StatsError> {
    let series = Deviations::of(values)?;
    Ok((0..=max_lag.min(values.len() - 1))
        .map(|lag| series.at(lag))
        .collect())
}

/// A series about its mean.
struct Deviations {
    values: Vec<f64>,
    squares: f64,
}

impl Deviations {
    fn of(values: &[f64]) -> Result<Self, StatsError> {
        at_least("readings in the series", 2, values.len())?;
        all_finite("series", values)?;
        let centred = Centred::of(values);
        if centred.squares == 0.0 {
            return Err(StatsError::NoScatter { what: "series" });
        }
        let deviations = values
            .iter()
            .map(|y| (y - centred.centre) - centred.rest)
            .collect();
        Ok(Self {
            values: deviations,
            squares: centred.squares,
        })
    }

    /// Autocorrelation at one lag below the length.
    fn at(&self, lag: usize) -> f64 {
        dot(&self.values, &self.values[lag..]) / self.squares
    }
}

/// Sum of products up to the shorter length, in short blocks that are then added with compensation: as good as full
/// compensation for our lengths, and several times faster on long logs.
fn dot(a: &[f64], b: &[f64]) -> f64 {
    const BLOCK: usize = 64;
    sum(a.chunks(BLOCK).zip(b.chunks(BLOCK)).map(|(a, b)| {
        let mut lanes = [0.0; 4];
        for (a, b) in a.chunks(4).zip(b.chunks(4)) {
            for (lane, (a, b)) in lanes.iter_mut().zip(a.iter().zip(b)) {
                *lane += a * b;
            }
        }
        (lanes[0] + lanes[1]) + (lanes[2] + lanes[3])
    }))
}

/// The integrated autocorrelation time and how it was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IntegratedTime {
    /// 1 + 2Σρₖ up to the window, in sampling intervals: one independent reading every so many.
    pub time: f64,
    /// Last lag summed.
    pub window: usize,
    /// Whether the series is at least 50 integrated times long; below that the time tends to be underestimated.
    pub long_enough: bool,
}

/// The integrated autocorrelation time 1 + 2Σρₖ, the sum cut at the first lag that is 5 times the time so far.
///
/// Readings that alternate can make the sum as small as 1/n, where it is held. The work grows with the readings times the
/// window.
///
/// # Errors
///
/// As [`acf`].
pub fn integrated_time(values: &[f64]) -> Result<IntegratedTime, StatsError> {
    let series = Deviations::of(values)?;
    let n = values.len();
    let mut time = 1.0;
    let mut window = 0;
    for lag in 1..n {
        if window as f64 >= WINDOW * time {
            break;
        }
        time += 2.0 * series.at(lag);
        window = lag;
        // An alternating series can drive the sum towards zero or below: stop where it carries no more meaning.
        if time <= 1.0 / n as f64 {
            time = 1.0 / n as f64;
            break;
        }
    }
    Ok(IntegratedTime {
        time,
        window,
        long_enough: n as f64 >= 50.0 * time,
    })
}

/// The number of independent readings whose mean would be as uncertain as this series' mean, between 1 and the count.
///
/// The count divided by [`integrated_time`]. Alternating readings can be worth more than their count; no credit is
/// given for that, since a trend hidden under them would spoil it.
///
/// # Errors
///
/// As [`acf`].
pub fn effective_n(values: &[f64]) -> Result<f64, StatsError> {
    let n = values.len() as f64;
    Ok((n / integrated_time(values)?.time).clamp(1.0, n))
}

/// Ratio of the true variance of the mean to that of independent readings, with autocorrelations up to `last_lag`:
/// r = 1 + (2/n) Σ (n − k) ρₖ (Zhang 2006, Metrologia 43, S276–S281). Divide n by it for the effective count.
///
/// # Errors
///
/// As [`acf`], and [`StatsError::OutOfRange`] when `last_lag` is not below the count of readings.
pub fn variance_ratio(values: &[f64], last_lag: usize) -> Result<f64, StatsError> {
    let series = Deviations::of(values)?;
    let n = values.len();
    if last_lag >= n {
        return Err(StatsError::OutOfRange {
            what: "the last lag",
            value: last_lag as f64,
            expected: "less than the number of readings",
        });
    }
    let weighted = sum((1..=last_lag).map(|lag| (n - lag) as f64 * series.at(lag)));
    Ok(1.0 + 2.0 * weighted / n as f64)
}

/// Effective count of `n` readings whose autocorrelation falls as ρᵏ: n/(1 + 2 Σ (1 − k/n) ρᵏ). NaN unless −1 < ρ < 1
/// and n ≥ 1.
pub fn effective_n_first_order(n: f64, rho: f64) -> f64 {
    if !(rho > -1.0 && rho < 1.0 && n >= 1.0) {
        return f64::NAN;
    }
    // Closed form of the sum over k = 1 … n − 1.
    let gap = 1.0 - rho;
    let sum = rho / gap - rho * (1.0 - rho.powf(n)) / (n * gap * gap);
    // powf of a negative base needs a whole exponent; n counts readings, so it is one.
    n / (1.0 + 2.0 * sum)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::random;

    /// A first-order autoregression with unit innovations, started in its stationary state.
    fn autoregression(n: usize, rho: f64, seed: u64) -> Vec<f64> {
        let mut rng = random::stream(seed, 0);
        let mut y = random::normal(&mut rng) / (1.0 - rho * rho).sqrt();
        (0..n)
            .map(|_| {
                y = rho * y + random::normal(&mut rng);
                y
            })
            .collect()
    }

    #[test]
    fn integrated_time_of_an_autoregression() {
        // Exact: (1 + ρ)/(1 − ρ); the estimate's own standard error at this length is near 4 %.
        for (rho, seed) in [(0.0, 1), (0.5, 2), (0.9, 3)] {
            let found = integrated_time(&autoregression(40_000, rho, seed)).unwrap();
            let want = (1.0 + rho) / (1.0 - rho);
            assert!(
                (found.time / want - 1.0).abs() < 0.12,
                "{found:?} for {want}"
            );
            assert!(found.long_enough);
        }
    }

    #[test]
    fn effective_count_covers_the_scatter_of_means() {
        // Means of 400 correlated readings must scatter as the effective count says.
        let (mut means, mut claimed) = (Vec::new(), 0.0);
        for seed in 0..200 {
            let series = autoregression(400, 0.8, 100 + seed);
            let n = effective_n(&series).unwrap();
            means.push(crate::stats::summary::mean(&series));
            claimed += crate::stats::summary::variance(&series) / n / 200.0;
        }
        let scatter = crate::stats::summary::variance(&means);
        // 200 means: standard error of the ratio about 10 %; short windows underestimate a little.
        assert!(
            (claimed / scatter - 1.0).abs() < 0.35,
            "{claimed} against {scatter}"
        );
    }

    #[test]
    fn alternating_readings_earn_no_credit() {
        let series: Vec<f64> = (0..100)
            .map(|i| if i % 2 == 0 { 1.0 } else { -1.0 })
            .collect();
        assert_eq!(effective_n(&series).unwrap(), 100.0);
    }

    #[test]
    fn constant_or_broken_series_are_refused() {
        assert!(matches!(
            acf(&[2.0; 5], 3),
            Err(StatsError::NoScatter { .. })
        ));
        assert!(matches!(
            acf(&[1.0, f64::NAN], 1),
            Err(StatsError::NotFinite { index: 1, .. })
        ));
        assert!(matches!(acf(&[1.0], 1), Err(StatsError::TooFew { .. })));
        assert!(variance_ratio(&[1.0, 2.0], 2).is_err());
        assert!(effective_n_first_order(10.0, 1.0).is_nan());
    }

    #[test]
    fn lags_end_with_the_series() {
        // 1, 2, 6: deviations −2, −1, 3; products 2 − 3 and −6 over 14.
        let found = acf(&[1.0, 2.0, 6.0], 10).unwrap();
        assert_eq!(found, [1.0, -1.0 / 14.0, -6.0 / 14.0]);
    }

    #[test]
    fn a_first_order_count_needs_a_stationary_series() {
        for (n, rho) in [(10.0, 1.5), (10.0, -1.0), (0.5, 0.2)] {
            assert!(effective_n_first_order(n, rho).is_nan(), "{n} {rho}");
        }
        // Two readings: 2/(1 + ρ).
        assert!((effective_n_first_order(2.0, 0.25) - 1.6).abs() < 1e-15);
    }

    #[test]
    fn a_series_is_long_enough_from_fifty_integrated_times_on() {
        // 1 + 2 Σ 0.8ᵏ = 9 exactly: 450 readings are needed, give or take the estimate's scatter.
        for (n, enough) in [(200, false), (2000, true)] {
            let found = integrated_time(&autoregression(n, 0.8, 5)).unwrap();
            assert_eq!(found.long_enough, enough, "{found:?}");
        }
    }

    #[test]
    fn a_large_common_part_leaves_the_autocorrelations() {
        // Numbers about 1e15 are multiples of 0.125, so the mean 12/7 is rounded to 1.75 there.
        let near = [0.0, 1.0, 1.0, 4.0, 4.0, 1.0, 1.0];
        let far = near.map(|y| y + 1e15);
        for (a, b) in acf(&near, 3)
            .unwrap()
            .into_iter()
            .zip(acf(&far, 3).unwrap())
        {
            assert!((a - b).abs() < 1e-14, "{a} {b}");
        }
    }
}
