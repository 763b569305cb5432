//! Small pieces of drawing with the room they take: what hangs on a slot, a series part, a block with its rails.

use super::circuit::{Block, Circuit, Role, lying, standing};
use super::drawing::{Part, Side};
use super::flow::Flow;
use super::room::{Extent, NONE, Point, Room};
use super::strips::{How, Hung, Plan};
use super::symbol::{FlagSide, GRID, Symbol, TEXT, Turn};
use crate::lettering::text_width;

/// Space between texts of neighbours in a row.
const BETWEEN_TEXTS: f64 = 0.9;

/// A wire, with its node where its pins don't tell.
#[derive(Clone, Debug)]
pub(super) struct Wire {
    pub node: Option<usize>,
    pub points: Vec<Point>,
}

/// Parts and wires of one piece.
#[derive(Clone, Debug, Default)]
pub(super) struct Piece {
    pub parts: Vec<Part>,
    pub wires: Vec<Wire>,
}

impl Piece {
    pub fn rooms(&self) -> Vec<Room> {
        let wires =
            self.wires.iter().flat_map(|w| w.points.windows(2)).filter_map(|w| Room::around([w[0], w[1]]));
        self.parts.iter().flat_map(Part::rooms).chain(wires).collect()
    }

    pub fn add(&mut self, other: &Self, x: f64, y: f64) {
        self.parts.extend(other.parts.iter().cloned().map(|mut p| {
            p.at = (p.at.0 + x, p.at.1 + y);
            p
        }));
        let moved =
            |w: &Wire| Wire { node: w.node, points: w.points.iter().map(|p| (p.0 + x, p.1 + y)).collect() };
        self.wires.extend(other.wires.iter().map(moved));
    }

    pub fn wire(&mut self, node: Option<usize>, points: &[Point]) {
        self.wires.push(Wire { node, points: points.to_vec() });
    }

    fn part(&mut self, symbol: Symbol, at: Point, turn: Turn, texts: (&str, String), side: Side) {
        let (designator, value) = (texts.0.to_owned(), texts.1);
        self.parts.push(Part { symbol, at, turn, designator, value, side });
    }

    fn bare(&mut self, symbol: Symbol, at: Point) {
        self.part(symbol, at, Turn::None, ("", String::new()), Side::Right);
    }
}

/// All pieces of a plan.
pub(super) struct Sketches<'a> {
    c: &'a Circuit,
    flow: &'a Flow,
    plan: &'a Plan,
    blocks: Vec<Piece>,
    slots: Vec<Vec<Vec<Piece>>>,
}

impl<'a> Sketches<'a> {
    pub fn new(c: &'a Circuit, flow: &'a Flow, plan: &'a Plan) -> Self {
        let mut all = Self { c, flow, plan, blocks: Vec::new(), slots: Vec::new() };
        all.blocks = (0..c.blocks.len()).map(|k| all.draw_block(k)).collect();
        all.slots = plan
            .strips
            .iter()
            .map(|s| {
                s.bars
                    .iter()
                    .map(|b| {
                        b.slots
                            .iter()
                            .map(|slot| {
                                let mut piece = Piece::default();
                                for (hung, up) in [(&slot.up, true), (&slot.down, false)] {
                                    if let Some(hung) = hung {
                                        all.hang(&mut piece, hung, up, b.node);
                                    }
                                }
                                piece
                            })
                            .collect()
                    })
                    .collect()
            })
            .collect();
        all
    }

    pub fn block(&self, k: usize) -> &Piece {
        &self.blocks[k]
    }

    pub fn slot_piece(&self, s: usize, b: usize, i: usize) -> &Piece {
        &self.slots[s][b][i]
    }

