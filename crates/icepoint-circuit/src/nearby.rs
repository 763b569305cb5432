//! Circuits near one that is solved: some values moved, without an elimination of their own.
//!
//! **Method.** A resistance or a figure of an amplifier stands in the equations as `δ·p·qᵀ`, a matrix of rank one, and a
//! source on their right-hand side. With `w = A⁻¹·p` the solution of `(A + δ·p·qᵀ)·x' = b` is
//! `x' = x − w·δ(qᵀx)/(1 + δ·qᵀw)` (Sherman and Morrison, 1950), exactly; several values one after another. Each `w` is
//! found once, whatever its value is moved by. What is of no such form, and what moves so far that digits would be lost,
//! is solved anew.

use crate::circuit::{Circuit, Workspace};
use crate::error::CircuitError;
use crate::parameter::ParameterId;
use crate::stamps::Place;
use crate::variation::rank_one;

/// Values that may have moved at once; with more an elimination is as fast.
const MOST_MOVED: usize = 6;
/// Least denominator `1 + δ·qᵀw`: below, more than one of sixteen digits would be lost.
const LEAST_DENOMINATOR: f64 = 0.1;

/// How one parameter stands in the equations for direct current.
#[derive(Clone, Debug, Default)]
pub(crate) struct Standing {
    /// On the right-hand side: position of the row, coefficient, and the other parameter of a product.
    right: Vec<(u32, f64, Option<u32>)>,
    matrix: Matrix,
    /// Whether its reciprocal stands in the matrix.
    reciprocal: bool,
}

#[derive(Clone, Debug, Default)]
enum Matrix {
    #[default]
    Nowhere,
    /// `p·qᵀ` per unit, by position.
    RankOne {
        p: Vec<(usize, f64)>,
        q: Vec<(usize, f64)>,
    },
    NotSimple,
}

/// What a solution does when one parameter moves.
#[derive(Clone, Debug)]
struct Answer {
    /// Change of the solution per unit on the right-hand side.
    right: Vec<f64>,
    /// `w`.
    matrix: Vec<f64>,
}

/// A circuit solved at one set of values, from which those near it are solved.
#[derive(Clone, Debug)]
pub struct Nearby {
    values: Vec<f64>,
    ws: Workspace,
    x: Vec<f64>,
    dx: Vec<f64>,
    source: ParameterId,
    answers: Vec<Option<Answer>>,
    /// Buffers: `w` of each value that has moved, and its `δ/(1 + δ·qᵀw)`.
    moved: Vec<(usize, Vec<f64>, f64)>,
    /// For what is solved anew.
    anew: Option<Workspace>,
}

impl Nearby {
    /// The values that it starts from.
    #[must_use]
    pub fn values(&self) -> &[f64] {
        &self.values
    }

    /// The solution at these values, and the response to its source.
    #[must_use]
    pub fn solution(&self) -> (&[f64], &[f64]) {
        (&self.x, &self.dx)
    }
}

impl Circuit {
    /// Solves the circuit at these values, and for the response to `source` per unit of it, to be the start for others.
    ///
    /// # Errors
    /// Those of [`Circuit::factor`].
    pub fn nearby(&self, values: &[f64], source: ParameterId) -> Result<Nearby, CircuitError> {
        let mut ws = self.workspace();
        self.factor(values, &mut ws)?;
        let (mut x, mut dx) = (vec![0.0; self.unknowns()], vec![0.0; self.unknowns()]);
        self.solve(values, &ws, &mut x);
        self.solve_unit(source, &ws, &mut dx);
        Ok(Nearby {
            values: values.to_vec(),
            x,
            dx,
            source,
            answers: vec![None; values.len()],
            moved: Vec::new(),
            anew: None,
            ws,
        })
    }

