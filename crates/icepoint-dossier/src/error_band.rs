//! Error against hot temperature: mean error, 95 % band, worst case and the accuracy asked, alone or as panels with a
//! common scale (without calibration, after zero, after zero and span).
//!
//! **In.** K over °C. Panels stand side by side on a page and one above the other on a telephone.

use crate::axis::Axis;
use crate::lettering::{fitted, text_width};
use crate::number::{fixed, plain, signed};
use crate::plot::{EndLabel, Plot, clipped_line, end_label_room, end_labels, extent, nothing_to_show};
use crate::svg::{Frame, Picture, Stroke, Text};
use crate::theme::Ink;

/// Errors at one hot temperature.
#[derive(Clone, Copy, Debug)]
pub struct ErrorBandPoint {
    /// Temperature of the measuring junction in °C.
    pub hot_celsius: f64,
    /// Mean error in K.
    pub bias_kelvin: f64,
    /// Lower end of the 95 % interval in K.
    pub low_95_kelvin: f64,
    /// Upper end of the 95 % interval in K.
    pub high_95_kelvin: f64,
    /// Most negative error with every deviation at its limit, in K.
    pub worst_low_kelvin: f64,
    /// Most positive error with every deviation at its limit, in K.
    pub worst_high_kelvin: f64,
}

/// One panel.
#[derive(Clone, Debug)]
pub struct ErrorBandPanel {
    /// What it shows: “after zero and span”.
    pub caption: String,
    /// Points in ascending hot temperature.
    pub points: Vec<ErrorBandPoint>,
}

/// The picture's figures.
#[derive(Clone, Debug, Default)]
pub struct ErrorBand {
    /// Id of the picture in its page.
    pub id: String,
    /// Accuracy asked for, ± K.
    pub accuracy_kelvin: Option<f64>,
    /// One to about four panels.
    pub panels: Vec<ErrorBandPanel>,
}

impl ErrorBand {
    fn description(&self) -> String {
        let mut text =
            String::from("Error in kelvin against hot temperature, one panel for each state of calibration.");
        for panel in &self.panels {
            let widest = panel.points.iter().max_by(|a, b| reach(a).total_cmp(&reach(b)));
            if let Some(p) = widest {
                text += &format!(
                    " {}: the 95 % interval is widest at {} °C, from {} to {} K.",
                    panel.caption,
                    fixed(p.hot_celsius, 0),
                    signed(p.low_95_kelvin, 2),
                    signed(p.high_95_kelvin, 2)
                );
            }
        }
        text
    }

    /// Draws the panels.
    #[must_use]
    pub fn draw(&self, frame: Frame) -> Picture {
        let size = frame.text();
        let mut picture = Picture::new(
            &frame.id(&self.id),
            frame.width(),
            100.0,
            "Error against hot temperature",
            &self.description(),
        );
        let points = || self.panels.iter().flat_map(|p| &p.points);
        let asked = self.accuracy_kelvin.filter(|a| a.is_finite());
        let errors = points()
            .flat_map(|p| {
                [p.bias_kelvin, p.low_95_kelvin, p.high_95_kelvin, p.worst_low_kelvin, p.worst_high_kelvin]
            })
            .chain(asked.into_iter().flat_map(|a| [a, -a]))
            .chain([0.0]);
        let (low, high) = extent(errors).unwrap_or((-1.0, 1.0));
        let pad = 0.04 * (high - low);
        let (from, to) = extent(points().map(|p| p.hot_celsius)).unwrap_or((0.0, 1.0));

        let limit_text = asked.map_or(String::new(), |a| format!("±{} K asked", plain(a)));
        let names = ["worst case", "95 % of boards", "mean error", limit_text.as_str()];
        let label_room = end_label_room(names.into_iter(), size);
        let count = self.panels.len().max(1);
        let y_target = if frame == Frame::Wide { 7 } else { 5 };
        let sample = Axis::rounded(low - pad, high + pad, (0.0, 1.0), y_target);
        let y_room = 9.0 + sample.ticks().iter().map(|t| text_width(&t.label, size)).fold(0.0, f64::max);

        // Room for the last label of one panel and the first of the next.
        let gap = 28.0;
        let side_by_side = frame == Frame::Wide;
        let plot_width = if side_by_side {
            (frame.width() - y_room - label_room - gap * (count - 1) as f64) / count as f64
        } else {
            frame.width() - y_room - label_room
        };
        let plot_height = match (frame, count) {
            (Frame::Wide, 1) => 300.0,
            (Frame::Wide, _) => 270.0,
            (Frame::Narrow, _) => 170.0,
        };
        let head = 3.6 * size;
        let pitch = head + plot_height + Plot::x_axis_room(size);
        for (index, panel) in self.panels.iter().enumerate() {
            let (column, row) = if side_by_side { (index, 0) } else { (0, index) };
            let left = y_room + column as f64 * (plot_width + gap);
            let top = head + row as f64 * pitch;
            let plot = Plot { left, right: left + plot_width, top, bottom: top + plot_height, size };
            let x = Axis::linear(from, to, (plot.left, plot.right), if plot_width > 400.0 { 8 } else { 4 });
            let y = Axis::rounded(low - pad, high + pad, (plot.bottom, plot.top), y_target);
            let last = !side_by_side || index + 1 == count;
            let caption = fitted(&panel.caption, size, plot_width + if last { label_room } else { 0.0 });
            // With one panel alone the page's caption says it all.
            let y_title = if column == 0 { "error, K" } else { "" };
            if !panel.caption.is_empty() {
                picture.text(Text::new(plot.left, plot.top - 2.1 * size, caption).size(size).bold());
            }
            plot.y_axis(&mut picture, &y, "", column == 0);
            picture.text(Text::new(plot.left, plot.top - 0.65 * size, y_title).size(size).ink(Ink::Muted));
            plot.x_axis(&mut picture, &x, "hot junction, °C");
            panel.draw(&mut picture, &plot, &x, &y, asked);
            if last {
                self.label_ends(&mut picture, panel, &plot, &y, asked, &limit_text);
            }
        }
        if self.panels.is_empty() {
            let plot = Plot { left: 0.0, right: frame.width(), top: 0.0, bottom: 60.0, size };
            nothing_to_show(&mut picture, &plot, "no figures");
            picture.set_height(60.0);
        } else {
            picture.set_height(pitch * if side_by_side { 1.0 } else { count as f64 });
        }
        picture
    }

