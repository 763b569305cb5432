//! Front ends beside each other: error against the number of parts, the best edge marked.
//!
//! **In.** One point a front end. On the edge are those that no other beats in both; a line joins them, since what lies
//! above it can be had better or smaller.

use crate::axis::{Axis, plain_or_prefixed};
use crate::lettering::{fitted, text_width};
use crate::number::{fixed, plain};
use crate::plot::{Plot, extent, nothing_to_show};
use crate::svg::{Anchor, Frame, Picture, Stroke, Text};
use crate::theme::Ink;

/// Errors of which the largest is so many times the smallest are drawn on a logarithmic axis.
const FAR_APART: f64 = 6.0;

/// One front end.
#[derive(Clone, Debug)]
pub struct EdgePoint {
    /// Its name.
    pub name: String,
    /// Parts on the board.
    pub parts: usize,
    /// Largest 95 % error, ± K.
    pub error_kelvin: f64,
    /// On the best edge.
    pub edge: bool,
    /// The one that is taken.
    pub taken: bool,
}

/// The picture's figures.
#[derive(Clone, Debug, Default)]
pub struct Edge {
    /// Id of the picture in its page.
    pub id: String,
    /// Accuracy asked for, ± K.
    pub accuracy_kelvin: f64,
    /// The front ends.
    pub points: Vec<EdgePoint>,
}

impl Edge {
    /// Draws the picture.
    #[must_use]
    pub fn draw(&self, frame: Frame) -> Picture {
        let size = frame.text();
        let width = frame.width();
        let mut description =
            format!("Error at 95 % against parts, ±{} K asked:", plain(self.accuracy_kelvin));
        for p in &self.points {
            let edge = if p.edge { ", on the best edge" } else { "" };
            description +=
                &format!(" {} ±{} K with {} parts{edge};", p.name, fixed(p.error_kelvin, 2), p.parts);
        }
        let left = 14.0 + text_width("00.0", size);
        let tall = if frame == Frame::Wide { 300.0 } else { 260.0 };
        // The last tick's label may stand on the edge.
        let right = width - 4.0 - text_width("00", size) / 2.0;
        let plot = Plot { left, right, top: 2.6 * size, bottom: 2.6 * size + tall, size };
        let height = plot.bottom + Plot::x_axis_room(size);
        let mut picture = Picture::new(&frame.id(&self.id), width, height, "Front ends", &description);
        let parts = extent(self.points.iter().map(|p| p.parts as f64)).unwrap_or((0.0, 1.0));
        let errors = self.points.iter().map(|p| p.error_kelvin).chain([self.accuracy_kelvin]);
        let (least, most) = extent(errors).unwrap_or((0.0, 1.0));
        let (first, last) = ((parts.0 - 2.0).max(0.0), parts.1 + 2.0);
        // Parts are counted in whole ones.
        let ticks = if frame == Frame::Wide { 8 } else { 5 }.min((last - first) as usize);
        let x = Axis::linear(first, last, (plot.left, plot.right), ticks);
        // One hopeless front end must not press the others into one line.
        let y = if most > FAR_APART * least && least > 0.0 {
            Axis::logarithmic(0.8 * least, 1.4 * most, (plot.bottom, plot.top), plain_or_prefixed)
        } else {
            Axis::linear(0.0, 1.12 * most, (plot.bottom, plot.top), 6)
        };
        plot.y_axis(&mut picture, &y, "error at 95 %, ± K", true);
        plot.x_axis(&mut picture, &x, "parts on the board");
        if self.points.is_empty() {
            nothing_to_show(&mut picture, &plot, "no front end fits");
            return picture;
        }
        let asked = y.position(self.accuracy_kelvin);
        picture.line((plot.left, asked), (plot.right, asked), Stroke::new(Ink::Limit, 1.4).dashed(9.0, 3.0));
        picture.polyline(&self.steps(&plot, &x, &y), Stroke::new(Ink::Good, 1.4));
        picture.text(
            Text::new(
                plot.right - 4.0,
                asked - 0.5 * size,
                format!("±{} K asked", plain(self.accuracy_kelvin)),
            )
            .size(size)
            .ink(Ink::Limit)
            .bold()
            .anchor(Anchor::End)
            .halo(),
        );
        for p in &self.points {
            let at = (x.position(p.parts as f64), y.position(p.error_kelvin));
            let rim = Some(Stroke::new(if p.edge { Ink::Good } else { Ink::Rule }, 2.0));
            picture.circle(
                at,
                if p.taken { 7.0 } else { 5.0 },
                Some(if p.edge { Ink::Good } else { Ink::Panel }),
                rim,
            );
            if p.taken {
                picture.circle(at, 11.0, None, Some(Stroke::new(Ink::Text, 1.6)));
            }
        }
        self.names(&mut picture, &plot, &x, &y, asked);
        picture
    }

