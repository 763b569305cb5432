//! A drawing: placed parts, wires and notes, and how they become a picture.

use super::room::Room;
use super::symbol::{GRID, Shape, Symbol, TEXT, Turn};
use crate::lettering::fitted;
use crate::svg::{Anchor, Picture, Stroke, Text};
use crate::theme::Ink;

/// Share of a text's estimated width by which a wide face may pass it.
const WIDER_FACE: f64 = 0.18;

/// Where designator and value stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Designator above, value below.
    Split,
    /// Both above.
    Above,
    /// Both below.
    Below,
    /// Both to the left.
    Left,
    /// Both to the right.
    Right,
    /// Designator in the middle of the body, value beside it: above right of an operational amplifier.
    Inside,
}

/// A placed symbol.
#[derive(Clone, Debug)]
pub struct Part {
    /// What it is.
    pub symbol: Symbol,
    /// Where its origin lies, in grid units.
    pub at: (f64, f64),
    /// How it is turned.
    pub turn: Turn,
    /// “R1”; empty for grounds, rails and flags.
    pub designator: String,
    /// “4.7 kΩ”; empty if not known.
    pub value: String,
    /// Where its texts stand.
    pub side: Side,
}

impl Part {
    /// Names and places of its pins in the drawing, in grid units.
    #[must_use]
    pub fn pins(&self) -> Vec<(&str, (f64, f64))> {
        self.symbol.pins().into_iter().map(|(name, x, y)| (name, self.place((x, y)))).collect()
    }

    pub(crate) fn place(&self, point: (f64, f64)) -> (f64, f64) {
        let (x, y) = self.turn.apply(point);
        (self.at.0 + x, self.at.1 + y)
    }

    /// The room that each of its shapes takes, in grid units; texts apart.
    pub(super) fn shape_rooms(&self) -> Vec<Room> {
        let shapes = self.symbol.shapes();
        let pieces = shapes.iter().flat_map(|shape| match shape {
            Shape::Body(p) if p.len() == 3 => slices(p),
            // A cable's sheath goes round wires and takes no room.
            Shape::Loop(..) => Vec::new(),
            other => vec![outline(other)],
        });
        pieces.filter_map(|p| Room::around(p.into_iter().map(|q| self.place(q)))).collect()
    }

    /// The room that each of its texts takes, in grid units.
    pub(super) fn text_rooms(&self) -> Vec<Room> {
        // Set once on a trial sheet: the texts' own record tells where they went.
        let mut trial = Picture::new("room", 0.0, 0.0, "", "");
        let to = |p: (f64, f64)| (p.0 * GRID, p.1 * GRID);
        for shape in self.symbol.shapes().iter().filter(|s| matches!(s, Shape::Sign(..))) {
            draw_shape(&mut trial, shape, &|p| to(self.place(p)));
        }
        label(&mut trial, self, &to);
        trial.labels().iter().map(room_of).collect()
    }

    /// All of it.
    pub(super) fn rooms(&self) -> Vec<Room> {
        let mut rooms = self.shape_rooms();
        rooms.extend(self.text_rooms());
        rooms
    }

    /// Half extents of the body as placed.
    pub(crate) fn body(&self) -> (f64, f64) {
        let (w, h) = self.symbol.body();
        if matches!(self.turn, Turn::Quarter | Turn::ThreeQuarters) { (h, w) } else { (w, h) }
    }
}

/// A text's room in grid units.
fn room_of(label: &crate::svg::Label) -> Room {
    Room {
        left: label.left / GRID,
        top: label.top / GRID,
        right: label.right / GRID,
        bottom: label.bottom / GRID,
    }
}

/// Text anywhere, in grid units.
#[derive(Clone, Debug)]
struct Note {
    at: (f64, f64),
    text: String,
    anchor: Anchor,
}

/// A schematic on its grid.
#[derive(Clone, Debug, Default)]
pub struct Drawing {
    parts: Vec<Part>,
    wires: Vec<Vec<(f64, f64)>>,
    notes: Vec<Note>,
    zones: Vec<(f64, f64, f64, f64)>,
}

impl Drawing {
    /// A wire through points; each piece must be level or upright.
    pub(super) fn wire(&mut self, points: &[(f64, f64)]) {
        self.wires.push(points.to_vec());
    }

    /// A line of text with its baseline at a point.
    pub(super) fn note(&mut self, at: (f64, f64), text: &str, anchor: Anchor) {
        self.notes.push(Note { at, text: text.to_owned(), anchor });
    }

    /// A dashed zone: left, top, right, bottom.
    pub(super) fn zone(&mut self, left: f64, top: f64, right: f64, bottom: f64) {
        self.zones.push((left, top, right, bottom));
    }

    /// Placed parts.
    #[must_use]
    pub fn parts(&self) -> &[Part] {
        &self.parts
    }

    /// Wires as points in grid units.
    #[must_use]
    pub fn wires(&self) -> &[Vec<(f64, f64)>] {
        &self.wires
    }

