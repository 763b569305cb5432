//! How an output voltage answers to every parameter at once.
//!
//! With `A(p)·x = b(p)` and the adjoint `Aᵀ·λ = ∂out/∂x`, each derivative is `λᵀ·(∂b/∂p − (∂A/∂p)·x)`: one factorisation
//! and one transposed solution for all parameters (Director and Rohrer, 1969). Every coefficient is a constant, a
//! parameter or its reciprocal, so the derivatives are exact.

use crate::circuit::{Circuit, Workspace, at_or_ground};
use crate::diode::derivatives;
use crate::elimination::Factored;
use crate::error::CircuitError;
use crate::netlist::Node;
use crate::operating_point::{OperatingPoint, OutputState};
use crate::parameter::amp;

impl Circuit {
    /// d(v(out.0) − v(out.1))/d(parameter) for every parameter, in V per unit of each, at a linear solution `x`.
    /// Parameters of limits, noise and dynamics have 0.
    ///
    /// # Errors
    /// Those of [`Circuit::factor`].
    pub fn sensitivities(
        &self,
        values: &[f64],
        x: &[f64],
        out: (Node, Node),
    ) -> Result<Vec<f64>, CircuitError> {
        let mut ws = self.workspace();
        self.factor(values, &mut ws)?;
        let (mut adjoint, mut all) = (vec![0.0; self.unknowns()], vec![0.0; values.len()]);
        self.sensitivities_into(values, x, &ws, out, &mut adjoint, &mut all);
        Ok(all)
    }

    /// [`Circuit::sensitivities`] with equations that are factored at these values, without allocation. `adjoint` is
    /// as long as `x`, `all` as long as `values`; NaN throughout if nothing is factored or a length is wrong.
    pub fn sensitivities_into(
        &self,
        values: &[f64],
        x: &[f64],
        ws: &Workspace,
        out: (Node, Node),
        adjoint: &mut [f64],
        all: &mut [f64],
    ) {
        let lengths =
            adjoint.len() == x.len() && all.len() == values.len() && values.len() == self.nominal.len();
        if !lengths || !self.fits(ws, x) {
            return all.fill(f64::NAN);
        }
        self.pick(out, adjoint);
        ws.factored.solve_transposed(&self.dc.plan, adjoint);
        self.gradient(values, x, adjoint, &[], all);
    }

    /// [`Circuit::sensitivities`] at an operating point: diodes count with their slope there, an amplifier at the end
    /// of its range with its margin to the rail.
    ///
    /// # Errors
    /// Those of [`Circuit::operating_point`].
    pub fn sensitivities_at(
        &self,
        values: &[f64],
        op: &OperatingPoint,
        out: (Node, Node),
    ) -> Result<Vec<f64>, CircuitError> {
        self.demand_length(values)?;
        let plan = &self.dc.plan;
        let mut factored = Factored::new(plan);
        let mut matrix = factored.a.clone();
        if !self.dc.assemble(values, &mut matrix) {
            return Err(self.bad_denominator(values));
        }
        if op.x.len() != plan.n {
            return Ok(vec![f64::NAN; values.len()]);
        }
        let junctions = self.junctions(values)?;
        for ((d, junction), volts) in self.stamps.diodes.iter().zip(&junctions).zip(&op.junctions) {
            self.stamp_junction(&self.dc, d, junction.current(*volts).1, &mut matrix);
        }
        for (amp, &(_, state)) in self.stamps.amps.iter().zip(&op.states) {
            if state != OutputState::Linear {
                self.stamp_end(&self.dc, amp, state, &mut matrix);
            }
        }
        factored.factor(plan, |a| a.copy_from_slice(&matrix)).map_err(|at| self.singular(at))?;
        let (mut adjoint, mut all) = (vec![0.0; plan.n], vec![0.0; values.len()]);
        self.pick(out, &mut adjoint);
        factored.solve_transposed(plan, &mut adjoint);
        let ends: Vec<bool> = op.states.iter().map(|&(_, state)| state != OutputState::Linear).collect();
        // A replaced equation has lost its parameters; only the margin is left.
        let mut open = adjoint.clone();
        for (amp, &(_, state)) in self.stamps.amps.iter().zip(&op.states) {
            if state != OutputState::Linear {
                open[plan.row_position[amp.row as usize] as usize] = 0.0;
            }
        }
        self.gradient(values, &op.x, &open, &op.junctions, &mut all);
        for ((amp, &(_, state)), end) in self.stamps.amps.iter().zip(&op.states).zip(ends) {
            let lambda = adjoint[plan.row_position[amp.row as usize] as usize];
            if end && state == OutputState::High {
                all[(amp.base + amp::OUTPUT_HIGH) as usize] -= lambda;
            } else if end {
                all[(amp.base + amp::OUTPUT_LOW) as usize] += lambda;
            }
        }
        Ok(all)
    }

