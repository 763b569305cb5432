//! Which pins a drawing joins: wires meet where an end lies on another wire; crossing wires don't.

use std::collections::BTreeMap;

use super::drawing::{Drawing, Part};
use super::symbol::Symbol;

/// A pin: designator and name, (“A1”, “OUT”).
pub type PinName = (String, String);

/// Pins joined by the drawing.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Net {
    /// Name given by ground (“0 V”), rail or flag; empty for none, joined by “ = ” where there are several.
    pub name: String,
    /// Its pins, sorted.
    pub pins: Vec<PinName>,
}

const NEAR: f64 = 1e-6;

fn same(a: (f64, f64), b: (f64, f64)) -> bool {
    (a.0 - b.0).abs() < NEAR && (a.1 - b.1).abs() < NEAR
}

/// Whether `p` lies on the straight piece from `a` to `b`, which is level or upright.
fn on_piece(p: (f64, f64), a: (f64, f64), b: (f64, f64)) -> bool {
    let between = |v: f64, s: f64, t: f64| v >= s.min(t) - NEAR && v <= s.max(t) + NEAR;
    let along = (b.0 - a.0) * (p.1 - a.1) - (b.1 - a.1) * (p.0 - a.0);
    along.abs() < NEAR && between(p.0, a.0, b.0) && between(p.1, a.1, b.1)
}

fn on_wire(p: (f64, f64), wire: &[(f64, f64)]) -> bool {
    wire.windows(2).any(|w| on_piece(p, w[0], w[1]))
}

fn ends(wire: &[(f64, f64)]) -> impl Iterator<Item = (f64, f64)> {
    wire.first().into_iter().chain(wire.last()).copied()
}

/// What joins parts of the same name everywhere.
fn shared_name(part: &Part) -> Option<&str> {
    match &part.symbol {
        Symbol::Ground => Some("0 V"),
        Symbol::Rail { name } | Symbol::RailBelow { name } | Symbol::Flag { name, .. } => Some(name),
        _ => None,
    }
}

impl Drawing {
    fn pin_places(&self) -> Vec<(usize, &str, (f64, f64))> {
        self.parts()
            .iter()
            .enumerate()
            .flat_map(|(i, part)| part.pins().into_iter().map(move |(name, at)| (i, name, at)))
            .collect()
    }

    /// Every net with the pins of named parts, sorted; supply pins that the drawing leaves out stand alone.
    #[must_use]
    pub fn nets(&self) -> Vec<Net> {
        let pins = self.pin_places();
        let wires = self.wires();
        // Members: wires first, then pins.
        let mut group: Vec<usize> = (0..wires.len() + pins.len()).collect();
        let join = |group: &mut Vec<usize>, a: usize, b: usize| {
            let (keep, drop) = (group[a].min(group[b]), group[a].max(group[b]));
            group.iter_mut().filter(|g| **g == drop).for_each(|g| *g = keep);
        };
        for (i, wire) in wires.iter().enumerate() {
            for (j, other) in wires.iter().enumerate() {
                if i != j && ends(wire).any(|end| on_wire(end, other)) {
                    join(&mut group, i, j);
                }
            }
            for (k, pin) in pins.iter().enumerate() {
                if on_wire(pin.2, wire) {
                    join(&mut group, i, wires.len() + k);
                }
            }
        }
        for (k, pin) in pins.iter().enumerate() {
            for (m, other) in pins.iter().enumerate().skip(k + 1) {
                let named = |i: usize| self.parts().get(i).and_then(shared_name);
                let by_name = named(pin.0).is_some() && named(pin.0) == named(other.0);
                if by_name || same(pin.2, other.2) {
                    join(&mut group, wires.len() + k, wires.len() + m);
                }
            }
        }
        let mut ids: Vec<usize> = group[wires.len()..].to_vec();
        ids.sort_unstable();
        ids.dedup();
        let mut nets: Vec<Net> =
            ids.into_iter().map(|id| self.net(id, &pins, &group[wires.len()..])).collect();
        nets.retain(|net| !net.pins.is_empty());
        nets.sort();
        nets
    }

