//! A compiled circuit and its linear direct-current solution: the hot path.

use std::sync::{Arc, OnceLock};

use crate::elimination::Factored;
use crate::error::CircuitError;
use crate::limits::AmpLimits;
use crate::nearby::Standing;
use crate::netlist::{ElementId, Netlist, Node};
use crate::parameter::{Parameter, ParameterId, parameters_of};
use crate::stamps::{Stamps, Unknown, node_unknown};
use crate::system::System;
use crate::topology;

/// A circuit whose equations are built and whose order of elimination is planned, ready for many solutions with
/// different values of its parameters.
///
/// Every call that takes `values` wants the whole vector, as long as [`Circuit::values`].
#[derive(Clone, Debug)]
pub struct Circuit {
    pub(crate) net: Netlist,
    pub(crate) parameters: Arc<[(ElementId, Parameter)]>,
    pub(crate) nominal: Vec<f64>,
    pub(crate) base: Arc<[u32]>,
    pub(crate) stamps: Arc<Stamps>,
    pub(crate) dc: Arc<System>,
    pub(crate) ac: Arc<System>,
    /// Position in the solution of each node; ground is out of range on purpose.
    position: Arc<[u32]>,
    /// Right-hand side: `x[row] += coefficient·parameter`, sorted by parameter.
    pub(crate) sources: Arc<[(u32, u32, f64)]>,
    pub(crate) products: Arc<[(u32, u32, u32, f64)]>,
    pub(crate) amps: Arc<[AmpLimits]>,
    /// How each parameter stands in the equations, found when first asked for.
    pub(crate) standings: Arc<OnceLock<Vec<Standing>>>,
}

/// Reused memory of [`Circuit::factor`].
#[derive(Clone, Debug)]
pub struct Workspace {
    pub(crate) factored: Factored<f64>,
    coefficients: Vec<f64>,
    ready: bool,
}

impl Workspace {
    /// Whether the last factorisation could keep the planned order (else it took partial pivoting, which is slower).
    #[must_use]
    pub fn planned(&self) -> bool {
        self.factored.planned()
    }
}

/// 1 kHz as a real 1/s: where the order of elimination for alternating current is planned.
const PLANNING_RATE: f64 = 6283.0;

impl Circuit {
    /// Checks and compiles a netlist.
    ///
    /// # Errors
    /// Every kind that needs no solution: names, impossible figures, floating nodes, loops of sources; and
    /// [`CircuitError::Singular`] when the equations can't be solved at the nominal values.
    pub fn new(net: &Netlist) -> Result<Circuit, CircuitError> {
        Self::compiled(net, None)
    }

    /// The same as [`Circuit::new`], in less time where `other` differs in its figures alone: the order of elimination is
    /// then taken over from it, which alters solutions by rounding.
    ///
    /// # Errors
    /// As [`Circuit::new`]; equations that can't be solved at the nominal values alone may be told by the first solution
    /// instead.
    pub fn like(net: &Netlist, other: &Circuit) -> Result<Circuit, CircuitError> {
        Self::compiled(net, Some(other))
    }

    fn compiled(net: &Netlist, other: Option<&Circuit>) -> Result<Circuit, CircuitError> {
        let sensed = topology::check(net)?;
        let (mut parameters, mut nominal, mut base) = (Vec::new(), Vec::new(), Vec::new());
        for (id, _, element) in net.elements() {
            base.push(parameters.len() as u32);
            for (parameter, value) in parameters_of(element) {
                parameters.push((id, parameter));
                nominal.push(value);
            }
        }
        let stamps = Stamps::new(net, &base, &sensed);
        // Figures stand in no stamp: with the same ones the equations have the same shape.
        if let Some(other) = other.filter(|other| *other.stamps == stamps && *other.parameters == *parameters)
        {
            return Ok(Circuit { net: net.clone(), nominal, ..other.clone() });
        }
        let open = |at: usize| CircuitError::Singular { unknown: unknown_name(net, &stamps.unknowns, at) };
        let dc = System::new(&stamps, &nominal, None).map_err(open)?;
        let ac = System::new(&stamps, &nominal, Some(PLANNING_RATE)).map_err(open)?;
        let column = |at: Option<u32>| at.map_or(u32::MAX, |at| dc.plan.column_position[at as usize]);
        let row = |at: u32| dc.plan.row_position[at as usize];
        let position = net.nodes().map(|n| column(node_unknown(n))).collect();
        let mut sources: Vec<_> = stamps.sources.iter().map(|&(p, at, k)| (p, row(at), k)).collect();
        sources.sort_by_key(|&(p, at, _)| (p, at));
        let products = stamps.products.iter().map(|&(p, q, at, k)| (p, q, row(at), k)).collect();
        let amps = stamps.amps.iter().map(|amp| AmpLimits::new(amp, column)).collect();
        Ok(Circuit {
            net: net.clone(),
            parameters: parameters.into(),
            nominal,
            base: base.into(),
            position,
            sources: sources.into(),
            products,
            amps,
            stamps: Arc::new(stamps),
            dc: Arc::new(dc),
            ac: Arc::new(ac),
            standings: Arc::default(),
        })
    }