    pub fn slot(&self, s: usize, b: usize, i: usize) -> Extent {
        let mut e = Extent::of(&self.slots[s][b][i].rooms());
        let slot = &self.plan.strips[s].bars[b].slots[i];
        for (hung, up) in [(&slot.up, true), (&slot.down, false)] {
            let Some(Hung::Join(j)) = hung else { continue };
            let join = &self.plan.joins[*j];
            let beside = match (join.how, join.branch) {
                (How::Bridge, Some(branch)) => {
                    let mut piece = Piece::default();
                    self.stand(&mut piece, branch, self.flow.branches[branch].a, 0.0);
                    let e = Extent::of(&piece.rooms());
                    let widest = e.0.iter().fold((0.4, 0.4), |m: (f64, f64), x| (m.0.max(x.0), m.1.max(x.1)));
                    Extent([widest, (0.4, 0.4), (0.4, 0.4), widest])
                }
                _ => Extent::both(0.4, 0.4),
            };
            let side = beside.side(up);
            for (at, new) in e.0.iter_mut().zip(side.0) {
                *at = (at.0.max(new.0), at.1.max(new.1));
            }
        }
        e
    }

    pub fn series(&self, branch: usize) -> Extent {
        let piece = self.lie(branch, self.flow.branches[branch].a, Side::Split);
        let rooms = piece.rooms();
        Extent::close(rooms.iter().map(|r| r.right.max(-r.left)).fold(3.0, f64::max))
    }

    pub fn block_right(&self, k: usize) -> Extent {
        let mut e = Extent::of(&self.blocks[k].rooms());
        e.0.iter_mut().for_each(|at| at.0 = NONE);
        e
    }

    pub fn block_left(&self, k: usize, two: bool, upper: bool) -> Extent {
        let inner = self.blocks[k].rooms().iter().map(|r| -r.left).fold(6.0, f64::max);
        let (above, below) = match (two, upper) {
            (false, _) => (inner, inner),
            (true, true) => (6.0, inner),
            (true, false) => (inner, 6.0),
        };
        Extent([(above, NONE), (above, NONE), (below, NONE), (below, NONE)])
    }

    /// The symbol of a block with its inputs in their places.
    fn symbol(&self, k: usize) -> Symbol {
        let plus_on_top = self.plan.plus_on_top[k];
        match &self.c.blocks[k].symbol {
            Symbol::OpAmp { .. } => Symbol::OpAmp { plus_on_top },
            Symbol::InstrumentationAmplifier { .. } => Symbol::InstrumentationAmplifier { plus_on_top },
            Symbol::DifferentialConverter { .. } => Symbol::DifferentialConverter { plus_on_top },
            other => other.clone(),
        }
    }

    /// Place of a pin against its block's column and row.
    pub fn pin(&self, k: usize, name: &str) -> (i32, i32) {
        let symbol = self.symbol(k);
        let at = symbol.pins().into_iter().find(|p| p.0 == name).map_or((0.0, 0.0), |p| (p.1, p.2));
        (libm::round(at.0) as i32, libm::round(at.1) as i32)
    }

