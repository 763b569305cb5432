//! Where strips lie from top to bottom: what blocks tie together keeps its distances, the rest is stacked.

use super::circuit::Circuit;
use super::columns::Columns;
use super::drawing::Side;
use super::flow::Flow;
use super::room::{Point, Room};
use super::sketch::{Piece, Sketches};
use super::strips::{End, How, Hung, Join, Plan, Start, Tip};
use super::symbol::{FlagSide, Symbol, Turn};

/// Clear space between things of different strips.
const GAP: f64 = 0.9;

/// A wire that has yet to find its way: node, from, to.
#[derive(Clone, Debug)]
pub(super) struct Wanted {
    pub node: usize,
    pub from: (i32, i32),
    pub to: (i32, i32),
}

/// Strips with fixed distances and what is drawn of them, against the row of the first.
#[derive(Clone, Debug, Default)]
pub(super) struct Group {
    pub(super) strips: Vec<(usize, i32)>,
    pub(super) blocks: Vec<(usize, i32)>,
    pub(super) rooms: Vec<Room>,
    /// Joins already placed: number and lane or middle.
    pub(super) joins: Vec<(usize, i32)>,
}

impl Group {
    pub(super) fn row(&self, s: usize) -> Option<i32> {
        self.strips.iter().find(|x| x.0 == s).map(|x| x.1)
    }

    pub(super) fn clear(&self, rooms: &[Room], by: i32) -> bool {
        let by = f64::from(by);
        !rooms.iter().any(|a| {
            let a = a.moved(0.0, by);
            self.rooms.iter().any(|b| a.meets(b, GAP))
        })
    }

    pub(super) fn take(&mut self, other: Self, by: i32) {
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

pub(super) struct Stack<'a> {
    pub(super) c: &'a Circuit,
    pub(super) flow: &'a Flow,
    pub(super) plan: &'a Plan,
    pub(super) x: &'a Columns,
    pub(super) sketches: &'a Sketches<'a>,
    pub(super) groups: Vec<Option<Group>>,
    pub(super) crowded: usize,
}

/// Stacks the strips.
pub(super) fn rows(c: &Circuit, flow: &Flow, plan: &Plan, x: &Columns, sketches: &Sketches<'_>) -> Laid {
    let mut s = Stack { c, flow, plan, x, sketches, groups: Vec::new(), crowded: 0 };
    s.groups = (0..plan.strips.len()).map(|i| Some(s.single(i))).collect();
    // What joins a strip to itself has its lane before anything is stacked close to it.
    for i in 0..s.groups.len() {
        if let Some(mut group) = s.groups[i].take() {
            s.lanes(&mut group);
            s.groups[i] = Some(group);
        }
    }
    let mut order: Vec<usize> = (0..c.blocks.len()).collect();
    order.sort_by_key(|k| (c.blocks[*k].out.as_ref().map_or(u32::MAX, |o| flow.hops[o.node]), *k));
    for k in order.into_iter().filter(|k| !c.blocks[*k].drives_rail(c)) {
        s.block(k);
    }
    s.legs();
    s.stack()
}

impl Stack<'_> {
    pub(super) fn tip_x(&self, j: usize, tip: Tip) -> Option<i32> {
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
    pub(super) fn span(&self, s: usize, b: usize) -> (i32, i32) {
        let strip = &self.plan.strips[s];
        let mut xs: Vec<i32> = self.x.slots[s][b].clone();
        let half = |i: usize| self.sketches.lying_half(strip.series[i]);
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
    pub(super) fn strip_piece(&self, s: usize) -> Piece {
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
        group.rooms.extend(self.way_to_pin(s));
        if let Start::Out(k) = self.plan.strips[s].start {
            let piece = self.sketches.block(k);
            group.blocks.push((k, 0));
            group.rooms.extend(piece.rooms().iter().map(|r| r.moved(f64::from(self.x.blocks[k]), 0.0)));
        }
        group
    }

    /// The level wire from a strip's last bar to the amplifier that it ends at: it is laid later, and must find its row
    /// free but for the last step, where it may have to climb.
    fn way_to_pin(&self, s: usize) -> Option<Room> {
        let strip = &self.plan.strips[s];
        let End::Pin(k, p) = strip.end else { return None };
        let last = strip.bars.len().checked_sub(1)?;
        if self.x.slots[s][last].is_empty() && strip.start == Start::Bare && last == 0 {
            return None;
        }
        let from = self.span(s, last).1;
        let to = self.x.blocks[k] + self.sketches.pin(k, &self.c.blocks[k].inputs[p].name).0 - 2;
        let f = f64::from;
        (from < to).then_some(Room { left: f(from), top: 0.0, right: f(to), bottom: 0.0 })
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
        for off in 0..300 {
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
    pub(super) fn lanes(&mut self, group: &mut Group) {
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

    pub(super) fn join_piece(&self, j: usize, y: i32) -> Piece {
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
