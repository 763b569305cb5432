//! From the list of parts to a circuit that can be solved, and the map from part to circuit parameter.
//!
//! **What is added to the user's parts.** The thermocouple and its cable: a source with half of the loop resistance on
//! either side of the measuring junction, and the junction's tie to the plant: a small capacitance for an insulated
//! junction, a metal joint for a grounded one. The converter's or voltmeter's input resistance.

use std::collections::BTreeMap;

use icepoint_circuit::{
    Circuit, Element, InAmpFigures, Netlist, Node, NoiseFigures, OpAmpFigures, Parameter, ParameterId,
};

use crate::chain::{Chain, JunctionMethod};
use crate::front_end::adjustable::MIDDLE;
use crate::front_end::sensing::DetectionFigures;
use crate::front_end::{AdjustableFigures, AmplifierFigures, PartKind};
use crate::imperfection::SPECIFIED_AT;
use crate::model::ModelError;
use crate::sensing::{self, SensingPart};

/// Capacitance between an insulated measuring junction with its cable and the plant, F (common practice, no source).
pub const INSULATED_CAPACITANCE: f64 = 1e-9;
/// Resistance of the joint between a grounded measuring junction and the plant, Ω (common practice, no source).
pub const GROUNDED_RESISTANCE: f64 = 0.1;
/// Loop resistance below which the wire counts as this much, so that the network stays solvable, Ω.
const LEAST_RESISTANCE: f64 = 1e-3;

/// Currents into the converter's inputs, in the order plus, minus.
pub(crate) const CONVERTER_INPUTS: [&str; 2] = ["converter + input", "converter − input"];

/// The gain of one instrumentation amplifier: `1 + constant/R`, or 1 without a resistor.
#[derive(Clone, Debug)]
pub(crate) struct GainStage {
    pub name: String,
    pub slot: ParameterId,
    pub constant: f64,
    pub resistor: Option<(String, f64)>,
    /// Place of an adjustable resistor in series with it, in [`Wiring::adjustable`].
    pub trim: Option<usize>,
}

/// An adjustable resistor in the circuit.
#[derive(Clone, Debug)]
pub(crate) struct AdjustablePlace {
    pub name: String,
    pub figures: AdjustableFigures,
    /// Resistance from the first node to the wiper, Ω; `None` beside a gain resistor.
    pub first: Option<ParameterId>,
    /// From the wiper to the second node, if the wiper has a node of its own.
    pub second: Option<ParameterId>,
}

/// The circuit and where everything is in it.
#[derive(Debug)]
pub(crate) struct Wiring {
    pub circuit: Circuit,
    /// Emf of the thermocouple, V.
    pub thermocouple: ParameterId,
    /// Voltage common to both leads, V.
    pub common_source: ParameterId,
    /// The two halves of the loop resistance, Ω: opened to see what a broken sensor does.
    pub loop_halves: [ParameterId; 2],
    /// Voltage of the analog temperature sensor, V.
    pub sensor: Option<ParameterId>,
    pub gain_stages: Vec<GainStage>,
    /// Adjustable resistors in the order of the parts; settings are given in this order.
    pub adjustable: Vec<AdjustablePlace>,
    /// Parts that follow the temperature.
    pub sensing: Vec<SensingPart>,
    /// Currents that show a broken thermocouple, A.
    pub detection: Vec<(ParameterId, DetectionFigures)>,
    /// What the converter reads: the first node against the second.
    pub output: (Node, Node),
    pub reference: Option<Node>,
    pub test_nodes: Vec<Node>,
    reference_volts_per_ohm: f64,
}

/// What stands for a clamp.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Clamps {
    /// Its leakage: the circuit is linear.
    Leak,
    /// Its forward characteristic.
    Conduct,
}

impl Wiring {
    /// `like`: a circuit that may differ in figures alone, from which this one is then compiled in less time.
    pub fn new(chain: &Chain, like: Option<&Circuit>) -> Result<Self, ModelError> {
        Self::with_clamps(chain, Clamps::Leak, like)
    }

