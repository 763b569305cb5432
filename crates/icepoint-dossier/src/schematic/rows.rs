//! Where strips lie from top to bottom: what blocks tie together keeps its distances, the rest is stacked.

use super::circuit::Circuit;
use super::columns::{Columns, TERMINAL, band};
use super::drawing::Side;
use super::flow::{Flow, Place};
use super::sketch::{Piece, Point, Room, Sketches};
use super::strips::{End, How, Hung, Join, Plan, Start, Tip};
use super::symbol::{FlagSide, Symbol, Turn};

/// Clear space between things of different strips.
const GAP: f64 = 0.9;
/// Where what fits nowhere stands.
const FIRST_EXTRA: i32 = 20;

/// A wire that has yet to find its way: node, from, to.
#[derive(Clone, Debug)]
pub(super) struct Wanted {
    pub node: usize,
    pub from: (i32, i32),
    pub to: (i32, i32),
}

/// Strips with fixed distances and what is drawn of them, against the row of the first.
#[derive(Clone, Debug, Default)]
struct Group {
    strips: Vec<(usize, i32)>,
    blocks: Vec<(usize, i32)>,
    rooms: Vec<Room>,
    /// Joins already placed: number and lane or middle.
    joins: Vec<(usize, i32)>,
}

impl Group {
    fn row(&self, s: usize) -> Option<i32> {
        self.strips.iter().find(|x| x.0 == s).map(|x| x.1)
    }

    fn clear(&self, rooms: &[Room], by: i32) -> bool {
        let by = f64::from(by);
        !rooms.iter().any(|a| {
            let a = a.moved(0.0, by);
            self.rooms.iter().any(|b| a.meets(b, GAP))
        })
    }

    fn take(&mut self, other: Self, by: i32) {
        self.strips.extend(other.strips.into_iter().map(|(s, y)| (s, y + by)));
        self.blocks.extend(other.blocks.into_iter().map(|(s, y)| (s, y + by)));
        self.joins.extend(other.joins.into_iter().map(|(j, y)| (j, y + by)));
        self.rooms.extend(other.rooms.iter().map(|r| r.moved(0.0, f64::from(by))));
    }
}

/// Everything placed.
pub(super) struct Laid {
    pub piece: Piece,
    pub wanted: Vec<Wanted>,
    /// Zone of one temperature.
    pub zone: Option<Room>,
    pub notes: Vec<(Point, String)>,
    /// Things that found no clear place.
    pub crowded: usize,
    /// Whether the legs of the thermocouple stand on their heads.
    pub upside_down: bool,
}

struct Stack<'a> {
    c: &'a Circuit,
    flow: &'a Flow,
    plan: &'a Plan,
    x: &'a Columns,
    sketches: &'a Sketches<'a>,
    groups: Vec<Option<Group>>,
    crowded: usize,
}

/// Stacks the strips.
pub(super) fn rows(c: &Circuit, flow: &Flow, plan: &Plan, x: &Columns, sketches: &Sketches<'_>) -> Laid {
    let mut s = Stack { c, flow, plan, x, sketches, groups: Vec::new(), crowded: 0 };
    s.groups = (0..plan.strips.len()).map(|i| Some(s.single(i))).collect();
    let mut order: Vec<usize> = (0..c.blocks.len()).collect();
    order.sort_by_key(|k| (c.blocks[*k].out.as_ref().map_or(u32::MAX, |o| flow.hops[o.node]), *k));
    for k in order.into_iter().filter(|k| !c.blocks[*k].drives_rail(c)) {
        s.block(k);
    }
    s.legs();
    s.stack()
}

