//! Where things stand from left to right: the smallest places that keep everything apart.
//!
//! Each slot, series part and block has a place; “at least so far right of” joins pairs of them, and places that must
//! agree (the two ends of a bridge, both legs of a balanced input) are one. The longest way from the left solves it; what
//! does not belong to the thermocouple is then drawn towards what it feeds.

use super::circuit::Circuit;
use super::flow::{Branch, Feed, Flow, Place};
use super::room::Extent;
use super::sketch::Sketches;
use super::strips::{End, How, Hung, Plan, Start, Tip};

/// Places found.
#[derive(Clone, Debug)]
pub(super) struct Columns {
    /// By strip, bar, slot.
    pub slots: Vec<Vec<Vec<i32>>>,
    /// By strip, series part.
    pub series: Vec<Vec<i32>>,
    pub blocks: Vec<i32>,
    /// Where a strip begins at a flag.
    pub starts: Vec<i32>,
    /// Where a strip ends at a flag.
    pub ends: Vec<i32>,
    /// Joins whose ends could not be brought over one another.
    pub apart: usize,
}

/// Left edge of what is neither thermocouple nor terminal.
const FIRST: i32 = 20;
/// Column of the terminals.
pub(super) const TERMINAL: i32 = 12;

#[derive(Clone, Debug)]
struct Unknowns {
    /// Representative and offset against it.
    of: Vec<(usize, i32)>,
    edges: Vec<(usize, usize, i32)>,
    least: Vec<i32>,
}

impl Unknowns {
    fn add(&mut self, least: i32) -> usize {
        self.of.push((self.of.len(), 0));
        self.least.push(least);
        self.of.len() - 1
    }

    fn after(&mut self, a: usize, b: usize, by: i32) {
        self.edges.push((a, b, by));
    }

    /// Makes `b` lie `by` right of `a`.
    fn tie(&mut self, a: usize, b: usize, by: i32) {
        let ((ra, oa), (rb, ob)) = (self.of[a], self.of[b]);
        if ra == rb {
            return;
        }
        // x_b = x_rb + ob = x_ra + oa + by.
        let shift = oa + by - ob;
        for at in &mut self.of {
            if at.0 == rb {
                *at = (ra, at.1 + shift);
            }
        }
    }

    fn solve(&self) -> Option<Vec<i32>> {
        let n = self.of.len();
        let mut x = vec![0; n];
        for i in 0..n {
            let (r, o) = self.of[i];
            x[r] = x[r].max(self.least[i] - o);
        }
        for _ in 0..=n {
            let mut changed = false;
            for (a, b, by) in &self.edges {
                let ((ra, oa), (rb, ob)) = (self.of[*a], self.of[*b]);
                let wanted = x[ra] + oa + by - ob;
                if wanted > x[rb] {
                    x[rb] = wanted;
                    changed = true;
                }
            }
            if !changed {
                return Some((0..n).map(|i| x[self.of[i].0] + self.of[i].1).collect());
            }
        }
        None
    }

    /// Draws what may move towards what it feeds.
    fn pull(&self, x: &mut [i32], moves: &[bool]) {
        let n = self.of.len();
        let mut free = vec![true; n];
        for i in 0..n {
            if !moves[i] {
                free[self.of[i].0] = false;
            }
        }
        for _ in 0..n {
            let mut changed = false;
            for r in (0..n).filter(|r| self.of[*r].0 == *r && free[*r]) {
                let room = self
                    .edges
                    .iter()
                    .filter(|e| self.of[e.0].0 == r && self.of[e.1].0 != r)
                    .map(|e| x[e.1] - e.2 - x[e.0])
                    .min();
                if let Some(room) = room.filter(|room| *room > 0) {
                    for i in (0..n).filter(|i| self.of[*i].0 == r) {
                        x[i] += room;
                    }
                    changed = true;
                }
            }
            if !changed {
                return;
            }
        }
    }
}

/// A thing in a strip's row: its unknown and its extents.
#[derive(Clone, Copy)]
struct Thing {
    unknown: usize,
    extent: Extent,
}

struct Numbered {
    slots: Vec<Vec<Vec<usize>>>,
    series: Vec<Vec<usize>>,
    blocks: Vec<usize>,
    starts: Vec<usize>,
    ends: Vec<usize>,
}

