//! Inverting a monotone function of a positive variable to full precision.

/// Largest number of steps; bisection alone needs about 1,100 from the widest bracket.
const MAX_STEPS: usize = 2_000;

/// What a distribution says at a point `x > 0`, for [`solve_log`].
pub(super) struct Probe {
    /// Tail probability at `x` (may underflow to zero).
    pub tail: f64,
    /// `x · density(x)`, that is the slope of the tail against ln x without its sign.
    pub x_density: f64,
}

/// The `x > 0` at which `probe(x).tail == target`, for a tail that falls (`falling`) or rises in `x`.
///
/// Newton steps on ln(tail) against ln(x), which are nearly linear in both far tails, inside a bracket that every step
/// narrows; a step that leaves the bracket is replaced by the bracket's geometric middle. `start` only saves steps.
/// Returns 0 or infinity when the root lies beyond the range of `f64`, NaN when `probe` gives NaN.
pub(super) fn solve_log(
    target: f64,
    falling: bool,
    start: f64,
    mut probe: impl FnMut(f64) -> Probe,
) -> f64 {
    // Smallest and largest points known to lie on either side of the root.
    let (mut below, mut above) = (0.0_f64, f64::INFINITY);
    let mut x = if start.is_finite() && start > 0.0 {
        start
    } else {
        1.0
    };
    let ln_target = target.ln();
    let mut last_step = f64::INFINITY;
    for _ in 0..MAX_STEPS {
        let Probe { tail, x_density } = probe(x);
        if tail.is_nan() {
            return f64::NAN;
        }
        // The ratio is used near the root: ln(tail) − ln(target) would lose digits there.
        let ratio = tail / target;
        let gap = if (0.5..2.0).contains(&ratio) {
            (ratio - 1.0).ln_1p()
        } else {
            tail.ln() - ln_target
        };
        if gap == 0.0 {
            return x;
        }
        if (gap > 0.0) == falling {
            below = below.max(x);
        } else {
            above = above.min(x);
        }
        let slope = x_density / tail * if falling { -1.0 } else { 1.0 };
        let step = -gap / slope;
        let mut next = if step.is_finite() {
            // A factor of 1e3 at most, so that a flat start cannot throw the point out of the range.
            x * step.clamp(-7.0, 7.0).exp()
        } else {
            f64::NAN
        };
        if !(next > below && next < above) {
            // Within rounding of the root the step points at a bracket end: that end is the answer.
            if step.abs() < 4.0 * f64::EPSILON {
                return x;
            }
            next = middle(below, above);
            if next <= below || next >= above {
                // The bracket holds no further number.
                return if next == 0.0 || next.is_infinite() {
                    next
                } else {
                    x
                };
            }
        }
        // Quadratic convergence has ended when a tiny step stops shrinking.
        if step.abs() < 1e-15 || (step.abs() < 1e-12 && step.abs() >= last_step) {
            return next;
        }
        last_step = step.abs();
        x = next;
        if x == 0.0 || x.is_infinite() {
            return x;
        }
    }
    x
}

/// Geometric middle of a bracket that may reach from 0 to infinity; 0 or infinity when only those are left.
fn middle(below: f64, above: f64) -> f64 {
    // Just outside the logarithms of the smallest and largest numbers.
    (0.5 * (below.ln().max(-747.0) + above.ln().min(711.0))).exp()
}

/// The root of a rising function of a real variable, by a bracket grown from `start` and Brent's method.
///
/// `f` may give ±∞ (a logarithm of an underflowed tail). NaN when `f` gives NaN or no bracket is found.
pub(super) fn solve_line(start: f64, f: impl Fn(f64) -> f64) -> f64 {
    let mut low = start;
    let mut f_low = f(low);
    if f_low == 0.0 {
        return low;
    }
    let rising = f_low < 0.0;
    let mut width = 1.0;
    // Walk towards the root with doubled strides until the sign changes.
    for _ in 0..1_100 {
        let next = if rising { low + width } else { low - width };
        let f_next = f(next);
        if f_next.is_nan() || !next.is_finite() {
            return f64::NAN;
        }
        if f_next == 0.0 {
            return next;
        }
        if (f_next < 0.0) != rising {
            return brent(low, next, f_low, f_next, f);
        }
        (low, f_low) = (next, f_next);
        width *= 2.0;
    }
    f64::NAN
}

/// The root of a rising function known to lie between `low` and `high`.
pub(super) fn between(low: f64, high: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (f_low, f_high) = (f(low), f(high));
    brent(low, high, f_low, f_high, f)
}

