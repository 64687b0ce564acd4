//! Does a curve miss what repeated observations can see? Pure error against lack of fit.

use std::cmp::Ordering;

use crate::stats::f;

/// The scatter about a curve, split into what repeated observations show by themselves and the rest.
///
/// `F = (lack_ss / lack_df) / (pure_ss / pure_df)`; N. R. Draper and H. Smith, *Applied Regression Analysis*, 2.1.
/// Exact for linear curves with normal scatter, approximate for nonlinear ones.
#[derive(Debug, Clone, PartialEq)]
pub struct LackOfFit {
    /// Weighted sum of squares of the observations about the mean of their group.
    pub pure_ss: f64,
    /// Its degrees of freedom.
    pub pure_df: usize,
    /// What is left of the residual sum of squares.
    pub lack_ss: f64,
    /// Its degrees of freedom.
    pub lack_df: usize,
    /// The ratio of the two mean squares; `None` where the repeats do not differ at all.
    pub f: Option<f64>,
    /// How often chance alone gives a ratio this large when the curve is right; `None` where there is no ratio.
    pub p: Option<f64>,
}

impl LackOfFit {
    /// Standard deviation of repeated observations.
    pub fn repeat_sd(&self) -> f64 {
        (self.pure_ss / self.pure_df as f64).sqrt()
    }
}

/// Splits the residual sum of squares of a fit with `parameters` parameters. `groups[i]` says which conditions row i was
/// observed under; rows that compare equal are repeats.
///
/// `None` without repeats, with no more distinct conditions than parameters, or where lengths differ.
pub fn lack_of_fit<G: PartialOrd>(
    groups: &[G],
    observed: &[f64],
    weights: Option<&[f64]>,
    rss: f64,
    parameters: usize,
) -> Option<LackOfFit> {
    let n = observed.len();
    if groups.len() != n || weights.is_some_and(|w| w.len() != n) {
        return None;
    }
    let weight = |i: usize| weights.map_or(1.0, |w| w[i]);
    let mut order: Vec<usize> = (0..n).filter(|&i| weight(i) > 0.0).collect();
    order.sort_by(|&a, &b| groups[a].partial_cmp(&groups[b]).unwrap_or(Ordering::Equal));
    let members: Vec<&[usize]> = order.chunk_by(|&a, &b| groups[a] == groups[b]).collect();
    let counted = order.len();
    let (pure_df, lack_df) = (
        counted - members.len(),
        members.len().checked_sub(parameters)?,
    );
    if pure_df == 0 || lack_df == 0 {
        return None;
    }
    let about_mean = |rows: &&[usize]| -> f64 {
        let total: f64 = rows.iter().map(|&i| weight(i)).sum();
        let mean = rows.iter().map(|&i| weight(i) * observed[i]).sum::<f64>() / total;
        rows.iter()
            .map(|&i| weight(i) * (observed[i] - mean).powi(2))
            .sum()
    };
    let pure_ss: f64 = members.iter().map(about_mean).sum();
    let lack_ss = (rss - pure_ss).max(0.0);
    let ratio = (lack_ss / lack_df as f64) / (pure_ss / pure_df as f64);
    let ratio = ratio.is_finite().then_some(ratio);
    let p = ratio.map(|r| f::sf(r, lack_df as f64, pure_df as f64));
    Some(LackOfFit {
        pure_ss,
        pure_df,
        lack_ss,
        lack_df,
        f: ratio,
        p,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_repeats_or_spare_conditions_there_is_no_split() {
        assert_eq!(
            lack_of_fit(&[1, 2, 3], &[1.0, 2.0, 3.0], None, 0.1, 2),
            None
        );
        assert_eq!(
            lack_of_fit(&[1, 1, 2], &[1.0, 2.0, 3.0], None, 0.5, 2),
            None
        );
        assert_eq!(lack_of_fit(&[1, 1], &[1.0, 2.0, 3.0], None, 0.5, 1), None);
        assert_eq!(lack_of_fit::<i32>(&[], &[], None, 0.0, 0), None);
    }

    #[test]
    fn repeats_that_do_not_differ_give_no_ratio() {
        let split = lack_of_fit(&[1, 1, 2, 3], &[1.0, 1.0, 2.0, 4.0], None, 0.5, 2).unwrap();
        assert_eq!(
            (
                split.pure_ss,
                split.pure_df,
                split.lack_df,
                split.f,
                split.p
            ),
            (0.0, 1, 1, None, None)
        );
    }
}