    /// Room of the notes, in grid units.
    pub(super) fn note_rooms(&self) -> Vec<Room> {
        let mut trial = Picture::new("room", 0.0, 0.0, "", "");
        for note in &self.notes {
            let (x, y) = (note.at.0 * GRID, note.at.1 * GRID);
            trial.text(Text::new(x, y, &note.text).size(12.5).anchor(note.anchor));
        }
        trial.labels().iter().map(room_of).collect()
    }

    /// Adds a part as it is.
    pub(super) fn place_part(&mut self, part: Part) {
        self.parts.push(part);
    }

    /// Draws it. Parts and their values are told in the description, for people who hear it.
    #[must_use]
    pub fn draw(&self, id: &str, title: &str, description: &str) -> Picture {
        let mut told = description.to_owned();
        for part in self.parts.iter().filter(|p| !p.value.is_empty()) {
            told += &format!(" {} {}.", part.designator, part.value);
        }
        // A first pass at the origin tells how much room the texts take.
        let mut trial = Picture::new(id, 0.0, 0.0, title, &told);
        self.render(&mut trial, (0.0, 0.0));
        let (left, top, right, bottom) = self.bounds(&trial);
        let margin = 6.0;
        let mut picture =
            Picture::new(id, right - left + 2.0 * margin, bottom - top + 2.0 * margin, title, &told);
        self.render(&mut picture, (margin - left, margin - top));
        picture
    }

    /// Left, top, right, bottom in drawing units.
    fn bounds(&self, trial: &Picture) -> (f64, f64, f64, f64) {
        // Some readers' faces are wider than the estimate: a picture of its own has no room beyond its edge.
        let texts = trial.labels().iter().flat_map(|l| {
            let spare = WIDER_FACE * (l.right - l.left);
            [(l.left - spare, l.top), (l.right + spare, l.bottom)]
        });
        let shapes = self.parts.iter().flat_map(|p| {
            p.symbol
                .shapes()
                .into_iter()
                .flat_map(|shape| outline(&shape))
                .map(|q| p.place(q))
                .collect::<Vec<_>>()
        });
        let wires = self.wires.iter().flatten().copied();
        let zones = self.zones.iter().flat_map(|z| [(z.0, z.1), (z.2, z.3)]);
        shapes
            .chain(wires)
            .chain(zones)
            .map(|p| (p.0 * GRID, p.1 * GRID))
            .chain(texts)
            .fold(None, |b: Option<(f64, f64, f64, f64)>, (x, y)| {
                Some(b.map_or((x, y, x, y), |b| (b.0.min(x), b.1.min(y), b.2.max(x), b.3.max(y))))
            })
            .unwrap_or((0.0, 0.0, 10.0, 10.0))
    }

    fn render(&self, picture: &mut Picture, offset: (f64, f64)) {
        let to = |p: (f64, f64)| (p.0 * GRID + offset.0, p.1 * GRID + offset.1);
        for z in &self.zones {
            let (left, top) = to((z.0, z.1));
            let stroke = Stroke::new(Ink::Rule, 1.2).dashed(6.0, 4.0);
            picture.frame(left, top, (z.2 - z.0) * GRID, (z.3 - z.1) * GRID, None, stroke);
        }
        for wire in &self.wires {
            let points: Vec<_> = wire.iter().map(|p| to(*p)).collect();
            picture.polyline(&points, Stroke::new(Ink::Text, 1.4));
        }
        for dot in self.dots() {
            picture.circle(to(dot), 3.2, Some(Ink::Text), None);
        }
        for part in &self.parts {
            for shape in part.symbol.shapes() {
                draw_shape(picture, &shape, &|p| to(part.place(p)));
            }
            label(picture, part, &to);
        }
        for note in &self.notes {
            let (x, y) = to(note.at);
            picture.text(Text::new(x, y, &note.text).size(12.5).ink(Ink::Muted).anchor(note.anchor));
        }
    }
}

/// A triangle that points to the right, as slices: its box would hold what stands beside its slanting sides.
fn slices(triangle: &[(f64, f64)]) -> Vec<Vec<(f64, f64)>> {
    let [(left, top), (right, _), (_, bottom)] = *triangle else { return vec![triangle.to_vec()] };
    let count = 10;
    let width = (right - left) / f64::from(count);
    (0..count)
        .map(|i| {
            let share = 1.0 - (f64::from(i) + 0.5) / f64::from(count);
            let x = left + width * f64::from(i);
            vec![(x, top * share), (x + width, bottom * share)]
        })
        .collect()
}

/// Points that bound a shape, in the symbol's frame.
fn outline(shape: &Shape) -> Vec<(f64, f64)> {
    match shape {
        Shape::Lead(p) | Shape::Bar(p) | Shape::Body(p) | Shape::Wedge(p) => p.clone(),
        Shape::Loop(c, w, h) => vec![(c.0 - w, c.1 - h), (c.0 + w, c.1 + h)],
        Shape::Ring(c, r) | Shape::TestRing(c, r) | Shape::Disc(c, r) => {
            vec![(c.0 - r, c.1 - r), (c.0 + r, c.1 + r)]
        }
        Shape::Sign(..) => Vec::new(),
    }
}