impl Stack<'_> {
    fn tip_x(&self, j: usize, tip: Tip) -> Option<i32> {
        let hung = Some(Hung::Join(j));
        match tip {
            Tip::Bar(s, b) => {
                let i =
                    self.plan.strips[s].bars[b].slots.iter().position(|x| x.up == hung || x.down == hung)?;
                Some(self.x.slots[s][b][i])
            }
            Tip::Pin(k, p) => {
                Some(self.x.blocks[k] + self.sketches.pin(k, &self.c.blocks[k].others[p].name).0)
            }
        }
    }

    /// Left and right end of a bar; the pins of what lies beside it included.
    fn span(&self, s: usize, b: usize) -> (i32, i32) {
        let strip = &self.plan.strips[s];
        let mut xs: Vec<i32> = self.x.slots[s][b].clone();
        let half = |i: usize| {
            let poles = &self.flow.branches[strip.series[i]].poles;
            poles.iter().map(|p| self.c.poles[*p].half()).sum::<i32>()
        };
        if b > 0 {
            xs.push(self.x.series[s][b - 1] + half(b - 1));
        } else {
            match &strip.start {
                Start::Out(k) => xs.push(self.x.blocks[*k] + self.out_x(*k)),
                Start::Bead(_) => xs.push(6),
                Start::Flag(_) => xs.push(self.x.starts[s]),
                Start::Bare => {}
            }
        }
        if b < strip.series.len() {
            xs.push(self.x.series[s][b] - half(b));
        } else if let End::Flag(_) = strip.end {
            xs.push(self.x.ends[s]);
        }
        (xs.iter().copied().min().unwrap_or(0), xs.iter().copied().max().unwrap_or(0))
    }

    fn out_x(&self, k: usize) -> i32 {
        self.c.blocks[k].out.as_ref().map_or(0, |o| self.sketches.pin(k, &o.name).0)
    }

    /// Everything of one strip but its blocks, about row 0.
    fn strip_piece(&self, s: usize) -> Piece {
        let strip = &self.plan.strips[s];
        let mut piece = Piece::default();
        for b in 0..strip.bars.len() {
            let (from, to) = self.span(s, b);
            if from < to {
                piece.wire(Some(strip.bars[b].node), &[(f64::from(from), 0.0), (f64::from(to), 0.0)]);
            }
            for (i, x) in self.x.slots[s][b].iter().enumerate() {
                piece.add(self.sketches.slot_piece(s, b, i), f64::from(*x), 0.0);
            }
            if b < strip.series.len() {
                let lying = self.sketches.lie(strip.series[b], strip.bars[b].node, Side::Split);
                piece.add(&lying, f64::from(self.x.series[s][b]), 0.0);
            }
        }
        if let Start::Flag(name) = &strip.start {
            piece.parts.push(flag(name, FlagSide::Left, self.x.starts[s]));
        }
        if let End::Flag(name) = &strip.end {
            piece.parts.push(flag(name, FlagSide::Right, self.x.ends[s]));
        }
        piece
    }

    fn single(&self, s: usize) -> Group {
        let mut group = Group { strips: vec![(s, 0)], ..Group::default() };
        group.rooms = self.strip_piece(s).rooms();
        if let Start::Out(k) = self.plan.strips[s].start {
            let piece = self.sketches.block(k);
            group.blocks.push((k, 0));
            group.rooms.extend(piece.rooms().iter().map(|r| r.moved(f64::from(self.x.blocks[k]), 0.0)));
        }
        group
    }

    fn holder(&self, s: usize) -> Option<usize> {
        self.groups.iter().position(|g| g.as_ref().is_some_and(|g| g.row(s).is_some()))
    }

    /// Brings the strips that end at a block together with what it drives.
    fn block(&mut self, k: usize) {
        let out = self.plan.strips.iter().position(|s| s.start == Start::Out(k));
        let own = match out.and_then(|s| self.holder(s)) {
            Some(g) => g,
            None => {
                let mut group = Group { blocks: vec![(k, 0)], ..Group::default() };
                let rooms = self.sketches.block(k).rooms();
                group.rooms = rooms.iter().map(|r| r.moved(f64::from(self.x.blocks[k]), 0.0)).collect();
                self.groups.push(Some(group));
                self.groups.len() - 1
            }
        };
        let mut ends: Vec<(usize, i32)> = (0..self.c.blocks[k].inputs.len())
            .filter_map(|p| {
                let s = self.plan.strips.iter().position(|s| s.end == End::Pin(k, p))?;
                Some((s, self.sketches.pin(k, &self.c.blocks[k].inputs[p].name).1))
            })
            .collect();
        ends.sort_by_key(|e| e.1);
        let Some(mut mine) = self.groups[own].take() else { return };
        // The neighbourhood of a pin lies at the pin.
        ends.retain(|(s, dy)| {
            let strip = &self.plan.strips[*s];
            let local = strip.start == Start::Bare && strip.bars.len() == 1;
            let single =
                self.holder(*s).filter(|g| self.groups[*g].as_ref().is_some_and(|g| g.strips.len() == 1));
            match single {
                Some(g) if local => {
                    if let Some(group) = self.groups[g].take() {
                        mine.take(group, *dy);
                    }
                    false
                }
                _ => true,
            }
        });
        self.lanes(&mut mine);
        let holders: Vec<Option<usize>> = ends.iter().map(|e| self.holder(e.0)).collect();
        match (ends.as_slice(), holders.as_slice()) {
            ([(s, dy)], [Some(g)]) => {
                let Some(mut group) = self.groups[*g].take() else { return };
                let row = group.row(*s).unwrap_or(0);
                let wanted = row - dy;
                let by = self.nearest(&group, &mine.rooms, wanted);
                group.take(mine, by);
                mine = group;
            }
            ([(s, dy), (t, ey)], [Some(g), Some(h)]) if g != h => {
                let (Some(mut upper), Some(lower)) = (self.groups[*g].take(), self.groups[*h].take()) else {
                    return;
                };
                let (a, b) = (upper.row(*s).unwrap_or(0), lower.row(*t).unwrap_or(0));
                let mut distance = ey - dy;
                // Any distance is clear at last, for the groups are finite.
                while distance < 400 {
                    let by = a + distance - b;
                    let middle = a + (distance - (ey - dy)) / 2 - dy;
                    let bridged = self.bridges(&upper, &lower, by);
                    if bridged
                        && upper.clear(&lower.rooms, by)
                        && upper.clear(&mine.rooms, middle)
                        && lower.clear(&mine.rooms, middle - by)
                    {
                        break;
                    }
                    distance += 1;
                }
                let by = a + distance - b;
                let middle = a + (distance - (ey - dy)) / 2 - dy;
                upper.take(lower, by);
                upper.take(mine, middle);
                mine = upper;
            }
            ([(s, dy), (t, ey)], [Some(g), Some(_)]) => {
                let Some(mut group) = self.groups[*g].take() else { return };
                let (a, b) = (group.row(*s).unwrap_or(0), group.row(*t).unwrap_or(0));
                let by = self.nearest(&group, &mine.rooms, (a - dy + b - ey) / 2);
                group.take(mine, by);
                mine = group;
            }
            _ => {}
        }
        self.lanes(&mut mine);
        self.groups[own] = Some(mine);
    }

    /// Whether the bridges between two groups have room at a distance.
    fn bridges(&self, upper: &Group, lower: &Group, by: i32) -> bool {
        self.plan.joins.iter().all(|j| {
            let (Tip::Bar(s, _), Tip::Bar(t, _)) = (j.tips[0], j.tips[1]) else { return true };
            if j.how != How::Bridge {
                return true;
            }
            let rows = match (upper.row(s), upper.row(t), lower.row(s), lower.row(t)) {
                (Some(a), _, _, Some(b)) | (_, Some(a), Some(b), _) => (a, b + by),
                _ => return true,
            };
            rows.1 - rows.0 >= self.height(j)
        })
    }

    fn height(&self, j: &Join) -> i32 {
        j.branch.map_or(2, |b| {
            self.flow.branches[b].poles.iter().map(|p| 2 * self.c.poles[*p].half()).sum::<i32>()
        })
    }

    /// The clear row nearest to the one wanted.
    fn nearest(&mut self, group: &Group, rooms: &[Room], wanted: i32) -> i32 {
        for off in 0..60 {
            for by in [wanted + off, wanted - off] {
                if group.clear(rooms, by) {
                    return by;
                }
            }
        }
        self.crowded += 1;
        wanted
    }

    /// Places the joins whose ends are both in the group.
    fn lanes(&mut self, group: &mut Group) {
        let mut ready: Vec<(i32, usize)> = Vec::new();
        for (j, join) in self.plan.joins.iter().enumerate() {
            let (Tip::Bar(s, _), Tip::Bar(t, _)) = (join.tips[0], join.tips[1]) else { continue };
            let placed = group.joins.iter().any(|x| x.0 == j);
            if placed || join.how == How::Flag || group.row(s).is_none() || group.row(t).is_none() {
                continue;
            }
            if let (Some(a), Some(b)) = (self.tip_x(j, join.tips[0]), self.tip_x(j, join.tips[1])) {
                ready.push(((a - b).abs(), j));
            }
        }
        // Short ones inside of long ones.
        ready.sort_unstable();
        for (_, j) in ready {
            let join = &self.plan.joins[j];
            let (Tip::Bar(s, _), Tip::Bar(t, _)) = (join.tips[0], join.tips[1]) else { continue };
            let (Some(a), Some(b)) = (group.row(s), group.row(t)) else { continue };
            let at = |y: i32| self.join_rooms(j, a, b, y);
            let candidates: Vec<i32> = match join.how {
                How::Above => (3..70).map(|off| a.min(b) - off).collect(),
                How::Below => (3..70).map(|off| a.max(b) + off).collect(),
                _ => {
                    let middle = (a + b).div_euclid(2);
                    let reach = (a - b).abs() / 2;
                    (0..=reach).flat_map(|off| [middle + off, middle - off]).collect()
                }
            };
            let free = candidates.iter().copied().find(|y| group.clear(&at(*y), 0));
            let place = free.or(candidates.first().copied()).unwrap_or(a);
            group.rooms.extend(at(place));
            self.crowded += usize::from(free.is_none());
            group.joins.push((j, place));
        }
    }

    fn join_piece(&self, j: usize, y: i32) -> Piece {
        let join = &self.plan.joins[j];
        let mut piece = Piece::default();
        let (Some(xa), Some(xb)) = (self.tip_x(j, join.tips[0]), self.tip_x(j, join.tips[1])) else {
            return piece;
        };
        let Some(branch) = join.branch else { return piece };
        let Tip::Bar(s, b) = join.tips[0] else { return piece };
        let node = self.plan.strips[s].bars[b].node;
        if join.how == How::Bridge {
            let first_above = self.plan.strips[s].rank
                < match join.tips[1] {
                    Tip::Bar(t, _) => self.plan.strips[t].rank,
                    Tip::Pin(..) => 0,
                };
            let top = if first_above { node } else { self.flow.branches[branch].other(node) };
            let length = f64::from(self.height(join));
            let mut part = Piece::default();
            self.sketches.stand(&mut part, branch, top, -libm::floor(length / 2.0));
            piece.add(&part, f64::from(xa), f64::from(y));
        } else {
            let left = if xa <= xb { node } else { self.flow.branches[branch].other(node) };
            let lying = self.sketches.lie(branch, left, Side::Split);
            piece.add(&lying, f64::from((xa + xb).div_euclid(2)), f64::from(y));
        }
        piece
    }

    /// Room of a join with its wires.
    fn join_rooms(&self, j: usize, a: i32, b: i32, y: i32) -> Vec<Room> {
        let join = &self.plan.joins[j];
        let mut rooms = self.join_piece(j, y).rooms();
        let (Some(xa), Some(xb)) = (self.tip_x(j, join.tips[0]), self.tip_x(j, join.tips[1])) else {
            return rooms;
        };
        let f = f64::from;
        // A wire ends at its bar, which is no collision: it stops short of it by more than the gap.
        let riser = |x: i32, row: i32, y: i32| {
            let step = if y < row { -1.0 } else { 1.0 };
            let from = f(row) + step * (GAP + 0.2);
            Room::around([(f(x), from), (f(x), f(y))])
        };
        if join.how == How::Bridge {
            if join.branch.is_none() && xa == xb {
                let (top, bottom) = (f(a.min(b)) + GAP + 0.2, f(a.max(b)) - GAP - 0.2);
                rooms.extend(Room::around([(f(xa), top.min(bottom)), (f(xa), bottom.max(top))]));
            }
        } else {
            rooms.extend(riser(xa, a, y));
            rooms.extend(riser(xb, b, y));
            rooms.extend(Room::around([(f(xa), f(y)), (f(xb), f(y))]));
        }
        rooms
    }

    /// The thermocouple's legs lie close together where nothing else says how far.
    fn legs(&mut self) {
        let at = |plus: bool| self.plan.strips.iter().position(|s| s.start == Start::Bead(plus));
        let (Some(p), Some(m)) = (at(true), at(false)) else { return };
        let (Some(g), Some(h)) = (self.holder(p), self.holder(m)) else { return };
        if g == h {
            return;
        }
        let (Some(mut upper), Some(lower)) = (self.groups[g].take(), self.groups[h].take()) else { return };
        let (a, b) = (upper.row(p).unwrap_or(0), lower.row(m).unwrap_or(0));
        let mut distance = 4;
        while distance < 400 {
            let by = a + distance - b;
            if self.bridges(&upper, &lower, by) && upper.clear(&lower.rooms, by) {
                break;
            }
            distance += 1;
        }
        upper.take(lower, a + distance - b);
        self.lanes(&mut upper);
        self.groups[g] = Some(upper);
    }

    /// Stacks the groups that are left and draws everything.
    fn stack(mut self) -> Laid {
        let mut groups: Vec<Group> = std::mem::take(&mut self.groups).into_iter().flatten().collect();
        let place = |g: &Group| {
            let first = g.strips.iter().map(|s| self.plan.strips[s.0].rank).min().unwrap_or(usize::MAX);
            let bands = g.strips.iter().map(|s| band(self.plan, s.0)).min().unwrap_or(0);
            let beads = g.strips.iter().any(|s| matches!(self.plan.strips[s.0].start, Start::Bead(_)));
            // Sensors stand by the terminals.
            let sensor = g.blocks.iter().any(|b| self.c.blocks[b.0].at_terminals());
            (bands, !beads, !sensor, first)
        };
        groups.sort_by_key(place);
        let mut all = Group::default();
        let mut zoned = false;
        for (i, group) in groups.into_iter().enumerate() {
            if i > 0 && !zoned && !group.blocks.iter().any(|b| self.c.blocks[b.0].at_terminals()) {
                all.rooms.extend(self.zone(&all).map(worded));
                zoned = true;
            }
            if i == 0 {
                all.take(group, 0);
                continue;
            }
            let floor = group.strips.iter().map(|s| band(self.plan, s.0)).min().unwrap_or(0);
            let first = if floor > 0 {
                // Another band begins below all that the bands before it hold on the left.
                all.rooms.iter().map(|r| r.bottom).fold(0.0, f64::max) as i32 - 12
            } else {
                self.lowest_linked(&all, &group) + 2
            };
            let mut by = first;
            while by < first + 600 && !all.clear(&group.rooms, by) {
                by += 1;
            }
            all.take(group, by);
            self.lanes(&mut all);
        }
        if !zoned {
            all.rooms.extend(self.zone(&all).map(worded));
        }
        let extras = self.extras(&all);
        self.finish(&all, &extras)
    }

    /// What hangs between rails alone, and sources of rails: wherever there is room.
    fn extras(&self, all: &Group) -> Vec<(Piece, i32, i32)> {
        let islands = (0..self.flow.branches.len())
            .filter(|i| self.flow.places[*i] == Place::Island)
            .map(|i| self.sketches.island(i));
        let sources = (0..self.c.blocks.len())
            .filter(|k| self.c.blocks[*k].drives_rail(self.c))
            .map(|k| self.sketches.block(k).clone());
        let mut rooms = all.rooms.clone();
        let right = rooms.iter().map(|r| r.right).fold(60.0, f64::max) as i32;
        let bottom = rooms.iter().map(|r| r.bottom).fold(0.0, f64::max) as i32;
        let mut placed = Vec::new();
        for piece in islands.chain(sources) {
            let own = piece.rooms();
            let width = own.iter().map(|r| r.right).fold(0.0, f64::max) as i32;
            let clear = |x: i32, y: i32| {
                !own.iter().any(|a| {
                    let a = a.moved(f64::from(x), f64::from(y));
                    rooms.iter().any(|b| a.meets(b, 2.0))
                })
            };
            // As low as the drawing reaches, then as far left as it is free.
            let (top, foot) =
                own.iter().fold((0.0, 0.0), |m: (f64, f64), r| (m.0.min(r.top), m.1.max(r.bottom)));
            let lowest = bottom - libm::ceil(foot) as i32;
            let highest = -libm::floor(top) as i32 - 8;
            let spot = (highest..=lowest.max(highest))
                .rev()
                .chain(lowest + 1..bottom + 20)
                .flat_map(|y| (20..(right - width).max(21)).step_by(2).map(move |x| (x, y)))
                .find(|(x, y)| clear(*x, *y));
            let (x, y) = spot.unwrap_or((FIRST_EXTRA, bottom + 20));
            rooms.extend(own.iter().map(|r| r.moved(f64::from(x), f64::from(y))));
            placed.push((piece, x, y));
        }
        placed
    }

    /// The lowest row that the group's wires come from.
    fn lowest_linked(&self, all: &Group, group: &Group) -> i32 {
        let mut lowest = 0;
        for j in self.plan.joins.iter().filter(|j| j.how == How::Bridge) {
            let rows = j.tips.map(|t| match t {
                Tip::Bar(s, _) => (all.row(s), group.row(s)),
                Tip::Pin(k, _) => (all.blocks.iter().find(|b| b.0 == k).map(|b| b.1 + 6), None),
            });
            if let [(Some(y), _), (_, Some(_))] | [(_, Some(_)), (Some(y), _)] = rows {
                lowest = lowest.max(y);
            }
        }
        lowest
    }

    fn zone(&self, all: &Group) -> Option<Room> {
        let beads = all
            .strips
            .iter()
            .filter(|s| matches!(self.plan.strips[s.0].start, Start::Bead(_)))
            .map(|s| f64::from(s.1));
        let sensors = all.blocks.iter().filter(|b| self.c.blocks[b.0].at_terminals()).map(|b| f64::from(b.1));
        let x = f64::from(TERMINAL);
        let around = beads
            .flat_map(|y| [(x - 4.4, y - 3.2), (x + 4.4, y + 3.2)])
            .chain(sensors.flat_map(|y| [(x - 4.4, y - 6.0), (x + 4.8, y + 5.4)]));
        Room::around(around)
    }

    fn finish(self, all: &Group, extras: &[(Piece, i32, i32)]) -> Laid {
        let mut piece = Piece::default();
        for (extra, x, y) in extras {
            piece.add(extra, f64::from(*x), f64::from(*y));
        }
        let mut wanted = Vec::new();
        for (s, y) in &all.strips {
            piece.add(&self.strip_piece(*s), 0.0, f64::from(*y));
        }
        for (k, y) in &all.blocks {
            piece.add(self.sketches.block(*k), f64::from(self.x.blocks[*k]), f64::from(*y));
        }
        for (s, y) in &all.strips {
            let strip = &self.plan.strips[*s];
            if let (End::Pin(k, p), Some(b)) = (&strip.end, strip.bars.len().checked_sub(1)) {
                let Some(row) = all.blocks.iter().find(|x| x.0 == *k).map(|x| x.1) else { continue };
                let (dx, dy) = self.sketches.pin(*k, &self.c.blocks[*k].inputs[*p].name);
                let to = (self.x.blocks[*k] + dx, row + dy);
                let empty = self.x.slots[*s][b].is_empty() && strip.start == Start::Bare && b == 0;
                let from = if empty { to } else { (self.span(*s, b).1, *y) };
                if from != to {
                    wanted.push(Wanted { node: strip.bars[b].node, from, to });
                }
            }
        }
        for (j, join) in self.plan.joins.iter().enumerate() {
            if join.how == How::Flag {
                continue;
            }
            let row = |tip: Tip| match tip {
                Tip::Bar(s, _) => all.row(s),
                Tip::Pin(k, p) => {
                    let dy = self.sketches.pin(k, &self.c.blocks[k].others[p].name).1;
                    all.blocks.iter().find(|b| b.0 == k).map(|b| b.1 + dy)
                }
            };
            let (Some(xa), Some(xb)) = (self.tip_x(j, join.tips[0]), self.tip_x(j, join.tips[1])) else {
                continue;
            };
            let (Some(ya), Some(yb)) = (row(join.tips[0]), row(join.tips[1])) else { continue };
            let node = |tip: Tip| match tip {
                Tip::Bar(s, b) => self.plan.strips[s].bars[b].node,
                Tip::Pin(..) => join.node,
            };
            let lane = all.joins.iter().find(|x| x.0 == j).map(|x| x.1);
            match (join.branch, lane) {
                (Some(branch), Some(y)) => {
                    let drawn = self.join_piece(j, y);
                    piece.add(&drawn, 0.0, 0.0);
                    let b = &self.flow.branches[branch];
                    for (end, (x, row)) in [(0, (xa, ya)), (1, (xb, yb))] {
                        let at = node(join.tips[end]);
                        // The pin of the branch that belongs to this end.
                        let pole = b.poles.first().map(|p| &self.c.poles[*p]);
                        let Some(part) = drawn.parts.first() else { continue };
                        let pins = part.pins();
                        let first = pole.is_some_and(|p| p.a == at);
                        let pin = if first { pins.first() } else { pins.get(1) };
                        if let Some(pin) = pin {
                            wanted.push(Wanted { node: at, from: (x, row), to: super::route::cell(pin.1) });
                        }
                    }
                }
                (None, Some(y)) if join.how != How::Bridge => {
                    // A loop without a part: up, along, down.
                    let f = f64::from;
                    let way = [(f(xa), f(ya)), (f(xa), f(y)), (f(xb), f(y)), (f(xb), f(yb))];
                    piece.wire(Some(join.node), &way);
                }
                _ => wanted.push(Wanted { node: join.node, from: (xa, ya), to: (xb, yb) }),
            }
        }
        self.surroundings(all, piece, wanted)
    }

    /// Thermocouple, lead, zone of one temperature.
    fn surroundings(self, all: &Group, mut piece: Piece, wanted: Vec<Wanted>) -> Laid {
        let row = |plus: bool| {
            let s = self.plan.strips.iter().position(|s| s.start == Start::Bead(plus))?;
            all.row(s)
        };
        let mut notes = Vec::new();
        let mut upside_down = false;
        if let (Some(p), Some(m)) = (row(true), row(false)) {
            upside_down = p >= m;
            let (top, bottom) = (f64::from(p), f64::from(m));
            let (half, middle) = ((bottom - top) / 2.0, (bottom + top) / 2.0);
            piece.parts.push(super::drawing::Part {
                symbol: Symbol::Thermocouple { half },
                at: (2.0, middle),
                turn: Turn::None,
                designator: "TC".to_owned(),
                value: self.c.words.thermocouple.clone(),
                side: Side::Left,
            });
            if let Some(lead) = &self.c.words.lead {
                piece.parts.push(super::drawing::Part {
                    symbol: Symbol::Sheath { half: half.abs() },
                    at: (6.0, middle),
                    turn: Turn::None,
                    designator: String::new(),
                    value: String::new(),
                    side: Side::Below,
                });
                notes.push(((4.2, top.max(bottom) + 2.7), lead.clone()));
            }
        }
        let zone = self.zone(all);
        if let Some(z) = zone {
            notes.push(((f64::from(TERMINAL), z.bottom + 1.5), "one temperature".to_owned()));
        }
        Laid { piece, wanted, zone, notes, crowded: self.crowded + self.x.apart, upside_down }
    }
}

/// A zone with the words below it.
fn worded(z: Room) -> Room {
    Room { left: z.left - 1.5, right: z.right + 1.5, bottom: z.bottom + 1.9, ..z }
}

fn flag(name: &str, side: FlagSide, x: i32) -> super::drawing::Part {
    super::drawing::Part {
        symbol: Symbol::Flag { name: name.to_owned(), side },
        at: (f64::from(x), 0.0),
        turn: Turn::None,
        designator: String::new(),
        value: String::new(),
        side: Side::Right,
    }
}
