//! `[reference_junction]`: how the temperature of the terminals is known.

use super::front_end::PartValue;
use super::given::Given;

/// `[reference_junction]`.
#[derive(Debug, Clone, PartialEq)]
pub struct ReferenceJunction {
    /// Measured by a sensor, or compensated in the circuit.
    pub method: Given<Method>,
    /// Limit of the sensor's error over the board's range, ± K.
    pub accuracy: Given<f64>,
    /// Drift of the sensor with its own temperature beyond `accuracy`, K/K.
    pub drift: Given<f64>,
    /// Temperature of the sensor against that of the terminals, ± K.
    pub gradient: Given<f64>,
    /// Rise of the sensor by its own dissipation, K.
    pub self_heating: Given<f64>,
    /// The voltage sensor of an analog compensation; present exactly when `method` is analog.
    pub analog: Option<AnalogSensor>,
    /// The sensor that is read; present exactly when `method` is sensor.
    pub element: Option<Element>,
}

/// How the reference junction is taken into account.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// A sensor is read and the sum is done in firmware.
    Sensor,
    /// A voltage proportional to temperature is added in the circuit.
    Analog,
}

impl Method {
    /// Every accepted spelling.
    pub const SPELLINGS: &'static [(&'static str, Self)] =
        &[("sensor", Self::Sensor), ("analog", Self::Analog)];
}

/// A sensor whose output voltage is a straight line of its temperature.
#[derive(Debug, Clone, PartialEq)]
pub struct AnalogSensor {
    /// Slope, V/K.
    pub slope: Given<f64>,
    /// Output at 0 °C, V.
    pub at_zero: Given<f64>,
    /// Departure from the straight line, ± K.
    pub nonlinearity: Given<f64>,
    /// Output resistance, Ω.
    pub output_resistance: Given<f64>,
}

/// A sensor that is read by the converter or over a bus.
#[derive(Debug, Clone, PartialEq)]
pub enum Element {
    /// It gives a number of degrees.
    Digital,
    /// A thermistor in a divider.
    Thermistor {
        /// Resistance at 25 °C, Ω.
        r25: Given<f64>,
        /// Beta, K.
        beta: Given<f64>,
        /// Tolerance of `r25`, ratio.
        tolerance: Given<f64>,
        /// Tolerance of `beta`, ratio.
        beta_tolerance: Given<f64>,
        /// The other arm of the divider.
        divider: Divider,
    },
    /// A platinum resistor of 100 Ω at 0 °C in a divider.
    Platinum {
        /// Tolerance class of IEC 60751.
        class: Given<PlatinumClass>,
        /// The other arm of the divider.
        divider: Divider,
    },
}

/// The fixed arm of a sensor's divider, fed from the converter's reference.
#[derive(Debug, Clone, PartialEq)]
pub struct Divider {
    /// Its value, Ω, or open.
    pub resistor: Given<PartValue>,
    /// Its tolerance, ratio.
    pub tolerance: Given<f64>,
}

/// Tolerance class of IEC 60751.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlatinumClass {
    /// ±(0.10 K + 0.0017·|t|).
    AA,
    /// ±(0.15 K + 0.002·|t|).
    A,
    /// ±(0.30 K + 0.005·|t|).
    B,
    /// ±(0.60 K + 0.01·|t|).
    C,
}

impl PlatinumClass {
    /// Every accepted spelling.
    pub const SPELLINGS: &'static [(&'static str, Self)] =
        &[("AA", Self::AA), ("A", Self::A), ("B", Self::B), ("C", Self::C)];
}
