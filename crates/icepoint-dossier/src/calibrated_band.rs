//! A calibrated board: what could be expected of it, what it turned out to be, and what is left with its constants.
//!
//! **In.** K over °C, at one board temperature. The readings are shown as errors of the board as it was read.

use crate::axis::Axis;
use crate::lettering::text_width;
use crate::number::{fixed, plain, signed};
use crate::plot::{EndLabel, Plot, clipped_line, end_label_room, end_labels, extent, nothing_to_show};
use crate::svg::{Frame, Picture, Stroke, Text};
use crate::theme::Ink;

/// At one hot temperature.
#[derive(Clone, Copy, Debug)]
pub struct CalibratedBandPoint {
    /// Temperature of the measuring junction in °C.
    pub hot_celsius: f64,
    /// Lower and upper end of the 95 % interval before the calibration, K.
    pub before_kelvin: (f64, f64),
    /// Best estimate of the error as the board was read, K.
    pub found_kelvin: f64,
    /// Lower and upper end of the 95 % interval with the new constants, K.
    pub after_kelvin: (f64, f64),
}

/// A reading as an error of the board.
#[derive(Clone, Copy, Debug)]
pub struct ReadingMark {
    /// Temperature that it stands for in °C.
    pub hot_celsius: f64,
    /// Reading less what was known, K.
    pub error_kelvin: f64,
    /// Whether it disagrees with the others.
    pub flagged: bool,
}

/// The picture's figures.
#[derive(Clone, Debug, Default)]
pub struct CalibratedBand {
    /// Id of the picture in its page.
    pub id: String,
    /// Accuracy asked for, ± K.
    pub accuracy_kelvin: Option<f64>,
    /// In ascending hot temperature.
    pub points: Vec<CalibratedBandPoint>,
    /// Readings at about this board temperature.
    pub readings: Vec<ReadingMark>,
}

impl CalibratedBand {
    fn description(&self) -> String {
        let mut text = String::from(
            "Error in kelvin against hot temperature: the 95 % band before the calibration, the error that was found, the readings, and the band that is left.",
        );
        let width = |p: &CalibratedBandPoint| p.after_kelvin.1 - p.after_kelvin.0;
        if let Some(p) = self.points.iter().max_by(|a, b| width(a).total_cmp(&width(b))) {
            text += &format!(
                " What is left is widest at {} °C, from {} to {} K; before it was {} to {} K there.",
                fixed(p.hot_celsius, 0),
                signed(p.after_kelvin.0, 2),
                signed(p.after_kelvin.1, 2),
                signed(p.before_kelvin.0, 2),
                signed(p.before_kelvin.1, 2)
            );
        }
        text
    }

