//! The active low-pass alone: magnitude against frequency and response to a step, nominal and the band that 95 % of
//! boards stay in at each frequency and each instant.
//!
//! **In.** dB over Hz, 0 dB at 0 Hz; share of the step over s. Each picture has two panels on one axis, because a
//! tenth of a decibel at the corner can't be seen on a scale that reaches down to the mains, nor a thousandth of a step
//! on one that shows the step.

use crate::axis::{Axis, plain_or_prefixed};
use crate::lettering::text_width;
use crate::number::{fixed, prefixed, significant, trimmed};
use crate::plot::{
    EndLabel, Plot, clipped_line, end_label_room, end_labels, extent, nothing_to_show, spread,
};
use crate::svg::{Anchor, Frame, Picture, Stroke, Text};
use crate::theme::Ink;

/// A figure with the interval that 95 % of boards have it in.
#[derive(Clone, Copy, Debug)]
pub struct Figure {
    /// Of the values chosen.
    pub nominal: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// A point of a curve with its band.
#[derive(Clone, Copy, Debug)]
pub struct BandPoint {
    /// Hz, above 0, or s.
    pub at: f64,
    /// Of the values chosen: dB, or share of the step.
    pub curve: Figure,
    /// 95 % of boards are no further than this from the end of the step, share of it; of no use for a magnitude.
    pub missing: f64,
}

/// Figures of the magnitude.
#[derive(Clone, Debug)]
pub struct LowPassMagnitude {
    /// Id of the picture in its page.
    pub id: String,
    /// Points in ascending frequency, dB.
    pub points: Vec<BandPoint>,
    /// Where it is 3 dB below 0 Hz, Hz.
    pub corner: Figure,
    /// Frequency of the mains, Hz.
    pub mains_hertz: f64,
    /// Magnitude there, dB.
    pub mains_decibel: Figure,
}

/// Figures of the response to a step of 1.
#[derive(Clone, Debug)]
pub struct LowPassStep {
    /// Id of the picture in its page.
    pub id: String,
    /// Points in ascending time, the step is at 0.
    pub points: Vec<BandPoint>,
    /// Half-width of the band that counts as settled, share of the step.
    pub settle_to: f64,
    /// Time after which it stays settled, s; infinite where it does not in the time of `points`.
    pub settled: Figure,
    /// Time asked of the whole chain, s.
    pub asked_seconds: Option<f64>,
    /// How far it goes beyond its end, share of the step.
    pub overshoot: Figure,
}

/// Lowest decibel of the panel near the corner.
const NEAR: f64 = -6.0;
/// Magnitudes below are not shown.
const FLOOR: f64 = -160.0;
const NOMINAL: &str = "as chosen";
const BAND: &str = "95 % of boards";

/// Lines of a band and its nominal curve.
struct Lines {
    nominal: Vec<(f64, f64)>,
    low: Vec<(f64, f64)>,
    high: Vec<(f64, f64)>,
}

impl Lines {
    fn of(points: &[BandPoint], x: &Axis, scale: f64, y: &Axis) -> Self {
        let line = |pick: fn(&Figure) -> f64| -> Vec<(f64, f64)> {
            points.iter().map(|p| (x.position(p.at * scale), y.position(pick(&p.curve)))).collect()
        };
        Self { nominal: line(|f| f.nominal), low: line(|f| f.low), high: line(|f| f.high) }
    }

    fn draw(&self, picture: &mut Picture, plot: &Plot) {
        let held = |line: &[(f64, f64)]| -> Vec<(f64, f64)> {
            line.iter().map(|p| (p.0, p.1.clamp(plot.top, plot.bottom))).collect()
        };
        picture.area(&held(&self.high), &held(&self.low), Ink::Band);
        for edge in [&self.high, &self.low] {
            clipped_line(picture, plot, edge, Stroke::new(Ink::BandEdge, 1.0));
        }
        clipped_line(picture, plot, &self.nominal, Stroke::new(Ink::Analog, 1.8));
    }

