//! What changes of single values do to a response to alternating current, each change alone.
//!
//! **Method.** A resistance, a capacitance or a figure of an amplifier stands in the equations as `δ·p·qᵀ`, a matrix of rank
//! one, so its change needs no elimination of its own: with `A·x = b` and the adjoint `Aᵀ·y = e` of the output, the output
//! changes by `−δ·(yᵀp)(qᵀx)/(1 + δ·qᵀA⁻¹p)` (Sherman and Morrison, 1950), exactly. What is no such matrix is
//! solved anew. One elimination a frequency then serves all changes, and both sources.

use crate::circuit::Circuit;
use crate::complex::Complex;
use crate::error::CircuitError;
use crate::netlist::Node;
use crate::parameter::ParameterId;
use crate::response::AcSolution;
use crate::stamps::{Dynamic, Place};

/// Response to two sources at one frequency, and what changes of values do to the first.
#[derive(Clone, Debug, PartialEq)]
pub struct AcChanges {
    /// All nodes per volt or ampere of the first source.
    pub driven: AcSolution,
    /// Between the output's nodes per volt or ampere of the other source.
    pub other: Complex,
    /// Change of the first source's output for each change of a value, in the order given.
    pub changes: Vec<Complex>,
}

/// `δ·p·qᵀ` by position, δ in q; times `s` if dynamic.
struct RankOne {
    p: Vec<(usize, f64)>,
    q: Vec<(usize, f64)>,
    dynamic: bool,
}

enum Change {
    Simple(RankOne),
    /// Nothing simple: with the value moved, solved anew at each frequency.
    Anew(Vec<Complex>),
}

/// A change whose square is less than this share of all is taken without its denominator, which alters it by no more than
/// the value's own relative change.
const SMALL: f64 = 1e-8;
/// Rounding that is let pass when a matrix is taken for one of rank one.
const RANK_ROUNDING: f64 = 1e-12;

impl Circuit {
    /// Response between two nodes to `source` and to `other` at each frequency (Hz), and by how much the first changes when
    /// each of `steps` is added to its value, alone. For circuits without diodes.
    ///
    /// # Errors
    /// As [`Circuit::ac`].
    pub fn ac_changes(
        &self,
        values: &[f64],
        (source, other): (ParameterId, ParameterId),
        out: (Node, Node),
        steps: &[(ParameterId, f64)],
        frequencies_hz: &[f64],
    ) -> Result<Vec<AcChanges>, CircuitError> {
        let mut equations = self.linearise(values, None)?;
        let plan = &self.ac.plan;
        let changes: Vec<Change> = steps
            .iter()
            .map(|step| self.change(values, *step, source, out, frequencies_hz))
            .collect::<Result<_, CircuitError>>()?;
        let right = |source: ParameterId| {
            let rows = self.stamps.sources.iter().filter(move |&&(p, ..)| p == source.0);
            rows.map(|&(_, row, k)| (plan.row_position[row as usize] as usize, k))
        };
        let dot = |list: &[(usize, f64)], x: &[Complex]| {
            list.iter().fold(Complex::ZERO, |sum, &(at, k)| sum + x[at] * k)
        };
        let mut all = Vec::with_capacity(frequencies_hz.len());
        let mut work = vec![Complex::ZERO; plan.n];
        for (index, &hertz) in frequencies_hz.iter().enumerate() {
            equations.factor_at(hertz)?;
            let s = Complex::new(0.0, core::f64::consts::TAU * hertz);
            let mut x = vec![Complex::ZERO; plan.n];
            right(source).for_each(|(at, k)| x[at] = x[at] + Complex::new(k, 0.0));
            equations.factored.solve(plan, &mut x);
            let mut y = vec![Complex::ZERO; plan.n];
            for (node, sign) in [(out.0, 1.0), (out.1, -1.0)] {
                let Some(at) = crate::stamps::node_unknown(node) else { continue };
                let Some(&at) = plan.column_position.get(at as usize) else { continue };
                y[at as usize] = y[at as usize] + Complex::new(sign, 0.0);
            }
            equations.factored.solve_transposed(plan, &mut y);
            let first: Vec<Complex> = changes
                .iter()
                .map(|change| match change {
                    Change::Simple(c) => {
                        let product = -(dot(&c.p, &y) * dot(&c.q, &x));
                        if c.dynamic { product * s } else { product }
                    }
                    Change::Anew(moved) => moved.get(index).copied().unwrap_or(Complex::ZERO),
                })
                .collect();
            let driven = AcSolution::new(self, hertz, &x);
            let nominal = driven.between(out);
            let total = first.iter().fold(nominal.magnitude_squared(), |t, c| t + c.magnitude_squared());
            let exact = changes.iter().zip(first).map(|(change, first)| match change {
                Change::Anew(_) => first - nominal,
                Change::Simple(c) if first.magnitude_squared() > SMALL * total => {
                    work.fill(Complex::ZERO);
                    c.p.iter().for_each(|&(at, k)| work[at] = Complex::new(k, 0.0));
                    equations.factored.solve(plan, &mut work);
                    let back = dot(&c.q, &work);
                    let back = if c.dynamic { back * s } else { back };
                    first * (Complex::new(1.0, 0.0) + back).recip()
                }
                Change::Simple(_) => first,
            });
            let changes = exact.collect();
            let other = right(other).fold(Complex::ZERO, |sum, (at, k)| sum + y[at] * k);
            all.push(AcChanges { driven, other, changes });
        }
        Ok(all)
    }

