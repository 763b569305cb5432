//! The equations with an order of elimination: one for direct current, one (with capacitors) for everything else.

use crate::elimination::Plan;
use crate::stamps::{Dynamic, Place, Stamps};

/// The stamps of a circuit with every place turned into a slot of one plan.
#[derive(Clone, Debug)]
pub(crate) struct System {
    pub plan: Plan,
    /// Constants by slot, and one spare cell.
    template: Vec<f64>,
    /// Parameters that stand in a denominator, in the order of the first coefficients.
    denominators: Vec<u32>,
    /// Parameters that stand as they are, in the order of the coefficients after those.
    factors: Vec<u32>,
    /// What adds to slot s: `terms[starts[s]..starts[s + 1]]`, coefficient and sign or weight. Gathered by slot, because
    /// adding to one place again and again makes each addition wait for the last.
    starts: Vec<u32>,
    terms: Vec<(u32, f64)>,
    dynamics: Vec<(Dynamic, u32, f64)>,
}

/// How a diode counts while planning: conducting, S.
const DIODE_WHEN_PLANNING: f64 = 1e-3;

/// Where the four entries of a conductance between two unknowns stand: place and sign.
pub(crate) fn quartet(
    (a, a_row): (Option<u32>, Option<u32>),
    (b, b_row): (Option<u32>, Option<u32>),
) -> [Option<(Place, f64)>; 4] {
    let place = |row: Option<u32>, column: Option<u32>, sign: f64| Some(((row?, column?), sign));
    [place(a_row, a, 1.0), place(b_row, b, 1.0), place(a_row, b, -1.0), place(b_row, a, -1.0)]
}

impl System {
    /// Plans at nominal values, with `s` (1/s, real) standing for the frequency; `None` leaves the dynamics out.
    /// `Err`: the original column that is left open.
    pub fn new(stamps: &Stamps, values: &[f64], s: Option<f64>) -> Result<System, usize> {
        let mut entries: Vec<(u32, u32, f64)> = Vec::new();
        for &((row, column), value) in &stamps.constants {
            entries.push((row, column, value));
        }
        for r in &stamps.reciprocals {
            let value = 1.0 / values[r.parameter as usize];
            entries.extend(r.plus.iter().map(|&(row, column)| (row, column, value)));
            entries.extend(r.minus.iter().map(|&(row, column)| (row, column, -value)));
        }
        for &(p, (row, column), k) in &stamps.linears {
            entries.push((row, column, k * values[p as usize]));
        }
        for d in &stamps.diodes {
            for ((row, column), sign) in
                quartet((d.anode, d.anode_row), (d.cathode, d.cathode_row)).into_iter().flatten()
            {
                entries.push((row, column, sign * DIODE_WHEN_PLANNING));
            }
        }
        if let Some(s) = s {
            for &(what, (row, column), k) in &stamps.dynamics {
                entries.push((row, column, s * k * what.value(values)));
            }
        }
        let plan = Plan::new(stamps.unknowns.len(), &entries)?;
        let spare = plan.slots() as u32;
        let slot = |(row, column): Place| plan.slot(row, column).unwrap_or(spare);
        let mut template = vec![0.0; plan.slots() + 1];
        for &(place, value) in &stamps.constants {
            template[slot(place) as usize] += value;
        }
        let (mut by_slot, mut denominators, mut factors) =
            (vec![Vec::new(); plan.slots() + 1], Vec::new(), Vec::new());
        for r in &stamps.reciprocals {
            let coefficient = denominators.len() as u32;
            denominators.push(r.parameter);
            for (places, sign) in [(&r.plus, 1.0), (&r.minus, -1.0)] {
                for &place in places {
                    by_slot[slot(place) as usize].push((coefficient, sign));
                }
            }
        }
        for &(p, place, k) in &stamps.linears {
            let at = factors.iter().position(|&q| q == p).unwrap_or_else(|| {
                factors.push(p);
                factors.len() - 1
            });
            by_slot[slot(place) as usize].push(((denominators.len() + at) as u32, k));
        }
        let (mut starts, mut terms) = (vec![0], Vec::new());
        for list in &by_slot[..plan.slots()] {
            terms.extend(list);
            starts.push(terms.len() as u32);
        }
        let dynamics = stamps.dynamics.iter().map(|&(what, place, k)| (what, slot(place), k));
        Ok(System {
            template,
            denominators,
            factors,
            starts,
            terms,
            dynamics: if s.is_some() { dynamics.collect() } else { Vec::new() },
            plan,
        })
    }

    /// Room for the coefficients.
    pub fn coefficients(&self) -> Vec<f64> {
        vec![0.0; self.coefficient_count()]
    }

    /// How many coefficients there are.
    pub fn coefficient_count(&self) -> usize {
        self.denominators.len() + self.factors.len()
    }

    /// Works out the coefficients. `false` when a parameter that stands in a denominator is not above 0.
    pub fn prepare(&self, values: &[f64], coefficients: &mut [f64]) -> bool {
        let (reciprocals, plain) = coefficients.split_at_mut(self.denominators.len());
        let mut sane = true;
        for (c, &p) in reciprocals.iter_mut().zip(&self.denominators) {
            let value = values[p as usize];
            sane &= value > 0.0;
            *c = 1.0 / value;
        }
        for (c, &p) in plain.iter_mut().zip(&self.factors) {
            *c = values[p as usize];
        }
        sane
    }

    /// Writes the conductance matrix by slot from the coefficients.
    pub fn write(&self, coefficients: &[f64], a: &mut [f64]) {
        let bounds = self.starts.iter().zip(&self.starts[1..]);
        for ((a, &constant), (&from, &to)) in a.iter_mut().zip(&self.template).zip(bounds) {
            let terms = &self.terms[from as usize..to as usize];
            *a = terms.iter().fold(constant, |sum, &(c, k)| sum + k * coefficients[c as usize]);
        }
    }

    /// Writes the conductance matrix by slot. `false` when a parameter that stands in a denominator is not above 0.
    pub fn assemble(&self, values: &[f64], a: &mut [f64]) -> bool {
        let mut coefficients = self.coefficients();
        let sane = self.prepare(values, &mut coefficients);
        self.write(&coefficients, a);
        sane
    }

    /// The first parameter in a denominator that is not above 0.
    pub fn insane(&self, values: &[f64]) -> Option<u32> {
        self.denominators.iter().copied().find(|&p| {
            let value = values[p as usize];
            value.is_nan() || value <= 0.0
        })
    }

    /// Writes the matrix of the coefficients of `s` by slot.
    pub fn assemble_dynamics(&self, values: &[f64], c: &mut [f64]) {
        c.fill(0.0);
        for &(what, slot, k) in &self.dynamics {
            c[slot as usize] += k * what.value(values);
        }
    }

    /// Adds a value at an original place.
    pub fn add(&self, a: &mut [f64], (row, column): Place, value: f64) {
        if let Some(slot) = self.plan.slot(row, column) {
            a[slot as usize] += value;
        }
    }

    /// Empties an original row.
    pub fn clear_row(&self, a: &mut [f64], row: u32) {
        let at = self.plan.row_position.get(row as usize).copied();
        for (value, &r) in a.iter_mut().zip(&self.plan.slot_row) {
            if Some(r) == at {
                *value = 0.0;
            }
        }
    }
}
