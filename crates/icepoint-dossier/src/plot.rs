//! What the charts share: frame with axes, labels spread at the ends of lines, lines clipped to the frame.

use crate::axis::Axis;
use crate::svg::{Anchor, Picture, Stroke, Text};
use crate::theme::Ink;

/// Room of a plot in drawing units.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Plot {
    pub left: f64,
    pub right: f64,
    pub top: f64,
    pub bottom: f64,
    pub size: f64,
}

impl Plot {
    /// Grid and ticks of the x axis without labels, for a panel that shares the axis of the one below.
    pub fn x_axis_ticks(&self, picture: &mut Picture, axis: &Axis) {
        for tick in axis.ticks() {
            let x = axis.position(tick.value);
            picture.line((x, self.top), (x, self.bottom), Stroke::new(Ink::Grid, 1.0));
            picture.line((x, self.bottom), (x, self.bottom + 5.0), Stroke::new(Ink::Rule, 1.0));
        }
        picture.line((self.left, self.bottom), (self.right, self.bottom), Stroke::new(Ink::Rule, 1.0));
    }

    /// Grid and labels of the x axis at the bottom, with its title under it (none if empty).
    pub fn x_axis(&self, picture: &mut Picture, axis: &Axis, title: &str) {
        for minor in axis.minor() {
            let x = axis.position(*minor);
            picture.line((x, self.bottom), (x, self.bottom + 3.0), Stroke::new(Ink::Rule, 0.75));
        }
        for tick in axis.ticks() {
            let x = axis.position(tick.value);
            picture.line((x, self.top), (x, self.bottom), Stroke::new(Ink::Grid, 1.0));
            picture.line((x, self.bottom), (x, self.bottom + 5.0), Stroke::new(Ink::Rule, 1.0));
            picture.text(
                Text::new(x, self.bottom + 7.0 + self.size, &tick.label)
                    .size(self.size)
                    .ink(Ink::Muted)
                    .anchor(Anchor::Middle),
            );
        }
        picture.line((self.left, self.bottom), (self.right, self.bottom), Stroke::new(Ink::Rule, 1.0));
        picture.text(
            Text::new((self.left + self.right) / 2.0, self.bottom + 13.0 + 2.0 * self.size, title)
                .size(self.size)
                .anchor(Anchor::Middle),
        );
    }

    /// Height taken by labels and title of the x axis below the plot.
    pub fn x_axis_room(size: f64) -> f64 {
        17.0 + 2.0 * size
    }

    /// Grid and labels of the y axis; `labels` false draws the grid only (shared axis). The title stands level above
    /// the axis, where it needs no turning of the head.
    pub fn y_axis(&self, picture: &mut Picture, axis: &Axis, title: &str, labels: bool) {
        for tick in axis.ticks() {
            let y = axis.position(tick.value);
            picture.line((self.left, y), (self.right, y), Stroke::new(Ink::Grid, 1.0));
            if labels {
                picture.text(
                    Text::new(self.left - 7.0, y, &tick.label)
                        .size(self.size)
                        .ink(Ink::Muted)
                        .anchor(Anchor::End)
                        .centred(),
                );
            }
        }
        picture.text(Text::new(3.0, self.top - 12.0, title).size(self.size));
    }
}

/// A label at the end of a line.
pub(crate) struct EndLabel {
    pub y: f64,
    pub text: String,
    pub ink: Ink,
    pub bold: bool,
}

/// Sets `labels` to the right of `x`, moved apart where they would touch, each joined to its line by a leader.
pub(crate) fn end_labels(picture: &mut Picture, labels: &[EndLabel], x: f64, range: (f64, f64), size: f64) {
    const LEADER: f64 = 16.0;
    let wanted: Vec<f64> = labels.iter().map(|l| l.y.clamp(range.0, range.1)).collect();
    let placed = spread(&wanted, size * 1.22, range);
    for ((label, from), to) in labels.iter().zip(&wanted).zip(&placed) {
        let stroke = Stroke::new(label.ink, 0.9);
        picture.polyline(
            &[(x + 1.0, *from), (x + 4.0, *from), (x + LEADER - 4.0, *to), (x + LEADER, *to)],
            stroke,
        );
        let text = Text::new(x + LEADER + 4.0, *to, &label.text).size(size).ink(label.ink).centred();
        picture.text(if label.bold { text.bold() } else { text });
    }
}

/// Room to the right of a plot for [`end_labels`].
pub(crate) fn end_label_room<'a>(texts: impl Iterator<Item = &'a str>, size: f64) -> f64 {
    24.0 + texts.map(|t| crate::lettering::text_width(t, size) * 1.06).fold(0.0, f64::max)
}

