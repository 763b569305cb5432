//! The drawing of any front end: strips are placed, wired, judged, and placed again in other ways while that helps.

use std::collections::{BTreeMap, BTreeSet};

use icepoint_chain::front_end::FrontEnd;

use super::circuit::{Circuit, Node, Role, Words};
use super::columns::{columns, twins};
use super::drawing::{Drawing, Part};
use super::flow::Flow;
use super::room::{Point, Room};
use super::route::{Cell, Grid, cell, point};
use super::rows::{Laid, Wanted, rows};
use super::sketch::Sketches;
use super::strips::{Choices, How, plan};
use super::symbol::Symbol;
use crate::svg::Anchor;

/// What a drawing costs: what a reader would stumble over, in units of a bend.
const CROSSING: f64 = 75.0;
const FAULT: f64 = 400.0;
const UNWIRED: f64 = 3000.0;
const FLAG: f64 = 25.0;
/// Flags in the middle of what belongs together.
const TORN: f64 = 120.0;
const BEND: f64 = 3.0;
/// What departs from the usual must be worth it.
const UNUSUAL: f64 = 8.0;
const LENGTH: f64 = 0.15;
/// Widest drawing that a page shows at a readable size, in grid units.
const WIDEST: f64 = 106.0;

/// Drawings tried at most, and further ones while wires still cross.
const TRIALS: usize = 160;
const MORE_TRIALS: usize = 320;
/// Ways of breaking it that are worked out, while the drawing is not clean.
const STARTS: usize = 3;
/// Ways of breaking it tried at most.
const MOST_CUTS: usize = 60;

/// Draws a front end.
#[must_use]
pub fn automatic(front_end: &FrontEnd, words: &Words) -> Drawing {
    let circuit = Circuit::new(front_end, words);
    let flow = Flow::new(&circuit);
    let mut search = Search { c: &circuit, flow: &flow, tried: BTreeMap::new() };
    search.best()
}

struct Search<'a> {
    c: &'a Circuit,
    flow: &'a Flow,
    tried: BTreeMap<Choices, f64>,
}

