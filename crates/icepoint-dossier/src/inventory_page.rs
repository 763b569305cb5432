//! The page about many boards of one design.

use icepoint_bench::inventory::{Batch, Verdict};
use maud::html;

use crate::batch::BatchPicture;
use crate::certificate::{both, celsius, document};
use crate::number::{fixed, percent, signed, trimmed};
use crate::page::{Column, headline, table};

/// The page about a batch.
#[must_use]
pub fn batch_page(batch: &Batch) -> String {
    let picture = batch_picture(batch);
    let n = batch.boards.len();
    let spread = batch.spread;
    let outcome = html! {
        div.headlines {
            (headline(
                &fixed(spread.ratio, 2),
                "variance of the boards as built, over what was predicted",
                Some(batch.verdict() != Verdict::TooSmall),
            ))
            (headline(&n.to_string(), if n == 1 { "board" } else { "boards" }, None))
            (headline(&percent(spread.noticed), "of such batches would show boards twice as far off", None))
        }
        p {
            (batch.verdict().words()) " If the prediction is right, the ratio lies between " (fixed(spread.by_chance.0, 2))
            " and " (fixed(spread.by_chance.1, 2)) " in 95 % of batches like this one; for boards twice as far off it is 4 on \
            the mean."
        }
        @if !batch.shared.is_empty() {
            p {
                "These boards were calibrated with the same references (" (batch.shared.join(", ")) "). What errors within \
                 the references' uncertainty move in all boards alike is taken into account."
            }
        }
        (both(
            1,
            &format!(
                "Error of each board as built, as its readings tell it, board at {}. The band is where 95 % of such \
                 estimates are expected if the prediction is right: they hold back what readings can't see.",
                celsius(batch.board)
            ),
            &|frame| picture.draw(frame),
        ))
    };
    let rows: Vec<Vec<String>> = batch
        .at
        .iter()
        .map(|a| {
            vec![
                trimmed(a.hot, 2),
                signed(a.expected, 2),
                fixed(a.predicted, 2),
                fixed(a.predicted_of_estimates, 2),
                fixed(a.common, 2),
                signed(a.mean, 2),
                if a.seen.is_finite() { fixed(a.seen, 2) } else { String::new() },
            ]
        })
        .collect();
    let at = table(
        "Errors as built: predicted mean and standard deviations s, and seen",
        &[
            Column::numbers("hot", "°C"),
            Column::numbers("expected mean", "K"),
            Column::numbers("s of boards", "K"),
            Column::numbers("s of estimates", "K"),
            Column::numbers("of it in common", "K"),
            Column::numbers("mean seen", "K"),
            Column::numbers("s seen", "K"),
        ],
        &rows,
    );
    let boards: Vec<Vec<String>> = batch
        .boards
        .iter()
        .map(|b| {
            let largest = b.as_built.iter().map(|e| e.abs()).fold(0.0, f64::max);
            vec![
                b.serial.clone(),
                b.date.clone().unwrap_or_default(),
                fixed(1e6 * b.constants.offset, 2),
                fixed(b.constants.gain, 6),
                fixed(largest, 2),
                fixed(b.probability, 3),
            ]
        })
        .collect();
    let list = table(
        "Boards by serial number",
        &[
            Column::words("serial"),
            Column::words("date"),
            Column::numbers("offset", "µV"),
            Column::numbers("gain", ""),
            Column::numbers("largest error as built", "K"),
            Column::numbers("p of the design", ""),
        ],
        &boards,
    );
    document(
        &format!("Boards of {}", batch.name),
        "Is the prediction honest?",
        vec![
            ("outcome", "Spread against the prediction", outcome),
            ("spread", "At each temperature", at),
            ("boards", "The boards", list),
        ],
    )
}

/// The batch's picture.
#[must_use]
pub fn batch_picture(batch: &Batch) -> BatchPicture {
    BatchPicture {
        id: "batch-figure".into(),
        hot_celsius: batch.hot.clone(),
        expected_kelvin: batch.at.iter().map(|a| a.expected).collect(),
        half_95_kelvin: batch.at.iter().map(|a| 1.96 * a.predicted_of_estimates).collect(),
        boards: batch.boards.iter().map(|b| (b.serial.clone(), b.as_built.clone())).collect(),
    }
}
