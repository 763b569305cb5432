//! The front-end circuit as data: parts, the nodes they join, and where the rest of the chain is tied to it.
//!
//! **Why data.** A built-in front end and a circuit that the user drew are the same thing here; the model, the search,
//! the schematic and the bench sheet read this list and know no circuit by name. Before its values are known it is a
//! [`Blueprint`], read from the text of a `[circuit]` section; [`library`] holds the built-in texts.
//!
//! **Figures, not parts.** A part carries the figures of its data sheet in SI units. Limits that a data sheet states
//! become imperfections (see [`crate::imperfection`]); typical figures become the nominal value.
//!
//! **Node names** are free words; `gnd` is ground. Board ground is the negative supply unless a part says otherwise.

pub mod adjustable;
pub(crate) mod blueprint;
pub mod library;
pub mod sensing;
mod surroundings;

pub use adjustable::AdjustableFigures;
pub use blueprint::{
    Blueprint, GROUND, NEGATIVE, PULL, PlannedKind, PlannedPart, REFERENCE, SUPPLY, Slot, SlotKind, Tap, Tie,
    Values,
};
pub use surroundings::{GainLaw, Sensing, Surroundings};

/// A front end: the circuit between the terminals and the converter.
#[derive(Clone, Debug, PartialEq)]
pub struct FrontEnd {
    /// Which topology this is, in words.
    pub title: String,
    /// Short identifier of the topology, as in the chain file.
    pub id: String,
    /// The parts in the order of the parts list.
    pub parts: Vec<Part>,
    /// Where the chain is tied to the circuit.
    pub ports: Ports,
    /// Points to touch with a voltmeter, in signal order.
    pub test_points: Vec<TestPoint>,
}

/// Where the chain is tied to the circuit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ports {
    /// Terminal of the positive thermocouple leg.
    pub plus: String,
    /// Terminal of the negative thermocouple leg.
    pub minus: String,
    /// What the converter or voltmeter reads.
    pub output: String,
    /// Against this node, for a converter with two inputs; against ground without it.
    pub output_minus: Option<String>,
    /// The converter's reference, if it comes from a part of the circuit.
    pub reference: Option<String>,
}

/// A point to touch with a voltmeter.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TestPoint {
    /// `TP1`, `TP2`, …
    pub label: String,
    /// Node it is on; measured against ground.
    pub node: String,
    /// What is seen there.
    pub what: String,
}

/// One part of the circuit.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// `R1`, `C2`, `A1`, `U1`, …
    pub designator: String,
    /// What it is there for.
    pub purpose: String,
    /// What it is, and where it is tied.
    pub kind: PartKind,
}

