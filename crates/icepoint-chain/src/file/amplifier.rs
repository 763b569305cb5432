//! `[amplifier.NAME]`: the figures of an amplifier as its data sheet states them.

use super::given::Given;
use super::keys::{AMPLIFIERS, AmplifierWord};
use super::walk::Reader;

/// One record. Gains and rejections are plain ratios (120 dB is 1e6).
#[derive(Debug, Clone, PartialEq)]
pub struct Amplifier {
    /// Name of the record.
    pub name: String,
    /// Operational or instrumentation amplifier, with the figures that only one kind has.
    pub kind: AmplifierKind,
    /// Largest input offset voltage, V; one of this and the next is there.
    pub offset_max: Option<Given<f64>>,
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

impl Amplifier {
    pub(super) fn read(name: &str, mut r: Reader<'_, '_>) -> Option<Self> {
        let kind = r.choice("kind", AMPLIFIERS);
        let offset_max = r.quantity("offset_max");
        let offset_typical = r.quantity("offset_typical");
        if !r.has("offset_max") && !r.has("offset_typical") {
            r.require("offset_max", ", and offset_typical is not given either");
        }
        let offset_known = offset_max.is_some() || !r.has("offset_max") && offset_typical.is_some();
        let offset_drift_max = r.quantity("offset_drift_max");
        let bias_max = r.quantity("bias_max");
        let offset_current_max = r.quantity("offset_current_max");
        let bandwidth = r.quantity("bandwidth");
        let cmrr = r.quantity("cmrr");
        let psrr = r.quantity("psrr");
        let noise = r.quantity("noise");
        let corner = r.quantity("corner");
        let current_noise = r.quantity("current_noise");
        let input_low = r.quantity("input_low");
        let input_high = r.quantity("input_high");
        let output_low = r.quantity("output_low");
        let output_high = r.quantity("output_high");
        let mut figures = None;
        match kind.map(|kind| kind.value) {
            Some(AmplifierWord::Operational) => {
                figures = r
                    .quantity("open_loop_gain")
                    .map(|open_loop_gain| AmplifierKind::Operational { open_loop_gain });
                r.finish(&[]);
            }
            Some(AmplifierWord::Instrumentation) => {
                let gain_constant = r.quantity("gain_constant");
                let gain_error = r.quantity("gain_error");
                let gain_drift = r.quantity("gain_drift");
                let gain_nonlinearity = r.quantity("gain_nonlinearity");
                if let (Some(gain_constant), Some(gain_error), Some(gain_drift), Some(gain_nonlinearity)) =
                    (gain_constant, gain_error, gain_drift, gain_nonlinearity)
                {
                    figures = Some(AmplifierKind::Instrumentation {
                        gain_constant,
                        gain_error,
                        gain_drift,
                        gain_nonlinearity,
                    });
                }
                r.finish(&[]);
            }
            None => r.abandon(),
        }
        if !offset_known {
            return None;
        }
        Some(Self {
            name: name.to_owned(),
            kind: figures?,
            offset_max,
            offset_typical,
            offset_drift_max: offset_drift_max?,
            bias_max: bias_max?,
            offset_current_max,
            bandwidth: bandwidth?,
            cmrr: cmrr?,
            psrr: psrr?,
            noise: noise?,
            corner: corner?,
            current_noise: current_noise?,
            input_low: input_low?,
            input_high: input_high?,
            output_low: output_low?,
            output_high: output_high?,
        })
    }
}