    fn change(
        &self,
        values: &[f64],
        (parameter, step): (ParameterId, f64),
        source: ParameterId,
        out: (Node, Node),
        frequencies_hz: &[f64],
    ) -> Result<Change, CircuitError> {
        let at = parameter.index();
        let mut moved = values.to_vec();
        if let Some(value) = moved.get_mut(at) {
            *value += step;
        }
        if let Some(simple) = self.rank_one(values, &moved, at as u32) {
            return Ok(Change::Simple(simple));
        }
        let all = self.ac_sweep(&moved, None, source, frequencies_hz)?;
        Ok(Change::Anew(all.iter().map(|solution| solution.between(out)).collect()))
    }

    /// The change of the equations from `values` to `moved`, which differ at `parameter`, if it is of rank one.
    fn rank_one(&self, values: &[f64], moved: &[f64], parameter: u32) -> Option<RankOne> {
        let mut fixed: Vec<(Place, f64)> = Vec::new();
        let mut dynamic: Vec<(Place, f64)> = Vec::new();
        let add = |list: &mut Vec<(Place, f64)>, place: Place, value: f64| match list
            .iter_mut()
            .find(|(p, _)| *p == place)
        {
            Some((_, sum)) => *sum += value,
            None => list.push((place, value)),
        };
        let (old, new) = (*values.get(parameter as usize)?, *moved.get(parameter as usize)?);
        for r in self.stamps.reciprocals.iter().filter(|r| r.parameter == parameter) {
            let change = 1.0 / new - 1.0 / old;
            r.plus.iter().for_each(|place| add(&mut fixed, *place, change));
            r.minus.iter().for_each(|place| add(&mut fixed, *place, -change));
        }
        for &(_, place, k) in self.stamps.linears.iter().filter(|(p, ..)| *p == parameter) {
            add(&mut fixed, place, k * (new - old));
        }
        for &(what, place, k) in &self.stamps.dynamics {
            let concerned = match what {
                Dynamic::Farads(p) | Dynamic::TimeConstant(p) => p == parameter,
                Dynamic::TimeConstantOverGain(p, q) => p == parameter || q == parameter,
            };
            if concerned {
                add(&mut dynamic, place, k * (what.value(moved) - what.value(values)));
            }
        }
        let (entries, dynamic) = match (fixed.is_empty(), dynamic.is_empty()) {
            (_, true) => (fixed, false),
            (true, false) => (dynamic, true),
            (false, false) => return None,
        };
        if entries.iter().all(|e| e.1 == 0.0) {
            return Some(RankOne { p: Vec::new(), q: Vec::new(), dynamic });
        }
        let (rows, columns) = rank_one(&entries)?;
        let plan = &self.ac.plan;
        let at = |positions: &[u32], list: Vec<(u32, f64)>| {
            list.into_iter().map(|(i, k)| (positions[i as usize] as usize, k)).collect()
        };
        let (p, q) = (at(&plan.row_position, rows), at(&plan.column_position, columns));
        Some(RankOne { p, q, dynamic })
    }
}

/// Entries by row or column.
type Entries = Vec<(u32, f64)>;

