//! Output noise density against frequency, the biggest sources and their sum.
//!
//! **In.** V/√Hz (or what the caller names) over Hz. The axis ends where the sum has fallen by three decades.

use crate::axis::{Axis, plain_or_prefixed};
use crate::lettering::{fitted, text_width};
use crate::number::prefixed;
use crate::plot::{EndLabel, Plot, clipped_line, end_label_room, end_labels, extent, nothing_to_show};
use crate::svg::{Frame, Picture, Stroke, Text};
use crate::theme::{Family, Ink};

/// One source.
#[derive(Clone, Debug)]
pub struct NoiseSource {
    /// “R1, thermal”.
    pub name: String,
    /// Its family, which gives the colour.
    pub family: Family,
    /// Points (Hz, V/√Hz at the output), ascending frequency.
    pub density: Vec<(f64, f64)>,
}

/// The picture's figures.
#[derive(Clone, Debug, Default)]
pub struct Noise {
    /// Id of the picture in its page.
    pub id: String,
    /// Biggest sources, drawn thin.
    pub sources: Vec<NoiseSource>,
    /// Sum of all sources, points (Hz, V/√Hz), drawn heavy.
    pub total: Vec<(f64, f64)>,
    /// What the whole comes to: “2.1 µV, or 0.05 K, standard deviation”; empty for none.
    pub result: String,
}

impl Noise {
    /// Draws the lines.
    #[must_use]
    pub fn draw(&self, frame: Frame) -> Picture {
        let size = frame.text();
        let width = frame.width();
        let names: Vec<String> = self.sources.iter().map(|s| fitted(&s.name, size, 150.0)).collect();
        let labels_room =
            end_label_room(names.iter().map(String::as_str).chain(["together"]), size).min(0.42 * width);
        let top = 2.2 * size;
        let plot = Plot {
            left: 12.0 + text_width("100 nV", size),
            right: width - labels_room,
            top,
            bottom: top + if frame == Frame::Wide { 260.0 } else { 220.0 },
            size,
        };
        let height = plot.bottom + Plot::x_axis_room(size);
        let description = format!(
            "Noise density at the output against frequency, with the biggest sources: {}. {}",
            names.join(", "),
            self.result
        );
        let mut picture = Picture::new(&frame.id(&self.id), width, height, "Noise", &description);
        let points = || self.sources.iter().flat_map(|s| &s.density).chain(&self.total);
        let positive = |v: &f64| *v > 0.0;
        let (from, to) = extent(points().map(|p| p.0).filter(positive)).unwrap_or((0.1, 1e3));
        let largest = extent(points().map(|p| p.1).filter(positive)).map_or(1e-6, |e| e.1);
        // Where the sum has fallen by three decades nothing more is to be seen, and the lines' ends, which carry the
        // labels, still lie apart.
        let fallen = self.total.iter().rev().find(|p| p.1 > largest * 1e-3).map_or(to, |p| p.0);
        let to = if fallen > from { fallen } else { to };
        let shown = points().filter(|p| p.0 <= to * (1.0 + 1e-9)).map(|p| p.1).filter(positive);
        let least = extent(shown).map_or(1e-9, |e| e.0);
        // What is five decades below the largest adds nothing.
        let y = Axis::decades(least.max(largest * 1e-5), largest, (plot.bottom, plot.top), |v| {
            prefixed(v, "V", 1)
        });
        let x = Axis::logarithmic(from, to, (plot.left, plot.right), plain_or_prefixed);
        plot.y_axis(&mut picture, &y, "", true);
        let title = Text::new(3.0, size, "noise density at the output, V/√Hz").size(size).ink(Ink::Muted);
        picture.text(title);
        plot.x_axis(&mut picture, &x, "frequency, Hz");
        let place = |line: &[(f64, f64)]| -> Vec<(f64, f64)> {
            line.iter()
                .filter(|p| p.0 <= to * (1.0 + 1e-9))
                .map(|p| (x.position(p.0), y.position(p.1.max(1e-30))))
                .collect()
        };
        let mut labels = Vec::new();
        let mut add = |picture: &mut Picture, line: &[(f64, f64)], name: &str, ink: Ink, wide: f64| {
            let line = place(line);
            clipped_line(picture, &plot, &line, Stroke::new(ink, wide));
            if let Some(end) = line.iter().rev().find(|p| p.1.is_finite()) {
                let text = fitted(name, size, labels_room - 24.0);
                labels.push(EndLabel {
                    y: end.1.clamp(plot.top, plot.bottom),
                    text,
                    ink,
                    bold: ink == Ink::Text,
                });
            }
        };
        for (source, name) in self.sources.iter().zip(&names) {
            add(&mut picture, &source.density, name, source.family.ink(), 1.4);
        }
        add(&mut picture, &self.total, "together", Ink::Text, 2.2);
        if points().count() < 2 {
            nothing_to_show(&mut picture, &plot, "no figures");
        } else {
            end_labels(&mut picture, &labels, plot.right, (plot.top, plot.bottom), size);
        }
        if !self.result.is_empty() && frame == Frame::Wide {
            picture.text(
                Text::new(
                    plot.right - 6.0,
                    plot.top + 1.3 * size,
                    fitted(&self.result, size, plot.right - plot.left),
                )
                .size(size)
                .anchor(crate::svg::Anchor::End)
                .halo(),
            );
        }
        picture
    }
}
