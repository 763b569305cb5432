//! What to turn in place of constants, and what to mind.

use icepoint_chain::chain::ConverterKind;
use icepoint_chain::model::ModelError;

use super::checks::Scatter;
use super::condition::{Condition, Kind};
use super::forward::{Forward, UNSTATED_OHMS};
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
) -> Result<Vec<String>, ModelError> {
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
    all.extend(resistance(&calibrator.forward)?);
    if let Some(s) = scatter.filter(|s| s.extra > 0.0) {
        all.push(format!(
            "Repeats scatter {:.1} times as much as the model's noise allows; the noise of all readings was widened to \
             what was seen. The band here counts with that, `budget` of the written file does not: a cause that is \
             found is mended, one that stays belongs into the chain file. Look for pick-up, a loose contact or a \
             reference that had not settled.",
            s.seen / s.expected
        ));
    }
    Ok(all)
}

/// Resistance of a source for comparison, Ω.
const LARGER_OHMS: f64 = 100.0;

/// What a source would do of which nobody said how large its resistance is.
fn resistance(forward: &Forward<'_>) -> Result<Option<String>, ModelError> {
    let silent = |c: &&Condition| matches!(c.input, Input::Injected(_)) && c.source_ohms.is_none();
    let Some(first) = forward.conditions.iter().find(silent) else { return Ok(None) };
    let with = |ohms: Option<f64>| Condition { source_ohms: ohms, kind: Kind::Celsius, ..first.clone() };
    let two = forward.with_conditions(vec![with(None), with(Some(UNSTATED_OHMS + LARGER_OHMS))])?;
    let z = vec![0.0; two.unknowns.len()];
    let mut work = two.work();
    let off = two.answer(1, &z, &mut work)? - two.answer(0, &z, &mut work)?;
    Ok(Some(format!(
        "The resistance of the source is not stated ({}): taken as {UNSTATED_OHMS} Ω. Each {LARGER_OHMS} Ω more would move \
         the reading there by {} K. State it as output_resistance in a record [references.NAME].",
        first.lines_words(),
        super::significant(off, 0.1 * off.abs())
    )))
}