fn draw_shape(picture: &mut Picture, shape: &Shape, to: &dyn Fn((f64, f64)) -> (f64, f64)) {
    let all = |points: &[(f64, f64)]| points.iter().map(|p| to(*p)).collect::<Vec<_>>();
    let line = Stroke::new(Ink::Text, 1.7);
    match shape {
        Shape::Lead(points) => picture.polyline(&all(points), Stroke::new(Ink::Text, 1.4)),
        Shape::Bar(points) => picture.polyline(&all(points), Stroke::new(Ink::Text, 2.6)),
        Shape::Body(points) => picture.polygon(&all(points), Some(Ink::Paper), Some(line)),
        Shape::Ring(centre, radius) => {
            picture.circle(to(*centre), radius * GRID, Some(Ink::Paper), Some(line))
        }
        Shape::TestRing(centre, radius) => {
            picture.circle(
                to(*centre),
                radius * GRID,
                Some(Ink::Paper),
                Some(Stroke::new(Ink::TestPoint, 2.2)),
            );
        }
        Shape::Disc(centre, radius) => picture.circle(to(*centre), radius * GRID, Some(Ink::Text), None),
        Shape::Wedge(points) => picture.polygon(&all(points), Some(Ink::Text), None),
        Shape::Loop(centre, w, h) => {
            let round = |i: u32| {
                let angle = f64::from(i) * std::f64::consts::TAU / 48.0;
                to((centre.0 + w * libm::cos(angle), centre.1 + h * libm::sin(angle)))
            };
            let points: Vec<_> = (0..48).map(round).collect();
            picture.polygon(&points, None, Some(Stroke::new(Ink::Muted, 1.2)));
        }
        Shape::Sign(at, text, size) => {
            let (x, y) = to(*at);
            picture.text(Text::new(x, y, text).size(*size).anchor(Anchor::Middle).centred());
        }
    }
}

fn label(picture: &mut Picture, part: &Part, to: &dyn Fn((f64, f64)) -> (f64, f64)) {
    let (x, y) = to(part.at);
    let (w, h) = part.body();
    let (w, h) = (w * GRID, h * GRID);
    let name =
        |x: f64, y: f64, anchor: Anchor| Text::new(x, y, &part.designator).size(TEXT).bold().anchor(anchor);
    // Inside or beside an amplifier there is room for a few words; the whole stands in the description.
    let room = match part.symbol {
        Symbol::OpAmp { .. } => 72.0,
        Symbol::InstrumentationAmplifier { .. } => 52.0,
        Symbol::Sensor | Symbol::Reference => 74.0,
        _ => f64::INFINITY,
    };
    let shown = fitted(&part.value, TEXT, room);
    let value = |x: f64, y: f64, anchor: Anchor| Text::new(x, y, &shown).size(TEXT).anchor(anchor);
    if matches!(part.symbol, Symbol::TestPoint) {
        let (rx, ry) = to(part.place((0.0, -2.5)));
        let text = Text::new(rx + 9.0, ry, &part.designator).size(TEXT).bold().ink(Ink::TestPoint);
        picture.text(text.centred());
        return;
    }
    let line = 1.14 * TEXT;
    if matches!(part.symbol, Symbol::Sensor | Symbol::Reference) {
        picture.text(name(x, y - 1.35 * GRID, Anchor::Middle).size(13.0).centred());
        picture.text(value(x, y + 1.35 * GRID, Anchor::Middle).size(12.0).centred());
        return;
    }
    match part.side {
        Side::Split => {
            picture.text(name(x, y - h - 6.0, Anchor::Middle));
            picture.text(value(x, y + h + 5.0 + 0.74 * TEXT, Anchor::Middle));
        }
        Side::Above => {
            let base = y - h - 6.0;
            picture.text(name(x, if part.value.is_empty() { base } else { base - line }, Anchor::Middle));
            picture.text(value(x, base, Anchor::Middle));
        }
        Side::Below => {
            let base = y + h + 5.0 + 0.74 * TEXT;
            picture.text(name(x, base, Anchor::Middle));
            picture.text(value(x, base + line, Anchor::Middle));
        }
        Side::Left | Side::Right => {
            let (at, anchor) = if part.side == Side::Left {
                (x - w - 7.0, Anchor::End)
            } else {
                (x + w + 7.0, Anchor::Start)
            };
            let first = if part.value.is_empty() { y + 0.355 * TEXT } else { y - 0.5 * line + 0.355 * TEXT };
            picture.text(name(at, first, anchor));
            picture.text(value(at, first + line, anchor));
        }
        Side::Inside => {
            // The middle of a triangle's area lies left of its box's middle. Only the larger one holds its value too.
            if matches!(part.symbol, Symbol::InstrumentationAmplifier { .. }) {
                picture.text(name(x - 5.0, y - 1.3 * GRID, Anchor::Middle).centred());
                picture.text(value(x - 5.0, y, Anchor::Middle).size(12.5).centred());
            } else {
                picture.text(name(x - 0.05 * w, y, Anchor::Middle).centred());
                picture.text(value(x + 10.0, y - 0.62 * h, Anchor::Start));
            }
        }
    }
}
