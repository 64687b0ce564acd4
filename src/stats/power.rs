//! How likely a test is to find what is there, and how much data that takes. NaN outside the domain.

use super::{f, noncentral, normal, student_t};

/// Whether a test looks at one side or both.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sides {
    /// Only differences in the direction of the assumed one count.
    One,
    /// Differences either way count; both rejection regions are added up.
    Two,
}

/// A sample size as the equation gives it, and the smallest whole one that does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SampleSize {
    /// Where the power is reached exactly.
    pub real: f64,
    /// Smallest whole number with at least that power.
    pub whole: u64,
}

/// Power of a t test with `dof` degrees of freedom at `noncentrality` = true difference over its standard error.
pub fn t_test(noncentrality: f64, dof: f64, alpha: f64, sides: Sides) -> f64 {
    if !(alpha > 0.0 && alpha < 1.0) {
        return f64::NAN;
    }
    match sides {
        Sides::One => noncentral::t_sf(student_t::upper_quantile(alpha, dof), dof, noncentrality),
        Sides::Two => {
            let critical = student_t::upper_quantile(0.5 * alpha, dof);
            noncentral::t_sf(critical, dof, noncentrality)
                + noncentral::t_cdf(-critical, dof, noncentrality)
        }
    }
}

/// Power of the pooled two-sample t test with `n` values in each group and true difference `delta_over_sd` in standard
/// deviations of one value.
pub fn t_two_sample(n: f64, delta_over_sd: f64, alpha: f64, sides: Sides) -> f64 {
    t_test(
        delta_over_sd * (0.5 * n).sqrt(),
        2.0 * (n - 1.0),
        alpha,
        sides,
    )
}

/// Power of the one-sample or paired t test with `n` values.
pub fn t_one_sample(n: f64, delta_over_sd: f64, alpha: f64, sides: Sides) -> f64 {
    t_test(delta_over_sd * n.sqrt(), n - 1.0, alpha, sides)
}

/// Power of the F test with the given noncentrality (see [`noncentral::f_cdf`]).
pub fn f_test(noncentrality: f64, d1: f64, d2: f64, alpha: f64) -> f64 {
    if !(alpha > 0.0 && alpha < 1.0) {
        return f64::NAN;
    }
    noncentral::f_sf(f::upper_quantile(alpha, d1, d2), d1, d2, noncentrality)
}

/// Power of balanced one-way analysis of variance: `variance_ratio` is the variance of the true group means (divisor
/// groups − 1) over the variance of one value.
pub fn anova_one_way(groups: f64, n: f64, variance_ratio: f64, alpha: f64) -> f64 {
    f_test(
        (groups - 1.0) * n * variance_ratio,
        groups - 1.0,
        groups * (n - 1.0),
        alpha,
    )
}

/// Chance that two one-sided tests at `alpha` each show the truth to lie within ±`margin`, when it is `truth`; both in
/// standard errors of the estimate, whose scale has `dof` degrees of freedom.
///
/// It is the chance that the 1 − 2α interval lies inside the margins: the average of
/// Φ(margin − truth − ts) − Φ(−margin − truth + ts) over those scales s for which it is positive. Good to about 8 digits.
pub fn equivalence(truth: f64, margin: f64, dof: f64, alpha: f64) -> f64 {
    if !(alpha > 0.0 && alpha < 0.5)
        || margin.is_nan()
        || truth.is_nan()
        || dof.is_nan()
        || dof <= 0.0
    {
        return f64::NAN;
    }
    if margin <= 0.0 {
        return 0.0;
    }
    let critical = student_t::upper_quantile(alpha, dof);
    if dof.is_infinite() {
        let (above, below) = (margin - truth - critical, -margin - truth + critical);
        return (normal::cdf(above) - normal::cdf(below)).max(0.0);
    }
    // The integrand g falls to zero at the cut with a corner. Integration by parts removes it:
    // E[g(S)] = ∫ −g′(s) P(S ≤ s) ds over (0, cut), with −g′ a sum of two normal densities.
    let cut = margin / critical;
    let integrand = |s: f64| {
        let slope = critical
            * (normal::pdf(margin - truth - critical * s)
                + normal::pdf(-margin - truth + critical * s));
        slope * super::chi_square::cdf(dof * s * s, dof)
    };
    // P(S ≤ s) climbs from 0 to 1 within ten widths of 1; beyond, only the normal densities matter.
    let width = 10.0 / (2.0 * dof).sqrt();
    let (foot, top) = ((1.0 - width).clamp(0.0, cut), (1.0 + width).min(cut));
    let panels = |a: f64, b: f64| 2 + (2.0 * critical * (b - a)).min(1e4) as usize;
    gauss_panels(foot, top, 24 + panels(foot, top), integrand)
        + gauss_panels(top, cut, panels(top, cut), integrand)
}

