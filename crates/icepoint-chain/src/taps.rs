//! Taps for several types of thermocouple on one board: what using each tap with each type costs.
//!
//! **What is told.** The largest error over the board's range of temperatures that the compensation alone makes, against
//! the board at 25 °C, in kelvins of the type in use: the difference of the tap's slope from the emf curve of the type,
//! over that type's sensitivity in the middle of the range of the measuring junction. The gain is not in it: it is set for
//! one type, by a switch or by the firmware's constants. Every figure is the model's.

use icepoint_sensors::Letter;

use crate::chain::Chain;
use crate::imperfection::SPECIFIED_AT;
use crate::model::{Model, ModelError};
use crate::resolve::Resolved;
use crate::situation::grid;

/// One tap used with one type.
#[derive(Clone, Debug, PartialEq)]
pub struct TapUse {
    /// Node of the tap.
    pub node: String,
    /// Types that the tap is meant for.
    pub meant_for: Vec<Letter>,
    /// Type that is connected to it.
    pub letter: Letter,
    /// Largest error over the board's range, K.
    pub error: f64,
}

impl TapUse {
    /// Whether the type belongs on this tap.
    pub fn is_right(&self) -> bool {
        self.meant_for.contains(&self.letter)
    }
}

/// Board temperatures looked at.
const BOARDS: u32 = 9;

/// Every tap of the circuit with every type that has a tap, in the order of the taps; empty for a circuit without.
/// `chain`: the board with the values chosen for `resolved`.
///
/// # Errors
/// [`ModelError`] when the circuit can't be solved with one of them.
pub fn table(resolved: &Resolved, chain: &Chain) -> Result<Vec<TapUse>, ModelError> {
    let taps = &resolved.blueprint.taps;
    let mut nodes: Vec<&str> = Vec::new();
    for tap in taps {
        if !nodes.contains(&tap.node.as_str()) {
            nodes.push(&tap.node);
        }
    }
    let mut uses = Vec::new();
    for node in nodes {
        let meant_for: Vec<Letter> = taps.iter().filter(|t| t.node == node).map(|t| t.letter).collect();
        for letter in taps.iter().map(|t| t.letter) {
            let mut chain = chain.as_designed();
            chain.probe.letter = letter;
            chain.front_end.ports.minus = resolved.surroundings.node(node);
            let error = compensation_error(&Model::without_dynamics(chain)?)?;
            uses.push(TapUse { node: node.to_owned(), meant_for: meant_for.clone(), letter, error });
        }
    }
    Ok(uses)
}

/// Largest error of the compensation over the board's range against 25 °C, in K of the probe's type in the middle of the
/// hot range.
///
/// # Errors
/// [`ModelError`] when the circuit can't be solved.
pub fn compensation_error(model: &Model) -> Result<f64, ModelError> {
    let need = &model.chain().need;
    let letter = model.chain().probe.letter;
    let mut scratch = model.scratch();
    let mut at = |board: f64| -> Result<f64, ModelError> {
        let state = model.board_state(board, model.mean_deviations(), &mut scratch)?;
        Ok(state.offset / state.gain - state.terminals_emf)
    };
    let still = at(SPECIFIED_AT)?;
    let (_, sensitivity) = letter.emf_and_slope_extended(0.5 * (need.hot.0 + need.hot.1));
    let mut worst = 0.0f64;
    for board in grid(need.board, BOARDS) {
        worst = worst.max(((at(board)? - still) / sensitivity).abs());
    }
    Ok(worst)
}
