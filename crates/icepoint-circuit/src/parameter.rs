//! Parameters: every figure of every element that may be varied, in one vector.
//!
//! A deviation (tolerance, drift, temperature) is a changed number in that vector, never a changed circuit, so a
//! Monte Carlo trial costs one elimination. Figures that are ideal when infinite are carried as reciprocals: zero is
//! ideal and signed deviations make sense.

use crate::element::Element;

/// Which figure of an element. Units are those of the element's figures; reciprocals are in V/V.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Parameter {
    /// Ω of a resistor, V/A of a current-controlled voltage source.
    Ohms,
    /// F of a capacitor.
    Farads,
    /// V of a voltage source.
    Volts,
    /// A of a current source.
    Amperes,
    /// Gain of a controlled source (V/V, A/A) or instrumentation amplifier (V/V).
    Gain,
    /// A/V of a voltage-controlled current source.
    Siemens,
    /// 1/gain of an operational amplifier, V/V; 0 is ideal.
    InverseGain,
    /// Unity-gain bandwidth (operational) or −3 dB bandwidth (instrumentation amplifier), Hz.
    Bandwidth,
    /// Input offset voltage, V.
    Offset,
    /// Bias current into the non-inverting input, A.
    BiasPlus,
    /// Bias current into the inverting input, A.
    BiasMinus,
    /// 1/CMRR, V/V, signed; 0 is ideal.
    InverseCmrr,
    /// Common-mode voltage at which the offset was stated, V.
    NominalCommonMode,
    /// 1/PSRR, V/V, signed; 0 is ideal. Only with a supply.
    InversePsrr,
    /// Supply at which the offset was stated, V.
    NominalSupply,
    /// Margin of the output to the negative rail, V.
    OutputLow,
    /// Margin of the output to the positive rail, V.
    OutputHigh,
    /// Margin of the inputs to the negative rail, V.
    InputLow,
    /// Margin of the inputs to the positive rail, V.
    InputHigh,
    /// White voltage noise, V/√Hz.
    NoiseVoltage,
    /// Corner of the voltage noise, Hz.
    NoiseVoltageCorner,
    /// White current noise, A/√Hz.
    NoiseCurrent,
    /// Corner of the current noise, Hz.
    NoiseCurrentCorner,
    /// Output resistance, Ω; only where the nominal one is above 0.
    OutputResistance,
    /// Resistance between the inputs, Ω.
    DifferentialResistance,
    /// Resistance of each input to ground, Ω.
    CommonResistance,
    /// Resistance of the reference pin to ground, Ω.
    ReferenceResistance,
    /// Saturation current at 25 °C, A.
    SaturationCurrent,
    /// Ideality factor.
    Ideality,
    /// Series resistance, Ω; only where the nominal one is above 0.
    SeriesResistance,
    /// Temperature of a junction, K.
    Kelvin,
    /// Band gap, eV.
    Bandgap,
    /// Exponent of temperature in the saturation current.
    TemperatureExponent,
}

impl Parameter {
    /// What the figure is called, with its unit: for messages and tables.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Parameter::Ohms => "resistance (Ω)",
            Parameter::Farads => "capacitance (F)",
            Parameter::Volts => "voltage (V)",
            Parameter::Amperes => "current (A)",
            Parameter::Gain => "gain",
            Parameter::Siemens => "transconductance (A/V)",
            Parameter::InverseGain => "reciprocal of the open-loop gain",
            Parameter::Bandwidth => "bandwidth (Hz)",
            Parameter::Offset => "offset (V)",
            Parameter::BiasPlus => "bias current of the non-inverting input (A)",
            Parameter::BiasMinus => "bias current of the inverting input (A)",
            Parameter::InverseCmrr => "reciprocal of the common-mode rejection",
            Parameter::NominalCommonMode => "nominal common-mode voltage (V)",
            Parameter::InversePsrr => "reciprocal of the supply rejection",
            Parameter::NominalSupply => "nominal supply (V)",
            Parameter::OutputLow => "output margin to the negative rail (V)",
            Parameter::OutputHigh => "output margin to the positive rail (V)",
            Parameter::InputLow => "input margin to the negative rail (V)",
            Parameter::InputHigh => "input margin to the positive rail (V)",
            Parameter::NoiseVoltage => "voltage noise (V/√Hz)",
            Parameter::NoiseVoltageCorner => "corner of the voltage noise (Hz)",
            Parameter::NoiseCurrent => "current noise (A/√Hz)",
            Parameter::NoiseCurrentCorner => "corner of the current noise (Hz)",
            Parameter::OutputResistance => "output resistance (Ω)",
            Parameter::DifferentialResistance => "differential input resistance (Ω)",
            Parameter::CommonResistance => "common input resistance (Ω)",
            Parameter::ReferenceResistance => "resistance of the reference pin (Ω)",
            Parameter::SaturationCurrent => "saturation current (A)",
            Parameter::Ideality => "ideality factor",
            Parameter::SeriesResistance => "series resistance (Ω)",
            Parameter::Kelvin => "temperature (K)",
            Parameter::Bandgap => "band gap (eV)",
            Parameter::TemperatureExponent => "exponent of temperature",
        }
    }
}

/// Place of a parameter in the vector of values of one [`Circuit`](crate::Circuit).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ParameterId(pub(crate) u32);

