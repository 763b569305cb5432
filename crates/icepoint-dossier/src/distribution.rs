//! Histogram of Monte Carlo errors at one point, with the 95 % interval and the accuracy asked.
//!
//! **In.** Errors in K, or bins already counted.

use crate::axis::Axis;
use crate::lettering::text_width;
use crate::number::{plain, signed};
use crate::plot::{Plot, extent, nothing_to_show};
use crate::svg::{Anchor, Frame, Picture, Stroke, Text};
use crate::theme::Ink;

/// The picture's figures.
#[derive(Clone, Debug, Default)]
pub struct Distribution {
    /// Id of the picture in its page.
    pub id: String,
    /// Where: “1100 °C, board at 55 °C, no trim”.
    pub caption: String,
    /// Edges of the bins in K, ascending, one more than `counts`.
    pub edges_kelvin: Vec<f64>,
    /// Trials in each bin.
    pub counts: Vec<u64>,
    /// The 95 % interval in K.
    pub interval_95_kelvin: (f64, f64),
    /// Mean error in K.
    pub mean_kelvin: f64,
    /// Accuracy asked for, ± K.
    pub accuracy_kelvin: Option<f64>,
}

/// Counts `errors` into `bins` equal bins from the least to the greatest; returns edges and counts. Errors that are not
/// finite are left out.
#[must_use]
pub fn binned(errors: &[f64], bins: usize) -> (Vec<f64>, Vec<u64>) {
    let bins = bins.clamp(1, 500);
    let Some((low, high)) = extent(errors.iter().copied()) else { return (Vec::new(), Vec::new()) };
    let (low, high) = if high > low { (low, high) } else { (low - 0.5, low + 0.5) };
    let step = (high - low) / bins as f64;
    let mut counts = vec![0_u64; bins];
    for error in errors.iter().filter(|e| e.is_finite()) {
        // The greatest error itself lies on the last edge: it belongs to the last bin.
        let bin = (((error - low) / step) as usize).min(bins - 1);
        counts[bin] += 1;
    }
    ((0..=bins).map(|i| low + i as f64 * step).collect(), counts)
}

impl Distribution {
    /// Draws the histogram.
    #[must_use]
    pub fn draw(&self, frame: Frame) -> Picture {
        let size = frame.text();
        let width = frame.width();
        let (low, high) = self.interval_95_kelvin;
        let description = format!(
            "Histogram of simulated errors, {}. Mean {} K; 95 % lie between {} K and {} K.",
            self.caption,
            signed(self.mean_kelvin, 2),
            signed(low, 2),
            signed(high, 2)
        );
        let top = if self.accuracy_kelvin.is_some() { 6.0 * size } else { 4.4 * size };
        let tall = if frame == Frame::Wide { 200.0 } else { 160.0 };
        let left = 10.0 + text_width("100 %", size);
        let plot = Plot { left, right: width - 8.0, top, bottom: top + tall, size };
        let height = plot.bottom + Plot::x_axis_room(size);
        let mut picture =
            Picture::new(&frame.id(&self.id), width, height, "Distribution of the error", &description);
        let total: u64 = self.counts.iter().sum();
        let asked = self.accuracy_kelvin.filter(|a| a.is_finite());
        let span = extent(self.edges_kelvin.iter().copied().chain(asked.into_iter().flat_map(|a| [a, -a])));
        let (from, to) = span.unwrap_or((-1.0, 1.0));
        let x = Axis::linear(from, to, (plot.left, plot.right), if frame == Frame::Wide { 9 } else { 5 });
        let share = |count: u64| count as f64 / total.max(1) as f64;
        let tallest = self.counts.iter().copied().map(share).fold(0.0, f64::max);
        let y =
            Axis::rounded(0.0, if tallest > 0.0 { tallest * 100.0 } else { 1.0 }, (plot.bottom, plot.top), 4);
        picture.text(Text::new(3.0, size, "share of boards, % per bar").size(size).ink(Ink::Muted));
        plot.y_axis(&mut picture, &y, "", true);
        plot.x_axis(&mut picture, &x, "error, K");
        for (edges, count) in self.edges_kelvin.windows(2).zip(&self.counts) {
            let (a, b) = (x.held(edges[0]), x.held(edges[1]));
            let middle = (edges[0] + edges[1]) / 2.0;
            let inside = middle >= low && middle <= high;
            let at = y.held(share(*count) * 100.0);
            let ink = if inside { Ink::BandEdge } else { Ink::Rule };
            picture.rect(a + 0.4, at, (b - a - 0.8).max(0.3), plot.bottom - at, ink);
        }
        picture.line((plot.left, plot.bottom), (plot.right, plot.bottom), Stroke::new(Ink::Rule, 1.0));
        if total == 0 {
            nothing_to_show(&mut picture, &plot, "no figures");
            return picture;
        }
        self.marks(&mut picture, &plot, &x, asked);
        picture
    }

    fn marks(&self, picture: &mut Picture, plot: &Plot, x: &Axis, asked: Option<f64>) {
        let size = plot.size;
        let (low, high) = self.interval_95_kelvin;
        let (a, b) = (x.held(low), x.held(high));
        let bar = plot.top - 1.0 * size;
        for at in [a, b] {
            picture.line((at, bar - 5.0), (at, plot.bottom), Stroke::new(Ink::BandEdge, 1.2));
        }
        picture.line((a, bar), (b, bar), Stroke::new(Ink::BandEdge, 2.0));
        let text = format!("95 % of boards: {} K to {} K", signed(low, 1), signed(high, 1));
        let half = text_width(&text, size) / 2.0 * 1.06;
        let middle = ((a + b) / 2.0).clamp(half + 2.0, picture.width() - half - 2.0);
        picture
            .text(Text::new(middle, bar - 0.7 * size, text).size(size).bold().anchor(Anchor::Middle).halo());
        if let Some(limit) = asked {
            for at in [-limit, limit] {
                let at = x.held(at);
                picture.line(
                    (at, plot.top - 4.0),
                    (at, plot.bottom),
                    Stroke::new(Ink::Limit, 1.6).dashed(9.0, 3.0),
                );
            }
            // Said once, over the left line, on a row of its own.
            let text = format!("±{} K asked", plain(limit));
            let at = x.held(-limit).min(picture.width() - text_width(&text, size) * 1.06 - 2.0);
            picture.text(Text::new(at, bar - 2.1 * size, &text).size(size).ink(Ink::Limit).bold());
        }
        let mean = x.held(self.mean_kelvin);
        picture.line((mean, plot.top), (mean, plot.bottom), Stroke::new(Ink::Bias, 2.2));
        let text = format!("mean {} K", signed(self.mean_kelvin, 2));
        let room = text_width(&text, size) * 1.06 + 6.0;
        // To the right, unless only the left is free of a limit's line.
        let crossed = |from: f64, to: f64| {
            asked.is_some_and(|a| [a, -a].map(|v| x.held(v)).iter().any(|at| (from..=to).contains(at)))
        };
        let left = crossed(mean, mean + room) && !crossed(mean - room, mean) && mean - room > plot.left;
        let (at, anchor) = if left { (mean - 6.0, Anchor::End) } else { (mean + 6.0, Anchor::Start) };
        let text = Text::new(at, plot.top + size, text).size(size).ink(Ink::Bias).bold().anchor(anchor);
        picture.text(text.halo());
    }
}
