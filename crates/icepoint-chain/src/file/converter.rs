//! `[converter]`, `[filter]` and `[readout]`: from the output voltage to the number that is read.

use super::given::{Given, Interval};
use crate::quantity::Toleranced;

/// `[converter]`.
#[derive(Debug, Clone, PartialEq)]
pub struct Converter {
    /// Analog-to-digital converter or voltmeter, with its figures.
    pub kind: ConverterKind,
    /// Voltages that it can read, V; when absent, 0 V to the reference (adc) or no limit (voltmeter).
    pub span: Option<Given<Interval>>,
    /// Input resistance, Ω.
    pub input_resistance: Given<f64>,
}

/// The figures that only one kind has.
#[derive(Debug, Clone, PartialEq)]
pub enum ConverterKind {
    /// An analog-to-digital converter.
    Adc(Adc),
    /// A voltmeter.
    Voltmeter(Voltmeter),
}

/// An analog-to-digital converter. What the file states in LSB is here in V.
#[derive(Debug, Clone, PartialEq)]
pub struct Adc {
    /// Resolution, bits.
    pub bits: Given<u32>,
    /// Reference voltage, V.
    pub reference: Given<Toleranced>,
    /// Drift of the reference, 1/K.
    pub reference_drift: Given<f64>,
    /// Change of the reference with the supply, V/V.
    pub reference_supply_regulation: Given<f64>,
    /// Whether the sensor is fed from the same reference, which then cancels.
    pub ratiometric: Given<bool>,
    /// One least significant bit, V.
    pub lsb: f64,
    /// Offset, ± V.
    pub offset: Given<f64>,
    /// Gain error, ± ratio.
    pub gain_error: Given<f64>,
    /// Integral non-linearity, ± V.
    pub integral_nonlinearity: Given<f64>,
    /// Noise of one conversion, V rms.
    pub noise: Given<f64>,
}

/// A voltmeter: ±(`reading_error`·|reading| + `range_error`).
#[derive(Debug, Clone, PartialEq)]
pub struct Voltmeter {
    /// Share of the reading.
    pub reading_error: Given<f64>,
    /// Fixed part, V.
    pub range_error: Given<f64>,
    /// One count of the display, V.
    pub resolution: Given<f64>,
}

/// `[filter]`.
#[derive(Debug, Clone, PartialEq)]
pub struct Filter {
    /// Corner wanted of the analog low-pass, Hz; design is free to choose when absent.
    pub analog_corner: Option<Given<f64>>,
    /// What is done with the samples.
    pub digital: DigitalFilter,
    /// Samples per second, Hz; absent only when nothing is done with the samples.
    pub sample_rate: Option<Given<f64>>,
}

/// What is done with the samples.
#[derive(Debug, Clone, PartialEq)]
pub enum DigitalFilter {
    /// Nothing.
    None,
    /// The mean over whole mains periods.
    Mean {
        /// Number of mains periods.
        over_periods: Given<u32>,
    },
    /// A first-order low-pass.
    FirstOrder {
        /// Time constant, s.
        time_constant: Given<f64>,
    },
}

/// `[readout]`: the rule that turns a voltage into a temperature.
#[derive(Debug, Clone, PartialEq)]
pub enum Readout {
    /// t = (v − offset) / slope.
    Line {
        /// V/K.
        slope: Given<f64>,
        /// V at 0 °C.
        offset: Given<f64>,
    },
    /// The exact inverse of the reference function.
    EmfInverse,
    /// Straight pieces between points of the inverse.
    Table {
        /// Number of pieces.
        segments: Given<u32>,
    },
    /// The approximate inverse polynomials of the published tables.
    PublishedPolynomial,
}
