//! Describing one list of numbers, without losing digits to a large common part.
//!
//! The plain functions return NaN where the statistic does not exist (too few values, or a value that is not a
//! number); [`Summary::of`] tells why instead.

use super::StatsError;
use super::error::{all_finite, at_least};

/// A running sum that keeps the rounding error of every addition (Neumaier 1974, ZAMM 54, 39–51).
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct CompensatedSum {
    sum: f64,
    carry: f64,
}

impl CompensatedSum {
    /// Adds one value.
    pub fn add(&mut self, value: f64) {
        let total = self.sum + value;
        self.carry += if self.sum.abs() >= value.abs() {
            (self.sum - total) + value
        } else {
            (value - total) + self.sum
        };
        self.sum = total;
    }

    /// The sum so far. Infinities behave as in plain addition.
    pub fn total(&self) -> f64 {
        if self.sum.is_finite() {
            self.sum + self.carry
        } else {
            self.sum
        }
    }
}

impl FromIterator<f64> for CompensatedSum {
    fn from_iter<I: IntoIterator<Item = f64>>(values: I) -> Self {
        let mut sum = Self::default();
        for value in values {
            sum.add(value);
        }
        sum
    }
}

/// Compensated sum of the values; 0 for none.
pub fn sum(values: impl IntoIterator<Item = f64>) -> f64 {
    values.into_iter().collect::<CompensatedSum>().total()
}

/// A mean split into a rounded centre and the small rest that rounding took away, and the sum of squares about it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Centred {
    /// The mean rounded to `f64`; subtracting it from nearby data is exact.
    pub centre: f64,
    /// Mean of the deviations from `centre`, of the order of its rounding error.
    pub rest: f64,
    /// Σ(y − mean)².
    pub squares: f64,
}

impl Centred {
    /// Two passes: centre first, then deviations from it, with the correction for the centre's own rounding.
    pub(super) fn of(values: &[f64]) -> Self {
        let n = values.len() as f64;
        let centre = sum(values.iter().copied()) / n;
        let rest = sum(values.iter().map(|y| y - centre)) / n;
        let squares = sum(values.iter().map(|y| {
            let deviation = (y - centre) - rest;
            deviation * deviation
        }));
        Self {
            centre,
            rest,
            squares,
        }
    }

    /// The mean.
    pub(super) fn mean(&self) -> f64 {
        self.centre + self.rest
    }
}

/// Arithmetic mean. NaN for no values.
pub fn mean(values: &[f64]) -> f64 {
    if values.is_empty() {
        f64::NAN
    } else {
        Centred::of(values).mean()
    }
}

/// Variance with divisor n − 1. NaN for fewer than two values.
pub fn variance(values: &[f64]) -> f64 {
    if values.len() < 2 {
        return f64::NAN;
    }
    Centred::of(values).squares / (values.len() - 1) as f64
}

/// Standard deviation with divisor n − 1. NaN for fewer than two values.
pub fn sd(values: &[f64]) -> f64 {
    variance(values).sqrt()
}

/// Standard error of the mean of independent values, sd/√n. NaN for fewer than two values.
pub fn standard_error(values: &[f64]) -> f64 {
    sd(values) / (values.len() as f64).sqrt()
}

/// Quantile of a list sorted in ascending order, linear between order statistics: position (n − 1)p counted from 0
/// (definition 7 of Hyndman & Fan 1996, The American Statistician 50, 361–365). NaN for an empty list or p outside [0, 1].
pub fn quantile_of_sorted(sorted: &[f64], p: f64) -> f64 {
    if sorted.is_empty() || p.is_nan() || !(0.0..=1.0).contains(&p) {
        return f64::NAN;
    }
    let position = (sorted.len() - 1) as f64 * p;
    // position lies in [0, n − 1], so both indices exist.
    let low = position.floor();
    let share = position - low;
    let below = sorted[low as usize];
    let above = sorted[position.ceil() as usize];
    if share == 0.0 {
        below
    } else {
        below + share * (above - below)
    }
}

/// Quantile by [`quantile_of_sorted`]. NaN if any value is NaN.
pub fn quantile(values: &[f64], p: f64) -> f64 {
    if values.iter().any(|value| value.is_nan()) {
        return f64::NAN;
    }
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    quantile_of_sorted(&sorted, p)
}

/// Median. NaN for no values or any NaN.
pub fn median(values: &[f64]) -> f64 {
    quantile(values, 0.5)
}