/// Gauss–Legendre rule with 10 points on each of `panels` equal panels.
fn gauss_panels(a: f64, b: f64, panels: usize, g: impl Fn(f64) -> f64) -> f64 {
    if b <= a {
        return 0.0;
    }
    // Abramowitz & Stegun 1964, table 25.4, n = 10.
    const NODES: [(f64, f64); 5] = [
        (0.148_874_338_981_631_2, 0.295_524_224_714_752_9),
        (0.433_395_394_129_247_2, 0.269_266_719_309_996_4),
        (0.679_409_568_299_024_4, 0.219_086_362_515_982_04),
        (0.865_063_366_688_984_5, 0.149_451_349_150_580_6),
        (0.973_906_528_517_171_7, 0.066_671_344_308_688_14),
    ];
    let half = 0.5 * (b - a) / panels as f64;
    let mut total = 0.0;
    for panel in 0..panels {
        let middle = a + half * (2 * panel + 1) as f64;
        for (node, weight) in NODES {
            total += weight * (g(middle - half * node) + g(middle + half * node));
        }
    }
    total * half
}

/// Sample size at which a power that rises with n reaches `wanted`, searched from `smallest` up to 10⁷. `None` when it
/// is not reached, or `wanted` is not between the power at `smallest` and 1; already reached at `smallest` gives that.
pub fn required_n(wanted: f64, smallest: f64, power: impl Fn(f64) -> f64) -> Option<SampleSize> {
    const LARGEST: f64 = 1e7;
    if !(wanted > 0.0 && wanted < 1.0) {
        return None;
    }
    let enough = |n: f64| power(n) >= wanted;
    if enough(smallest) {
        return Some(SampleSize {
            real: smallest,
            whole: smallest.ceil() as u64,
        });
    }
    let (mut low, mut high) = (smallest, 2.0 * smallest);
    while !enough(high) {
        (low, high) = (high, 2.0 * high);
        if high > LARGEST {
            return None;
        }
    }
    let real = super::root::between(low, high, |n| power(n) - wanted);
    // The neighbours settle it: the root's own rounding must not.
    let mut whole = (real - 1e-6).floor().max(smallest.ceil());
    while !enough(whole) {
        whole += 1.0;
    }
    Some(SampleSize {
        real,
        whole: whole as u64,
    })
}

/// Values needed in each group for the pooled two-sample t test. `None` if 10⁷ do not suffice.
///
/// ```
/// use steadydraw::stats::power::{Sides, required_n_t_two_sample};
/// // A difference of one standard deviation, found nine times in ten.
/// let n = required_n_t_two_sample(0.90, 1.0, 0.05, Sides::Two).map(|n| n.whole);
/// assert_eq!(n, Some(23));
/// ```
pub fn required_n_t_two_sample(
    wanted: f64,
    delta_over_sd: f64,
    alpha: f64,
    sides: Sides,
) -> Option<SampleSize> {
    required_n(wanted, 2.0, |n| {
        t_two_sample(n, delta_over_sd, alpha, sides)
    })
}

