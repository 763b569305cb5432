//! Checks that need no numbers beyond sanity: names, figures, floating nodes, loops of sources.

use crate::element::{Element, NoiseFigures};
use crate::error::CircuitError;
use crate::netlist::{ElementId, Netlist, Node};
use crate::parameter::Parameter;
use crate::stamps::dictates;
use std::collections::BTreeSet;

/// Sets of nodes that are joined, by union and find.
struct Groups(Vec<u32>);

impl Groups {
    fn new(count: usize) -> Self {
        Groups((0..count as u32).collect())
    }

    fn of(&mut self, node: Node) -> u32 {
        let mut at = node.0;
        while self.0[at as usize] != at {
            let up = self.0[self.0[at as usize] as usize];
            self.0[at as usize] = up;
            at = up;
        }
        at
    }

    /// `false` when they were joined already.
    fn join(&mut self, a: Node, b: Node) -> bool {
        let (a, b) = (self.of(a), self.of(b));
        // The smaller number leads, so that ground leads its group.
        self.0[a.max(b) as usize] = a.min(b);
        a != b
    }
}

/// Runs every check; returns the sensed source of each element.
pub(crate) fn check(net: &Netlist) -> Result<Vec<Option<ElementId>>, CircuitError> {
    if net.elements().next().is_none() {
        return Err(CircuitError::Empty);
    }
    let mut names = BTreeSet::new();
    for (_, name, element) in net.elements() {
        if !names.insert(name) {
            return Err(CircuitError::DuplicateName { name: name.to_owned() });
        }
        if element.nodes().iter().any(|n| n.0 as usize >= net.node_count()) {
            return Err(CircuitError::UnknownNode { element: name.to_owned() });
        }
        figures(name, element)?;
    }
    let sensed = sensed_sources(net)?;
    source_loop(net)?;
    floating(net)?;
    Ok(sensed)
}

fn sensed_sources(net: &Netlist) -> Result<Vec<Option<ElementId>>, CircuitError> {
    let is_source = |id: &ElementId| matches!(net.element(*id), Some(Element::VoltageSource { .. }));
    let mut all = Vec::new();
    for (_, name, element) in net.elements() {
        all.push(match element {
            Element::Ccvs { sensed, .. } | Element::Cccs { sensed, .. } => {
                let found = net.find_element(sensed).filter(is_source);
                if found.is_none() {
                    let sources = net.elements().filter(|(id, ..)| is_source(id));
                    return Err(CircuitError::UnknownSource {
                        element: name.to_owned(),
                        sensed: sensed.clone(),
                        available: sources.map(|(_, name, _)| name.to_owned()).collect(),
                    });
                }
                found
            }
            _ => None,
        });
    }
    Ok(all)
}

/// The elements of a loop of dictated voltages, if adding each in turn closes one.
fn source_loop(net: &Netlist) -> Result<(), CircuitError> {
    let mut groups = Groups::new(net.node_count());
    let mut edges: Vec<(Node, Node, &str)> = Vec::new();
    for (_, name, element) in net.elements() {
        let Some((plus, minus)) = dictates(element) else { continue };
        if !groups.join(plus, minus) {
            let mut elements = path(&edges, plus, minus);
            elements.push(name.to_owned());
            return Err(CircuitError::SourceLoop { elements });
        }
        edges.push((plus, minus, name));
    }
    Ok(())
}

/// Names along the path between two nodes of a forest.
fn path(edges: &[(Node, Node, &str)], from: Node, to: Node) -> Vec<String> {
    let mut trail: Vec<(Node, Option<usize>, usize)> = vec![(from, None, 0)];
    let mut next = 0;
    while next < trail.len() {
        let (node, via, _) = trail[next];
        if node == to {
            let (mut names, mut at) = (Vec::new(), next);
            while let (_, Some(edge), previous) = trail[at] {
                names.push(edges[edge].2.to_owned());
                at = previous;
            }
            names.reverse();
            return names;
        }
        for (edge, &(a, b, _)) in edges.iter().enumerate() {
            if Some(edge) != via && (a == node || b == node) {
                trail.push((if a == node { b } else { a }, Some(edge), next));
            }
        }
        next += 1;
    }
    Vec::new()
}

