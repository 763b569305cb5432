//! The elements and the data-sheet figures that describe them.
//!
//! **Conventions.** SI units. A current source drives its current through itself from `from` to `to`, so it raises
//! `to`. The current of a voltage source is counted into its `plus` terminal. Bias currents are counted into the pins
//! of the amplifier. Ratios (gain, common-mode and supply rejection) are in V/V; infinity means ideal.

use crate::netlist::Node;

/// One element of a circuit between nodes.
#[derive(Clone, Debug, PartialEq)]
pub enum Element {
    /// Resistor, at the temperature that the caller has in mind: `i = (v(a) − v(b)) / ohms`. Makes thermal noise.
    Resistor {
        /// One end.
        a: Node,
        /// The other end.
        b: Node,
        /// Ω, above 0 and finite.
        ohms: f64,
    },
    /// Capacitor; open to direct current.
    Capacitor {
        /// One end.
        a: Node,
        /// The other end.
        b: Node,
        /// F, above 0 and finite.
        farads: f64,
    },
    /// Ideal voltage source: `v(plus) − v(minus) = volts`.
    VoltageSource {
        /// Positive terminal.
        plus: Node,
        /// Negative terminal.
        minus: Node,
        /// V.
        volts: f64,
    },
    /// Ideal current source; its current flows through it from `from` to `to`.
    CurrentSource {
        /// The node that the current leaves.
        from: Node,
        /// The node that the current enters.
        to: Node,
        /// A.
        amperes: f64,
    },
    /// Voltage controlled by a voltage: `v(plus) − v(minus) = gain·(v(ctrl_plus) − v(ctrl_minus))`.
    Vcvs {
        /// Positive output terminal.
        plus: Node,
        /// Negative output terminal.
        minus: Node,
        /// Positive controlling node; draws nothing.
        ctrl_plus: Node,
        /// Negative controlling node; draws nothing.
        ctrl_minus: Node,
        /// V/V, either sign.
        gain: f64,
    },
    /// Current controlled by a voltage: `siemens·(v(ctrl_plus) − v(ctrl_minus))` flows from `from` to `to`.
    Vccs {
        /// The node that the current leaves.
        from: Node,
        /// The node that the current enters.
        to: Node,
        /// Positive controlling node; draws nothing.
        ctrl_plus: Node,
        /// Negative controlling node; draws nothing.
        ctrl_minus: Node,
        /// A/V, either sign.
        siemens: f64,
    },
    /// Voltage controlled by the current of the named voltage source.
    Ccvs {
        /// Positive output terminal.
        plus: Node,
        /// Negative output terminal.
        minus: Node,
        /// Name of the voltage source whose current (into its plus terminal) controls.
        sensed: String,
        /// V/A, either sign.
        ohms: f64,
    },
    /// Current controlled by the current of the named voltage source; flows from `from` to `to`.
    Cccs {
        /// The node that the current leaves.
        from: Node,
        /// The node that the current enters.
        to: Node,
        /// Name of the voltage source whose current (into its plus terminal) controls.
        sensed: String,
        /// A/A, either sign.
        gain: f64,
    },
    /// Operational amplifier: see [`OpAmpFigures`].
    OpAmp {
        /// Non-inverting input.
        plus: Node,
        /// Inverting input.
        minus: Node,
        /// Output, against ground.
        out: Node,
        /// Positive and negative rail: needed for output and input limits and for supply rejection. Its own supply
        /// current is not modelled.
        supply: Option<(Node, Node)>,
        /// Data-sheet figures.
        figures: OpAmpFigures,
    },
    /// Instrumentation amplifier: see [`InAmpFigures`].
    InAmp {
        /// Non-inverting input.
        plus: Node,
        /// Inverting input.
        minus: Node,
        /// Reference pin: the output is counted from it.
        reference: Node,
        /// Output, against ground.
        out: Node,
        /// Positive and negative rail, as for the operational amplifier.
        supply: Option<(Node, Node)>,
        /// Data-sheet figures.
        figures: InAmpFigures,
    },
    /// Junction diode: see [`DiodeFigures`].
    Diode {
        /// Current enters here when it conducts.
        anode: Node,
        /// Current leaves here when it conducts.
        cathode: Node,
        /// Figures.
        figures: DiodeFigures,
    },
}