    /// Draws it.
    #[must_use]
    pub fn draw(&self, frame: Frame) -> Picture {
        let size = frame.text();
        let title = "Error before, as found, and after the calibration";
        let mut picture = Picture::new(&frame.id(&self.id), frame.width(), 100.0, title, &self.description());
        let asked = self.accuracy_kelvin.filter(|a| a.is_finite());
        let errors = self
            .points
            .iter()
            .flat_map(|p| {
                [p.before_kelvin.0, p.before_kelvin.1, p.after_kelvin.0, p.after_kelvin.1, p.found_kelvin]
            })
            .chain(self.readings.iter().map(|r| r.error_kelvin))
            .chain(asked.into_iter().flat_map(|a| [a, -a]))
            .chain([0.0]);
        let (low, high) = extent(errors).unwrap_or((-1.0, 1.0));
        let pad = 0.04 * (high - low);
        let hots =
            self.points.iter().map(|p| p.hot_celsius).chain(self.readings.iter().map(|r| r.hot_celsius));
        let (from, to) = extent(hots).unwrap_or((0.0, 1.0));
        let limit_text = asked.map_or(String::new(), |a| format!("±{} K asked", plain(a)));
        let names = ["before, 95 %", "as found", "after, 95 %", limit_text.as_str()];
        let room = end_label_room(names.into_iter(), size);
        let target = if frame == Frame::Wide { 7 } else { 5 };
        let sample = Axis::rounded(low - pad, high + pad, (0.0, 1.0), target);
        let left = 9.0 + sample.ticks().iter().map(|t| text_width(&t.label, size)).fold(0.0, f64::max);
        let height = if frame == Frame::Wide { 300.0 } else { 210.0 };
        let top = 1.9 * size;
        let plot = Plot { left, right: frame.width() - room, top, bottom: top + height, size };
        let x = Axis::linear(from, to, (plot.left, plot.right), if frame == Frame::Wide { 8 } else { 4 });
        let y = Axis::rounded(low - pad, high + pad, (plot.bottom, plot.top), target);
        plot.y_axis(&mut picture, &y, "", true);
        picture.text(Text::new(plot.left, plot.top - 0.65 * size, "error, K").size(size).ink(Ink::Muted));
        plot.x_axis(&mut picture, &x, "hot junction, °C");
        let line = |pick: &dyn Fn(&CalibratedBandPoint) -> f64| -> Vec<(f64, f64)> {
            self.points.iter().map(|p| (x.position(p.hot_celsius), y.position(pick(p)))).collect()
        };
        let after = (line(&|p| p.after_kelvin.1), line(&|p| p.after_kelvin.0));
        picture.area(&after.0, &after.1, Ink::Band);
        picture.line((plot.left, y.held(0.0)), (plot.right, y.held(0.0)), Stroke::new(Ink::Rule, 1.0));
        if let Some(a) = asked {
            for limit in [a, -a] {
                let stroke = Stroke::new(Ink::Limit, 1.6).dashed(9.0, 3.0);
                picture.line((plot.left, y.held(limit)), (plot.right, y.held(limit)), stroke);
            }
        }
        for edge in [&after.0, &after.1] {
            clipped_line(&mut picture, &plot, edge, Stroke::new(Ink::BandEdge, 1.4));
        }
        let before = Stroke::new(Ink::Muted, 1.3).dashed(3.0, 3.0);
        clipped_line(&mut picture, &plot, &line(&|p| p.before_kelvin.1), before);
        clipped_line(&mut picture, &plot, &line(&|p| p.before_kelvin.0), before);
        clipped_line(&mut picture, &plot, &line(&|p| p.found_kelvin), Stroke::new(Ink::Calibration, 2.0));
        for r in &self.readings {
            let at = (x.held(r.hot_celsius), y.held(r.error_kelvin));
            let ink = if r.flagged { Ink::Worst } else { Ink::Calibration };
            picture.circle(at, 4.0, Some(Ink::Paper), Some(Stroke::new(ink, 2.0)));
            if r.flagged {
                picture.circle(at, 8.0, None, Some(Stroke::new(ink, 1.5)));
            }
        }
        match self.points.last() {
            None => nothing_to_show(&mut picture, &plot, "no figures"),
            Some(end) => {
                let mut labels = vec![
                    EndLabel {
                        y: y.held(end.before_kelvin.1),
                        text: "before, 95 %".to_owned(),
                        ink: Ink::Muted,
                        bold: false,
                    },
                    EndLabel {
                        y: y.held(end.after_kelvin.1),
                        text: "after, 95 %".to_owned(),
                        ink: Ink::BandEdge,
                        bold: false,
                    },
                    EndLabel {
                        y: y.held(end.found_kelvin),
                        text: "as found".to_owned(),
                        ink: Ink::Calibration,
                        bold: true,
                    },
                ];
                if let Some(a) = asked {
                    labels.push(EndLabel { y: y.held(a), text: limit_text, ink: Ink::Limit, bold: true });
                }
                end_labels(&mut picture, &labels, plot.right, (plot.top, plot.bottom), plot.size);
            }
        }
        picture.set_height(plot.bottom + Plot::x_axis_room(size));
        picture
    }
}
