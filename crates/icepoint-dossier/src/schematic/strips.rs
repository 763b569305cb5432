//! The circuit as level strips: bars of one node each, with what lies between them and what hangs on them.
//!
//! A strip begins at the thermocouple, at a block's output, at a flag or at nothing, runs to the right through its
//! series parts and ends at a block's input, at a flag or at nothing. What is not in a strip's way hangs on slots of its
//! bars: stubs to rails, test points, joins to other bars.

use std::collections::BTreeSet;

use super::circuit::{Circuit, Role};
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

struct Builder<'a> {
    c: &'a Circuit,
    flow: &'a Flow,
    choices: &'a Choices,
    plan: Plan,
    /// Strip and bar where the node's parts hang.
    home: Vec<Option<(usize, usize)>>,
    ended: BTreeSet<(usize, usize)>,
    flagged: BTreeSet<usize>,
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
                } else if self.flow.soft[node]
                    && !self.c.blocks[k].out.as_ref().is_some_and(|o| o.node == node)
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
    fn strip_at(&self, k: usize, p: usize) -> Option<usize> {
        self.plan.strips.iter().position(|s| s.end == End::Pin(k, p))
    }

    /// Whether a strip is no more than the neighbourhood of a pin.
    fn local(&self, k: usize, p: usize) -> bool {
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
    fn stacked(&self, k: usize) -> Vec<usize> {
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

    fn place(&self, tip: Tip) -> (i32, usize, usize) {
        match tip {
            Tip::Bar(s, b) => (self.plan.strips[s].column, b, self.plan.strips[s].rank),
            Tip::Pin(..) => (0, 0, 0),
        }
    }

    fn joins(&mut self) {
        let mut joins = std::mem::take(&mut self.plan.joins);
        for j in &mut joins {
            if let Some(h) = self.home[j.node] {
                j.tips[0] = Tip::Bar(h.0, h.1);
            }
        }
        joins.retain(|j| j.tips[0] != Tip::Bar(usize::MAX, 0));
        for (i, branch) in self.flow.branches.iter().enumerate() {
            if self.flow.places[i] != Place::Join {
                continue;
            }
            if let (Some(a), Some(b)) = (self.home[branch.a], self.home[branch.b]) {
                let tips = [Tip::Bar(a.0, a.1), Tip::Bar(b.0, b.1)];
                joins.push(Join { branch: Some(i), node: branch.a, tips, how: How::Bridge });
            }
        }
        // Reference pins of amplifiers and the like, from below.
        for (k, block) in self.c.blocks.iter().enumerate() {
            for (p, pin) in block.others.iter().enumerate() {
                if let (true, Some(h)) = (self.c.signal(pin.node), self.home[pin.node]) {
                    let tips = [Tip::Bar(h.0, h.1), Tip::Pin(k, p)];
                    let how = if pin.name == "REF" { How::Bridge } else { How::Flag };
                    joins.push(Join { branch: None, node: pin.node, tips, how });
                }
            }
        }
        for (i, j) in joins.iter_mut().enumerate() {
            self.settle(j);
            let turn = self.choices.joined.get(&i).copied().unwrap_or(0);
            let all = [How::Above, How::Below, How::Bridge, How::Flag];
            if turn > 0 {
                j.how = all[(usize::from(turn) - 1) % 4];
            }
            let reaches_pin = matches!(j.tips[1], Tip::Pin(..));
            if reaches_pin && j.how != How::Bridge {
                j.how = How::Flag;
            }
        }
        self.plan.joins = joins;
    }

    /// The usual way of a join, its left tip first.
    fn settle(&self, j: &mut Join) {
        let [Tip::Bar(s, _), Tip::Bar(t, _)] = j.tips else { return };
        let (a, b) = (self.place(j.tips[0]), self.place(j.tips[1]));
        if (a.0, a.1) > (b.0, b.1) {
            j.tips.swap(0, 1);
        }
        let related = |s: usize, t: usize| match (&self.plan.strips[s].end, &self.plan.strips[t].start) {
            (End::Pin(k, p), Start::Out(o)) if k == o => Some((*k, *p)),
            _ => None,
        };
        let feedback = related(s, t).or_else(|| related(t, s));
        let fork =
            self.plan.strips[s].end == End::None && self.plan.strips[s].column == self.plan.strips[t].column;
        j.how = if let Some((k, p)) = feedback {
            let upper = self.stacked(k).first() == Some(&p);
            if upper { How::Above } else { How::Below }
        } else if s != t && (j.branch.is_none() || fork || (a.0 - b.0).abs() == 0) {
            How::Bridge
        } else {
            How::Above
        };
    }

    fn hang(&mut self) {
        let count = self.plan.strips.len();
        let mut hung: Vec<Vec<Vec<(u8, bool, Hung)>>> =
            (0..count).map(|s| vec![Vec::new(); self.plan.strips[s].bars.len()]).collect();
        let (c, flow) = (self.c, self.flow);
        for s in 0..count {
            if let Start::Bead(plus) = self.plan.strips[s].start {
                hung[s][0].push((0, plus, Hung::Terminal(if plus { "TC+" } else { "TC−" })));
                if !plus && !c.signal(c.minus) {
                    let up = matches!(c.nodes[c.minus].role, Role::Above(_));
                    hung[s][0].push((3, up, Hung::Rail(c.minus)));
                }
            }
        }
        for (i, (_, node)) in c.tests.iter().enumerate() {
            if let Some(h) = self.home[*node] {
                let lower = self.plan.strips[h.0].start == Start::Bead(false);
                hung[h.0][h.1].push((3, !lower, Hung::Test(i)));
            }
        }
        for (i, branch) in flow.branches.iter().enumerate() {
            if let Place::Stub(node) = flow.places[i] {
                let far = branch.other(node);
                let up = matches!(c.nodes[far].role, Role::Above(_));
                if let Some(h) = self.home[node] {
                    hung[h.0][h.1].push((if up { 4 } else { 5 }, up, Hung::Stub(i)));
                }
                if c.signal(far) {
                    self.flagged.insert(far);
                }
            }
        }
        let joins = self.plan.joins.clone();
        for (i, j) in joins.iter().enumerate() {
            if j.how == How::Flag && j.branch.is_none() {
                self.flagged.insert(j.node);
            }
            let ranks: Vec<usize> = j.tips.iter().map(|t| self.place(*t).2).collect();
            for (end, tip) in j.tips.iter().enumerate() {
                let Tip::Bar(s, b) = *tip else { continue };
                let pin_above = matches!(j.tips[1 - end], Tip::Pin(..));
                let (up, key) = match j.how {
                    How::Above => (true, if end == 0 { 8 } else { 1 }),
                    How::Below => (false, if end == 0 { 8 } else { 1 }),
                    How::Bridge => {
                        (pin_above || ranks[end] > ranks[1 - end], if j.branch.is_some() { 6 } else { 2 })
                    }
                    How::Flag => {
                        let home = self.home[j.node] == Some((s, b));
                        match j.branch {
                            None if !home => {
                                hung[s][b].push((2, false, Hung::Flag(flow.names[j.node].clone())))
                            }
                            None => {}
                            Some(k) if end == 0 => hung[s][b].push((5, false, Hung::Stub(k))),
                            Some(_) => {
                                self.flagged.insert(self.plan.strips[s].bars[b].node);
                            }
                        }
                        continue;
                    }
                };
                hung[s][b].push((key, up, Hung::Join(i)));
            }
        }
        // Arches nest: the one that reaches furthest leaves first and arrives last.
        let far = |i: usize, end: usize| {
            let (column, bar, _) = self.place(joins[i].tips[end]);
            (column, bar)
        };
        for list in hung.iter_mut().flatten() {
            list.sort_by(|a, b| match (a, b) {
                ((8, _, Hung::Join(i)), (8, _, Hung::Join(j))) => far(*j, 1).cmp(&far(*i, 1)).then(i.cmp(j)),
                ((1, _, Hung::Join(i)), (1, _, Hung::Join(j))) => far(*j, 0).cmp(&far(*i, 0)).then(j.cmp(i)),
                _ => a.0.cmp(&b.0),
            });
        }
        self.flagged.extend(c.exits.iter().map(|e| e.0));
        for node in self.flagged.clone() {
            let Some((s, b)) = self.home[node] else { continue };
            let last = b + 1 == self.plan.strips[s].bars.len() && self.plan.strips[s].end == End::None;
            if last {
                self.plan.strips[s].end = End::Flag(flow.names[node].clone());
            } else if self.plan.strips[s].end != End::Flag(flow.names[node].clone()) {
                hung[s][b].push((7, false, Hung::Flag(flow.names[node].clone())));
            }
        }
        if self.c.reader.is_none() {
            if let Some(h) = self.home[c.output] {
                hung[h.0][h.1].push((9, true, Hung::Terminal("OUT")));
                hung[h.0][h.1].push((9, false, Hung::Meter));
            }
        }
        for s in 0..count {
            for (b, list) in hung[s].iter_mut().enumerate() {
                list.sort_by_key(|h| h.0);
                let node = self.plan.strips[s].bars[b].node;
                if self.choices.turned.contains(&node) {
                    let (from, to) = (
                        list.iter().position(|h| h.0 >= 2).unwrap_or(list.len()),
                        list.iter().position(|h| h.0 >= 8).unwrap_or(list.len()),
                    );
                    list[from..to].reverse();
                }
                self.plan.strips[s].bars[b].slots = packed(list);
            }
        }
    }
}

/// Things above and below share a slot where that reads well.
fn packed(list: &[(u8, bool, Hung)]) -> Vec<Slot> {
    let simple = |h: &Hung| matches!(h, Hung::Test(_) | Hung::Stub(_) | Hung::Meter | Hung::Terminal("OUT"));
    let mut slots: Vec<Slot> = Vec::new();
    for (_, up, hung) in list {
        let free = |slot: &&mut Slot| {
            let (same, other) = if *up { (&slot.up, &slot.down) } else { (&slot.down, &slot.up) };
            same.is_none() && simple(hung) && other.as_ref().is_some_and(simple)
        };
        if let Some(slot) = slots.last_mut().as_mut().filter(|s| free(s)) {
            if *up {
                slot.up = Some(hung.clone());
            } else {
                slot.down = Some(hung.clone());
            }
        } else if *up {
            slots.push(Slot { up: Some(hung.clone()), down: None });
        } else {
            slots.push(Slot { up: None, down: Some(hung.clone()) });
        }
    }
    slots
}
