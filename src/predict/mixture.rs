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

/// The value under which a share `p` of the mixture lies; `None` for an empty or degenerate mixture.
pub fn quantile(parts: &[Component], p: f64) -> Option<f64> {
    let total: f64 = parts.iter().map(|c| c.weight).sum();
    let usable = parts
        .iter()
        .all(|c| c.centre.is_finite() && c.scale.is_finite() && c.scale > 0.0 && c.dof > 0.0);
    if !(total > 0.0 && usable && p > 0.0 && p < 1.0) {
        return None;
    }
    // Every component's own quantile brackets that of the mixture; many share their degrees of freedom.
    let (mut low, mut high, mut start) = (f64::INFINITY, f64::NEG_INFINITY, 0.0);
    let mut known = (f64::NAN, f64::NAN);
    for c in parts {
        if known.0 != c.dof {
            known = (c.dof, student_t::quantile(p, c.dof));
        }
        let own = c.centre + c.scale * known.1;
        (low, high) = (low.min(own), high.max(own));
        start += own * c.weight / total;
    }
    if !(low.is_finite() && high.is_finite()) {
        return None;
    }
    let tolerance = 1e-12 * (low.abs() + high.abs()) + 1e-300;
    let mut v = start.clamp(low, high);
    // Newton's steps inside the bracket; where one leaves it or hardly narrows it, its middle. Between curves that part ways the
    // density is nearly nil, and only the bracket leads on.
    for _ in 0..200 {
        let (below, density) = share_below(parts, v);
        let gap = below / total - p;
        if gap < 0.0 {
            low = v;
        } else {
            high = v;
        }
        let step = gap * total / density;
        let width = high - low;
        if width <= tolerance || step.abs() <= 0.1 * tolerance {
            break;
        }
        let next = v - step;
        v = if next > low && next < high && step.abs() < 0.5 * width {
            next
        } else {
            0.5 * (low + high)
        };
    }
    Some(v)
}

/// Weight of the mixture below `v`, and its density there; neither divided by the sum of the weights.
fn share_below(parts: &[Component], v: f64) -> (f64, f64) {
    parts.iter().fold((0.0, 0.0), |(below, density), c| {
        let z = (v - c.centre) / c.scale;
        (
            below + c.weight * student_t::cdf(z, c.dof),
            density + c.weight * student_t::pdf(z, c.dof) / c.scale,
        )
    })
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
    fn quantiles_hold_their_share_where_curves_part_ways() {
        let part = |weight, centre, scale, dof| Component {
            weight,
            centre,
            scale,
            dof,
        };
        let parts = [
            part(0.72, 200.0, 2.0, 21.0),
            part(0.24, 231.0, 0.3, 3.5),
            part(0.03, 90.0, 9.0, 1.0),
            part(0.01, 201.0, 1e-7, 60.0),
        ];
        for p in [
            1e-4, 0.02, 0.025, 0.1, 0.5, 0.7499, 0.76, 0.9, 0.975, 0.9999,
        ] {
            let (below, density) = share_below(&parts, quantile(&parts, p).unwrap());
            // As near as the last digits of the value allow.
            assert!((below - p).abs() < 1e-12 + 1e-9 * density, "{p}: {below}");
        }
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

    #[test]
    fn shares_need_not_sum_to_one() {
        let part = |weight, centre| Component {
            weight,
            centre,
            scale: 2.0,
            dof: 9.0,
        };
        let whole = [part(0.3, 10.0), part(0.7, 14.0)];
        for times in [0.2, 3.0] {
            let other = whole.map(|c| part(times * c.weight, c.centre));
            for p in [0.025, 0.5, 0.9] {
                let (a, b) = (quantile(&whole, p).unwrap(), quantile(&other, p).unwrap());
                assert!((a - b).abs() < 1e-9, "{a} {b}");
            }
        }
    }
}