    fn label_ends(
        &self,
        picture: &mut Picture,
        panel: &ErrorBandPanel,
        plot: &Plot,
        y: &Axis,
        asked: Option<f64>,
        limit_text: &str,
    ) {
        let Some(end) = panel.points.iter().rev().find(|p| p.bias_kelvin.is_finite()) else { return };
        let mut labels = vec![
            EndLabel {
                y: y.held(end.worst_high_kelvin),
                text: "worst case".to_owned(),
                ink: Ink::Worst,
                bold: false,
            },
            EndLabel {
                y: y.held(end.high_95_kelvin),
                text: "95 % of boards".to_owned(),
                ink: Ink::BandEdge,
                bold: false,
            },
            EndLabel {
                y: y.held(end.bias_kelvin),
                text: "mean error".to_owned(),
                ink: Ink::Bias,
                bold: false,
            },
        ];
        if let Some(a) = asked {
            labels.push(EndLabel { y: y.held(a), text: limit_text.to_owned(), ink: Ink::Limit, bold: true });
        }
        end_labels(picture, &labels, plot.right, (plot.top, plot.bottom), plot.size);
    }
}

impl ErrorBandPanel {
    fn draw(&self, picture: &mut Picture, plot: &Plot, x: &Axis, y: &Axis, asked: Option<f64>) {
        let line = |pick: fn(&ErrorBandPoint) -> f64| -> Vec<(f64, f64)> {
            self.points.iter().map(|p| (x.position(p.hot_celsius), y.position(pick(p)))).collect()
        };
        let (upper, lower) = (line(|p| p.high_95_kelvin), line(|p| p.low_95_kelvin));
        picture.area(&upper, &lower, Ink::Band);
        // The grid shows through nowhere else than here: zero must stay visible over the band.
        picture.line((plot.left, y.held(0.0)), (plot.right, y.held(0.0)), Stroke::new(Ink::Rule, 1.0));
        if let Some(a) = asked {
            for limit in [a, -a] {
                let at = y.held(limit);
                picture.line(
                    (plot.left, at),
                    (plot.right, at),
                    Stroke::new(Ink::Limit, 1.6).dashed(9.0, 3.0),
                );
            }
        }
        for edge in [&upper, &lower] {
            clipped_line(picture, plot, edge, Stroke::new(Ink::BandEdge, 1.2));
        }
        let worst = Stroke::new(Ink::Worst, 1.5).dashed(3.0, 3.0);
        clipped_line(picture, plot, &line(|p| p.worst_high_kelvin), worst);
        clipped_line(picture, plot, &line(|p| p.worst_low_kelvin), worst);
        clipped_line(picture, plot, &line(|p| p.bias_kelvin), Stroke::new(Ink::Bias, 2.2));
        if self.points.is_empty() {
            nothing_to_show(picture, plot, "no figures");
        }
        if let [only] = self.points.as_slice() {
            // One point has no line: a mark and its interval instead.
            let at = x.held(only.hot_celsius);
            let ends = (y.held(only.low_95_kelvin), y.held(only.high_95_kelvin));
            picture.line((at, ends.0), (at, ends.1), Stroke::new(Ink::BandEdge, 4.0));
            picture.circle((at, y.held(only.bias_kelvin)), 4.0, Some(Ink::Bias), None);
        }
    }
}

fn reach(p: &ErrorBandPoint) -> f64 {
    let reach = p.high_95_kelvin.abs().max(p.low_95_kelvin.abs());
    if reach.is_finite() { reach } else { -1.0 }
}
