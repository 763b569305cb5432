//! Thermistors with a negative temperature coefficient, by two or three parameters.
//!
//! **In, out.** °C to Ω and back, with the slope.
//!
//! **Range.** −80 to 300 °C is accepted, but a model is only as good as the span of the points it came from: beta
//! drifts off by tenths of a kelvin some 30 K away from 25 °C, Steinhart–Hart by hundredths within its three points.
//!
//! **Source.** R = R25·exp(b·(1/T − 1/298.15 K)) and 1/T = a + b·ln R + c·(ln R)³ (T in K, R in Ω), textbook equations;
//! for the latter J. S. Steinhart and S. R. Hart, Deep-Sea Research 15 (1968) 497.

use core::fmt;

use crate::ZERO_CELSIUS_IN_KELVIN;
use crate::out_of_range::{OutOfRange, Quantity};

/// Temperatures that a thermistor is asked for, °C.
pub const RANGE: (f64, f64) = (-80.0, 300.0);
/// Resistances that a thermistor may have at a point, Ω.
const OHMS: (f64, f64) = (1e-3, 1e9);

fn celsius_in_range(kelvin: f64) -> Result<f64, OutOfRange> {
    // A round trip through the logarithm may come back a rounding outside the end.
    const ROUNDING: f64 = 1e-9;
    let celsius = kelvin - ZERO_CELSIUS_IN_KELVIN;
    OutOfRange::check(Quantity::Celsius, celsius, (RANGE.0 - ROUNDING, RANGE.1 + ROUNDING))
        .map_err(|error| OutOfRange { low: RANGE.0, high: RANGE.1, ..error })
}

/// The two-parameter model.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Beta {
    r25: f64,
    b: f64,
}

impl Beta {
    /// `r25_ohms`: Ω at 25 °C; `b_kelvin`: K.
    ///
    /// # Errors
    /// [`OutOfRange`] unless R25 lies within 1 mΩ to 1 GΩ and b within 500 to 10 000 K (K without a unit in the error).
    pub fn new(r25_ohms: f64, b_kelvin: f64) -> Result<Beta, OutOfRange> {
        Ok(Beta {
            r25: OutOfRange::check(Quantity::Ohms, r25_ohms, OHMS)?,
            b: OutOfRange::check(Quantity::Plain, b_kelvin, (500.0, 10_000.0))?,
        })
    }

    /// Resistance in Ω and slope in Ω/K at `celsius` (°C).
    ///
    /// # Errors
    /// [`OutOfRange`] outside [`RANGE`].
    ///
    /// ```
    /// use icepoint_sensors::thermistor::Beta;
    /// let (ohms, slope) = Beta::new(10_000.0, 3435.0)?.resistance_and_slope(25.0)?;
    /// assert_eq!(ohms, 10_000.0);
    /// assert!((slope / ohms + 0.038642).abs() < 1e-6);
    /// # Ok::<(), icepoint_sensors::OutOfRange>(())
    /// ```
    pub fn resistance_and_slope(self, celsius: f64) -> Result<(f64, f64), OutOfRange> {
        let kelvin = OutOfRange::check(Quantity::Celsius, celsius, RANGE)? + ZERO_CELSIUS_IN_KELVIN;
        let ohms = self.r25 * libm::exp(self.b * (1.0 / kelvin - 1.0 / (25.0 + ZERO_CELSIUS_IN_KELVIN)));
        Ok((ohms, -self.b / (kelvin * kelvin) * ohms))
    }

    /// Resistance in Ω at `celsius` (°C).
    ///
    /// # Errors
    /// [`OutOfRange`] outside [`RANGE`].
    pub fn resistance(self, celsius: f64) -> Result<f64, OutOfRange> {
        self.resistance_and_slope(celsius).map(|(ohms, _)| ohms)
    }

    /// Temperature in °C of `ohms` (Ω).
    ///
    /// # Errors
    /// [`OutOfRange`] for a resistance that is not positive or a temperature outside [`RANGE`].
    pub fn temperature(self, ohms: f64) -> Result<f64, OutOfRange> {
        let ohms = OutOfRange::check(Quantity::Ohms, ohms, (f64::MIN_POSITIVE, f64::MAX))?;
        let reciprocal = 1.0 / (25.0 + ZERO_CELSIUS_IN_KELVIN) + libm::log(ohms / self.r25) / self.b;
        celsius_in_range(1.0 / reciprocal)
    }
}

/// The three-parameter model, 1/T = a + b·ln R + c·(ln R)³.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SteinhartHart {
    a: f64,
    b: f64,
    c: f64,
}

/// Why three numbers make no thermistor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SteinhartHartError {
    /// A temperature or resistance among the points is outside what a thermistor has.
    Point(OutOfRange),
    /// Two points are the same or so close that the coefficients mean nothing.
    PointsCoincide,
    /// Resistance does not fall with temperature everywhere within the range: b must be positive and c not negative.
    NotFalling,
}

impl fmt::Display for SteinhartHartError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            SteinhartHartError::Point(error) => error.fmt(f),
            SteinhartHartError::PointsCoincide => {
                f.write_str("two of the three points are (nearly) the same; choose points tens of kelvins apart")
            }
            SteinhartHartError::NotFalling => f.write_str(
                "these figures give no resistance that falls with temperature (b must be positive, c not negative); \
                 check the order of the coefficients and that R is in Ω",
            ),
        }
    }
}

