//! The circuit as level strips: bars of one node each, with what lies between them and what hangs on them.
//!
//! A strip begins at the thermocouple, at a block's output, at a flag or at nothing, runs to the right through its
//! series parts and ends at a block's input, at a flag or at nothing. What is not in a strip's way hangs on slots of its
//! bars: stubs to rails, test points, joins to other bars.

use std::collections::BTreeSet;

use super::circuit::Circuit;
use super::flow::{Feed, Flow, Place};

/// How two bars are joined.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum How {
    /// On a lane above both.
    Above,
    /// On a lane below both.
    Below,
    /// Upright between them.
    Bridge,
    /// By flags.
    Flag,
}

/// What can be chosen; an absent entry means the usual.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Choices {
    /// Blocks whose inputs change places.
    pub flipped: BTreeSet<usize>,
    /// Blocks after whose output the drawing goes on below.
    pub cut: BTreeSet<usize>,
    /// Joins and links, by their number: 0 usual, then the others in turn.
    pub joined: std::collections::BTreeMap<usize, u8>,
    /// Slots of a bar in another order: bar's node.
    pub turned: BTreeSet<usize>,
}

impl Choices {
    /// How many depart from the usual; where the drawing breaks is no matter of habit.
    pub fn unusual(&self) -> usize {
        self.flipped.len() + self.turned.len() + self.joined.values().filter(|j| **j > 0).count()
    }
}

#[derive(Clone, Debug, PartialEq)]
pub(super) enum Start {
    Bare,
    Bead(bool),
    Out(usize),
    Flag(String),
}

#[derive(Clone, Debug, PartialEq)]
pub(super) enum End {
    None,
    Pin(usize, usize),
    Flag(String),
}

/// What hangs on one side of a slot.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Hung {
    Test(usize),
    Stub(usize),
    /// End of a join, by its number.
    Join(usize),
    /// Flag of a node's name.
    Flag(String),
    /// Wire to ground or a rail: the node.
    Rail(usize),
    Terminal(&'static str),
    /// Terminal of a tap, by its number.
    Tap(usize),
    Meter,
}

#[derive(Clone, Debug)]
pub(super) struct Slot {
    pub up: Option<Hung>,
    pub down: Option<Hung>,
}

#[derive(Clone, Debug)]
pub(super) struct Bar {
    pub node: usize,
    pub slots: Vec<Slot>,
}

#[derive(Clone, Debug)]
pub(super) struct Strip {
    pub start: Start,
    pub bars: Vec<Bar>,
    /// Branches between the bars.
    pub series: Vec<usize>,
    pub end: End,
    /// Place from top to bottom.
    pub rank: usize,
    /// Which strips lie right of which.
    pub column: i32,
}

/// What a join ends at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Tip {
    Bar(usize, usize),
    /// Pin among the others of a block.
    Pin(usize, usize),
}

/// Two bars, or a bar and a pin from below, joined by a branch or a wire.
#[derive(Clone, Debug)]
pub(super) struct Join {
    pub branch: Option<usize>,
    pub node: usize,
    pub tips: [Tip; 2],
    pub how: How,
    /// Whether flags in its place would tear what belongs together: feedback, or two nodes that no output drives.
    pub tears: bool,
}

#[derive(Clone, Debug)]
pub(super) struct Plan {
    pub strips: Vec<Strip>,
    pub joins: Vec<Join>,
    /// Inputs of blocks that end at a rail or flag at once: block, input.
    pub tied: Vec<(usize, usize)>,
    /// Whether the non-inverting input is the upper one, by block.
    pub plus_on_top: Vec<bool>,
}

pub(super) struct Builder<'a> {
    pub(super) c: &'a Circuit,
    pub(super) flow: &'a Flow,
    pub(super) choices: &'a Choices,
    pub(super) plan: Plan,
    /// Strip and bar where the node's parts hang.
    pub(super) home: Vec<Option<(usize, usize)>>,
    pub(super) ended: BTreeSet<(usize, usize)>,
    pub(super) flagged: BTreeSet<usize>,
}

