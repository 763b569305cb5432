//! From elements to equations: which parameter stands at which place of `(G + s·C)·x = b`.
//!
//! Unknowns are node voltages, inner points of elements (behind an output or series resistance) and the currents of
//! floating voltage sources. Equations are Kirchhoff's current law, *currents leaving the node add up to zero*, except
//! at a node whose voltage an element dictates against ground (grounded source, amplifier output): there the
//! element's own equation takes the place of the current law, whose only job would be to find the element's current.
//! That saves an unknown per source and amplifier.
//!
//! Every coefficient is a constant, a parameter, or the reciprocal of one, so the derivative by each parameter is
//! exact and needs no further bookkeeping.

use crate::element::Element;
use crate::netlist::{ElementId, Netlist, Node};
use crate::parameter::{amp, diode};

/// An unknown before the order of elimination is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Unknown {
    /// Voltage of a node.
    Node(Node),
    /// Voltage of an inner point of an element.
    Inner(ElementId),
    /// Current into the plus terminal of a voltage source.
    Branch(ElementId),
}

/// A place in the matrix, original numbering.
pub(crate) type Place = (u32, u32);

/// `+1/p` at the plus places, `−1/p` at the minus places.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Reciprocal {
    pub parameter: u32,
    pub plus: Vec<Place>,
    pub minus: Vec<Place>,
}

/// A coefficient of `s`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Dynamic {
    /// The parameter itself (capacitance).
    Farads(u32),
    /// `1/(2π·bandwidth)`.
    TimeConstant(u32),
    /// `1/(2π·bandwidth·gain)`.
    TimeConstantOverGain(u32, u32),
}

impl Dynamic {
    pub fn value(self, values: &[f64]) -> f64 {
        const TAU: f64 = core::f64::consts::TAU;
        match self {
            Dynamic::Farads(p) => values[p as usize],
            Dynamic::TimeConstant(p) => 1.0 / (TAU * values[p as usize]),
            Dynamic::TimeConstantOverGain(p, q) => 1.0 / (TAU * values[p as usize] * values[q as usize]),
        }
    }
}

/// An amplifier in the equations; unknowns and rows in original numbering, `None` for ground.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct AmpPlace {
    pub element: ElementId,
    /// The row of its own equation.
    pub row: u32,
    /// The voltage that it drives (behind its output resistance).
    pub drive: u32,
    pub out: Option<u32>,
    pub plus: Option<u32>,
    pub minus: Option<u32>,
    pub supply: Option<(Option<u32>, Option<u32>)>,
    /// First of its parameters.
    pub base: u32,
}

/// A diode in the equations: the junction only.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct DiodePlace {
    pub element: ElementId,
    pub anode: Option<u32>,
    pub cathode: Option<u32>,
    /// Rows of the current law, `None` for ground or where a source dictates.
    pub anode_row: Option<u32>,
    pub cathode_row: Option<u32>,
    /// First of its parameters.
    pub base: u32,
}

/// All equations of a circuit.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Stamps {
    pub unknowns: Vec<Unknown>,
    pub constants: Vec<(Place, f64)>,
    pub reciprocals: Vec<Reciprocal>,
    /// `coefficient·parameter` in the matrix.
    pub linears: Vec<(u32, Place, f64)>,
    /// `coefficient·parameter` on the right-hand side.
    pub sources: Vec<(u32, u32, f64)>,
    /// `coefficient·parameter·parameter` on the right-hand side.
    pub products: Vec<(u32, u32, u32, f64)>,
    pub dynamics: Vec<(Dynamic, Place, f64)>,
    pub amps: Vec<AmpPlace>,
    pub diodes: Vec<DiodePlace>,
    /// Row of the current law of each unknown voltage, `None` where an element's equation replaces it.
    pub current_law: Vec<Option<u32>>,
    /// Row of each element's own equation, where it has one.
    pub own_row: Vec<Option<u32>>,
    /// Inner point of each element, where it has one.
    pub inner: Vec<Option<u32>>,
}

/// Index of the unknown of a node.
pub(crate) fn node_unknown(node: Node) -> Option<u32> {
    node.0.checked_sub(1)
}

/// Whether an element dictates a voltage between two nodes, and which.
pub(crate) fn dictates(element: &Element) -> Option<(Node, Node)> {
    match element {
        Element::VoltageSource { plus, minus, .. }
        | Element::Vcvs { plus, minus, .. }
        | Element::Ccvs { plus, minus, .. } => Some((*plus, *minus)),
        Element::OpAmp { out, figures, .. } => {
            (figures.output_resistance <= 0.0).then_some((*out, Netlist::GROUND))
        }
        Element::InAmp { out, .. } => Some((*out, Netlist::GROUND)),
        _ => None,
    }
}