    fn pick(&self, (plus, minus): (Node, Node), x: &mut [f64]) {
        x.fill(0.0);
        for (node, sign) in [(plus, 1.0), (minus, -1.0)] {
            if let Some(at) = self.position(node) {
                x[at] += sign;
            }
        }
    }

    fn gradient(&self, values: &[f64], x: &[f64], lambda: &[f64], junctions: &[f64], all: &mut [f64]) {
        all.fill(0.0);
        let plan = &self.dc.plan;
        let row = |at: u32| lambda[plan.row_position[at as usize] as usize];
        let column = |at: u32| x[plan.column_position[at as usize] as usize];
        for r in &self.stamps.reciprocals {
            let p = values[r.parameter as usize];
            let plus: f64 = r.plus.iter().map(|&(i, j)| row(i) * column(j)).sum();
            let minus: f64 = r.minus.iter().map(|&(i, j)| row(i) * column(j)).sum();
            let slope = (plus - minus) / (p * p);
            // An infinite resistance has no slope, whatever stands beside it.
            all[r.parameter as usize] += if p.is_finite() { slope } else { 0.0 };
        }
        for &(p, (i, j), k) in &self.stamps.linears {
            all[p as usize] -= k * row(i) * column(j);
        }
        for &(p, i, k) in &self.stamps.sources {
            all[p as usize] += k * row(i);
        }
        for &(p, q, i, k) in &self.stamps.products {
            all[p as usize] += k * row(i) * values[q as usize];
            all[q as usize] += k * row(i) * values[p as usize];
        }
        let law = |at: Option<u32>| at.map_or(0.0, row);
        for (d, &volts) in self.stamps.diodes.iter().zip(junctions) {
            let through = law(d.anode_row) - law(d.cathode_row);
            for (place, slope) in derivatives(values, d.base, volts).into_iter().flatten() {
                all[(d.base + place) as usize] -= through * slope;
            }
        }
    }

    /// Resistance seen between two nodes with every source at rest, Ω, at direct current: what a load there would
    /// feel. For a linear circuit whose equations are factored at its values; NaN otherwise.
    #[must_use]
    pub fn resistance_between(&self, ws: &Workspace, (plus, minus): (Node, Node)) -> f64 {
        let mut x = vec![0.0; self.unknowns()];
        if !self.fits(ws, &x) {
            return f64::NAN;
        }
        for (node, sign) in [(plus, 1.0), (minus, -1.0)] {
            let law = crate::stamps::node_unknown(node)
                .and_then(|at| self.stamps.current_law.get(at as usize).copied());
            if let Some(row) = law.flatten() {
                x[self.dc.plan.row_position[row as usize] as usize] += sign;
            }
        }
        ws.factored.solve(&self.dc.plan, &mut x);
        self.voltage(&x, plus) - self.voltage(&x, minus)
    }
}

/// Kept beside [`Circuit::voltage`] for two-node outputs.
impl Circuit {
    /// Voltage between two nodes in a solution, V.
    #[must_use]
    pub fn voltage_between(&self, x: &[f64], (plus, minus): (Node, Node)) -> f64 {
        let at = |n: Node| self.position(n).map_or(0.0, |at| at_or_ground(x, at as u32));
        at(plus) - at(minus)
    }
}
