//! Numbers that the orthogonal factorisation can work with: `f64`, and pairs of `f64` for ill-conditioned problems.

use std::ops::{Add, Div, Mul, Neg, Sub};

/// A real number in some precision.
pub trait Real:
    Copy
    + PartialOrd
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
    + Neg<Output = Self>
{
    /// Distance from 1 to the next larger number.
    const EPSILON: f64;
    /// The number `value`, exactly.
    fn from_f64(value: f64) -> Self;
    /// The nearest `f64`.
    fn to_f64(self) -> f64;
    /// Square root; NaN below zero.
    fn sqrt(self) -> Self;
    /// Absolute value.
    fn abs(self) -> Self {
        if self < Self::from_f64(0.0) {
            -self
        } else {
            self
        }
    }
}

impl Real for f64 {
    const EPSILON: f64 = f64::EPSILON;
    fn from_f64(value: f64) -> Self {
        value
    }
    fn to_f64(self) -> f64 {
        self
    }
    fn sqrt(self) -> Self {
        f64::sqrt(self)
    }
    fn abs(self) -> Self {
        f64::abs(self)
    }
}

/// An unevaluated sum of two `f64`, the second at most half a unit in the last place of the first:
/// about 31 decimal digits.
///
/// Error-free sum and product after Knuth and Dekker; see T. J. Dekker, "A floating-point technique for
/// extending the available precision", Numer. Math. 18 (1971) 224. Values beyond about 1e300 overflow.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct DoubleDouble {
    high: f64,
    low: f64,
}

/// `a + b` as rounded sum and rounding error.
#[inline]
pub(crate) fn two_sum(a: f64, b: f64) -> (f64, f64) {
    let sum = a + b;
    let part = sum - a;
    (sum, (a - (sum - part)) + (b - part))
}

/// As [`two_sum`], for |a| ≥ |b|.
#[inline]
fn quick_two_sum(a: f64, b: f64) -> (f64, f64) {
    let sum = a + b;
    (sum, b - (sum - a))
}

/// `a * b` as rounded product and rounding error, by splitting each factor into halves: without hardware
/// support `mul_add` is far slower.
#[inline]
pub(crate) fn two_product(a: f64, b: f64) -> (f64, f64) {
    const SPLITTER: f64 = 134_217_729.0; // 2^27 + 1
    let product = a * b;
    let halves = |v: f64| {
        let t = SPLITTER * v;
        let high = t - (t - v);
        (high, v - high)
    };
    let ((ah, al), (bh, bl)) = (halves(a), halves(b));
    (product, ((ah * bh - product) + ah * bl + al * bh) + al * bl)
}

impl DoubleDouble {
    /// The sum `high + low` of two numbers of any size.
    pub fn from_sum(high: f64, low: f64) -> Self {
        let (high, low) = two_sum(high, low);
        Self { high, low }
    }

    /// The product of two numbers, exactly.
    pub fn from_product(a: f64, b: f64) -> Self {
        let (high, low) = two_product(a, b);
        Self { high, low }
    }

    /// The leading and the trailing part.
    pub fn parts(self) -> (f64, f64) {
        (self.high, self.low)
    }
}

impl Add for DoubleDouble {
    type Output = Self;
    #[inline]
    fn add(self, other: Self) -> Self {
        let (sum, error) = two_sum(self.high, other.high);
        let (tail, tail_error) = two_sum(self.low, other.low);
        let (sum, error) = quick_two_sum(sum, error + tail);
        let (high, low) = quick_two_sum(sum, error + tail_error);
        Self { high, low }
    }
}

impl Neg for DoubleDouble {
    type Output = Self;
    #[inline]
    fn neg(self) -> Self {
        Self {
            high: -self.high,
            low: -self.low,
        }
    }
}

impl Sub for DoubleDouble {
    type Output = Self;
    #[inline]
    fn sub(self, other: Self) -> Self {
        self + (-other)
    }
}

impl Mul for DoubleDouble {
    type Output = Self;
    #[inline]
    fn mul(self, other: Self) -> Self {
        let (product, error) = two_product(self.high, other.high);
        let cross = self.high * other.low + self.low * other.high;
        let (high, low) = quick_two_sum(product, error + cross);
        Self { high, low }
    }
}

impl Div for DoubleDouble {
    type Output = Self;
    #[inline]
    fn div(self, other: Self) -> Self {
        let first = self.high / other.high;
        if !first.is_finite() {
            return Self {
                high: first,
                low: 0.0,
            };
        }
        // Long division: three quotient digits in base 2^53.
        let rest = self - other * Self::from_f64(first);
        let second = rest.high / other.high;
        let rest = rest - other * Self::from_f64(second);
        let third = rest.high / other.high;
        let (high, low) = quick_two_sum(first, second);
        Self { high, low } + Self::from_f64(third)
    }
}

impl Real for DoubleDouble {
    const EPSILON: f64 = 4.93e-32; // 2^-104
    fn from_f64(value: f64) -> Self {
        Self {
            high: value,
            low: 0.0,
        }
    }
    fn to_f64(self) -> f64 {
        self.high + self.low
    }
    fn sqrt(self) -> Self {
        if self.high <= 0.0 {
            return Self::from_f64(self.high.sqrt());
        }
        // One Newton step from the double root doubles its digits.
        let root = self.high.sqrt();
        let rest = self - Self::from_product(root, root);
        Self::from_sum(root, rest.to_f64() / (2.0 * root))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pair_keeps_what_one_number_loses() {
        let tiny = DoubleDouble::from_f64(1e-25);
        let sum = DoubleDouble::from_f64(1.0) + tiny - DoubleDouble::from_f64(1.0);
        assert!((sum.to_f64() - 1e-25).abs() < 1e-31 * 1e-2);
    }

    #[test]
    fn division_and_root_undo_product_and_square_to_thirty_digits() {
        let three = DoubleDouble::from_f64(3.0);
        let third = DoubleDouble::from_f64(1.0) / three;
        assert!(
            ((third * three) - DoubleDouble::from_f64(1.0))
                .to_f64()
                .abs()
                < 1e-31
        );
        let root = DoubleDouble::from_f64(2.0).sqrt();
        assert!((root * root - DoubleDouble::from_f64(2.0)).to_f64().abs() < 1e-31);
        // The error of the double root itself shows that the check can fail.
        assert!((2f64.sqrt() * 2f64.sqrt() - 2.0).abs() > 1e-17);
    }

    #[test]
    fn a_quotient_has_thirty_digits_by_divisors_of_any_size() {
        for divisor in [3e10, 3e-10, 7.0, 1.1] {
            let by = DoubleDouble::from_f64(divisor);
            let back = (DoubleDouble::from_f64(1.0) / by) * by;
            let off = (back - DoubleDouble::from_f64(1.0)).to_f64();
            assert!(off.abs() < 1e-31, "{divisor}: {off:e}");
        }
    }
}