    pub fn with_clamps(chain: &Chain, clamps: Clamps, like: Option<&Circuit>) -> Result<Self, ModelError> {
        let mut net = Netlist::new();
        let front_end = &chain.front_end;
        let mut gain_resistors: BTreeMap<&str, (&str, f64)> = BTreeMap::new();
        let mut gain_trims: BTreeMap<&str, (&str, f64)> = BTreeMap::new();
        for part in &front_end.parts {
            if let PartKind::AdjustableGain { amplifier, figures } = &part.kind {
                gain_trims.insert(amplifier, (&part.designator, figures.arms(MIDDLE, 0.0).0));
            }
            if let PartKind::GainResistor { amplifier, figures } = &part.kind {
                gain_resistors.insert(amplifier, (&part.designator, figures.ohms));
            }
        }
        let nominal_supply = front_end
            .parts
            .iter()
            .map(|p| if let PartKind::Supply { volts, .. } = p.kind { volts.abs() } else { 0.0 })
            .sum();
        let mut stages = Vec::new();
        let mut sensor = None;
        for part in &front_end.parts {
            let name = part.designator.as_str();
            match &part.kind {
                PartKind::Resistor { a, b, figures } => {
                    let (a, b) = (net.node(a), net.node(b));
                    net.add(name, Element::Resistor { a, b, ohms: figures.ohms });
                }
                PartKind::GainResistor { .. } | PartKind::AdjustableGain { .. } => {}
                PartKind::Adjustable { a, b, wiper, figures } => {
                    let (a, b) = (net.node(a), net.node(b));
                    let (first, second) = figures.arms(MIDDLE, 0.0);
                    let wiper = wiper.as_ref().map(|wiper| net.node(wiper));
                    net.add(name, Element::Resistor { a, b: wiper.unwrap_or(b), ohms: first });
                    if let Some(wiper) = wiper {
                        net.add(&second_arm(name), Element::Resistor { a: wiper, b, ohms: second });
                    }
                }
                PartKind::Capacitor { a, b, farads, .. } => {
                    let (a, b) = (net.node(a), net.node(b));
                    net.add(name, Element::Capacitor { a, b, farads: *farads });
                }
                PartKind::Operational { plus, minus, out, supply, figures } => {
                    let (plus, minus, out) = (net.node(plus), net.node(minus), net.node(out));
                    let supply = Some((net.node(&supply.0), net.node(&supply.1)));
                    let figures = operational(figures, nominal_supply);
                    net.add(name, Element::OpAmp { plus, minus, out, supply, figures });
                }
                PartKind::Instrumentation {
                    plus,
                    minus,
                    reference,
                    out,
                    supply,
                    figures,
                    gain_constant,
                    ..
                } => {
                    let resistor = gain_resistors.get(name).map(|(r, ohms)| ((*r).to_owned(), *ohms));
                    let trim = gain_trims.get(name).copied();
                    let more = trim.map_or(0.0, |(_, ohms)| ohms);
                    let gain = resistor.as_ref().map_or(1.0, |(_, ohms)| 1.0 + gain_constant / (ohms + more));
                    let (plus, minus) = (net.node(plus), net.node(minus));
                    let (reference, out) = (net.node(reference), net.node(out));
                    let supply = Some((net.node(&supply.0), net.node(&supply.1)));
                    let figures = instrumentation(figures, gain, nominal_supply);
                    net.add(name, Element::InAmp { plus, minus, reference, out, supply, figures });
                    stages.push((name.to_owned(), *gain_constant, resistor, trim.map(|(trim, _)| trim)));
                }
                PartKind::Supply { node, volts, .. } | PartKind::Reference { node, volts, .. } => {
                    let plus = net.node(node);
                    net.add(name, Element::VoltageSource { plus, minus: Netlist::GROUND, volts: *volts });
                }
                PartKind::Junction { .. } | PartKind::Thermistor { .. } | PartKind::Platinum { .. } => {
                    sensing::add_to(&mut net, name, &part.kind);
                }
                PartKind::Clamp { anode, cathode, figures } if clamps == Clamps::Conduct => {
                    let (anode, cathode) = (net.node(anode), net.node(cathode));
                    let figures = crate::overvoltage::diode(figures);
                    net.add(name, Element::Diode { anode, cathode, figures });
                }
                PartKind::Clamp { anode, cathode, .. } => {
                    // Leakage flows against the direction of conduction; none nominally.
                    let (from, to) = (net.node(cathode), net.node(anode));
                    net.add(name, Element::CurrentSource { from, to, amperes: 0.0 });
                }
                PartKind::DetectionCurrent { from, to, figures } => {
                    let (from, to) = (net.node(from), net.node(to));
                    // A pulsed current is off while a reading is taken.
                    let amperes = if figures.pulse.is_some() { 0.0 } else { figures.amperes };
                    net.add(name, Element::CurrentSource { from, to, amperes });
                }
                PartKind::TemperatureSensor { node } => {
                    let (volts, ohms) = match chain.junction.method {
                        JunctionMethod::Analog { slope, at_zero, output_resistance, .. } => {
                            (at_zero + slope * SPECIFIED_AT, output_resistance)
                        }
                        JunctionMethod::Measured(_) | JunctionMethod::InCircuit => (0.0, 0.0),
                    };
                    let outside = net.node(node);
                    let plus = if ohms > 0.0 { net.node("inside the temperature sensor") } else { outside };
                    if ohms > 0.0 {
                        net.add("temperature sensor output", Element::Resistor { a: plus, b: outside, ohms });
                    }
                    net.add(name, Element::VoltageSource { plus, minus: Netlist::GROUND, volts });
                    sensor = Some(name.to_owned());
                }
            }
        }
        add_thermocouple(&mut net, chain);
        let plus = net.node(&front_end.ports.output);
        let minus = front_end.ports.output_minus.as_ref().map(|n| net.node(n));
        let output = (plus, minus.unwrap_or(Netlist::GROUND));
        if chain.converter.input_resistance.is_finite() {
            let ohms = chain.converter.input_resistance;
            net.add("converter input", Element::Resistor { a: plus, b: output.1, ohms });
        }
        for (name, from) in [(CONVERTER_INPUTS[0], Some(plus)), (CONVERTER_INPUTS[1], minus)] {
            if let Some(from) = from {
                net.add(name, Element::CurrentSource { from, to: Netlist::GROUND, amperes: 0.0 });
            }
        }
        let reference = front_end.ports.reference.as_ref().map(|n| net.node(n));
        let test_nodes = front_end.test_points.iter().map(|t| net.node(&t.node)).collect();
        let circuit = like.map_or_else(|| Circuit::new(&net), |other| Circuit::like(&net, other))?;
        let need = |name: &str, p: Parameter| {
            circuit.parameter(name, p).ok_or_else(|| ModelError::Missing(format!("{p:?} of {name}")))
        };
        let mut adjustable = Vec::new();
        for part in &front_end.parts {
            let name = part.designator.clone();
            match &part.kind {
                PartKind::Adjustable { wiper, figures, .. } => {
                    let first = Some(need(&name, Parameter::Ohms)?);
                    let second = wiper.as_ref().map(|_| need(&second_arm(&name), Parameter::Ohms));
                    let second = second.transpose()?;
                    adjustable.push(AdjustablePlace { name, figures: *figures, first, second });
                }
                PartKind::AdjustableGain { figures, .. } => {
                    adjustable.push(AdjustablePlace { name, figures: *figures, first: None, second: None });
                }
                _ => {}
            }
        }
        let mut gain_stages = Vec::new();
        for (name, constant, resistor, trim) in stages {
            let slot = need(&name, Parameter::Gain)?;
            let trim = trim.and_then(|trim| adjustable.iter().position(|place| place.name == trim));
            gain_stages.push(GainStage { name, slot, constant, resistor, trim });
        }
        let sensing = sensing::find(&circuit, &front_end.parts)?;
        let mut detection = Vec::new();
        for part in &front_end.parts {
            if let PartKind::DetectionCurrent { figures, .. } = &part.kind {
                detection.push((need(&part.designator, Parameter::Amperes)?, *figures));
            }
        }
        let load: f64 = front_end.ports.reference.as_ref().map_or(0.0, |node| resistive_load(chain, node));
        Ok(Self {
            thermocouple: need("thermocouple", Parameter::Volts)?,
            common_source: need("plant", Parameter::Volts)?,
            loop_halves: [need("loop plus", Parameter::Ohms)?, need("loop minus", Parameter::Ohms)?],
            sensor: sensor.map(|s| need(&s, Parameter::Volts)).transpose()?,
            gain_stages,
            adjustable,
            sensing,
            detection,
            output,
            reference,
            test_nodes,
            reference_volts_per_ohm: load,
            circuit,
        })
    }

