//! What hangs on the bars of strips, and how bars are joined across.

use super::circuit::Role;
use super::flow::{Feed, Place};
use super::strips::{Builder, End, How, Hung, Join, Slot, Start, Tip};

impl Builder<'_> {
    fn place(&self, tip: Tip) -> (i32, usize, usize) {
        match tip {
            Tip::Bar(s, b) => (self.plan.strips[s].column, b, self.plan.strips[s].rank),
            Tip::Pin(..) => (0, 0, 0),
        }
    }

    /// Whether a block drives the node there.
    fn is_output(&self, tip: &Tip) -> bool {
        match tip {
            Tip::Bar(s, b) => matches!(self.flow.feed[self.plan.strips[*s].bars[*b].node], Feed::Block(_)),
            Tip::Pin(..) => false,
        }
    }

    pub(super) fn joins(&mut self) {
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
                // Beside its other end, where the node has a bar there: behind a flag, or at the foot of a fork.
                let near = |node: usize, home: (usize, usize), other: (usize, usize)| {
                    let bars = &self.plan.strips[other.0].bars;
                    let there = bars.iter().position(|bar| bar.node == node);
                    there.map_or(home, |bar| (other.0, bar))
                };
                let (a, b) = (near(branch.a, a, b), near(branch.b, b, a));
                let tips = [Tip::Bar(a.0, a.1), Tip::Bar(b.0, b.1)];
                joins.push(Join { branch: Some(i), node: branch.a, tips, how: How::Bridge, tears: false });
            }
        }
        // Reference pins of amplifiers and the like, from below.
        for (k, block) in self.c.blocks.iter().enumerate() {
            for (p, pin) in block.others.iter().enumerate() {
                if let (true, Some(h)) = (self.c.signal(pin.node), self.home[pin.node]) {
                    let tips = [Tip::Bar(h.0, h.1), Tip::Pin(k, p)];
                    let how = if pin.name == "REF" { How::Bridge } else { How::Flag };
                    joins.push(Join { branch: None, node: pin.node, tips, how, tears: false });
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
        let driven = j.tips.iter().any(|tip| self.is_output(tip));
        j.tears = j.branch.is_some() && (feedback.is_some() || !driven);
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

    pub(super) fn hang(&mut self) {
        let count = self.plan.strips.len();
        let mut hung: Vec<Vec<Vec<(u8, bool, Hung)>>> =
            (0..count).map(|s| vec![Vec::new(); self.plan.strips[s].bars.len()]).collect();
        let (c, flow) = (self.c, self.flow);
        for (strip, bars) in self.plan.strips.iter().zip(&mut hung) {
            if let (Start::Bead(plus), Some(bar)) = (&strip.start, bars.first_mut()) {
                bar.push((0, *plus, Hung::Terminal(if *plus { "TC+" } else { "TC−" })));
                if !plus && !c.signal(c.minus) {
                    let up = matches!(c.nodes[c.minus].role, Role::Above(_));
                    bar.push((3, up, Hung::Rail(c.minus)));
                }
            }
        }
        for (i, (_, node)) in c.tests.iter().enumerate() {
            if let Some(h) = self.home[*node] {
                let lower = self.plan.strips[h.0].start == Start::Bead(false);
                hung[h.0][h.1].push((3, !lower, Hung::Test(i)));
            }
        }
        for (i, (_, node)) in c.taps.iter().enumerate() {
            if let Some(h) = self.home[*node] {
                hung[h.0][h.1].push((4, false, Hung::Tap(i)));
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
            // A part whose wire is cut stands where its signal goes, not at the output that it comes from.
            let standing = usize::from(self.is_output(&j.tips[0]) && !self.is_output(&j.tips[1]));
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
                            Some(k) if end == standing => hung[s][b].push((5, false, Hung::Stub(k))),
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
        if let (None, Some(h)) = (c.reader, self.home[c.output]) {
            hung[h.0][h.1].push((9, true, Hung::Terminal("OUT")));
            hung[h.0][h.1].push((9, false, Hung::Meter));
        }
        for (strip, lists) in self.plan.strips.iter_mut().zip(&mut hung) {
            for (bar, list) in strip.bars.iter_mut().zip(lists) {
                list.sort_by_key(|h| h.0);
                if self.choices.turned.contains(&bar.node) {
                    let first = |key: u8| list.iter().position(|h| h.0 >= key).unwrap_or(list.len());
                    let (from, to) = (first(2), first(8));
                    list[from..to].reverse();
                }
                bar.slots = packed(list);
            }
        }
    }
}

/// Things above and below share a slot where that reads well.
fn packed(list: &[(u8, bool, Hung)]) -> Vec<Slot> {
    let simple = |h: &Hung| {
        matches!(h, Hung::Test(_) | Hung::Stub(_) | Hung::Meter | Hung::Tap(_) | Hung::Terminal("OUT"))
    };
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
