//! The ends of every domain: certain probabilities, numbers that are none, extreme degrees of freedom.

use steadydraw::stats::{chi_square, f, noncentral, normal, student_t, studentised_range};

use crate::close;

const INF: f64 = f64::INFINITY;

/// One distribution with its parameters bound.
struct Bound {
    name: &'static str,
    support_from: f64,
    cdf: Box<dyn Fn(f64) -> f64>,
    sf: Box<dyn Fn(f64) -> f64>,
    quantile: Box<dyn Fn(f64) -> f64>,
    upper_quantile: Box<dyn Fn(f64) -> f64>,
}

/// All distributions at ordinary and extreme degrees of freedom.
fn every() -> Vec<Bound> {
    let mut all = vec![Bound {
        name: "normal",
        support_from: -INF,
        cdf: Box::new(normal::cdf),
        sf: Box::new(normal::sf),
        quantile: Box::new(normal::quantile),
        upper_quantile: Box::new(normal::upper_quantile),
    }];
    for d in [0.1, 1.0, 2.5, 30.0, 1e9] {
        all.push(Bound {
            name: "t",
            support_from: -INF,
            cdf: Box::new(move |x| student_t::cdf(x, d)),
            sf: Box::new(move |x| student_t::sf(x, d)),
            quantile: Box::new(move |p| student_t::quantile(p, d)),
            upper_quantile: Box::new(move |q| student_t::upper_quantile(q, d)),
        });
        all.push(Bound {
            name: "chi-square",
            support_from: 0.0,
            cdf: Box::new(move |x| chi_square::cdf(x, d)),
            sf: Box::new(move |x| chi_square::sf(x, d)),
            quantile: Box::new(move |p| chi_square::quantile(p, d)),
            upper_quantile: Box::new(move |q| chi_square::upper_quantile(q, d)),
        });
        for e in [0.1, 7.0, 1e9, INF] {
            all.push(Bound {
                name: "F",
                support_from: 0.0,
                cdf: Box::new(move |x| f::cdf(x, d, e)),
                sf: Box::new(move |x| f::sf(x, d, e)),
                quantile: Box::new(move |p| f::quantile(p, d, e)),
                upper_quantile: Box::new(move |q| f::upper_quantile(q, d, e)),
            });
        }
    }
    all
}

#[test]
fn certain_probabilities_give_the_ends_of_the_support() {
    for b in every() {
        assert_eq!((b.quantile)(0.0), b.support_from, "{}", b.name);
        assert_eq!((b.quantile)(1.0), INF, "{}", b.name);
        assert_eq!((b.upper_quantile)(0.0), INF, "{}", b.name);
        assert_eq!((b.upper_quantile)(1.0), b.support_from, "{}", b.name);
        assert_eq!(((b.cdf)(-INF), (b.sf)(-INF)), (0.0, 1.0), "{}", b.name);
        assert_eq!(((b.cdf)(INF), (b.sf)(INF)), (1.0, 0.0), "{}", b.name);
    }
}

#[test]
fn what_is_no_number_stays_none() {
    for b in every() {
        for bad in [f64::NAN, -0.1, 1.1, INF, -INF] {
            assert!((b.quantile)(bad).is_nan(), "{} {bad}", b.name);
            assert!((b.upper_quantile)(bad).is_nan(), "{} {bad}", b.name);
        }
        assert!(
            (b.cdf)(f64::NAN).is_nan() && (b.sf)(f64::NAN).is_nan(),
            "{}",
            b.name
        );
    }
    for bad in [f64::NAN, 0.0, -1.0] {
        assert!(student_t::sf(1.0, bad).is_nan() && student_t::quantile(0.3, bad).is_nan());
        assert!(student_t::two_sided(0.9, bad).is_nan());
        assert!(chi_square::sf(1.0, bad).is_nan() && chi_square::quantile(0.3, bad).is_nan());
        assert!(f::sf(1.0, bad, 3.0).is_nan() && f::quantile(0.3, bad, 3.0).is_nan());
        assert!(f::sf(1.0, 3.0, bad).is_nan() && f::upper_quantile(0.3, 3.0, bad).is_nan());
        assert!(
            noncentral::t_sf(1.0, bad, 1.0).is_nan()
                && noncentral::t_quantile(0.5, bad, 1.0).is_nan()
        );
        assert!(
            noncentral::f_sf(1.0, bad, 3.0, 1.0).is_nan()
                && noncentral::f_cdf(1.0, 3.0, bad, 1.0).is_nan()
        );
        assert!(studentised_range::sf(1.0, 3.0, bad).is_nan());
        assert!(studentised_range::quantile(0.5, bad, 3.0).is_nan());
    }
    assert!(chi_square::cdf(1.0, INF).is_nan());
    assert!(noncentral::f_cdf(1.0, 2.0, 3.0, -1.0).is_nan());
    assert!(noncentral::t_sf(f64::NAN, 3.0, 1.0).is_nan());
    assert!(studentised_range::quantile(f64::NAN, 3.0, 10.0).is_nan());
    assert!(studentised_range::quantile(-0.1, 3.0, 10.0).is_nan());
    assert!(studentised_range::upper_quantile(1.5, 3.0, 10.0).is_nan());
    assert!(studentised_range::sf(1.0, 1.0, 10.0).is_nan());
}