    /// Labels at the right end, in the order in which the lines lie there.
    fn name(&self, picture: &mut Picture, plot: &Plot) {
        let end = |line: &[(f64, f64)]| {
            let last = line.iter().rev().find(|p| p.1.is_finite());
            last.map_or(plot.bottom, |p| p.1.clamp(plot.top, plot.bottom))
        };
        let labels = [
            EndLabel { y: end(&self.high), text: BAND.to_owned(), ink: Ink::BandEdge, bold: false },
            EndLabel { y: end(&self.nominal), text: NOMINAL.to_owned(), ink: Ink::Analog, bold: false },
        ];
        end_labels(picture, &labels, plot.right, (plot.top, plot.bottom), plot.size);
    }
}

/// Two panels, one above the other, with room for labels at the right.
fn panels(frame: Frame, head: f64, heights: (f64, f64), widest: &str) -> (Plot, Plot) {
    let size = frame.text();
    let left = 12.0 + text_width(widest, size);
    let right = frame.width() - end_label_room([NOMINAL, BAND].into_iter(), size);
    let upper = Plot { left, right, top: head, bottom: head + heights.0, size };
    let top = upper.bottom + 2.9 * size;
    (upper, Plot { left, right, top, bottom: top + heights.1, size })
}

fn decibel(value: f64) -> String {
    format!("{} dB", fixed(value, 1))
}

fn hertz(value: f64) -> String {
    prefixed(value, "Hz", 3)
}

impl LowPassMagnitude {
    /// Draws both panels.
    #[must_use]
    pub fn draw(&self, frame: Frame) -> Picture {
        let size = frame.text();
        let mains = format!("{} Hz", trimmed(self.mains_hertz, 1));
        let at_mains = |pick: fn(&Figure) -> f64| decibel(pick(&self.mains_decibel));
        let description = format!(
            "Magnitude of the low-pass in decibels against frequency, as chosen and the band that 95 % of boards stay in. \
             3 dB below 0 Hz at {}, of 95 % of boards between {} and {}. At {mains} {}, of 95 % of boards between {} and {}.",
            hertz(self.corner.nominal),
            hertz(self.corner.low),
            hertz(self.corner.high),
            at_mains(|f| f.nominal),
            at_mains(|f| f.low),
            at_mains(|f| f.high),
        );
        let head = 2.2 * size + 3.4 * size;
        let heights = if frame == Frame::Wide { (130.0, 230.0) } else { (110.0, 180.0) };
        let (upper, lower) = panels(frame, head, heights, "−120");
        let height = lower.bottom + Plot::x_axis_room(size);
        let title = "Magnitude of the low-pass";
        let mut picture = Picture::new(&frame.id(&self.id), frame.width(), height, title, &description);
        let (from, to) = extent(self.points.iter().map(|p| p.at).filter(|f| *f > 0.0)).unwrap_or((0.1, 1e3));
        let x = Axis::logarithmic(from, to, (upper.left, upper.right), plain_or_prefixed);
        let (least, most) = extent(self.points.iter().flat_map(|p| [p.curve.low, p.curve.high]))
            .map_or((-100.0, 0.0), |e| (e.0.clamp(FLOOR, -20.0), e.1.clamp(0.0, 20.0)));
        let near = Axis::linear(NEAR, (most + 0.2).max(1.0), (upper.bottom, upper.top), 5);
        let all = Axis::linear(least, most + 2.0, (lower.bottom, lower.top), 6);
        upper.y_axis(&mut picture, &near, "", true);
        upper.x_axis_ticks(&mut picture, &x);
        lower.y_axis(&mut picture, &all, "", true);
        lower.x_axis(&mut picture, &x, "frequency, Hz");
        picture.text(Text::new(3.0, size, "magnitude, dB, 0 dB at 0 Hz").size(size).ink(Ink::Muted));
        self.marks(&mut picture, &upper, &lower, &x, &mains);

        let three = near.held(10.0 * libm::log10(0.5));
        picture.line((upper.left, three), (upper.right, three), Stroke::new(Ink::Rule, 1.0).dashed(2.0, 3.0));
        Lines::of(&self.points, &x, 1.0, &near).draw(&mut picture, &upper);
        let lines = Lines::of(&self.points, &x, 1.0, &all);
        lines.draw(&mut picture, &lower);
        if self.points.len() < 2 {
            nothing_to_show(&mut picture, &lower, "no figures");
        } else {
            lines.name(&mut picture, &lower);
        }
        picture
    }