impl Element {
    /// The trade name of the kind, for messages.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        match self {
            Element::Resistor { .. } => "resistor",
            Element::Capacitor { .. } => "capacitor",
            Element::VoltageSource { .. } => "voltage source",
            Element::CurrentSource { .. } => "current source",
            Element::Vcvs { .. } => "voltage-controlled voltage source",
            Element::Vccs { .. } => "voltage-controlled current source",
            Element::Ccvs { .. } => "current-controlled voltage source",
            Element::Cccs { .. } => "current-controlled current source",
            Element::OpAmp { .. } => "operational amplifier",
            Element::InAmp { .. } => "instrumentation amplifier",
            Element::Diode { .. } => "diode",
        }
    }

    /// Every node that the element touches, controlling pins included.
    #[must_use]
    pub fn nodes(&self) -> Vec<Node> {
        match self {
            Element::Resistor { a, b, .. } | Element::Capacitor { a, b, .. } => vec![*a, *b],
            Element::VoltageSource { plus, minus, .. } | Element::Ccvs { plus, minus, .. } => {
                vec![*plus, *minus]
            }
            Element::CurrentSource { from, to, .. } | Element::Cccs { from, to, .. } => vec![*from, *to],
            Element::Vcvs { plus, minus, ctrl_plus, ctrl_minus, .. } => {
                vec![*plus, *minus, *ctrl_plus, *ctrl_minus]
            }
            Element::Vccs { from, to, ctrl_plus, ctrl_minus, .. } => {
                vec![*from, *to, *ctrl_plus, *ctrl_minus]
            }
            Element::OpAmp { plus, minus, out, supply, .. } => {
                let mut all = vec![*plus, *minus, *out];
                all.extend(supply.iter().flat_map(|(high, low)| [*high, *low]));
                all
            }
            Element::InAmp { plus, minus, reference, out, supply, .. } => {
                let mut all = vec![*plus, *minus, *reference, *out];
                all.extend(supply.iter().flat_map(|(high, low)| [*high, *low]));
                all
            }
            Element::Diode { anode, cathode, .. } => vec![*anode, *cathode],
        }
    }
}

/// Noise of an amplifier, referred to its input.
///
/// Voltage noise density is `white·√(1 + corner_hz/f)`; the current noise density flows in each input pin, the two
/// pins uncorrelated, `current·√(1 + current_corner_hz/f)`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct NoiseFigures {
    /// White voltage noise, V/√Hz.
    pub white: f64,
    /// Corner of the 1/f voltage noise, Hz; 0 is flat (zero-drift amplifiers).
    pub corner_hz: f64,
    /// White current noise of each input, A/√Hz.
    pub current: f64,
    /// Corner of the 1/f current noise, Hz; 0 is flat.
    pub current_corner_hz: f64,
}

/// Figures of an operational amplifier, as a data sheet gives them.
///
/// The output follows
/// `v(out) = A·[v₊ − v₋ + offset + (v_cm − nominal_common_mode)/cmrr + (v_supply − nominal_supply)/psrr]` with
/// `v_cm = (v₊ + v₋)/2` and the single pole `1/A = 1/gain + s/(2π·bandwidth_hz)`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OpAmpFigures {
    /// Open-loop gain at direct current, V/V; may be infinite.
    pub gain: f64,
    /// Unity-gain bandwidth (gain–bandwidth product), Hz; may be infinite.
    pub bandwidth_hz: f64,
    /// Input offset voltage, V: adds to `v₊ − v₋`.
    pub offset: f64,
    /// Bias current into the non-inverting input, A.
    pub bias_plus: f64,
    /// Bias current into the inverting input, A.
    pub bias_minus: f64,
    /// Common-mode rejection, V/V; may be infinite or negative (the sign of the error is rarely given).
    pub cmrr: f64,
    /// The common-mode voltage against ground at which the offset was stated, V.
    pub nominal_common_mode: f64,
    /// Supply rejection, V/V; may be infinite or negative.
    pub psrr: f64,
    /// The supply (rail to rail) at which the offset was stated, V.
    pub nominal_supply: f64,
    /// The output can't go closer than this to the negative rail, V.
    pub output_low: f64,
    /// The output can't go closer than this to the positive rail, V.
    pub output_high: f64,
    /// Inputs must stay above the negative rail by this, V; negative when they may go below it.
    pub input_low: f64,
    /// Inputs must stay below the positive rail by this, V; negative when they may go above it.
    pub input_high: f64,
    /// Noise.
    pub noise: NoiseFigures,
    /// Output resistance inside the loop, Ω; 0 for none.
    pub output_resistance: f64,
}

impl OpAmpFigures {
    /// The amplifier of the textbook: infinite gain and bandwidth, no errors, swings to both rails, silent.
    #[must_use]
    pub const fn ideal() -> Self {
        OpAmpFigures {
            gain: f64::INFINITY,
            bandwidth_hz: f64::INFINITY,
            offset: 0.0,
            bias_plus: 0.0,
            bias_minus: 0.0,
            cmrr: f64::INFINITY,
            nominal_common_mode: 0.0,
            psrr: f64::INFINITY,
            nominal_supply: 0.0,
            output_low: 0.0,
            output_high: 0.0,
            input_low: 0.0,
            input_high: 0.0,
            noise: NoiseFigures { white: 0.0, corner_hz: 0.0, current: 0.0, current_corner_hz: 0.0 },
            output_resistance: 0.0,
        }
    }
}