    /// Solves the circuit for `values`, and for the response to the source of `near`: as [`Circuit::factor`],
    /// [`Circuit::solve`] and [`Circuit::solve_unit`] would, but for rounding.
    ///
    /// # Errors
    /// Those of [`Circuit::factor`].
    pub fn solve_near(
        &self,
        near: &mut Nearby,
        values: &[f64],
        x: &mut [f64],
        dx: &mut [f64],
    ) -> Result<(), CircuitError> {
        self.demand_length(values)?;
        if !self.fits(&near.ws, x) || dx.len() != x.len() || near.values.len() != values.len() {
            x.fill(f64::NAN);
            dx.fill(f64::NAN);
            return Ok(());
        }
        if self.moved_solution(near, values, x, dx) {
            return Ok(());
        }
        let anew = near.anew.get_or_insert_with(|| self.workspace());
        self.factor(values, anew)?;
        self.solve(values, anew, x);
        self.solve_unit(near.source, anew, dx);
        Ok(())
    }

    /// `false` where it must be solved anew.
    fn moved_solution(&self, near: &mut Nearby, values: &[f64], x: &mut [f64], dx: &mut [f64]) -> bool {
        let Nearby { values: from, ws, x: x0, dx: dx0, answers, moved, .. } = near;
        x.copy_from_slice(x0);
        dx.copy_from_slice(dx0);
        let mut count = 0;
        for (at, (&new, &old)) in values.iter().zip(from.iter()).enumerate() {
            if new == old {
                continue;
            }
            let standing = &self.standings()[at];
            let answer = match &mut answers[at] {
                Some(answer) => answer,
                empty => empty.insert(self.answer(standing, from, ws)),
            };
            // The right-hand side first: all of it belongs to the equations as they were.
            if !standing.right.is_empty() {
                let both =
                    standing.right.iter().filter_map(|r| r.2).any(|q| values[q as usize] != from[q as usize]);
                if both {
                    return false;
                }
                x.iter_mut().zip(&answer.right).for_each(|(x, r)| *x += (new - old) * r);
            }
            match &standing.matrix {
                Matrix::Nowhere => {}
                Matrix::NotSimple => return false,
                Matrix::RankOne { .. } => {
                    let by = if standing.reciprocal { 1.0 / new - 1.0 / old } else { new - old };
                    // NaN and a value below 0 are for the elimination to refuse.
                    if count == MOST_MOVED || !by.is_finite() || (standing.reciprocal && new <= 0.0) {
                        return false;
                    }
                    if moved.len() == count {
                        moved.push((at, answer.matrix.clone(), by));
                    } else {
                        let (index, w, share) = &mut moved[count];
                        (*index, *share) = (at, by);
                        w.copy_from_slice(&answer.matrix);
                    }
                    count += 1;
                }
            }
        }
        for k in 0..count {
            let (before, rest) = moved.split_at_mut(k);
            let (at, w, share) = &mut rest[0];
            let Matrix::RankOne { q, .. } = &self.standings()[*at].matrix else { return false };
            for (other, v, share) in before.iter() {
                let Matrix::RankOne { q, .. } = &self.standings()[*other].matrix else { return false };
                let by = *share * dot(q, w);
                take_off(w, v, by);
            }
            let denominator = 1.0 + *share * dot(q, w);
            if denominator.is_nan() || denominator.abs() <= LEAST_DENOMINATOR {
                return false;
            }
            *share /= denominator;
            let (by, slope) = (*share * dot(q, x), *share * dot(q, dx));
            take_off(x, w, by);
            take_off(dx, w, slope);
        }
        true
    }

    fn answer(&self, standing: &Standing, values: &[f64], ws: &Workspace) -> Answer {
        let n = self.unknowns();
        let solved = |entries: &mut dyn Iterator<Item = (usize, f64)>| {
            let mut b = vec![0.0; n];
            entries.for_each(|(at, k)| b[at] += k);
            ws.factored.solve(&self.dc.plan, &mut b);
            b
        };
        let right = if standing.right.is_empty() {
            Vec::new()
        } else {
            let entry = |&(row, k, other): &(u32, f64, Option<u32>)| {
                (row as usize, k * other.map_or(1.0, |q| values[q as usize]))
            };
            solved(&mut standing.right.iter().map(entry))
        };
        let matrix = match &standing.matrix {
            Matrix::RankOne { p, .. } => solved(&mut p.iter().copied()),
            _ => Vec::new(),
        };
        Answer { right, matrix }
    }

