//! Who contributes what: standard uncertainties ranked as bars, for a few points with one common scale.
//!
//! **In.** K and shares of the variance 0…1, both from the budget (with correlated causes a share isn't the square of
//! the bar). Colour and a word tell the family; what doesn't fit is joined into one bar, root of the sum of squares.

use crate::axis::Axis;
use crate::lettering::{fitted, text_width, wrapped};
use crate::number::percent;
use crate::svg::{Anchor, Frame, Picture, Stroke, Text};
use crate::theme::{Family, Ink};

/// One cause.
#[derive(Clone, Debug)]
pub struct Contribution {
    /// Plain words: “tolerance of the probe, class 1”.
    pub name: String,
    /// Its family.
    pub family: Family,
    /// Standard uncertainty it brings to the reading, in K; the sign is ignored.
    pub standard_kelvin: f64,
    /// Its share of the variance, 0…1.
    pub share_of_variance: f64,
}

/// All causes at one point.
#[derive(Clone, Debug)]
pub struct ContributionPoint {
    /// “hottest: 1100 °C, board at 25 °C”.
    pub caption: String,
    /// Combined standard uncertainty in K.
    pub combined_standard_kelvin: f64,
    /// The causes, in any order.
    pub contributions: Vec<Contribution>,
}

/// The picture's figures.
#[derive(Clone, Debug)]
pub struct Contributions {
    /// Id of the picture in its page.
    pub id: String,
    /// Points, drawn one above the other.
    pub points: Vec<ContributionPoint>,
    /// Bars shown for each point before the rest is joined; at least 1.
    pub rows: usize,
}

fn magnitude(c: &Contribution) -> f64 {
    if c.standard_kelvin.is_finite() { c.standard_kelvin.abs() } else { 0.0 }
}

impl ContributionPoint {
    /// Largest first; beyond `rows` the rest is one bar. Equal ones keep the order of their names.
    fn ranked(&self, rows: usize) -> Vec<Contribution> {
        let mut all: Vec<Contribution> = self.contributions.clone();
        all.sort_by(|a, b| magnitude(b).total_cmp(&magnitude(a)).then_with(|| a.name.cmp(&b.name)));
        let rows = rows.max(1);
        if all.len() > rows + 1 {
            let rest = all.split_off(rows);
            let squares: f64 = rest.iter().map(|c| magnitude(c) * magnitude(c)).sum();
            all.push(Contribution {
                name: format!("{} others", rest.len()),
                family: Family::Rest,
                standard_kelvin: libm::sqrt(squares),
                share_of_variance: rest.iter().map(|c| c.share_of_variance).filter(|s| s.is_finite()).sum(),
            });
        }
        all
    }
}

fn kelvin(value: f64) -> String {
    format!("{} K", crate::number::significant(value, if value.abs() >= 10.0 { 3 } else { 2 }))
}

impl Contributions {
    fn description(&self) -> String {
        let mut text = String::from("Standard uncertainty in kelvin of each cause, largest first.");
        for point in &self.points {
            let first = point.ranked(self.rows).into_iter().next();
            if let Some(c) = first {
                text += &format!(
                    " {}: combined {}; the largest is {}, {}, {} of the variance.",
                    point.caption,
                    kelvin(point.combined_standard_kelvin),
                    c.name,
                    kelvin(magnitude(&c)),
                    percent(c.share_of_variance)
                );
            }
        }
        text
    }