#[test]
fn quantiles_undo_tails_everywhere() {
    for b in every() {
        for p in [
            1e-300,
            1e-100,
            1e-12,
            1e-3,
            0.2,
            0.5,
            0.7,
            0.999,
            1.0 - 1e-12,
        ] {
            let low = (b.quantile)(p);
            // A quantile too small or too large for a double is 0 or infinite; that is tested below.
            if low.abs() > 1e-300 && low.is_finite() && p <= 0.5 {
                // Near 1e9 degrees of freedom one last digit of x moves a far tail by 1e-11 of itself.
                close((b.cdf)(low), p, 1e-9, &format!("{} cdf at {low:e}", b.name));
            }
            let high = (b.upper_quantile)(p);
            if high.abs() > 1e-300 && high.is_finite() && p <= 0.5 {
                close((b.sf)(high), p, 1e-9, &format!("{} sf at {high:e}", b.name));
            }
        }
    }
}

#[test]
fn tails_too_heavy_for_a_double() {
    // With 0.1 degrees of freedom P(T > x) falls as x^−0.1: 1e-300 needs x near 1e2998, 1e-20 near 1e198.
    assert_eq!(student_t::upper_quantile(1e-300, 0.1), INF);
    let x = student_t::upper_quantile(1e-20, 0.1);
    assert!(x > 1e190 && x < 1e205, "{x:e}");
    close(student_t::sf(x, 0.1), 1e-20, 1e-12, "t");
    // Tenfold farther out, 10^−0.1 of the probability.
    close(
        student_t::sf(10.0 * x, 0.1),
        1e-20 * 10_f64.powf(-0.1),
        1e-12,
        "t, farther",
    );
    assert_eq!(chi_square::quantile(1e-100, 0.1), 0.0);
    assert_eq!(f::quantile(1e-100, 0.1, 5.0), 0.0);
    assert_eq!(f::upper_quantile(1e-100, 5.0, 0.1), INF);
}

#[test]
fn infinite_degrees_of_freedom_are_the_limits() {
    for x in [-3.0, -0.5, 0.0, 1.0, 8.0] {
        close(student_t::sf(x, INF), normal::sf(x), 0.0, "t");
        // They differ by x⁴/(4 dof) of themselves.
        close(
            student_t::sf(x, 1e17),
            normal::sf(x),
            1e-13,
            "t near the limit",
        );
        close(
            noncentral::t_sf(x, INF, 1.5),
            normal::sf(x - 1.5),
            0.0,
            "noncentral t",
        );
    }
    for x in [0.3, 1.0, 2.5] {
        close(f::sf(x, 4.0, INF), chi_square::sf(4.0 * x, 4.0), 0.0, "F");
        close(
            f::sf(x, INF, 4.0),
            chi_square::cdf(4.0 / x, 4.0),
            0.0,
            "F, reversed",
        );
        close(
            f::sf(x, 4.0, 1e14),
            chi_square::sf(4.0 * x, 4.0),
            1e-12,
            "F near the limit",
        );
    }
    assert_eq!(
        (
            f::cdf(0.9, INF, INF),
            f::cdf(1.0, INF, INF),
            f::quantile(0.3, INF, INF)
        ),
        (0.0, 1.0, 1.0)
    );
    close(
        student_t::two_sided(0.95, INF),
        normal::quantile(0.975),
        1e-15,
        "factor",
    );
    close(
        student_t::upper_quantile(0.025, 1e9),
        normal::upper_quantile(0.025),
        1e-8,
        "t at 1e9",
    );
}

