//! Numbers that an equation can be evaluated in: plain, with derivatives, in doubled precision.

use std::ops::{Add, Div, Mul, Neg, Sub};

use crate::fit::real::{DoubleDouble, Real};

/// A number that carries a value and perhaps more (derivatives, a rounding error).
pub trait Scalar:
    Copy
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
    + Neg<Output = Self>
{
    /// A number that depends on nothing.
    fn constant(value: f64) -> Self;
    /// The plain value.
    fn value(self) -> f64;
    /// A function of this number, given by its value and its first derivative at the plain value.
    fn map(self, function: impl Fn(f64) -> f64, derivative: impl Fn(f64) -> f64) -> Self;
    /// This number to a whole power.
    fn power_whole(self, exponent: i32) -> Self {
        let n = f64::from(exponent);
        match exponent {
            0 => self.map(|_| 1.0, |_| 0.0),
            1 => self,
            2 => self * self,
            _ => self.map(|v| v.powf(n), |v| n * v.powf(n - 1.0)),
        }
    }
    /// This number to a power that may depend on the same things.
    fn power(self, exponent: Self) -> Self;
    /// Square root.
    fn root(self) -> Self {
        self.map(f64::sqrt, |v| 0.5 / v.sqrt())
    }
}

impl Scalar for f64 {
    #[inline]
    fn constant(value: f64) -> Self {
        value
    }
    #[inline]
    fn value(self) -> f64 {
        self
    }
    #[inline]
    fn map(self, function: impl Fn(f64) -> f64, _: impl Fn(f64) -> f64) -> Self {
        function(self)
    }
    fn power(self, exponent: Self) -> Self {
        self.powf(exponent)
    }
}

/// A number with its first derivatives by N parameters. All N are always carried: to ask each number whether it has any
/// costs more.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sloped<const N: usize> {
    pub(crate) value: f64,
    pub(crate) by: [f64; N],
}

impl<const N: usize> Sloped<N> {
    /// The parameter numbered `index` among the N; a number that depends on none of them for any other index.
    pub(crate) fn parameter(value: f64, index: Option<usize>) -> Self {
        Self {
            value,
            by: std::array::from_fn(|k| if Some(k) == index { 1.0 } else { 0.0 }),
        }
    }

    #[inline]
    fn with(value: f64, by: impl Fn(usize) -> f64) -> Self {
        Self {
            value,
            by: std::array::from_fn(by),
        }
    }

    /// A value whose slopes are `factor` times these. An infinite factor (that of √x at 0) leaves a slope of 0 alone.
    #[inline]
    fn scaled(self, value: f64, factor: f64) -> Self {
        if factor.is_finite() {
            Self::with(value, |k| factor * self.by[k])
        } else {
            let times = |slope: f64| if slope == 0.0 { 0.0 } else { factor * slope };
            Self::with(value, |k| times(self.by[k]))
        }
    }
}

impl<const N: usize> Add for Sloped<N> {
    type Output = Self;
    #[inline]
    fn add(self, other: Self) -> Self {
        Self::with(self.value + other.value, |k| self.by[k] + other.by[k])
    }
}

impl<const N: usize> Sub for Sloped<N> {
    type Output = Self;
    #[inline]
    fn sub(self, other: Self) -> Self {
        Self::with(self.value - other.value, |k| self.by[k] - other.by[k])
    }
}

impl<const N: usize> Mul for Sloped<N> {
    type Output = Self;
    #[inline]
    #[allow(
        clippy::suspicious_arithmetic_impl,
        reason = "the product's slope has a sum in it"
    )]
    fn mul(self, other: Self) -> Self {
        let (a, b) = (self.value, other.value);
        Self::with(a * b, |k| self.by[k] * b + a * other.by[k])
    }
}

impl<const N: usize> Div for Sloped<N> {
    type Output = Self;
    #[inline]
    #[allow(
        clippy::suspicious_arithmetic_impl,
        reason = "the quotient's slope has a product in it"
    )]
    fn div(self, other: Self) -> Self {
        let (value, inverse) = (self.value / other.value, 1.0 / other.value);
        Self::with(value, |k| (self.by[k] - value * other.by[k]) * inverse)
    }
}