/// Finds the places; none when the plan contradicts itself.
pub(super) fn columns(c: &Circuit, flow: &Flow, plan: &Plan, sketches: &Sketches) -> Option<Columns> {
    let mut u = Unknowns { of: Vec::new(), edges: Vec::new(), least: Vec::new() };
    let later: Vec<bool> = (0..plan.strips.len()).map(|s| band(plan, s) > 0).collect();
    let left = |s: usize| if later[s] { 2 } else { FIRST };
    let block_left: Vec<i32> = (0..c.blocks.len())
        .map(|k| {
            let fed = plan.strips.iter().position(|s| matches!(s.end, End::Pin(b, _) if b == k));
            if c.blocks[k].inputs.is_empty() { TERMINAL } else { fed.map_or(FIRST, left) + 5 }
        })
        .collect();
    let blocks: Vec<usize> = block_left.iter().map(|l| u.add(*l)).collect();
    let mut n = Numbered { slots: vec![], series: vec![], blocks, starts: vec![], ends: vec![] };
    for (s, strip) in plan.strips.iter().enumerate() {
        n.slots.push(
            strip
                .bars
                .iter()
                .map(|b| {
                    b.slots
                        .iter()
                        .map(|slot| {
                            let terminal = matches!(slot.up, Some(Hung::Terminal("TC+")))
                                || matches!(slot.down, Some(Hung::Terminal("TC−")));
                            // A leg on ground ends at once, beside the zone of one temperature.
                            let grounded =
                                [&slot.up, &slot.down].iter().any(|h| matches!(h, Some(Hung::Rail(_))));
                            u.add(if terminal {
                                TERMINAL
                            } else if grounded {
                                TERMINAL + 6
                            } else {
                                left(s)
                            })
                        })
                        .collect()
                })
                .collect(),
        );
        n.series.push(strip.series.iter().map(|_| u.add(left(s))).collect());
        n.starts.push(u.add(if later[s] { 8 } else { FIRST }));
        n.ends.push(u.add(left(s)));
    }
    let mut rows: Vec<Vec<Thing>> = Vec::new();
    for s in 0..plan.strips.len() {
        let row = things(c, plan, sketches, &n, s);
        for (i, a) in row.iter().enumerate() {
            for b in &row[i + 1..] {
                u.after(a.unknown, b.unknown, a.extent.before(&b.extent).max(2));
            }
        }
        rows.push(row);
    }
    beside(c, plan, sketches, &n, &mut u);
    u.solve()?;
    let apart = ties(c, flow, plan, sketches, &n, &mut u);
    let mut x = u.solve()?;
    let anchored = |s: usize| {
        matches!(plan.strips[s].start, Start::Bead(_))
            || matches!(plan.strips[s].start, Start::Out(k) if c.blocks[k].inputs.is_empty())
    };
    let mut moves = vec![false; x.len()];
    for s in (0..plan.strips.len()).filter(|s| !anchored(*s)) {
        n.slots[s].iter().flatten().chain(&n.series[s]).for_each(|i| moves[*i] = true);
    }
    for (k, block) in c.blocks.iter().enumerate() {
        let from_bead = block.out.as_ref().is_none_or(|o| flow.hops[o.node] < super::flow::FAR);
        moves[n.blocks[k]] = !block.inputs.is_empty() && !from_bead;
    }
    u.pull(&mut x, &moves);
    Some(Columns {
        slots: n
            .slots
            .iter()
            .map(|s| s.iter().map(|b| b.iter().map(|i| x[*i]).collect()).collect())
            .collect(),
        series: n.series.iter().map(|s| s.iter().map(|i| x[*i]).collect()).collect(),
        blocks: n.blocks.iter().map(|i| x[*i]).collect(),
        starts: n.starts.iter().map(|i| x[*i]).collect(),
        ends: n.ends.iter().map(|i| x[*i]).collect(),
        apart,
    })
}

/// How many flags a strip lies behind.
pub(super) fn band(plan: &Plan, mut s: usize) -> usize {
    let mut bands = 0;
    for _ in 0..2 * plan.strips.len() {
        let before = match &plan.strips[s].start {
            Start::Flag(name) => {
                bands += 1;
                plan.strips.iter().position(|x| x.end == End::Flag(name.clone()))
            }
            Start::Out(k) => plan
                .strips
                .iter()
                .enumerate()
                .filter(|(_, x)| matches!(x.end, End::Pin(b, _) if b == *k))
                // A pin's own neighbourhood has no band of its own.
                .find(|(_, x)| x.start != Start::Bare || x.bars.len() > 1)
                .map(|(i, _)| i),
            Start::Bare => match plan.strips[s].end {
                End::Pin(k, _) if plan.strips[s].bars.len() == 1 => plan
                    .strips
                    .iter()
                    .enumerate()
                    .filter(|(_, x)| matches!(x.end, End::Pin(b, _) if b == k))
                    .find(|(_, x)| x.start != Start::Bare || x.bars.len() > 1)
                    .map(|(i, _)| i),
                _ => {
                    let node = plan.strips[s].bars[0].node;
                    plan.strips[..s].iter().position(|x| x.bars.iter().any(|b| b.node == node))
                }
            },
            Start::Bead(_) => None,
        };
        match before {
            Some(b) if b != s => s = b,
            _ => break,
        }
    }
    bands
}