/// A matrix, given by its entries, as a column times a row, where it is one; places may repeat, values add up.
pub(crate) fn rank_one(entries: &[(Place, f64)]) -> Option<(Entries, Entries)> {
    let value = |place: Place| entries.iter().filter(|(p, _)| *p == place).map(|e| e.1).sum::<f64>();
    let (mut rows, mut columns): (Vec<u32>, Vec<u32>) =
        (entries.iter().map(|e| e.0.0).collect(), entries.iter().map(|e| e.0.1).collect());
    for list in [&mut rows, &mut columns] {
        list.sort_unstable();
        list.dedup();
    }
    let places = rows.iter().flat_map(|&i| columns.iter().map(move |&j| (i, j)));
    let (row, column) = places.clone().max_by(|a, b| value(*a).abs().total_cmp(&value(*b).abs()))?;
    let largest = value((row, column));
    let simple = |(i, j): Place| {
        let product = value((i, column)) * value((row, j)) / largest;
        (value((i, j)) - product).abs() <= RANK_ROUNDING * largest.abs()
    };
    if largest == 0.0 || !places.clone().all(simple) {
        return None;
    }
    let p = rows.iter().map(|&i| (i, value((i, column)) / largest)).collect();
    Some((p, columns.iter().map(|&j| (j, value((row, j)))).collect()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::element::{Element, OpAmpFigures};
    use crate::netlist::Netlist;
    use crate::parameter::Parameter;

    /// Two legs with capacitors and an amplifier: every change against the circuit solved anew with the value moved.
    #[test]
    fn each_change_is_that_of_the_circuit_solved_anew() {
        let mut net = Netlist::new();
        let names = ["in", "a", "b", "c", "d", "out"];
        let [input, a, b, c, d, out] = names.map(|n| net.node(n));
        let gnd = Netlist::GROUND;
        net.add("V1", Element::VoltageSource { plus: input, minus: gnd, volts: 0.0 });
        net.add("V2", Element::VoltageSource { plus: d, minus: c, volts: 0.0 });
        for (name, from, to, ohms) in
            [("R1", input, a, 10e3), ("R2", input, b, 11e3), ("R3", a, c, 4.7e3), ("R4", b, out, 100e3)]
        {
            net.add(name, Element::Resistor { a: from, b: to, ohms });
        }
        net.add("R5", Element::Resistor { a: d, b: gnd, ohms: 220e3 });
        for (name, from, to, farads) in [("C1", a, gnd, 1e-6), ("C2", b, gnd, 1.1e-6), ("C3", a, b, 1e-5)] {
            net.add(name, Element::Capacitor { a: from, b: to, farads });
        }
        let figures = OpAmpFigures { bandwidth_hz: 350e3, gain: 1e5, ..OpAmpFigures::ideal() };
        net.add("A1", Element::OpAmp { plus: c, minus: b, out, supply: None, figures });
        let circuit = Circuit::new(&net).unwrap();
        let values = circuit.values();
        let find = |name: &str, p| circuit.parameter(name, p).unwrap();
        let steps: Vec<(ParameterId, f64)> = ["R1", "R2", "R3", "R4", "R5"]
            .iter()
            .map(|name| find(name, Parameter::Ohms))
            .chain(["C1", "C2", "C3"].iter().map(|name| find(name, Parameter::Farads)))
            .map(|p| (p, 0.2 * values[p.index()]))
            .chain([(find("A1", Parameter::InverseCmrr), 1e-3), (find("A1", Parameter::Bandwidth), 2e5)])
            .collect();
        let (source, other) = (find("V1", Parameter::Volts), find("V2", Parameter::Volts));
        let hertz = [0.0, 0.5, 50.0, 1e3];
        let found = circuit.ac_changes(&values, (source, other), (out, gnd), &steps, &hertz).unwrap();
        let sweep = |values: &[f64], source| circuit.ac_sweep(values, None, source, &hertz).unwrap();
        let (nominal, series) = (sweep(&values, source), sweep(&values, other));
        for (k, all) in found.iter().enumerate() {
            let size = nominal[k].between((out, gnd)).magnitude();
            let apart = (all.other - series[k].between((out, gnd))).magnitude();
            assert!(apart <= 1e-12 * series[k].between((out, gnd)).magnitude(), "{apart}");
            assert_eq!(all.driven, nominal[k]);
            for ((parameter, step), change) in steps.iter().zip(&all.changes) {
                let mut moved = values.clone();
                moved[parameter.index()] += step;
                let anew = sweep(&moved, source)[k].between((out, gnd)) - nominal[k].between((out, gnd));
                // Small changes lack their denominator.
                let bound = 1e-10 * size + 0.3 * SMALL.sqrt() * size.max(change.magnitude());
                let off = (anew - *change).magnitude();
                assert!(off <= bound, "{parameter:?} at {} Hz: {off:e} of {size:e}", hertz[k]);
            }
        }
    }
}
