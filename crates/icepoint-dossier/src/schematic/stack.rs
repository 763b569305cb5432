//! What no amplifier ties to the rest is stacked below it; then everything is drawn, with the thermocouple beside it.

use super::columns::{TERMINAL, band};
use super::drawing::Side;
use super::flow::Place;
use super::room::Room;
use super::rows::{Group, Laid, Stack, Wanted};
use super::sketch::Piece;
use super::strips::{End, How, Start, Tip};
use super::symbol::{Symbol, Turn};

/// Where what fits nowhere stands.
const FIRST_EXTRA: i32 = 20;

impl Stack<'_> {
    /// Stacks the groups that are left and draws everything.
    pub(super) fn stack(mut self) -> Laid {
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
        rooms.extend(self.ways(all));
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

    /// Where wires will run that are still to be laid: from a strip's end to its pin, between the ends of joins.
    fn ways(&self, all: &Group) -> Vec<Room> {
        let block = |k: usize| all.blocks.iter().find(|b| b.0 == k).map(|b| b.1);
        let f = |p: (i32, i32)| (f64::from(p.0), f64::from(p.1));
        let pins = all.strips.iter().filter_map(|(s, y)| {
            let strip = &self.plan.strips[*s];
            let End::Pin(k, p) = strip.end else { return None };
            let (dx, dy) = self.sketches.pin(k, &self.c.blocks[k].inputs[p].name);
            let from = (self.span(*s, strip.bars.len() - 1).1, *y);
            Room::around([f(from), f((self.x.blocks[k] + dx, block(k)? + dy))])
        });
        let joins =
            self.plan.joins.iter().enumerate().filter(|(_, j)| j.how == How::Bridge).filter_map(|(i, j)| {
                let end = |tip: Tip| {
                    let y = match tip {
                        Tip::Bar(s, _) => all.row(s)?,
                        Tip::Pin(k, p) => {
                            block(k)? + self.sketches.pin(k, &self.c.blocks[k].others[p].name).1
                        }
                    };
                    Some(f((self.tip_x(i, tip)?, y)))
                };
                Room::around([end(j.tips[0])?, end(j.tips[1])?])
            });
        pins.chain(joins).collect()
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
                        let pole = if b.a == at { b.poles.first() } else { b.poles.last() };
                        let Some(pole) = pole.map(|p| &self.c.poles[*p]) else { continue };
                        let part = drawn.parts.iter().find(|p| p.designator == pole.designator);
                        let Some(part) = part else { continue };
                        let pins = part.pins();
                        let pin = if pole.a == at { pins.first() } else { pins.get(1) };
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
