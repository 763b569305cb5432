//! What to turn in place of constants: which trim at which input until the output reads what.
//!
//! **In, out.** A board that was solved in; the points to turn at out, each with what its output is to read and what it
//! reads now by the estimate. The constants themselves don't depend on this.
//! **One board temperature.** Readings may have been taken with a cold board and a warm one; a trim is turned at the bench,
//! on a board that has one temperature: that of the last reading, where the board most likely still stands. The output's
//! volts follow the board's temperature in a chain whose junction is compensated in the circuit.

use icepoint_chain::chain::ConverterKind;
use icepoint_chain::model::ModelError;

use super::readings::Input;
use super::{Calibrator, Solved};

/// Where to turn a trim to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrimPoint {
    /// What to give the board.
    pub input: Input,
    /// What the output then is to read, V.
    pub volts: f64,
    /// What it reads now, by the estimate, V.
    pub now: f64,
}

/// Where to turn both trims to, for a chain without firmware or with adjustable resistors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrimPoints {
    /// Board temperature that this is for, °C.
    pub board: f64,
    /// The colder of the two inputs.
    pub zero: TrimPoint,
    /// The warmer one.
    pub span: TrimPoint,
}

/// The two ends of what was given, for a chain that ends in a voltmeter.
pub(super) fn trims(calibrator: &Calibrator<'_>, solved: &Solved) -> Result<Option<TrimPoints>, ModelError> {
    let forward = &calibrator.forward;
    let chain = forward.model.chain();
    let turned = matches!(chain.trims, Some(icepoint_chain::trims::Trims::Resistors { .. }));
    if matches!(chain.converter.kind, ConverterKind::Adc { .. }) && !turned {
        return Ok(None);
    }
    // The conditions stand in the order of their first lines; the last reading is that of the last line.
    let Some(last) = (0..forward.conditions.len()).max_by_key(|&k| forward.conditions[k].lines.1) else {
        return Ok(None);
    };
    let board = forward.conditions[last].board;
    let emf = |celsius: f64| chain.probe.letter.emf_and_slope_extended(celsius).0;
    // Degrees and volts are compared as what the junction would give against ice.
    let hot = |k: &usize| match forward.conditions[*k].input {
        Input::Temperature(t) => emf(t),
        Input::Injected(v) => v + emf(board),
    };
    let all = 0..forward.conditions.len();
    let low = all.clone().min_by(|a, b| hot(a).total_cmp(&hot(b)));
    let high = all.max_by(|a, b| hot(a).total_cmp(&hot(b)));
    let (Some(low), Some(high)) = (low, high) else { return Ok(None) };
    if hot(&low) >= hot(&high) {
        return Ok(None);
    }
    let mut work = forward.work();
    let mut point = |k: usize| -> Result<TrimPoint, ModelError> {
        let seen = forward.output_on(k, last, solved.estimate.z.as_slice(), &mut work)?;
        let c = solved.constants;
        let wanted = forward.output_of(c.offset + c.gain * forward.rule_of(seen.converted));
        let volts = seen.output + (wanted - seen.converted) / seen.slope;
        Ok(TrimPoint { input: forward.conditions[k].input, volts, now: seen.output })
    };
    Ok(Some(TrimPoints { board, zero: point(low)?, span: point(high)? }))
}