    /// Corner and mains as lines through both panels, their figures above.
    fn marks(&self, picture: &mut Picture, upper: &Plot, lower: &Plot, x: &Axis, mains: &str) {
        let size = upper.size;
        let marks = [
            (self.corner.nominal, Ink::Analog, "−3 dB".to_owned(), hertz(self.corner.nominal)),
            (self.mains_hertz, Ink::Mains, mains.to_owned(), decibel(self.mains_decibel.nominal)),
        ];
        let shown: Vec<_> =
            marks.into_iter().filter(|m| m.0.is_finite() && m.0 > 0.0 && x.contains(m.0)).collect();
        let room = shown
            .iter()
            .map(|m| text_width(&m.2, size).max(text_width(&m.3, size) * 1.06))
            .fold(0.0, f64::max)
            + 8.0;
        let wanted: Vec<f64> = shown.iter().map(|m| x.held(m.0)).collect();
        let placed = spread(&wanted, room, (room / 2.0, picture.width() - room / 2.0));
        for ((from, to), (_, ink, name, figure)) in wanted.iter().zip(&placed).zip(&shown) {
            for plot in [upper, lower] {
                let stroke = Stroke::new(*ink, 1.4).dashed(4.0, 3.0);
                picture.line((*from, plot.top), (*from, plot.bottom), stroke);
            }
            let bend = [
                (*from, upper.top),
                (*from, upper.top - 4.0),
                (*to, upper.top - size),
                (*to, upper.top - size - 2.0),
            ];
            picture.polyline(&bend, Stroke::new(*ink, 0.9));
            let text = |y: f64, t: &str| Text::new(*to, y, t).size(size).ink(*ink).anchor(Anchor::Middle);
            picture.text(text(upper.top - 2.75 * size, name));
            picture.text(text(upper.top - 1.5 * size, figure).bold());
        }
    }
}

/// A time, or that it is not within the time shown.
fn seconds(value: f64) -> String {
    if value.is_finite() { prefixed(value, "s", 3) } else { "more than is shown".to_owned() }
}

/// Share as per cent without digits that nobody asked for.
fn per_cent(share: f64) -> String {
    let hundred = 100.0 * share;
    if hundred.abs() >= 0.01 {
        format!("{} %", trimmed(hundred, 3))
    } else {
        format!("{} %", significant(hundred, 2))
    }
}

impl LowPassStep {
    /// Draws both panels.
    #[must_use]
    pub fn draw(&self, frame: Frame) -> Picture {
        let size = frame.text();
        let band = per_cent(self.settle_to);
        let description = format!(
            "Response of the low-pass to a step, as chosen and the band that 95 % of boards stay in. Within {band} of the \
             step after {}, of 95 % of boards after {} to {}. It goes {} beyond the step, of 95 % of boards {} to {}.",
            seconds(self.settled.nominal),
            seconds(self.settled.low),
            seconds(self.settled.high),
            percent(self.overshoot.nominal),
            percent(self.overshoot.low),
            percent(self.overshoot.high),
        );
        let heights = if frame == Frame::Wide { (190.0, 150.0) } else { (150.0, 130.0) };
        let (upper, lower) = panels(frame, 2.2 * size, heights, "0.0001");
        let height = lower.bottom + Plot::x_axis_room(size);
        let title = "Step response of the low-pass";
        let mut picture = Picture::new(&frame.id(&self.id), frame.width(), height, title, &description);
        let end = extent(self.points.iter().map(|p| p.at)).map_or(1.0, |e| e.1);
        let (unit, scale) = match end {
            e if e >= 2.0 => ("s", 1.0),
            e if e >= 2e-3 => ("ms", 1e3),
            _ => ("µs", 1e6),
        };
        let x = Axis::linear(
            0.0,
            end * scale,
            (upper.left, upper.right),
            if frame == Frame::Wide { 8 } else { 4 },
        );
        let most = extent(self.points.iter().map(|p| p.curve.high)).map_or(1.0, |e| e.1).clamp(1.0, 4.0);
        let y = Axis::linear(0.0, most + 0.06, (upper.bottom, upper.top), 5);
        let limit = if self.settle_to > 0.0 && self.settle_to < 1.0 { self.settle_to } else { 1e-3 };
        let rest = Axis::decades((limit / 8.0).min(0.1), 1.0, (lower.bottom, lower.top), plain_or_prefixed);
        upper.y_axis(&mut picture, &y, "", true);
        upper.x_axis_ticks(&mut picture, &x);
        lower.y_axis(&mut picture, &rest, "", true);
        lower.x_axis(&mut picture, &x, &format!("time after the step, {unit}"));
        picture.text(Text::new(3.0, size, "output, share of the step").size(size).ink(Ink::Muted));
        let heading = "still missing, share of the step";
        picture.text(Text::new(3.0, lower.top - 0.9 * size, heading).size(size).ink(Ink::Muted));

        let lines = Lines::of(&self.points, &x, scale, &y);
        lines.draw(&mut picture, &upper);
        picture.line(
            (upper.left, y.held(1.0)),
            (upper.right, y.held(1.0)),
            Stroke::new(Ink::Rule, 1.0).dashed(2.0, 3.0),
        );
        self.rest(&mut picture, &lower, &x, scale, &rest);
        if self.points.len() < 2 {
            nothing_to_show(&mut picture, &upper, "no figures");
        } else {
            lines.name(&mut picture, &upper);
        }
        self.times(&mut picture, &upper, &lower, &x, scale);
        let at = rest.held(limit);
        // After the lines of time, whose dashes its rim interrupts.
        picture.text(
            Text::new(lower.right - 5.0, at - 0.5 * size, format!("settled: within {band}"))
                .size(size)
                .ink(Ink::Limit)
                .bold()
                .anchor(Anchor::End)
                .halo(),
        );
        picture
    }