fn things(c: &Circuit, plan: &Plan, sketches: &Sketches, n: &Numbered, s: usize) -> Vec<Thing> {
    let strip = &plan.strips[s];
    let mut row = Vec::new();
    match &strip.start {
        Start::Out(k) => row.push(Thing { unknown: n.blocks[*k], extent: sketches.block_right(*k) }),
        Start::Flag(_) => row.push(Thing { unknown: n.starts[s], extent: Extent::close(1.0) }),
        _ => {}
    }
    for (b, slots) in n.slots[s].iter().enumerate() {
        for (i, unknown) in slots.iter().enumerate() {
            row.push(Thing { unknown: *unknown, extent: sketches.slot(s, b, i) });
        }
        if let Some(unknown) = n.series[s].get(b) {
            row.push(Thing { unknown: *unknown, extent: sketches.series(strip.series[b]) });
        }
    }
    match &strip.end {
        End::Pin(k, p) => {
            let upper = (*p == 0) == plan.plus_on_top[*k];
            let extent = sketches.block_left(*k, c.blocks[*k].inputs.len() > 1, upper);
            row.push(Thing { unknown: n.blocks[*k], extent });
        }
        End::Flag(_) => row.push(Thing { unknown: n.ends[s], extent: Extent::close(1.0) }),
        End::None => {}
    }
    row
}

/// What hangs below an amplifier's upper input stays left of the neighbourhood of its lower one, and the other way round.
fn beside(c: &Circuit, plan: &Plan, sketches: &Sketches, n: &Numbered, u: &mut Unknowns) {
    for k in 0..c.blocks.len() {
        let at = |p: usize| plan.strips.iter().position(|s| s.end == End::Pin(k, p));
        let (Some(a), Some(b)) = (at(0), at(1)) else { continue };
        let (upper, lower) = if plan.plus_on_top[k] { (a, b) } else { (b, a) };
        let local = |s: usize| plan.strips[s].start == Start::Bare && plan.strips[s].bars.len() == 1;
        let near = if local(lower) {
            lower
        } else if local(upper) {
            upper
        } else {
            continue;
        };
        let far = if near == lower { upper } else { lower };
        for (bar, slots) in n.slots[far].iter().enumerate() {
            for (i, unknown) in slots.iter().enumerate() {
                let slot = &plan.strips[far].bars[bar].slots[i];
                let hangs = if near == lower { &slot.down } else { &slot.up };
                if hangs.is_none() {
                    continue;
                }
                let side = sketches.slot(far, bar, i);
                let right = side.right(near == lower);
                for first in n.slots[near][0].iter() {
                    u.after(*unknown, *first, libm::ceil(right + 1.9) as i32);
                }
            }
        }
        for unknown in &n.series[far] {
            for first in n.slots[near][0].iter() {
                u.after(*unknown, *first, 5);
            }
        }
    }
}

/// Ties that make bridges upright and legs alike; each is dropped if it contradicts the rest.
fn ties(c: &Circuit, flow: &Flow, plan: &Plan, sketches: &Sketches, n: &Numbered, u: &mut Unknowns) -> usize {
    let mut apart = 0;
    let attempt = |u: &mut Unknowns, change: &dyn Fn(&mut Unknowns)| {
        let mut other = u.clone();
        change(&mut other);
        let fits = other.solve().is_some();
        if fits {
            *u = other;
        }
        fits
    };
    let slot_of = |j: usize, tip: Tip| match tip {
        Tip::Bar(s, b) => plan.strips[s].bars[b]
            .slots
            .iter()
            .position(|x| x.up == Some(Hung::Join(j)) || x.down == Some(Hung::Join(j)))
            .map(|i| n.slots[s][b][i]),
        Tip::Pin(..) => None,
    };
    for (j, join) in plan.joins.iter().enumerate() {
        let ends = (slot_of(j, join.tips[0]), slot_of(j, join.tips[1]));
        match (join.how, join.tips[1], ends) {
            (How::Bridge, Tip::Pin(k, p), (Some(a), _)) => {
                let shift = sketches.pin(k, &c.blocks[k].others[p].name).0;
                apart += usize::from(!attempt(u, &|u| u.tie(n.blocks[k], a, shift)));
            }
            (How::Bridge, _, (Some(a), Some(b))) => {
                apart += usize::from(!attempt(u, &|u| u.tie(a, b, 0)));
            }
            (How::Above | How::Below, _, (Some(a), Some(b))) => {
                let length = join.branch.map_or(4, |i| 2 + 2 * sketches.lying_half(i));
                apart += usize::from(!attempt(u, &|u| u.after(a, b, length)));
            }
            _ => {}
        }
    }
    for (a, b) in alike(c, flow) {
        let find = |pole: usize| -> Option<usize> {
            for (s, strip) in plan.strips.iter().enumerate() {
                if let Some(i) = strip.series.iter().position(|x| flow.branches[*x].poles.contains(&pole)) {
                    return Some(n.series[s][i]);
                }
                for (bar, slots) in strip.bars.iter().zip(&n.slots[s]) {
                    let hung = |h: &Option<Hung>| matches!(h, Some(Hung::Stub(i)) if flow.branches[*i].poles.contains(&pole));
                    if let Some(i) = bar.slots.iter().position(|x| hung(&x.up) || hung(&x.down)) {
                        return Some(slots[i]);
                    }
                }
            }
            None
        };
        if let (Some(x), Some(y)) = (find(a), find(b)) {
            attempt(u, &|u| u.tie(x, y, 0));
        }
    }
    for (k, l) in twins(c, flow) {
        attempt(u, &|u| u.tie(n.blocks[k], n.blocks[l], 0));
    }
    apart
}

