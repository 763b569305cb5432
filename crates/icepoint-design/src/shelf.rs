//! Where the values of a low-pass come from: the drawer as long as it has enough, else the series.

use icepoint_chain::drawer::{Count, Drawer};
use icepoint_chain::front_end::{Slot, SlotKind};
use icepoint_chain::resolve::Resolved;

use crate::preferred;
use crate::search::offers::{Stock, fixed_value};
use crate::search::{Part, reach};

/// Values next to a wanted one that are tried.
const NEIGHBOURS: usize = 3;
/// In a series, values up to this share beside the nearest are neighbours: the next ones in E12 and closer series.
const BESIDE: f64 = 0.07;

/// What values there are.
#[derive(Clone, Debug)]
pub(crate) struct Shelf<'r> {
    resolved: &'r Resolved,
    /// Kind, value and how many are left, by kind and rising value; `None`: values of the series, as many as wanted.
    drawer: Option<Vec<(SlotKind, f64, Count)>>,
    /// The drawer's own lines with what is left of each.
    left: Option<Drawer>,
}

impl<'r> Shelf<'r> {
    /// The drawer, less what the values that are fixed take from it; without a drawer the series.
    pub fn new(resolved: &'r Resolved) -> Self {
        let drawer = resolved.drawer.as_ref().map(|drawer| {
            let mut left: Vec<(SlotKind, f64, Count)> = Vec::new();
            for part in &drawer.parts {
                match left.last_mut().filter(|(kind, value, _)| *kind == part.kind && *value == part.value) {
                    Some((.., count)) => *count = sum(*count, part.count),
                    None => left.push((part.kind, part.value, part.count)),
                }
            }
            for slot in &resolved.blueprint.slots {
                let Some(value) = fixed_value(resolved, slot) else { continue };
                if let Some((.., Count::Pieces(n))) = left.iter_mut().find(|l| same(l, slot.kind, value)) {
                    *n = n.saturating_sub(1);
                }
            }
            left.retain(|(.., count)| *count != Count::Pieces(0));
            left
        });
        let stock = Stock::new(resolved);
        let left = resolved.drawer.clone().map(|mut drawer| {
            for (line, part) in drawer.parts.iter_mut().enumerate() {
                part.count = stock.left(line).unwrap_or(part.count);
            }
            drawer
        });
        Self { resolved, drawer, left }
    }

    /// The series, to be bought.
    pub fn bought(resolved: &'r Resolved) -> Self {
        Self { resolved, drawer: None, left: None }
    }

    /// Whether it is a drawer.
    pub fn is_drawer(&self) -> bool {
        self.drawer.is_some()
    }

    /// All values between two limits, rising.
    pub fn between(&self, kind: SlotKind, low: f64, high: f64) -> Vec<f64> {
        match &self.drawer {
            None => preferred::between(self.series(kind), low, high),
            Some(drawer) => {
                let inside = |v: f64| low * (1.0 - 1e-9) <= v && v <= high * (1.0 + 1e-9);
                drawer.iter().filter(|(k, v, _)| *k == kind && inside(*v)).map(|l| l.1).collect()
            }
        }
    }

    /// The values next to a wanted one between two limits, nearest first.
    pub fn near(&self, kind: SlotKind, wanted: f64, (low, high): (f64, f64)) -> Vec<f64> {
        let mut near = match &self.drawer {
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
        let Some(drawer) = &mut self.drawer else {
            return Some(preferred::nearest(self.series(kind), wanted));
        };
        let found = drawer
            .iter_mut()
            .filter(|(k, _, count)| *k == kind && count.covers(pieces))
            .min_by(|a, b| off(a.1, wanted).total_cmp(&off(b.1, wanted)))?;
        if let Count::Pieces(n) = &mut found.2 {
            *n -= pieces;
        }
        Some(found.1)
    }

    /// Whether there are enough parts for all of these values together.
    pub fn covers(&self, ohms: &[f64], farads: &[f64]) -> bool {
        let Some(drawer) = &self.drawer else { return true };
        [(SlotKind::Resistor, ohms), (SlotKind::Capacitor, farads)].into_iter().all(|(kind, values)| {
            values.iter().all(|value| {
                let pieces = values.iter().filter(|v| *v == value).count() as u32;
                drawer.iter().any(|l| same(l, kind, *value) && l.2.covers(pieces))
            })
        })
    }

    /// Limits of parts of these values over the board's range, relative: as [`Shelf::parts`] has them, else of what is bought.
    pub fn limits(&self, ohms: &[f64], farads: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let figures = &self.resolved.surroundings;
        let (resistor, capacitor) = (figures.resistor.tolerance, figures.capacitor_tolerance);
        if self.drawer.is_none() {
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
            let same = |k: SlotKind, v: f64| k == *kind && (v / value - 1.0).abs() < 1e-9;
            let pieces = wanted.iter().filter(|(k, v)| same(*k, *v)).count() as u32;
            // Of one value the tightest comes first.
            let mut lines = left.parts.iter().filter(|p| same(p.kind, p.value) && p.count.covers(1));
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

fn sum(a: Count, b: Count) -> Count {
    match (a, b) {
        (Count::Pieces(a), Count::Pieces(b)) => Count::Pieces(a.saturating_add(b)),
        _ => Count::Enough,
    }
}

fn same(line: &(SlotKind, f64, Count), kind: SlotKind, value: f64) -> bool {
    line.0 == kind && (line.1 / value - 1.0).abs() < 1e-9
}

fn off(value: f64, wanted: f64) -> f64 {
    libm::fabs(libm::log(value / wanted))
}
