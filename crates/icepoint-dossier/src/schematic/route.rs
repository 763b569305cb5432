//! Wires on the grid: straight where the way is free, else the cheapest way by steps, bends and crossings.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use super::room::{Point, Room};

/// A point of the grid.
pub(super) type Cell = (i32, i32);

const STEP: u32 = 2;
const BEND: u32 = 9;
const CROSSING: u32 = 30;
/// Beside a label or body it is tight: rather go round.
const CLOSE: u32 = 3;
/// A wire that leaves from the middle of another is harder to follow than one from where its part stands.
const BRANCHED: u32 = 6;

/// What lies on the grid.
pub(super) struct Grid {
    left: i32,
    top: i32,
    width: i32,
    height: i32,
    blocked: Vec<bool>,
    close: Vec<bool>,
    /// Net whose pin is here.
    pins: Vec<Option<usize>>,
    /// Nets whose wires pass level and upright.
    level: Vec<Option<usize>>,
    upright: Vec<Option<usize>>,
}

const WAYS: [Cell; 4] = [(1, 0), (0, 1), (-1, 0), (0, -1)];

impl Grid {
    /// An empty grid over a room, with some space around.
    pub fn new(room: &Room) -> Self {
        let (left, top) = (libm::floor(room.left) as i32 - 6, libm::floor(room.top) as i32 - 6);
        let width = libm::ceil(room.right) as i32 + 7 - left;
        let height = libm::ceil(room.bottom) as i32 + 7 - top;
        let size = (width * height).max(1) as usize;
        Self {
            left,
            top,
            width,
            height,
            blocked: vec![false; size],
            close: vec![false; size],
            pins: vec![None; size],
            level: vec![None; size],
            upright: vec![None; size],
        }
    }

    fn index(&self, c: Cell) -> Option<usize> {
        let (x, y) = (c.0 - self.left, c.1 - self.top);
        (x >= 0 && y >= 0 && x < self.width && y < self.height).then(|| (y * self.width + x) as usize)
    }

    /// Keeps wires off a room.
    pub fn block(&mut self, room: &Room) {
        for (gap, close) in [(0.3, false), (1.2, true)] {
            let (x0, x1) = (libm::ceil(room.left - gap) as i32, libm::floor(room.right + gap) as i32);
            let (y0, y1) = (libm::ceil(room.top - gap) as i32, libm::floor(room.bottom + gap) as i32);
            for y in y0..=y1 {
                for x in x0..=x1 {
                    if let Some(i) = self.index((x, y)) {
                        if close { self.close[i] = true } else { self.blocked[i] = true }
                    }
                }
            }
        }
    }

    /// Marks a pin, which only its own net may enter.
    pub fn pin(&mut self, at: Cell, net: usize) {
        if let Some(i) = self.index(at) {
            self.pins[i] = Some(net);
        }
    }

    /// Lays a wire.
    pub fn lay(&mut self, wire: &[Cell], net: usize) {
        for w in wire.windows(2) {
            let way = ((w[1].0 - w[0].0).signum(), (w[1].1 - w[0].1).signum());
            let mut at = w[0];
            loop {
                if let Some(i) = self.index(at) {
                    if way.0 != 0 { self.level[i] = Some(net) } else { self.upright[i] = Some(net) }
                }
                if at == w[1] || way == (0, 0) {
                    break;
                }
                at = (at.0 + way.0, at.1 + way.1);
            }
        }
    }

    /// Cost of entering a cell on the way `way`, and whether the way must go straight on; none if closed.
    fn enter(&self, at: Cell, way: usize, net: usize) -> Option<(u32, bool)> {
        let i = self.index(at)?;
        let own_pin = self.pins[i] == Some(net);
        if !own_pin && (self.pins[i].is_some() || self.blocked[i]) {
            return None;
        }
        let foreign = |n: Option<usize>| n.is_some_and(|n| n != net);
        let (along, across) = if way.is_multiple_of(2) {
            (self.level[i], self.upright[i])
        } else {
            (self.upright[i], self.level[i])
        };
        if foreign(along) {
            return None;
        }
        let tight = if self.close[i] { CLOSE } else { 0 };
        Some(if foreign(across) { (STEP + CROSSING, true) } else { (STEP + tight, false) })
    }

    /// A wire of one piece or with one corner, if its way is free; `upright` at its first end.
    pub fn plain(&self, from: Cell, to: Cell, net: usize) -> Option<Vec<Cell>> {
        if self.straight(from, to, net) {
            return Some(vec![from, to]);
        }
        [(from.0, to.1), (to.0, from.1)]
            .into_iter()
            .find(|corner| self.straight(from, *corner, net) && self.straight(*corner, to, net))
            .map(|corner| vec![from, corner, to])
    }

