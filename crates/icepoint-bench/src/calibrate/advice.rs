//! What to turn in place of constants, and what to mind.

use icepoint_chain::chain::ConverterKind;
use icepoint_chain::model::ModelError;

use super::checks::Scatter;
use super::condition::Condition;
use super::readings::Input;
use super::{Calibrator, Checked, Solved, TrimPoint};

/// The two ends of what was given, for a chain that ends in a voltmeter.
pub(super) fn trims(
    calibrator: &Calibrator<'_>,
    solved: &Solved,
) -> Result<Option<(TrimPoint, TrimPoint)>, ModelError> {
    let forward = &calibrator.forward;
    if matches!(forward.model.chain().converter.kind, ConverterKind::Adc { .. }) {
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

pub(super) fn cautions(
    calibrator: &Calibrator<'_>,
    checked: &[Checked],
    scatter: Option<Scatter>,
) -> Vec<String> {
    let mut all = Vec::new();
    let chain = calibrator.forward.model.chain();
    let conditions = &calibrator.forward.conditions;
    let (low, high) = chain.need.board;
    if let Some(c) = conditions.iter().find(|c| c.board < low || c.board > high) {
        all.push(format!(
            "{}: the board was outside its own range, {low} °C to {high} °C ({}).",
            c.words(),
            c.lines_words()
        ));
    }
    if checked.len() == 1 {
        all.push(
            "One point only: nothing shows whether it is right, and only what acts like an offset there is found."
                .into(),
        );
    } else {
        let inputs = |c: &Condition| match c.input {
            Input::Temperature(t) => (0u8, (t + 0.0).to_bits()),
            Input::Injected(v) => (1, (v + 0.0).to_bits()),
        };
        if conditions.windows(2).all(|w| inputs(&w[0]) == inputs(&w[1])) {
            all.push("All readings are at one input: the span is known no better than before.".into());
        }
    }
    if conditions.iter().all(|c| matches!(c.input, Input::Injected(_))) {
        all.push("With voltages at the terminals the probe and its cable stay unchecked; the band counts with that.".into());
    }
    if let Some(s) = scatter.filter(|s| s.factor > 1.0) {
        all.push(format!(
            "Repeats scatter {:.1} times as much as the model's noise allows; the noise of all readings was widened to \
             that. Look for pick-up, a loose contact or a reference that had not settled.",
            s.factor.sqrt()
        ));
    }
    all
}