impl ParameterId {
    /// Index into the vector of values.
    #[must_use]
    pub fn index(self) -> usize {
        self.0 as usize
    }
}

/// Places of an amplifier's parameters after its first; both kinds of amplifier share them.
pub(crate) mod amp {
    pub const GAIN: u32 = 0;
    pub const BANDWIDTH: u32 = 1;
    pub const OFFSET: u32 = 2;
    pub const BIAS_PLUS: u32 = 3;
    pub const BIAS_MINUS: u32 = 4;
    pub const INVERSE_CMRR: u32 = 5;
    pub const NOMINAL_COMMON_MODE: u32 = 6;
    pub const INVERSE_PSRR: u32 = 7;
    pub const NOMINAL_SUPPLY: u32 = 8;
    pub const OUTPUT_LOW: u32 = 9;
    pub const OUTPUT_HIGH: u32 = 10;
    pub const INPUT_LOW: u32 = 11;
    pub const INPUT_HIGH: u32 = 12;
    pub const NOISE_VOLTAGE: u32 = 13;
    pub const NOISE_VOLTAGE_CORNER: u32 = 14;
    pub const NOISE_CURRENT: u32 = 15;
    pub const NOISE_CURRENT_CORNER: u32 = 16;
    /// Operational amplifier: output resistance. Instrumentation amplifier: differential resistance.
    pub const RESISTANCE: u32 = 17;
    pub const COMMON_RESISTANCE: u32 = 18;
    pub const REFERENCE_RESISTANCE: u32 = 19;
}

/// Places of a diode's parameters after its first.
pub(crate) mod diode {
    pub const SATURATION_CURRENT: u32 = 0;
    pub const IDEALITY: u32 = 1;
    pub const KELVIN: u32 = 2;
    pub const BANDGAP: u32 = 3;
    pub const EXPONENT: u32 = 4;
    pub const SERIES_RESISTANCE: u32 = 5;
}

/// The parameters of an element with their nominal values, in the order of the vector.
pub(crate) fn parameters_of(element: &Element) -> Vec<(Parameter, f64)> {
    use Parameter as P;
    match element {
        Element::Resistor { ohms, .. } | Element::Ccvs { ohms, .. } => vec![(P::Ohms, *ohms)],
        Element::Capacitor { farads, .. } => vec![(P::Farads, *farads)],
        Element::VoltageSource { volts, .. } => vec![(P::Volts, *volts)],
        Element::CurrentSource { amperes, .. } => vec![(P::Amperes, *amperes)],
        Element::Vcvs { gain, .. } | Element::Cccs { gain, .. } => vec![(P::Gain, *gain)],
        Element::Vccs { siemens, .. } => vec![(P::Siemens, *siemens)],
        Element::OpAmp { figures: f, .. } => {
            let mut all = vec![
                (P::InverseGain, 1.0 / f.gain),
                (P::Bandwidth, f.bandwidth_hz),
                (P::Offset, f.offset),
                (P::BiasPlus, f.bias_plus),
                (P::BiasMinus, f.bias_minus),
                (P::InverseCmrr, 1.0 / f.cmrr),
                (P::NominalCommonMode, f.nominal_common_mode),
                (P::InversePsrr, 1.0 / f.psrr),
                (P::NominalSupply, f.nominal_supply),
                (P::OutputLow, f.output_low),
                (P::OutputHigh, f.output_high),
                (P::InputLow, f.input_low),
                (P::InputHigh, f.input_high),
                (P::NoiseVoltage, f.noise.white),
                (P::NoiseVoltageCorner, f.noise.corner_hz),
                (P::NoiseCurrent, f.noise.current),
                (P::NoiseCurrentCorner, f.noise.current_corner_hz),
            ];
            if f.output_resistance > 0.0 {
                all.push((P::OutputResistance, f.output_resistance));
            }
            all
        }
        Element::InAmp { figures: f, .. } => vec![
            (P::Gain, f.gain),
            (P::Bandwidth, f.bandwidth_hz),
            (P::Offset, f.offset),
            (P::BiasPlus, f.bias_plus),
            (P::BiasMinus, f.bias_minus),
            (P::InverseCmrr, 1.0 / f.cmrr),
            (P::NominalCommonMode, f.nominal_common_mode),
            (P::InversePsrr, 1.0 / f.psrr),
            (P::NominalSupply, f.nominal_supply),
            (P::OutputLow, f.output_low),
            (P::OutputHigh, f.output_high),
            (P::InputLow, f.input_low),
            (P::InputHigh, f.input_high),
            (P::NoiseVoltage, f.noise.white),
            (P::NoiseVoltageCorner, f.noise.corner_hz),
            (P::NoiseCurrent, f.noise.current),
            (P::NoiseCurrentCorner, f.noise.current_corner_hz),
            (P::DifferentialResistance, f.differential_resistance),
            (P::CommonResistance, f.common_resistance),
            (P::ReferenceResistance, f.reference_resistance),
        ],
        Element::Diode { figures: f, .. } => {
            let mut all = vec![
                (P::SaturationCurrent, f.saturation_current),
                (P::Ideality, f.ideality),
                (P::Kelvin, f.kelvin),
                (P::Bandgap, f.bandgap_ev),
                (P::TemperatureExponent, f.temperature_exponent),
            ];
            if f.series_resistance > 0.0 {
                all.push((P::SeriesResistance, f.series_resistance));
            }
            all
        }
    }
}