    /// The best edge by rising number of parts; empty without one.
    fn steps(&self, plot: &Plot, x: &Axis, y: &Axis) -> Vec<(f64, f64)> {
        let mut edge: Vec<(f64, f64)> = self
            .points
            .iter()
            .filter(|p| p.edge)
            .map(|p| (x.position(p.parts as f64), y.position(p.error_kelvin)))
            .collect();
        edge.sort_by(|a, b| a.0.total_cmp(&b.0).then(b.1.total_cmp(&a.1)));
        let (Some(first), Some(last)) = (edge.first().copied(), edge.last().copied()) else {
            return Vec::new();
        };
        // As steps: with as many parts or more, at least as small an error can be had.
        let mut steps = vec![(first.0, plot.top)];
        let mut height = plot.top;
        for (px, py) in &edge {
            steps.push((*px, height));
            steps.push((*px, *py));
            height = *py;
        }
        steps.push((plot.right, last.1));
        steps
    }

    /// Names beside the points where all of them find room; else numbers, with the names in a list below.
    fn names(&self, picture: &mut Picture, plot: &Plot, x: &Axis, y: &Axis, asked: f64) {
        let size = plot.size;
        let points: Vec<(f64, f64)> =
            self.points.iter().map(|p| (x.position(p.parts as f64), y.position(p.error_kelvin))).collect();
        let names: Vec<String> = self.points.iter().map(|p| p.name.clone()).collect();
        let numbers: Vec<String> = (1..=names.len()).map(|n| n.to_string()).collect();
        // The line of what is asked for with its words, and the best edge.
        let words = BOLD * text_width("±00.00 K asked", size);
        let thin = |a: (f64, f64), b: (f64, f64)| Spot {
            left: a.0.min(b.0) - 1.5,
            top: a.1.min(b.1) - 1.5,
            right: a.0.max(b.0) + 1.5,
            bottom: a.1.max(b.1) + 1.5,
        };
        let mut lines = vec![
            Spot {
                left: plot.right - words - 6.0,
                top: asked - 1.5 * size,
                right: plot.right,
                bottom: asked,
            },
            thin((plot.left, asked), (plot.right, asked)),
        ];
        lines.extend(self.steps(plot, x, y).windows(2).map(|w| thin(w[0], w[1])));
        let reaches: Vec<f64> = (0..24).map(|i| 16.0 + 9.0 * f64::from(i)).collect();
        let direct = spots(&names, &points, plot, &lines, &reaches[..3], true);
        let numbered = direct.is_none();
        let texts = if numbered { &numbers } else { &names };
        // Lines may run behind a number rather than leave one out.
        let places = direct
            .or_else(|| spots(&numbers, &points, plot, &lines, &reaches[..5], true))
            .or_else(|| spots(&numbers, &points, plot, &lines[..2], &reaches[..12], true))
            .or_else(|| spots(&numbers, &points, plot, &lines[..1], &reaches, false))
            .unwrap_or_default();
        for (((p, at), spot), text) in self.points.iter().zip(&points).zip(&places).zip(texts) {
            let middle = ((spot.left + spot.right) / 2.0, (spot.top + spot.bottom) / 2.0);
            if let Some((from, to)) = leader(*at, spot) {
                picture.line(from, to, Stroke::new(Ink::Rule, 0.9));
            }
            let text = Text::new(middle.0, middle.1, text).size(size).anchor(Anchor::Middle).centred().halo();
            picture.text(if p.taken { text.bold() } else { text });
        }
        if numbered {
            self.list(picture, plot);
        }
    }