    /// Draws the bars.
    #[must_use]
    pub fn draw(&self, frame: Frame) -> Picture {
        let size = frame.text();
        let width = frame.width();
        let mut picture = Picture::new(
            &frame.id(&self.id),
            width,
            100.0,
            "Contributions to the uncertainty",
            &self.description(),
        );
        let ranked: Vec<Vec<Contribution>> = self.points.iter().map(|p| p.ranked(self.rows)).collect();
        let largest = ranked.iter().flatten().map(magnitude).fold(0.0, f64::max);
        let share_room = text_width("< 0.1 %", size) + 4.0;
        let value_room = text_width("0.0123 K", size) + 10.0;
        let widest = ranked.iter().flatten().map(|c| text_width(&c.name, size)).fold(0.0, f64::max);
        let (names, bars_from) = match frame {
            // Some readers have wider letters than the estimate.
            Frame::Wide => (widest.min(355.0), 1.06 * widest.min(355.0) + 10.0),
            Frame::Narrow => (width - share_room, 1.0),
        };
        let bars_to = width - share_room - value_room;
        let scale = Axis::linear(0.0, if largest > 0.0 { largest } else { 1.0 }, (bars_from, bars_to), 4);
        let mut y = 0.0;
        for (point, bars) in self.points.iter().zip(&ranked) {
            for line in wrapped(&point.caption, size * 1.06, width * 0.98) {
                y += 1.3 * size;
                picture.text(Text::new(0.0, y, line).size(size).bold());
            }
            let combined =
                format!("combined standard uncertainty {}", kelvin(point.combined_standard_kelvin));
            if frame == Frame::Wide {
                let x = width - share_room - 14.0;
                if text_width(&point.caption, size * 1.06) + text_width(&combined, size) < x - 20.0 {
                    picture.text(Text::new(x, y, combined).size(size).ink(Ink::Muted).anchor(Anchor::End));
                } else {
                    y += 1.3 * size;
                    picture.text(Text::new(0.0, y, combined).size(size).ink(Ink::Muted));
                }
                picture.text(Text::new(width, y, "variance").size(size).ink(Ink::Muted).anchor(Anchor::End));
            } else {
                y += 1.3 * size;
                picture.text(Text::new(0.0, y, combined).size(size).ink(Ink::Muted));
                y += 1.3 * size;
                picture.text(Text::new(width, y, "variance").size(size).ink(Ink::Muted).anchor(Anchor::End));
            }
            y += 0.6 * size;
            let first = y;
            for c in bars {
                y = self.bar(&mut picture, frame, c, &scale, (names, bars_from), y);
            }
            picture.line((bars_from, first), (bars_from, y), Stroke::new(Ink::Rule, 1.0));
            y += 1.1 * size;
        }
        y = families(&mut picture, frame, &ranked, y);
        picture.set_height(y.max(20.0));
        picture
    }

    fn bar(
        &self,
        picture: &mut Picture,
        frame: Frame,
        c: &Contribution,
        scale: &Axis,
        (names, from): (f64, f64),
        y: f64,
    ) -> f64 {
        let size = frame.text();
        let width = frame.width();
        let row = 1.62 * size;
        let (bar_y, end) = match frame {
            Frame::Wide => {
                let name = Text::new(from - 8.0, y + row / 2.0, fitted(&c.name, size, names)).size(size);
                picture.text(name.anchor(Anchor::End).centred());
                (y, y + row)
            }
            Frame::Narrow => {
                picture.text(
                    Text::new(from + 6.0, y + 1.15 * size, fitted(&c.name, size, names - 8.0)).size(size),
                );
                (y + 1.2 * size, y + 1.3 * size + row)
            }
        };
        let middle = bar_y + row / 2.0;
        let length = (scale.held(magnitude(c)) - from).max(0.0);
        picture.rect(from, middle - 0.46 * size, length.max(0.75), 0.92 * size, c.family.ink());
        picture.text(Text::new(from + length + 6.0, middle, kelvin(magnitude(c))).size(size).centred());
        picture.text(
            Text::new(width, middle, percent(c.share_of_variance))
                .size(size)
                .ink(Ink::Muted)
                .anchor(Anchor::End)
                .centred(),
        );
        end
    }
}

/// Names of the families that occur, each beside its colour, in the order of the chain.
fn families(picture: &mut Picture, frame: Frame, ranked: &[Vec<Contribution>], mut y: f64) -> f64 {
    let size = frame.text();
    let mut used: Vec<Family> =
        ranked.iter().flatten().map(|c| c.family).filter(|f| *f != Family::Rest).collect();
    used.sort();
    used.dedup();
    if used.is_empty() {
        return y;
    }
    let mut x = 0.0;
    y += size;
    for family in used {
        let room = 15.0 + text_width(family.name(), size) + 16.0;
        if x > 0.0 && x + room - 16.0 > frame.width() {
            x = 0.0;
            y += 1.5 * size;
        }
        picture.rect(x, y - 0.36 * size - 5.0, 10.0, 10.0, family.ink());
        picture.text(Text::new(x + 15.0, y, family.name()).size(size).ink(Ink::Muted));
        x += room;
    }
    y + 0.6 * size
}