impl Default for OpAmpFigures {
    fn default() -> Self {
        OpAmpFigures::ideal()
    }
}

/// Figures of an instrumentation amplifier at the gain that was set.
///
/// The output follows `v(out)·(1 + s/(2π·bandwidth_hz)) = v(reference) + gain·[v₊ − v₋ + offset + …]` with the same
/// rejection terms as [`OpAmpFigures`]; offset and noise are referred to the input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InAmpFigures {
    /// Gain, V/V, above 0 and finite.
    pub gain: f64,
    /// −3 dB bandwidth at that gain, Hz; may be infinite.
    pub bandwidth_hz: f64,
    /// Offset referred to the input, V.
    pub offset: f64,
    /// Bias current into the non-inverting input, A.
    pub bias_plus: f64,
    /// Bias current into the inverting input, A.
    pub bias_minus: f64,
    /// Resistance between the two inputs, Ω; may be infinite. Counted as noiseless.
    pub differential_resistance: f64,
    /// Resistance from each input to ground, Ω; may be infinite. Counted as noiseless.
    pub common_resistance: f64,
    /// Common-mode rejection at that gain, V/V; may be infinite or negative.
    pub cmrr: f64,
    /// The common-mode voltage against ground at which the offset was stated, V.
    pub nominal_common_mode: f64,
    /// Supply rejection referred to the input, V/V; may be infinite or negative.
    pub psrr: f64,
    /// The supply (rail to rail) at which the offset was stated, V.
    pub nominal_supply: f64,
    /// The output can't go closer than this to the negative rail, V.
    pub output_low: f64,
    /// The output can't go closer than this to the positive rail, V.
    pub output_high: f64,
    /// Inputs must stay above the negative rail by this, V; negative when they may go below it.
    pub input_low: f64,
    /// Inputs must stay below the positive rail by this, V; negative when they may go above it.
    pub input_high: f64,
    /// Noise referred to the input at that gain.
    pub noise: NoiseFigures,
    /// Resistance from the reference pin to ground, Ω: loads whatever drives the pin; may be infinite.
    pub reference_resistance: f64,
}

impl InAmpFigures {
    /// The amplifier of the textbook with this gain (V/V): no errors, no loading, swings to both rails, silent.
    #[must_use]
    pub const fn ideal(gain: f64) -> Self {
        InAmpFigures {
            gain,
            bandwidth_hz: f64::INFINITY,
            offset: 0.0,
            bias_plus: 0.0,
            bias_minus: 0.0,
            differential_resistance: f64::INFINITY,
            common_resistance: f64::INFINITY,
            cmrr: f64::INFINITY,
            nominal_common_mode: 0.0,
            psrr: f64::INFINITY,
            nominal_supply: 0.0,
            output_low: 0.0,
            output_high: 0.0,
            input_low: 0.0,
            input_high: 0.0,
            noise: NoiseFigures { white: 0.0, corner_hz: 0.0, current: 0.0, current_corner_hz: 0.0 },
            reference_resistance: f64::INFINITY,
        }
    }
}

/// Figures of a junction diode: `i = Iₛ(T)·(exp(v/(n·k·T/q)) − 1)` behind a series resistance.
///
/// `Iₛ(T) = Iₛ·(T/298.15 K)^(exponent/n)·exp((E_g/(n·k/q))·(1/298.15 K − 1/T))`, the usual law of the saturation
/// current (for instance Massobrio and Antognetti, *Semiconductor Device Modeling*, ch. 1; from memory).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DiodeFigures {
    /// Saturation current at 25 °C (298.15 K), A, above 0.
    pub saturation_current: f64,
    /// Ideality factor n, above 0; 1…2 in practice.
    pub ideality: f64,
    /// Series resistance, Ω; 0 for none.
    pub series_resistance: f64,
    /// Temperature of the junction, K.
    pub kelvin: f64,
    /// Band gap, eV; about 1.11 for silicon (customary for silicon junctions, from memory).
    pub bandgap_ev: f64,
    /// Exponent of temperature in the saturation current; customarily 3 for a junction diode (from memory).
    pub temperature_exponent: f64,
}

impl DiodeFigures {
    /// A silicon junction with this saturation current at 25 °C, ideality 1, no series resistance, at 25 °C.
    #[must_use]
    pub const fn silicon(saturation_current: f64) -> Self {
        DiodeFigures {
            saturation_current,
            ideality: 1.0,
            series_resistance: 0.0,
            kelvin: 298.15,
            bandgap_ev: 1.11,
            temperature_exponent: 3.0,
        }
    }
}