    /// What the converter reads of a solution, V.
    pub fn output_volts(&self, x: &[f64]) -> f64 {
        self.circuit.voltage(x, self.output.0) - self.circuit.voltage(x, self.output.1)
    }

    /// Mean of the two inputs of the converter, V; 0 for one input, which has no common mode.
    pub fn common_volts(&self, x: &[f64]) -> f64 {
        if self.output.1 == Netlist::GROUND {
            return 0.0;
        }
        0.5 * (self.circuit.voltage(x, self.output.0) + self.circuit.voltage(x, self.output.1))
    }

    /// Parameter of a part.
    pub fn slot(&self, designator: &str, parameter: Parameter) -> Option<ParameterId> {
        self.circuit.parameter(designator, parameter)
    }

    /// Resistance of a resistor.
    pub fn resistor(&self, designator: &str) -> Option<ParameterId> {
        self.slot(designator, Parameter::Ohms)
    }

    /// Index of the gain stage whose gain this resistor sets.
    pub fn gain_of(&self, designator: &str) -> Option<usize> {
        self.gain_stages.iter().position(|s| s.resistor.as_ref().is_some_and(|(r, _)| r == designator))
    }

    /// Index of the gain stage of this amplifier.
    pub fn gain_stage(&self, designator: &str) -> Option<usize> {
        self.gain_stages.iter().position(|s| s.name == designator)
    }

