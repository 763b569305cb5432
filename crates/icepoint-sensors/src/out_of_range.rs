//! The one way to say that a value lies outside what a function is defined for.

use core::fmt;

/// What the refused value is, and so its unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Quantity {
    /// Temperature in °C.
    Celsius,
    /// Voltage in V.
    Volts,
    /// Resistance in Ω.
    Ohms,
    /// Pressure in Pa.
    Pascals,
    /// Geopotential altitude in m.
    Metres,
    /// Wire diameter in mm.
    Millimetres,
    /// A number without unit, such as a ratio of currents or a wire gauge.
    Plain,
}

impl Quantity {
    /// The unit's symbol, empty for a plain number.
    pub const fn unit(self) -> &'static str {
        match self {
            Quantity::Celsius => "°C",
            Quantity::Volts => "V",
            Quantity::Ohms => "Ω",
            Quantity::Pascals => "Pa",
            Quantity::Metres => "m",
            Quantity::Millimetres => "mm",
            Quantity::Plain => "",
        }
    }
}

/// A value outside the closed interval that a function is defined on; not a number counts as outside.
///
/// ```
/// use icepoint_sensors::Letter;
/// let refused = Letter::K.emf(1400.0).unwrap_err();
/// assert_eq!(refused.to_string(), "1400 °C is outside −270 to 1372 °C");
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OutOfRange {
    /// What the value is.
    pub quantity: Quantity,
    /// The value that was refused.
    pub value: f64,
    /// Lowest accepted value.
    pub low: f64,
    /// Highest accepted value.
    pub high: f64,
}

impl OutOfRange {
    /// `Ok(value)` when it lies in the closed interval, else the error.
    #[inline]
    pub(crate) fn check(quantity: Quantity, value: f64, (low, high): (f64, f64)) -> Result<f64, OutOfRange> {
        if value >= low && value <= high { Ok(value) } else { Err(OutOfRange { quantity, value, low, high }) }
    }
}

/// A number as people read it: the true minus sign, millivolts for small voltages are left to the caller.
struct Plain(f64);

impl fmt::Display for Plain {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let magnitude = self.0.abs();
        if self.0 < 0.0 {
            f.write_str("−")?;
        }
        if magnitude == 0.0 || (1e-7..1e9).contains(&magnitude) || !magnitude.is_finite() {
            write!(f, "{magnitude}")
        } else {
            write!(f, "{magnitude:e}")
        }
    }
}

impl fmt::Display for OutOfRange {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let unit = self.quantity.unit();
        let gap = if unit.is_empty() { "" } else { " " };
        if self.value.is_nan() {
            write!(
                f,
                "not a number where {} to {}{gap}{unit} was expected",
                Plain(self.low),
                Plain(self.high)
            )
        } else {
            write!(
                f,
                "{}{gap}{unit} is outside {} to {}{gap}{unit}",
                Plain(self.value),
                Plain(self.low),
                Plain(self.high)
            )
        }
    }
}

impl core::error::Error for OutOfRange {}