    /// Whether a straight wire may lie between two cells.
    pub fn straight(&self, from: Cell, to: Cell, net: usize) -> bool {
        if from.0 != to.0 && from.1 != to.1 || from == to {
            return false;
        }
        let step = ((to.0 - from.0).signum(), (to.1 - from.1).signum());
        let Some(way) = WAYS.iter().position(|w| *w == step) else { return false };
        let mut at = from;
        loop {
            match self.enter(at, way, net) {
                Some((_, false)) => {}
                _ => return false,
            }
            if at == to {
                return true;
            }
            let next = (at.0 + step.0, at.1 + step.1);
            if self.on_own(at, next, way, net) {
                return false;
            }
            at = next;
        }
    }

    /// Whether a step would lie on top of a wire of the same net.
    fn on_own(&self, at: Cell, next: Cell, way: usize, net: usize) -> bool {
        let along = if way.is_multiple_of(2) { &self.level } else { &self.upright };
        [at, next].into_iter().all(|c| self.index(c).is_some_and(|i| along[i] == Some(net)))
    }

    /// The cheapest way from any of `from`, `home` by preference, to any of `to`; its cells from corner to corner.
    pub fn way(&self, home: Cell, from: &[Cell], to: &[Cell], net: usize) -> Option<Vec<Cell>> {
        const UNSEEN: u32 = u32::MAX;
        let size = self.level.len();
        let mut goal = vec![false; size];
        to.iter().filter_map(|c| self.index(*c)).for_each(|i| goal[i] = true);
        // No way is shorter than straight to the goals' box: what looks away from it can wait.
        let all = Room::around(to.iter().map(|c| point(*c)))?;
        let ahead = |c: Cell| {
            let beyond = |v: i32, from: f64, to: f64| (from as i32 - v).max(v - to as i32).max(0) as u32;
            STEP * (beyond(c.0, all.left, all.right) + beyond(c.1, all.top, all.bottom))
        };
        // By cell and way of entering it: cost, and the state before.
        let mut best = vec![(UNSEEN, usize::MAX); 4 * size];
        let mut open = BinaryHeap::new();
        for (cell, i) in from.iter().filter_map(|c| Some((*c, self.index(*c)?))) {
            let price = if cell == home { 0 } else { BRANCHED };
            for way in 0..4 {
                best[4 * i + way].0 = price;
                open.push(Reverse((price + ahead(cell), 4 * i + way, false)));
            }
        }
        while let Some(Reverse((hoped, state, straight))) = open.pop() {
            let (i, way) = (state / 4, state % 4);
            let (cost, at) = (best[state].0, self.cell(i));
            if cost + ahead(at) < hoped {
                continue;
            }
            if goal[i] && !straight {
                return Some(self.trace(&best, state));
            }
            for (next, step) in WAYS.iter().enumerate() {
                let bends = next != way;
                if (next + 2) % 4 == way || bends && straight {
                    continue;
                }
                let cell = (at.0 + step.0, at.1 + step.1);
                if self.on_own(at, cell, next, net) {
                    continue;
                }
                let (Some(j), Some((price, only_straight))) = (self.index(cell), self.enter(cell, next, net))
                else {
                    continue;
                };
                let bend = if bends && best[state].1 != usize::MAX { BEND } else { 0 };
                let total = cost + price + bend;
                if total < best[4 * j + next].0 {
                    best[4 * j + next] = (total, state);
                    open.push(Reverse((total + ahead(cell), 4 * j + next, only_straight)));
                }
            }
        }
        None
    }

    fn cell(&self, i: usize) -> Cell {
        let i = i as i32;
        (self.left + i % self.width, self.top + i / self.width)
    }

    fn trace(&self, best: &[(u32, usize)], end: usize) -> Vec<Cell> {
        let mut cells = vec![self.cell(end / 4)];
        let mut at = end;
        while let Some((_, before)) = best.get(at).filter(|b| b.1 != usize::MAX) {
            cells.push(self.cell(before / 4));
            at = *before;
        }
        cells.reverse();
        corners(&cells)
    }
}

/// The ends and bends alone.
pub(super) fn corners(cells: &[Cell]) -> Vec<Cell> {
    let mut kept: Vec<Cell> = Vec::new();
    for (i, cell) in cells.iter().enumerate() {
        let bends = match (i.checked_sub(1).and_then(|j| cells.get(j)), cells.get(i + 1)) {
            (Some(a), Some(b)) => {
                (cell.0 - a.0).signum() != (b.0 - cell.0).signum()
                    || (cell.1 - a.1).signum() != (b.1 - cell.1).signum()
            }
            _ => true,
        };
        if bends {
            kept.push(*cell);
        }
    }
    kept
}

/// The nearest cell; places of pins lie on the grid.
pub(super) fn cell(p: Point) -> Cell {
    (libm::round(p.0) as i32, libm::round(p.1) as i32)
}

pub(super) fn point(c: Cell) -> Point {
    (f64::from(c.0), f64::from(c.1))
}
