//! Complex numbers, as few operations as alternating-current analysis needs.
//!
//! **Why our own.** The magnitude is `sqrt(re² + im²)` (a correctly rounded operation) and the phase goes through
//! `libm`, so a frequency response has the same bits on every platform.

use core::ops::{Add, Mul, Neg, Sub};

/// A complex number `re + j·im`, in whatever unit the quantity has (V, V/V, Ω).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Complex {
    /// Real part: in phase.
    pub re: f64,
    /// Imaginary part: a quarter period ahead.
    pub im: f64,
}

impl Complex {
    /// Zero.
    pub const ZERO: Complex = Complex { re: 0.0, im: 0.0 };

    /// `re + j·im`.
    #[must_use]
    pub const fn new(re: f64, im: f64) -> Self {
        Complex { re, im }
    }

    /// Square of the magnitude.
    #[must_use]
    pub fn magnitude_squared(self) -> f64 {
        self.re * self.re + self.im * self.im
    }

    /// Magnitude. Overflows above 1e154, far outside any circuit.
    #[must_use]
    pub fn magnitude(self) -> f64 {
        self.magnitude_squared().sqrt()
    }

    /// Phase in radians, −π…π, positive when leading.
    #[must_use]
    pub fn phase(self) -> f64 {
        libm::atan2(self.im, self.re)
    }

    /// Complex conjugate.
    #[must_use]
    pub fn conjugate(self) -> Self {
        Complex::new(self.re, -self.im)
    }

    /// `1 / self`; infinite or NaN for zero.
    #[must_use]
    pub fn recip(self) -> Self {
        // Smith's division: no overflow where the answer itself fits.
        if self.re.abs() >= self.im.abs() {
            let ratio = self.im / self.re;
            let whole = self.re + self.im * ratio;
            Complex::new(1.0 / whole, -ratio / whole)
        } else {
            let ratio = self.re / self.im;
            let whole = self.re * ratio + self.im;
            Complex::new(ratio / whole, -1.0 / whole)
        }
    }
}

impl Add for Complex {
    type Output = Complex;
    fn add(self, other: Complex) -> Complex {
        Complex::new(self.re + other.re, self.im + other.im)
    }
}

impl Sub for Complex {
    type Output = Complex;
    fn sub(self, other: Complex) -> Complex {
        Complex::new(self.re - other.re, self.im - other.im)
    }
}

impl Mul for Complex {
    type Output = Complex;
    fn mul(self, other: Complex) -> Complex {
        Complex::new(self.re * other.re - self.im * other.im, self.re * other.im + self.im * other.re)
    }
}

impl Mul<f64> for Complex {
    type Output = Complex;
    fn mul(self, other: f64) -> Complex {
        Complex::new(self.re * other, self.im * other)
    }
}

impl Neg for Complex {
    type Output = Complex;
    fn neg(self) -> Complex {
        Complex::new(-self.re, -self.im)
    }
}

/// What elimination needs of a number: real for direct current, complex for alternating current.
pub(crate) trait Scalar:
    Copy + Default + Sub<Output = Self> + Mul<Output = Self> + Add<Output = Self>
{
    /// Reciprocal.
    fn recip(self) -> Self;
    /// A norm: absolute value, or |re| + |im| (within √2 of the magnitude, and cheap).
    fn norm(self) -> f64;
}

impl Scalar for f64 {
    #[inline(always)]
    fn recip(self) -> f64 {
        1.0 / self
    }
    #[inline(always)]
    fn norm(self) -> f64 {
        self.abs()
    }
}

impl Scalar for Complex {
    #[inline(always)]
    fn recip(self) -> Complex {
        Complex::recip(self)
    }
    #[inline(always)]
    fn norm(self) -> f64 {
        self.re.abs() + self.im.abs()
    }
}