    /// How each parameter stands in the equations, found at the first call.
    fn standings(&self) -> &[Standing] {
        self.standings.get_or_init(|| {
            let mut all = vec![Standing::default(); self.nominal.len()];
            let mut entries: Vec<Vec<(Place, f64)>> = vec![Vec::new(); self.nominal.len()];
            for r in &self.stamps.reciprocals {
                let at = r.parameter as usize;
                all[at].reciprocal = true;
                entries[at].extend(r.plus.iter().map(|place| (*place, 1.0)));
                entries[at].extend(r.minus.iter().map(|place| (*place, -1.0)));
            }
            for &(p, place, k) in &self.stamps.linears {
                let at = p as usize;
                if all[at].reciprocal {
                    all[at].matrix = Matrix::NotSimple;
                }
                entries[at].push((place, k));
            }
            for &(p, row, k) in self.sources.iter() {
                all[p as usize].right.push((row, k, None));
            }
            for &(p, q, row, k) in self.products.iter() {
                all[p as usize].right.push((row, k, Some(q)));
                all[q as usize].right.push((row, k, Some(p)));
            }
            let plan = &self.dc.plan;
            for (standing, entries) in all.iter_mut().zip(entries) {
                if entries.is_empty() || matches!(standing.matrix, Matrix::NotSimple) {
                    continue;
                }
                standing.matrix = match rank_one(&entries) {
                    None => Matrix::NotSimple,
                    Some((rows, columns)) => {
                        let at = |positions: &[u32], list: Vec<(u32, f64)>| {
                            list.into_iter().map(|(i, k)| (positions[i as usize] as usize, k)).collect()
                        };
                        Matrix::RankOne {
                            p: at(&plan.row_position, rows),
                            q: at(&plan.column_position, columns),
                        }
                    }
                };
            }
            all
        })
    }
}

fn dot(list: &[(usize, f64)], x: &[f64]) -> f64 {
    list.iter().fold(0.0, |sum, &(at, k)| sum + k * x[at])
}

