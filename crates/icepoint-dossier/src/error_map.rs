//! The error map: 95 % error over hot × board temperature, printed in cells.
//!
//! **Reads without colour.** Each cell carries its value; cells above the accuracy asked carry a corner and stand
//! beyond a heavy contour; the colours change hue exactly at that accuracy. **In.** Kelvin over °C. On a telephone
//! the map turns: hot temperatures run down, so that cells stay wide enough for their digits.

use crate::axis::nice_step;
use crate::lettering::text_width;
use crate::number::{fixed, plain, trimmed};
use crate::plot::extent;
use crate::svg::{Anchor, Frame, Picture, Stroke, Text};
use crate::theme::{HEAT, Ink};

/// Figures of the map.
#[derive(Clone, Debug, Default)]
pub struct ErrorMap {
    /// Id of the picture in its page.
    pub id: String,
    /// Temperatures of the measuring junction in °C, ascending.
    pub hot_celsius: Vec<f64>,
    /// Temperatures of the board in °C, ascending.
    pub board_celsius: Vec<f64>,
    /// Half-width of the 95 % interval, or what the caption calls the error, in K: one row for each board
    /// temperature, one value for each hot temperature. Missing or not finite: an empty cell.
    pub error_95_kelvin: Vec<Vec<f64>>,
    /// Accuracy asked for, in K.
    pub accuracy_kelvin: Option<f64>,
}

/// Edges of the eight colours in K around the accuracy asked, which is the fourth.
fn edges(largest: f64, limit: f64) -> [f64; 7] {
    let above = nice_step(((largest - limit) / 3.5).max(limit / 5.0));
    let low = limit / 4.0;
    [low, 2.0 * low, 3.0 * low, limit, limit + above, limit + 2.0 * above, limit + 3.0 * above]
}

impl ErrorMap {
    fn value(&self, hot: usize, board: usize) -> f64 {
        self.error_95_kelvin.get(board).and_then(|row| row.get(hot)).copied().unwrap_or(f64::NAN)
    }

    /// Where the largest error is: indices of hot and board temperature, and the error in K.
    #[must_use]
    pub fn worst(&self) -> Option<(usize, usize, f64)> {
        let mut worst: Option<(usize, usize, f64)> = None;
        for board in 0..self.board_celsius.len() {
            for hot in 0..self.hot_celsius.len() {
                let value = self.value(hot, board);
                if value.is_finite() && worst.is_none_or(|w| value > w.2) {
                    worst = Some((hot, board, value));
                }
            }
        }
        worst
    }

    /// The accuracy asked, if it is one.
    fn asked(&self) -> Option<f64> {
        self.accuracy_kelvin.filter(|a| a.is_finite() && *a > 0.0)
    }

    fn description(&self) -> String {
        let Some((hot, board, value)) = self.worst() else { return "No figures.".to_owned() };
        let all = self.error_95_kelvin.iter().flatten().filter(|v| v.is_finite());
        let above = self.asked().map_or(String::new(), |limit| {
            let (count, total) = (all.clone().filter(|v| **v > limit).count(), all.clone().count());
            format!(" {count} of {total} cells are above the {} K asked.", plain(limit))
        });
        format!(
            "95 % error in kelvin for each hot and board temperature. Largest: {} K at {} °C with the board at {} °C.{above}",
            fixed(value, 2),
            plain(self.hot_celsius.get(hot).copied().unwrap_or(f64::NAN)),
            plain(self.board_celsius.get(board).copied().unwrap_or(f64::NAN)),
        )
    }

