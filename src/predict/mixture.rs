//! Quantiles of a weighted mixture of t distributions: the candidates' opinions, joined.

use crate::stats::student_t;

/// One opinion: a t distribution.
#[derive(Clone, Copy, Debug)]
pub struct Component {
    /// Share; the shares need not sum to one.
    pub weight: f64,
    /// Centre.
    pub centre: f64,
    /// Scale, above zero.
    pub scale: f64,
    /// Degrees of freedom.
    pub dof: f64,
}

/// Weighted mean of the centres; `None` for an empty mixture.
pub fn mean(parts: &[Component]) -> Option<f64> {
    let total: f64 = parts.iter().map(|c| c.weight).sum();
    (total > 0.0).then(|| parts.iter().map(|c| c.weight * c.centre).sum::<f64>() / total)
}

/// The value under which a share `p` of the mixture lies, by bisection; `None` for an empty or degenerate mixture.
pub fn quantile(parts: &[Component], p: f64) -> Option<f64> {
    let total: f64 = parts.iter().map(|c| c.weight).sum();
    let usable = parts
        .iter()
        .all(|c| c.centre.is_finite() && c.scale.is_finite() && c.scale > 0.0 && c.dof > 0.0);
    if !(total > 0.0 && usable && p > 0.0 && p < 1.0) {
        return None;
    }
    // Every component's own quantile brackets that of the mixture.
    let own = parts
        .iter()
        .map(|c| c.centre + c.scale * student_t::quantile(p, c.dof));
    let (mut low, mut high) = own.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), q| {
        (a.min(q), b.max(q))
    });
    if !(low.is_finite() && high.is_finite()) {
        return None;
    }
    let below = |v: f64| {
        parts
            .iter()
            .map(|c| c.weight * student_t::cdf((v - c.centre) / c.scale, c.dof))
            .sum::<f64>()
            / total
    };
    let tolerance = 1e-10 * (low.abs() + high.abs()) + 1e-300;
    for _ in 0..200 {
        if high - low <= tolerance {
            break;
        }
        let middle = 0.5 * (low + high);
        if below(middle) < p {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(0.5 * (low + high))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_component_gives_its_own_quantile() {
        let c = [Component {
            weight: 2.0,
            centre: 10.0,
            scale: 3.0,
            dof: 7.0,
        }];
        let q = quantile(&c, 0.975).unwrap();
        assert!((q - (10.0 + 3.0 * student_t::quantile(0.975, 7.0))).abs() < 1e-7);
    }

    #[test]
    fn two_far_components_split_the_tails() {
        let c = [
            Component {
                weight: 0.5,
                centre: 0.0,
                scale: 1.0,
                dof: 1e6,
            },
            Component {
                weight: 0.5,
                centre: 100.0,
                scale: 1.0,
                dof: 1e6,
            },
        ];
        // A share of 0.25 of the whole is half of the first.
        assert!(quantile(&c, 0.25).unwrap().abs() < 1e-4);
        assert_eq!(mean(&c), Some(50.0));
    }

    #[test]
    fn nothing_comes_of_nothing() {
        assert_eq!(quantile(&[], 0.5), None);
        let bad = [Component {
            weight: 1.0,
            centre: f64::NAN,
            scale: 1.0,
            dof: 3.0,
        }];
        assert_eq!(quantile(&bad, 0.5), None);
    }
}