fn take_off(x: &mut [f64], w: &[f64], share: f64) {
    x.iter_mut().zip(w).for_each(|(x, w)| *x -= share * w);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::element::{Element, InAmpFigures, OpAmpFigures};
    use crate::netlist::Netlist;

    /// Two amplifiers, a bridge and sources.
    fn circuit() -> (Circuit, ParameterId) {
        let mut net = Netlist::new();
        let names = ["in", "a", "b", "c", "out", "supply", "last"];
        let [input, a, b, c, out, supply, last] = names.map(|n| net.node(n));
        let gnd = Netlist::GROUND;
        net.add("V1", Element::VoltageSource { plus: input, minus: c, volts: 0.01 });
        net.add("V2", Element::VoltageSource { plus: supply, minus: gnd, volts: 3.3 });
        for (name, from, to, ohms) in [
            ("R1", input, a, 10e3),
            ("R2", out, b, 100e3),
            ("R3", b, c, 1.2e3),
            ("R4", supply, c, 90e3),
            ("R5", c, gnd, 9e3),
            ("R6", supply, a, 10e6),
            ("R7", last, gnd, 50e3),
        ] {
            net.add(name, Element::Resistor { a: from, b: to, ohms });
        }
        net.add("I1", Element::CurrentSource { from: a, to: gnd, amperes: 2e-9 });
        let figures = OpAmpFigures {
            gain: 1e5,
            offset: 1e-4,
            bias_plus: 1e-9,
            output_resistance: 100.0,
            cmrr: 1e4,
            ..OpAmpFigures::ideal()
        };
        net.add("A1", Element::OpAmp { plus: a, minus: b, out, supply: Some((supply, gnd)), figures });
        let figures = InAmpFigures { offset: 1e-4, cmrr: 1e5, ..InAmpFigures::ideal(20.0) };
        net.add(
            "A2",
            Element::InAmp {
                plus: out,
                minus: c,
                reference: b,
                out: last,
                supply: Some((supply, gnd)),
                figures,
            },
        );
        let circuit = Circuit::new(&net).unwrap();
        let source = circuit.parameter("V1", crate::parameter::Parameter::Volts).unwrap();
        (circuit, source)
    }

    fn anew(circuit: &Circuit, values: &[f64], source: ParameterId) -> (Vec<f64>, Vec<f64>) {
        let mut ws = circuit.workspace();
        circuit.factor(values, &mut ws).unwrap();
        let (mut x, mut dx) = (vec![0.0; circuit.unknowns()], vec![0.0; circuit.unknowns()]);
        circuit.solve(values, &ws, &mut x);
        circuit.solve_unit(source, &ws, &mut dx);
        (x, dx)
    }

    fn apart(a: &[f64], b: &[f64]) -> f64 {
        let size = b.iter().fold(1e-9, |m: f64, v| m.max(v.abs()));
        a.iter().zip(b).fold(0.0, |m: f64, (a, b)| m.max((a - b).abs() / size))
    }

    /// Every parameter alone, by little and by much, and each with the next two: as solved anew.
    #[test]
    fn a_moved_circuit_is_that_solved_anew() {
        let (circuit, source) = circuit();
        let values = circuit.values();
        let mut near = circuit.nearby(&values, source).unwrap();
        let (mut x, mut dx) = (vec![0.0; circuit.unknowns()], vec![0.0; circuit.unknowns()]);
        let mut worst = 0.0f64;
        for at in 0..values.len() {
            for (by, together) in [(1e-3, 1), (0.3, 1), (-0.2, 1), (0.01, 3), (2.0, 3)] {
                let mut moved = values.clone();
                for value in moved.iter_mut().skip(at).take(together).filter(|v| v.is_finite()) {
                    *value += if *value == 0.0 { 1e-5 * by } else { by * *value };
                }
                circuit.solve_near(&mut near, &moved, &mut x, &mut dx).unwrap();
                let (x_anew, dx_anew) = anew(&circuit, &moved, source);
                let off = apart(&x, &x_anew).max(apart(&dx, &dx_anew));
                assert!(off < 1e-9, "{at} by {by}, {together} together: {off:e}");
                worst = worst.max(off);
            }
        }
        println!("largest difference {worst:.1e}");
        // Nothing moved: the start itself.
        circuit.solve_near(&mut near, &values, &mut x, &mut dx).unwrap();
        assert_eq!((x.as_slice(), dx.as_slice()), near.solution());
        assert_eq!(near.values(), values);
    }

    #[test]
    fn what_an_elimination_refuses_is_refused() {
        let (circuit, source) = circuit();
        let values = circuit.values();
        let mut near = circuit.nearby(&values, source).unwrap();
        let (mut x, mut dx) = (vec![0.0; circuit.unknowns()], vec![0.0; circuit.unknowns()]);
        let ohms = circuit.parameter("R3", crate::parameter::Parameter::Ohms).unwrap();
        for wrong in [0.0, -5.0, f64::NAN] {
            let mut moved = values.clone();
            moved[ohms.index()] = wrong;
            let found = circuit.solve_near(&mut near, &moved, &mut x, &mut dx);
            assert!(matches!(found, Err(CircuitError::BadValue { .. })), "{wrong}: {found:?}");
        }
        assert!(circuit.solve_near(&mut near, &values[1..], &mut x, &mut dx).is_err());
    }
}
