//! The board on the bench: a source, a short or nothing at its terminals instead of the thermocouple, and a voltmeter at
//! its test points.
//!
//! **How.** A source is a thermocouple of another resistance whose voltage does not depend on any temperature, so the
//! chain is altered and the model stays what it is. What joins the terminals to the plant stays too: where the junction
//! is grounded, the negative lead of the source is taken as tied to the plant's earth.

use crate::chain::Chain;
use crate::front_end::{Part, PartKind, ResistorFigures, TestPoint};
use crate::model::{BoardState, Model, Scratch};

/// Resistance between terminals that nothing is connected to, Ω.
pub const OPEN: f64 = 1e12;

impl Chain {
    /// The same chain with a source of `ohms` between its terminals in the place of probe and cable.
    #[must_use]
    pub fn with_source(&self, ohms: f64) -> Self {
        let mut chain = self.clone();
        chain.probe.resistance = ohms;
        if let Some(lead) = &mut chain.lead {
            lead.resistance = 0.0;
        }
        chain
    }

    /// The same chain with its supplies and its reference before the other test points.
    #[must_use]
    pub fn with_rails(&self) -> Self {
        let mut chain = self.clone();
        let rails = self.front_end.parts.iter().filter_map(|part| match &part.kind {
            PartKind::Supply { node, .. } | PartKind::Reference { node, .. } => Some(TestPoint {
                label: part.designator.clone(),
                node: node.clone(),
                what: part.purpose.clone(),
            }),
            _ => None,
        });
        let rails = rails.filter(|rail| self.front_end.test_points.iter().all(|p| p.node != rail.node));
        chain.front_end.test_points = rails.collect();
        chain.front_end.test_points.extend(self.front_end.test_points.iter().cloned());
        chain
    }

    /// The same chain with a voltmeter of `ohms` between `node` and ground.
    #[must_use]
    pub fn with_meter(&self, node: &str, ohms: f64) -> Self {
        self.with_meter_between(node, "gnd", ohms)
    }

    /// The same chain with a voltmeter of `ohms` between two nodes.
    #[must_use]
    pub fn with_meter_between(&self, node: &str, other: &str, ohms: f64) -> Self {
        let mut chain = self.clone();
        chain.front_end.parts.push(Part {
            designator: "voltmeter".into(),
            purpose: "looks at a test point".into(),
            kind: PartKind::Resistor {
                a: node.into(),
                b: other.into(),
                figures: ResistorFigures { ohms, tolerance: 0.0, tempco: 0.0, ageing: 0.0, network: None },
            },
        });
        chain
    }
}

impl Model {
    /// Volts that the converter gives, from those of the reading rule.
    pub fn converter_volts(&self, rule_volts: f64) -> f64 {
        let (offset, gain) = self.nominal_transfer();
        match self.chain().readout {
            crate::chain::Readout::Line { .. } => rule_volts,
            _ => offset + gain * rule_volts,
        }
    }

    /// Voltages of the test points against ground for `v` volts at the terminals, V, in the order of the front end's
    /// list, and that of the output. `state` is the one that `scratch` was left with. Amplifiers may clip.
    pub fn test_points(&self, state: &BoardState, v: f64, scratch: &mut Scratch, out: &mut Vec<f64>) -> f64 {
        let inside = self.within_limits(v, scratch);
        let wiring = self.wiring();
        let circuit = &wiring.circuit;
        let (values, at) = scratch.solution();
        out.clear();
        let mut clipped = None;
        if !inside {
            let mut values = values.to_vec();
            if let Some(slot) = values.get_mut(wiring.thermocouple.index()) {
                *slot = v;
            }
            clipped = circuit.operating_point(&values).ok();
        }
        let x = clipped.as_ref().map_or(at, |point| point.x.as_slice());
        out.extend(wiring.test_nodes.iter().map(|node| circuit.voltage(x, *node)));
        self.output_volts(state, v, inside, scratch)
    }
}
