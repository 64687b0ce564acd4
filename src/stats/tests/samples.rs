//! Means of one or two samples.

use super::Estimate;
use crate::stats::StatsError;
use crate::stats::error::{all_finite, at_least};
use crate::stats::summary::Centred;

/// Size, mean and sum of squares of a checked sample.
fn describe(
    what: &'static str,
    values: &[f64],
    needed: usize,
) -> Result<(f64, Centred), StatsError> {
    at_least(what, needed, values.len())?;
    all_finite(what, values)?;
    Ok((values.len() as f64, Centred::of(values)))
}

/// Difference of two means; the rounded centres are subtracted first, so a large common part costs no digits.
fn difference(a: &Centred, b: &Centred) -> f64 {
    (a.centre - b.centre) + (a.rest - b.rest)
}

/// Mean of one sample with standard error s/√n and n − 1 degrees of freedom.
///
/// # Errors
///
/// [`StatsError`] for fewer than two values or one that is not finite.
pub fn one_sample(values: &[f64]) -> Result<Estimate, StatsError> {
    let (n, part) = describe("sample", values, 2)?;
    let standard_error = (part.squares / (n - 1.0) / n).sqrt();
    Ok(Estimate {
        value: part.mean(),
        standard_error,
        dof: n - 1.0,
    })
}

/// Mean of the pairwise differences first − second.
///
/// # Errors
///
/// [`StatsError`] for lists of different lengths, fewer than two pairs, or a value that is not finite.
pub fn paired(first: &[f64], second: &[f64]) -> Result<Estimate, StatsError> {
    if first.len() != second.len() {
        return Err(StatsError::Unequal {
            what: "paired samples",
            left: first.len(),
            right: second.len(),
        });
    }
    all_finite("first sample", first)?;
    all_finite("second sample", second)?;
    let differences: Vec<f64> = first.iter().zip(second).map(|(a, b)| a - b).collect();
    one_sample(&differences)
}

/// Mean of `first` minus mean of `second`, both assumed to scatter alike: pooled variance, n₁ + n₂ − 2 degrees of freedom.
///
/// # Errors
///
/// [`StatsError`] for an empty sample, fewer than three values in all, or a value that is not finite.
pub fn pooled(first: &[f64], second: &[f64]) -> Result<Estimate, StatsError> {
    let (n1, a) = describe("first sample", first, 1)?;
    let (n2, b) = describe("second sample", second, 1)?;
    at_least("values in both samples", 3, first.len() + second.len())?;
    let dof = n1 + n2 - 2.0;
    let variance = (a.squares + b.squares) / dof;
    let standard_error = (variance * (1.0 / n1 + 1.0 / n2)).sqrt();
    Ok(Estimate {
        value: difference(&a, &b),
        standard_error,
        dof,
    })
}

/// Mean of `first` minus mean of `second`, each with its own scatter; degrees of freedom by Welch (1947, Biometrika 34,
/// 28–35) and Satterthwaite.
///
/// # Errors
///
/// [`StatsError`] for a sample with fewer than two values or a value that is not finite, or when neither sample varies.
///
/// ```
/// use steadydraw::stats::tests::welch;
/// let found = welch(&[410.0, 412.0, 415.0], &[402.0, 405.0, 401.0])?;
/// let (low, high) = found.interval(0.95);
/// assert!(low > 0.0 && found.p_two_sided(0.0) < 0.05);
/// // A difference is shown; that it is below 20 is shown too.
/// assert!(found.equivalence(-20.0, 20.0).p < 0.05 && high < 20.0);
/// # Ok::<(), steadydraw::stats::StatsError>(())
/// ```
pub fn welch(first: &[f64], second: &[f64]) -> Result<Estimate, StatsError> {
    let (n1, a) = describe("first sample", first, 2)?;
    let (n2, b) = describe("second sample", second, 2)?;
    let (v1, v2) = (a.squares / (n1 - 1.0) / n1, b.squares / (n2 - 1.0) / n2);
    let variance = v1 + v2;
    if variance == 0.0 {
        return Err(StatsError::NoScatter {
            what: "two samples",
        });
    }
    // As shares, so that tiny variances do not underflow when squared.
    let (share1, share2) = (v1 / variance, v2 / variance);
    let dof = 1.0 / (share1 * share1 / (n1 - 1.0) + share2 * share2 / (n2 - 1.0));
    Ok(Estimate {
        value: difference(&a, &b),
        standard_error: variance.sqrt(),
        dof,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn swapping_samples_only_turns_the_sign() {
        let (a, b) = ([1.0, 2.0, 4.0], [0.5, 3.0]);
        let (ab, ba) = (welch(&a, &b).unwrap(), welch(&b, &a).unwrap());
        assert_eq!(
            (ab.value, ab.standard_error),
            (-ba.value, ba.standard_error)
        );
        assert!((ab.dof - ba.dof).abs() < 1e-12);
    }

    #[test]
    fn a_large_common_part_costs_no_digits() {
        let (a, b) = ([1.0, 2.0, 4.0], [0.5, 3.0, 2.0]);
        // Shifts that keep every value exact.
        let shift = |v: &[f64]| v.iter().map(|x| x + 1e15).collect::<Vec<f64>>();
        let (near, far) = (
            pooled(&a, &b).unwrap(),
            pooled(&shift(&a), &shift(&b)).unwrap(),
        );
        assert!((near.value / far.value - 1.0).abs() < 1e-14);
        assert!((near.standard_error / far.standard_error - 1.0).abs() < 1e-14);
    }

    #[test]
    fn bad_samples_are_refused() {
        assert!(matches!(
            one_sample(&[1.0]),
            Err(StatsError::TooFew {
                needed: 2,
                found: 1,
                ..
            })
        ));
        assert!(matches!(
            paired(&[1.0, 2.0], &[1.0]),
            Err(StatsError::Unequal { .. })
        ));
        assert!(matches!(
            pooled(&[1.0], &[2.0]),
            Err(StatsError::TooFew { .. })
        ));
        assert!(matches!(
            welch(&[1.0, 1.0], &[2.0, 2.0]),
            Err(StatsError::NoScatter { .. })
        ));
        assert!(matches!(
            welch(&[1.0, f64::NAN], &[2.0, 2.0]),
            Err(StatsError::NotFinite { .. })
        ));
    }

    #[test]
    fn one_value_and_two_can_be_compared() {
        // 1 against 2 and 4: a difference of −2, variance 2 with one degree of freedom, standard error √(2 (1 + 1/2)).
        let found = pooled(&[1.0], &[2.0, 4.0]).unwrap();
        assert_eq!((found.value, found.dof), (-2.0, 1.0));
        assert!((found.standard_error - 3.0_f64.sqrt()).abs() < 1e-15);
    }
}
