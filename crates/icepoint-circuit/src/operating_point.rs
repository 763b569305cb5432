//! Operating point with diodes and with amplifiers that reach the end of their output range.
//!
//! **Method.** Newton's iteration on the diodes in companion form with junction limiting; each amplifier is in one of
//! three states (linear, at its low end, at its high end) that is revised after each solution; when all revisions at
//! once go in circles, only the first is made (Murty's least-index rule for complementarity
//! problems), and a stage that keeps coming back to one end is tried at the other. If that doesn't end, the
//! diodes are bridged with a conductance that shrinks to nothing, then the sources are turned up from zero.
//!
//! **End.** Every unknown moved by less than 1e-12 of itself plus 1e-13 (V or A): Newton's convergence is quadratic, so
//! what is left is rounding.

use crate::circuit::{Circuit, at_or_ground};
use crate::diode::Junction;
use crate::elimination::Factored;
use crate::error::{CircuitError, NewtonStep};
use crate::netlist::{ElementId, Node};
use crate::parameter::amp;
use crate::stamps::{AmpPlace, DiodePlace, Unknown};
use crate::system::{System, quartet};

/// Where an amplifier's output stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OutputState {
    /// Following its inputs.
    Linear,
    /// At the lowest voltage it can reach.
    Low,
    /// At the highest voltage it can reach.
    High,
}

/// A solution with the states that it holds in.
#[derive(Clone, Debug, PartialEq)]
pub struct OperatingPoint {
    /// All unknowns, as from [`Circuit::solve`]: to be read with [`Circuit::voltage`], [`Circuit::current`].
    pub x: Vec<f64>,
    /// Steps that Newton's iteration took, all attempts together.
    pub steps: usize,
    pub(crate) states: Vec<(ElementId, OutputState)>,
    /// Voltage of each junction, V.
    pub(crate) junctions: Vec<f64>,
}

impl OperatingPoint {
    /// The amplifiers with the state of their outputs, in the order of the netlist.
    pub fn outputs(&self) -> impl Iterator<Item = (ElementId, OutputState)> {
        self.states.iter().copied()
    }

    /// Whether no amplifier stands at an end of its output range.
    #[must_use]
    pub fn all_linear(&self) -> bool {
        self.states.iter().all(|&(_, state)| state == OutputState::Linear)
    }
}

/// Steps of one attempt.
const MOST_STEPS: usize = 200;
/// Steps after which amplifier states are revised one by one.
const TOGETHER: usize = 20;
/// Revisions of one amplifier after which leaving an end leads across to the other, by turns.
const PATIENCE: usize = 6;
const RELATIVE: f64 = 1e-12;
const ABSOLUTE: f64 = 1e-13;
/// Steps that are kept for the error message.
const REMEMBERED: usize = 5;
/// Conductances that bridge the diodes when the plain attempt fails, S.
const BRIDGES: [f64; 12] = [1e-2, 1e-3, 1e-4, 1e-5, 1e-6, 1e-7, 1e-8, 1e-9, 1e-10, 1e-11, 1e-12, 0.0];
/// Shares of the sources when bridging fails too.
const SHARES: usize = 40;

/// The working state of a search.
struct Search<'a> {
    circuit: &'a Circuit,
    values: &'a [f64],
    junctions: Vec<Junction>,
    base: Vec<f64>,
    factored: Factored<f64>,
    x: Vec<f64>,
    volts: Vec<f64>,
    states: Vec<OutputState>,
    revisions: Vec<usize>,
    trail: Vec<NewtonStep>,
    steps: usize,
}

enum Attempt {
    Found,
    Lost,
    Singular(usize),
}

impl Circuit {
    /// Finds the operating point. Exact for linear circuits within their limits in one step.
    ///
    /// # Errors
    /// [`CircuitError::NoConvergence`] with the last steps, [`CircuitError::Singular`], [`CircuitError::BadValue`],
    /// [`CircuitError::ValueCount`].
    pub fn operating_point(&self, values: &[f64]) -> Result<OperatingPoint, CircuitError> {
        let mut search = Search::new(self, values)?;
        let mut last = search.attempt(0.0, 1.0);
        // A linear circuit is as singular at the second try.
        let helpful = !self.is_linear() || !search.trail.is_empty();
        if helpful && !matches!(last, Attempt::Found) {
            search.restart();
            for bridge in BRIDGES {
                last = search.attempt(bridge, 1.0);
                if !matches!(last, Attempt::Found) {
                    break;
                }
            }
        }
        if helpful && !matches!(last, Attempt::Found) {
            search.restart();
            for share in 1..=SHARES {
                last = search.attempt(0.0, share as f64 / SHARES as f64);
                if !matches!(last, Attempt::Found) {
                    break;
                }
            }
        }
        match last {
            Attempt::Found => Ok(search.found()),
            Attempt::Singular(at) if search.trail.is_empty() => Err(self.singular(at)),
            // A matrix that became singular on the way is a search that ran away.
            Attempt::Lost | Attempt::Singular(_) => {
                let swings = search.trail.iter().max_by(|a, b| a.change.abs().total_cmp(&b.change.abs()));
                Err(CircuitError::NoConvergence {
                    node: swings.map_or_else(String::new, |s| s.node.clone()),
                    steps: search.trail,
                })
            }
        }
    }
}

