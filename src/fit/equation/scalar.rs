//! Numbers that an equation can be evaluated in: plain, with derivatives, in doubled precision.

use std::ops::{Add, Div, Mul, Neg, Sub};

use num_dual::DualSVec64;

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

impl<const N: usize> Scalar for DualSVec64<N> {
    #[inline]
    fn constant(value: f64) -> Self {
        Self::from_re(value)
    }
    #[inline]
    fn value(self) -> f64 {
        self.re
    }
    #[inline]
    fn map(self, function: impl Fn(f64) -> f64, derivative: impl Fn(f64) -> f64) -> Self {
        match self.eps.0 {
            // Where nothing is differentiated, an infinite derivative (√x at 0) does no harm.
            None => Self::from_re(function(self.re)),
            Some(_) => Self::new(function(self.re), self.eps * derivative(self.re)),
        }
    }
    fn power(self, exponent: Self) -> Self {
        let (base, power) = (self.re, exponent.re);
        let value = base.powf(power);
        let mut eps = num_dual::Derivative::none();
        if self.eps.0.is_some() {
            eps += self.eps * (power * base.powf(power - 1.0));
        }
        if exponent.eps.0.is_some() {
            // x^p → 0 with x for p > 0, and so does its slope in p.
            let slope = if base == 0.0 && power > 0.0 {
                0.0
            } else {
                value * base.ln()
            };
            eps += exponent.eps * slope;
        }
        Self::new(value, eps)
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

/// A number with its first derivatives by N parameters, the one numbered `index` among them.
pub(crate) fn variable<const N: usize>(value: f64, index: Option<usize>) -> DualSVec64<N> {
    let number = DualSVec64::<N>::from_re(value);
    match index {
        Some(index) if index < N => number.derivative(index),
        _ => number,
    }
}

/// The derivatives of a number, zero where it depends on nothing.
pub(crate) fn slopes<const N: usize>(number: &DualSVec64<N>) -> [f64; N] {
    match &number.eps.0 {
        Some(vector) => std::array::from_fn(|i| vector[i]),
        None => [0.0; N],
    }
}
