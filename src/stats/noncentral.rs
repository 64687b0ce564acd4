//! Noncentral t and F: what the tests meet when there is something to find.
//!
//! Both tails are computed directly, as sums of terms of one sign. NaN for NaN arguments and bad degrees of freedom.

use super::chi_average::chi_average;
use super::summary::CompensatedSum;
use super::{f, normal, root, special, student_t};

/// P(T ≤ x) for T = (Z + delta)/S, S² = χ²(dof)/dof, real `dof` (infinite: the normal shifted by delta).
pub fn t_cdf(x: f64, dof: f64, delta: f64) -> f64 {
    t_sf(-x, dof, -delta)
}

/// Upper tail P(T > x) of the noncentral t, as the average of P(Z > xs − delta) over s.
pub fn t_sf(x: f64, dof: f64, delta: f64) -> f64 {
    if x.is_nan() || delta.is_nan() || dof.is_nan() || dof <= 0.0 {
        return f64::NAN;
    }
    if delta.is_infinite() {
        return if x.is_infinite() && x == delta {
            f64::NAN
        } else if delta > 0.0 {
            1.0
        } else {
            0.0
        };
    }
    if x.is_infinite() {
        return if x > 0.0 { 0.0 } else { 1.0 };
    }
    if delta == 0.0 {
        return student_t::sf(x, dof);
    }
    chi_average(dof, delta.abs(), |s| normal::sf(x * s - delta))
}

/// The x with P(T ≤ x) = `p`: ∓∞ at 0 and 1, NaN outside [0, 1].
pub fn t_quantile(p: f64, dof: f64, delta: f64) -> f64 {
    -t_upper_quantile(p, dof, -delta)
}

/// The x with P(T > x) = `q`: ±∞ at 0 and 1, NaN outside [0, 1].
pub fn t_upper_quantile(q: f64, dof: f64, delta: f64) -> f64 {
    if !(0.0..=1.0).contains(&q) || dof.is_nan() || dof <= 0.0 || !delta.is_finite() {
        return f64::NAN;
    }
    if q == 0.0 {
        return f64::INFINITY;
    }
    if q == 1.0 {
        return f64::NEG_INFINITY;
    }
    // Below the median solve for the lower tail, so that the small probability is the one compared.
    let upper = q <= 0.5;
    let target = if upper { q } else { 1.0 - q };
    root::solve_line(delta, |x| {
        let tail = if upper {
            t_sf(x, dof, delta)
        } else {
            t_cdf(x, dof, delta)
        };
        if upper {
            (target / tail).ln()
        } else {
            (tail / target).ln()
        }
    })
}

/// P(F ≤ x) for F = (χ²(d1, lambda)/d1)/(χ²(d2)/d2); `lambda` is the sum of the squared means of the normal terms.
pub fn f_cdf(x: f64, d1: f64, d2: f64, lambda: f64) -> f64 {
    f_tail(x, d1, d2, lambda, false)
}

/// Upper tail P(F > x) of the noncentral F.
pub fn f_sf(x: f64, d1: f64, d2: f64, lambda: f64) -> f64 {
    f_tail(x, d1, d2, lambda, true)
}

