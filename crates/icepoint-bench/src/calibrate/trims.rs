//! What to turn in place of constants: which trim at which input until the output reads what.
//!
//! **In, out.** A board that was solved in; the points to turn at out, each with what its output is to read and what it
//! reads now by the estimate. The constants themselves don't depend on this.

use icepoint_chain::chain::ConverterKind;
use icepoint_chain::model::ModelError;

use super::readings::Input;
use super::{Calibrator, Solved};

/// Where to turn trims to, for a chain without firmware.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrimPoint {
    /// What to give the board.
    pub input: Input,
    /// Board temperature that this is for, °C.
    pub board: f64,
    /// What the output then is to read, V.
    pub volts: f64,
    /// What it reads now, by the estimate, V.
    pub now: f64,
}

/// The two ends of what was given, for a chain that ends in a voltmeter.
pub(super) fn trims(
    calibrator: &Calibrator<'_>,
    solved: &Solved,
) -> Result<Option<(TrimPoint, TrimPoint)>, ModelError> {
    let forward = &calibrator.forward;
    let chain = forward.model.chain();
    let turned = matches!(chain.trims, Some(icepoint_chain::trims::Trims::Resistors { .. }));
    if matches!(chain.converter.kind, ConverterKind::Adc { .. }) && !turned {
        return Ok(None);
    }
    let size = |k: &usize| match forward.conditions[*k].input {
        Input::Temperature(t) => t,
        Input::Injected(v) => v,
    };
    let mut work = forward.work();
    let mut points = Vec::new();
    let all = 0..forward.conditions.len();
    let low = all.clone().min_by(|a, b| size(a).total_cmp(&size(b)));
    let high = all.max_by(|a, b| size(a).total_cmp(&size(b)));
    for k in [low, high].into_iter().flatten() {
        let now = forward.volts(k, solved.estimate.z.as_slice(), &mut work)?;
        let c = solved.constants;
        let condition = &forward.conditions[k];
        points.push(TrimPoint {
            input: condition.input,
            board: condition.board,
            volts: forward.output_of(c.offset + c.gain * forward.rule_of(now)),
            now,
        });
    }
    match points.as_slice() {
        [low, high] if low.input != high.input => Ok(Some((*low, *high))),
        _ => Ok(None),
    }
}