    /// What is missing to the end: of the nominal board, and what 95 % of boards stay below.
    fn rest(&self, picture: &mut Picture, plot: &Plot, x: &Axis, scale: f64, y: &Axis) {
        let line = |pick: &dyn Fn(&BandPoint) -> f64| -> Vec<(f64, f64)> {
            let at = |p: &BandPoint| (x.position(p.at * scale), y.position(pick(p).max(1e-30)));
            self.points.iter().map(at).collect()
        };
        let boards = line(&|p| p.missing);
        let held: Vec<_> = boards.iter().map(|p| (p.0, p.1.clamp(plot.top, plot.bottom))).collect();
        let floor: Vec<_> = boards.iter().map(|p| (p.0, plot.bottom)).collect();
        picture.area(&held, &floor, Ink::Band);
        clipped_line(picture, plot, &boards, Stroke::new(Ink::BandEdge, 1.0));
        clipped_line(picture, plot, &line(&|p| (1.0 - p.curve.nominal).abs()), Stroke::new(Ink::Analog, 1.8));
        let limit = y.held(self.settle_to);
        picture.line((plot.left, limit), (plot.right, limit), Stroke::new(Ink::Limit, 1.4).dashed(9.0, 3.0));
    }

    /// Times of settling and the time asked, as lines through both panels.
    fn times(&self, picture: &mut Picture, upper: &Plot, lower: &Plot, x: &Axis, scale: f64) {
        let size = upper.size;
        // At the foot of the panel, where the curve has left.
        let foot = upper.bottom - 3.8 * size;
        // The earlier time has its words before its line where there is room, the later ones behind theirs.
        let mut mark = |at: f64, text: String, ink: Ink, row: f64, first: bool| {
            if !(at.is_finite() && x.contains(at * scale)) {
                return;
            }
            let across = x.position(at * scale);
            for plot in [upper, lower] {
                let stroke = Stroke::new(ink, 1.4).dashed(4.0, 3.0);
                picture.line((across, plot.top), (across, plot.bottom), stroke);
            }
            // Bold, and faces differ.
            let wide = 1.15 * text_width(&text, size);
            let y = foot + row * 1.5 * size;
            let (at, anchor) = if first && across - 8.0 - wide > upper.left {
                (across - 6.0, Anchor::End)
            } else if across + 6.0 + wide < picture.width() {
                (across + 6.0, Anchor::Start)
            } else {
                // No room on either side: across the line.
                (picture.width() - 2.0, Anchor::End)
            };
            picture.text(Text::new(at, y, text).size(size).ink(ink).bold().anchor(anchor).halo());
        };
        let text = |what: &str, at: f64| format!("{what} after {}", prefixed(at, "s", 3));
        mark(self.settled.nominal, text("settled", self.settled.nominal), Ink::Analog, 0.0, true);
        mark(self.settled.high, text("95 %", self.settled.high), Ink::BandEdge, 1.0, false);
        if let Some(asked) = self.asked_seconds {
            mark(asked, format!("{} asked of all", prefixed(asked, "s", 3)), Ink::Limit, 2.0, false);
        }
    }
}

/// A share of the step with two significant digits; what is below a millionth is rounding.
fn percent(share: f64) -> String {
    if share.abs() < 1e-6 { "0 %".to_owned() } else { format!("{} %", significant(100.0 * share, 2)) }
}
