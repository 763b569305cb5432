//! Front ends beside each other: error against the number of parts, the best edge marked.
//!
//! **In.** One point a front end. On the edge are those that no other beats in both; a line joins them, since what lies
//! above it can be had better or smaller.

use crate::axis::{Axis, plain_or_prefixed};
use crate::lettering::text_width;
use crate::number::{fixed, plain};
use crate::plot::{Plot, extent, nothing_to_show, spread};
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
        let plot = Plot { left, right: width - 8.0, top: 2.6 * size, bottom: 2.6 * size + tall, size };
        let height = plot.bottom + Plot::x_axis_room(size);
        let mut picture = Picture::new(&frame.id(&self.id), width, height, "Front ends", &description);
        let parts = extent(self.points.iter().map(|p| p.parts as f64)).unwrap_or((0.0, 1.0));
        let errors = self.points.iter().map(|p| p.error_kelvin).chain([self.accuracy_kelvin]);
        let (least, most) = extent(errors).unwrap_or((0.0, 1.0));
        let ticks = if frame == Frame::Wide { 8 } else { 5 };
        let x = Axis::linear((parts.0 - 2.0).max(0.0), parts.1 + 2.0, (plot.left, plot.right), ticks);
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
        self.edge_line(&mut picture, &plot, &x, &y);
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
        self.names(&mut picture, &plot, &x, &y);
        picture
    }

    /// Joins the points of the edge by rising number of parts.
    fn edge_line(&self, picture: &mut Picture, plot: &Plot, x: &Axis, y: &Axis) {
        let mut edge: Vec<(f64, f64)> = self
            .points
            .iter()
            .filter(|p| p.edge)
            .map(|p| (x.position(p.parts as f64), y.position(p.error_kelvin)))
            .collect();
        edge.sort_by(|a, b| a.0.total_cmp(&b.0).then(b.1.total_cmp(&a.1)));
        let (Some(first), Some(last)) = (edge.first().copied(), edge.last().copied()) else { return };
        // As steps: with as many parts or more, at least as small an error can be had.
        let mut steps = vec![(first.0, plot.top)];
        let mut height = plot.top;
        for (px, py) in &edge {
            steps.push((*px, height));
            steps.push((*px, *py));
            height = *py;
        }
        steps.push((plot.right, last.1));
        picture.polyline(&steps, Stroke::new(Ink::Good, 1.4));
    }

    /// Names beside the points, moved apart where they would touch: to the right of a point, or to its left near the
    /// end of the plot.
    fn names(&self, picture: &mut Picture, plot: &Plot, x: &Axis, y: &Axis) {
        let size = plot.size;
        let wanted: Vec<f64> = self.points.iter().map(|p| y.position(p.error_kelvin)).collect();
        let placed = spread(&wanted, 1.25 * size, (plot.top + size, plot.bottom - size));
        for ((p, at), to) in self.points.iter().zip(&wanted).zip(&placed) {
            let px = x.position(p.parts as f64);
            let left = px + 24.0 + text_width(&p.name, size) * 1.08 > plot.right;
            let (anchor, side) = if left { (Anchor::End, -1.0) } else { (Anchor::Start, 1.0) };
            if (at - to).abs() > 2.0 {
                let stroke = Stroke::new(Ink::Rule, 0.9);
                picture.polyline(&[(px + side * 8.0, *at), (px + side * 16.0, *to)], stroke);
            }
            let text = Text::new(px + side * 19.0, *to, &p.name).size(size).anchor(anchor).centred().halo();
            picture.text(if p.taken { text.bold() } else { text });
        }
    }
}