impl Stamps {
    /// Builds the equations. The netlist must have passed the checks of [`crate::topology`]. `base[e]` is the first
    /// parameter of element `e`; `sensed` tells which voltage sources control others.
    pub fn new(net: &Netlist, base: &[u32], sensed: &[Option<ElementId>]) -> Stamps {
        let mut s =
            Stamps { unknowns: net.nodes().skip(1).map(Unknown::Node).collect(), ..Stamps::default() };
        let count = net.elements().count();
        s.own_row = vec![None; count];
        s.inner = vec![None; count];
        for (id, _, element) in net.elements() {
            let inner = match element {
                Element::OpAmp { figures, .. } => figures.output_resistance > 0.0,
                Element::Diode { figures, .. } => figures.series_resistance > 0.0,
                _ => false,
            };
            if inner {
                s.inner[id.index()] = Some(s.unknowns.len() as u32);
                s.unknowns.push(Unknown::Inner(id));
            }
        }
        s.current_law = (0..s.unknowns.len() as u32).map(Some).collect();
        for (id, _, element) in net.elements() {
            let is_sensed = sensed.contains(&Some(id));
            let dictated = match dictates(element) {
                Some((plus, minus)) if plus == Netlist::GROUND => node_unknown(minus).filter(|_| !is_sensed),
                Some((plus, minus)) if minus == Netlist::GROUND => node_unknown(plus).filter(|_| !is_sensed),
                Some(_) => None,
                None if matches!(element, Element::OpAmp { .. }) => s.inner[id.index()],
                None => continue,
            };
            // A node can be dictated once; the checks of the topology refuse a second time.
            if let Some(row) = dictated.and_then(|at| s.current_law[at as usize].take()) {
                s.own_row[id.index()] = Some(row);
            } else {
                s.own_row[id.index()] = Some(s.unknowns.len() as u32);
                s.unknowns.push(Unknown::Branch(id));
                s.current_law.push(None);
            }
        }
        for (id, _, element) in net.elements() {
            s.stamp(id, element, base[id.index()], sensed[id.index()]);
        }
        s
    }

    fn law(&self, at: Option<u32>) -> Option<u32> {
        at.and_then(|at| self.current_law[at as usize])
    }

    fn constant(&mut self, row: Option<u32>, column: Option<u32>, value: f64) {
        if let (Some(row), Some(column)) = (row, column) {
            self.constants.push(((row, column), value));
        }
    }

    fn linear(&mut self, parameter: u32, row: Option<u32>, column: Option<u32>, value: f64) {
        if let (Some(row), Some(column)) = (row, column) {
            self.linears.push((parameter, (row, column), value));
        }
    }

    fn source(&mut self, parameter: u32, row: Option<u32>, value: f64) {
        if let Some(row) = row {
            self.sources.push((parameter, row, value));
        }
    }

    /// Places of a two-terminal element between `a` and `b`.
    fn between(&self, a: Option<u32>, b: Option<u32>) -> (Vec<Place>, Vec<Place>) {
        let place = |row: Option<u32>, column: Option<u32>| Some((self.law(row)?, column?));
        let plus = [place(a, a), place(b, b)].into_iter().flatten().collect();
        let minus = [place(a, b), place(b, a)].into_iter().flatten().collect();
        (plus, minus)
    }

    fn conductance(&mut self, parameter: u32, a: Option<u32>, b: Option<u32>) {
        if a != b {
            let (plus, minus) = self.between(a, b);
            self.reciprocals.push(Reciprocal { parameter, plus, minus });
        }
    }

    /// The current of a source's branch enters its plus terminal, leaving the node.
    fn branch(&mut self, id: ElementId, plus: Option<u32>, minus: Option<u32>) -> Option<u32> {
        let row = self.own_row[id.index()];
        self.constant(row, plus, 1.0);
        self.constant(row, minus, -1.0);
        if let Some(at) = row
            && self.unknowns[at as usize] == Unknown::Branch(id)
        {
            self.constant(self.law(plus), row, 1.0);
            self.constant(self.law(minus), row, -1.0);
        }
        row
    }

