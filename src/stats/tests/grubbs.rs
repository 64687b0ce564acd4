//! One value that does not belong with the others.

use crate::stats::error::{all_finite, at_least, open_unit};
use crate::stats::summary::Centred;
use crate::stats::{StatsError, student_t};

/// The value farthest from the mean, and how surprising it is among normal data.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grubbs {
    /// Its place in the list, from 0.
    pub index: usize,
    /// The value.
    pub value: f64,
    /// Distance from the mean in standard deviations (all values included).
    pub g: f64,
    /// Bonferroni bound of the p-value when only this side was watched (exact for small values).
    pub p_one_sided: f64,
    /// Bonferroni bound of the p-value when both sides were watched.
    pub p_two_sided: f64,
}

/// Grubbs' test for one outlier (Grubbs 1969, Technometrics 11, 1–21). It says that a value is surprising, not that it
/// is wrong: look for a cause before leaving it out.
///
/// # Errors
///
/// [`StatsError`] for fewer than three values, values that are not finite, or that do not vary.
pub fn grubbs(values: &[f64]) -> Result<Grubbs, StatsError> {
    at_least("values", 3, values.len())?;
    all_finite("values", values)?;
    let part = Centred::of(values);
    if part.squares == 0.0 {
        return Err(StatsError::NoScatter { what: "values" });
    }
    let n = values.len() as f64;
    let deviations = values.iter().map(|y| ((y - part.centre) - part.rest).abs());
    let (index, distance) =
        deviations.enumerate().fold(
            (0, -1.0),
            |best, (i, d)| if d > best.1 { (i, d) } else { best },
        );
    let g = distance / (part.squares / (n - 1.0)).sqrt();
    // G is a monotone function of a t with n − 2 degrees of freedom.
    let rest = (n - 1.0) * (n - 1.0) - n * g * g;
    let t = if rest > 0.0 {
        (n * (n - 2.0) * g * g / rest).sqrt()
    } else {
        f64::INFINITY
    };
    let tail = n * student_t::sf(t, n - 2.0);
    Ok(Grubbs {
        index,
        value: values[index],
        g,
        p_one_sided: tail.min(1.0),
        p_two_sided: (2.0 * tail).min(1.0),
    })
}

/// The distance in standard deviations that one of `n` normal values exceeds with probability `alpha` at most;
/// `two_sided` when both sides are watched.
///
/// # Errors
///
/// [`StatsError`] for n < 3 or alpha outside (0, 1).
pub fn grubbs_critical(n: usize, alpha: f64, two_sided: bool) -> Result<f64, StatsError> {
    at_least("values", 3, n)?;
    open_unit("alpha", alpha)?;
    let count = n as f64;
    let tail = alpha / count / if two_sided { 2.0 } else { 1.0 };
    let t = student_t::upper_quantile(tail, count - 2.0);
    Ok((count - 1.0) / count.sqrt() * (t * t / (count - 2.0 + t * t)).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn critical_value_and_p_value_are_inverse() {
        let values = [1.0, 1.2, 0.9, 1.1, 1.05, 2.5];
        let found = grubbs(&values).unwrap();
        assert_eq!((found.index, found.value), (5, 2.5));
        let critical = grubbs_critical(6, found.p_two_sided, true).unwrap();
        assert!((critical / found.g - 1.0).abs() < 1e-12);
    }

    #[test]
    fn the_largest_possible_distance_has_no_chance() {
        // All equal but one: G reaches its bound (n − 1)/√n.
        let found = grubbs(&[0.0, 0.0, 0.0, 1.0]).unwrap();
        assert!((found.g - 1.5).abs() < 1e-15);
        assert!(found.p_one_sided < 1e-12);
        assert!(grubbs(&[1.0, 1.0, 1.0]).is_err());
        assert!(grubbs(&[1.0, 2.0]).is_err());
        assert!(grubbs_critical(5, 0.0, true).is_err());
    }

    #[test]
    fn a_large_common_part_leaves_the_distance() {
        // Numbers about 1e15 are multiples of 0.125, so the mean 12/7 is rounded to 1.75 there. Squares 36 − 144/7 = 108/7; g = (16/7)/√(18/7).
        let values = [0.0, 1.0, 1.0, 4.0, 4.0, 1.0, 1.0].map(|y| y + 1e15);
        let found = grubbs(&values).unwrap();
        assert_eq!(found.index, 3);
        assert!((found.g - 16.0 / 7.0 / (18.0_f64 / 7.0).sqrt()).abs() < 1e-14);
    }
}
