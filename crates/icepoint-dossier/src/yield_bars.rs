//! Yield: the share of boards within the accuracy asked, for each state of calibration.
//!
//! **In.** Shares 0…1 from the Monte Carlo run; a picture without counts of boards would hide what 94 % means, so each
//! bar also says how many of a hundred fall outside.

use crate::lettering::{fitted, text_width};
use crate::number::{fixed, percent, plain};
use crate::svg::{Anchor, Frame, Picture, Stroke, Text};
use crate::theme::Ink;

/// One state of calibration.
#[derive(Clone, Debug)]
pub struct YieldRow {
    /// “no trim”, “after one point”.
    pub name: String,
    /// Share of boards within the accuracy asked, 0…1.
    pub share: f64,
}

/// The picture's figures.
#[derive(Clone, Debug, Default)]
pub struct YieldBars {
    /// Id of the picture in its page.
    pub id: String,
    /// Accuracy asked for, ± K.
    pub accuracy_kelvin: f64,
    /// Share of boards that was asked for (0.95), marked on each bar.
    pub asked_share: Option<f64>,
    /// The bars, from top to bottom.
    pub rows: Vec<YieldRow>,
}

impl YieldBars {
    /// Draws the bars.
    #[must_use]
    pub fn draw(&self, frame: Frame) -> Picture {
        let size = frame.text();
        let width = frame.width();
        let mut description = format!("Share of boards within ±{} K:", plain(self.accuracy_kelvin));
        for row in &self.rows {
            description += &format!(" {} {};", row.name, percent(row.share));
        }
        let mut picture = Picture::new(&frame.id(&self.id), width, 100.0, "Yield", &description);
        let number = 1.7 * size;
        let value_room = text_width("> 99.9 %", number) * 1.1;
        let bar_to = width - value_room - 6.0;
        let mut y = 0.4 * size;
        let asked = self.asked_share.filter(|s| s.is_finite()).map(|s| s.clamp(0.0, 1.0));
        if let Some(share) = asked {
            let x = share * bar_to;
            picture.text(
                Text::new(x, y + 0.8 * size, format!("{} % asked", plain(share * 100.0)))
                    .size(size)
                    .ink(Ink::Limit)
                    .bold()
                    .anchor(if share > 0.5 { Anchor::End } else { Anchor::Start }),
            );
            y += 1.4 * size;
        }
        for row in &self.rows {
            let share = if row.share.is_finite() { row.share.clamp(0.0, 1.0) } else { 0.0 };
            let bar = 1.25 * size;
            picture.text(Text::new(0.0, y + size, &row.name).size(size).bold());
            let outside = (1.0 - share) * 100.0;
            let words = match outside {
                _ if !row.share.is_finite() => "not known".to_owned(),
                o if o <= 0.0 => "none of the simulated boards outside".to_owned(),
                o if o < 1.0 => format!("{} of 1000 boards outside", fixed((o * 10.0).max(1.0), 0)),
                o => format!("{} of 100 boards outside", fixed(o, 0)),
            };
            let words_at = 12.0 + 1.06 * text_width(&row.name, size);
            let words = fitted(&words, size, width - words_at);
            picture.text(Text::new(words_at, y + size, words).size(size).ink(Ink::Muted));
            let top = y + 1.45 * size;
            picture.rect(0.0, top, bar_to, bar, Ink::Outside);
            picture.rect(0.0, top, share * bar_to, bar, Ink::Good);
            if let Some(mark) = asked {
                let x = mark * bar_to;
                picture.line((x, top - 4.0), (x, top + bar + 4.0), Stroke::new(Ink::Limit, 2.0));
            }
            picture.text(
                Text::new(width, top + bar / 2.0, percent(row.share))
                    .size(number)
                    .bold()
                    .anchor(Anchor::End)
                    .centred(),
            );
            y = top + bar + 1.2 * size;
        }
        picture.set_height((y - 0.5 * size).max(20.0));
        picture
    }
}