impl<const N: usize> Neg for Sloped<N> {
    type Output = Self;
    #[inline]
    fn neg(self) -> Self {
        Self::with(-self.value, |k| -self.by[k])
    }
}

impl<const N: usize> Scalar for Sloped<N> {
    #[inline]
    fn constant(value: f64) -> Self {
        Self::with(value, |_| 0.0)
    }
    #[inline]
    fn value(self) -> f64 {
        self.value
    }
    #[inline]
    fn map(self, function: impl Fn(f64) -> f64, derivative: impl Fn(f64) -> f64) -> Self {
        self.scaled(function(self.value), derivative(self.value))
    }
    fn power(self, exponent: Self) -> Self {
        let (base, power) = (self.value, exponent.value);
        let value = base.powf(power);
        let along = self.scaled(value, power * base.powf(power - 1.0));
        // x^p → 0 with x for p > 0, and so does its slope in p; of a base below zero only whole powers exist, and their
        // exponents stand still.
        let slope = if base == 0.0 && power > 0.0 {
            0.0
        } else {
            value * base.ln()
        };
        let across = exponent.scaled(value, slope);
        Self::with(value, |k| along.by[k] + across.by[k])
    }
}

impl Scalar for DoubleDouble {
    fn constant(value: f64) -> Self {
        Self::from_f64(value)
    }
    fn value(self) -> f64 {
        self.to_f64()
    }
    /// Accurate to double precision only: the functions are computed there.
    fn map(self, function: impl Fn(f64) -> f64, derivative: impl Fn(f64) -> f64) -> Self {
        let (high, low) = self.parts();
        let correction = if low == 0.0 {
            0.0
        } else {
            derivative(high) * low
        };
        Self::from_sum(
            function(high),
            if correction.is_finite() {
                correction
            } else {
                0.0
            },
        )
    }
    fn power_whole(self, exponent: i32) -> Self {
        let mut result = Self::from_f64(1.0);
        let mut square = self;
        let mut left = exponent.unsigned_abs();
        while left > 0 {
            if left & 1 == 1 {
                result = result * square;
            }
            square = square * square;
            left >>= 1;
        }
        // Intermediate squares overflow where the double power does not need to.
        let plain = self.to_f64().powf(f64::from(exponent));
        let result = if exponent < 0 {
            Self::from_f64(1.0) / result
        } else {
            result
        };
        if result.to_f64().is_finite() {
            result
        } else {
            Self::from_f64(plain)
        }
    }
    fn power(self, exponent: Self) -> Self {
        Self::from_f64(self.to_f64().powf(exponent.to_f64()))
    }
    fn root(self) -> Self {
        Real::sqrt(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_function_of_a_double_double_takes_the_low_part_along_its_slope() {
        let low = 1e-20;
        let x = DoubleDouble::from_sum(2.0, low);
        let y = Scalar::map(x, |v| v * v * v, |v| 3.0 * v * v);
        let (high, rest) = y.parts();
        assert_eq!(high, 8.0);
        assert!((rest - 12.0 * low).abs() < 1e-33, "{rest}");
        // A slope that is no number corrects nothing.
        let root = Scalar::map(DoubleDouble::from_sum(0.0, 0.0), f64::sqrt, |v| {
            0.5 / v.sqrt()
        });
        assert_eq!(root.parts(), (0.0, 0.0));
    }

    #[test]
    fn a_negative_whole_power_of_a_double_double_is_one_over_the_positive() {
        let to = |v: f64, n: i32| DoubleDouble::from_f64(v).power_whole(n).parts();
        assert_eq!(to(2.0, -3), (0.125, 0.0));
        assert_eq!(to(-4.0, -1), (-0.25, 0.0));
        // A ninth to thirty digits: nine of them are one.
        let ninth = DoubleDouble::from_f64(3.0).power_whole(-2);
        let rest = ninth * DoubleDouble::from_f64(9.0) - DoubleDouble::from_f64(1.0);
        assert!(rest.to_f64().abs() < 1e-31);
    }

    #[test]
    fn the_infinite_slope_of_a_root_at_nought_keeps_its_sign_and_leaves_nought_alone() {
        let nought = Sloped::<3> {
            value: 0.0,
            by: [2.0, -1.0, 0.0],
        };
        assert_eq!(nought.root().by, [f64::INFINITY, f64::NEG_INFINITY, 0.0]);
    }
}