impl Search<'_> {
    fn best(&mut self) -> Drawing {
        // Where the drawing breaks decides most: all ways of breaking it first, then the best of them in turn.
        let mut starts = vec![(self.cost(&Choices::default()), Choices::default())];
        for cut in self.cuts() {
            let other = Choices { cut, ..Choices::default() };
            starts.push((self.cost(&other), other));
        }
        starts.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut best: Option<(f64, Drawing)> = None;
        for (cost, choices) in starts.into_iter().take(STARTS) {
            let (cost, choices) = self.improved(choices, cost);
            let drawing = self.draw(&choices).map_or_else(Drawing::default, |d| d.0);
            let clean = drawing.crossings() == 0 && drawing.faults().is_empty() && !self.torn(&choices);
            if best.as_ref().is_none_or(|b| cost < b.0) {
                best = Some((cost, drawing));
            }
            if clean {
                break;
            }
        }
        best.map_or_else(Drawing::default, |b| b.1)
    }

    /// Whether flags tear what belongs together.
    fn torn(&self, choices: &Choices) -> bool {
        plan(self.c, self.flow, choices).joins.iter().any(|j| j.tears && j.how == How::Flag)
    }

    /// The best choices that small changes lead to, and their cost.
    fn improved(&mut self, mut choices: Choices, mut cost: f64) -> (f64, Choices) {
        if cost >= UNWIRED {
            // A tangle: flags everywhere are better than a wire that joins what it should not.
            let mut other = choices.clone();
            let joins = plan(self.c, self.flow, &other).joins.len();
            other.joined = (0..joins).map(|j| (j, 4)).collect();
            let new = self.cost(&other);
            if new < cost {
                (choices, cost) = (other, new);
            }
        }
        let mut limit = self.tried.len() + TRIALS;
        let mut prolonged = false;
        loop {
            let before = cost;
            for other in self.neighbours(&choices) {
                if self.tried.len() >= limit {
                    break;
                }
                if self.tried.contains_key(&other) {
                    continue;
                }
                let new = self.cost(&other);
                if new < cost - 1e-9 {
                    (choices, cost) = (other, new);
                }
            }
            let crossed = || self.draw(&choices).is_some_and(|d| d.0.crossings() > 0);
            if self.tried.len() >= limit && !prolonged && crossed() {
                limit = self.tried.len() + MORE_TRIALS;
                prolonged = true;
            } else if cost >= before || self.tried.len() >= limit {
                break;
            }
        }
        (cost, choices)
    }

    /// Sets of up to three outputs behind which the drawing may go on below; twins break together.
    fn cuts(&self) -> Vec<BTreeSet<usize>> {
        let twins = twins(self.c, self.flow);
        let single: Vec<BTreeSet<usize>> = (0..self.c.blocks.len())
            .filter(|k| {
                let block = &self.c.blocks[*k];
                let signal = |n: usize| self.c.signal(n) && !self.flow.soft[n] && n != self.c.output;
                !block.inputs.is_empty() && block.out.as_ref().is_some_and(|o| signal(o.node))
            })
            .filter(|k| !twins.iter().any(|t| t.1 == *k))
            .map(|k| twins.iter().filter(|t| t.0 == k).map(|t| t.1).chain([k]).collect())
            .collect();
        let mut list: Vec<BTreeSet<usize>> = single.clone();
        for (i, a) in single.iter().enumerate() {
            for (j, b) in single.iter().enumerate().skip(i + 1) {
                list.push(a.union(b).copied().collect());
                for c in &single[j + 1..] {
                    list.push(a.union(b).chain(c).copied().collect());
                }
            }
        }
        list.truncate(MOST_CUTS);
        list
    }

    fn neighbours(&self, choices: &Choices) -> Vec<Choices> {
        fn toggle(set: &mut BTreeSet<usize>, k: usize) {
            if !set.remove(&k) {
                set.insert(k);
            }
        }
        let mut list = Vec::new();
        let mut with = |change: &dyn Fn(&mut Choices)| {
            let mut other = choices.clone();
            change(&mut other);
            list.push(other);
        };
        for (k, block) in self.c.blocks.iter().enumerate() {
            if block.inputs.len() > 1 {
                with(&|x| toggle(&mut x.flipped, k));
            }
        }
        let joins = plan(self.c, self.flow, choices).joins.len();
        for j in 0..joins {
            for turn in 0..=4 {
                with(&|x| {
                    x.joined.insert(j, turn);
                });
            }
        }
        for n in (0..self.c.nodes.len()).filter(|n| self.c.signal(*n) && !self.flow.inside[*n]) {
            with(&|x| toggle(&mut x.turned, n));
        }
        list
    }

    fn cost(&mut self, choices: &Choices) -> f64 {
        let cost = self.draw(choices).map_or(f64::INFINITY, |d| d.1);
        self.tried.insert(choices.clone(), cost);
        cost
    }

    fn draw(&self, choices: &Choices) -> Option<(Drawing, f64)> {
        let plan = plan(self.c, self.flow, choices);
        let sketches = Sketches::new(self.c, self.flow, &plan);
        let x = columns(self.c, self.flow, &plan, &sketches)?;
        let laid = rows(self.c, self.flow, &plan, &x, &sketches);
        let (drawing, unwired) = self.wired(&laid);
        let (width, height) = drawing.extent();
        let flags = drawing.parts().iter().filter(|p| matches!(p.symbol, Symbol::Flag { .. })).count();
        let torn = plan.joins.iter().filter(|j| j.tears && j.how == How::Flag).count();
        let cost = UNWIRED * unwired as f64
            + FAULT * (drawing.faults().len() + laid.crowded) as f64
            + if laid.upside_down { 2.0 * FAULT } else { 0.0 }
            + CROSSING * drawing.crossings() as f64
            + BEND * drawing.bends() as f64
            + UNUSUAL * choices.unusual() as f64
            + LENGTH * drawing.wire_length()
            + FLAG * flags as f64
            + TORN * torn as f64
            + 0.4 * width
            + 0.6 * height
            + 6.0 * (width - WIDEST).max(0.0);
        Some((drawing, cost))
    }

    /// The drawing with its wires, and how many found no way.
    fn wired(&self, laid: &Laid) -> (Drawing, usize) {
        let mut drawing = Drawing::default();
        let rooms: Vec<Room> = laid.piece.rooms();
        let all = Room::around(rooms.iter().flat_map(|r| [(r.left, r.top), (r.right, r.bottom)]));
        let mut grid = Grid::new(&all.unwrap_or(Room { left: 0.0, top: 0.0, right: 1.0, bottom: 1.0 }));
        for part in &laid.piece.parts {
            part.rooms().iter().for_each(|r| grid.block(r));
            drawing.place_part(part.clone());
        }
        let mut pins: BTreeMap<Cell, usize> = BTreeMap::new();
        let mut unknown = self.c.nodes.len();
        let mut unwired = 0;
        for part in &laid.piece.parts {
            for (i, (name, at)) in part.pins().into_iter().enumerate() {
                match self.node_of(part, i, name) {
                    Some(net) => {
                        let before = pins.insert(cell(at), net);
                        unwired += usize::from(before.is_some_and(|b| b < self.c.nodes.len() && b != net));
                    }
                    None => {
                        unknown += 1;
                        pins.entry(cell(at)).or_insert(unknown);
                    }
                }
            }
        }
        for (at, net) in &pins {
            grid.pin(*at, *net);
        }
        let mut nets = Nets { wires: Vec::new() };
        let mut wires: Vec<Vec<Point>> = Vec::new();
        for wire in &laid.piece.wires {
            let cells: Vec<Cell> = wire.points.iter().map(|p| cell(*p)).collect();
            let net =
                wire.node.or_else(|| cells.iter().find_map(|c| pins.get(c).copied())).unwrap_or(usize::MAX);
            grid.lay(&cells, net);
            nets.wires.push((net, cells));
            wires.push(wire.points.clone());
        }
        let mut wanted: Vec<&Wanted> = laid.wanted.iter().collect();
        wanted.sort_by_key(|w| {
            ((w.from.0 - w.to.0).abs().min((w.from.1 - w.to.1).abs()) > 0, distance(w.from, w.to))
        });
        for w in wanted {
            let (a, b) = (nets.reached(w.node, w.from), nets.reached(w.node, w.to));
            if a.contains(&w.to) {
                continue;
            }
            let way = grid.plain(w.from, w.to, w.node).or_else(|| grid.way(w.from, &a, &b, w.node));
            let Some(way) = way else {
                unwired += 1;
                continue;
            };
            grid.lay(&way, w.node);
            wires.push(way.iter().map(|c| point(*c)).collect());
            nets.wires.push((w.node, way));
        }
        unwired += nets.shorts(&pins, self.c.nodes.len());
        let ends: Vec<Point> = laid
            .piece
            .parts
            .iter()
            .flat_map(|p| p.pins().into_iter().map(|pin| pin.1).collect::<Vec<_>>())
            .collect();
        for wire in trimmed(&wires, &ends) {
            drawing.wire(&wire);
        }
        if let Some(z) = laid.zone {
            drawing.zone(z.left, z.top, z.right, z.bottom);
        }
        for (at, text) in &laid.notes {
            drawing.note(*at, text, Anchor::Middle);
        }
        let bottom = laid.zone.map_or(0.0, |z| z.bottom + 1.5).max(all.map_or(0.0, |r| r.bottom));
        for (i, note) in self.c.notes.iter().enumerate() {
            drawing.note((7.6, bottom + 2.5 + 1.8 * i as f64), note, Anchor::Start);
        }
        (drawing, unwired)
    }

    /// Node of a part's pin; none for pins that the circuit does not know.
    fn node_of(&self, part: &Part, index: usize, name: &str) -> Option<usize> {
        let d = &part.designator;
        match (&part.symbol, name) {
            (Symbol::TestPoint, _) => self.c.tests.iter().find(|t| t.0 == *d).map(|t| t.1),
            (Symbol::Thermocouple { .. }, "+") => Some(self.c.plus),
            (Symbol::Thermocouple { .. }, _) => Some(self.c.minus),
            (Symbol::Terminal, _) => match d.as_str() {
                "TC+" => Some(self.c.plus),
                "TC−" => Some(self.c.minus),
                _ => self.c.taps.iter().find(|t| t.0 == *d).map(|t| t.1).or(Some(self.c.output)),
            },
            (Symbol::Voltmeter, "+") => Some(self.c.output),
            (Symbol::Ground, _) => Some(0),
            (Symbol::Rail { name } | Symbol::RailBelow { name } | Symbol::Flag { name, .. }, _) => {
                let rail = |n: &Node| matches!(&n.role, Role::Above(own) | Role::Below(own) if own == name);
                let flag = || self.flow.names.iter().position(|n| n == name);
                self.c.nodes.iter().position(rail).or_else(flag)
            }
            _ => {
                if let Some(pole) = self.c.poles.iter().find(|p| p.designator == *d) {
                    return Some(if index == 0 { pole.a } else { pole.b });
                }
                let block = self.c.blocks.iter().find(|b| b.designator == *d)?;
                let mut pins = block.inputs.iter().chain(&block.others).chain(&block.out);
                pins.find(|p| p.name == name).map(|p| p.node)
            }
        }
    }
}