/// Brent's method (Brent 1973, "Algorithms for minimization without derivatives", chapter 4) on a bracket.
fn brent(a: f64, b: f64, f_a: f64, f_b: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (mut a, mut b, mut f_a, mut f_b) = (a, b, f_a, f_b);
    let (mut c, mut f_c) = (a, f_a);
    let mut step = b - a;
    let mut before = step;
    for _ in 0..400 {
        if (f_b > 0.0) == (f_c > 0.0) {
            (c, f_c) = (a, f_a);
            step = b - a;
            before = step;
        }
        if f_c.abs() < f_b.abs() {
            (a, b, c) = (b, c, b);
            (f_a, f_b, f_c) = (f_b, f_c, f_b);
        }
        let tolerance = 2.0 * f64::EPSILON * b.abs().max(f64::MIN_POSITIVE);
        let half = 0.5 * (c - b);
        if half.abs() <= tolerance || f_b == 0.0 {
            return b;
        }
        let usable = before.abs() >= tolerance && f_a.abs() > f_b.abs() && f_a.is_finite();
        if usable {
            let s = f_b / f_a;
            let (mut p, mut q) = if a == c {
                (2.0 * half * s, 1.0 - s)
            } else {
                let (q, r) = (f_a / f_c, f_b / f_c);
                (
                    s * (2.0 * half * q * (q - r) - (b - a) * (r - 1.0)),
                    (q - 1.0) * (r - 1.0) * (s - 1.0),
                )
            };
            if p > 0.0 {
                q = -q;
            } else {
                p = -p;
            }
            if 2.0 * p < (3.0 * half * q - (tolerance * q).abs()).min((before * q).abs()) {
                before = step;
                step = p / q;
            } else {
                step = half;
                before = half;
            }
        } else {
            step = half;
            before = half;
        }
        (a, f_a) = (b, f_b);
        b += if step.abs() > tolerance {
            step
        } else {
            tolerance.copysign(half)
        };
        f_b = f(b);
        if f_b.is_nan() {
            return f64::NAN;
        }
    }
    b
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_power_law_roots_over_the_whole_range() {
        // tail = x^-0.01 has roots from 1e-200 to 1e200 for ordinary targets.
        for exponent in [-200.0, -30.0, 0.0, 1.0, 200.0] {
            let root = 10_f64.powf(exponent);
            let target = root.powf(-0.01);
            let got = solve_log(target, true, 1.0, |x| {
                let tail = x.powf(-0.01);
                Probe {
                    tail,
                    x_density: 0.01 * tail,
                }
            });
            assert!((got / root).ln().abs() < 1e-12, "{got} for {root}");
        }
    }

    #[test]
    fn a_root_beyond_the_range_is_zero_or_infinity() {
        let probe = |x: f64| Probe {
            tail: x.powf(-1e-3),
            x_density: 1e-3 * x.powf(-1e-3),
        };
        assert_eq!(solve_log(1e-3, true, 1.0, probe), f64::INFINITY);
        assert_eq!(solve_log(1e3, true, 1.0, probe), 0.0);
    }

    #[test]
    fn not_a_number_ends_the_search() {
        let got = solve_log(0.1, true, 1.0, |_| Probe {
            tail: f64::NAN,
            x_density: 1.0,
        });
        assert!(got.is_nan());
    }

    #[test]
    fn a_line_is_searched_in_both_directions_and_far_away() {
        for root in [-3.0, 5.0, 1e9, -1e9] {
            for start in [-4.0, 0.0, 7.0] {
                assert!((solve_line(start, |x| x - root) / root - 1.0).abs() < 1e-15);
            }
        }
        let gap = |x: f64| if x == 1.0 { f64::NAN } else { x - 5.0 };
        assert!(solve_line(0.0, gap).is_nan());
    }

    #[test]
    fn smooth_roots_take_few_steps_inside_their_bracket() {
        // Halving alone takes 50 or more. The second is Wallis's cubic, its root by mpmath; the others in closed form.
        type Case = (fn(f64) -> f64, f64, f64, f64, usize);
        let cases: [Case; 4] = [
            (|x| x.exp() - 1000.0, -2.0, 60.0, 1000_f64.ln(), 20),
            (
                |x| x * x * x - 2.0 * x - 5.0,
                2.0,
                3.0,
                2.094_551_481_542_326_5,
                9,
            ),
            (|x| x.powi(15) - 0.1, 0.0, 1.5, 0.1_f64.powf(1.0 / 15.0), 17),
            (|x| x.ln() + 3.0, 1e-6, 10.0, (-3_f64).exp(), 16),
        ];
        for (f, low, high, root, most) in cases {
            let count = std::cell::Cell::new(0);
            let got = between(low, high, |x| {
                count.set(count.get() + 1);
                assert!(low <= x && x <= high, "{x}");
                f(x)
            });
            assert!((got - root).abs() < 1e-15 * root.max(1.0), "{got} {root}");
            assert!(count.get() <= most, "{root}: {}", count.get());
        }
    }
}
