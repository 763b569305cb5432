//! What is wrong with a drawing, read from its geometry alone: it knows neither how it was placed nor how it was wired.

use super::drawing::Drawing;
use super::room::{Point, Room};
use super::symbol::Symbol;

/// Smallest distance of a wire to a text or body that it does not join, in grid units.
const CLEAR: f64 = 0.05;

/// A straight piece of a wire.
#[derive(Clone, Copy, Debug)]
struct Run {
    from: Point,
    to: Point,
}

impl Run {
    fn level(&self) -> bool {
        self.from.1 == self.to.1
    }

    /// Whether the two cross inside of both.
    fn crosses(&self, other: &Self) -> bool {
        let (level, upright) = match (self.level(), other.level()) {
            (true, false) => (self, other),
            (false, true) => (other, self),
            _ => return false,
        };
        let within = |v: f64, a: f64, b: f64| v > a.min(b) + 1e-6 && v < a.max(b) - 1e-6;
        within(upright.from.0, level.from.0, level.to.0) && within(level.from.1, upright.from.1, upright.to.1)
    }

    /// Whether the two lie on one another for a length.
    fn covers(&self, other: &Self) -> bool {
        let shared = |a: f64, b: f64, c: f64, d: f64| a.max(b).min(c.max(d)) - a.min(b).max(c.min(d)) > 1e-6;
        match (self.level(), other.level()) {
            (true, true) => {
                self.from.1 == other.from.1 && shared(self.from.0, self.to.0, other.from.0, other.to.0)
            }
            (false, false) => {
                self.from.0 == other.from.0 && shared(self.from.1, self.to.1, other.from.1, other.to.1)
            }
            _ => false,
        }
    }

    fn room(&self) -> Room {
        Room {
            left: self.from.0.min(self.to.0),
            top: self.from.1.min(self.to.1),
            right: self.from.0.max(self.to.0),
            bottom: self.from.1.max(self.to.1),
        }
    }
}

impl Drawing {
    fn runs(&self) -> Vec<(usize, Run)> {
        self.wires()
            .iter()
            .enumerate()
            .flat_map(|(i, w)| w.windows(2).map(move |p| (i, Run { from: p[0], to: p[1] })))
            .collect()
    }

    /// How many times wires cross without joining.
    #[must_use]
    pub fn crossings(&self) -> usize {
        let runs = self.runs();
        let mut count = 0;
        for (i, a) in runs.iter().enumerate() {
            count += runs[i + 1..].iter().filter(|b| a.1.crosses(&b.1)).count();
        }
        count
    }

    /// How many bends its wires have.
    #[must_use]
    pub fn bends(&self) -> usize {
        self.wires().iter().map(|w| w.len().saturating_sub(2)).sum()
    }

    /// Length of its wires in grid units.
    #[must_use]
    pub fn wire_length(&self) -> f64 {
        let runs = self.runs();
        runs.iter().map(|r| (r.1.from.0 - r.1.to.0).abs() + (r.1.from.1 - r.1.to.1).abs()).sum()
    }

    /// Width and height in grid units.
    #[must_use]
    pub fn extent(&self) -> (f64, f64) {
        let rooms = self.parts().iter().flat_map(|p| p.rooms());
        let points = rooms.flat_map(|r| [(r.left, r.top), (r.right, r.bottom)]);
        Room::around(points).map_or((0.0, 0.0), |r| (r.right - r.left, r.bottom - r.top))
    }

    /// Everything that covers something it should not, one sentence each; empty for a clean drawing.
    #[must_use]
    pub fn faults(&self) -> Vec<String> {
        let mut told = Vec::new();
        let parts: Vec<(String, Vec<Room>, Vec<Room>)> = self
            .parts()
            .iter()
            .map(|p| {
                let name =
                    if p.designator.is_empty() { format!("{:?}", p.symbol) } else { p.designator.clone() };
                (format!("{name} at {:?}", p.at), p.shape_rooms(), p.text_rooms())
            })
            .collect();
        let notes = self.note_rooms();
        let pins: Vec<Vec<Point>> =
            self.parts().iter().map(|p| p.pins().into_iter().map(|pin| pin.1).collect()).collect();
        for (i, (a, shapes, texts)) in parts.iter().enumerate() {
            for (b, other_shapes, other_texts) in &parts[i + 1..] {
                let text_on_text = texts.iter().any(|r| other_texts.iter().any(|s| r.meets(s, 0.0)));
                let text_on_shape = texts.iter().any(|r| other_shapes.iter().any(|s| r.meets(s, CLEAR)))
                    || other_texts.iter().any(|r| shapes.iter().any(|s| r.meets(s, CLEAR)));
                // Symbols may touch at their pins and nowhere else.
                let shape_on_shape = shapes.iter().any(|r| other_shapes.iter().any(|s| r.meets(s, -0.05)));
                if text_on_text || text_on_shape || shape_on_shape {
                    told.push(format!("{a} covers {b}"));
                }
            }
            if notes.iter().any(|n| texts.iter().chain(shapes).any(|r| r.meets(n, 0.0))) {
                told.push(format!("{a} covers a note"));
            }
        }
        let runs = self.runs();
        for (i, (w, run)) in runs.iter().enumerate() {
            for (((name, shapes, texts), own), symbol) in
                parts.iter().zip(&pins).zip(self.parts().iter().map(|p| &p.symbol))
            {
                if texts.iter().any(|r| r.meets(&run.room(), CLEAR)) {
                    told.push(format!("{name}: a wire runs through its text"));
                }
                // A wire may end at a pin, or pass it; it may not enter the symbol.
                let joined = own
                    .iter()
                    .any(|p| run.room().meets(&Room { left: p.0, top: p.1, right: p.0, bottom: p.1 }, 1e-6));
                let inset = if joined { -0.05 } else { CLEAR };
                let open = matches!(symbol, Symbol::Terminal);
                if !open && shapes.iter().any(|r| entered(r, run, inset)) {
                    told.push(format!("{name}: a wire runs through it, from {:?} to {:?}", run.from, run.to));
                }
            }
            if notes.iter().any(|r| r.meets(&run.room(), 0.0)) {
                told.push("a wire runs through a note".to_owned());
            }
            for (v, other) in &runs[i + 1..] {
                if w != v && run.covers(other) {
                    told.push(format!("wires lie on one another at {:?}", run.from));
                }
            }
        }
        told
    }
}

/// Whether a run enters a room by more than its rim.
fn entered(r: &Room, run: &Run, gap: f64) -> bool {
    let thin = r.right - r.left < 1e-6 || r.bottom - r.top < 1e-6;
    if thin && gap < 0.0 {
        // A lead: only lying on it for a length is wrong.
        let lead = Run { from: (r.left, r.top), to: (r.right, r.bottom) };
        return lead.covers(run);
    }
    r.meets(&run.room(), gap)
}
