//! `[amplifier.NAME]`: the figures of an amplifier as its data sheet states them.

use super::given::Given;

/// One record. Gains and rejections are plain ratios (120 dB is 1e6).
#[derive(Debug, Clone, PartialEq)]
pub struct Amplifier {
    /// Name of the record.
    pub name: String,
    /// Operational or instrumentation amplifier, with the figures that only one kind has.
    pub kind: AmplifierKind,
    /// Largest input offset voltage, V.
    pub offset_max: Given<f64>,
    /// Typical input offset voltage, V.
    pub offset_typical: Option<Given<f64>>,
    /// Largest drift of the offset, V/K.
    pub offset_drift_max: Given<f64>,
    /// Largest bias current of an input, A.
    pub bias_max: Given<f64>,
    /// Largest difference of the two bias currents, A.
    pub offset_current_max: Option<Given<f64>>,
    /// Gain-bandwidth product (operational) or bandwidth at the gain in use (instrumentation), Hz.
    pub bandwidth: Given<f64>,
    /// Common-mode rejection, ratio.
    pub cmrr: Given<f64>,
    /// Power-supply rejection, ratio.
    pub psrr: Given<f64>,
    /// Input voltage noise density above the corner, V/√Hz.
    pub noise: Given<f64>,
    /// Corner of the 1/f noise, Hz; 0 for a zero-drift amplifier.
    pub corner: Given<f64>,
    /// Input current noise density, A/√Hz.
    pub current_noise: Given<f64>,
    /// Lowest input above the negative rail, V (negative when the input may go below it).
    pub input_low: Given<f64>,
    /// Highest input below the positive rail, V.
    pub input_high: Given<f64>,
    /// Lowest output above the negative rail, V.
    pub output_low: Given<f64>,
    /// Highest output below the positive rail, V.
    pub output_high: Given<f64>,
}

/// The figures that only one kind of amplifier has.
#[derive(Debug, Clone, PartialEq)]
pub enum AmplifierKind {
    /// Two inputs, feedback by the circuit around it.
    Operational {
        /// Open-loop gain, ratio.
        open_loop_gain: Given<f64>,
    },
    /// Gain set by one resistor: 1 + `gain_constant` / R.
    Instrumentation {
        /// Constant of the gain law, Ω.
        gain_constant: Given<f64>,
        /// Largest error of the gain, the resistor not included, ratio.
        gain_error: Given<f64>,
        /// Drift of the gain, the resistor not included, 1/K.
        gain_drift: Given<f64>,
        /// Non-linearity of the gain, share of the output span.
        gain_nonlinearity: Given<f64>,
    },
}
