//! Filter magnitude against frequency: analog, digital and together, the mains line and its harmonics marked, each with
//! the error it leaves in the reading.
//!
//! **In.** dB and Hz; residuals in K. Zero dB is the response at DC. Below the floor (−120 dB, or what is asked) lines
//! run out of the frame: nobody reads a notch's depth off a chart.

use crate::axis::{Axis, plain_or_prefixed};
use crate::lettering::text_width;
use crate::number::prefixed;
use crate::plot::{
    EndLabel, Plot, clipped_line, end_label_room, end_labels, extent, nothing_to_show, spread,
};
use crate::svg::{Anchor, Frame, Picture, Stroke, Text};
use crate::theme::Ink;

/// Response at one frequency.
#[derive(Clone, Copy, Debug)]
pub struct ResponsePoint {
    /// Frequency in Hz, above 0.
    pub hertz: f64,
    /// Analog filter in dB.
    pub analog_decibel: f64,
    /// Digital filter in dB, if there is one.
    pub digital_decibel: Option<f64>,
    /// Both together in dB.
    pub total_decibel: f64,
}

/// A line of the mains: fundamental or harmonic.
#[derive(Clone, Copy, Debug)]
pub struct MainsLine {
    /// Frequency in Hz.
    pub hertz: f64,
    /// Error it leaves in the reading after every filter, in K (amplitude or as the caption says).
    pub residual_kelvin: f64,
}

/// The picture's figures.
#[derive(Clone, Debug)]
pub struct Response {
    /// Id of the picture in its page.
    pub id: String,
    /// Points in ascending frequency.
    pub points: Vec<ResponsePoint>,
    /// Mains lines, fundamental first.
    pub mains: Vec<MainsLine>,
    /// Lowest magnitude shown, in dB.
    pub floor_decibel: f64,
}

fn hertz(value: f64) -> String {
    format!("{} Hz", plain_or_prefixed(value))
}

impl Response {
    /// Draws the lines.
    #[must_use]
    pub fn draw(&self, frame: Frame) -> Picture {
        let size = frame.text();
        let width = frame.width();
        let mut description = String::from("Magnitude of the filters in decibels against frequency.");
        for line in &self.mains {
            description +=
                &format!(" {} leaves {}.", hertz(line.hertz), prefixed(line.residual_kelvin, "K", 2));
        }
        let digital = self.points.iter().any(|p| p.digital_decibel.is_some());
        let names: &[&str] = if digital { &["analog", "digital", "together"] } else { &["analog"] };
        let size_of_labels = end_label_room(names.iter().copied(), size);
        let flags = if self.mains.is_empty() { 0.0 } else { 3.6 * size };
        let top = 2.0 * size + flags;
        let plot = Plot {
            left: 10.0 + text_width("−120", size),
            right: width - size_of_labels,
            top,
            bottom: top + if frame == Frame::Wide { 280.0 } else { 220.0 },
            size,
        };
        let height = plot.bottom + Plot::x_axis_room(size);
        let mut picture = Picture::new(&frame.id(&self.id), width, height, "Filter response", &description);
        let (from, to) =
            extent(self.points.iter().map(|p| p.hertz).filter(|f| *f > 0.0)).unwrap_or((0.1, 1e3));
        let floor = if self.floor_decibel < -1.0 { self.floor_decibel.max(-400.0) } else { -120.0 };
        let ceiling = extent(self.points.iter().flat_map(|p| [p.analog_decibel, p.total_decibel]))
            .map_or(0.0, |e| e.1)
            .clamp(0.0, 60.0);
        let x = Axis::logarithmic(from, to, (plot.left, plot.right), plain_or_prefixed);
        let y = Axis::rounded(floor, ceiling, (plot.bottom, plot.top), 6);
        plot.y_axis(&mut picture, &y, "", true);
        picture.text(Text::new(3.0, size, "magnitude, dB").size(size).ink(Ink::Muted));
        plot.x_axis(&mut picture, &x, "frequency, Hz");
        self.flags(&mut picture, &plot, &x);

        let line = |pick: &dyn Fn(&ResponsePoint) -> f64| -> Vec<(f64, f64)> {
            self.points.iter().map(|p| (x.position(p.hertz), y.position(pick(p).max(-1e4)))).collect()
        };
        let analog = line(&|p| p.analog_decibel);
        let combined = line(&|p| p.total_decibel);
        let mut labels = vec![label(&analog, &plot, "analog", Ink::Analog)];
        if digital {
            let lines = line(&|p| p.digital_decibel.unwrap_or(f64::NAN));
            clipped_line(
                &mut picture,
                &plot,
                &lines,
                Stroke::new(Ink::Digital, if frame == Frame::Wide { 1.2 } else { 0.8 }),
            );
            labels.push(label(&lines, &plot, "digital", Ink::Digital));
            labels.push(label(&combined, &plot, "together", Ink::Text));
        }
        // On a telephone the notches crowd: thinner lines keep them apart.
        let heavy = if frame == Frame::Wide { 1.8 } else { 1.1 };
        clipped_line(&mut picture, &plot, &analog, Stroke::new(Ink::Analog, 1.8));
        if digital {
            clipped_line(&mut picture, &plot, &combined, Stroke::new(Ink::Text, heavy));
        }
        if self.points.len() < 2 {
            nothing_to_show(&mut picture, &plot, "no figures");
        } else {
            end_labels(&mut picture, &labels, plot.right, (plot.top, plot.bottom), size);
        }
        picture
    }

