//! The equations with an order of elimination: one for direct current, one (with capacitors) for everything else.

use crate::elimination::Plan;
use crate::stamps::{Dynamic, Place, Stamps};

/// `±1/p` at up to two slots each; unused ones point to the spare cell after the last slot.
#[derive(Clone, Copy, Debug)]
struct Reciprocal {
    parameter: u32,
    plus: [u32; 2],
    minus: [u32; 2],
}

/// The stamps of a circuit with every place turned into a slot of one plan.
#[derive(Clone, Debug)]
pub(crate) struct System {
    pub plan: Plan,
    template: Vec<f64>,
    reciprocals: Vec<Reciprocal>,
    linears: Vec<(u32, u32, f64)>,
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
        let two = |places: &[Place]| {
            [places.first().map_or(spare, |&p| slot(p)), places.get(1).map_or(spare, |&p| slot(p))]
        };
        let reciprocals = stamps.reciprocals.iter().map(|r| Reciprocal {
            parameter: r.parameter,
            plus: two(&r.plus),
            minus: two(&r.minus),
        });
        let dynamics = stamps.dynamics.iter().map(|&(what, place, k)| (what, slot(place), k));
        Ok(System {
            template,
            reciprocals: reciprocals.collect(),
            linears: stamps.linears.iter().map(|&(p, place, k)| (p, slot(place), k)).collect(),
            dynamics: if s.is_some() { dynamics.collect() } else { Vec::new() },
            plan,
        })
    }

    /// Writes the conductance matrix by slot. `false` when a parameter that stands in a denominator is not above 0.
    pub fn assemble(&self, values: &[f64], a: &mut [f64]) -> bool {
        a.copy_from_slice(&self.template);
        let mut sane = true;
        for r in &self.reciprocals {
            let p = values[r.parameter as usize];
            sane &= p > 0.0;
            let value = 1.0 / p;
            a[r.plus[0] as usize] += value;
            a[r.plus[1] as usize] += value;
            a[r.minus[0] as usize] -= value;
            a[r.minus[1] as usize] -= value;
        }
        for &(p, slot, k) in &self.linears {
            a[slot as usize] += k * values[p as usize];
        }
        sane
    }

    /// The first parameter in a denominator that is not above 0.
    pub fn insane(&self, values: &[f64]) -> Option<u32> {
        self.reciprocals.iter().map(|r| r.parameter).find(|&p| {
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