#[test]
fn near_the_median_quantiles_keep_their_relative_precision() {
    // For p = 1/2 + e the quantile is e/density(0) to first order; 2^−40 is exact in binary.
    let e = 2.0_f64.powi(-40);
    close(
        normal::quantile(0.5 + e),
        e * (2.0 * std::f64::consts::PI).sqrt(),
        1e-13,
        "normal",
    );
    // t with 1 degree of freedom: tan(πe); with 2: 2√2·e/√(1 − 4e²)·… ≈ e·2√2.
    close(
        student_t::quantile(0.5 + e, 1.0),
        (std::f64::consts::PI * e).tan(),
        1e-13,
        "t 1",
    );
    close(
        student_t::quantile(0.5 - e, 2.0),
        -e * 8.0_f64.sqrt(),
        1e-13,
        "t 2",
    );
    assert_eq!(
        (
            student_t::quantile(0.5, 3.0),
            student_t::two_sided(0.0, 3.0)
        ),
        (0.0, 0.0)
    );
    assert_eq!(student_t::two_sided(1.0, 3.0), INF);
}

#[test]
fn closed_forms_hold_far_out() {
    // t with 2 degrees of freedom: 1 − cdf = ½(1 − x/√(2 + x²)); far out x^−2/2 (1 − 3/x² + …).
    close(student_t::sf(1e100, 2.0), 0.5e-200, 1e-13, "t");
    close(student_t::sf(1e150, 2.0), 0.5e-300, 1e-13, "t, far");
    // F with 2 above: (1 + 2x/d)^(−d/2).
    close(
        f::sf(1e30, 2.0, 4.0),
        (1.0 + 0.5e30_f64).powi(-2),
        1e-13,
        "F",
    );
    // Chi-square with 2: e^(−x/2).
    close(
        chi_square::sf(1200.0, 2.0),
        (-600.0_f64).exp(),
        1e-12,
        "chi-square",
    );
    close(
        chi_square::cdf(1e-200, 2.0),
        0.5e-200,
        5e-14,
        "chi-square, near zero",
    );
    // Two groups: the studentised range is √2 |T|.
    for (x, dof) in [(0.01, 3.0), (3.0, 7.5), (40.0, 4.0), (1e6, 2.0)] {
        let want = 2.0 * student_t::sf(x / 2.0_f64.sqrt(), dof);
        close(
            studentised_range::sf(x, 2.0, dof),
            want,
            1e-12,
            "range of two",
        );
    }
    // A noncentral t seen in the mirror, and a noncentral F with one above is its square.
    for (x, dof, delta) in [(1.0, 3.0, 2.0), (9.0, 4.5, -1.0), (30.0, 12.0, 3.0)] {
        let (t_upper, t_lower) = (
            noncentral::t_sf(x, dof, delta),
            noncentral::t_cdf(-x, dof, delta),
        );
        close(t_lower, noncentral::t_sf(x, dof, -delta), 0.0, "mirror");
        let squared = noncentral::f_sf(x * x, 1.0, dof, delta * delta);
        close(t_upper + t_lower, squared, 1e-12, "square");
    }
    close(
        noncentral::t_quantile(noncentral::t_cdf(2.0, 5.0, 1.0), 5.0, 1.0),
        2.0,
        1e-13,
        "inverse",
    );
    assert_eq!(noncentral::t_quantile(0.0, 5.0, 1.0), -INF);
    assert_eq!(noncentral::f_sf(0.0, 2.0, 5.0, 3.0), 1.0);
    assert_eq!(studentised_range::sf(0.0, 3.0, 5.0), 1.0);
    assert_eq!(studentised_range::quantile(1.0, 3.0, 5.0), INF);
}
