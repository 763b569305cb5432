//! A batch of boards: the estimated error of each as built against the band that was predicted for such estimates.
//!
//! **In.** K over °C. One line for each board.

use crate::axis::Axis;
use crate::lettering::text_width;
use crate::number::{fixed, signed};
use crate::plot::{EndLabel, Plot, clipped_line, end_label_room, end_labels, extent, nothing_to_show};
use crate::svg::{Frame, Picture, Stroke, Text};
use crate::theme::Ink;

/// The picture's figures.
#[derive(Clone, Debug, Default)]
pub struct BatchPicture {
    /// Id of the picture in its page.
    pub id: String,
    /// Hot temperatures, ascending, °C.
    pub hot_celsius: Vec<f64>,
    /// Expected error at each, K.
    pub expected_kelvin: Vec<f64>,
    /// Half-width of the band that 95 % of the boards' estimates were predicted to be in, at each, K.
    pub half_95_kelvin: Vec<f64>,
    /// Serial number and errors of each board, K.
    pub boards: Vec<(String, Vec<f64>)>,
}

impl BatchPicture {
    fn description(&self) -> String {
        let mut text = format!(
            "Estimated error as built in kelvin against hot temperature: {} boards and the band predicted for 95 % of such estimates.",
            self.boards.len()
        );
        let last = self.hot_celsius.len().saturating_sub(1);
        if let (Some(hot), Some(half), Some(mean)) =
            (self.hot_celsius.get(last), self.half_95_kelvin.get(last), self.expected_kelvin.get(last))
        {
            let outside = self
                .boards
                .iter()
                .filter(|(_, e)| e.get(last).is_some_and(|e| (e - mean).abs() > *half))
                .count();
            text += &format!(
                " At {} °C the band is {} to {} K; {outside} boards are outside there.",
                fixed(*hot, 0),
                signed(mean - half, 2),
                signed(mean + half, 2)
            );
        }
        text
    }

    /// Draws it.
    #[must_use]
    pub fn draw(&self, frame: Frame) -> Picture {
        let size = frame.text();
        let title = "Boards as built against the prediction";
        let mut picture = Picture::new(&frame.id(&self.id), frame.width(), 100.0, title, &self.description());
        let band = |sign: f64| -> Vec<f64> {
            self.expected_kelvin.iter().zip(&self.half_95_kelvin).map(|(m, h)| m + sign * h).collect()
        };
        let (lower, upper) = (band(-1.0), band(1.0));
        let values =
            lower.iter().chain(&upper).chain(self.boards.iter().flat_map(|(_, e)| e)).copied().chain([0.0]);
        let (low, high) = extent(values).unwrap_or((-1.0, 1.0));
        let (from, to) = extent(self.hot_celsius.iter().copied()).unwrap_or((0.0, 1.0));
        let room = end_label_room(["predicted, 95 %", "each board"].into_iter(), size);
        let target = if frame == Frame::Wide { 7 } else { 5 };
        let sample = Axis::rounded(low, high, (0.0, 1.0), target);
        let left = 9.0 + sample.ticks().iter().map(|t| text_width(&t.label, size)).fold(0.0, f64::max);
        let top = 1.9 * size;
        let height = if frame == Frame::Wide { 300.0 } else { 210.0 };
        let plot = Plot { left, right: frame.width() - room, top, bottom: top + height, size };
        let x = Axis::linear(from, to, (plot.left, plot.right), if frame == Frame::Wide { 8 } else { 4 });
        let y = Axis::rounded(low, high, (plot.bottom, plot.top), target);
        plot.y_axis(&mut picture, &y, "", true);
        picture.text(
            Text::new(plot.left, plot.top - 0.65 * size, "error as built, K").size(size).ink(Ink::Muted),
        );
        plot.x_axis(&mut picture, &x, "hot junction, °C");
        let line = |errors: &[f64]| -> Vec<(f64, f64)> {
            self.hot_celsius.iter().zip(errors).map(|(t, e)| (x.position(*t), y.position(*e))).collect()
        };
        picture.area(&line(&upper), &line(&lower), Ink::Band);
        picture.line((plot.left, y.held(0.0)), (plot.right, y.held(0.0)), Stroke::new(Ink::Rule, 1.0));
        for edge in [&upper, &lower] {
            clipped_line(&mut picture, &plot, &line(edge), Stroke::new(Ink::BandEdge, 1.3));
        }
        for (_, errors) in &self.boards {
            clipped_line(&mut picture, &plot, &line(errors), Stroke::new(Ink::Calibration, 1.2));
        }
        match (upper.last(), self.boards.last().and_then(|(_, e)| e.last())) {
            (Some(top), Some(board)) => {
                let labels = [
                    EndLabel {
                        y: y.held(*top),
                        text: "predicted, 95 %".to_owned(),
                        ink: Ink::BandEdge,
                        bold: false,
                    },
                    EndLabel {
                        y: y.held(*board),
                        text: "each board".to_owned(),
                        ink: Ink::Calibration,
                        bold: true,
                    },
                ];
                end_labels(&mut picture, &labels, plot.right, (plot.top, plot.bottom), plot.size);
            }
            _ => nothing_to_show(&mut picture, &plot, "no figures"),
        }
        picture.set_height(plot.bottom + Plot::x_axis_room(size));
        picture
    }
}
