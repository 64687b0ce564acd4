//! Finding where a rising function crosses zero.

/// Most evaluations; bisection alone needs about 60 to exhaust a double over any temperature range.
const MOST_STEPS: usize = 120;

/// Where a function that rises from `low` to `high` crosses zero, to the last bits of a double.
///
/// Regula falsi with the Illinois weight, bisecting whenever a step has not halved the bracket: it always ends.
/// Where the function does not change sign, the end nearer to zero is returned; callers choose brackets that hold the root.
pub(super) fn rising_root(f: impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
    let (mut a, mut b) = (low, high);
    let (mut fa, mut fb) = (f(a), f(b));
    if fa >= 0.0 || fb.is_nan() {
        return a;
    }
    if fb <= 0.0 {
        return b;
    }
    let mut bisect = false;
    for _ in 0..MOST_STEPS {
        let width = b - a;
        if width <= 4.0 * f64::EPSILON * a.abs().max(b.abs()).max(1.0) {
            break;
        }
        let secant = b - fb * width / (fb - fa);
        let c = if bisect || !(secant > a && secant < b) {
            0.5 * (a + b)
        } else {
            secant
        };
        let fc = f(c);
        if fc == 0.0 {
            return c;
        }
        if fc < 0.0 {
            (a, fa) = (c, fc);
            fb *= 0.5;
        } else {
            (b, fb) = (c, fc);
            fa *= 0.5;
        }
        bisect = b - a > 0.5 * width;
    }
    // Where the function jumps over zero, as saturation does from ice to water, this is the upper side of the jump.
    b
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_root_is_found_to_the_last_bits() {
        let root = rising_root(|x| x * x * x - 2.0, 0.0, 100.0);
        assert!((root - 2f64.cbrt()).abs() < 1e-15);
        // Flat almost everywhere, then steep.
        let root = rising_root(|x| (x - 3.0).powi(9), -1e3, 1e3);
        assert!((root - 3.0).abs() < 1e-2, "{root}");
    }

    #[test]
    fn a_bracket_without_a_root_gives_its_nearer_end_and_nan_ends() {
        assert_eq!(rising_root(|x| x + 10.0, 0.0, 1.0), 0.0);
        assert_eq!(rising_root(|x| x - 10.0, 0.0, 1.0), 1.0);
        assert!(rising_root(|_| f64::NAN, 0.0, 1.0).is_finite());
    }
}