    fn stamp(&mut self, id: ElementId, element: &Element, p: u32, sensed: Option<ElementId>) {
        let at = |node: &Node| node_unknown(*node);
        match element {
            Element::Resistor { a, b, .. } => self.conductance(p, at(a), at(b)),
            Element::Capacitor { a, b, .. } => {
                let (plus, minus) = self.between(at(a), at(b));
                if a != b {
                    self.dynamics.extend(plus.into_iter().map(|place| (Dynamic::Farads(p), place, 1.0)));
                    self.dynamics.extend(minus.into_iter().map(|place| (Dynamic::Farads(p), place, -1.0)));
                }
            }
            Element::VoltageSource { plus, minus, .. } => {
                let row = self.branch(id, at(plus), at(minus));
                self.source(p, row, 1.0);
            }
            Element::CurrentSource { from, to, .. } => {
                self.source(p, self.law(at(from)), -1.0);
                self.source(p, self.law(at(to)), 1.0);
            }
            Element::Vcvs { plus, minus, ctrl_plus, ctrl_minus, .. } => {
                let row = self.branch(id, at(plus), at(minus));
                self.linear(p, row, at(ctrl_plus), -1.0);
                self.linear(p, row, at(ctrl_minus), 1.0);
            }
            Element::Vccs { from, to, ctrl_plus, ctrl_minus, .. } => {
                for (end, sign) in [(from, 1.0), (to, -1.0)] {
                    let row = self.law(at(end));
                    self.linear(p, row, at(ctrl_plus), sign);
                    self.linear(p, row, at(ctrl_minus), -sign);
                }
            }
            Element::Ccvs { plus, minus, .. } => {
                let row = self.branch(id, at(plus), at(minus));
                let current = sensed.and_then(|id| self.own_row[id.index()]);
                self.linear(p, row, current, -1.0);
            }
            Element::Cccs { from, to, .. } => {
                let current = sensed.and_then(|id| self.own_row[id.index()]);
                self.linear(p, self.law(at(from)), current, 1.0);
                self.linear(p, self.law(at(to)), current, -1.0);
            }
            Element::OpAmp { plus, minus, out, supply, .. } => {
                let inner = self.inner[id.index()];
                let drive = inner.or(at(out));
                let row = self.own_row[id.index()];
                if inner.is_some() {
                    self.conductance(p + amp::RESISTANCE, inner, at(out));
                }
                self.linear(p + amp::GAIN, row, drive, 1.0);
                if let (Some(row), Some(drive)) = (row, drive) {
                    self.dynamics.push((Dynamic::TimeConstant(p + amp::BANDWIDTH), (row, drive), 1.0));
                }
                self.amplifier(id, p, row, drive, at(out), (at(plus), at(minus)), supply);
            }
            Element::InAmp { plus, minus, reference, out, supply, .. } => {
                let (row, drive) = (self.own_row[id.index()], at(out));
                let place = |column: Option<u32>| Some((row?, column?));
                self.reciprocals.push(Reciprocal {
                    parameter: p + amp::GAIN,
                    plus: place(drive).into_iter().collect(),
                    minus: place(at(reference)).into_iter().collect(),
                });
                if let Some(place) = place(drive) {
                    let pole = Dynamic::TimeConstantOverGain(p + amp::BANDWIDTH, p + amp::GAIN);
                    self.dynamics.push((pole, place, 1.0));
                }
                self.conductance(p + amp::RESISTANCE, at(plus), at(minus));
                self.conductance(p + amp::COMMON_RESISTANCE, at(plus), None);
                self.conductance(p + amp::COMMON_RESISTANCE, at(minus), None);
                self.conductance(p + amp::REFERENCE_RESISTANCE, at(reference), None);
                self.amplifier(id, p, row, drive, at(out), (at(plus), at(minus)), supply);
            }
            Element::Diode { anode, cathode, .. } => {
                let inner = self.inner[id.index()];
                if inner.is_some() {
                    self.conductance(p + diode::SERIES_RESISTANCE, at(anode), inner);
                }
                let anode = inner.or(at(anode));
                self.diodes.push(DiodePlace {
                    element: id,
                    anode,
                    cathode: at(cathode),
                    anode_row: self.law(anode),
                    cathode_row: self.law(at(cathode)),
                    base: p,
                });
            }
        }
    }

    /// The part that both amplifiers share: `… − (v₊ − v₋) − v_cm/cmrr − v_supply/psrr = offset − …` and bias currents.
    #[allow(clippy::too_many_arguments)] // Private; a struct for one call would say the same again.
    fn amplifier(
        &mut self,
        id: ElementId,
        p: u32,
        row: Option<u32>,
        drive: Option<u32>,
        out: Option<u32>,
        (plus, minus): (Option<u32>, Option<u32>),
        supply: &Option<(Node, Node)>,
    ) {
        self.constant(row, plus, -1.0);
        self.constant(row, minus, 1.0);
        self.linear(p + amp::INVERSE_CMRR, row, plus, -0.5);
        self.linear(p + amp::INVERSE_CMRR, row, minus, -0.5);
        self.source(p + amp::OFFSET, row, 1.0);
        self.source(p + amp::BIAS_PLUS, self.law(plus), -1.0);
        self.source(p + amp::BIAS_MINUS, self.law(minus), -1.0);
        let Some(row) = row else { return };
        self.products.push((p + amp::INVERSE_CMRR, p + amp::NOMINAL_COMMON_MODE, row, -1.0));
        let supply = supply.map(|(high, low)| (node_unknown(high), node_unknown(low)));
        if let Some((high, low)) = supply {
            self.linear(p + amp::INVERSE_PSRR, Some(row), high, -1.0);
            self.linear(p + amp::INVERSE_PSRR, Some(row), low, 1.0);
            self.products.push((p + amp::INVERSE_PSRR, p + amp::NOMINAL_SUPPLY, row, -1.0));
        }
        if let Some(drive) = drive {
            self.amps.push(AmpPlace { element: id, row, drive, out, plus, minus, supply, base: p });
        }
    }
}
