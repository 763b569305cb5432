//! What the world does to the chain while a reading is taken.

use crate::chain::Chain;

/// Temperatures around the chain, °C (ITS-90).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Situation {
    /// Measuring junction.
    pub hot: f64,
    /// Board, where the reference-junction sensor sits.
    pub board: f64,
    /// Connection head, where the probe ends and the cable begins; equal to the board without a cable.
    pub head: f64,
}

impl Situation {
    /// The situation at a hot and a board temperature with the head as far from the board as the chain allows, which
    /// is where the cable's tolerance weighs most.
    pub fn at(chain: &Chain, hot: f64, board: f64) -> Self {
        let head = chain.lead.as_ref().map_or(board, |lead| {
            let (low, high) = lead.head;
            if (high - board).abs() >= (board - low).abs() { high } else { low }
        });
        Self { hot, board, head }
    }
}

/// `count` evenly spaced temperatures from the lower to the higher end; one in the middle if `count` is 1.
pub fn grid(range: (f64, f64), count: u32) -> Vec<f64> {
    if count <= 1 || range.0 == range.1 {
        return vec![0.5 * (range.0 + range.1)];
    }
    (0..count)
        .map(|i| {
            // Ends exactly as given, whatever the rounding in between.
            if i + 1 == count {
                range.1
            } else {
                range.0 + (range.1 - range.0) * f64::from(i) / f64::from(count - 1)
            }
        })
        .collect()
}