    fn draw_block(&self, k: usize) -> Piece {
        let block = &self.c.blocks[k];
        let symbol = self.symbol(k);
        let mut piece = Piece::default();
        let side = match symbol {
            Symbol::Converter | Symbol::DifferentialConverter { .. } => Side::Below,
            _ => Side::Inside,
        };
        let texts = (block.designator.as_str(), self.c.value(&block.designator));
        piece.part(symbol.clone(), (0.0, 0.0), Turn::None, texts, side);
        for pin in &block.others {
            let Some((_, x, y)) = symbol.pins().into_iter().find(|p| p.0 == pin.name) else { continue };
            let joined = self.plan.joins.iter().any(|j| {
                matches!(j.tips[1], super::strips::Tip::Pin(b, p) if b == k && block.others[p].name == pin.name)
                    && j.how == How::Bridge
            });
            if !joined {
                // Above an amplifier's value.
                if matches!(symbol, Symbol::OpAmp { .. })
                    && y < 0.0
                    && self.c.nodes[pin.node].role != Role::Ground
                {
                    piece.wire(None, &[(x, y), (x, y - 1.0)]);
                    self.tie(&mut piece, pin.node, (x, y - 1.0), true);
                    continue;
                }
                self.tie(&mut piece, pin.node, (x, y), y <= 0.0);
            }
        }
        self.draw_gain(&mut piece, block);
        for (_, p) in self.plan.tied.iter().filter(|t| t.0 == k) {
            let (x, y) = self.pin(k, &block.inputs[*p].name);
            let (x, y) = (f64::from(x), f64::from(y));
            let node = block.inputs[*p].node;
            if self.c.signal(node) {
                let name = self.flow.names[node].clone();
                piece.wire(None, &[(x - 1.0, y), (x, y)]);
                piece.bare(Symbol::Flag { name, side: FlagSide::Left }, (x - 1.0, y));
            } else {
                piece.wire(None, &[(x - 1.0, y), (x, y)]);
                self.tie(&mut piece, node, (x - 1.0, y), matches!(self.c.nodes[node].role, Role::Above(_)));
            }
        }
        if let Some(out) = block.out.as_ref().filter(|o| !self.c.signal(o.node)) {
            let (x, y) = self.pin(k, &out.name);
            let (x, y) = (f64::from(x), f64::from(y));
            // Far enough for the rail's name.
            let name = match &self.c.nodes[out.node].role {
                Role::Above(name) | Role::Below(name) => text_width(name, 12.5) / GRID,
                Role::Ground | Role::Signal => 0.0,
            };
            let end = x + libm::ceil(name / 2.0).max(2.0);
            piece.wire(None, &[(x, y), (end, y)]);
            self.tie(&mut piece, out.node, (end, y), true);
        }
        if matches!(symbol, Symbol::Converter | Symbol::DifferentialConverter { .. }) {
            piece.wire(None, &[(5.0, 0.0), (6.0, 0.0)]);
            piece.bare(Symbol::Flag { name: "counts".to_owned(), side: FlagSide::Right }, (6.0, 0.0));
        }
        piece
    }

    /// The resistor on the gain pins, which stands between them; with a trim that one does, and the resistor lies.
    fn draw_gain(&self, piece: &mut Piece, block: &'a Block) {
        let texts = |name: &'a str| (name, self.c.value(name));
        match (&block.gain, &block.gain_trim) {
            (Some(gain), Some(trim)) => {
                piece.wire(None, &[(-16.0, -3.0), (-5.0, -3.0)]);
                piece.part(Symbol::Trimmer, (-16.0, 0.0), Turn::Quarter, texts(trim), Side::Left);
                piece.wire(None, &[(-16.0, 3.0), (-13.0, 3.0)]);
                piece.part(Symbol::Resistor, (-10.0, 3.0), Turn::None, texts(gain), Side::Above);
                piece.wire(None, &[(-7.0, 3.0), (-5.0, 3.0)]);
            }
            (Some(one), None) | (None, Some(one)) => {
                let symbol = if block.gain.is_some() { Symbol::Resistor } else { Symbol::Trimmer };
                piece.wire(None, &[(-8.0, -3.0), (-5.0, -3.0)]);
                piece.wire(None, &[(-8.0, 3.0), (-5.0, 3.0)]);
                piece.part(symbol, (-8.0, 0.0), Turn::Quarter, texts(one), Side::Left);
            }
            (None, None) => {}
        }
    }

    /// Ground, rail or flag a step away from a point.
    fn tie(&self, piece: &mut Piece, node: usize, at: Point, up: bool) {
        let role = &self.c.nodes[node].role;
        // A supply that hangs below is named below, whatever its sign.
        let symbol = match (role, up) {
            (Role::Ground, false) => Symbol::Ground,
            (Role::Ground, true) => {
                let end = (at.0, at.1 - 1.0);
                piece.wire(None, &[at, end]);
                piece.part(Symbol::Ground, end, Turn::Half, ("", String::new()), Side::Right);
                return;
            }
            (Role::Above(name) | Role::Below(name), true) => Symbol::Rail { name: name.clone() },
            (Role::Above(name) | Role::Below(name), false) => Symbol::RailBelow { name: name.clone() },
            (Role::Signal, true) => Symbol::Rail { name: self.flow.names[node].clone() },
            (Role::Signal, false) => {
                Symbol::Flag { name: self.flow.names[node].clone(), side: FlagSide::Below }
            }
        };
        let step = if up { -1.0 } else { 1.0 };
        // To the next line of the grid, so that half steps end here.
        let y = if up { libm::floor(at.1) } else { libm::ceil(at.1) }
            + step * f64::from(u8::from(at.1.fract() == 0.0));
        piece.wire(None, &[at, (at.0, y)]);
        piece.bare(symbol, (at.0, y));
    }