/// What a part is, and where it is tied.
#[derive(Clone, Debug, PartialEq)]
pub enum PartKind {
    /// A resistor between two nodes.
    Resistor {
        /// First node.
        a: String,
        /// Second node.
        b: String,
        /// Its figures.
        figures: ResistorFigures,
    },
    /// The resistor that sets an instrumentation amplifier's gain; on the amplifier's own pins.
    GainResistor {
        /// Designator of the amplifier.
        amplifier: String,
        /// Its figures.
        figures: ResistorFigures,
    },
    /// An adjustable resistor: a track with a wiper.
    Adjustable {
        /// First end of the track.
        a: String,
        /// Second end; without a wiper of its own the wiper is joined to it.
        b: String,
        /// Node of the wiper, if it has one of its own.
        wiper: Option<String>,
        /// Its figures.
        figures: AdjustableFigures,
    },
    /// An adjustable resistor in series with the gain resistor of an instrumentation amplifier, on the same pins.
    AdjustableGain {
        /// Designator of the amplifier.
        amplifier: String,
        /// Its figures.
        figures: AdjustableFigures,
    },
    /// A capacitor between two nodes.
    Capacitor {
        /// First node.
        a: String,
        /// Second node.
        b: String,
        /// F.
        farads: f64,
        /// Limit, relative.
        tolerance: f64,
    },
    /// An operational amplifier.
    Operational {
        /// Non-inverting input.
        plus: String,
        /// Inverting input.
        minus: String,
        /// Output.
        out: String,
        /// Positive and negative supply nodes.
        supply: (String, String),
        /// Its figures.
        figures: AmplifierFigures,
    },
    /// An instrumentation amplifier; the gain follows from its [`PartKind::GainResistor`].
    Instrumentation {
        /// Non-inverting input.
        plus: String,
        /// Inverting input.
        minus: String,
        /// Reference pin.
        reference: String,
        /// Output.
        out: String,
        /// Positive and negative supply nodes.
        supply: (String, String),
        /// Its figures.
        figures: AmplifierFigures,
        /// Gain law: `gain = 1 + constant/R`, Ω.
        gain_constant: f64,
        /// Limit of the gain error, relative.
        gain_error: f64,
        /// Limit of the gain's temperature coefficient, 1/K.
        gain_drift: f64,
        /// Limit of its non-linearity, V at the output.
        gain_nonlinearity: f64,
    },
    /// A supply rail.
    Supply {
        /// Node it drives, against ground.
        node: String,
        /// V.
        volts: f64,
        /// Limit, relative.
        tolerance: f64,
    },
    /// A voltage reference.
    Reference {
        /// Node it drives, against ground.
        node: String,
        /// V.
        volts: f64,
        /// Limit, relative.
        tolerance: f64,
        /// Limit of its temperature coefficient, 1/K.
        drift: f64,
        /// Limit of its change with the supply, V/V.
        supply_regulation: f64,
        /// Limit of its change with load, V/A.
        load_regulation: f64,
    },
    /// The voltage sensor of an analog compensation; its figures stand in [`crate::chain::ReferenceJunction`].
    TemperatureSensor {
        /// Node it drives, against ground.
        node: String,
    },
    /// A silicon junction at the terminals' temperature, in forward direction.
    Junction {
        /// Current enters here.
        anode: String,
        /// Current leaves here.
        cathode: String,
        /// Its figures.
        figures: sensing::JunctionFigures,
    },
    /// A thermistor at the terminals' temperature.
    Thermistor {
        /// First node.
        a: String,
        /// Second node.
        b: String,
        /// Its figures.
        figures: sensing::ThermistorFigures,
    },
    /// A platinum resistor at the terminals' temperature.
    Platinum {
        /// First node.
        a: String,
        /// Second node.
        b: String,
        /// Its figures.
        figures: sensing::PlatinumFigures,
    },
    /// A protection diode or suppressor: nothing but its leakage until it conducts.
    Clamp {
        /// Current enters here when it conducts.
        anode: String,
        /// Current leaves here when it conducts.
        cathode: String,
        /// Its figures.
        figures: sensing::ClampFigures,
    },
    /// A current source that shows a broken thermocouple, always on or pulsed between readings.
    DetectionCurrent {
        /// The node that the current leaves.
        from: String,
        /// The node that the current enters.
        to: String,
        /// Its figures.
        figures: sensing::DetectionFigures,
    },
}

/// Figures of a resistor.
#[derive(Clone, Debug, PartialEq)]
pub struct ResistorFigures {
    /// Nominal value, Ω.
    pub ohms: f64,
    /// Limit, relative.
    pub tolerance: f64,
    /// Limit of its temperature coefficient, 1/K.
    pub tempco: f64,
    /// Limit of its drift over the years, relative.
    pub ageing: f64,
    /// In one network with others of the same name: they share the limits above and differ only by the tracking.
    pub network: Option<Network>,
}

/// Membership of a resistor network.
#[derive(Clone, Debug, PartialEq)]
pub struct Network {
    /// Name of the network.
    pub name: String,
    /// Limit of each element's deviation from the common one, relative.
    pub tolerance: f64,
    /// Limit of each element's temperature coefficient against the common one, 1/K.
    pub tempco: f64,
}

/// Figures of an amplifier, as its data sheet gives them. Limits are symmetric unless said otherwise.
#[derive(Clone, Debug, PartialEq)]
pub struct AmplifierFigures {
    /// What the user calls the record.
    pub record: String,
    /// Offset voltage, V, referred to the input.
    pub offset: Stated,
    /// Change of the offset with temperature, V/K.
    pub offset_drift: Stated,
    /// Bias current of each input, A; sign unknown.
    pub bias: f64,
    /// Difference of the two bias currents, A.
    pub offset_current: f64,
    /// Smallest open-loop gain, V/V (operational amplifiers).
    pub open_loop_gain: f64,
    /// Unity-gain bandwidth (operational) or bandwidth at the gain used (instrumentation), Hz.
    pub bandwidth: f64,
    /// Smallest common-mode rejection, V/V.
    pub cmrr: f64,
    /// Smallest supply rejection, V/V.
    pub psrr: f64,
    /// White noise referred to the input, V/√Hz.
    pub noise: f64,
    /// Corner below which noise rises, Hz; 0 for chopper-stabilised amplifiers.
    pub corner: f64,
    /// Current noise, A/√Hz.
    pub current_noise: f64,
    /// Lowest input voltage above the negative rail, V (may be negative).
    pub input_low: f64,
    /// Highest input voltage, V below the positive rail.
    pub input_high: f64,
    /// Lowest output voltage above the negative rail, V.
    pub output_low: f64,
    /// Highest output voltage, V below the positive rail.
    pub output_high: f64,
}