impl<'a> Search<'a> {
    fn new(circuit: &'a Circuit, values: &'a [f64]) -> Result<Self, CircuitError> {
        circuit.demand_length(values)?;
        circuit.demand_numbers(values)?;
        let mut base = vec![0.0; circuit.dc.plan.slots() + 1];
        if !circuit.dc.assemble(values, &mut base) {
            return Err(circuit.bad_denominator(values));
        }
        Ok(Search {
            circuit,
            values,
            junctions: circuit.junctions(values)?,
            base,
            factored: Factored::new(&circuit.dc.plan),
            x: vec![0.0; circuit.unknowns()],
            volts: vec![0.0; circuit.stamps.diodes.len()],
            states: vec![OutputState::Linear; circuit.amps.len()],
            revisions: vec![0; circuit.amps.len()],
            trail: Vec::new(),
            steps: 0,
        })
    }

    fn restart(&mut self) {
        self.x.fill(0.0);
        self.volts.fill(0.0);
        self.states.fill(OutputState::Linear);
        self.revisions.fill(0);
    }

    fn found(self) -> OperatingPoint {
        let ids = self.circuit.amps.iter().map(|a| a.element);
        OperatingPoint {
            states: ids.zip(self.states).collect(),
            x: self.x,
            steps: self.steps,
            junctions: self.volts,
        }
    }

    fn attempt(&mut self, bridge: f64, share: f64) -> Attempt {
        let dc = &self.circuit.dc;
        let mut next = vec![0.0; self.x.len()];
        for iteration in 1..=MOST_STEPS {
            self.steps += 1;
            let mut matrix = self.base.clone();
            self.circuit.right_hand_side(self.values, &mut next);
            next.iter_mut().for_each(|b| *b *= share);
            for (k, d) in self.circuit.stamps.diodes.iter().enumerate() {
                let (current, conductance) = self.junctions[k].current(self.volts[k]);
                self.circuit.stamp_junction(dc, d, conductance + bridge, &mut matrix);
                let rest = current - conductance * self.volts[k];
                for (row, sign) in [(d.anode_row, -1.0), (d.cathode_row, 1.0)] {
                    if let Some(row) = row {
                        next[dc.plan.row_position[row as usize] as usize] += sign * rest;
                    }
                }
            }
            for (amp, &state) in self.circuit.stamps.amps.iter().zip(&self.states) {
                if state != OutputState::Linear {
                    self.circuit.stamp_end(dc, amp, state, &mut matrix);
                    let row = dc.plan.row_position[amp.row as usize] as usize;
                    next[row] = self.circuit.end_offset(amp, state, self.values);
                }
            }
            if let Err(at) = self.factored.factor(&dc.plan, |a| a.copy_from_slice(&matrix)) {
                return Attempt::Singular(at);
            }
            self.factored.solve(&dc.plan, &mut next);
            if next.iter().any(|v| !v.is_finite()) {
                return Attempt::Lost;
            }
            let moved = self.move_to(&next);
            let revised = self.revise(iteration);
            if !moved && !revised {
                return Attempt::Found;
            }
        }
        Attempt::Lost
    }

    /// Takes the step, junctions limited; `true` if anything moved.
    fn move_to(&mut self, next: &[f64]) -> bool {
        let mut moved = false;
        let mut most: Option<(f64, usize)> = None;
        for (at, (old, new)) in self.x.iter_mut().zip(next).enumerate() {
            let change = new - *old;
            moved |= change.abs() > ABSOLUTE + RELATIVE * new.abs();
            if most.is_none_or(|(c, _)| change.abs() > c.abs()) {
                most = Some((change, at));
            }
            *old = *new;
        }
        let place =
            |at: Option<u32>| at.map_or(u32::MAX, |at| self.circuit.dc.plan.column_position[at as usize]);
        for (k, d) in self.circuit.stamps.diodes.iter().enumerate() {
            let wanted = at_or_ground(next, place(d.anode)) - at_or_ground(next, place(d.cathode));
            let limited = self.junctions[k].damped(self.volts[k], wanted);
            moved |= (limited - wanted).abs() > ABSOLUTE + RELATIVE * wanted.abs();
            self.volts[k] = limited;
        }
        if let Some((change, at)) = most {
            if self.trail.len() == REMEMBERED {
                self.trail.remove(0);
            }
            let name = self.circuit.position_name(at);
            let node = name.strip_prefix("node ").map_or(name.clone(), str::to_owned);
            self.trail.push(NewtonStep { iteration: self.steps, node, volts: self.x[at], change });
        }
        moved
    }