/// Lays the circuit out in strips.
pub(super) fn plan(c: &Circuit, flow: &Flow, choices: &Choices) -> Plan {
    let plan = Plan {
        strips: Vec::new(),
        joins: Vec::new(),
        tied: Vec::new(),
        plus_on_top: vec![true; c.blocks.len()],
    };
    let mut b = Builder {
        c,
        flow,
        choices,
        plan,
        home: vec![None; c.nodes.len()],
        ended: BTreeSet::new(),
        flagged: BTreeSet::new(),
    };
    b.strips();
    b.leg();
    b.pins();
    b.tops();
    b.ranks();
    b.columns();
    b.joins();
    b.hang();
    b.plan
}

impl Builder<'_> {
    fn children(&self, n: usize) -> Vec<(usize, usize)> {
        (0..self.flow.branches.len())
            .filter_map(|i| match self.flow.places[i] {
                Place::Series(from, to) if from == n => Some((i, to)),
                _ => None,
            })
            .collect()
    }

    fn pin_of(&self, n: usize) -> Option<(usize, usize)> {
        if self.flow.soft[n] {
            return None;
        }
        let mut pins: Vec<(u32, usize, usize)> = Vec::new();
        for (k, block) in self.c.blocks.iter().enumerate() {
            if block.out.as_ref().is_some_and(|o| o.node == n) {
                continue;
            }
            for (p, pin) in block.inputs.iter().enumerate() {
                if pin.node == n && !self.ended.contains(&(k, p)) {
                    pins.push((block.out.as_ref().map_or(u32::MAX, |o| self.flow.hops[o.node]), k, p));
                }
            }
        }
        pins.into_iter().min().map(|(_, k, p)| (k, p))
    }

    /// How much of the circuit hangs behind a node; the way to the output weighs most.
    fn weight(&self, n: usize, seen: &mut Vec<bool>) -> usize {
        if seen[n] {
            return 0;
        }
        seen[n] = true;
        let mut sum = 1 + if n == self.c.output { 1000 } else { 0 };
        for (_, to) in self.children(n) {
            sum += self.weight(to, seen);
        }
        for block in &self.c.blocks {
            if block.inputs.iter().any(|p| p.node == n) {
                sum += 10;
                if let Some(out) = &block.out {
                    sum += self.weight(out.node, seen);
                }
            }
        }
        sum
    }

    fn heaviest(&self, n: usize) -> Option<(usize, usize)> {
        let mut best: Option<(usize, (usize, usize))> = None;
        for child in self.children(n).into_iter().filter(|x| self.home[x.1].is_none()) {
            let weight = self.weight(child.1, &mut vec![false; self.c.nodes.len()]);
            if best.is_none_or(|b| weight > b.0) {
                best = Some((weight, child));
            }
        }
        best.map(|b| b.1)
    }

    fn push(&mut self, start: Start, node: usize) -> usize {
        let bar = Bar { node, slots: Vec::new() };
        let strip = Strip { start, bars: vec![bar], series: Vec::new(), end: End::None, rank: 0, column: 0 };
        self.plan.strips.push(strip);
        self.plan.strips.len() - 1
    }

    /// Runs a strip on from its last bar.
    fn run(&mut self, s: usize, mut n: usize) {
        loop {
            if let Some((k, p)) = self.pin_of(n) {
                self.ended.insert((k, p));
                self.plan.strips[s].end = End::Pin(k, p);
                return;
            }
            let Some((branch, to)) = self.heaviest(n) else { return };
            let strip = &mut self.plan.strips[s];
            strip.series.push(branch);
            strip.bars.push(Bar { node: to, slots: Vec::new() });
            self.home[to] = Some((s, strip.bars.len() - 1));
            n = to;
        }
    }

    fn strips(&mut self) {
        let mut order: Vec<usize> =
            (0..self.c.nodes.len()).filter(|n| self.c.signal(*n) && !self.flow.inside[*n]).collect();
        order.sort_by_key(|n| (self.flow.hops[*n], *n));
        for n in order {
            if self.home[n].is_some() {
                continue;
            }
            let start = match self.flow.feed[n] {
                Feed::Bead => Start::Bead(n == self.c.plus),
                Feed::Block(b) => Start::Out(b),
                _ => Start::Bare,
            };
            let series = (0..self.flow.branches.len()).find_map(|i| match self.flow.places[i] {
                Place::Series(from, to) if to == n => Some((i, from)),
                _ => None,
            });
            if let (Some((branch, from)), Start::Bare) = (series, &start) {
                // The way forks: the new strip begins with a bar of its own on the node where it leaves.
                let s = self.push(Start::Bare, from);
                self.plan.strips[s].series.push(branch);
                self.plan.strips[s].bars.push(Bar { node: n, slots: Vec::new() });
                self.home[n] = Some((s, 1));
                self.link(from, (s, 0));
                self.run(s, n);
                continue;
            }
            let s = self.push(start.clone(), n);
            self.home[n] = Some((s, 0));
            match start {
                Start::Out(b) if self.choices.cut.contains(&b) && !self.flow.soft[n] => {
                    let name = self.flow.names[n].clone();
                    self.plan.strips[s].end = End::Flag(name.clone());
                    let s = self.push(Start::Flag(name), n);
                    self.run(s, n);
                }
                _ => self.run(s, n),
            }
        }
    }

    fn link(&mut self, node: usize, at: (usize, usize)) {
        // The home may not exist yet: filled in by `joins`.
        self.plan.joins.push(Join {
            branch: None,
            node,
            tips: [Tip::Bar(usize::MAX, 0), Tip::Bar(at.0, at.1)],
            how: How::Bridge,
            tears: false,
        });
    }

    /// The negative leg, where it stands on a node that something else drives, or on a rail.
    fn leg(&mut self) {
        if self.plan.strips.iter().any(|s| s.start == Start::Bead(false)) {
            return;
        }
        let s = self.push(Start::Bead(false), self.c.minus);
        if self.c.signal(self.c.minus) {
            self.link(self.c.minus, (s, 0));
        }
    }

    /// Inputs that no strip ends at.
    fn pins(&mut self) {
        for k in 0..self.c.blocks.len() {
            for p in 0..self.c.blocks[k].inputs.len() {
                let node = self.c.blocks[k].inputs[p].node;
                if self.ended.contains(&(k, p)) {
                    continue;
                }
                if !self.c.signal(node) {
                    self.plan.tied.push((k, p));
                } else if self.flow.soft[node] && self.c.blocks[k].out.as_ref().is_none_or(|o| o.node != node)
                {
                    self.plan.tied.push((k, p));
                    self.flagged.insert(node);
                } else {
                    let s = self.push(Start::Bare, node);
                    self.plan.strips[s].end = End::Pin(k, p);
                    self.ended.insert((k, p));
                    self.link(node, (s, 0));
                }
            }
        }
    }

    /// The strip that ends at a pin.
    pub(super) fn strip_at(&self, k: usize, p: usize) -> Option<usize> {
        self.plan.strips.iter().position(|s| s.end == End::Pin(k, p))
    }

    /// Whether a strip is no more than the neighbourhood of a pin.
    pub(super) fn local(&self, k: usize, p: usize) -> bool {
        self.strip_at(k, p)
            .is_none_or(|s| self.plan.strips[s].start == Start::Bare && self.plan.strips[s].bars.len() == 1)
    }

    /// Which leg of the thermocouple a strip comes from: +1, −1, or 0 for both or none.
    fn leg_of(&self, s: usize, depth: usize) -> i32 {
        match &self.plan.strips[s].start {
            Start::Bead(plus) => {
                if *plus {
                    1
                } else {
                    -1
                }
            }
            Start::Out(k) if depth > 0 => {
                let legs = (0..self.c.blocks[*k].inputs.len())
                    .filter(|p| !self.local(*k, *p))
                    .filter_map(|p| self.strip_at(*k, p))
                    .map(|t| self.leg_of(t, depth - 1));
                let (mut plus, mut minus) = (false, false);
                legs.for_each(|leg| {
                    plus |= leg > 0;
                    minus |= leg < 0;
                });
                i32::from(plus) - i32::from(minus)
            }
            _ => 0,
        }
    }

    fn tops(&mut self) {
        let twins = super::columns::twins(self.c, self.flow);
        for k in 0..self.c.blocks.len() {
            let leg =
                |p: usize| self.strip_at(k, p).filter(|_| !self.local(k, p)).map_or(0, |s| self.leg_of(s, 8));
            let usual = if self.c.blocks[k].inputs.len() < 2 {
                true
            } else if leg(0) * leg(1) < 0 {
                // The positive leg comes from above.
                leg(0) > 0
            } else if twins.iter().any(|t| t.1 == k) {
                // The lower of two alike is the upper one's mirror image.
                false
            } else {
                // An inverting amplifier has its signal above, at −, and its feedback above that.
                !self.local(k, 0) || self.local(k, 1)
            };
            self.plan.plus_on_top[k] = usual != self.choices.flipped.contains(&k);
        }
    }

    /// Inputs from the upper to the lower.
    pub(super) fn stacked(&self, k: usize) -> Vec<usize> {
        let mut inputs: Vec<usize> = (0..self.c.blocks[k].inputs.len()).collect();
        if !self.plan.plus_on_top[k] {
            inputs.reverse();
        }
        inputs
    }

    fn ranks(&mut self) {
        let mut order: Vec<usize> = Vec::new();
        let mut seen = vec![false; self.plan.strips.len()];
        let root = match self.c.reader {
            Some(k) => self.stacked(k).into_iter().filter_map(|p| self.strip_at(k, p)).collect(),
            None => self.home[self.c.output].map(|h| h.0).into_iter().collect::<Vec<_>>(),
        };
        let beads: Vec<usize> = [true, false]
            .iter()
            .filter_map(|p| self.plan.strips.iter().position(|s| s.start == Start::Bead(*p)))
            .collect();
        for s in root.into_iter().chain(beads).chain(0..self.plan.strips.len()) {
            self.visit(s, &mut seen, &mut order);
        }
        for (rank, s) in order.into_iter().enumerate() {
            self.plan.strips[s].rank = rank;
        }
    }

    fn visit(&self, s: usize, seen: &mut Vec<bool>, order: &mut Vec<usize>) {
        if seen[s] {
            return;
        }
        seen[s] = true;
        let before = match &self.plan.strips[s].start {
            Start::Out(k) => {
                let k = *k;
                let inputs = self.stacked(k);
                for (i, p) in inputs.iter().enumerate() {
                    if i > 0 || inputs.len() == 1 {
                        continue;
                    }
                    if let Some(t) = self.strip_at(k, *p) {
                        self.visit(t, seen, order);
                    }
                }
                order.push(s);
                for p in inputs.iter().skip(usize::from(inputs.len() > 1)) {
                    if let Some(t) = self.strip_at(k, *p) {
                        self.visit(t, seen, order);
                    }
                }
                return;
            }
            Start::Flag(name) => self.plan.strips.iter().position(|x| x.end == End::Flag(name.clone())),
            Start::Bare if self.plan.strips[s].series.len() + 1 == self.plan.strips[s].bars.len() => {
                self.home[self.plan.strips[s].bars[0].node].map(|h| h.0)
            }
            _ => None,
        };
        if let Some(before) = before {
            self.visit(before, seen, order);
        }
        order.push(s);
    }

    fn columns(&mut self) {
        // A few rounds settle any circuit without loops, and loops must stop somewhere.
        for _ in 0..self.c.blocks.len() + 1 {
            for s in 0..self.plan.strips.len() {
                let column = match &self.plan.strips[s].start {
                    Start::Out(k) => (0..self.c.blocks[*k].inputs.len())
                        .filter(|p| !self.local(*k, *p))
                        .filter_map(|p| self.strip_at(*k, p))
                        .map(|t| self.plan.strips[t].column + 2)
                        .max()
                        .unwrap_or(2)
                        .min(2 * self.c.blocks.len() as i32),
                    Start::Bare => match &self.plan.strips[s].end {
                        End::Pin(k, _) => {
                            let out = self.c.blocks[*k].out.as_ref().and_then(|o| self.home[o.node]);
                            out.map_or(0, |h| self.plan.strips[h.0].column - 1)
                        }
                        _ => self.home[self.plan.strips[s].bars[0].node]
                            .map_or(0, |h| self.plan.strips[h.0].column),
                    },
                    _ => 0,
                };
                self.plan.strips[s].column = column;
            }
        }
    }
}
