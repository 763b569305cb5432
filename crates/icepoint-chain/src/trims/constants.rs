//! Trims that are numbers: the offset and the factor that firmware keeps, how large they get, how fine they must be, and
//! how many boards can be put right by numbers at all.
//!
//! A number can't bring back what the converter has cut off: a board counts only if its output stays inside the limits of
//! the circuit and the converter over the whole range of the measuring junction and of the board.

use rayon::prelude::*;

use super::report::{WANTED, middle, over_boards};
use crate::budget::study::Study;
use crate::chain::CalibrationWish;
use crate::model::{Model, ModelError};

/// Boards drawn: the share 0.999 is then known to 0.0002.
pub const BOARDS: u32 = 20_000;
/// Rounding of the constants, as a share of one step of the converter.
pub const ROUNDING: f64 = 0.1;

/// The constants of a board.
#[derive(Clone, Debug, PartialEq)]
pub struct Constants {
    /// Offsets of the middle 99.9 % of boards, V of the reading rule.
    pub offset: (f64, f64),
    /// Factors less one.
    pub gain: (f64, f64),
    /// One step of the converter in volts of the reading rule.
    pub converter_step: f64,
    /// Step of the offset that rounds by no more than a tenth of a converter step, V.
    pub offset_step: f64,
    /// The same for the factor, at the end of the range where it counts most.
    pub gain_step: f64,
    /// Bits of the offset, sign included.
    pub offset_bits: u32,
    /// Bits of the factor less one, sign included.
    pub gain_bits: u32,
    /// Boards drawn.
    pub boards: u32,
    /// Share of them whose output stays inside of every limit over the whole range.
    pub inside: f64,
}

impl Constants {
    /// The constants of the boards of a model after the calibration that its owner is willing to do; `None` without one.
    ///
    /// # Errors
    /// [`ModelError`] when a drawn board can't be solved.
    pub fn new(model: &Model) -> Result<Option<Self>, ModelError> {
        let wish = model.chain().need.calibration;
        let study = Study::new(model);
        if wish == CalibrationWish::None || model.findings().is_some() || model.chain().plan.at.is_empty() {
            return Ok(None);
        }
        let drawn = over_boards(&study, BOARDS, model.chain().settings.seed, |d, work| {
            Ok((study.correction(wish, d, work)?, study.stays_inside(d, work)?))
        })?;
        let chain = model.chain();
        let (_, gain) = model.nominal_transfer();
        // The rule of a straight line works in volts of the output.
        let per_volt = if matches!(chain.readout, crate::chain::Readout::Line { .. }) { 1.0 } else { gain };
        let converter_step = (chain.converter.step() / per_volt).abs();
        let (low, high) = chain.converter.span();
        let full = [low, high]
            .into_iter()
            .filter(|v| v.is_finite())
            .map(|v| (v / per_volt).abs())
            .fold(0.0, f64::max);
        let offset = middle(drawn.par_iter().map(|(c, _)| c.offset).collect());
        let factor = middle(drawn.par_iter().map(|(c, _)| c.gain - 1.0).collect());
        let offset_step = 2.0 * ROUNDING * converter_step;
        let gain_step = if full > 0.0 { offset_step / full } else { f64::NAN };
        Ok(Some(Self {
            offset,
            gain: factor,
            converter_step,
            offset_step,
            gain_step,
            offset_bits: bits(offset, offset_step),
            gain_bits: bits(factor, gain_step),
            boards: BOARDS,
            inside: drawn.iter().filter(|(_, inside)| *inside).count() as f64 / f64::from(BOARDS),
        }))
    }

    /// Whether numbers put enough boards right.
    pub fn suffices(&self) -> bool {
        self.inside >= WANTED
    }
}

/// Bits of a signed number that reaches both ends in such steps.
fn bits((low, high): (f64, f64), step: f64) -> u32 {
    let counts = low.abs().max(high.abs()) / step;
    if !counts.is_finite() {
        return 0;
    }
    let mut bits = 1;
    while bits < 64 && libm::exp2(f64::from(bits - 1)) - 1.0 < counts {
        bits += 1;
    }
    bits
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 100 steps to either side are −100 … 100, which takes 8 bits (−128 … 127); 127 still do, 128 need nine.
    #[test]
    fn bits_by_hand() {
        assert_eq!(bits((-1.0, 0.5), 0.01), 8);
        assert_eq!(bits((0.0, 127.0), 1.0), 8);
        assert_eq!(bits((0.0, 128.0), 1.0), 9);
        assert_eq!(bits((0.0, 0.0), 1.0), 1);
        assert_eq!(bits((0.0, 1.0), f64::NAN), 0);
    }
}