/// Pairs of nodes that direct current can pass between, so that one fixes the other.
fn conducting(element: &Element) -> Vec<(Node, Node)> {
    const GROUND: Node = Netlist::GROUND;
    match element {
        Element::Resistor { a, b, .. } => vec![(*a, *b)],
        Element::Diode { anode, cathode, .. } => vec![(*anode, *cathode)],
        Element::OpAmp { out, .. } => vec![(*out, GROUND)],
        Element::InAmp { plus, minus, reference, out, figures, .. } => {
            let mut all = vec![(*out, GROUND)];
            if figures.differential_resistance.is_finite() {
                all.push((*plus, *minus));
            }
            if figures.common_resistance.is_finite() {
                all.extend([(*plus, GROUND), (*minus, GROUND)]);
            }
            if figures.reference_resistance.is_finite() {
                all.push((*reference, GROUND));
            }
            all
        }
        // A controlled current may fix a node through its control; whether it does is for the numbers to say.
        Element::Vccs { from, to, ctrl_plus, ctrl_minus, .. } => {
            vec![(*from, *to), (*from, *ctrl_plus), (*from, *ctrl_minus)]
        }
        _ => dictates(element).into_iter().collect(),
    }
}

fn floating(net: &Netlist) -> Result<(), CircuitError> {
    let mut groups = Groups::new(net.node_count());
    for (_, _, element) in net.elements() {
        for (a, b) in conducting(element) {
            groups.join(a, b);
        }
    }
    let Some(first) = net.nodes().find(|&n| groups.of(n) != 0) else { return Ok(()) };
    let group = groups.of(first);
    let nodes: Vec<Node> = net.nodes().filter(|&n| groups.of(n) == group).collect();
    let touching = net.elements().filter(|(_, _, e)| e.nodes().iter().any(|n| nodes.contains(n)));
    Err(CircuitError::FloatingNode {
        node: net.node_name(first).to_owned(),
        elements: touching.map(|(_, name, _)| name.to_owned()).collect(),
        nodes: nodes.iter().map(|&n| net.node_name(n).to_owned()).collect(),
    })
}

/// What a figure may be.
#[derive(Clone, Copy)]
enum Range {
    /// Any finite number.
    Finite,
    /// Above 0 and finite.
    Positive,
    /// Above 0, infinity allowed.
    PositiveOrInfinite,
    /// 0 or above and finite.
    NotNegative,
    /// Not zero, not NaN; infinity allowed.
    NotZero,
}

impl Range {
    fn holds(self, x: f64) -> bool {
        match self {
            Range::Finite => x.is_finite(),
            Range::Positive => x > 0.0 && x.is_finite(),
            Range::PositiveOrInfinite => x > 0.0,
            Range::NotNegative => x >= 0.0 && x.is_finite(),
            Range::NotZero => x != 0.0 && !x.is_nan(),
        }
    }

    fn words(self) -> &'static str {
        match self {
            Range::Finite => "a finite number",
            Range::Positive => "a finite number above 0",
            Range::PositiveOrInfinite => "a number above 0, or infinity",
            Range::NotNegative => "0 or a finite number above it",
            Range::NotZero => "a ratio that is not 0, or infinity for ideal",
        }
    }
}