    /// The names by their numbers, below the plot.
    fn list(&self, picture: &mut Picture, plot: &Plot) {
        let size = plot.size;
        let across = picture.width() - 2.0 * MARGIN;
        let number = text_width("00", size) + 8.0;
        let widest =
            self.points.iter().map(|p| number + BOLD * text_width(&p.name, size)).fold(1.0, f64::max);
        let columns = ((across / (widest + 12.0)) as usize).clamp(1, 3);
        let rows = self.points.len().div_ceil(columns);
        let top = picture.height() + 0.6 * size;
        let line = 1.45 * size;
        for (i, p) in self.points.iter().enumerate() {
            let left = MARGIN + across * (i / rows) as f64 / columns as f64;
            let y = top + line * ((i % rows) as f64 + 0.5);
            let room = across / columns as f64 - number;
            let name = fitted(&p.name, size, room / BOLD);
            let number = Text::new(left + number - 8.0, y, (i + 1).to_string()).anchor(Anchor::End);
            let name = Text::new(left + text_width("00", size) + 8.0, y, name);
            for text in [number, name] {
                let text = text.size(size).centred();
                picture.text(if p.taken { text.bold() } else { text });
            }
        }
        picture.set_height(top + line * rows as f64 + 4.0);
    }
}

/// Bold letters are so much wider.
const BOLD: f64 = 1.08;
/// Space to the picture's edges.
const MARGIN: f64 = 6.0;
/// Half of what a point takes, its ring included.
const POINT: f64 = 8.0;
/// Texts no farther than this need no line to their point.
const ADJACENT: f64 = 20.0;

/// Room that a text takes.
#[derive(Clone, Copy, Debug)]
struct Spot {
    left: f64,
    top: f64,
    right: f64,
    bottom: f64,
}

impl Spot {
    fn meets(&self, other: &Self) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }
}

/// The line that joins a text to its point where the two are apart: from the rim of the circle to the text's edge.
fn leader(at: (f64, f64), text: &Spot) -> Option<((f64, f64), (f64, f64))> {
    let near = (at.0.clamp(text.left, text.right), at.1.clamp(text.top, text.bottom));
    let (dx, dy) = (near.0 - at.0, near.1 - at.1);
    let away = libm::hypot(dx, dy);
    (away > ADJACENT).then(|| ((at.0 + 9.0 * dx / away, at.1 + 9.0 * dy / away), near))
}

/// Small rooms along a leader, its ends left out.
fn along(at: (f64, f64), text: &Spot) -> Vec<Spot> {
    let Some((from, to)) = leader(at, text) else { return Vec::new() };
    (1..8)
        .map(|i| {
            let share = f64::from(i) / 8.0;
            let (x, y) = (from.0 + share * (to.0 - from.0), from.1 + share * (to.1 - from.1));
            Spot { left: x - 0.5, top: y - 0.5, right: x + 0.5, bottom: y + 0.5 }
        })
        .collect()
}

/// A place for each text beside its point, nearest first, clear of points, of `taken` and of each other; none if one
/// finds no place within any of the reaches. `apart` keeps texts clear of the lines that join others to their points.
fn spots(
    texts: &[String],
    points: &[(f64, f64)],
    plot: &Plot,
    taken: &[Spot],
    reaches: &[f64],
    apart: bool,
) -> Option<Vec<Spot>> {
    let (near, up) = (0.75, 0.65 * plot.size);
    let ways = [
        (1.0, 0.0),
        (-1.0, 0.0),
        (0.0, -1.0),
        (0.0, 1.0),
        (near, -near),
        (near, near),
        (-near, -near),
        (-near, near),
    ];
    let circles = points.iter().map(|p| Spot {
        left: p.0 - POINT,
        top: p.1 - POINT,
        right: p.0 + POINT,
        bottom: p.1 + POINT,
    });
    let mut full: Vec<Spot> = taken.iter().copied().chain(circles).collect();
    let mut set: Vec<Spot> = Vec::new();
    for (text, at) in texts.iter().zip(points) {
        let half = BOLD * text_width(text, plot.size) / 2.0 + 2.0;
        let candidates = reaches.iter().flat_map(|reach| {
            ways.iter().map(move |(dx, dy)| {
                let x = at.0 + dx * reach + if *dx == 0.0 { 0.0 } else { dx.signum() * half };
                let y = at.1 + dy * (reach + up);
                Spot { left: x - half, top: y - up, right: x + half, bottom: y + up }
            })
        });
        let inside = |s: &Spot| {
            s.left >= plot.left + 2.0
                && s.right <= plot.right
                && s.top >= plot.top
                && s.bottom <= plot.bottom - 2.0
        };
        let through = |s: &Spot| along(*at, s).iter().any(|l| set.iter().any(|t| t.meets(l)));
        let covered = |s: &Spot| full.iter().any(|f| f.meets(s)) || apart && through(s);
        let place = candidates.into_iter().find(|s| inside(s) && !covered(s))?;
        if apart {
            full.extend(along(*at, &place));
        }
        full.push(place);
        set.push(place);
    }
    Some(set)
}