    fn hang(&self, piece: &mut Piece, hung: &Hung, up: bool, node: usize) {
        match hung {
            Hung::Test(i) => {
                let turn = if up { Turn::None } else { Turn::Half };
                piece.part(
                    Symbol::TestPoint,
                    (0.0, 0.0),
                    turn,
                    (&self.c.tests[*i].0, String::new()),
                    Side::Right,
                );
            }
            Hung::Stub(branch) => {
                let b = &self.flow.branches[*branch];
                let far = b.other(node);
                // Its texts stay clear of those of series parts beside it.
                let first = if b.a == node { b.poles.first() } else { b.poles.last() };
                let lead = 5.0 - first.map_or(5.0, |p| f64::from(self.c.poles[*p].half()));
                let length = self.length(*branch);
                let way = if up { -1.0 } else { 1.0 };
                if lead > 0.0 {
                    piece.wire(None, &[(0.0, 0.0), (0.0, way * lead)]);
                }
                if up {
                    self.stand_from(piece, *branch, far, -length - lead);
                } else {
                    self.stand_from(piece, *branch, node, lead);
                }
                self.end(piece, far, (0.0, way * (length + lead)), up);
            }
            Hung::Flag(name) => {
                piece.wire(None, &[(0.0, 0.0), (0.0, 1.0)]);
                piece.bare(Symbol::Flag { name: name.clone(), side: FlagSide::Below }, (0.0, 1.0));
            }
            Hung::Rail(node) => self.tie(piece, *node, (0.0, 0.0), up),
            Hung::Terminal(name) => {
                let side = if *name == "TC−" { Side::Below } else { Side::Above };
                piece.part(Symbol::Terminal, (0.0, 0.0), Turn::None, (name, String::new()), side);
            }
            Hung::Tap(i) => {
                piece.wire(None, &[(0.0, 0.0), (0.0, 2.0)]);
                let texts = (self.c.taps[*i].0.as_str(), String::new());
                piece.part(Symbol::Terminal, (0.0, 2.0), Turn::None, texts, Side::Below);
            }
            Hung::Meter => {
                piece.wire(None, &[(0.0, 0.0), (0.0, 2.0)]);
                piece.part(
                    Symbol::Voltmeter,
                    (0.0, 5.0),
                    Turn::Quarter,
                    ("V", "voltmeter".into()),
                    Side::Right,
                );
                self.end(piece, self.c.output_minus.unwrap_or(0), (0.0, 8.0), false);
            }
            Hung::Join(_) => {}
        }
    }

    /// A branch between two rails.
    pub fn island(&self, branch: usize) -> Piece {
        let b = &self.flow.branches[branch];
        // The positive end stands above, and ground below all others.
        let height = |n: usize| match self.c.nodes[n].role {
            Role::Above(_) => 0,
            Role::Signal => 1,
            Role::Below(_) => 2,
            Role::Ground => 3,
        };
        let top = if height(b.a) <= height(b.b) { b.a } else { b.b };
        let mut piece = Piece::default();
        let length = self.stand(&mut piece, branch, top, 0.0);
        self.end(&mut piece, top, (0.0, 0.0), true);
        self.end(&mut piece, b.other(top), (0.0, length), false);
        piece
    }

    fn end(&self, piece: &mut Piece, node: usize, at: Point, up: bool) {
        let symbol = match (&self.c.nodes[node].role, up) {
            (Role::Ground, _) => Symbol::Ground,
            (Role::Above(name) | Role::Below(name), true) => Symbol::Rail { name: name.clone() },
            (Role::Above(name) | Role::Below(name), false) => Symbol::RailBelow { name: name.clone() },
            (Role::Signal, true) => Symbol::Rail { name: self.flow.names[node].clone() },
            (Role::Signal, false) => {
                Symbol::Flag { name: self.flow.names[node].clone(), side: FlagSide::Below }
            }
        };
        piece.bare(symbol, at);
    }