    /// Mains lines with frequency and residual above the frame, moved apart, joined to their lines.
    fn flags(&self, picture: &mut Picture, plot: &Plot, x: &Axis) {
        let size = plot.size;
        let shown: Vec<&MainsLine> = self.mains.iter().filter(|m| x.contains(m.hertz)).collect();
        let texts: Vec<(String, String)> =
            shown.iter().map(|m| (hertz(m.hertz), prefixed(m.residual_kelvin, "K", 2))).collect();
        let room = texts
            .iter()
            .map(|(a, b)| text_width(a, size).max(text_width(b, size) * 1.06))
            .fold(0.0, f64::max)
            + 8.0;
        let wanted: Vec<f64> = shown.iter().map(|m| x.held(m.hertz)).collect();
        let range = (room / 2.0, picture.width() - room / 2.0);
        // Too many for the width: the strongest stay in the description and the table.
        let fit = ((range.1 - range.0) / room) as usize + 1;
        let kept = wanted.len().min(fit);
        let placed = spread(&wanted[..kept], room, range);
        for (index, from) in wanted.iter().enumerate() {
            let stroke = Stroke::new(Ink::Mains, if index == 0 { 1.6 } else { 1.0 }).dashed(4.0, 3.0);
            picture.line((*from, plot.top), (*from, plot.bottom), stroke);
            let Some(to) = placed.get(index) else { continue };
            picture.polyline(
                &[
                    (*from, plot.top),
                    (*from, plot.top - 4.0),
                    (*to, plot.top - size),
                    (*to, plot.top - size - 2.0),
                ],
                Stroke::new(Ink::Mains, 0.9),
            );
            let (frequency, residual) = &texts[index];
            let text =
                |y: f64, t: &str| Text::new(*to, y, t).size(size).ink(Ink::Mains).anchor(Anchor::Middle);
            picture.text(text(plot.top - 2.75 * size, frequency));
            picture.text(text(plot.top - 1.5 * size, residual).bold());
        }
    }
}

/// Label at the last point of the line, held inside the frame.
fn label(line: &[(f64, f64)], plot: &Plot, name: &str, ink: Ink) -> EndLabel {
    let y =
        line.iter().rev().find(|p| p.1.is_finite()).map_or(plot.bottom, |p| p.1.clamp(plot.top, plot.bottom));
    EndLabel { y, text: name.to_owned(), ink, bold: ink == Ink::Text }
}