/// Values needed in each group for balanced one-way analysis of variance. `None` if 10⁷ do not suffice.
pub fn required_n_anova_one_way(
    wanted: f64,
    groups: f64,
    variance_ratio: f64,
    alpha: f64,
) -> Option<SampleSize> {
    required_n(wanted, 2.0, |n| {
        anova_one_way(groups, n, variance_ratio, alpha)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::chi_average::chi_average;

    #[test]
    fn power_at_no_difference_is_the_level() {
        for sides in [Sides::One, Sides::Two] {
            assert!((t_two_sample(7.0, 0.0, 0.05, sides) - 0.05).abs() < 1e-14);
        }
        assert!((anova_one_way(4.0, 6.0, 0.0, 0.01) - 0.01).abs() < 1e-14);
    }

    #[test]
    fn equivalence_power_against_the_plain_average_and_the_normal_limit() {
        // The plain average has a corner, so it agrees only to the square of its step.
        for (truth, margin, dof) in [(0.0, 3.0, 10.0), (1.0, 4.0, 5.5), (0.5, 2.0, 3.0)] {
            let critical = student_t::upper_quantile(0.05, dof);
            let plain = chi_average(dof, 60.0, |s| {
                (normal::cdf(margin - truth - critical * s)
                    - normal::cdf(-margin - truth + critical * s))
                .max(0.0)
            });
            let got = equivalence(truth, margin, dof, 0.05);
            assert!((got - plain).abs() < 1e-5, "{got} {plain}");
        }
        let z = normal::upper_quantile(0.05);
        let limit = normal::cdf(3.0 - z) - normal::cdf(-3.0 + z);
        assert!((equivalence(0.0, 3.0, f64::INFINITY, 0.05) - limit).abs() < 1e-15);
        assert!((equivalence(0.0, 3.0, 1e7, 0.05) - limit).abs() < 1e-6);
        // At the margin itself it is below the level.
        assert!(equivalence(3.0, 3.0, 8.0, 0.05) < 0.05);
    }

    #[test]
    fn a_two_sided_t_test_is_an_f_test_with_one_degree_above() {
        for (n, delta) in [(4.0, 1.2), (9.0, 0.5), (25.0, -0.4)] {
            let t = t_one_sample(n, delta, 0.05, Sides::Two);
            let f = f_test(n * delta * delta, 1.0, n - 1.0, 0.05);
            assert!((t / f - 1.0).abs() < 1e-12, "{t} {f}");
            let t = t_two_sample(n, delta, 0.01, Sides::Two);
            let f = anova_one_way(2.0, n, 0.5 * delta * delta, 0.01);
            assert!((t / f - 1.0).abs() < 1e-12, "{t} {f}");
        }
    }

    #[test]
    fn impossible_wishes_are_refused() {
        assert_eq!(required_n_t_two_sample(0.8, 0.0, 0.05, Sides::Two), None);
        assert_eq!(required_n_t_two_sample(1.0, 1.0, 0.05, Sides::Two), None);
        assert_eq!(
            required_n_t_two_sample(0.8, f64::NAN, 0.05, Sides::Two),
            None
        );
        assert!(t_test(1.0, 5.0, 0.0, Sides::One).is_nan());
    }

    #[test]
    fn equivalence_by_quadrature() {
        // E over the scale by mpmath, 30 digits; the third is a margin far beyond all scatter.
        for (truth, margin, dof, want) in [
            (0.5, 2.645, 200.0, 0.620_771_773_567_376_1),
            (1.0, 4.0, 5.5, 0.828_026_212_515_467_9),
            (1.0, 600.0, 1.0, 1.0),
            (2.0, 12.0, 1.0, 0.881_908_342_304_058_6),
        ] {
            let got = equivalence(truth, margin, dof, 0.05);
            assert!((got - want).abs() < 1e-9, "{margin} {dof}: {got} {want}");
        }
        // Known scale: Φ(2 − z) − Φ(−4 + z), z = 1.644854; mpmath.
        let got = equivalence(1.0, 3.0, f64::INFINITY, 0.05);
        assert!((got - 0.629_502_325_938_839_7).abs() < 1e-14, "{got}");
        let nan = f64::NAN;
        for (truth, margin, dof) in [
            (nan, 3.0, 5.0),
            (1.0, nan, 5.0),
            (1.0, 3.0, nan),
            (1.0, 3.0, 0.0),
        ] {
            assert!(equivalence(truth, margin, dof, 0.05).is_nan());
        }
    }

    #[test]
    fn sample_sizes_are_searched_up_to_ten_million() {
        assert_eq!(required_n(0.0, 2.0, |n| n), None);
        let found = required_n(0.5, 2.5e6, |n| n / 1.6e7).unwrap();
        assert_eq!(found.whole, 8_000_000);
        assert_eq!(required_n(0.5, 2.5e6, |n| n / 2.4e7), None);
    }
}