    fn length(&self, branch: usize) -> f64 {
        self.flow.branches[branch].poles.iter().map(|p| 2.0 * f64::from(self.c.poles[*p].half())).sum()
    }

    /// A branch standing below a point, its end `top` first; its length.
    pub fn stand(&self, piece: &mut Piece, branch: usize, top: usize, y: f64) -> f64 {
        self.stand_from(piece, branch, top, y);
        self.length(branch)
    }

    fn stand_from(&self, piece: &mut Piece, branch: usize, top: usize, mut y: f64) {
        let b = &self.flow.branches[branch];
        let mut poles = b.poles.clone();
        if b.a != top {
            poles.reverse();
        }
        let mut node = top;
        for p in poles {
            let pole = &self.c.poles[p];
            let half = f64::from(pole.half());
            let texts = (pole.designator.as_str(), self.c.value(&pole.designator));
            piece.part(pole.symbol.clone(), (0.0, y + half), standing(pole, node), texts, Side::Right);
            node = if pole.a == node { pole.b } else { pole.a };
            y += 2.0 * half;
        }
    }

    /// A branch lying about the origin, its end `left` on the left.
    pub fn lie(&self, branch: usize, left: usize, side: Side) -> Piece {
        let b = &self.flow.branches[branch];
        let mut poles = b.poles.clone();
        if b.a != left {
            poles.reverse();
        }
        let mut piece = Piece::default();
        let places = self.lying_places(&poles);
        let mut node = left;
        for (i, (p, x)) in poles.iter().zip(&places).enumerate() {
            let pole = &self.c.poles[*p];
            let half = f64::from(pole.half());
            let texts = (pole.designator.as_str(), self.c.value(&pole.designator));
            piece.part(pole.symbol.clone(), (*x, 0.0), lying(pole, node), texts, side);
            node = if pole.a == node { pole.b } else { pole.a };
            if let (Some(q), Some(next)) = (poles.get(i + 1), places.get(i + 1)) {
                let (from, to) = (x + half, next - f64::from(self.c.poles[*q].half()));
                if from < to {
                    piece.wire(None, &[(from, 0.0), (to, 0.0)]);
                }
            }
        }
        piece
    }

    /// Half the length of a branch that lies, from its middle to either end.
    pub fn lying_half(&self, branch: usize) -> i32 {
        let poles = &self.flow.branches[branch].poles;
        let end = self.lying_places(poles).last().copied().unwrap_or(0.0);
        poles.last().map_or(0, |p| libm::round(end) as i32 + self.c.poles[*p].half())
    }

    /// Places of poles in a row about its middle: far enough apart for their texts, both ends on the grid.
    fn lying_places(&self, poles: &[usize]) -> Vec<f64> {
        let wide = |p: usize| {
            let pole = &self.c.poles[p];
            let value = text_width(&self.c.value(&pole.designator), TEXT);
            value.max(1.1 * text_width(&pole.designator, TEXT)) / GRID
        };
        let mut places = vec![0.0];
        for two in poles.windows(2) {
            let [p, q] = *two else { continue };
            let symbols = f64::from(self.c.poles[p].half() + self.c.poles[q].half());
            let texts = (wide(p) + wide(q)) / 2.0 + BETWEEN_TEXTS;
            places.push(places.last().copied().unwrap_or(0.0) + libm::ceil(symbols.max(texts)));
        }
        let half = |p: Option<&usize>| p.map_or(0.0, |p| f64::from(self.c.poles[*p].half()));
        let (first, last) =
            (-half(poles.first()), places.last().copied().unwrap_or(0.0) + half(poles.last()));
        // Half of the whole length must be whole: the last part moves on by one where it isn't.
        let odd = libm::fmod(last - first, 2.0);
        if let Some(end) = places.last_mut() {
            *end += odd;
        }
        let middle = (first + last + odd) / 2.0;
        places.iter().map(|x| x - middle).collect()
    }
}