    /// The netlist that was compiled.
    #[must_use]
    pub fn netlist(&self) -> &Netlist {
        &self.net
    }

    /// Number of unknowns: the length of every solution.
    #[must_use]
    pub fn unknowns(&self) -> usize {
        self.dc.plan.n
    }

    /// The nominal values of all parameters.
    #[must_use]
    pub fn values(&self) -> Vec<f64> {
        self.nominal.clone()
    }

    /// The place of a parameter in the vector of values; `None` if there is no such element or it has no such figure.
    #[must_use]
    pub fn parameter(&self, element: &str, parameter: Parameter) -> Option<ParameterId> {
        let id = self.net.find_element(element)?;
        let at = self.parameters.iter().position(|&(e, p)| e == id && p == parameter)?;
        Some(ParameterId(at as u32))
    }

    /// Every parameter in the order of the vector of values: place, name of its element, figure.
    pub fn parameters(&self) -> impl Iterator<Item = (ParameterId, &str, Parameter)> {
        let name = |id: ElementId| self.net.element_name(id);
        self.parameters.iter().enumerate().map(move |(at, &(id, p))| (ParameterId(at as u32), name(id), p))
    }

    /// Whether the circuit has no diodes. Amplifiers count as linear as long as they stay within their limits.
    #[must_use]
    pub fn is_linear(&self) -> bool {
        self.stamps.diodes.is_empty()
    }

    /// Memory for [`Circuit::factor`], to be reused.
    #[must_use]
    pub fn workspace(&self) -> Workspace {
        Workspace {
            factored: Factored::new(&self.dc.plan),
            coefficients: self.dc.coefficients(),
            ready: false,
        }
    }

    /// Factors the equations at these values, amplifiers taken as linear. Allocates nothing unless it fails.
    ///
    /// # Errors
    /// [`CircuitError::NotLinear`] with diodes, [`CircuitError::BadValue`] for a resistance or gain that isn't above
    /// 0, [`CircuitError::Singular`], [`CircuitError::ValueCount`].
    pub fn factor(&self, values: &[f64], ws: &mut Workspace) -> Result<(), CircuitError> {
        ws.ready = false;
        self.demand_linear()?;
        self.demand_length(values)?;
        if !self.has_room(ws) {
            *ws = self.workspace(); // A workspace of another circuit.
        }
        if !self.dc.prepare(values, &mut ws.coefficients) {
            return Err(self.bad_denominator(values));
        }
        let (factored, coefficients) = (&mut ws.factored, &ws.coefficients);
        factored.factor(&self.dc.plan, |a| self.dc.write(coefficients, a)).map_err(|at| self.singular(at))?;
        ws.ready = true;
        Ok(())
    }

    /// Solves for all unknowns with the sources among `values`; the equations are those last factored, so only
    /// sources, offsets and bias currents may differ from then. Allocates nothing.
    ///
    /// NaN throughout if nothing is factored or a length is wrong.
    pub fn solve(&self, values: &[f64], ws: &Workspace, x: &mut [f64]) {
        if !self.fits(ws, x) || values.len() != self.nominal.len() {
            return x.fill(f64::NAN);
        }
        self.right_hand_side(values, x);
        ws.factored.solve(&self.dc.plan, x);
    }

    /// Solves for the response of all unknowns to one source alone: per volt of a voltage source or offset, per ampere
    /// of a current source or bias current. Zero for a parameter that is no source.
    ///
    /// NaN throughout if nothing is factored or a length is wrong.
    pub fn solve_unit(&self, source: ParameterId, ws: &Workspace, dx: &mut [f64]) {
        if !self.fits(ws, dx) {
            return dx.fill(f64::NAN);
        }
        self.unit(source, dx);
        ws.factored.solve(&self.dc.plan, dx);
    }

    /// The equations themselves, `A·x = b` with `A` dense, row by row, in the order of the solution: for checks against
    /// another solver. Diodes are left out.
    ///
    /// # Errors
    /// [`CircuitError::ValueCount`] and [`CircuitError::BadValue`].
    pub fn matrix(&self, values: &[f64]) -> Result<(Vec<f64>, Vec<f64>), CircuitError> {
        self.demand_length(values)?;
        let plan = &self.dc.plan;
        let mut slots = vec![0.0; plan.slots() + 1];
        if !self.dc.assemble(values, &mut slots) {
            return Err(self.bad_denominator(values));
        }
        let (mut dense, mut right) = (vec![0.0; plan.n * plan.n], vec![0.0; plan.n]);
        for ((&row, &column), &value) in plan.slot_row.iter().zip(&plan.slot_column).zip(&slots) {
            dense[row as usize * plan.n + column as usize] = value;
        }
        self.right_hand_side(values, &mut right);
        Ok((dense, right))
    }

