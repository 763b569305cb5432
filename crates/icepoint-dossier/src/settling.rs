//! Step response: how the reading follows, and when it stays within the band that counts as settled.
//!
//! **In.** K over s. Two panels on one time axis: the reading, and what is still missing on a logarithmic scale, because
//! a band of a thousandth can't be seen on the first.

use crate::axis::{Axis, plain_or_prefixed};
use crate::lettering::text_width;
use crate::number::{prefixed, significant, trimmed};
use crate::plot::{Plot, clipped_line, extent, nothing_to_show};
use crate::svg::{Anchor, Frame, Picture, Stroke, Text};
use crate::theme::Ink;

/// The picture's figures.
#[derive(Clone, Debug, Default)]
pub struct Settling {
    /// Id of the picture in its page.
    pub id: String,
    /// Points (seconds after the step, change of the reading in K), ascending time.
    pub reading_kelvin: Vec<(f64, f64)>,
    /// Height of the step in K.
    pub step_kelvin: f64,
    /// Half-width of the band that counts as settled, in K.
    pub band_kelvin: f64,
    /// Time after which the reading stays within the band, in s; none if it never does.
    pub settled_seconds: Option<f64>,
    /// Time asked for, in s.
    pub asked_seconds: Option<f64>,
}

impl Settling {
    /// Draws both panels.
    #[must_use]
    pub fn draw(&self, frame: Frame) -> Picture {
        let size = frame.text();
        let width = frame.width();
        let band = plain_or(self.band_kelvin);
        let step = plain_or(self.step_kelvin);
        let verdict = match self.settled_seconds.filter(|s| s.is_finite()) {
            Some(s) => format!("Within ±{band} K of a step of {step} K after {}.", prefixed(s, "s", 3)),
            None => format!("Not within ±{band} K of a step of {step} K in the time shown."),
        };
        let left = 12.0 + text_width("0.001", size);
        let right = width - 4.0 - text_width("0", size);
        let (tall, low) = if frame == Frame::Wide { (190.0, 130.0) } else { (150.0, 120.0) };
        let head = 2.2 * size;
        let upper = Plot { left, right, top: head, bottom: head + tall, size };
        let lower_top = upper.bottom + 2.9 * size;
        let lower = Plot { left, right, top: lower_top, bottom: lower_top + low, size };
        let height = lower.bottom + Plot::x_axis_room(size);
        let mut picture = Picture::new(&frame.id(&self.id), width, height, "Settling", &verdict);
        let end = extent(self.reading_kelvin.iter().map(|p| p.0)).map_or(1.0, |e| e.1);
        let end = end.max(self.settled_seconds.filter(|s| s.is_finite()).unwrap_or(0.0));
        let (unit, scale) = if end >= 2.0 {
            ("s", 1.0)
        } else if end >= 2e-3 {
            ("ms", 1e3)
        } else {
            ("µs", 1e6)
        };
        let x = Axis::linear(0.0, end * scale, (left, right), if frame == Frame::Wide { 8 } else { 4 });
        let values = self.reading_kelvin.iter().map(|p| p.1).chain([0.0, self.step_kelvin]);
        let (least, most) = extent(values).unwrap_or((0.0, 1.0));
        let y = Axis::linear(least, most + 0.06 * (most - least), (upper.bottom, upper.top), 4);
        // From the step down to a tenth of the band.
        let full = if self.step_kelvin.abs() > 0.0 { self.step_kelvin.abs() } else { 1.0 };
        let floor = if self.band_kelvin > 0.0 { self.band_kelvin / 8.0 } else { full * 1e-4 };
        let missing =
            Axis::decades(floor.min(full / 10.0), full, (lower.bottom, lower.top), plain_or_prefixed);

        upper.y_axis(&mut picture, &y, "", true);
        picture.text(
            Text::new(3.0, size, format!("reading, K, after a step of {step} K")).size(size).ink(Ink::Muted),
        );
        upper.x_axis_ticks(&mut picture, &x);
        lower.y_axis(&mut picture, &missing, "", true);
        picture.text(Text::new(3.0, lower.top - 0.9 * size, "still missing, K").size(size).ink(Ink::Muted));
        lower.x_axis(&mut picture, &x, &format!("time after the step, {unit}"));

        let final_y = y.held(self.step_kelvin);
        picture.line((left, final_y), (right, final_y), Stroke::new(Ink::Rule, 1.0));
        let band_y = missing.held(self.band_kelvin);
        picture.rect(left, band_y, right - left, lower.bottom - band_y, Ink::Band);
        picture.line((left, band_y), (right, band_y), Stroke::new(Ink::Limit, 1.4).dashed(9.0, 3.0));

        let curve: Vec<_> =
            self.reading_kelvin.iter().map(|p| (x.position(p.0 * scale), y.position(p.1))).collect();
        clipped_line(&mut picture, &upper, &curve, Stroke::new(Ink::Bias, 2.2));
        let rest: Vec<_> = self
            .reading_kelvin
            .iter()
            .map(|p| (x.position(p.0 * scale), missing.position((self.step_kelvin - p.1).abs().max(1e-30))))
            .collect();
        clipped_line(&mut picture, &lower, &rest, Stroke::new(Ink::Bias, 2.2));
        if self.reading_kelvin.len() < 2 {
            nothing_to_show(&mut picture, &upper, "no figures");
        }

        self.times(&mut picture, &upper, &lower, &x, scale);
        // After the lines of time, whose dashes its rim interrupts.
        picture.text(
            Text::new(right - 5.0, band_y - 0.5 * size, format!("settled: within ±{band} K"))
                .size(size)
                .ink(Ink::Limit)
                .bold()
                .anchor(Anchor::End)
                .halo(),
        );
        picture
    }