/// Bars without what sticks out beyond the last thing on them: a wire may have left elsewhere than foreseen.
fn trimmed(wires: &[Vec<Point>], pins: &[Point]) -> Vec<Vec<Point>> {
    let near = |a: Point, b: Point| (a.0 - b.0).abs() < 1e-6 && (a.1 - b.1).abs() < 1e-6;
    let on = |p: Point, w: &[Point]| {
        w.windows(2).any(|s| {
            let within = |v: f64, a: f64, b: f64| v >= a.min(b) - 1e-6 && v <= a.max(b) + 1e-6;
            within(p.0, s[0].0, s[1].0) && within(p.1, s[0].1, s[1].1)
        })
    };
    let mut kept = wires.to_vec();
    // One that was cut may leave another bare: a few rounds settle it.
    for i in (0..kept.len()).chain(0..kept.len()).chain(0..kept.len()) {
        for at_end in [false, true] {
            let mut wire = kept[i].clone();
            if at_end {
                wire.reverse();
            }
            let [end, next, ..] = wire[..] else { continue };
            let others = || kept.iter().enumerate().filter(|(j, _)| *j != i).map(|(_, w)| w);
            if pins.iter().any(|p| near(*p, end)) || others().any(|w| on(end, w)) {
                continue;
            }
            // Everything that hangs on the first piece: pins, and wires that end on it; its other end at last.
            let hung = pins.iter().copied().chain(others().flat_map(|w| [w[0], w[w.len() - 1]]));
            let far = |p: Point| (p.0 - end.0).abs() + (p.1 - end.1).abs();
            let nearest = hung
                .filter(|p| on(*p, &[end, next]))
                .min_by(|a, b| far(*a).total_cmp(&far(*b)))
                .unwrap_or(next);
            wire[0] = nearest;
            if wire.len() > 2 && near(nearest, next) {
                wire.remove(0);
            }
            if at_end {
                wire.reverse();
            }
            kept[i] = wire;
        }
    }
    kept.retain(|w| w.len() > 2 || !near(w[0], w[w.len() - 1]));
    kept
}