    /// Draws the map.
    #[must_use]
    pub fn draw(&self, frame: Frame) -> Picture {
        let size = frame.text();
        let width = frame.width();
        let mut picture = Picture::new(
            &frame.id(&self.id),
            width,
            100.0,
            "Error over hot and board temperature",
            &self.description(),
        );
        let turned = frame == Frame::Narrow;
        let (columns, rows) = if turned {
            (&self.board_celsius, &self.hot_celsius)
        } else {
            (&self.hot_celsius, &self.board_celsius)
        };
        let largest = extent(self.error_95_kelvin.iter().flatten().copied()).map_or(1.0, |e| e.1);
        let edges = self.asked().map(|limit| edges(largest, limit));
        let places = if largest >= 3.0 {
            1
        } else if largest >= 0.1 {
            2
        } else {
            3
        };

        let row_labels: Vec<String> = rows.iter().map(|v| plain(*v)).collect();
        let left = 12.0 + row_labels.iter().map(|t| text_width(t, size)).fold(2.0 * size, f64::max);
        let right = width - 2.0;
        let top = 2.2 * size;
        let cell = (right - left) / columns.len().max(1) as f64;
        let height = if turned { 25.0 } else { 36.0 };
        let printed = {
            let widest = text_width(&fixed(largest, places), 1.0) * 1.1;
            (size).min((cell - 5.0) / widest)
        };
        let (row_title, column_title) = if turned {
            ("hot junction, °C ↓", "board, °C →")
        } else {
            ("board, °C ↓", "hot junction, °C →")
        };
        picture.text(Text::new(0.0, 0.9 * size, row_title).size(size));
        picture.text(Text::new(right, 0.9 * size, column_title).size(size).anchor(Anchor::End));

        // Cells: the hottest row stands at the top.
        let y_of = |row: usize| top + (rows.len() - 1 - row) as f64 * height;
        let at = |column: usize, row: usize| {
            if turned { self.value(row, column) } else { self.value(column, row) }
        };
        let is_above = |v: f64| self.asked().is_some_and(|limit| v > limit);
        for (row, label) in row_labels.iter().enumerate() {
            let y = y_of(row);
            picture.text(
                Text::new(left - 7.0, y + height / 2.0, label)
                    .size(size)
                    .ink(Ink::Muted)
                    .anchor(Anchor::End)
                    .centred(),
            );
            for column in 0..columns.len() {
                let x = left + column as f64 * cell;
                let value = at(column, row);
                if !value.is_finite() {
                    picture.frame(
                        x + 1.5,
                        y + 1.5,
                        cell - 3.0,
                        height - 3.0,
                        None,
                        Stroke::new(Ink::Grid, 1.0),
                    );
                    continue;
                }
                // Colour tells how the error stands to the accuracy asked, and nothing where none was asked.
                let ink = edges.map_or(Ink::Panel, |e| HEAT[e.iter().filter(|edge| value > **edge).count()]);
                picture.rect(x + 0.75, y + 0.75, cell - 1.5, height - 1.5, ink);
                if is_above(value) {
                    let corner = (0.24 * height).min(0.3 * cell);
                    let (cx, cy) = (x + cell - 0.75, y + 0.75);
                    picture.polygon(&[(cx - corner, cy), (cx, cy), (cx, cy + corner)], Some(Ink::Text), None);
                }
                if printed >= 8.5 {
                    let text = Text::new(x + cell / 2.0, y + height / 2.0, fixed(value, places))
                        .size(printed)
                        .anchor(Anchor::Middle)
                        .centred();
                    picture.text(if is_above(value) { text.bold() } else { text });
                }
            }
        }
        self.contour(
            &mut picture,
            (columns.len(), rows.len()),
            &at,
            &|c, r| (left + c as f64 * cell, y_of(r)),
            (cell, height),
        );

        let bottom = top + rows.len() as f64 * height;
        let mut free_after = f64::NEG_INFINITY;
        for (column, value) in columns.iter().enumerate() {
            let label = plain(*value);
            let x = left + (column as f64 + 0.5) * cell;
            let half = text_width(&label, size) / 2.0;
            // Narrow columns: every label that has room.
            if x - half > free_after + 3.0 {
                free_after = x + half;
                picture.text(
                    Text::new(x, bottom + 4.0 + size, label)
                        .size(size)
                        .ink(Ink::Muted)
                        .anchor(Anchor::Middle),
                );
            }
        }
        if let Some((hot, board, _)) = self.worst() {
            let (c, r) = if turned { (board, hot) } else { (hot, board) };
            let x = left + c as f64 * cell;
            picture.frame(
                x + 2.5,
                y_of(r) + 2.5,
                cell - 5.0,
                height - 5.0,
                None,
                Stroke::new(Ink::Text, 1.6),
            );
        }
        let end = self.key(&mut picture, frame, edges, (left, right), bottom + 2.4 * size + 6.0);
        picture.set_height(end);
        picture
    }