    /// What the drawing joins otherwise than `netlist` does, one sentence each; empty when they agree.
    ///
    /// `netlist` holds pairs of node and terminal. A terminal is the designator for resistors, capacitors and test
    /// points, whose ends have no names, and “A1.OUT” for a named pin. Terminals that only the drawing knows are not
    /// compared; one that the netlist has and the drawing lacks is told.
    #[must_use]
    pub fn disagreements(&self, netlist: &[(String, String)]) -> Vec<String> {
        let terminal = |pin: &PinName| {
            let bare = self.parts().iter().any(|p| p.designator == pin.0 && p.symbol.nameless());
            if bare { pin.0.clone() } else { format!("{}.{}", pin.0, pin.1) }
        };
        let known = |t: &String| netlist.iter().any(|(_, other)| other == t);
        let mut drawn: Vec<Vec<String>> = self
            .nets()
            .iter()
            .map(|net| net.pins.iter().map(terminal).filter(|t| known(t)).collect::<Vec<_>>())
            .filter(|net| !net.is_empty())
            .collect();
        drawn.iter_mut().for_each(|net| net.sort());
        let mut nodes: BTreeMap<&str, Vec<String>> = BTreeMap::new();
        let placed = |t: &str| drawn.iter().flatten().any(|d| d == t);
        for (node, t) in netlist.iter().filter(|(_, t)| placed(t)) {
            nodes.entry(node).or_default().push(t.clone());
        }
        nodes.values_mut().for_each(|net| net.sort());
        let mut told: Vec<String> = netlist
            .iter()
            .filter(|(_, t)| !placed(t))
            .map(|(node, t)| format!("{t} on {node} is not in the drawing"))
            .collect();
        for (node, net) in nodes.iter().filter(|(_, net)| !drawn.contains(net)) {
            told.push(format!("{node} joins {}, the drawing does not", net.join(", ")));
        }
        for net in drawn.iter().filter(|net| !nodes.values().any(|n| n == *net)) {
            told.push(format!("the drawing joins {}, the netlist does not", net.join(", ")));
        }
        told
    }

    fn net(&self, id: usize, pins: &[(usize, &str, (f64, f64))], group: &[usize]) -> Net {
        let members = || pins.iter().zip(group).filter(|(_, g)| **g == id).map(|(pin, _)| pin);
        let part = |i: usize| self.parts().get(i);
        let mut names: Vec<&str> = members().filter_map(|pin| part(pin.0).and_then(shared_name)).collect();
        names.sort_unstable();
        names.dedup();
        let mut named: Vec<PinName> = members()
            .filter_map(|pin| part(pin.0).map(|p| (p.designator.clone(), pin.1.to_owned())))
            .filter(|pin| !pin.0.is_empty())
            .collect();
        named.sort();
        Net { name: names.join(" = "), pins: named }
    }

    /// Where three or more ends meet: the dots.
    pub(crate) fn dots(&self) -> Vec<(f64, f64)> {
        let pins = self.pin_places();
        let candidates = self.wires().iter().flat_map(|w| ends(w)).chain(pins.iter().map(|p| p.2));
        let mut dots: Vec<(f64, f64)> = Vec::new();
        for point in candidates {
            let arms: usize = self
                .wires()
                .iter()
                .map(|wire| {
                    let at_ends = ends(wire).filter(|end| same(*end, point)).count();
                    // A wire that passes brings two arms.
                    if at_ends > 0 { at_ends } else { 2 * usize::from(on_wire(point, wire)) }
                })
                .sum();
            let pinned = pins.iter().filter(|p| same(p.2, point)).count();
            if arms + pinned >= 3 && !dots.iter().any(|d| same(*d, point)) {
                dots.push(point);
            }
        }
        dots
    }
}
