//! A smaller fit against a larger one that contains it.

use crate::stats::StatsError;
use crate::stats::anova::{Ratio, Source};
use crate::stats::error::{all_finite, at_least};
use crate::stats::summary::Centred;

/// F test of a smaller (nested) fit against a larger one, from their residual sums of squares and degrees of freedom:
/// F = ((S₁ − S₂)/(ν₁ − ν₂))/(S₂/ν₂). The lack-of-fit test is this with pure error as the larger fit.
///
/// # Errors
///
/// [`StatsError::OutOfRange`] unless `smaller` has more residual degrees of freedom and no smaller residual sum than
/// `larger`, and `larger` has some left; [`StatsError::NotFinite`] for figures that are not finite.
pub fn nested_f(smaller: Source, larger: Source) -> Result<Ratio, StatsError> {
    all_finite(
        "residual sums of squares",
        &[smaller.squares, larger.squares],
    )?;
    all_finite("residual degrees of freedom", &[smaller.dof, larger.dof])?;
    let refuse = |what, value, expected| {
        Err(StatsError::OutOfRange {
            what,
            value,
            expected,
        })
    };
    if larger.dof <= 0.0 {
        return refuse(
            "residual degrees of freedom of the larger fit",
            larger.dof,
            "more than 0",
        );
    }
    if smaller.dof <= larger.dof {
        let expected = "more than the larger fit's";
        return refuse(
            "residual degrees of freedom of the smaller fit",
            smaller.dof,
            expected,
        );
    }
    if larger.squares < 0.0 {
        return refuse(
            "residual sum of squares of the larger fit",
            larger.squares,
            "0 or more",
        );
    }
    // Rounding may leave the smaller fit a hair better than the one that contains it.
    let slack = 1e-10 * larger.squares;
    if smaller.squares < larger.squares - slack {
        let expected = "no less than the larger fit's";
        return refuse(
            "residual sum of squares of the smaller fit",
            smaller.squares,
            expected,
        );
    }
    let gained = Source {
        squares: (smaller.squares - larger.squares).max(0.0),
        dof: smaller.dof - larger.dof,
    };
    Ok(gained.against(&larger))
}

/// Pure error of repeated measurements: the scatter within groups that share all settings.
///
/// # Errors
///
/// [`StatsError`] when no group holds two values or a value is not finite.
pub fn pure_error<G: AsRef<[f64]>>(groups: &[G]) -> Result<Source, StatsError> {
    let mut error = Source {
        squares: 0.0,
        dof: 0.0,
    };
    for group in groups {
        let group = group.as_ref();
        all_finite("repeated measurements", group)?;
        if group.len() > 1 {
            error.squares += Centred::of(group).squares;
            error.dof += (group.len() - 1) as f64;
        }
    }
    at_least(
        "repeats beyond the first of each setting",
        1,
        error.dof as usize,
    )?;
    Ok(error)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fits_that_are_not_nested_are_refused() {
        let s = |squares, dof| Source { squares, dof };
        assert!(nested_f(s(10.0, 5.0), s(8.0, 5.0)).is_err());
        assert!(nested_f(s(7.0, 6.0), s(8.0, 5.0)).is_err());
        assert!(nested_f(s(10.0, 5.0), s(8.0, 0.0)).is_err());
        assert!(nested_f(s(f64::NAN, 5.0), s(8.0, 4.0)).is_err());
        // Equal up to rounding: no gain, p = 1.
        let same = nested_f(s(8.0 - 1e-12, 6.0), s(8.0, 5.0)).unwrap();
        assert_eq!((same.f, same.p), (0.0, 1.0));
    }

    #[test]
    fn pure_error_skips_single_values() {
        let error = pure_error(&[vec![1.0, 3.0], vec![7.0], vec![2.0, 2.0, 5.0]]).unwrap();
        assert_eq!(
            error,
            Source {
                squares: 8.0,
                dof: 3.0
            }
        );
        assert!(pure_error(&[vec![1.0], vec![2.0]]).is_err());
    }

    #[test]
    fn rounding_is_judged_by_the_residual_sum_itself() {
        let s = |squares, dof| Source { squares, dof };
        for scale in [1e-6, 1.0, 1e6] {
            let gain = |less: f64| nested_f(s(scale * (1.0 - less), 6.0), s(scale, 5.0));
            assert_eq!(gain(5e-11).unwrap().f, 0.0);
            assert!(gain(2e-10).is_err());
        }
    }
}
