//! Words for drawing a circuit in a test: `board.r("R1", "in", "out", 1e3)`.
#![allow(dead_code)] // Each test binary uses some of the words.

use icepoint_circuit::{
    Circuit, CircuitError, DiodeFigures, Element, ElementId, InAmpFigures, Netlist, Node, NoiseFigures,
    OpAmpFigures, Parameter,
};

/// A netlist under the pencil.
#[derive(Debug, Default)]
pub struct Board(pub Netlist);

impl Board {
    pub fn n(&mut self, name: &str) -> Node {
        self.0.node(name)
    }
    pub fn r(&mut self, name: &str, a: &str, b: &str, ohms: f64) -> ElementId {
        let (a, b) = (self.n(a), self.n(b));
        self.0.add(name, Element::Resistor { a, b, ohms })
    }
    pub fn c(&mut self, name: &str, a: &str, b: &str, farads: f64) -> ElementId {
        let (a, b) = (self.n(a), self.n(b));
        self.0.add(name, Element::Capacitor { a, b, farads })
    }
    pub fn v(&mut self, name: &str, plus: &str, minus: &str, volts: f64) -> ElementId {
        let (plus, minus) = (self.n(plus), self.n(minus));
        self.0.add(name, Element::VoltageSource { plus, minus, volts })
    }
    pub fn i(&mut self, name: &str, from: &str, to: &str, amperes: f64) -> ElementId {
        let (from, to) = (self.n(from), self.n(to));
        self.0.add(name, Element::CurrentSource { from, to, amperes })
    }
    pub fn d(&mut self, name: &str, anode: &str, cathode: &str, figures: DiodeFigures) -> ElementId {
        let (anode, cathode) = (self.n(anode), self.n(cathode));
        self.0.add(name, Element::Diode { anode, cathode, figures })
    }
    /// Operational amplifier; `pins` is plus, minus, out.
    pub fn op(
        &mut self,
        name: &str,
        pins: [&str; 3],
        supply: Option<(&str, &str)>,
        figures: OpAmpFigures,
    ) -> ElementId {
        let [plus, minus, out] = pins.map(|p| self.n(p));
        let supply = supply.map(|(high, low)| (self.n(high), self.n(low)));
        self.0.add(name, Element::OpAmp { plus, minus, out, supply, figures })
    }
    /// Instrumentation amplifier; `pins` is plus, minus, reference, out.
    pub fn ina(
        &mut self,
        name: &str,
        pins: [&str; 4],
        supply: Option<(&str, &str)>,
        figures: InAmpFigures,
    ) -> ElementId {
        let [plus, minus, reference, out] = pins.map(|p| self.n(p));
        let supply = supply.map(|(high, low)| (self.n(high), self.n(low)));
        self.0.add(name, Element::InAmp { plus, minus, reference, out, supply, figures })
    }
    pub fn circuit(&self) -> Circuit {
        Circuit::new(&self.0).unwrap()
    }
    pub fn refused(&self) -> CircuitError {
        Circuit::new(&self.0).unwrap_err()
    }
}

/// A plausible instrumentation amplifier at a gain of 80.
pub fn instrumentation_amplifier() -> InAmpFigures {
    InAmpFigures {
        bandwidth_hz: 20e3,
        offset: 15e-6,
        bias_plus: 0.5e-9,
        bias_minus: 0.3e-9,
        differential_resistance: 1e10,
        common_resistance: 2e10,
        cmrr: 1e5,
        nominal_common_mode: 1.65,
        psrr: 2e5,
        nominal_supply: 3.3,
        output_low: 0.05,
        output_high: 0.05,
        noise: NoiseFigures { white: 30e-9, corner_hz: 5.0, ..NoiseFigures::default() },
        ..InAmpFigures::ideal(80.0)
    }
}

/// Linear solution at the nominal values.
pub fn solved(circuit: &Circuit) -> Vec<f64> {
    let mut ws = circuit.workspace();
    let mut x = vec![0.0; circuit.unknowns()];
    circuit.factor(&circuit.values(), &mut ws).unwrap();
    circuit.solve(&circuit.values(), &ws, &mut x);
    x
}

/// Nominal voltage of a node of a linear circuit.
pub fn volts(circuit: &Circuit, node: &str) -> f64 {
    circuit.voltage(&solved(circuit), node_of(circuit, node))
}

pub fn node_of(circuit: &Circuit, name: &str) -> Node {
    circuit.netlist().find_node(name).unwrap()
}

/// Output between a node and ground.
pub fn out_of(circuit: &Circuit, name: &str) -> (Node, Node) {
    (node_of(circuit, name), Netlist::GROUND)
}

/// |response| of a node to a voltage source.
pub fn gain_at(circuit: &Circuit, source: &str, node: &str, f: f64) -> f64 {
    let source = circuit.parameter(source, Parameter::Volts).unwrap();
    circuit.ac(&circuit.values(), None, source, f).unwrap().voltage(node_of(circuit, node)).magnitude()
}

#[track_caller]
pub fn close(found: f64, expected: f64, relative: f64) {
    let error = (found - expected).abs();
    assert!(
        error <= relative * expected.abs(),
        "{found:e} against {expected:e}: off by {:e} of it, allowed {relative:e}",
        error / expected.abs()
    );
}