/// Median absolute deviation from the median, unscaled. NaN for no values or any NaN.
pub fn mad(values: &[f64]) -> f64 {
    let centre = median(values);
    let deviations: Vec<f64> = values.iter().map(|y| (y - centre).abs()).collect();
    median(&deviations)
}

/// Lag-1 autocorrelation Σ(yᵢ − m)(yᵢ₊₁ − m)/Σ(yᵢ − m)², the full sum below. NaN for fewer than two values or for
/// values that do not vary.
pub fn lag1(values: &[f64]) -> f64 {
    // Without two different values both sums are zero.
    let centred = Centred::of(values);
    let deviation = |y: f64| (y - centred.centre) - centred.rest;
    sum(values
        .windows(2)
        .map(|pair| deviation(pair[0]) * deviation(pair[1])))
        / centred.squares
}

/// One list described.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Summary {
    /// How many values.
    pub n: usize,
    /// Arithmetic mean.
    pub mean: f64,
    /// Standard deviation (divisor n − 1); `None` for a single value.
    pub sd: Option<f64>,
    /// Smallest value.
    pub min: f64,
    /// Median.
    pub median: f64,
    /// Largest value.
    pub max: f64,
    /// Median absolute deviation, unscaled.
    pub mad: f64,
    /// Lag-1 autocorrelation; `None` where the values do not vary or are fewer than two.
    pub lag1: Option<f64>,
}

impl Summary {
    /// Describes the values, in their order in time (it matters for the autocorrelation only).
    ///
    /// # Errors
    ///
    /// [`StatsError::TooFew`] for no values, [`StatsError::NotFinite`] for one that is not a finite number.
    pub fn of(values: &[f64]) -> Result<Self, StatsError> {
        at_least("values", 1, values.len())?;
        all_finite("values", values)?;
        let some = |x: f64| if x.is_nan() { None } else { Some(x) };
        Ok(Self {
            n: values.len(),
            mean: mean(values),
            sd: some(sd(values)),
            min: values.iter().copied().fold(f64::INFINITY, f64::min),
            median: median(values),
            max: values.iter().copied().fold(f64::NEG_INFINITY, f64::max),
            mad: mad(values),
            lag1: some(lag1(values)),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn compensated_sum_keeps_what_plain_addition_drops() {
        let values = [1.0, 1e100, 1.0, -1e100];
        assert_eq!(sum(values), 2.0);
        assert_eq!(values.iter().sum::<f64>(), 0.0);
        assert_eq!(sum([f64::INFINITY, 1.0]), f64::INFINITY);
        assert!(sum([f64::INFINITY, f64::NEG_INFINITY]).is_nan());
    }

    #[test]
    fn order_statistics_of_a_short_list() {
        // By hand.
        let values = [4.0, 1.0, 3.0, 2.0];
        assert_eq!(median(&values), 2.5);
        assert_eq!(mad(&values), 1.0);
        assert_eq!(quantile(&values, 0.0), 1.0);
        assert_eq!(quantile(&values, 1.0), 4.0);
        assert_eq!(quantile(&values, 0.25), 1.75);
        assert!(quantile(&values, 1.1).is_nan());
    }

    #[test]
    fn what_does_not_exist_is_nan_or_none() {
        assert!(mean(&[]).is_nan());
        assert!(sd(&[1.0]).is_nan());
        assert!(lag1(&[2.0, 2.0]).is_nan());
        assert!(median(&[1.0, f64::NAN]).is_nan());
        let one = Summary::of(&[3.0]).unwrap();
        assert_eq!((one.mean, one.sd, one.lag1), (3.0, None, None));
        assert!(matches!(
            Summary::of(&[1.0, f64::INFINITY]),
            Err(StatsError::NotFinite { index: 1, .. })
        ));
        assert!(matches!(Summary::of(&[]), Err(StatsError::TooFew { .. })));
    }

    #[test]
    fn two_values_by_hand() {
        // 1 and 3: deviations −1 and 1, variance 2/1, lag-1 product −1 over squares 2.
        assert_eq!((variance(&[1.0, 3.0]), lag1(&[1.0, 3.0])), (2.0, -0.5));
        assert!(variance(&[]).is_nan() && lag1(&[]).is_nan() && lag1(&[1.0]).is_nan());
    }

    #[test]
    fn absolute_deviations_are_distances() {
        // From the median 4: 3, 2, 0, 4, 12.
        assert_eq!(mad(&[1.0, 2.0, 4.0, 8.0, 16.0]), 3.0);
    }
}
