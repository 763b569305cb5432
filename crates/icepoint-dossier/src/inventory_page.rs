//! The page about many boards of one design.

use icepoint_bench::inventory::{Batch, Verdict};
use maud::html;

use crate::batch::BatchPicture;
use crate::certificate::{both, celsius, document};
use crate::number::{fixed, signed, trimmed};
use crate::page::{Column, headline, table};

/// The page about a batch.
#[must_use]
pub fn batch_page(batch: &Batch) -> String {
    let picture = batch_picture(batch);
    let n = batch.boards.len();
    let outcome = html! {
        div.headlines {
            (headline(&fixed(batch.ratio, 2), "variance of the boards, as far as readings saw them, over what was predicted", Some(batch.verdict() != Verdict::TooSmall)))
            (headline(&n.to_string(), "boards", None))
        }
        p { (batch.verdict().words()) " In 95 % of batches like this one the ratio lies between " (fixed(batch.by_chance.0, 2)) " and " (fixed(batch.by_chance.1, 2)) " if the prediction is right." }
        (both(1, &format!("Estimated error of each board as built, board at {}, and the band predicted for 95 % of boards.", celsius(batch.board)), &|frame| picture.draw(frame)))
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
                signed(a.mean, 2),
                if a.seen.is_finite() { fixed(a.seen, 2) } else { String::new() },
            ]
        })
        .collect();
    let spread = table(
        "Errors as built in K: predicted and seen",
        &[
            Column::numbers("hot", "°C"),
            Column::numbers("expected mean", "K"),
            Column::numbers("standard deviation predicted", "K"),
            Column::numbers("of it visible to the readings", "K"),
            Column::numbers("mean seen", "K"),
            Column::numbers("standard deviation seen", "K"),
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
            ("spread", "At each temperature", spread),
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
        half_95_kelvin: batch.at.iter().map(|a| 1.96 * a.predicted).collect(),
        boards: batch.boards.iter().map(|b| (b.serial.clone(), b.as_built.clone())).collect(),
    }
}