/// Pairs of nodes that the two legs of a balanced input bring in step.
fn mirrored(c: &Circuit, flow: &Flow) -> Vec<(usize, usize)> {
    // Inputs that something else feeds; an amplifier that the other one feeds is no twin of it.
    let fed = |n: usize| {
        let block = c.blocks.iter().find(|b| b.out.as_ref().is_some_and(|o| o.node == n));
        let own = |m: usize| flow.feedback(c, m) || m == n;
        block.map_or(0, |b| b.inputs.iter().filter(|p| c.signal(p.node) && !own(p.node)).count())
    };
    // A leg that stands on a source of its own is no mirror image of the other.
    if flow.feed[c.minus] != Feed::Bead {
        return Vec::new();
    }
    let mut pairs = vec![(c.plus, c.minus)];
    let mut i = 0;
    while let Some((p, m)) = pairs.get(i).copied() {
        i += 1;
        let next = |n: usize| -> Vec<(usize, Option<usize>)> {
            let series = flow.places.iter().enumerate().filter_map(|(b, place)| match place {
                Place::Series(from, to) if *from == n => Some((*to, Some(b))),
                _ => None,
            });
            let blocks = c
                .blocks
                .iter()
                .filter(|b| b.inputs.iter().any(|p| p.node == n))
                .filter_map(|b| b.out.as_ref().map(|o| (o.node, None)));
            series.chain(blocks).collect()
        };
        // A leg may have a branch of its own besides: then what feeds a block counts.
        let feeds = |n: usize| c.blocks.iter().any(|b| b.inputs.iter().any(|p| p.node == n));
        let (mut a, mut b) = (next(p), next(m));
        if a.len() != b.len() {
            a.retain(|x| feeds(x.0));
            b.retain(|x| feeds(x.0));
        }
        let ([x], [y]) = (a.as_slice(), b.as_slice()) else { continue };
        let alike = x.1.is_some() == y.1.is_some() && fed(x.0) == fed(y.0);
        if x.0 != y.0 && alike && !pairs.contains(&(x.0, y.0)) {
            pairs.push((x.0, y.0));
        }
    }
    pairs
}

/// Poles that stand in the same place on both legs.
fn alike(c: &Circuit, flow: &Flow) -> Vec<(usize, usize)> {
    let pairs = mirrored(c, flow);
    let mut list = Vec::new();
    for (p, m) in &pairs {
        for (i, a) in flow.branches.iter().enumerate() {
            for (j, b) in flow.branches.iter().enumerate() {
                let (Some(x), Some(y)) = (a.poles.first(), b.poles.first()) else { continue };
                let alike = match (flow.places[i], flow.places[j]) {
                    (Place::Series(f, t), Place::Series(g, v)) => {
                        f == *p && g == *m && pairs.contains(&(t, v))
                    }
                    (Place::Stub(f), Place::Stub(g)) => f == *p && g == *m && a.other(f) == b.other(g),
                    _ => false,
                };
                let symbols =
                    |b: &Branch| b.poles.iter().map(|p| c.poles[*p].symbol.clone()).collect::<Vec<_>>();
                if i != j && alike && symbols(a) == symbols(b) {
                    list.push((*x, *y));
                }
            }
        }
    }
    list
}

/// Blocks that stand in the same place on both legs.
pub(super) fn twins(c: &Circuit, flow: &Flow) -> Vec<(usize, usize)> {
    let driver = |n: usize| c.blocks.iter().position(|b| b.out.as_ref().is_some_and(|o| o.node == n));
    mirrored(c, flow).into_iter().filter_map(|(p, m)| Some((driver(p)?, driver(m)?))).collect()
}
