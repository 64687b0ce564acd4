//! Several questions asked of the same data: p-values and intervals that hold for all of them at once.

use super::anova::Group;
use super::error::{all_finite, at_least, open_unit};
use super::{StatsError, studentised_range};

/// Checks that every value is a probability.
fn probabilities(values: &[f64]) -> Result<(), StatsError> {
    all_finite("p-values", values)?;
    match values.iter().find(|p| !(0.0..=1.0).contains(*p)) {
        None => Ok(()),
        Some(p) => Err(StatsError::OutOfRange {
            what: "a p-value",
            value: *p,
            expected: "between 0 and 1",
        }),
    }
}

/// Each p-value times their number, at most 1.
///
/// # Errors
///
/// [`StatsError`] for a value that is not a probability.
pub fn bonferroni(p_values: &[f64]) -> Result<Vec<f64>, StatsError> {
    probabilities(p_values)?;
    let count = p_values.len() as f64;
    Ok(p_values.iter().map(|p| (p * count).min(1.0)).collect())
}

/// Step-down adjustment (Holm 1979, Scandinavian Journal of Statistics 6, 65–70): as safe as [`bonferroni`] and never
/// larger. In the order given.
///
/// # Errors
///
/// [`StatsError`] for a value that is not a probability.
pub fn holm(p_values: &[f64]) -> Result<Vec<f64>, StatsError> {
    probabilities(p_values)?;
    let mut order: Vec<usize> = (0..p_values.len()).collect();
    order.sort_by(|a, b| p_values[*a].total_cmp(&p_values[*b]));
    let mut adjusted = vec![0.0; p_values.len()];
    let mut floor = 0.0_f64;
    for (rank, index) in order.into_iter().enumerate() {
        let left = (p_values.len() - rank) as f64;
        floor = floor.max(p_values[index] * left).min(1.0);
        adjusted[index] = floor;
    }
    Ok(adjusted)
}

/// One pairwise comparison of group means.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pair {
    /// Place of the first group, from 0.
    pub first: usize,
    /// Place of the second group.
    pub second: usize,
    /// Second mean minus first mean.
    pub difference: f64,
    /// Lower end of the simultaneous interval.
    pub low: f64,
    /// Upper end of the simultaneous interval.
    pub high: f64,
    /// |difference| over the standard error of one mean: the studentised range it is judged by.
    pub q: f64,
    /// p-value adjusted for all pairs.
    pub p: f64,
}

/// All pairwise differences with intervals and p-values that hold together with probability `level` (Tukey; Kramer 1956,
/// Biometrics 12, 307–310, for unequal sizes, where the level is kept or exceeded: Hayter 1984).
///
/// `variance` is the residual mean square with `dof` degrees of freedom; of the groups only sizes and means are used.
/// Pairs come in the order (0, 1), (0, 2), …, (1, 2), ….
///
/// # Errors
///
/// [`StatsError`] for fewer than two groups, an empty group, figures that are not finite, a variance that is not
/// positive, `dof` that is not positive, or a level outside (0, 1).
pub fn tukey(
    groups: &[Group],
    variance: f64,
    dof: f64,
    level: f64,
) -> Result<Vec<Pair>, StatsError> {
    at_least("groups", 2, groups.len())?;
    open_unit("level", level)?;
    let means: Vec<f64> = groups.iter().map(|g| g.mean).collect();
    all_finite("group means", &means)?;
    for group in groups {
        at_least("values in a group", 1, group.n)?;
    }
    if !(variance > 0.0 && variance.is_finite()) {
        return Err(StatsError::OutOfRange {
            what: "the residual variance",
            value: variance,
            expected: "more than 0",
        });
    }
    if dof.is_nan() || dof <= 0.0 {
        return Err(StatsError::OutOfRange {
            what: "degrees of freedom",
            value: dof,
            expected: "more than 0",
        });
    }
    let count = groups.len() as f64;
    let critical = studentised_range::upper_quantile(1.0 - level, count, dof);
    let mut pairs = Vec::new();
    for (first, a) in groups.iter().enumerate() {
        for (second, b) in groups.iter().enumerate().skip(first + 1) {
            let difference = b.mean - a.mean;
            let scale = (0.5 * variance * (1.0 / a.n as f64 + 1.0 / b.n as f64)).sqrt();
            let q = difference.abs() / scale;
            pairs.push(Pair {
                first,
                second,
                difference,
                low: difference - critical * scale,
                high: difference + critical * scale,
                q,
                p: studentised_range::sf(q, count, dof),
            });
        }
    }
    Ok(pairs)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn holm_by_hand() {
        // Sorted 0.01·4, 0.02·3, 0.03·2, 0.2·1; the third must not fall below the second.
        let adjusted = holm(&[0.03, 0.01, 0.2, 0.02]).unwrap();
        for (got, want) in adjusted.iter().zip([0.06, 0.04, 0.2, 0.06]) {
            assert!((got - want).abs() < 1e-15);
        }
        assert_eq!(holm(&[]).unwrap(), Vec::<f64>::new());
        assert!(holm(&[0.1, f64::NAN]).is_err());
        assert!(bonferroni(&[1.1]).is_err());
    }

    #[test]
    fn two_groups_reduce_to_the_pooled_t_test() {
        let (a, b) = ([1.0, 2.0, 4.0], [3.0, 5.0, 4.5, 6.0]);
        let t = crate::stats::tests::pooled(&b, &a).unwrap();
        let anova = crate::stats::anova::one_way(&[a.as_slice(), b.as_slice()]).unwrap();
        let pair = tukey(
            &anova.groups,
            anova.within.mean_square(),
            anova.within.dof,
            0.95,
        )
        .unwrap()[0];
        let (low, high) = t.interval(0.95);
        assert!((pair.p / t.p_two_sided(0.0) - 1.0).abs() < 1e-12);
        assert!((pair.low / low - 1.0).abs() < 1e-12 && (pair.high / high - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_comparison_needs_scatter_with_degrees_of_freedom() {
        let groups = [1.0, 2.0].map(|mean| Group {
            n: 2,
            mean,
            squares: 0.0,
        });
        for (variance, dof) in [(0.0, 3.0), (1.0, 0.0), (1.0, -1.0), (1.0, f64::NAN)] {
            assert!(matches!(
                tukey(&groups, variance, dof, 0.95),
                Err(StatsError::OutOfRange { .. })
            ));
        }
    }
}
