//! Error of the firmware against temperature: the least and greatest found at each temperature, and what was wanted.
//!
//! **In.** K over °C, 65,536 inputs of the converter (all of one up to 16 bit) at several reference-junction temperatures.

use crate::axis::Axis;
use crate::number::{fixed, plain};
use crate::plot::{EndLabel, Plot, clipped_line, end_label_room, end_labels, extent, nothing_to_show};
use crate::svg::{Frame, Picture, Stroke, Text};
use crate::theme::Ink;

/// The picture's figures.
#[derive(Clone, Debug, Default)]
pub struct FirmwareError {
    /// Id of the picture in its page.
    pub id: String,
    /// °C, least and greatest error in K, ascending temperature.
    pub errors_kelvin: Vec<(f64, f64, f64)>,
    /// Error wanted, ± K.
    pub wanted_kelvin: f64,
    /// Where segments meet, °C.
    pub knots_celsius: Vec<f64>,
}

impl FirmwareError {
    /// Draws the band.
    #[must_use]
    pub fn draw(&self, frame: Frame) -> Picture {
        let size = frame.text();
        let wanted = format!("±{} K wanted", plain(self.wanted_kelvin));
        let names = ["segments meet", wanted.as_str(), "error found"];
        let top = 2.4 * size;
        let largest = self.errors_kelvin.iter().map(|e| e.1.abs().max(e.2.abs())).fold(0.0, f64::max);
        let description = format!(
            "Error of the firmware in kelvin against temperature: at most {} K drawn, {} K wanted.",
            fixed(largest, 4),
            plain(self.wanted_kelvin)
        );
        let reach = 1.12 * largest.max(self.wanted_kelvin);
        let sample = Axis::rounded(-reach, reach, (0.0, 1.0), 6);
        let left = 9.0
            + sample.ticks().iter().map(|t| crate::lettering::text_width(&t.label, size)).fold(0.0, f64::max);
        let plot = Plot {
            left,
            right: frame.width() - end_label_room(names.into_iter(), size),
            top,
            bottom: top + if frame == Frame::Wide { 230.0 } else { 180.0 },
            size,
        };
        let height = plot.bottom + Plot::x_axis_room(size);
        let mut picture =
            Picture::new(&frame.id(&self.id), frame.width(), height, "Error of the firmware", &description);
        let (from, to) = extent(self.errors_kelvin.iter().map(|e| e.0)).unwrap_or((0.0, 1.0));
        let x = Axis::linear(from, to, (plot.left, plot.right), if frame == Frame::Wide { 8 } else { 4 });
        let y = Axis::rounded(-reach, reach, (plot.bottom, plot.top), 6);
        plot.y_axis(&mut picture, &y, "", true);
        picture.text(Text::new(plot.left, plot.top - 0.65 * size, "error, K").size(size).ink(Ink::Muted));
        plot.x_axis(&mut picture, &x, "measuring junction, °C");
        let line = |pick: fn(&(f64, f64, f64)) -> f64| -> Vec<(f64, f64)> {
            self.errors_kelvin.iter().map(|e| (x.position(e.0), y.position(pick(e)))).collect()
        };
        let (upper, lower) = (line(|e| e.2), line(|e| e.1));
        picture.area(&upper, &lower, Ink::Band);
        picture.line((plot.left, y.held(0.0)), (plot.right, y.held(0.0)), Stroke::new(Ink::Rule, 1.0));
        for edge in [&upper, &lower] {
            clipped_line(&mut picture, &plot, edge, Stroke::new(Ink::ReadingRule, 1.1));
        }
        for limit in [self.wanted_kelvin, -self.wanted_kelvin] {
            let at = y.held(limit);
            picture.line((plot.left, at), (plot.right, at), Stroke::new(Ink::Limit, 1.6).dashed(9.0, 3.0));
        }
        for knot in self.knots_celsius.iter().filter(|t| **t > from && **t < to) {
            let at = x.position(*knot);
            picture.line((at, plot.bottom - 9.0), (at, plot.bottom), Stroke::new(Ink::Text, 1.4));
        }
        let end = upper.last().map_or(plot.top, |p| p.1);
        let mut labels = vec![
            EndLabel { y: y.held(self.wanted_kelvin), text: wanted.clone(), ink: Ink::Limit, bold: true },
            EndLabel { y: end, text: "error found".to_owned(), ink: Ink::ReadingRule, bold: false },
        ];
        if !self.knots_celsius.is_empty() {
            let text = "segments meet".to_owned();
            labels.push(EndLabel { y: plot.bottom - 4.5, text, ink: Ink::Text, bold: false });
        }
        if self.errors_kelvin.len() < 2 {
            nothing_to_show(&mut picture, &plot, "no figures");
        } else {
            end_labels(&mut picture, &labels, plot.right, (plot.top, plot.bottom), size);
        }
        picture
    }
}