    /// Current drawn from the reference by the resistors on it, A, at most (as if their far ends were at ground).
    pub fn reference_load(&self, volts: f64) -> f64 {
        volts.abs() * self.reference_volts_per_ohm
    }
}

/// Name of the part of a track beyond its wiper.
fn second_arm(designator: &str) -> String {
    format!("{designator} beyond the wiper")
}

/// Conductance to ground seen by the reference node, going through resistors only, S.
fn resistive_load(chain: &Chain, node: &str) -> f64 {
    // Series strings are followed as long as a node has exactly two resistors: the pedestal divider and its like.
    let mut conductance = 0.0;
    for part in &chain.front_end.parts {
        let Some((a, b, ohms)) = two_ended(&part.kind) else { continue };
        let far = if a == node {
            b
        } else if b == node {
            a
        } else {
            continue;
        };
        let mut ohms = ohms;
        if far != "gnd" {
            for other in &chain.front_end.parts {
                if other.designator == part.designator {
                    continue;
                }
                let Some((a, b, rest)) = two_ended(&other.kind) else { continue };
                if (a == far && b == "gnd") || (b == far && a == "gnd") {
                    ohms += rest;
                }
            }
        }
        conductance += 1.0 / ohms;
    }
    conductance
}

/// Ends and nominal ohms of what loads a reference as a resistor.
fn two_ended(kind: &PartKind) -> Option<(&String, &String, f64)> {
    match kind {
        PartKind::Resistor { a, b, figures } => Some((a, b, figures.ohms)),
        PartKind::Adjustable { a, b, wiper: None, figures } => Some((a, b, figures.arms(MIDDLE, 0.0).0)),
        PartKind::Adjustable { a, b, figures, .. } => Some((a, b, figures.ohms)),
        PartKind::Thermistor { a, b, figures } => Some((a, b, figures.r25)),
        PartKind::Platinum { a, b, figures } => Some((a, b, figures.ice_ohms)),
        _ => None,
    }
}

fn add_thermocouple(net: &mut Netlist, chain: &Chain) {
    let loop_ohms = chain.probe.resistance + chain.lead.as_ref().map_or(0.0, |l| l.resistance);
    let half = (0.5 * loop_ohms).max(LEAST_RESISTANCE);
    let plus = net.node(&chain.front_end.ports.plus);
    let minus = net.node(&chain.front_end.ports.minus);
    let junction = net.node("measuring junction");
    let hot = net.node("hot leg");
    let plant = net.node("plant");
    net.add("thermocouple", Element::VoltageSource { plus: hot, minus: junction, volts: 0.0 });
    net.add("loop plus", Element::Resistor { a: hot, b: plus, ohms: half });
    net.add("loop minus", Element::Resistor { a: junction, b: minus, ohms: half });
    net.add("plant", Element::VoltageSource { plus: plant, minus: Netlist::GROUND, volts: 0.0 });
    let tie = if chain.probe.grounded {
        Element::Resistor { a: junction, b: plant, ohms: GROUNDED_RESISTANCE }
    } else {
        Element::Capacitor { a: junction, b: plant, farads: INSULATED_CAPACITANCE }
    };
    net.add("tie to the plant", tie);
}

/// The ideal amplifier with its limits and noise: static errors are deviations, not nominal values.
fn operational(f: &AmplifierFigures, nominal_supply: f64) -> OpAmpFigures {
    OpAmpFigures {
        bandwidth_hz: f.bandwidth,
        nominal_supply,
        input_low: f.input_low,
        input_high: f.input_high,
        output_low: f.output_low,
        output_high: f.output_high,
        noise: noise(f),
        ..OpAmpFigures::ideal()
    }
}

fn instrumentation(f: &AmplifierFigures, gain: f64, nominal_supply: f64) -> InAmpFigures {
    InAmpFigures {
        bandwidth_hz: f.bandwidth,
        nominal_supply,
        input_low: f.input_low,
        input_high: f.input_high,
        output_low: f.output_low,
        output_high: f.output_high,
        noise: noise(f),
        ..InAmpFigures::ideal(gain)
    }
}

fn noise(f: &AmplifierFigures) -> NoiseFigures {
    NoiseFigures { white: f.noise, corner_hz: f.corner, current: f.current_noise, current_corner_hz: 0.0 }
}