    /// Revises the states of the amplifiers from the solution; `true` if one changed.
    fn revise(&mut self, iteration: usize) -> bool {
        let mut revised = false;
        for k in 0..self.states.len() {
            let limits = &self.circuit.amps[k];
            let Some((low, high)) = limits.output(self.values, &self.x) else { continue };
            let amp = &self.circuit.stamps.amps[k];
            let new = match self.states[k] {
                OutputState::Linear => {
                    let volts = self.circuit.drive_volts(amp, &self.x);
                    // The output beyond its end by rounding is no reason to change state.
                    let slack = ABSOLUTE + RELATIVE * (low.abs() + high.abs());
                    if volts > high + slack {
                        OutputState::High
                    } else if volts < low - slack {
                        OutputState::Low
                    } else {
                        OutputState::Linear
                    }
                }
                // At an end it stays while its own equation would drive it further out.
                state => {
                    let pull = self.circuit.pull(amp, self.values, &self.base, &self.x);
                    let stays = if state == OutputState::High { pull >= 0.0 } else { pull <= 0.0 };
                    // With more positive than negative feedback the linear state leads straight back to this end;
                    // such a stage runs to its other end instead.
                    let across = self.revisions[k] / PATIENCE % 2 == 1;
                    match (stays, across, state) {
                        (true, ..) => state,
                        (false, false, _) => OutputState::Linear,
                        (false, true, OutputState::High) => OutputState::Low,
                        (false, true, _) => OutputState::High,
                    }
                }
            };
            if new != self.states[k] {
                self.states[k] = new;
                self.revisions[k] += 1;
                revised = true;
                if iteration > TOGETHER {
                    break;
                }
            }
        }
        revised
    }
}

impl Circuit {
    pub(crate) fn junctions(&self, values: &[f64]) -> Result<Vec<Junction>, CircuitError> {
        let bad = |d: &DiodePlace| CircuitError::BadValue {
            element: self.net.element_name(d.element).to_owned(),
            what: "the saturation current, ideality or temperature".to_owned(),
            value: values[d.base as usize],
            expected: "figures above 0 that give a saturation current above 0",
        };
        self.stamps.diodes.iter().map(|d| Junction::new(values, d.base).ok_or_else(|| bad(d))).collect()
    }

    /// Adds a junction's conductance to a matrix.
    pub(crate) fn stamp_junction(&self, system: &System, d: &DiodePlace, siemens: f64, a: &mut [f64]) {
        for (place, sign) in quartet((d.anode, d.anode_row), (d.cathode, d.cathode_row)).into_iter().flatten()
        {
            system.add(a, place, sign * siemens);
        }
    }

    /// Replaces an amplifier's equation: the driven voltage stands at a fixed distance from a rail.
    pub(crate) fn stamp_end(&self, system: &System, amp: &AmpPlace, state: OutputState, a: &mut [f64]) {
        let Some((high, low)) = amp.supply else { return };
        system.clear_row(a, amp.row);
        system.add(a, (amp.row, amp.drive), 1.0);
        if let Some(rail) = if state == OutputState::High { high } else { low } {
            system.add(a, (amp.row, rail), -1.0);
        }
    }

    fn end_offset(&self, amp: &AmpPlace, state: OutputState, values: &[f64]) -> f64 {
        let at = |p: u32| values[(amp.base + p) as usize];
        if state == OutputState::High { -at(amp::OUTPUT_HIGH) } else { at(amp::OUTPUT_LOW) }
    }

    fn drive_volts(&self, amp: &AmpPlace, x: &[f64]) -> f64 {
        at_or_ground(x, self.dc.plan.column_position[amp.drive as usize])
    }

    /// What an amplifier's own equation lacks: above 0 when its inputs want the output higher than it is.
    fn pull(&self, amp: &AmpPlace, values: &[f64], base: &[f64], x: &[f64]) -> f64 {
        let plan = &self.dc.plan;
        let row = plan.row_position[amp.row as usize];
        let mut right = vec![0.0; plan.n];
        self.right_hand_side(values, &mut right);
        let entries = plan.slot_row.iter().zip(&plan.slot_column).zip(base);
        let left: f64 = entries.filter(|((r, _), _)| **r == row).map(|((_, c), v)| v * x[*c as usize]).sum();
        right[row as usize] - left
    }

