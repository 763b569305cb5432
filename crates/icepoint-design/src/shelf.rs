//! Where the values of a low-pass come from: the drawer as long as it has enough, else the series.

use icepoint_chain::drawer::{Count, DrawerPart};
use icepoint_chain::front_end::{Slot, SlotKind};
use icepoint_chain::resolve::Resolved;

use crate::preferred;
use crate::search::offers::{Stock, within};
use crate::search::{Part, reach};

/// Values next to a wanted one that are tried.
const NEIGHBOURS: usize = 3;
/// In a series, values up to this share beside the nearest are neighbours: the next ones in E12 and closer series.
const BESIDE: f64 = 0.07;

/// What values there are.
#[derive(Clone, Debug)]
pub(crate) struct Shelf<'r> {
    resolved: &'r Resolved,
    /// Lines of the drawer that have something left, by kind and rising value, of one value the tightest first; `None`:
    /// values of the series, as many as wanted.
    left: Option<Vec<DrawerPart>>,
}

impl<'r> Shelf<'r> {
    /// The drawer, less what the values that are fixed take from it; without a drawer the series.
    pub fn new(resolved: &'r Resolved) -> Self {
        let left = resolved.drawer.as_ref().map(|drawer| {
            let stock = Stock::new(resolved);
            let of =
                |(line, part): (usize, &DrawerPart)| Some(DrawerPart { count: stock.left(line)?, ..*part });
            let lines = drawer.parts.iter().enumerate().filter_map(of);
            lines.filter(|part| part.count.covers(1)).collect()
        });
        Self { resolved, left }
    }

    /// The series, to be bought.
    pub fn bought(resolved: &'r Resolved) -> Self {
        Self { resolved, left: None }
    }

    /// Whether it is a drawer.
    pub fn is_drawer(&self) -> bool {
        self.left.is_some()
    }

    /// All values between two limits, rising.
    pub fn between(&self, kind: SlotKind, low: f64, high: f64) -> Vec<f64> {
        let Some(left) = &self.left else { return preferred::between(self.series(kind), low, high) };
        let inside = |p: &&DrawerPart| p.kind == kind && within((low, high), p.value);
        let mut values: Vec<f64> = left.iter().filter(inside).map(|p| p.value).collect();
        values.dedup();
        values
    }

    /// The values next to a wanted one between two limits, nearest first.
    pub fn near(&self, kind: SlotKind, wanted: f64, (low, high): (f64, f64)) -> Vec<f64> {
        let mut near = match &self.left {
            None => {
                let first = preferred::nearest(self.series(kind), wanted);
                preferred::between(self.series(kind), (1.0 - BESIDE) * first, (1.0 + BESIDE) * first)
            }
            Some(_) => self.between(kind, low, high),
        };
        near.retain(|v| (low..=high).contains(v));
        near.sort_by(|a, b| off(*a, wanted).total_cmp(&off(*b, wanted)));
        near.truncate(NEIGHBOURS);
        near
    }

    /// Takes the value nearest to a wanted one for a slot and those that follow it; `None` when there are not enough of any.
    pub fn take_nearest(&mut self, slot: &Slot, wanted: f64) -> Option<f64> {
        let follows = |other: &&Slot| other.tie.as_ref().is_some_and(|tie| tie.to == slot.designator);
        let pieces = 1 + self.resolved.blueprint.slots.iter().filter(follows).count() as u32;
        let kind = slot.kind;
        if self.left.is_none() {
            return Some(preferred::nearest(self.series(kind), wanted));
        }
        let all = self.between(kind, 0.0, f64::INFINITY).into_iter();
        let found = all
            .filter(|value| self.pieces(kind, *value).covers(pieces))
            .min_by(|a, b| off(*a, wanted).total_cmp(&off(*b, wanted)))?;
        let mut taken = pieces;
        // The widest first: nothing here asks for a tight one.
        for part in self.left.iter_mut().flatten().rev().filter(|p| same(p, kind, found)) {
            if let Count::Pieces(n) = &mut part.count {
                let here = taken.min(*n);
                (*n, taken) = (*n - here, taken - here);
            } else {
                break;
            }
        }
        Some(found)
    }

    /// Pieces of a value that are left, of all lines together.
    fn pieces(&self, kind: SlotKind, value: f64) -> Count {
        let of_value = self.left.iter().flatten().filter(|p| same(p, kind, value));
        of_value.fold(Count::Pieces(0), |sum, part| sum.and(part.count))
    }

    /// Whether there are enough parts for all of these values together.
    pub fn covers(&self, ohms: &[f64], farads: &[f64]) -> bool {
        if self.left.is_none() {
            return true;
        }
        [(SlotKind::Resistor, ohms), (SlotKind::Capacitor, farads)].into_iter().all(|(kind, values)| {
            values.iter().all(|value| {
                let pieces = values.iter().filter(|v| *v == value).count() as u32;
                self.pieces(kind, *value).covers(pieces)
            })
        })
    }

    /// Limits of parts of these values over the board's range, relative: as [`Shelf::parts`] has them, else of what is bought.
    pub fn limits(&self, ohms: &[f64], farads: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let figures = &self.resolved.surroundings;
        let (resistor, capacitor) = (figures.resistor.tolerance, figures.capacitor_tolerance);
        if self.left.is_none() {
            return (vec![resistor; ohms.len()], vec![capacitor; farads.len()]);
        }
        let wanted: Vec<(SlotKind, f64)> = (ohms.iter().map(|v| (SlotKind::Resistor, *v)))
            .chain(farads.iter().map(|v| (SlotKind::Capacitor, *v)))
            .collect();
        let mut parts = self.parts(&wanted);
        let farads = parts.split_off(ohms.len());
        let reach = reach(self.resolved);
        let of = |parts: Vec<Option<Part>>, bought: f64, reach: f64| {
            parts.into_iter().map(|p| p.map_or(bought, |p| p.tolerance + p.tempco * reach)).collect()
        };
        // As with what is bought: a capacitor's drift is in its limit, a resistor's is the model's to count.
        (of(parts, resistor, 0.0), of(farads, capacitor, reach))
    }

    /// The parts of the drawer that these values would be: of each value the tightest line that has enough for all of its
    /// pieces, else the widest of those that they share; `None` for what is bought.
    pub fn parts(&self, wanted: &[(SlotKind, f64)]) -> Vec<Option<Part>> {
        let Some(left) = &self.left else { return vec![None; wanted.len()] };
        let part_of = |(kind, value): &(SlotKind, f64)| {
            let pieces =
                wanted.iter().filter(|(k, v)| k == kind && (v / value - 1.0).abs() < 1e-9).count() as u32;
            let mut lines = left.iter().filter(|p| same(p, *kind, *value));
            let enough = lines.clone().find(|p| p.count.covers(pieces));
            enough.or_else(|| lines.next_back()).map(Part::at_hand)
        };
        wanted.iter().map(part_of).collect()
    }

    fn series(&self, kind: SlotKind) -> icepoint_chain::quantity::series::Series {
        match kind {
            SlotKind::Resistor => self.resolved.resistor_series,
            SlotKind::Capacitor => self.resolved.capacitor_series,
        }
    }
}

fn same(part: &DrawerPart, kind: SlotKind, value: f64) -> bool {
    part.kind == kind && (part.value / value - 1.0).abs() < 1e-9
}

fn off(value: f64, wanted: f64) -> f64 {
    libm::fabs(libm::log(value / wanted))
}