    /// Heavy line between cells within and beyond the accuracy asked.
    fn contour(
        &self,
        picture: &mut Picture,
        (columns, rows): (usize, usize),
        at: &dyn Fn(usize, usize) -> f64,
        corner: &dyn Fn(usize, usize) -> (f64, f64),
        (cell, height): (f64, f64),
    ) {
        let Some(limit) = self.asked() else { return };
        let differs = |a: f64, b: f64| a.is_finite() && b.is_finite() && (a > limit) != (b > limit);
        let stroke = Stroke::new(Ink::Limit, 3.0);
        for row in 0..rows {
            for column in 0..columns {
                let (x, y) = corner(column, row);
                let here = at(column, row);
                // The half width of the line rounds off the corners.
                if column + 1 < columns && differs(here, at(column + 1, row)) {
                    picture.line((x + cell, y - 1.5), (x + cell, y + height + 1.5), stroke);
                }
                if row + 1 < rows && differs(here, at(column, row + 1)) {
                    picture.line((x - 1.5, y), (x + cell + 1.5, y), stroke);
                }
            }
        }
    }

    /// Colour bar and what the marks mean; returns the height of the picture.
    fn key(
        &self,
        picture: &mut Picture,
        frame: Frame,
        edges: Option<[f64; 7]>,
        (left, right): (f64, f64),
        y: f64,
    ) -> f64 {
        let size = frame.text();
        let (mut x, mut line) = (left, y + 9.5);
        if let (Some(edges), Some(limit)) = (edges, self.asked()) {
            let bar = if frame == Frame::Wide { 0.52 * (right - left) } else { right - left };
            colour_bar(picture, &edges, (left, bar), y, size);
            (x, line) = match frame {
                Frame::Wide => (left + bar + 30.0, line),
                Frame::Narrow => (left, y + 15.0 + 2.9 * size),
            };
            let side = 9.0;
            let base = line - 0.36 * size - side / 2.0;
            picture.polygon(&[(x, base), (x + side, base), (x + side, base + side)], Some(Ink::Text), None);
            let label = format!("beyond the {} K asked", plain(limit));
            picture.text(Text::new(x + 17.0, line, label).size(size));
            line += 1.55 * size;
        }
        if let Some((_, _, value)) = self.worst() {
            picture.frame(x - 1.0, line - 0.36 * size - 5.0, 11.0, 10.0, None, Stroke::new(Ink::Text, 1.6));
            let label = format!("largest: {} K", fixed(value, if value < 1.0 { 2 } else { 1 }));
            picture.text(Text::new(x + 17.0, line, label).size(size));
        }
        line.max(y + 15.0 + size) + 0.5 * size
    }
}

/// The eight colours with their edges in K, the accuracy asked marked.
fn colour_bar(picture: &mut Picture, edges: &[f64; 7], (x, bar): (f64, f64), y: f64, size: f64) {
    let part = bar / HEAT.len() as f64;
    let places = if edges[0] >= 10.0 { 1 } else { 3 };
    for (i, ink) in HEAT.into_iter().enumerate() {
        picture.rect(x + i as f64 * part, y, part, 11.0, ink);
    }
    for (i, edge) in edges.iter().enumerate() {
        let at = x + (i + 1) as f64 * part;
        let text = Text::new(at, y + 15.0 + size, trimmed(*edge, places)).size(size).anchor(Anchor::Middle);
        if i == 3 {
            picture.line((at, y - 4.0), (at, y + 15.0), Stroke::new(Ink::Limit, 3.0));
            picture.text(text.ink(Ink::Limit).bold());
        } else {
            picture.text(text.ink(Ink::Muted));
        }
    }
    picture.text(Text::new(x - 7.0, y + 15.0 + size, "K").size(size).ink(Ink::Muted).anchor(Anchor::End));
}