/// Positions nearest to `wanted` (least squares) with at least `gap` between neighbours, in the order of `wanted`,
/// within `range` as far as there is room. Pool-adjacent-violators on `wanted − i·gap`.
pub(crate) fn spread(wanted: &[f64], gap: f64, range: (f64, f64)) -> Vec<f64> {
    let n = wanted.len();
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|a, b| wanted[*a].total_cmp(&wanted[*b]).then(a.cmp(b)));
    let mut pools: Vec<(f64, usize)> = Vec::new();
    for (rank, index) in order.iter().enumerate() {
        let mut pool = (wanted[*index] - rank as f64 * gap, 1_usize);
        while let Some(last) = pools.last().copied().filter(|last| last.0 > pool.0) {
            pools.pop();
            let count = last.1 + pool.1;
            pool = ((last.0 * last.1 as f64 + pool.0 * pool.1 as f64) / count as f64, count);
        }
        pools.push(pool);
    }
    let ranked = pools.into_iter().flat_map(|(value, count)| std::iter::repeat_n(value, count));
    let mut out = vec![0.0; n];
    for ((rank, value), index) in ranked.enumerate().zip(&order) {
        let low = range.0 + rank as f64 * gap;
        let high = (range.1 - (n - 1 - rank) as f64 * gap).max(low);
        out[*index] = (value + rank as f64 * gap).clamp(low, high);
    }
    out
}

/// Pieces of the line that lie between `top` and `bottom`, cut exactly at the edges.
pub(crate) fn clipped(points: &[(f64, f64)], top: f64, bottom: f64) -> Vec<Vec<(f64, f64)>> {
    let finite = |p: &(f64, f64)| p.0.is_finite() && p.1.is_finite();
    let inside = |y: f64| y >= top && y <= bottom;
    let mut pieces: Vec<Vec<(f64, f64)>> = Vec::new();
    let mut piece: Vec<(f64, f64)> = Vec::new();
    for pair in points.windows(2) {
        let [a, b] = [pair[0], pair[1]];
        if !(finite(&a) && finite(&b)) {
            pieces.push(std::mem::take(&mut piece));
            continue;
        }
        // Share of the way from a to b at which the line crosses the edges.
        let at = |edge: f64| (edge - a.1) / (b.1 - a.1);
        let (mut enter, mut leave) = (0.0_f64, 1.0_f64);
        if (a.1 - b.1).abs() > 1e-12 {
            let (first, last) = (at(top).min(at(bottom)), at(top).max(at(bottom)));
            enter = enter.max(first);
            leave = leave.min(last);
        } else if !inside(a.1) {
            leave = -1.0;
        }
        if enter > leave {
            pieces.push(std::mem::take(&mut piece));
            continue;
        }
        let point = |share: f64| (a.0 + share * (b.0 - a.0), a.1 + share * (b.1 - a.1));
        if piece.is_empty() {
            piece.push(point(enter));
        }
        piece.push(point(leave));
        if leave < 1.0 {
            pieces.push(std::mem::take(&mut piece));
        }
    }
    pieces.push(piece);
    pieces.retain(|p| p.len() >= 2);
    pieces
}

/// Draws what of `points` lies inside the plot.
pub(crate) fn clipped_line(picture: &mut Picture, plot: &Plot, points: &[(f64, f64)], stroke: Stroke) {
    for piece in clipped(points, plot.top, plot.bottom) {
        picture.polyline(&piece, stroke);
    }
}

/// Least and greatest of the finite values, or none.
pub(crate) fn extent(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    values.filter(|v| v.is_finite()).fold(None, |span, v| match span {
        None => Some((v, v)),
        Some((low, high)) => Some((v.min(low), v.max(high))),
    })
}

/// A sentence in the middle of a picture that has nothing to show.
pub(crate) fn nothing_to_show(picture: &mut Picture, plot: &Plot, sentence: &str) {
    let (x, y) = ((plot.left + plot.right) / 2.0, (plot.top + plot.bottom) / 2.0);
    picture.text(Text::new(x, y, sentence).size(plot.size).ink(Ink::Muted).anchor(Anchor::Middle).halo());
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_keep_apart_and_in_order() {
        let placed = spread(&[10.0, 11.0, 12.0, 50.0], 10.0, (0.0, 100.0));
        assert_eq!(placed, vec![1.0, 11.0, 21.0, 50.0]);
        let placed = spread(&[0.0, 0.0, 0.0], 10.0, (0.0, 100.0));
        assert_eq!(placed, vec![0.0, 10.0, 20.0]);
        assert!(spread(&[], 10.0, (0.0, 1.0)).is_empty());
    }

    #[test]
    fn a_line_is_cut_at_the_edge() {
        let pieces = clipped(&[(0.0, 0.0), (10.0, 10.0), (20.0, 0.0)], 0.0, 5.0);
        assert_eq!(pieces, vec![vec![(0.0, 0.0), (5.0, 5.0)], vec![(15.0, 5.0), (20.0, 0.0)]]);
        assert!(clipped(&[(0.0, f64::NAN), (1.0, 1.0)], 0.0, 5.0).is_empty());
        assert!(clipped(&[(0.0, 9.0), (1.0, 9.0)], 0.0, 5.0).is_empty());
    }
}
