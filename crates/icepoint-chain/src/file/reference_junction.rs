//! `[reference_junction]`: how the temperature of the terminals is known.

use super::front_end::PartValue;
use super::given::Given;
use super::keys::{ELEMENTS, ElementWord};
use super::walk::Reader;
use crate::front_end::Blueprint;

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
    /// Parts of the circuit follow the temperature; their figures are in `[compensation]`.
    Circuit,
}

impl Method {
    /// Every accepted spelling.
    pub const SPELLINGS: &'static [(&'static str, Self)] =
        &[("sensor", Self::Sensor), ("analog", Self::Analog), ("circuit", Self::Circuit)];

    /// The method that a circuit asks for by its parts.
    pub fn wanted_by(blueprint: &Blueprint) -> Self {
        if !blueprint.compensates() {
            Self::Sensor
        } else if blueprint.has_voltage_sensor() {
            Self::Analog
        } else {
            Self::Circuit
        }
    }

    /// Short spelling, as accepted in the file.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Sensor => "sensor",
            Self::Analog => "analog",
            Self::Circuit => "circuit",
        }
    }
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

impl ReferenceJunction {
    pub(super) fn read(mut r: Reader<'_, '_>) -> Option<Self> {
        let method = r.choice("method", Method::SPELLINGS);
        let drift = r.quantity("drift");
        let parts_say = method.as_ref().is_some_and(|m| m.value == Method::Circuit) && !r.has("accuracy");
        let accuracy = if parts_say {
            // The figures of the parts say how far they are off.
            drift.as_ref().map(|drift| Given { value: 0.0, origin: drift.origin })
        } else {
            r.quantity("accuracy")
        };
        let gradient = r.quantity("gradient");
        let self_heating = r.quantity("self_heating");
        let (mut analog, mut element) = (None, None);
        match method.as_ref().map(|method| method.value) {
            Some(Method::Analog) => {
                let slope = r.quantity("sensor_slope");
                let at_zero = r.quantity("sensor_at_0");
                let nonlinearity = r.quantity("sensor_nonlinearity");
                let output_resistance = r.quantity("output_resistance");
                if let (Some(slope), Some(at_zero), Some(nonlinearity), Some(output_resistance)) =
                    (slope, at_zero, nonlinearity, output_resistance)
                {
                    analog = Some(AnalogSensor { slope, at_zero, nonlinearity, output_resistance });
                }
                r.finish(&[]);
            }
            Some(Method::Circuit) => r.finish(&[]),
            Some(Method::Sensor) => {
                element = Element::read(&mut r);
                r.finish(&[]);
            }
            // without a method nothing can be said about the other keys
            None => r.abandon(),
        }
        Some(Self {
            method: method?,
            accuracy: accuracy?,
            drift: drift?,
            gradient: gradient?,
            self_heating: self_heating?,
            analog,
            element,
        })
    }
}

impl Element {
    fn read(r: &mut Reader<'_, '_>) -> Option<Self> {
        match r.choice("element", ELEMENTS)?.value {
            ElementWord::Digital => Some(Self::Digital),
            ElementWord::Thermistor => {
                let r25 = r.quantity("r25");
                let beta = r.quantity("beta");
                let tolerance = r.quantity("tolerance");
                let beta_tolerance = r.quantity("beta_tolerance");
                let divider = Divider::read(r);
                Some(Self::Thermistor {
                    r25: r25?,
                    beta: beta?,
                    tolerance: tolerance?,
                    beta_tolerance: beta_tolerance?,
                    divider: divider?,
                })
            }
            ElementWord::Platinum => {
                let class = r.choice("class", PlatinumClass::SPELLINGS);
                let divider = Divider::read(r);
                Some(Self::Platinum { class: class?, divider: divider? })
            }
        }
    }
}

impl Divider {
    fn read(r: &mut Reader<'_, '_>) -> Option<Self> {
        let resistor = r.get("divider_resistor", |walk, key, name, value, _| walk.part(key, name, value));
        let tolerance = r.quantity("divider_tolerance");
        Some(Self { resistor: resistor?, tolerance: tolerance? })
    }
}