    /// Voltage of a node in a solution, V; 0 for ground, NaN for a node of another netlist.
    #[must_use]
    pub fn voltage(&self, x: &[f64], node: Node) -> f64 {
        match self.position.get(node.0 as usize) {
            Some(&at) => at_or_ground(x, at),
            None => f64::NAN,
        }
    }

    /// Place of a node's voltage in a solution, for loops that look at many solutions; `None` for ground.
    #[must_use]
    pub fn position(&self, node: Node) -> Option<usize> {
        self.position.get(node.0 as usize).filter(|&&at| at != u32::MAX).map(|&at| at as usize)
    }

    pub(crate) fn fits(&self, ws: &Workspace, x: &[f64]) -> bool {
        ws.ready && self.has_room(ws) && x.len() == self.dc.plan.n
    }

    fn has_room(&self, ws: &Workspace) -> bool {
        ws.factored.a.len() == self.dc.plan.slots() + 1
            && ws.factored.size() == self.dc.plan.n
            && ws.coefficients.len() == self.dc.coefficient_count()
    }

    pub(crate) fn right_hand_side(&self, values: &[f64], x: &mut [f64]) {
        x.fill(0.0);
        for &(p, row, k) in self.sources.iter() {
            x[row as usize] += k * values[p as usize];
        }
        for &(p, q, row, k) in self.products.iter() {
            x[row as usize] += k * values[p as usize] * values[q as usize];
        }
    }

    pub(crate) fn unit(&self, source: ParameterId, x: &mut [f64]) {
        x.fill(0.0);
        let from = self.sources.partition_point(|&(p, ..)| p < source.0);
        for &(_, row, k) in self.sources[from..].iter().take_while(|&&(p, ..)| p == source.0) {
            x[row as usize] += k;
        }
    }

    pub(crate) fn demand_length(&self, values: &[f64]) -> Result<(), CircuitError> {
        if values.len() == self.nominal.len() {
            return Ok(());
        }
        Err(CircuitError::ValueCount { expected: self.nominal.len(), found: values.len() })
    }

    pub(crate) fn demand_linear(&self) -> Result<(), CircuitError> {
        match self.stamps.diodes.first() {
            None => Ok(()),
            Some(d) => Err(CircuitError::NotLinear { element: self.net.element_name(d.element).to_owned() }),
        }
    }

    /// Refuses NaN, which no search would come back from.
    pub(crate) fn demand_numbers(&self, values: &[f64]) -> Result<(), CircuitError> {
        match values.iter().position(|v| v.is_nan()) {
            None => Ok(()),
            Some(at) => Err(self.bad_value(values, at, "a number")),
        }
    }

    pub(crate) fn bad_denominator(&self, values: &[f64]) -> CircuitError {
        let at = self.dc.insane(values).unwrap_or(0) as usize;
        self.bad_value(values, at, "a number above 0")
    }

    fn bad_value(&self, values: &[f64], at: usize, expected: &'static str) -> CircuitError {
        let (id, parameter) = self.parameters[at];
        CircuitError::BadValue {
            element: self.net.element_name(id).to_owned(),
            what: format!("the {}", parameter.name()),
            value: values[at],
            expected,
        }
    }

    /// The error for a direct-current solution that leaves a position open.
    pub(crate) fn singular(&self, position: usize) -> CircuitError {
        CircuitError::Singular { unknown: self.position_name(position) }
    }

    /// What stands at a position of the direct-current solution.
    pub(crate) fn position_name(&self, position: usize) -> String {
        let at = self.dc.plan.column_position.iter().position(|&p| p as usize == position).unwrap_or(0);
        unknown_name(&self.net, &self.stamps.unknowns, at)
    }
}

/// Voltage at a position of a solution; ground is out of range and reads 0.
#[inline]
pub(crate) fn at_or_ground(x: &[f64], at: u32) -> f64 {
    x.get(at as usize).copied().unwrap_or(0.0)
}

pub(crate) fn unknown_name(net: &Netlist, unknowns: &[Unknown], at: usize) -> String {
    match unknowns.get(at) {
        Some(Unknown::Node(node)) => format!("node {}", net.node_name(*node)),
        Some(Unknown::Inner(id)) => format!("the inside of {}", net.element_name(*id)),
        Some(Unknown::Branch(id)) => format!("the current of {}", net.element_name(*id)),
        None => "an unknown".to_owned(),
    }
}
