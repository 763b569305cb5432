//! Residuals: each condition of a calibration against what all the others predict, with what chance allows.
//!
//! **In.** K, in the order of the file. One row for each condition: the bar is what chance allows, the mark the
//! difference; a mark outside its bar disagrees.

use crate::axis::Axis;
use crate::lettering::{fitted, text_width};
use crate::plot::{Plot, extent};
use crate::svg::{Anchor, Frame, Picture, Stroke, Text};
use crate::theme::Ink;

/// One condition.
#[derive(Clone, Debug)]
pub struct Residual {
    /// What was given: “20.613 mV, board at 23 °C”.
    pub name: String,
    /// Mean of the readings less what the others predict, K.
    pub difference_kelvin: f64,
    /// What chance allows to both sides, K.
    pub allowed_kelvin: f64,
    /// Mean of the readings less what the solution answers, K.
    pub residual_kelvin: f64,
    /// Whether it disagrees.
    pub flagged: bool,
}

/// The picture's figures.
#[derive(Clone, Debug, Default)]
pub struct Residuals {
    /// Id of the picture in its page.
    pub id: String,
    /// In the order of the file.
    pub rows: Vec<Residual>,
}

impl Residuals {
    fn description(&self) -> String {
        let flagged: Vec<&str> = self.rows.iter().filter(|r| r.flagged).map(|r| r.name.as_str()).collect();
        let mut text =
            format!("{} conditions against what all the others predict, in kelvin.", self.rows.len());
        if flagged.is_empty() {
            text += " None disagrees.";
        } else {
            text += &format!(" Those that disagree: {}.", flagged.join("; "));
        }
        text
    }

    /// Draws it.
    #[must_use]
    pub fn draw(&self, frame: Frame) -> Picture {
        let size = frame.text();
        let mut picture = Picture::new(
            &frame.id(&self.id),
            frame.width(),
            100.0,
            "Each reading against all the others",
            &self.description(),
        );
        let widest = self.rows.iter().map(|r| text_width(&r.name, size)).fold(0.0, f64::max);
        let wide = frame == Frame::Wide;
        let room = if wide { (1.08 * widest + 12.0).min(300.0) } else { 1.2 * size };
        let pitch = if wide { 1.75 * size } else { 2.9 * size };
        let top = 0.6 * size;
        let bottom = top + pitch * self.rows.len().max(1) as f64;
        let plot = Plot { left: room, right: frame.width() - 12.0, top, bottom, size };
        let values = self
            .rows
            .iter()
            .flat_map(|r| [r.difference_kelvin, r.residual_kelvin, r.allowed_kelvin, -r.allowed_kelvin])
            .chain([0.0]);
        let (low, high) = extent(values).unwrap_or((-1.0, 1.0));
        let x = Axis::rounded(low, high, (plot.left, plot.right), if wide { 7 } else { 4 });
        plot.x_axis(&mut picture, &x, "K");
        picture.line((x.held(0.0), plot.top), (x.held(0.0), plot.bottom), Stroke::new(Ink::Rule, 1.4));
        for (i, row) in self.rows.iter().enumerate() {
            let base = top + pitch * i as f64;
            let y = if wide { base + 0.5 * pitch } else { base + 1.95 * size };
            let (text, ink) =
                (fitted(&row.name, size, if wide { room - 12.0 } else { plot.right - 4.0 }), Ink::Text);
            picture.text(if wide {
                Text::new(room - 8.0, y, text).size(size).ink(ink).anchor(Anchor::End).centred()
            } else {
                Text::new(room, base + 1.1 * size, text).size(size).ink(ink).halo()
            });
            let (from, to) = (x.held(-row.allowed_kelvin), x.held(row.allowed_kelvin));
            picture.rect(from, y - 5.0, (to - from).max(1.0), 10.0, Ink::Band);
            let ink = if row.flagged { Ink::Worst } else { Ink::Bias };
            picture.circle((x.held(row.difference_kelvin), y), 4.5, Some(ink), None);
            let at = x.held(row.residual_kelvin);
            picture.line((at, y - 6.0), (at, y + 6.0), Stroke::new(ink, 2.0));
            if row.flagged {
                picture.circle((x.held(row.difference_kelvin), y), 8.0, None, Some(Stroke::new(ink, 1.5)));
            }
        }
        picture.set_height(bottom + Plot::x_axis_room(size));
        picture
    }
}
