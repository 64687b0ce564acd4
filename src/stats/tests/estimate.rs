//! An estimate with its standard error, and everything that Student's t says about it.

use crate::stats::student_t;

/// A value, its standard error, and the degrees of freedom of that error (infinite if it is known).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The estimate.
    pub value: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// Degrees of freedom of the standard error; real, may be infinite.
    pub dof: f64,
}

impl Estimate {
    /// Distance from `null` in standard errors. NaN when both distance and standard error are zero.
    pub fn t(&self, null: f64) -> f64 {
        (self.value - null) / self.standard_error
    }

    /// Probability of an estimate at least this far from `null` on either side, if `null` is the truth.
    pub fn p_two_sided(&self, null: f64) -> f64 {
        2.0 * student_t::sf(self.t(null).abs(), self.dof)
    }

    /// Probability of an estimate at least this far above `null`: small values speak for a truth above it.
    pub fn p_above(&self, null: f64) -> f64 {
        student_t::sf(self.t(null), self.dof)
    }

    /// Probability of an estimate at least this far below `null`: small values speak for a truth below it.
    pub fn p_below(&self, null: f64) -> f64 {
        student_t::cdf(self.t(null), self.dof)
    }

    /// Two-sided confidence interval. NaN ends for a level outside [0, 1].
    pub fn interval(&self, level: f64) -> (f64, f64) {
        let half = self.half_width(level);
        (self.value - half, self.value + half)
    }

    /// Half the width of the two-sided confidence interval.
    pub fn half_width(&self, level: f64) -> f64 {
        student_t::two_sided(level, self.dof) * self.standard_error
    }

    /// Two one-sided tests that the truth lies between `low` and `high` (Schuirmann 1987, Journal of
    /// Pharmacokinetics and Biopharmaceutics 15, 657–680).
    pub fn equivalence(&self, low: f64, high: f64) -> Equivalence {
        let (p_low, p_high) = (self.p_above(low), self.p_below(high));
        // A NaN on either side must not be hidden by the other side's number.
        let p = if p_low.is_nan() || p_high.is_nan() {
            f64::NAN
        } else {
            p_low.max(p_high)
        };
        Equivalence {
            t_low: self.t(low),
            p_low,
            t_high: self.t(high),
            p_high,
            p,
        }
    }
}

/// Outcome of two one-sided tests.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Equivalence {
    /// Distance from the lower margin in standard errors.
    pub t_low: f64,
    /// p-value against a truth at or below the lower margin.
    pub p_low: f64,
    /// Distance from the upper margin in standard errors.
    pub t_high: f64,
    /// p-value against a truth at or above the upper margin.
    pub p_high: f64,
    /// The larger of the two: below α exactly when the 1 − 2α interval lies inside the margins.
    pub p: f64,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equivalence_agrees_with_the_interval() {
        let estimate = Estimate {
            value: 0.3,
            standard_error: 0.2,
            dof: 7.5,
        };
        for margin in [0.5, 0.6, 0.65, 0.68, 0.7, 0.9] {
            let (low, high) = estimate.interval(0.90);
            let inside = low > -margin && high < margin;
            assert_eq!(
                estimate.equivalence(-margin, margin).p < 0.05,
                inside,
                "{margin}"
            );
        }
    }

    #[test]
    fn an_exact_estimate_is_certain_or_says_nothing() {
        let exact = Estimate {
            value: 1.0,
            standard_error: 0.0,
            dof: 3.0,
        };
        assert_eq!(exact.p_two_sided(0.0), 0.0);
        assert!(exact.p_two_sided(1.0).is_nan());
        assert!(exact.equivalence(1.0, 2.0).p.is_nan());
    }
}