    /// Current of an element in a solution, A: into its first terminal (plus, `from`, `a`, anode) and out of the
    /// second; for an amplifier, into its output pin. Capacitors carry none. Controlled voltage sources included.
    ///
    /// A source whose current is no unknown gets it from Kirchhoff's current law at its node. NaN for wrong lengths.
    #[must_use]
    pub fn current(&self, values: &[f64], x: &[f64], element: ElementId) -> f64 {
        use crate::element::Element as E;
        if values.len() != self.nominal.len() || x.len() != self.unknowns() {
            return f64::NAN;
        }
        let Some(found) = self.net.element(element) else { return f64::NAN };
        let p = self.base[element.index()] as usize;
        let v = |n: &Node| self.voltage(x, *n);
        let column = |at: u32| x[self.dc.plan.column_position[at as usize] as usize];
        let own = self.stamps.own_row[element.index()];
        if let Some(own) = own.filter(|&at| self.stamps.unknowns[at as usize] == Unknown::Branch(element)) {
            return column(own);
        }
        let sensed =
            |name: &str| self.net.find_element(name).map_or(f64::NAN, |id| self.current(values, x, id));
        match found {
            E::Resistor { a, b, .. } => (v(a) - v(b)) / values[p],
            E::Capacitor { .. } => 0.0,
            E::CurrentSource { .. } => values[p],
            E::Vccs { ctrl_plus, ctrl_minus, .. } => values[p] * (v(ctrl_plus) - v(ctrl_minus)),
            E::Cccs { sensed: name, .. } => values[p] * sensed(name),
            E::Diode { anode, cathode, .. } => {
                let anode = self.stamps.inner[element.index()].map_or_else(|| v(anode), column);
                Junction::new(values, p as u32).map_or(f64::NAN, |j| j.current(anode - v(cathode)).0)
            }
            E::OpAmp { out, .. } if self.stamps.inner[element.index()].is_some() => {
                let drive = self.stamps.inner[element.index()].map_or(f64::NAN, column);
                (v(out) - drive) / values[p + amp::RESISTANCE as usize]
            }
            E::OpAmp { out, .. } | E::InAmp { out, .. } => -self.leaving(values, x, *out, element),
            E::VoltageSource { plus, minus, .. }
            | E::Vcvs { plus, minus, .. }
            | E::Ccvs { plus, minus, .. } => {
                if *minus == crate::netlist::Netlist::GROUND {
                    -self.leaving(values, x, *plus, element)
                } else {
                    self.leaving(values, x, *minus, element)
                }
            }
        }
    }

    /// Current that leaves a node through every element but one, A.
    fn leaving(&self, values: &[f64], x: &[f64], node: Node, except: ElementId) -> f64 {
        use crate::element::Element as E;
        let mut total = 0.0;
        for (id, _, element) in self.net.elements().filter(|(id, ..)| *id != except) {
            let at = |n: &Node| *n == node;
            let ends = match element {
                E::Resistor { a, b, .. } => Some((a, b)),
                E::CurrentSource { from, to, .. } | E::Vccs { from, to, .. } | E::Cccs { from, to, .. } => {
                    Some((from, to))
                }
                E::VoltageSource { plus, minus, .. }
                | E::Vcvs { plus, minus, .. }
                | E::Ccvs { plus, minus, .. } => Some((plus, minus)),
                E::Diode { anode, cathode, .. } => Some((anode, cathode)),
                E::Capacitor { .. } | E::OpAmp { .. } | E::InAmp { .. } => None,
            };
            if let Some((first, second)) = ends
                && at(first) != at(second)
            {
                let current = self.current(values, x, id);
                total += if at(first) { current } else { -current };
            }
            let p = self.base[id.index()];
            let value = |place: u32| values[(p + place) as usize];
            if let E::OpAmp { plus, minus, out, .. } | E::InAmp { plus, minus, out, .. } = element {
                total += if at(plus) { value(amp::BIAS_PLUS) } else { 0.0 };
                total += if at(minus) { value(amp::BIAS_MINUS) } else { 0.0 };
                if at(out) {
                    total += self.current(values, x, id);
                }
            }
            if let E::InAmp { plus, minus, reference, .. } = element {
                let v = |n: &Node| self.voltage(x, *n);
                let between = (v(plus) - v(minus)) / value(amp::RESISTANCE);
                total += if at(plus) { between + v(plus) / value(amp::COMMON_RESISTANCE) } else { 0.0 };
                total += if at(minus) { -between + v(minus) / value(amp::COMMON_RESISTANCE) } else { 0.0 };
                total += if at(reference) { v(reference) / value(amp::REFERENCE_RESISTANCE) } else { 0.0 };
            }
        }
        total
    }
}