impl Default for AmplifierFigures {
    /// An ideal amplifier.
    fn default() -> Self {
        Self {
            record: "ideal".into(),
            offset: Stated::Max(0.0),
            offset_drift: Stated::Max(0.0),
            bias: 0.0,
            offset_current: 0.0,
            open_loop_gain: f64::INFINITY,
            bandwidth: f64::INFINITY,
            cmrr: f64::INFINITY,
            psrr: f64::INFINITY,
            noise: 0.0,
            corner: 0.0,
            current_noise: 0.0,
            input_low: f64::NEG_INFINITY,
            input_high: f64::NEG_INFINITY,
            output_low: 0.0,
            output_high: 0.0,
        }
    }
}

/// A figure of a data sheet: a maximum, or only a typical value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Stated {
    /// The data sheet's limit.
    Max(f64),
    /// Only a typical value: taken as one standard deviation (common practice, no source).
    Typical(f64),
}

impl FrontEnd {
    /// Label of the test point that stands on the output, where the circuit has one there.
    pub fn output_point(&self) -> Option<&str> {
        self.test_points.iter().find(|t| t.node == self.ports.output).map(|t| t.label.as_str())
    }

    /// The part with this designator.
    pub fn part(&self, designator: &str) -> Option<&Part> {
        self.parts.iter().find(|p| p.designator == designator)
    }

    /// What is alone in its network is in none: it has no other to follow.
    pub fn leave_lone_networks(&mut self) {
        let of = |p: &Part| p.kind.resistor().and_then(|f| f.network.as_ref()).map(|n| n.name.clone());
        let names: Vec<String> = self.parts.iter().filter_map(of).collect();
        for part in &mut self.parts {
            if let PartKind::Resistor { figures, .. } | PartKind::GainResistor { figures, .. } =
                &mut part.kind
                && figures
                    .network
                    .as_ref()
                    .is_some_and(|n| names.iter().filter(|o| **o == n.name).count() == 1)
            {
                figures.network = None;
            }
        }
    }

    /// Nominal ohms or farads of a part that has such a value.
    pub fn value(&self, designator: &str) -> Option<f64> {
        self.part(designator)?.kind.value()
    }
}

impl PartKind {
    /// Ohms or farads, for the parts that have such a value.
    pub fn value(&self) -> Option<f64> {
        match self {
            Self::Resistor { figures, .. } | Self::GainResistor { figures, .. } => Some(figures.ohms),
            Self::Adjustable { figures, .. } | Self::AdjustableGain { figures, .. } => Some(figures.ohms),
            Self::Capacitor { farads, .. } => Some(*farads),
            _ => None,
        }
    }

    /// Sets the ohms or farads; parts without such a value are left alone.
    pub fn set_value(&mut self, value: f64) {
        match self {
            Self::Resistor { figures, .. } | Self::GainResistor { figures, .. } => figures.ohms = value,
            Self::Adjustable { figures, .. } | Self::AdjustableGain { figures, .. } => figures.ohms = value,
            Self::Capacitor { farads, .. } => *farads = value,
            _ => {}
        }
    }

    /// Whether the part follows the temperature of the terminals and carries the compensation.
    pub const fn senses_temperature(&self) -> bool {
        matches!(
            self,
            Self::TemperatureSensor { .. }
                | Self::Junction { .. }
                | Self::Thermistor { .. }
                | Self::Platinum { .. }
        )
    }

    /// Figures, for resistors.
    pub fn resistor(&self) -> Option<&ResistorFigures> {
        match self {
            Self::Resistor { figures, .. } | Self::GainResistor { figures, .. } => Some(figures),
            _ => None,
        }
    }
}