/// One tail as a Poisson(lambda/2) mixture of central tails, summed from the mode outwards until nothing is added.
fn f_tail(x: f64, d1: f64, d2: f64, lambda: f64, upper: bool) -> f64 {
    let valid = d1 > 0.0 && d2 > 0.0 && lambda >= 0.0;
    if x.is_nan() || !valid {
        return f64::NAN;
    }
    if x <= 0.0 || x.is_infinite() || lambda == 0.0 || d1.is_infinite() {
        // With infinitely many terms above, a finite lambda changes nothing.
        return if upper {
            f::sf(x, d1, d2)
        } else {
            f::cdf(x, d1, d2)
        };
    }
    if lambda.is_infinite() {
        return if upper { 1.0 } else { 0.0 };
    }
    let rate = 0.5 * lambda;
    let scaled = d1 * x;
    let term = |j: f64| {
        let weight = special::gamma_kernel(j + 1.0, rate) / rate;
        let (below, above) = if d2.is_infinite() {
            special::gamma_tails(0.5 * d1 + j, 0.5 * scaled)
        } else {
            special::beta_tails(
                0.5 * d1 + j,
                0.5 * d2,
                scaled / (scaled + d2),
                d2 / (scaled + d2),
            )
        };
        (weight, weight * if upper { above } else { below })
    };
    let mode = rate.floor();
    // Many terms are as good as an integral: strides of a 64th of the Poisson's standard deviation lose nothing. They must
    // still change the largest whole numbers.
    let stride = (rate.sqrt() / 64.0)
        .floor()
        .max(1.0)
        .max(2.0 * f64::EPSILON * mode);
    let mut total = CompensatedSum::default();
    // Upwards, then downwards; each side rises at most once before it falls for good.
    for up in [true, false] {
        let mut j = if up { mode } else { mode - stride };
        let mut last = 0.0;
        while j >= 0.0 {
            let (weight, value) = term(j);
            if value.is_nan() {
                return f64::NAN;
            }
            total.add(value);
            // A tail that underflows at the mode may still rise towards the side; past the last weight nothing follows.
            let fallen = value <= last && value <= 1e-18 * total.total() && total.total() > 0.0;
            if fallen || weight == 0.0 {
                break;
            }
            last = value;
            j += if up { stride } else { -stride };
        }
    }
    (stride * total.total()).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn infinite_arguments_give_the_limits() {
        let inf = f64::INFINITY;
        for (x, delta, expected) in [
            (1.0, inf, 1.0),
            (1.0, -inf, 0.0),
            (inf, -inf, 0.0),
            (-inf, inf, 1.0),
            (inf, 1.0, 0.0),
            (-inf, 1.0, 1.0),
        ] {
            assert_eq!(t_sf(x, 3.0, delta), expected, "{x} {delta}");
            assert_eq!(t_cdf(x, 3.0, delta), 1.0 - expected, "{x} {delta}");
        }
        assert!(t_sf(inf, 3.0, inf).is_nan() && t_sf(-inf, 3.0, -inf).is_nan());
        for lambda in [1e30, 1e300, inf] {
            assert_eq!(f_sf(2.0, 3.0, 4.0, lambda), 1.0);
            assert_eq!(f_cdf(2.0, 3.0, 4.0, lambda), 0.0);
        }
    }

    #[test]
    fn one_squared_normal_is_two_normal_tails() {
        // F with one degree above and infinitely many below is (Z + √λ)².
        for (x, lambda) in [
            (0.3, 0.5),
            (2.0, 3.0),
            (9.0, 4.0),
            (30.0, 60.0),
            (1e5, 1.002e5),
            (1.002e6, 1e6),
        ] {
            let (root, mean) = (f64::sqrt(x), f64::sqrt(lambda));
            let above = normal::sf(root - mean) + normal::sf(root + mean);
            let found = f_sf(x, 1.0, f64::INFINITY, lambda);
            assert!(
                (found - above).abs() < 1e-13,
                "{x} {lambda}: {found} {above}"
            );
            let below = f_cdf(x, 1.0, f64::INFINITY, lambda);
            assert!(
                (below - (1.0 - above)).abs() < 1e-13,
                "{x} {lambda}: {below}"
            );
        }
    }

    #[test]
    fn no_distribution_has_no_tail_and_no_quantile() {
        let inf = f64::INFINITY;
        assert!(t_sf(inf, 0.0, 1.0).is_nan() && t_sf(1.0, 0.0, inf).is_nan());
        assert!(t_upper_quantile(0.0, f64::NAN, 1.0).is_nan());
        assert!(t_upper_quantile(1.0, -1.0, 1.0).is_nan());
    }

    #[test]
    fn a_small_tail_is_the_one_solved_for() {
        for q in [1e-12, 0.3, 0.8] {
            let x = t_upper_quantile(q, 5.0, 1.0);
            assert!((t_sf(x, 5.0, 1.0) / q - 1.0).abs() < 1e-12, "{q}");
            let x = t_quantile(q, 5.0, 1.0);
            assert!((t_cdf(x, 5.0, 1.0) / q - 1.0).abs() < 1e-12, "{q}");
        }
    }

    #[test]
    fn a_tail_that_lies_in_small_scales_alone() {
        // 50 digits by mpmath: at s = 1 the normal tail itself is below 1e-420.
        let got = t_sf(45.0, 1000.0, 1.0);
        assert!(
            (got / 8.431_584_214_544_779e-232 - 1.0).abs() < 1e-11,
            "{got:e}"
        );
    }

    #[test]
    fn a_mixture_whose_middle_terms_underflow_keeps_the_others() {
        // Sums of the mixture by mpmath with 50 digits; at the mode the central tails are below 1e-308.
        for (x, d1, d2, lambda, want) in [
            (1e-4, 3.0, 10.0, 200.0, 5.558_273_663_597_775e-50),
            (0.01, 4.0, 10.0, 1000.0, 7.621_239_289_917_514e-220),
        ] {
            let got = f_cdf(x, d1, d2, lambda);
            assert!((got / want - 1.0).abs() < 1e-11, "{got:e} {want:e}");
        }
        // Φ(√λ − √x) for one degree above; mpmath.
        let got = f_sf(1560.0, 1.0, f64::INFINITY, 10.0);
        assert!(
            (got / 2.303_864_633_264_511e-289 - 1.0).abs() < 1e-11,
            "{got:e}"
        );
    }
}