    /// Time of settling and time asked, as lines through both panels.
    fn times(&self, picture: &mut Picture, upper: &Plot, lower: &Plot, x: &Axis, scale: f64) {
        let size = upper.size;
        let mut mark = |seconds: f64, text: String, ink: Ink, row: f64| {
            if !x.contains(seconds * scale) {
                return;
            }
            let at = x.position(seconds * scale);
            for plot in [upper, lower] {
                picture.line((at, plot.top), (at, plot.bottom), Stroke::new(ink, 1.4).dashed(4.0, 3.0));
            }
            // To the right, where the curve has settled, unless the frame ends there.
            let before = at + 8.0 + 1.06 * text_width(&text, size) > upper.right;
            let (dx, anchor) = if before { (-6.0, Anchor::End) } else { (6.0, Anchor::Start) };
            let y = upper.top + 0.5 * (upper.bottom - upper.top) + row * 1.5 * size;
            picture.text(Text::new(at + dx, y, text).size(size).ink(ink).bold().anchor(anchor).halo());
        };
        if let Some(asked) = self.asked_seconds.filter(|s| s.is_finite()) {
            mark(asked, format!("{} asked", trimmed_seconds(asked)), Ink::Limit, 1.0);
        }
        if let Some(settled) = self.settled_seconds.filter(|s| s.is_finite()) {
            mark(settled, format!("settled after {}", prefixed(settled, "s", 3)), Ink::Bias, 0.0);
        } else if self.reading_kelvin.len() >= 2 {
            let y = upper.top + 0.5 * (upper.bottom - upper.top);
            let text = Text::new(upper.right - 6.0, y, "not settled in the time shown").size(size);
            picture.text(text.ink(Ink::Caution).bold().anchor(Anchor::End).halo());
        }
    }
}

/// A height in K as people write it: 0.1, 100, and not 0.10.
fn plain_or(value: f64) -> String {
    if value.abs() >= 0.01 { trimmed(value, 3) } else { significant(value, 2) }
}

/// A time asked for, without digits that nobody asked for.
fn trimmed_seconds(value: f64) -> String {
    if value >= 1.0 { format!("{} s", trimmed(value, 2)) } else { format!("{} ms", trimmed(value * 1e3, 2)) }
}