fn distance(a: Cell, b: Cell) -> i32 {
    (a.0 - b.0).abs() + (a.1 - b.1).abs()
}

/// Wires laid so far with their nets.
struct Nets {
    wires: Vec<(usize, Vec<Cell>)>,
}

impl Nets {
    /// Wires that join what they should not: another net's pin, or another net's wire at an end.
    fn shorts(&self, pins: &BTreeMap<Cell, usize>, nodes: usize) -> usize {
        let all: Vec<(usize, BTreeSet<Cell>, [Option<Cell>; 2])> = self
            .wires
            .iter()
            .map(|(net, w)| (*net, cells(w).into_iter().collect(), [w.first().copied(), w.last().copied()]))
            .collect();
        let mut count = 0;
        for (i, (net, on, ends)) in all.iter().enumerate() {
            // Numbers from `nodes` on are pins that belong to no node: an amplifier's own, a converter's output.
            let foreign = |p: &usize| p != net && *p < nodes && *net < nodes;
            count += on.iter().filter(|c| pins.get(c).is_some_and(foreign)).count();
            for (other, there, tips) in all[i + 1..].iter().filter(|o| o.0 != *net) {
                let touches = ends.iter().flatten().any(|e| there.contains(e))
                    || tips.iter().flatten().any(|e| on.contains(e));
                count += usize::from(touches && other != net);
            }
        }
        count
    }

    /// Every cell that wires of the net join to a cell, that cell included.
    fn reached(&self, net: usize, from: Cell) -> Vec<Cell> {
        let own: Vec<Vec<Cell>> = self.wires.iter().filter(|w| w.0 == net).map(|w| cells(&w.1)).collect();
        let ends = |w: &Vec<Cell>| [w.first().copied(), w.last().copied()];
        let mut taken = vec![false; own.len()];
        let mut all: BTreeSet<Cell> = std::iter::once(from).collect();
        loop {
            let mut changed = false;
            for (i, wire) in own.iter().enumerate() {
                if taken[i] {
                    continue;
                }
                // Wires of one net join where an end of one lies on the other.
                let meets = ends(wire).into_iter().flatten().any(|e| all.contains(&e))
                    || wire.contains(&from)
                    || own
                        .iter()
                        .zip(&taken)
                        .filter(|(_, t)| **t)
                        .any(|(o, _)| ends(o).into_iter().flatten().any(|e| wire.contains(&e)));
                if meets {
                    taken[i] = true;
                    all.extend(wire.iter().copied());
                    changed = true;
                }
            }
            if !changed {
                return all.into_iter().collect();
            }
        }
    }
}

/// Every cell of a wire.
fn cells(wire: &[Cell]) -> Vec<Cell> {
    let mut all = Vec::new();
    for w in wire.windows(2) {
        let way = ((w[1].0 - w[0].0).signum(), (w[1].1 - w[0].1).signum());
        let mut at = w[0];
        while at != w[1] {
            all.push(at);
            at = (at.0 + way.0, at.1 + way.1);
        }
    }
    all.extend(wire.last().copied());
    all
}