fn figures(name: &str, element: &Element) -> Result<(), CircuitError> {
    let demand = |what: &str, value: f64, range: Range| {
        if range.holds(value) {
            return Ok(());
        }
        Err(CircuitError::BadValue {
            element: name.to_owned(),
            what: what.to_owned(),
            value,
            expected: range.words(),
        })
    };
    // What both kinds of amplifier have: bandwidth and rejections, errors, margins, noise.
    let amplifier =
        |[bandwidth, cmrr, psrr]: [f64; 3], errors: [f64; 5], margins: [f64; 4], n: NoiseFigures| {
            demand("the bandwidth (Hz)", bandwidth, Range::PositiveOrInfinite)?;
            demand("the common-mode rejection (V/V)", cmrr, Range::NotZero)?;
            demand("the supply rejection (V/V)", psrr, Range::NotZero)?;
            use Parameter as P;
            let named = [P::Offset, P::BiasPlus, P::BiasMinus, P::NominalCommonMode, P::NominalSupply];
            let rails = [P::OutputLow, P::OutputHigh, P::InputLow, P::InputHigh];
            for (what, value) in named.into_iter().zip(errors).chain(rails.into_iter().zip(margins)) {
                demand(&format!("the {}", what.name()), value, Range::Finite)?;
            }
            let noise = [P::NoiseVoltage, P::NoiseVoltageCorner, P::NoiseCurrent, P::NoiseCurrentCorner];
            for (what, value) in noise.into_iter().zip([n.white, n.corner_hz, n.current, n.current_corner_hz])
            {
                demand(&format!("the {}", what.name()), value, Range::NotNegative)?;
            }
            Ok(())
        };
    match element {
        Element::Resistor { ohms, .. } => {
            let range = Range::Positive;
            if range.holds(*ohms) {
                return Ok(());
            }
            Err(CircuitError::BadValue {
                element: name.to_owned(),
                what: "the resistance (Ω)".to_owned(),
                value: *ohms,
                expected: if *ohms == 0.0 {
                    "a finite number above 0 (for a short, join the two nodes or use a 0 V source)"
                } else if *ohms == f64::INFINITY {
                    "a finite number above 0 (for an open circuit, leave the resistor out)"
                } else {
                    range.words()
                },
            })
        }
        Element::Capacitor { farads, .. } => demand("the capacitance (F)", *farads, Range::Positive),
        Element::VoltageSource { volts, .. } => demand("the voltage (V)", *volts, Range::Finite),
        Element::CurrentSource { amperes, .. } => demand("the current (A)", *amperes, Range::Finite),
        Element::Vcvs { gain, .. } | Element::Cccs { gain, .. } => demand("the gain", *gain, Range::Finite),
        Element::Vccs { siemens, .. } => demand("the transconductance (A/V)", *siemens, Range::Finite),
        Element::Ccvs { ohms, .. } => demand("the transresistance (V/A)", *ohms, Range::Finite),
        Element::OpAmp { figures: f, .. } => {
            demand("the open-loop gain (V/V)", f.gain, Range::PositiveOrInfinite)?;
            demand("the output resistance (Ω)", f.output_resistance, Range::NotNegative)?;
            amplifier(
                [f.bandwidth_hz, f.cmrr, f.psrr],
                [f.offset, f.bias_plus, f.bias_minus, f.nominal_common_mode, f.nominal_supply],
                [f.output_low, f.output_high, f.input_low, f.input_high],
                f.noise,
            )
        }
        Element::InAmp { figures: f, .. } => {
            demand("the gain (V/V)", f.gain, Range::Positive)?;
            for (what, value) in [
                ("the differential input resistance (Ω)", f.differential_resistance),
                ("the common input resistance (Ω)", f.common_resistance),
                ("the resistance of the reference pin (Ω)", f.reference_resistance),
            ] {
                demand(what, value, Range::PositiveOrInfinite)?;
            }
            amplifier(
                [f.bandwidth_hz, f.cmrr, f.psrr],
                [f.offset, f.bias_plus, f.bias_minus, f.nominal_common_mode, f.nominal_supply],
                [f.output_low, f.output_high, f.input_low, f.input_high],
                f.noise,
            )
        }
        Element::Diode { figures: f, .. } => {
            demand("the saturation current (A)", f.saturation_current, Range::Positive)?;
            demand("the ideality factor", f.ideality, Range::Positive)?;
            demand("the series resistance (Ω)", f.series_resistance, Range::NotNegative)?;
            demand("the temperature (K)", f.kelvin, Range::Positive)?;
            demand("the band gap (eV)", f.bandgap_ev, Range::Positive)?;
            demand("the exponent of temperature", f.temperature_exponent, Range::Finite)
        }
    }
}