impl core::error::Error for SteinhartHartError {}

impl From<OutOfRange> for SteinhartHartError {
    fn from(error: OutOfRange) -> SteinhartHartError {
        SteinhartHartError::Point(error)
    }
}

impl SteinhartHart {
    /// From coefficients: a in 1/K, b in 1/K, c in 1/K, for R in Ω.
    ///
    /// # Errors
    /// [`SteinhartHartError::NotFalling`] when b is not positive, c is negative, or any is not a finite number.
    pub fn new(a: f64, b: f64, c: f64) -> Result<SteinhartHart, SteinhartHartError> {
        if a.is_finite() && b > 0.0 && b.is_finite() && c >= 0.0 && c.is_finite() {
            Ok(SteinhartHart { a, b, c })
        } else {
            Err(SteinhartHartError::NotFalling)
        }
    }

    /// Through three points of (°C, Ω), in any order.
    ///
    /// # Errors
    /// [`SteinhartHartError`]: a point outside what a thermistor has, points that coincide, or points that no falling
    /// curve of this form passes through.
    ///
    /// ```
    /// use icepoint_sensors::thermistor::SteinhartHart;
    /// let model = SteinhartHart::from_points([(0.0, 32_650.0), (25.0, 10_000.0), (70.0, 1_752.0)])?;
    /// assert!((model.temperature(19_900.0)? - 10.0027).abs() < 5e-5);
    /// # Ok::<(), Box<dyn core::error::Error>>(())
    /// ```
    pub fn from_points(points: [(f64, f64); 3]) -> Result<SteinhartHart, SteinhartHartError> {
        let mut x = [0.0; 3];
        let mut y = [0.0; 3];
        for ((x, y), (celsius, ohms)) in x.iter_mut().zip(&mut y).zip(points) {
            *x = libm::log(OutOfRange::check(Quantity::Ohms, ohms, OHMS)?);
            *y = 1.0 / (OutOfRange::check(Quantity::Celsius, celsius, RANGE)? + ZERO_CELSIUS_IN_KELVIN);
        }
        // Newton's divided differences of y over x, for the basis 1, x, x³: the third power's second difference is
        // the sum of the three abscissae.
        const CLOSE: f64 = 1e-6;
        if (x[1] - x[0]).abs() < CLOSE || (x[2] - x[1]).abs() < CLOSE || (x[2] - x[0]).abs() < CLOSE {
            return Err(SteinhartHartError::PointsCoincide);
        }
        let first = (y[1] - y[0]) / (x[1] - x[0]);
        let second = (y[2] - y[0]) / (x[2] - x[0]);
        let c = (second - first) / (x[2] - x[1]) / (x[0] + x[1] + x[2]);
        let b = first - c * (x[0] * x[0] + x[0] * x[1] + x[1] * x[1]);
        let a = y[0] - x[0] * (b + c * x[0] * x[0]);
        SteinhartHart::new(a, b, c)
    }

    /// The coefficients a, b, c in 1/K, for R in Ω.
    pub const fn coefficients(self) -> (f64, f64, f64) {
        (self.a, self.b, self.c)
    }

    /// Resistance in Ω and slope in Ω/K at `celsius` (°C): the real root of the cubic, polished by Newton.
    ///
    /// # Errors
    /// [`OutOfRange`] outside [`RANGE`].
    pub fn resistance_and_slope(self, celsius: f64) -> Result<(f64, f64), OutOfRange> {
        let kelvin = OutOfRange::check(Quantity::Celsius, celsius, RANGE)? + ZERO_CELSIUS_IN_KELVIN;
        let target = 1.0 / kelvin - self.a;
        // b x + c x³ rises everywhere, so Newton from the far side of the root comes in one-sided. The root is no
        // further out than that of the linear part alone, nor than that of the cubic part alone.
        let linear = target / self.b;
        let mut x = linear;
        if self.c > 0.0 {
            let cubic = libm::cbrt(target / self.c);
            if cubic.abs() < linear.abs() {
                x = cubic;
            }
        }
        for _ in 0..60 {
            let step = (x * (self.b + self.c * x * x) - target) / (self.b + 3.0 * self.c * x * x);
            x -= step;
            if step.abs() <= 1e-15 * x.abs() {
                break;
            }
        }
        let ohms = libm::exp(x);
        // d(1/T) = (b + 3 c x²) dx and dR = R dx.
        Ok((ohms, -ohms / (kelvin * kelvin * (self.b + 3.0 * self.c * x * x))))
    }

    /// Resistance in Ω at `celsius` (°C).
    ///
    /// # Errors
    /// [`OutOfRange`] outside [`RANGE`].
    pub fn resistance(self, celsius: f64) -> Result<f64, OutOfRange> {
        self.resistance_and_slope(celsius).map(|(ohms, _)| ohms)
    }

    /// Temperature in °C of `ohms` (Ω).
    ///
    /// # Errors
    /// [`OutOfRange`] for a resistance that is not positive or a temperature outside [`RANGE`].
    pub fn temperature(self, ohms: f64) -> Result<f64, OutOfRange> {
        let x = libm::log(OutOfRange::check(Quantity::Ohms, ohms, (f64::MIN_POSITIVE, f64::MAX))?);
        let reciprocal = self.a + x * (self.b + self.c * x * x);
        celsius_in_range(1.0 / reciprocal)
    }
}
